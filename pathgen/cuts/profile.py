"""Cutting beside an outline, or along a line: levels, entries, leads, bridges, the finish pass.

Every contour is one chain: a ramp along it takes the tool from level to level without a lift, and a full lap follows
each ramp. Where there is room in the waste and no finish pass follows, the level is changed on a small helix beside the
contour instead, tangent to it, so that the tool never enters, stops or leaves on the wall. A finish pass comes down in
the slot already cut, joins and leaves the wall on tangent arcs, and overlaps its start.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon

from pathgen.cuts.bridges import Bridges
from pathgen.cuts.contours import Contour, Side, center_region, contours, unreached
from pathgen.cuts.entry import entry_angle
from pathgen.cuts.laps import Plan, beside, bridges_on, level_passes, lifts_on, open_line
from pathgen.cuts.model import Cut, Cuttings, cutting_for, levels, plan_depth, tool_notes
from pathgen.cuts.slugs import clear_narrow
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.artwork import Shape, lines_of, region_of
from pathgen.model.bounds import Bounds, Bridge, Free, Groove, Kerf
from pathgen.model.path import Path
from pathgen.model.stock import Depth, Stock
from pathgen.model.tool import BallNose, EndMill, Tool, VBit
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import ARC_FIT, WALL
from pathgen.shop.materials import material

__all__ = ["Bridges", "profile"]

CLEAR_FINISH = 0.25
"""Last wall pass in clear plastics, mm: 0.2 to 0.3 is common practice, no source."""

SMOOTH = math.radians(5.0)
"""A line that turns by less at a vertex is smooth there. Larger: the groove asked for is deeper than a V bit leaves
in the bend (0.001 of its width at 5 degrees); smaller: a rule for every chord of a curve."""

BEND = math.radians(30.0)
"""A run that turns by more is cut: so it never comes back beside itself. Larger: hooks; smaller: more rules."""

TIGHT = 0.9
"""Bends tighter than the bit's reach, but for this share, are cut at every `SMOOTH`: on their inner side its cones meet
before they have left what two straight walls would."""

NARROWEST_SLOT = 1.3
"""Slots that are widened for their chips measure at least this many diameters (common practice, no source)."""

LANE_STEP = 0.6
"""Distance of the ways that widen a slot, in diameters. Above half of it nothing is left between them only because
each overlaps the last by the rest; larger: heavier cuts; smaller: more laps."""


def profile(
    shape: Shape | LineString | MultiLineString,
    tool: Tool,
    *,
    depth: Depth,
    side: Literal["outside", "inside", "along"] = "outside",
    bridges: Bridges | None = None,
    finish_allowance: float = 0.0,
    entry: Literal["ramp", "plunge"] = "ramp",
    lead: float | None = None,
    below: float | None = None,
    slot_width: float | None = None,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Cut beside the outlines of `shape`, or along its lines.

    Outside, the tool's center runs at the cutter's radius from the outline, in true arcs round convex corners, and
    holes are cut on their inside, before the outline around them; inside is the reverse. Climb (the default of
    `Cutting`) runs clockwise outside and counter-clockwise inside. Where a through cut would free waste narrower than
    2.5 D, that is cleared away level by level, and a note says so.

    Args:
        shape: region or lettering; for side="along" also lines; mm, stock coordinates.
        tool: an end mill; for side="along" any cutter that spins, at constant depth.
        depth: mm, or `THROUGH`; a number of at least the stock's thickness is through too.
        side: of the outline.
        bridges: hold the part; only for cuts that go through. Cut-outs that would drop get them too.
        finish_allowance: mm left on the wall for a finish pass; over the full depth where the tool's `cutting_length`
            is known, else level by level. In clear plastics 0 means 0.25.
        entry: "ramp" along the contour (or a helix beside it), or "plunge".
        lead: radius of the tangent arcs by which the tool joins and leaves the wall, mm; None = by itself (0.4 D for
            the helix, the cutter's radius for finish passes, less where there is no room); 0 = none.
        below: how far a through cut goes under the nominal underside, mm; None = (thickest - nominal) + 0.2.
        slot_width: mm, at least 1.3 D: widens the slot into the waste. None = one cutter wide, lifting to clear chips
            once deeper than the material allows.
        cutting: speeds; None = the tool's own.
        stock: needed for THROUGH and bridges.
        name: of the cut; None = "outline", "cut-out" or "line".

    Returns:
        One `Cut`.

    Raises:
        ArgumentError: for a cutter that fits nowhere or not into a hole, a depth it cannot reach, bridges on a
            cut that does not go through or more than fit.
        DrawingError: for a shape without area (without length, along).

    >>> from shapely.geometry import box
    >>> from pathgen.model.tool import Cutting
    >>> mill = EndMill(6, cutting=Cutting(16000, 1800, 500, 3, 2.7))
    >>> cut, = profile(box(20, 20, 80, 60), mill, depth=3)
    >>> cut.name, cut.depth, [p.role for p in cut.passes]
    ('outline', 3.0, ['entry', 'cut', 'cut'])
    """
    one_of("side", side, ("outside", "inside", "along"))
    one_of("entry", entry, ("ramp", "plunge"))
    plan = _planned(tool, depth, side, bridges, finish_allowance, entry, lead, below, slot_width, cutting, stock, name)
    if side == "along":
        lines = lines_of(shape)
        _along(plan, lines)
        return (_cut(plan, shape, MultiPolygon()),)
    region = region_of(shape)
    radius = 0.5 * tool.diameter
    found = contours(
        region,
        side,
        radius=radius,
        allowance=plan.allowance,
        lanes=_lanes(plan),
        direction=plan.cutting.direction,
    )
    center = center_region(region, side, radius)
    if plan.depth.through:
        _clear_slugs(plan, found, region)
    last: list[set[int]] = []
    held = [bridges_on(plan, contour, found) for contour in found]
    for contour, bridges_here in zip(found, held, strict=True):
        before = set().union(*(last[k] for k in contour.inner)) if contour.inner else set()
        last.append(beside(plan, contour, center, bridges_here, before))
    wide = plan.slot + plan.allowance
    plan.rules.insert(0, _kerf(plan, region, wide))
    missed = unreached(region, side, radius)
    if missed.area > 0:
        x, y = max(missed.geoms, key=lambda g: g.area).representative_point().coords[0]
        plan.say(
            "unreached",
            f"{len(missed.geoms)} corners or gaps, {missed.area:.2f} mm2, the largest at ({x:.1f}, {y:.1f}), are too "
            f"narrow for {tool.describe()} and stay.",
            "Take a smaller cutter if they matter.",
        )
    return (_cut(plan, shape, missed),)


