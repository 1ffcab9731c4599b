"""What was asked, on a grid: how deep the stock may be cut at each sample, and what must be gone.

The rules of `Bounds` come from the request alone, and are evaluated here at exactly the samples of the height field, so
that both are exact at each point and a clean program shows no false gouge.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray
from pathgen.model.bounds import Bounds, Bridge, Flat, Free, Groove, Heights, Hole, Kerf, Line, Rule
from pathgen.model.tool import Tool
from pathgen.proof.distance import Outline
from pathgen.proof.grid import Grid, Mask, beside_edge, inside, widened
from pathgen.proof.sweep import Profile, directions, lower_surface

Asked = tuple[str, Tool, Bounds]
"""Name of a cut, its tool, and what was asked of it."""

PLANNED = 0.004
"""How far a planner may stay away from a wall, mm: its share of the 0.010 that a wall may be off. Larger: narrow places
are forgiven; smaller: every acute corner of an honest program counts as left standing."""

TIGHT = 0.005
"""How much smaller a cutter is taken in a slot as wide as itself, mm: its way would else vanish in rounding."""

QUAD = 64
"""Segments in a quarter of a round offset: at a radius of 5 mm its chords leave the circle by 0.0004 mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """What was asked, at each sample of a grid; float32 arrays (rows, columns).

    Attributes:
        deepest: lower than this is a gouge, mm (<= 0).
        leave: higher than this is a residual, mm; 0 where nothing need be gone.
        cosine: of the asked surface's slope: turns a vertical difference into one normal to it.
        wall: samples beside an upright wall, where heights say nothing: sections and probes look there.
        owner: index of the cut that may go deepest there, -1 where none speaks; int16.
    """

    deepest: Any
    leave: Any
    cosine: Any
    wall: Mask
    owner: Any

    def window(self, rows: slice, columns: slice) -> Design:
        """Return views of a window."""
        return Design(
            deepest=self.deepest[rows, columns],
            leave=self.leave[rows, columns],
            cosine=self.cosine[rows, columns],
            wall=self.wall[rows, columns],
            owner=self.owner[rows, columns],
        )


def kerf_region(rule: Kerf) -> Any:
    """Return the area of the slot, mm."""
    if rule.side == "along":
        return rule.shape.buffer(0.5 * rule.width, quad_segs=QUAD)
    if rule.side == "outside":
        return rule.shape.buffer(rule.width, quad_segs=QUAD).difference(rule.shape)
    return rule.shape.difference(rule.shape.buffer(-rule.width, quad_segs=QUAD))


def rule_region(rule: Rule) -> Any:
    """Return where a rule speaks, mm."""
    if isinstance(rule, Groove) and rule.widening:
        return rule.region.buffer(rule.begin * math.tan(math.radians(0.5 * rule.angle)), quad_segs=QUAD)
    if isinstance(rule, Flat | Groove | Free | Hole):
        return rule.region
    if isinstance(rule, Kerf):
        return kerf_region(rule)
    if isinstance(rule, Line):
        return shapely.MultiPolygon()  # a line takes nothing away
    if isinstance(rule, Bridge):
        return rule.line.buffer(0.5 * rule.diameter, quad_segs=QUAD)
    if rule.region is not None:
        return rule.region
    (x, y), m = rule.map.origin, rule.map
    return shapely.box(x, y, x + m.array.shape[1] * m.pixel, y + m.array.shape[0] * m.pixel)


def off_parts(bounds: Bounds) -> Bounds:
    """Return the rules with free places kept off what the same cut's slots are to leave.

    Leads and cleared waste lie where the planner put them; they never excuse a cut into the part itself.
    """
    slots = [r for r in bounds.rules if isinstance(r, Kerf) and r.side != "along"]
    if not slots or not any(isinstance(r, Free) for r in bounds.rules):
        return bounds
    rules: list[Rule] = []
    for rule in bounds.rules:
        if isinstance(rule, Free):
            region = rule.region
            for slot in slots:
                shape = slot.shape
                region = region.difference(shape) if slot.side == "outside" else region.intersection(shape)
            parts = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon"]
            rule = dataclasses.replace(rule, region=shapely.MultiPolygon(parts))
        rules.append(rule)
    return dataclasses.replace(bounds, rules=tuple(rules))


