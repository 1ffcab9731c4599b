"""Facing: the whole board, out over its edges, along the grain; walls only where the region ends on the board."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

import pathgen as pg
from pathgen.cuts.face import face
from pathgen.errors import ArgumentError, DrawingError
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill, VBit

CUTTER = EndMill(20, cutting_length=30, cutting=Cutting(14000, 2500, 500, 1, 12))


def board(**more):
    return Stock(300, 150, 18, material="hardwood", **more)


def swept(cut, level=0):
    lines = [LineString(p.path.flattened(0.001)[:, :2]) for p in cut.passes if p.role != "entry" and p.level == level]
    return shapely.union_all(shapely.buffer(lines, 0.5 * cut.tool.diameter, quad_segs=64))


@pytest.mark.parametrize("angle", [None, 0.0, 90.0, 37.0])
@pytest.mark.parametrize("stock", [None, board(), board(grain=20)])
def test_the_whole_board_is_faced(stock, angle):
    (cut,) = face(box(0, 0, 300, 150), CUTTER, depth=0.5, stock=stock, angle=angle)
    assert swept(cut).buffer(1e-6).covers(box(0, 0, 300, 150))
    assert cut.unreached.is_empty
    assert cut.face_depth == cut.depth == 0.5
    assert cut.open_edges
    (rule,) = cut.bounds.rules
    assert rule.open_edges
    assert rule.depth == 0.5
    assert rule.region.equals(box(0, 0, 300, 150))


@pytest.mark.parametrize(("grain", "want"), [(None, 0.0), (20.0, 20.0), (90.0, 90.0)])
def test_lines_run_along_the_grain_else_along_the_longer_side(grain, want):
    (cut,) = face(box(0, 0, 300, 150), CUTTER, depth=0.5, stock=board(grain=grain))
    step = np.concatenate([np.diff(p.path.points[:, :2], axis=0) for p in cut.passes])
    length = np.hypot(*step.T)
    angle = np.degrees(np.arctan2(step[:, 1], step[:, 0])) % 180
    off = np.minimum(np.abs(angle - want), 180 - np.abs(angle - want))
    assert length[off < 0.01].sum() > 0.8 * length.sum()
    tall = face(box(0, 0, 100, 200), CUTTER, depth=0.5)[0].passes[0].path.points
    assert np.ptp(tall[:, 0]) == pytest.approx(0, abs=1e-9)


def test_every_line_runs_out_over_the_edge_until_the_tool_is_free():
    """At both ends of a line the cutter stands beside the board, so that it turns and comes down in air."""
    (cut,) = face(box(0, 0, 300, 150), CUTTER, depth=0.5, stock=board())
    assert not [p for p in cut.passes if p.role == "entry"]
    first = cut.passes[0].path
    for end in (first.start, first.end):
        assert Point(end[:2]).distance(box(0, 0, 300, 150)) > 10


def test_lines_lie_no_further_apart_than_the_stepover():
    (cut,) = face(box(0, 0, 300, 150), CUTTER, depth=0.5, stock=board())
    heights = np.unique(np.round(np.concatenate([p.path.points[:, 1] for p in cut.passes]), 6))
    assert 0 < np.diff(heights).max() <= 12
    assert len(heights) == 13


def test_levels_face_in_equal_steps():
    (cut,) = face(box(0, 0, 300, 150), CUTTER, depth=2.5, stock=board())
    assert [z for z, _ in cut.travel] == pytest.approx([-2.5 / 3, -5 / 3, -2.5])
    for level in range(3):
        assert swept(cut, level).buffer(1e-6).covers(box(0, 0, 300, 150))


@pytest.mark.parametrize("share", [0.4, 0.7, 0.95])
@pytest.mark.parametrize(
    "region",
    [
        box(0, 40, 300, 110),
        box(100, 0, 300, 150),
        Point(150, 75).buffer(60),
        box(0, 0, 120, 90),
        Point(0, 0).buffer(90),
    ],
)
def test_part_of_a_board_is_faced_up_to_its_walls(region, share):
    """What lies on the board outside the region is not touched; inside, only corners that no tool enters stay."""
    tool = EndMill(16, cutting=Cutting(14000, 2500, 500, 1, 16 * share))
    stock = board()
    asked = region.intersection(stock.region)
    (cut,) = face(asked, tool, depth=0.5, stock=stock)
    clean = swept(cut)
    free = asked.union(box(-40, -40, 340, 190).difference(stock.region))
    assert clean.difference(free.buffer(0.010)).is_empty
    reach = free.buffer(-8, quad_segs=96).buffer(8, quad_segs=96).intersection(asked)
    left = reach.difference(clean)
    assert left.buffer(-0.025).is_empty
    assert any(p.role == "finish" for p in cut.passes)


def test_a_run_that_begins_on_the_board_ramps_down():
    (cut,) = face(Point(150, 75).buffer(50), CUTTER, depth=0.5, stock=board())
    ways = [p for p in cut.passes if p.role == "entry"]
    assert ways
    for item in ways:
        step = np.diff(item.path.flattened(0.001), axis=0)
        slope = np.degrees(np.arctan2(-step[:, 2], np.hypot(step[:, 0], step[:, 1])))
        assert slope.max() <= 3.01


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"depth": 18}, "takes the whole 18 mm board"),
        ({"depth": 0}, "depth"),
        ({"depth": float("nan")}, "depth"),
        ({"cutting": Cutting(14000, 2500, 500, 1)}, "stepover"),
        ({"tool": VBit(90, diameter=12, cutting=Cutting(1, 1, 1, 1, 1))}, "no flat face"),
        ({"region": box(100, 50, 200, 60)}, "wider than the region"),
    ],
)
def test_what_cannot_be_faced_is_refused_with_the_way_out(options, words):
    options = {"region": box(0, 0, 300, 150), "tool": CUTTER, "depth": 0.5, **options}
    with pytest.raises(ArgumentError, match=words):
        face(options.pop("region"), options.pop("tool"), stock=board(), **options)


def test_deeper_than_the_cutting_edges_is_refused():
    short = EndMill(20, cutting_length=2, cutting=CUTTER.cutting)
    with pytest.raises(ArgumentError, match="cutting edges"):
        face(box(0, 0, 300, 150), short, depth=3, stock=board())


def test_an_open_line_is_no_board():
    with pytest.raises(DrawingError, match="open outline"):
        face(LineString([(0, 0), (10, 0)]), CUTTER, depth=0.5)


@pytest.mark.parametrize("grain", [None, 0.0, 90.0, 30.0])
def test_a_board_wider_than_the_tool_is_faced_and_proved_and_lowers_what_follows(grain):
    stock = Stock(120, 70, 12, material="hardwood", thickness_range=(11.8, 12.2), grain=grain)
    facer = EndMill(20, flutes=1, cutting_length=30, cutting=Cutting(14000, 4000, 500, 1, 12))
    mill = EndMill(6, flutes=1, cutting_length=22, cutting=Cutting(16000, 1800, 500, 3, 2.7))
    router = pg.Machine(travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000)
    cuts = [
        face(stock.region, facer, depth=0.5, stock=stock),
        pg.pocket(box(40, 25, 80, 45), mill, depth=3, stock=stock),
        pg.profile(
            box(15, 15, 105, 55), mill, depth=pg.THROUGH, stock=stock, bridges=pg.Bridges(4, length=6, thickness=2)
        ),
    ]
    job = pg.Job("Faced", stock, router, cuts)
    proof = job.prove()
    assert proof.ok, proof.findings
    faced, floor, outline = job.tool_cuts
    assert floor.depth == 3.5
    assert min(p.path.points[:, 2].min() for p in floor.passes) == pytest.approx(-3.5)
    # what goes through, and its bridges, are measured from the underside
    assert min(p.path.points[:, 2].min() for p in outline.passes) == pytest.approx(-12.4)
    assert {r.top for r in outline.bounds.rules if hasattr(r, "top")} == {-10.0}
    # the tool runs out over the edges by a millimeter of air
    xy = np.concatenate([p.path.points[:, :2] for p in faced.passes])
    far = shapely.distance(shapely.points(xy), stock.region)
    assert far.max() == pytest.approx(11.0, abs=0.01)
