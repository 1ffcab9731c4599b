"""Narrow waste: cleared away with the slot around it, so that nothing drops loose beside the turning cutter.

Terminology
-----------
waste
    what lies on the cutter's side of an outline and is no part: outside it the frame, inside it the cut-out.
slug
    a piece of waste that a through cut frees from the frame: in a hole, between two parts, in a bay whose mouth the
    slot closes.

A slug too narrow for bridges would jam between cutter and wall once its last level is cut. Instead the cutter clears it
level by level, from its middle outwards, before the last contour around it is cut: at no time is a piece of it free.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.contours import OFFSET, Contour, Side, closed_path
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Path
from pathgen.model.tool import Direction
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.tolerance import WALL

NARROW = 2.5
"""Slugs narrower than this many cutter diameters are cleared away (common practice, no source). Larger: time; smaller:
slivers drop loose."""

SPECK = 0.02
"""Waste that holds no disc of this radius is what two slots leave by their offsets' errors, mm; see
`pathgen.cuts.leftover`. Larger: chips are left; smaller: dust is chased."""

MARGIN = 8.0
"""How much of the frame is looked at round everything that is cut, in radii. Larger: nothing changes; smaller: a lead
may reach past it, and what it cuts off counts as held."""

STEP = 0.9
"""Greatest distance of the ways that clear a slug, in radii: all that lies between two of them is cut by one or the
other. Larger: what offsets err by stays as slivers; smaller: more laps."""

OUTERMOST = 0.4
"""How far the outermost way lies outside the slug, in radii. Larger: more laps in wide slugs; smaller: in narrow slugs
a way so small that the tool turns on the spot."""

INNERMOST = 0.5
"""How far the innermost way lies from the slug's middle, in radii, where it is free to choose. Larger: nothing is left
in hand for what offsets err by; smaller: the tool turns on the spot."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Waste:
    """What slots leave of the waste.

    Attributes:
        left: its pieces, mm.
        frame: the line that pieces of the frame touch.
        walls: the outlines.
        radius: of the cutter, mm.
    """

    left: MultiPolygon
    frame: BaseGeometry
    walls: BaseGeometry
    radius: float

    @classmethod
    def beside(cls, region: MultiPolygon, side: Side, kerf: BaseGeometry, radius: float) -> Waste:
        """Return what `kerf` leaves on the cutter's side of a region."""
        around = box(*kerf.bounds).buffer(MARGIN * radius, join_style="mitre")
        waste = around.difference(region) if side == "outside" else region
        return cls(
            left=as_multi(waste.difference(kerf)),
            frame=around.exterior,
            walls=shapely.boundary(region),
            radius=radius,
        )

    def less(self, swept: BaseGeometry) -> Waste:
        """Return what is left once `swept` is cut too."""
        return replace(self, left=as_multi(self.left.difference(swept)))

    def loose(self) -> list[Polygon]:
        """Return the pieces that hang on nothing, smallest first.

        What the cutter leaves in corners and gaps hangs on an outline; a slug lies a whole slot off.
        """
        found = [
            p
            for p in self.left.geoms
            if not p.intersects(self.frame)
            and p.distance(self.walls) > self.radius
            and not p.buffer(-SPECK, quad_segs=4).is_empty
        ]
        return sorted(found, key=lambda p: (round(p.area, 6), *np.round(p.bounds, 6)))

    def freed_by(self, swept: BaseGeometry) -> bool:
        """Return whether cutting `swept` too would free a piece more."""
        return len(self.less(swept).loose()) > len(self.loose())


def clear_narrow(
    found: list[Contour], region: MultiPolygon, side: Side, *, diameter: float, direction: Direction
) -> tuple[list[MultiPolygon], Waste]:
    """Give contours the ways that clear narrow slugs; return what those sweep, one for each slug, and the waste left.

    Slugs that are wide enough for bridges go into the `Contour.slug` of the contour round them. Those in a bay or
    between parts, round which no contour runs, are cleared whatever their width.

    Args:
        found: all contours, in the order they are cut; they get `clearing` and `slug`.
        region: the parts (inside: the cut-outs), mm.
        side: of the outline.
        diameter: of the cutter, mm.
        direction: "climb" or "conventional".
    """
    radius = 0.5 * diameter
    slots = [_slot(c, radius) for c in found]
    waste = Waste.beside(region, side, shapely.union_all(slots), radius)
    cleared = []
    for slug in waste.loose():
        deep = float(shapely.maximum_inscribed_circle(slug, 0.01 * radius).length)
        near = [c for c, slot in zip(found, slots, strict=True) if slot.dwithin(slug, WALL)]
        around = [c for c in near if c.frees_waste and c.ring.contains(slug)]
        if deep >= 0.5 * NARROW * diameter and around:
            around[0].slug = MultiPolygon([*around[0].slug.geoms, slug])
            continue
        near[-1].clearing += _ways(slug, deep, radius, direction)
        cleared.append(grown(slug, (1.0 + OUTERMOST) * radius + WALL))
    return cleared, waste.less(shapely.union_all(cleared)) if cleared else waste


def _slot(contour: Contour, radius: float) -> BaseGeometry:
    """Return what is cut along a contour, mm."""
    lines = [LineString(p.flattened(OFFSET)[:, :2]) for p in contour.ways]
    return shapely.union_all([grown(line, radius, error=OFFSET) for line in lines])


def _ways(slug: Polygon, deep: float, radius: float, direction: Direction) -> list[Path]:
    """Return the ways that clear `slug`, whose middle lies `deep` mm from its edge; innermost first."""
    more = math.ceil((deep - (1.0 - OUTERMOST) * radius) / (STEP * radius))
    step = min(STEP * radius, (deep + (OUTERMOST - INNERMOST) * radius) / more) if more > 0 else STEP * radius
    rings: list[FloatArray] = []
    region = grown(slug, OUTERMOST * radius, error=OFFSET)
    while not region.is_empty:
        rings[:0] = [r for piece in region.geoms for r in _rings(piece, direction)]
        left = grown(region, -(radius - OFFSET), error=OFFSET)
        region = MultiPolygon([p for p in grown(region, -step, error=OFFSET).geoms if p.intersects(left)])
    return [closed_path(r) for r in rings]


def _rings(piece: Polygon, direction: Direction) -> list[FloatArray]:
    """Return the outlines of `piece`, in the direction in which its walls would be cut from inside."""
    turned = shapely.orient_polygons(piece, exterior_cw=direction != "climb")
    return [shapely.get_coordinates(r) for r in shapely.get_rings(turned)]
