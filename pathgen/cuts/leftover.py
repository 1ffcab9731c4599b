"""What rings leave standing when they lie more than a radius apart, and the short passes that take it away.

With a stepover of at most the radius every point between two rings is nearer than the radius to one of them, and
nothing stands. Above it, pillars stand at the ends of sheets, in necks and in sharp corners. They are found by
sets, exactly: what is further than the radius inside a sheet, less its children grown by the radius. None is wider
than 2 (stepover - radius), less than the tool, so one short way along its middle takes it away. That way sets out from
a ring and goes back to it, so that no lift is needed.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.clearing import Sheet
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.shape.tolerance import NOISE, PLAN, quad_segs

SPECK = 0.01
"""A ring is trusted to clear its radius less this, and what of the rest cannot hold a disc of this radius is left out,
mm. Larger: more passes than needed; smaller: rings drawn in arcs leave slivers, and chords of two neighbouring offsets
differ by as much, so that passes would chase them."""

REACH = 0.97
"""Share of the radius a pass may rely on to cover a pillar. Larger: chords and simplified middles leave specks;
smaller: passes longer than they must be."""

REACH_CHECK = 0.999
"""Share of the radius within which a corner of a pillar counts as cleared. Larger: chords deceive; smaller: more
pieces are looked at closely for nothing."""

WIDE = 0.85
"""Half the width of a rectangle, in what a pass covers to its side, up to which one straight way along it clears all of
it. Larger: the way's ends reach further; smaller: more pieces need a bent one."""

_ROUNDS = 6
"""How often what is still left is looked for again. One round nearly always does; more only mend odd shapes."""


def leftovers(tree: list[Sheet], *, radius: float, stepover: float, error: float = PLAN) -> tuple[Any, IntArray]:
    """Return what no ring of `tree` clears, within what the tool can reach: pieces, and the sheet that holds each.

    Args:
        tree: from `pathgen.cuts.clearing.sheets`.
        radius: of the tool, mm.
        stepover: mm.
        error: bound on chords, mm.
    """
    if stepover <= radius:
        return np.array([], dtype=object), np.zeros(0, dtype=np.int64)
    segments, sure = quad_segs(radius, error), radius - SPECK
    areas = shapely.buffer(np.array([s.region for s in tree], dtype=object), -sure, quad_segs=segments)
    parents = [k for k, s in enumerate(tree) if s.children and not areas[k].is_empty]
    kids = np.array([MultiPolygon([tree[c].region for c in tree[k].children]) for k in parents], dtype=object)
    if parents:
        areas[parents] = shapely.difference(areas[parents], shapely.buffer(kids, sure, quad_segs=segments))
    return solid_parts(areas)


def solid_parts(shapes: Any) -> tuple[Any, IntArray]:
    """Return the pieces of an array of shapes that hold a disc of radius `SPECK`, and the shape each belongs to."""
    pieces, owner = shapely.get_parts(shapes, return_index=True)
    kept = shapely.area(pieces) > math.pi * SPECK * SPECK
    kept[kept] = ~shapely.is_empty(shapely.buffer(pieces[kept], -SPECK, quad_segs=4))
    return pieces[kept], owner[kept]


def ears(pieces: Any, owner: IntArray, rings: Any, rooms: Any, *, radius: float) -> list[list[FloatArray]]:
    """Return the ways that clear `pieces`, for each shape of `rings` that they set out from.

    Args:
        pieces: what is left, polygons; mm.
        owner: index into `rings` and `rooms` for each piece.
        rings: array of lines, cut before; every way sets out from one.
        rooms: array of polygons; no way leaves its own.
        radius: of the tool, mm.
    """
    result: list[list[FloatArray]] = [[] for _ in rings]
    used = np.unique(owner)
    shapely.prepare(rings[used])
    shapely.prepare(rooms[used])
    for _ in range(_ROUNDS):
        if not len(pieces):
            break
        ways = _ways(pieces, rings[owner], rooms[owner], radius)
        for k, way in ways:
            result[int(owner[k])].append(way)
        pieces, of = _rest(pieces, [w for _, w in ways], radius)
        owner = owner[of]
    return result


