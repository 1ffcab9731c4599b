"""Curves exactly as drawn, moved by matrices and only then flattened.

A cubic stays a cubic and an elliptical arc stays the image of a unit circle under any matrix, so nothing is lost
before the flattening, which happens in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray

MOST_CHORDS: Final = 20_000
"""Chords of one curve segment at most. Larger: one absurd arc could fill the memory; smaller: a true circle of
100 m radius would miss 0.002 mm."""

FEWEST_PER_TURN: Final = 16
"""Chords of a full turn at least, so that tiny circles stay round."""


FARTHEST: Final = 1e12
"""Coordinates beyond this are no drawing in any unit. Larger: squares of them overflow."""


class NotFiniteError(ValueError):
    """A coordinate that is not a number, or beyond any number."""


def identity() -> FloatArray:
    """Return the matrix that moves nothing, (3, 3)."""
    return np.eye(3)


def matrix(a: float, b: float, c: float, d: float, e: float, f: float) -> FloatArray:
    """Return x' = a x + c y + e, y' = b x + d y + f as (3, 3): the order of SVG 1.1 section 7.4."""
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def stretch(m: FloatArray) -> float:
    """Return the largest singular value of a matrix's linear part: how much it can lengthen a short line."""
    (a, c), (b, d) = m[:2, :2].tolist()
    total, det = a * a + b * b + c * c + d * d, a * d - b * c
    return math.sqrt(0.5 * (total + math.sqrt(max(total * total - 4.0 * det * det, 0.0))))


@dataclass(frozen=True, eq=False)
class Curves:
    """One subpath: connected segments, each a cubic or an arc.

    Attributes:
        start: (2,) the first point.
        rows: (n, 8). Cubic: four points. Arc: center x, y; a, c, b, d (the columns of the 2x2 matrix that makes it
            from the unit circle are (a, b) and (c, d)); start angle and sweep in radians.
        arc: (n,) which rows are arcs.
        straight: (n,) which rows are straight lines.
        closed: it was closed by command, not only by meeting its start.
    """

    start: FloatArray
    rows: FloatArray
    arc: BoolArray
    straight: BoolArray
    closed: bool

    def moved(self, m: FloatArray) -> Curves:
        """Return this under the (3, 3) matrix `m`, exactly."""
        lin, shift = m[:2, :2], m[:2, 2]
        rows = np.empty_like(self.rows)
        cubic = ~self.arc
        if cubic.any():
            points = self.rows[cubic].reshape(-1, 4, 2)
            rows[cubic] = (points @ lin.T + shift).reshape(-1, 8)
        if self.arc.any():
            old = self.rows[self.arc]
            rows[self.arc, :2] = old[:, :2] @ lin.T + shift
            rows[self.arc, 2:6] = (lin @ old[:, 2:6].reshape(-1, 2, 2)).reshape(-1, 4)
            rows[self.arc, 6:] = old[:, 6:]
        return Curves(lin @ self.start + shift, rows, self.arc, self.straight, self.closed)

    def counts(self, tolerance: float) -> FloatArray:
        """Return the chords each row needs, (n,).

        A cubic's distance from n equal chords is at most |B''| / (8 n^2), with |B''| <= 6 max |second difference|
        (the bound of linear interpolation); an arc's is s (1 - cos(sweep / 2n)), s = largest singular value.
        """
        n = np.ones(len(self.rows))
        bent = ~self.arc & ~self.straight
        if bent.any():
            p = self.rows[bent].reshape(-1, 4, 2)
            dd = np.maximum(
                np.linalg.norm(p[:, 0] - 2 * p[:, 1] + p[:, 2], axis=1),
                np.linalg.norm(p[:, 1] - 2 * p[:, 2] + p[:, 3], axis=1),
            )
            n[bent] = np.ceil(np.sqrt(0.75 * dd / tolerance))
        if self.arc.any():
            rows = self.rows[self.arc]
            size = np.linalg.norm(rows[:, 2:6].reshape(-1, 2, 2), 2, axis=(1, 2))
            step = 2.0 * np.arccos(np.clip(1.0 - tolerance / np.maximum(size, tolerance), -1.0, 1.0))
            step = np.minimum(step, 2.0 * math.pi / FEWEST_PER_TURN)
            n[self.arc] = np.ceil(np.abs(rows[:, 7]) / np.maximum(step, 1e-9))
        counts: FloatArray = np.clip(n, 1, MOST_CHORDS)
        return counts

    def flat(self, tolerance: float) -> FloatArray:
        """Return the points, (k, 2), of chords within `tolerance` of the curve; all lie on the curve.

        Raises:
            NotFiniteError: a coordinate is not a number or beyond `FARTHEST`.
        """
        if not (np.abs(self.start) < FARTHEST).all() or not (np.abs(self.rows) < FARTHEST).all():
            far = [*self.start.tolist(), *self.rows.ravel().tolist()]
            raise NotFiniteError(f"{next(v for v in far if not abs(v) < FARTHEST):g}")
        if not len(self.rows):
            return self.start[None, :].copy()
        n = self.counts(tolerance).astype(np.int64)
        row = np.repeat(np.arange(len(n)), n)
        first = np.cumsum(n) - n
        t = (np.arange(len(row)) - first[row] + 1) / n[row]
        out = np.empty((len(row), 2))
        is_arc = self.arc[row]
        k = ~is_arc
        if k.any():
            p, u = self.rows[row[k]].reshape(-1, 4, 2), t[k][:, None]
            v = 1.0 - u
            out[k] = v * v * v * p[:, 0] + 3 * v * v * u * p[:, 1] + 3 * v * u * u * p[:, 2] + u * u * u * p[:, 3]
            ends = k & (t == 1.0)
            out[ends] = self.rows[row[ends], 6:8]
        if is_arc.any():
            rows = self.rows[row[is_arc]]
            angle = rows[:, 6] + rows[:, 7] * t[is_arc]
            turn = np.stack([np.cos(angle), np.sin(angle)], axis=1)
            out[is_arc] = rows[:, :2] + np.einsum("nij,nj->ni", rows[:, 2:6].reshape(-1, 2, 2), turn)
        return np.concatenate([self.start[None, :], out])


