"""The spindle: on where it must be, off where it must be, at a speed that machine and tool allow, and given time."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID, Motion
from pathgen.proof.codes import finding
from pathgen.proof.setting import STEP, Setting, found


def running(s: Setting) -> Iterator[Finding]:
    """Spinning tools spin, forwards, where they cut; not before the first retract, nor after the end."""
    t = s.track
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    speed = np.abs(t.rpm)
    by_hand = s.machine is not None and s.machine.spindle == "hand"
    cutting = (spins == 1) & (t.kind != RAPID) & (np.fmin(t.start[:, 2], t.end[:, 2]) < -STEP)
    depth = -np.nan_to_num(t.end[:, 2])
    if not by_hand:
        yield from found(
            s, "spindle-off", cutting & (speed == 0), depth, "A tool cuts {:.3f} mm deep with the spindle off"
        )
    yield from found(s, "spindle-reversed", cutting & (t.rpm < 0), speed, "The spindle turns backwards at {:.0f} rpm")
    for _, _, rows in s.programs():
        first = int(rows[0])
        if speed[first] > 0 and spins[first] != 0:
            yield finding(
                "spindle-early", f"The spindle runs at {speed[first]:.0f} rpm at the first motion.",
                amount=float(speed[first]), **s.place(first),
            )  # fmt: skip
    for k, motion in enumerate(s.motions):
        last = [e for e in motion.events if e.kind == "spindle"]
        if last and last[-1].value != 0:
            program = s.program_name(k)
            yield finding(
                "spindle-left-on", "The spindle is not stopped before the end.", line=last[-1].line, program=program
            )


def speeds(s: Setting) -> Iterator[Finding]:
    """Spindle speeds lie within what machine and tool allow."""
    t = s.track
    speed = np.abs(t.rpm)
    if s.machine is not None:
        high, low = s.machine.max_rpm, s.machine.min_rpm
        beyond = (speed > high + 0.5) | ((speed > 0) & (speed < low - 0.5))
        text = f"The spindle is to run at {{:.0f}} rpm, outside {low:g} to {high:g}"
        yield from found(s, "speed-above-machine", beyond, speed, text)
    limit = s.tool_table(lambda tool: tool.max_rpm, np.inf)
    yield from found(
        s, "speed-above-tool", speed > limit + 0.5, speed, "A tool is to run at {:.0f} rpm, above its limit"
    )


LONGEST_DWELL = 60.0
"""Dwells of more seconds than this are more often milliseconds by mistake: G4 P3000 waits 50 minutes."""


def long_dwells(s: Setting) -> Iterator[Finding]:
    """Check that no dwell is so long that milliseconds were meant (P is in seconds: NISTIR 6556, section 3.5.4)."""
    least = LONGEST_DWELL
    if s.machine is not None:
        least = max(least, 1.1 * s.machine.spin_up, 1.1 * s.machine.spin_down)
    for k, motion in enumerate(s.motions):
        long = [e for e in motion.events if e.kind == "dwell" and e.value > least]
        if long:
            worst = max(long, key=lambda e: e.value)
            more = f" ({len(long)} dwells)" if len(long) > 1 else ""
            yield finding(
                "dwell-long", f"The program waits {worst.value:g} s{more}.", amount=worst.value, line=worst.line,
                program=s.program_name(k),
            )  # fmt: skip


def waits(s: Setting) -> Iterator[Finding]:
    """Check that the spindle is given time to speed up before a descent and to stand still before a stop."""
    if s.machine is None or s.machine.spindle == "hand":
        return
    up, down = s.machine.spin_up, s.machine.spin_down
    for k, motion in enumerate(s.motions):
        program = s.program_name(k)
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
