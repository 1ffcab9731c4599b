"""What lies between the samples of the grid: groove walls and corners by probes, thin pillars on floors by sections.

On a slope the grid is exact at its samples, but a corner, a scratch or a pillar narrower than its step may fall between
them; so steep walls need no finer grid. Probes stand on each groove's outline, and on its walls half way down, 0.5 mm
apart, 0.02 mm to both sides, and at every corner 0.02 and 0.06 mm inside both its edges. The height of the part at a
probe comes from the strokes in closed form, without the grid: it tells whether the probe lies in the horizontal section
at that height, and how far off the wall is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
import shapely
from shapely import STRtree

from pathgen.model.arrays import BoolArray, FloatArray
from pathgen.model.bounds import Bridge, Flat, Groove, Rule
from pathgen.model.tool import Tool
from pathgen.proof.design import Asked, reached, rule_region
from pathgen.proof.distance import Outline
from pathgen.proof.grid import expanded
from pathgen.proof.places import Miss
from pathgen.proof.sections import section
from pathgen.proof.setting import Setting
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import directions, lower_surface, profile_of

STATION: Final = 0.5
"""Distance of probes along an outline, mm. Larger: a short miss falls between two; smaller: time."""

ASIDE: Final = 0.02
"""How far beside the outline a probe stands, mm: more than any rounding, less than any miss that matters."""

INTO: Final = 0.06
"""How far inside both edges of a corner a further probe stands, mm: a run that ends short is missed most there."""

SHARPEST: Final = 0.03
"""Corners sharper than about 14 degrees are probed no further from their tip than that one."""

CORNER: Final = math.radians(10)
"""Turns sharper than this are corners: curves are drawn in steps of a few degrees."""

ALONE: Final = 0.1
"""Probes this near to what else was asked for are left out, mm: two requests meet there."""

LEFT: Final = 0.02
"""Floors may be this much too high, mm."""

DUST: Final = 1e-4
"""Smallest area of a pillar, mm2: the chords of round ends leave less."""

RIM: Final = 0.03
"""How far inside a floor pillars are looked for, mm: what stands at its rim is measured as a wall."""

LEAST: Final = 0.01
"""Tips less deep than this are rounding, mm."""

SEEN: Final = 0.0005
"""Amounts below this are rounding, mm."""

BATCH: Final = 400_000
"""Pairs of probe and stroke worked on at a time."""

MOST: Final = 5
"""Places told of one groove or floor."""


def heights_at(strokes: Strokes, tools: Mapping[int, Tool], points: FloatArray) -> FloatArray:
    """Return the height (n,) of the part at `points` (n, 2), mm, exact: the lowest of all strokes, 0 where uncut."""
    out = np.zeros(len(points))
    tree = STRtree(shapely.points(points))
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        own = strokes[(strokes.tool == number) & (strokes.lowest < 0)]
        if profile is None or not len(own):
            continue
        reach = profile.reach(-own.lowest)[:, None]
        low, high = np.minimum(own.a, own.b)[:, :2] - reach, np.maximum(own.a, own.b)[:, :2] + reach
        stroke, point = tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
        for k in range(0, len(point), BATCH):
            i, p = stroke[k : k + BATCH], point[k : k + BATCH]
            a, b = own.a[i], own.b[i]
            z = lower_surface(profile, points[p, 0] - a[:, 0], points[p, 1] - a[:, 1], directions(a, b))
            np.minimum.at(out, p, z)
    return out


def stations(region: Any) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return points (n, 2) on the outlines of a region, ways (n, 2) out of it, and which of them are corners (n,).

    They stand `STATION` apart along each ring, and at every corner. A way is the unit normal; at a corner it is as long
    as takes it 1 mm away from both edges.
    """
    points, ways, corners = [np.empty((0, 2))], [np.empty((0, 2))], [np.empty(0, dtype=np.bool_)]
    for ring in shapely.get_parts(shapely.boundary(region)):
        xy = shapely.get_coordinates(ring)
        step = np.diff(xy, axis=0)
        length = np.hypot(*step.T)
        xy, step, length = xy[:-1][length > 0], step[length > 0], length[length > 0]
        if not len(length):
            continue
        normal = np.column_stack([step[:, 1], -step[:, 0]]) / length[:, None]
        end = np.cumsum(length)
        along = np.arange(0.5 * STATION, end[-1], STATION)
        edge = np.minimum(np.searchsorted(end, along, side="right"), len(length) - 1)
        before = np.roll(normal, 1, axis=0)
        same = np.einsum("ij,ij->i", before, normal)
        corner = same < math.cos(CORNER)
        between = (before + normal)[corner] / np.maximum(1.0 + same[corner], SHARPEST)[:, None]
        points += [xy[edge] + ((along - end[edge] + length[edge]) / length[edge])[:, None] * step[edge], xy[corner]]
        ways += [normal[edge], between]
        corners += [np.zeros(len(edge), dtype=np.bool_), np.ones(len(between), dtype=np.bool_)]
    at, out = np.concatenate(points), np.concatenate(ways)
    shapely.prepare(region)
    inner = shapely.contains_xy(region, at + 1e-4 * out)
    return at, np.where(inner[:, None], -out, out), np.concatenate(corners)


