"""Raised work, measured densely by the tools' closed forms: walls on the drawn outline, floors at their depth."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from closed_form import distance, inner_points, outline_points, swept
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, box

import pathgen as pg
from pathgen.errors import ArgumentError, DrawingError

CUTTING = pg.Cutting(16000, 1800, 500, 3, 2.5)
BOARD = pg.Stock(220, 120, 18, material="hardwood", thickness_range=(17.8, 18.2))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
MILL = pg.EndMill(6.35, cutting_length=22, cutting=CUTTING)
SMALL = pg.EndMill(3.175, cutting_length=22, cutting=replace(CUTTING, stepdown=1.5, stepover=1.2))


def bit_of(angle, *, diameter=14.0, tip=0.0, stepover=0.3):
    return pg.VBit(angle, diameter=diameter, tip=tip, cutting=pg.Cutting(16000, 1500, 500, 6, stepover))


def wanted(q, letters, bit, depth, loss=0.0):
    """The asked height at q, and the sine that turns heights into distances normal to it there."""
    slope = math.tan(math.radians(bit.angle / 2))
    d = -distance(letters, q)
    z = -np.clip(loss + d / slope, 0, depth)
    return z, np.where((z < 0) & (z > -depth), math.sin(math.radians(bit.angle / 2)), 1.0)


def measured(cuts, letters, bit, depth, field, loss=0.0):
    """(gouge, residual on the slopes) in mm, normal to the asked surface, within the field less what its edge takes."""
    slope = math.tan(math.radians(bit.angle / 2))
    near = letters.buffer(depth * slope).intersection(field)
    q = np.concatenate([outline_points(letters, 0.4), inner_points(field, 3000), inner_points(near, 4000, seed=2)])
    z = np.min([swept(c, q) for c in cuts], axis=0)
    asked, sine = wanted(q, letters, bit, depth, loss)
    gouge = (asked - z) * sine
    sloping = asked > -depth + 1e-6
    assert np.count_nonzero(sloping) > 500
    assert np.count_nonzero(~sloping) > 500
    return float(gouge.max()), float(((z - asked) * sine)[sloping].max())


@pytest.mark.parametrize(
    ("font", "angle"),
    [
        ("serif", 60),
        *(pytest.param(f, a, marks=pytest.mark.slow) for f, a in (("sans", 60), ("serif", 90), ("sans", 90))),
    ],
)
def test_letters_stand_on_their_drawn_outline(font, angle):
    name = pg.text("Fern", height=25, font=None if font == "serif" else font)
    field = pg.border(name, margin=12)
    bit = bit_of(angle)
    cuts = pg.raised(name, field, floor_tool=MILL, bit=bit, depth=4)
    gouge, residual = measured(cuts, name.region, bit, 4, pg.border(name, margin=12 - 4 * bit.slope - 0.1))
    assert gouge <= 0.01
    assert residual <= 0.02


def test_the_drawn_width_appears_when_the_face_is_skimmed():
    name, bit = pg.text("Elm", height=25), bit_of(60)
    field = pg.border(name, margin=12)
    cuts = pg.raised(name, field, floor_tool=MILL, bit=bit, depth=5, face_loss=1.5)
    gouge, residual = measured(cuts, name.region, bit, 5, pg.border(name, margin=8), loss=1.5)
    assert gouge <= 0.01
    assert residual <= 0.02
    on_outline = swept(cuts[-1], outline_points(name.region, 1.0))
    assert on_outline == pytest.approx(np.full(len(on_outline), -1.5), abs=0.02)


def test_a_groove_with_face_loss_has_its_drawn_width_below_the_face():
    """The cone's closed form: at a depth of 1 mm the walls stand on the outline, above they are wider."""
    region, bit = Point(0, 0).buffer(6, quad_segs=64).difference(box(-6, -1, 0, 1)), bit_of(60, diameter=30)
    (cut,) = pg.vgroove(region, bit, depth_limit=20, face_loss=1.0)
    q = np.concatenate([outline_points(region, 0.3), inner_points(region.buffer(0.5), 4000)])
    z, d = swept(cut, q), distance(MultiPolygon([region]), q)
    asked = -np.maximum(1.0 + d / bit.slope, 0)
    assert np.abs(z - asked).max() * math.sin(math.radians(30)) <= 0.01
    assert cut.bounds.rules[0].widening


