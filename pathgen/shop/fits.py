"""Limits and fits after ISO 286: what "H8/f7" means at a size, for parts of metal or plastic.

Terminology
    size: the nominal size across, mm; a step of sizes runs over its lower end, up to and including its upper end.
    grade: the standard tolerance IT6 to IT12 of a step.
    deviation: how far a limit lies from the nominal size; for hole H the lower one is 0, for shafts d to h the upper
    one is 0 or negative, so that these fits always leave air.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from pathgen.errors import ArgumentError, positive

_WORDS = re.compile(r"\s*H\s*(\d{1,2})\s*/\s*([a-z])\s*(\d{1,2})\s*")


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fit at one size.

    Attributes:
        name: as in "H8/f7".
        size: nominal size across, mm.
        hole: least and greatest width of the hole, mm.
        shaft: least and greatest width of the shaft, mm.
    """

    name: str
    size: float
    hole: tuple[float, float]
    shaft: tuple[float, float]

    @property
    def least(self) -> float:
        """Least air across the width, mm: the smallest hole with the largest shaft."""
        return round(self.hole[0] - self.shaft[1], 6)

    @property
    def most(self) -> float:
        """Most air across the width, mm: the largest hole with the smallest shaft."""
        return round(self.hole[1] - self.shaft[0], 6)

    @property
    def clearance(self) -> float:
        """Air on each side to plan for, mm: half the mean of least and most, since a fit is stated across the width."""
        return round((self.least + self.most) / 4.0, 6)

    def __str__(self) -> str:
        return (
            f"{self.name} at {self.size:g} mm: air {self.least:.3f} to {self.most:.3f} mm across, "
            f"{self.clearance:.4f} mm planned on each side"
        )


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(files("pathgen.shop").joinpath("data/iso286.toml").read_text(encoding="utf-8"))


def _step(size: float) -> int:
    ends = np.asarray(_table()["upper_ends"], dtype=np.float64)
    positive("size", size)
    if size > ends[-1]:
        raise ArgumentError(
            f"size={size:g} mm: the table of fits ends at {ends[-1]:g} mm; give a clearance in mm instead"
        )
    return int(np.searchsorted(ends, size, side="left"))


def tolerance(grade: int, size: float) -> float:
    """Return the standard tolerance of a grade at a size, mm (ISO 286-1, Table 1).

    Args:
        grade: 6 to 12, as in IT7.
        size: nominal size, mm, above 0 to 120.

    Raises:
        ArgumentError: for a grade or size outside the table.

    >>> tolerance(7, 30), tolerance(7, 30.01)
    (0.021, 0.025)
    """
    rows = _table()["grades"]
    if str(grade) not in rows:
        raise ArgumentError(f"grade={grade!r} is not one of {', '.join(rows)}")
    return float(rows[str(grade)][_step(size)]) / 1000.0


def fit(name: str, size: float) -> Fit:
    """Return the limits of a clearance fit on the hole basis at a size.

    Args:
        name: hole H and a shaft from d to h, each with its grade from 6 to 12, such as "H8/f7".
        size: nominal size across, mm, above 0 to 120.

    Raises:
        ArgumentError: for another kind of fit, or a size outside the table.

    Source: ISO 286-1 (limits and fits), as secondary tables give it: see `pathgen/shop/data/iso286.toml`.

    >>> print(fit("H8/f7", 50))
    H8/f7 at 50 mm: air 0.025 to 0.089 mm across, 0.0285 mm planned on each side
    """
    found = _WORDS.fullmatch(name) if isinstance(name, str) else None
    shafts = _table()["shafts"]
    if found is None or found[2] not in shafts:
        raise ArgumentError(
            f"fit={name!r} is not a clearance fit on the hole basis: give H with a grade from 6 to 12, then one "
            f"of {', '.join(shafts)} with a grade, such as 'H8/f7'"
        )
    above = tolerance(int(found[1]), size)
    upper = float(shafts[found[2]][_step(size)]) / 1000.0
    wide = tolerance(int(found[3]), size)
    limits = [round(size + d, 6) for d in (above, upper - wide, upper)]
    return Fit(
        name=f"H{found[1]}/{found[2]}{found[3]}",
        size=float(size),
        hole=(float(size), limits[0]),
        shaft=(limits[1], limits[2]),
    )
