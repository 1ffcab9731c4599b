"""What a controller remembers between lines, and the columns that a reading fills."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pathgen.model.arrays import FloatArray
from pathgen.model.findings import Finding
from pathgen.model.motion import ARC, Event, Moves
from pathgen.motion import arcs
from pathgen.motion.codes import severity

AXES = "XYZ"


@dataclass(slots=True)
class State:
    """The modal state. Lengths in mm, feeds in mm/min, whatever the program's unit.

    Attributes:
        position: where X, Y, Z stand, NaN where the program has not said.
        unit: mm in one program unit.
        stated: G20 or G21 was read.
        motion: active code of the motion group (0, 1, 2, 3, 81 to 83), None after G80 and at the start.
        plane: 17, 18 or 19.
        absolute: G90.
        inverse: G93.
        feed: in G94, mm/min; 0 = never set.
        path: 61, 611 or 64; 0 = not stated.
        high_return: G98.
        speed, turning: S, and +1 (M3), -1 (M4) or 0 (M5).
        selected, tool: the last T, and the tool in the spindle; None and 0 where none was named.
        length: H of G43, 0 = off.
        coordinates: 1 to 9 for G54 to G59.3.
        origins: origin of each work offset, as far as G10 states it.
        shift, kept: the G92 offset, and what G92.3 brings back.
        cycle: sticky words of the drilling cycle.
        parameters: numbered parameters that the program, or its codes, have set; replaced, never changed.
    """

    position: list[float] = field(default_factory=lambda: [math.nan] * 3)
    unit: float = 1.0
    stated: bool = False
    motion: int | None = None
    plane: int = 17
    absolute: bool = True
    inverse: bool = False
    feed: float = 0.0
    path: int = 0
    high_return: bool = True
    speed: float = 0.0
    turning: int = 0
    coolant: int = 0
    selected: int | None = None
    tool: int = 0
    length: int = 0
    coordinates: int = 1
    origins: dict[int, tuple[float, float, float]] = field(default_factory=dict)
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    kept: tuple[float, float, float] = (0.0, 0.0, 0.0)
    cycle: dict[str, float] = field(default_factory=dict)
    parameters: dict[int, float] = field(default_factory=lambda: {5220: 1.0})
    ended: bool = False

    def kept_values(self) -> tuple[Any, ...]:
        """Return all values, for `restore`; nothing in them is changed by a line that follows."""
        values: tuple[Any, ...] = _VALUES(self)
        return (list(self.position), *values[1:])

    def restore(self, values: tuple[Any, ...]) -> None:
        """Put everything back as it was at `kept_values`."""
        for name, value in zip(State.__slots__, values, strict=True):
            setattr(self, name, value)

    def learn(self, values: dict[int, float]) -> None:
        """Set parameters."""
        if values:
            self.parameters = {**self.parameters, **values}

    @property
    def zero(self) -> tuple[float, float, float]:
        """Where the program's (0, 0, 0) lies, mm."""
        origin = self.origins.get(self.coordinates, (0.0, 0.0, 0.0))
        return (origin[0] + self.shift[0], origin[1] + self.shift[1], origin[2] + self.shift[2])

    @property
    def rpm(self) -> float:
        """Signed spindle speed."""
        return self.turning * self.speed

    def words(self) -> dict[str, object]:
        """Return the state in the standard's words."""
        return {
            "motion": "G80" if self.motion is None else f"G{self.motion}",
            "plane": f"G{self.plane}",
            "units": ("G20" if self.unit != 1.0 else "G21") if self.stated else None,
            "distance": "G90" if self.absolute else "G91",
            "feed mode": "G93" if self.inverse else "G94",
            "path": {61: "G61", 611: "G61.1", 64: "G64"}.get(self.path),
            "offset": f"G{53 + self.coordinates}" if self.coordinates < 7 else f"G59.{self.coordinates - 6}",
            "length": f"G43 H{self.length}" if self.length else "G49",
            "spindle": {0: "M5", 1: "M3", -1: "M4"}[self.turning],
            "coolant": {0: "M9", 7: "M7", 8: "M8", 15: "M7 M8"}[self.coolant],
            "S": self.speed,
            "F": self.feed,
            "T": self.selected,
            "tool": self.tool,
            "position": tuple(self.position),
            "parameters": dict(self.parameters),
        }