def _rest(pieces: Any, ways: list[FloatArray], radius: float) -> tuple[Any, IntArray]:
    """Return what of `pieces` no way clears, and of which piece each part is.

    Pieces with all corners within reach of one way need no closer look.
    """
    lines = np.array([LineString(w) for w in ways], dtype=object)
    corners, owner = shapely.get_coordinates(pieces, return_index=True)
    tree = shapely.STRtree(lines)
    point, line = tree.query(shapely.points(corners), predicate="dwithin", distance=REACH_CHECK * radius)
    seen = np.zeros((len(pieces), len(lines)), dtype=np.int64)
    np.add.at(seen, (owner[point], line), 1)
    convex = shapely.area(pieces) > 0.9 * shapely.area(shapely.convex_hull(pieces))
    sure = convex & (seen.max(axis=1) == np.bincount(owner, minlength=len(pieces)))
    doubtful = np.flatnonzero(~sure)
    if not len(doubtful):
        return np.array([], dtype=object), np.zeros(0, dtype=np.int64)
    close = np.unique(tree.query(pieces[doubtful], predicate="dwithin", distance=radius)[1])
    swept = shapely.union_all(shapely.buffer(lines[close], radius - SPECK, quad_segs=quad_segs(radius, PLAN)))
    parts, of = solid_parts(shapely.difference(pieces[doubtful], swept))
    return parts, doubtful[of]


def _ways(pieces: Any, rings: Any, rooms: Any, radius: float) -> list[tuple[int, FloatArray]]:
    """Return ways (piece, (n, 2)) that together clear `pieces`; each sets out from the ring of its piece."""
    reach = REACH * radius
    straight = np.flatnonzero(shapely.minimum_bounding_radius(pieces) > 0.9 * reach)
    long: dict[int, list[FloatArray]] = {}
    if len(straight):
        axes, fits = _axes(pieces[straight], reach)
        fits[fits] = shapely.covers(rooms[straight[fits]], shapely.linestrings(axes[fits]))
        long = {
            int(k): [axis] if fit else _middle(pieces[k], reach)
            for k, axis, fit in zip(straight, axes, fits, strict=True)
        }
    spots = np.array([not long.get(k) for k in range(len(pieces))])
    result = [(k, _led(path, rings[k])) for k, paths in long.items() for path in paths]
    if spots.any():
        middles = shapely.centroid(shapely.minimum_bounding_circle(pieces[spots]))
        outside = ~shapely.covers(rooms[spots], middles)
        middles[outside] = shapely.point_on_surface(pieces[spots][outside])
        leads = shapely.shortest_line(rings[spots], middles)
        hulls = shapely.convex_hull(pieces[spots])
        places = np.flatnonzero(spots).tolist()
        result += [(k, _short_visit(lead, hull, reach)) for k, lead, hull in zip(places, leads, hulls, strict=True)]
    return result


