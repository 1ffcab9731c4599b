"""Pockets: nothing left, no gouge, little way, the right way round, and a safe way down.

Areas are measured here by fine buffers of the passes themselves, independent of how they were planned.
"""

import itertools
import math
from dataclasses import dataclass

import corpus
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, scale, translate
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from strategies import regions

from pathgen.artwork.lettering import text
from pathgen.cuts.pocket import pocket
from pathgen.errors import ArgumentError, DrawingError
from pathgen.job import Job
from pathgen.model.machine import Machine
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import BallNose, Cutting, EndMill
from pathgen.motion.read import read_program
from pathgen.motion.time import time
from pathgen.program.link import chains
from pathgen.shape.place import place, plate

HOLDS = 0.025
"""A leftover counts if it holds a disc of 0.05 mm."""


def mill(diameter=3.0, *, share=0.45, stepdown=None, **more):
    options = {k: more.pop(k) for k in ("direction", "ramp", "slot") if k in more}
    speeds = Cutting(16000, 1800, 500, stepdown, share * diameter, **options)
    return EndMill(diameter, cutting=speeds, **more)


ALLOWED = 0.010
"""A wall may lie this far from the drawing, mm: planning 0.004 + arcs 0.005 + rounding 0.001."""


@dataclass
class Measured:
    left: list
    left_area: float
    gouge: float  # 0 where no point lies beyond ALLOWED
    feed: float
    finish: float
    reach: float
    wall: float


def measure(cut, region, *, z=None):
    """Sweep the passes at one depth with a disc of 256 corners and hold them against region and opening."""
    radius = 0.5 * cut.tool.diameter
    z = -cut.depth if z is None else z
    flat = [p for p in cut.passes if p.role != "entry" and abs(p.path.start[2] - z) < 1e-9]
    assert flat
    lines = [LineString(p.path.flattened(0.0005)[:, :2]) for p in flat]
    swept = shapely.union_all(shapely.buffer(lines, radius, quad_segs=64))
    reach = region.buffer(-radius, quad_segs=96).buffer(radius, quad_segs=96)
    rest = shapely.get_parts(reach.difference(swept))
    corners = shapely.points(shapely.get_coordinates(shapely.segmentize(swept, 0.2)))
    shapely.prepare(region)
    gouged = corners[~shapely.dwithin(region, corners, ALLOWED)]
    return Measured(
        left=[p for p in rest if not p.buffer(-HOLDS).is_empty],
        left_area=float(shapely.area(rest).sum()),
        gouge=float(shapely.distance(gouged, region).max()) if len(gouged) else 0.0,
        feed=sum(p.path.length for p in flat if p.role != "finish"),
        finish=sum(p.path.length for p in flat if p.role == "finish"),
        reach=reach.area,
        wall=region.boundary.length,
    )


def holds_the_numbers(cut, region):
    m = measure(cut, region)
    assert m.left == []
    assert m.left_area <= 0.005 * m.wall
    assert m.gouge == 0.0
    assert m.feed <= 1.05 * m.reach / cut.cutting.stepover
    return m


def sign_background():
    """A plate of 300 x 100 mm less two lines of lettering."""
    whole = plate(300, 100)
    words = place(text("Botanic Garden\nFern & Moss", height=20, align="center"), whole, margin=8)
    return whole.difference(words.region)


def ring_with_islands():
    """A ring of 90 and 40 mm radius with 40 islands, squares and discs in turn."""
    ring = Point(0, 0).buffer(90, quad_segs=90).difference(Point(0, 0).buffer(40, quad_segs=60))
    islands = []
    for k in range(40):
        x, y = 65 * math.cos(math.pi * k / 20), 65 * math.sin(math.pi * k / 20)
        islands.append(Point(x, y).buffer(2.5, quad_segs=30) if k % 2 else box(x - 2, y - 2, x + 2, y + 2))
    return ring.difference(shapely.union_all(islands))


@pytest.mark.parametrize("pattern", ["rings", "lines"])
@pytest.mark.parametrize("share", [0.45, 0.7])
def test_nothing_is_left_of_a_plate_and_the_way_is_short(share, pattern):
    """A plate of 300 x 100 mm is cleared, no gouge, way within the area divided by the stepover."""
    (cut,) = pocket(plate(300, 100), mill(6, share=share), depth=3, pattern=pattern)
    holds_the_numbers(cut, plate(300, 100))


