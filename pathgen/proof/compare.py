"""The cut part against the design: gouge and residual in mm normal to the asked surface, with their places.

Floors and slopes are compared sample by sample; upright walls, where a height says nothing, by the exact distances of
`pathgen.proof.walls`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import IntArray
from pathgen.model.bounds import Kerf
from pathgen.model.findings import Finding
from pathgen.proof.design import Asked, Design, design, kerf_region
from pathgen.proof.drawn import drawn_misses, standing_only
from pathgen.proof.grid import Grid, Mask, inside
from pathgen.proof.percut import MEETS, Tally, after_each, blamed_gouges, blamed_residuals
from pathgen.proof.places import Miss, cutter_at, told, worst_places
from pathgen.proof.probes import groove_misses, pillars, strays
from pathgen.proof.report import CutResult
from pathgen.proof.setting import STEP, Setting
from pathgen.proof.sweep import Field
from pathgen.proof.walls import bridge_gouges, bridge_residuals, slanted_gouges, wall_gouges, wall_residuals

GOUGE: Final = 0.010
"""Largest depth beyond what was asked, mm: planning 0.004 + arcs 0.005 + rounding 0.001."""

RESIDUAL: Final = 0.020
"""Largest height left within reach, mm."""

LIMITS: Final = {"gouge": GOUGE, "residual": RESIDUAL}
"""What is beyond these is an error, mm."""

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
        cuts: what each cut did.
        marks: samples beyond the limits, "gouge" and "residual", where there are any.
    """

    gouge: float
    residual: float
    findings: tuple[Finding, ...]
    sizes: dict[str, float]
    asked: float
    carved: Mask
    lowest: tuple[float, float, float]
    cuts: tuple[CutResult, ...]
    marks: dict[str, Mask]


def measure(s: Setting, asked: Sequence[Asked], cut: Field, grid: Grid, *, before: Field | None = None) -> Measured:
    """Return gouge and residual of the part `cut` against what was asked, over floors, slopes and walls.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut.
        cut: the part, heights in mm.
        grid: its samples.
        before: the stock as it was, where it was not whole.
    """
    tally = Tally(len(asked))
    beside, missing = drawn_misses(s, asked)
    asked = standing_only(asked)
    misses = {"gouge": [*beside, *_wall_gouges(s, asked)], "residual": [*missing, *_wall_residuals(s, asked)]}
    if before is None:  # else what was cut before is known on the grid alone
        wide, narrow = groove_misses(s, asked)
        misses["gouge"] += (dataclasses.replace(m, cut=_cut_of(s, m)) for m in (*wide, *strays(s, asked)))
        misses["residual"] += (*narrow, *pillars(s, asked))
    marks: dict[str, Mask] = {}
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
        for what, over in zip(("gouge", "residual"), _differences(s, wanted, here, part), strict=True):
            tally.small(what, over[core], wanted.owner[core], LIMITS[what])
            bad = over > LIMITS[what]
            if bad.any():
                misses[what] += _blamed(s, asked, what, over, bad, here, part, wanted, core, tally)
                marks.setdefault(what, np.zeros(cut.shape, dtype=np.bool_))[rows][core] = bad[core]
        volume += removed_volume(wanted.deepest[core], s.stock.thickness, grid)
        lowest = min(lowest, _carved(s, wanted, here, part, parting, carved[rows], core), key=lambda p: p[2])
    hidden, early = after_each(s, asked, cut, grid, before=before)
    for what, found in (*misses.items(), ("hidden", hidden), ("early", early)):
        tally.missed(what, found)
    codes = (("gouge-hidden", hidden, MEETS), ("left-for-next", early, MEETS))
    return Measured(
        gouge=float(tally.worst["gouge"].max()),
        residual=float(tally.worst["residual"].max()),
        findings=tuple(
            f
            for code, found, limit in (*((w, misses[w], LIMITS[w]) for w in misses), *codes)
            for f in told(s, code, found, limit)
        ),
        sizes={
            f"{what}_{kind}": float(values[what].sum())
            for kind, values in (("area", tally.area), ("volume", tally.volume))
            for what in values
        },
        asked=volume,
        carved=carved,
        lowest=lowest,
        cuts=tally.results(s),
        marks=marks,
    )


def _blamed(
    s: Setting,
    asked: Sequence[Asked],
    what: str,
    over: Any,
    bad: Mask,
    here: Field,
    part: Grid,
    wanted: Design,
    core: slice,
    tally: Tally,
) -> Iterator[Miss]:
    """Yield the worst places of each cut that is to blame, and note areas and volumes."""
    if what == "gouge":
        shares, surface, sign = blamed_gouges(s, bad, here, part), wanted.deepest, 1.0
    else:
        shares, surface, sign = blamed_residuals(asked, bad, here, part, LIMITS[what]), wanted.leave, -1.0
    free = np.ones_like(bad)
    for index, own in _owned(shares, wanted.owner):
        counted = (own & free)[core]  # an area that two cuts are to blame for counts once
        tally.spread(what, index, over[core][counted], part.cell)
        free &= ~own
        amounts = np.where(own, over, np.float32(0.0))
        yield from worst_places(amounts, here, part, surface, sign, least=LIMITS[what], blame=index)


def _owned(shares: Iterable[tuple[int, Mask]], owner: Any) -> Iterator[tuple[int, Mask]]:
    """Yield shares with what nobody is to blame for given to the cut that may go deepest there, if one may."""
    for index, own in shares:
        if index >= 0:
            yield index, own
            continue
        for cut in np.unique(owner[own]):
            yield int(cut), own & (owner == cut)


def _carved(
    s: Setting, wanted: Design, here: Field, part: Grid, parting: Any, carved: Mask, core: slice
) -> tuple[float, float, float]:
    """Note in `carved` what was cut without parting the board; return its lowest place."""
    kept = (wanted.deepest > -s.stock.thickness + STEP) & ~wanted.wall  # a wall sample may be on either side
    if not parting.is_empty:
        kept &= ~inside(parting, part)  # bridges too: what is left there holds the part and is no face
    low = np.where(kept, here, 0.0)
    carved[core] = (low < -STEP)[core]
    r, c = divmod(int(np.argmin(low)), part.columns)
    return part.x0 + c * part.pixel, part.y0 + r * part.pixel, float(low[r, c])


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
    for miss in (
        *wall_gouges(s.strokes, s.tools, asked, outside),
        *slanted_gouges(s.strokes, s.tools, asked, outside),
        *bridge_gouges(s.strokes, s.tools, asked),
    ):
        cut = int(s.strokes.cut[miss.stroke])
        yield dataclasses.replace(miss, cut=cut if cut < len(asked) else -1)


def _cut_of(s: Setting, miss: Miss) -> int:
    """Return the cut whose stroke went lowest at a place; -1 where none says so. Rounding is the asked cut's own."""
    if miss.amount <= GOUGE or miss.stroke >= 0:
        return miss.cut if miss.cut < len(s.names) else -1
    stroke = cutter_at(s, miss)
    cut = int(s.strokes.cut[stroke]) if stroke >= 0 else -1
    return cut if cut < len(s.names) else -1


def _wall_residuals(s: Setting, asked: Sequence[Asked]) -> Iterator[Miss]:
    yield from wall_residuals(s.strokes, s.tools, asked, s.stock.region)
    yield from bridge_residuals(s.strokes, s.tools, asked)


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
