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
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon

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