def groove_misses(s: Setting, asked: Sequence[Asked]) -> tuple[list[Miss], list[Miss]]:
    """Return (gouges, residuals) at the probes of all grooves.

    Only places where nothing else was asked for are looked at; the others are left to the grid.
    """
    gouges: list[Miss] = []
    residuals: list[Miss] = []
    rules = [(k, r) for k, (_, _, b) in enumerate(asked) for r in b.rules if not isinstance(r, Bridge)]
    done: list[Groove] = []
    for cut, rule in rules:
        if not isinstance(rule, Groove) or rule.region.is_empty or any(_same(rule, other) for other in done):
            continue
        done.append(rule)
        others = shapely.union_all([rule_region(r) for _, r in rules if not _same(rule, r)])
        shapely.prepare(others)
        found = []
        for inset, (at, out, corner) in _on_walls(rule):
            keep = shapely.contains_xy(s.stock.region, at)
            if not others.is_empty:
                keep &= ~shapely.dwithin(others, shapely.points(at), ALONE)
            found.append(_measured(s, rule, at[keep], out[keep], corner[keep], inset))
        deep, high, where = (np.concatenate(parts) for parts in zip(*found, strict=True))
        gouges += _worst(deep, where, cut)
        residuals += _worst(high, where, cut)
    return gouges, residuals


def _same(rule: Groove, other: Rule) -> bool:
    return isinstance(other, Groove) and (other.region is rule.region or bool(other.region.equals(rule.region)))


def _on_walls(rule: Groove) -> list[tuple[float, tuple[FloatArray, FloatArray, BoolArray]]]:
    """Return stations on the outline, and on the walls half way down, each with its distance from the outline, mm."""
    k = 1.0 / math.tan(math.radians(0.5 * rule.angle))
    inset = min(0.5 * (rule.limit - rule.begin) / k, 0.5 * rule.region.area / max(rule.region.length, 1e-9))
    found = [(0.0, stations(rule.region))] if rule.begin == 0 else []
    return [*found, (inset, stations(rule.region.buffer(-inset, quad_segs=16)))]


