"""Ways over cleared floor: inside a region, round its holes, along its outlines.

The straight way leaves a region either through a hole or over its outer outline, and comes back over the same outline.
So it is mended by going along that outline, the shorter way round.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from pathgen.cuts.clearing import Segments
from pathgen.model.arrays import FloatArray
from pathgen.shape.tolerance import NOISE

TOUCH = 1e-5
"""A point this near to an outline lies on it, mm. Larger: ways cut corners by as much; smaller: rounding of offsets
makes points on an outline look off it."""

SHORT = 1e-3
"""Stretches shorter than this may leave the region, mm: the tool's edge has cut further than that already. Larger: it
would show; smaller: rounding looks like an exit."""


def way_length(way: FloatArray) -> float:
    """Return the length of a polyline (n, 2), mm."""
    return float(np.hypot(*np.diff(way, axis=0).T).sum())


def along(table: Segments, a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the shorter way (n, 2) along a closed outline from its point `a` to its point `b`, both included.

    Args:
        table: that outline alone.
        a: mm.
        b: mm.
    """
    ring, mark = table.outlines[0], table.mark
    at = []
    for point in (a, b):
        piece, foot, _ = table.nearest(point)
        at.append(float(mark[piece] + math.hypot(*(foot - table.a[piece]).tolist())))
    total = float(mark[-1])
    forward = (at[1] - at[0]) % total
    back = forward > 0.5 * total
    begin, length = (at[1], total - forward) if back else (at[0], forward)
    twice = np.concatenate([mark[:-1], mark[:-1] + total])
    inner = np.flatnonzero((twice > begin + NOISE) & (twice < begin + length - NOISE)) % (len(ring) - 1)
    vertices = ring[inner[::-1]] if back else ring[inner]
    return np.concatenate([a[None], vertices, b[None]])


def route(region: Polygon, table: Segments, a: FloatArray, b: FloatArray) -> FloatArray | None:
    """Return a way (n, 2) from `a` to `b` that stays in `region`; None where the outlines are too tangled to tell.

    Args:
        region: one piece, mm.
        table: its outlines.
        a: a point of it, mm; it may lie on an outline.
        b: another.
    """
    way = b - a
    length = float(np.hypot(*way))
    if length <= SHORT:
        return np.array([a, b])
    stops, rings = _crossings(table, a, way, length)
    middle = a + 0.5 * (stops[1:] + stops[:-1])[:, None] * way
    inside = shapely.intersects_xy(region, middle[:, 0], middle[:, 1])
    inside |= np.diff(stops) * length <= SHORT
    if inside.all():
        return np.array([a, b])
    parts, k = [a[None]], 0
    while k < len(inside):
        if inside[k]:
            k += 1
            continue
        first = k
        while k < len(inside) and not inside[k]:
            k += 1
        ring = rings[first]
        if ring < 0 or ring != rings[k]:
            return None
        parts.append(along(table.single(ring), a + stops[first] * way, a + stops[k] * way))
    parts.append(b[None])
    whole = np.concatenate(parts)
    keep = np.concatenate([[True], np.abs(np.diff(whole, axis=0)).max(axis=1) > NOISE])
    keep[-1] = True
    found: FloatArray = whole[keep]
    return found


def _crossings(table: Segments, a: FloatArray, way: FloatArray, length: float) -> tuple[FloatArray, list[int]]:
    """Return where a straight way meets outlines, as shares of it from 0 to 1, and the outline at each (-1: none)."""
    index = table.near(np.minimum(a, a + way) - TOUCH, np.maximum(a, a + way) + TOUCH)
    rel, step = table.a[index] - a, table.step[index]
    cross = way[0] * step[:, 1] - way[1] * step[:, 0]
    safe = np.where(np.abs(cross) > 1e-12, cross, np.inf)
    t = (rel[:, 0] * step[:, 1] - rel[:, 1] * step[:, 0]) / safe
    u = (rel[:, 0] * way[1] - rel[:, 1] * way[0]) / safe
    margin = TOUCH / length
    met = (np.abs(cross) > 1e-12) & (t > margin) & (t < 1 - margin) & (u >= -1e-9) & (u <= 1 + 1e-9)
    hit = np.flatnonzero(met)
    hit = hit[np.argsort(t[hit], kind="stable")]
    ends = []
    for point in (a, a + way):
        piece, _, far = table.nearest(point)
        ends.append(table.outline_of(piece) if far <= TOUCH else -1)
    rings: list[int] = [ends[0], *table.owner[index[hit]].tolist(), ends[1]]
    return np.concatenate([[0.0], t[hit], [1.0]]), rings
