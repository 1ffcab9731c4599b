"""The medial axis of a region: the middle of every place in it, with the distance to the outline.

Terminology
-----------
radius
    distance of a point of the axis from the outline; the largest disc around it that stays inside.
corner
    an outline's vertex that points outwards; a branch of the axis ends there with radius 0.
branch
    what lies between a corner and the first place where three or more pieces of the axis meet.

The axis is made of the inner edges of the segment Voronoi diagram (Blum 1967; Held 1991, "On the Computational
Geometry of Pocket Machining"). Its pieces are straight between two segments, parabolas between a segment and a reflex
vertex, straight between two reflex vertices; in the last two the radius does not grow evenly along the piece, so both
are divided. Every flattened curve gives each of its vertices a branch; those that reach no deeper into their corner
than the tolerance are dropped, by what would be lost and never by their length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.shape.voronoi import Diagram, inner_edges

_NEAR = 0.0005
"""Edges shorter than this have no direction worth asking for, mm: their ends are known to 0.00001. Larger: the ends of
curves' axes move; smaller: noise in round shapes stays as small twigs."""


@dataclass(frozen=True, eq=False, kw_only=True)
class MedialAxis:
    """A medial axis as straight edges along which the radius grows evenly.

    Attributes:
        nodes: (n, 3) x, y, radius, mm. Corners have radius 0.
        edges: (m, 2) rows of `nodes`. A node without edges is the axis of a disc.
        part: (n,) polygon of the region that each node lies in.
    """

    nodes: FloatArray
    edges: IntArray
    part: IntArray

    @property
    def length(self) -> float:
        """Length of all edges seen from above, mm."""
        step = np.diff(self.nodes[self.edges, :2], axis=1)[:, 0]
        return float(np.hypot(step[:, 0], step[:, 1]).sum())


def medial_axis(region: Polygon | MultiPolygon, *, tolerance: float, ceiling: float = math.inf) -> MedialAxis:
    """Return the medial axis of `region`.

    Args:
        region: valid, mm; each polygon has its own axis.
        tolerance: mm. The axis joined by straight edges leaves the true one, and the radius growing evenly along
            an edge leaves the true distance to the outline, by at most this; a dropped branch loses at most half of
            it of its corner.
        ceiling: radius above which the axis is not of interest, mm; branches are judged up to it.

    Raises:
        ArgumentError: for a tolerance not above 0, or a region wider than 40 m.
        DrawingError: where two outlines touch so that no reliable axis exists; with the place.

    >>> from shapely.geometry import box
    >>> axis = medial_axis(box(0, 0, 40, 10), tolerance=0.001)      # 30 + 4 branches of 5 sqrt 2
    >>> round(axis.length, 6), float(axis.nodes[:, 2].max())
    (58.284271, 5.0)
    """
    positive("tolerance", tolerance)
    if not ceiling > 0:
        raise ArgumentError(f"ceiling={ceiling:g} must be above 0")
    whole = MultiPolygon([region]) if isinstance(region, Polygon) else region
    diagram = inner_edges(whole)
    kept = ~_idle_branches(diagram, 0.5 * tolerance, ceiling)
    owner = np.zeros(len(diagram.points), dtype=np.int64)
    owner[diagram.edges] = diagram.owner[:, None]
    alone = _lone_nodes(diagram, kept, owner)
    nodes, edges, of = _divided(diagram, kept, tolerance)
    part = np.concatenate([owner, diagram.owner[of]])
    used = np.zeros(len(nodes), dtype=np.bool_)
    used[edges] = True
    used[alone] = True
    number = np.cumsum(used) - 1
    return MedialAxis(nodes=nodes[used], edges=number[edges], part=part[used])


