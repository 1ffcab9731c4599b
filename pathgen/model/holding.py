"""What keeps a piece still, and where no tool may go."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, field
from typing import TypeAlias

from shapely.geometry import MultiPoint, MultiPolygon, Point, Polygon

from pathgen.errors import ArgumentError, numbers, positive

ATMOSPHERE = 101.325
"""Standard pressure of the air, kPa (ISO 2533): no vacuum pulls harder."""

SCREW_ROUND = 16
"""Segments in a quarter of a screw's head: its outline leaves the circle by 0.005 mm at a radius of 4 mm."""


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
        name: how findings call it, such as "left clamp"; None = by its number.
    """

    region: Polygon | MultiPolygon
    height: float
    _: KW_ONLY
    name: str | None = None

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


@dataclass(frozen=True, eq=False)
class Vacuum:
    """A vacuum under a region.

    Args:
        region: where the board lies on the suction, mm, stock coordinates; its sealed area, not the table's.
        pressure: below that of the air around, kPa, as read with the board in place.

    Raises:
        ArgumentError: for a region without an area, or a pressure that no vacuum has.
    """

    region: Polygon | MultiPolygon
    pressure: float

    def __post_init__(self) -> None:
        _area("vacuum", self.region)
        if positive("pressure", self.pressure) > ATMOSPHERE:
            raise ArgumentError(
                f"pressure={self.pressure:g} kPa below the air's is more than the air has ({ATMOSPHERE:g} kPa): give "
                "kPa as the gauge shows them, such as 60"
            )


@dataclass(frozen=True, eq=False)
class Screws:
    """Screws through the board into the table. No tool may touch one, so each is a keep-out too.

    Args:
        points: middles of the screws, [(x, y), …], mm, stock coordinates.
        head: diameter of their heads, mm.
        proud: how far the heads stand above the face, mm; 0 for sunk ones.

    Attributes:
        region: the heads seen from above, mm.
        keep_outs: one for each screw.

    Raises:
        ArgumentError: for no points, or sizes that are not above 0.

    >>> round(Screws([(10, 10), (290, 10)]).region.area, 1)
    100.4
    """

    points: Sequence[tuple[float, float]]
    _: KW_ONLY
    head: float = 8.0
    proud: float = 2.0
    region: MultiPolygon = field(init=False, repr=False)
    keep_outs: tuple[KeepOut, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not isinstance(self.points, Iterable) or isinstance(self.points, str):
            raise ArgumentError(f"screws: points={self.points!r} must be [(x, y), …] in mm")
        found = tuple(numbers("screw", p, form="(x, y) in mm") for p in self.points)
        if not found:
            raise ArgumentError("screws: points holds none: give [(x, y), …] in mm")
        positive("head", self.head)
        positive("proud", self.proud, zero=True)
        put = object.__setattr__
        put(self, "points", found)
        heads = [Point(p).buffer(0.5 * self.head, quad_segs=SCREW_ROUND) for p in found]
        grown = MultiPoint(found).buffer(0.5 * self.head, quad_segs=SCREW_ROUND)
        put(self, "region", grown if isinstance(grown, MultiPolygon) else MultiPolygon([grown]))
        keep = [KeepOut(h, self.proud, name=f"screw at ({x:g}, {y:g})") for h, (x, y) in zip(heads, found, strict=True)]
        put(self, "keep_outs", tuple(keep))


Hold: TypeAlias = Tape | Vacuum | Screws
"""The ways to state how the stock, or a piece of it, is held."""
