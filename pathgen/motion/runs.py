"""Runs of plain lines carried out: modal values filled forward, moves written as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.motion import ARC, Event
from pathgen.motion.arcs import NOISE, RADIUS_TOLERANCE
from pathgen.motion.bulk import Table
from pathgen.motion.state import AXES, Recorder, State


def may_run(state: State) -> bool:
    """Return whether plain lines mean what `carry_out` takes them to mean."""
    return state.absolute and not state.inverse and state.plane == 17 and (state.motion is None or state.motion <= 3)


@dataclass(frozen=True, eq=False)
class _Filled:
    """The values in force at each line of a run: n lines."""

    mode: IntArray
    feed: FloatArray
    points: FloatArray
    moving: BoolArray
    doubtful: BoolArray


def carry_out(table: Table, begin: int, stop: int, first_line: int, state: State, recorder: Recorder) -> int:
    """Carry out plain lines as far as nothing is wrong with them.

    Args:
        table: lines as columns.
        begin: first row of the run.
        stop: row after its last.
        first_line: line of the text that row 0 is.
        state: is put at the end of what was carried out.
        recorder: gets the moves.

    Returns:
        The row of the first line that the full grammar must look at, or `stop`.
    """
    columns = {k: None if v is None else v[begin:stop] for k, v in table.columns.items()}
    run = _fill(columns, stop - begin, state)
    arcs = np.flatnonzero(run.moving & (run.mode >= 2))
    offsets = np.empty((0, 2))
    if len(arcs):
        offsets = _offsets(columns, arcs, state.unit)
        run.doubtful[arcs[_bad_arcs(run, arcs, offsets, state)]] = True
    n = int(np.argmax(run.doubtful)) if run.doubtful.any() else stop - begin
    if n:
        _remark(table, begin, run.moving[:n], first_line, recorder)
        _record(run, n, arcs[arcs < n], offsets, begin + first_line, state, recorder)
        _keep(run, n, columns["G"], state)
    return begin + n


def _last_set(column: FloatArray | None, before: float, n: int) -> FloatArray:
    """Return the column with gaps filled by the value last set, `before` at the beginning."""
    if column is None:
        return np.full(n, before)
    there = ~np.isnan(column)
    if there.all():
        return column
    index = np.maximum.accumulate(np.where(there, np.arange(n), -1))
    return np.where(index >= 0, column[index], before)


def _fill(columns: dict[str, FloatArray | None], n: int, state: State) -> _Filled:
    """Fill modal values forward and find the lines that want the full grammar's judgement."""
    points = np.empty((n + 1, 3))
    points[0] = state.position
    moving = np.zeros(n, dtype=np.bool_)
    for i, axis in enumerate(AXES):
        column = columns[axis]
        if column is not None:
            moving |= ~np.isnan(column)
            column = column * state.unit
            column += state.zero[i]
        points[1:, i] = _last_set(column, state.position[i], n)
    g = columns["G"]
    mode = _last_set(g, -1.0 if state.motion is None else state.motion, n)
    f = columns["F"]
    feed = _last_set(None if f is None else f * state.unit, state.feed, n)
    doubtful = moving & (mode < 0)
    doubtful |= moving & (mode > 0) & ~(feed > 0)
    if g is not None:
        doubtful |= ~np.isnan(g) & ~moving
    curved = mode >= 2
    centered = _there(columns["I"], n) | _there(columns["J"], n)
    if curved.any() or centered.any():
        flat = _there(columns["X"], n) | _there(columns["Y"], n)
        doubtful |= centered & ~(curved & moving)
        doubtful |= curved & moving & ~(centered & flat)
    return _Filled(mode=mode.astype(np.int64), feed=feed, points=points, moving=moving, doubtful=doubtful)


def _there(column: FloatArray | None, n: int) -> BoolArray:
    return np.zeros(n, dtype=np.bool_) if column is None else ~np.isnan(column)


def _offsets(columns: dict[str, FloatArray | None], arcs: IntArray, unit: float) -> FloatArray:
    """Return I and J of the arcs, mm; 0 where not given."""
    parts = [np.zeros(len(arcs)) if columns[k] is None else np.nan_to_num(columns[k][arcs]) for k in "IJ"]  # type: ignore[index]
    return np.column_stack(parts) * unit


def _bad_arcs(run: _Filled, arcs: IntArray, offsets: FloatArray, state: State) -> BoolArray:
    """Return the arcs whose radii differ too much, are 0 or not known (the words of `arcs.check_center`)."""
    radius = np.hypot(offsets[:, 0], offsets[:, 1])
    step = run.points[arcs + 1, :2] - run.points[arcs, :2] - offsets
    other = np.hypot(step[:, 0], step[:, 1])
    fine: BoolArray = np.abs(radius - other) <= RADIUS_TOLERANCE[state.unit] + NOISE
    return ~fine | ((radius < NOISE) & (other < NOISE))


def _remark(table: Table, begin: int, moving: BoolArray, first_line: int, recorder: Recorder) -> None:
    """Record the comments of the run's lines."""
    rows = table.comments[:, 0]
    low, high = np.searchsorted(rows, [begin, begin + len(moving)])
    if low == high:
        return
    before = len(recorder) + np.cumsum(moving) - moving
    for row, start, end in table.comments[low:high].tolist():
        words = table.block[start:end].tobytes().decode("utf-8", "surrogatepass")
        recorder.events.append(Event(kind="comment", index=int(before[row - begin]), line=row + first_line, text=words))


def _record(
    run: _Filled, n: int, arcs: IntArray, offsets: FloatArray, line: int, state: State, recorder: Recorder
) -> None:
    moving = run.moving[:n]
    every = bool(moving.all())
    rows = np.arange(n) if every else np.flatnonzero(moving)
    pick = slice(0, n) if every else rows
    view = recorder.room(len(rows))
    view["start"][...] = run.points[:n][pick]
    view["end"][...] = run.points[1 : n + 1][pick]
    mode = run.mode[:n][pick]
    view["kind"][...] = np.minimum(mode, ARC)
    view["center"][...] = np.nan
    view["sweep"][...] = 0.0
    if len(arcs):
        at = np.searchsorted(rows, arcs)
        center = run.points[arcs]
        center[:, :2] += offsets[: len(arcs)]
        view["center"][at] = center
        view["sweep"][at] = np.where(run.mode[arcs] == 3, 1.0, -1.0)
    view["plane"][...] = state.plane
    view["feed"][...] = np.where(mode == 0, 0.0, run.feed[:n][pick])
    view["rpm"][...] = state.rpm
    view["tool"][...] = state.tool
    view["line"][...] = rows + line
    view["machine"][...] = False


def _keep(run: _Filled, n: int, g: FloatArray | None, state: State) -> None:
    """Put the state behind the run."""
    state.position = run.points[n].tolist()
    state.feed = float(run.feed[n - 1])
    if g is not None and not np.isnan(g[:n]).all():
        state.motion = int(run.mode[n - 1])
