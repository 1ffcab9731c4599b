"""Cutting beside an outline, or along a line: levels, entries, leads, bridges, the finish pass.

Every contour is one chain: a ramp along it takes the tool from level to level without a lift, and a full lap follows
each ramp. Where there is room in the waste and no finish pass follows, the level is changed on a small helix beside the
contour instead, tangent to it, so that the tool never enters, stops or leaves on the wall. A finish pass comes down in
the slot already cut, joins and leaves the wall on tangent arcs, and overlaps its start.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon

from pathgen.cuts.bridges import Bridges, lift_ends, lifted, placed
from pathgen.cuts.contours import Contour, center_region, contours, unreached
from pathgen.cuts.entry import entry_angle, is_closed, level_at, plane_lengths, ramp, restarted, stretch
from pathgen.cuts.leads import LEAD_SHARE, Lead, find_lead, loop_down, tangent_arcs
from pathgen.cuts.model import Cut, Cuttings, DepthPlan, cutting_for, levels, plan_depth, tool_notes
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.artwork import Shape, lines_of, region_of
from pathgen.model.bounds import Bounds, Bridge, Free, Groove, Kerf, Rule
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path, Role
from pathgen.model.stock import Depth, Stock
from pathgen.model.tool import BallNose, Cutting, EndMill, Tool, VBit
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import ARC_FIT
from pathgen.shop.materials import material

__all__ = ["Bridges", "profile"]

OVERLAP = 1.5
"""How far a finish pass runs over its own start, mm (at least 1 mm is common practice, no source). Larger: rubbing;
smaller: a ridge where start and end meet."""

AIR = 0.5
"""A ramp that begins after a lift begins this far above the last level, mm. Larger: time; smaller: it may touch."""

CLEAR_FINISH = 0.25
"""Last wall pass in clear plastics, mm: 0.2 to 0.3 is common practice, no source."""

NARROWEST_SLOT = 1.3
"""Slots that are widened for their chips measure at least this many diameters (common practice, no source)."""

LANE_STEP = 0.6
"""Distance of the ways that widen a slot, in diameters. Above half of it nothing is left between them only because
each overlaps the last by the rest; larger: heavier cuts; smaller: more laps."""


@dataclass(eq=False, kw_only=True)
class _Plan:
    """Everything that is settled before passes are made."""

    tool: EndMill | Tool
    cutting: Cutting
    depth: DepthPlan
    heights: tuple[float, ...]
    angle: float
    entry: str
    side: str
    allowance: float
    lead: float | None
    slot: float
    lifting_below: float
    stock: Stock | None
    bridges: Bridges | None
    name: str
    passes: list[Pass] = field(default_factory=list)
    rules: list[Rule] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    @property
    def left(self) -> bool:
        """The waste lies to the left of the path."""
        return self.cutting.direction == "climb"

    @property
    def top(self) -> float:
        """Height of the bridges' top, mm; -inf without bridges."""
        if self.bridges is None or self.stock is None:
            return -math.inf
        return -(self.stock.thickness - self.bridges.thickness)

    def add(self, path: Path, role: Role, level: int, after: set[int], *, slot: bool = False) -> int:
        """Append a pass and return its index."""
        if len(path) < 2:
            return max(after, default=-1)
        factor = self.cutting.slot if slot else 1.0
        closed = is_closed(path) and bool(abs(path.start[2] - path.end[2]) < 1e-9)
        item = Pass(path=path, role=role, level=level, closed=closed, after=frozenset(after - {-1}), feed_factor=factor)
        self.passes.append(item)
        return len(self.passes) - 1

    def say(self, code: str, text: str, advice: str, *, severity: Literal["warning", "note"] = "note") -> None:
        """Append a finding."""
        self.notes.append(Finding(code=code, severity=severity, text=text, advice=advice, cut=self.name))


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
    `Cutting`) runs clockwise outside and counter-clockwise inside.

    Args:
        shape: region or lettering; for side="along" also lines; mm, stock coordinates.
        tool: an end mill; for side="along" any cutter that spins, at constant depth.
        depth: mm, or `THROUGH`; a number of at least the stock's thickness is through too.
        side: of the outline.
        bridges: hold the part; only for cuts that go through. Cut-outs that would drop get them too.
        finish_allowance: mm left on the wall for a last pass; over the full depth where the tool's `cutting_length` is
            known, else level by level. In clear plastics 0 means 0.25.
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
    last: list[set[int]] = []
    for contour in found:
        before = set().union(*(last[k] for k in contour.inner)) if contour.inner else set()
        last.append(_beside(plan, contour, center, before))
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
) -> _Plan:
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
    if bridges is not None:
        if not deep.through or stock is None:
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
    plan = _Plan(
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


def _lanes(plan: _Plan) -> tuple[float, ...]:
    """Return how far the ways that widen the slot lie from the first."""
    more = plan.slot - plan.tool.diameter
    if more <= 0:
        return ()
    n = math.ceil(more / (LANE_STEP * plan.tool.diameter) - 1e-9)
    return tuple(more * k / n for k in range(n, 0, -1))


def _kerf(plan: _Plan, shape: MultiPolygon | MultiLineString, width: float) -> Kerf:
    side: Literal["outside", "inside", "along"] = plan.side  # type: ignore[assignment]
    return Kerf(
        shape=shape,
        side=side,
        width=width,
        depth=plan.depth.depth,
        below=plan.depth.below,
        through=plan.depth.through,
    )


def _beside(plan: _Plan, contour: Contour, center: MultiPolygon, before: set[int]) -> set[int]:
    """Add all passes of one contour; return the indices of its last ones."""
    centers, slope = _bridges_on(plan, contour)
    if plan.allowance:
        rough = _levels(plan, contour, _lifts(plan, contour.path, centers), slope, None, before)
        ends = set()
        for path in contour.finish:
            ends |= _finish(plan, path, center, centers, slope, rough)
        return ends or rough
    lifts = _lifts(plan, contour.path, centers)
    lead = None
    if plan.entry == "ramp" and plan.lead != 0 and not contour.lanes:
        radius = plan.lead if plan.lead is not None else LEAD_SHARE * plan.tool.diameter
        if radius > 0.5 * plan.tool.diameter + 1e-9:
            raise ArgumentError(
                f"lead={radius:g} must be at most the cutter's radius ({0.5 * plan.tool.diameter:g} mm) without a "
                "finish pass: a wider helix would leave a core standing"
            )
        lead = find_lead(
            contour.path, center, side=plan.side, radius=(radius,), lifts=lifts, spare=plan.tool.diameter,
            reach=0.5 * plan.tool.diameter, left=plan.left, stock=plan.stock, whole=True,
        )  # fmt: skip
        if lead is None:
            plan.say(
                "no-lead",
                f"There is no room for a helix of {2 * radius + plan.tool.diameter:.1f} mm in the waste beside "
                f"{plan.name}: the tool ramps down along the outline.",
                "Leave more room, or give a finish_allowance.",
            )
    return _levels(plan, contour, lifts, slope, lead, before)


def _bridges_on(plan: _Plan, contour: Contour) -> tuple[list[tuple[float, float]], float]:
    """Return the places (x, y) of the bridges on a contour, and the slope of their feet."""
    if plan.bridges is None:
        return [], 90.0
    if contour.frees_waste:
        big = [g for g in contour.slug.geoms if _bigger(g, plan.tool.diameter)]
        if not big:
            return [], 90.0
    path = contour.finish[0] if len(contour.finish) == 1 else contour.path
    what = "the cut-out" if contour.frees_waste else "the outline"
    x, y = contour.outline.exterior.coords[0]
    grain = plan.stock.grain if plan.stock is not None else None
    where, slope = placed(
        path, contour.outline, plan.bridges, diameter=plan.tool.diameter, rise=plan.top - plan.depth.bottom,
        angle=plan.angle, grain=grain, what=f"{what} at ({x:.1f}, {y:.1f})", fewest=contour.frees_waste,
    )  # fmt: skip
    if slope < 90 and slope > plan.angle + 1e-9:
        plan.say(
            "steep-bridge",
            f"Bridges rise and fall at {slope:.1f} degrees, steeper than the entry's {plan.angle:g}.",
            "The downward feed is kept under the plunge feed; shorter or fewer bridges make room for gentler feet.",
        )
    line = LineString(path.flattened(0.0005)[:, :2])
    scale = line.length / float(plane_lengths(path).sum())
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, np.array(where) * scale))
    foot = (plan.top - plan.depth.bottom) / math.tan(math.radians(slope)) if slope < 90 else 0.0
    stretches = [
        _stretch_line(p, c, plan, foot)
        for p in [contour.path, *contour.lanes, *contour.finish]
        for c in points.tolist()
    ]
    n = len(points)
    for k in range(n):
        plan.rules.append(
            Bridge(
                line=MultiLineString([s for s in stretches[k::n] if s is not None]),
                diameter=plan.tool.diameter,
                length=plan.bridges.length,
                top=plan.top,
                slope=slope,
            )
        )
    return [(float(x), float(y)) for x, y in points], slope


