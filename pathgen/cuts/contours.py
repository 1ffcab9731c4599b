"""The ways a cutter's center takes round a shape: which rings, which way round, inner ones first.

Direction: a spindle that turns clockwise seen from above climbs when the cutter moves with the material it finishes on
its right. So climb runs clockwise round the outside of a part, and counter-clockwise inside a hole or a cut-out;
conventional is the reverse. The waste lies on the other side of the path. (Elementary kinematics.)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.polygon import orient

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Path
from pathgen.model.tool import Direction
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.tolerance import ARC_FIT, WALL

Side = Literal["outside", "inside"]

OFFSET = 0.002
"""Error of the offsets, mm: half of what planning may spend, since a finish pass and a rough one both use it."""


@dataclass(eq=False, kw_only=True)
class Contour:
    """One closed way beside an outline.

    Attributes:
        path: of the tool's center, at z = 0, in cutting direction.
        ring: the same as a polygon.
        outline: the outlines it runs along, as polygons: of one piece or hole, or of several pieces that stand nearer
            to each other than the cutter is wide.
        frees_waste: what it encloses is a cut-out, not the part.
        lanes: further ways in the waste that widen the slot.
        finish: the ways of the finish pass, nearer to the wall by the finish allowance.
        clearing: ways that clear narrow waste away, innermost first; see `pathgen.cuts.slugs`.
        slug: the waste it frees that wants bridges; see `pathgen.cuts.slugs`.
        inner: indices of contours that lie inside it, to be cut before.
    """

    path: Path
    ring: Polygon
    outline: MultiPolygon
    frees_waste: bool
    lanes: list[Path] = field(default_factory=list)
    finish: list[Path] = field(default_factory=list)
    clearing: list[Path] = field(default_factory=list)
    slug: MultiPolygon = field(default_factory=MultiPolygon)
    inner: list[int] = field(default_factory=list)

    @property
    def ways(self) -> list[Path]:
        """All ways of the tool's center."""
        return [self.path, *self.lanes, *self.finish, *self.clearing]


def center_region(region: MultiPolygon, side: Side, by: float) -> MultiPolygon:
    """Return the region whose outlines the cutter's center follows: grown outside, shrunk inside."""
    return grown(region, by if side == "outside" else -by, error=OFFSET)


def contours(
    region: MultiPolygon,
    side: Side,
    *,
    radius: float,
    allowance: float = 0.0,
    lanes: tuple[float, ...] = (),
    direction: Direction = "climb",
) -> list[Contour]:
    """Return the closed ways round `region`, inner ones before those around them.

    Args:
        region: mm.
        side: "outside" of the region (its holes on their inside), or "inside" it (its holes on their outside).
        radius: of the cutter, mm.
        allowance: left for a finish pass, mm; 0 = none.
        lanes: distances of further ways from the first, into the waste, mm.
        direction: "climb" or "conventional".

    Raises:
        ArgumentError: where the cutter does not fit into a hole or piece; with the place and its width.
    """
    _refuse_narrow(region, side, radius + allowance)
    wall = _rings(center_region(region, side, radius + allowance), side, direction)
    if not wall:
        raise ArgumentError(f"a cutter of {2 * radius:g} mm fits nowhere {side} this shape: take a smaller one")
    found = []
    outlines = shapely.polygons(shapely.get_rings(np.array(region.geoms)))
    for ring, encloses in wall:
        waste = encloses if side == "inside" else not encloses
        outline = _beside(ring, outlines, radius + allowance)
        found.append(Contour(path=closed_path(ring), ring=Polygon(ring), outline=outline, frees_waste=waste))
    _attach(found, [r for by in lanes for r, _ in _lane(region, side, radius + allowance + by, direction)], "lanes")
    if allowance:
        _attach(found, [r for r, _ in _rings(center_region(region, side, radius), side, direction)], "finish")
    found.sort(key=lambda c: (c.ring.area, *np.round(c.ring.bounds, 6)))
    for k, c in enumerate(found):
        c.inner = [j for j in range(k) if c.ring.contains(Point(found[j].path.points[0, :2]))]
    return found


