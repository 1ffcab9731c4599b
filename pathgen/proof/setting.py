"""What every check of a program looks at, and how it says what it found."""

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
from pathgen.model.motion import ARC, Motion
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.proof.codes import finding
from pathgen.proof.strokes import Strokes, Track

NOISE = 1e-6
"""Heights and places nearer than this are the same, mm. Numerical noise only."""

STEP = 0.003
"""A height rounded in mm or inch may lie this far off, mm: 0.0001 inch is 0.0025 mm."""


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
        hold: stated hold-downs, each with `.region`.
        at: where the stock's lower left corner lies in the travel, mm, or None.
        names: names of the asked cuts.
        lowest: lowest height any cut may go to, mm (negative); None without a design.
        open_edges: cuts that may leave the stock's outline.
        thin_wall: standing walls narrower than this are thin, mm; None = by the material.
        own: the texts were written by pathgen.
        written: the moves as they were read, where measured heights of the face are taken off `track` and `strokes`.
        follows: with measured heights, the cuts they are not taken off; None = the face is flat.
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
    hold: Sequence[Any] = ()
    at: Sequence[float] | None = None
    names: Sequence[str] = ()
    lowest: float | None = None
    open_edges: frozenset[int] = frozenset()
    thin_wall: float | None = None
    own: bool = False
    written: Track | None = None
    follows: frozenset[int] | None = None

    def programs(self) -> Iterator[tuple[int, Motion, IntArray]]:
        """Yield number, motion and rows of each program that moves."""
        for k, motion in enumerate(self.motions):
            rows = np.flatnonzero(self.track.program == k)
            if len(rows):
                yield k, motion, rows

    def tool_table(self, value: Callable[[Tool], Any], missing: float) -> FloatArray:
        """Return `value` of each move's tool; `missing` where the tool is unknown or the value None."""
        numbers, owner = np.unique(self.track.tool, return_inverse=True)
        known = [self.tools.get(int(n)) for n in numbers]
        values = [missing if t is None or value(t) is None else float(value(t)) for t in known]
        table: FloatArray = np.array(values, dtype=np.float64)[owner]
        return table

    def program_name(self, k: int) -> str | None:
        """Return how findings call program `k`: None where there is but one."""
        return str(k + 1) if len(self.texts) > 1 else None

    def place(self, row: int) -> dict[str, Any]:
        """Return line, cut, program and where of a move, for a finding."""
        track = self.track
        end = track.end[row]
        cut = int(track.cut[row])
        return {
            "line": int(track.line[row]),
            "cut": self.names[cut] if 0 <= cut < len(self.names) else None,
            "program": self.program_name(int(track.program[row])),
            "where": None if np.isnan(end).any() else (float(end[0]), float(end[1]), float(end[2])),
        }


_OUTSIDE_WORDS = re.compile(r"\([^)\n]*\)|[ \t\r]")


def words_only(text: str) -> str:
    """Return a program's lines without comments and spaces, in capitals."""
    return _OUTSIDE_WORDS.sub("", text).upper()


def found(setting: Setting, code: str, bad: BoolArray, amount: FloatArray, text: str) -> Iterator[Finding]:
    """Yield one finding for each cut that has moves where `bad`, at the one with the largest `amount`."""
    bad_rows = np.flatnonzero(bad)
    for cut in np.unique(setting.track.cut[bad_rows]):
        rows = bad_rows[setting.track.cut[bad_rows] == cut]
        worst = int(rows[np.argmax(amount[rows])])
        more = f" ({len(rows)} moves)" if len(rows) > 1 else ""
        yield finding(
            code, text.format(float(amount[worst])) + more + ".", amount=float(amount[worst]), **setting.place(worst)
        )


def drops(t: Track) -> tuple[FloatArray, FloatArray]:
    """Return how far each move goes down and how far it goes level, mm, along arcs."""
    step = np.nan_to_num(t.end - t.start)
    level = np.hypot(step[:, 0], step[:, 1])
    arc = t.kind == ARC
    spoke = t.start[arc] - t.center[arc]
    normal = np.select([t.plane[arc] == 18, t.plane[arc] == 19], [1, 0], 2)
    spoke[np.arange(len(spoke)), normal] = 0.0
    level[arc] = np.sqrt(np.einsum("ij,ij->i", spoke, spoke)) * np.abs(t.sweep[arc])
    return np.maximum(-step[:, 2], 0.0), level
