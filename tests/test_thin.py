"""Thin walls left standing, short grain, hairlines: analytic walls, and walls that are none."""

import dataclasses
import math

import handmade
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as budget
from hypothesis import strategies as st
from shapely.affinity import rotate
from shapely.geometry import MultiPolygon, Point, Polygon, box
from test_pieces import loop, text

import pathgen as pg
from pathgen.model.bounds import Bounds, Flat
from pathgen.proof.prove import prove
from pathgen.proof.thin import across, thin
from pathgen.shop.strength import strength

BOARD = pg.Stock(120, 80, 12, material="hardwood")
ROUTER = handmade.ROUTER
MILL = pg.EndMill(3, cutting_length=14, cutting=pg.Cutting(16000, 900, 300, 2, 1.2))
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 900, 300, 8))
WATCHED = {"thin-wall", "short-grain", "hairline"}


def walled(width, *, depth=4.0, angle=0.0, length=30.0):
    """Two trays with a wall between them, turned by `angle` degrees from X."""
    low, high = box(45, 20, 45 + length, 40 - width / 2), box(45, 40 + width / 2, 45 + length, 60)
    middle = (45 + length / 2, 40)
    return MultiPolygon([rotate(low, angle, origin=middle), rotate(high, angle, origin=middle)])


def found(region, *, stock=BOARD, depth=4.0, **more):
    job = pg.Job("Walls", stock, ROUTER, pg.pocket(region, MILL, depth=depth, stock=stock), **more)
    proof = job.prove(grid=0.2)
    return {f.code: f for f in proof.findings if f.code in WATCHED}


def test_a_thin_wall_is_told_with_its_width_at_top_and_foot_and_its_height():
    wall = found(walled(0.8))["thin-wall"]
    assert wall.severity == "warning"
    assert wall.amount == pytest.approx(0.8, abs=0.01)
    assert "0.80 mm wide at the top, 0.80 mm at the foot, 4.0 mm high (5.0 times its width)" in wall.text
    assert 45 < wall.where[0] < 75
    assert wall.where[1] == pytest.approx(40, abs=0.1)
    assert "grain" not in wall.text


@given(width=st.floats(0.3, 3), angle=st.floats(0, 90))
@budget(max_examples=40, deadline=None)
def test_any_wall_is_measured_to_a_hundredth(width, angle):
    """Standing stock round two trays, without any program: the width found is the width drawn, at any angle."""
    standing = box(0, 0, 120, 80).difference(walled(width, angle=angle))
    told = thin(standing, 1.3 * width)
    assert len(told) == 1
    assert told[0].width == pytest.approx(width, abs=0.01)
    off = abs((told[0].angle - angle + 90) % 180 - 90)
    assert off < 1
    assert thin(standing, 0.9 * width) == []


def test_corners_and_round_ends_are_no_walls():
    star = Polygon([(30, 30), (50, 35), (70, 30), (65, 50), (70, 70), (50, 65), (30, 70), (35, 50)])
    assert thin(box(0, 0, 120, 80).difference(star), 2) == []
    assert thin(star, 2) == []
    assert thin(Point(50, 40).buffer(20), 3) == []
    spike = Polygon([(10, 10), (60, 10.5), (10, 11)])
    assert [t.width < 1 for t in thin(spike, 1)] == [True], "a spike of 1 degree is a thin stretch"


def test_a_ring_that_is_thin_all_round_is_one():
    ring = Point(50, 40).buffer(20, quad_segs=64).difference(Point(50, 40).buffer(19.4, quad_segs=64))
    (told,) = thin(ring, 1)
    assert told.width == pytest.approx(0.6, abs=0.01)


def test_a_wall_as_low_as_it_is_wide_is_none():
    """0.8 wide: at depth 0.7 it is a strip lower than wide, at 4 it is a wall."""
    assert "thin-wall" not in found(walled(0.8), depth=0.7)
    assert "thin-wall" in found(walled(0.8), depth=4)
    assert "thin-wall" not in found(walled(2.0), depth=4)


def test_the_width_that_counts_may_be_stated():
    assert "thin-wall" not in found(walled(1.8))
    assert found(walled(1.8), thin_wall=2)["thin-wall"].amount == pytest.approx(1.8, abs=0.01)
    assert "thin-wall" not in found(walled(0.8), thin_wall=0.5)


def test_a_tall_wall_must_be_wider():
    """Hardwood bears 4 times its width: 2 mm are thin at a height of 10, not of 7."""
    assert "thin-wall" not in found(walled(2.0), depth=7)
    wall = found(walled(2.0), depth=10)["thin-wall"]
    assert "10.0 mm high (5.0 times its width)" in wall.text