def _lane(region: MultiPolygon, side: Side, by: float, direction: Direction) -> list[tuple[FloatArray, bool]]:
    return _rings(center_region(region, side, by), side, direction)


def _rings(center: MultiPolygon, side: Side, direction: Direction) -> list[tuple[FloatArray, bool]]:
    """Return (vertices, first one repeated; it is an outer ring) of each outline, in cutting direction."""
    sign = (-1.0 if side == "outside" else 1.0) * (1.0 if direction == "climb" else -1.0)
    out = []
    for piece in center.geoms:
        turned = orient(piece, sign)
        out.append((shapely.get_coordinates(turned.exterior), True))
        out += [(shapely.get_coordinates(r), False) for r in turned.interiors]
    return out


def closed_path(ring: FloatArray) -> Path:
    """Return a closed path through a ring, begun in the middle of its longest chord, lines and arcs fitted."""
    xy = ring[:-1]
    size = np.hypot(*(np.roll(xy, -1, axis=0) - xy).T)
    k = int(np.argmax(np.round(size, 6)))
    middle = 0.5 * (xy[k] + xy[(k + 1) % len(xy)])
    if size[k] > 1.0:
        xy = np.concatenate([[middle], np.roll(xy, -(k + 1), axis=0)])
    return Path(fit_arcs(xy, tolerance=ARC_FIT, closed=True))


def _beside(ring: FloatArray, outlines: NDArray[np.object_], by: float) -> MultiPolygon:
    """Return the outlines along which `ring` runs at the distance `by`."""
    off = shapely.distance(shapely.get_exterior_ring(outlines), LineString(ring))
    return MultiPolygon(outlines[off <= max(by, float(off.min())) + WALL].tolist())


def _attach(found: list[Contour], rings: list[FloatArray], to: str) -> None:
    """Give each ring to the contour it lies nearest to."""
    lines = np.array([LineString(c.ring.exterior.coords) for c in found])
    for ring in rings:
        probe = shapely.points(ring[:: max(1, len(ring) // 16)])
        off = shapely.distance(lines[:, None], probe[None, :]).max(axis=1)
        getattr(found[int(np.argmin(np.round(off, 6)))], to).append(closed_path(ring))


def _refuse_narrow(region: MultiPolygon, side: Side, radius: float) -> None:
    """Raise `ArgumentError` for a hole or a piece in which the cutter finds no place at all."""
    if side == "inside":
        rooms, what = list(region.geoms), "piece"
    else:
        rooms, what = [Polygon(r) for p in region.geoms for r in p.interiors], "hole"
    if not rooms:
        return
    for room in np.array(rooms)[shapely.is_empty(shapely.buffer(np.array(rooms), -radius))]:
        circle = shapely.maximum_inscribed_circle(room, 0.001)
        x, y = shapely.get_coordinates(circle)[0]
        raise ArgumentError(
            f"the {what} at ({x:.2f}, {y:.2f}) is {2 * circle.length:.2f} mm wide, too narrow for {2 * radius:g} mm "
            "(the cutter with its finish allowance): take a smaller cutter, or leave that outline out"
        )


def unreached(region: MultiPolygon, side: Side, radius: float) -> MultiPolygon:
    """Return the waste beside the outline that a cutter of `radius` cannot reach: inner corners and narrow gaps, mm."""
    if side == "outside":
        closed = grown(grown(region, radius, error=OFFSET), -radius, error=OFFSET)
        left = closed.difference(region)
    else:
        left = region.difference(grown(grown(region, -radius, error=OFFSET), radius, error=OFFSET))
    # slivers thinner than the error of the offsets are no material
    return as_multi(shapely.buffer(shapely.buffer(left, -2 * OFFSET), 2 * OFFSET))