@pytest.mark.parametrize(
    "kind", ["rounded", *(pytest.param(k, marks=pytest.mark.slow) for k in ("square", "oval", "following"))]
)
def test_every_border_proves(kind):
    name = pg.place(pg.text("Iris", height=25), BOARD, fit="none")
    cuts = pg.raised(name, pg.border(name, margin=9, kind=kind), floor_tool=MILL, bit=bit_of(60), depth=3, stock=BOARD)
    proof = pg.Job("Iris", BOARD, ROUTER, cuts).prove()
    assert proof.ok, str(proof)
    assert proof.gouge <= 0.01
    assert proof.residual <= 0.05


def test_a_background_runs_out_of_the_stock():
    name = pg.place(pg.text("Iris", height=25), BOARD, fit="none")
    cuts = pg.raised(name, floor_tool=MILL, bit=bit_of(60), depth=3, stock=BOARD, face_loss=0.5)
    job = pg.Job("Iris", BOARD, ROUTER, cuts)
    proof = job.prove()
    assert proof.ok, str(proof)
    assert proof.gouge <= 0.01
    assert proof.residual <= 0.05
    assert not any(f.code == "outside-stock" for f in proof.findings)
    # the bit serves the letters only: it never goes near the stock's edge
    bit_xy = np.concatenate([p.path.points[:, :2] for p in cuts[-1].passes])
    assert name.region.buffer(3 * bit_of(60).slope + 4).covers(shapely.MultiPoint(bit_xy))
    corner = [proof.height.array[0, 0], proof.height.array[-1, -1], proof.height.array[0, -1]]
    assert corner == pytest.approx([-3] * 3, abs=0.001)


def test_the_proof_refuses_letters_that_were_cut_as_if_drawn_elsewhere():
    name = pg.place(pg.text("Iris", height=25), BOARD, fit="none")
    cuts = pg.raised(name, floor_tool=MILL, bit=bit_of(60), depth=3, stock=BOARD)
    other = pg.raised(affinity.translate(name.region, 0.1, 0), floor_tool=MILL, bit=bit_of(60), depth=3, stock=BOARD)
    swapped = [replace(b, bounds=a.bounds, after=()) for a, b in zip(cuts, other, strict=True)]
    proof = pg.Job("Iris", BOARD, ROUTER, swapped).prove()
    assert proof.ok is False
    assert 0.05 <= proof.gouge <= 0.15


def test_a_shallow_valley_is_as_deep_as_it_may_be_and_said():
    """Two bars 2 mm apart: at 60 degrees the valley between them is 1 / tan 30 deg deep."""
    bars = MultiPolygon([box(20, 20, 30, 60), box(32, 20, 42, 60)])
    cuts = pg.raised(bars, box(0, 0, 70, 80), floor_tool=MILL, bit=bit_of(60), depth=4)
    note = next(n for n in cuts[-1].notes if n.code == "valley-shallow")
    assert note.amount == pytest.approx(math.sqrt(3), abs=0.01)
    assert note.where[0] == pytest.approx(31, abs=0.01)
    assert swept(cuts[-1], np.array([[31.0, 40.0]]))[0] == pytest.approx(-math.sqrt(3), abs=0.01)


def test_an_inside_corner_comes_out_sharp():
    """Along the bisector of an inside corner the floor of the valley rises to the face at the corner itself."""
    angle = box(20, 20, 60, 30).union(box(20, 20, 30, 60))
    bit = bit_of(60)
    cuts = pg.raised(angle, box(0, 0, 90, 90), floor_tool=MILL, bit=bit, depth=4)
    along = np.linspace(0.01, 1.5, 40)
    q = np.column_stack([30 + along, 30 + along])
    z = np.min([swept(c, q) for c in cuts], axis=0)
    assert z == pytest.approx(-along / bit.slope, abs=0.01)


def test_end_mills_run_first_and_leave_the_walls():
    name = pg.text("Fern", height=40)
    cuts = pg.raised(name, pg.border(name, margin=14), floor_tool=(MILL, SMALL), bit=bit_of(60), depth=4)
    assert [type(c.tool) for c in cuts] == [pg.EndMill, pg.EndMill, pg.VBit]
    assert cuts[-1].after == cuts[:-1]
    q = inner_points(name.region.buffer(4 * bit_of(60).slope - 0.02), 4000)
    assert np.min([swept(c, q) for c in cuts[:-1]], axis=0).min() == 0.0


