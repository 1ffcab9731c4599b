"""What lies between the samples of the grid: corners, scratches, pillars, and walls that slanted tools cut into."""

import itertools
import math

import handmade
import numpy as np
import pytest
import shapely
from handmade import BIT, BOARD, MILL, TOOLS, settings, texts
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Flat, Groove
from pathgen.motion.read import read_program
from pathgen.proof.probes import heights_at, stations
from pathgen.proof.prove import prove
from pathgen.proof.sections import hulls, section
from pathgen.proof.strokes import Strokes, strokes_of, track_of

COARSE = 0.4


def strokes(*ways, tool=1):
    """One stroke for each ((x, y, z), (x, y, z))."""
    a, b = (np.array([w[k] for w in ways], dtype=float) for k in (0, 1))
    n = np.zeros(len(ways), dtype=np.int64)
    return Strokes(a=a, b=b, tool=n + tool, rapid=n > 0, move=n, cut=n)


def of_text(text):
    return strokes_of(track_of([read_program(text)], TOOLS, BOARD))


# -- stations and heights -----------------------------------------------------------------------------------------


def test_stations_stand_half_a_millimeter_apart_and_at_every_corner():
    region = box(0, 0, 10, 6).difference(box(4, 2, 6, 4))
    at, out, corner = stations(region)
    assert shapely.distance(shapely.points(at), region.boundary).max() < 1e-9
    assert not shapely.contains_xy(region, at + 0.01 * out).any()
    assert shapely.contains_xy(region, at - 0.01 * out).all()
    away = shapely.distance(shapely.points(at - 0.01 * out), region.boundary)
    assert np.allclose(away[~corner], 0.01)
    turned_in = np.hypot(*(at[corner] - [5, 3]).T) < 2
    assert np.allclose(away[corner][~turned_in], 0.01), "0.01 from both edges"
    assert np.allclose(away[corner][turned_in], 0.01 * math.sqrt(2)), "round the corner of a hole"
    assert corner.sum() == 8
    assert (~corner).sum() == pytest.approx((32 + 8) / 0.5, abs=2)


def test_a_round_outline_has_no_corners():
    at, out, corner = stations(Point(5, 5).buffer(3, quad_segs=64))
    assert not corner.any()
    assert len(at) == pytest.approx(2 * math.pi * 3 / 0.5, abs=1)
    assert np.allclose(out, (at - 5) / np.hypot(*(at - 5).T)[:, None], atol=0.03)


def test_heights_at_points_are_those_of_the_cone():
    groove = strokes(((10, 10, -4), (30, 10, -4)))
    y = np.array([10, 11, 12, 12.3, 13])
    z = heights_at(groove, {1: pg.VBit(60, diameter=20)}, np.column_stack([np.full(5, 20.0), y]))
    truth = np.minimum(-4 + (y - 10) / math.tan(math.radians(30)), 0)
    assert np.abs(z - truth).max() < 1e-9


# -- sections -----------------------------------------------------------------------------------------------------


def brute(a, b, tool, z, n=4000):
    """Union of discs along a stroke: the outline of what it cuts at a height, from below."""
    t = np.linspace(0, 1, n)[:, None]
    p = np.asarray(a) + t * (np.asarray(b) - np.asarray(a))
    r = np.where(p[:, 2] <= z, tool.radius_at(np.maximum(z - p[:, 2], 0)), 0)
    keep = r > 0
    return shapely.union_all(shapely.buffer(shapely.points(p[keep, :2]), r[keep], quad_segs=32))


@pytest.mark.parametrize(
    "tool",
    [
        pg.VBit(60, diameter=12.7),
        pg.VBit(90, diameter=6, tip=0.4),
        pg.BallNose(6),
        pg.EndMill(6),
        pg.Drill(5),
    ],
)
@pytest.mark.parametrize("rise", [0, 1.5, 6])
def test_a_section_of_a_sloping_stroke_is_the_union_of_its_discs(tool, rise):
    a, b = (20, 20, -5), (29, 26, -5 + rise)
    for z in (-4.5, -2, -0.2):
        truth = brute(a, b, tool, z, n=800)
        if truth.is_empty:
            continue
        cut = section(strokes((a, b)), {1: tool}, z)
        # 800 discs leave notches of step^2 / 8 r between them, and their chords lie inside
        assert shapely.hausdorff_distance(cut.boundary, truth.boundary) < 0.02
        assert cut.area == pytest.approx(truth.area, rel=2e-3)
        assert truth.difference(cut.buffer(0.002)).area < 1e-6