@pytest.mark.slow
@pytest.mark.parametrize("pattern", ["rings", "lines"])
@pytest.mark.parametrize("share", [0.45, 0.7])
@pytest.mark.parametrize("shape", [sign_background, ring_with_islands])
def test_nothing_is_left_round_letters_and_islands(shape, share, pattern):
    region = shape()
    (cut,) = pocket(region, mill(3, share=share), depth=3, pattern=pattern)
    holds_the_numbers(cut, region)


def forty_islands():
    return corpus.region("plate with 40 islands")


def plain_rings(region, radius, stepover):
    """Return the rings of the plain offset loop, and the area they leave of what the tool reaches."""
    rest, rings = region.buffer(-radius, quad_segs=64), []
    while not rest.is_empty:
        rings.append(rest.boundary)
        rest = rest.buffer(-stepover, quad_segs=64)
    reach = region.buffer(-radius, quad_segs=64).buffer(radius, quad_segs=64)
    return rings, reach.difference(shapely.union_all(shapely.buffer(rings, radius, quad_segs=64))).area


def star():
    return corpus.region("star")


def gear():
    return corpus.region("gear")


MISSED = pytest.mark.xfail(strict=True, reason="ways over cleared floor between many islands: not reached yet")
WAYS = [
    pytest.param(shape, share, marks=marks, id=f"{shape.__name__} {share}")
    for shape, share, marks in (
        (star, 0.45, []), (star, 0.7, []), (gear, 0.45, []), (gear, 0.7, []),
        (sign_background, 0.45, [pytest.mark.slow]), (sign_background, 0.7, [pytest.mark.slow]),
        (ring_with_islands, 0.45, [pytest.mark.slow]), (ring_with_islands, 0.7, [pytest.mark.slow, MISSED]),
        (forty_islands, 0.45, [pytest.mark.slow, MISSED]), (forty_islands, 0.7, [pytest.mark.slow, MISSED]),
    )
]  # fmt: skip


def way_at_depth(shape, share):
    """Return (all feed at depth, what of it is links, length of the plain rings + area they leave / stepover), mm."""
    region, tool = shape(), mill(share=share)
    rings, left = plain_rings(region, 1.5, share * 3)
    (cut,) = pocket(region, tool, depth=2)
    m = measure(cut, region)
    links = sum(p.path.length for p in cut.passes if p.role == "link")
    return m.feed + m.finish, links, sum(r.length for r in rings) + left / (share * 3)


@pytest.mark.parametrize(("shape", "share"), WAYS)
def test_all_feed_at_depth_adds_little_to_the_rings(shape, share):
    """At most 1.08 x, the ways over cleared floor included. Missed round many islands: 1.144, 1.151 and 1.250 x."""
    feed, _, limit = way_at_depth(shape, share)
    assert feed <= 1.08 * limit


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.45, 0.7])
@pytest.mark.parametrize("shape", [ring_with_islands, forty_islands])
def test_round_many_islands_what_cuts_adds_little_to_the_rings(shape, share):
    """At most 1.08 x without the ways over cleared floor."""
    feed, links, limit = way_at_depth(shape, share)
    assert feed - links <= 1.08 * limit


def test_wide_steps_leave_pillars_round_letters_and_they_are_cut():
    """At 70 % the rings alone leave pillars between letters, so the check can fail; the short passes take them away."""
    region = place(text("Rn", height=25), plate(70, 45), margin=5).region
    region = plate(70, 45).difference(region)
    (cut,) = pocket(region, mill(3, share=0.7), depth=2)
    rings, rest = [], region.buffer(-1.5, quad_segs=64)
    while not rest.is_empty:
        rings.append(rest.boundary)
        rest = rest.buffer(-2.1, quad_segs=64)
    swept = shapely.union_all(shapely.buffer(rings, 1.5, quad_segs=64))
    pillars = region.buffer(-1.5, quad_segs=64).buffer(1.5, quad_segs=64).difference(swept).buffer(-HOLDS)
    assert len(shapely.get_parts(pillars)) >= 3
    holds_the_numbers(cut, region)


@pytest.mark.parametrize("share", [0.45, 0.7])
def test_every_nasty_region_is_cleared_without_a_gouge(nasty, share):
    if nasty.buffer(-1.5).is_empty:
        pytest.fail("the corpus holds only regions a 3 mm tool enters")
    (cut,) = pocket(nasty, mill(share=share), depth=2)
    holds_the_numbers(cut, nasty)


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.2, 0.45, 0.7, 0.95])
def test_every_nasty_region_is_cleared_in_lines_too(nasty, share):
    (cut,) = pocket(nasty, mill(share=share), depth=2, pattern="lines", angle=20)
    m = measure(cut, nasty)
    assert m.left == []
    assert m.left_area <= 0.005 * m.wall
    assert m.gouge == 0.0


