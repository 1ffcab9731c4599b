"""Thin walls left standing, and what breaks or tears along the grain of wood.

Terminology
-----------
standing
    What is left of the stock at a height: its outline less all that the cuts open there. With a design that is what
    was asked (gouge and residual hold the part against it), else the exact section of the swept text.
thin
    A stretch of standing stock that holds no disc of the width looked for, and is at least twice as long as that.
    Corners hold none either, but are short.
wall
    A thin stretch beside which the ground, on both sides, lies at least as deep as the wall may be wide.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray
from pathgen.model.bounds import Bridge, Flat, Free, Groove, Hole, Kerf, Rule
from pathgen.model.findings import Finding
from pathgen.proof.checks import Setting
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked, kerf_region, rule_depth, rule_region
from pathgen.proof.grid import Grid
from pathgen.proof.pieces import Bridged, underside
from pathgen.proof.sweep import Field, profile_of
from pathgen.proof.walls import section
from pathgen.shop.strength import strength

GRAINED: Final = ("hardwood", "softwood", "plywood")
"""Materials that break along their grain."""

COARSE: Final = ("hardwood", "softwood")
"""Materials in which hairlines tear out across the grain."""

HAIRLINE: Final = 1.0
"""Lines narrower than this are hairlines, mm. Common practice, no source."""

BY_HEIGHT: Final = 2.0
"""Wood across the grain must be this many times as wide as high. Common practice, no source."""

OFF_GRAIN: Final = 45.0
"""Further than this from the grain's direction runs across it, degrees."""

SIMPLE: Final = 0.02
"""Outlines are simplified by this first, mm: far below any width looked for."""

QUAD: Final = 8
"""Segments in a quarter of round offsets here: at a radius of 1 mm they err by 0.005 mm."""

LONG: Final = 2.0
"""A thin stretch is at least this many times as long as the width looked for. Smaller: corners count."""

STATIONS: Final = 7
"""Places along a stretch at which it is measured."""

MOST_MEASURED: Final = 24
"""Stretches measured for the narrowest, by their mean width."""

MOST_SLOPING: Final = 20_000
"""Strokes of round or sloping tools that a section without a design is made of; beyond that it takes minutes."""

CUT: Final = 0.5
"""A wall is one where the ground beside it was really cut at least this deep, in widths: else a residual says so."""

