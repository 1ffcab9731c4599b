"""Tapered inlays: walls that meet along their whole height, measured apart from planner and proof."""

import math

import numpy as np
import pytest
import shapely
from closed_form import distance, inner_points, swept
from shapely import affinity
from shapely.geometry import MultiPolygon
from test_shared import star

import pathgen as pg
from pathgen.errors import ArgumentError

ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
BOARD = pg.Stock(110, 80, 15, material="hardwood", thickness_range=(14.9, 15.1))
MILL = pg.EndMill(3.175, cutting_length=14, cutting=pg.Cutting(16000, 1200, 300, 2, 1.2))


def bit_of(angle, *, tip=0.0):
    return pg.VBit(angle, diameter=20, tip=tip, cutting=pg.Cutting(16000, 1200, 400, 6, 0.2))


def letters(words, font=None):
    return pg.place(pg.text(words, height=36, font=font, tolerance=0.001), BOARD, fit="none")


SHAPES = {
    "serif": letters("E&"),
    "sans": letters("Rg", font="sans"),
    "star": pg.place(star(5, 30, 13), BOARD, fit="none"),
}


def made(shape, angle, **more):
    more = {"depth": 4.0, "under_gap": 0.4, "proud": 0.8, **more}
    return pg.tapered_inlay(
        SHAPES[shape], bit_of(angle), floor_tool=MILL, stock=BOARD, materials=("hardwood", "hardwood"), **more
    )


def jobs(inlay):
    return pg.Job("pocket", BOARD, ROUTER, inlay.pocket), pg.Job("plug", inlay.plug_stock, ROUTER, inlay.plug)


@pytest.mark.parametrize(
    ("shape", "angle"),
    [("star", 60), ("star", 90), *(pytest.param("serif", a, marks=pytest.mark.slow) for a in (60, 90))],
)
def test_walls_meet_along_their_whole_height(shape, angle):
    """The closed forms of all passes: pocket min(d, r / t), plug S - r / t inside; they differ by S everywhere."""
    inlay, bit = made(shape, angle), bit_of(angle)
    drawn = inlay.pocket_region
    seat = inlay.depth - inlay.under_gap
    q = inner_points(drawn, 3000)
    there = q * np.array([-1, 1]) + np.array(inlay.place[4:])
    pocket = np.min([swept(c, q) for c in inlay.pocket], axis=0)
    plug = np.min([swept(c, there) for c in inlay.plug], axis=0)
    gap = (-seat - plug) - pocket
    wall = distance(drawn, q) < seat * bit.slope - 0.05
    assert np.count_nonzero(wall) > 300
    assert np.abs(gap[wall]).max() * math.sin(math.radians(angle / 2)) <= 0.02
    floor = distance(drawn, q) > inlay.depth * bit.slope + 0.05
    if floor.any():
        assert gap[floor].min() >= 0  # bit ridges may stand on the floor, in the under-gap
        assert gap[floor].max() == pytest.approx(0.4, abs=0.02)
    around = inner_points(inlay.plug_region.buffer(seat + 3).difference(inlay.plug_region.buffer(0.9)), 1500)
    deep = np.min([swept(c, around) for c in inlay.plug], axis=0)
    assert deep.min() == pytest.approx(-(seat + 0.8), abs=1e-3)


@pytest.mark.parametrize(
    ("shape", "angle"),
    [
        ("star", 60),
        *(pytest.param(f, a, marks=pytest.mark.slow) for f in ("serif", "sans") for a in (60, 90)),
    ],
)  # fmt: skip
def test_both_halves_prove_and_fit(shape, angle):
    """Contact at least 98 % of the walls, open face at most 0.1 %, interference at most 0.02, heights within 0.02."""
    inlay = made(shape, angle)
    pocket, plug = jobs(inlay)
    assert pocket.prove().ok, str(pocket.prove())
    assert plug.prove().ok, str(plug.prove())
    fit = pg.mate(pocket, plug, asked=inlay)
    assert fit.ok, str(fit)
    assert fit.contact >= 0.98
    assert fit.open_area <= 0.001
    assert fit.interference <= 0.02
    assert fit.proud == pytest.approx(0.8, abs=0.02)
    if fit.under_gap is not None:
        assert fit.under_gap == pytest.approx(0.4, abs=0.02)