_VALUES = attrgetter(*State.__slots__)
_WIDTHS = {"start": 3, "end": 3, "center": 3}
_TYPES = {"kind": np.int8, "plane": np.int8, "tool": np.int64, "line": np.int64, "machine": np.bool_}
COLUMNS = ("start", "end", "kind", "center", "sweep", "plane", "feed", "rpm", "tool", "line", "machine")
"""As in `Moves`; until `Recorder.moves` the column `sweep` holds +1 or -1 for the turn of an arc."""
_AT: dict[str, slice | int] = {
    "start": slice(0, 3),
    "end": slice(3, 6),
    "kind": 6,
    "center": slice(7, 10),
    "sweep": 10,
    "plane": 11,
}
_AT |= {"feed": 12, "rpm": 13, "tool": 14, "line": 15, "machine": 16}


class Recorder:
    """Collects moves, events and findings in order of execution; `drilled` counts the moves of drilling cycles.

    `selections` holds each T word as (number of moves before it, T).
    """

    def __init__(self, capacity: int) -> None:
        self.columns: dict[str, NDArray[np.generic]] = {}
        self.size = 0
        self.drilled = 0
        self.selections: list[tuple[int, int]] = []
        self.rows: list[tuple[float, ...]] = []
        self.events: list[Event] = []
        self.findings: list[Finding] = []
        self._grow(max(capacity, 16))

    def __len__(self) -> int:
        return self.size + len(self.rows)

    def _grow(self, capacity: int) -> None:
        for name in COLUMNS:
            shape = (capacity, _WIDTHS[name]) if name in _WIDTHS else (capacity,)
            fresh: NDArray[np.generic] = np.empty(shape, dtype=_TYPES.get(name, np.float64))
            if self.size:
                fresh[: self.size] = self.columns[name][: self.size]
            self.columns[name] = fresh

    def room(self, n: int) -> dict[str, NDArray[np.generic]]:
        """Return views of `n` fresh rows of every column, to be filled by the caller; they count at once."""
        self.flush()
        if self.size + n > len(self.columns["kind"]):
            self._grow(max(2 * len(self.columns["kind"]), self.size + n))
        views = {name: column[self.size : self.size + n] for name, column in self.columns.items()}
        self.size += n
        return views

    def flush(self) -> None:
        """Move the rows recorded one by one into the columns."""
        if self.rows:
            table = np.array(self.rows, dtype=np.float64)
            self.rows = []
            for name, view in self.room(len(table)).items():
                view[...] = table[:, _AT[name]]

    def move(
        self,
        state: State,
        end: Sequence[float],
        kind: int,
        line: int,
        *,
        feed: float = 0.0,
        center: Sequence[float] = (math.nan,) * 3,
        turn: float = 0.0,
        machine: bool = False,
    ) -> None:
        """Record one move from the state's position, and put the state at its end."""
        self.rows.append(
            (*state.position, *end, kind, *center, turn, state.plane, feed, state.rpm, state.tool, line, machine)
        )
        state.position = list(end)

    def event(self, kind: str, line: int, value: float = 0.0, text: str = "") -> None:
        """Record what happens between moves."""
        self.events.append(Event(kind=kind, index=len(self), line=line, value=value, text=text))

    def find(self, code: str, line: int, text: str, advice: str = "") -> None:
        """Record a finding; its severity follows from its code."""
        self.findings.append(Finding(code=code, severity=severity(code), text=text, advice=advice, line=line))

    def mark(self) -> tuple[int, int, int, int]:
        """Return how much is recorded, for `forget`; rows that came in bulk are not counted."""
        return len(self.rows), len(self.events), len(self.findings), len(self.selections)

    def forget(self, mark: tuple[int, int, int, int]) -> None:
        """Drop what was recorded since `mark`."""
        rows, events, findings, selections = mark
        del self.rows[rows:], self.events[events:], self.findings[findings:], self.selections[selections:]

    def moves(self) -> Moves:
        """Return all moves, frozen; the sweep of every arc is computed here, for both routes alike.

        Where a program never changes tools (M6), its T words name the tool that was put in by hand.
        """
        self.flush()
        c = {name: column[: self.size] for name, column in self.columns.items()}
        if not any(e.kind == "tool" for e in self.events):
            for index, tool in self.selections:
                c["tool"][index:] = tool
        arc = np.flatnonzero(c["kind"] == ARC)
        sweep: FloatArray = np.asarray(c["sweep"], dtype=np.float64)
        if len(arc):
            sweep[arc] = arcs.sweeps(c["start"][arc], c["end"][arc], c["center"][arc], c["plane"][arc], sweep[arc])
        for column in c.values():
            column.flags.writeable = False  # no copy: nobody else keeps these arrays
        return Moves(**c)  # type: ignore[arg-type]  # each column has the type that `_TYPES` gives it
