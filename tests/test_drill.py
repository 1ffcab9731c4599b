"""Drilling: depth of the full diameter, the point below it, pecks and lifts, and what a proof sees of each."""

import itertools
import math
import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPoint, MultiPolygon, Point, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Hole
from pathgen.proof.design import design
from pathgen.proof.grid import Grid
from pathgen.shape.circles import circles

ROUTER = pg.Machine(travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000)
DRILL = pg.Drill(5, cutting_length=60, cutting=pg.Cutting(3000, 300, 150, cooling="mist"))
POINT = 2.5 / math.tan(math.radians(59))
PLACES = [(20, 20), (100, 20), (60, 60)]


def board(material="hardwood", **more):
    return pg.Stock(120, 80, 18, material=material, thickness_range=(17.7, 18.3), **more)


def drilled(depth, stock=None, points=PLACES, **more):
    stock = stock or board()
    return pg.Job("Holes", stock, ROUTER, pg.drill(points, DRILL, depth=depth, stock=stock, **more))


def test_the_point_of_118_degrees_is_three_tenths_of_the_diameter_high():
    """tan 31 degrees / 2 = 0.3004 (elementary geometry; drill tables give 0.3 D)."""
    rule = Hole(points=((0.0, 0.0),), diameter=10, depth=1)
    assert rule.point == pytest.approx(3.0043, abs=1e-4)


@pytest.mark.parametrize("depth", [3.0, 8.0, 14.0])
@pytest.mark.parametrize("material", ["hardwood", "aluminium", "acrylic"])
def test_a_blind_hole_has_its_full_diameter_to_the_depth_and_is_proved(depth, material):
    job = drilled(depth, board(material))
    proof = job.prove()
    assert proof.ok, proof.findings
    assert proof.gouge < 0.001
    assert proof.residual < 0.001
    heights = proof.height.array
    assert float(heights.min()) == pytest.approx(-(depth + POINT), abs=0.1)
    (cut,) = job.tool_cuts
    assert cut.depth == pytest.approx(depth + POINT, abs=1e-9)
    removed = 3 * math.pi * 2.5**2 * (depth + POINT / 3)
    assert proof.removed == pytest.approx(removed, rel=0.02)


def test_a_through_hole_is_wide_below_the_thickest_board_and_says_how_deep_the_table_is_drilled():
    job = drilled(pg.THROUGH)
    assert job.prove().ok, job.prove().findings
    (cut,) = job.tool_cuts
    assert cut.through
    assert cut.depth == pytest.approx(18 + 0.3 + 0.2 + POINT, abs=1e-9)
    (note,) = [n for n in cut.notes if n.code == "table-drilled"]
    assert note.amount == pytest.approx(18.5 + POINT - 17.7, abs=1e-9)
    below = drilled(pg.THROUGH, below=1.0).tool_cuts[0]
    assert below.depth == pytest.approx(19 + POINT, abs=1e-9)


def moves(job):
    """(word, z) of every move along Z of the first hole."""
    text = job._texts()[0].text
    part = text.split("(PASS 1.1")[1].split("(PASS 1.2")[0]
    out, mode = [], "G0"
    for line in part.splitlines():
        mode = found[0] if (found := re.findall(r"G[01]\b", line)) else mode
        if z := re.search(r"Z(-?[\d.]+)", line):
            out.append((mode, float(z[1])))
    return out


@pytest.mark.parametrize("material", ["aluminium", "acrylic"])
def test_in_metal_and_plastic_the_drill_leaves_the_hole_after_every_peck(material):
    zs = moves(drilled(14.0, board(material)))
    depth = 0.0
    for (_, before), (word, z) in itertools.pairwise(zs):
        if word == "G1" and z < 0:
            assert before - z <= 5.0 + 1.0 + 1e-6  # one diameter, and the gap it begins above
            assert depth - z <= 5.0 + 1e-6
            depth = z
        elif z > before:
            assert word == "G0"
            assert z >= 1.0 - 1e-9
        elif word == "G0" and z < 0:
            assert z == pytest.approx(depth + 0.5, abs=1e-3)
    assert depth == pytest.approx(-(14 + POINT), abs=1e-3)