def _idle_branches(d: Diagram, most: float, ceiling: float) -> BoolArray:
    """Return the edges of branches whose loss is below `most`.

    A branch from its corner q to the disc of radius r around J loses what sticks out of that disc: |J - q| - r,
    in a corner of interior angle 2b that is r (1 / sin b - 1). The corners of a flattened curve meet in pairs, and so
    on like twigs, before they meet the axis. So edges are taken off from the corners inwards, as long as neither the
    sum of losses on the way nor the edge's own r (1 / sin b - 1) reaches `most`; along an edge sin b = dr / ds.
    The second bound ends at the axis of the curve itself, which starts where dr / ds falls below 1.
    """
    n, ends = len(d.points), d.edges
    degree = np.bincount(ends.ravel(), minlength=n)
    open_edges = np.zeros(n, dtype=np.int64)  # sum of the numbers of edges left at each node
    np.add.at(open_edges, ends.ravel(), np.repeat(np.arange(len(ends)), 2))
    step = d.points[ends[:, 1]] - d.points[ends[:, 0]]
    length = np.hypot(step[:, 0], step[:, 1])
    loss = np.zeros(n)
    gone = np.zeros(len(ends), dtype=np.bool_)
    leaf = np.flatnonzero((degree == 1) & (d.radius == 0))
    while len(leaf):
        edge = open_edges[leaf]
        ahead = ends[edge].sum(axis=1) - leaf
        rise = d.radius[ahead] - d.radius[leaf]
        top = np.minimum(d.radius[ahead], ceiling)
        share = np.where(rise > 0, (top - d.radius[leaf]) / np.where(rise > 0, rise, 1.0), 1.0)
        lost = loss[leaf] + share * (length[edge] - rise)
        own = np.where(rise > 0, top * (length[edge] / np.where(rise > 0, rise, 1.0) - 1.0), np.inf)
        idle = (lost < most) & ((own < most) | (length[edge] < _NEAR)) & ~((degree[ahead] == 1) & (ahead < leaf))
        idle &= degree[ahead] > 0
        leaf, edge, ahead, lost = leaf[idle], edge[idle], ahead[idle], lost[idle]
        if not len(leaf):
            break
        gone[edge] = True
        np.maximum.at(loss, ahead, lost)
        np.subtract.at(degree, ahead, 1)
        np.subtract.at(open_edges, ahead, edge)
        degree[leaf] = 0
        leaf = np.unique(ahead[d.radius[ahead] < ceiling])
        leaf = leaf[degree[leaf] == 1]
    return gone | _round(d, gone, loss, most)[d.owner]


def _round(d: Diagram, gone: BoolArray, loss: FloatArray, most: float) -> BoolArray:
    """Return the polygons whose deepest disc reaches everything but `most`: the axis of a disc is one point."""
    ends, owner = d.edges[~gone], d.owner[~gone]
    result = np.zeros(int(d.owner.max(initial=0)) + 1, dtype=np.bool_)
    if not len(ends):
        return result
    first = np.flatnonzero(np.concatenate([[True], np.diff(owner) != 0]))
    radius = d.radius[ends].max(axis=1)
    best = np.maximum.reduceat(radius, first)
    group = np.repeat(np.arange(len(first)), np.diff(np.concatenate([first, [len(owner)]])))
    top = np.flatnonzero(radius == best[group])
    spot = np.zeros(len(first), dtype=np.int64)
    spot[group[top]] = np.take_along_axis(ends[top], d.radius[ends[top]].argmax(axis=1)[:, None], axis=1)[:, 0]
    middle = d.points[spot][group]
    reach = [np.hypot(*(d.points[ends[:, k]] - middle).T) + d.radius[ends[:, k]] + loss[ends[:, k]] for k in (0, 1)]
    result[owner[first]] = np.maximum.reduceat(np.maximum(*reach), first) - best < most
    return result


def _lone_nodes(d: Diagram, kept: BoolArray, owner: IntArray) -> IntArray:
    """Return the deepest vertex of each polygon that lost all its edges: a disc's axis is its middle."""
    polygons = np.unique(d.owner)
    empty = polygons[~np.isin(polygons, d.owner[kept])]
    return np.array([np.flatnonzero(owner == k)[np.argmax(d.radius[owner == k])] for k in empty], dtype=np.int64)