def _clear_slugs(plan: Plan, found: list[Contour], region: MultiPolygon) -> None:
    """Have narrow waste cleared away, and say so; say which parts stay joined."""
    side: Side = "inside" if plan.side == "inside" else "outside"
    cleared, plan.waste = clear_narrow(
        found, region, side, diameter=plan.tool.diameter, direction=plan.cutting.direction
    )
    for slug in cleared:
        plan.rules.append(Free(region=slug, depth=-plan.depth.bottom))
    if cleared:
        spots = [g.representative_point().coords[0] for g in cleared]
        places = ", ".join(f"({x:.1f}, {y:.1f})" for x, y in spots[:8]) + (", ..." if len(spots) > 8 else "")
        plan.say(
            "slug-cleared",
            f"Waste in {plan.name} that would drop loose beside the cutter is cleared away, at {places}.",
            "Waste wider than 2.5 cutter diameters in a cut-out gets bridges instead.",
        )
    if side == "inside":
        return
    for contour in found:
        near = [p for p in region.geoms if p.exterior.distance(contour.ring.exterior) <= 0.5 * plan.slot + WALL]
        joined = [a.exterior for a in near if contour.ring.contains(a)]
        gaps = [shapely.shortest_line(a, b) for k, a in enumerate(joined) for b in joined[:k]]
        narrow = [g for g in gaps if g.length < plan.tool.diameter]
        if narrow:
            gap = min(narrow, key=lambda g: float(g.length))
            x, y = gap.interpolate(0.5, normalized=True).coords[0]
            plan.say(
                "parts-joined",
                f"Pieces of {plan.name} stand {gap.length:.2f} mm apart at ({x:.1f}, {y:.1f}), nearer than "
                f"{plan.tool.describe()} is wide: the gap is not cut, and bridges hold the pieces together only.",
                "Take a smaller cutter, or move the pieces apart.",
                severity="warning",
            )