def _measured(
    s: Setting, rule: Groove, at: FloatArray, out: FloatArray, corner: BoolArray, inset: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return (too deep, too high, places (n, 3)) at both sides of the stations, mm normal to the wall."""
    half = math.radians(0.5 * rule.angle)
    k, flat = 1.0 / math.tan(half), 0.5 * rule.tip
    # beyond a corner the slopes' own continuations are nearer than the corner is, so probes stand inside it only
    q = np.concatenate([at - ASIDE * out, (at + ASIDE * out)[~corner], (at - INTO * out)[corner]])
    inward = -np.concatenate([out, out[~corner], out[corner]])
    inward /= np.hypot(*inward.T)[:, None]
    outline = Outline(rule.region)
    shapely.prepare(rule.region)
    inside = shapely.contains_xy(rule.region, q)
    distance = np.where(inside, 1.0, -1.0) * outline.distance(q, limit=inset + 2.0 * INTO)
    z = heights_at(s.strokes, s.tools, q)
    asked = np.where(inside, -np.minimum(rule.begin + distance * k, rule.limit), -distance * k)
    if rule.begin > 0:
        asked = np.where(inside, asked, 0.0)
    deep = np.where(z < -SEEN, (asked - z) * math.sin(half), 0.0)
    rim = distance
    if flat > 0:  # a flat tip reaches as deep as its innermost edge lets it
        uphill = q + flat * inward
        rim = np.where(
            shapely.contains_xy(rule.region, uphill),
            outline.distance(uphill, limit=inset + 2.0 * INTO + flat) - flat,
            0.0,
        )
    owed = np.where(inside & (rim > 0), rule.begin + rim * k, 0.0)
    slope = inside & (owed < rule.limit - rule.ridge)
    high = np.where(slope & (owed > 0), (z + owed) * math.sin(half), 0.0)
    return deep, high, np.column_stack([q, z])


def _worst(amount: FloatArray, where: FloatArray, cut: int) -> Iterator[Miss]:
    """Yield the worst places, no two within 10 mm."""
    left = amount > SEEN
    for _ in range(MOST):
        if not left.any():
            return
        k = int(np.argmax(np.where(left, amount, 0.0)))
        x, y, z = where[k]
        yield Miss(amount=float(amount[k]), where=(float(x), float(y), float(z)), cut=cut)
        left &= np.hypot(where[:, 0] - x, where[:, 1] - y) > 10.0


def strays(s: Setting, asked: Sequence[Asked]) -> Iterator[Miss]:
    """Yield where the tip of a V bit, ball or drill is below the face outside of all that was asked, however narrow.

    Tips are looked at 0.5 mm apart along each stroke and at its ends. A miss is the depth there, or the way to what was
    asked if that is less.
    """
    slanted = [n for n, tool in s.tools.items() if (p := profile_of(tool)) is not None and p.kind != "flat"]
    own = np.flatnonzero(np.isin(s.strokes.tool, slanted) & (s.strokes.lowest < -LEAST))
    if not len(own):
        return
    area = shapely.union_all([rule_region(r) for _, _, b in asked for r in b.rules if not isinstance(r, Bridge)])
    a, b = s.strokes.a[own], s.strokes.b[own]
    pieces = np.maximum(np.ceil(np.hypot(*(b - a)[:, :2].T) / STATION), 1).astype(np.int64)
    owner, k = expanded(np.zeros_like(pieces), pieces + 1)
    tip = a[owner] + (k / pieces[owner])[:, None] * (b - a)[owner]
    shapely.prepare(area)
    out = (tip[:, 2] < -LEAST) & ~shapely.contains_xy(area, tip[:, :2])
    out &= shapely.contains_xy(s.stock.region, tip[:, :2])
    if not out.any():
        return
    amount = np.zeros(len(tip))
    amount[out] = np.minimum(-tip[out, 2], shapely.distance(shapely.points(tip[out, :2]), area))
    for miss in _worst(amount, tip, -1):
        index = int(np.argmin(np.abs(tip - miss.where).sum(axis=1)))
        stroke = int(own[owner[index]])
        yield Miss(amount=miss.amount, where=miss.where, stroke=stroke, cut=int(s.strokes.cut[stroke]))


# -- pillars -----------------------------------------------------------------------------------------------------


def pillars(s: Setting, asked: Sequence[Asked]) -> Iterator[Miss]:
    """Yield what stands on flat floors, however thin: the floor less the section just above it."""
    flat = [n for n, tool in s.tools.items() if (p := profile_of(tool)) is not None and p.kind == "flat"]
    milled = np.isin(s.strokes.tool, flat)
    for cut, (_, tool, bounds) in enumerate(asked):
        for rule in bounds.rules:
            if not isinstance(rule, Flat) or profile_of(tool) is None or rule.region.is_empty:
                continue
            owed = reached(rule, rule.region, tool).buffer(-RIM)
            z = -rule.depth + LEFT
            over = _over(s, owed.bounds) & (s.strokes.lowest <= z)
            left = owed.intersection(s.stock.region)
            # flat cutters do most of it; the others are looked at only where something is left
            for strokes in (s.strokes[over & milled], s.strokes[over & ~milled]):
                if len(strokes) and not left.is_empty:
                    left = left.difference(section(strokes, s.tools, z))
            # what hangs on a wall is measured as a wall
            shapely.prepare(rim := owed.boundary)
            parts = [p for p in shapely.get_parts(left) if p.area > DUST and p.distance(rim) > SEEN]
            for part in sorted(parts, key=lambda p: -p.area)[: 4 * MOST]:
                spot = part.representative_point()
                height = float(heights_at(s.strokes, s.tools, np.array([[spot.x, spot.y]]))[0])
                if height + rule.depth > LEFT:
                    yield Miss(amount=height + rule.depth, where=(spot.x, spot.y, height), cut=cut)


def _over(s: Setting, bounds: tuple[float, float, float, float]) -> BoolArray:
    """Whether each stroke's tool may come over a box."""
    reach = np.zeros(len(s.strokes))
    for number, tool in s.tools.items():
        reach[s.strokes.tool == number] = 0.5 * tool.diameter
    low, high = np.minimum(s.strokes.a, s.strokes.b), np.maximum(s.strokes.a, s.strokes.b)
    x0, y0, x1, y1 = bounds
    near: BoolArray = (low[:, 0] - reach < x1) & (high[:, 0] + reach > x0)
    near &= (low[:, 1] - reach < y1) & (high[:, 1] + reach > y0)
    return near
