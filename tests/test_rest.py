"""Rest pockets: a smaller tool clears what a bigger one left, no more, and the whole chain proves."""

import itertools
import math

import corpus
import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, box

from pathgen.cuts.pocket import pocket
from pathgen.cuts.profile import profile
from pathgen.cuts.vgroove import vgroove
from pathgen.errors import ArgumentError
from pathgen.job import Job
from pathgen.model.machine import Machine
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import Cutting, EndMill, VBit
from pathgen.program.link import chains

MACHINE = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)


def mill(diameter, share=0.45, stepdown=None):
    return EndMill(diameter, cutting_length=30, cutting=Cutting(16000, 1800, 500, stepdown, share * diameter))


def chain(region, diameters, *, depth=3, share=0.45, stepdown=None, **more):
    """Return the cuts of one tool after the other, each clearing what those before left."""
    cuts = ()
    for diameter in diameters:
        cuts += pocket(region, mill(diameter, share, stepdown), depth=depth, rest_after=cuts, **more)
    return cuts


def swept(cut, z=None):
    z = -cut.depth if z is None else z
    lines = [
        LineString(p.path.flattened(0.0005)[:, :2])
        for p in cut.passes
        if p.role != "entry" and abs(p.path.start[2] - z) < 1e-9
    ]
    return shapely.union_all(shapely.buffer(lines, 0.5 * cut.tool.diameter, quad_segs=64))


def reached(region, diameter):
    return region.buffer(-0.5 * diameter, quad_segs=96).buffer(0.5 * diameter, quad_segs=96)


def on_board(region, *, thickness=18):
    """Return the region moved onto a board with room around it, and the board."""
    x0, y0, x1, y1 = region.bounds
    board = Stock(x1 - x0 + 20, y1 - y0 + 20, thickness, material="hardwood", thickness_range=(thickness, thickness))
    return translate(region, 10 - x0, 10 - y0), board


def test_three_tools_one_after_the_other_prove_and_only_the_last_corners_are_announced():
    """A square corner keeps (1 - pi / 4) r^2 of a tool of radius r, four times (elementary geometry)."""
    region, board = on_board(box(0, 0, 60, 46).difference(box(24, 16, 36, 30)))
    cuts = chain(region, (12, 6, 2), stock=board)
    assert [c.tool.diameter for c in cuts] == [12, 6, 2]
    for cut, radius in zip(cuts, (6, 3, 1), strict=True):
        assert cut.unreached.area == pytest.approx((4 - math.pi) * radius**2, rel=0.02)
        assert cut.bounds.rules[0].region.equals(region)
    assert cuts[2].after == cuts[:2]
    proof = Job("Corners", board, MACHINE, list(cuts)).prove()
    assert proof.ok, proof.findings
    assert proof.gouge <= 0.010
    assert proof.residual <= 0.020


def test_without_the_last_tool_its_corners_are_seen_standing():
    """The proof works from the request, so a chain that claims a small tool and does not run it cannot pass."""
    region, board = on_board(box(0, 0, 40, 30))
    cuts = chain(region, (12, 3), stock=board)
    whole = Job("Whole", board, MACHINE, list(cuts))
    texts = [p.text for p in whole.programs()]
    assert len(texts) == 2
    assert not whole.prove(texts=texts[:1]).ok


def test_only_what_was_left_is_cut():
    """A square of 60 mm: the small tool runs into four corners, a hundredth of the way of the whole pocket."""
    region = box(0, 0, 60, 60)
    big, small = chain(region, (10, 3))
    (whole,) = pocket(region, mill(3), depth=3)
    way = sum(p.path.length for p in small.passes if p.role not in ("entry", "link"))
    assert way < 0.02 * sum(p.path.length for p in whole.passes)
    assert not [p for p in small.passes if p.role == "entry"]
    outside = swept(small).difference(shapely.union_all([Point(x, y).buffer(8) for x in (0, 60) for y in (0, 60)]))
    links = shapely.union_all(
        [LineString(p.path.points[:, :2]).buffer(1.6) for p in small.passes if p.role == "link"] or [Point()]
    )
    assert outside.difference(links).area < 1e-6
    assert reached(region, 3).difference(swept(big).union(swept(small))).buffer(-0.01).is_empty


@pytest.mark.parametrize(
    ("name", "share"),
    [
        *itertools.product(["letter A", "comb", "neck shut"], [0.45, 0.7, 0.9]),
        *[("star", 0.7), ("star", 0.9), ("off-center island", 0.45), ("gear", 0.9)],
    ],
)
def test_no_ridge_is_left_between_two_tools(name, share):
    region = corpus.region(name)
    first, second = chain(region, (5, 2), share=share)
    both = swept(first).union(swept(second))
    rest = reached(region, 2).difference(both)
    assert [p for p in shapely.get_parts(rest) if not p.buffer(-0.025).is_empty] == []
    shapely.prepare(region)
    edge = shapely.points(shapely.get_coordinates(shapely.segmentize(swept(second), 0.2)))
    assert shapely.dwithin(region, edge, 0.010).all()


def test_what_a_tool_cuts_overlaps_what_the_one_before_cleared():
    """Where the two meet in a corner, the small tool runs on by at least a tenth of its diameter."""
    region = box(0, 0, 60, 60)
    first, second = chain(region, (12, 4))
    done, inside = swept(first), region.buffer(-0.02)
    for item in second.passes:
        if item.role == "finish":
            for end in (item.path.start, item.path.end):
                assert done.covers(Point(end[:2]).buffer(2 + 0.3).intersection(inside))