@given(regions(), st.sampled_from([0.3, 0.45, 0.7, 0.9]), st.sampled_from(["rings", "lines"]))
@settings(max_examples=12, deadline=None, derandomize=True)
def test_any_region_is_cleared_without_a_gouge(region, share, pattern):
    check_random(region, share, pattern)


@pytest.mark.slow
@given(regions(), st.sampled_from([0.15, 0.3, 0.45, 0.51, 0.7, 0.9, 0.95]), st.sampled_from(["rings", "lines"]))
@settings(max_examples=150, deadline=None, derandomize=True)
def test_any_region_is_cleared_without_a_gouge_at_length(region, share, pattern):
    check_random(region, share, pattern)


def check_random(region, share, pattern):
    tool = mill(share=share)
    if region.buffer(-1.5 - 1e-6).is_empty:
        return
    (cut,) = pocket(region, tool, depth=2, pattern=pattern)
    m = measure(cut, region)
    assert m.left == []
    assert m.gouge == 0.0
    links_stay_on_cleared_floor(cut)


def links_stay_on_cleared_floor(cut):
    """Replay the passes in the order they will run: a link never meets material, and a run that does not begin with an
    entry comes down on cleared floor."""
    radius = 0.5 * cut.tool.diameter
    cleared = MultiPolygon()
    for chain in chains(cut):
        for k, item in enumerate(chain.passes):
            if item.role == "entry":
                cleared = cleared.union(Point(item.path.end[:2]).buffer(radius + 1e-3))
                continue
            way = LineString(item.path.flattened(0.001)[:, :2])
            swept = way.buffer(radius - 0.03)
            if item.role == "link":
                assert swept.difference(cleared).buffer(-0.02).is_empty, item.path.points
            elif k == 0:
                begin = Point(item.path.start[:2]).buffer(radius - 0.03)
                assert begin.difference(cleared).buffer(-0.02).is_empty, item.path.points
            cleared = cleared.union(way.buffer(radius + 1e-3, quad_segs=32))


@pytest.mark.parametrize("share", [0.45, 0.7])
@pytest.mark.parametrize("pattern", ["rings", "lines"])
@pytest.mark.parametrize("name", ["star", "comb", "letter B", "neck open", "annulus", "off-center island", "scattered"])
def test_links_and_fresh_starts_stand_on_cleared_floor(name, pattern, share):
    (cut,) = pocket(corpus.region(name), mill(share=share), depth=2, pattern=pattern)
    links_stay_on_cleared_floor(cut)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("pattern", ["rings", "lines"])
def test_climb_keeps_the_wall_on_the_right(direction, pattern):
    """With the spindle turning clockwise seen from above (M3), climb milling has the material on the cutter's right:
    the edge that is in the wall then moves against the feed. Elementary kinematics, and common to every textbook."""
    region = box(0, 0, 60, 40).difference(Point(30, 20).buffer(8))
    (cut,) = pocket(region, mill(4, direction=direction), depth=2, pattern=pattern)
    finish = [p for p in cut.passes if p.role == "finish"]
    assert len(finish) == 2
    for item in finish:
        xy = item.path.flattened(0.01)[:, :2]
        middle, along = 0.5 * (xy[1:] + xy[:-1]), np.diff(xy, axis=0)
        right = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
        side = right if direction == "climb" else -right
        assert not shapely.contains_xy(region, middle + 2.2 * side).any()
        assert shapely.contains_xy(region, middle - 0.5 * side).all()


def test_rings_go_from_inside_to_outside():
    """Each ring of a square lies outside the one before it, and the wall is last."""
    (cut,) = pocket(box(0, 0, 40, 40), mill(4), depth=2)
    sizes = [np.ptp(p.path.points[:, 0]) for p in cut.passes if p.closed]
    assert len(sizes) > 5
    assert sizes == sorted(sizes)
    assert cut.passes[-1].role == "finish"
    assert sizes[-1] == pytest.approx(36, abs=1e-6)


def test_one_piece_without_islands_is_one_chain_at_each_level():
    (cut,) = pocket(box(0, 0, 40, 40), mill(4, stepdown=1), depth=3)
    assert len(chains(cut)) == 3
    assert [p.level for p in cut.passes if p.role == "entry"] == [0, 1, 2]


