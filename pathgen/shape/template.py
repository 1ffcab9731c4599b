"""Templates at true scale: the outline of a part with what is drawn on it, in pieces where the sheet is too small.

Terminology
-----------
check bar
    A line of a known length with a tick every 10 mm: whoever uses the template measures it first.
match mark
    A line straight across a joint with as many ticks on each side as the joint has number: two pieces belong together
    where the ticks are as many, and lie true where the line runs straight on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.affinity import affine_transform, translate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, box
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError, numbers, one_of, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Layer, Shape, lines_of, region_of
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import FLATTEN, NOISE, quad_segs

TICK = 4.0
"""Height of the ticks of a check bar, mm; those at its ends are twice as high."""

CROSS = 10.0
"""Length of the lines of a cross, mm."""

MATCH = 12.0
"""How far a match mark runs into each piece, mm."""

APART = 2.0
"""Distance of the ticks of a match mark, mm."""

SHIFT = 2.0
"""Steps by which joints are moved to keep off holes, mm."""

LOOK = 4.0
"""Distance of the places at which room for the check bar is looked for, mm."""


def template(
    shape: Shape,
    *,
    sheet: Sequence[float] | None = None,
    bar: float = 100.0,
    marks: Literal["crosses", "holes", "none"] = "crosses",
    points: Sequence[Sequence[float]] | None = None,
    hole: float = 3.0,
    label: Shape | LineString | MultiLineString | None = None,
    margin: float = 6.0,
    name: str = "template",
) -> tuple[Layer, ...]:
    """Return a part as a template at true scale, with a check bar, marks and a label drawn on it.

    Nothing is ever scaled but the label. A part larger than `sheet` comes in pieces with straight joints that keep off
    holes where they can, each with a bar of its own and with match marks across its joints.

    Args:
        shape: the part, mm.
        sheet: (width, height) of the largest piece that can be cut, mm; None = one piece.
        bar: length of the check bar, mm; 0 = none. Where a piece has no room for it, it is drawn below the piece.
        marks: registration marks, as crosses to be drawn or as holes to be cut.
        points: where they are, (x, y) in mm; None = the two places furthest apart in each piece.
        hole: diameter of the holes, mm.
        label: lettering or lines to be drawn where there is most room; made smaller until it fits.
        margin: least distance of all this from the part's edge, mm.
        name: of the layers; pieces are numbered by row, from below, and column.

    Returns:
        One `Layer` for each piece, its lower left corner at (0, 0): `.region` is cut out, `.lines` are drawn or scored.

    Raises:
        ArgumentError: for a sheet too small for bar and margins, or points outside the part.
        DrawingError: for a shape without area.

    >>> piece, = template(box(0, 0, 300, 80))
    >>> piece.region.bounds
    (0.0, 0.0, 300.0, 80.0)
    """
    region = region_of(shape)
    one_of("marks", marks, ("crosses", "holes", "none"))
    positive("bar", bar, zero=True)
    positive("hole", hole)
    positive("margin", margin, zero=True)
    spots = None if points is None else _spots(points, region)
    x0, y0, x1, y1 = region.bounds
    wide, high = _largest(x1 - x0, y1 - y0, sheet, bar + 2 * margin)
    xs = _edges(region, x0, x1, wide, margin, upright=True)
    ys = _edges(region, y0, y1, high, margin, upright=False)
    rows, columns = len(ys) - 1, len(xs) - 1
    joints = np.array([line for mark in _joints(region, xs, ys) for line in mark.geoms], dtype=object)
    label_lines = None if label is None else lines_of(label, what="label")
    pieces = []
    for row, (low, high) in enumerate(pairwise(ys.tolist()), 1):
        for column, (left, right) in enumerate(pairwise(xs.tolist()), 1):
            cell = box(left, low, right, high)
            part = region if rows * columns == 1 else as_multi(region.intersection(cell))
            if part.area < NOISE:
                continue
            inside = shapely.get_parts(shapely.intersection(joints, part))  # one by one, so that crossings stay whole
            matched = MultiLineString([g for g in inside if isinstance(g, LineString) and g.length > NOISE])
            title = name if rows * columns == 1 else f"{name} row {row} column {column}"
            pieces.append(_piece(part, matched, bar, marks, spots, hole, label_lines, margin, title))
    return tuple(pieces)


def _spots(points: Sequence[Sequence[float]], region: MultiPolygon) -> list[Point]:
    found = [Point(*numbers("points", p, form="a list of (x, y) in mm")) for p in points]
    outside = [p for p in found if not region.covers(p)]
    if outside:
        raise ArgumentError(f"points holds ({outside[0].x:g}, {outside[0].y:g}), which lies outside the part")
    return found


def _largest(width: float, height: float, sheet: Sequence[float] | None, least: float) -> tuple[float, float]:
    """Return how large a piece may be, mm."""
    if sheet is None:
        return width, height
    wide, high = (positive("sheet", v) for v in numbers("sheet", sheet, form="(width, height) in mm"))
    if max(wide, high) < least:
        raise ArgumentError(
            f"sheet={wide:g} x {high:g} mm has no room for a check bar with its margins ({least:g} mm): give a shorter "
            "bar="
        )
    return wide, high


def _edges(
    region: MultiPolygon, low: float, high: float, largest: float, margin: float, *, upright: bool
) -> FloatArray:
    """Return where pieces begin and end along X (`upright` joints) or Y, mm: evenly, but joints keep off holes."""
    count = max(1, math.ceil((high - low) / largest - NOISE))
    edges = np.linspace(low, high, count + 1)
    slack = 0.5 * (largest - (high - low) / count)
    holes = [r for p in region.geoms for r in p.interiors]
    shift = np.arange(0.0, slack, SHIFT)
    shift = np.concatenate([shift, -shift[1:]])
    if not holes or not len(shift):
        return edges
    span = region.bounds[1::2] if upright else region.bounds[0::2]
    for k in range(1, count):
        at = edges[k] + shift
        ends = np.stack([np.column_stack([at, np.full(len(at), v)]) for v in span], axis=1)
        lines = shapely.linestrings(ends if upright else ends[..., ::-1])
        near = (shapely.distance(lines[:, None], np.array(holes)[None]) < margin).sum(axis=1)
        edges[k] = at[np.lexsort((np.round(np.abs(shift), 6), near))[0]]
    return edges


def _joints(region: MultiPolygon, xs: FloatArray, ys: FloatArray) -> Iterator[MultiLineString]:
    """Yield the match marks of all joints, each with as many ticks as its joint has number."""
    x0, y0, x1, y1 = region.bounds
    number = 0
    for upright, values in ((True, xs[1:-1]), (False, ys[1:-1])):
        for value in values.tolist():
            number += 1
            line = LineString([(value, y0), (value, y1)] if upright else [(x0, value), (x1, value)])
            for stretch in shapely.get_parts(line.intersection(region)):
                if stretch.length < APART:
                    continue
                shares = (0.25, 0.75) if stretch.length > 4 * MATCH else (0.5,)
                for share in shares:
                    at = stretch.interpolate(share, normalized=True)
                    yield _match(at.x, at.y, number, upright=upright)


def _match(x: float, y: float, ticks: int, *, upright: bool) -> MultiLineString:
    """Return a match mark at a place on a joint."""
    lines = [[(-MATCH, 0.0), (MATCH, 0.0)]]
    for k in range(ticks):
        for side in (-1.0, 1.0):
            at = side * (MATCH - 1.0 - APART * k)
            lines.append([(at, -0.5 * TICK), (at, 0.5 * TICK)])
    mark = MultiLineString(lines)
    made: MultiLineString = affine_transform(mark, (1, 0, 0, 1, x, y) if upright else (0, -1, 1, 0, x, y))
    return made


def _piece(
    part: MultiPolygon,
    matched: MultiLineString,
    bar: float,
    marks: str,
    spots: Sequence[Point] | None,
    hole: float,
    label: MultiLineString | None,
    margin: float,
    title: str,
) -> Layer:
    """Return one piece with everything on it, at (0, 0)."""
    drawn: list[BaseGeometry] = [matched]
    region = part
    size = CROSS if marks == "crosses" else hole
    room = part.difference(matched.buffer(margin)) if not matched.is_empty else part
    places = [] if marks == "none" else _places(room, spots, part, margin + 0.5 * size)
    for p in places:
        if marks == "crosses":
            h = 0.5 * CROSS
            drawn.append(MultiLineString([[(p.x - h, p.y), (p.x + h, p.y)], [(p.x, p.y - h), (p.x, p.y + h)]]))
        else:
            region = region.difference(p.buffer(0.5 * hole, quad_segs=quad_segs(0.5 * hole, FLATTEN)))
        room = room.difference(p.buffer(0.5 * size + margin))
    if bar > 0:
        ruler = _ruler(room, part, bar, margin)
        drawn.append(ruler)
        room = room.difference(shapely.box(*ruler.bounds).buffer(margin))
    if label is not None and (words := _labelled(room, label, margin)) is not None:
        drawn.append(words)
    lines = [g for d in drawn for g in shapely.get_parts(d) if isinstance(g, LineString) and g.length > NOISE]
    x, y = shapely.total_bounds([part, *lines])[:2].tolist()
    return Layer(
        name=title,
        region=as_multi(translate(region, -x, -y)),
        lines=translate(MultiLineString(lines), -x, -y),
    )


def _places(room: BaseGeometry, spots: Sequence[Point] | None, part: MultiPolygon, away: float) -> list[Point]:
    """Return where registration marks of this piece are."""
    if spots is not None:
        return [p for p in spots if part.contains(p)]
    inner = room.buffer(-away)
    if inner.is_empty:
        return []
    corners = np.unique(shapely.get_coordinates(inner.convex_hull).round(3), axis=0)
    far = np.round(np.hypot(*(corners[:, None] - corners[None]).transpose(2, 0, 1)), 3)
    a, b = divmod(int(np.argmax(far)), len(corners))
    ends = [Point(corners[k]) for k in dict.fromkeys((a, b))]
    return [shapely.shortest_line(inner, p).interpolate(0) for p in ends]


def _ruler(room: BaseGeometry, part: MultiPolygon, length: float, margin: float) -> MultiLineString:
    """Return the check bar, level or upright where there is room in the piece, else below it."""
    inner = room.buffer(-margin, join_style="mitre")
    shapely.prepare(inner)
    for upright in (False, True):
        size = (2 * TICK, length) if upright else (length, 2 * TICK)
        if inner.is_empty:
            break
        x0, y0, x1, y1 = inner.bounds
        spans = ((x0, x1, size[0]), (y0, y1, size[1]))
        x, y = (np.append(np.arange(a, b - s, LOOK), max(b - s, a)) for a, b, s in spans)
        gx, gy = (g.ravel() for g in np.meshgrid(x, y))
        fits = shapely.covers(inner, shapely.box(gx, gy, gx + size[0], gy + size[1]))
        if fits.any():
            off = np.hypot(gx + 0.5 * size[0] - 0.5 * (x0 + x1), gy - y0).round(3)
            k = int(np.flatnonzero(fits)[np.argmin(off[fits])])
            return _bar(float(gx[k]), float(gy[k]), length, upright=upright)
    x0, y0, _, _ = part.bounds
    return _bar(x0, y0 - 2 * TICK - margin, length, upright=False)


def _bar(x: float, y: float, length: float, *, upright: bool) -> MultiLineString:
    """Return a bar with its lower left corner at (x, y)."""
    at = [10.0 * k for k in range(1, math.ceil(length / 10.0 - NOISE))]
    lines = [[(0.0, TICK), (length, TICK)], [(0.0, 0.0), (0.0, 2 * TICK)], [(length, 0.0), (length, 2 * TICK)]]
    lines += [[(v, TICK), (v, (2.0 if k % 5 == 0 else 1.5) * TICK)] for k, v in enumerate(at, 1)]
    made: MultiLineString = affine_transform(
        MultiLineString(lines), (0, 1, 1, 0, x, y) if upright else (1, 0, 0, 1, x, y)
    )
    return made


def _labelled(room: BaseGeometry, label: MultiLineString, margin: float) -> MultiLineString | None:
    """Return the label where there is most room, smaller if it must be; None where there is none."""
    inner = as_multi(room.buffer(-margin))
    if inner.is_empty:
        return None
    circles = [shapely.maximum_inscribed_circle(p, tolerance=1.0) for p in inner.geoms]
    widest = max(circles, key=lambda c: float(c.length))
    (cx, cy), _ = shapely.get_coordinates(widest)
    x0, y0, x1, y1 = label.bounds
    scale = min(1.0, 2.0 * widest.length / max(math.hypot(x1 - x0, y1 - y0), NOISE))
    mx, my = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    made: MultiLineString = affine_transform(label, (scale, 0, 0, scale, cx - scale * mx, cy - scale * my))
    return made