def _bigger(piece: shapely.Polygon, size: float) -> bool:
    """Return whether a piece is bigger than `size` mm in both directions."""
    frame = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    sides = np.hypot(*np.diff(frame, axis=0).T)
    return bool(len(sides) > 1 and sides.min() > size)


def _lifts(plan: _Plan, path: Path, places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return (begin, end) in run length of the lifts on `path` beside `places`; those far from it belong to others."""
    if not places or plan.bridges is None:
        return []
    apart = plan.bridges.length + plan.tool.diameter
    line = LineString(path.flattened(0.0005)[:, :2])
    scale = float(plane_lengths(path).sum()) / line.length
    points = shapely.points(np.array(places))
    near = shapely.distance(line, points) <= plan.slot + plan.allowance
    s = shapely.line_locate_point(line, points) * scale
    return [lift_ends(path, float(v), apart) for v in s[near]]


def _stretch_line(path: Path, place: list[float], plan: _Plan, foot: float) -> LineString | None:
    """Return the lifted stretch of `path` beside a place, its feet included; None where it runs elsewhere."""
    found = _lifts(plan, path, [(place[0], place[1])])
    if not found:
        return None
    begin, end = found[0]
    return LineString(stretch(path, begin - foot, end + foot).flattened(0.0005)[:, :2])


def _shifted(lifts: list[tuple[float, float]], by: float, total: float) -> list[tuple[float, float]]:
    """Return lifts as run lengths of a path that begins at `by` on its contour, for two laps to come."""
    return [(b - by + k * total, e - by + k * total) for k in range(-1, 3 + int(by // total)) for b, e in lifts]


def _levels(
    plan: _Plan,
    contour: Contour,
    lifts: list[tuple[float, float]],
    slope: float,
    lead: Lead | None,
    before: set[int],
) -> set[int]:
    """Add the passes of every level of a contour; return the index of the last."""
    path, total = contour.path, float(plane_lengths(contour.path).sum())
    at, above, after = (lead.at if lead else 0.0), 0.0, before
    for k, z in enumerate(plan.heights):
        broken = k > 0 and (-z > plan.lifting_below + 1e-9 or bool(contour.lanes))
        begin = above + AIR if broken else above
        for lane in contour.lanes:
            after = {_lap(plan, lane, _lifts_near(plan, lane, lifts, path), slope, begin, z, 0.0, k, after)[0]}
        if lead is not None:
            down = loop_down(lead, begin, z, angle=plan.angle, first=k == 0 or broken)
            after = {plan.add(down, "entry", k, after, slot=True)}
            lap = lifted(level_at(restarted(path, at), z), _shifted(lifts, at, total), top=plan.top, slope=slope)
            after = {plan.add(lap, "cut", k, after, slot=True)}
            if k == len(plan.heights) - 1 or -plan.heights[k + 1] > plan.lifting_below + 1e-9:
                after = {plan.add(lead.away(z), "cut", k, after, slot=True)}
        else:
            index, at = _lap(plan, path, lifts, slope, begin, z, at, k, after)
            after = {index}
        above = z
    if lead is not None:
        plan.rules.append(Free(region=lead.swept(plan.tool.diameter), depth=-plan.depth.bottom))
    return after


def _lifts_near(plan: _Plan, lane: Path, lifts: list[tuple[float, float]], path: Path) -> list[tuple[float, float]]:
    """Return the lifts of a lane beside those of the contour."""
    places = [stretch(path, 0.5 * (b + e), 0.5 * (b + e)).points[0, :2] for b, e in lifts]
    return _lifts(plan, lane, [(float(x), float(y)) for x, y in places])


def _lap(
    plan: _Plan,
    path: Path,
    lifts: list[tuple[float, float]],
    slope: float,
    above: float,
    z: float,
    at: float,
    level: int,
    after: set[int],
) -> tuple[int, float]:
    """Add a way down that begins at run length `at` and the lap behind it; return its index and where it ends."""
    total = float(plane_lengths(path).sum())
    angle = plan.angle if plan.entry == "ramp" else 90.0
    run = (above - z) / math.tan(math.radians(angle)) if angle < 90 else 0.0
    lap = restarted(path, at + run)
    down = ramp(lap, above, z, angle=angle)
    if run > 0:
        down = lifted(down, _shifted(lifts, at, total), top=plan.top, slope=slope)
    index = plan.add(down, "entry", level, after, slot=True)
    flat = lifted(level_at(lap, z), _shifted(lifts, (at + run) % total, total), top=plan.top, slope=slope)
    if len(flat) and abs(flat.start[2] - down.end[2]) > 1e-9:
        flat = Path(np.concatenate([[[*down.end, 0.0]], flat.points]))
    return plan.add(flat, "cut", level, {index}, slot=True), (at + run) % total


def _finish(
    plan: _Plan,
    path: Path,
    center: MultiPolygon,
    places: list[tuple[float, float]],
    slope: float,
    after: set[int],
) -> set[int]:
    """Add the last pass along the wall; return its index."""
    lifts = _lifts(plan, path, places)
    radius = 0.5 * plan.tool.diameter
    first = plan.lead if plan.lead is not None else radius
    lead = None
    if first > 0:
        lead = find_lead(
            path, center, side=plan.side, radius=(first, 0.5 * first, 0.25 * first), lifts=lifts, reach=radius,
            spare=plan.tool.diameter + OVERLAP, left=plan.left, stock=plan.stock, whole=False,
        )  # fmt: skip
        if lead is None:
            plan.say(
                "no-lead",
                f"There is no room for tangent arcs in the waste beside {plan.name}: the finish pass begins on the "
                "wall.",
                "Leave more room between the outline and its neighbours or the stock's edge.",
                severity="warning",
            )
    at = lead.at if lead is not None else 0.0
    total = float(plane_lengths(path).sum())
    lap = stretch(path, at, at + total + min(OVERLAP, 0.25 * total))
    before = 0.0
    if lead is not None:
        come, leave = tangent_arcs(lap, radius=lead.radius, aside=plan.allowance, left=plan.left)
        before = float(plane_lengths(come).sum())
        lap = Path.joined([come, lap, leave])
        swept = [LineString(p.flattened(0.001)[:, :2]).buffer(radius + 0.002) for p in (come, leave)]
        plan.rules.append(Free(region=as_multi(shapely.union_all(swept)), depth=-plan.depth.bottom))
    flutes = plan.tool.cutting_length
    whole = flutes is not None and flutes >= -plan.depth.bottom - 1e-9
    heights = (plan.depth.bottom,) if whole else plan.heights
    above = 0.0
    for z in heights:
        run = lifted(level_at(lap, z), _shifted(lifts, at - before, total), top=plan.top, slope=slope)
        x, y = run.start[:2]
        down = plan.add(Path.lines([[x, y, min(above + AIR, 0.0)], [*run.start]]), "entry", len(plan.heights), after)
        after = {plan.add(run, "finish", len(plan.heights), {down})}
        above = z
    return after


def _along(plan: _Plan, lines: MultiLineString) -> None:
    """Add the passes along every line, and the rules for what they leave."""
    if plan.bridges is not None and not all(line.is_closed for line in lines.geoms):
        raise ArgumentError("bridges stand on closed outlines only: leave them out, or close the lines")
    lines = MultiLineString([g for g in lines.geoms if g.length > 0])
    tool = plan.tool
    for line in lines.geoms:
        xy = shapely.get_coordinates(line)
        if line.is_closed and len(xy) > 3:
            path = Path(fit_arcs(xy[:-1], tolerance=ARC_FIT, closed=True))
            ring = shapely.Polygon(xy)
            contour = Contour(path=path, ring=ring, outline=ring, frees_waste=False)
            centers, slope = _bridges_on(plan, contour)
            _levels(plan, contour, _lifts(plan, path, centers), slope, None, set())
        else:
            _open_line(plan, Path(fit_arcs(xy, tolerance=ARC_FIT)))
    if isinstance(tool, VBit):
        deep = -plan.depth.bottom
        half = float(tool.radius_at(deep))
        region = as_multi(lines.buffer(half, quad_segs=32))
        plan.rules.insert(0, Groove(region=region, angle=tool.angle, tip=tool.tip, limit=deep))
    elif isinstance(tool, BallNose):
        plan.rules.insert(0, Free(region=as_multi(lines.buffer(0.5 * tool.diameter)), depth=-plan.depth.bottom))
    else:
        plan.rules.insert(0, _kerf(plan, lines, tool.diameter))


def _open_line(plan: _Plan, path: Path) -> None:
    """Add the passes along one open line: down to and fro, along it, and the next level from the other end."""
    above, after = 0.0, set[int]()
    for k, z in enumerate(plan.heights):
        broken = k > 0 and -z > plan.lifting_below + 1e-9
        begin = above + AIR if broken else above
        angle = plan.angle if plan.entry == "ramp" else 90.0
        down = plan.add(ramp(path, begin, z, angle=angle), "entry", k, after, slot=True)
        after = {plan.add(level_at(path, z), "cut", k, {down}, slot=True)}
        path, above = path.reversed(), z


def _cut(plan: _Plan, shape: object, missed: MultiPolygon) -> Cut:
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


def _travel(plan: _Plan) -> tuple[tuple[float, MultiPolygon], ...]:
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
