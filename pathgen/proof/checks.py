"""What can be seen in a program without the design: one finding for each rule that it breaks.

Every check looks at all moves at once and reports its worst or first place, with the number of places in the text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.holding import KeepOut
from pathgen.model.machine import Machine
from pathgen.model.motion import ARC, RAPID, Motion
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.proof.codes import CODES, Code, finding
from pathgen.proof.strokes import HIGH, Strokes, Track

__all__ = ["CODES", "Code", "Setting", "program_findings"]

NOISE = 1e-6
"""Heights and places nearer than this are the same, mm. Numerical noise only."""

STEP = 0.003
"""A height rounded in mm or inch may lie this far off, mm: 0.0001 inch is 0.0025 mm."""

FEED_SLACK = 1.002
"""Feeds are written with few digits: up to 0.2 % above the rule is rounding."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Setting:
    """Everything a check may look at.

    Attributes:
        texts: the programs.
        motions: as they were read.
        track: all moves in stock coordinates.
        strokes: the same as strokes.
        tools: T number to tool.
        stock: the slab.
        machine: its limits, or None.
        clearance: height of rapids over the face as stated, mm, or None.
        keep_out: where no tool may go.
        at: where the stock's lower left corner lies in the travel, mm, or None.
        names: names of the asked cuts.
        lowest: lowest height any cut may go to, mm (negative); None without a design.
        open_edges: cuts that may leave the stock's outline.
        own: the texts were written by pathgen.
    """

    texts: Sequence[str]
    motions: Sequence[Motion]
    track: Track
    strokes: Strokes
    tools: Mapping[int, Tool]
    stock: Stock
    machine: Machine | None = None
    clearance: float | None = None
    keep_out: Sequence[KeepOut] = ()
    at: Sequence[float] | None = None
    names: Sequence[str] = ()
    lowest: float | None = None
    open_edges: frozenset[int] = frozenset()
    own: bool = False

    def tool_table(self, value: Callable[[Tool], Any], missing: float) -> FloatArray:
        """Return `value` of each move's tool; `missing` where the tool is unknown or the value None."""
        numbers, owner = np.unique(self.track.tool, return_inverse=True)
        known = [self.tools.get(int(n)) for n in numbers]
        values = [missing if t is None or value(t) is None else float(value(t)) for t in known]
        table: FloatArray = np.array(values, dtype=np.float64)[owner]
        return table

    def place(self, row: int) -> dict[str, Any]:
        """Return line, cut, program and where of a move, for a finding."""
        track = self.track
        end = track.end[row]
        cut = int(track.cut[row])
        return {
            "line": int(track.line[row]),
            "cut": self.names[cut] if 0 <= cut < len(self.names) else None,
            "program": str(int(track.program[row]) + 1) if len(self.texts) > 1 else None,
            "where": None if np.isnan(end).any() else (float(end[0]), float(end[1]), float(end[2])),
        }


def _found(setting: Setting, code: str, bad: BoolArray, amount: FloatArray, text: str) -> Iterator[Finding]:
    """Yield one finding for all moves where `bad`, at the one with the largest `amount`."""
    rows = np.flatnonzero(bad)
    if len(rows):
        worst = int(rows[np.argmax(amount[rows])])
        more = f" ({len(rows)} moves)" if len(rows) > 1 else ""
        yield finding(
            code, text.format(float(amount[worst])) + more + ".", amount=float(amount[worst]), **setting.place(worst)
        )


def program_findings(setting: Setting) -> list[Finding]:
    """Return all findings on the programs themselves."""
    checks: tuple[Callable[[Setting], Iterator[Finding]], ...] = (
        _reading, _tools, _start, _rapids, _depths, _entries, _spindle, _speeds, _feeds, _stops, _modes, _lengths,
        _travel, _edges, _table,
    )  # fmt: skip
    return [f for check in checks for f in check(setting)]


