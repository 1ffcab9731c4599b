"""What is known of each material for planning and checking: its family, entries, slots and chip loads.

The figures are common practice with no source, unless their line says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.stock import MATERIALS

LEAST_CHIP: Final = 0.01
"""Least chip load of any cutter, mm: below it an edge rubs instead of cutting. Common practice, no source."""

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
        chip_load: (least, most) chip load in shares of the cutter's diameter: an edge rubs below it, and breaks above;
            None where no cutter with edges is used, or no figure is known.
    """

    name: str
    family: Family
    max_ramp: float
    slot_depth: float
    clear: bool = False
    chip_load: tuple[float, float] | None = None

    def chip_range(self, diameter: ArrayLike) -> tuple[FloatArray, FloatArray] | None:
        """Return (least, most) chip load, mm a tooth, of cutters of `diameter` (mm, array); None where not known.

        Shares of the diameter, since small cutters break at what large ones need; at least `LEAST_CHIP`. Common
        practice on routers, no source.

        >>> least, most = material("hardwood").chip_range(6)
        >>> print(least, most)
        0.024 0.18
        """
        if self.chip_load is None:
            return None
        across = np.asarray(diameter, dtype=np.float64)
        low, high = (np.maximum(share * across, LEAST_CHIP) for share in self.chip_load)
        return low, high


_SOFT: Final = (0.004, 0.03)
"""Chip load of wood and plastics in diameters: routers are fed at up to 2 to 3 %, and rub at a fifth of that."""


def _m(
    name: str,
    family: Family,
    max_ramp: float,
    slot_depth: float,
    chip_load: tuple[float, float] | None = None,
    clear: bool = False,
) -> Material:
    return Material(
        name=name, family=family, max_ramp=max_ramp, slot_depth=slot_depth, chip_load=chip_load, clear=clear
    )


_TABLE: Final = {
    m.name: m
    for m in (
        _m("hardwood", "wood", 5.0, 2.0, _SOFT),
        _m("softwood", "wood", 10.0, 2.0, _SOFT),
        _m("plywood", "board", 5.0, 2.0, _SOFT),
        _m("mdf", "board", 5.0, 2.0, _SOFT),
        _m("hdu foam", "foam", 10.0, 2.0, _SOFT),
        _m("xps foam", "foam", 10.0, 2.0, _SOFT),
        _m("acrylic", "plastic", 5.0, 1.0, _SOFT, clear=True),
        _m("polycarbonate", "plastic", 5.0, 1.0, _SOFT, clear=True),
        _m("pvc foam", "plastic", 5.0, 2.0, _SOFT),
        _m("brass", "metal", 3.0, 1.0, (0.002, 0.012)),
        _m("aluminium", "metal", 3.0, 1.0, (0.003, 0.015)),
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