def design(asked: Sequence[Asked], grid: Grid) -> Design:
    """Return the design on `grid`: each cut's rules combined by min, its bridges raised, the cuts combined by min.

    Args:
        asked: (name, tool, bounds) of each cut.
        grid: the samples of the height field.
    """
    shape = (grid.rows, grid.columns)
    out = Design(
        deepest=np.zeros(shape, dtype=np.float32),
        leave=np.zeros(shape, dtype=np.float32),
        cosine=np.ones(shape, dtype=np.float32),
        wall=np.zeros(shape, dtype=np.bool_),
        owner=np.full(shape, -1, dtype=np.int16),
    )
    for index, (_, tool, bounds) in enumerate(asked):
        if bridges := [r for r in bounds.rules if isinstance(r, Bridge)]:
            _with_bridges(out, bounds, bridges, tool, grid, index)
        else:
            for rule in bounds.rules:
                _lower(out, rule, tool, grid, index)
    return out


def _with_bridges(out: Design, bounds: Bounds, bridges: Sequence[Bridge], tool: Tool, grid: Grid, index: int) -> None:
    """Evaluate one cut by itself, raise its bridges, then combine it with the others."""
    own = design([("", tool, Bounds(rules=tuple(r for r in bounds.rules if not isinstance(r, Bridge))))], grid)
    for bridge in bridges:
        raise_bridge(own, bridge, grid)
    lower = own.deepest < out.deepest
    np.copyto(out.cosine, own.cosine, where=lower)
    out.owner[lower] = index
    np.minimum(out.deepest, own.deepest, out=out.deepest)
    np.minimum(out.leave, own.leave, out=out.leave)
    np.logical_or(out.wall, own.wall, out=out.wall)


def raise_bridge(own: Design, bridge: Bridge, grid: Grid) -> None:
    """Raise `own` to the bridge: the lower surface of its cutter along the lifted line, in place."""
    rows, columns = grid.window(bridge.line.buffer(0.5 * bridge.diameter + grid.pixel).bounds)
    part = grid.part(rows, columns)
    if part.rows == 0 or part.columns == 0:
        return
    deepest = own.deepest[rows, columns]
    bottom = float(deepest.min())
    raised = _bridge_surface(bridge, bottom, part)
    lift = np.isfinite(raised) & (raised > deepest + 1e-6) & (deepest < bridge.top - 1e-6)
    deepest[lift] = raised[lift]
    leave = own.leave[rows, columns]
    leave[lift] = np.maximum(leave[lift], raised[lift])
    upright = lift if bridge.slope >= 90 else np.zeros_like(lift)
    own.wall[rows, columns] |= beside_edge(upright)
    if bridge.slope < 90:
        own.cosine[rows, columns][lift & (raised < bridge.top - 1e-6)] = math.cos(math.radians(bridge.slope))


def _bridge_surface(bridge: Bridge, bottom: float, grid: Grid) -> FloatArray:
    """Return the lower surface of a flat cutter that is lifted along the bridge's line and at depth at its ends."""
    height = np.full((grid.rows, grid.columns), np.inf)
    profile = Profile(kind="flat", radius=0.5 * bridge.diameter)
    x, y = grid.x[None, :], grid.y[:, None]
    for line in shapely.get_parts(bridge.line):
        points = bridge_profile(line, bridge, bottom)
        a, b = points[:-1], points[1:]
        for k, way in enumerate(zip(*directions(a, b), strict=True)):
            one = lower_surface(profile, x - a[k, 0], y - a[k, 1], way)
            np.minimum(height, one, out=height)
    return height


def bridge_profile(line: Any, bridge: Bridge, bottom: float) -> FloatArray:
    """Return (n, 3): the way of the tip over a bridge, from `bottom` up to its top and down again, mm."""
    length = float(line.length)
    rise = bridge.top - bottom
    run = 0.0 if bridge.slope >= 90 else min(rise / math.tan(math.radians(bridge.slope)), 0.5 * length)
    xy = shapely.get_coordinates(line)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    stops = np.unique(np.concatenate([at, [run, length - run]]))
    z = np.full(len(stops), bridge.top)
    if run > 0:
        z = bottom + np.minimum(np.minimum(stops, length - stops) / run, 1.0) * rise
    px, py = np.interp(stops, at, xy[:, 0]), np.interp(stops, at, xy[:, 1])
    points = np.column_stack([px, py, z])
    if run == 0.0:
        points = np.concatenate([[[*points[0, :2], bottom]], points, [[*points[-1, :2], bottom]]])
    return points


