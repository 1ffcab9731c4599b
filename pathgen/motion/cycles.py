"""Drilling cycles G81, G82 and G83 as plain moves (NISTIR 6556 section 3.5.16)."""

from __future__ import annotations

import math

from pathgen.model.motion import LINE, RAPID
from pathgen.motion.arcs import IN_PLANE
from pathgen.motion.grammar import Block, LineError, whole
from pathgen.motion.state import AXES, Recorder, State

BACK_OFF = {1.0: 0.254, 25.4: 0.254}
"""How far above the last depth a peck ends its rapid, mm: 0.010 inch in either unit (section 3.5.16.4)."""
MAX_MOVES = 500_000
"""Moves of all cycles of a program. Larger: a slip of the pen (Q0.000001) fills the memory. Smaller: real jobs are
refused."""


def run(block: Block, motion: int, state: State, recorder: Recorder, line: int) -> None:
    """Carry out one line of a drilling cycle.

    Raises:
        LineError: `bad-cycle` and its reason; `no-feed`.
    """
    first, second, normal = IN_PLANE[state.plane]
    words = _words(block, motion, state, AXES[normal])
    repeats = whole(block.words.get("L", 1.0), "bad-cycle", "L")
    if repeats < 1:
        raise LineError("bad-cycle", "L must be 1 or more")
    if state.inverse:
        raise LineError("bad-cycle", "drilling cycles do not go with G93")
    if not state.feed > 0:
        raise LineError("no-feed", "a drilling cycle without a feed: F was never set, or is 0")
    top, bottom, high = _heights(words, state, normal, AXES[normal])
    state.cycle = words
    step = words.get("Q", math.inf) * state.unit
    pecks = 1 if motion != 83 else max(1, math.ceil((top - bottom) / step - 1e-9))
    planned = repeats * (3 * pecks + 3)
    if recorder.drilled + planned > MAX_MOVES:
        raise LineError("bad-cycle", f"the drilling cycles would make more than {MAX_MOVES} moves")
    recorder.drilled += planned
    if not state.position[normal] >= top:
        _to(state, recorder, line, {normal: top}, rapid=True)
    for _ in range(repeats):
        over = {}
        for axis in (first, second):
            if AXES[axis] in block.words:
                value = block.words[AXES[axis]] * state.unit
                over[axis] = value + state.zero[axis] if state.absolute else state.position[axis] + value
        if over:
            _to(state, recorder, line, over, rapid=True)
        if state.position[normal] != top:
            _to(state, recorder, line, {normal: top}, rapid=True)
        for peck in range(1, pecks):
            depth = top - peck * step
            _to(state, recorder, line, {normal: depth}, rapid=False)
            _to(state, recorder, line, {normal: top}, rapid=True)
            _to(state, recorder, line, {normal: min(depth + BACK_OFF[state.unit], top)}, rapid=True)
        _to(state, recorder, line, {normal: bottom}, rapid=False)
        if motion == 82:
            recorder.event("dwell", line, words["P"])
        _to(state, recorder, line, {normal: high}, rapid=True)


def _words(block: Block, motion: int, state: State, depth: str) -> dict[str, float]:
    """Return the words of the cycle, those kept from the lines before included, and check them."""
    kept = state.cycle if state.cycle.get("G") == motion else {}
    words = {"G": float(motion)}
    for letter in (depth, "R", "P", "Q"):
        if letter in block.words or letter in kept:
            words[letter] = block.words.get(letter, kept.get(letter, 0.0))
    needed = [depth, "R", *{82: ["P"], 83: ["Q"]}.get(motion, [])]
    for letter in needed:
        if letter not in words:
            raise LineError("bad-cycle", f"G{motion} needs {letter}")
    return words


def _heights(words: dict[str, float], state: State, normal: int, depth: str) -> tuple[float, float, float]:
    """Return R, the bottom and the height to return to, mm."""
    now = state.position[normal]
    if state.absolute:
        top = words["R"] * state.unit + state.zero[normal]
        bottom = words[depth] * state.unit + state.zero[normal]
    else:
        top = now + words["R"] * state.unit
        bottom = top + words[depth] * state.unit
    if math.isnan(top):
        raise LineError("bad-cycle", "the cycle starts at a height that the program has not set")
    if top < bottom:
        raise LineError("bad-cycle", f"R {top:g} lies below the bottom {bottom:g}")
    return top, bottom, max(now, top) if state.high_return and now >= top else top


def _to(state: State, recorder: Recorder, line: int, axes: dict[int, float], *, rapid: bool) -> None:
    end = [axes.get(i, state.position[i]) for i in range(3)]
    recorder.move(state, end, RAPID if rapid else LINE, line, feed=0.0 if rapid else state.feed)
