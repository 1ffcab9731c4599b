"""The band that a stroke paints, as a region: SVG 2 section 13.5 (stroke shape, caps, joins).

The band is built in user space, before the matrix, since an uneven matrix deforms strokes: a quadrilateral for each
chord, a wedge for each join, caps, and all of them united by the nonzero rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from shapely.geometry import MultiPolygon

from pathgen.artwork.curves import Curves, identity, stretch
from pathgen.artwork.repair import fill, without_slivers
from pathgen.artwork.svgvalues import MM_PER_PX
from pathgen.model.arrays import BoolArray, FloatArray


def _points(curves: Curves, tolerance: float) -> tuple[FloatArray, BoolArray, bool]:
    """Chords' points, which of them are ends of drawn segments, and whether it is closed; no repeated points."""
    points = curves.flat(tolerance)
    corner = np.zeros(len(points), dtype=bool)
    if len(curves.rows):
        corner[np.cumsum(curves.counts(tolerance)).astype(int)] = True
    corner[0] = True
    size = max(float(np.abs(points).max()), 1.0)
    near = 1e-12 * size
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.abs(np.diff(points, axis=0)).max(axis=1) > near
    # A dropped repeat hands its corner on to the point that stays.
    owner = np.cumsum(keep) - 1
    kept_corner = np.zeros(int(owner[-1]) + 1, dtype=bool)
    np.logical_or.at(kept_corner, owner, corner)
    points, corner = points[keep], kept_corner
    if curves.closed and len(points) > 1 and np.abs(points[0] - points[-1]).max() <= near:
        points, corner = points[:-1], corner[:-1]
    return points, corner, curves.closed


def _disc(center: FloatArray, radius: float, tolerance: float) -> FloatArray:
    n = max(8, math.ceil(math.pi / math.acos(max(1.0 - tolerance / max(radius, tolerance), 0.0))))
    angle = np.linspace(0.0, 2.0 * math.pi, n, endpoint=False)
    return center + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _counter_clockwise(polygons: FloatArray) -> FloatArray:
    """Turn each polygon of (n, k, 2) counter-clockwise."""
    x, y = polygons[..., 0], polygons[..., 1]
    area = (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)
    return np.where((area < 0)[:, None, None], polygons[:, ::-1], polygons)


def _joins(
    points: FloatArray,
    corner: BoolArray,
    closed: bool,
    half: float,
    style: tuple[str, float],
    tolerance: float,
) -> list[FloatArray]:
    """Wedges at the vertices between chords; inside a curve always round."""
    ahead = np.roll(points, -1, axis=0) - points if closed else np.diff(points, axis=0)
    way = ahead / np.linalg.norm(ahead, axis=1)[:, None]
    before = np.roll(way, 1, axis=0) if closed else way[:-1]
    after = way if closed else way[1:]
    at = points if closed else points[1:-1]
    sharp = corner if closed else corner[1:-1]
    if not len(at):
        return []
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = (before * after).sum(axis=1)
    outer = np.where(cross > 0, -half, half)[:, None]
    a = at + outer * np.stack([-before[:, 1], before[:, 0]], axis=1)
    b = at + outer * np.stack([-after[:, 1], after[:, 0]], axis=1)
    turn = np.abs(np.arctan2(cross, dot))
    small = half * (1.0 - np.cos(0.5 * np.minimum(turn, math.pi))) <= tolerance
    kind, limit = style
    round_here = ~small & (~sharp | (kind == "round"))
    flat_here = (turn > 0) & ~round_here
    cos_half = np.cos(0.5 * turn)
    # Stroke-miterlimit compares 1 / sin(half the angle between the segments) = 1 / cos(half the turn).
    mitre = flat_here & sharp & ~small & (kind not in ("round", "bevel")) & (cos_half * limit >= 1.0 - 1e-12)
    out: list[FloatArray] = []
    if mitre.any():
        tip = at + (a + b - 2 * at) / (1.0 + dot[:, None]).clip(1e-12)
        out += list(_counter_clockwise(np.stack([at, a, tip, b], axis=1)[mitre]))
    bevel = flat_here & ~mitre
    if bevel.any():
        out += list(_counter_clockwise(np.stack([at, a, b], axis=1)[bevel]))
    out += [_disc(p, half, tolerance) for p in at[round_here]]
    return out


def _caps(points: FloatArray, half: float, cap: str, tolerance: float) -> list[FloatArray]:
    if cap == "butt" or not len(points):
        return []
    if len(points) == 1:
        if cap == "round":
            return [_disc(points[0], half, tolerance)]
        return [points[0] + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float)]
    if cap == "round":
        return [_disc(points[0], half, tolerance), _disc(points[-1], half, tolerance)]
    out = []
    for end, inner in ((points[0], points[1]), (points[-1], points[-2])):
        way = (end - inner) / np.linalg.norm(end - inner)
        side = np.array([-way[1], way[0]])
        out.append(
            np.array([end + half * side, end - half * side, end + half * (way - side), end + half * (way + side)])
        )
    return out


def band(
    subs: Sequence[Curves], m: FloatArray, width: float, style: Mapping[str, str], tolerance: float
) -> MultiPolygon:
    """Return the area that a stroke paints, mm.

    Args:
        subs: the subpaths in user units.
        m: (3, 3) from user units to mm.
        width: stroke width in user units.
        style: computed style: stroke-linecap, stroke-linejoin, stroke-miterlimit, vector-effect.
        tolerance: largest distance from the true band, mm.
    """
    if style["vector-effect"].lower() == "non-scaling-stroke":
        subs, m, width = [s.moved(m) for s in subs], identity(), width * MM_PER_PX
    half = 0.5 * width
    error = tolerance / max(stretch(m), 1e-12)
    cap = style["stroke-linecap"].lower()
    cap = cap if cap in ("round", "square") else "butt"
    try:
        limit = max(float(style["stroke-miterlimit"]), 1.0)
    except ValueError:
        limit = 4.0
    join = (style["stroke-linejoin"].lower(), limit)
    rings: list[FloatArray] = []
    for sub in subs:
        if not len(sub.rows) and not sub.closed:
            continue
        points, corner, closed = _points(sub, error)
        if len(points) == 1:
            rings += _caps(points, half, cap, error)
            continue
        closed = closed and len(points) > 2
        ends = np.concatenate([points, points[:1]]) if closed else points
        way = np.diff(ends, axis=0)
        side = half * np.stack([-way[:, 1], way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
        rings += list(np.stack([ends[:-1] - side, ends[1:] - side, ends[1:] + side, ends[:-1] + side], axis=1))
        rings += _joins(points, corner, closed, half, join, error)
        if not closed:
            caps = _caps(points, half, cap, error)
            rings += list(caps) if cap == "round" else [_counter_clockwise(c[None])[0] for c in caps]
    # Gaps between round wedges and chords are noise of this construction, not of the drawing: no note.
    return without_slivers(fill([r @ m[:2, :2].T + m[:2, 2] for r in rings]), tolerance)
