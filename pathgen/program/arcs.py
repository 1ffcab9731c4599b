"""Arcs and helices as they survive rounding, and chords in place of those that would not.

The center is computed from the *rounded* ends and the planned bulge, so that both radii agree up to the rounding of
I and J, and the sweep and the sagitta stay as planned. (From the planned center, inch programs with equal decimals
break the radius limit of NISTIR 6556 section 3.5.3.2 in 73 of 100 arcs; measured on four million.) An arc that is
too short, too flat or too wide to be written so becomes chords on the true curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.machine import Dialect
from pathgen.program.dialect import LARGEST, RADIUS_LIMIT, steps

CHORD = 0.001
"""How far a chord written in place of an arc may lie off it, mm. Larger: the budget of a wall (0.010 mm, of which the
arc itself may take 0.005) is broken; smaller: longer programs."""

SHORTEST = 0.02
"""Shortest arc, mm: common practice, no source. Shorter ones turn rounding into direction."""

SHORTEST_STEPS = 20
"""The same in steps of the last decimal: below it the ends may round together, which reads as a full circle."""

LARGEST_SWEEP = np.radians(270.0)
"""Wider arcs are written as two. Nearer to a full turn, rounding could close it."""

SWEEP_ERROR = np.radians(0.9)
"""How far the sweep read back may differ from the planned one, radians; the promise is 1 degree."""

MARGIN = 0.95
"""Share of the radius limit that is used; the rest is for the arithmetic of whoever reads the program."""

MIDDLE = 1.5
"""How far rounding of the center may move an arc's middle, steps of X and Y. Larger: coarse decimals bend arcs;
smaller: they are written as chords."""

_NEIGHBOURS = np.array([(i, j) for i in (0, -1, 1) for j in (0, -1, 1)], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Curves:
    """Moves with every arc either fit to be written or cut into chords.

    Attributes:
        points: (m, 4) ends of the moves: x, y, z in mm from the stock's corner, bulge (0 = line).
        source: (m,) index of the planned move that each came from.
        center: (m, 2) I and J as whole steps of `Dialect.center_places` decimals; 0 for lines.
    """

    points: FloatArray
    source: IntArray
    center: FloatArray


def fit_for_writing(
    start: FloatArray, points: FloatArray, dialect: Dialect, *, zero: FloatArray, arcs: bool | None = None
) -> Curves:
    """Return the moves `points` with arcs that hold the standard's limits after rounding, others as chords.

    Args:
        start: (3,) where the first move begins, mm.
        points: (n, 4) ends of the moves and their bulges, mm.
        dialect: units, decimals, and whether arcs and helices are understood.
        zero: (3,) the work zero in the same coordinates, mm.
        arcs: False writes chords whatever the dialect says (its lines are too short for arcs).
    """
    points, source = _halved(start, points)
    bent = np.flatnonzero(points[:, 3])
    center = np.zeros((len(points), 2))
    if not len(bent):
        return Curves(points, source, center)
    begin = np.concatenate([[start[:3]], points[:-1, :3]])[bent]
    end, bulge = points[bent, :3], points[bent, 3]
    if arcs is None:
        arcs = True
    if arcs and dialect.arcs:
        ok, ij = _rounded(begin, end, bulge, dialect, zero)
    else:
        ok, ij = np.zeros(len(bent), dtype=bool), np.zeros((len(bent), 2))
    center[bent[ok]] = ij[ok]
    if ok.all():
        return Curves(points, source, center)
    bad = bent[~ok]
    chords, owner = _chords(begin[~ok], end[~ok], bulge[~ok])
    count = np.ones(len(points), dtype=np.int64)
    count[bad] = np.bincount(owner, minlength=len(bad))
    where = np.repeat(np.arange(len(points)), count)
    fresh = points[where]
    fresh[np.repeat(np.isin(np.arange(len(points)), bad), count)] = chords
    return Curves(fresh, source[where], center[where])


def _halved(start: FloatArray, points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Cut arcs wider than `LARGEST_SWEEP` into two equal ones; return the moves and where each came from."""
    source = np.arange(len(points))
    wide = np.flatnonzero(np.abs(points[:, 3]) > np.tan(0.25 * LARGEST_SWEEP))
    if not len(wide):
        return points, source
    begin = np.where(wide[:, None] > 0, points[wide - 1, :3], start[:3])
    end, bulge = points[wide, :3], points[wide, 3]
    chord = end[:, :2] - begin[:, :2]
    # the arc's middle lies bulge * chord / 2 to the right of the chord's middle (counter-clockwise arcs bulge right)
    middle = 0.5 * (begin + end)
    middle[:, 0] += 0.5 * bulge * chord[:, 1]
    middle[:, 1] -= 0.5 * bulge * chord[:, 0]
    half = np.tan(0.5 * np.arctan(bulge))
    points = points.copy()
    points[wide, 3] = half
    first = np.column_stack([middle, half])
    return np.insert(points, wide, first, axis=0), np.insert(source, wide, wide)