def test_the_hull_of_two_discs_is_that_of_their_points():
    rng = np.random.default_rng(7)
    a, b = rng.uniform(0, 10, (40, 2)), rng.uniform(0, 10, (40, 2))
    ra, rb = rng.uniform(0, 4, 40), rng.uniform(0, 4, 40)
    made = hulls(a, ra, b, rb, quad_segs=64)
    assert shapely.is_valid(made).all()
    for k in range(40):
        truth = shapely.union_all(
            [Point(a[k]).buffer(ra[k], quad_segs=64), Point(b[k]).buffer(rb[k], quad_segs=64)]
        ).convex_hull
        assert made[k].symmetric_difference(truth).area < 2e-3 * truth.area


@hypothesis_settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.floats(-5.5, -0.1))
def test_a_point_lies_in_the_section_where_the_part_is_lower(seed, z):
    rng = np.random.default_rng(seed)
    ends = np.column_stack([rng.uniform(5, 25, (12, 2)), rng.uniform(-6, 0, 12)])
    own = strokes(*zip(ends[:6], ends[6:], strict=True))
    tools = {1: [pg.VBit(60, diameter=8, tip=0.2), pg.BallNose(5), pg.EndMill(4)][seed % 3]}
    points = rng.uniform(0, 30, (300, 2))
    height = heights_at(own, tools, points)
    cut = section(own, tools, z)
    clear = shapely.distance(shapely.points(points), cut.boundary) > 0.003
    assert (shapely.contains_xy(cut, points) == (height < z))[clear].all()


def test_a_long_line_that_crosses_itself_is_grown_like_its_legs():
    rng = np.random.default_rng(3)
    way = np.column_stack([rng.uniform(0, 60, (150, 2)), np.full(150, -2.0)])
    own = strokes(*itertools.pairwise(way))
    truth = shapely.union_all(LineString(way[:, :2]).buffer(1.5, quad_segs=64))
    assert section(own, {1: pg.EndMill(3)}, -1).symmetric_difference(truth).area < 1e-6 * truth.area


# -- grooves ------------------------------------------------------------------------------------------------------


def letters(*more):
    text = texts()[0]
    return text.replace("G0 Z5\nM5\nM9", "\n".join([*more, "G0 Z5", "M5", "M9"]))


ROOF = [("letters", BIT, Bounds((Groove(region=MultiPolygon([handmade.GROOVE]), angle=60),)))]


def test_a_corner_missed_by_less_than_a_step_is_left_standing():
    """The run into one corner ends 0.15 mm short: no sample of a coarse grid need see it, the corner's probe does."""
    short = texts()[0].replace("X70 Y45 Z0", "X69.85 Y45.15 Z-0.260")
    assert short != texts()[0]
    proof = prove([short], **settings(bounds=ROOF, grid=COARSE))
    (left,) = [f for f in proof.findings if f.code == "residual"]
    # 0.06 inside both walls: asked 0.06 k deep, cut (0.15 - 0.09 sqrt 2) k deep; k = 1 / tan 30, normal to the wall
    assert left.amount == pytest.approx((0.06 - 0.15 + 0.09 * math.sqrt(2)) * math.cos(math.radians(30)), abs=1e-3)
    assert left.where[:2] == pytest.approx((69.94, 45.06), abs=1e-6)
    assert left.cut == "letters"
    assert prove([texts()[0]], **settings(bounds=ROOF, grid=COARSE)).residual <= 0.002


@pytest.mark.parametrize("deep", [0.05, 0.1])
def test_a_scratch_beside_a_groove_is_found_however_narrow(deep):
    """The bit leaves the groove straight across its wall, `deep` below the face, 0.06 or 0.12 wide."""
    scratch = ["G0 Z1", "G0 X40.2 Y50", f"G1 Z{-deep} F500", "Y43.9 F1500"]
    text = letters(*scratch)
    proof = prove([text], **settings(bounds=ROOF, grid=COARSE))
    assert proof.ok is False
    assert proof.gouge == pytest.approx(deep, abs=1e-6)
    worst = max((f for f in proof.findings if f.code == "gouge"), key=lambda f: f.amount)
    assert worst.where[0] == pytest.approx(40.2)
    assert 43.8 < worst.where[1] < 45
    assert text.splitlines()[worst.line - 1] == "Y43.9 F1500"
    assert worst.cut == "letters"


