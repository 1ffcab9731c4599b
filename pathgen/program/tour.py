"""A short tour over stretches that each must be run once: nearest neighbour, then 2-opt and or-opt moves.

The problem is a rural postman's; an exact answer is not needed, a steady one is: every choice is made on
coordinates rounded to 1e-6 mm, ties go to the lowest index, and work is bounded by a count, never by a clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray

WORK = 60_000_000
"""Distances that improving may look at. Larger: waiting; smaller: long ways through the air on big jobs."""

LONGEST_MOVE = 3
"""Stretches that are moved together by or-opt. Common practice (Or 1976), more finds little."""

GAIN = 1e-6
"""Smallest gain worth a change, mm: below it, rounding decides and the search may circle."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Ends:
    """Stretches by their ends, n of them.

    Attributes:
        start: (n, 2) mm.
        end: (n, 2) mm.
        free: (n,) may be run backwards.
    """

    start: FloatArray
    end: FloatArray
    free: BoolArray


def tour(ends: Ends, *, at: tuple[float, float] | None = None) -> tuple[IntArray, BoolArray]:
    """Return (order (n,), turned (n,) in that order) of a short open tour.

    Args:
        ends: the stretches.
        at: where the tour begins, mm; None = with stretch 0 as it lies.

    >>> e = Ends(start=np.array([[9., 0], [0, 0]]), end=np.array([[5., 0], [4, 0]]), free=np.array([True, True]))
    >>> tour(e, at=(0, 0))
    (array([1, 0]), array([False,  True]))
    """
    order, turned = _nearest(ends, at)
    if len(order) > 2:
        order, turned = _improved(ends, order, turned, at)
    return order, turned


def _nearest(ends: Ends, at: tuple[float, float] | None) -> tuple[IntArray, BoolArray]:
    """Return the tour that always goes on with the stretch beginning nearest."""
    n = len(ends.start)
    order, turned = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=bool)
    here = np.array(at, dtype=np.float64) if at is not None else ends.start[0]
    sx, sy = ends.start.T.copy()
    ex, ey = ends.end.T.copy()
    ex[~ends.free], ey[~ends.free] = np.inf, np.inf
    for k in range(n):
        forth = (sx - here[0]) ** 2 + (sy - here[1]) ** 2
        back = (ex - here[0]) ** 2 + (ey - here[1]) ** 2
        best = np.round(np.minimum(forth, back), 6)
        i = 0 if k == 0 and at is None else int(best.argmin())
        order[k], turned[k] = i, back[i] < forth[i]
        here = ends.start[i] if turned[k] else ends.end[i]
        sx[i] = ex[i] = np.inf
    return order, turned


def _improved(
    ends: Ends, order: IntArray, turned: BoolArray, at: tuple[float, float] | None
) -> tuple[IntArray, BoolArray]:
    """Reverse and move runs of the tour while that shortens it.

    The tour is an array of entry points `a` and exit points `b`; a[0] is where it begins and never moves.
    """
    home = np.array([at if at is not None else ends.start[order[0]]], dtype=np.float64)
    begin = np.where(turned[:, None], ends.end[order], ends.start[order])
    finish = np.where(turned[:, None], ends.start[order], ends.end[order])
    ring = (ends.start == ends.end).all(axis=1)
    state = _Tour(
        a=np.concatenate([home, begin]),
        b=np.concatenate([home, finish]),
        index=np.concatenate([[-1], order]),
        turned=np.concatenate([[False], turned]),
        loose=np.concatenate([[False], (ends.free | ring)[order]]),
        fixed=1 if at is not None else 2,
        ring=np.concatenate([[False], ring[order]]),
    )
    budget, better = WORK, True
    while better and budget > 0:
        better = False
        for i in range(state.fixed, len(state.a)):
            budget -= 4 * len(state.a)
            if budget < 0:
                break
            better |= state.reverse(i) or state.move(i)
    return state.index[1:], state.turned[1:]


@dataclass
class _Tour:
    """The tour being improved: arrays in running order, entry 0 the start."""

    a: FloatArray
    b: FloatArray
    index: IntArray
    turned: BoolArray
    loose: BoolArray
    ring: BoolArray
    fixed: int

    def _take(self, order: IntArray, first: int, last: int) -> None:
        for name in ("a", "b", "index", "turned", "loose", "ring"):
            array = getattr(self, name)
            array[first:last] = array[order]

    def _flip(self, first: int, last: int) -> None:
        """Run entries first to last - 1 backwards."""
        self._take(np.arange(last - 1, first - 1, -1), first, last)
        begin = self.a[first:last].copy()
        self.a[first:last], self.b[first:last] = self.b[first:last], begin
        self.turned[first:last] ^= ~self.ring[first:last]

    def reverse(self, i: int) -> bool:
        """2-opt: run entries i to j backwards for the best j, if that shortens the tour."""
        tight = np.flatnonzero(~self.loose[i:])
        stop = i + int(tight[0]) if len(tight) else len(self.a)
        if stop <= i:
            return False
        before, b = self.b[i - 1], self.b[i:stop]
        after = self.a[i + 1 : stop + 1]
        gain = _far(before, self.a[i]) - _far(before, b)
        tail = _far(b[: len(after)], after) - _far(self.a[i], after)
        gain[: len(after)] += tail
        gain = np.round(gain, 6)
        j = int(gain.argmax())
        if gain[j] <= GAIN or (j == 0 and self.ring[i]):
            return False
        self._flip(i, i + j + 1)
        return True

    def move(self, i: int) -> bool:
        """Or-opt: put up to `LONGEST_MOVE` entries from i on elsewhere, as they are, if that shortens the tour."""
        n = len(self.a)
        best, where, size = GAIN, -1, 0
        for m in range(1, min(LONGEST_MOVE, n - i) + 1):
            j = i + m
            saved = _far(self.b[i - 1], self.a[i])
            if j < n:
                saved = saved + _far(self.b[j - 1], self.a[j]) - _far(self.b[i - 1], self.a[j])
            rest = np.concatenate([np.arange(self.fixed - 1, i), np.arange(j, n)])
            cost = _far(self.b[rest], self.a[i])
            nxt = rest[1:]
            cost[:-1] += _far(self.b[j - 1], self.a[nxt]) - _far(self.b[rest[:-1]], self.a[nxt])
            cost[i - self.fixed] = np.inf
            gain = np.round(saved - cost, 6)
            k = int(gain.argmax())
            if gain[k] > best:
                best, where, size = float(gain[k]), int(rest[k]), m
        if size == 0:
            return False
        run = np.arange(i, i + size)
        if where < i:
            self._take(np.concatenate([run, np.arange(where + 1, i)]), where + 1, i + size)
        else:
            self._take(np.concatenate([np.arange(i + size, where + 1), run]), i, where + 1)
        return True


def _far(p: FloatArray, q: FloatArray) -> FloatArray:
    """Distance of points, mm; broadcast."""
    d = p - q
    far: FloatArray = np.hypot(d[..., 0], d[..., 1])
    return far
