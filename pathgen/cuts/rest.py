"""Rest pockets: clearing only what bigger tools before could not reach.

Terminology
-----------
cleared
    what the tools before have swept at this depth or deeper: where their centers may move, grown by their radii.
rest
    what this tool can reach less what is cleared.
part
    a stretch of a ring that is near enough to the rest to be needed; on cleared floor it begins and ends clear of
    the rest by `OVERLAP`.
cluster
    parts near to each other: those further in are cut first.

The rings are those of a whole pocket. A point of the rest lies within the radius of some ring, so that stretches of
rings within the radius of the rest clear all of it, and nothing of the pattern is lost by leaving out the others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.clearing import Move, Run, Segments, Sheet, entry_point, rings_of, sheets
from pathgen.cuts.leftover import ears, solid_parts
from pathgen.cuts.model import Cut
from pathgen.cuts.rings import LONGEST_LINK, NEAR, with_ears
from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Role
from pathgen.model.tool import Cutting, EndMill
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import NOISE, PLAN, quad_segs

Before: TypeAlias = "Cut | Iterable[Before]"
"""Cuts that run before, as the cutting functions return them."""

OVERLAP = 0.1
"""How far parts run on over cleared floor beyond the rest, in diameters. Larger: time; smaller: a ridge stays where the
tool before was smaller or lower than stated."""

WIDER = 0.5
"""A ring is left out where the next one towards the wall takes at most this many stepovers more than one. Larger: more
load; smaller: more passes that hardly cut."""

LEAD = 3.0
"""Longest way in from cleared floor to a closed ring, in radii; beyond it the tool comes down into full material."""


def flat_cuts(before: Before) -> Iterator[Cut]:
    """Yield the cuts of nested tuples.

    Raises:
        ArgumentError: for anything else.
    """
    if isinstance(before, Cut):
        yield before
    elif isinstance(before, Iterable) and not isinstance(before, str):
        for item in before:
            yield from flat_cuts(item)
    else:
        raise ArgumentError(
            f"rest_after holds a {type(before).__name__}: give the cuts before, as pocket() returned them"
        )


def cleared_by(cuts: Iterable[Cut], depth: float, *, title: str) -> MultiPolygon:
    """Return what end mills of `cuts` have cleared down to `depth` mm or deeper.

    Raises:
        ArgumentError: where none of them is an end mill that went so deep.
    """
    areas = []
    for cut in cuts:
        deep = [region for z, region in cut.travel if z <= -depth + NOISE]
        if isinstance(cut.tool, EndMill) and deep:
            radius = 0.5 * cut.tool.diameter
            areas.append(shapely.buffer(shapely.union_all(deep), radius, quad_segs=quad_segs(radius, PLAN)))
    if not areas:
        raise ArgumentError(
            f"{title}: none of the cuts in rest_after clears a floor {depth:g} mm deep with an end mill: give cuts "
            "of this depth, or leave rest_after out"
        )
    return as_multi(shapely.union_all(areas))


@dataclass(eq=False, kw_only=True)
class Part:
    """A stretch of a ring.

    Attributes:
        xy: (n, 2), mm, in cutting direction.
        depth: number of stepovers its ring lies inside the center region.
        closed: the whole ring.
        slot: nothing further in is cut before it.
        ears: ways that set out from it.
    """

    xy: FloatArray
    depth: int
    closed: bool
    slot: bool = False
    ears: list[FloatArray] = field(default_factory=list)

    @property
    def line(self) -> LineString:
        """As a line."""
        return LineString(self.xy)


def rest_runs(center: MultiPolygon, cleared: MultiPolygon, *, radius: float, cutting: Cutting) -> list[Run]:
    """Return runs that clear what `cleared` leaves of what `center` lets the tool reach; none where nothing is left.

    Args:
        center: where the tool's center may be, mm.
        cleared: what is cut already, mm.
        radius: of the tool, mm.
        cutting: stepover and direction.
    """
    assert cutting.stepover is not None
    reach = shapely.buffer(center, radius, quad_segs=quad_segs(radius, PLAN))
    rest, _ = solid_parts(np.array([reach.difference(cleared)], dtype=object))
    if not len(rest):
        return []
    near = shapely.union_all(shapely.buffer(rest, (1.0 + 2.0 * OVERLAP) * radius, quad_segs=16))
    tree = _sheets_beside(center, rest, radius, cutting.stepover)
    parts = _parts(tree, rest, near, radius, cutting)
    _add_ears(parts, rest, center, radius)
    clusters = shapely.get_parts(near)
    owner = [int(np.argmax(shapely.dwithin(clusters, Point(p.xy[len(p.xy) // 2]), PLAN))) for p in parts]
    plan = _Links(center, rest, radius, cutting.stepover)
    left = {n: [p for p, k in zip(parts, owner, strict=True) if k == n] for n in sorted(set(owner))}
    while left:
        n = min(left, key=lambda n: round(plan.away(left[n]), 6))
        plan.cut(left.pop(n))
    return plan.runs


def _sheets_beside(center: MultiPolygon, rest: Any, radius: float, stepover: float) -> list[Sheet]:
    """Return the sheets down to where the innermost point of the rest lies."""
    walls = shapely.boundary(center)
    shapely.prepare(walls)
    far = shapely.distance(walls, shapely.points(shapely.get_coordinates(shapely.segmentize(rest, radius)))).max()
    deepest = math.ceil((float(far) + 2.0 * radius) / stepover) + 1
    return sheets(center, radius=radius, stepover=stepover, deepest=deepest)


def _parts(tree: list[Sheet], rest: Any, near: BaseGeometry, radius: float, cutting: Cutting) -> list[Part]:
    """Return the stretches of rings that are needed, innermost first."""
    assert cutting.stepover is not None
    stepover = cutting.stepover
    spare = min(WIDER * stepover, 0.9 * (2.0 * radius - stepover))
    whole = shapely.union_all(rest)
    shapely.prepare(near)
    parts: list[Part] = []
    for depth in range(max(s.depth for s in tree), -1, -1):
        regions = [s.region for s in tree if s.depth == depth]
        if depth:
            wide = shapely.buffer(shapely.union_all(regions), radius - spare, quad_segs=32)
            needed = whole.intersection(wide)
        else:
            needed = whole
        if needed.is_empty:
            continue
        shapely.prepare(needed)
        further = [p.line for p in parts if p.depth == depth + 1]
        for region in regions:
            for ring in rings_of(region, cutting.direction):
                for xy, closed in _clipped(ring, near):
                    line = LineString(xy)
                    if not shapely.dwithin(needed, line, radius):
                        continue
                    part = Part(xy=xy, depth=depth, closed=closed)
                    if not shapely.dwithin(np.array(further, dtype=object), line, NEAR * stepover).any():
                        taken = whole.intersection(line.buffer(radius, quad_segs=8))
                        part.slot = not taken.buffer(-0.5 * NEAR * stepover).is_empty
                    parts.append(part)
    return parts


def _clipped(ring: FloatArray, near: BaseGeometry) -> list[tuple[FloatArray, bool]]:
    """Return the stretches (n, 2) of a ring inside `near`, in its own direction, and whether it is the whole ring."""
    line = LineString(ring)
    if not shapely.intersects(near, line):
        return []
    outside = [p for p in shapely.get_parts(line.difference(near)) if p.length > NOISE]
    if not outside:
        return [(ring, True)]
    longest = max(outside, key=lambda p: round(p.length, 6))
    table = Segments([ring])
    piece, start, _ = table.nearest(shapely.get_coordinates(longest.interpolate(0.5, normalized=True))[0])
    turned = LineString(table.turned(piece, start))
    found = []
    for part in shapely.get_parts(shapely.line_merge(turned.intersection(near))):
        if part.length <= 1e-3:
            continue
        xy = shapely.get_coordinates(part)
        ends = shapely.line_locate_point(turned, shapely.points(xy[[0, -1]]))
        found.append((float(ends[0]), xy if ends[0] < ends[1] else xy[::-1]))
    return [(xy, False) for _, xy in sorted(found, key=lambda f: f[0])]


def _add_ears(parts: list[Part], rest: Any, center: MultiPolygon, radius: float) -> None:
    """Give parts the ears that clear what no part does."""
    lines = np.array([p.line for p in parts], dtype=object)
    swept = shapely.union_all(shapely.buffer(lines, radius, quad_segs=quad_segs(radius, PLAN)))
    left, _ = solid_parts(shapely.difference(rest, swept))
    if not len(left):
        return
    owner = shapely.STRtree(lines).nearest(left)
    rooms = np.full(len(parts), center, dtype=object)
    for part, ways in zip(parts, ears(left, owner, lines, rooms, radius=radius), strict=True):
        part.ears += ways


class _Links:
    """Parts put one after the other, over cleared floor where the straight way is free."""

    def __init__(self, center: MultiPolygon, rest: Any, radius: float, stepover: float) -> None:
        self.center, self.left, self.radius, self.stepover = center, rest.copy(), radius, stepover
        self.room = center.buffer(10 * NOISE)
        shapely.prepare(self.room)
        self.runs: list[Run] = []

    def away(self, parts: list[Part]) -> float:
        """Return how far the nearest start of `parts` is, mm."""
        if not self.runs:
            return float(parts[0].xy[0] @ [1.0, 1e-3])
        at = self.runs[-1].end
        return float(min(np.hypot(*(p.xy[0] - at)) for p in parts))

    def cut(self, parts: list[Part]) -> None:
        """Append the parts of one cluster, innermost first, of equals the nearest."""
        waiting = list(parts)
        while waiting:
            depth = max(p.depth for p in waiting)
            level = [p for p in waiting if p.depth == depth]
            at = self.runs[-1].end if self.runs else level[0].xy[0]
            part = min(level, key=lambda p: round(float(np.hypot(*(p.xy[0] - at))), 6))
            waiting.remove(part)
            self._append(part)

    def _append(self, part: Part) -> None:
        role: Role = "cut" if part.depth else "finish"
        lead = None
        if part.closed:
            lead, part.xy = self._led(part)
        begin = part.xy[0] if lead is None else lead[0]
        full = part.closed and lead is None
        if full or not self._linked(begin):
            needs = {len(self.runs) - 1} if self.runs else set()
            self.runs.append(Run(entry=full, room=part.depth * self.stepover, needs=needs))
        if lead is not None and np.abs(lead[0] - lead[1]).max() > NOISE:
            self.runs[-1].moves.append(Move(xy=lead, role="cut", slot=True))
        if part.ears:
            self.runs[-1].moves += with_ears(part.xy, part.ears, role, part.slot)
        else:
            move = Move(xy=part.xy, role=role, slot=part.slot, closed=part.closed, curved=True)
            self.runs[-1].moves.append(move)
        self._less([m.xy for m in self.runs[-1].moves[-1 - 3 * len(part.ears) :]])

    def _linked(self, to: FloatArray) -> bool:
        """Link to a point of cleared floor, if the straight way there is free and short."""
        if not self.runs:
            return False
        at = self.runs[-1].end
        if np.abs(at - to).max() <= NOISE:
            return True
        line = LineString([at, to])
        if line.length > LONGEST_LINK or not self.room.covers(line) or self._meets(line, self.radius - 10 * PLAN):
            return False
        self.runs[-1].moves.append(Move(xy=np.array([at, to]), role="link"))
        return True

    def _meets(self, line: LineString, reach: float) -> bool:
        """Return whether a tool along `line` would meet what is left."""
        return bool(shapely.dwithin(self.left, line, reach).any())

    def _led(self, part: Part) -> tuple[FloatArray | None, FloatArray]:
        """Return (a way in from cleared floor, or None; the ring begun where the way ends)."""
        table, ring = Segments([part.xy]), part.line
        around = ring.buffer(LEAD * self.radius, quad_segs=8)
        close = self.left[shapely.dwithin(self.left, around, self.radius)]
        taken = shapely.union_all(shapely.buffer(close, self.radius + PLAN, quad_segs=16))
        free = shapely.intersection(self.center, around).difference(taken)
        free = as_multi(free)
        if not free.is_empty:
            way = shapely.get_coordinates(shapely.shortest_line(free, ring))
            line = LineString(way) if np.abs(way[0] - way[1]).max() > NOISE else Point(way[0])
            if line.length <= LEAD * self.radius and self.room.covers(line):
                piece, start, _ = table.nearest(way[1])
                return np.array([way[0], start]), table.turned(piece, start)
        piece, start, _ = table.nearest(entry_point(part.xy))
        return None, table.turned(piece, start)

    def _less(self, ways: list[FloatArray]) -> None:
        """Take what the tool clears along `ways` from what is left."""
        swept = shapely.union_all([LineString(w).buffer(self.radius, quad_segs=32) for w in ways])
        near = np.flatnonzero(shapely.intersects(self.left, swept))
        self.left[near] = shapely.difference(self.left[near], swept)
        self.left[near] = shapely.buffer(shapely.buffer(self.left[near], -PLAN), PLAN)
        self.left = self.left[~shapely.is_empty(self.left)]
