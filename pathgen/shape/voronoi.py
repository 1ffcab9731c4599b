"""Segment Voronoi diagrams of polygons, as arrays. The only file that knows pyvoronoi (Boost's construction).

Terminology
-----------
unit
    0.000001 mm, or 0.00001 mm for regions wider than 4 m; the construction works on whole units of 32 bits.
    A coarser grid turns round ends into bunches of twigs.
site
    a segment of an outline, or a vertex where the inside turns away by more than 180 degrees (reflex).
inner edge
    an edge of the diagram between two sites, inside the polygon: a piece of its medial axis.

Goals: right on every valid polygon, never silently wrong, little more time than the construction itself. Steps: round
the outlines to whole units and mend what rounding broke (`_whole`); split edges that another ring touches in the middle
(`_split_touched`); construct polygon by polygon; keep the inner edges; check every radius against the distance
to the outline (`_check`).

Reading the diagram back costs more than making it, so only every second half edge is fetched (twins are neighbours),
the other one for inner edges alone, and no cell at all: a cell's number is the rank of its site in the order in
which the construction takes the sites (by x, then points and upright segments by y, then other segments by y and
slope). Where the check finds a radius wrong the cells are fetched after all.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, pairwise
from operator import attrgetter
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pathgen.errors import ArgumentError, DrawingError
from pathgen.model.arrays import BoolArray, FloatArray, IntArray

UNITS: Final = (1e-6, 1e-5)
"""Grids of the construction, mm; the first that the region fits on. Larger: where a round end has its middle, noise
in the corners of flattened curves grows into twigs; smaller: boards leave 32 bits."""

_SLACK: Final = 200.0
"""A radius may differ from the distance to the outline by this many units. Larger: wrong diagrams pass; smaller:
rounding is taken for an error."""

_MOST: Final = 2.0**31 - 8


@dataclass(frozen=True, eq=False, kw_only=True)
class Diagram:
    """The inner edges of the diagrams of several polygons.

    Attributes:
        points: (n, 2) vertices of the diagram, mm.
        radius: (n,) distance to the outline, mm; 0 at corners.
        edges: (m, 2) vertices of each inner edge.
        owner: (m,) polygon of each edge.
        focus: (m, 2, 2) the two sites of each edge where they are points, mm; NaN where not.
        line: (m, 2, 2, 2) the two sites of each edge where they are segments, mm; NaN where not.
    """

    points: FloatArray
    radius: FloatArray
    edges: IntArray
    owner: IntArray
    focus: FloatArray
    line: FloatArray


@dataclass(frozen=True, eq=False)
class _Outlines:
    """Segments of all polygons in whole units, the inside on their left."""

    start: FloatArray
    end: FloatArray
    owner: IntArray
    reflex: BoolArray  # at `start`
    first: IntArray  # of each polygon, and one more
    touched: BoolArray  # polygons whose rings meet


@dataclass(frozen=True, eq=False)
class _Sites:
    """Sites by cell number; segment >= 0 or a point."""

    segment: IntArray
    point: FloatArray
    reflex: BoolArray
    first: IntArray


def inner_edges(region: MultiPolygon) -> Diagram:
    """Return the inner edges of the segment Voronoi diagram of every polygon in `region`.

    Raises:
        ArgumentError: if the region is wider than 40 m.
        DrawingError: where a polygon cannot be made valid on the grid, or the diagram is wrong; with the place.
    """
    x0, y0, x1, y1 = region.bounds
    unit = next((u for u in UNITS if max(x1 - x0, y1 - y0) / u <= 2 * _MOST), None)
    if unit is None:
        raise ArgumentError(f"the region measures {x1 - x0:.0f} x {y1 - y0:.0f} mm: cut it in parts below 40 m")
    middle = np.rint(np.array([x0 + x1, y0 + y1]) * (0.5 / unit))
    polygons = _whole(region, middle, unit)
    outlines = _outlines(polygons)
    sites = _sites(outlines)
    diagrams = [_constructed(outlines, k) for k in range(len(polygons))]
    raw = [_read(d) for d in diagrams]
    counts = np.array([len(p) for _, p in raw])
    shift = np.concatenate([[0], np.cumsum(counts)])
    points = np.concatenate([p for _, p in raw])
    rows = [e for e, _ in raw]
    owner = np.repeat(np.arange(len(rows)), [len(e) for e in rows])
    table = np.concatenate(rows)
    edges = table[:, :2] + shift[owner][:, None]
    inside = _inside(outlines, sites, polygons, points[edges].mean(axis=1), table[:, 2] + sites.first[owner], owner)
    table, edges, owner = table[inside], edges[inside], owner[inside]
    cells = np.column_stack([table[:, 2], _twin_cells(diagrams, table[:, 3], owner)]) + sites.first[owner][:, None]
    kept = _Kept(points, edges, owner, cells)
    return _checked(kept, outlines, sites, polygons, diagrams, middle, unit)


@dataclass(frozen=True, eq=False)
class _Kept:
    points: FloatArray
    edges: IntArray
    owner: IntArray
    cells: IntArray


def _whole(region: MultiPolygon, middle: FloatArray, unit: float) -> Any:
    """Return the polygons in whole units about `middle`, each valid."""
    parts = shapely.get_parts(region)
    rounded = shapely.transform(parts, lambda c: np.rint(c / unit) - middle)
    bad = np.flatnonzero(~shapely.is_valid(rounded) | (shapely.area(rounded) <= 0))
    if not len(bad):
        return rounded
    result = np.delete(rounded, bad)
    mended = []
    for k in bad.tolist():
        scaled = shapely.transform(parts[k], lambda c: c / unit - middle)
        pieces = [p for p in shapely.get_parts(shapely.set_precision(scaled, 1.0)) if isinstance(p, Polygon)]
        lost = not pieces and parts[k].area > 1e-6
        if lost or not all(p.is_valid for p in pieces):
            spot = parts[k].representative_point()
            raise DrawingError(
                f"an outline crosses itself once rounded to {unit:.6f} mm: repair it there", position=(spot.x, spot.y)
            )
        mended += pieces
    if not len(result) and not mended:
        raise DrawingError("the region is too small to have an inside: draw it larger")
    return np.array([*result, *mended], dtype=object)


def _outlines(polygons: Any) -> _Outlines:
    """Return the segments of all rings, turned so that the inside lies on their left."""
    rings, owner = shapely.get_rings(polygons, return_index=True)
    touched = _touched(rings, owner, len(polygons))
    if touched.any():
        rings = rings.copy()
        for k in np.flatnonzero(touched).tolist():
            mine = np.flatnonzero(owner == k)
            rings[mine] = _split_touched(rings[mine])
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    new = np.concatenate([[True], (np.diff(xy, axis=0) != 0).any(axis=1) | (np.diff(ring) != 0)])
    xy, ring = xy[new], ring[new]
    a = np.flatnonzero(ring[1:] == ring[:-1])
    start, end, ring = xy[a], xy[a + 1], ring[a]
    first = np.flatnonzero(np.concatenate([[True], np.diff(ring) != 0]))
    base = start[first][np.searchsorted(first, np.arange(len(ring)), side="right") - 1]
    s, e = start - base, end - base
    area = np.add.reduceat(s[:, 0] * e[:, 1] - s[:, 1] * e[:, 0], first)
    hole = np.concatenate([[False], np.diff(owner) == 0])
    wrong = ((area > 0) == hole)[ring]
    # the segment before each, in its ring
    count = np.diff(np.concatenate([first, [len(ring)]]))
    previous = np.arange(len(ring)) - 1
    previous[first] = first + count - 1
    step = end - start
    turn = step[previous, 0] * step[:, 1] - step[previous, 1] * step[:, 0]
    reflex = np.where(wrong, -turn, turn) < 0
    owner = owner[ring]
    # the vertex belongs to the segment's start in the ring's own direction, whichever way the inside lies
    left, right = np.where(wrong[:, None], end, start), np.where(wrong[:, None], start, end)
    follow = np.arange(len(ring)) + 1
    follow[first + count - 1] = first
    at_start = np.where(wrong, reflex[follow], reflex)
    bounds = np.searchsorted(owner, np.arange(len(polygons) + 1))
    return _Outlines(left, right, owner, at_start, bounds, touched)


def _touched(rings: Any, owner: IntArray, n: int) -> BoolArray:
    """Return which polygons have rings that meet."""
    result = np.zeros(n, dtype=np.bool_)
    several = np.flatnonzero(np.bincount(owner, minlength=n)[owner] > 1)
    if len(several):
        shapes = rings[several]
        i, j = shapely.STRtree(shapes).query(shapes)
        pairs = (i < j) & (owner[several[i]] == owner[several[j]])
        i, j = i[pairs], j[pairs]
        shapely.prepare(shapes)
        meet = shapely.intersects(shapes[i], shapes[j])
        result[owner[several[i[meet]]]] = True
    return result


def _split_touched(rings: Any) -> Any:
    """Return the rings of one polygon with a vertex wherever another ring's vertex lies on an edge."""
    vertices = np.unique(shapely.get_coordinates(rings), axis=0)
    result = []
    for ring in rings:
        xy = shapely.get_coordinates(ring)
        out = [xy[:1]]
        for a, b in pairwise(xy):
            step = b - a
            to = vertices - a
            along = to @ step
            on = (step[0] * to[:, 1] == step[1] * to[:, 0]) & (along > 0) & (along < step @ step)
            hit = vertices[on]
            out += [hit[np.argsort(along[on])], b[None]]
        result.append(shapely.linearrings(np.concatenate(out)))
    return np.array(result, dtype=object)