@pytest.mark.parametrize(("angle", "thin_across"), [(0, False), (90, True)])
def test_across_the_grain_a_wall_must_be_wider(angle, thin_across):
    """1.6 mm of hardwood: enough along the grain (1.0), not across it (2.0)."""
    assert strength("hardwood").wall < 1.6 < strength("hardwood").wall_across
    told = found(walled(1.6, angle=angle), stock=dataclasses.replace(BOARD, grain=0))
    assert ("thin-wall" in told) is thin_across
    if thin_across:
        assert "across the grain" in told["thin-wall"].text
    brass = dataclasses.replace(BOARD, material="brass", grain=0)
    assert found(walled(1.6, angle=angle), stock=brass) == {}, "metal has no grain"


def test_wood_standing_across_the_grain_is_twice_as_wide_as_high():
    """3 mm standing over a floor 2 mm deep is short grain, along it is not; 5 mm is not either."""
    grained = dataclasses.replace(BOARD, grain=90)
    short = found(walled(3.0), stock=grained, depth=2)
    assert short["short-grain"].amount == pytest.approx(3, abs=0.01)
    assert "short-grain" not in found(walled(3.0), stock=dataclasses.replace(BOARD, grain=10), depth=2)
    assert "short-grain" not in found(walled(5.0), stock=grained, depth=2)
    assert "short-grain" not in found(walled(3.0), depth=2), "no grain is stated"


def test_between_v_grooves_the_foot_is_wider_than_the_top():
    """Two 60 degree grooves 6 mm wide, 0.5 mm apart at the face: at half a mm the wall has 1.08 mm."""
    grooves = MultiPolygon([box(30, 33.75, 80, 39.75), box(30, 40.25, 80, 46.25)])
    job = pg.Job("Grooves", BOARD, ROUTER, pg.vgroove(grooves, BIT, stock=BOARD), thin_wall=0.8)
    told = {f.code: f for f in job.prove(grid=0.2).findings}
    assert "thin-wall" not in told, "0.8 mm deep it is 1.4 mm wide"
    steep = pg.VBit(20, diameter=6, cutting=pg.Cutting(16000, 900, 300))
    close = MultiPolygon([box(30, 37.75, 80, 39.75), box(30, 40.25, 80, 42.25)])
    job = pg.Job("Grooves", BOARD, ROUTER, pg.vgroove(close, steep, stock=BOARD), thin_wall=0.9)
    wall = next(f for f in job.prove(grid=0.1).findings if f.code == "thin-wall")
    assert wall.amount == pytest.approx(0.5 + 2 * 0.9 * math.tan(math.radians(10)), abs=0.02)
    assert "0.50 mm wide at the top" in wall.text


