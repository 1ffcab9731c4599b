"""What is known of each material for planning: its family, entries and slots.

The figures are common practice with no source, unless their line says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from pathgen.errors import ArgumentError
from pathgen.model.stock import MATERIALS

Family: TypeAlias = Literal["wood", "board", "foam", "plastic", "metal", "card", "mineral"]


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material's planning rules.

    Attributes:
        name: as in `MATERIALS`.
        family: what the cautions go by.
        max_ramp: steepest entry, degrees.
        slot_depth: deepest slot one cutter wide, in diameters, before chips must be cleared.
        clear: seen through, so finished walls show every mark.
    """

    name: str
    family: Family
    max_ramp: float
    slot_depth: float
    clear: bool = False


def _m(name: str, family: Family, max_ramp: float, slot_depth: float, clear: bool = False) -> Material:
    return Material(name=name, family=family, max_ramp=max_ramp, slot_depth=slot_depth, clear=clear)


_TABLE: Final = {
    m.name: m
    for m in (
        _m("hardwood", "wood", 5.0, 2.0),
        _m("softwood", "wood", 10.0, 2.0),
        _m("plywood", "board", 5.0, 2.0),
        _m("mdf", "board", 5.0, 2.0),
        _m("hdu foam", "foam", 10.0, 2.0),
        _m("xps foam", "foam", 10.0, 2.0),
        _m("acrylic", "plastic", 5.0, 1.0, clear=True),
        _m("polycarbonate", "plastic", 5.0, 1.0, clear=True),
        _m("pvc foam", "plastic", 5.0, 2.0),
        _m("brass", "metal", 3.0, 1.0),
        _m("aluminium", "metal", 3.0, 1.0),
        _m("card", "card", 5.0, 1.0),
        _m("stone", "mineral", 3.0, 1.0),
        _m("glass", "mineral", 3.0, 1.0, clear=True),
    )
}


def material(name: str) -> Material:
    """Return what is known of a material.

    Raises:
        ArgumentError: for a name that is not in `MATERIALS`.

    >>> material("brass").max_ramp
    3.0
    """
    try:
        return _TABLE[name]
    except KeyError:
        raise ArgumentError(f"material={name!r} is not one of {', '.join(map(repr, MATERIALS))}") from None