def _reading(s: Setting) -> Iterator[Finding]:
    """Hand on what the reader found; in our own text a full circle is an error."""
    import dataclasses

    for k, motion in enumerate(s.motions):
        for f in motion.findings:
            own = dataclasses.replace(f, program=str(k + 1) if len(s.motions) > 1 else None)
            if s.own and f.code == "full-circle":
                own = finding("own-full-circle", "An arc ends where it starts.", line=f.line, program=own.program)
            yield own


def _tools(s: Setting) -> Iterator[Finding]:
    """Every T number is known, one is named before cutting, and spinning and dragging tools have files apart."""
    t = s.track
    feeds = t.kind != RAPID
    known = np.isin(t.tool, np.array(sorted(s.tools), dtype=np.int64)) if s.tools else np.zeros(len(t), dtype=bool)
    zero = np.zeros(len(t))
    yield from _found(s, "no-tool-named", feeds & (t.tool == 0), zero, "No tool is named before this cut")
    for number in np.unique(t.tool[feeds & ~known & (t.tool != 0)]):
        yield from _found(s, "unknown-tool", feeds & (t.tool == number), zero, f"T{number} is not in the tool list")
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    for program in np.unique(t.program):
        kinds = np.unique(spins[(t.program == program) & feeds & ~np.isnan(spins)])
        if len(kinds) > 1:
            row = int(np.flatnonzero((t.program == program) & feeds & (spins == 0))[0])
            yield finding("mixed-tools", "A dragging tool shares a file with a spinning one.", **s.place(row))


def _safe(s: Setting) -> float:
    highest = max((k.height for k in s.keep_out), default=-np.inf)
    top = s.stock.film + s.stock.unevenness
    return max(s.clearance if s.clearance is not None else top + 0.5, highest)


def _start(s: Setting) -> Iterator[Finding]:
    """Check that the first motion of each program is Z alone up to the clearance height, or to the top of travel."""
    t, safe = s.track, _safe(s)
    for program in np.unique(t.program):
        row = int(np.flatnonzero(t.program == program)[0])
        moved = ~np.isnan(t.end[row]) & ~(t.end[row] == t.start[row])
        alone = not moved[0] and not moved[1]
        if t.kind[row] != RAPID or not alone or not t.end[row, 2] >= safe - STEP:
            yield finding("first-move", "The first motion is not Z alone up to a safe height.", **s.place(row))


def _rapids(s: Setting) -> Iterator[Finding]:
    """Rapids move Z alone or X and Y alone, and cross the stock only at the clearance height."""
    t = s.track
    step = np.nan_to_num(t.end - t.start)
    level = np.hypot(step[:, 0], step[:, 1])
    unknown = np.isnan(t.start[:, :2]).any(axis=1) & ~np.isnan(t.end[:, :2]).any(axis=1)
    rapid = (t.kind == RAPID) & ~t.machine
    both = rapid & ((level > NOISE) | unknown) & (np.abs(step[:, 2]) > NOISE)
    yield from _found(s, "rapid-diagonal", both, level, "A rapid moves {:.3f} mm in X and Y together with Z")
    low = np.minimum(t.start[:, 2], t.end[:, 2])
    x0, y0 = np.fmin(t.start[:, 0], t.end[:, 0]), np.fmin(t.start[:, 1], t.end[:, 1])
    x1, y1 = np.fmax(t.start[:, 0], t.end[:, 0]), np.fmax(t.start[:, 1], t.end[:, 1])
    reach = 0.5 * s.tool_table(lambda tool: tool.diameter, 0.0)
    over = (x1 > -reach) & (x0 < s.stock.width + reach) & (y1 > -reach) & (y0 < s.stock.height + reach)
    safe = _safe(s)
    bad = rapid & ((level > NOISE) | unknown) & over & ~(low >= safe - STEP) & ~np.isnan(low)
    yield from _found(
        s,
        "rapid-low",
        bad,
        safe - low,
        "A rapid crosses the stock {:.3f} mm below the safe height of " + f"{safe:g} mm",
    )