def _axes(pieces: Any, reach: float) -> tuple[FloatArray, BoolArray]:
    """Return straight ways (n, 2, 2) that clear the narrowest rectangle around each piece, and whether there is one."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(pieces)).reshape(-1, 5, 2)
    sides = np.hypot(*np.moveaxis(corners[:, 1:3] - corners[:, :2], 2, 0))
    turn = sides[:, 0] < sides[:, 1]
    first = np.where(turn[:, None, None], corners[:, [0, 1]], corners[:, [1, 2]])
    last = np.where(turn[:, None, None], corners[:, [3, 2]], corners[:, [0, 3]])
    ends = np.stack([first.mean(axis=1), last.mean(axis=1)], axis=1)
    half, length = 0.5 * sides.min(axis=1), sides.max(axis=1)
    fits = half <= WIDE * reach
    back = np.sqrt(np.maximum(reach * reach - half * half, 0.0)) / np.maximum(length, NOISE)
    back = np.minimum(back, 0.49)[:, None]
    step = ends[:, 1] - ends[:, 0]
    return np.stack([ends[:, 0] + back * step, ends[:, 1] - back * step], axis=1), fits


def _led(path: FloatArray, rings: BaseGeometry) -> FloatArray:
    """Return `path`, run from its end nearer to a ring, with the way from that ring in front."""
    lead = shapely.shortest_line(rings, shapely.points([path[0], path[-1]]))
    turn = int(np.argmin(np.round(shapely.length(lead), 6)))
    body = path if turn == 0 else path[::-1]
    begin = shapely.get_coordinates(lead[turn])[0]
    return np.concatenate([begin[None], body])


def _short_visit(lead: LineString, hull: Polygon, reach: float) -> FloatArray:
    """Return the way along `lead`, from a ring to a piece's middle, no further than needed to cover its hull."""
    a, b = shapely.get_coordinates(lead)
    corners = shapely.get_coordinates(hull)
    t = np.linspace(0.0, 1.0, 41)
    at = a + t[:, None] * (b - a)
    far = np.sqrt(((at[:, None] - corners[None]) ** 2).sum(axis=2)).max(axis=1)
    enough = np.flatnonzero(far <= reach)
    k = int(enough[0]) if len(enough) else len(t) - 1
    return np.array([a, at[max(k, 1)]])


def _middle(piece: Polygon, reach: float) -> list[FloatArray]:
    """Return ways along the middle of a long piece, with ends cut back by what the tool reaches."""
    spacing = max(0.2 * reach, 1e-3)
    outline = shapely.segmentize(shapely.simplify(piece, 0.02 * reach), spacing)
    points = shapely.multipoints(shapely.get_coordinates(outline))
    edges = shapely.get_parts(shapely.voronoi_polygons(points, only_edges=True))
    shapely.prepare(outline)
    edges = edges[shapely.contains_properly(outline, edges)]
    if not len(edges):
        return []
    merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(edges)))
    return _trimmed_ways(list(merged), reach)


def _trimmed_ways(lines: list[LineString], reach: float) -> list[FloatArray]:
    """Cut dangling ends back by `reach`, then join what is left into as few ways as it takes."""
    for _ in range(50):
        degree: dict[tuple[float, float], int] = {}
        for line in lines:
            for end in (line.coords[0], line.coords[-1]):
                degree[_key(end)] = degree.get(_key(end), 0) + 1
        spurs = [
            k
            for k, line in enumerate(lines)
            if line.length <= 0.9 * reach
            and _key(line.coords[0]) != _key(line.coords[-1])
            and 1 in (degree[_key(line.coords[0])], degree[_key(line.coords[-1])])
        ]
        if not spurs:
            break
        if len(spurs) == len(lines):
            return []
        kept = [line for k, line in enumerate(lines) if k not in set(spurs)]
        merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(kept)))
        lines = list(merged)
    result = []
    for line in lines:
        a, b = _key(line.coords[0]), _key(line.coords[-1])
        low = 0.9 * reach if a != b and degree.get(a, 1) == 1 else 0.0
        high = line.length - (0.9 * reach if a != b and degree.get(b, 1) == 1 else 0.0)
        part = shapely.simplify(_between(line, low, high), 0.02 * reach)
        result.append(np.asarray(part.coords)[:, :2])
    return sorted(result, key=lambda w: -len(w))


def _between(line: LineString, low: float, high: float) -> LineString:
    """Return the stretch of a line between two lengths along it; its middle where they cross."""
    if high - low < 1e-3:
        middle = 0.5 * (low + high)
        low, high = middle - 5e-4, middle + 5e-4
    xy = np.asarray(line.coords)[:, :2]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    keep = (along > low) & (along < high)
    ends = [[np.interp(v, along, xy[:, 0]), np.interp(v, along, xy[:, 1])] for v in (low, high)]
    return LineString(np.concatenate([ends[:1], xy[keep], ends[1:]]))


def _key(point: tuple[float, ...]) -> tuple[float, float]:
    return round(point[0], 6), round(point[1], 6)