def _divided(d: Diagram, kept: BoolArray, tolerance: float) -> tuple[FloatArray, IntArray, IntArray]:
    """Return (nodes, edges, edge of the diagram that each new node divides).

    With s along the piece and u = asinh(s / h): between two points r = h cosh u (h = half their distance), and the
    chord's radius errs by h^2 du^2 / (8 r); between a point and a line r = p (1 + s^2 / p^2) / 2 (p = their distance)
    and it errs by p du^2 / 4 from the distance to the point, while the chord leaves the parabola by at most
    sqrt(s^2 + p^2) du^2 / 8. (Taylor's formula on the two closed forms.)
    """
    nodes = np.column_stack([d.points, d.radius])
    edges, focus, line = d.edges[kept], d.focus[kept], d.line[kept]
    number = np.flatnonzero(kept)
    is_point = ~np.isnan(focus[:, :, 0])
    curved = np.flatnonzero(is_point.any(axis=1))
    if not len(curved):
        return nodes, edges, np.empty(0, dtype=np.int64)
    both: BoolArray = np.asarray(is_point[curved].all(axis=1), dtype=np.bool_)
    f0 = np.where(is_point[curved, 0, None], focus[curved, 0], focus[curved, 1])
    f1 = np.where(both[:, None], focus[curved, 1], f0)
    other = np.where(is_point[curved, 0, None, None], line[curved, 1], line[curved, 0])
    along = other[:, 1] - other[:, 0]
    gap = f1 - f0
    along = np.where(both[:, None], np.column_stack([-gap[:, 1], gap[:, 0]]), along)
    along = along / np.hypot(along[:, 0], along[:, 1])[:, None]
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    off = np.where(both, 0.0, ((f0 - np.where(both[:, None], f0, other[:, 0])) * normal).sum(axis=1))
    normal = normal * np.where(off < 0, -1.0, 1.0)[:, None]
    size = np.where(both, 0.5 * np.hypot(gap[:, 0], gap[:, 1]), np.abs(off))
    size = np.maximum(size, 1e-9)
    base = np.where(both[:, None], 0.5 * (f0 + f1), f0 - size[:, None] * normal)
    a, b = (((d.points[edges[curved, k]] - base) * along).sum(axis=1) for k in (0, 1))
    u, v = np.arcsinh(a / size), np.arcsinh(b / size)
    least = np.minimum(d.radius[edges[curved, 0]], d.radius[edges[curved, 1]])
    least = np.where(both & (a * b < 0), size, np.maximum(least, 1e-9))
    wide = np.sqrt(np.maximum(np.abs(a), np.abs(b)) ** 2 + size**2)
    sharp = np.where(both, size**2 / (8 * least), np.maximum(0.25 * size, wide / 8))
    count = np.maximum(np.ceil(np.abs(v - u) * np.sqrt(sharp / tolerance)), 1).astype(np.int64)
    owner = np.repeat(np.arange(len(curved)), count - 1)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(count - 1) - (count - 1), count - 1) + 1
    t = u[owner] + (v - u)[owner] * k / count[owner]
    s = size[owner] * np.sinh(t)
    height = np.where(both[owner], 0.0, (s * s / size[owner] + size[owner]) / 2)
    radius = np.where(both[owner], size[owner] * np.cosh(t), height)
    xy = base[owner] + s[:, None] * along[owner] + height[:, None] * normal[owner]
    fresh = len(nodes) + np.arange(len(owner))
    heads = np.full(len(owner) + len(curved), -1, dtype=np.int64)
    tails = heads.copy()
    place = np.cumsum(count) - count
    slot = place[owner] + k
    tails[place], heads[place + count - 1] = edges[curved, 0], edges[curved, 1]
    tails[slot], heads[slot - 1] = fresh, fresh
    straight = np.ones(len(edges), dtype=np.bool_)
    straight[curved] = False
    whole = np.concatenate([edges[straight], np.column_stack([tails, heads])])
    return np.concatenate([nodes, np.column_stack([xy, radius])]), whole, number[curved][owner]
