"""Plates to cut from, and shapes put into place: fitted into another, mirrored, moved.

Every function here returns the kind of thing that it was given, so that lettering keeps its letters and a layer its
lines. A move is six numbers (`pathgen.model.artwork.Matrix`); lettering composes them with its letters' own.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Literal, TypeAlias, TypeVar

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, MultiLineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from pathgen.errors import ArgumentError, number, one_of, positive
from pathgen.model.artwork import HasRegion, Layer, Lettering, Matrix, Shape, region_of
from pathgen.shape.tolerance import FLATTEN, NOISE, quad_segs

T = TypeVar("T")
Corner: TypeAlias = Literal["square", "round", "hollow", "cut"]
Fit: TypeAlias = Literal["shrink", "none", "fill"]
Align: TypeAlias = Literal[
    "center", "left", "right", "top", "bottom", "top-left", "top-right", "bottom-left", "bottom-right"
]

ALIGNMENTS: Mapping[str, tuple[float, float]] = {
    "center": (0.5, 0.5), "left": (0.0, 0.5), "right": (1.0, 0.5), "top": (0.5, 1.0), "bottom": (0.5, 0.0),
    "top-left": (0.0, 1.0), "top-right": (1.0, 1.0), "bottom-left": (0.0, 0.0), "bottom-right": (1.0, 0.0),
}  # fmt: skip
"""Share of the free room that is left on the left and below."""

ROUNDS = 40
"""Halvings of the scale in an outline that is no rectangle: 2^-40 of the size is below any noise."""

SMALLEST_SCALE = 1e-3
"""A shape that fits only when it is made a thousand times smaller does not fit."""

LARGEST_PLATE = 1e5
"""Longest side of a plate, mm: longer ones are a mistaken unit."""

FARTHEST = 1e9
"""Largest coordinate of a shape to be placed, mm. Larger: floats lose the micrometre; smaller: drawings in survey
coordinates could not be placed."""


# -- plates -------------------------------------------------------------------------------------------------------


def plate(width: float, height: float, *, corner: Corner = "square", radius: float = 0.0) -> Polygon:
    """Return a plate with its lower left corner at (0, 0).

    Args:
        width: along X, mm.
        height: along Y, mm.
        corner: "square", "round" (convex quarter circles), "hollow" (concave ones, centered on the square's
            corners) or "cut" (straight at 45 degrees).
        radius: of the corner, or what a cut takes off each side, mm. Arcs are flattened within 0.002 mm, with
            their vertices on the circle.

    Raises:
        ArgumentError: for sizes that are not above 0, a radius missing or of no use, or larger than half a side.

    >>> plate(280, 120).bounds
    (0.0, 0.0, 280.0, 120.0)
    >>> plate(40, 40, corner="cut", radius=10).area
    1400.0
    """
    w, h = positive("width", width), positive("height", height)
    if max(w, h) > LARGEST_PLATE:
        raise ArgumentError(f"a plate of {w:g} x {h:g} mm is more than 100 m long: give its size in mm")
    one_of("corner", corner, ("square", "round", "hollow", "cut"))
    r = positive("radius", radius, zero=True)
    if corner == "square":
        if r:
            raise ArgumentError(
                f"radius={r:g} is of no use with corner='square': give corner='round', 'hollow' or 'cut'"
            )
        return orient(box(0.0, 0.0, w, h))
    if r == 0:
        raise ArgumentError(f"corner={corner!r} needs a radius above 0 mm")
    if r > 0.5 * min(w, h) + NOISE:
        raise ArgumentError(f"radius={r:g} mm is more than half of the plate's {min(w, h):g} mm: make it smaller")
    return _cornered(w, h, corner, r)


def _cornered(w: float, h: float, corner: str, r: float) -> Polygon:
    n = 1 if corner == "cut" else quad_segs(r, FLATTEN)
    turn = np.linspace(0.0, 0.5 * math.pi, n + 1)
    quarter = np.column_stack([np.cos(turn), np.sin(turn)])
    quarter[[0, -1]] = (1.0, 0.0), (0.0, 1.0)  # exact ends, so that straight sides stay straight
    # first the upper right corner, counter-clockwise: from (w, h - r) to (w - r, h), seen from its own middle
    hollow = corner == "hollow"
    piece = np.array([w, h]) - r * quarter[:, ::-1] if hollow else np.array([w - r, h - r]) + r * quarter
    flip_x, flip_y = np.array([w, 0.0]), np.array([0.0, h])
    left = np.abs(flip_x - piece)[::-1]
    ring = np.concatenate([piece, left, np.abs(flip_y - left)[::-1], np.abs(flip_y - piece)[::-1]])
    keep = np.any(np.abs(ring - np.roll(ring, 1, axis=0)) > NOISE, axis=1)
    return orient(Polygon(ring[keep]))


# -- moving -------------------------------------------------------------------------------------------------------


def mirror(shape: T, *, across: float) -> T:
    """Return `shape` mirrored left to right at the vertical line x = `across` (mm).

    Mirror the artwork and plan afterwards: a mirrored path would turn climb milling into conventional.

    Args:
        shape: Polygon, MultiPolygon, lines, Lettering, Layer, or artwork with a region; kept as it is.
        across: x of the mirror line, mm.

    Raises:
        ArgumentError: for a line that is not a number, or something that has no shape.

    >>> mirror(plate(20, 10), across=50).bounds
    (80.0, 0.0, 100.0, 10.0)
    """
    x = number("across", across, unit="x of the mirror line, mm")
    return transformed(shape, (-1.0, 0.0, 0.0, 1.0, 2.0 * x, 0.0))


def move(shape: T, *, dx: float = 0.0, dy: float = 0.0, turn: float = 0.0) -> T:
    """Return `shape` turned counter-clockwise by `turn` degrees about (0, 0), then shifted by (dx, dy) mm.

    Raises:
        ArgumentError: for numbers that are none, or something that has no shape.
    """
    dx, dy, turn = number("dx", dx), number("dy", dy), number("turn", turn, unit="degrees")
    quarters = turn / 90.0
    if quarters == int(quarters):  # exact, so that squares stay square
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarters) % 4]
    else:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return transformed(shape, (c, -s, s, c, float(dx), float(dy)))


def place(
    shape: T,
    into: Shape,
    *,
    align: Align = "center",
    margin: float = 0.0,
    fit: Fit = "shrink",
) -> T:
    """Return `shape` put into another: its box aligned to the box of `into`, and wholly inside its outline.

    Args:
        shape: Polygon, MultiPolygon, LineString, MultiLineString, Lettering, Layer, or artwork with a region.
        into: a Polygon, a Stock, or anything with a region. Its holes do not count.
        align: where in the box: "center", "left", "right", "top", "bottom", "top-left", "top-right",
            "bottom-left", "bottom-right". Lettering is aligned by its ink, not by its baseline.
        margin: room left inside the outline of `into`, mm.
        fit: "shrink" makes it smaller where it is too large, "fill" also larger, both in proportion and about the
            aligned corner or middle; "none" keeps its size.

    Returns:
        The same kind of thing. Scaling multiplies the tolerance of lettering and layers.

    Raises:
        ArgumentError: if there is no room left by the margin, or with fit="none" the shape is too large or would
            stand over the outline; with sizes in mm.
        DrawingError: for an `into` that is no valid area.

    >>> place(plate(10, 10), plate(100, 50), align="top-right", margin=5).bounds
    (85.0, 35.0, 95.0, 45.0)
    """
    one_of("align", align, tuple(ALIGNMENTS))
    one_of("fit", fit, ("shrink", "none", "fill"))
    outer = _room(into, positive("margin", margin, zero=True))
    ink = _ink(shape)
    x0, y0, x1, y1 = shapely.total_bounds(ink).tolist()
    a0, b0, a1, b1 = outer.bounds
    w, h, room_w, room_h = x1 - x0, y1 - y0, a1 - a0, b1 - b0
    sizes = f"the shape is {w:.2f} x {h:.2f} mm, the room {room_w:.2f} x {room_h:.2f} mm"
    largest = min((room / size for size, room in ((w, room_w), (h, room_h)) if size > 0), default=1.0)
    if fit == "none" and largest < 1.0 - NOISE / max(w, h):
        raise ArgumentError(f"{sizes} within a margin of {margin:g} mm: take a smaller shape, or fit='shrink'")
    scale = {"none": 1.0, "shrink": min(1.0, largest), "fill": largest}[fit]
    fx, fy = ALIGNMENTS[align]

    def at(s: float) -> Matrix:
        return (s, 0.0, 0.0, s, a0 + fx * (room_w - s * w) - s * x0, b0 + fy * (room_h - s * h) - s * y0)

    inner = _largest(ink, outer, at, scale, once=fit == "none")
    if inner < SMALLEST_SCALE * scale:
        way_out = "fit='shrink'" if fit == "none" else "a larger margin"
        raise ArgumentError(
            f"{sizes}, but at align={align!r} it stands over the outline of what it is placed into: take another "
            f"align, {way_out}, or a smaller shape"
        )
    return transformed(shape, at(inner))


def _largest(
    ink: list[BaseGeometry], outer: Polygon, at: Callable[[float], Matrix], scale: float, *, once: bool
) -> float:
    """Return the largest scale, up to `scale`, at which the ink lies inside an outline; 0 where none was found.

    In a rectangle that is `scale` itself. In another outline it is found by halving, from 0 (always inside, where
    the aligned point is) upwards; `once` tries `scale` alone.
    """
    convex = outer.convex_hull.area - outer.area <= NOISE
    probe = [shapely.convex_hull(shapely.geometrycollections(ink))] if convex else ink  # the same answer, sooner
    inside = outer.buffer(NOISE, join_style="mitre")
    shapely.prepare(inside)

    def fits(s: float) -> bool:
        return bool(shapely.covers(inside, _affine(np.array(probe, dtype=object), at(s))).all())

    if fits(scale):
        return scale
    low, high = 0.0, scale
    for _ in range(0 if once else ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _room(into: Shape, margin: float) -> Polygon:
    """Return the outline of `into`, holes filled, less the margin; the largest piece where that parts it."""
    region = region_of(into, what="into")
    filled = shapely.union_all([Polygon(p.exterior) for p in region.geoms])
    left = filled.buffer(-margin, join_style="mitre") if margin > NOISE else filled
    pieces = [p for p in shapely.get_parts(left) if p.area > NOISE]
    if not pieces:
        x0, y0, x1, y1 = region.bounds
        raise ArgumentError(f"margin={margin:g} mm leaves no room in {x1 - x0:.2f} x {y1 - y0:.2f} mm: make it smaller")
    if len(pieces) > 1:
        raise ArgumentError(
            f"into falls into {len(pieces)} pieces inside a margin of {margin:g} mm: give the one to place into"
        )
    return pieces[0]


def _ink(shape: Any) -> list[BaseGeometry]:
    """All that a shape draws, filled and as lines."""
    if isinstance(shape, BaseGeometry):
        parts = [shape]
    else:
        found = [getattr(shape, "region", None), getattr(shape, "lines", None)]
        parts = [g for g in found if isinstance(g, BaseGeometry)]
        if not parts:
            raise ArgumentError(
                f"a {type(shape).__name__} has no shape: give a Polygon, lines, lettering, a layer or artwork"
            )
    parts = [p for p in parts if not p.is_empty]
    if not parts:
        raise ArgumentError("the shape is empty: there is nothing to place")
    if not (np.abs(shapely.get_coordinates(parts)) < FARTHEST).all():
        raise ArgumentError("the shape holds coordinates that are not numbers, or that lie beyond 1000 km")
    return parts


# -- one transform for every kind ---------------------------------------------------------------------------------


def composed(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the matrix that does `inner`, then `outer`.

    >>> composed((2, 0, 0, 2, 1, 1), (1, 0, 0, 1, 10, 0))
    (2, 0, 0, 2, 21, 1)
    """
    a, b, d, e, x, y = outer
    p, q, r, s, u, v = inner
    return (a * p + b * r, a * q + b * s, d * p + e * r, d * q + e * s, a * u + b * v + x, d * u + e * v + y)