def replay(cuts):
    """Run through the passes in order: links and fresh starts of every cut stand on cleared floor."""
    cleared = shapely.Polygon()
    for cut in cuts:
        radius = 0.5 * cut.tool.diameter
        for run in chains(cut):
            for k, item in enumerate(run.passes):
                if item.role == "entry":
                    cleared = cleared.union(Point(item.path.end[:2]).buffer(radius + 1e-3))
                    continue
                way = LineString(item.path.flattened(0.001)[:, :2])
                if item.role == "link":
                    assert way.buffer(radius - 0.05).difference(cleared).buffer(-0.02).is_empty
                elif k == 0:
                    begin = Point(item.path.start[:2]).buffer(radius - 0.05)
                    assert begin.difference(cleared).buffer(-0.02).is_empty
                cleared = cleared.union(way.buffer(radius + 1e-3, quad_segs=32))


@pytest.mark.parametrize("name", ["letter A", "star", "neck shut", "narrow comb", "scattered", "annulus"])
def test_fresh_starts_and_links_stand_on_cleared_floor(name):
    replay(chain(corpus.region(name), (5, 3, 1.5)))


def test_a_room_that_the_big_tool_never_entered_is_entered_and_cleared_whole():
    rooms = box(0, 0, 30, 30).union(box(30, 14, 50, 16.6)).union(box(50, 10, 62, 22))
    big, small = chain(rooms, (14, 2))
    assert big.unreached.intersects(box(50, 10, 62, 22))
    assert reached(rooms, 2).difference(swept(big).union(swept(small))).buffer(-0.02).is_empty
    replay((big, small))


def test_a_wall_allowance_is_taken_by_the_next_cut():
    region = box(0, 0, 40, 30)
    rough = pocket(region, mill(6), depth=3, wall_allowance=0.4)
    (wall,) = pocket(region, mill(6), depth=3, rest_after=rough)
    way = sum(p.path.length for p in wall.passes if p.role == "finish")
    assert way == pytest.approx(2 * (34 + 24), rel=0.02)
    assert reached(region, 6).difference(swept(rough[0]).union(swept(wall))).buffer(-0.01).is_empty
    replay((*rough, wall))


def test_nothing_left_is_no_cut():
    region = Point(0, 0).buffer(20, quad_segs=90)
    first = pocket(region, mill(6), depth=3)
    assert pocket(region, mill(4), depth=3, rest_after=first) == ()
    assert pocket(region, mill(8), depth=3, rest_after=first) == ()


def test_every_level_of_a_deep_rest_is_cut():
    cuts = chain(box(0, 0, 40, 30), (10, 3), depth=6, stepdown=2)
    levels = {round(p.path.end[2], 6) for p in cuts[1].passes}
    assert levels == {-2.0, -4.0, -6.0}
    assert swept(cuts[1], -2.0).equals_exact(swept(cuts[1], -6.0), 1e-6)


def test_turning_the_artwork_turns_what_is_left():
    region = corpus.region("letter B")
    a = chain(region, (6, 2))
    b = chain(rotate(region, 33, origin=(0, 0)), (6, 2))
    assert swept(b[1]).union(swept(b[0])).area == pytest.approx(swept(a[1]).union(swept(a[0])).area, rel=1e-3)


def test_a_through_cut_before_counts_as_deep_enough():
    board = Stock(100, 80, 6, material="plywood", thickness_range=(5.9, 6.1))
    region = box(20, 20, 60, 50)
    big = pocket(region, mill(10), depth=THROUGH, stock=board)
    (small,) = pocket(region, mill(3), depth=THROUGH, stock=board, rest_after=big)
    assert small.through


def test_cuts_that_clear_no_floor_are_refused():
    region = box(0, 0, 40, 30)
    shallow = pocket(region, mill(6), depth=2)
    bit = vgroove(region, VBit(60, diameter=40, cutting=Cutting(16000, 1500, 500)), depth_limit=30)
    for before in (shallow, bit):
        with pytest.raises(ArgumentError, match="none of the cuts in rest_after"):
            pocket(region, mill(3), depth=3, rest_after=before)
    with pytest.raises(ArgumentError, match="rest_after holds a float"):
        pocket(region, mill(3), depth=3, rest_after=[3.0])
    with pytest.raises(ArgumentError, match="pattern='rings'"):
        pocket(region, mill(3), depth=2, rest_after=shallow, pattern="lines")


def test_a_profile_before_counts_for_the_slot_it_cut():
    """Beside the outline of a cut-out the slot is cleared; the rest pocket leaves it alone."""
    board = Stock(100, 80, 18, material="hardwood")
    region = box(20, 20, 60, 50)
    slot = profile(region, mill(6), side="inside", depth=3, stock=board)
    (inner,) = pocket(region, mill(6), depth=3, rest_after=slot, stock=board)
    ways = [p.path.flattened(0.01)[:, :2] for p in inner.passes if p.role == "finish"]
    assert sum(np.hypot(*np.diff(w, axis=0).T).sum() for w in ways) < 200
    assert reached(region, 6).difference(swept(slot[0]).union(swept(inner))).buffer(-0.02).is_empty