def test_in_wood_a_short_lift_breaks_the_chip_and_every_three_diameters_the_drill_comes_out():
    stock = pg.Stock(120, 80, 60, material="hardwood", thickness_range=(59, 61))
    zs = moves(drilled(40.0, stock))
    assert drilled(40.0, stock).prove().ok
    tops = [z for (_, a), (w, z) in itertools.pairwise(zs) if w == "G0" and z > a]
    inside = [z for z in tops if z < 0]
    assert inside
    assert len(tops) > len(inside)
    out = [0.0] + [a for (_, a), (w, z) in itertools.pairwise(zs) if w == "G0" and z > 0]
    assert max(a - b for a, b in itertools.pairwise(out)) <= 3 * 5.0 + 5.0


@settings(deadline=None, max_examples=25)
@given(depth=st.floats(1, 50), peck=st.floats(1, 5))
def test_no_bite_is_deeper_than_the_peck(depth, peck):
    (cut,) = pg.drill([(0, 0)], DRILL, depth=depth, peck=peck)
    ends = [p.path.end[2] for p in cut.passes if p.role == "cut"]
    assert np.diff([0.0, *ends]).min() >= -peck - 1e-9
    assert ends[-1] == pytest.approx(-(depth + POINT), abs=1e-9)
    for a, b in zip(cut.passes, cut.passes[1:], strict=False):
        assert np.allclose(a.path.end, b.path.start)


def wrong(job, edit):
    proof = job.prove(texts=[edit(p.text) for p in job._texts()])
    return proof, {f.code for f in proof.findings if f.severity == "error"}


def test_the_proof_sees_a_hole_beside_its_place():
    job = drilled(8.0)
    proof, codes = wrong(job, lambda t: t.replace("X60.0 Y60.0", "X60.05 Y60.0"))
    assert {"gouge", "residual"} <= codes
    assert proof.gouge == pytest.approx(0.05, abs=0.005)
    assert proof.residual == pytest.approx(0.05, abs=0.005)


def test_the_proof_sees_a_hole_too_deep_and_one_too_shallow():
    job = drilled(8.0)
    end = f"Z-{8 + POINT:.3f}"
    assert end in job._texts()[0].text
    deep, codes = wrong(job, lambda t: t.replace(end, f"Z-{8.1 + POINT:.3f}"))
    assert "gouge" in codes
    assert deep.gouge == pytest.approx(0.1, abs=0.06)
    high, codes = wrong(job, lambda t: t.replace(end, f"Z-{7.9 + POINT:.3f}"))
    assert "residual" in codes
    assert high.residual == pytest.approx(0.1, abs=0.06)


def test_the_proof_sees_a_hole_that_is_missing_and_one_that_is_too_narrow():
    job = drilled(8.0)
    _, codes = wrong(job, lambda t: t.split("(PASS 1.3")[0] + "G0 Z5.0\nM5\nM9\nG4 P5\nM2\n")
    assert "residual" in codes
    stock = board()
    thin = pg.Drill(4.8, cutting_length=60, cutting=DRILL.cutting)
    (cut,) = pg.drill(PLACES, thin, depth=8, stock=stock)
    wide = Bounds((Hole(points=tuple(PLACES), diameter=5, depth=8),))
    proof = pg.Job("Thin", stock, ROUTER, [pg.Cut(**{**vars(cut), "bounds": wide})]).prove()
    assert not proof.ok
    assert proof.residual == pytest.approx(0.1, abs=0.07)


def test_the_proof_sees_a_rapid_that_goes_on_below_what_is_drilled():
    job = drilled(14.0, board("acrylic"))
    first = re.search(r"G0 Z1\.0\nZ(-[\d.]+)", job._texts()[0].text)
    _, codes = wrong(job, lambda t: t.replace(first[0], f"G0 Z1.0\nZ{float(first[1]) - 2:.3f}", 1))
    assert "rapid-in-material" in codes


def test_the_proof_sees_a_through_hole_that_is_only_as_deep_as_its_point():
    job = drilled(pg.THROUGH)
    end = f"Z-{18.5 + POINT:.3f}"
    _, codes = wrong(job, lambda t: t.replace(end, "Z-18.5"))
    assert "not-through" in codes