def transformed(shape: T, matrix: Matrix) -> T:
    """Return `shape` under a similarity `matrix` (move, turn, even scaling, mirror), as the same kind of thing.

    Filled areas stay oriented (outer rings counter-clockwise) under a mirror; lines keep their direction of travel.

    Args:
        shape: shapely polygons and lines, Lettering, Layer, or a frozen dataclass made of these with a `.region`
            (otherwise a thing with `.region` comes back as a `Layer`).
        matrix: see `pathgen.model.artwork.Matrix`.

    Raises:
        ArgumentError: for something that has no shape.
    """
    moved: Any
    if isinstance(shape, BaseGeometry):
        moved = _affine(shape, matrix)
    elif isinstance(shape, Lettering):
        moved = dataclasses.replace(
            shape,
            region=_affine(shape.region, matrix),
            glyphs=tuple((name, composed(matrix, own)) for name, own in shape.glyphs),
            tolerance=shape.tolerance * _scale(matrix),
        )
    elif isinstance(shape, Layer):
        moved = dataclasses.replace(
            shape,
            region=_affine(shape.region, matrix),
            lines=_affine(shape.lines, matrix),
            tolerance=shape.tolerance * _scale(matrix),
        )
    elif isinstance(shape, HasRegion):
        moved = _compound(shape, matrix)
    else:
        raise ArgumentError(
            f"a {type(shape).__name__} cannot be moved: give a Polygon, lines, lettering, a layer or artwork"
        )
    result: T = moved
    return result


