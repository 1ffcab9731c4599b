"""What was asked, point by point, as data: the design that a proof holds the cut part against.

A rule is made from the *request* (region, angle, tip, depth, limit), never from the passes. At each point of
the stock the rules say `deepest` (lower is a gouge) and `leave` (higher is a residual), both heights in mm,
0 at the face of the stock and negative below. Where no rule speaks, deepest = 0: nothing may be cut.
Rules combine by min (the deepest permission, the lowest demand); `Bridge` then raises both. The rules are
evaluated by `pathgen.proof`, which does not know how a path was planned.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

import shapely
from shapely.geometry import MultiLineString, MultiPolygon

from pathgen.model.heightmap import HeightMap


@dataclass(frozen=True, eq=False, kw_only=True)
class Flat:
    """A flat floor over `region` at z = -`depth`, with upright walls.

    Attributes:
        region: mm, stock coordinates.
        depth: mm, positive down.
        open_edges: the region may run out of the stock.
        facing: the whole plane is a new face, on which later tools are set.
    """

    region: MultiPolygon
    depth: float
    open_edges: bool = False
    facing: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Groove:
    """A V-groove in `region`: depth grows with the distance d from its outline.

    deepest = -min(limit, begin + d / tan(angle / 2)). The tip's flat (width `tip`) keeps the bit out of
    places narrower than the tip and flattens the bottom: leave at p is the highest of
    begin + (max over |q - p| <= tip / 2 of d(q) - tip / 2) / tan(angle / 2), no lower than -limit; and where a limited
    floor has no floor tool, a ridge of height `ridge` may stand on it.

    With `widening` the same walls go on outside the region up to the face: there deepest = -max(begin - d /
    tan(angle / 2), 0), d being the distance from the outline; that is what a cone on the middle line cuts (elementary
    geometry). So the drawn width stands `begin` below the face: a face to be skimmed by that much, or the plug of a
    tapered inlay.

    Attributes:
        region: mm, stock coordinates.
        angle: included angle, degrees.
        tip: width of the tip's flat, mm.
        limit: floor depth, mm (inf where nothing limits it).
        begin: depth at which the groove begins, mm (upright walls above, unless `widening`).
        ridge: height left on the limited floor by the bit, mm; 0 with a floor tool.
        floor_diameter: diameter of the floor tool, mm; None without one.
        widening: the walls go on above `begin`.
        open_edges: the region may run out of the stock.
    """

    region: MultiPolygon
    angle: float
    tip: float = 0.0
    limit: float = float("inf")
    begin: float = 0.0
    ridge: float = 0.0
    floor_diameter: float | None = None
    widening: bool = False
    open_edges: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Kerf:
    """The slot beside (or on) an outline.

    Attributes:
        shape: the outline's region, or open lines for side="along"; mm, stock coordinates.
        side: "outside", "inside" or "along".
        width: width of the slot, mm; it lies wholly on its side of the outline ("along": half to each side).
        depth: mm, positive down; for a through cut the board's thickness.
        below: how much further down a through cut goes, mm.
        through: the slot must reach the underside.
    """

    shape: MultiPolygon | MultiLineString
    side: Literal["outside", "inside", "along"]
    width: float
    depth: float
    below: float = 0.0
    through: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Hole:
    """Round holes with upright walls and a cone for a bottom, as a drill leaves them.

    At a distance r from a center, deepest = leave = -(depth + below + (diameter / 2 - r) / tan(angle / 2)); of a hole
    that goes through nothing below the board is owed.

    Attributes:
        points: ((x, y), ...) centers, mm, stock coordinates.
        diameter: mm.
        depth: mm to which the hole has its full diameter, positive down; of a through hole the board's thickness.
        angle: included angle of the bottom's cone, degrees; 180 for a flat bottom.
        below: how much further down a through hole has its full diameter, mm.
        through: the hole must reach the underside at its full diameter.
    """

    points: tuple[tuple[float, float], ...]
    diameter: float
    depth: float
    angle: float = 118.0
    below: float = 0.0
    through: bool = False

    @property
    def point(self) -> float:
        """Height of the cone, mm: 0.300 diameters at 118 degrees (elementary geometry)."""
        return 0.5 * self.diameter / math.tan(math.radians(0.5 * self.angle)) if self.angle < 180 else 0.0

    @cached_property
    def region(self) -> MultiPolygon:
        """The holes seen from above, mm; chords leave the circles by 0.00008 diameters."""
        discs = shapely.union_all(shapely.buffer(shapely.points(self.points), 0.5 * self.diameter, quad_segs=64))
        return MultiPolygon([p for p in shapely.get_parts(discs) if p.area > 0])


@dataclass(frozen=True, eq=False, kw_only=True)
class Bridge:
    """Material left across a slot to hold the part.

    Attributes:
        line: the stretch of the tool's center line on which it is lifted, mm; its length is
            `length` + the cutter's diameter.
        diameter: of the cutter, mm.
        length: material left at its narrowest, along the center line, mm.
        top: height of the bridge's top, mm (negative).
        slope: degrees by which a ramped bridge rises to its top at each end; 90 for a flat one.
    """

    line: MultiLineString
    diameter: float
    length: float
    top: float
    slope: float = 90.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Heights:
    """A relief: the surface of a height map is both `deepest` and `leave`, over the map's own rectangle or `region`."""

    map: HeightMap
    region: MultiPolygon | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Free:
    """Where the tool may go down to -`depth` but need not: entries, leads, waste."""

    region: MultiPolygon
    depth: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """A line that the tip of a dragging tool is to follow: a cut without width, so it says nothing about heights.

    Attributes:
        lines: mm, stock coordinates; a closed line ends where it starts.
        depth: of the tip at its deepest, mm, positive down.
        overcut: how far a closed line is cut past its start, mm.
        through: the board is to be parted along the lines.
        waste: where the blade may be turned into its first direction, beside the lines.
    """

    lines: MultiLineString
    depth: float
    overcut: float = 0.0
    through: bool = False
    waste: MultiPolygon = field(default_factory=MultiPolygon)


Rule: TypeAlias = Flat | Groove | Kerf | Hole | Bridge | Heights | Free | Line


@dataclass(frozen=True, eq=False)
class Bounds:
    """All rules of one cut on one face of the stock.

    Attributes:
        rules: combined by min; `Bridge` rules then raise the result.
        mirrored: the face is the back of the stock.
    """

    rules: tuple[Rule, ...] = ()
    mirrored: bool = False
