"""The raw slab and its zero."""

from __future__ import annotations

import math
from dataclasses import KW_ONLY, dataclass
from functools import lru_cache
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import MultiPoint, Polygon, box

from pathgen.errors import ArgumentError, number, numbers, one_of, positive
from pathgen.model.arrays import FloatArray

MATERIALS: Final = (
    "hardwood", "softwood", "plywood", "mdf", "hdu foam", "xps foam", "acrylic", "polycarbonate", "pvc foam",
    "brass", "aluminium", "card", "stone", "glass",
)  # fmt: skip
"""The materials pathgen knows by name; `pathgen.shop.materials` says what is known of each."""

HULL: Final = 1e-6
"""How far beyond the outermost measured points the face still counts as known, mm. Noise only."""

Heights: TypeAlias = tuple[tuple[float, float, float], ...]
"""Measured heights of the face, rows (x, y, z) in mm."""

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
        measured_top: heights of the face that the maker measured, rows (x, y, z) in mm in stock coordinates, z above
            the plane on which Z is set; between them the face is interpolated (`top_at`), beyond them it is unknown.

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
    measured_top: ArrayLike | None = None

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
        if self.measured_top is not None:
            object.__setattr__(self, "measured_top", _measured(self.measured_top, self.thickness))

    @property
    def heights(self) -> Heights | None:
        """The measured heights as rows (x, y, z), mm; None where the face is taken as flat."""
        return self.measured_top  # type: ignore[return-value]  # a tuple of rows since __post_init__

    @property
    def rise(self) -> float:
        """How far the highest measured place lies above the plane on which Z is set, mm; at least 0."""
        return max([0.0, *(row[2] for row in self.heights or ())])

    @property
    def dip(self) -> float:
        """How far the lowest measured place lies below the plane on which Z is set, mm; at least 0."""
        return -min([0.0, *(row[2] for row in self.heights or ())])

    @property
    def highest(self) -> float:
        """How far up anything of the stock may reach, mm: measured heights, unevenness and film included."""
        return self.rise + self.unevenness + self.film

    def top_at(self, x: ArrayLike, y: ArrayLike) -> FloatArray:
        """Return the height of the face at (x, y), mm; 0 where nothing was measured, NaN beyond the measured points.

        Points on a full grid are interpolated bilinearly, others linearly over their Delaunay triangles.

        >>> bowed = Stock(100, 50, 18, material="mdf", measured_top=[(0, 0, 0), (100, 0, 1), (0, 50, 0), (100, 50, 1)])
        >>> bowed.top_at([25, 50, 101], [10, 25, 25])
        array([0.25, 0.5 , nan])
        """
        px, py = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        if self.heights is None:
            return np.zeros(px.shape)
        height = _surface(self.heights)(px.ravel(), py.ravel())
        return height.reshape(px.shape)

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


# -- measured heights --------------------------------------------------------------------------------------------


def _measured(points: ArrayLike, thickness: float) -> Heights:
    """Return measured heights as rows that can be compared, or raise `ArgumentError` for what cannot be one face."""
    try:
        rows = np.asarray(points, dtype=np.float64)
    except (TypeError, ValueError):
        rows = np.empty(0)
    if rows.ndim != 2 or rows.shape[1:] != (3,) or not np.isfinite(rows).all():
        raise ArgumentError("measured_top must hold rows (x, y, z) in mm, such as [(0, 0, 0.1), (300, 0, -0.2), …]")
    if MultiPoint(rows[:, :2]).convex_hull.area < HULL:
        raise ArgumentError("measured_top needs at least three points that do not lie in one line")
    places, first, count = np.unique(rows[:, :2], axis=0, return_index=True, return_counts=True)
    if len(places) < len(rows):
        x, y = places[int(np.argmax(count))]
        raise ArgumentError(f"measured_top has two heights at ({x:g}, {y:g}): keep one of them")
    worst = int(np.argmax(np.abs(rows[:, 2])))
    if abs(rows[worst, 2]) >= thickness:
        x, y, z = rows[worst]
        raise ArgumentError(
            f"measured_top has z={z:g} at ({x:g}, {y:g}), as much as the stock is thick: heights are measured from the "
            "face, where Z is set"
        )
    return tuple((float(x), float(y), float(z)) for x, y, z in rows[np.sort(first)].tolist())


class _Grid:
    """A face measured on a full grid."""

    def __init__(self, x: FloatArray, y: FloatArray, z: FloatArray) -> None:
        self.x, self.y, self.z = x, y, z

    def __call__(self, x: FloatArray, y: FloatArray) -> FloatArray:
        known = (x >= self.x[0] - HULL) & (x <= self.x[-1] + HULL) & (y >= self.y[0] - HULL) & (y <= self.y[-1] + HULL)
        i = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.x) - 2)
        j = np.clip(np.searchsorted(self.y, y, side="right") - 1, 0, len(self.y) - 2)
        u = (x - self.x[i]) / (self.x[i + 1] - self.x[i])
        v = (y - self.y[j]) / (self.y[j + 1] - self.y[j])
        low = self.z[j, i] * (1 - u) + self.z[j, i + 1] * u
        high = self.z[j + 1, i] * (1 - u) + self.z[j + 1, i + 1] * u
        return np.where(known, low * (1 - v) + high * v, np.nan)


class _Triangles:
    """A face measured anywhere: plane over each Delaunay triangle."""

    def __init__(self, rows: FloatArray) -> None:
        faces = shapely.get_parts(shapely.delaunay_triangles(MultiPoint(rows[:, :2])))
        corners = shapely.get_coordinates(faces).reshape(-1, 4, 2)[:, :3]
        which = shapely.STRtree(shapely.points(rows[:, :2])).nearest(shapely.points(corners.reshape(-1, 2)))
        z = rows[which, 2].reshape(-1, 3)
        ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
        b, c = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
        self.slope = np.column_stack([b * ac[:, 1] - c * ab[:, 1], c * ab[:, 0] - b * ac[:, 0]]) / area[:, None]
        self.origin = np.column_stack([corners[:, 0], z[:, 0]])
        self.tree = shapely.STRtree(faces)

    def __call__(self, x: FloatArray, y: FloatArray) -> FloatArray:
        height = np.full(len(x), np.nan)
        known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        spots = shapely.points(x[known], y[known])
        spot, face = self.tree.query(spots, predicate="dwithin", distance=HULL)
        spot, face = known[spot[::-1]], face[::-1]
        step = np.column_stack([x[spot], y[spot]]) - self.origin[face, :2]
        height[spot] = self.origin[face, 2] + (step * self.slope[face]).sum(axis=1)
        return height


@lru_cache(maxsize=8)
def _surface(heights: Heights) -> _Grid | _Triangles:
    """Return the interpolation between measured heights."""
    rows = np.array(heights)
    x, column = np.unique(rows[:, 0], return_inverse=True)
    y, row = np.unique(rows[:, 1], return_inverse=True)
    if len(x) > 1 and len(y) > 1 and len(x) * len(y) == len(rows):
        z = np.empty((len(y), len(x)))
        z[row, column] = rows[:, 2]
        return _Grid(x, y, z)
    return _Triangles(rows)
