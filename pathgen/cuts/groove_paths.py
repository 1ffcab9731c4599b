"""From a region to the ways of a V bit in it: the axis, its walls where it is limited, and the walk over them.

Terminology
-----------
lifted radius
    the distance from the outline less half the tip's width; the depth is that over tan(angle / 2).
wall
    where the groove is limited: the outline of the region shrunk until its cone at the limit meets the drawn outline.
way
    one stretch without a lift, cut into runs that cut and runs that retrace.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.model import levels
from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.path import Role
from pathgen.model.tool import VBit
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.chains import Chains, between, chains, divided, thinned
from pathgen.shape.medial import MedialAxis, medial_axis
from pathgen.shape.offset import grown
from pathgen.shape.route import open_walk
from pathgen.shape.tolerance import ARC_FIT, NOISE, PLAN

THIN = 0.002
"""Vertices of the axis are dropped while heights stay within this, mm of distance from the outline. Larger: gouges;
smaller: longer programs."""

WALL_ERROR = 0.002
"""Bound on the chords of walls, mm."""

FINISH = 0.3
"""What levels leave for the last run, mm of depth. Common practice, no source. Larger: the last run bends the
bit and the walls show it; smaller: levels already touch the finished walls."""

_JOIN = 0.005
"""A branch is joined to a wall that passes its end nearer than this, mm. Larger: neighbouring walls are mixed up;
smaller: walls simplified by a few microns are missed, and every branch costs a lift."""

_SERVES = 0.05
"""A place of the axis serves an outline that is nearest to it or further by no more than this, mm. Larger: the outer
border of a background is cut too; smaller: chords of two outlines decide which is nearest."""


@dataclass(frozen=True, kw_only=True)
class Groove3:
    """The depths of a groove.

    Attributes:
        bit: angle and tip.
        begin: depth at which it begins, mm.
        limit: deepest, mm.
        stepdown: deepest step, mm; None = all at once.
        widening: the walls go on above `begin`, in material up to the face.
    """

    bit: VBit
    begin: float
    limit: float
    stepdown: float | None
    widening: bool = False

    @property
    def top(self) -> float:
        """Depth of the first material the bit meets, mm."""
        return 0.0 if self.widening else self.begin

    @property
    def flat(self) -> float:
        """Half the tip's width, mm."""
        return 0.5 * self.bit.tip

    @property
    def reach(self) -> float:
        """Distance from the outline at which the limit is met, mm."""
        return self.flat + (self.limit - self.begin) * self.bit.slope

    def height(self, radius: FloatArray) -> FloatArray:
        """Return the tip's z, mm, at distances from the outline, mm."""
        z: FloatArray = -(self.begin + (np.asarray(radius) - self.flat) / self.bit.slope)
        return z


@dataclass(frozen=True, eq=False, kw_only=True)
class Way:
    """One stretch without a lift.

    Attributes:
        runs: rows (n, 4) of each run as `Path` takes them; a run starts where the one before it ends.
        roles: of each run.
        level: from 0.
    """

    runs: tuple[FloatArray, ...]
    roles: tuple[Role, ...]
    level: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Plan:
    """All ways of one region, and what its axis says about it.

    Attributes:
        ways: by level.
        steps: z of each level.
        wall: the region shrunk by the reach; empty where nothing is limited.
        depth: deepest z reached, positive mm.
        widest: (x, y, radius) of the widest place.
        thinnest: (x, y, radius) of the thinnest stroke.
        missing: (k, 3) widest place of each polygon that the tip cannot enter.
    """

    ways: tuple[Way, ...]
    steps: tuple[float, ...]
    wall: MultiPolygon
    depth: float
    widest: tuple[float, float, float]
    thinnest: tuple[float, float, float]
    missing: FloatArray


