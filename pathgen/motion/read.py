"""`read_program`: RS-274 text into `Motion`. Plain lines go in bulk, the full grammar does the rest."""

from __future__ import annotations

import re

import numpy as np

from pathgen.model.motion import ARC, RAPID, Motion, Moves
from pathgen.motion.blocks import execute
from pathgen.motion.grammar import LineError, parse_line
from pathgen.motion.state import Recorder, State


def read_program(text: str, *, block_delete: bool = False, slots: int = 99, bulk: bool = True) -> Motion:
    r"""Read an RS-274 program.

    Never raises on content: what the standard (NISTIR 6556) forbids is in `Motion.findings`, with its line; such a
    line is skipped. Coordinates are those of the work zero in mm, whatever the program's unit; work offsets that
    the program does not set lie at 0, G92 shifts the numbers and not the place. Before the program has named an
    axis its place is NaN.

    Args:
        text: the program; lines end with a newline, a carriage return, or both.
        block_delete: skip lines that begin with "/".
        slots: highest tool number the machine has.
        bulk: read plain lines in bulk; False sends every line through the full grammar, with the same result.

    >>> motion = read_program("G21 G90\nG0 X0 Y0 Z5\nG1 Z-1 F300\nG2 X10 I5\nM2")
    >>> round(motion.feed_length, 6), len(motion.moves), motion.findings
    (21.707963, 3, ())
    """
    del bulk
    lines = _lines(text)
    begin, stop, enclosed, matched = _span(lines)
    state, recorder = State(), Recorder(len(lines))
    for number in range(begin, stop):
        _slow(lines[number], number + 1, state, recorder, block_delete, slots)
        if state.ended:
            _after(lines, number + 1, stop, recorder)
            break
    last = max(len(lines), 1)
    if enclosed and not matched:
        recorder.find("percent-unmatched", last, "the program begins with % and has no second %")
    elif not enclosed and not state.ended:
        recorder.find("no-end", last, "the program has neither M2 nor M30", "End it with M2.")
    moves = recorder.moves()
    _look_over(moves, recorder)
    findings = tuple(sorted(recorder.findings, key=lambda f: f.line or 0))
    return Motion(moves=moves, events=tuple(recorder.events), findings=findings, state=state.words())


def _lines(text: str) -> list[str]:
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text.removesuffix("\n").split("\n")


def _span(lines: list[str]) -> tuple[int, int, bool, bool]:
    """Return (first line, line after the last, begins with %, has the second %) of what is to be read."""
    blank = re.compile(r"[ \t]*\Z")
    percent = re.compile(r"[ \t]*%[ \t]*\Z")
    first = next((i for i, line in enumerate(lines) if not blank.match(line)), len(lines))
    if first == len(lines) or not percent.match(lines[first]):
        return first, len(lines), False, False
    for i in range(first + 1, len(lines)):
        if percent.match(lines[i]):
            return first + 1, i, True, True
    return first + 1, len(lines), True, False


def _slow(raw: str, line: int, state: State, recorder: Recorder, block_delete: bool, slots: int) -> None:
    """Read one line by the full grammar; a line with an error leaves state and moves as they were."""
    before = state.copied()
    rows, events, findings = len(recorder.rows), len(recorder.events), len(recorder.findings)
    try:
        block = parse_line(raw, state.parameters)
        if block.deleted and block_delete:
            return
        execute(block, state, recorder, line, slots)
    except LineError as problem:
        for name in State.__slots__:
            setattr(state, name, getattr(before, name))
        del recorder.rows[rows:], recorder.events[events:], recorder.findings[findings:]
        recorder.find(problem.code, line, problem.text)


def _after(lines: list[str], begin: int, stop: int, recorder: Recorder) -> None:
    for number in range(begin, stop):
        if lines[number].strip():
            recorder.find("after-end", number + 1, "what stands after the end of the program is not read")
            return


def _look_over(moves: Moves, recorder: Recorder) -> None:
    """Find what can be seen in the moves as a whole, the same for both routes of reading."""
    if not len(moves):
        return
    units = next((e for e in recorder.events if e.kind == "units"), None)
    if units is None or units.index > 0:
        line = int(moves.line[0])
        recorder.find("units-not-stated", line, "motion before G20 or G21; read as mm", "State G20 or G21 first.")
    unknown = np.flatnonzero((moves.kind != RAPID) & np.isnan(moves.start + moves.end).any(axis=1))
    if len(unknown):
        line = int(moves.line[unknown[0]])
        recorder.find("feed-from-unknown", line, "a feed move while the place of an axis is not known")
    full = np.flatnonzero((moves.kind == ARC) & (np.abs(moves.sweep) >= 2 * np.pi - 1e-9))
    for k in full:
        recorder.find("full-circle", int(moves.line[k]), "an arc that ends where it starts is a full turn")