LOW: Final = 0.005
"""How far above a floor its walls are looked at, mm: rounding in the program."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Stretch:
    """A thin stretch.

    Attributes:
        region: mm.
        at: its narrowest place, (x, y), mm.
        width: there, mm.
        length: mm.
        angle: direction in which it runs, degrees, 0 to 180.
    """

    region: Any
    at: tuple[float, float]
    width: float
    length: float
    angle: float


class Standing:
    """What stands at each height, worked out once for each.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut; None = unknown, then the strokes are cut through.
    """

    def __init__(self, s: Setting, asked: Sequence[Asked] | None) -> None:
        self._s = s
        self._rules = None if asked is None else [r for _, _, b in asked for r in b.rules]
        self._simple: dict[int, Any] = {}
        self._at: dict[float, Any] = {}

    def at(self, z: float) -> Any:
        """Return what stands at height `z` < 0, mm."""
        key = round(z, 4)
        if key not in self._at:
            self._at[key] = self._s.stock.region.difference(self._open(z))
        return self._at[key]

    @property
    def floors(self) -> list[float]:
        """Depths of flat floors that do not go through, mm."""
        depths = {round(r.depth, 3) for r in self._rules or () if isinstance(r, Flat) and not r.facing}
        return sorted(d for d in depths if d < self._s.stock.thinnest)

    @property
    def parted(self) -> bool:
        """Whether cuts go through the board."""
        return any(isinstance(r, Kerf | Hole) and r.through for r in self._rules or ())

    @property
    def deepest(self) -> float:
        """How deep anything is cut, mm."""
        return -float(self._s.strokes.lowest.min(initial=0.0))

    @property
    def known(self) -> bool:
        """Whether sections can be made: with a design always, else of not too many sloping strokes."""
        if self._rules is not None:
            return True
        st = self._s.strokes
        flat = [n for n, t in self._s.tools.items() if (p := profile_of(t)) is not None and p.kind == "flat"]
        return int(np.count_nonzero((st.lowest < 0) & ~np.isin(st.tool, flat))) <= MOST_SLOPING

    def _open(self, z: float) -> Any:
        if self._rules is None:
            return section(self._s.strokes, self._s.tools, z, quad_segs=QUAD)
        parts = [self._opened(r, z) for r in self._rules if not isinstance(r, Bridge | Free) and rule_depth(r) > -z]
        return shapely.union_all(parts) if parts else shapely.MultiPolygon()

    def _opened(self, rule: Rule, z: float) -> Any:
        if id(rule) not in self._simple:
            region = kerf_region(rule) if isinstance(rule, Kerf) else rule_region(rule)
            self._simple[id(rule)] = region.simplify(SIMPLE)
        region = self._simple[id(rule)]
        if not isinstance(rule, Groove):
            return region
        inset = (-z - rule.begin) * math.tan(math.radians(0.5 * rule.angle))
        return region.buffer(-inset, quad_segs=QUAD) if inset > 0 else region


def thin(region: Any, width: float) -> list[Stretch]:
    """Return the stretches of `region` that hold no disc of diameter `width`, mm, the narrowest first."""
    opened = region.buffer(-0.5 * width, quad_segs=QUAD).buffer(0.5 * width + SIMPLE, quad_segs=QUAD)
    parts = shapely.get_parts(region.difference(opened))
    parts = parts[shapely.area(parts) > SIMPLE * LONG * width]
    axes = [_axis(p) for p in parts]
    rough = sorted((p.area / n, k) for k, (p, (_, _, n)) in enumerate(zip(parts, axes, strict=True)) if n > 0)
    found = []
    for _, k in [(w, k) for w, k in rough if axes[k][2] >= LONG * width][:MOST_MEASURED]:
        if (one := _measured(region, parts[k], axes[k], width)) is not None:
            found.append(one)
    return sorted(found, key=lambda t: t.width)


def _axis(part: Any) -> tuple[FloatArray, FloatArray, float]:
    """Return middle, direction and length of the smallest rectangle round a part."""
    xy = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))
    if len(xy) < 4:
        return np.zeros(2), np.array([1.0, 0.0]), 0.0
    one, other = xy[1] - xy[0], xy[2] - xy[1]
    way = one if np.hypot(*one) >= np.hypot(*other) else other
    length = float(np.hypot(*way))
    return xy[:4].mean(axis=0), way / max(length, 1e-12), length


def _measured(region: Any, part: Any, axis: tuple[FloatArray, FloatArray, float], width: float) -> Stretch | None:
    middle, way, length = axis
    reach = max(4.0 * width, length)  # a curved stretch may lie anywhere beside its axis
    x0, y0, x1, y1 = part.bounds
    near = region.intersection(shapely.box(x0 - width, y0 - width, x1 + width, y1 + width))
    best: tuple[float, tuple[float, float]] | None = None
    for share in np.linspace(-0.4, 0.4, STATIONS):
        line = _across(middle + share * length * way, way, reach)
        for piece in shapely.get_parts(part.intersection(line)):
            if piece.length > 0:
                spot = piece.interpolate(0.5, normalized=True)
                size = chord(near, line, spot)
                if size and (best is None or size < best[0]):
                    best = (size, (float(spot.x), float(spot.y)))
    if best is None or best[0] >= width:
        return None
    angle = math.degrees(math.atan2(way[1], way[0])) % 180.0
    return Stretch(region=part, at=best[1], width=best[0], length=length, angle=angle)


def _across(at: FloatArray, way: FloatArray, reach: float) -> Any:
    side = reach * np.array([-way[1], way[0]])
    return shapely.linestrings([at - side, at + side])


def chord(region: Any, line: Any, spot: Any) -> float:
    """Return the length of the stretch of `line` inside `region` that holds `spot`, mm; 0 where it lies outside."""
    parts = shapely.get_parts(region.intersection(line))
    near = [p for p in parts if p.distance(spot) < 1e-6]
    return float(near[0].length) if near else 0.0


def across(angle: float, grain: float) -> bool:
    """Whether a direction runs across the grain, both in degrees."""
    off = abs((angle - grain + 90.0) % 180.0 - 90.0)
    return off > OFF_GRAIN


# -- findings --------------------------------------------------------------------------------------------------------


def wall_findings(s: Setting, standing: Standing, cut: Field, grid: Grid) -> Iterator[Finding]:
    """Yield a finding on thin walls, and one on wood left standing across the grain.

    Args:
        s: programs, tools and stock.
        standing: what stands at each height.
        cut: the part, heights in mm.
        grid: its samples.
    """
    if not standing.known:
        return
    figures, grain = strength(s.stock.material), s.stock.grain if s.stock.material in GRAINED else None
    least = figures.wall if s.thin_wall is None else s.thin_wall
    found = _walls(standing, least)
    if s.thin_wall is None:
        if grain is not None and figures.wall_across > least:
            found += [w for w in _walls(standing, figures.wall_across) if across(w.angle, grain)]
        for depth in standing.floors:
            if depth / figures.slender > least:
                found += thin(standing.at(LOW - depth), depth / figures.slender)
        if standing.parted and s.stock.thickness / figures.slender > least:
            found += thin(_parts(s, standing), s.stock.thickness / figures.slender)
    if (wall := _wall(s, standing, found, cut, grid)) is not None:
        yield wall
    if grain is None:
        return
    short = [w for d in standing.floors for w in thin(standing.at(LOW - d), BY_HEIGHT * d) if across(w.angle, grain)]
    if short:
        worst = min(short, key=lambda w: w.width)
        yield finding(
            "short-grain",
            f"Wood is left standing {worst.width:.2f} mm wide across the grain, less than twice its height"
            f"{_places(short)}.",
            amount=worst.width,
            where=(*worst.at, 0.0),
        )


def _walls(standing: Standing, width: float) -> list[Stretch]:
    """Return walls narrower than `width` that are as high as that."""
    return thin(standing.at(-width), width) if standing.deepest > width else []


def _parts(s: Setting, standing: Standing) -> Any:
    """Return what stands at the underside but for the frame, which is waste."""
    edge = s.stock.region.boundary
    apart = shapely.get_parts(standing.at(LOW - s.stock.thickness))
    return shapely.MultiPolygon([p for p in apart if p.distance(edge) > 1e-6])


def _places(found: Sequence[Stretch]) -> str:
    return f" ({len(found)} places)" if len(found) > 1 else ""


def _wall(s: Setting, standing: Standing, found: Sequence[Stretch], cut: Field, grid: Grid) -> Finding | None:
    """Return the finding on the narrowest wall: its width at the top and at the foot, its height; None = not cut."""
    distinct: list[Stretch] = []
    heights: list[float] = []
    for w in sorted(found, key=lambda w: w.width):
        if all(w.region.distance(other.region) > 0 for other in distinct):
            high = _height(s, w, cut, grid)
            if high >= CUT * w.width:
                distinct.append(w)
                heights.append(high)
    if not distinct:
        return None
    worst, height = distinct[0], heights[0]
    spot, line = shapely.Point(worst.at), _across(np.array(worst.at), _way(worst), 4.0 * worst.width + 4.0)
    top = chord(standing.at(-0.002), line, spot)
    foot = chord(standing.at(min(2 * LOW - height, -0.002)), line, spot)
    run = ""
    if s.stock.grain is not None and s.stock.material in GRAINED:
        run = " across the grain" if across(worst.angle, s.stock.grain) else " along the grain"
    return finding(
        "thin-wall",
        f"A wall is left standing{run} {top:.2f} mm wide at the top, {foot:.2f} mm at the foot, {height:.1f} mm high "
        f"({height / max(worst.width, 1e-9):.1f} times its width){_places(distinct)}.",
        amount=worst.width,
        where=(*worst.at, 0.0),
    )


def _way(stretch: Stretch) -> FloatArray:
    """Return the direction in which a stretch runs, as a vector of length 1."""
    return np.array([math.cos(math.radians(stretch.angle)), math.sin(math.radians(stretch.angle))])


def _height(s: Setting, wall: Stretch, cut: Field, grid: Grid) -> float:
    """Return how far the ground lies below the face on the wall's shallower side, mm, in the height field."""
    depth, way = [], _way(wall)
    reach = max(wall.width, 1.0, grid.pixel)  # at least one sample to either side, however coarse the grid
    steps = 0.5 * wall.width + np.arange(0.5 * grid.pixel, reach, 0.5 * grid.pixel)
    for side in (-1.0, 1.0):
        x = wall.at[0] - side * steps * way[1]
        y = wall.at[1] + side * steps * way[0]
        c = np.clip(np.round((x - grid.x0) / grid.pixel), 0, grid.columns - 1).astype(np.int64)
        r = np.clip(np.round((y - grid.y0) / grid.pixel), 0, grid.rows - 1).astype(np.int64)
        # beside the stock there is no ground at all
        out = shapely.distance(s.stock.region, shapely.points(x, y)) > 0
        depth.append(s.stock.thickness if out.any() else -float(cut[r, c].min()))
    return min(*depth, s.stock.thickness)


