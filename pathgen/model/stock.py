"""The raw slab and its zero."""

from __future__ import annotations

import math
from dataclasses import KW_ONLY, dataclass
from typing import Final, Literal, TypeAlias

from shapely.geometry import Polygon, box

from pathgen.errors import ArgumentError, number, numbers, one_of, positive

MATERIALS: Final = (
    "hardwood", "softwood", "plywood", "mdf", "hdu foam", "xps foam", "acrylic", "polycarbonate", "pvc foam",
    "brass", "aluminium", "card", "stone", "glass",
)  # fmt: skip
"""The materials pathgen knows by name; `pathgen.shop.materials` says what is known of each."""

Zero: TypeAlias = Literal["lower-left", "center"] | tuple[float, float]


class Through:
    """The depth of a cut that goes through the board. There is one: `THROUGH`."""

    def __repr__(self) -> str:
        return "THROUGH"


THROUGH: Final = Through()
Depth: TypeAlias = float | Through


@dataclass(frozen=True)
class Stock:
    """The raw slab: lower left corner at (0, 0), top face at Z = 0.

    Args:
        width: along X, mm.
        height: along Y, mm.
        thickness: nominal, along Z, mm.
        material: one of `MATERIALS`.
        thickness_range: (least, most) the board may measure, mm; None = not stated.
        zero: where programs have X0 Y0: "lower-left", "center" or (x, y) in stock coordinates.
        zero_height: where programs have Z0: "top" of the stock or the "table" under it.
        grain: direction of the grain, degrees counter-clockwise from X; None = none or not stated.
        film: thickness of a mask or protective film on the face, mm.
        zero_on_film: Z is set on the film, not on the face.
        unevenness: how far the face may lie above or below its plane, mm.
        outline: the slab's true outline where it is no rectangle, inside width x height.

    Raises:
        ArgumentError: for sizes that are not above 0, a range that does not hold the nominal, an unknown word.

    >>> Stock(300, 150, 18, material="hardwood").thinnest
    18
    """

    width: float
    height: float
    thickness: float
    _: KW_ONLY
    material: str
    thickness_range: tuple[float, float] | None = None
    zero: Zero = "lower-left"
    zero_height: Literal["top", "table"] = "top"
    grain: float | None = None
    film: float = 0.0
    zero_on_film: bool = False
    unevenness: float = 0.0
    outline: Polygon | None = None

    def __post_init__(self) -> None:
        for name in ("width", "height", "thickness"):
            positive(name, getattr(self, name))
        positive("film", self.film, zero=True)
        positive("unevenness", self.unevenness, zero=True)
        one_of("material", self.material, MATERIALS)
        one_of("zero_height", self.zero_height, ("top", "table"))
        if isinstance(self.zero, str):
            one_of("zero", self.zero, ("lower-left", "center"))
        else:
            numbers("zero", self.zero, form="'lower-left', 'center' or (x, y) in mm")
        if self.grain is not None:
            number("grain", self.grain, unit="degrees counter-clockwise from X")
        if self.thickness_range is not None:
            lo, hi = numbers("thickness_range", self.thickness_range, form="(least, most) in mm")
            if not 0 < lo <= self.thickness <= hi < math.inf:
                raise ArgumentError(
                    f"thickness_range=({lo:g}, {hi:g}) must hold the nominal thickness {self.thickness:g}"
                )
        if self.outline is not None and (
            not isinstance(self.outline, Polygon)
            or self.outline.is_empty
            or not self.outline.is_valid
            or not box(0, 0, self.width, self.height).buffer(1e-6).covers(self.outline)
        ):
            raise ArgumentError("outline must be a valid polygon inside width x height of the stock")

    @property
    def region(self) -> Polygon:
        """The slab seen from above, mm."""
        return self.outline if self.outline is not None else box(0, 0, self.width, self.height)

    @property
    def thinnest(self) -> float:
        """The least the board may measure, mm; the nominal where no range is stated."""
        return self.thickness_range[0] if self.thickness_range else self.thickness

    @property
    def thickest(self) -> float:
        """The most the board may measure, mm; the nominal where no range is stated."""
        return self.thickness_range[1] if self.thickness_range else self.thickness

    @property
    def zero_xy(self) -> tuple[float, float]:
        """Where programs have X0 Y0, in stock coordinates, mm."""
        if self.zero == "lower-left":
            return (0.0, 0.0)
        if self.zero == "center":
            return (0.5 * self.width, 0.5 * self.height)
        return (float(self.zero[0]), float(self.zero[1]))

    @property
    def zero_z(self) -> float:
        """Where programs have Z0, in stock coordinates, mm: 0, the film's top, or minus the thickness."""
        if self.zero_height == "table":
            return -self.thickness
        return self.film if self.zero_on_film else 0.0
