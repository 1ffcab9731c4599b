"""Stops, tool changes and the end: lifted clear, stopped for, said again, and left as it should be."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from pathgen.model.arrays import BoolArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID, Event, Motion
from pathgen.proof.codes import finding
from pathgen.proof.motions import safe_height
from pathgen.proof.setting import NOISE, STEP, Setting, words_only

_STOPS = ("stop", "tool")


def by_hand(s: Setting) -> Iterator[Finding]:
    """Check that a spindle which is switched by hand is off, and said to be, before anyone touches the tool."""
    if s.machine is None or s.machine.spindle != "hand":
        return
    for k, motion, rows in s.programs():
        spins = s.tool_table(lambda tool: tool.spins, np.nan)[rows] == 1
        if not (spins & (s.track.kind[rows] != RAPID)).any():
            continue
        begin = [e for e in motion.events if e.index == 0]
        stop = next((n for n, e in enumerate(begin) if e.kind == "stop"), None)
        said = any(e.kind == "comment" and re.search("unplug", e.text, re.IGNORECASE) for e in begin[: stop or 0])
        if stop is None or not said:
            yield finding(
                "by-hand-no-stop",
                "The program begins without a stop." if stop is None else "No words before the first stop say unplug.",
                line=int(motion.moves.line[0]) if stop is None else begin[stop].line,
                program=s.program_name(k),
            )
        yield from _switched_on(s, motion, rows, spins)


def _switched_on(s: Setting, motion: Motion, rows: IntArray, spins: BoolArray) -> Iterator[Finding]:
    """Check for two stops ahead of each tool: one to put it in, unplugged, one to switch the spindle on."""
    t = s.track
    cutting = np.flatnonzero(spins & (t.kind[rows] != RAPID))
    first = np.concatenate([[0], np.flatnonzero(np.diff(t.tool[rows[cutting]])) + 1])
    for n in first.tolist():
        begin = int(cutting[n - 1]) if n else -1
        halts = [e for e in motion.events if e.kind == "stop" and begin < e.index <= cutting[n]]
        if len(halts) < 2:
            yield finding(
                "by-hand-not-started", "Nothing stops to switch the spindle on before this cut.",
                **s.place(int(rows[cutting[n]])),
            )  # fmt: skip
            return


def changes(s: Setting) -> Iterator[Finding]:
    """Check that something stops for every change of tool, and that lengths or zero are set anew after it."""
    t = s.track
    for _, motion, rows in s.programs():
        tool, feed = t.tool[rows], t.kind[rows] != RAPID
        cutting = np.flatnonzero(feed & (tool != 0))
        turns = np.flatnonzero(np.diff(tool[cutting]) != 0)
        silent, unset = [], []
        for last, first in zip(cutting[turns].tolist(), cutting[turns + 1].tolist(), strict=True):
            between = [e for e in motion.events if last < e.index <= first]
            if not any(e.kind in _STOPS for e in between):
                silent.append(first)
            elif not any(e.kind == "length" and e.value > 0 for e in between):
                unset.append(first)
        if silent:
            was, now = tool[silent[0] - 1], tool[silent[0]]
            words = f"T{now} cuts, and nothing stopped to put it in" + (f" after T{was}" if was != now else "")
            yield finding("change-without-stop", f"{words}.", **s.place(int(rows[silent[0]])))
        if unset and s.machine is not None and not s.machine.dialect.zero_again_at_stop:
            yield finding(
                "zero-not-again", f"T{tool[unset[0]]} cuts at the zero of the tool before it.",
                **s.place(int(rows[unset[0]])),
            )  # fmt: skip


def loaded(s: Setting) -> Iterator[Finding]:
    """Check that a machine which changes tools by itself is told to, before it cuts."""
    if s.machine is None or s.machine.tool_change == "manual":
        return
    for _, motion, rows in s.programs():
        feeds = np.flatnonzero(s.track.kind[rows] != RAPID)
        if len(feeds) and not any(e.kind == "tool" and e.index <= feeds[0] for e in motion.events):
            yield finding("not-loaded", "The program cuts before M6 has put a tool in.", **s.place(int(rows[feeds[0]])))


def lengths_of_others(s: Setting) -> Iterator[Finding]:
    """Check that G43 names the length of the tool in the spindle."""
    for k, motion, rows in s.programs():
        for e in motion.events:
            if e.kind == "length" and e.value > 0 and e.index < len(rows):
                tool = int(s.track.tool[rows[e.index]])
                if tool and tool != int(e.value):
                    yield finding(
                        "own-length" if s.own else "length-other",
                        f"The length H{e.value:g} is applied to T{tool}.", line=e.line, program=s.program_name(k),
                    )  # fmt: skip
                    break


def stops(s: Setting) -> Iterator[Finding]:
    """Check that the tool is lifted clear at stops and changes, and that what holds is said again after them."""
    t, safe = s.track, safe_height(s)
    for k, motion, rows in s.programs():
        feeds = np.flatnonzero(t.kind[rows] != RAPID)
        halts = [e for e in motion.events if e.kind in _STOPS and e.index and len(feeds) and e.index > feeds[0]]
        low = [e for e in halts if _below(s, int(rows[e.index - 1]), safe)]
        spun = _spinning_stop(motion, halts)
        if spun is not None:
            yield finding(
                "stop-spinning", "The program stops while the spindle turns.", line=spun.line,
                program=s.program_name(k),
            )  # fmt: skip
        if low:
            row = int(rows[low[0].index - 1])
            more = f" ({len(low)} stops)" if len(low) > 1 else ""
            yield finding(
                "stop-low", f"The program stops at a height of {t.end[row, 2]:.2f} mm{more}.",
                amount=float(safe - t.end[row, 2]), **{**s.place(row), "line": low[0].line},
            )  # fmt: skip
        yield from _said_again(s, k, motion, rows, feeds)


def _spinning_stop(motion: Motion, halts: list[Event]) -> Event | None:
    """Return the first of these stops at which the spindle is on."""
    turning = 0.0
    for e in motion.events:
        if e.kind == "spindle":
            turning = e.value
        elif e.kind == "stop" and turning and e in halts:
            return e
    return None


def _below(s: Setting, row: int, safe: float) -> bool:
    return bool(s.track.end[row, 2] < safe - STEP)


def _said_again(s: Setting, k: int, motion: Motion, rows: IntArray, feeds: IntArray) -> Iterator[Finding]:
    """Yield a finding where modes, S, F or the position are not stated between a stop and the next feed."""
    by_hand = s.machine is None or s.machine.tool_change == "manual"
    kinds = _STOPS if by_hand else ("stop",)
    short: list[tuple[int, list[str]]] = []
    lines: list[str] = []
    for e in motion.events:
        after = feeds[feeds >= e.index]
        first_tool = e.kind == "tool" and not (feeds < e.index).any()
        if e.kind not in kinds or not len(after) or first_tool:
            continue
        lines = lines or words_only(s.texts[k]).split("\n")
        line = int(s.track.line[rows[after[0]]])
        words = "".join(lines[e.line - 1 : line])
        spins = s.tools.get(int(s.track.tool[rows[after[0]]]))
        missing = [what for what, form in _NEEDED if not re.search(form, words)]
        before = "".join(lines[: e.line - 1])
        missing += [w for w, form in _IF_STATED if re.search(form, before) and not re.search(form, words)]
        if spins is None or not spins.spins:
            missing = [m for m in missing if m != "S"]
        if missing:
            short.append((e.line, missing))
    if short:
        more = f" ({len(short)} stops)" if len(short) > 1 else ""
        yield finding(
            "not-restated", f"After the stop {', '.join(short[0][1])} are not stated again{more}.",
            amount=float(len(short[0][1])), line=short[0][0], program=s.program_name(k),
        )  # fmt: skip


_NEEDED = (
    ("the unit", r"G2[01](?![0-9.])"),
    ("G17", r"G1[789](?![0-9.])"),
    ("G90", r"G9[01](?![0-9.])"),
    ("G94", r"G9[34](?![0-9.])"),
    ("S", r"S[0-9#\[.]"),
    ("F", r"F[0-9#\[.]"),
    ("X", r"X[-+0-9#\[.]"),
    ("Y", r"Y[-+0-9#\[.]"),
    ("Z", r"Z[-+0-9#\[.]"),
)
"""What must be said again: words, and how they are found in lines without comments and spaces."""

_IF_STATED = (("the work offset", r"G5[4-9](?![0-9])"), ("the path mode", r"G6[14](?![0-9])"))
"""The same, of what not every program states."""


def ends(s: Setting) -> Iterator[Finding]:
    """Check how programs end: lifted, over the work or at the stated park, everything off and standing."""
    t, safe = s.track, safe_height(s)
    for k, motion, rows in s.programs():
        feeds = np.flatnonzero(t.kind[rows] != RAPID)
        last = int(rows[-1])
        place = {**s.place(last), "program": s.program_name(k)}
        if not len(feeds):
            continue
        if t.end[last, 2] < safe - STEP:
            yield finding(
                "end-not-up", f"The program ends with the tool at a height of {t.end[last, 2]:.2f} mm.",
                amount=float(safe - t.end[last, 2]), **place,
            )  # fmt: skip
        moved = _moved_after(s, rows, int(feeds[-1]))
        park = s.machine.park if s.machine is not None else None
        at_park = park is not None and bool(np.abs(t.end[last, :2] - np.array(park)).max() <= STEP)
        if moved and not at_park:
            yield finding("ends-elsewhere", "The program ends with a move in X and Y.", **place)
        yield from _left_on(s, k, motion)


def _moved_after(s: Setting, rows: IntArray, last_feed: int) -> bool:
    """Whether X or Y moves after the last feed, in work coordinates."""
    t, after = s.track, rows[last_feed + 1 :]
    moves: BoolArray = (np.abs(t.end[after, :2] - t.start[after, :2]) > NOISE).any(axis=1) & ~t.machine[after]
    return bool(moves.any())


def _left_on(s: Setting, k: int, motion: Motion) -> Iterator[Finding]:
    """Yield findings on coolant and spindle at the end of a program."""
    coolant = [e for e in motion.events if e.kind == "coolant"]
    if coolant and coolant[-1].value > 0:
        yield finding(
            "coolant-left-on", "The coolant is not stopped before the end.", line=coolant[-1].line,
            program=s.program_name(k),
        )  # fmt: skip
    machine = s.machine
    if machine is None or machine.spindle == "hand" or machine.spin_down <= 0 or not (motion.moves.rpm != 0).any():
        return
    off = [n for n, e in enumerate(motion.events) if e.kind == "spindle"]
    if off and motion.events[off[-1]].value == 0:
        after: tuple[Event, ...] = motion.events[_first_off(motion, off) + 1 :]
        waited = sum(e.value for e in after if e.kind == "dwell")
        stopped = any(e.kind in _STOPS for e in after)  # then that stop is what has to wait
        if waited < machine.spin_down - 1e-9 and not stopped:
            yield finding(
                "end-no-dwell", f"Dwells {waited:g} s of {machine.spin_down:g} before the end.", amount=waited,
                line=motion.events[off[-1]].line, program=s.program_name(k),
            )  # fmt: skip


def _first_off(motion: Motion, off: list[int]) -> int:
    """Return the event of the first M5 of those the program ends with."""
    first = off[-1]
    for n in reversed(off):
        if motion.events[n].value != 0:
            break
        first = n
    return first
