"""Exact distance from samples of a grid to an outline, straight from its edges and independent of any medial axis.

Terminology
-----------
block
    A square of `BLOCK` x `BLOCK` samples. An edge that is nearest to any sample of a block is no further from the
    block's middle than the nearest edge to that middle plus the block's diagonal (triangle inequality), so only those
    edges are looked at.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.proof.grid import Grid, Mask, ring_edges

BLOCK = 6
"""Samples along a block's side. Larger: more edges for each sample; smaller: more blocks to look up."""

BATCH = 400_000
"""Pairs of sample and edge worked on at a time."""


class Outline:
    """The edges of a region, ready to be asked for distances.

    Args:
        region: Polygon, MultiPolygon or lines, mm.
    """

    def __init__(self, region: Any) -> None:
        self.a, self.b = ring_edges(region)
        self.tree = STRtree(shapely.linestrings(np.stack([self.a, self.b], axis=1)))

    def distance(self, points: FloatArray, *, limit: float | None = None) -> FloatArray:
        """Return the distance (n,) of `points` (n, 2) from the outline, mm; inf where there is none within `limit`."""
        out = np.full(len(points), np.inf)
        if len(self.a) and len(points):
            (index, _), found = self.tree.query_nearest(
                shapely.points(points), max_distance=limit, return_distance=True, all_matches=False
            )
            out[index] = found
        return out

    def over(self, grid: Grid, wanted: Mask, *, limit: float = np.inf) -> FloatArray:
        """Return the distance at each `wanted` sample, mm, at most `limit`; inf elsewhere."""
        out = np.full((grid.rows, grid.columns), np.inf)
        out[wanted] = limit
        if not len(self.a) or not wanted.any():
            return out
        br, bc = _blocks(wanted)
        half = 0.5 * (BLOCK - 1) * grid.pixel
        diagonal = float(np.hypot(half, half)) + 1e-9
        middle = np.column_stack([grid.x0 + bc * BLOCK * grid.pixel + half, grid.y0 + br * BLOCK * grid.pixel + half])
        reach = limit + diagonal if np.isfinite(limit) else None
        found, near = self.tree.query_nearest(
            shapely.points(middle), max_distance=reach, return_distance=True, all_matches=False
        )
        block = found[0]
        pairs, edge = self.tree.query(
            shapely.points(middle[block]), predicate="dwithin", distance=near + 2.0 * diagonal
        )
        padded = np.full((_up(grid.rows), _up(grid.columns)), np.inf)
        self._evaluate(padded, grid, br[block], bc[block], pairs, edge)
        distance = padded[: grid.rows, : grid.columns]
        np.minimum(out, distance, out=out, where=wanted)
        return out

    def _evaluate(
        self, padded: FloatArray, grid: Grid, br: IntArray, bc: IntArray, pairs: IntArray, edge: IntArray
    ) -> None:
        order = np.argsort(pairs, kind="stable")
        pairs, edge = pairs[order], edge[order]
        offset = np.arange(BLOCK) * grid.pixel
        view = padded.reshape(padded.shape[0] // BLOCK, BLOCK, padded.shape[1] // BLOCK, BLOCK)
        starts = np.flatnonzero(np.diff(pairs, prepend=-1))
        step = BATCH // (BLOCK * BLOCK)
        for k in range(0, len(starts), step):
            begin = starts[k]
            end = starts[k + step] if k + step < len(starts) else len(pairs)
            # batches by blocks, each split again by pairs so that memory stays bounded
            for low in range(begin, end, 4 * step):
                high = min(low + 4 * step, end)
                own, e = pairs[low:high], edge[low:high]
                x = grid.x0 + bc[own] * BLOCK * grid.pixel
                y = grid.y0 + br[own] * BLOCK * grid.pixel
                square = _squared(self.a[e], self.b[e], x[:, None] + offset, y[:, None] + offset)
                heads = np.flatnonzero(np.diff(own, prepend=-1))
                least = np.sqrt(np.minimum.reduceat(square, heads, axis=0))
                rows, columns = br[own[heads]], bc[own[heads]]
                view[rows, :, columns, :] = np.minimum(view[rows, :, columns, :], least)


def _squared(a: FloatArray, b: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return squared distances (n, rows, columns) of points (x[n, columns], y[n, rows]) from edges a to b (n, 2)."""
    d = b - a
    length2 = np.maximum(np.einsum("ij,ij->i", d, d), 1e-30)
    px, py = x - a[:, :1], y - a[:, 1:]
    t = (px * (d[:, :1] / length2[:, None]))[:, None, :] + (py * (d[:, 1:] / length2[:, None]))[:, :, None]
    np.clip(t, 0.0, 1.0, out=t)
    ex = px[:, None, :] - t * d[:, 0, None, None]
    ey = py[:, :, None] - t * d[:, 1, None, None]
    out: FloatArray = ex * ex + ey * ey
    return out


def _up(n: int) -> int:
    return -(-n // BLOCK) * BLOCK


def _blocks(wanted: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    padded = np.zeros((_up(wanted.shape[0]), _up(wanted.shape[1])), dtype=np.bool_)
    padded[: wanted.shape[0], : wanted.shape[1]] = wanted
    some = padded.reshape(padded.shape[0] // BLOCK, BLOCK, padded.shape[1] // BLOCK, BLOCK).any(axis=(1, 3))
    rows, columns = np.nonzero(some)
    return rows, columns