def _sites(o: _Outlines) -> _Sites:
    """Return the sites of all polygons in the order of their cells."""
    n = len(o.start)
    swap = (o.end[:, 0] < o.start[:, 0]) | ((o.end[:, 0] == o.start[:, 0]) & (o.end[:, 1] < o.start[:, 1]))
    low, high = np.where(swap[:, None], o.end, o.start), np.where(swap[:, None], o.start, o.end)
    upright = low[:, 0] == high[:, 0]
    rise = np.where(upright, 0.0, (high[:, 1] - low[:, 1]) / np.where(upright, 1.0, high[:, 0] - low[:, 0]))
    zero = np.zeros(n)
    owner = np.concatenate([o.owner, o.owner])
    x, y = np.concatenate([o.start[:, 0], low[:, 0]]), np.concatenate([o.start[:, 1], low[:, 1]])
    late = np.concatenate([zero, ~upright])
    kind = np.concatenate([zero, np.ones(n)])
    slope = np.concatenate([zero, -rise])
    order = np.lexsort((slope, kind, y, late, x, owner))
    point = kind[order] == 0
    same = np.zeros(2 * n, dtype=np.bool_)
    k = order
    same[1:] = (
        point[1:] & point[:-1] & (owner[k[1:]] == owner[k[:-1]]) & (x[k[1:]] == x[k[:-1]]) & (y[k[1:]] == y[k[:-1]])
    )
    order = order[~same]
    first = np.searchsorted(owner[order], np.arange(len(o.first)))
    is_point = order < n
    segment = np.where(is_point, -1, order - n)
    at = np.where(is_point, order, 0)
    return _Sites(segment, o.start[at], o.reflex[at] & is_point, first)