def _depths(s: Setting) -> Iterator[Finding]:
    """No tool goes deeper than its cutting edges and its stick-out allow."""
    t = s.track
    depth = -np.nan_to_num(t.end[:, 2], nan=HIGH)
    for code, what, value in (
        ("deeper-than-edges", "cutting edges", lambda tool: tool.cutting_length),
        ("deeper-than-stick-out", "stick-out", lambda tool: tool.stick_out),
    ):
        length = s.tool_table(value, np.inf)
        over = depth - length
        yield from _found(s, code, over > STEP, over, f"A tool goes {{:.3f}} mm deeper than its {what}")
    if s.lowest is not None:
        board = max(-s.lowest, s.stock.thickness)
        over = depth - board
        yield from _found(s, "below-table", over > STEP + 0.01, over, "A tool goes {:.3f} mm deeper than stated")
    else:
        over = depth - s.stock.thickest
        yield from _found(s, "below-board", over > STEP, over, "A tool goes {:.3f} mm below the board")


def _entries(s: Setting) -> Iterator[Finding]:
    """Tools that cannot plunge, and tools with a steepest entry, enter as they may."""
    t = s.track
    drop, level = _drop(t)
    angle = np.degrees(np.arctan2(drop, level))
    material = (t.kind != RAPID) & (drop > 0.01) & (t.end[:, 2] < -STEP)
    cannot = s.tool_table(lambda tool: not tool.center_cutting, 0.0) > 0
    yield from _found(
        s, "plunge", material & cannot & (angle > 60), drop, "A tool that cannot plunge goes down {:.3f} mm"
    )
    limit = s.tool_table(lambda tool: tool.max_ramp, np.inf)
    steep = material & (angle > limit + 0.1) & ~(cannot & (angle > 60))
    yield from _found(s, "ramp-steep", steep, angle, "A tool goes down at {:.1f} degrees")


def _drop(t: Track) -> tuple[FloatArray, FloatArray]:
    """Return how far each move goes down and how far it goes level, mm, along arcs."""
    step = np.nan_to_num(t.end - t.start)
    level = np.hypot(step[:, 0], step[:, 1])
    arc = t.kind == ARC
    spoke = t.start[arc] - t.center[arc]
    normal = np.select([t.plane[arc] == 18, t.plane[arc] == 19], [1, 0], 2)
    spoke[np.arange(len(spoke)), normal] = 0.0
    level[arc] = np.sqrt(np.einsum("ij,ij->i", spoke, spoke)) * np.abs(t.sweep[arc])
    return np.maximum(-step[:, 2], 0.0), level


def _spindle(s: Setting) -> Iterator[Finding]:
    """Dragging tools never spin; spinning ones spin, forwards, where they cut."""
    t = s.track
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    speed = np.abs(t.rpm)
    dragging = spins == 0
    yield from _found(
        s,
        "spindle-on-dragging",
        dragging & (speed > 0),
        speed,
        "The spindle runs at {:.0f} rpm with a tool that must never spin",
    )
    by_hand = s.machine is not None and s.machine.spindle == "hand"
    cutting = (spins == 1) & (t.kind != RAPID) & (np.fmin(t.start[:, 2], t.end[:, 2]) < -STEP)
    depth = -np.nan_to_num(t.end[:, 2])
    if not by_hand:
        yield from _found(
            s, "spindle-off", cutting & (speed == 0), depth, "A tool cuts {:.3f} mm deep with the spindle off"
        )
    yield from _found(s, "spindle-reversed", cutting & (t.rpm < 0), speed, "The spindle turns backwards at {:.0f} rpm")
    for k, motion in enumerate(s.motions):
        last = [e for e in motion.events if e.kind == "spindle"]
        if last and last[-1].value != 0:
            program = str(k + 1) if len(s.motions) > 1 else None
            yield finding(
                "spindle-left-on", "The spindle is not stopped before the end.", line=last[-1].line, program=program
            )


