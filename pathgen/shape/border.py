"""Borders: the outline of a field round some artwork."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.shape.offset import grown
from pathgen.shape.tolerance import FLATTEN, quad_segs

Kind: TypeAlias = Literal["square", "rounded", "oval", "following"]


def border(shape: Shape, *, margin: float, kind: Kind = "square", radius: float | None = None) -> Polygon:
    """Return the outline of a field round `shape`, as one piece without holes.

    Args:
        shape: artwork or lettering, mm.
        margin: least distance from it, mm.
        kind: "square": its box, wider by the margin on each side; "rounded": the same with round corners; "oval": the
            smallest ellipse with the proportions of that box round it; "following": a line at the margin round the
            artwork itself, its pieces joined.
        radius: of the corners of kind="rounded", mm; None = the margin.

    Raises:
        ArgumentError: for a margin that is not above 0, a radius given for another kind or larger than half of the
            field, or an unknown word.
        DrawingError: for a shape without area.

    >>> round(border(box(0, 0, 30, 10), margin=5).area, 6)
    800.0
    """
    one_of("kind", kind, ("square", "rounded", "oval", "following"))
    positive("margin", margin)
    region = region_of(shape)
    if radius is not None and kind != "rounded":
        raise ArgumentError(f"radius={radius:g} is for kind='rounded' only")
    x0, y0, x1, y1 = region.bounds
    x0, y0, x1, y1 = x0 - margin, y0 - margin, x1 + margin, y1 + margin
    if kind == "square":
        return box(x0, y0, x1, y1)
    if kind == "rounded":
        corner = positive("radius", margin if radius is None else radius)
        if corner > 0.5 * min(x1 - x0, y1 - y0):
            raise ArgumentError(
                f"radius={corner:g} is more than half of the {x1 - x0:.2f} x {y1 - y0:.2f} mm field: give less"
            )
        inner = box(x0 + corner, y0 + corner, x1 - corner, y1 - corner)
        return inner.buffer(corner, quad_segs=quad_segs(corner, FLATTEN))
    if kind == "oval":
        # an ellipse through the box's corners with the box's proportions has sqrt 2 times its half axes
        a, b = (x1 - x0) * math.sqrt(0.5), (y1 - y0) * math.sqrt(0.5)
        turn = 2.0 * math.pi * np.arange(n := 4 * quad_segs(max(a, b), FLATTEN)) / n
        middle = (0.5 * (x0 + x1), 0.5 * (y0 + y1))
        return Polygon(np.column_stack([middle[0] + a * np.cos(turn), middle[1] + b * np.sin(turn)]))
    return _following(region, margin)


def _following(region: shapely.MultiPolygon, margin: float) -> Polygon:
    """Return a line at `margin` round all pieces, the gaps between them closed by as much as it takes."""
    by = margin
    for _ in range(60):
        closed = grown(grown(region, by), margin - by) if by > margin else grown(region, margin)
        if len(closed.geoms) == 1:
            return Polygon(closed.geoms[0].exterior)
        by *= 1.25
    raise ArgumentError(f"margin={margin:g}: the pieces lie too far apart to share one border: give each its own")
