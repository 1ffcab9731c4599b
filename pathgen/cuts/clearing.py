"""Clearing an area with rings: which rings, in which order, and how one ring is left for the next.

Terminology
-----------
center region
    where the tool's center may be: the asked region shrunk by the tool's radius. All paths stay in it.
ring
    one outline of the center region, or of that region shrunk by a whole number of stepovers.
sheet
    one connected piece of the center region shrunk by k stepovers; its outlines are rings. A sheet's children are the
    pieces that remain of it after one more stepover; a sheet without children is a leaf.
run
    moves that follow each other without a lift. It begins with an entry into full material, or on cleared floor.

Goals: nothing left, no gouge, little way. Steps: shrink the center region until nothing remains (`sheets`); drop
leaves whose inside the ring around them has cleared already (`needed`); go from the leaves outwards
(`ring_runs`), each ring joined to the nearest one already cut by a step no longer than it must be.

Direction: a spindle that turns clockwise seen from above (M3) climbs when the cutter moves with the uncut material on
its right. In a pocket the wall is outside, so outer rings run counter-clockwise and rings round
islands clockwise; conventional is the reverse. (Elementary kinematics: at the cutter's right flank the edge moves
backwards against the feed, so chips begin thick and end thin.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray, FloatArray
from pathgen.model.path import Role
from pathgen.model.tool import Cutting, Direction, Tool
from pathgen.shape.tolerance import NOISE, PLAN, SIMPLIFY, quad_segs


@dataclass(frozen=True, eq=False, kw_only=True)
class Move:
    """A stretch of a run, in the plane.

    Attributes:
        xy: (n, 2) vertices, mm.
        role: see `pathgen.model.path.Pass`.
        slot: the tool may cut at its full width here.
        closed: it ends where it starts.
        curved: its vertices may be joined by arcs.
    """

    xy: FloatArray
    role: Role
    slot: bool = False
    closed: bool = False
    curved: bool = False


@dataclass(eq=False, kw_only=True)
class Run:
    """Moves without a lift.

    Attributes:
        moves: each starts where the one before it ends.
        needs: indices of runs that must be done before.
        entry: it begins in full material; otherwise its start lies on cleared floor.
        room: distance of its start from the edge of the center region, mm.
    """

    moves: list[Move] = field(default_factory=list)
    needs: set[int] = field(default_factory=set)
    entry: bool = False
    room: float = 0.0

    @property
    def end(self) -> FloatArray:
        """Last (x, y), mm."""
        last: FloatArray = self.moves[-1].xy[-1]
        return last


class Segments:
    """The straight pieces of several outlines in flat arrays, to find nearest points quickly."""

    def __init__(self, outlines: list[FloatArray]) -> None:
        self.outlines = outlines
        self.first = np.concatenate([[0], np.cumsum([len(r) - 1 for r in outlines])])
        self.a = np.concatenate([r[:-1] for r in outlines]) if outlines else np.empty((0, 2))
        self.step = np.concatenate([np.diff(r, axis=0) for r in outlines]) if outlines else np.empty((0, 2))
        self.square = np.maximum(np.einsum("ij,ij->i", self.step, self.step), 1e-300)

    def nearest(self, point: FloatArray, wanted: BoolArray | None = None) -> tuple[int, FloatArray, float]:
        """Return (index of the piece, nearest point, distance) among the pieces `wanted`."""
        t = np.clip(np.einsum("ij,ij->i", point - self.a, self.step) / self.square, 0.0, 1.0)
        foot = self.a + t[:, None] * self.step
        away = foot - point
        square = np.einsum("ij,ij->i", away, away)
        if wanted is not None:
            square = np.where(wanted, square, np.inf)
        k = int(np.argmin(np.round(square, 9)))
        return k, foot[k], math.sqrt(float(square[k]))

    def outline_of(self, piece: int) -> int:
        """Return the index of the outline that holds a piece."""
        return int(np.searchsorted(self.first, piece, side="right")) - 1

    def snapped(self, piece: int, point: FloatArray, limit: float) -> FloatArray:
        """Return the nearer end of a piece shorter than `limit` mm, else `point`: curves keep their own vertices."""
        if self.square[piece] > limit * limit:
            return point
        a: FloatArray = self.a[piece]
        b: FloatArray = a + self.step[piece]
        return a if np.hypot(*(point - a)) <= np.hypot(*(point - b)) else b

    def turned(self, piece: int, start: FloatArray) -> FloatArray:
        """Return the closed outline that holds `piece`, turned so that it starts and ends at `start` on that piece."""
        n = self.outline_of(piece)
        ring, k = self.outlines[n], piece - int(self.first[n])
        whole = np.concatenate([start[None], ring[k + 1 : -1], ring[: k + 1], start[None]])
        keep = np.ones(len(whole), dtype=bool)
        keep[1:-1] = np.abs(whole[1:-1] - start).max(axis=1) > NOISE
        return whole[keep]


@dataclass(eq=False, kw_only=True)
class Sheet:
    """One piece of the center region shrunk by `depth` stepovers.

    Attributes:
        region: the piece.
        depth: number of stepovers it was shrunk by.
        parent: index of the sheet it remained of; -1 for pieces of the center region.
        children: indices.
        runs: runs that cut it and what lies inside it, once planned; the last one ends on it.
    """

    region: Polygon
    depth: int
    parent: int
    children: list[int] = field(default_factory=list)
    runs: list[int] = field(default_factory=list)
    table: Segments = field(init=False)

    @cached_property
    def _border(self) -> BaseGeometry:
        border = shapely.boundary(self.region)
        shapely.prepare(border)
        shapely.prepare(self.region)
        return border

    def holds(self, line: LineString) -> bool:
        """Return whether a line lies inside and meets no outline."""
        return not bool(shapely.intersects(self._border, line)) and bool(
            shapely.intersects_xy(self.region, *line.coords[0])
        )


WIDEST = 0.95
"""Widest stepover, in diameters. Larger: neighbouring passes only touch, and what offsets err by stands as strips (GEOS
bridges notches shallower than 1 % of the distance); smaller: wide steps that do work are refused."""


def check_stepover(tool: Tool, cutting: Cutting, title: str) -> float:
    """Return the stepover in mm.

    Raises:
        ArgumentError: if it is missing, or wider than the tool so that whole strips would stand.
    """
    if cutting.stepover is None:
        raise ArgumentError(
            f"{title}: the speeds of {tool.describe()} have no stepover, the distance of neighbouring passes: give "
            f"Cutting(stepover=…), about 0.4 of the diameter, {0.4 * tool.diameter:.3g} mm"
        )
    if cutting.stepover > WIDEST * tool.diameter:
        raise ArgumentError(
            f"{title}: stepover={cutting.stepover:g} is too wide for {tool.describe()}: strips would stand. Give at "
            f"most {WIDEST:g} of the diameter, {WIDEST * tool.diameter:.4g} mm"
        )
    return cutting.stepover


def sheets(center: MultiPolygon, *, radius: float, stepover: float, error: float = PLAN) -> list[Sheet]:
    """Return the center region and what remains of it after each stepover, parents before children.

    Sheets whose inside is cleared by the ring around them already are left out.

    Args:
        center: the center region, mm.
        radius: of the tool, mm.
        stepover: mm.
        error: bound on the chords of each offset, mm.
    """
    found = [Sheet(region=p, depth=0, parent=-1) for p in center.geoms]
    first, depth = 0, 0
    segments = quad_segs(stepover, error)
    while first < len(found):
        here = range(first, len(found))
        first, depth = len(found), depth + 1
        before = _simplified(np.array([found[k].region for k in here], dtype=object))
        after = shapely.buffer(before, -stepover, quad_segs=segments)
        parts, owner = shapely.get_parts(after, return_index=True)
        solid = shapely.area(parts) > NOISE
        for part, k in zip(parts[solid], owner[solid].tolist(), strict=True):
            found[here[k]].children.append(len(found))
            found.append(Sheet(region=part, depth=depth, parent=here[k]))
    return _needed(found, radius=radius, stepover=stepover, segments=segments)


def _simplified(regions: Any) -> Any:
    """Return an array of regions with fewer vertices, by the quick way where its result is valid."""
    quick = shapely.simplify(regions, SIMPLIFY, preserve_topology=False)
    bad = ~shapely.is_valid(quick) | shapely.is_empty(quick)
    if bad.any():
        quick[bad] = shapely.simplify(regions[bad], SIMPLIFY, preserve_topology=True)
    return quick


def _needed(found: list[Sheet], *, radius: float, stepover: float, segments: int) -> list[Sheet]:
    """Drop sheets that the ring around them clears: nothing of them is further than the radius from it."""
    spare = radius - stepover
    dropped: set[int] = set()
    while spare > 0:
        leaves = [
            k for k, s in enumerate(found) if s.parent >= 0 and k not in dropped and not set(s.children) - dropped
        ]
        regions = np.array([found[k].region for k in leaves], dtype=object)
        gone = shapely.is_empty(shapely.buffer(regions, -spare, quad_segs=segments)) if leaves else np.array([], bool)
        if not gone.any():
            break
        dropped |= {k for k, g in zip(leaves, gone.tolist(), strict=True) if g}
        if stepover >= spare:
            break
    if not dropped:
        return found
    number = {k: n for n, k in enumerate(k for k in range(len(found)) if k not in dropped)}
    return [
        Sheet(
            region=found[k].region,
            depth=found[k].depth,
            parent=number.get(found[k].parent, -1),
            children=[number[c] for c in found[k].children if c in number],
        )
        for k in number
    ]


def rings_of(region: Polygon, direction: Direction) -> list[FloatArray]:
    """Return the outlines of a piece as closed arrays (n, 2), outer one first, in cutting direction.

    Climb: outer counter-clockwise, islands clockwise; see the head of this module.
    """
    outlines = [np.asarray(region.exterior.coords), *(np.asarray(r.coords) for r in region.interiors)]
    result = []
    for k, xy in enumerate(outlines):
        want_left = (k == 0) == (direction == "climb")
        result.append(xy[:, :2] if (_signed_area(xy) > 0) == want_left else xy[::-1, :2])
    return result


def _signed_area(xy: FloatArray) -> float:
    x, y = xy[:, 0] - xy[0, 0], xy[:, 1] - xy[0, 1]
    return float(0.5 * (x[:-1] * y[1:] - x[1:] * y[:-1]).sum())


def started_at(ring: FloatArray, point: FloatArray) -> FloatArray:
    """Return a closed ring turned so that it starts and ends at its point nearest to `point`."""
    table = Segments([ring])
    piece, start, _ = table.nearest(point)
    return table.turned(piece, start)


def entry_point(ring: FloatArray) -> FloatArray:
    """Return the middle of a ring's longest straight stretch: the calmest place to come down."""
    step = np.diff(ring, axis=0)
    k = int(np.argmax(np.round(np.hypot(step[:, 0], step[:, 1]), 6)))
    middle: FloatArray = 0.5 * (ring[k] + ring[k + 1])
    return middle


