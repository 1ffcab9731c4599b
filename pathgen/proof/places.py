"""Places where the part is not what was asked: the worst of them, how far off, and which stroke made them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid
from pathgen.proof.setting import Setting
from pathgen.proof.sweep import Field, lowest_strokes

APART: Final = 10.0
"""Findings of one kind and cut nearer than this are one, mm."""

SAMPLED: Final = 40
"""Samples looked at for the worst of one place."""

MOST_SAMPLES: Final = 200_000
"""Samples that places are chosen from: beyond that only those at half the worst or more."""

FARTHEST: Final = 100
"""Samples looked at to each side for the nearest asked surface: further away no wall makes a miss smaller."""

MOST: Final = 5
"""Places listed for one kind of finding and cut."""

TEXTS: Final = {
    "gouge": "The part is cut {:.3f} mm too deep.",
    "residual": "{:.3f} mm are left standing.",
    "gouge-hidden": "Cut {:.3f} mm deeper than asked, where a later cut goes deeper anyway.",
    "left-for-next": "{:.3f} mm are left standing that the next tool then meets.",
}


@dataclass(frozen=True, kw_only=True)
class Miss:
    """A place where the part is not where it was asked.

    Attributes:
        amount: mm, > 0.
        where: (x, y, z), mm.
        stroke: index of the stroke that made it, or -1 where that is not known.
        cut: index of the cut that is to blame, or -1.
    """

    amount: float
    where: tuple[float, float, float]
    stroke: int = -1
    cut: int = -1


def worst_places(
    over: Any, cut: Field, grid: Grid, asked: Any, sign: float, *, least: float, blame: int = -1
) -> Iterator[Miss]:
    """Yield the worst places of a field of amounts, no two near one another.

    Args:
        over: amounts, mm, by the slope at each sample.
        cut: the part.
        grid: its samples.
        asked: the asked surface.
        sign: 1 where the part is too low, -1 where it is too high.
        least: amounts up to this are looked at only where nothing is worse, mm.
        blame: index of the cut that made them.
    """
    largest = float(over.max()) if over.size else 0.0
    if largest <= 0:
        return
    rows, columns = np.nonzero(over >= min(largest, least))
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
        where = (float(x[j]), float(y[j]), float(cut[rows[j], columns[j]]))
        yield Miss(amount=amounts[best], where=where, cut=blame)


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


def told(s: Setting, code: str, misses: Sequence[Miss], limit: float) -> Iterator[Finding]:
    """Yield one finding for each place and cut where more than `limit` was measured, the worst first.

    At most twice `MOST` places, but each cut's worst in any case.
    """
    seen: list[tuple[FloatArray, int]] = []
    for miss in sorted(misses, key=lambda m: -m.amount):
        if miss.amount <= limit:
            return
        here = np.array(miss.where[:2])
        if any(np.hypot(*(here - at)) < APART and (cut == miss.cut or -1 in (cut, miss.cut)) for at, cut in seen):
            continue
        if len(seen) >= 2 * MOST and any(cut == miss.cut for _, cut in seen):
            continue
        seen.append((here, miss.cut))
        place: dict[str, Any] = {"where": miss.where, "amount": miss.amount}
        stroke = miss.stroke
        if stroke < 0 and code.startswith("gouge"):
            stroke = cutter_at(s, miss)
        if stroke >= 0:
            known = s.place(int(s.strokes.move[stroke]))
            place |= {k: known[k] for k in ("line", "cut", "program")}
        if 0 <= miss.cut < len(s.names):
            place["cut"] = s.names[miss.cut]
        yield finding(code, TEXTS[code].format(miss.amount), **place)


def cutter_at(s: Setting, miss: Miss) -> int:
    """Return the stroke that cut lowest at a place, the last of equals, of the blamed cut if one is; -1 where none."""
    own = np.arange(len(s.strokes)) if miss.cut < 0 else np.flatnonzero(s.strokes.cut == miss.cut)
    if not len(own):
        return -1
    low = lowest_strokes(s.strokes[own], s.tools, miss.where[0], miss.where[1])
    best = float(low.min())
    return int(own[np.flatnonzero(low <= best + 1e-6)[-1]]) if np.isfinite(best) else -1
