"""From the way of a trailing blade's tip to the way of its pivot.

Terminology
-----------
tip, pivot, trail
    The tip drags behind the pivot by the trail d. Along a tip path with unit tangent t the pivot is at tip + d t: on
    a line a line, round an arc of radius r an arc of radius sqrt(r^2 + d^2) with the same center and sweep (Dunbar,
    Bosman and Nooij, "The Track of a Bicycle Back Tire", Mathematics Magazine 74, 2001).
swivel
    Where the tip path has a corner the pivot runs an arc of radius d about it, and the tip stands.
joint
    A corner no sharper than the corner angle: the blade swivels there without being lifted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import ROUND_DECIMALS, FloatArray, IntArray
from pathgen.model.path import Path
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.tolerance import ARC_FIT, NOISE

STRAIGHT_ON = 1e-9
"""Turns by less are none, radians: numerical noise."""


@dataclass(frozen=True, eq=False)
class TipPath:
    """A line that the tip is to follow, as lines and arcs; n moves.

    Attributes:
        rows: (n + 1, 4) x, y, 0, bulge of the move that ends there, mm.
        closed: it ends where it starts.
    """

    rows: FloatArray
    closed: bool

    @property
    def sweeps(self) -> FloatArray:
        """Sweep of each move, radians, positive to the left."""
        return 4.0 * np.arctan(self.rows[1:, 3])

    @property
    def chords(self) -> FloatArray:
        """Length of each move's chord, mm."""
        step = np.diff(self.rows[:, :2], axis=0)
        chord: FloatArray = np.hypot(step[:, 0], step[:, 1])
        return chord

    @property
    def lengths(self) -> FloatArray:
        """Length of each move, mm."""
        half = 0.5 * self.sweeps
        return self.chords / np.sinc(half / math.pi)

    @property
    def radii(self) -> FloatArray:
        """Radius of each move, mm; inf for lines."""
        turn = np.abs(self.sweeps)
        return np.where(turn > STRAIGHT_ON, self.lengths / np.where(turn > STRAIGHT_ON, turn, 1.0), np.inf)

    @property
    def length(self) -> float:
        """Length of it all, mm."""
        return float(self.lengths.sum())

    def directions(self) -> tuple[FloatArray, FloatArray]:
        """Return the tip's direction at the start and at the end of each move, radians."""
        step = np.diff(self.rows[:, :2], axis=0)
        chord, half = np.arctan2(step[:, 1], step[:, 0]), 0.5 * self.sweeps
        return chord - half, chord + half

    def turns(self) -> FloatArray:
        """Return the turn before each move, radians from -pi to pi: 0 before the first of an open line."""
        begin, end = self.directions()
        turn = wrapped(begin - np.roll(end, 1))
        if not self.closed:
            turn[0] = 0.0
        return turn

    def reversed(self) -> TipPath:
        """Return the same way run backwards."""
        return TipPath(Path(self.rows).reversed().points, self.closed)

    def at(self, distance: float) -> tuple[FloatArray, float]:
        """Return place and direction of the tip `distance` from the start, mm and radians."""
        piece = self.between(distance, distance + min(self.length, 1.0))
        return piece.rows[0, :2], float(piece.directions()[0][0])

    def between(self, first: float, last: float) -> TipPath:
        """Return the stretch from `first` to `last` mm from the start; of a closed line it may go round and round."""
        lengths = self.lengths
        laps = 1 if not self.closed else max(1, math.ceil(last / self.length - 1e-12))
        lengths = np.tile(lengths, laps)
        bulges, points = np.tile(self.rows[1:, 3], laps), np.tile(self.rows[1:, :2], (laps, 1))
        points = np.concatenate([self.rows[:1, :2], points])
        mark = np.concatenate([[0.0], np.cumsum(lengths)])
        first, last = max(first, 0.0), min(last, float(mark[-1]))
        i = int(np.clip(np.searchsorted(mark, first + NOISE, side="right") - 1, 0, len(lengths) - 1))
        j = int(np.clip(np.searchsorted(mark, last - NOISE, side="left") - 1, i, len(lengths) - 1))
        rows = np.zeros((j - i + 2, 4))
        rows[:, :2] = points[i : j + 2]
        rows[1:, 3] = bulges[i : j + 1]
        u = min(max((first - mark[i]) / lengths[i], 0.0), 1.0)
        v = min(max((last - mark[j]) / lengths[j], 0.0), 1.0)
        rows[0, :2] = _along(points[i], points[i + 1], bulges[i], u)
        rows[-1, :2] = _along(points[j], points[j + 1], bulges[j], v)
        rows[1, 3] = math.tan((v - u if i == j else 1.0 - u) * math.atan(bulges[i]))
        if i != j:
            rows[-1, 3] = math.tan(v * math.atan(bulges[j]))
        return TipPath(rows, False)


def _along(a: FloatArray, b: FloatArray, bulge: float, share: float) -> FloatArray:
    """Return the place at a share of a line or arc from `a` to `b`."""
    if share <= 0.0 or share >= 1.0:
        return a if share <= 0.0 else b
    chord = b - a
    sweep = 4.0 * math.atan(bulge)
    half = 0.5 * sweep
    ratio = share if abs(half) < STRAIGHT_ON else math.sin(share * half) / math.sin(half)
    turn = (share - 1.0) * half
    c, s = math.cos(turn) * ratio, math.sin(turn) * ratio
    place: FloatArray = a + np.array([c * chord[0] - s * chord[1], s * chord[0] + c * chord[1]])
    return place