def _planned(
    tool: Tool,
    depth: Depth,
    side: str,
    bridges: Bridges | None,
    allowance: float,
    entry: str,
    lead: float | None,
    below: float | None,
    slot_width: float | None,
    cutting: Cuttings,
    stock: Stock | None,
    name: str | None,
) -> Plan:
    """Check the arguments against each other and settle what follows from them."""
    name = name or {"outside": "outline", "inside": "cut-out"}.get(side, "line")
    speeds = cutting_for(tool, cutting)
    if not tool.spins:
        raise ArgumentError(f"{tool.describe()} must not spin: profile() is for cutters that do")
    if side != "along" and not isinstance(tool, EndMill):
        raise ArgumentError(f"side={side!r} needs an end mill; a {tool.kind} cuts side='along' only")
    positive("finish_allowance", allowance, zero=True)
    if lead is not None:
        positive("lead", lead, zero=True)
    deep = plan_depth(depth, stock=stock, below=below)
    notes = list(tool_notes(tool, deep.depth + deep.below, name=name))
    _check_bridges(bridges, tool, entry, deep.through, stock)
    known = material(stock.material) if stock is not None else None
    if known is not None and known.clear and allowance == 0 and side != "along":
        allowance = CLEAR_FINISH
    slot = tool.diameter
    if slot_width is not None:
        if side == "along" or slot_width < NARROWEST_SLOT * tool.diameter:
            raise ArgumentError(
                f"slot_width={slot_width:g} must be at least {NARROWEST_SLOT:g} x the cutter's diameter "
                f"({NARROWEST_SLOT * tool.diameter:g} mm), beside an outline"
            )
        slot = float(slot_width)
    limit = (known.slot_depth if known is not None else 2.0) * tool.diameter
    plan = Plan(
        tool=tool, cutting=speeds, depth=deep, heights=levels(deep.bottom, speeds.stepdown),
        angle=entry_angle(speeds, tool, stock), entry=entry, side=side, allowance=allowance, lead=lead, slot=slot,
        lifting_below=limit if slot_width is None else math.inf, stock=stock, bridges=bridges, name=name, notes=notes,
    )  # fmt: skip
    if -deep.bottom > plan.lifting_below + 1e-9:
        plan.say(
            "deep-slot",
            f"The slot is {-deep.bottom:.1f} mm deep and one cutter wide; below {limit:g} mm the tool lifts after each "
            "level to clear chips.",
            f"slot_width={NARROWEST_SLOT * tool.diameter:g} would widen it instead.",
            severity="warning",
        )
    return plan


def _check_bridges(bridges: Bridges | None, tool: Tool, entry: str, through: bool, stock: Stock | None) -> None:
    """Refuse bridges on a cut that frees nothing, and straight descents of a tool that cannot make them."""
    if bridges is not None:
        if not isinstance(bridges, Bridges):
            raise ArgumentError(f"bridges={bridges!r} are none: give Bridges(count, length=, thickness=)")
        if not through or stock is None:
            raise ArgumentError(
                "bridges hold a part that is cut free: give depth=THROUGH and stock=, or leave them out"
            )
        if bridges.thickness >= stock.thickness:
            raise ArgumentError(f"bridges of thickness={bridges.thickness:g} are as thick as the stock")
    if not tool.center_cutting and (entry == "plunge" or (bridges is not None and bridges.shape == "flat")):
        raise ArgumentError(
            f"{tool.describe()} does not cut at its center and cannot go straight down: take entry='ramp' and "
            "Bridges(shape='ramp')"
        )


def _lanes(plan: Plan) -> tuple[float, ...]:
    """Return how far the ways that widen the slot lie from the first."""
    more = plan.slot - plan.tool.diameter
    if more <= 0:
        return ()
    n = math.ceil(more / (LANE_STEP * plan.tool.diameter) - 1e-9)
    return tuple(more * k / n for k in range(n, 0, -1))


def _kerf(plan: Plan, shape: MultiPolygon | MultiLineString, width: float) -> Kerf:
    side: Literal["outside", "inside", "along"] = plan.side  # type: ignore[assignment]
    return Kerf(
        shape=shape,
        side=side,
        width=width,
        depth=plan.depth.depth,
        below=plan.depth.below,
        through=plan.depth.through,
    )