def _compound(shape: Any, matrix: Matrix) -> Any:
    """Move artwork: every field that is a shape, and shapes within its mappings and tuples."""
    want = _affine(shape.region, matrix)
    if dataclasses.is_dataclass(shape) and not isinstance(shape, type):
        fields = {f.name: getattr(shape, f.name) for f in dataclasses.fields(shape) if f.init}
        changed = {k: v for k, old in fields.items() if (v := _member(k, old, matrix)) is not old}
        result: Any = dataclasses.replace(shape, **changed)
        got = result.region  # worked out from the moved parts, or not
        if np.allclose(shapely.bounds(got), shapely.bounds(want), atol=NOISE, equal_nan=True):
            return result
    region = want if isinstance(want, MultiPolygon) else MultiPolygon([want])
    lines = getattr(shape, "lines", None)
    return Layer(
        name=str(getattr(shape, "name", "") or type(shape).__name__),
        region=region,
        lines=_affine(lines, matrix) if isinstance(lines, MultiLineString) else MultiLineString(),
        tolerance=float(getattr(shape, "tolerance", FLATTEN)) * _scale(matrix),
        units_guessed=bool(getattr(shape, "units_guessed", False)),
    )


class _Moved(Mapping[str, Any]):
    """A mapping of shapes under a matrix, each moved when it is asked for: a drawing may hold thousands."""

    def __init__(self, shapes: Mapping[str, Any], matrix: Matrix) -> None:
        self._shapes, self._matrix = shapes, matrix
        self._made: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._made:
            self._made[name] = _member("", self._shapes[name], self._matrix)
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._shapes)

    def __len__(self) -> int:
        return len(self._shapes)


