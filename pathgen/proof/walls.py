"""Upright walls, by exact distances between strokes and outlines.

A grid cannot see how far a wall stands from where it was asked: a wall moved by half a pixel is seen half the time. So
the cutter's center line is held against the outlines themselves: nearer than the radius is a gouge, and an outline
that no full-depth stroke comes near enough to, though the cutter could, is a residual.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import STRtree

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.bounds import Bridge, Flat, Free, Groove, Kerf, Rule
from pathgen.model.tool import Tool
from pathgen.proof.design import PLANNED, QUAD, Asked, careful_ways, kerf_region, rule_depth, rule_region
from pathgen.proof.grid import ring_edges
from pathgen.proof.places import Miss
from pathgen.proof.sections import section as section
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import Profile, profile_of

PROBE_STEP = 0.5
"""Distance of probes along an outline, mm. Larger: a short miss falls between two; smaller: time."""

SAME_DEPTH = 0.005
"""Depths nearer than this are the same level, mm: rounding in the program, never a step of the design."""

WAY = 0.002
"""Half the width kept of the way of a cutter in a slot as wide as itself, mm: none would vanish in rounding; more
would forgive as much."""

NOISE = 1e-6
"""Heights nearer than this are level, mm. Numerical noise only."""

MOST_LEVELS = 8
"""Levels looked at above a floor that was not reached; beyond that the wall counts as standing in full."""

JUST_BELOW = 0.001
"""How far below the top of a wall it is cut in section, mm."""

CLEAR = 0.001
"""Strokes that come no nearer than the radius less this are clear of a wall, mm: twice the chords of round offsets."""

SEEN = 0.0005
"""Overlaps below this are the chords of arcs and offsets, mm; nothing is made of them."""


def lines_of(strokes: Strokes) -> Any:
    """Return each stroke as a line seen from above; a plunge as one of no length."""
    return shapely.linestrings(np.stack([strokes.a[:, :2], strokes.b[:, :2]], axis=1))


def permitted(asked: Sequence[Asked], z: float) -> Any:
    """Return the area in which the stock may be cut at height `z` (< 0), mm."""
    return shapely.union_all([_open_at(r, z) for _, _, b in asked for r in b.rules if not isinstance(r, Bridge)])


def _open_at(rule: Rule, z: float) -> Any:
    if rule_depth(rule) < -z - SAME_DEPTH:
        return shapely.MultiPolygon()
    if isinstance(rule, Groove):
        inset = max(0.0, (-z - rule.begin) * math.tan(math.radians(0.5 * rule.angle)) - 1e-6)
        return rule.region.buffer(-inset, quad_segs=QUAD) if inset > 0 else rule.region
    return rule_region(rule)


def wall_gouges(strokes: Strokes, tools: Mapping[int, Tool], asked: Sequence[Asked], outside: Any) -> Iterator[Miss]:
    """Yield, for each flat cutter and depth, the strokes that come nearer to a wall than their radius.

    A stroke's distance from the permitted area's outline is that of two straight lines, so it is exact. A stroke whose
    start lies outside the permitted area is in by its distance and the radius. A miss is never more than the height of
    wall that it concerns: a floor a little too deep is not a wall a radius off.

    Args:
        strokes: all strokes.
        tools: T number to tool.
        asked: what was asked.
        outside: area beside the stock, where nothing is asked.
    """
    depths = np.array(sorted({rule_depth(r) for _, _, b in asked for r in b.rules if not isinstance(r, Bridge)}))
    tops = np.concatenate([[0.0], depths])
    depth = -strokes.lowest
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None or profile.kind != "flat":
            continue
        own = strokes.tool == number
        for k, top in enumerate(tops):
            chosen = np.flatnonzero(own & (depth > top + SAME_DEPTH))
            if not len(chosen):
                break
            bottom = float(depths[k]) if k < len(depths) else np.inf
            deepest = min(bottom, float(depth[chosen].max()))
            area = permitted(asked, -deepest) if deepest > top + SAME_DEPTH else shapely.MultiPolygon()
            height = np.minimum(depth[chosen], bottom) - top
            yield from _nearer(strokes, chosen, area.union(outside), profile.radius, height)


def _nearer(strokes: Strokes, chosen: IntArray, area: Any, radius: float, height: FloatArray) -> Iterator[Miss]:
    if shapely.get_num_coordinates(area):
        # most strokes stay well away from all walls: one look at the area drawn in spares them the exact distances
        clear = shapely.buffer(area, -(radius - CLEAR), quad_segs=QUAD)
        shapely.prepare(clear)
        beside = ~shapely.covers(clear, lines_of(strokes[chosen]))
        chosen, height = chosen[beside], height[beside]
        if not len(chosen):
            return
    lines = lines_of(strokes[chosen])
    starts = shapely.points(strokes.a[chosen, :2])
    shapely.prepare(area)
    out = ~shapely.contains_xy(area, strokes.a[chosen, :2])
    if out.any():
        how_far = np.minimum(shapely.distance(starts[out], area) + radius, height[out])
        worst = int(np.argmax(how_far))
        at = chosen[np.flatnonzero(out)[worst]]
        yield Miss(amount=float(how_far[worst]), where=_place(strokes.a[at]), stroke=int(at))
    a, b = _edges(area)
    if not len(a):
        return
    edges = shapely.linestrings(np.stack([a, b], axis=1))
    tree = STRtree(edges)
    near, edge = tree.query(lines, predicate="dwithin", distance=radius - SEEN)
    keep = ~out[near]
    near, edge = near[keep], edge[keep]
    if not len(near):
        return
    how_far = np.minimum(radius - shapely.distance(lines[near], edges[edge]), height[near])
    for k in _worst_places(how_far, strokes.a[chosen[near], :2]):
        at = shapely.get_coordinates(shapely.shortest_line(edges[edge[k]], lines[near[k]]))[0]
        stroke = int(chosen[near[k]])
        yield Miss(
            amount=float(how_far[k]), where=(float(at[0]), float(at[1]), float(strokes.lowest[stroke])), stroke=stroke
        )


def slanted_gouges(strokes: Strokes, tools: Mapping[int, Tool], asked: Sequence[Asked], outside: Any) -> Iterator[Miss]:
    """Yield where V bits, balls and drills cut into upright walls, by exact sections just below each wall's top.

    Only strokes that come near an upright wall are looked at: a groove's own walls are measured by their slope.
    """
    upright = [r for _, _, b in asked for r in b.rules if isinstance(r, Flat | Kerf | Free)]
    depths = sorted({rule_depth(r) for _, _, b in asked for r in b.rules if not isinstance(r, Bridge)})
    depth = -strokes.lowest
    for k, top in enumerate([0.0, *depths]):
        z = -top - JUST_BELOW
        bottom = depths[k] if k < len(depths) else np.inf
        walls = [rule_region(r) for r in upright if rule_depth(r) >= -z]
        if not walls:
            return
        edge = shapely.union_all(walls).boundary
        shapely.prepare(edge)
        area = None
        for number in np.unique(strokes.tool):
            profile = profile_of(tools[int(number)]) if int(number) in tools else None
            if profile is None or profile.kind == "flat":
                continue
            own = np.flatnonzero((strokes.tool == number) & (depth > -z))
            own = own[shapely.dwithin(edge, lines_of(strokes[own]), profile.reach(depth[own] + z))]
            if not len(own):
                continue
            area = permitted(asked, z).union(outside) if area is None else area
            beyond = shapely.get_parts(section(strokes[own], tools, z).difference(area))
            yield from _beyond(strokes, own, beyond, area, profile, top, bottom)


def _beyond(
    strokes: Strokes, own: IntArray, beyond: Any, area: Any, profile: Profile, top: float, bottom: float
) -> Iterator[Miss]:
    """Yield how far each part of a section lies outside the permitted area, in the middle of what was taken off."""
    xy, part = shapely.get_coordinates(beyond, return_index=True)
    if not len(xy):
        return
    far = shapely.distance(shapely.points(xy), area)
    order = np.lexsort((-far, part))
    worst = order[np.concatenate([[True], np.diff(part[order]) != 0])]  # the farthest point of each part
    worst = worst[far[worst] > SEEN]
    if not len(worst):
        return
    lines = lines_of(strokes[own])
    for k, at in zip(worst.tolist(), STRtree(lines).nearest(shapely.points(xy[worst])).tolist(), strict=True):
        stroke = int(own[at])
        low = float(strokes.lowest[stroke])
        amount = _middle(profile, -low - top, float(far[k]), bottom - top)
        yield Miss(amount=amount, where=(float(xy[k, 0]), float(xy[k, 1]), low), stroke=stroke)


def _middle(profile: Profile, depth: float, far: float, height: float) -> float:
    """Return how far the middle of a flank taken off a wall is from wall and top alike, mm, found by halving.

    Args:
        profile: the tool's outline.
        depth: of its tip below the top of the wall, mm.
        far: how far it comes into the wall at its top, mm.
        height: of the wall, mm.
    """
    low, high = 0.0, min(far, depth, height)
    wide = float(profile.reach(np.float64(depth)))
    for _ in range(40):
        t = 0.5 * (low + high)
        into = far - wide + float(profile.reach(np.float64(depth - t)))
        low, high = (t, high) if into > t else (low, t)
    return low


def _worst_places(amount: FloatArray, xy: FloatArray, *, apart: float = 10.0, most: int = 5) -> list[int]:
    """Return indices of the largest amounts, no two within `apart` mm of one another."""
    kept: list[int] = []
    for k in np.argsort(-amount, kind="stable")[:2000]:
        if all(np.hypot(*(xy[k] - xy[j])) > apart for j in kept):
            kept.append(int(k))
            if len(kept) == most:
                break
    return kept


def _edges(area: Any) -> tuple[FloatArray, FloatArray]:
    if area.is_empty:
        return np.empty((0, 2)), np.empty((0, 2))
    return ring_edges(area)


def _place(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))


def probes(region: Any, *, step: float = PROBE_STEP) -> FloatArray:
    """Return points (n, 2) on the outlines of `region` (or on its lines): every corner, and `step` apart between."""
    a, b = _edges(region)
    length = np.hypot(*(b - a).T)
    n = np.maximum(np.ceil(length / step), 1).astype(int)
    owner = np.repeat(np.arange(len(n)), n)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(n) - n, n)
    points: FloatArray = a[owner] + (k / n[owner])[:, None] * (b - a)[owner]
    return points


def wall_residuals(
    strokes: Strokes, tools: Mapping[int, Tool], asked: Sequence[Asked], stock_region: Any
) -> Iterator[Miss]:
    """Yield outline points that stand proud of where the cut's tool could have cut them.

    At each probe, the nearest full-depth stroke of any flat cutter is held against the nearest place the center of the
    cut's own tool could have been: what is left there because the tool is round is no residual.
    """
    bridges = [r for _, _, b in asked for r in b.rules if isinstance(r, Bridge)]
    for index, (_, tool, bounds) in enumerate(asked):
        profile = profile_of(tool)
        if profile is None or profile.kind != "flat":
            continue
        for rule in bounds.rules:
            if isinstance(rule, Flat | Kerf):
                yield from _proud(strokes, tools, rule, profile.radius, bridges, stock_region, index)


def _proud(
    strokes: Strokes,
    tools: Mapping[int, Tool],
    rule: Flat | Kerf,
    radius: float,
    bridges: Sequence[Bridge],
    stock_region: Any,
    index: int,
) -> Iterator[Miss]:
    region = kerf_region(rule) if isinstance(rule, Kerf) else rule.region
    ways = [(way, away) for way, away in _ways(rule, region, radius) if not way.is_empty]
    if not ways:
        return
    points = probes(rule.shape if isinstance(rule, Kerf) and rule.side != "along" else region)
    points = points[shapely.distance(shapely.points(points), stock_region.boundary) > 1e-6]
    points = points[shapely.contains_xy(stock_region, points)]
    if bridges and len(points):
        lifted = shapely.union_all([b.line for b in bridges])
        reach = max(b.diameter for b in bridges) + (rule.width if isinstance(rule, Kerf) else 0.0)
        points = points[shapely.distance(shapely.points(points), lifted) > reach]
    if not len(points):
        return
    short_of = [shapely.distance(shapely.points(points), way) - away for way, away in ways]
    owed = np.maximum(np.min(short_of, axis=0), 0.0)
    proud = np.minimum(_from_strokes(strokes, tools, points, -rule.depth) - owed, rule.depth)
    short = np.flatnonzero(proud > SEEN)
    for z in _levels_above(strokes, -rule.depth) if len(short) else ():
        # not cut that far down: what stands there is no higher than the next level that did cut it
        above = np.maximum(_from_strokes(strokes, tools, points[short], z) - owed[short], z + rule.depth)
        proud[short] = np.minimum(proud[short], above)
    for k in _worst_places(proud, points):
        if proud[k] > SEEN:
            yield Miss(
                amount=float(proud[k]),
                where=(float(points[k, 0]), float(points[k, 1]), -float(rule.depth)),
                cut=index,
            )


def _ways(rule: Flat | Kerf, region: Any, radius: float) -> list[tuple[Any, float]]:
    """Return where the center of a careful cutter may be, and how far that is from a straight wall, mm."""
    if isinstance(rule, Flat):
        return careful_ways(region, radius)
    if rule.side == "along":
        away = radius - min(WAY, 0.5 * radius)
        return [(region.buffer(-away, quad_segs=QUAD), away)]
    away = radius + PLANNED
    return [(rule.shape.buffer(away if rule.side == "outside" else -away, quad_segs=QUAD).boundary, away)]


def _levels_above(strokes: Strokes, z: float) -> FloatArray:
    """Return the heights of the next level strokes above `z`, at most `MOST_LEVELS` of them, mm."""
    level = np.abs(strokes.a[:, 2] - strokes.b[:, 2]) < NOISE
    heights = np.unique(np.round(strokes.a[level, 2], 4))
    chosen: FloatArray = heights[(heights > z + SAME_DEPTH) & (heights < 0)][:MOST_LEVELS]
    return chosen


def _from_strokes(strokes: Strokes, tools: Mapping[int, Tool], points: FloatArray, z: float) -> FloatArray:
    """Return the distance (n,) of `points` from what flat cutters cut away at height `z`, mm; inf where none did."""
    best = np.full(len(points), np.inf)
    places = shapely.points(points)
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None or profile.kind != "flat":
            continue
        deep = (strokes.tool == number) & (np.maximum(strokes.a[:, 2], strokes.b[:, 2]) <= z + SAME_DEPTH)
        if not deep.any():
            continue
        tree = STRtree(lines_of(strokes[deep]))
        found, distance = tree.query_nearest(places, return_distance=True, all_matches=False)
        best[found[0]] = np.minimum(best[found[0]], distance - profile.radius)
    return best


def bridge_gouges(strokes: Strokes, tools: Mapping[int, Tool], asked: Sequence[Asked]) -> Iterator[Miss]:
    """Yield bridges whose ends were cut away by strokes below their top.

    The core is the middle stretch of the lifted line, as long as the material that is to be left.
    """
    from shapely.ops import substring

    for index, (_, _, bounds) in enumerate(asked):
        for rule in bounds.rules:
            if not isinstance(rule, Bridge) or rule.slope < 90:
                continue
            for line in shapely.get_parts(rule.line):
                trim = max(0.5 * (line.length - rule.length), 0.0)
                core = substring(line, trim, line.length - trim)
                yield from _into(strokes, tools, core, rule.top, index)


def bridge_residuals(strokes: Strokes, tools: Mapping[int, Tool], asked: Sequence[Asked]) -> Iterator[Miss]:
    """Yield bridges that are longer than asked: full-depth strokes do not come up to the ends of the lifted line."""
    flat = [n for n, t in tools.items() if (p := profile_of(t)) is not None and p.kind == "flat"]
    own = strokes[np.isin(strokes.tool, flat)]
    for index, (_, _, bounds) in enumerate(asked):
        bottom = -max((r.depth for r in bounds.rules if isinstance(r, Kerf)), default=0.0)
        bridges = [r for r in bounds.rules if isinstance(r, Bridge)]
        deep = own[np.maximum(own.a[:, 2], own.b[:, 2]) <= bottom + SAME_DEPTH] if bridges else own
        if not bridges or not len(deep):
            continue
        tree = STRtree(lines_of(deep))
        for rule in bridges:
            for line in shapely.get_parts(rule.line):
                ends = shapely.get_coordinates(line)[[0, -1]]
                _, short = tree.query_nearest(shapely.points(ends), return_distance=True, all_matches=False)
                k = int(np.argmax(short))
                if short[k] > SEEN:
                    place = (float(ends[k, 0]), float(ends[k, 1]), float(rule.top))
                    yield Miss(amount=float(min(short[k], rule.top - bottom)), where=place, cut=index)


def _into(strokes: Strokes, tools: Mapping[int, Tool], core: Any, top: float, index: int) -> Iterator[Miss]:
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None or profile.kind != "flat":
            continue
        deep = np.flatnonzero((strokes.tool == number) & (strokes.lowest < top - SAME_DEPTH))
        if not len(deep):
            continue
        x0, y0, x1, y1 = core.bounds
        a, b, r = strokes.a[deep], strokes.b[deep], profile.radius
        close = (np.minimum(a[:, 0], b[:, 0]) < x1 + r) & (np.maximum(a[:, 0], b[:, 0]) > x0 - r)
        close &= (np.minimum(a[:, 1], b[:, 1]) < y1 + r) & (np.maximum(a[:, 1], b[:, 1]) > y0 - r)
        near = deep[close]
        if not len(near):
            continue
        over = r - shapely.distance(lines_of(strokes[near]), core)
        worst = int(np.argmax(over))
        if over[worst] > SEEN:
            place = shapely.get_coordinates(core)[0]
            yield Miss(
                amount=float(min(over[worst], top - strokes.lowest[near[worst]])),
                where=(float(place[0]), float(place[1]), float(top)),
                stroke=int(near[worst]),
                cut=index,
            )
