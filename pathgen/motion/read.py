"""`read_program`: RS-274 text into `Motion`. Plain lines go in bulk, the full grammar does the rest."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np

from pathgen.model.arrays import IntArray
from pathgen.model.motion import ARC, RAPID, Motion, Moves
from pathgen.motion.blocks import execute
from pathgen.motion.bulk import tabulate
from pathgen.motion.grammar import LineError, parse_line
from pathgen.motion.runs import carry_out, may_run
from pathgen.motion.state import Recorder, State

BLOCK = 1 << 19
"""Bytes taken apart at a time, so that the arrays stay in the processor's cache. Speed only."""
SHORT = 24
"""Runs of plain lines shorter than this are read one by one, which is then quicker. Speed only."""


def read_program(text: str, *, block_delete: bool = False, slots: int = 99, bulk: bool = True) -> Motion:
    r"""Read an RS-274 program.

    Never raises on content: what the standard (NISTIR 6556) forbids is in `Motion.findings`, with its line; such a
    line is skipped. Coordinates are those of the work zero in mm, whatever the program's unit; work offsets that
    the program does not set lie at 0, G92 shifts the numbers and not the place. Before the program has named an
    axis its place is NaN. Where there is no M6 at all, a T word names the tool put in by hand.

    Args:
        text: the program; lines end with a newline, a carriage return, or both.
        block_delete: skip lines that begin with "/".
        slots: highest tool number the machine has.
        bulk: read plain lines in bulk; False sends every line through the full grammar, with the same result.

    >>> motion = read_program("G21 G90\nG0 X0 Y0 Z5\nG1 Z-1 F300\nG2 X10 I5\nM2")
    >>> round(motion.feed_length, 6), len(motion.moves), motion.findings
    (21.707963, 3, ())
    """
    reader = _Reader(text, block_delete, slots)
    begin, stop, enclosed, matched = reader.span()
    reader.read(begin, stop, bulk)
    state, recorder = reader.state, reader.recorder
    if enclosed and not matched:
        recorder.find("percent-unmatched", reader.count, "the program begins with % and has no second %")
    elif not enclosed and not state.ended:
        recorder.find("no-end", reader.count, "the program has neither M2 nor M30", "End it with M2.")
    moves = recorder.moves()
    _look_over(moves, recorder)
    findings = tuple(sorted(recorder.findings, key=lambda f: f.line or 0))
    return Motion(moves=moves, events=tuple(recorder.events), findings=findings, state=state.words())


class _Reader:
    """A text as bytes and line ends, and what reading it has led to so far."""

    def __init__(self, text: str, block_delete: bool, slots: int) -> None:
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        self.data = f"\n{text.removesuffix(chr(10))}\n".encode("utf-8", "surrogatepass")
        self.bytes = np.frombuffer(self.data, dtype=np.uint8)
        self.ends: IntArray = np.flatnonzero(self.bytes == ord("\n"))
        self.count = len(self.ends) - 1
        self.block_delete, self.slots = block_delete, slots
        self.state, self.recorder, self.last = State(), Recorder(self.count), 0

    def line(self, row: int) -> str:
        """Return line `row`, from 0, without its end."""
        return self.data[self.ends[row] + 1 : self.ends[row + 1]].decode("utf-8", "surrogatepass")

    def span(self) -> tuple[int, int, bool, bool]:
        """Return (first row, row after the last, begins with %, has the second %) of what is to be read."""
        first = re.compile(rb"[ \t\n]*%[ \t]*(?=\n)").match(self.data)
        if first is None:
            return 0, self.count, False, False
        begin = int(np.searchsorted(self.ends, first.end()))
        at = self.data.find(b"%", first.end())
        while at >= 0:
            row = int(np.searchsorted(self.ends, at)) - 1
            if self.line(row).strip(" \t") == "%":
                return begin, row, True, True
            at = self.data.find(b"%", int(self.ends[row + 1]))
        return begin, self.count, True, False

    def read(self, begin: int, stop: int, bulk: bool) -> None:
        """Read the rows from `begin` up to `stop`, or to the program's end."""
        while begin < stop and not self.state.ended:
            after = int(np.searchsorted(self.ends, self.ends[begin] + BLOCK, side="right")) - 1
            after = min(max(after, begin + 1), stop)
            if bulk:
                self._block(begin, after)
            else:
                self._slow(begin, after)
            begin = after
        if self.state.ended:
            _after(self, stop)

    def _block(self, begin: int, stop: int) -> None:
        """Read a block: runs of plain lines as columns, other lines and short runs by the grammar."""
        low = int(self.ends[begin])
        table = tabulate(self.bytes[low : int(self.ends[stop]) + 1], self.ends[begin : stop + 1] - low)
        turns = np.flatnonzero(np.diff(table.plain)) + 1
        patience = 1
        for a, b in pairwise([0, *turns.tolist(), stop - begin]):
            row = a
            while row < b and not self.state.ended:
                if not table.plain[a] or b - row < SHORT:
                    slow = b
                else:
                    if may_run(self.state):
                        row = carry_out(table, row, b, begin + 1, self.state, self.recorder)
                    slow = min(b, row + patience)
                    patience *= 2
                self._slow(begin + row, begin + slow)
                row = slow

    def _slow(self, begin: int, stop: int) -> None:
        """Read lines by the full grammar; a line with an error leaves state and moves as they were."""
        state, recorder = self.state, self.recorder
        for row in range(begin, stop):
            before = state.kept_values()
            mark = recorder.mark()
            try:
                block = parse_line(self.line(row), state.parameters)
                if block.deleted and self.block_delete:
                    continue
                execute(block, state, recorder, row + 1, self.slots)
            except LineError as problem:
                state.restore(before)
                recorder.forget(mark)
                recorder.find(problem.code, row + 1, problem.text)
            if state.ended:
                self.last = row
                return


def _after(reader: _Reader, stop: int) -> None:
    """Note text between the end of the program and row `stop`."""
    rest = reader.data[reader.ends[reader.last + 1] : reader.ends[stop]]
    words = re.compile(rb"[^ \t\n]").search(rest)
    if words:
        line = int(np.searchsorted(reader.ends, reader.ends[reader.last + 1] + words.start()))
        reader.recorder.find("after-end", line, "what stands after the end of the program is not read")


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
