"""`time`: how long a machine takes for a program, with acceleration, corners and look-ahead."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from pathgen.model.arrays import FloatArray, frozen_like
from pathgen.model.machine import Machine
from pathgen.model.motion import RAPID, Motion
from pathgen.motion.pace import pace

_CUT = re.compile(r"CUT [0-9]+ (.+)", re.ASCII)


@dataclass(frozen=True, eq=False, kw_only=True)
class Time:
    """What a program takes, in seconds.

    Attributes:
        total: all of what follows together.
        feed: feed moves.
        rapid: rapids.
        dwell: G4.
        change: tool changes.
        spin: spindle starts, as far as no dwell waits for them.
        by_cut: name of each cut to its moves and dwells, in order; what comes before the first cut is in none.
        by_tool: T number to the moves and dwells made with it, in order of first use.
        moves: (n,) seconds of each move.
        stops: lines of M0, M1 and M60; how long someone takes there is not counted.
        uncounted: lines of moves that are not counted, since the program does not say where they begin or end.
        loads: the program itself puts in its first tool, by M6 before any feed move.
    """

    total: float
    feed: float
    rapid: float
    dwell: float
    change: float
    spin: float
    by_cut: Mapping[str, float]
    by_tool: Mapping[int, float]
    moves: FloatArray
    stops: tuple[int, ...] = field(default=())
    uncounted: tuple[int, ...] = field(default=())
    loads: bool = False

    def __str__(self) -> str:
        parts = [
            f"{words} {clock(value)}"
            for words, value in (
                ("cutting", self.feed),
                ("rapids", self.rapid),
                ("dwells", self.dwell),
                ("tool changes", self.change),
                ("spindle starts", self.spin),
            )
            if value >= 0.5
        ]
        text = clock(self.total) + (f" ({', '.join(parts)})" if parts else "")
        if self.stops:
            text += f"; {len(self.stops)} stop{'s' * (len(self.stops) > 1)} not counted"
        return text


def clock(value: float) -> str:
    """Return seconds in words.

    >>> clock(3725.2), clock(65), clock(7.26)
    ('1 h 2 min 5 s', '1 min 5 s', '7.3 s')
    """
    if value < 10:
        return f"{value:.1f} s"
    whole = round(value)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min {rest} s"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def time(motion: Motion, machine: Machine) -> Time:
    """Return how long `machine` takes for a program.

    Every move runs as fast as its feed (rapids: the rapid speed), every axis' own top speed and acceleration allow,
    arcs by their centripetal acceleration; corners are rounded by `machine.corner_tolerance` (also in exact path
    mode G61; G61.1 stands still at every joint); braking looks ahead over the whole program. At dwells, tool
    changes, stops and spindle words the machine stands still. Dwells count as written, a tool change takes
    `machine.change_time` (also one by hand at a stop, seen by its T word), a spindle start waits
    `machine.spin_up` less the dwells that follow it.

    Args:
        motion: from `read_program`.
        machine: limits in mm/min and mm/s2.
    """
    moves = motion.moves
    run = pace(motion, machine)
    each = run.seconds()
    rapid = float(each[moves.kind == RAPID].sum())
    feed = float(each.sum()) - rapid
    dwell, change, spin = _waits(motion, machine)
    return Time(
        total=feed + rapid + dwell + change + spin,
        feed=feed,
        rapid=rapid,
        dwell=dwell,
        change=change,
        spin=spin,
        by_cut=MappingProxyType(_by_cut(motion, each)),
        by_tool=MappingProxyType(_by_tool(motion, each)),
        moves=frozen_like(each, np.float64),
        stops=tuple(e.line for e in motion.events if e.kind == "stop"),
        uncounted=tuple(int(line) for line in moves.line[run.unknown]),
        loads=_loads(motion),
    )


def total(times: Sequence[Time], *, change_time: float = 0.0) -> Time:
    """Return several programs run one after the other, as one.

    Args:
        times: of each program, in order.
        change_time: seconds for changing the tool by hand; counted before every program but the first that does
            not put its tool in by itself and begins with another tool than was used last.
    """
    by_cut: dict[str, float] = {}
    by_tool: dict[int, float] = {}
    for one in times:
        for name, value in one.by_cut.items():
            by_cut[name] = by_cut.get(name, 0.0) + value
        for tool, value in one.by_tool.items():
            by_tool[tool] = by_tool.get(tool, 0.0) + value
    last = [next(reversed(t.by_tool), 0) for t in times]
    first = [next(iter(t.by_tool), 0) for t in times]
    by_hand = change_time * sum(
        not t.loads and (was != now or not now) for t, was, now in zip(times[1:], last, first[1:], strict=False)
    )
    return Time(
        total=sum(t.total for t in times) + by_hand,
        feed=sum(t.feed for t in times),
        rapid=sum(t.rapid for t in times),
        dwell=sum(t.dwell for t in times),
        change=sum(t.change for t in times) + by_hand,
        spin=sum(t.spin for t in times),
        by_cut=MappingProxyType(by_cut),
        by_tool=MappingProxyType(by_tool),
        moves=frozen_like(np.concatenate([t.moves for t in times]) if times else np.empty(0), np.float64),
        stops=tuple(line for t in times for line in t.stops),
        uncounted=tuple(line for t in times for line in t.uncounted),
        loads=bool(times) and times[0].loads,
    )


def _waits(motion: Motion, machine: Machine) -> tuple[float, float, float]:
    """Return seconds of dwells, tool changes, and spindle starts that no dwell waits for."""
    dwell = change = spin = 0.0
    turning, pending, index = False, 0.0, -1
    for e in motion.events:
        if pending and e.index != index:
            spin, pending = spin + pending, 0.0
        if e.kind == "dwell":
            dwell += e.value
            pending = max(0.0, pending - e.value)
        elif e.kind == "tool":
            change += machine.change_time
        elif e.kind == "spindle":
            if e.value and not turning and machine.spindle == "program":
                pending, index = machine.spin_up, e.index
            elif not e.value:
                pending = 0.0
            turning = bool(e.value)
    if not any(e.kind == "tool" for e in motion.events):
        tool = motion.moves.tool[motion.moves.tool > 0]
        change = machine.change_time * float(np.count_nonzero(np.diff(tool)))
    return dwell, change, spin + pending


def _loads(motion: Motion) -> bool:
    feeds = np.flatnonzero(motion.moves.kind != RAPID)
    first = int(feeds[0]) if len(feeds) else len(motion.moves)
    return any(e.kind == "tool" and e.index <= first for e in motion.events)


def _by_cut(motion: Motion, each: FloatArray) -> dict[str, float]:
    names = [(e.index, m.group(1).strip()) for e in motion.events if e.kind == "comment" and (m := _CUT.match(e.text))]
    found: dict[str, float] = {}
    if not names:
        return found
    begins = [index for index, _ in names]
    sums = _parts(each, begins)
    for (_, name), value in zip(names, sums, strict=True):
        found[name] = found.get(name, 0.0) + value
    at = -1
    for e in motion.events:
        if e.kind == "comment" and _CUT.match(e.text):
            at += 1
        elif e.kind == "dwell" and at >= 0:
            found[names[at][1]] += e.value
    return found


def _by_tool(motion: Motion, each: FloatArray) -> dict[int, float]:
    """Return seconds by tool; a dwell counts for the tool of the move after it, the last ones for the last tool."""
    tool = motion.moves.tool
    if not len(tool):
        return {}
    begins = np.concatenate([[0], np.flatnonzero(np.diff(tool)) + 1])
    found: dict[int, float] = {}
    for number, value in zip(tool[begins].tolist(), _parts(each, begins.tolist()), strict=True):
        found[number] = found.get(number, 0.0) + value
    for e in motion.events:
        if e.kind == "dwell":
            found[int(tool[min(e.index, len(tool) - 1)])] += e.value
    if not found.get(0, 1.0):
        del found[0]  # rapids from nowhere before the first tool is named
    return found


def _parts(each: FloatArray, begins: list[int]) -> list[float]:
    """Return the sums of `each` from one begin to the next, the last to the end."""
    running = np.concatenate([[0.0], np.cumsum(each)])
    return [float(running[b] - running[a]) for a, b in pairwise([*begins, len(each)])]