@pytest.mark.parametrize("tip", [0.0, 0.3])
def test_a_bit_with_a_flat_tip_owes_no_more_than_it_reaches(tip):
    """A groove planned and cut with a tip is clean at its probes as on the grid."""
    bit = pg.VBit(90, diameter=10, tip=tip, cutting=pg.Cutting(16000, 1500, 500))
    board = pg.Stock(60, 40, 12, material="hardwood", thickness_range=(11.8, 12.2))
    art = pg.place(pg.text("fA", height=20), board, fit="none")
    job = pg.Job("tip", board, handmade.ROUTER, pg.vgroove(art, bit, stock=board))
    proof = job.prove(grid=COARSE)
    assert proof.ok is True, str(proof)
    assert proof.gouge <= 0.01
    assert proof.residual <= 0.02


# -- floors -------------------------------------------------------------------------------------------------------


TRAY = [("tray", MILL, Bounds((Flat(region=MultiPolygon([box(20, 20, 60, 44.04)]), depth=3),)))]


def rows(step):
    """A tray cleared in rows, the last one along its far wall."""
    lines = ["(CUT 1 tray)", "G0 X23 Y23", handmade.UP.strip(), "G0 Z1", "G1 Z-3 F500", "X57 F1800"]
    ys = [23 + step * k for k in range(1, 4)]
    lines += [line for y in ys for line in (f"Y{y:.3f}", "X23" if ys.index(y) % 2 == 0 else "X57")]
    lines += ["Y41.04", "X57", "Y23", "X23", "Y41.04"]
    return handmade.HEAD.format(tool=2) + "\n".join(lines) + "\n" + handmade.TAIL


def test_a_ridge_thinner_than_a_step_is_found_standing_on_a_floor():
    """Rows 6.02 apart of a 6 mm cutter leave ridges 0.02 wide and 3 high: no sample of the grid need hit one."""
    proof = prove([rows(6.02)], **settings(bounds=TRAY, grid=COARSE))
    assert proof.ok is False
    found = [f for f in proof.findings if f.code == "residual"]
    assert found
    assert found[0].amount == pytest.approx(3, abs=1e-6)
    assert min(abs(found[0].where[1] - (26 + 6.02 * k + 0.01)) for k in range(4)) < 0.02
    assert prove([rows(5.9)], **settings(bounds=TRAY, grid=COARSE)).ok is True


# -- upright walls and slanted tools ------------------------------------------------------------------------------


@pytest.mark.parametrize("off", [0.0, 0.03, 0.1])
def test_a_bit_that_runs_into_an_upright_wall_is_measured_exactly(off):
    """A 60 degree bit 2 deep is 1.155 wide at the face: run that far from the wall it touches it, nearer it gouges.

    It takes a wedge off, `off` wide at the face; t below the face it is off - t tan(30) wide, so its middle is where
    that is t: off / (1 + tan 30) from wall and face.
    """
    wide = 2 * math.tan(math.radians(30))
    y = 40 - wide + off
    lines = ["(CUT 1 tray)", f"G0 X85 Y{y:.4f}", handmade.UP.strip(), "G0 Z1", "G1 Z-2 F500", "X100 F1500"]
    text = handmade.HEAD.format(tool=1) + "\n".join(lines) + "\n" + handmade.TAIL
    asked = [("tray", MILL, Bounds((Flat(region=MultiPolygon([handmade.TRAY]), depth=3),)))]
    proof = prove([text], **settings(bounds=asked, grid=COARSE))
    gouges = [f for f in proof.findings if f.code == "gouge"]
    assert bool(gouges) is (off > 0)
    assert proof.gouge == pytest.approx(off / (1 + math.tan(math.radians(30))), abs=0.002)
    if gouges:
        assert gouges[0].where[1] == pytest.approx(40 + off, abs=0.01)
        assert text.splitlines()[gouges[0].line - 1] in ("X100 F1500", "G1 Z-2 F500")
