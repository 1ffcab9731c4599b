"""What keeps a piece still, and where no tool may go."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import MultiPolygon, Polygon

from pathgen.errors import positive


@dataclass(frozen=True, eq=False)
class KeepOut:
    """A clamp, screw or fence that no tool may touch.

    Args:
        region: seen from above, mm, stock coordinates.
        height: above the face of the stock, mm.
    """

    region: Polygon | MultiPolygon
    height: float

    def __post_init__(self) -> None:
        positive("keep-out height", self.height, zero=True)


@dataclass(frozen=True, eq=False)
class Tape:
    """Double-sided tape under a region.

    Args:
        region: mm, stock coordinates.
        shear: the tape's own strength, N/mm2, as its maker states it.
    """

    region: Polygon | MultiPolygon
    shear: float

    def __post_init__(self) -> None:
        positive("shear", self.shear)
