"""`Motion`: an RS-274 program as it moves, read from its text. mm, mm/min, seconds, absolute coordinates."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.findings import Finding

RAPID, LINE, ARC = 0, 1, 2


@dataclass(frozen=True, eq=False, kw_only=True)
class Moves:
    """Every move, as columns; n moves.

    Attributes:
        start: (n, 3) mm; NaN where the program does not say where an axis stands.
        end: (n, 3) mm.
        kind: (n,) int8: RAPID, LINE or ARC (helices too).
        center: (n, 3) mm, absolute, NaN but for arcs; the component along the plane's normal is the start's.
        sweep: (n,) radians, signed, counter-clockwise positive seen from the positive end of the plane's
            normal; 0 but for arcs.
        plane: (n,) int8: 17, 18 or 19.
        feed: (n,) mm/min along the path; 0 for rapids.
        rpm: (n,) spindle speed while the move runs: positive clockwise (M3), negative (M4), 0 off.
        tool: (n,) T number in the spindle, 0 = none named yet.
        line: (n,) line of the text, from 1.
        machine: (n,) the end is in machine coordinates (G53).
    """

    start: FloatArray
    end: FloatArray
    kind: NDArray[np.int8]
    center: FloatArray
    sweep: FloatArray
    plane: NDArray[np.int8]
    feed: FloatArray
    rpm: FloatArray
    tool: IntArray
    line: IntArray
    machine: BoolArray

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def lengths(self) -> FloatArray:
        """3D length of each move, mm, along arcs and helices.

        It is 0 where the start is not known, and for a move in machine coordinates: that counts from a point which no
        program states, so its length cannot be told from the text.
        """
        step = self.end - self.start
        straight: FloatArray = np.sqrt(np.einsum("ij,ij->i", step, step))
        arc = np.flatnonzero(self.kind == ARC)
        if len(arc):
            normal = np.select([self.plane[arc] == 18, self.plane[arc] == 19], [1, 0], 2)
            spoke = self.start[arc] - self.center[arc]
            spoke[np.arange(len(arc)), normal] = 0.0
            radius = np.sqrt(np.einsum("ij,ij->i", spoke, spoke))
            straight[arc] = np.hypot(radius * np.abs(self.sweep[arc]), step[arc, normal])
        known: FloatArray = np.where(self.machine, 0.0, np.nan_to_num(straight, nan=0.0))
        return known


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happens between moves.

    Attributes:
        kind: "dwell" (value seconds), "tool" (value T number), "stop" (M0, M1, M60), "spindle" (value signed
            rpm), "coolant" (value 0 off, 7, 8), "length" (value H number, 0 = off), "comment" (text), "end" (M2,
            M30), "units" (value 20 or 21), "offset" (work offset, value 54…), "path" (value 61, 64).
        index: number of moves before it.
        line: line of the text, from 1.
        value: see `kind`.
        text: see `kind`.
    """

    kind: str
    index: int
    line: int
    value: float = 0.0
    text: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class Motion:
    """A program read back: its moves, what happens between them, and what is wrong with it.

    Attributes:
        moves: see `Moves`.
        events: in order of execution.
        findings: what the standard forbids or warns of, each with code and line.
        state: modal state at the end, words as in the standard ("G21", …).
    """

    moves: Moves
    events: tuple[Event, ...] = ()
    findings: tuple[Finding, ...] = ()
    state: dict[str, Any] = field(default_factory=dict)

    @property
    def feed_length(self) -> float:
        """Length of all feed moves, mm."""
        return float(self.moves.lengths[self.moves.kind != RAPID].sum())

    @property
    def rapid_length(self) -> float:
        """Length of all rapids whose start is known, mm; those in machine coordinates are left out."""
        return float(self.moves.lengths[self.moves.kind == RAPID].sum())
