"""Profiles: walls, directions, ramps, leads, levels and bridges, measured from the passes by exact sections."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

import pathgen as pg
from pathgen.cuts.profile import Bridges, profile
from pathgen.errors import ArgumentError, DrawingError
from pathgen.model.bounds import Bridge, Free, Groove, Kerf

SPEEDS = pg.Cutting(16000, 1800, 500, 3, 2.7)
MILL = pg.EndMill(6, cutting_length=22, cutting=SPEEDS)
BOARD = pg.Stock(300, 200, 12, material="plywood", thickness_range=(11.7, 12.2))
FINE = 3e-4


def disc(x, y, r, sagitta=0.0005):
    n = math.ceil(math.pi / math.acos(1 - sagitta / r))
    t = 2 * math.pi * np.arange(n) / n
    return Polygon(np.column_stack([x + r * np.cos(t), y + r * np.sin(t)]))


def oval(x, y, a, b, n=1200):
    t = 2 * math.pi * np.arange(n) / n
    return Polygon(np.column_stack([x + a * np.cos(t), y + b * np.sin(t)]))


def star(x, y, outer, inner, points=5):
    t = math.pi * np.arange(2 * points) / points + 0.1
    r = np.where(np.arange(2 * points) % 2 == 0, outer, inner)
    return Polygon(np.column_stack([x + r * np.cos(t), y + r * np.sin(t)]))


SHAPES = {
    "rectangle": box(60, 60, 180, 130),
    "star": star(130, 100, 75, 40),
    "L": Polygon([(60, 50), (200, 50), (200, 90), (110, 90), (110, 150), (60, 150)]),
    "disc": disc(130, 100, 50),
    "oval": oval(130, 100, 70, 40),
    "ring": disc(130, 100, 60).difference(disc(130, 100, 30)),
    "plate with a slot": box(40, 40, 220, 150).difference(box(80, 70, 180, 110)),
}


def section(cut, z):
    """What the cutter has swept at height z: every stretch of the passes that lies at or below z, grown by R."""
    swept = []
    for item in cut.passes:
        p = item.path.flattened(FINE)
        a, b = p[:-1], p[1:]
        low = np.minimum(a[:, 2], b[:, 2]) <= z
        if not low.any():
            continue
        a, b = a[low].copy(), b[low].copy()
        for first, last in ((a, b), (b, a)):
            over = first[:, 2] > z
            if over.any():
                t = ((z - last[over, 2]) / (first[over, 2] - last[over, 2]))[:, None]
                first[over] = last[over] + t * (first[over] - last[over])
        broken = np.flatnonzero(np.hypot(*(a[1:, :2] - b[:-1, :2]).T) > 1e-9) + 1
        for run in np.split(np.arange(len(a)), broken):
            xy = np.concatenate([a[run[:1], :2], b[run, :2]])
            swept.append(LineString(xy).buffer(0.5 * cut.tool.diameter, quad_segs=64))
    return shapely.union_all(swept)


def parts(geometry):
    return [g for g in shapely.get_parts(geometry) if g.area > 1e-9]


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("allowance", [0.0, 0.3])
def test_the_wall_lies_within_a_hundredth_of_the_outline(name, allowance):
    """The issue's number: 0.01 mm, both ways, outside corners that the cutter cannot enter."""
    region = SHAPES[name]
    cut = profile(region, MILL, depth=6, stock=BOARD, finish_allowance=allowance)[0]
    swept = section(cut, -6 + 1e-6)
    inside = parts(swept.intersection(region))
    edge = region.boundary
    gouge = max((shapely.distance(edge, shapely.points(shapely.get_coordinates(g))).max() for g in inside), default=0)
    assert gouge <= 0.010
    # residual: points along the outline that the cutter can reach lie within 0.01 of what it swept
    reach = region.buffer(3, quad_segs=256).buffer(-3, quad_segs=256)
    s = np.arange(0, edge.length, 0.37)
    points = (
        shapely.points(shapely.get_coordinates(shapely.line_interpolate_point(shapely.line_merge(edge), s)))
        if (edge.geom_type == "LineString")
        else np.concatenate([shapely.line_interpolate_point(r, np.arange(0, r.length, 0.37)) for r in edge.geoms])
    )
    touching = shapely.distance(reach.boundary, points) < 1e-3
    assert touching.sum() > 0.8 * len(points)
    assert shapely.distance(swept, points[touching]).max() <= 0.010


