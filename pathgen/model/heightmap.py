"""`HeightMap`: heights over a rectangle of the stock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import FloatArray, frozen


@dataclass(frozen=True, eq=False)
class HeightMap:
    """Heights on a square grid.

    Attributes:
        array: float64 (rows, columns), mm, <= 0; row 0 has the lowest y.
        pixel: distance of neighbouring samples, mm.
        origin: (x, y) of the map's lower left corner, mm; samples lie at pixel centers.

    Raises:
        ArgumentError: for heights above 0, NaN, or an array that is not two-dimensional.
    """

    array: FloatArray
    pixel: float
    origin: tuple[float, float] = (0.0, 0.0)

    def __init__(self, array: ArrayLike, *, pixel: float, origin: tuple[float, float] = (0.0, 0.0)) -> None:
        try:
            heights = frozen(array, (None, None))
        except ValueError as err:
            raise ArgumentError(f"a height map is a two-dimensional array of numbers: {err}") from None
        if heights.size == 0 or not np.isfinite(heights).all():
            raise ArgumentError("a height map must hold finite heights only, and at least one")
        if heights.max() > 0:
            raise ArgumentError(f"heights are 0 at the face and negative below; the highest here is {heights.max():g}")
        object.__setattr__(self, "array", heights)
        object.__setattr__(self, "pixel", positive("pixel", pixel))
        object.__setattr__(self, "origin", (float(origin[0]), float(origin[1])))