def ring_runs(
    tree: list[Sheet], *, stepover: float, direction: Direction, leftover: BaseGeometry, radius: float
) -> list[Run]:
    """Return the runs that cut all rings, from the leaves outwards.

    Args:
        tree: from `sheets`; `Sheet.runs` is filled.
        stepover: mm.
        direction: "climb" or "conventional".
        leftover: what no ring clears; links keep the radius away from it.
        radius: of the tool, mm.
    """
    runs: list[Run] = []
    for k in range(len(tree) - 1, -1, -1):
        sheet = tree[k]
        inner = [tree[c] for c in sheet.children]
        if inner:
            main = max(inner, key=lambda s: (len(s.runs), s.region.area))
            current = main.runs[-1]
            runs[current].needs |= {s.runs[-1] for s in inner if s is not main}
        else:
            runs.append(Run(entry=True, room=sheet.depth * stepover))
            current = len(runs) - 1
        sheet.table = Segments(rings_of(sheet.region, direction))
        work = _RingWork(sheet, inner, stepover, radius, leftover)
        mine = work.cut(runs, current)
        sheet.runs = [r for s in inner for r in s.runs] + [r for r in mine if not inner or r != current]
        sheet.runs.remove(mine[-1])
        sheet.runs.append(mine[-1])
    return runs