def plan_groove(region: MultiPolygon, groove: Groove3, *, along: MultiPolygon | None = None) -> Plan:
    """Return the ways of the bit in `region`.

    Args:
        region: mm.
        groove: its depths.
        along: leave out what serves other outlines than this region's; None = serve all.
    """
    axis = medial_axis(region, tolerance=PLAN, ceiling=max(groove.reach, groove.flat + NOISE))
    r = axis.nodes[:, 2]
    widest = axis.nodes[int(np.argmax(r))]
    limited = bool(widest[2] > groove.reach + NOISE)
    nodes, edges = between(axis.nodes, axis.edges, groove.flat, groove.reach)
    whole = thinned(chains(nodes, edges), THIN)
    nodes, edges = whole.graph()
    wall = grown(region, -groove.reach, error=WALL_ERROR) if limited else MultiPolygon()
    if along is not None:
        far = shapely.distance(shapely.points(nodes[:, :2]), shapely.boundary(along)) > nodes[:, 2] + _SERVES
        edges = edges[~far[edges].any(axis=1)]
    if limited and not wall.is_empty:
        nodes, edges = _with_walls(nodes, edges, wall, groove.reach, along)
    nodes = np.column_stack([nodes[:, :2], groove.height(nodes[:, 2])]) if len(nodes) else nodes
    holes = _lone(axis, groove)
    bottom = min(float(nodes[edges, 2].min(initial=0.0)), float(holes[:, 2].min(initial=0.0)))
    steps = _steps(groove, bottom)
    ways = [w for k in range(len(steps)) for w in _ways_at(nodes, edges, steps, k, groove.top)]
    ways += _plunges(holes, steps, groove.top)
    return Plan(
        ways=tuple(ways),
        steps=steps,
        wall=wall,
        depth=round(-bottom, 6),
        widest=(float(widest[0]), float(widest[1]), float(widest[2])),
        thinnest=_thinnest(whole, groove.flat, widest),
        missing=_missing(axis, groove.flat),
    )


def thinnest_stroke(region: MultiPolygon) -> tuple[float, float, float]:
    """Return (x, y, radius) of the thinnest stroke of a region: the narrowest place that is no way into a corner."""
    axis = medial_axis(region, tolerance=PLAN)
    return _thinnest(chains(axis.nodes, axis.edges), 0.0, axis.nodes[int(np.argmax(axis.nodes[:, 2]))])


def _steps(groove: Groove3, bottom: float) -> tuple[float, ...]:
    """Return the z of each level; the last is the bottom, the others leave something for it."""
    deep = -bottom - groove.top
    if groove.stepdown is None or deep <= groove.stepdown + NOISE:
        return (bottom,)
    return (*levels(bottom + FINISH, groove.stepdown, top=-groove.top), bottom)


