"""What was asked, point by point, as data: the design that a proof holds the cut part against.

A rule is made from the *request* (region, angle, tip, depth, limit), never from the passes. At each point of
the stock the rules say `deepest` (lower is a gouge) and `leave` (higher is a residual), both heights in mm,
0 at the face of the stock and negative below. Where no rule speaks, deepest = 0: nothing may be cut.
Rules combine by min (the deepest permission, the lowest demand); `Bridge` then raises both. The rules are
evaluated by `pathgen.proof`, which does not know how a path was planned.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from shapely.geometry import MultiLineString, MultiPolygon

from pathgen.model.heightmap import HeightMap


@dataclass(frozen=True, eq=False, kw_only=True)
class Flat:
    """A flat floor over `region` at z = -`depth`, with upright walls.

    Attributes:
        region: mm, stock coordinates.
        depth: mm, positive down.
        open_edges: the region may run out of the stock.
    """

    region: MultiPolygon
    depth: float
    open_edges: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Groove:
    """A V-groove in `region`: depth grows with the distance d from its outline.

    deepest = -min(limit, begin + d / tan(angle / 2)). The tip's flat (width `tip`) keeps the bit out of
    places narrower than the tip and flattens the bottom: leave at p is the highest of
    begin + (max over |q - p| <= tip / 2 of d(q) - tip / 2) / tan(angle / 2), no lower than -limit; and where a limited
    floor has no floor tool, a ridge of height `ridge` may stand on it.

    Attributes:
        region: mm, stock coordinates.
        angle: included angle, degrees.
        tip: width of the tip's flat, mm.
        limit: floor depth, mm (inf where nothing limits it).
        begin: depth at which the groove begins, mm (upright walls above).
        ridge: height left on the limited floor by the bit, mm; 0 with a floor tool.
        floor_diameter: diameter of the floor tool, mm; None without one.
    """

    region: MultiPolygon
    angle: float
    tip: float = 0.0
    limit: float = float("inf")
    begin: float = 0.0
    ridge: float = 0.0
    floor_diameter: float | None = None


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
        depth: of the tip at the last pass, mm, positive down.
        overcut: how far a closed line is cut past its start, mm.
        through: the board is to be parted along the lines.
        waste: where the blade may be turned into its first direction, beside the lines.
    """

    lines: MultiLineString
    depth: float
    overcut: float = 0.0
    through: bool = False
    waste: MultiPolygon = field(default_factory=MultiPolygon)


Rule: TypeAlias = Flat | Groove | Kerf | Bridge | Heights | Free | Line


@dataclass(frozen=True, eq=False)
class Bounds:
    """All rules of one cut on one face of the stock.

    Attributes:
        rules: combined by min; `Bridge` rules then raise the result.
        mirrored: the face is the back of the stock.
    """

    rules: tuple[Rule, ...] = ()
    mirrored: bool = False
