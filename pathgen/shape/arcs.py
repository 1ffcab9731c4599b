"""Lines and arcs in place of many short chords.

Terminology
-----------
run
    consecutive vertices i..j that one line or one arc replaces; its ends stay where they are.
break
    a vertex whose two chords no arc explains: a corner. No run goes past it.
seam
    where a long stretch without breaks was divided so that its parts could be fitted side by side.

The arc of a run goes through both its ends; what is left to choose is its curvature. In the frame of the run's chord
(ends at x = -1 and 1) a circle through both ends is  a (x^2 + y^2 - 1) = c y : a = 0 is a line, c = 0 a half circle.
The ratio is found by least squares over the vertices in the better conditioned of the two forms, and the run is then
measured exactly (elementary geometry; the algebraic fit goes back to Kasa, IEEE Trans. Instrum. Meas. 25, 1976).

Steps: mark breaks; from the start of every stretch take the longest run by doubling and bisection, all stretches at
once; then join runs across seams.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.shape.tolerance import NOISE

SHORTEST = 0.02
"""Shortest arc, mm. Common practice, no source: in shorter ones the rounding of the ends turns into direction."""

LARGEST_RADIUS = 5000.0
"""Arcs wider than this are lines or stay chords, mm. Larger: centers so far off that their last decimal moves the arc;
smaller: gentle curves in many pieces."""

LINE_SHARE = 0.2
"""Share of the tolerance that a *line* may use where it drops vertices. Larger: a long straight wall tilts to swallow
the first chord of the fillet behind it; smaller: collinear points with noise stay."""

TURN_FACTOR = 3.0
"""A vertex may turn this many times what its chords turn on the fitted circle. Larger: blunt corners are rounded over;
smaller: curves whose vertices are unevenly spaced fall apart."""

BLOCK = 512
"""Longest stretch fitted in one go, vertices. Larger: fewer stretches at a time, so slower; smaller: more seams."""


@dataclass(frozen=True, eq=False)
class _Curve:
    """The vertices and what is known of each before any fit: see `_prepared`."""

    xy: FloatArray
    z: FloatArray | None
    mark: FloatArray
    turn: FloatArray
    reach: FloatArray
    slack: FloatArray
    tolerance: float


@dataclass(frozen=True, eq=False)
class _Fit:
    """For each run: may it be an arc, which bulge, may it be a line."""

    arc: BoolArray
    bulge: FloatArray
    line: BoolArray

    @property
    def ok(self) -> BoolArray:
        return self.arc | self.line


def fit_arcs(points: ArrayLike, *, tolerance: float, closed: bool = False) -> FloatArray:
    """Return lines and arcs through a subset of the vertices of a polyline.

    Every vertex, and the middle of every chord, lies within `tolerance` of what replaces it, so that the result and the
    polyline are nowhere further apart. Vertices are taken to lie on the true curve; a chord that a circle of the arc's
    radius would not have (a corner between long sides) is never replaced. An arc turns one way, through at
    most 180 degrees, and is at least 0.02 mm long. Heights must rise in proportion to length, within
    `tolerance`, for vertices to be dropped (the arc is then a helix).

    Args:
        points: (n, 2) or (n, 3), mm; consecutive vertices nearer than 1e-6 mm count as one.
        tolerance: mm, above 0.
        closed: join the last vertex to the first; the result starts and ends at the first.

    Returns:
        float64 (m, 4): x, y, z (0 for (n, 2)), bulge of the move ending there; row 0 is the start. What
        `Path` takes.

    Raises:
        ArgumentError: for another shape, numbers that are not finite, or a tolerance not above 0.

    >>> turn = np.radians(np.arange(0, 360, 2))
    >>> disc = 50 * np.column_stack([np.cos(turn), np.sin(turn)])
    >>> fit_arcs(disc, tolerance=0.01, closed=True)[:, 3].round(6).tolist()
    [0.0, 1.0, 1.0]
    """
    positive("tolerance", tolerance)
    p = np.asarray(points, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] not in (2, 3) or not np.isfinite(p).all():
        raise ArgumentError(f"points must be finite numbers of shape (n, 2) or (n, 3), not {p.shape}")
    if closed and len(p):
        p = np.concatenate([p, p[:1]])
    p = _distinct(p)
    if len(p) < 3:
        return _rows(p, np.arange(len(p)), np.zeros(len(p)))
    curve = _prepared(p, tolerance)
    ends, seams = _stretches(curve)
    knots = _greedy(curve, ends)
    knots = _balanced(curve, _joined(curve, knots, seams))
    return _rows(p, knots, _bulges(curve, knots))


def _distinct(p: FloatArray) -> FloatArray:
    """Drop vertices that repeat the one before; the last vertex is kept where it is."""
    if len(p) < 2:
        return p
    moved = (np.abs(np.diff(p, axis=0)) > NOISE).any(axis=1)
    keep = np.concatenate([[True], moved])
    if not keep[-1] and keep.sum() > 1:
        keep[-1], keep[np.flatnonzero(keep)[-1]] = True, False
        keep[0] = True
    kept: FloatArray = p[keep]
    return kept


def _prepared(p: FloatArray, tolerance: float) -> _Curve:
    """Measure length, and at each inner vertex the turn, the two chords' length and the turn that noise explains."""
    xy = np.ascontiguousarray(p[:, :2])
    step = np.diff(xy, axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    turn, reach, slack = np.zeros(len(xy)), np.zeros(len(xy)), np.zeros(len(xy))
    a, b = step[:-1], step[1:]
    turn[1:-1] = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    reach[1:-1] = size[:-1] + size[1:]
    slack[1:-1] = 40 * NOISE / np.maximum(np.minimum(size[:-1], size[1:]), NOISE)
    z = p[:, 2] if p.shape[1] == 3 and np.ptp(p[:, 2]) > 0 else None
    mark = np.concatenate([[0.0], np.cumsum(size)])
    return _Curve(xy, z, mark, turn, reach, slack, tolerance)


def _measure(curve: _Curve, i: IntArray, j: IntArray) -> _Fit:
    """Fit and measure the runs i..j, all at once."""
    count = j - i + 1
    begin = np.cumsum(count) - count
    owner = np.repeat(np.arange(len(i)), count)
    index = np.arange(len(owner)) - begin[owner] + i[owner]
    p, q = curve.xy[i], curve.xy[j]
    half = 0.5 * (q - p)
    h = np.hypot(half[:, 0], half[:, 1])
    safe = np.where(h > NOISE, h, 1.0)
    off = curve.xy[index] - (0.5 * (p + q))[owner]
    u = (half / (safe * safe)[:, None])[owner]
    x = off[:, 0] * u[:, 0] + off[:, 1] * u[:, 1]
    y = off[:, 1] * u[:, 0] - off[:, 0] * u[:, 1]
    a, c = _circle(x, y, begin)
    scale = np.sqrt(a * a + 0.25 * c * c)
    inner = owner[1:] == owner[:-1]
    ao, co = a[owner], c[owner]
    off_circle = _distance(x, y, ao, co, scale[owner])
    mid = _distance(0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1]), ao[1:], co[1:], scale[owner[1:]])
    far = np.abs(off_circle)
    far[1:] = np.maximum(far[1:], np.where(inner, _peak(off_circle[:-1], mid, off_circle[1:]), 0.0))
    step = ao[1:] * (x[:-1] * y[1:] - y[:-1] * x[1:]) + 0.5 * co[1:] * (x[1:] - x[:-1])
    onward = np.ones(len(x), dtype=bool)
    onward[1:] = ~inner | (step > 0)
    straight = np.ones(len(x), dtype=bool)
    straight[1:] = ~inner | (x[1:] > x[:-1])
    # turns: one way, and no more than chords of this radius explain
    first = np.concatenate([[True], ~inner])
    last = np.concatenate([~inner, [True]])
    one_way = np.where(ao < 0, -1.0, 1.0)
    allowed = TURN_FACTOR * curve.reach[index] * (np.abs(a) / (2 * safe * scale))[owner] + curve.slack[index]
    turn = curve.turn[index] * one_way
    smooth = first | last | ((turn >= -curve.slack[index]) & (turn <= allowed))
    bulge = 2 * a / (c + np.sqrt(c * c + 4 * a * a))
    radius = safe * scale / np.maximum(np.abs(a), 1e-300)
    arc = np.logical_and.reduceat(onward & smooth, begin) & (np.maximum.reduceat(far, begin) * h <= curve.tolerance)
    arc &= (np.abs(a) > 0) & (c >= -1e-6 * np.abs(a)) & (radius <= LARGEST_RADIUS)
    arc &= radius * 4 * np.arctan(np.abs(bulge)) >= SHORTEST
    line = np.logical_and.reduceat(straight, begin)
    line &= np.maximum.reduceat(np.abs(y), begin) * h <= LINE_SHARE * curve.tolerance
    even = _even_heights(curve, i, j, index, owner, begin) & (h > NOISE)
    single = count == 2
    return _Fit(arc & even & ~single, bulge, (line & even) | single)