def _with_walls(
    nodes: FloatArray, edges: IntArray, wall: MultiPolygon, reach: float, along: MultiPolygon | None
) -> tuple[FloatArray, IntArray]:
    """Return the graph with the walls added, branches joined to them where they end at the limit."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(wall, 0.25 * THIN)))
    if along is not None:
        rings = rings[shapely.distance(shapely.get_point(rings, 0), shapely.boundary(along)) <= reach + _SERVES]
    used = np.zeros(len(nodes), dtype=np.bool_)
    used[edges] = True
    tips = np.flatnonzero(used & (np.abs(nodes[:, 2] - reach) <= NOISE)) if len(nodes) else np.empty(0, np.int64)
    spots = shapely.points(nodes[tips, :2]) if len(tips) else np.empty(0, dtype=object)
    near, far = np.full(len(tips), -1), np.full(len(tips), np.inf)
    if len(tips):
        (which, ring), distance = shapely.STRtree(rings).query_nearest(
            spots, max_distance=_JOIN, return_distance=True, all_matches=False
        )
        near[which], far[which] = ring, distance
    all_nodes, all_edges, count = [nodes.reshape(-1, 3)], [edges], len(nodes)
    for k, ring in enumerate(rings):
        xy = shapely.get_coordinates(ring)[:-1]
        size = np.hypot(*np.diff(np.concatenate([xy, xy[:1]]), axis=0).T)
        mark = np.concatenate([[0.0], np.cumsum(size)])
        mine = np.flatnonzero(near == k)
        at = shapely.line_locate_point(ring, spots[mine])
        place = np.concatenate([mark[:-1], at % mark[-1]])
        number = np.concatenate([count + np.arange(len(xy)), tips[mine]])
        order = np.lexsort((np.concatenate([np.ones(len(xy)), np.zeros(len(mine))]), place))
        loop = number[order]
        all_nodes.append(np.column_stack([xy, np.full(len(xy), reach)]))
        all_edges.append(np.column_stack([loop, np.roll(loop, -1)]))
        count += len(xy)
    return np.concatenate(all_nodes), np.concatenate(all_edges)


def _ways_at(nodes: FloatArray, edges: IntArray, steps: tuple[float, ...], k: int, top: float) -> list[Way]:
    """Return the ways of level `k`: what is not yet at its depth, cut off at the level's z."""
    last = k == len(steps) - 1
    if not last:
        lifted = nodes + np.array([0.0, 0.0, FINISH])
        above = steps[k - 1] if k else -top
        nodes, edges = between(lifted, edges, -math.inf, above)
        nodes, edges = divided(nodes, edges, steps[k])
        nodes = np.column_stack([nodes[:, :2], np.maximum(nodes[:, 2], steps[k])])
    role: Role = "finish" if last and len(steps) > 1 else "cut"
    return walk(chains(nodes, edges), level=k, top=-top, role=role)


def walk(c: Chains, *, level: int, top: float, role: Role = "cut") -> list[Way]:
    """Return one way for each piece of a graph: over all its chains with the least retraced.

    Args:
        c: chains, z as the tip goes.
        level: for the ways.
        top: z at which the bit touches nothing, mm; ways begin there where they can.
        role: of what is not retraced.
    """
    if not c.count:
        return []
    weights = c.lengths().tolist()
    ends = c.ends.tolist()
    high = np.abs(np.column_stack([c.points[c.first[:-1], 2], c.points[c.first[1:] - 1, 2]]) - top) <= 10 * NOISE
    tops = c.ends[high].tolist()
    order = np.argsort(c.piece, kind="stable")
    bounds = np.searchsorted(c.piece[order], np.arange(int(c.piece.max()) + 2)).tolist()
    chosen = order.tolist()
    high_nodes = set(tops)
    steps: list[tuple[int, int, int, bool]] = []  # piece, chain, direction, again
    for piece in range(len(bounds) - 1):
        mine = chosen[bounds[piece] : bounds[piece + 1]]
        pairs = [ends[k] for k in mine]
        start = [n for pair in pairs for n in pair if n in high_nodes]
        found = open_walk(pairs, [weights[k] for k in mine], start=start)
        steps += [(piece, mine[s.edge], 1 if s.forward else -1, s.again) for s in found]
    return _ways(c, np.array(steps, dtype=np.int64), level, role)


def _ways(c: Chains, steps: IntArray, level: int, role: Role) -> list[Way]:
    """Return the ways made of steps (piece, chain, direction, again), in order."""
    piece, chain, direction, again = steps.T
    first, size = c.first[chain], np.diff(c.first)[chain]
    fresh = np.concatenate([[True], np.diff(piece) != 0])
    take = np.where(fresh, size, size - 1)  # a step's first vertex is the last of the step before
    stop = np.cumsum(take)
    owner = np.repeat(np.arange(len(steps)), take)
    at = np.arange(stop[-1]) - (stop - take)[owner] + np.where(fresh, 0, 1)[owner]
    index = first[owner] + np.where(direction[owner] > 0, at, size[owner] - 1 - at)
    rows = c.points[index]
    flat = float(rows[:, 2].min())
    new_run = np.concatenate([[True], (np.diff(again) != 0) | (np.diff(piece) != 0)])
    run_start = (stop - take)[new_run]
    run_again = again[new_run].tolist()
    run_piece = piece[new_run]
    begins = np.flatnonzero(np.concatenate([[True], np.diff(run_piece) != 0, [True]])).tolist()
    limits = [*run_start.tolist(), int(stop[-1])]
    ways = []
    for a, b in pairwise(begins):
        # runs share the vertex where one ends and the next begins
        runs = tuple(_curved(rows[limits[k] - (k > a) : limits[k + 1]], flat) for k in range(a, b))
        roles: tuple[Role, ...] = tuple("retrace" if run_again[k] else role for k in range(a, b))
        ways.append(Way(runs=runs, roles=roles, level=level))
    return ways