def _lower(out: Design, rule: Rule, tool: Tool, grid: Grid, index: int) -> None:
    """Combine one rule into `out`, in place, in the window where it speaks."""
    if isinstance(rule, Hole):
        _holes(out, rule, grid, index)
        return
    region = rule_region(rule)
    if region.is_empty:
        return
    margin = 2.0 * grid.pixel
    x0, y0, x1, y1 = region.bounds
    rows, columns = grid.window((x0 - margin, y0 - margin, x1 + margin, y1 + margin))
    part = grid.part(rows, columns)
    if part.rows == 0 or part.columns == 0:
        return
    view = out.window(rows, columns)
    if isinstance(rule, Groove):
        lower = _groove(view, rule, part)
    elif isinstance(rule, Heights):
        lower = _heights(view, rule, part)
    else:
        lower = _floor(view, rule, region, tool, part)
    view.owner[lower] = index


def _holes(out: Design, rule: Hole, grid: Grid, index: int) -> None:
    """Lower to round holes with a cone for a bottom, in place, one small window at a time."""
    radius = 0.5 * rule.diameter
    rise = rule.point / radius
    slope = math.cos(math.atan(rise))
    reach = radius + 2.0 * grid.pixel
    for x, y in rule.points:
        rows, columns = grid.window((x - reach, y - reach, x + reach, y + reach))
        part = grid.part(rows, columns)
        if part.rows == 0 or part.columns == 0:
            continue
        view = out.window(rows, columns)
        away = np.hypot(part.x[None, :] - x, part.y[:, None] - y)
        mask = away <= radius
        cone = np.maximum(radius - away, 0.0) * rise
        deepest = -(rule.depth + rule.below + cone)
        lower = mask & (deepest < view.deepest)
        view.deepest[lower] = deepest[lower]
        view.cosine[lower] = slope
        view.wall[...] |= beside_edge(mask)
        owed = np.maximum(deepest, -rule.depth) if rule.through else deepest
        view.leave[mask] = np.minimum(view.leave[mask], owed[mask])
        view.owner[lower] = index


def _floor(view: Design, rule: Flat | Kerf | Free | Bridge | Line, region: Any, tool: Tool, grid: Grid) -> Mask:
    """Lower to a flat floor with upright walls; return where it is the deepest."""
    mask = inside(region, grid)
    depth = rule_depth(rule)
    lower: Mask = mask & (view.deepest > -depth)
    view.deepest[lower] = -depth
    view.cosine[lower] = 1.0
    view.wall[...] |= beside_edge(mask)
    if not isinstance(rule, Free | Bridge | Line):
        reach = _within(inside(reached(rule, region, tool), grid))
        must = -depth if not (isinstance(rule, Kerf) and rule.through) else -rule.depth
        view.leave[reach] = np.minimum(view.leave[reach], np.float32(must))
    return lower


def _within(mask: Mask) -> Mask:
    """Return the samples of `mask` whose eight neighbours are in it too: nothing is owed at the rim of a reach."""
    return ~widened(~mask)


def rule_depth(rule: Rule) -> float:
    """Return the deepest place a rule allows, mm, positive."""
    if isinstance(rule, Flat | Free | Line):
        return rule.depth
    if isinstance(rule, Kerf):
        return rule.depth + rule.below
    if isinstance(rule, Hole):
        return rule.depth + rule.below + rule.point
    if isinstance(rule, Groove):
        return rule.limit
    if isinstance(rule, Heights):
        return -float(rule.map.array.min())
    return 0.0


def reached(rule: Flat | Kerf, region: Any, tool: Tool) -> Any:
    """Return the part of a floor that `tool` can reach without cutting its walls: the opening by its disc, mm."""
    if isinstance(rule, Kerf):
        radius = min(0.5 * tool.diameter, 0.5 * rule.width)
        radius -= min(TIGHT, 0.5 * radius)
        return region.buffer(-radius, quad_segs=QUAD).buffer(radius, quad_segs=QUAD)
    ways = [(way, away) for way, away in careful_ways(region, 0.5 * tool.diameter) if not way.is_empty]
    return shapely.union_all([way.buffer(away, quad_segs=QUAD) for way, away in ways])


def careful_ways(region: Any, radius: float) -> list[tuple[Any, float]]:
    """Return, for each piece of a region, where a cutter's center may be and how far that is from a straight wall, mm.

    A planner may keep `PLANNED` away from walls; in an acute corner that moves the end of the cut by more than that.
    A piece in which nothing is left that way is as wide as the cutter, and owed all the same.
    """
    ways = []
    for piece in shapely.get_parts(region):
        away = radius + PLANNED
        way = piece.buffer(-away, quad_segs=QUAD)
        if way.is_empty:
            away = radius - min(TIGHT, 0.5 * radius)
            way = piece.buffer(-away, quad_segs=QUAD)
        ways.append((way, away))
    return ways