def signed_area(path):
    xy = path.flattened(0.001)[:, :2]
    return 0.5 * float(np.sum(xy[:-1, 0] * xy[1:, 1] - xy[1:, 0] * xy[:-1, 1]))


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_climb_runs_clockwise_outside_and_counter_clockwise_inside(direction):
    """Spindle clockwise from above: climb has the finished material on its right (elementary kinematics)."""
    cutting = pg.Cutting(16000, 1800, 500, 3, 2.7, direction=direction)
    region = SHAPES["plate with a slot"]
    sign = 1 if direction == "climb" else -1
    for side, outer in (("outside", -1), ("inside", 1)):
        cut = profile(region, MILL, depth=3, side=side, cutting=cutting, lead=0)[0]
        laps = [p for p in cut.passes if p.closed and p.role == "cut"]
        assert len(laps) == 2
        big = [signed_area(p.path) for p in laps]
        assert np.sign(max(big, key=abs)) == outer * sign
        assert np.sign(min(big, key=abs)) == -outer * sign


def slopes(path):
    p = path.flattened(0.001)
    step = np.diff(p, axis=0)
    run = np.hypot(step[:, 0], step[:, 1])
    return np.degrees(np.arctan2(-step[:, 2], run))[run > 1e-6]


@pytest.mark.parametrize("lead", [0, None])
def test_no_entry_is_steeper_than_the_angle_allowed(lead):
    for ramp, most in ((3, 3), (8, 5)):
        cutting = pg.Cutting(16000, 1800, 500, 3, 2.7, ramp=ramp)
        cut = profile(SHAPES["L"], MILL, depth=6, stock=BOARD, cutting=cutting, lead=lead)[0]
        entries = [p for p in cut.passes if p.role == "entry"]
        assert len(entries) == 2
        steepest = max(slopes(p.path).max() for p in entries)
        assert 0.5 * most < steepest <= most * 1.002


def test_a_contour_is_one_chain_that_stays_down():
    from pathgen.program.link import chains

    cut = profile(SHAPES["L"], MILL, depth=9, stock=BOARD, lead=0)[0]
    assert len(cut.passes) == 6
    assert len(chains(cut)) == 1


def test_holes_are_cut_before_the_outline_around_them():
    cut = profile(SHAPES["ring"], MILL, depth=6, lead=0)[0]
    size = [abs(signed_area(p.path)) for p in cut.passes if p.role == "cut"]
    assert size[:2] == pytest.approx([math.pi * 27**2] * 2, rel=1e-3)
    assert size[2:] == pytest.approx([math.pi * 63**2] * 2, rel=1e-3)
    first_outer = next(k for k, p in enumerate(cut.passes) if p.path.points[:, 0].min() < 80)
    assert cut.passes[first_outer].after


@pytest.mark.parametrize(
    ("shape", "allowance"),
    [("flat", 0.3), ("ramp", 0.0), *[pytest.param(*p, marks=pytest.mark.slow) for p in (("flat", 0.0), ("ramp", 0.3))]],
)
@pytest.mark.parametrize("name", SHAPES)
def test_bridges_have_the_asked_count_length_and_thickness(name, shape, allowance):
    """The issue's numbers: count exact, narrowest within 0.05 mm, thickness within 0.02, none on a corner."""
    region = SHAPES[name]
    bridges = Bridges(4, length=6, thickness=1.5, shape=shape)
    cut = profile(region, MILL, depth=pg.THROUGH, stock=BOARD, bridges=bridges, finish_allowance=allowance)[0]
    loops = [r for p in shapely.get_parts(region) for r in (p.exterior, *p.interiors)]
    kerf = region.buffer(6, quad_segs=128).difference(region)
    # one micron below the top the bridges stand, one micron above it the slot is free
    top = -12 + 1.5
    low, high = section(cut, top - 0.001), section(cut, top + 0.001)
    pieces = [g for g in parts(kerf.difference(low).buffer(-0.02).buffer(0.02)) if g.area > 4]
    assert len(pieces) == 4 * len(loops)
    assert all(g.area < 4 for g in parts(kerf.difference(high).buffer(-0.02).buffer(0.02)))
    for piece in pieces:
        assert narrowest(piece, low) == pytest.approx(6, abs=0.05)
        assert shapely.distance(piece, many_points(sharp_corners(region))) > 3
    under = section(cut, -12.0)
    assert len([g for g in parts(kerf.difference(under).buffer(-0.02).buffer(0.02)) if g.area > 4]) == 4 * len(loops)
    rules = [r for r in cut.bounds.rules if isinstance(r, Bridge)]
    assert len(rules) == len(pieces)
    assert all(r.top == pytest.approx(top) and r.length == 6 for r in rules)


