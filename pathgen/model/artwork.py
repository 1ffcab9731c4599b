"""Shapes as the cuts take them: a region, a layer of a drawing, or lettering that knows its letters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol, TypeAlias, runtime_checkable

import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon

from pathgen.errors import DrawingError

Matrix: TypeAlias = tuple[float, float, float, float, float, float]
"""(a, b, d, e, dx, dy): x' = a x + b y + dx, y' = d x + e y + dy; the order that shapely.affinity takes."""


@runtime_checkable
class HasRegion(Protocol):
    """Anything with a filled area: `Lettering`, `Layer`, `Artwork`, `Stock`."""

    @property
    def region(self) -> Polygon | MultiPolygon:
        """The filled area, mm."""


Shape: TypeAlias = Polygon | MultiPolygon | HasRegion


@dataclass(frozen=True, eq=False, kw_only=True)
class Lettering:
    """Letters set in a line, with their identity kept so that equal ones are planned once.

    Attributes:
        region: all letters together, mm.
        glyphs: (outline id, matrix) for each letter; the matrix puts the outline where the letter stands.
        outlines: the outline of each id before its matrix, mm.
        tolerance: largest distance of the region from the font's true curves, mm.
        text: the words set.
    """

    region: MultiPolygon
    glyphs: tuple[tuple[str, Matrix], ...]
    outlines: Mapping[str, MultiPolygon]
    tolerance: float
    text: str = ""

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the inked box, mm."""
        x0, y0, x1, y1 = self.region.bounds
        return x1 - x0, y1 - y0


@dataclass(frozen=True, eq=False, kw_only=True)
class Layer:
    """One named part of a drawing.

    Attributes:
        name: as in the drawing.
        region: filled areas, mm.
        lines: open strokes, mm.
        tolerance: largest distance from the true curves, mm.
        units_guessed: the drawing did not state its unit, so its size is a guess.
        outlines: the area inside closed strokes without fill, mm.
    """

    name: str
    region: MultiPolygon
    lines: MultiLineString = field(default_factory=MultiLineString)
    tolerance: float = 0.002
    units_guessed: bool = False
    outlines: MultiPolygon = field(default_factory=MultiPolygon)


def region_of(shape: Shape, *, what: str = "shape") -> MultiPolygon:
    """Return the filled area of `shape` as a valid, non-empty MultiPolygon.

    Args:
        shape: Polygon, MultiPolygon, Lettering, Layer, Artwork or anything with `.region`; mm.
        what: how messages call it.

    Raises:
        DrawingError: if it is empty, has no area, holds NaN, or crosses itself; with the place.
    """
    name = getattr(shape, "name", None) or getattr(shape, "text", None)
    layer = name if isinstance(name, str) else None
    region = shape if isinstance(shape, Polygon | MultiPolygon) else getattr(shape, "region", None)
    if isinstance(region, LineString | MultiLineString) or isinstance(shape, LineString | MultiLineString):
        raise DrawingError(
            f"{what} is an open outline: it has no inside to cut. Close it, or cut along it", layer=layer
        )
    if isinstance(region, Polygon):
        region = MultiPolygon([region]) if not region.is_empty else MultiPolygon()
    if not isinstance(region, MultiPolygon):
        raise DrawingError(f"{what} is a {type(shape).__name__}, not a region: give a Polygon, a layer or lettering")
    if region.is_empty:
        lines = getattr(shape, "lines", None)
        why = (
            "holds open lines only: close them, or cut along them"
            if lines is not None and not lines.is_empty
            else "is empty"
        )
        raise DrawingError(f"{what} {why}", layer=layer)
    coords = shapely.get_coordinates(region)
    if not (abs(coords) < 1e6).all():
        raise DrawingError(f"{what} holds coordinates that are not numbers, or lie beyond 1 km", layer=layer)
    if not region.is_valid:
        raise DrawingError(
            f"{what} is not a valid area ({shapely.is_valid_reason(region)}): repair the drawing, or read() it with "
            "pathgen",
            layer=layer,
        )
    if region.area < 1e-6:
        raise DrawingError(f"{what} has no area", layer=layer)
    return region


def lines_of(shape: Shape | LineString | MultiLineString, *, what: str = "lines") -> MultiLineString:
    """Return the lines of `shape`: open lines as they are, of a region its outlines; mm.

    Raises:
        DrawingError: if there are none, or `shape` is nothing that has lines.
    """
    if isinstance(shape, LineString):
        shape = MultiLineString([] if shape.is_empty else [shape])
    if isinstance(shape, MultiLineString):
        lines = shape
    else:
        lines = getattr(shape, "lines", None) or MultiLineString()
        region = shape if isinstance(shape, Polygon | MultiPolygon) else getattr(shape, "region", None)
        if not isinstance(region, Polygon | MultiPolygon):
            raise DrawingError(
                f"{what}: a {type(shape).__name__} has no lines: give a LineString, MultiLineString, Polygon, a layer "
                "or lettering"
            )
        rings = [] if region.is_empty else [LineString(r.coords) for r in shapely.get_parts(shapely.boundary(region))]
        lines = MultiLineString([*lines.geoms, *rings])
    if lines.is_empty or not lines.length > 0:
        raise DrawingError(f"{what}: there is no line to cut along")
    return lines
