"""A short tour over stretches that each must be run once: nearest neighbour, then 2-opt and or-opt moves.

The problem is a rural postman's; an exact answer is not needed, a steady one is: every choice is made on
coordinates rounded to 1e-6 mm, ties go to the lowest index, and work is bounded by a count, never by a clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray, FloatArray, IntArray

WORK = 3_000_000
"""Links that may be tried. Larger: waiting; smaller: long ways through the air on big jobs."""

NEIGHBOURS = 10
"""Ends near each end that are tried, on average. Larger: waiting; smaller: worse tours."""

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

    Only links between ends that lie near each other are tried, all at once; then the best moves that do not touch
    each other are made, and it is looked again.
    """
    home = np.array([at if at is not None else ends.start[order[0]]], dtype=np.float64)
    ring = (ends.start == ends.end).all(axis=1)
    state = _Tour(
        a=np.concatenate([home, np.where(turned[:, None], ends.end[order], ends.start[order])]),
        b=np.concatenate([home, np.where(turned[:, None], ends.start[order], ends.end[order])]),
        index=np.concatenate([[-1], order]),
        turned=np.concatenate([[False], turned]),
        loose=np.concatenate([[False], (ends.free | ring)[order]]),
        ring=np.concatenate([[False], ring[order]]),
        fixed=1 if at is not None else 2,
    )
    p, q, apart = _near(ends)
    whole = busy = np.ones(len(order), dtype=bool)
    work = WORK
    while work > 0:
        look = busy[p // 2] | busy[q // 2]
        work -= int(look.sum())
        busy = state.sweep(p[look], q[look], apart[look])
        if not busy.any():
            if look.all():
                break
            busy = whole  # what was left out may have become worth it: look over everything once more
    return state.index[1:], state.turned[1:]


def _near(ends: Ends) -> tuple[IntArray, IntArray, FloatArray]:
    """Return pairs of ends that lie near each other, and how far; 2 k is the start of stretch k, 2 k + 1 its end."""
    n = len(ends.start)
    points = np.empty((2 * n, 2))
    points[0::2], points[1::2] = ends.start, ends.end
    size = np.ptp(points, axis=0)
    reach = float(np.sqrt(NEIGHBOURS * max(size[0], 1e-3) * max(size[1], 1e-3) / (2 * n * np.pi)))
    reach = max(reach, NEIGHBOURS * float(size.max()) / (4 * n))
    made = shapely.points(points)
    tree = shapely.STRtree(made)
    while True:
        p, q = tree.query(made, predicate="dwithin", distance=reach)
        if len(p) <= 4 * NEIGHBOURS * len(points) or reach < 1e-3:
            break
        reach *= 0.5
    others = p // 2 != q // 2
    p, q = p[others].astype(np.int64), q[others].astype(np.int64)
    return p, q, _far(points[p], points[q])


@dataclass
class _Tour:
    """The tour being improved: arrays in running order.

    Entry 0 is where it begins and has no way of its own; entries below `fixed` never move. Stretch k goes from
    a[k] to b[k]; `loose` ones may lie in a run that is turned round, as free stretches and closed ones (`ring`).
    """

    a: FloatArray
    b: FloatArray
    index: IntArray
    turned: BoolArray
    loose: BoolArray
    ring: BoolArray
    fixed: int

    def sweep(self, p: IntArray, q: IntArray, apart: FloatArray) -> BoolArray:
        """Make the best moves among those that link ends p and q, `apart` mm; return what is worth another look.

        Of moves that touch each other only the best is made. Turning a run round touches all of it; moving a run
        touches its ends and where it goes, for what lies between only shifts along.
        """
        busy = np.zeros(len(self.a), dtype=bool)
        moves = self._moves(p, q, apart)
        gain = np.round(self._gain(*moves), 6)
        good = np.flatnonzero(gain > GAIN)
        first, last, target = (m[good] for m in moves)
        ranked = np.lexsort((target, last, first, -gain[good]))
        taken = np.zeros(len(self.a) + 2, dtype=bool)
        stretch = self.index.tolist()
        end, done = len(stretch) - 1, list[tuple[int, int, int | None]]()
        for i, j, t in zip(first[ranked].tolist(), last[ranked].tolist(), target[ranked].tolist(), strict=True):
            busy[[stretch[k] for k in (i - 1, i, j, min(j + 1, end), max(t, 0))]] = True
            if taken[i - 1 : j + 2].any() or (t >= 0 and taken[t : t + 2].any()):
                continue
            taken[i - 1 : j + 2] = True
            if t >= 0:
                taken[t : t + 2] = True
            done.append((stretch[i], stretch[j], None if t < 0 else stretch[t]))
        self._make(done)
        return busy[:-1]  # the last entry stood for the start, whose index is -1

    def _make(self, moves: list[tuple[int, int, int | None]]) -> None:
        """Make moves given by stretches: first and last of a run, and what it goes behind (None: turn it round)."""
        place = np.empty(len(self.a), dtype=np.int64)
        place[self.index] = np.arange(len(self.a))  # the start's index, -1, takes the last entry
        for one, other, behind in moves:
            first, stop = int(place[one]), int(place[other]) + 1
            if behind is None:
                low, high = first, stop
                self._flip(first, stop)
            else:
                target = int(place[behind])
                low, high = min(first, target), max(stop, target + 1)
                self._shift(first, stop, target)
            place[self.index[low:high]] = np.arange(low, high)

    def _moves(self, p: IntArray, q: IntArray, apart: FloatArray) -> tuple[IntArray, IntArray, IntArray]:
        """Return (first, last, target) of moves: target -1 turns entries first to last round, else puts them behind it.

        Two exits are linked by turning round what lies between them, two entries too; an exit and an entry by putting
        a run that begins with the entry behind the exit, or a run that ends with the exit before the entry. A new link
        is tried only where it is shorter than a link it may replace: a move that shortens the tour has such a link.
        """
        n, place = len(self.a), np.empty(len(self.a), dtype=np.int64)
        place[self.index[1:]] = np.arange(1, n)
        u, v = place[p // 2], place[q // 2]
        out_u, out_v = (p % 2 == 1) ^ self.turned[u], (q % 2 == 1) ^ self.turned[v]
        link = self._links()
        hope = apart < np.maximum(link[np.where(out_u, u, u - 1)], link[np.where(out_v, v, v - 1)]) - GAIN
        u, v, out_u, out_v = u[hope], v[hope], out_u[hope], out_v[hope]
        tight = np.concatenate([[0], np.cumsum(~self.loose)])
        both = (out_u == out_v) & (u < v)
        first, last = np.where(out_u, u + 1, u)[both], np.where(out_u, v, v - 1)[both]
        can = (first >= self.fixed) & (first <= last) & (tight[last + 1] == tight[first])
        parts = [(first[can], last[can], np.full(int(can.sum()), -1))]
        crossed = out_u & ~out_v
        u, v = u[crossed], v[crossed]
        for m in range(LONGEST_MOVE):
            for first, last, target in ((v, v + m, u), (u - m, u, v - 1)):
                can = (first >= self.fixed) & (last < n) & (target >= self.fixed - 1)
                can &= (target < first - 1) | (target > last)
                parts.append((first[can], last[can], target[can]))
        first, last, target = (np.concatenate(c) for c in zip(*parts, strict=True))
        return first, last, target

    def _links(self) -> FloatArray:
        """Return the way from each entry to the next, mm; 0 behind the last."""
        return np.append(_far(self.b[:-1], self.a[1:]), 0.0)

    def _gain(self, first: IntArray, last: IntArray, target: IntArray) -> FloatArray:
        """Return how much shorter each move makes the tour, mm."""
        n, link = len(self.a), self._links()
        nowhere = np.concatenate([self.a, [[0.0, 0.0]]])

        def to_entry(points: FloatArray, k: IntArray) -> FloatArray:
            return np.where(k < n, _far(points, nowhere[k]), 0.0)

        before, after = self.b[first - 1], last + 1
        turns = target < 0
        turned = _far(before, self.b[last]) + to_entry(self.a[first], after)
        moved = to_entry(before, after) - link[target] + _far(self.b[target], self.a[first])
        moved += to_entry(self.b[last], target + 1)
        shorter: FloatArray = link[first - 1] + link[last] - np.where(turns, turned, moved)
        return shorter

    def _take(self, order: IntArray, first: int) -> None:
        for name in ("a", "b", "index", "turned", "loose", "ring"):
            array = getattr(self, name)
            array[first : first + len(order)] = array[order]

    def _flip(self, first: int, stop: int) -> None:
        """Run entries first to stop - 1 backwards."""
        self._take(np.arange(stop - 1, first - 1, -1), first)
        begin = self.a[first:stop].copy()
        self.a[first:stop], self.b[first:stop] = self.b[first:stop], begin
        self.turned[first:stop] ^= ~self.ring[first:stop]

    def _shift(self, first: int, stop: int, target: int) -> None:
        """Put entries first to stop - 1 behind entry `target`, as they are."""
        run = np.arange(first, stop)
        if target < first:
            self._take(np.concatenate([run, np.arange(target + 1, first)]), target + 1)
        else:
            self._take(np.concatenate([np.arange(stop, target + 1), run]), first)


def _far(p: FloatArray, q: FloatArray) -> FloatArray:
    """Return the distance of points, mm; broadcast."""
    d = p - q
    far: FloatArray = np.sqrt(d[..., 0] * d[..., 0] + d[..., 1] * d[..., 1])
    return far