def test_levels_are_equal_steps_and_travel_names_each():
    (cut,) = pocket(box(0, 0, 40, 30), mill(4, stepdown=1.5), depth=4)
    assert [z for z, _ in cut.travel] == pytest.approx([-4 / 3, -8 / 3, -4])
    for z, region in cut.travel:
        assert region.area == pytest.approx(36 * 26)
        measure(cut, box(0, 0, 40, 30), z=z)
    for item in cut.passes:
        flat = item.path.flattened(0.001)
        assert shapely.covers(cut.travel[0][1].buffer(1e-4), shapely.points(flat[:, :2])).all()


def test_every_level_is_cleared():
    region = corpus.region("letter B")
    (cut,) = pocket(region, mill(stepdown=1), depth=3)
    for z, _ in cut.travel:
        assert measure(cut, region, z=z).left == []


def test_the_first_stretch_in_full_material_is_slower():
    """Full-width cuts get the slot factor; the wall of a wide pocket does not."""
    (cut,) = pocket(box(0, 0, 40, 30), mill(4, slot=0.4), depth=2)
    rings = [p for p in cut.passes if p.closed]
    assert rings[0].feed_factor == 0.4
    assert {p.feed_factor for p in rings[1:]} == {1.0}


def test_a_slot_as_wide_as_the_tool_is_cut_slowly():
    (cut,) = pocket(box(0, 0, 40, 4.02), mill(4, slot=0.5), depth=2)
    assert [p.feed_factor for p in cut.passes if p.closed] == [0.5]


def steepness(path):
    """Degrees below level of each move that goes down."""
    flat = path.flattened(0.0005)
    step = np.diff(flat, axis=0)
    run = np.hypot(step[:, 0], step[:, 1])
    return np.degrees(np.arctan2(-step[:, 2], run))


@pytest.mark.parametrize("entry", ["helix", "ramp"])
@pytest.mark.parametrize(
    ("material", "tool_limit", "asked", "limit"),
    [("hardwood", None, 12.0, 5.0), ("softwood", None, 8.0, 8.0), ("brass", None, 12.0, 3.0), (None, 2.0, 9.0, 2.0)],
)
def test_no_entry_is_steeper_than_speeds_tool_and_material_allow(entry, material, tool_limit, asked, limit):
    """3 degrees in metal, 5 in hardwood, 10 in softwood: common practice, no source."""
    board = Stock(100, 100, 10, material=material) if material else None
    tool = mill(4, ramp=asked, max_ramp=tool_limit, stepdown=2)
    (cut,) = pocket(box(10, 10, 60, 50), tool, depth=4, entry=entry, stock=board)
    ways = [p.path for p in cut.passes if p.role == "entry"]
    assert len(ways) == 2
    worst = max(steepness(w).max() for w in ways)
    assert 0.5 * limit < worst <= limit * 1.01 + 0.01


def test_a_helix_has_a_bore_of_1_2_to_1_8_diameters_and_ends_where_the_ring_starts():
    """Bore 1.2 to 1.8 D: common practice, no source."""
    (cut,) = pocket(box(0, 0, 60, 60), mill(5), depth=3)
    way, ring = cut.passes[0], cut.passes[1]
    is_arc, _, radius = way.path.arcs()
    assert is_arc.all()
    bore = 2 * radius + 5
    assert ((bore >= 1.2 * 5 - 1e-6) & (bore <= 1.8 * 5 + 1e-6)).all()
    assert way.path.end == pytest.approx(ring.path.start, abs=1e-9)
    assert way.path.start[2] > 0


def test_where_no_helix_fits_the_tool_ramps_along_the_ring():
    """In a slot hardly wider than the tool the way down stays on the slot's middle and inside it."""
    region = box(0, 0, 60, 5.4)
    (cut,) = pocket(region, mill(5), depth=3)
    way = cut.passes[0].path
    assert way.points[:, 3].max() < 0.5
    swept = LineString(way.points[:, :2]).buffer(2.5, quad_segs=64)
    assert swept.difference(region.buffer(0.005)).is_empty
    assert np.ptp(way.points[:, 0]) > 10


@pytest.mark.parametrize("entry", ["helix", "ramp", "plunge"])
@pytest.mark.parametrize("name", ["letter A", "neck shut", "comb", "slot"])
def test_no_way_down_leaves_the_region(name, entry):
    region = corpus.region(name)
    (cut,) = pocket(region, mill(stepdown=1), depth=2, entry=entry)
    inside = region.buffer(0.01)
    for item in cut.passes:
        if item.role == "entry":
            swept = shapely.buffer(LineString(item.path.flattened(0.001)[:, :2]), 1.5, quad_segs=32)
            assert inside.covers(swept)


