"""Regions grown and shrunk by a distance, with a bound on how far the result may err.

The buffer of GEOS puts the vertices of a fillet on the true circle and joins them by chords, so that it always
errs to the inside of the obstacle it grows: an inset region comes out too *large* by up to the chord's sagitta,
which in a pocket is a gouge. Segments are therefore counted from the error allowed. Where two fillets overlap, their
crossing lies on two chords at once, and a fillet's angle is divided into a rounded number of chords, each of them up to
half as long again as the step asked for; `_SAFETY` pays for both.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.shape.tolerance import NOISE, PLAN, SIMPLIFY, quad_segs

_BRIDGED = 0.01
"""Share of the distance up to which GEOS bridges notches before it offsets (its simplify factor)."""

_AROUND = 0.2
"""Share of the distance around a spoiled edge that is offset anew: where two offset edges cross at a small angle, the
crossing moves by many times what the edges are off."""

_LONG = 0.15
"""Edges longer than this share of the distance are measured inside too, not only at their ends. Larger: a spoiled edge
between good ends is missed; smaller: time."""

_ROUNDS = 4
"""How often what was offset anew is looked over again."""

_SAFETY = 0.8
"""Share of the error handed to the chord count. Measured on wavy rings, saw teeth and lettering: at 1.0 the worst
was 1.06 x the error asked for. Larger: the bound is broken; smaller: more vertices for nothing."""


def grown(region: BaseGeometry, by: float, *, error: float = PLAN) -> MultiPolygon:
    """Return `region` grown by `by` mm (shrunk where `by` < 0), with round corners.

    Args:
        region: Polygon, MultiPolygon, or lines and points (which only grow); mm.
        by: distance in mm; above 0 outwards, below 0 inwards, 0 cleans the region only.
        error: how far the result may lie inside the true offset of the *obstacle*, mm: an inset is never too
            large by more than this (the gouge side). Fillet vertices lie on the true offset curve. On the other
            side it is exact but for notches no deeper than this.

    Returns:
        MultiPolygon, valid, empty where nothing is left.

    Raises:
        ArgumentError: if `by` is not finite or `error` not above 0.

    >>> from shapely.geometry import box
    >>> round(grown(box(0, 0, 10, 10), -2).area, 9)
    36.0
    >>> round(grown(box(0, 0, 10, 10), 2, error=0.001).area, 1)      # 100 + 4 * 20 + pi * 4
    192.6
    """
    if not abs(by) < float("inf") or not 0 < error < float("inf"):
        raise ArgumentError(f"by={by!r} must be a number and error={error!r} above 0: give distances in mm")
    quarter = quad_segs(abs(by), _SAFETY * error)
    result = _genuine(as_multi(shapely.buffer(region, by, quad_segs=quarter)), region, by)
    return _unbridged(result, region, by, error, quarter)


def _unbridged(result: MultiPolygon, region: BaseGeometry, by: float, error: float, quarter: int) -> MultiPolygon:
    """Offset anew, edge by edge, where GEOS bridged a notch of `region` by more than `error`.

    GEOS drops vertices of notches shallower than 1 % of the distance before it offsets, and errs to either side by as
    much; single edges have none to drop.
    """
    distance = abs(by)
    if _BRIDGED * distance <= error or result.is_empty or region.area == 0:
        return result
    boundary = region.boundary
    shapely.prepare(boundary)
    for _ in range(_ROUNDS):
        a, b = _edges(result)
        long = np.flatnonzero(np.hypot(*(b - a).T) > _LONG * distance)
        edge = np.concatenate([np.arange(len(a)), long, long])
        share = np.repeat([0.0, 1 / 3, 2 / 3], [len(a), len(long), len(long)])[:, None]
        probes = shapely.points(a[edge] + share * (b[edge] - a[edge]))
        too_near = shapely.dwithin(boundary, probes, distance - error)
        bad = np.unique(edge[too_near | ~shapely.dwithin(boundary, probes, distance + 0.5 * error)])
        if not len(bad):
            break
        result = _offset_anew(result, region, by, shapely.linestrings(np.stack([a[bad], b[bad]], axis=1)), quarter)
    return result


def _offset_anew(result: MultiPolygon, region: BaseGeometry, by: float, spoiled: Any, quarter: int) -> MultiPolygon:
    """Return `result` with what lies around its `spoiled` edges made from discs swept along edges of `region`."""
    distance = abs(by)
    window = shapely.union_all(shapely.buffer(spoiled, _AROUND * distance))
    outline = shapely.linestrings(np.stack(_edges(region), axis=1))
    reach = (1 + 2 * _AROUND) * distance
    near = np.unique(shapely.STRtree(outline).query(spoiled, predicate="dwithin", distance=reach)[1])
    swept = shapely.union_all(shapely.buffer(outline[near], distance, quad_segs=quarter))
    patch = region.intersection(window).difference(swept) if by < 0 else window.intersection(region.union(swept))
    return as_multi(shapely.union(shapely.difference(result, window), patch))


def _edges(region: BaseGeometry) -> tuple[FloatArray, FloatArray]:
    """Return starts and ends, (n, 2) each, of all edges of a region's outlines."""
    rings = shapely.get_rings(shapely.get_parts(region))
    xy, owner = shapely.get_coordinates(rings, return_index=True)
    same = owner[1:] == owner[:-1]
    return xy[:-1][same], xy[1:][same]


