"""What keeps a piece still, and where no tool may go."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import MultiPolygon, Polygon

from pathgen.errors import ArgumentError, positive


def _area(what: str, region: object) -> None:
    """Raise `ArgumentError` unless `region` is an area."""
    if not isinstance(region, Polygon | MultiPolygon) or region.is_empty or not region.is_valid:
        given = region if isinstance(region, int | float | str) else f"a {type(region).__name__} without an area"
        raise ArgumentError(f"{what}: region is {given!s}: give a Polygon, such as shapely.box(x0, y0, x1, y1), in mm")


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
        _area("keep-out", self.region)
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
        _area("tape", self.region)
        positive("shear", self.shear)
