"""What each cut did: which of them went too deep or left something standing, also where a later cut hides it.

Terminology
-----------
stage
    The strokes of one cut, told by the ``CUT`` comments of the programs. After a stage the part is held against what
    was asked of all cuts begun by then; what the cut itself owes is owed at its end.
hidden gouge
    A cut goes deeper than was asked of the cuts so far, and a later cut goes there anyway: the part comes out right,
    but the tool took more than planned. A warning.
left for the next
    A cut leaves what it owed, and a later cut takes it away: the part comes out right, but the later tool runs into
    more than it was planned for and may break. An error.

Only where cuts overlap can these be hidden, so only there is the part looked at stage by stage; elsewhere the finished
part says it all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.bounds import Bounds, Bridge, Groove
from pathgen.model.tool import EndMill, VBit
from pathgen.proof.design import Asked, Design, design, rule_region
from pathgen.proof.grid import Grid, Mask, inside
from pathgen.proof.places import Miss, worst_places
from pathgen.proof.report import CutResult
from pathgen.proof.setting import STEP, Setting
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import Field, profile_of, sweep
from pathgen.proof.walls import lines_of

SEEN: Final = 0.0005
"""Amounts below this are single precision and rounding, mm; nothing is made of them."""

MEETS: Final = 0.05
"""What one cut may take from or leave to another, mm, before it is told: a tool bears that."""

BAND: Final = 4_000_000
"""Samples looked at together, stage by stage: bounds the memory of large windows."""


class Tally:
    """Worst amounts, areas and volumes of each cut; the last slot of each array is for what no cut is to blame for."""

    def __init__(self, cuts: int) -> None:
        self.worst = {what: np.zeros(cuts + 1) for what in ("gouge", "residual", "hidden", "early")}
        self.area = {what: np.zeros(cuts + 1) for what in ("gouge", "residual")}
        self.volume = {what: np.zeros(cuts + 1) for what in ("gouge", "residual")}

    def small(self, what: str, over: Any, owner: Any, limit: float) -> None:
        """Note amounts within the limit, by the cut whose request holds at each sample."""
        rows = (over > SEEN) & (over <= limit)
        np.maximum.at(self.worst[what], owner[rows], over[rows])

    def missed(self, what: str, misses: Sequence[Miss]) -> None:
        """Note places beyond the limit, and those between samples."""
        for miss in misses:
            self.worst[what][miss.cut] = max(self.worst[what][miss.cut], miss.amount)

    def spread(self, what: str, cut: int, over: Any, cell: float) -> None:
        """Note area and volume of amounts beyond the limit that a cut is to blame for."""
        self.area[what][cut] += over.size * cell
        self.volume[what][cut] += float(over.sum(dtype=np.float64)) * cell

    def results(self, s: Setting) -> tuple[CutResult, ...]:
        """Return a value for each asked cut, in order."""
        return tuple(
            CutResult(
                name=name,
                lines=_lines(s, k),
                **{what: float(values[k]) for what, values in self.worst.items()},
                **{f"{what}_area": float(values[k]) for what, values in self.area.items()},
                **{f"{what}_volume": float(values[k]) for what, values in self.volume.items()},
            )
            for k, name in enumerate(s.names)
        )


def _lines(s: Setting, cut: int) -> tuple[tuple[str, int, int], ...]:
    """Return (program, first line, last line) of a cut's moves."""
    rows = np.flatnonzero(s.track.cut == cut)
    programs, lines = s.track.program[rows], s.track.line[rows]
    return tuple(
        (str(int(p) + 1), int(lines[programs == p].min()), int(lines[programs == p].max())) for p in np.unique(programs)
    )


# -- whom to blame in the finished part --------------------------------------------------------------------------