def _speeds(s: Setting) -> Iterator[Finding]:
    """Spindle speeds lie within what machine and tool allow."""
    t = s.track
    speed = np.abs(t.rpm)
    if s.machine is not None:
        high, low = s.machine.max_rpm, s.machine.min_rpm
        beyond = (speed > high + 0.5) | ((speed > 0) & (speed < low - 0.5))
        text = f"The spindle is to run at {{:.0f}} rpm, outside {low:g} to {high:g}"
        yield from _found(s, "speed-above-machine", beyond, speed, text)
    limit = s.tool_table(lambda tool: tool.max_rpm, np.inf)
    yield from _found(
        s, "speed-above-tool", speed > limit + 0.5, speed, "A tool is to run at {:.0f} rpm, above its limit"
    )


def _feeds(s: Setting) -> Iterator[Finding]:
    """Check that feeds are no higher than the machine's axes, nor downward than the plunge feed."""
    t = s.track
    step = np.nan_to_num(t.end - t.start)
    drop, level = _drop(t)
    length = np.hypot(level, step[:, 2])
    feeding = (t.kind != RAPID) & (length > NOISE)
    safe = np.where(length > NOISE, length, 1.0)
    if s.machine is not None:
        arc = t.kind == ARC
        limits = np.array(s.machine.feeds)
        share = np.abs(step) / safe[:, None]
        share[arc, 0] = share[arc, 1] = (level[arc] / safe[arc]) if arc.any() else 0.0
        most = np.min(limits / np.maximum(share, 1e-9), axis=1)
        over = feeding & (t.feed > most * FEED_SLACK + 0.5)
        yield from _found(
            s, "feed-above-machine", over, t.feed, "The feed is {:.0f} mm/min, above the machine's highest"
        )
    plunge = s.tool_table(lambda tool: tool.cutting.plunge if tool.cutting else None, np.inf)
    down = t.feed * drop / safe
    into = feeding & (drop > STEP) & (t.end[:, 2] < s.stock.film + s.stock.unevenness + NOISE)
    over = into & (down > plunge * FEED_SLACK + 0.5 + 0.5 * drop / safe)
    # a thousandth of a millimeter of rounding on a short move changes its angle
    over &= t.feed * np.maximum(drop - 0.0015, 0.0) / safe > plunge * FEED_SLACK + 0.5
    yield from _found(s, "plunge-feed", over, down, "A move goes down at {:.0f} mm/min, above the tool's plunge feed")


def _stops(s: Setting) -> Iterator[Finding]:
    """Check that the spindle is given time to speed up before a descent and to stand still before a stop."""
    if s.machine is None or s.machine.spindle == "hand":
        return
    up, down = s.machine.spin_up, s.machine.spin_down
    for k, motion in enumerate(s.motions):
        program = str(k + 1) if len(s.motions) > 1 else None
        moves = motion.moves
        first_down = np.flatnonzero((moves.kind != RAPID) & (moves.end[:, 2] + s.stock.zero_z < 0))
        for n, event in enumerate(motion.events):
            if event.kind != "spindle":
                continue
            before = motion.events[n - 1] if n else None
            if before is not None and before.kind == "spindle" and before.value == event.value:
                continue
            following = motion.events[n + 1 :]
            if event.value != 0 and up > 0:
                after = first_down[first_down >= event.index]
                end = int(after[0]) if len(after) else len(moves)
                waited = sum(e.value for e in following if e.kind == "dwell" and e.index <= end)
                if len(after) and waited < up - 1e-9:
                    yield finding(
                        "no-spin-up", f"Dwells {waited:g} s of {up:g} before the tool enters.", amount=waited,
                        line=event.line, program=program,
                    )  # fmt: skip
            elif event.value == 0 and down > 0 and _ran(motion, event.index):
                halt = next((e for e in following if e.kind in ("stop", "tool", "spindle")), None)
                if halt is None or halt.kind == "spindle":
                    continue
                waited = sum(e.value for e in following if e.kind == "dwell" and e.line <= halt.line)
                if waited < down - 1e-9:
                    yield finding(
                        "no-spin-down", f"Dwells {waited:g} s of {down:g} before the stop.", amount=waited,
                        line=halt.line, program=program,
                    )  # fmt: skip


def _ran(motion: Motion, index: int) -> bool:
    """Whether the spindle ran before move `index`."""
    return bool(index) and bool((motion.moves.rpm[:index] != 0).any())


