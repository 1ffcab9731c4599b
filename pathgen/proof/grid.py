"""A rectangle of samples over the stock, and areas filled into it.

Terminology
-----------
sample
    One point of a square grid at which heights are known exactly. Sample (row, column) lies at
    (x0 + column * pixel, y0 + row * pixel); row 0 has the lowest y.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.model.arrays import FloatArray

Mask: TypeAlias = NDArray[np.bool_]

SHIFT = (0.382, 0.618)
"""Where the first sample lies within its pixel, in steps: the golden section, so that samples fall on no wall drawn
at a round coordinate. At (0.5, 0.5) float noise decides on which side of a wall a sample is."""


BAND = 4_000_000
"""Samples filled at a time: bounds the memory that large areas take."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Samples over a rectangle.

    Attributes:
        x0: x of column 0, mm.
        y0: y of row 0, mm.
        pixel: distance of neighbours, mm.
        rows: number of rows.
        columns: number of columns.
    """

    x0: float
    y0: float
    pixel: float
    rows: int
    columns: int

    @classmethod
    def over(cls, width: float, height: float, pixel: float) -> Grid:
        """Return the grid over a stock whose lower left corner is (0, 0), shifted off its corner by `SHIFT`."""
        x0, y0 = SHIFT[0] * pixel, SHIFT[1] * pixel
        return cls(
            x0=x0,
            y0=y0,
            pixel=pixel,
            rows=max(1, math.ceil((height - y0) / pixel)),
            columns=max(1, math.ceil((width - x0) / pixel)),
        )

    @property
    def x(self) -> FloatArray:
        """X of each column, mm."""
        return self.x0 + self.pixel * np.arange(self.columns, dtype=np.float64)

    @property
    def y(self) -> FloatArray:
        """Y of each row, mm."""
        return self.y0 + self.pixel * np.arange(self.rows, dtype=np.float64)

    @property
    def cell(self) -> float:
        """Area that one sample stands for, mm2."""
        return self.pixel * self.pixel

    def span(self, low: Any, high: Any, *, axis: int) -> tuple[Any, Any]:
        """Return (first, end) indices of the samples in [low, high] along x (axis 0) or y (axis 1); arrays too."""
        start, count = (self.x0, self.columns) if axis == 0 else (self.y0, self.rows)
        first = np.clip(np.ceil((np.asarray(low) - start) / self.pixel), 0, count).astype(np.int64)
        end = np.clip(np.floor((np.asarray(high) - start) / self.pixel) + 1, 0, count).astype(np.int64)
        return first, np.maximum(first, end)

    def window(self, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
        """Return (rows, columns) of the samples inside (xmin, ymin, xmax, ymax); empty slices where there are none."""
        if not all(map(math.isfinite, bounds)):
            return slice(0, 0), slice(0, 0)
        c0, c1 = self.span(bounds[0], bounds[2], axis=0)
        r0, r1 = self.span(bounds[1], bounds[3], axis=1)
        return slice(int(r0), int(r1)), slice(int(c0), int(c1))

    def part(self, rows: slice, columns: slice) -> Grid:
        """Return the grid of a window."""
        return Grid(
            x0=self.x0 + columns.start * self.pixel,
            y0=self.y0 + rows.start * self.pixel,
            pixel=self.pixel,
            rows=rows.stop - rows.start,
            columns=columns.stop - columns.start,
        )


def ring_edges(region: Any) -> tuple[FloatArray, FloatArray]:
    """Return starts and ends (n, 2) of all edges of all outlines of `region` (or of its lines), mm."""
    outline = shapely.boundary(region) if shapely.get_dimensions(region) == 2 else region
    xy, owner = shapely.get_coordinates(shapely.get_parts(outline), return_index=True)
    same = owner[1:] == owner[:-1]
    return xy[:-1][same], xy[1:][same]


def inside(region: Any, grid: Grid) -> Mask:
    """Return a mask (rows, columns) of the samples inside `region`: even-odd crossings along each row, exact.

    Samples on an edge count by the half-open rule, so that neighbouring areas share none and miss none.
    """
    mask = np.zeros((grid.rows, grid.columns), dtype=np.bool_)
    if region.is_empty:
        return mask
    rows, columns = grid.window(region.bounds)
    part = grid.part(rows, columns)
    if part.rows == 0 or part.columns == 0:
        return mask
    a, b = ring_edges(region)
    step = max(1, BAND // (part.columns + 1))
    view = mask[rows, columns]
    for top in range(0, part.rows, step):
        band = slice(top, min(top + step, part.rows))
        _fill(a, b, part.part(band, slice(0, part.columns)), view[band])
    return mask


def _fill(a: FloatArray, b: FloatArray, grid: Grid, out: Mask) -> None:
    """Write into `out` which samples of `grid` lie inside the outlines with edges from `a` to `b`."""
    up = a[:, 1] <= b[:, 1]
    low, high = np.where(up[:, None], a, b), np.where(up[:, None], b, a)
    first = np.clip(np.ceil((low[:, 1] - grid.y0) / grid.pixel), 0, grid.rows).astype(np.int64)
    end = np.clip(np.ceil((high[:, 1] - grid.y0) / grid.pixel), 0, grid.rows).astype(np.int64)
    edge, row = expanded(first, end)
    y = grid.y0 + row * grid.pixel
    rise = high[edge, 1] - low[edge, 1]
    x = low[edge, 0] + (y - low[edge, 1]) / rise * (high[edge, 0] - low[edge, 0])
    column = np.clip(np.ceil((x - grid.x0) / grid.pixel), 0, grid.columns).astype(np.int64)
    flips = np.bincount(row * (grid.columns + 1) + column, minlength=grid.rows * (grid.columns + 1))
    odd = (flips & 1).astype(np.uint8).reshape(grid.rows, grid.columns + 1)[:, :-1]
    out[...] = np.bitwise_xor.accumulate(odd, axis=1).view(np.bool_)


def expanded(first: Any, end: Any) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (owner, value) of all whole numbers in the half-open ranges [first, end).

    >>> expanded(np.array([3, 7]), np.array([5, 8]))
    (array([0, 0, 1]), array([3, 4, 7]))
    """
    count = np.maximum(end - first, 0)
    owner = np.repeat(np.arange(len(count)), count)
    value = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    return owner, value


def widened(mask: Mask, steps: int = 1) -> Mask:
    """Return `mask` grown by `steps` samples in all eight directions."""
    out = mask
    for _ in range(steps):
        wide = out.copy()
        wide[:, 1:] |= out[:, :-1]
        wide[:, :-1] |= out[:, 1:]
        tall = wide.copy()
        tall[1:] |= wide[:-1]
        tall[:-1] |= wide[1:]
        out = tall
    return out


def beside_edge(mask: Mask) -> Mask:
    """Return the samples that have some of `mask` and some of the rest among themselves and their neighbours."""
    return widened(mask) & widened(~mask)