def _constructed(o: _Outlines, k: int) -> Any:
    """Return the construction of one polygon."""
    import pyvoronoi

    mine = slice(o.first[k], o.first[k + 1])
    diagram = pyvoronoi.Pyvoronoi(1)
    add = diagram.AddSegment
    for segment in np.stack([o.start[mine], o.end[mine]], axis=1).tolist():
        add(segment)
    diagram.Construct()
    return diagram


_EDGE = attrgetter("start", "end", "cell", "is_primary")
_VERTEX = attrgetter("X", "Y")


def _read(diagram: Any) -> tuple[IntArray, FloatArray]:
    """Return (start, end, cell, number) of the finite primary edges, and all vertices."""
    numbers = range(0, diagram.CountEdges(), 2)
    rows = chain.from_iterable(map(_EDGE, map(diagram.GetEdge, numbers)))
    table = np.fromiter(rows, dtype=np.int64, count=4 * len(numbers)).reshape(-1, 4)
    keep = np.flatnonzero((table[:, 3] != 0) & (table[:, 0] >= 0) & (table[:, 1] >= 0))
    table = table[keep]
    table[:, 3] = 2 * keep
    flat = chain.from_iterable(map(_VERTEX, diagram.GetVertices()))
    points = np.fromiter(flat, dtype=np.float64).reshape(-1, 2)
    return table, points


