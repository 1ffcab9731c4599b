"""What rings leave standing when they lie more than a radius apart, and the short passes that take it away.

With a stepover of at most the radius every point between two rings is nearer than the radius to one of them, and
nothing stands. Above it, pillars stand at the ends of sheets, in necks and in sharp corners. They are found by
sets, exactly: what is further than the radius inside a sheet, less its children grown by the radius. None is wider
than 2 (stepover - radius), less than the tool, so one pass along the middle takes it away.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.clearing import Move, Run, Sheet
from pathgen.model.arrays import FloatArray
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import NOISE, PLAN, quad_segs

SPECK = 0.01
"""What cannot hold a disc of this radius is not worth a pass, mm. Larger: it is felt under a finger; smaller: chords
of two neighbouring offsets differ by as much and passes would chase them."""

REACH = 0.97
"""Share of the radius a pass may rely on to cover a pillar. Larger: chords and simplified middles leave specks;
smaller: passes longer than they must be."""

TRIED = 12
"""How many of the nearest pillars are tried for a link without a lift. Larger: longer links; smaller: more lifts."""

LONGEST_LINK = 8.0
"""Longest link between pillars, in radii; beyond it the tool lifts. Larger: the way down at depth grows longer than a
lift takes; smaller: more lifts."""

REACH_CHECK = 0.999
"""Share of the radius within which a corner of a pillar counts as cleared. Larger: chords deceive; smaller: more
pieces are looked at closely for nothing."""

_ROUNDS = 6
"""How often what is still left is looked for again. One round nearly always does; more only mend odd shapes."""


def leftovers(tree: list[Sheet], *, radius: float, stepover: float, error: float = PLAN) -> MultiPolygon:
    """Return what no ring of `tree` clears, within what the tool can reach.

    Args:
        tree: from `pathgen.cuts.clearing.sheets`.
        radius: of the tool, mm.
        stepover: mm.
        error: bound on chords, mm.
    """
    if stepover <= radius:
        return MultiPolygon()
    segments = quad_segs(radius, error)
    inside = shapely.buffer(np.array([s.region for s in tree], dtype=object), -radius, quad_segs=segments)
    found = []
    for sheet, area in zip(tree, inside.tolist(), strict=True):
        if area.is_empty:
            continue
        if sheet.children:
            kids = MultiPolygon([tree[c].region for c in sheet.children])
            area = shapely.difference(area, shapely.buffer(kids, radius, quad_segs=segments))
        found.append(area)
    return _solid(found)


def _solid(shapes: list[BaseGeometry]) -> MultiPolygon:
    """Return the pieces that hold a disc of radius `SPECK`."""
    pieces = [p for s in shapes for p in as_multi(s).geoms]
    if not pieces:
        return MultiPolygon()
    array = np.array(pieces, dtype=object)
    kept = ~shapely.is_empty(shapely.buffer(array, -SPECK, quad_segs=4))
    return MultiPolygon(array[kept].tolist())


def leftover_runs(
    left: MultiPolygon, *, center: MultiPolygon, rings: BaseGeometry, radius: float, needs: set[int], first: int
) -> list[Run]:
    """Return runs that clear `left`.

    Args:
        left: from `leftovers`.
        center: the center region; no path leaves it.
        rings: all rings, cut before; every pass sets out from one of them.
        radius: of the tool, mm.
        needs: indices of runs that must be done before.
        first: index that the first run returned will have.
    """
    runs: list[Run] = []
    shapely.prepare(center)
    shapely.prepare(rings)
    room = center.buffer(10 * NOISE)
    shapely.prepare(room)
    for _ in range(_ROUNDS):
        if left.is_empty:
            break
        ways = _ways(np.array(left.geoms, dtype=object), rings, center, radius)
        _chain(ways, runs, left, room, radius, needs, first)
        left = _rest(left, ways, radius)
    return runs


def _rest(left: MultiPolygon, ways: list[FloatArray], radius: float) -> MultiPolygon:
    """Return what of `left` no way clears. Pieces with all corners within reach of one way need no closer look."""
    pieces = np.array(left.geoms, dtype=object)
    lines = np.array([LineString(w) for w in ways], dtype=object)
    corners, owner = shapely.get_coordinates(pieces, return_index=True)
    tree = shapely.STRtree(lines)
    point, line = tree.query(shapely.points(corners), predicate="dwithin", distance=REACH_CHECK * radius)
    seen = np.zeros((len(pieces), len(lines)), dtype=np.int64)
    np.add.at(seen, (owner[point], line), 1)
    convex = shapely.area(pieces) > 0.9 * shapely.area(shapely.convex_hull(pieces))
    sure = convex & (seen.max(axis=1) == np.bincount(owner, minlength=len(pieces)))
    doubtful = pieces[~sure]
    if not len(doubtful):
        return MultiPolygon()
    close = np.unique(tree.query(doubtful, predicate="dwithin", distance=radius)[1])
    swept = shapely.union_all(shapely.buffer(lines[close], radius, quad_segs=quad_segs(radius, PLAN)))
    return _solid(list(shapely.difference(doubtful, swept)))


def _ways(pieces: Any, rings: BaseGeometry, center: MultiPolygon, radius: float) -> list[FloatArray]:
    """Return ways (n, 2) that together clear `pieces`; each sets out from a ring, where the floor is cleared."""
    reach = REACH * radius
    small = shapely.minimum_bounding_radius(pieces) <= 0.9 * reach
    long = [_middle(p, reach) if not s else [] for p, s in zip(pieces, small.tolist(), strict=True)]
    spots = np.array([not paths for paths in long])
    result = [_led(path, rings) for paths in long for path in paths]
    if spots.any():
        middles = shapely.centroid(shapely.minimum_bounding_circle(pieces[spots]))
        outside = ~shapely.covers(center, middles)
        middles[outside] = shapely.point_on_surface(pieces[spots][outside])
        leads = shapely.shortest_line(rings, middles)
        hulls = shapely.convex_hull(pieces[spots])
        result += [_short_visit(lead, hull, reach) for lead, hull in zip(leads, hulls, strict=True)]
    return result


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
    merged = shapely.get_parts(shapely.line_merge(shapely.union_all(edges)))
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


def _chain(
    ways: list[FloatArray],
    runs: list[Run],
    left: MultiPolygon,
    room: BaseGeometry,
    radius: float,
    needs: set[int],
    first: int,
) -> None:
    """Append ways to runs, nearest first, joined over cleared floor where the straight way is free."""
    waiting = list(range(len(ways)))
    starts = np.array([w[0] for w in ways])
    pieces = np.array(left.geoms, dtype=object)
    at = runs[-1].end if runs else starts[0]
    while waiting:
        order = np.argsort(np.round(np.hypot(*(starts[waiting] - at).T), 6), kind="stable")[:TRIED]
        links = np.array([LineString([at, starts[waiting[k]]]) for k in order], dtype=object)
        free = np.full(len(links), bool(runs)) & (shapely.length(links) <= LONGEST_LINK * radius)
        free[free] = shapely.covers(room, links[free])
        free[free] = _far_from(pieces, links[free], radius - 0.02)
        found = np.flatnonzero(free)
        before = needs | ({first + len(runs) - 1} if runs else set())
        way = ways[waiting.pop(int(order[found[0] if len(found) else 0]))]
        if not len(found):
            runs.append(Run(needs=before))
        elif np.abs(way[0] - at).max() > NOISE:
            runs[-1].moves.append(Move(xy=np.array([at, way[0]]), role="link"))
        runs[-1].moves.append(Move(xy=way, role="cut"))
        at = way[-1]
        pieces = _less(pieces, LineString(way), radius)


def _far_from(pieces: Any, lines: Any, distance: float) -> Any:
    """Return which of `lines` keep `distance` mm from all pieces."""
    result = np.ones(len(lines), dtype=bool)
    for k, line in enumerate(lines):
        near = pieces[_boxed(pieces, line, distance)]
        result[k] = not len(near) or not bool(shapely.dwithin(near, line, distance).any())
        if result[k]:
            break  # the nearest that is free is taken; those behind it are not looked at
    return result


def _boxed(pieces: Any, line: BaseGeometry, distance: float) -> Any:
    """Return the indices of the pieces whose boxes come within `distance` of a line's."""
    low, high = np.reshape(line.bounds, (2, 2)) + np.array([[-distance], [distance]])
    box = shapely.bounds(pieces)
    return np.flatnonzero((box[:, 2:] >= low).all(axis=1) & (box[:, :2] <= high).all(axis=1))


def _less(pieces: Any, way: LineString, radius: float) -> Any:
    """Return an array of pieces without those that a pass along `way` clears: all their corners lie within reach."""
    near = _boxed(pieces, way, radius)
    if not len(near):
        return pieces
    corners, owner = shapely.get_coordinates(pieces[near], return_index=True)
    out = ~shapely.dwithin(way, shapely.points(corners), radius)
    cleared = np.bincount(owner, weights=out, minlength=len(near)) == 0
    return np.delete(pieces, near[cleared])