def _circle(x: FloatArray, y: FloatArray, begin: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return (a, c) of each run's least-squares circle a (x^2 + y^2 - 1) = c y; c >= 0 for arcs up to a half circle."""
    w = x * x + y * y - 1.0
    yw, yy, ww = (np.add.reduceat(v, begin) for v in (y * w, y * y, w * w))
    side = np.where(np.add.reduceat(y, begin) > 0, -1.0, 1.0)
    round_form = yy > ww
    a = np.where(round_form, side, yw / np.where(ww > 0, ww, 1.0))
    c = np.where(round_form, side * yw / np.where(yy > 0, yy, 1.0), 1.0)
    return a, c


def _distance(x: FloatArray, y: FloatArray, a: FloatArray, c: FloatArray, scale: FloatArray) -> FloatArray:
    """Return the signed distance of points from their circles, in half chords: (rho^2 - R^2) / (rho + R)."""
    rho = np.sqrt((a * x) ** 2 + (a * y - 0.5 * c) ** 2)
    value: FloatArray = (a * (x * x + y * y - 1.0) - c * y) / (rho + scale)
    return value


def _peak(first: FloatArray, middle: FloatArray, last: FloatArray) -> FloatArray:
    """Return the largest distance along chords, from that at ends and middle: a parabola for all but tiny circles."""
    b, c = 0.5 * (last - first), 0.5 * (first + last) - middle
    within = np.abs(b) < 2 * np.abs(c)
    top = middle - b * b / np.where(within, 4 * c, 1.0)
    value: FloatArray = np.maximum(np.abs(middle), np.where(within, np.abs(top), 0.0))
    return value


def _even_heights(
    curve: _Curve, i: IntArray, j: IntArray, index: IntArray, owner: IntArray, begin: IntArray
) -> BoolArray:
    """Return whether z follows length within the tolerance on each run."""
    if curve.z is None:
        return np.ones(len(i), dtype=bool)
    length = curve.mark[j] - curve.mark[i]
    slope = (curve.z[j] - curve.z[i]) / np.where(length > 0, length, 1.0)
    want = curve.z[i][owner] + slope[owner] * (curve.mark[index] - curve.mark[i][owner])
    result: BoolArray = np.maximum.reduceat(np.abs(curve.z[index] - want), begin) <= curve.tolerance
    return result


def _stretches(curve: _Curve) -> tuple[IntArray, IntArray]:
    """Return the vertices where stretches end (first and last vertex included), and those of them that are seams."""
    n = len(curve.xy)
    inner = np.arange(1, n - 1)
    corner = inner[~_measure(curve, inner - 1, inner + 1).ok]
    hard = np.concatenate([[0], corner, [n - 1]])
    gaps = np.diff(hard)
    parts = np.maximum(1, -(-gaps // BLOCK))
    owner = np.repeat(np.arange(len(gaps)), parts)
    k = np.arange(len(owner)) - (np.cumsum(parts) - parts)[owner]
    starts = hard[owner] + (gaps[owner] * k) // parts[owner]
    return np.concatenate([starts, [n - 1]]), starts[k > 0]


def _greedy(curve: _Curve, ends: IntArray) -> IntArray:
    """Return the knots of the longest runs taken one after the other, in all stretches at once."""
    at, stop = ends[:-1].copy(), ends[1:].copy()
    found = [ends]
    live = np.flatnonzero(stop - at > 1)
    at, stop = at[live], stop[live]
    while len(at):
        at = _furthest(curve, at, stop)
        found.append(at)
        more = stop - at > 1
        at, stop = at[more], stop[more]
    return np.unique(np.concatenate(found))


def _furthest(curve: _Curve, at: IntArray, stop: IntArray) -> IntArray:
    """Return how far the run from each `at` goes, at most to `stop`, by doubling then bisection."""
    good = at + 1
    bad = stop + 1
    step = np.full(len(at), 2)
    growing = np.arange(len(at))
    while len(growing):
        tried = np.minimum(at[growing] + step[growing], stop[growing])
        ok = _measure(curve, at[growing], tried).ok
        good[growing[ok]] = tried[ok]
        bad[growing[~ok]] = tried[~ok]
        step[growing] *= 2
        growing = growing[ok & (tried < stop[growing])]
    open_ = np.flatnonzero(bad - good > 1)
    while len(open_):
        tried = (good[open_] + bad[open_]) // 2
        ok = _measure(curve, at[open_], tried).ok
        good[open_[ok]] = tried[ok]
        bad[open_[~ok]] = tried[~ok]
        open_ = open_[bad[open_] - good[open_] > 1]
    return good


def _joined(curve: _Curve, knots: IntArray, seams: IntArray) -> IntArray:
    """Drop seams where the runs on both sides are one; every other seam at a time, until nothing changes."""
    waiting = seams
    while len(waiting):
        place = np.searchsorted(knots, waiting)
        apart = np.concatenate([[True], np.diff(place) > 1])
        # of seams that are neighbours, take the first, third, … of each row of them
        row = np.cumsum(apart)
        nth = np.arange(len(place)) - np.searchsorted(row, row)
        now = nth % 2 == 0
        chosen = place[now]
        ok = _measure(curve, knots[chosen - 1], knots[chosen + 1]).ok
        gone = waiting[now][ok]
        # a seam that stays is asked again only if a neighbour beside it went
        knots = np.setdiff1d(knots, gone, assume_unique=True)
        waiting = waiting[~now]
        if len(gone) and not len(waiting):
            left = np.intersect1d(seams, knots)
            place = np.searchsorted(knots, left)
            changed = np.isin(knots[place - 1], gone) | np.isin(knots[place + 1], gone)
            waiting = left[changed]
    return knots


def _balanced(curve: _Curve, knots: IntArray) -> IntArray:
    """Give single chords that were left over behind a run half of that run, where both halves then fit as arcs."""
    count = np.diff(knots)
    rest = np.flatnonzero((count[1:] == 1) & (count[:-1] > 3)) + 1
    rest = rest[np.concatenate([[True], np.diff(rest) > 2])] if len(rest) else rest
    if not len(rest):
        return knots
    first, last = knots[rest - 1], knots[rest + 1]
    middle = (first + last) // 2
    was = _measure(curve, first, knots[rest]).line
    ok = _measure(curve, first, middle).arc & _measure(curve, middle, last).arc & ~was
    moved = knots.copy()
    moved[rest[ok]] = middle[ok]
    return moved


def _bulges(curve: _Curve, knots: IntArray) -> FloatArray:
    """Return the bulge of the move that ends at each knot."""
    fit = _measure(curve, knots[:-1], knots[1:])
    bulge = np.where(fit.line, 0.0, fit.bulge)
    return np.concatenate([[0.0], bulge])


def _rows(p: FloatArray, knots: IntArray, bulge: FloatArray) -> FloatArray:
    out = np.zeros((len(knots), 4))
    out[:, : p.shape[1]] = p[knots]
    out[:, 3] = bulge
    return out
