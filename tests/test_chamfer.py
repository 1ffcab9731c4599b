"""Chamfers: exactly as wide as asked at the face, in sharp ridges at convex corners, never into what stays."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, box

import pathgen as pg

ROUTER = pg.Machine(travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000)
BIT = pg.VBit(90, diameter=12.7, tip=0.2, flutes=1, cutting=pg.Cutting(16000, 1500, 500))
MILL = pg.EndMill(6, flutes=1, cutting_length=25, cutting=pg.Cutting(16000, 1800, 500, 3, 2.7))
PLATE = box(30, 20, 90, 60)
BRACKET = shapely.union(box(30, 20, 60, 60), box(30, 20, 90, 40)).difference(Point(45, 45).buffer(8, quad_segs=64))


def board(**more):
    return pg.Stock(120, 80, 12, material="hardwood", thickness_range=(11.8, 12.2), **more)


def job(shape, width, bit=BIT, side="outside", outline=True, **more):
    stock = board()
    cuts = [*pg.chamfer(shape, bit, width=width, side=side, stock=stock, **more)]
    if outline:
        held = pg.Bridges(4, length=6, thickness=2)
        cuts += pg.profile(shape, MILL, depth=pg.THROUGH, side=side, stock=stock, bridges=held)
    return pg.Job("Edge", stock, ROUTER, cuts)


@pytest.mark.parametrize(
    ("angle", "width", "side"),
    [(60, 0.5, "outside"), (90, 0.5, "inside"), (120, 1.5, "outside")],
)
def test_the_chamfer_is_as_wide_as_asked_at_the_face(angle, width, side):
    """Measured in the simulated part, across the middle of the left edge of the plate."""
    bit = pg.VBit(angle, diameter=12.7, tip=0.2, flutes=1, cutting=BIT.cutting)
    proof = job(box(30, 30, 50, 50), width, bit, side, outline=False).prove(grid=0.04)
    assert proof.ok, proof.findings
    heights = proof.height
    row = int((40 - heights.origin[1]) / heights.pixel)
    x = heights.origin[0] + (np.arange(heights.array.shape[1]) + 0.5) * heights.pixel
    across = heights.array[row]
    into = x - 30 if side == "outside" else 30 - x  # how far into the material that stays
    near = np.abs(x - 30) < 6
    cut = near & (across < -1e-4)
    assert width - 1.01 * heights.pixel < into[cut].max() < width + 1e-6
    # the slope is the bit's: from the face line down to the outline
    slope = near & (into > 0.05) & (into < width - 0.05)
    want = -(width - into[slope]) / math.tan(math.radians(0.5 * angle))
    assert np.abs(across[slope] - want).max() < 0.005
    assert across[near].min() < -width / math.tan(math.radians(0.5 * angle))


@pytest.mark.parametrize(
    ("shape", "side"),
    [
        (PLATE, "outside"),
        pytest.param(BRACKET, "outside", marks=pytest.mark.slow),
        (Point(60, 40).buffer(25, quad_segs=64), "inside"),
    ],
)
def test_chamfer_and_outline_together_are_proved(shape, side):
    done = job(shape, 1.5, side=side)
    assert next(c.name for c in done.tool_cuts) == "chamfer"
    proof = done.prove()
    assert proof.ok, proof.findings


def test_slopes_meet_in_a_sharp_ridge_at_a_convex_corner():
    heights = job(PLATE, 1.5, outline=False).prove(grid=0.05).height
    x, y = (heights.origin[k] + (np.arange(heights.array.shape[1 - k]) + 0.5) * heights.pixel for k in (0, 1))
    inner = (x[None, :] > 31.52) & (x[None, :] < 88.48) & (y[:, None] > 21.52) & (y[:, None] < 58.48)
    assert float(heights.array[inner].min()) == 0.0  # the face within 1.5 mm is whole, right into its corners
    # what stays near the corner is the deeper of two planes, one for each edge: its ridge runs to the outline's corner
    near = (x > 30.05) & (x < 31.45)
    rows = (y > 20.05) & (y < 21.45)
    plane = np.maximum(31.5 - x[near][None, :], 21.5 - y[rows][:, None])
    assert np.abs(heights.array[np.ix_(rows, near)] + plane).max() < 0.005


@settings(deadline=None, max_examples=20)
@given(turn=st.floats(0, 90), width=st.floats(0.2, 3.0))
def test_the_tip_runs_at_one_distance_from_the_outline(turn, width):
    shape = shapely.affinity.rotate(PLATE, turn)
    (cut,) = pg.chamfer(shape, BIT, width=width)
    away = 0.1 + cut.depth * math.tan(math.radians(45)) - width
    for p in cut.passes:
        if p.role == "cut":
            xy = p.path.flattened(0.0005)[:, :2]
            gap = shapely.distance(shapely.points(xy), shape)
            assert np.abs(gap - away).max() < 0.005


def test_climb_runs_clockwise_round_a_part_and_the_other_way_in_its_holes():
    def turns(**more):
        (cut,) = pg.chamfer(BRACKET, BIT, width=1, **more)
        rings = [p.path.flattened(0.01)[:, :2] for p in cut.passes if p.role == "cut"]
        return {shapely.Polygon(r).area > 300: shapely.is_ccw(shapely.LinearRing(r)) for r in rings}

    assert turns() == {True: False, False: True}
    other = replace(BIT.cutting, direction="conventional")
    assert turns(cutting=other) == {True: True, False: False}
    (inside,) = pg.chamfer(PLATE, BIT, width=1, side="inside")
    ring = next(p.path.points[:, :2] for p in inside.passes if p.role == "cut")
    assert shapely.is_ccw(shapely.LinearRing(ring))


def test_the_proof_sees_a_chamfer_too_wide_and_one_too_narrow():
    done = job(PLATE, 1.5, outline=False)
    (asked,) = done.tool_cuts
    for width, what in ((1.55, "gouge"), (1.45, "residual")):
        (made,) = pg.chamfer(PLATE, BIT, width=width, stock=done.stock)
        proof = pg.Job("Edge", done.stock, ROUTER, replace(made, bounds=asked.bounds)).prove()
        assert what in {f.code for f in proof.findings if f.severity == "error"}
        # both the slope and the tip's flat are 0.05 lower, or higher: normal to the flat that is 0.05
        assert getattr(proof, what) == pytest.approx(0.05, abs=0.015)


def test_a_concave_corner_keeps_what_the_bit_cannot_reach_and_says_so():
    (cut,) = pg.chamfer(BRACKET, BIT, width=1.5)
    (note,) = [n for n in cut.notes if n.code == "unreached"]
    assert Point(note.where[:2]).distance(Point(60, 40)) < 3
    assert not [n for n in pg.chamfer(PLATE, BIT, width=1.5)[0].notes if n.code == "unreached"]


def test_where_a_hole_is_small_the_tip_runs_at_the_foot_of_the_chamfer():
    hole = PLATE.difference(Point(60, 40).buffer(0.3, quad_segs=32))
    (cut,) = pg.chamfer(hole, BIT, width=1.0)
    assert cut.depth == pytest.approx(1.0)
    (roomy,) = pg.chamfer(PLATE, BIT, width=1.0)
    assert roomy.depth == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("shape", "more", "words"),
    [
        (PLATE, {"bit": MILL}, "take a V bit"),
        (PLATE, {"side": "along"}, "'outside'"),
        (PLATE, {"width": 0}, "width"),
        (PLATE, {"width": 7}, "larger bit"),
        (PLATE, {"width": 5, "bit": pg.VBit(30, diameter=12.7, cutting=BIT.cutting)}, "blunter bit"),
        (box(30, 20, 90, 22.5), {}, "at (60.00, 21.25) the part is narrower"),
        (PLATE.difference(shapely.union(box(40, 30, 50, 50), box(52, 30, 60, 50))), {}, "narrower than two chamfers"),
        (PLATE.difference(Point(60, 40).buffer(0.05)), {}, "does not fit into the hole at (60.00, 40.00)"),
        (box(0.3, 20, 90, 60), {}, "beside the stock"),
        (shapely.union(PLATE, box(90, 39, 100, 41)), {}, "narrow"),
    ],
)
def test_what_cannot_be_chamfered_is_refused_in_words(shape, more, words):
    given = {"bit": BIT, "width": 1.5, "stock": board(), **more}
    with pytest.raises(pg.ArgumentError, match=re.escape(words)):
        pg.chamfer(shape, given.pop("bit"), **given)


@pytest.mark.parametrize(
    "shape",
    [
        shapely.affinity.scale(Point(60, 40).buffer(20, quad_segs=64), 1.8, 1),
        PLATE.difference(Point(60, 40).buffer(1.2, quad_segs=32)),
        shapely.Polygon([(20, 15), (100, 22), (85, 65), (55, 35), (25, 68)]),
        pg.place(pg.text("F", height=40), board()).region,
    ],
    ids=["oval", "small hole", "slanting", "letter"],
)
@pytest.mark.slow
def test_chamfers_of_curves_small_holes_and_letters_are_proved(shape):
    bit = pg.VBit(60, diameter=12.7, tip=0.1, flutes=1, cutting=BIT.cutting)
    proof = job(shape, 0.6, bit, outline=False).prove()
    assert proof.ok, proof.findings


@pytest.mark.parametrize("radius", [0.7, 3.0])
def test_a_v_bit_along_a_ring_tighter_than_itself_is_proved(radius):
    """Its cones leave a peak in the middle, which no two walls would."""
    ring = Point(60, 40).buffer(radius, quad_segs=32).exterior
    stock = board()
    (cut,) = pg.profile(shapely.LineString(ring), BIT, depth=1.5, side="along", stock=stock)
    proof = pg.Job("Ring", stock, ROUTER, cut).prove()
    assert proof.ok, proof.findings