def _along(plan: Plan, lines: MultiLineString) -> None:
    """Add the passes along every line, and the rules for what they leave."""
    if plan.bridges is not None and not all(line.is_closed for line in lines.geoms):
        raise ArgumentError("bridges stand on closed outlines only: leave them out, or close the lines")
    lines = MultiLineString([g for g in lines.geoms if g.length > 0])
    tool = plan.tool
    closed: list[Contour] = []
    for line in lines.geoms:
        xy = shapely.get_coordinates(line)
        if line.is_closed and len(xy) > 3:
            path = Path(fit_arcs(xy[:-1], tolerance=ARC_FIT, closed=True))
            ring = shapely.Polygon(xy)
            closed.append(Contour(path=path, ring=ring, outline=MultiPolygon([ring]), frees_waste=False))
        else:
            open_line(plan, Path(fit_arcs(xy, tolerance=ARC_FIT)))
    for contour in closed:
        centers, slope = bridges_on(plan, contour, closed)
        level_passes(plan, contour, lifts_on(plan, contour.path, centers), slope, None, set())
    if isinstance(tool, VBit):
        deep = -plan.depth.bottom
        half = float(tool.radius_at(deep))
        for line in smooth_runs(lines, half):
            region = as_multi(line.buffer(half, quad_segs=64))
            plan.rules.append(Groove(region=region, angle=tool.angle, tip=tool.tip, limit=deep))
    elif isinstance(tool, BallNose):
        plan.rules.insert(0, Free(region=as_multi(lines.buffer(0.5 * tool.diameter)), depth=-plan.depth.bottom))
    else:
        plan.rules.insert(0, _kerf(plan, lines, tool.diameter))


def smooth_runs(lines: MultiLineString, reach: float) -> list[LineString]:
    """Return the lines cut at their corners, and in bends so often that no run comes back to itself.

    A V bit leaves the union of its cones. Across a corner, inside a bend tighter than the bit, and where a line runs
    beside itself that is less than the groove whose walls are the union's outline, so each run between is a groove of
    its own; where rules meet, the deeper one holds.

    Args:
        lines: where the tip runs, mm.
        reach: how far from the tip's line the bit cuts the face, mm.
    """
    runs = []
    for line in lines.geoms:
        xy = shapely.get_coordinates(line)
        step = np.diff(xy, axis=0)
        length = np.hypot(*step.T)
        turn = np.arctan2(step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0], (step[:-1] * step[1:]).sum(axis=1))
        turn = np.abs(turn)
        tight = turn * reach > TIGHT * 0.5 * (length[:-1] + length[1:])
        used = np.floor(np.cumsum(turn / np.where(tight, SMOOTH, BEND)))
        cut = (turn > SMOOTH) | (np.diff(used, prepend=0.0) > 0)
        marks = [0, *(np.flatnonzero(cut) + 1).tolist(), len(xy) - 1]
        runs += [LineString(xy[a : b + 1]) for a, b in pairwise(marks)]
    return runs


def _cut(plan: Plan, shape: object, missed: MultiPolygon) -> Cut:
    """Return the finished cut."""
    return Cut(
        name=plan.name,
        tool=plan.tool,
        cutting=plan.cutting,
        passes=tuple(plan.passes),
        bounds=Bounds(tuple(plan.rules)),
        depth=-plan.depth.bottom,
        travel=_travel(plan),
        notes=tuple(plan.notes),
        unreached=missed,
        stock=plan.stock,
        through=plan.depth.through,
        units_guessed=bool(getattr(shape, "units_guessed", False)),
    )


def _travel(plan: Plan) -> tuple[tuple[float, MultiPolygon], ...]:
    """Return where the tool's center may move at each level: a hair's breadth round its ways, off the bridges."""
    bridges = [r.line for r in plan.rules if isinstance(r, Bridge)]
    out = []
    for k, z in enumerate(plan.heights):
        laps = [p.path for p in plan.passes if p.level == k and p.role == "cut"]
        ways = shapely.union_all([LineString(p.flattened(0.002)[:, :2]).buffer(0.005) for p in laps if len(p) > 1])
        if z < plan.top and bridges:
            ways = ways.difference(shapely.union_all(bridges).buffer(0.05))
        out.append((z, as_multi(ways)))
    return tuple(out)
