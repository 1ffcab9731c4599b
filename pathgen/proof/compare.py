"""The cut part against the design: gouge and residual in mm normal to the asked surface, with their places.

Floors and slopes are compared sample by sample; upright walls, where a height says nothing, by the exact distances of
`pathgen.proof.walls`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.bounds import Kerf
from pathgen.model.findings import Finding
from pathgen.proof.checks import STEP, Setting
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked, Design, design, kerf_region
from pathgen.proof.grid import Grid, Mask, inside
from pathgen.proof.sweep import Field, lowest_strokes
from pathgen.proof.walls import Miss, bridge_gouges, bridge_residuals, wall_gouges, wall_residuals

GOUGE: Final = 0.010
"""Largest depth beyond what was asked, mm: planning 0.004 + arcs 0.005 + rounding 0.001."""

RESIDUAL: Final = 0.020
"""Largest height left within reach, mm."""

APART = 10.0
"""Findings of one kind nearer than this are one, mm."""

SAMPLED = 40
"""Samples looked at for the worst of one place."""

MOST_SAMPLES = 200_000
"""Samples that places are chosen from: beyond that only those at half the worst or more."""

FARTHEST = 100
"""Samples looked at to each side for the nearest asked surface: further away no wall makes a miss smaller."""

MOST = 5
"""Places listed for one kind of finding."""


BAND = 12_000_000
"""Samples of the design held at once; a larger field is compared in bands of rows."""

MARGIN = 16
"""Rows added to each side of a band, so that what lies beside its edge is seen from it."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """What was measured: worst amounts, findings, areas and volumes (see `Proof`).

    Attributes:
        gouge: mm.
        residual: mm.
        findings: places beyond what is owed.
        sizes: areas and volumes by name.
        asked: volume the design takes away, mm3.
        carved: samples cut, without what parts the board.
        lowest: (x, y, z) of the lowest sample where the board is not to be parted.
    """

    gouge: float
    residual: float
    findings: tuple[Finding, ...]
    sizes: dict[str, float]
    asked: float
    carved: Mask
    lowest: tuple[float, float, float]


def measure(s: Setting, asked: Sequence[Asked], cut: Field, grid: Grid, *, before: Field | None = None) -> Measured:
    """Return gouge and residual of the part `cut` against what was asked, over floors, slopes and walls.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut.
        cut: the part, heights in mm.
        grid: its samples.
        before: the stock as it was, where it was not whole.
    """
    gouges = list(_wall_gouges(s, asked))
    residuals = [
        *wall_residuals(s.strokes, s.tools, asked, s.stock.region),
        *bridge_residuals(s.strokes, s.tools, asked),
    ]
    sizes = dict.fromkeys(("gouge_area", "gouge_volume", "residual_area", "residual_volume"), 0.0)
    carved = np.zeros(cut.shape, dtype=np.bool_)
    volume, lowest = 0.0, (0.0, 0.0, 0.0)
    parting = shapely.union_all(
        [kerf_region(r) for _, _, b in asked for r in b.rules if isinstance(r, Kerf) and r.through]
    )
    for rows, core in bands(grid):
        part, here = grid.part(rows, slice(0, grid.columns)), cut[rows]
        wanted = design(asked, part)
        if before is not None:
            np.minimum(wanted.deepest, before[rows], out=wanted.deepest)
        deep, high = _differences(s, wanted, here, part)
        for what, over, limit in (("gouge", deep, GOUGE), ("residual", high, RESIDUAL)):
            bad = over[core] > limit
            sizes[f"{what}_area"] += float(np.count_nonzero(bad)) * grid.cell
            sizes[f"{what}_volume"] += float(over[core][bad].sum(dtype=np.float64)) * grid.cell
        gouges += _places(deep, here, part, wanted.deepest, 1.0)
        residuals += _places(high, here, part, wanted.leave, -1.0)
        volume += removed_volume(wanted.deepest[core], s.stock.thickness, grid)
        kept = (wanted.deepest > -s.stock.thickness + STEP) & ~wanted.wall  # a wall sample may be on either side
        if not parting.is_empty:
            kept &= ~inside(parting, part)  # bridges too: what is left there holds the part and is no face
        low = np.where(kept, here, 0.0)
        carved[rows][core] = (low < -STEP)[core]
        k = int(np.argmin(low))
        if low.flat[k] < lowest[2]:
            r, c = divmod(k, grid.columns)
            lowest = (part.x0 + c * grid.pixel, part.y0 + r * grid.pixel, float(low.flat[k]))
    found = [*_findings(s, asked, "gouge", gouges, GOUGE), *_findings(s, asked, "residual", residuals, RESIDUAL)]
    return Measured(
        gouge=max((m.amount for m in gouges), default=0.0),
        residual=max((m.amount for m in residuals), default=0.0),
        findings=tuple(found),
        sizes=sizes,
        asked=volume,
        carved=carved,
        lowest=lowest,
    )


def bands(grid: Grid) -> Iterator[tuple[slice, slice]]:
    """Yield (rows with a margin, the rows without it counted inside them) so that bands cover the grid once."""
    step = max(4 * MARGIN, BAND // grid.columns)
    for first in range(0, grid.rows, step):
        end = min(first + step, grid.rows)
        low, high = max(first - MARGIN, 0), min(end + MARGIN, grid.rows)
        yield slice(low, high), slice(first - low, end - low)


def removed_volume(heights: Any, thickness: float, grid: Grid) -> float:
    """Return the volume above `heights` down to the board's underside, mm3."""
    return float(np.minimum(-heights, thickness).sum(dtype=np.float64)) * grid.cell


