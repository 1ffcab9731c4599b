"""What one unit of a DXF is, from the raw $INSUNITS alone: a library's default header must not decide it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from pathgen.artwork.compose import Settings
from pathgen.artwork.report import Report
from pathgen.artwork.svgvalues import UNITS_MM
from pathgen.errors import DrawingError
from pathgen.units import MM_PER_INCH

_SURVEY_FOOT: Final = 1200.0 / 3937.0 * 1000.0

INSUNITS: Final[Mapping[int, tuple[str, float]]] = MappingProxyType(
    {
        1: ("inch", MM_PER_INCH),
        2: ("foot", 12 * MM_PER_INCH),
        3: ("mile", 63360 * MM_PER_INCH),
        4: ("mm", 1.0),
        5: ("cm", 10.0),
        6: ("m", 1e3),
        7: ("km", 1e6),
        8: ("microinch", 1e-6 * MM_PER_INCH),
        9: ("thousandth of an inch", 1e-3 * MM_PER_INCH),
        10: ("yard", 36 * MM_PER_INCH),
        11: ("angstrom", 1e-7),
        12: ("nanometre", 1e-6),
        13: ("micrometre", 1e-3),
        14: ("dm", 100.0),
        15: ("dam", 1e4),
        16: ("hm", 1e5),
        17: ("Gm", 1e12),
        18: ("astronomical unit", 1.495978707e14),
        19: ("light year", 9.4607304725808e18),
        20: ("parsec", 3.0856775814913673e19),
        21: ("US survey foot", _SURVEY_FOOT),
        22: ("US survey inch", _SURVEY_FOOT / 12),
        23: ("US survey yard", _SURVEY_FOOT * 3),
        24: ("US survey mile", _SURVEY_FOOT * 5280),
    }
)
"""Name and mm of each value of $INSUNITS: DXF Reference, HEADER section."""


def _header(data: bytes, name: bytes) -> int | None:
    """Return the whole number of a header variable in the raw file, text or binary, or None."""
    found = re.search(re.escape(name) + rb"\s*[\r\n]+\s*70\s*[\r\n]+\s*(-?\d+)", data)
    if found:
        return int(found[1])
    at = data.find(name + b"\x00")
    if at < 0:
        return None
    at += len(name) + 1
    at += 2 if data[at : at + 2] == b"\x46\x00" else 1
    return int.from_bytes(data[at : at + 2], "little", signed=True)


def scale_of(data: bytes, settings: Settings, report: Report) -> tuple[float, bool]:
    """Return (mm in one unit of the drawing, whether that is a guess); the decision is a `Note`.

    Raises:
        DrawingError: a unit code the format does not know.
    """
    if settings.units is not None:
        report.say("units", f"one unit of the drawing is 1 {settings.units}, as asked")
        return UNITS_MM[settings.units], False
    code = _header(data, b"$INSUNITS")
    if code in (None, 0):
        hint = {0: "; its $MEASUREMENT hints at inches", 1: "; its $MEASUREMENT hints at mm"}
        measured = _header(data, b"$MEASUREMENT")
        report.say(
            "units",
            "the drawing states no unit, so one unit is taken as 1 mm"
            + (hint.get(measured, "") if measured is not None else "")
            + "; if the size is wrong, give units=, such as units='in'",
        )
        return 1.0, True
    if code not in INSUNITS:
        raise DrawingError(f"$INSUNITS is {code}, which no unit has: give units='mm' or another", file=settings.file)
    name, scale = INSUNITS[code]
    report.say("units", f"the drawing states its unit: one unit is 1 {name}")
    return scale, False
