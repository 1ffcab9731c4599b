"""The passes along contours: ways down, laps, bridges lifted over, the finish pass.

Run lengths are counted along a contour seen from above, from its first vertex on; a chain that ramps from level to
level moves its start on by each ramp's length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.bridges import Bridges, Site, lift_ends, lifted, placed
from pathgen.cuts.contours import Contour
from pathgen.cuts.entry import is_closed, level_at, plane_lengths, ramp, restarted, stretch
from pathgen.cuts.leads import LEAD_SHARE, Lead, find_lead, loop_down, tangent_arcs
from pathgen.cuts.model import DepthPlan
from pathgen.cuts.slugs import Waste
from pathgen.errors import ArgumentError
from pathgen.model.bounds import Bridge, Free, Rule
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path, Role
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, Tool
from pathgen.shape.offset import as_multi

OVERLAP = 1.5
"""How far a finish pass runs over its own start, mm (at least 1 mm is common practice, no source). Larger: rubbing;
smaller: a ridge where start and end meet."""

AIR = 0.5
"""A ramp that begins after a lift begins this far above the last level, mm. Larger: time; smaller: it may touch."""


@dataclass(eq=False, kw_only=True)
class Plan:
    """Everything that is settled before passes are made."""

    tool: Tool
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
    waste: Waste | None = None

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

    @property
    def standing(self) -> BaseGeometry:
        """The center line's stretches on which bridges stand: no lead may come near them."""
        return shapely.union_all([r.line for r in self.rules if isinstance(r, Bridge)])

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


Held: TypeAlias = tuple[list[tuple[float, float]], float]
"""Places (x, y) of the bridges on a contour, and the slope of their feet, degrees."""


def beside(plan: Plan, contour: Contour, center: MultiPolygon, held: Held, before: set[int]) -> set[int]:
    """Add all passes of one contour; return the indices of its last ones."""
    centers, slope = held
    if plan.allowance:
        rough = level_passes(plan, contour, lifts_on(plan, contour.path, centers), slope, None, before)
        ends = set()
        for path in contour.finish:
            ends |= _finish(plan, path, center, centers, slope, rough)
        return ends or rough
    lifts = lifts_on(plan, contour.path, centers)
    lead = None
    if plan.entry == "ramp" and plan.lead != 0 and not contour.lanes and not contour.clearing:
        radius = plan.lead if plan.lead is not None else LEAD_SHARE * plan.tool.diameter
        if radius > 0.5 * plan.tool.diameter + 1e-9:
            raise ArgumentError(
                f"lead={radius:g} must be at most the cutter's radius ({0.5 * plan.tool.diameter:g} mm) without a "
                "finish pass: a wider helix would leave a core standing"
            )
        lead = find_lead(
            contour.path, center, side=plan.side, radius=(radius,), lifts=_widened(lifts, plan, slope),
            spare=plan.tool.diameter, reach=0.5 * plan.tool.diameter, left=plan.left, stock=plan.stock, whole=True,
            keep_off=plan.standing, waste=plan.waste,
        )  # fmt: skip
        if lead is None:
            plan.say(
                "no-lead",
                f"There is no room for a helix of {2 * radius + plan.tool.diameter:.1f} mm in the waste beside "
                f"{plan.name}: the tool ramps down along the outline.",
                "Leave more room, or give a finish_allowance.",
            )
    return level_passes(plan, contour, lifts, slope, lead, before)


def bridges_on(plan: Plan, contour: Contour, others: list[Contour]) -> Held:
    """Return the places (x, y) of the bridges on a contour, and the slope of their feet; `others` are cut as well."""
    if plan.bridges is None:
        return [], 90.0
    if contour.frees_waste:
        big = [g for g in contour.slug.geoms if _bigger(g, plan.tool.diameter)]
        if not big:
            return [], 90.0
    path = contour.finish[0] if len(contour.finish) == 1 else contour.path
    what = "the cut-out" if contour.frees_waste else "the outline"
    x, y = contour.outline.geoms[0].exterior.coords[0]
    grain = plan.stock.grain if plan.stock is not None else None
    ways = [w for c in others if c is not contour for w in c.ways] + contour.clearing
    site = Site(
        contour=path,
        outlines=contour.outline,
        diameter=plan.tool.diameter,
        others=MultiLineString([w.flattened(0.002)[:, :2] for w in ways]),
        reach=plan.slot + plan.allowance,
    )
    where, slope = placed(
        site,
        plan.bridges,
        rise=plan.top - plan.depth.bottom,
        angle=plan.angle,
        grain=grain,
        what=f"{what} at ({x:.1f}, {y:.1f})",
        fewest=contour.frees_waste,
    )
    if slope < 90 and slope > plan.angle + 1e-9:
        plan.say(
            "steep-bridge",
            f"Bridges rise and fall at {slope:.1f} degrees, steeper than the entry's {plan.angle:g}.",
            "The downward feed is kept under the plunge feed; shorter or fewer bridges make room for gentler feet.",
        )
    line = LineString(path.flattened(0.0005)[:, :2])
    scale = line.length / float(plane_lengths(path).sum())
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, np.array(where) * scale))
    foot = _foot(plan, slope)
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


def _foot(plan: Plan, slope: float) -> float:
    """Return the length of a bridge's foot, mm."""
    return (plan.top - plan.depth.bottom) / math.tan(math.radians(slope)) if slope < 90 else 0.0


def _widened(lifts: list[tuple[float, float]], plan: Plan, slope: float) -> list[tuple[float, float]]:
    """Return the lifts with their feet."""
    foot = _foot(plan, slope) if lifts else 0.0
    return [(b - foot, e + foot) for b, e in lifts]