def _differences(s: Setting, wanted: Design, cut: Field, grid: Grid) -> tuple[Any, Any]:
    """Return how much too low and too high each sample is, mm normal to the asked surface."""
    part = None if s.stock.outline is None else inside(s.stock.region, grid)
    deep = (wanted.deepest - cut) * wanted.cosine
    high = (cut - wanted.leave) * wanted.cosine
    for over in (deep, high):
        over[wanted.wall] = 0.0
        if part is not None:
            over[~part] = 0.0
    _beside_walls(wanted, cut, deep, high, part)
    return deep, high


def _wall_gouges(s: Setting, asked: Sequence[Asked]) -> Iterator[Miss]:
    x0, y0, x1, y1 = s.stock.region.bounds
    far = 1000.0
    outside = shapely.box(x0 - far, y0 - far, x1 + far, y1 + far).difference(s.stock.region)
    yield from wall_gouges(s.strokes, s.tools, asked, outside)
    yield from bridge_gouges(s.strokes, s.tools, asked)


def _beside_walls(wanted: Design, cut: Field, deep: Any, high: Any, part: Any) -> None:
    """Beside a wall, compare with the lowest and highest of what is asked within one sample, in place.

    How far the wall is off is measured elsewhere; a floor that is too low or too high is seen here right up to it.
    """
    rows, columns = np.nonzero(wanted.wall if part is None else wanted.wall & part)
    if not len(rows):
        return
    height = cut[rows, columns]
    low = _around(wanted.deepest, rows, columns, np.minimum)
    most = _around(wanted.leave, rows, columns, np.maximum)
    deep[rows, columns] = np.maximum(low - height, 0.0)
    high[rows, columns] = np.maximum(height - most, 0.0)


def _around(values: Any, rows: IntArray, columns: IntArray, choose: Any) -> Any:
    best = values[rows, columns]
    for dr in (-1, 0, 1):
        r = np.clip(rows + dr, 0, values.shape[0] - 1)
        for dc in (-1, 0, 1):
            best = choose(best, values[r, np.clip(columns + dc, 0, values.shape[1] - 1)])
    return best