def test_a_plunge_is_only_for_tools_that_cut_at_their_center():
    (cut,) = pocket(box(0, 0, 30, 30), mill(4), depth=2, entry="plunge")
    way = cut.passes[0].path.points
    assert np.ptp(way[:, :2], axis=0) == pytest.approx([0, 0])
    with pytest.raises(ArgumentError, match="does not cut at its center"):
        pocket(box(0, 0, 30, 30), mill(4, center_cutting=False), depth=2, entry="plunge")


def test_no_room_to_come_down_is_said():
    """A bore a hair wider than the tool: a tool that may not plunge is refused, another plunges with a finding."""
    bore = Point(0, 0).buffer(2.001, quad_segs=64)
    with pytest.raises(ArgumentError, match="no room"):
        pocket(bore, mill(4, center_cutting=False), depth=3)
    (cut,) = pocket(bore, mill(4), depth=3)
    (note,) = [n for n in cut.notes if n.code == "plunge-entry"]
    assert note.severity == "warning"
    assert note.where is not None
    assert note.where[:2] == pytest.approx((0, 0), abs=0.01)


def test_allowances_leave_what_they_say():
    """0.4 mm on each wall and 0.25 on the floor: sizes by subtraction."""
    (cut,) = pocket(box(0, 0, 40, 30), mill(4), depth=3, wall_allowance=0.4, floor_allowance=0.25)
    assert cut.depth == pytest.approx(2.75)
    (rule,) = cut.bounds.rules
    assert rule.depth == pytest.approx(2.75)
    assert rule.region.bounds == pytest.approx((0.4, 0.4, 39.6, 29.6))
    holds_the_numbers(cut, box(0.4, 0.4, 39.6, 29.6))


def test_bounds_are_what_was_asked():
    region = corpus.region("letter A")
    (cut,) = pocket(region, mill(), depth=2)
    (rule,) = cut.bounds.rules
    assert rule.region.equals(region)
    assert rule.depth == 2
    assert not rule.open_edges


def test_what_the_tool_cannot_reach_is_said_with_its_area():
    """The four corners of a square keep (4 - pi) r^2 (elementary geometry)."""
    (cut,) = pocket(box(0, 0, 40, 40), mill(6), depth=2)
    assert cut.unreached.area == pytest.approx((4 - math.pi) * 9, rel=0.01)
    (note,) = [n for n in cut.notes if n.code == "unreached"]
    assert note.amount == pytest.approx(cut.unreached.area)
    assert note.where is not None
    (whole,) = pocket(Point(0, 0).buffer(20, quad_segs=128), mill(6), depth=2)
    assert whole.unreached.area < 0.01
    assert not [n for n in whole.notes if n.code == "unreached"]


def test_a_room_behind_a_shut_neck_is_cleared_by_itself_and_a_shut_room_is_unreached():
    rooms = box(0, 0, 20, 20).union(box(30, 0, 32, 20)).union(box(20, 9, 30, 9.5))
    (cut,) = pocket(rooms, mill(3), depth=2)
    assert cut.unreached.area == pytest.approx(40 + 5 + (4 - math.pi) * 2.25, rel=0.02)
    holds_the_numbers(cut, rooms)


@pytest.mark.parametrize("angle", [13.0, 90.0, 201.0])
def test_turning_the_artwork_changes_the_cleared_area_by_less_than_a_thousandth(angle):
    for name in ("letter B", "star", "comb"):
        a = cleared(corpus.region(name))
        b = cleared(rotate(corpus.region(name), angle, origin=(0, 0)))
        assert b == pytest.approx(a, rel=1e-3)


def test_mirroring_and_moving_the_artwork_change_nothing():
    for name in ("letter B", "touching hole", "sharp star"):
        region = corpus.region(name)
        a = cleared(region)
        assert cleared(scale(region, -1, 1, origin=(0, 0))) == pytest.approx(a, rel=1e-3)
        assert cleared(translate(region, 1234.5, -777.7)) == pytest.approx(a, rel=1e-3)


def cleared(region, diameter=3.0, share=0.7):
    (cut,) = pocket(region, mill(diameter, share=share), depth=2)
    lines = [LineString(p.path.flattened(0.001)[:, :2]) for p in cut.passes if p.role != "entry"]
    return shapely.union_all(shapely.buffer(lines, 0.5 * diameter, quad_segs=48)).area


def test_a_bigger_tool_never_clears_more():
    for name in ("letter A", "gear", "needle", "neck shut", "touching hole"):
        areas = [cleared(corpus.region(name), d) for d in (2.0, 3.0, 4.0, 5.0)]
        assert all(a >= b - 0.001 * a for a, b in itertools.pairwise(areas))
        assert areas[0] > areas[-1]