def test_the_proof_sees_holes_for_a_thicker_board_go_deeper_into_the_table_than_stated():
    thick = drilled(pg.THROUGH)
    thin = pg.Stock(120, 80, 16, material="hardwood", thickness_range=(15.8, 16.2))
    proof = pg.Job("Thin", thin, ROUTER, pg.drill(PLACES, DRILL, depth=pg.THROUGH, stock=thin)).prove(
        texts=[p.text for p in thick.programs()]
    )
    assert "below-table" in {f.code for f in proof.findings if f.severity == "error"}


@pytest.mark.parametrize(("point", "units"), [(90, "inch"), (135, "mm"), (180, "inch")])
def test_drills_of_any_point_are_proved_in_both_units(point, units):
    stock = board()
    machine = pg.Machine(
        travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000, dialect=pg.Dialect(units=units)
    )
    tool = pg.Drill(pg.inch(0.25), point_angle=point, cutting_length=60, cutting=DRILL.cutting)
    for depth in (9.7, pg.THROUGH):
        job = pg.Job("Points", stock, machine, pg.drill(PLACES, tool, depth=depth, stock=stock))
        assert job.prove().ok, job.prove().findings
        wrong = [p.text.replace("X60.0 Y60.0", "X60.05 Y60.0").replace("X2.3622", "X2.3642") for p in job.programs()]
        assert job.prove(texts=wrong).residual == pytest.approx(0.05, abs=0.003)
        assert job.prove(texts=wrong).gouge == pytest.approx(0.05, abs=0.003)


def test_what_is_asked_of_a_hole_is_a_cylinder_with_a_cone():
    rule = Hole(points=((5.0, 5.0),), diameter=6, depth=4, angle=118)
    grid = Grid.over(10, 10, 0.1)
    found = design([("a", pg.Drill(6), Bounds((rule,)))], grid)
    away = np.hypot(grid.x[None, :] - 5, grid.y[:, None] - 5)
    want = np.where(away <= 3, -(4 + (3 - away) / math.tan(math.radians(59))), 0.0)
    assert np.abs(found.deepest - want).max() < 1e-5
    assert np.abs(found.leave - want).max() < 1e-5
    assert rule.region.area == pytest.approx(math.pi * 9, rel=2e-4)


def test_holes_are_drilled_before_the_part_is_cut_out_and_below_a_face():
    stock = board()
    mill = pg.EndMill(6, flutes=1, cutting_length=30, cutting=pg.Cutting(16000, 1800, 500, 3, 2.7))
    plate = box(10, 10, 110, 70)
    cuts = [
        pg.profile(plate, mill, depth=pg.THROUGH, stock=stock, bridges=pg.Bridges(4, length=6, thickness=2)),
        pg.drill(PLACES, DRILL, depth=pg.THROUGH, stock=stock),
    ]
    job = pg.Job("Plate", stock, ROUTER, cuts)
    assert [c.name for c in job.tool_cuts] == ["holes", "outline"]
    assert job.prove().ok, job.prove().findings
    assert job.finished_size == (100, 60)
    facer = pg.EndMill(20, flutes=1, cutting_length=30, cutting=pg.Cutting(14000, 4000, 500, 1, 12))
    faced = pg.Job(
        "Faced",
        stock,
        ROUTER,
        [pg.face(box(0, 0, 120, 80), facer, depth=0.5, stock=stock), pg.drill(PLACES, DRILL, depth=6, stock=stock)],
    )
    assert faced.prove().ok, faced.prove().findings
    assert faced.tool_cuts[1].bounds.rules[0].depth == 6.5


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"points": []}, "no point"),
        ({"points": [(20, 20, 3)]}, "(x, y)"),
        ({"points": 7}, "list of"),
        ({"points": [(20, 20), (24, 20)]}, "overlap"),
        ({"points": [(1, 20)]}, "runs out of the stock"),
        ({"points": [(-20, 20)]}, "runs out of the stock"),
        ({"depth": 17.0}, "through the 17.7 mm stock"),
        ({"depth": 20.0}, "THROUGH"),
        ({"depth": 0}, "depth"),
        ({"peck": 6}, "one diameter"),
        ({"below": 1}, "THROUGH"),
        ({"tool": pg.EndMill(5, cutting=DRILL.cutting)}, "no drill"),
        ({"tool": pg.Drill(5, cutting_length=9, cutting=DRILL.cutting)}, "cutting edges"),
        ({"tool": pg.Drill(5)}, "no speeds"),
    ],
)
def test_what_cannot_be_drilled_is_refused_in_words(more, words):
    given = {"points": PLACES, "tool": DRILL, "depth": 8.0, "stock": board(), **more}
    with pytest.raises(pg.ArgumentError, match=re.escape(words)):
        pg.drill(given.pop("points"), given.pop("tool"), **given)


