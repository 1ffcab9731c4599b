"""Tools that must never spin: knives and diamonds. How they are started, set down and pressed in."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from pathgen.model.arrays import BoolArray
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.model.tool import DiamondPoint, TrailingKnife
from pathgen.proof.codes import finding
from pathgen.proof.setting import NOISE, STEP, Setting, drops, found, words_only

DOWN_ON_GLASS = 300.0
"""Fastest way down of a diamond onto glass, mm/min. Common practice, no source."""

_SPIN = re.compile(r"M0*[34](?![0-9.])|S\+?(?!0*\.?0*(?:[A-Z(;/]|$))", re.MULTILINE)
"""M3, M4, or an S that is anything but 0."""


def never_spinning(s: Setting) -> Iterator[Finding]:
    """No spindle with a dragging tool: neither while it moves, nor anywhere in its file."""
    t = s.track
    dragging = _dragging(s)
    speed = np.abs(t.rpm)
    running = dragging & (speed > 0)
    text = "The spindle runs at {:.0f} rpm with a tool that must never spin"
    yield from found(s, "spindle-on-dragging", running, speed, text)
    for k, motion, rows in s.programs():
        own = dragging[rows] & (t.kind[rows] != RAPID)
        if not own.any():
            continue
        if not running[rows].any():
            for number, line in enumerate(words_only(s.texts[k]).split("\n"), 1):
                if _SPIN.search(line):
                    yield finding(
                        "spindle-on-dragging", "A file for a tool that must never spin holds M3, M4 or a speed.",
                        line=number, program=s.program_name(k),
                    )  # fmt: skip
                    break
        first = int(np.flatnonzero(own)[0])
        stops = any(e.kind == "stop" and e.index <= first for e in motion.events)
        off = any(e.kind == "spindle" and e.value == 0 and e.index <= first for e in motion.events)
        if not (stops and off):
            missing = " and ".join(w for w, there in (("M5", off), ("a stop", stops)) if not there)
            yield finding(
                "dragging-no-stop", f"The file does not begin with {missing}.", **s.place(int(rows[first])),
            )  # fmt: skip


def _dragging(s: Setting) -> BoolArray:
    drags: BoolArray = s.tool_table(lambda tool: tool.spins, np.nan) == 0
    return drags


def set_down(s: Setting) -> Iterator[Finding]:
    """Dragging tools are set down by a feed, slowly on glass, and no deeper than blade or spring allow."""
    t = s.track
    dragging = _dragging(s)
    step = np.nan_to_num(t.end - t.start)
    onto = dragging & (t.kind == RAPID) & ~t.machine & (t.end[:, 2] < STEP) & (step[:, 2] < -NOISE)
    yield from found(s, "rapid-onto-face", onto, -step[:, 2], "A rapid of {:.2f} mm sets the tool onto the face")
    feeds = t.kind != RAPID
    depth = -np.nan_to_num(t.end[:, 2])
    blade = s.tool_table(lambda tool: tool.max_depth if isinstance(tool, TrailingKnife) else None, np.inf)
    text = "A knife goes {:.3f} mm deeper than its blade cuts"
    yield from found(s, "deeper-than-blade", feeds & (depth > blade + STEP), depth - blade, text)
    travel = s.tool_table(lambda tool: tool.max_travel if isinstance(tool, DiamondPoint) else None, np.inf)
    text = "A sprung point is pressed {:.3f} mm further than its spring goes"
    pressed = depth + s.stock.unevenness  # where the face rises, the spring gives way by that much more
    yield from found(s, "beyond-travel", feeds & (depth > 0) & (pressed > travel + STEP), pressed - travel, text)
    drop, level = drops(t)
    down = t.feed * drop / np.maximum(np.hypot(drop, level), NOISE)
    if s.machine is not None:
        rapid = s.machine.rapids[2]
        hard = dragging & feeds & (drop > STEP) & (t.end[:, 2] < STEP) & (down > rapid - 0.5)
        yield from found(s, "plunge-as-rapid", hard, down, f"It comes down at {{:.0f}} mm/min, a rapid at {rapid:.0f}")
    if s.stock.material == "glass":
        diamond = s.tool_table(lambda tool: isinstance(tool, DiamondPoint), 0.0) > 0
        fast = diamond & feeds & (drop > STEP) & (t.end[:, 2] < STEP) & (down > DOWN_ON_GLASS + 0.5)
        yield from found(s, "diamond-fast", fast, down, "A diamond comes down on glass at {:.0f} mm/min")