def _heights(view: Design, rule: Heights, grid: Grid) -> Mask:
    """Lower to a relief: bilinear between the samples of its map, so that a finer grid sees the same surface."""
    m = rule.map
    x = np.clip((grid.x - m.origin[0]) / m.pixel - 0.5, 0, m.array.shape[1] - 1)
    y = np.clip((grid.y - m.origin[1]) / m.pixel - 0.5, 0, m.array.shape[0] - 1)
    i = np.minimum(y.astype(int), max(m.array.shape[0] - 2, 0))
    j = np.minimum(x.astype(int), max(m.array.shape[1] - 2, 0))
    i1, j1 = np.minimum(i + 1, m.array.shape[0] - 1), np.minimum(j + 1, m.array.shape[1] - 1)
    fy, fx = (y - i)[:, None], (x - j)[None, :]
    south = m.array[i][:, j] * (1 - fx) + m.array[i][:, j1] * fx
    north = m.array[i1][:, j] * (1 - fx) + m.array[i1][:, j1] * fx
    height = south * (1 - fy) + north * fy
    mask = inside(rule_region(rule), grid)
    gy, gx = np.gradient(height, grid.pixel) if min(height.shape) > 1 else (np.zeros_like(height),) * 2
    lower: Mask = mask & (height < view.deepest)
    view.deepest[lower] = height[lower]
    view.cosine[lower] = (1.0 / np.sqrt(1.0 + gx * gx + gy * gy))[lower]
    view.leave[mask] = np.minimum(view.leave[mask], height[mask])
    view.wall[...] |= beside_edge(mask)
    return lower


def _groove(view: Design, rule: Groove, grid: Grid) -> Mask:
    """Lower to a V-groove, from the distance to its outline's own edges (see `Groove`)."""
    mask = inside(rule.region, grid)
    k = 1.0 / math.tan(math.radians(0.5 * rule.angle))
    flat = 0.5 * rule.tip
    wide = (rule.limit - rule.begin) / k  # half the width at which the limit is met
    outline = Outline(rule.region)
    rim = rule.begin / k if rule.widening else 0.0
    band = widened(mask, 2 + math.ceil(rim / grid.pixel))
    far = max(wide, rim) + flat + 0.5 * (rule.floor_diameter or 0.0) + 2.0 * grid.pixel
    distance = outline.over(grid, band, limit=far)
    if rule.widening:
        _rim(view, rule, band & ~mask, rule.begin - distance * k, grid)
    within = np.where(mask, distance, 0.0)
    depth = np.minimum(rule.begin + within * k, rule.limit)
    lower: Mask = mask & (-depth < view.deepest)
    view.deepest[lower] = -depth[lower]
    slope = math.sin(math.radians(0.5 * rule.angle))
    # beside the outline the slope goes on above the face, so that a groove cut too wide is measured normal to it
    sloping = rule.begin == 0 or rule.widening
    beside = band & ~mask & (view.deepest > -1e-6) if sloping else np.zeros_like(mask)
    view.cosine[lower] = np.where(depth[lower] < rule.limit, slope, 1.0)
    view.cosine[beside] = slope
    if not sloping:
        view.wall[...] |= beside_edge(mask)
    signed = np.where(mask, distance, -distance)
    reach = _groove_reach(rule, signed, mask, k, grid)
    view.leave[mask] = np.minimum(view.leave[mask], -reach[mask])
    either: Mask = lower | beside
    return either


def _rim(view: Design, rule: Groove, outside: Mask, depth: FloatArray, grid: Grid) -> None:
    """Lower beside the region to the walls that go on above where the groove begins.

    Args:
        view: the design, in place.
        rule: a widening groove.
        outside: samples beside the region.
        depth: of the walls there, mm; not positive beyond them.
        grid: the samples.
    """
    lower = outside & (depth > 0) & (-depth < view.deepest)
    view.deepest[lower] = -depth[lower]
    view.cosine[lower] = math.sin(math.radians(0.5 * rule.angle))
    if rule.tip > 0:  # only discs as wide as the tip's flat are entered: what lies round them is what must be gone
        k = 1.0 / math.tan(math.radians(0.5 * rule.angle))
        flat = 0.5 * rule.tip
        entered = rule.region.buffer(-flat, quad_segs=QUAD).buffer(flat, quad_segs=QUAD)
        depth = rule.begin - Outline(entered).over(grid, outside, limit=rule.begin / k + grid.pixel) * k
    must = outside & (depth > 0)
    view.leave[must] = np.minimum(view.leave[must], -depth[must])