SNAP = 0.5
"""A ring starts on a vertex where its piece there is shorter than this many stepovers. Larger: steps between rings
grow oblique; smaller: the chord a ring starts on cannot become part of an arc."""

NEAR = 1.2
"""Rings within this many stepovers of done ground count as next to it. Larger: steps may cross full material;
smaller: chords make neighbours look far."""


class _RingWork:
    """Cuts the rings of one sheet after everything inside it."""

    def __init__(
        self, sheet: Sheet, inner: list[Sheet], stepover: float, radius: float, leftover: BaseGeometry
    ) -> None:
        self.table = sheet.table
        self.rings = self.table.outlines
        self.role: Role = "cut" if sheet.depth else "finish"
        self.stepover, self.radius, self.leftover = stepover, radius, leftover
        self.inner = inner
        self.left = np.ones(len(self.rings), dtype=bool)
        self.done = Segments([r for s in inner for r in s.table.outlines])
        self.own: list[FloatArray] = []
        self.outline = shapely.multilinestrings([LineString(r) for r in self.rings])
        shapely.prepare(self.outline)
        self.back: FloatArray | None = None

    def cut(self, runs: list[Run], current: int) -> list[int]:
        """Append the moves for all rings, and return the indices of the runs they are in."""
        used = [current]
        if not self.inner:
            piece, start, _ = self.table.nearest(entry_point(self.rings[0]))
            start = self.table.snapped(piece, start, SNAP * self.stepover)
            self._append_ring(runs[current], piece, start, slot=True)
        while self.left.any():
            at = runs[current].end
            piece, start, foot = self._next(at)
            link = self._link(at, foot)
            if link is None:
                runs.append(Run(needs={current}))
                current = len(runs) - 1
                used.append(current)
            elif len(link) > 1:
                runs[current].moves.append(Move(xy=link, role="link"))
            gap = float(np.hypot(*(start - foot)))
            if gap > NOISE:
                runs[current].moves.append(Move(xy=np.array([foot, start]), role="cut", slot=True))
            self.back = foot
            self._append_ring(runs[current], piece, start, slot=gap > NEAR * self.stepover)
        return used

    def _append_ring(self, run: Run, piece: int, start: FloatArray, *, slot: bool) -> None:
        k = self.table.outline_of(piece)
        xy = self.table.turned(piece, start)
        run.moves.append(Move(xy=xy, role=self.role, slot=slot, closed=True, curved=True))
        self.left[k] = False
        self.own.append(self.rings[k])

    def _next(self, at: FloatArray) -> tuple[int, FloatArray, FloatArray]:
        """Return (piece of the next ring, its start there, the point on done ground from which to step over to it).

        The ring nearest to the tool, if done ground lies about one stepover from its nearest point; else the next
        nearest; else the ring nearest to done ground, which can always be reached: the shortest way to it crosses no
        other.
        """
        open_rings = self.left.copy()
        owner = np.repeat(np.arange(len(self.rings)), np.diff(self.table.first))
        while open_rings.any():
            piece, start, _ = self.table.nearest(at, open_rings[owner])
            start = self.table.snapped(piece, start, SNAP * self.stepover)
            foot = self._foot(start)
            if foot is not None and self._clear(foot, start):
                return piece, start, foot
            open_rings[self.table.outline_of(piece)] = False
        rings = np.flatnonzero(self.left)
        ground = shapely.multilinestrings([LineString(r) for r in (*self.done.outlines, *self.own)])
        shapely.prepare(ground)
        ways = shapely.shortest_line(ground, np.array([LineString(self.rings[k]) for k in rings], dtype=object))
        way = shapely.get_coordinates(ways[int(np.argmin(np.round(shapely.length(ways), 6)))])
        wanted = self.left[owner]
        piece, start, _ = self.table.nearest(way[1], wanted)
        return piece, start, way[0]

    def _foot(self, at: FloatArray) -> FloatArray | None:
        """Return the point of done ground nearest to `at`; None where it is more than about a stepover away."""
        best, limit = None, NEAR * self.stepover
        for table in (self.done, Segments(self.own[-1:])):
            if len(table.a):
                _, foot, far = table.nearest(at)
                if far <= limit:
                    best, limit = foot, far
        return best

    def _clear(self, a: FloatArray, b: FloatArray) -> bool:
        """Return whether the straight way from `a` to `b` meets no outline of this sheet but at its ends."""
        line = trimmed(a, b)
        return line is None or not bool(shapely.intersects(self.outline, line))

    def _link(self, at: FloatArray, foot: FloatArray) -> FloatArray | None:
        """Return a way over cleared floor to `foot`: (1, 2) where the tool is there already, None for none."""
        if np.abs(at - foot).max() <= NOISE:
            return at[None]
        if self.back is None or not self.inner:
            return None
        way = [at, self.back, foot] if np.abs(at - self.back).max() > NOISE else [at, foot]
        if np.abs(foot - self.back).max() <= NOISE:
            way = [at, foot]
        line = trimmed(self.back, foot)
        if line is not None and not any(s.holds(line) for s in self.inner):
            return None
        xy = np.array(way)
        if not self.leftover.is_empty and LineString(xy).distance(self.leftover) < self.radius - 10 * PLAN:
            return None
        return xy


def trimmed(a: FloatArray, b: FloatArray) -> LineString | None:
    """Return the line from `a` to `b` without its ends, None where nothing is between them."""
    way = b - a
    length = float(np.hypot(*way))
    if length < 1e-3:
        return None
    trim = min(1e-4, 0.25 * length) / length
    return LineString([a + trim * way, b - trim * way])