def _curved(rows: FloatArray, z: float) -> FloatArray:
    """Return rows (n, 4) with arcs fitted through stretches that lie level at `z`, as walls do."""
    out = np.column_stack([rows, np.zeros(len(rows))])
    level = np.abs(rows[:, 2] - z) <= NOISE
    if np.count_nonzero(level) < 4:
        return out
    flat = level[:-1] & level[1:]
    turn = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(np.int8)))
    parts, at = [], 0
    for a, b in zip(turn[::2].tolist(), turn[1::2].tolist(), strict=True):
        if b - a < 3:
            continue
        fitted = fit_arcs(rows[a : b + 1, :2], tolerance=ARC_FIT)
        fitted[:, 2] = z
        parts += [out[at : a + 1], fitted[1:]]
        at = b + 1
    return np.concatenate([*parts, out[at:]])


def _lone(axis: MedialAxis, groove: Groove3) -> FloatArray:
    """Return (k, 3) tips of straight holes: discs no wider than the limit lets the bit go."""
    used = np.zeros(len(axis.nodes), dtype=np.bool_)
    used[axis.edges] = True
    lone = axis.nodes[~used]
    lone = lone[(lone[:, 2] > groove.flat + NOISE) & (lone[:, 2] <= groove.reach + NOISE)]
    return np.column_stack([lone[:, :2], groove.height(lone[:, 2])])


def _plunges(holes: FloatArray, steps: tuple[float, ...], top: float) -> list[Way]:
    """Return a straight way down for each disc, to its depth at the last level and stepwise before."""
    ways = []
    for x, y, z in holes.tolist():
        above = -top
        for k, step in enumerate(steps):
            last = k == len(steps) - 1
            down = z if last else max(step, z + FINISH)
            if down < above - NOISE:
                role: Role = "finish" if last and k else "cut"
                rows = np.array([[x, y, above, 0.0], [x, y, down, 0.0]])
                ways.append(Way(runs=(rows,), roles=(role,), level=k))
                above = down
    return ways


def _thinnest(c: Chains, flat: float, widest: FloatArray) -> tuple[float, float, float]:
    """Return the narrowest place that is no branch into a corner; the widest where there is nothing else."""
    best = widest
    if c.count:
        least = np.minimum.reduceat(c.points[:, 2], c.first[:-1])
        inner = np.flatnonzero(least > flat + 1e-3)
        if len(inner):
            k = inner[np.argmin(least[inner])]
            mine = c.points[c.first[k] : c.first[k + 1]]
            best = mine[np.argmin(mine[:, 2])]
    return float(best[0]), float(best[1]), float(best[2])


def _missing(axis: MedialAxis, flat: float) -> FloatArray:
    """Return the widest place of each polygon that is no wider than the tip."""
    if flat <= 0:
        return np.empty((0, 3))
    count = int(axis.part.max()) + 1
    most = np.zeros(count)
    np.maximum.at(most, axis.part, axis.nodes[:, 2])
    rows = [
        axis.nodes[axis.part == k][np.argmax(axis.nodes[axis.part == k, 2])]
        for k in np.flatnonzero((most <= flat + NOISE) & (np.bincount(axis.part, minlength=count) > 0)).tolist()
    ]
    return np.array(rows).reshape(-1, 3)