def test_the_same_region_gives_the_same_passes():
    a, b = (pocket(corpus.region("sharp star"), mill(share=0.7), depth=2)[0] for _ in range(2))
    assert len(a.passes) == len(b.passes)
    assert all(np.array_equal(p.path.points, q.path.points) for p, q in zip(a.passes, b.passes, strict=True))


def test_a_round_wall_is_cut_in_arcs():
    """A disc's wall ring is a few arcs, not hundreds of chords."""
    (cut,) = pocket(Point(0, 0).buffer(30, quad_segs=100), mill(6), depth=2)
    wall = cut.passes[-1].path
    assert len(wall) <= 6
    assert (wall.points[1:, 3] != 0).all()


BAD = {
    "stepover": ({"cutting": Cutting(16000, 1800, 500)}, "stepover"),
    "wide stepover": ({"cutting": Cutting(16000, 1800, 500, 1, 4.5)}, "strips would stand"),
    "deeper than the flutes": ({"depth": 12}, "cutting edges"),
    "beyond the stock": ({"depth": 30}, "below the 20 mm stock"),
    "no depth": ({"depth": 0}, "depth"),
    "not a number": ({"depth": float("nan")}, "depth"),
    "pattern": ({"pattern": "spiral"}, "'rings', 'lines', 'steady'"),
    "entry": ({"entry": "drop"}, "'helix', 'ramp', 'plunge'"),
    "all floor": ({"floor_allowance": 3}, "floor_allowance"),
    "negative wall": ({"wall_allowance": -1}, "wall_allowance"),
    "no speeds": ({"tool": EndMill(4)}, "has no speeds"),
    "round tool": ({"tool": BallNose(4, cutting=Cutting(16000, 1800, 500, 1, 1))}, "no flat floor"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_cut_is_refused_with_the_way_out(case):
    options, words = BAD[case]
    options = {"depth": 3, "tool": mill(4, cutting_length=10), "stock": Stock(99, 99, 20, material="mdf"), **options}
    with pytest.raises(ArgumentError, match=words):
        pocket(box(5, 5, 60, 40), options.pop("tool"), **options)


def test_feed_zero_is_refused():
    with pytest.raises(ArgumentError, match="feed=0"):
        Cutting(16000, 0, 500, 1, 1)


def test_a_tool_wider_than_anything_names_the_widest_place():
    with pytest.raises(ArgumentError, match=r"widest place, at \(2[0-9.]+, 4.5[0-9]*\), measures 9.00 mm"):
        pocket(box(0, 0, 10, 3).union(box(20, 0, 40, 9)), mill(10), depth=2)


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (LineString([(0, 0), (10, 0), (10, 10)]), "open outline"),
        (Polygon(), "empty"),
        (Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), "not a valid area"),
    ],
)
def test_a_drawing_that_has_no_inside_is_refused(shape, words):
    with pytest.raises(DrawingError, match=words):
        pocket(shape, mill(), depth=2)


def test_coordinates_that_are_not_numbers_are_refused():
    with np.errstate(invalid="ignore"):
        broken = Polygon([(0, 0), (10, 0), (float("nan"), 10)])
        with pytest.raises(DrawingError, match="not numbers"):
            pocket(broken, mill(), depth=2)


def test_through_goes_below_the_board():
    board = Stock(100, 100, 6, material="plywood", thickness_range=(5.8, 6.3))
    (cut,) = pocket(box(20, 20, 60, 60), mill(4, cutting_length=12, stepdown=2), depth=THROUGH, stock=board)
    assert cut.through
    assert cut.depth == pytest.approx(6 + 0.3 + 0.2)


MACHINE = Machine(travel=(600, 400, 90), max_feed=3000, rapid=5000, acceleration=(500, 500, 250), max_rpm=24000)


def written(region, tool, **more):
    """Return (cut, its only program, motion time) on a board with room around the region."""
    x0, y0, x1, y1 = region.bounds
    board = Stock(x1 - x0 + 20, y1 - y0 + 20, 18, material="hardwood")
    cuts = pocket(translate(region, 10 - x0, 10 - y0), tool, depth=3, stock=board, **more)
    (program,) = Job("Clearing", board, MACHINE, list(cuts)).programs()
    motion = read_program(program.text)
    return cuts[0], motion, time(motion, MACHINE)


def lifts(motion):
    """Return how often the tool goes down from above into or onto the work."""
    z0, z1 = motion.moves.start[:, 2], motion.moves.end[:, 2]
    return int(((z0 > 0.6) & (z1 < z0) & (motion.moves.kind != 0)).sum())