def narrowest(piece, swept):
    """The least distance between the two round ends of slot that a bridge stands between."""
    near = piece.buffer(0.5).intersection(swept.buffer(0))
    ends = sorted(parts(near), key=lambda g: -g.area)[:2]
    assert len(ends) == 2
    return shapely.distance(*ends)


def many_points(points):
    return shapely.multipoints(points) if len(points) else Point(1e6, 1e6)


def sharp_corners(region):
    found = []
    for ring in [r for p in shapely.get_parts(region) for r in (p.exterior, *p.interiors)]:
        xy = shapely.get_coordinates(ring)[:-1]
        a, b = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
        turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
        found += xy[turn > np.radians(15)].tolist()
    return found


def test_nasty_regions_are_cut_without_gouging_or_refused_by_name(nasty):
    """Every region of the corpus: the swept section stays out of the part by 0.01 mm, or the error says where."""
    mill = pg.EndMill(2, cutting=SPEEDS)
    holes = [Polygon(r) for p in nasty.geoms for r in p.interiors]
    if any(h.buffer(-1).is_empty for h in holes):
        with pytest.raises(ArgumentError, match="mm wide, too narrow for 2 mm"):
            profile(nasty, mill, depth=2)
        return
    cut = profile(nasty, mill, depth=2)[0]
    assert any(p.closed and p.role == "cut" for p in cut.passes)
    inside = parts(section(cut, -2 + 1e-6).intersection(nasty))
    boundary = nasty.boundary
    worst = max(
        (shapely.distance(boundary, shapely.points(shapely.get_coordinates(g))).max() for g in inside), default=0
    )
    assert worst <= 0.010


def test_a_hole_narrower_than_the_cutter_is_refused_with_place_and_width():
    region = box(0, 0, 80, 60).difference(box(30, 20, 34, 40))
    with pytest.raises(ArgumentError, match=r"hole at \(32\.\d+, \d+\.\d+\) is 4\.00 mm wide, too narrow for 6 mm"):
        profile(region, MILL, depth=3)


def test_a_piece_narrower_than_the_cutter_cannot_be_cut_inside():
    with pytest.raises(ArgumentError, match=r"piece at .* is 5\.00 mm wide"):
        profile(box(0, 0, 5, 40), MILL, depth=3, side="inside")


def test_inside_corners_the_cutter_cannot_enter_are_named():
    """A square corner keeps (1 - pi / 4) R^2 of its area (elementary geometry)."""
    cut = profile(box(20, 20, 80, 60), MILL, depth=3, side="inside")[0]
    assert cut.unreached.area == pytest.approx(4 * (1 - math.pi / 4) * 9, rel=0.02)
    assert [n.code for n in cut.notes if n.severity == "note"].count("unreached") == 1
    assert profile(box(20, 20, 80, 60), MILL, depth=3)[0].unreached.is_empty


def test_bridges_need_a_cut_that_goes_through():
    asked = Bridges(4, length=6, thickness=1.5)
    with pytest.raises(ArgumentError, match="bridges hold a part that is cut free"):
        profile(SHAPES["disc"], MILL, depth=6, stock=BOARD, bridges=asked)
    with pytest.raises(ArgumentError, match="needs stock="):
        profile(SHAPES["disc"], MILL, depth=pg.THROUGH, bridges=asked)
    with pytest.raises(ArgumentError, match="as thick as the stock"):
        profile(SHAPES["disc"], MILL, depth=pg.THROUGH, stock=BOARD, bridges=Bridges(4, length=6, thickness=12))