class Pen:
    """Collects the segments of one subpath; complex numbers in, `Curves` out."""

    def __init__(self, start: complex) -> None:
        self.start = self.at = start
        self._rows: list[tuple[float, ...]] = []
        self._arc: list[bool] = []
        self._straight: list[bool] = []

    def _add(self, row: tuple[float, ...], end: complex, *, arc: bool = False, straight: bool = False) -> None:
        self._rows.append(row)
        self._arc.append(arc)
        self._straight.append(straight)
        self.at = end

    def line(self, end: complex) -> None:
        """Add a straight line."""
        a = self.at
        self._add((a.real, a.imag, a.real, a.imag, end.real, end.imag, end.real, end.imag), end, straight=True)

    def cubic(self, c1: complex, c2: complex, end: complex) -> None:
        """Add a cubic."""
        a = self.at
        self._add((a.real, a.imag, c1.real, c1.imag, c2.real, c2.imag, end.real, end.imag), end)

    def quadratic(self, c: complex, end: complex) -> None:
        """Add a quadratic, raised to a cubic exactly."""
        a = self.at
        self.cubic(a + (c - a) * (2 / 3), end + (c - end) * (2 / 3), end)

    def arc(self, center: complex, columns: tuple[float, float, float, float], start: float, sweep: float) -> None:
        """Add an arc of an ellipse; `columns` and angles as in `Curves.rows`."""
        a, c, b, d = columns
        end = start + sweep
        x = center.real + a * math.cos(end) + c * math.sin(end)
        y = center.imag + b * math.cos(end) + d * math.sin(end)
        self._add((center.real, center.imag, a, c, b, d, start, sweep), complex(x, y), arc=True)

    def done(self, *, closed: bool) -> Curves:
        """Return what was drawn."""
        return Curves(
            np.array([self.start.real, self.start.imag]),
            np.array(self._rows, dtype=np.float64).reshape(-1, 8),
            np.array(self._arc, dtype=bool),
            np.array(self._straight, dtype=bool),
            closed,
        )


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Curves:
    """Return a full ellipse, closed, from (cx + rx, cy) the way of growing angles."""
    pen = Pen(complex(cx + rx, cy))
    pen.arc(complex(cx, cy), (rx, 0.0, 0.0, ry), 0.0, 2.0 * math.pi)
    return pen.done(closed=True)


def endpoint_arc(
    pen: Pen, radius_x: float, radius_y: float, rotation: float, large: bool, sweep: bool, end: complex
) -> None:
    """Add an arc given by its end point: SVG 1.1 appendix F.6.5 (conversion) and F.6.6 (radii out of range).

    Equal end points add nothing; a radius of 0 adds a line. The center is found along the bisector of the chord,
    which stays accurate for near half circles.
    """
    start = pen.at
    if start == end:
        return
    rx, ry = abs(radius_x), abs(radius_y)
    if rx == 0 or ry == 0:
        pen.line(end)
        return
    turn = complex(math.cos(math.radians(rotation)), math.sin(math.radians(rotation)))
    # In the frame where the ellipse is the unit circle the chord is h to either side of its middle.
    local = (end - start) * turn.conjugate()
    chord = complex(local.real / rx, local.imag / ry)
    half = 0.5 * abs(chord)
    if half == 0 or not math.isfinite(half):
        pen.line(end)
        return
    if half > 1.0:
        rx, ry, chord = rx * half, ry * half, chord / half
        half = 1.0
    rise = math.sqrt(max((1.0 - half) * (1.0 + half), 0.0))
    side = 1.0 if large != sweep else -1.0
    middle = side * rise * 1j * chord / abs(chord)
    first, last = -0.5 * chord - middle, 0.5 * chord - middle
    a0 = math.atan2(first.imag, first.real)
    delta = math.atan2(last.imag, last.real) - a0
    if sweep and delta <= 0:
        delta += 2 * math.pi
    elif not sweep and delta >= 0:
        delta -= 2 * math.pi
    center = 0.5 * (start + end) + complex(middle.real * rx, middle.imag * ry) * turn
    columns = (rx * turn.real, -ry * turn.imag, rx * turn.imag, ry * turn.real)
    pen.arc(center, columns, a0, delta)
    pen.at = end