def lifted_share(motion, spent):
    """Return the share of the moving time that rapids and feed moves above the face take."""
    above = (motion.moves.kind == 0) | ((motion.moves.start[:, 2] > -1e-6) & (motion.moves.end[:, 2] > -1e-6))
    down = ~above & (motion.moves.start[:, 2] > 0) & (motion.moves.end[:, 2] < 0)
    return float(spent.moves[above | down].sum() / spent.total)


@pytest.mark.parametrize("share", [0.45, 0.7])
def test_a_plate_is_cleared_without_a_lift(share):
    _, motion, spent = written(plate(300, 100), mill(6, share=share))
    assert lifts(motion) == 1
    assert lifted_share(motion, spent) <= 0.10


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shape", "share", "more"),
    [(sign_background, 0.45, 4), (sign_background, 0.7, 4), (ring_with_islands, 0.45, 1), (ring_with_islands, 0.7, 5)],
)
def test_lifting_takes_less_than_a_tenth_of_the_time(shape, share, more):
    """Rapids and lifted moves, from the written text. Most lifts lead into full material, where no cleared floor can
    lead; `more` come down on cleared floor, to which the way at depth would be longer than a lift takes."""
    cut, motion, spent = written(shape(), mill(3, share=share))
    entries = sum(p.role == "entry" for p in cut.passes)
    assert lifts(motion) == len(chains(cut)) <= entries + more
    assert 0 < lifted_share(motion, spent) <= 0.10


def test_pieces_that_hang_together_are_cleared_in_one_go():
    """Three rooms joined by doors a little wider than the tool: one entry, and a slot through each door."""
    rooms = shapely.union_all([box(0, 0, 24, 20), box(24, 8, 30, 11.6), box(30, 0, 54, 20), box(54, 8, 60, 11.6)])
    rooms = rooms.union(box(60, 0, 84, 20))
    (cut,) = pocket(rooms, mill(3), depth=2)
    assert len(chains(cut)) == 1
    assert sum(p.role == "entry" for p in cut.passes) == 1
    links_stay_on_cleared_floor(cut)
    holds_the_numbers(cut, rooms)


def test_adding_an_island_never_lengthens_what_is_cut_inside_it():
    """No way enters the island, and those around it stay as they were a tool's width away from its rings."""
    whole = box(0, 0, 80, 60)
    for island in (Point(30, 30).buffer(9), box(20, 20, 50, 34)):
        (free,) = pocket(whole, mill(4), depth=2)
        (around,) = pocket(whole.difference(island), mill(4), depth=2)
        inside = [
            sum(LineString(p.path.flattened(0.001)[:, :2]).intersection(island).length for p in cut.passes)
            for cut in (free, around)
        ]
        assert inside[0] > 50
        assert inside[1] == 0.0


@given(regions(), st.floats(0, 360), st.booleans(), st.floats(-900, 900))
@settings(max_examples=8, deadline=None, derandomize=True)
def test_turning_mirroring_and_moving_change_the_cleared_area_by_less_than_a_thousandth(region, angle, mirror, by):
    if region.buffer(-1.6).is_empty or any(p.buffer(-1.6).is_empty != p.buffer(-1.4).is_empty for p in region.geoms):
        return  # a neck as wide as the tool opens or shuts by rounding alone
    moved = translate(rotate(scale(region, -1 if mirror else 1, 1, origin=(0, 0)), angle, origin=(0, 0)), by, -by)
    opening = [region.buffer(-r).buffer(r).area for r in (1.499, 1.501)]
    if opening[0] - opening[1] > 0.0005 * opening[0]:
        return
    assert cleared(moved) == pytest.approx(cleared(region), rel=1e-3)


@given(regions(), st.sampled_from([(2.0, 2.5), (2.0, 4.0), (3.0, 5.0)]))
@settings(max_examples=8, deadline=None, derandomize=True)
def test_a_bigger_tool_never_clears_more_of_any_region(region, diameters):
    if region.buffer(-0.5 * diameters[1] - 1e-6).is_empty:
        return
    small, big = (cleared(region, d) for d in diameters)
    assert big <= small * 1.001