def wrapped(angle: FloatArray) -> FloatArray:
    """Return angles from -pi to pi, radians."""
    turned: FloatArray = angle - 2.0 * math.pi * np.round(angle / (2.0 * math.pi))
    return turned


def tip_path(xy: FloatArray, *, closed: bool, known: dict[bytes, FloatArray] | None = None) -> TipPath:
    """Return lines and arcs through the vertices of a flattened line, within 0.005 mm.

    Args:
        xy: (n, 2) mm; the first vertex is not repeated at the end of a closed line.
        closed: joins the last vertex to the first. The line then begins at its sharpest corner, so that no arc is cut
            in two for nothing.
        known: what was found for lines before this one; equal letters are looked at once.
    """
    if closed:
        step = np.roll(xy, -1, axis=0) - xy
        way = np.arctan2(step[:, 1], step[:, 0])
        sharpest = np.round(np.abs(wrapped(way - np.roll(way, 1))), 6)
        xy = np.roll(xy, -int(np.argmax(sharpest)), axis=0)
    origin = xy[0].copy()
    near = np.round(xy - origin, ROUND_DECIMALS) + 0.0
    key = near.tobytes() + bytes([closed])
    known = {} if known is None else known
    if key not in known:
        known[key] = fit_arcs(near, tolerance=ARC_FIT, closed=closed)
    rows = known[key].copy()
    rows[:, :2] += origin
    return TipPath(rows, closed)


def pivot_rows(
    tip: TipPath,
    *,
    trail: float,
    z: float,
    swivel_z: float,
    corner: float,
    heading: float,
    above: float | None = None,
) -> tuple[FloatArray, float]:
    """Return the pivot's way along an open tip path, and where the blade points at its end.

    Args:
        tip: the way of the tip.
        trail: mm.
        z: height of the tip while it cuts, mm.
        swivel_z: height of the tip while it swivels at corners, mm; at least `z`.
        corner: turns by more are corners, radians; joints swivel at `z`.
        heading: where the blade points before, radians. It comes down with the tip on the start and swivels.
        above: height at which it goes on from another pass, mm; None = it comes down from above the card.

    Returns:
        float64 (m, 4): x, y, z, bulge; and radians.
    """
    begin, end = tip.directions()
    turn = tip.turns()
    turn[0] = float(wrapped(np.array(begin[0] - heading)))
    n = len(begin)
    a = tip.rows[:-1, :2] + trail * np.column_stack([np.cos(begin), np.sin(begin)])
    b = tip.rows[1:, :2] + trail * np.column_stack([np.cos(end), np.sin(end)])
    first = tip.rows[0, :2] + trail * np.array([math.cos(heading), math.sin(heading)])
    sharp = np.abs(turn) > corner
    sharp[0] = above is None or abs(turn[0]) > STRAIGHT_ON
    top = np.full(n, swivel_z)
    if above is not None:
        top[0] = max(swivel_z, above) if sharp[0] else above
    slots = np.zeros((n, 4, 4))  # lift, swing, plunge, cut
    slots[:, 0, :2], slots[:, 0, 2] = np.concatenate([[first], b[:-1]]), top
    slots[:, 1, :2], slots[:, 1, 2], slots[:, 1, 3] = a, np.where(sharp, top, z), np.tan(0.25 * turn)
    slots[:, 2, :2], slots[:, 2, 2] = a, z
    slots[:, 3, :2], slots[:, 3, 2], slots[:, 3, 3] = b, z, tip.rows[1:, 3]
    there = np.ones((n, 4), dtype=np.bool_)
    there[:, 0] = there[:, 2] = sharp & (top > z + NOISE)
    there[:, 1] = np.abs(turn) * trail > NOISE
    there[0, 0] = above is not None and top[0] > above + NOISE
    there[0, 2] = top[0] > z + NOISE
    rows = np.concatenate([[[*first, top[0] if above is None else above, 0.0]], slots[there]])
    return rows, float(end[-1])


def tight_places(tip: TipPath, *, smallest: float, corner: float) -> FloatArray:
    """Return where a path turns on less room than the blade has length in the card, (n, 2) mm.

    That is an arc of a smaller radius that turns by more than a corner, or two corners nearer to each other than it.

    Args:
        tip: the way of the tip.
        smallest: length of the blade in the card, mm.
        corner: radians.
    """
    lengths, turn = tip.lengths, np.abs(tip.turns())
    tight = np.flatnonzero((tip.radii < smallest - NOISE) & (np.abs(tip.sweeps) > corner))
    mark = np.concatenate([[0.0], np.cumsum(lengths)])
    corners = np.flatnonzero(turn > corner)
    places = [0.5 * (tip.rows[tight, :2] + tip.rows[tight + 1, :2])]
    if len(corners) > 1 or (tip.closed and len(corners) == 1):
        nxt = np.roll(corners, -1) if tip.closed else corners[1:]
        here = corners if tip.closed else corners[:-1]
        gap = mark[nxt] - mark[here]
        gap = np.where(gap <= 0, gap + mark[-1], gap)
        near = _distinct(here[gap < smallest - NOISE])
        places.append(tip.rows[near, :2])
    return np.concatenate(places)


def _distinct(index: IntArray) -> IntArray:
    """Return rising indices once each."""
    return np.unique(index).astype(np.int64)
