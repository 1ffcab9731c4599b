"""What a material weighs, bears and costs to cut: figures for holding pieces still and for walls left standing.

Sources are named beside each column. They are fit to tell a hold that works from one that does not, not to design
with: a factor of `SAFETY` stands between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from pathgen.errors import ArgumentError
from pathgen.model.stock import MATERIALS

SAFETY: Final = 2.0
"""A hold must bear this many times the computed force. Common practice, no source."""

DULL: Final = 1.25
"""A dull edge takes up to this much more force (Groover, Fundamentals of Modern Manufacturing, Table 20.2: 1.00 to
1.25)."""

CHIP: Final = 0.25
"""Chip thickness, mm, at which specific energies are tabulated (the same table)."""

THINNER: Final = 0.3
"""Exponent by which thin chips cost more: U(h) = U(0.25 mm) x (0.25 / h)^0.3. From memory."""


@dataclass(frozen=True, kw_only=True)
class Strength:
    """Figures of one material.

    Attributes:
        name: as in `MATERIALS`.
        density: g/cm3. Common practice: middle of the trade's ranges.
        energy: to cut 1 mm3 at a chip thickness of 0.25 mm with a sharp edge, J/mm3. Aluminium and brass: Groover,
            Fundamentals of Modern Manufacturing, Table 20.2; MDF: particle board, Palubicki, Materials 2021, 14, 2208
            (32 to 38 N/mm2); others from memory. None where no cutter with edges is used.
        shear: strength of a bridge, N/mm2. From memory, the low end; wood along the grain.
        wall: least width of a wall left standing, mm, that runs along the grain or in a material without one. Common
            practice, no source.
        wall_across: the same across the grain, where fibres are short.
        slender: greatest height of a standing wall, in widths. Common practice, no source.
    """

    name: str
    density: float
    energy: float | None
    shear: float
    wall: float
    wall_across: float
    slender: float

    def chip_energy(self, thickness: Any) -> Any:
        """Return the energy, J/mm3, at a chip `thickness` in mm (> 0, array too): thin chips are dearer; else NaN.

        >>> round(strength("aluminium").chip_energy(0.025), 3)
        1.596
        """
        return (math.nan if self.energy is None else self.energy) * (CHIP / thickness) ** THINNER


def _s(
    name: str, density: float, energy: float | None, shear: float, wall: float, across: float, slender: float
) -> Strength:
    return Strength(
        name=name, density=density, energy=energy, shear=shear, wall=wall, wall_across=across, slender=slender
    )


_TABLE: Final = {
    s.name: s
    for s in (
        _s("hardwood", 0.70, 0.030, 8.0, 1.0, 2.0, 4.0),
        _s("softwood", 0.45, 0.020, 5.0, 1.5, 3.0, 3.0),
        _s("plywood", 0.60, 0.030, 4.0, 1.5, 2.0, 3.0),
        _s("mdf", 0.75, 0.035, 3.0, 2.0, 2.0, 3.0),
        _s("hdu foam", 0.25, 0.005, 1.0, 2.0, 2.0, 3.0),
        _s("xps foam", 0.035, 0.003, 0.2, 3.0, 3.0, 3.0),
        _s("acrylic", 1.19, 0.10, 30.0, 1.0, 1.0, 6.0),
        _s("polycarbonate", 1.20, 0.10, 40.0, 0.8, 0.8, 8.0),
        _s("pvc foam", 0.55, 0.015, 6.0, 1.5, 1.5, 4.0),
        _s("brass", 8.5, 2.2, 200.0, 0.4, 0.4, 10.0),
        _s("aluminium", 2.7, 0.8, 100.0, 0.5, 0.5, 10.0),
        _s("card", 0.7, 0.02, 2.0, 1.0, 1.0, 2.0),
        _s("stone", 2.7, None, 5.0, 3.0, 3.0, 2.0),
        _s("glass", 2.5, None, 10.0, 3.0, 3.0, 2.0),
    )
}


def strength(name: str) -> Strength:
    """Return the figures of a material.

    Raises:
        ArgumentError: for a name that is not in `MATERIALS`.

    >>> strength("acrylic").density
    1.19
    """
    try:
        return _TABLE[name]
    except KeyError:
        raise ArgumentError(f"material={name!r} is not one of {', '.join(map(repr, MATERIALS))}") from None
