"""One thing to look at: what the planner, the reader or the proof has to say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Severity: TypeAlias = Literal["error", "warning", "note"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding, with its place and what to do.

    Attributes:
        code: stable short name, listed with its meaning in `pathgen.proof.checks.CODES`.
        severity: "error" stops `programs()` and `write()`; "warning" and "note" are printed only.
        text: what is so, in one sentence.
        advice: what to do about it.
        where: (x, y, z) in mm in stock coordinates, or None.
        amount: the measured number in mm (or in the unit the text names), or None.
        line: line of the program text, from 1, or None.
        cut: name of the cut that made it, or None.
        program: name of the program that holds `line`, or None.
    """

    code: str
    severity: Severity
    text: str
    advice: str = ""
    where: tuple[float, float, float] | None = None
    amount: float | None = None
    line: int | None = None
    cut: str | None = None
    program: str | None = None

    def __str__(self) -> str:
        place = [f"line {self.line}"] if self.line is not None else []
        if self.cut:
            place.append(self.cut)
        if self.where is not None:
            place.append("({:.2f}, {:.2f}, {:.2f})".format(*self.where))
        tail = f" [{', '.join(place)}]" if place else ""
        return f"{self.severity} {self.code}: {self.text}{tail}" + (f" {self.advice}" if self.advice else "")