def test_more_bridges_than_fit_are_an_error_that_says_how_many_do():
    with pytest.raises(ArgumentError, match=r"12 bridges of 9 mm do not fit .* (\d+) would, and with length=\d"):
        profile(box(50, 50, 110, 90), MILL, depth=pg.THROUGH, stock=BOARD, bridges=Bridges(12, length=9, thickness=1))


def test_a_through_cut_goes_below_the_thickest_board_and_says_so_in_its_rule():
    """(hi - nominal) + 0.2 mm."""
    cut = profile(SHAPES["disc"], MILL, depth=pg.THROUGH, stock=BOARD)[0]
    assert cut.through
    assert cut.depth == pytest.approx(12 + 0.2 + 0.2)
    assert min(p.path.points[:, 2].min() for p in cut.passes) == pytest.approx(-12.4)
    kerf = next(r for r in cut.bounds.rules if isinstance(r, Kerf))
    assert (kerf.depth, round(kerf.below, 9), kerf.through, kerf.width) == (12, 0.4, True, 6)
    assert profile(SHAPES["disc"], MILL, depth=pg.THROUGH, stock=BOARD, below=0.1)[0].depth == pytest.approx(12.1)


def test_the_finish_pass_takes_the_whole_depth_at_once_where_the_flutes_are_known_to_be_long_enough():
    for length, runs in ((22, 1), (None, 5)):
        mill = pg.EndMill(6, cutting_length=length, cutting=SPEEDS)
        cut = profile(SHAPES["disc"], mill, depth=pg.THROUGH, stock=BOARD, finish_allowance=0.3)[0]
        finish = [p for p in cut.passes if p.role == "finish"]
        assert len(finish) == runs
        assert all(signed_area(p.path) < 0 for p in finish)


def test_the_finish_pass_overlaps_its_start_and_joins_and_leaves_on_tangent_arcs():
    """An overlap of at least 1 mm is common practice, no source."""
    cut = profile(box(60, 60, 180, 130), MILL, depth=6, stock=BOARD, finish_allowance=0.3)[0]
    (run,) = [p.path for p in cut.passes if p.role == "finish"]
    lap = 2 * (120 + 70) + 2 * math.pi * 3
    steps = run.move_lengths
    assert steps[1:-1].sum() - lap >= 1.0
    for arc, wall in ((0, 1), (len(steps) - 1, len(steps) - 2)):
        sweep, length = abs(run.sweeps[arc]), steps[arc]
        assert length / sweep == pytest.approx(3.0, abs=1e-6)
        p = run.points
        joint = p[1] if arc == 0 else p[-2]
        end = p[0] if arc == 0 else p[-1]
        other = p[2] if arc == 0 else p[-3]
        chord, line = end[:2] - joint[:2], other[:2] - joint[:2]
        angle = math.atan2(abs(chord[0] * line[1] - chord[1] * line[0]), -chord @ line)
        assert angle == pytest.approx(sweep / 2, abs=1e-6), wall
    shape = box(60, 60, 180, 130)
    assert shape.distance(Point(run.start[:2])) == pytest.approx(3.3, abs=1e-6)
    assert shape.distance(Point(run.end[:2])) == pytest.approx(3.3, abs=1e-6)


def test_clear_plastic_is_never_entered_or_left_on_the_finished_wall():
    """Last wall pass 0.2 to 0.3 mm; every start and end of a chain stays off the wall (common practice, no source)."""
    from pathgen.program.link import chains

    sheet = pg.Stock(300, 200, 6, material="acrylic")
    cut = profile(SHAPES["oval"], MILL, depth=pg.THROUGH, stock=sheet)[0]
    assert [p.role for p in cut.passes].count("finish") == 1
    for chain in chains(cut):
        for end in (chain.start, chain.end):
            assert SHAPES["oval"].distance(Point(end[:2])) > 3.2
    rough = section(cut, -3)
    assert rough.area > 0
    entries = [p for p in cut.passes if p.role == "entry"]
    assert all(SHAPES["oval"].distance(LineString(p.path.flattened(0.01)[:, :2])) > 3.2 for p in entries)