def _rounded(
    begin: FloatArray, end: FloatArray, bulge: FloatArray, dialect: Dialect, zero: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Return which arcs can be written, and their I, J in whole steps of the center's decimals."""
    places, finer = dialect.places, 10.0 ** (dialect.center_places - dialect.places)
    a = steps(begin, dialect, places, zero=zero)
    e = steps(end, dialect, places, zero=zero)
    chord = e[:, :2] - a[:, :2]
    size = np.hypot(chord[:, 0], chord[:, 1])
    step_mm = dialect.unit * 10.0**-places
    sweep = 4.0 * np.arctan(np.abs(bulge))
    radius = 0.5 * size / np.sin(0.5 * sweep)
    ok = (size > 0) & (0.5 * np.abs(bulge) * size >= 0.5)
    ok &= radius * sweep >= max(SHORTEST_STEPS, SHORTEST / step_mm)
    ok &= radius < LARGEST * 10.0**places
    ok &= (a[:, 2] == e[:, 2]) | dialect.helices
    # the planned arc in steps from the rounded start: its chord, and the middle of the arc
    exact = (end - begin)[:, :2] / step_mm
    middle = (begin - zero)[:, :2] / step_mm - a[:, :2] + 0.5 * exact
    middle += 0.5 * bulge[:, None] * np.column_stack([exact[:, 1], -exact[:, 0]])
    ij = np.zeros_like(chord)
    centers = _centers(chord[ok], size[ok], middle[ok], bulge[ok], exact[ok]) * finer
    ij[ok] = np.rint(np.round(centers, 4))  # the last bits of a processor decide no tie
    limit = MARGIN * RADIUS_LIMIT[dialect.units] * 10.0**dialect.center_places
    off = _read_back(ij, chord * finer, bulge, middle * finer, finer)
    tried = np.flatnonzero(ok & ~(off <= limit))
    if len(tried):
        near = ij[tried, None, :] + _NEIGHBOURS
        nine = np.repeat(tried, 9)
        off9 = _read_back(near.reshape(-1, 2), chord[nine] * finer, bulge[nine], middle[nine] * finer, finer)
        best = np.round(off9.reshape(-1, 9), 6).argmin(axis=1)
        ij[tried] = near[np.arange(len(tried)), best]
        ok[tried] = off9.reshape(-1, 9)[np.arange(len(tried)), best] <= limit
    return ok, ij


def _centers(
    chord: FloatArray, size: FloatArray, middle: FloatArray, bulge: FloatArray, exact: FloatArray
) -> FloatArray:
    """Return centers from the start, each on the line that stands upright on the middle of the rounded chord.

    Up to half a circle the planned bulge decides (sweep and sagitta stay, however flat the arc); beyond, the planned
    center does (the circle stays, where a small error of the chord would become a large one of the radius).
    """
    normal = np.column_stack([-chord[:, 1], chord[:, 0]])
    height = (1.0 - bulge**2) / (4.0 * bulge)
    # planned center = planned middle + radius along the planned chord's normal, away from the arc
    up = np.column_stack([-exact[:, 1], exact[:, 0]]) * ((1.0 + bulge**2) / (4.0 * bulge))[:, None]
    planned = ((middle + up - 0.5 * chord) * normal).sum(axis=1) / size**2
    height = np.where(np.abs(bulge) > 1.0, planned, height)
    centers: FloatArray = 0.5 * chord + normal * height[:, None]
    return centers


def _read_back(ij: FloatArray, chord: FloatArray, bulge: FloatArray, middle: FloatArray, step: float) -> FloatArray:
    """Return |radius at start - radius at end| from the numbers as written; inf where the arc would be another one.

    That is where the sweep is off by more than `SWEEP_ERROR`, or the middle of the arc by more than `MIDDLE` steps.

    Args:
        ij: (n, 2) center from the start.
        chord: (n, 2) end from the start, the same unit.
        bulge: (n,) planned.
        middle: (n, 2) middle of the planned arc from the rounded start, the same unit.
        step: one step of X and Y in that unit.
    """
    out = chord - ij
    off = np.abs(np.hypot(ij[:, 0], ij[:, 1]) - np.hypot(out[:, 0], out[:, 1]))
    cross = -ij[:, 0] * out[:, 1] + ij[:, 1] * out[:, 0]
    dot = -ij[:, 0] * out[:, 0] - ij[:, 1] * out[:, 1]
    side = np.sign(bulge)
    turned = np.arctan2(cross, dot) * side
    turned = np.where(turned <= 0, turned + 2.0 * np.pi, turned)
    right = np.abs(turned - 4.0 * np.arctan(np.abs(bulge))) <= SWEEP_ERROR
    cos, sin = np.cos(0.5 * turned), np.sin(0.5 * turned) * side
    dx = ij[:, 0] - cos * ij[:, 0] + sin * ij[:, 1] - middle[:, 0]
    dy = ij[:, 1] - sin * ij[:, 0] - cos * ij[:, 1] - middle[:, 1]
    return np.where(right & (np.hypot(dx, dy) <= MIDDLE * step), off, np.inf)


def _chords(begin: FloatArray, end: FloatArray, bulge: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the ends (m, 4) of chords within `CHORD` of each arc, and which arc each belongs to.

    The chord's angle is 2 acos(1 - sagitta / radius) (elementary geometry); every end lies on the true arc.
    """
    chord = end[:, :2] - begin[:, :2]
    sweep = 4.0 * np.arctan(bulge)
    size = np.hypot(chord[:, 0], chord[:, 1])
    radius = 0.5 * size * (1.0 + bulge**2) / (2.0 * np.abs(bulge))
    angle = 2.0 * np.arccos(np.clip(1.0 - CHORD / np.maximum(radius, CHORD), -1.0, 1.0))
    n = np.maximum(np.ceil(np.abs(sweep) / np.maximum(angle, 1e-6)), 1.0).astype(np.int64)
    owner = np.repeat(np.arange(len(n)), n)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(n) - n, n) + 1
    t = k / n[owner]
    rows = np.zeros((len(owner), 4))
    rows[:, :3] = begin[owner] + t[:, None] * (end - begin)[owner]
    height = ((1.0 - bulge**2) / (4.0 * bulge))[owner]
    cx = 0.5 * chord[owner, 0] - chord[owner, 1] * height
    cy = 0.5 * chord[owner, 1] + chord[owner, 0] * height
    cos, sin = np.cos(sweep[owner] * t), np.sin(sweep[owner] * t)
    rows[:, 0] = begin[owner, 0] + cx - cos * cx + sin * cy
    rows[:, 1] = begin[owner, 1] + cy - sin * cx - cos * cy
    last = k == n[owner]
    rows[last, :3] = end[owner[last]]
    return rows, owner