def _places(over: Any, cut: Field, grid: Grid, asked: Any, sign: float) -> Iterator[Miss]:
    """Yield the worst places of a field of amounts, no two near one another.

    Args:
        over: amounts, mm, by the slope at each sample.
        cut: the part.
        grid: its samples.
        asked: the asked surface.
        sign: 1 where the part is too low, -1 where it is too high.
    """
    largest = float(over.max()) if over.size else 0.0
    if largest <= 0:
        return
    rows, columns = np.nonzero(over >= min(largest, GOUGE))
    if len(rows) > MOST_SAMPLES:
        rows, columns = np.nonzero(over >= 0.5 * largest)
    order = np.argsort(-over[rows, columns], kind="stable")[:MOST_SAMPLES]
    rows, columns = rows[order], columns[order]
    size = over[rows, columns]
    x, y = grid.x0 + columns * grid.pixel, grid.y0 + rows * grid.pixel
    free = np.ones(len(rows), dtype=np.bool_)
    for _ in range(MOST):
        if not free.any():
            return
        k = int(np.argmax(free))
        near = free & (np.hypot(x - x[k], y - y[k]) <= APART)
        free &= ~near
        # beside a wall the deepest samples are the nearest to it, so those further off are looked at too
        looked = np.concatenate([_some(np.flatnonzero(near & (size >= 0.98 * size[k]))), _some(np.flatnonzero(near))])
        amounts = [_normal(float(size[j]), cut, asked, int(rows[j]), int(columns[j]), grid.pixel, sign) for j in looked]
        best = int(np.argmax(amounts))
        j = looked[best]
        yield Miss(amount=amounts[best], where=(float(x[j]), float(y[j]), float(cut[rows[j], columns[j]])))


def _some(indices: IntArray) -> IntArray:
    """Return about `SAMPLED` of `indices`, evenly, the first among them."""
    return indices[:: max(1, len(indices) // SAMPLED)]


def _normal(amount: float, cut: Field, asked: Any, row: int, column: int, pixel: float, sign: float) -> float:
    """Return how far a point is from the asked surface, mm: `amount` by the slope there, or less beside a wall.

    That is the least way to where the asked surface is at the height of the point or beyond it.
    """
    n = int(np.ceil(amount / pixel))
    if n <= 1:
        return amount
    n = min(n, FARTHEST)
    r0, c0 = max(row - n, 0), max(column - n, 0)
    window = asked[r0 : row + n + 1, c0 : column + n + 1]
    y = (np.arange(window.shape[0]) + r0 - row) * pixel
    x = (np.arange(window.shape[1]) + c0 - column) * pixel
    up = np.maximum(sign * (window - cut[row, column]), 0.0)
    away = np.sqrt(x[None, :] ** 2 + y[:, None] ** 2 + up * up)
    return min(amount, float(away.min()))


def _findings(s: Setting, asked: Sequence[Asked], code: str, misses: Sequence[Miss], limit: float) -> Iterator[Finding]:
    """Yield one finding for each place where more than `limit` was measured."""
    told: list[FloatArray] = []
    for miss in sorted(misses, key=lambda m: -m.amount):
        here = np.array(miss.where[:2])
        if miss.amount <= limit or any(np.hypot(*(here - other)) < APART for other in told):
            continue
        told.append(here)
        place: dict[str, Any] = {"where": miss.where, "amount": miss.amount}
        stroke = miss.stroke if miss.stroke >= 0 or code == "residual" else _cutter_at(s, miss)
        if stroke >= 0:
            known = s.place(int(s.strokes.move[stroke]))
            place |= {k: known[k] for k in ("line", "cut", "program")}
        elif miss.cut >= 0:
            place["cut"] = asked[miss.cut][0]
        text = "The part is cut {:.3f} mm too deep." if code == "gouge" else "{:.3f} mm are left standing."
        yield finding(code, text.format(miss.amount), **place)
        if len(told) >= 2 * MOST:
            return


def _cutter_at(s: Setting, miss: Miss) -> int:
    """Return the stroke that cut lowest at a place, the last of equals; -1 where none did."""
    if not len(s.strokes):
        return -1
    low = lowest_strokes(s.strokes, s.tools, miss.where[0], miss.where[1])
    best = float(low.min())
    return int(np.flatnonzero(low <= best + 1e-6)[-1]) if np.isfinite(best) else -1
