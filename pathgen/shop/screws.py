"""Holes for metric screws: clearance by ISO 273, and the seats of two kinds of heads.

The figures stand with their sources in ``data/iso273.toml``.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal, TypeAlias

from pathgen.errors import ArgumentError, one_of

Fit: TypeAlias = Literal["fine", "medium", "coarse"]
Head: TypeAlias = Literal["pan", "countersunk"]

FITS = ("fine", "medium", "coarse")


@dataclass(frozen=True, kw_only=True)
class Screw:
    """A metric screw as far as its hole goes.

    Attributes:
        size: such as "M4".
        thread: nominal diameter, mm.
        hole: diameter of the clearance hole, mm.
        head: "pan", "countersunk" or None.
        head_diameter: largest, mm; of a countersunk head to its sharp edge. 0 without a head.
        head_height: mm; 0 for a countersunk head, whose height follows from its angle.
    """

    size: str
    thread: float
    hole: float
    head: Head | None = None
    head_diameter: float = 0.0
    head_height: float = 0.0


@lru_cache(maxsize=1)
def _tables() -> dict[str, Any]:
    return tomllib.loads(files("pathgen.shop").joinpath("data/iso273.toml").read_text("utf-8"))


def screw(size: str, *, fit: Fit = "medium", head: Head | None = None) -> Screw:
    """Return what is known of a screw's hole.

    Args:
        size: "M1.6" to "M20".
        fit: series of the clearance hole: "fine", "medium" or "coarse" (ISO 273).
        head: "pan" (ISO 7045) or "countersunk" (ISO 2009, 90 degrees), M1.6 to M10; None = no seat.

    Raises:
        ArgumentError: for a size, a fit or a head that the tables do not hold.

    >>> screw("M4").hole, screw("M4", fit="coarse", head="pan").head_diameter
    (4.5, 8.0)
    """
    tables = _tables()
    one_of("size", size, tuple(tables["sizes"]))
    one_of("fit", fit, FITS)
    row = tables["sizes"][size]
    if head is None:
        return Screw(size=size, thread=row["thread"], hole=row[fit])
    one_of("head", head, ("pan", "countersunk", None))
    if size not in tables[head]:
        raise ArgumentError(
            f"there is no {head} head of {size} in the table ({', '.join(tables[head])}): take head=None and cut the "
            "seat by pocket() or chamfer()"
        )
    seat = tables[head][size]
    return Screw(
        size=size,
        thread=row["thread"],
        hole=row[fit],
        head=head,
        head_diameter=seat["diameter"],
        head_height=seat.get("height", 0.0),
    )
