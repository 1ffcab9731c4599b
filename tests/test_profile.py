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


def standing(cut, kerf, z):
    """The pieces of the asked slot that stand at height z."""
    return [g for g in parts(kerf.difference(section(cut, z)).buffer(-0.02).buffer(0.02)) if g.area > 0.5]


def outline(region):
    return shapely.boundary(region)


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
    points = shapely.points(shapely.get_coordinates(shapely.line_interpolate_point(shapely.line_merge(edge), s))) if (
        edge.geom_type == "LineString"
    ) else np.concatenate([shapely.line_interpolate_point(r, np.arange(0, r.length, 0.37)) for r in edge.geoms])
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


@pytest.mark.parametrize("allowance", [0.0, 0.3])
@pytest.mark.parametrize("shape", ["flat", "ramp"])
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
        assert shapely.distance(piece, MultiPoints(sharp_corners(region))) > 3
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


def MultiPoints(points):  # noqa: N802
    return shapely.multipoints(points) if len(points) else Point(1e6, 1e6)


def sharp_corners(region):
    found = []
    for ring in [r for p in shapely.get_parts(region) for r in (p.exterior, *p.interiors)]:
        xy = shapely.get_coordinates(ring)[:-1]
        a, b = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
        turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
        found += xy[turn > np.radians(15)].tolist()
    return found