def test_the_frame_outside_a_part_is_waste_and_no_wall():
    """A frame of 4 mm round a plate is 3 times as high as wide; a rim of 2.5 mm inside the plate is a wall."""
    plate = box(10, 10, 110, 70)
    mill = pg.EndMill(6, cutting_length=16, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
    bridges = pg.Bridges(4, length=6, thickness=2)

    def told(shape):
        cuts = pg.profile(shape, mill, depth=pg.THROUGH, stock=BOARD, bridges=bridges)
        return {f.code: f for f in pg.Job("Plate", BOARD, ROUTER, cuts).prove(grid=0.2).findings if f.code in WATCHED}

    assert told(plate) == {}
    rim = told(plate.difference(box(30, 12.5, 90, 50)))
    assert rim["thin-wall"].amount == pytest.approx(2.5, abs=0.01)
    assert "12.0 mm high" in rim["thin-wall"].text


def test_without_a_design_walls_are_found_in_the_text():
    """Two slots 6 mm wide, 0.8 mm apart."""
    program = text("G0 X30 Y30", "G0 Z1", "G1 Z-4 F500", "X80", "G0 Z5", "G0 X30 Y36.8", "G0 Z1", "G1 Z-4", "X80")
    proof = prove([program], tools=handmade.TOOLS, stock=BOARD, machine=ROUTER, grid=0.2)
    wall = next(f for f in proof.findings if f.code == "thin-wall")
    assert wall.amount == pytest.approx(0.8, abs=0.005)
    assert wall.where[1] == pytest.approx(33.4, abs=0.1)


def test_hairlines_across_coarse_grain():
    """A V line 0.6 mm wide along X, the grain along Y; along X, or in MDF, or 1.2 mm wide there is nothing to say."""

    def told(width, **stock):
        board = dataclasses.replace(BOARD, **stock)
        line = MultiPolygon([box(20, 30, 80, 30 + width)])
        job = pg.Job("Line", board, ROUTER, pg.vgroove(line, BIT, stock=board))
        return {f.code: f for f in job.prove(grid=0.2).findings if f.code in WATCHED}

    assert told(0.6, grain=90)["hairline"].amount == pytest.approx(0.6, abs=0.01)
    assert told(0.6, grain=90)["hairline"].cut is not None
    assert told(0.6, grain=0) == {}
    assert told(1.2, grain=90) == {}
    assert told(0.6, grain=90, material="mdf") == {}
    assert told(0.6) == {}


def test_bridges_along_the_slot_are_short_grain_where_they_are_high():
    """5 mm long and 3.8 mm high, all round: those whose fibres run along the slot are weak."""
    lifts = [(k, 12, 23) for k in range(4)]
    program = text(*loop(17, 17, 83, 53, lifts=lifts, top=-8.2))

    def told(**stock):
        board = dataclasses.replace(BOARD, **stock)
        proof = prove([program], tools=handmade.TOOLS, stock=board, machine=ROUTER, grid=0.2)
        return [f for f in proof.findings if f.code == "short-grain"]

    (weak,) = told(grain=0)
    assert weak.amount == pytest.approx(5, abs=0.02)
    assert "(2 bridges)" in weak.text
    assert weak.where[1] in (pytest.approx(17, abs=0.1), pytest.approx(53, abs=0.1)), "in the slots along X"
    assert told(grain=90)[0].where[0] in (pytest.approx(17, abs=0.1), pytest.approx(83, abs=0.1))
    assert told() == []
    assert told(grain=0, material="acrylic") == []


@pytest.mark.parametrize(
    ("angle", "grain", "runs_across"), [(0, 0, False), (90, 0, True), (170, 0, False), (10, 100, True), (0, 180, False)]
)
def test_directions_have_no_sign(angle, grain, runs_across):
    assert across(angle, grain) is runs_across


def test_equal_letters_far_apart_and_an_empty_region_give_nothing():
    assert thin(MultiPolygon(), 1) == []
    blocks = shapely.union_all([box(20 * k, 0, 20 * k + 15, 15) for k in range(5)])
    assert thin(blocks, 2) == []
    assert np.isfinite([t.width for t in thin(box(0, 0, 50, 0.5), 1)]).all()


def test_a_floor_beside_the_stock_edge_leaves_a_wall_there():
    region = MultiPolygon([box(0.7, 20, 60, 60)])
    flat = Bounds((Flat(region=region, depth=4),))
    program = text("G0 X3.7 Y23", "G0 Z1", "G1 Z-4 F300", "Y57", tool=2)
    proof = prove([program], tools=handmade.TOOLS, stock=BOARD, bounds=[("tray", handmade.MILL, flat)], grid=0.2)
    wall = next(f for f in proof.findings if f.code == "thin-wall")
    assert wall.amount == pytest.approx(0.7, abs=0.01)
    assert "4.0 mm high" in wall.text


def test_a_wall_that_was_not_cut_free_is_a_residual_and_no_wall():
    region = walled(0.8)
    flat = Bounds((Flat(region=region, depth=4),))
    one_tray = text("G0 X49 Y23", "G0 Z1", "G1 Z-4 F300", "X71", "Y36.6", "X49", "Y23", tool=2)
    proof = prove([one_tray], tools=handmade.TOOLS, stock=BOARD, bounds=[("trays", handmade.MILL, flat)], grid=0.2)
    codes = {f.code for f in proof.findings}
    assert "residual" in codes
    assert "thin-wall" not in codes


def test_without_a_design_very_many_sloping_moves_are_said_to_be_unchecked(monkeypatch):
    monkeypatch.setattr("pathgen.proof.thin.MOST_SLOPING", 1)
    slopes = text("G0 X20 Y20", "G0 Z1", "G1 Z-2 F300", "X40 Z-3", "X60 Z-2", tool=1)
    for bounds, said in ((None, True), ((), False)):
        proof = prove([slopes], tools=handmade.TOOLS, stock=BOARD, bounds=bounds, grid=0.5)
        assert any("thin walls were not looked for" in sentence for sentence in proof.unchecked) is said


def test_walls_are_looked_at_on_any_grid():
    """Samples further apart than a wall's surroundings are wide: the nearest one to either side says how deep it is."""
    job = pg.Job("Walls", BOARD, ROUTER, pg.pocket(walled(1.0), MILL, depth=8.0, stock=BOARD))
    for grid in (0.5, 1.0, 2.0, 5.0):
        told = [f for f in job.prove(grid=grid).findings if f.code == "thin-wall"]
        assert [f.amount for f in told] == pytest.approx([1.0], abs=0.01), grid