@pytest.mark.slow
def test_raised_work_on_the_shrunk_artwork_is_refused():
    """It never interferes, so a check of interference alone would let it pass: it is open at the face."""
    inlay, bit = made("serif", 60), bit_of(60)
    seat = inlay.depth - inlay.under_gap
    shrunk = inlay.plug_region.buffer(-seat * bit.slope, quad_segs=64)
    wrong = pg.raised(shrunk, floor_tool=MILL, bit=bit, depth=seat + 0.8, stock=inlay.plug_stock)
    fit = pg.mate(jobs(inlay)[0], pg.Job("plug", inlay.plug_stock, ROUTER, wrong), asked=inlay)
    assert fit.ok is False
    assert {"fit-contact", "fit-open"} <= {f.code for f in fit.findings}
    assert fit.open_area > 0.1


@pytest.mark.slow
def test_a_plug_that_is_not_mirrored_is_refused():
    inlay = made("serif", 60)
    across = inlay.plug_stock.width / 2
    seat = inlay.depth - inlay.under_gap
    straight = pg.raised(
        pg.mirror(inlay.plug_region, across=across), floor_tool=MILL, bit=bit_of(60), depth=seat + 0.8,
        face_loss=seat, stock=inlay.plug_stock,
    )  # fmt: skip
    fit = pg.mate(jobs(inlay)[0], pg.Job("plug", inlay.plug_stock, ROUTER, straight), asked=inlay)
    assert fit.ok is False
    assert fit.interference > 0.5


def test_a_bit_of_another_angle_is_refused():
    inlay = made("star", 60)
    other = pg.tapered_inlay(
        SHAPES["star"], bit_of(62), depth=4, under_gap=0.4, proud=0.8, floor_tool=MILL, stock=BOARD,
        plug_stock=inlay.plug_stock, materials=("hardwood", "hardwood"),
    )  # fmt: skip
    fit = pg.mate(jobs(inlay)[0], pg.Job("plug", inlay.plug_stock, ROUTER, other.plug), asked=inlay)
    assert fit.ok is False


def test_without_numbers_the_halves_are_laid_over_each_other():
    inlay = made("star", 90)
    fit = pg.mate(*jobs(inlay))
    assert fit.ok
    assert fit.seat == pytest.approx(-3.6, abs=0.02)
    assert fit.section.shape[1] == 4


def test_a_flat_tip_rounds_the_drawing_for_both_halves():
    inlay = pg.tapered_inlay(
        SHAPES["star"], bit_of(60, tip=0.3), depth=4, under_gap=0.4, proud=0.8, floor_tool=MILL, stock=BOARD,
        materials=("hardwood", "hardwood"),
    )  # fmt: skip
    assert 0 < inlay.change.farthest < 0.5
    fit = pg.mate(*jobs(inlay), asked=inlay)
    assert fit.contact >= 0.97
    # where strokes are narrow the pocket's bottom is as flat as the tip, and the plug's ridge is sharp
    note = next(n for c in inlay.pocket for n in c.notes if n.code == "inlay-tip")
    assert note.amount == pytest.approx(0.15 * math.cos(math.radians(30)))
    assert 0.02 < fit.interference <= note.amount
    assert "fit-interferes" in {f.code for f in fit.findings}


def test_ridges_without_a_gap_and_thin_detail_are_found_before_anything_is_cut():
    thin = MultiPolygon([affinity.translate(p, 40, 40) for p in star(5, 25, 6).geoms])
    inlay = pg.tapered_inlay(
        thin, bit_of(90), depth=5, under_gap=0.4, proud=0.8, floor_tool=MILL, stock=BOARD,
        materials=("hardwood", "hardwood"), detail=1.5,
    )  # fmt: skip
    notes = {n.code: n for c in inlay.pocket for n in c.notes}
    assert notes["inlay-ridge"].amount == pytest.approx(2 * 4.6)
    assert thin.contains(shapely.Point(notes["inlay-ridge"].where[:2]))
    assert "inlay-detail" in notes


def test_bad_arguments_are_refused_with_the_way_out():
    shape, both = SHAPES["star"], ("hardwood", "hardwood")
    for more, match in (
        ({"under_gap": 4.0}, "leaves no wall"),
        ({"depth": 30.0}, "cone"),
        ({"proud": 0}, "proud"),
        ({"materials": None}, "material"),
        ({"floor_tool": bit_of(60)}, "end mill"),
        ({"plug_stock": pg.Stock(100, 80, 4, material="hardwood")}, "through its 4 mm board"),
    ):
        with pytest.raises(ArgumentError, match=match):
            pg.tapered_inlay(shape, bit_of(60), **{"depth": 4.0, "materials": both, **more})
    with pytest.raises(ArgumentError, match="VBit"):
        pg.tapered_inlay(shape, MILL, depth=4, materials=both)