def test_without_a_finish_pass_the_tool_enters_and_leaves_beside_the_wall_where_there_is_room():
    from pathgen.program.link import chains

    cut = profile(SHAPES["rectangle"], MILL, depth=9, stock=BOARD)[0]
    for chain in chains(cut):
        assert SHAPES["rectangle"].distance(Point(chain.start[:2])) > 3 + 2
        assert SHAPES["rectangle"].distance(Point(chain.end[:2])) > 3 + 2
    free = [r for r in cut.bounds.rules if isinstance(r, Free)]
    assert len(free) == 1
    assert free[0].region.distance(SHAPES["rectangle"]) >= -1e-9
    assert free[0].region.intersection(SHAPES["rectangle"]).area < 0.01
    tight = pg.Stock(126, 76, 12, material="plywood")
    cut = profile(box(5, 5, 121, 71), MILL, depth=9, stock=tight)[0]
    assert "no-lead" in [n.code for n in cut.notes]
    assert not [r for r in cut.bounds.rules if isinstance(r, Free)]


def test_a_deep_slot_lifts_to_clear_chips_and_is_a_finding_unless_it_is_widened():
    """2 D in wood, 1 D in metal and acrylic (common practice, no source)."""
    from pathgen.program.link import chains

    cut = profile(SHAPES["L"], MILL, depth=18, lead=0)[0]
    assert len(chains(cut)) == 1 + sum(p.level >= 4 for p in cut.passes if p.role == "cut")
    assert [n.severity for n in cut.notes if n.code == "deep-slot"] == ["warning"]
    wide = profile(SHAPES["L"], MILL, depth=18, slot_width=8)[0]
    assert not [n for n in wide.notes if n.code == "deep-slot"]
    slot = section(wide, -18 + 1e-6)
    asked = SHAPES["L"].buffer(8, quad_segs=128).difference(SHAPES["L"])
    corner = (1 - math.pi / 4) * 9
    assert asked.difference(slot).area == pytest.approx(corner, abs=0.3)
    assert slot.difference(asked).buffer(-0.01).area < 0.05
    with pytest.raises(ArgumentError, match=r"slot_width=7 must be at least 1\.3 x"):
        profile(SHAPES["L"], MILL, depth=18, slot_width=7)


def test_open_lines_are_ramped_to_and_fro_and_cut_along_at_constant_depth():
    line = LineString([(10, 10), (60, 10), (60, 50)])
    cut = profile(line, MILL, depth=6, side="along")[0]
    from pathgen.program.link import chains

    assert len(chains(cut)) == 1
    runs = [p.path for p in cut.passes if p.role == "cut"]
    assert [r.length for r in runs] == pytest.approx([90, 90])
    assert [r.start[2] for r in runs] == [-3, -6]
    assert max(slopes(p.path).max() for p in cut.passes if p.role == "entry") <= 3.001
    bit = pg.VBit(60, diameter=12, cutting=SPEEDS)
    groove = profile(MultiLineString([line]), bit, depth=2, side="along")[0]
    rules = groove.bounds.rules
    assert len(rules) == 2
    assert all(isinstance(r, Groove) and r.limit == 2 for r in rules)
    assert rules[0].region.bounds[0] == pytest.approx(10 - 2 * math.tan(math.radians(30)))


def test_only_end_mills_cut_beside_an_outline():
    with pytest.raises(ArgumentError, match="needs an end mill"):
        profile(SHAPES["disc"], pg.VBit(60, diameter=12, cutting=SPEEDS), depth=2)
    with pytest.raises(ArgumentError, match="must not spin"):
        profile(SHAPES["disc"], pg.DiamondPoint(cutting=pg.Cutting(0, 500, 200)), depth=0.3, side="along")


def test_bad_requests_are_named():
    with pytest.raises(ArgumentError, match="side='out' is not one of"):
        profile(SHAPES["disc"], MILL, depth=3, side="out")
    with pytest.raises(DrawingError, match="open outline"):
        profile(LineString([(0, 0), (10, 0)]), MILL, depth=3)
    with pytest.raises(ArgumentError, match="cutting edges"):
        profile(SHAPES["disc"], MILL, depth=30)
    side_only = pg.EndMill(6, cutting_length=22, cutting=SPEEDS, center_cutting=False)
    with pytest.raises(ArgumentError, match="does not cut at its center"):
        profile(SHAPES["disc"], side_only, depth=3, entry="plunge")
    with pytest.raises(ArgumentError, match="a core standing"):
        profile(SHAPES["disc"], MILL, depth=3, lead=5)