def _bigger(piece: shapely.Polygon, size: float) -> bool:
    """Return whether a piece is bigger than `size` mm in both directions."""
    frame = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    sides = np.hypot(*np.diff(frame, axis=0).T)
    return bool(len(sides) > 1 and sides.min() > size)


def lifts_on(plan: Plan, path: Path, places: list[tuple[float, float]]) -> list[tuple[float, float]]:
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


def _stretch_line(path: Path, place: list[float], plan: Plan, foot: float) -> LineString | None:
    """Return the lifted stretch of `path` beside a place, its feet included; None where it runs elsewhere."""
    found = lifts_on(plan, path, [(place[0], place[1])])
    if not found:
        return None
    begin, end = found[0]
    return LineString(stretch(path, begin - foot, end + foot).flattened(0.0005)[:, :2])


def _shifted(lifts: list[tuple[float, float]], by: float, total: float) -> list[tuple[float, float]]:
    """Return lifts as run lengths of a path that begins at `by` on its contour, for two laps to come."""
    return [(b - by + k * total, e - by + k * total) for k in range(-1, 3 + int(by // total)) for b, e in lifts]


def level_passes(
    plan: Plan,
    contour: Contour,
    lifts: list[tuple[float, float]],
    slope: float,
    lead: Lead | None,
    before: set[int],
) -> set[int]:
    """Add the passes of every level of a contour; return the index of the last."""
    path, total = contour.path, float(plane_lengths(contour.path).sum())
    if lead is not None and plan.waste is not None:
        plan.waste = plan.waste.less(lead.swept(plan.tool.diameter))
    at, above, after = (lead.at if lead else _off_lifts(lifts, total)), 0.0, before
    for k, z in enumerate(plan.heights):
        broken = k > 0 and (-z > plan.lifting_below + 1e-9 or bool(contour.lanes or contour.clearing))
        begin = above + AIR if broken else above
        for way in contour.clearing:
            after = {_lap(plan, way, [], slope, above + AIR if k else above, z, 0.0, k, after)[0]}
        for lane in contour.lanes:
            near = _lifts_near(plan, lane, lifts, path)
            start = _off_lifts(near, float(plane_lengths(lane).sum()))
            after = {_lap(plan, lane, near, slope, begin, z, start, k, after)[0]}
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


def _off_lifts(lifts: list[tuple[float, float]], total: float) -> float:
    """Return the run length in the middle of the widest stretch without a lift; 0 where there are no lifts."""
    if not lifts:
        return 0.0
    ordered = sorted((b % total, e - b) for b, e in lifts)
    ends = [b + length for b, length in ordered]
    gaps = [(ordered[(k + 1) % len(ordered)][0] - e) % total for k, e in enumerate(ends)]
    k = int(np.argmax(np.round(gaps, 6)))
    return float((ends[k] + 0.5 * gaps[k]) % total)


def _lifts_near(plan: Plan, lane: Path, lifts: list[tuple[float, float]], path: Path) -> list[tuple[float, float]]:
    """Return the lifts of a lane beside those of the contour."""
    places = [stretch(path, 0.5 * (b + e), 0.5 * (b + e)).points[0, :2] for b, e in lifts]
    return lifts_on(plan, lane, [(float(x), float(y)) for x, y in places])


def _lap(
    plan: Plan,
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
    plan: Plan,
    path: Path,
    center: MultiPolygon,
    places: list[tuple[float, float]],
    slope: float,
    after: set[int],
) -> set[int]:
    """Add the finish pass along the wall; return its index."""
    lifts = lifts_on(plan, path, places)
    total = float(plane_lengths(path).sum())
    overlap = min(OVERLAP, 0.25 * total)
    radius = 0.5 * plan.tool.diameter
    first = plan.lead if plan.lead is not None else radius
    lead = None
    if first > 0:
        lead = find_lead(
            path, center, side=plan.side, radius=(first, 0.5 * first, 0.25 * first),
            lifts=_widened(lifts, plan, slope), reach=radius, keep_off=plan.standing, waste=plan.waste,
            spare=plan.tool.diameter + OVERLAP, left=plan.left, stock=plan.stock, whole=False,
            overlap=overlap,
        )  # fmt: skip
        if lead is None:
            plan.say(
                "no-lead",
                f"There is no room for tangent arcs in the waste beside {plan.name}: the finish pass begins on the "
                "wall.",
                "Leave more room between the outline and its neighbours or the stock's edge.",
                severity="warning",
            )
    at = lead.at if lead is not None else _off_lifts(lifts, total)
    lap = stretch(path, at, at + total + overlap)
    before = 0.0
    if lead is not None:
        come, leave = tangent_arcs(lap, radius=lead.radius, aside=plan.allowance, left=plan.left)
        before = float(plane_lengths(come).sum())
        lap = Path.joined([come, lap, leave])
        swept = [LineString(p.flattened(0.001)[:, :2]).buffer(radius + 0.002) for p in (come, leave)]
        arcs = as_multi(shapely.union_all(swept))
        plan.rules.append(Free(region=arcs, depth=-plan.depth.bottom))
        if plan.waste is not None:
            plan.waste = plan.waste.less(arcs)
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


def open_line(plan: Plan, path: Path) -> None:
    """Add the passes along one open line: down to and fro, along it, and the next level from the other end."""
    above, after = 0.0, set[int]()
    for k, z in enumerate(plan.heights):
        broken = k > 0 and -z > plan.lifting_below + 1e-9
        begin = above + AIR if broken else above
        angle = plan.angle if plan.entry == "ramp" else 90.0
        down = plan.add(ramp(path, begin, z, angle=angle), "entry", k, after, slot=True)
        after = {plan.add(level_at(path, z), "cut", k, {down}, slot=True)}
        path, above = path.reversed(), z
