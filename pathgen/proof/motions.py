"""Where a program's moves go: its first one, rapids, depths, the stock's edge, the machine's travel."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.proof.codes import finding
from pathgen.proof.setting import NOISE, STEP, Setting, found
from pathgen.proof.strokes import HIGH

OVER_TOP = 0.5
"""Least height of rapids over the stock's top where no clearance is stated, mm."""

OVER_KEEP_OUTS = 5.0
"""How far above the highest keep-out rapids pass, mm. Common practice, no source."""


def safe_height(s: Setting) -> float:
    """Return the height from which on X and Y may move, mm above the face."""
    highest = max((k.height for k in s.keep_out), default=-np.inf)
    top = s.stock.highest
    return max(s.clearance if s.clearance is not None else top + OVER_TOP, highest + OVER_KEEP_OUTS)


def first_move(s: Setting) -> Iterator[Finding]:
    """Check that the first motion of each program is Z alone up to the clearance height, or to the top of travel."""
    t, safe = s.track, safe_height(s)
    for program in np.unique(t.program):
        row = int(np.flatnonzero(t.program == program)[0])
        moved = ~np.isnan(t.end[row]) & ~(t.end[row] == t.start[row])
        alone = not moved[0] and not moved[1]
        if t.kind[row] != RAPID or not alone or not t.end[row, 2] >= safe - STEP:
            yield finding("first-move", "The first motion is not Z alone up to a safe height.", **s.place(row))


def rapids(s: Setting) -> Iterator[Finding]:
    """Rapids move Z alone or X and Y alone, and cross the stock only at the clearance height."""
    t = s.track
    step = np.nan_to_num(t.end - t.start)
    level = np.hypot(step[:, 0], step[:, 1])
    unknown = np.isnan(t.start[:, :2]).any(axis=1) & ~np.isnan(t.end[:, :2]).any(axis=1)
    rapid = (t.kind == RAPID) & ~t.machine
    both = rapid & ((level > NOISE) | unknown) & (np.abs(step[:, 2]) > NOISE)
    yield from found(s, "rapid-diagonal", both, level, "A rapid moves {:.3f} mm in X and Y together with Z")
    low = np.minimum(t.start[:, 2], t.end[:, 2])
    x0, y0 = np.fmin(t.start[:, 0], t.end[:, 0]), np.fmin(t.start[:, 1], t.end[:, 1])
    x1, y1 = np.fmax(t.start[:, 0], t.end[:, 0]), np.fmax(t.start[:, 1], t.end[:, 1])
    reach = 0.5 * s.tool_table(lambda tool: tool.diameter, 0.0)
    over = (x1 > -reach) & (x0 < s.stock.width + reach) & (y1 > -reach) & (y0 < s.stock.height + reach)
    safe = safe_height(s)
    bad = rapid & ((level > NOISE) | unknown) & over & ~(low >= safe - STEP) & ~np.isnan(low)
    yield from found(
        s,
        "rapid-low",
        bad,
        safe - low,
        "A rapid crosses the stock {:.3f} mm below the safe height of " + f"{safe:g} mm",
    )


def depths(s: Setting) -> Iterator[Finding]:
    """No tool goes deeper than its cutting edges and its stick-out allow."""
    t = s.track
    depth = -np.nan_to_num(t.end[:, 2], nan=HIGH)
    for code, what, value in (
        ("deeper-than-edges", "cutting edges", lambda tool: tool.cutting_length),
        ("deeper-than-stick-out", "stick-out", lambda tool: tool.stick_out),
    ):
        length = s.tool_table(value, np.inf)
        over = depth - length
        yield from found(s, code, over > STEP, over, f"A tool goes {{:.3f}} mm deeper than its {what}")
    if s.lowest is not None:
        board = max(-s.lowest, s.stock.thickness)
        over = depth - board
        yield from found(s, "below-table", over > STEP + 0.01, over, "A tool goes {:.3f} mm deeper than stated")
    else:
        over = depth - s.stock.thickest
        yield from found(s, "below-board", over > STEP, over, "A tool goes {:.3f} mm below the board")


def _span(s: Setting) -> tuple[FloatArray, FloatArray]:
    """Return lowest and highest known (x, y, z) of all moves, arcs included, mm in stock coordinates."""
    t, b = s.track, s.strokes.b
    ends = np.concatenate([t.end[~t.machine], t.start[~t.machine]])
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for axis in range(3):
        for values in (ends[:, axis], b[:, axis]):
            known = values[~np.isnan(values) & ((values < HIGH) | (axis < 2))]  # the top of travel is no place
            low[axis] = min(low[axis], known.min(initial=np.inf))
            high[axis] = max(high[axis], known.max(initial=-np.inf))
    seen = np.isfinite(low)
    return np.where(seen, low, 0.0), np.where(seen, high, 0.0)


def travel(s: Setting) -> Iterator[Finding]:
    """All moves fit into the machine's travel: as a span, and in place where that is stated."""
    if s.machine is None or not len(s.track):
        return
    low, high = _span(s)
    travel = np.asarray(s.machine.travel, dtype=np.float64)
    for k, axis in enumerate("XYZ"):
        span = high[k] - low[k]
        if span > travel[k] + STEP:
            yield finding(
                "outside-travel", f"{axis} spans {span:.2f} mm, the travel is {travel[k]:g} mm.",
                amount=float(span - travel[k]), **s.place(_row_at(s, k, high[k])),
            )  # fmt: skip
            continue
        if s.at is None or k >= len(s.at):
            continue
        for value, over in ((low[k], -(low[k] + s.at[k])), (high[k], high[k] + s.at[k] - travel[k])):
            if over > STEP and not (k == 2 and len(s.at) < 3):
                yield finding(
                    "outside-travel", f"{axis} leaves the travel by {over:.2f} mm.", amount=float(over),
                    **s.place(_row_at(s, k, value)),
                )  # fmt: skip


def _row_at(s: Setting, axis: int, value: float) -> int:
    gap = np.abs(np.nan_to_num(s.track.end[:, axis], nan=np.inf) - value)
    return int(np.argmin(gap))


def edges(s: Setting) -> Iterator[Finding]:
    """Check that feeds stay over the stock, but for cuts that may leave it."""
    import shapely

    st = s.strokes
    cutting = ~st.rapid & (st.lowest < -STEP) & ~np.isin(st.cut, np.array(sorted(s.open_edges), dtype=np.int64))
    rows = np.flatnonzero(cutting)
    if not len(rows):
        return
    region = s.stock.region
    far = shapely.distance(shapely.points(st.b[rows, :2]), region) if s.stock.outline is not None else _beside(s, rows)
    amount = np.zeros(len(s.track))
    np.maximum.at(amount, st.move[rows], far)
    yield from found(s, "outside-stock", amount > STEP, amount, "A cut runs {:.3f} mm beside the stock")


def _beside(s: Setting, rows: IntArray) -> FloatArray:
    x, y = s.strokes.b[rows, 0], s.strokes.b[rows, 1]
    dx = np.maximum(np.maximum(-x, x - s.stock.width), 0.0)
    dy = np.maximum(np.maximum(-y, y - s.stock.height), 0.0)
    far: FloatArray = np.hypot(dx, dy)
    return far


def cuts_something(s: Setting) -> Iterator[Finding]:
    """Something is cut at all."""
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    below = (s.track.kind != RAPID) & (s.track.end[:, 2] < -NOISE)
    if not below.any() and (len(spins) == 0 or not (spins == 0).any()):
        yield finding("cuts-nothing", "No feed move goes below the face of the stock.")
