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
(`pathgen.cuts.rings`), each ring joined to the nearest one already cut by a step no longer than it must be.

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

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
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


GROUP = 32
"""Pieces in a group of a table. Larger: more pieces are looked at; smaller: more boxes are."""

TIE = 1e-9
"""Squares of distances that differ by less are equal, mm2: rounding must not choose between pieces."""


class Segments:
    """The straight pieces of several outlines in flat arrays, to find nearest points quickly.

    Pieces stand in groups of `GROUP` with a box each, so that most need not be looked at.
    """

    def __init__(self, outlines: list[FloatArray]) -> None:
        self.outlines = outlines
        self.first = np.concatenate([[0], np.cumsum([len(r) - 1 for r in outlines])]).astype(np.int64)
        self.a = np.concatenate([r[:-1] for r in outlines]) if outlines else np.empty((0, 2))
        b = np.concatenate([r[1:] for r in outlines]) if outlines else np.empty((0, 2))
        self.step = b - self.a
        self.square = np.maximum(self.step[:, 0] ** 2 + self.step[:, 1] ** 2, 1e-300)
        self._single: dict[int, Segments] = {}

    @cached_property
    def mark(self) -> FloatArray:
        """Length from the first vertex to each, all outlines in a row, mm."""
        return np.concatenate([[0.0], np.cumsum(np.sqrt(self.square))])

    @cached_property
    def owner(self) -> IntArray:
        """The outline of each piece."""
        return np.repeat(np.arange(len(self.outlines)), np.diff(self.first))

    @cached_property
    def _rows(self) -> FloatArray:
        """(5, groups, GROUP) start, step and 1 / square of each piece, the last repeated to fill its group."""
        count = -(-len(self.a) // GROUP)
        columns = np.concatenate([self.a.T, self.step.T, 1.0 / self.square[None]])
        if len(self.a) <= GROUP:
            return columns[:, None]
        fill = np.repeat(columns[:, -1:], count * GROUP - len(self.a), axis=1)
        return np.concatenate([columns, fill], axis=1).reshape(5, count, GROUP)

    @cached_property
    def _boxes(self) -> tuple[FloatArray, FloatArray]:
        """Low and high corners (2, groups) of the boxes around groups."""
        begin = self._rows[:2]
        end = begin + self._rows[2:4]
        return np.minimum(begin, end).min(axis=2), np.maximum(begin, end).max(axis=2)

    def single(self, n: int) -> Segments:
        """Return the table of outline `n` alone."""
        if n not in self._single:
            self._single[n] = Segments([self.outlines[n]])
        return self._single[n]

    def near(self, low: FloatArray, high: FloatArray) -> IntArray:
        """Return the pieces of all groups whose boxes meet the box from `low` to `high`."""
        if len(self.a) <= 2 * GROUP:
            return np.arange(len(self.a))
        lows, highs = self._boxes
        meets = (lows <= high[:, None]).all(axis=0) & (highs >= low[:, None]).all(axis=0)
        index = (np.flatnonzero(meets)[:, None] * GROUP + np.arange(GROUP)).ravel()
        return index[index < len(self.a)]

    def nearest(self, point: FloatArray, wanted: BoolArray | None = None) -> tuple[int, FloatArray, float]:
        """Return (index of the piece, nearest point, distance) among the pieces `wanted`; of equals, the first."""
        columns = self._rows
        x, y = float(point[0]), float(point[1])
        groups = None
        if wanted is None and columns.shape[1] > 2:
            lows, highs = self._boxes
            gap = np.maximum(np.maximum(lows - point[:, None], point[:, None] - highs), 0.0)
            most = ((columns[0, :, 0] - x) ** 2 + (columns[1, :, 0] - y) ** 2).min()
            groups = np.flatnonzero(gap[0] ** 2 + gap[1] ** 2 <= most + TIE)
            columns = columns[:, groups]
        ax, ay, sx, sy, inverse = columns
        dx, dy = x - ax, y - ay
        t = np.minimum(np.maximum((dx * sx + dy * sy) * inverse, 0.0), 1.0)
        dx -= t * sx
        dy -= t * sy
        square = (dx * dx + dy * dy).ravel()
        if wanted is not None:
            square[: len(wanted)][~wanted] = np.inf
            square[len(wanted) :] = np.inf
        k = int((square <= square.min() + TIE).argmax())
        piece = k if groups is None else int(groups[k // GROUP]) * GROUP + k % GROUP
        foot: FloatArray = self.a[piece] + t.ravel()[k] * self.step[piece]
        return piece, foot, math.sqrt(float(square[k]))

    def nearest_on(self, n: int, point: FloatArray) -> tuple[int, FloatArray, float]:
        """Return the same among the pieces of outline `n`."""
        piece, foot, far = self.single(n).nearest(point)
        return piece + int(self.first[n]), foot, far

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
        table: its outlines in cutting direction, once planned.
    """

    region: Polygon
    depth: int
    parent: int
    children: list[int] = field(default_factory=list)
    table: Segments = field(init=False)


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


def sheets(
    center: MultiPolygon, *, radius: float, stepover: float, error: float = PLAN, deepest: int | None = None
) -> list[Sheet]:
    """Return the center region and what remains of it after each stepover, parents before children.

    Sheets whose inside is cleared by the ring around them already are left out.

    Args:
        center: the center region, mm.
        radius: of the tool, mm.
        stepover: mm.
        error: bound on the chords of each offset, mm.
        deepest: most stepovers to go inwards; None = until nothing remains.
    """
    found = [Sheet(region=p, depth=0, parent=-1) for p in center.geoms]
    first, depth = 0, 0
    segments = quad_segs(stepover, error)
    while first < len(found) and (deepest is None or depth < deepest):
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


def trimmed(a: FloatArray, b: FloatArray) -> LineString | None:
    """Return the line from `a` to `b` without its ends, None where nothing is between them."""
    way = b - a
    length = float(np.hypot(*way))
    if length < 1e-3:
        return None
    trim = min(1e-4, 0.25 * length) / length
    return LineString([a + trim * way, b - trim * way])