def _groove_reach(rule: Groove, signed: FloatArray, mask: Mask, k: float, grid: Grid) -> FloatArray:
    """Return how deep the bit can come at each sample without cutting a wall, mm: what must be gone."""
    flat = 0.5 * rule.tip
    distance = np.maximum(signed, 0.0)
    rim = _tip_reach(signed, mask, flat, grid) if flat > 0 else distance
    reach = rule.begin + np.maximum(rim - flat, 0.0) * k
    reach[rim < flat] = 0.0
    if not math.isfinite(rule.limit):
        return reach
    wide = (rule.limit - rule.begin) / k
    reach = np.minimum(reach, rule.limit)
    if rule.floor_diameter is None:
        return np.minimum(reach, np.maximum(rule.limit - rule.ridge, 0.0))
    # where the floor tool cannot enter, the bit runs along the floor's edge and leaves its own slope
    radius = 0.5 * rule.floor_diameter
    way = rule.region.buffer(-(wide + radius) + 0.002, quad_segs=QUAD)
    floor = _within(inside(way.buffer(radius - 0.002, quad_segs=QUAD), grid))
    beyond = np.maximum(distance - wide - 2.0 * flat, 0.0) * k
    return np.where(floor, reach, np.minimum(reach, rule.limit - beyond))


RING = 16
"""Directions in which a flat tip's rim is looked at: misses at most 1 - cos(pi / 16) = 2 % of it, to the mild side."""

UPHILL = 0.985
"""Where the distance rises by less than this a pixel, a ridge of it is near. Larger: round outlines count as ridges."""


def _tip_reach(signed: FloatArray, mask: Mask, flat: float, grid: Grid) -> FloatArray:
    """Return the largest distance from the outline within `flat` of each sample, mm.

    On a slope that is distance + flat, met straight uphill. Near a ridge of the distance, where another wall is as
    near, it is looked for around the sample; what is found is never more than the truth, since the distance changes
    by at most 1 mm a mm, so it is at least that of each sample less the way to it.
    """
    best = np.maximum(signed, 0.0)
    if min(signed.shape) < 3:
        return best
    near = np.where(np.isfinite(signed), signed, 0.0)
    gy, gx = np.gradient(near, grid.pixel)
    ridge = widened(mask & (np.hypot(gx, gy) < UPHILL), 1 + math.ceil(flat / grid.pixel)) & mask
    best[mask & ~ridge] += flat
    rows, columns = np.nonzero(ridge)
    found = near[rows, columns]
    for share in (0.5, 1.0):
        for angle in 2.0 * math.pi * np.arange(RING) / RING:
            at = share * flat / grid.pixel
            there = _at_least(near, rows + at * math.sin(angle), columns + at * math.cos(angle), grid.pixel)
            found = np.maximum(found, there)
    best[rows, columns] = found
    return best


def _at_least(distance: FloatArray, y: Any, x: Any, pixel: float) -> FloatArray:
    """Return a lower bound of the distance at (row y, column x), from the four samples around."""
    r = np.clip(np.floor(y).astype(np.int64), 0, distance.shape[0] - 2)
    c = np.clip(np.floor(x).astype(np.int64), 0, distance.shape[1] - 2)
    around = [distance[r + i, c + j] - np.hypot(y - r - i, x - c - j) * pixel for i in (0, 1) for j in (0, 1)]
    best: FloatArray = np.max(around, axis=0)
    return best


def lowest_allowed(asked: Sequence[Asked], thickness: float) -> float:
    """Return the lowest height that any rule allows on a board, mm (negative).

    A groove without a limit allows no more than the others, and a through cut that was asked on a thicker board no more
    below this one than it was stated to go below that.
    """
    depths: list[float] = []
    for _, _, bounds in asked:
        through = [r.below for r in bounds.rules if isinstance(r, Kerf) and r.through]
        through += [r.below + r.point for r in bounds.rules if isinstance(r, Hole) and r.through]
        most = thickness + max(through) if through else math.inf  # what is cleared beside a through cut goes as deep
        depths += [min(rule_depth(r), most) for r in bounds.rules]
    return -max((d for d in depths if math.isfinite(d)), default=0.0)