def _member(name: str, value: Any, matrix: Matrix) -> Any:
    """Move one field: shapes, mappings and tuples of shapes, places of notes; scale `tolerance` and `size`."""
    a, b, d, e, x, y = matrix
    if name == "tolerance" and isinstance(value, float):
        return value * _scale(matrix)
    if name == "size" and isinstance(value, tuple):
        return tuple(v * _scale(matrix) for v in value)
    if isinstance(value, BaseGeometry | Lettering | Layer):
        return transformed(value, matrix)
    if isinstance(value, Mapping) and value:
        first = next(iter(value.values()))
        return _Moved(value, matrix) if isinstance(first, BaseGeometry | Lettering | Layer) else value
    if isinstance(value, tuple) and value:
        return tuple(_member("", v, matrix) for v in value)
    where = getattr(value, "where", None)
    if dataclasses.is_dataclass(value) and not isinstance(value, type) and isinstance(where, tuple) and len(where) == 2:
        u, v = where
        at: dict[str, Any] = {"where": (a * u + b * v + x, d * u + e * v + y)}
        return dataclasses.replace(value, **at)
    return value


def _scale(matrix: Matrix) -> float:
    a, b, d, e, _, _ = matrix
    return math.sqrt(abs(a * e - b * d))


def _affine(geometry: Any, matrix: Matrix) -> Any:
    """Apply `matrix` to all coordinates at once; areas come out oriented even under a mirror."""
    a, b, d, e, x, y = matrix
    linear, shift = np.array([[a, d], [b, e]]), np.array([x, y])
    moved = shapely.transform(geometry, lambda c: c @ linear + shift)
    if a * e - b * d > 0 or isinstance(moved, Point | LineString | LinearRing | MultiLineString):
        return moved
    if isinstance(moved, Polygon):
        return orient(moved)
    if isinstance(moved, MultiPolygon):
        return MultiPolygon([orient(p) for p in moved.geoms])
    return moved
