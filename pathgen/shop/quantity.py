"""Lengths, feeds and times as a maker types them: a number is metric, a text carries its own unit."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Final, Literal, TypeAlias

from pathgen.errors import ArgumentError
from pathgen.units import MM_PER_INCH

Quantity: TypeAlias = Literal["length", "feed", "acceleration", "plain"]

_INCH: Final = Fraction(str(MM_PER_INCH))
UNITS: Final[dict[Quantity, dict[str, Fraction]]] = {
    "length": {"mm": Fraction(1), "in": _INCH},
    "feed": {"mm/min": Fraction(1), "in/min": _INCH},
    "acceleration": {"mm/s2": Fraction(1), "in/s2": _INCH},
    "plain": {},
}
"""Word of a unit to its size in pathgen's own unit; "plain" numbers (rpm, degrees, counts, seconds) have one unit."""

_NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_TEXT: Final = re.compile(rf"({_NUMBER})(?:[ ]+([0-9]+)/([0-9]+)|/([0-9]+))?[ ]*([a-z][a-z0-9/]*)?", re.ASCII)


def quantity(value: object, kind: Quantity = "length") -> float:
    """Return what was typed in pathgen's own unit: mm, mm/min, mm/s2.

    Args:
        value: a number (metric), or a text of a number and a unit: "6 mm", "0.25 in", "1/4 in", "1 1/2 in",
            "60 in/min".
        kind: what is meant.

    Raises:
        ArgumentError: for anything else; the message says how it is to be typed.

    >>> quantity(6), quantity("6 mm"), quantity("1/4 in"), quantity("1 1/2 in"), quantity("60 in/min", "feed")
    (6.0, 6.0, 6.35, 38.1, 1524.0)
    """
    units = UNITS[kind]
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return _finite(value, float(value))
        except OverflowError:
            raise ArgumentError(f"{_shown(value)} is no finite number") from None
    if not isinstance(value, str) or not units:
        raise ArgumentError(
            f"{_shown(value)} must be a number" + (f", or a text such as {_forms(kind)}" if units else "")
        )
    found = _TEXT.fullmatch(value.strip())
    if found is None:
        raise ArgumentError(f"{_shown(value)} is no {kind}: type a number, or a text such as {_forms(kind)}")
    whole, above, below, alone, unit = found.groups()
    if unit is None:
        raise ArgumentError(
            f"{_shown(value)} has no unit: type {_forms(kind)}, or the number alone for {next(iter(units))}"
        )
    if unit not in units:
        raise ArgumentError(f"{_shown(value)}: the unit {unit!r} is not one of {', '.join(units)}")
    try:
        return float(_size(whole, above, below, alone) * units[unit])
    except (ZeroDivisionError, OverflowError, ValueError):
        raise ArgumentError(f"{_shown(value)} is no number: look at its fraction and its digits") from None


def _size(whole: str, above: str | None, below: str | None, alone: str | None) -> Fraction:
    """Return a number with its fraction: "1/4" is 0.25, "1 1/2" is 1.5."""
    size = Fraction(whole)
    if alone is not None:
        return size / int(alone)
    if above is None or below is None:
        return size
    part = Fraction(int(above), int(below))
    return size - part if whole.startswith("-") else size + part


def _finite(value: object, size: float) -> float:
    if not math.isfinite(size):
        raise ArgumentError(f"{_shown(value)} is no finite number")
    return size


def _forms(kind: Quantity) -> str:
    return {"length": '"6 mm" or "1/4 in"', "feed": '"1500 mm/min" or "60 in/min"'}.get(
        kind, '"500 mm/s2" or "20 in/s2"'
    )


def _shown(value: object) -> str:
    """Return a value as it stands in the file, shortened."""
    words = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return words if len(words) <= 60 else f"{words[:57]}..."
