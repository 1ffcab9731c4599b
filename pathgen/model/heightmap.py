"""`HeightMap`: heights over a rectangle of the stock."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import FloatArray, frozen
from pathgen.model.stock import Stock


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

    @property
    def digest(self) -> str:
        """A short name, the same for the same heights in the same place only."""
        place = f"{self.array.shape} {self.pixel!r} {self.origin!r} ".encode()
        return hashlib.sha256(place + self.array.tobytes()).hexdigest()


def check_cut_stock(after: Any, stock: Stock, grid: float | None) -> None:
    """Raise `ArgumentError` unless `after` is a height map over all of `stock`, of step `grid` where given, mm."""
    if not isinstance(after, HeightMap):
        raise ArgumentError(f"stock_after is a {type(after).__name__}: give the .height of an earlier proof")
    rows, columns = after.array.shape
    near = 1.5 * after.pixel
    far = [
        abs(n * after.pixel + o - size)
        for n, o, size in zip((columns, rows), after.origin, (stock.width, stock.height), strict=True)
    ]
    if max(*far, *(abs(o) for o in after.origin)) > near:
        raise ArgumentError(
            f"stock_after is a map of {columns * after.pixel:.1f} x {rows * after.pixel:.1f} mm, the stock measures "
            f"{stock.width:g} x {stock.height:g} mm: give the .height of a proof on this same stock"
        )
    if grid is not None and abs(grid - after.pixel) > 1e-9:
        raise ArgumentError(
            f"grid={grid:g} differs from the step of stock_after, {after.pixel:g} mm: leave grid out, or prove the "
            "earlier job with the same grid"
        )