def _inside(o: _Outlines, s: _Sites, polygons: Any, middle: FloatArray, cell: IntArray, owner: IntArray) -> BoolArray:
    """Return which edges lie inside: left of their segment, or at a reflex vertex."""
    segment = s.segment[cell]
    a, b = o.start[segment], o.end[segment]
    left = (b[:, 0] - a[:, 0]) * (middle[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (middle[:, 0] - a[:, 0]) > 0
    result = np.where(segment >= 0, left, s.reflex[cell])
    for k in np.flatnonzero(o.touched).tolist():  # one vertex may have the inside on both sides
        mine = owner == k
        result[mine] = shapely.contains_xy(polygons[k], middle[mine, 0], middle[mine, 1])
    return result


def _twin_cells(diagrams: list[Any], number: IntArray, owner: IntArray) -> IntArray:
    """Return the cell on the other side of each edge."""
    bounds = np.searchsorted(owner, np.arange(len(diagrams) + 1))
    twins = (number + 1).tolist()
    cells: list[int] = []
    for k, diagram in enumerate(diagrams):
        cells += [e.cell for e in map(diagram.GetEdge, twins[bounds[k] : bounds[k + 1]])]
    return np.array(cells, dtype=np.int64)


def _site_geometry(o: _Outlines, s: _Sites, cells: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return (focus, line) of the sites of each edge, NaN where a site is of the other kind."""
    segment = s.segment[cells]
    point = segment < 0
    focus = np.where(point[..., None], s.point[cells], np.nan)
    line = np.stack([o.start[segment], o.end[segment]], axis=-2)
    line[point] = np.nan
    return focus, line


def site_distance(at: FloatArray, focus: FloatArray, line: FloatArray) -> FloatArray:
    """Return the distance (n,) of points (n, 2) from their sites: the point, or the segment's line."""
    a, step = line[:, 0], line[:, 1] - line[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    to = at - a
    beside = np.abs(step[:, 0] * to[:, 1] - step[:, 1] * to[:, 0]) / length
    off = at - focus
    result: FloatArray = np.where(np.isnan(focus[:, 0]), beside, np.hypot(off[:, 0], off[:, 1]))
    return result


def _checked(
    kept: _Kept, o: _Outlines, s: _Sites, polygons: Any, diagrams: list[Any], middle: FloatArray, unit: float
) -> Diagram:
    """Return the diagram with its radii, or raise where they are not the distance to the outline."""
    focus, line = _site_geometry(o, s, kept.cells)
    bad = _wrong(kept, focus, line, polygons)
    if bad.any():
        for k in np.unique(kept.owner[bad]).tolist():
            _fetch_cells(kept, o, s, diagrams[k], k, focus, line)
        bad = _wrong(kept, focus, line, polygons)
        if bad.any():
            x, y = (kept.points[kept.edges[np.flatnonzero(bad)[0], 0]] + middle) * unit
            raise DrawingError(
                "the middle line of the shape cannot be found reliably: two outlines touch or cross there; move them "
                "apart or join them",
                position=(float(x), float(y)),
            )
    used, edges = np.unique(kept.edges, return_inverse=True)
    edges = edges.reshape(-1, 2)
    points = kept.points[used]
    radius = np.zeros(len(used))
    for side in (0, 1):
        radius[edges[:, side]] = site_distance(points[edges[:, side]], focus[:, side], line[:, side])
    radius[radius < 5.0] = 0.0
    return Diagram(
        points=(points + middle) * unit,
        radius=radius * unit,
        edges=edges,
        owner=kept.owner,
        focus=(focus + middle) * unit,
        line=(line + middle) * unit,
    )


def _wrong(kept: _Kept, focus: FloatArray, line: FloatArray, polygons: Any) -> BoolArray:
    """Return which edges have an end that is not as far from both sites as from the outline."""
    result = np.zeros(len(kept.edges), dtype=np.bool_)
    distance = np.zeros(len(kept.points))
    for side in (0, 1):
        at = kept.points[kept.edges[:, side]]
        one, two = (site_distance(at, focus[:, k], line[:, k]) for k in (0, 1))
        result |= ~(np.abs(one - two) <= _SLACK)
        distance[kept.edges[:, side]] = one
    used, where = np.unique(kept.edges, return_index=True)
    outline = shapely.boundary(polygons)
    shapely.prepare(outline)
    owner = kept.owner[where // 2]
    near = np.maximum(distance[used] - _SLACK, 0.0)
    closer = np.zeros(len(kept.points), dtype=np.bool_)
    closer[used] = shapely.dwithin(outline[owner], shapely.points(kept.points[used]), near) & (near > 0)
    return result | closer[kept.edges].any(axis=1)


def _fetch_cells(
    kept: _Kept, o: _Outlines, s: _Sites, diagram: Any, k: int, focus: FloatArray, line: FloatArray
) -> None:
    """Take the sites of polygon `k` from the diagram's own cells, in place."""
    base = int(o.first[k])
    for e in np.flatnonzero(kept.owner == k).tolist():
        for side in (0, 1):
            cell = diagram.GetCell(int(kept.cells[e, side] - s.first[k]))
            n = base + cell.site
            focus[e, side], line[e, side] = np.nan, np.nan
            if cell.contains_segment:
                line[e, side] = o.start[n], o.end[n]
            else:
                focus[e, side] = np.array(diagram.RetrieveScaledPoint(cell), dtype=np.float64)
