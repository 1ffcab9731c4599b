"""Circles in artwork: where they stand and how wide they are, from the outlines that chords have been made of."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon

from pathgen.errors import DrawingError
from pathgen.model.arrays import ROUND_DECIMALS, FloatArray
from pathgen.model.artwork import Shape, region_of

ROUND = 0.01
"""A circle's vertices lie this near to it, mm: the tolerance of curves and what drawing programs round to. Larger:
ovals pass; smaller: circles drawn of four cubic curves fail at 40 mm across (0.027 % of the radius)."""

CHORDS = 0.005
"""Largest sagitta of a circle's chords in radii (32 chords have 0.0048): fewer chords are a polygon, not a circle."""


def circles(shape: Shape) -> tuple[tuple[float, float, float], ...]:
    """Return (x, y, diameter) of every circle in `shape`, mm; from below, then from the left.

    Filled circles count, and of a layer closed strokes without fill too. Each is fitted by least squares to its
    vertices (Kasa's fit: the circle equation is linear in center and radius^2 - |center|^2).

    Args:
        shape: a layer or region whose pieces are all round; mm.

    Raises:
        DrawingError: for a piece that is not round, with its place; for nothing at all.

    >>> from shapely.geometry import Point
    >>> x, y, d = circles(Point(20, 30).buffer(2.5, quad_segs=16))[0]
    >>> round(x, 6), round(y, 6), round(d, 6)
    (20.0, 30.0, 5.0)
    """
    pieces = _pieces(shape)
    layer = getattr(shape, "name", None)
    found = [_circle(p, layer if isinstance(layer, str) else None) for p in pieces]
    return tuple(sorted(found, key=lambda c: (round(c[1], ROUND_DECIMALS), round(c[0], ROUND_DECIMALS), c[2])))


def _pieces(shape: Shape) -> list[Polygon]:
    """Return filled pieces and closed strokes without fill."""
    outlines = getattr(shape, "outlines", None)
    drawn = list(outlines.geoms) if isinstance(outlines, MultiPolygon) else []
    lines = getattr(shape, "lines", None)
    if isinstance(lines, MultiLineString | LineString):
        rings = [g for g in shapely.get_parts(lines) if g.is_closed and shapely.get_num_coordinates(g) > 3]
        known = shapely.union_all(drawn) if drawn else Polygon()
        drawn += [p for p in map(Polygon, rings) if p.is_valid and not known.buffer(ROUND).covers(p)]
    region = shape if isinstance(shape, Polygon | MultiPolygon) else getattr(shape, "region", None)
    if drawn and isinstance(region, MultiPolygon) and region.is_empty:
        return drawn
    return [*region_of(shape, what="circles").geoms, *drawn]


def _circle(piece: Polygon, layer: str | None) -> tuple[float, float, float]:
    """Return (x, y, diameter) of one piece."""
    spot = piece.representative_point()
    place = (float(spot.x), float(spot.y))
    if piece.interiors:
        raise DrawingError("a ring is no circle: it has an inside of its own", layer=layer, position=place)
    xy = shapely.get_coordinates(piece.exterior)[:-1]
    x, y, radius = _fitted(xy)
    off = float(np.abs(np.hypot(*(xy - (x, y)).T) - radius).max())
    middle = 0.5 * (xy + np.roll(xy, -1, axis=0))
    sagitta = radius - float(np.hypot(*(middle - (x, y)).T).min())
    if not off <= ROUND or not sagitta <= max(ROUND, CHORDS * radius):
        raise DrawingError(
            f"a piece {piece.bounds[2] - piece.bounds[0]:.2f} x {piece.bounds[3] - piece.bounds[1]:.2f} mm is not "
            f"round: it leaves a circle by {max(off, sagitta):.3f} mm. Draw circles, or give points (x, y)",
            layer=layer,
            position=place,
        )
    return x, y, 2.0 * radius


def _fitted(xy: FloatArray) -> tuple[float, float, float]:
    """Return center and radius of the circle nearest to points (n, 2)."""
    middle = xy.mean(axis=0)
    p = xy - middle
    table = np.column_stack([2.0 * p, np.ones(len(p))])
    (a, b, c), *_ = np.linalg.lstsq(table, (p**2).sum(axis=1), rcond=None)
    return float(middle[0] + a), float(middle[1] + b), float(np.sqrt(max(c + a * a + b * b, 0.0)))