def test_the_travel_of_each_level_lies_in_what_was_cut():
    cut = profile(SHAPES["ring"], MILL, depth=9, stock=BOARD)[0]
    assert [round(z, 6) for z, _ in cut.travel] == [-3, -6, -9]
    for z, where in cut.travel:
        assert not where.is_empty
        assert where.difference(section(cut, z).buffer(-2.9)).is_empty
        assert isinstance(where, MultiPolygon)


@pytest.mark.parametrize("letters", ["Bed", pytest.param("Rose", marks=pytest.mark.slow)])
def test_letters_are_cut_out_and_held(letters):
    """Text as outlines: islands' slugs that are bigger than the cutter get bridges, small ones none."""
    mill = pg.EndMill(3, cutting_length=14, cutting=SPEEDS)
    region = shapely.affinity.translate(pg.text(letters, height=90, tracking=12).region, 20, 40)
    board = pg.Stock(600, 200, 6, material="plywood")
    cut = profile(region, mill, depth=pg.THROUGH, stock=board, bridges=Bridges(3, length=3, thickness=1))[0]
    rules = [r for r in cut.bounds.rules if isinstance(r, Bridge)]
    assert len(rules) >= 3 * len(region.geoms)
    low = section(cut, -5.001)
    kerf = region.buffer(3, quad_segs=64).difference(region)
    for rule in rules:
        middle = rule.line.geoms[0].interpolate(0.5, normalized=True)
        assert not low.covers(middle)
        assert kerf.covers(middle)
    inside = parts(section(cut, -6).intersection(region))
    boundary = region.boundary
    assert (
        max((shapely.distance(boundary, shapely.points(shapely.get_coordinates(g))).max() for g in inside), default=0)
        <= 0.01
    )


@pytest.mark.parametrize("slot_width", [None, 8.0])
def test_plunging_comes_down_beside_the_bridges(slot_width):
    cut = profile(
        SHAPES["rectangle"], MILL, depth=pg.THROUGH, stock=BOARD, entry="plunge", slot_width=slot_width,
        bridges=Bridges(4, length=6, thickness=1.5),
    )[0]  # fmt: skip
    lines = shapely.union_all([r.line for r in cut.bounds.rules if isinstance(r, Bridge)])
    downs = [p.path for p in cut.passes if p.role == "entry"]
    assert len(downs) >= 5
    for path in downs:
        assert len({tuple(p) for p in path.points[:, :2].tolist()}) == 1
        assert lines.distance(Point(path.start[:2])) > 6


@pytest.mark.parametrize("hole", [(5.0, 4.0), (7.0, 3.0), (12.0, 3.2), (4.0, 4.0)])
def test_leads_of_a_small_cut_out_never_touch_the_part(hole):
    """The finish pass runs on over its start before it leaves the wall: there too the arc must lie in the waste."""
    mill = pg.EndMill(1.5, cutting_length=30, cutting=pg.Cutting(16000, 900, 250, 1, 0.6))
    shape = box(0, 0, 40, 30).difference(box(15, 10, 15 + hole[0], 10 + hole[1]))
    (cut,) = profile(
        shape, mill, depth=pg.THROUGH, stock=pg.Stock(60, 50, 6, material="hardwood"), finish_allowance=0.2
    )
    finish = [p for p in cut.passes if p.role == "finish"]
    assert len(finish) == 2
    for p in finish:
        ways = shapely.points(p.path.flattened(0.001)[:, :2])
        assert shapely.distance(ways, shape).min() >= 0.75 - 0.006
    for rule in cut.bounds.rules:
        if isinstance(rule, Free):
            assert rule.region.intersection(shape).area < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("allowance", [0.0, 0.3])
def test_the_written_program_is_proved(name, allowance):
    """The whole way: text, read back, swept, held against what was asked."""
    router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
    for shape in ("flat", "ramp"):
        cuts = profile(
            SHAPES[name], MILL, depth=pg.THROUGH, stock=BOARD, finish_allowance=allowance,
            bridges=Bridges(4, length=6, thickness=1.5, shape=shape),
        )  # fmt: skip
        proof = pg.Job("Fern", BOARD, router, cuts).prove()
        assert proof.ok, [str(f) for f in proof.findings]
        assert proof.gouge <= 0.010
        assert proof.residual <= 0.010