def test_borders_keep_their_margin():
    name = pg.text("Fern Iris", height=20)
    for kind in ("square", "rounded", "oval", "following"):
        field = pg.border(name, margin=7, kind=kind)
        assert field.is_valid
        assert not field.interiors
        assert field.exterior.distance(name.region) >= 7 - 0.01
    x0, y0, x1, y1 = name.region.bounds
    assert pg.border(name, margin=7).bounds == pytest.approx((x0 - 7, y0 - 7, x1 + 7, y1 + 7))


def test_bad_arguments_are_refused_with_the_way_out():
    name = pg.text("Fern", height=25)
    field = pg.border(name, margin=10)
    with pytest.raises(ArgumentError, match="cone"):
        pg.raised(name, field, floor_tool=MILL, bit=bit_of(60, diameter=4), depth=4)
    with pytest.raises(ArgumentError, match="VBit"):
        pg.raised(name, field, floor_tool=MILL, bit=MILL, depth=4)
    with pytest.raises(ArgumentError, match="end mill"):
        pg.raised(name, field, floor_tool=bit_of(60), bit=bit_of(60), depth=4)
    with pytest.raises(ArgumentError, match="floor_tool"):
        pg.raised(name, field, floor_tool=(), bit=bit_of(60), depth=4)
    with pytest.raises(ArgumentError, match="border"):
        pg.raised(name, floor_tool=MILL, bit=bit_of(60), depth=4)
    with pytest.raises(ArgumentError, match="beyond its border"):
        pg.raised(name, box(0, 0, 20, 20), floor_tool=MILL, bit=bit_of(60), depth=4)
    with pytest.raises(ArgumentError, match="face_loss"):
        pg.raised(name, field, floor_tool=MILL, bit=bit_of(60), depth=4, face_loss=4)
    with pytest.raises(ArgumentError, match="through the board"):
        pg.raised(name, field, floor_tool=MILL, bit=bit_of(30, diameter=30), depth=17.9, stock=BOARD)
    with pytest.raises(DrawingError):
        pg.raised(MultiPolygon(), field, floor_tool=MILL, bit=bit_of(60), depth=4)
    with pytest.raises(ArgumentError, match="radius"):
        pg.border(name, margin=5, kind="oval", radius=3)
    with pytest.raises(ArgumentError, match="kind"):
        pg.border(name, margin=5, kind="star")
    with pytest.raises(ArgumentError, match="both"):
        pg.vgroove(name, bit_of(60), depth_limit=5, begin=1, face_loss=1)


def test_what_is_reported_as_out_of_reach_is_what_the_opening_says():
    """The floor less its opening by the cutter's disc (plain buffers), within 1 %."""
    name, bit = pg.text("Fern", height=40), bit_of(60)
    field = pg.border(name, margin=14)
    (mill, _) = pg.raised(name, field, floor_tool=MILL, bit=bit, depth=4)
    floor = field.difference(name.region).buffer(-4 * bit.slope, quad_segs=64)
    opened = floor.buffer(-MILL.diameter / 2, quad_segs=64).buffer(MILL.diameter / 2, quad_segs=64)
    expected = floor.difference(opened)
    assert expected.area > 10
    assert mill.unreached.area == pytest.approx(expected.area, rel=0.01)
    assert mill.unreached.symmetric_difference(expected).area < 0.01 * expected.area


@pytest.mark.slow
@pytest.mark.parametrize("font", [None, "sans"])
@pytest.mark.parametrize("height", [25, 60])
def test_raised_text_with_a_chain_of_floor_tools(height, font):
    """Two end mills and the bit: gouge at most 0.01 mm, nothing left over 0.05 mm that a tool could reach."""
    board = pg.Stock(300, 140, 18, material="hardwood", thickness_range=(17.8, 18.2))
    name = pg.place(pg.text("Fern", height=height, font=font), board, fit="none")
    field = pg.border(name, margin=12, kind="rounded")
    cuts = pg.raised(name, field, floor_tool=(MILL, SMALL), bit=bit_of(60), depth=4, stock=board)
    assert [c.tool.diameter for c in cuts] == [6.35, 3.175, 14]
    proof = pg.Job("Fern", board, ROUTER, cuts).prove()
    assert proof.ok, str(proof)
    assert proof.gouge <= 0.01
    assert proof.residual <= 0.05