_COMMENT = re.compile(r"\([^)\n]*\)")


def _modes(s: Setting) -> Iterator[Finding]:
    """Plane and distance mode are stated before any motion, and the path is exact."""
    for k, (text, motion) in enumerate(zip(s.texts, s.motions, strict=True)):
        if not len(motion.moves):
            continue
        program = str(k + 1) if len(s.motions) > 1 else None
        first = int(motion.moves.line[0])
        words = _COMMENT.sub("", "\n".join(text.splitlines()[:first])).upper().replace(" ", "")
        for code, what in (("G17", "plane"), ("G90", "distance mode")):
            if not re.search(rf"{code}(?![0-9.])", words):
                yield finding(
                    "mode-not-stated", f"The {what} is not stated before the first motion.", line=first,
                    advice=f"State {code} before any motion.", program=program,
                )  # fmt: skip
        paths = [e for e in motion.events if e.kind == "path"]
        exact = bool(paths) and all(e.value in (61, 611, 61.1) for e in paths)
        if not exact:
            by = f"by {s.machine.corner_tolerance:g} mm" if s.machine is not None else "by an unknown amount"
            yield finding(
                "corners-rounded", f"Corners may be rounded {by}.", program=program,
                line=paths[-1].line if paths else None,
            )  # fmt: skip


def _lengths(s: Setting) -> Iterator[Finding]:
    """After a tool change the tool's length is applied before Z moves (NISTIR 6556 applies it by G43 alone)."""
    for k, motion in enumerate(s.motions):
        moves = motion.moves
        z_moves = np.flatnonzero(~moves.machine & ~(moves.end[:, 2] == moves.start[:, 2]) & ~np.isnan(moves.end[:, 2]))
        for n, event in enumerate(motion.events):
            if event.kind != "tool" or event.value == 0:
                continue
            later = z_moves[z_moves >= event.index]
            end = int(later[0]) if len(later) else len(moves)
            applied = any(e.kind == "length" and e.value > 0 and e.index <= end for e in motion.events[n + 1 :])
            if len(later) and not applied:
                yield finding(
                    "length-not-applied", f"Z moves after the change to T{event.value:g} without its length.",
                    line=int(moves.line[end]), program=str(k + 1) if len(s.motions) > 1 else None,
                )  # fmt: skip


def _span(s: Setting) -> tuple[FloatArray, FloatArray]:
    """Return lowest and highest known (x, y, z) of all moves, arcs included, mm in stock coordinates."""
    t = s.track
    here = ~t.machine
    points = [t.end[here], t.start[here], s.strokes.a, s.strokes.b]
    every = np.concatenate(points)
    every = np.where(every >= HIGH, np.nan, every)
    if not np.isfinite(every).any():
        return np.zeros(3), np.zeros(3)
    with np.errstate(all="ignore"):
        low = np.where(np.isfinite(every), every, np.inf).min(axis=0)
        high = np.where(np.isfinite(every), every, -np.inf).max(axis=0)
    return low, high


def _travel(s: Setting) -> Iterator[Finding]:
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


def _edges(s: Setting) -> Iterator[Finding]:
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
    yield from _found(s, "outside-stock", amount > STEP, amount, "A cut runs {:.3f} mm beside the stock")


def _beside(s: Setting, rows: IntArray) -> FloatArray:
    x, y = s.strokes.b[rows, 0], s.strokes.b[rows, 1]
    dx = np.maximum(np.maximum(-x, x - s.stock.width), 0.0)
    dy = np.maximum(np.maximum(-y, y - s.stock.height), 0.0)
    far: FloatArray = np.hypot(dx, dy)
    return far


def _table(s: Setting) -> Iterator[Finding]:
    """Something is cut at all."""
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    below = (s.track.kind != RAPID) & (s.track.end[:, 2] < -NOISE)
    if not below.any() and (len(spins) == 0 or not (spins == 0).any()):
        yield finding("cuts-nothing", "No feed move goes below the face of the stock.")