def _genuine(result: MultiPolygon, region: BaseGeometry, by: float) -> MultiPolygon:
    """Drop specks of `result` that lie nearer to the outline of `region` than the offset.

    Where a round piece or hole is a little smaller than the disc that should swallow it, its offset outline turns
    inside out, and GEOS leaves a speck of that outline standing (it looks for this on outlines of up to nine vertices
    only).
    """
    distance = abs(by)
    if by == 0 or result.is_empty:
        return result
    parts = np.array(result.geoms, dtype=object)
    shells = shapely.get_exterior_ring(parts)
    holes, owner = shapely.get_rings(parts, return_index=True)
    first = np.concatenate([[True], owner[1:] != owner[:-1]])
    suspects = shells if by < 0 else holes[~first]
    box = shapely.bounds(suspects)
    small = suspects[np.hypot(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]) < distance] if len(suspects) else suspects
    if not len(small):
        return result
    false = small[shapely.distance(shapely.get_point(small, 0), shapely.boundary(region)) < distance * (1 - 1e-3)]
    if not len(false):
        return result
    if by < 0:
        tree = set(shapely.to_wkb(false).tolist())
        return MultiPolygon([p for p, w in zip(parts, shapely.to_wkb(shells).tolist(), strict=True) if w not in tree])
    return as_multi(shapely.union(result, shapely.union_all(shapely.polygons(false))))


def opened(region: BaseGeometry, by: float, *, error: float = PLAN) -> MultiPolygon:
    """Return what a disc of radius `by` mm can cover without leaving `region`: the opening, inset then outset.

    Args:
        region: mm.
        by: radius of the disc, mm.
        error: see `grown`; corners that the disc rounds come out up to this too small.

    >>> from shapely.geometry import box
    >>> round(100 - opened(box(0, 0, 10, 10), 2, error=0.001).area, 1)      # four corners: (4 - pi) * 2 * 2
    3.4
    """
    return grown(grown(region, -by, error=error), by, error=error)


def simplified(region: BaseGeometry, tolerance: float = SIMPLIFY) -> MultiPolygon:
    """Return `region` with vertices dropped that lie within `tolerance` mm of the line without them; still valid.

    To be used before a region is offset again: the buffer adds vertices at every turn, and each later buffer pays
    for them. Pieces and holes are kept; one that is smaller than the tolerance may lose its area.

    >>> from shapely.geometry import Polygon
    >>> len(simplified(Polygon([(0, 0), (5, 1e-4), (10, 0), (10, 10)])).geoms[0].exterior.coords)
    4
    """
    return as_multi(shapely.simplify(region, tolerance, preserve_topology=True))


def as_multi(shape: BaseGeometry) -> MultiPolygon:
    """Return the filled parts of any geometry as one MultiPolygon; lines, points and specks (1e-12 mm2) are dropped."""
    if isinstance(shape, Polygon):
        return MultiPolygon([shape]) if shape.area > NOISE * NOISE else MultiPolygon()
    parts = shapely.get_parts(shape)
    kind = shapely.get_type_id(parts)
    if (kind == shapely.GeometryType.MULTIPOLYGON).any():
        parts = shapely.get_parts(parts)
        kind = shapely.get_type_id(parts)
    kept = parts[(kind == shapely.GeometryType.POLYGON) & (shapely.area(parts) > NOISE * NOISE)]
    return shapely.multipolygons(kept) if len(kept) else MultiPolygon()