def box_of(bad: Mask) -> tuple[slice, slice]:
    """Return the window around all that is set."""
    rows, columns = np.flatnonzero(bad.any(axis=1)), np.flatnonzero(bad.any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def reach_of(strokes: Strokes, s: Setting) -> FloatArray:
    """Return how far from its line each stroke cuts the face, mm."""
    reach = np.zeros(len(strokes))
    for number in np.unique(strokes.tool):
        tool = s.tools.get(int(number))
        profile = None if tool is None else profile_of(tool)
        if profile is not None:
            own = strokes.tool == number
            reach[own] = profile.reach(np.maximum(-strokes.lowest[own], 0.0))
    return reach


def near(strokes: Strokes, s: Setting, grid: Grid) -> Strokes:
    """Return the strokes whose tool comes over a grid below the face."""
    reach = reach_of(strokes, s)
    low = np.minimum(strokes.a, strokes.b)[:, :2] - reach[:, None]
    high = np.maximum(strokes.a, strokes.b)[:, :2] + reach[:, None]
    x1, y1 = grid.x0 + grid.columns * grid.pixel, grid.y0 + grid.rows * grid.pixel
    here = (low[:, 0] < x1) & (high[:, 0] > grid.x0) & (low[:, 1] < y1) & (high[:, 1] > grid.y0)
    return strokes[here & (strokes.lowest < 0)]


def blamed_gouges(s: Setting, bad: Mask, part: Field, grid: Grid) -> Iterator[tuple[int, Mask]]:
    """Yield (cut, where it cut lowest) for the samples where the part is too deep; -1 for strokes of no cut."""
    rows, columns = box_of(bad)
    sub, low, wrong = grid.part(rows, columns), part[rows, columns], bad[rows, columns]
    left = wrong.copy()
    strokes = near(s.strokes, s, sub)
    for cut in np.unique(strokes.cut):
        own = wrong & (sweep(strokes[strokes.cut == cut], s.tools, sub) <= low + 1e-4)
        left &= ~own
        if own.any():
            yield int(cut) if cut < len(s.names) else -1, _placed(own, bad, rows, columns)
    if left.any():
        yield -1, _placed(left, bad, rows, columns)


def blamed_residuals(
    asked: Sequence[Asked], bad: Mask, part: Field, grid: Grid, limit: float
) -> Iterator[tuple[int, Mask]]:
    """Yield (cut, where it owes by its own bounds) for the samples where something is left standing."""
    rows, columns = box_of(bad)
    left = bad.copy()
    x0, y0 = grid.x0 + columns.start * grid.pixel, grid.y0 + rows.start * grid.pixel
    x1, y1 = grid.x0 + columns.stop * grid.pixel, grid.y0 + rows.stop * grid.pixel
    for cut, one in enumerate(asked):
        region = _region(one[2])
        if region.is_empty:
            continue
        bounds = region.bounds
        window = grid.window((max(bounds[0], x0), max(bounds[1], y0), min(bounds[2], x1), min(bounds[3], y1)))
        if not bad[window].any():
            continue
        own = design([one], grid.part(*window))
        owes = bad[window] & ((part[window] - own.leave) * own.cosine > limit)
        if owes.any():
            left[window] &= ~owes
            yield cut, _placed(owes, bad, *window)
    if left.any():
        yield -1, left


def _placed(own: Mask, whole: Mask, rows: slice, columns: slice) -> Mask:
    out = np.zeros(whole.shape, dtype=np.bool_)
    out[rows, columns] = own
    return out


def _region(bounds: Bounds) -> Any:
    return shapely.union_all([rule_region(r) for r in bounds.rules if not isinstance(r, Bridge)])


# -- what later cuts hide ----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, kw_only=True)
class Stages:
    """When each cut runs.

    Attributes:
        first: (n,) index of its first stroke.
        last: (n,) index after its last one.
        region: (n,) where its rules speak, mm.
    """

    first: IntArray
    last: IntArray
    region: Any


def stages(s: Setting, asked: Sequence[Asked]) -> Stages | None:
    """Return when each cut runs, None where the programs do not say; one that is not named ends before the next."""
    n = len(asked)
    known = (s.strokes.cut >= 0) & (s.strokes.cut < n)
    if n < 2 or not known.any():
        return None
    first, last = np.full(n, len(s.strokes)), np.zeros(n, dtype=np.int64)
    index = np.flatnonzero(known)
    np.minimum.at(first, s.strokes.cut[index], index)
    np.maximum.at(last, s.strokes.cut[index], index + 1)
    for k in range(n - 1, -1, -1):
        if last[k] == 0:
            first[k] = last[k] = first[k + 1] if k + 1 < n else len(s.strokes)
    return Stages(first=first, last=last, region=np.array([_region(b) for _, _, b in asked], dtype=object))


def after_each(
    s: Setting, asked: Sequence[Asked], part: Field, grid: Grid, *, before: Field | None
) -> tuple[list[Miss], list[Miss]]:
    """Return (hidden gouges, what is left for the next tool), looked for where cuts overlap.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut.
        part: the finished part, heights in mm.
        grid: its samples.
        before: the stock as it was, where it was not whole.
    """
    order = stages(s, asked)
    hidden: list[Miss] = []
    early: list[Miss] = []
    if order is None:
        return hidden, early
    lines = lines_of(s.strokes)
    reach = reach_of(s.strokes, s)
    deep = (s.strokes.lowest < -STEP) & (reach > 0)
    for k in range(len(asked)):
        own = np.flatnonzero(deep & (s.strokes.cut == k))
        later = np.flatnonzero(order.first >= order.last[k])
        for j in later[later != k]:
            for window in _overlap(order.region[j], own, lines, reach, grid):
                hidden += _hidden(s, asked, order, k, window, grid, before)
        after = np.arange(order.last[k], len(s.strokes))
        for window in _overlap(order.region[k], after[deep[after]], lines, reach, grid):
            early += _early(s, asked, order, k, window, part, grid, before)
    return hidden, early


def _overlap(region: Any, rows: IntArray, lines: Any, reach: FloatArray, grid: Grid) -> Iterator[tuple[slice, slice]]:
    """Yield windows where strokes come over a region, in bands."""
    if not len(rows) or region.is_empty:
        return
    x0, y0, x1, y1 = region.bounds
    box = shapely.bounds(lines[rows])
    r = reach[rows]
    rows = rows[(box[:, 0] - r < x1) & (box[:, 2] + r > x0) & (box[:, 1] - r < y1) & (box[:, 3] + r > y0)]
    if not len(rows):
        return
    shapely.prepare(region)
    rows = rows[shapely.dwithin(region, lines[rows], reach[rows] - SEEN)]
    if not len(rows):
        return
    box, r = shapely.bounds(lines[rows]), reach[rows]
    low, high = (box[:, :2] - r[:, None]).min(axis=0), (box[:, 2:] + r[:, None]).max(axis=0)
    a, b = grid.window((max(low[0], x0), max(low[1], y0), min(high[0], x1), min(high[1], y1)))
    if b.stop <= b.start:
        return
    step = max(1, BAND // (b.stop - b.start))
    for top in range(a.start, a.stop, step):
        yield slice(top, min(top + step, a.stop)), b


def _hidden(
    s: Setting,
    asked: Sequence[Asked],
    order: Stages,
    k: int,
    window: tuple[slice, slice],
    grid: Grid,
    before: Field | None,
) -> Iterator[Miss]:
    """Yield where cut `k` goes deeper than was asked of the cuts begun by its end, but a later one may go there."""
    sub = grid.part(*window)
    low = sweep(near(s.strokes[s.strokes.cut == k], s, sub), s.tools, sub)
    then = design([one for j, one in enumerate(asked) if order.first[j] < order.last[k] or j == k], sub)
    if before is not None:
        np.minimum(then.deepest, before[window], out=then.deepest)
    over = (then.deepest - low) * then.cosine
    over[then.wall | _off(s, sub)] = 0.0
    if not (over > SEEN).any():
        return
    over[low < design(asked, sub).deepest - STEP] = 0.0  # too deep for all cuts: the finished part shows it
    yield from worst_places(over, low, sub, then.deepest, 1.0, least=MEETS, blame=k)


def _early(
    s: Setting,
    asked: Sequence[Asked],
    order: Stages,
    k: int,
    window: tuple[slice, slice],
    part: Field,
    grid: Grid,
    before: Field | None,
) -> Iterator[Miss]:
    """Yield what cut `k` leaves of what it owes, and a later cut takes away."""
    sub = grid.part(*window)
    own = design([asked[k]], sub)
    owed = _owed(asked[k], own) & ~own.wall & ~_off(s, sub)
    if not owed.any():
        return
    then = np.zeros((sub.rows, sub.columns), dtype=np.float32) if before is None else before[window].copy()
    sweep(near(s.strokes[: int(order.last[k])], s, sub), s.tools, sub, into=then)
    over = (then - own.leave) * own.cosine
    over[~owed | (part[window] > then - MEETS)] = 0.0  # what stays to the end is told of the finished part
    yield from worst_places(over, then, sub, own.leave, -1.0, least=MEETS, blame=k)


def _owed(one: Asked, own: Design) -> BoolArray:
    """Return where a cut by itself owes something: of a groove with a floor the bit owes slopes, the tool the floor."""
    _, tool, bounds = one
    owed: BoolArray = own.leave < -STEP
    for rule in bounds.rules:
        if isinstance(rule, Groove) and rule.floor_diameter is not None:
            floor = own.deepest <= -rule.limit + STEP
            owed &= floor if isinstance(tool, EndMill) else ~floor if isinstance(tool, VBit) else True
    return owed


def _off(s: Setting, grid: Grid) -> Any:
    """Return the samples beside the stock."""
    if s.stock.outline is None:
        return np.zeros((grid.rows, grid.columns), dtype=np.bool_)
    return ~inside(s.stock.region, grid)