def test_a_hole_given_twice_is_drilled_once_and_noted():
    (cut,) = pg.drill([(20, 20), (50, 20), (20.0004, 20)], DRILL, depth=4)
    assert len(cut.bounds.rules[0].points) == 2
    (note,) = [n for n in cut.notes if n.code == "hole-twice"]
    assert note.where[:2] == pytest.approx((20, 20), abs=1e-3)


def test_circles_of_a_drawing_are_drilled_where_they_stand():
    drawn = MultiPolygon([Point(p).buffer(2.5, quad_segs=16) for p in PLACES])
    (cut,) = pg.drill(drawn, DRILL, depth=8, stock=board())
    want = pg.drill(MultiPoint(PLACES), DRILL, depth=8, stock=board())[0].bounds.rules[0].points
    assert np.allclose(sorted(cut.bounds.rules[0].points), sorted(want), atol=1e-9)
    with pytest.raises(pg.DrawingError, match=r"\(60, 60\).*6\.000 mm"):
        pg.drill(Point(60, 60).buffer(3), DRILL, depth=8)


@settings(deadline=None, max_examples=40)
@given(
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    d=st.floats(0.5, 60),
    quarter=st.integers(8, 64),
    turn=st.floats(0, 360),
)
def test_circles_finds_center_and_diameter(x, y, d, quarter, turn):
    disc = shapely.affinity.rotate(Point(x, y).buffer(0.5 * d, quad_segs=quarter), turn, origin=(x, y))
    ((a, b, c),) = circles(disc)
    assert (a, b) == pytest.approx((x, y), abs=1e-6)
    assert c == pytest.approx(d, abs=1e-6)


@pytest.mark.parametrize(
    "piece",
    [
        box(10, 10, 20, 20),
        Point(15, 15).buffer(5).difference(Point(15, 15).buffer(3)),
        shapely.affinity.scale(Point(15, 15).buffer(5), 1.01, 1.0),
        Point(15, 15).buffer(5, quad_segs=3),
        Point(15, 15).buffer(5).union(Point(18, 15).buffer(5)),
    ],
)
def test_what_is_no_circle_is_refused_with_its_place(piece):
    with pytest.raises(pg.DrawingError, match=r"at \(1\d(\.\d+)?, 1\d"):
        circles(MultiPolygon([piece, Point(40, 40).buffer(2)]))


def test_circles_without_fill_are_found_in_a_layer():
    layer = pg.Layer(name="holes", region=MultiPolygon(), outlines=MultiPolygon([Point(9, 9).buffer(2)]))
    assert circles(layer)[0] == pytest.approx((9, 9, 4), abs=1e-6)
    lines = pg.Layer(
        name="holes",
        region=MultiPolygon([Point(30, 9).buffer(1)]),
        lines=shapely.MultiLineString([shapely.LineString(Point(9, 9).buffer(2).exterior.coords)]),
    )
    assert [round(d, 6) for _, _, d in circles(lines)] == [4, 2]
    with pytest.raises(pg.DrawingError, match="holes"):
        circles(pg.Layer(name="holes", region=MultiPolygon()))


def test_the_proof_sees_a_plunge_nearer_to_a_wall_than_the_cutter():
    """A move straight down has no length seen from above, and is a stroke like any other."""
    stock = board()
    mill = pg.EndMill(6, flutes=1, cutting_length=30, cutting=pg.Cutting(16000, 1800, 500, 3, 2.7))
    job = pg.Job("Tray", stock, ROUTER, pg.pocket(box(20, 20, 60, 50), mill, depth=3, stock=stock))
    (text,) = (p.text for p in job.programs())
    end = text.rindex("G0 Z5.0")
    for off, ok in ((0.0, True), (0.04, False)):
        plunge = f"G0 Z5.0\nX{23 - off:.2f} Y35.0\nZ1.0\nG1 Z-3.0 F300\n"
        proof = job.prove(texts=[text[:end] + plunge + text[end:]])
        assert proof.ok is ok
        assert proof.gouge == pytest.approx(off, abs=0.005)
