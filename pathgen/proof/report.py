"""`Proof`: what was found when the written text was cut in simulation."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pathgen.model.arrays import BoolArray
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap

if TYPE_CHECKING:
    from pathgen.motion.time import Time

CUT: Final = 0.01
"""Samples lower than this count as cut, mm: less is rounding."""

SAID_BY = {"detail-too-small": "unreached"}
"""Findings of the proof and what a planner calls the same."""

_ORDER = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True, kw_only=True)
class CutResult:
    """What one cut did, held against its own request and those of the cuts before it.

    Attributes:
        name: of the cut.
        gouge: deepest place it cut beyond what was asked, mm normal to the asked surface, in the finished part.
        residual: highest material it left of what it owes, mm, in the finished part.
        hidden: deepest place it cut beyond what had been asked by then, where a later cut goes deeper anyway, mm.
        early: highest material it left of what it owes, that a later cut then took away, mm.
        gouge_area: area it cut too deep by more than 0.010 mm, mm2.
        residual_area: area where it left more than 0.02 mm, mm2.
        gouge_volume: mm3, over that area.
        residual_volume: mm3, over that area.
        lines: (program, first line, last line) of its moves, programs counted from "1"; empty where no comment of the
            programs names the cut.
    """

    name: str
    gouge: float = 0.0
    residual: float = 0.0
    hidden: float = 0.0
    early: float = 0.0
    gouge_area: float = 0.0
    residual_area: float = 0.0
    gouge_volume: float = 0.0
    residual_volume: float = 0.0
    lines: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True, kw_only=True)
class BladeResult:
    """Where a trailing blade's tip went in one cut, followed through the written program.

    Attributes:
        name: of the cut.
        off: the tip's largest distance from the lines asked for, outside swivels, mm.
        where: (x, y, z) of it, mm; None where nothing was cut.
        off_swivel: the same in swivels, mm.
        where_swivel: (x, y, z) of it; None where there is no swivel.
        left: largest distance of a place of the lines from what was cut to full depth, mm.
        unsure: how far off the blade may point when the first line begins, degrees.
        corners: (x, y, degrees) where each swivel begins at a corner: how far the blade then points off the line.
        overcuts: (x, y, mm) of each closed line: its first vertex, and how far it is cut past its start.
    """

    name: str
    off: float
    where: tuple[float, float, float] | None
    off_swivel: float
    where_swivel: tuple[float, float, float] | None
    left: float
    unsure: float
    corners: tuple[tuple[float, float, float], ...] = ()
    overcuts: tuple[tuple[float, float, float], ...] = ()

    def __str__(self) -> str:
        return (
            f"{self.name}: tip {self.off:.4f} mm off its line, {self.off_swivel:.4f} mm in swivels, lines left by "
            f"{self.left:.4f} mm, first direction known to {self.unsure:.2f} degrees"
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Proof:
    """The outcome of a proof.

    Attributes:
        findings: errors first, then warnings, then notes.
        height: the simulated part, mm.
        gouge: deepest cut beyond what was asked, mm normal to the asked surface, >= 0.
        residual: highest material left within the tools' reach, mm normal to the asked surface, >= 0.
        unchecked: what could not be checked, because it was not stated; sentences.
        complete: the design and the machine were known.
        removed: volume cut away, mm3; what lies below the board is not counted.
        asked: volume that the design's deepest surface takes away, mm3; None without a design.
        gouge_area: area over which the part is deeper than asked by more than 0.010 mm, mm2.
        residual_area: area over which more than 0.02 mm is left within reach, mm2.
        gouge_volume: mm3, over that area.
        residual_volume: mm3, over that area.
        cuts: what each cut did, in the order they were asked for; empty without a design.
        blades: where the tip of a trailing knife went, for each cut with one.
        deep: samples of `height` where the part is deeper than asked by more than 0.010 mm; None where none is.
        high: samples of `height` where more than 0.02 mm is left within reach; None where none is.
        touched: samples of `height` that a knife or a diamond touches; no depth is claimed there. None where none does.
        time: how long the machine takes, where `check` was given one; a `Job` has its own `Job.time`.
    """

    height: HeightMap
    findings: tuple[Finding, ...] = ()
    gouge: float = 0.0
    residual: float = 0.0
    unchecked: tuple[str, ...] = ()
    complete: bool = False
    removed: float = 0.0
    asked: float | None = None
    gouge_area: float = 0.0
    residual_area: float = 0.0
    gouge_volume: float = 0.0
    residual_volume: float = 0.0
    cuts: tuple[CutResult, ...] = ()
    blades: tuple[BladeResult, ...] = ()
    deep: BoolArray | None = None
    high: BoolArray | None = None
    touched: BoolArray | None = None
    time: Time | None = None

    def __post_init__(self) -> None:
        ordered = tuple(sorted(self.findings, key=lambda f: _ORDER[f.severity]))
        object.__setattr__(self, "findings", ordered)

    @property
    def errors(self) -> tuple[Finding, ...]:
        """Findings that stop `programs()` and `write()`."""
        return tuple(f for f in self.findings if f.severity == "error")

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """Findings that are printed and stop nothing."""
        return tuple(f for f in self.findings if f.severity == "warning")

    @property
    def compared(self) -> bool:
        """Whether the part was held against a design; without one, gouge and residual say nothing."""
        return self.asked is not None

    @property
    def ok(self) -> bool | None:
        """False with any error; None where design or machine is not known; else True."""
        if self.errors:
            return False
        return True if self.complete else None

    @property
    def box(self) -> tuple[float, float, float, float, float] | None:
        """Return (x0, y0, x1, y1, z) around all that is cut and its lowest height, mm in stock coordinates.

        It is as exact as the step of `height`; None where nothing is cut. A program written in inches and read as mm
        shows here first.
        """
        field = self.height
        cut = field.array < -CUT
        if not cut.any():
            return None
        rows, columns = (np.flatnonzero(cut.any(axis=axis)) for axis in (1, 0))
        x, y = field.origin
        step = field.pixel
        return (
            x + float(columns[0]) * step,
            y + float(rows[0]) * step,
            x + float(columns[-1] + 1) * step,
            y + float(rows[-1] + 1) * step,
            float(field.array.min()),
        )

    def with_findings(self, more: Iterable[Finding]) -> Proof:
        """Return this proof with findings made elsewhere (by the planner) added, but for what the proof says itself."""
        said = {(SAID_BY.get(f.code, f.code), f.cut) for f in self.findings if f.severity != "error"}
        fresh = [f for f in more if f.severity == "error" or (f.code, f.cut) not in said]
        return dataclasses.replace(self, findings=(*self.findings, *fresh))

    def __str__(self) -> str:
        word = {True: "PROVED", False: "NOT PROVED", None: "NOT COMPLETE"}[self.ok]
        if self.asked is None:
            lines = [f"{word}: not compared with a design", f"removed {self.removed:.1f} mm3"]
        else:
            lines = [
                f"{word}: gouge {self.gouge:.4f} mm, residual {self.residual:.4f} mm",
                f"removed {self.removed:.1f} mm3, asked {self.asked:.1f} mm3",
            ]
        for what, area, volume in (
            ("too deep", self.gouge_area, self.gouge_volume),
            ("left standing", self.residual_area, self.residual_volume),
        ):
            if area:
                lines.append(f"{what} over {area:.2f} mm2, {volume:.3f} mm3")
        for cut in self.cuts:
            where = ", ".join(f"program {p} lines {a}-{b}" for p, a, b in cut.lines) or "not named in the programs"
            lines.append(f"  {cut.name}: gouge {cut.gouge:.4f} mm, residual {cut.residual:.4f} mm ({where})")
        lines += [f"  {blade}" for blade in self.blades]
        if self.time is not None:
            lines.append(f"time {self.time}")
        lines += [f"- {f}" for f in self.findings]
        lines += [f"? {sentence}" for sentence in self.unchecked]
        return "\n".join(lines)