@pytest.mark.parametrize("pattern", ["rings", "lines"])
def test_last_passes_on_walls_and_floor_prove_and_leave_no_mark(pattern):
    """The wall's pass runs at full depth, joined and left by arcs in the cleared floor."""
    region = box(10, 10, 70, 50).difference(Point(36, 30).buffer(7, quad_segs=60))
    board = Stock(80, 60, 18, material="hardwood")
    tool = EndMill(6, cutting_length=20, cutting=Cutting(16000, 1800, 500, 1.5, 2.7))
    cuts = pocket(region, tool, depth=4, stock=board, pattern=pattern, finish_allowance=0.3, finish_floor=0.2)
    (cut,) = cuts
    assert [z for z, _ in cut.travel] == pytest.approx([-3.8 / 3, -7.6 / 3, -3.8, -4.0])
    walls = [p for p in cut.passes if p.role == "finish"]
    assert len(walls) == 2
    rough = shapely.union_all(
        [LineString(p.path.flattened(0.001)[:, :2]).buffer(3, quad_segs=64) for p in cut.passes if p.role == "cut"]
    )
    assert rough.distance(shapely.boundary(region)) == pytest.approx(0.3, abs=0.01)
    for item in walls:
        rows = item.path.points
        assert (rows[:, 2] == -4).all()
        assert rows[1, 3] != 0
        assert rows[-1, 3] != 0
        for end in (rows[0, :2], rows[-1, :2]):
            assert rough.buffer(0.01).covers(Point(end).buffer(3))
        tangent(item.path)
    assert Job("Walls", board, MACHINE, list(cuts)).prove().ok


def tangent(path):
    """The arcs at both ends of a path go on in the direction of what they join."""
    flat = path.flattened(0.0001)[:, :2]
    ends = [path.points[1, :2], path.points[-2, :2]]
    for end in ends:
        k = int(np.argmin(np.hypot(*(flat - end).T)))
        a, b = flat[k] - flat[k - 1], flat[k + 1] - flat[k]
        assert abs(math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], a @ b))) < 3


def test_a_wall_pass_that_finds_no_room_is_said_and_one_alone_is_refused():
    slot = box(0, 0, 30, 6.62)
    (cut,) = pocket(
        slot, EndMill(6, cutting_length=20, cutting=Cutting(16000, 1800, 500, None, 2.7)), depth=2, finish_allowance=0.3
    )
    assert [n.code for n in cut.notes if n.code == "no-lead"] == ["no-lead"]
    with pytest.raises(ArgumentError, match="too narrow for finish_allowance"):
        pocket(box(0, 0, 60, 6.4), mill(6), depth=2, finish_allowance=0.3)
    with pytest.raises(ArgumentError, match="finish_floor"):
        pocket(slot, mill(6), depth=2, finish_floor=2)


def test_short_edges_take_the_wall_level_by_level():
    tool = EndMill(6, cutting_length=4, cutting=Cutting(16000, 1800, 500, 2, 2.7))
    (cut,) = pocket(box(0, 0, 40, 30), tool, depth=4, finish_allowance=0.3)
    assert [p.path.end[2] for p in cut.passes if p.role == "finish"] == [-4]
    unknown = EndMill(6, cutting=Cutting(16000, 1800, 500, 2, 2.7))
    (cut,) = pocket(box(0, 0, 40, 30), unknown, depth=4, finish_allowance=0.3)
    assert [p.path.end[2] for p in cut.passes if p.role == "finish"] == [-2, -4]


def test_lines_follow_the_grain_unless_an_angle_is_given():
    board = Stock(100, 80, 18, material="hardwood", grain=90)
    mill = EndMill(6, cutting=Cutting(16000, 1800, 500, 3, 2.5))

    def tall(**more):
        (cut,) = pocket(box(10, 10, 70, 50), mill, depth=2, pattern="lines", stock=board, **more)
        step = np.concatenate([np.diff(p.path.points[:, :2], axis=0) for p in cut.passes if p.role == "cut"])
        return np.abs(step[:, 1]).sum() > np.abs(step[:, 0]).sum()

    assert tall()
    assert not tall(angle=0.0)


@pytest.mark.parametrize("more", [-0.008, 0.0, 0.001, 0.004])
def test_a_hole_and_a_slot_as_wide_as_the_cutter_are_cut_and_prove(more):
    """The walls may be off by 0.010 mm, so a place narrower by up to as much is entered, and a wall cut by half."""
    mill = EndMill(6.35, cutting_length=22, cutting=Cutting(16000, 1800, 500, stepdown=3, stepover=2.5))
    board = Stock(120, 60, 18, material="hardwood")
    machine = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
    wide = 6.35 + more
    hole, slot = Point(20, 30).buffer(0.5 * wide, quad_segs=200), box(30, 10, 60, 10 + wide)
    for region in (hole, slot, MultiPolygon([hole, slot, box(70, 20, 100, 45)])):
        proof = Job("Tight", board, machine, pocket(region, mill, depth=4, stock=board)).prove()
        assert proof.ok, str(proof)
        assert proof.gouge <= 0.008