def grain_findings(s: Setting, asked: Sequence[Asked] | None, held: Sequence[Bridged]) -> Iterator[Finding]:
    """Yield findings on bridges that stand across the grain's strength, and on hairlines cut across it.

    A bridge holds by the fibres that run over the slot. Where they run along it, it splits off like short grain.
    """
    if s.stock.grain is None or s.stock.material not in GRAINED:
        return
    grain = s.stock.grain
    weak = [
        b
        for one in held
        for b in one.bridges
        if not across(b.along, grain) and b.length < BY_HEIGHT * b.height and b.height > 0
    ]
    if weak and s.stock.material != "plywood":
        worst = min(weak, key=lambda b: b.length / b.height)
        yield finding(
            "short-grain",
            f"A bridge whose fibres run along the slot is {worst.length:.1f} mm long and {worst.height:.1f} mm high, "
            f"less than twice its height ({len(weak)} bridges).",
            amount=worst.length,
            where=(*worst.at, underside(s) + worst.height),
            advice="Make it longer, or set it where the grain runs over the slot.",
        )
    if s.stock.material not in COARSE:
        return
    for name, _, bounds in asked or ():
        drawn = [r.region for r in bounds.rules if isinstance(r, Groove)]
        if not drawn:
            continue
        lines = [t for t in thin(shapely.union_all(drawn).simplify(SIMPLE), HAIRLINE) if across(t.angle, grain)]
        if lines:
            yield finding(
                "hairline",
                f"Lines down to {lines[0].width:.2f} mm wide run across the grain{_places(lines)}.",
                amount=lines[0].width,
                where=(*lines[0].at, 0.0),
                cut=name,
            )
