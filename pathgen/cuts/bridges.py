"""Bridges: where they stand on a contour, and how the tool lifts over them.

Terminology
-----------
contour
    the closed way of the tool's center.
lift
    the stretch of a contour on which the tool runs at the bridge's top. Its ends lie `length` + D apart in a straight
    line, so that `length` is what is left between the two round ends of the slot, also on a curve.
foot
    on each side of a lift, where a ramped bridge rises to its top.

Placement: samples along the contour are barred where a lift would cover a corner of the outline, or where another way
at full depth would cut what it leaves. Among the rest, straight runs come first, then the least curvature; with a
stated grain, sides that run along it (what is left of a bridge is pared off a long-grain edge cleanly, on end grain it
tears: common practice, no source). Bridges stand as evenly as that allows.
"""

from __future__ import annotations

import math
from dataclasses import KW_ONLY, dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.entry import plane_lengths, stretch
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.arrays import BoolArray, FloatArray
from pathgen.model.path import Path
from pathgen.shape.tolerance import NOISE

LEAST = 3
"""Fewest bridges on one piece. Common practice, no source: on two it turns."""

CORNER = math.radians(20.0)
"""An outline that turns by this within `CORNER_LENGTH` has a corner there. Larger: blunt corners get bridges; smaller:
tightly curved letters have no place left for one."""

CORNER_LENGTH = 0.2
"""mm; see `CORNER`. Larger: small fillets count as corners; smaller: corners drawn with a tiny fillet do not."""

STRAIGHT = math.radians(1.0)
"""A lift that turns by less stands on a straight run."""

STEEPEST_FOOT = 45.0
"""Steepest foot of a ramped bridge, degrees. Steeper is a flat bridge in all but name."""

FOOT_SHARE = 0.25
"""Share of the slot between two bridges that each one's foot may take. Larger: no place is left for the tool to enter
and leave; smaller: steeper feet."""

TURNED = 1.6
"""Two places on a contour, further apart along it than this many reaches, belong to different stretches: a half circle
as wide as the reach is pi / 2 of it long. Larger: two sides of a narrow slot are missed; smaller: round contours bar
themselves."""

SAGITTA = 1e-5
"""Contours are flattened by this to measure their curvature, mm. Larger: on a disc, bridges would settle where the
chords happen to fall; smaller: time."""

GAP = 1.0
"""Least length of full-depth slot between two bridges, mm. Smaller: two bridges are one."""


@dataclass(frozen=True)
class Bridges:
    """Material left across the slot to hold the part in its frame.

    Args:
        count: how many on each contour that frees a piece; at least 3.
        length: mm left at the narrowest, along the tool's center line: the tool is lifted for length + D.
        thickness: mm left above the stock's nominal underside.
        spacing: mm from one to the next along the contour; replaces `count` by as many as that needs, at least 3.
        shape: "flat" lifts straight up and comes straight down; "ramp" rises and falls at the entry's angle, or as
            much steeper as the contour's length demands (45 degrees at most).

    Raises:
        ArgumentError: for fewer than 3, sizes that are not above 0, or an unknown shape.
    """

    count: int = 4
    _: KW_ONLY
    length: float
    thickness: float
    spacing: float | None = None
    shape: Literal["flat", "ramp"] = "flat"

    def __post_init__(self) -> None:
        if self.count != int(self.count) or self.count < LEAST:
            raise ArgumentError(f"count={self.count!r}: a piece needs at least {LEAST} bridges, on two it turns")
        positive("length", self.length)
        positive("thickness", self.thickness)
        if self.spacing is not None:
            positive("spacing", self.spacing)
        one_of("shape", self.shape, ("flat", "ramp"))

    def wanted(self, contour_length: float) -> int:
        """Return how many bridges a contour of this length (mm) gets."""
        if self.spacing is None:
            return int(self.count)
        return max(LEAST, math.ceil(contour_length / self.spacing - 1e-9))


@dataclass(frozen=True, eq=False)
class _Samples:
    """Places along a contour: run length s, direction (radians), turning within one lift, kept clear, not barred."""

    s: FloatArray
    heading: FloatArray
    turning: FloatArray
    clear: BoolArray
    free: BoolArray
    total: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Site:
    """A contour and what bridges on it must keep clear of.

    Attributes:
        contour: closed.
        outlines: what the contour runs along, as polygons; their corners are kept clear.
        diameter: of the cutter, mm.
        others: ways that are cut to full depth too.
        reach: bridges stay this far off `others`, and off further stretches of the contour itself, mm.
    """

    contour: Path
    outlines: BaseGeometry
    diameter: float
    others: BaseGeometry = field(default_factory=MultiLineString)
    reach: float = 0.0

    @cached_property
    def total(self) -> float:
        """Run length of the contour, mm."""
        return float(plane_lengths(self.contour).sum())

    @cached_property
    def line(self) -> LineString:
        """The contour, flattened."""
        return LineString(self.contour.flattened(SAGITTA)[:, :2])

    @cached_property
    def xy(self) -> FloatArray:
        """Samples at even steps, (n, 2), mm."""
        n = int(np.clip(math.ceil(self.line.length / 0.25), 64, 6000))
        places = shapely.line_interpolate_point(self.line, np.arange(n) * (self.line.length / n))
        return np.asarray(shapely.get_coordinates(places))

    @cached_property
    def corner(self) -> BoolArray:
        """Samples beside a corner of an outline, or where one outline follows another."""
        return _at_corners(self.xy, self.outlines)

    @cached_property
    def crossed(self) -> BoolArray:
        """Samples that another way at full depth comes so near that it would cut a bridge there."""
        points, n = shapely.points(self.xy), len(self.xy)
        shapely.prepare(self.others)
        near = np.asarray(shapely.dwithin(self.others, points, self.reach), dtype=np.bool_)
        one, two = shapely.STRtree(points).query(points, predicate="dwithin", distance=self.reach)
        apart = np.abs(one - two)
        apart = np.minimum(apart, n - apart) * (self.total / n)
        near[one[apart > TURNED * self.reach]] = True
        return near


def placed(
    site: Site,
    bridges: Bridges,
    *,
    rise: float = 0.0,
    angle: float = 3.0,
    grain: float | None = None,
    what: str = "the outline",
    fewest: bool = False,
) -> tuple[tuple[float, ...], float]:
    """Return the run lengths on a contour at which bridges are centered, in order, and the slope of their feet.

    Args:
        site: the contour, and what is kept clear.
        bridges: what is asked.
        rise: from the lowest level to the bridge's top, mm; the height of a foot.
        angle: entry angle, degrees: the slope of a foot where there is room for it.
        grain: of the stock, degrees counter-clockwise from X.
        what: how messages call the contour.
        fewest: where not all fit, as few as 3 will do (cut-outs).

    Raises:
        ArgumentError: if they do not all fit; says how many do, and what length would.
    """
    wanted = bridges.wanted(site.total)
    ramped = bridges.shape == "ramp" and rise > 0
    steepest = math.tan(math.radians(STEEPEST_FOOT))
    lift = bridges.length + site.diameter + (2.0 * rise / steepest if ramped else 0.0)
    where = _fitted(site, wanted, lift, grain)
    while where is None and fewest and wanted > LEAST:
        wanted -= 1
        where = _fitted(site, wanted, lift, grain)
    if where is None:
        raise ArgumentError(_too_many(site, bridges, wanted, what))
    if not ramped:
        return where, 90.0
    room = _foot_room(site, where, bridges.length + site.diameter)
    return where, min(max(angle, math.degrees(math.atan2(rise, room))), STEEPEST_FOOT)


def _foot_room(site: Site, where: tuple[float, ...], lift: float) -> float:
    """Return how long the feet may be, mm: up to the next bridge's foot, and to the next place kept clear."""
    found = _sampled(site, lift)
    gap = float(np.diff([*where, where[0] + found.total]).min())
    room = FOOT_SHARE * (gap - lift - GAP)
    clear = found.s[found.clear]
    if len(clear):
        off = np.abs(np.array(where)[:, None] - clear[None, :])
        room = min(room, float(np.minimum(off, found.total - off).min()) - 0.5 * lift - 0.5 * site.diameter)
    return max(room, NOISE)


def _fitted(site: Site, wanted: int, lift: float, grain: float | None) -> tuple[float, ...] | None:
    """Return centers for `wanted` bridges, or None."""
    found = _sampled(site, lift)
    if found.total < wanted * (lift + GAP) or not found.free.any():
        return None
    cost = np.where(found.turning <= STRAIGHT, 0.0, 0.5 + np.round(found.turning, 1))
    if grain is not None:
        cost = cost + 0.15 * np.sin(found.heading - math.radians(grain)) ** 2
    return _even(found, cost, wanted, lift + GAP) or _packed(found, wanted, lift + GAP)


def _sampled(site: Site, lift: float) -> _Samples:
    """Measure a closed contour at even steps.

    A lift's ends stay the cutter's radius off corners: a cutter that comes round a sharp corner of its way sweeps as
    much of what lies behind the corner.
    """
    n = len(site.xy)
    pitch = float(site.line.length) / n
    step = np.roll(site.xy, -1, axis=0) - site.xy
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs(np.angle(np.exp(1j * (heading - np.roll(heading, 1)))))
    half = min(n // 2, max(1, math.ceil(0.5 * lift / pitch) + 1))
    wing = min(n // 2, half + math.ceil(0.5 * site.diameter / pitch))
    turning = _around(turn, half)
    free = (_around(site.corner, wing) == 0) & (_around(site.crossed, half) == 0)
    s = np.linspace(0.0, site.total, n, endpoint=False, dtype=np.float64)
    return _Samples(s, heading, turning, site.corner | site.crossed, free, site.total)


def _around(values: FloatArray | BoolArray, reach: int) -> FloatArray:
    """Return for each of the values round a ring the sum of those up to `reach` places away, itself included."""
    n = len(values)
    wide = np.concatenate([values[n - reach :], values, values[:reach]]).astype(np.float64)
    c = np.concatenate([[0.0], np.cumsum(wide)])
    total: FloatArray = c[2 * reach + 1 :][:n] - c[:n]
    return total


def _at_corners(xy: FloatArray, outlines: BaseGeometry) -> BoolArray:
    """Return which samples of a contour lie beside a corner of an outline, or on both sides of one, or of two outlines.

    Where a contour goes over from one outline to the next, the two leave a gap too narrow for the cutter.
    """
    rings = shapely.get_rings(shapely.get_parts(outlines))
    points = shapely.points(xy)
    near = np.argmin(shapely.distance(rings[:, None], points[None, :]), axis=0)
    barred: BoolArray = (near != np.roll(near, 1)) | (near != np.roll(near, -1))
    for k, ring in enumerate(rings):
        mine = near == k
        if not mine.any():
            continue
        corner = _corners(shapely.get_coordinates(ring)[:-1])
        if not len(corner):
            continue
        length = ring.length
        t = shapely.line_locate_point(ring, points)
        following = np.roll(t, -1)
        ahead = (following - t + 0.5 * length) % length - 0.5 * length
        low, high = np.minimum(t, t + ahead) - 0.05, np.maximum(t, t + ahead) + 0.05
        # a corner lies between this sample and the next
        first = np.searchsorted(corner, low % length)
        ahead_of = corner[first % len(corner)]
        hit = mine & (((ahead_of - low) % length) <= high - low)
        barred |= hit | np.roll(hit, 1)
    return barred


def _corners(xy: FloatArray) -> FloatArray:
    """Return the lengths along a ring (n, 2, not repeated) at which it has corners, ascending."""
    step = np.roll(xy, -1, axis=0) - xy
    size = np.hypot(step[:, 0], step[:, 1])
    xy, step, size = xy[size > NOISE], step[size > NOISE], size[size > NOISE]
    if len(xy) < 3:
        return np.empty(0)
    before = np.roll(step, 1, axis=0)
    turn = np.arctan2(before[:, 0] * step[:, 1] - before[:, 1] * step[:, 0], (before * step).sum(axis=1))
    at = np.concatenate([[0.0], np.cumsum(size)[:-1]])
    length = float(size.sum())
    marks = np.concatenate([at, at + length])
    c = np.concatenate([[0.0], np.cumsum(np.concatenate([turn, turn]))])
    last = np.searchsorted(marks, at + CORNER_LENGTH, side="right")
    n = len(at)
    within = np.abs(c[np.minimum(last, 2 * n)] - c[np.arange(n)])
    found: FloatArray = at[(within >= CORNER) | (np.abs(turn) >= CORNER)]
    return found


def _even(found: _Samples, cost: FloatArray, wanted: int, gap: float) -> tuple[float, ...] | None:
    """Return the cheapest of many even layouts, each place moved within its share of the contour, or None."""
    share = found.total / wanted
    best: tuple[float, tuple[float, ...]] | None = None
    n = len(found.s)
    reach = max(1, int(0.48 * n / wanted))
    offsets = np.arange(-reach, reach + 1)
    move = (offsets * (found.total / n) / share) ** 2
    for phase in np.linspace(0.0, n / wanted, 24, endpoint=False):
        target = np.round(phase + np.arange(wanted) * n / wanted).astype(int)
        index = (target[:, None] + offsets[None, :]) % n
        price = np.where(found.free[index], cost[index] + move[None, :], np.inf)
        pick = price.argmin(axis=1)
        value = price[np.arange(wanted), pick]
        if not np.isfinite(value).all():
            continue
        raw = (target + offsets[pick]) * (found.total / n)
        between = np.diff([*raw, raw[0] + found.total])
        if (between < gap).any():
            continue
        price_all = float(value.sum() + wanted * ((between / share - 1.0) ** 2).mean())
        if best is None or price_all < best[0] - 1e-9:
            best = (price_all, tuple(sorted(float(v % found.total) for v in raw)))
    return None if best is None else best[1]


def _packed(found: _Samples, wanted: int, gap: float) -> tuple[float, ...] | None:
    """Return the layout with the widest least gap, or None if there is none with `gap`."""
    s = found.s[found.free]
    low, high = gap, found.total / wanted
    best = _placed_apart(s, found.total, wanted, low)
    if best is None:
        return None
    for _ in range(12):
        middle = 0.5 * (low + high)
        tried = _placed_apart(s, found.total, wanted, middle)
        if tried is None:
            high = middle
        else:
            low, best = middle, tried
    return best


def _placed_apart(s: FloatArray, total: float, wanted: int, gap: float) -> tuple[float, ...] | None:
    """Return `wanted` of the places `s` at least `gap` apart round the contour, or None; greedy from many starts."""
    for first in s[:: max(1, len(s) // 64)]:
        chosen = _greedy_apart(s, total, float(first), gap)
        if len(chosen) >= wanted:
            return tuple(sorted(chosen[:wanted]))
    return None


def _greedy_apart(s: FloatArray, total: float, first: float, gap: float) -> list[float]:
    ahead = np.sort((s - first) % total)
    chosen, at = [first], 0.0
    while True:
        k = int(np.searchsorted(ahead, at + gap))
        if k >= len(ahead) or ahead[k] > total - gap + NOISE:
            return chosen
        at = float(ahead[k])
        chosen.append((first + at) % total)


def _too_many(site: Site, bridges: Bridges, wanted: int, what: str) -> str:
    """Say how many bridges fit, and what length would."""
    found = _sampled(site, bridges.length + site.diameter)
    s, gap = found.s[found.free], bridges.length + site.diameter + GAP
    fit = max((len(_greedy_apart(s, found.total, float(f), gap)) for f in s[:: max(1, len(s) // 64)]), default=0)
    low, high = 0.0, bridges.length
    for _ in range(8):
        middle = 0.5 * (low + high)
        ok = _fitted(site, wanted, middle + site.diameter, None) is not None
        low, high = (middle, high) if ok else (low, middle)
    way = f"with length={math.floor(low * 10) / 10:g} all would" if low >= 0.1 else "no length would let all fit"
    return (
        f"{wanted} bridges of {bridges.length:g} mm do not fit on {what} clear of corners and of other slots: {fit} "
        f"would, and {way}. Take shorter or fewer ones, or a smaller cutter"
    )


def lift_ends(contour: Path, center: float, apart: float) -> tuple[float, float]:
    """Return the run lengths, symmetric about `center`, of two places `apart` mm from each other in a straight line."""
    total = float(plane_lengths(contour).sum())
    low, high = 0.5 * apart, min(0.49 * total, 1.6 * apart)
    for _ in range(40):
        half = 0.5 * (low + high)
        ends = stretch(contour, center - half, center + half).points[[0, -1], :2]
        if float(np.hypot(*(ends[1] - ends[0]))) < apart:
            low = half
        else:
            high = half
    return center - high, center + high


def lifted(path: Path, lifts: list[tuple[float, float]], *, top: float, slope: float) -> Path:
    """Return `path` raised to `top` on every lift, with feet of `slope` degrees; nothing is lowered.

    Args:
        path: z may fall along it, as in a ramp; of no vertical moves.
        lifts: (begin, end) in run length of the path, mm; parts beyond its ends are left out.
        top: mm.
        slope: degrees; 90 lifts straight up and comes straight down.
    """
    step = plane_lengths(path)
    mark = np.concatenate([[0.0], np.cumsum(step)])
    total, z = float(mark[-1]), path.points[:, 2]
    if not lifts or z.min() >= top or total <= NOISE:
        return path
    rise = math.tan(math.radians(slope)) if slope < 89.999 else math.inf
    foot = 0.0 if rise == math.inf else (top - float(z.min())) / rise
    kept = [(b, e) for b, e in lifts if e + foot > NOISE and b - foot < total - NOISE]
    if not kept:
        return path
    cuts = {0.0, total}
    for b, e in kept:
        cuts |= {v for v in (b - foot, b, e, e + foot) if NOISE < v < total - NOISE}
    cuts |= _crossings(mark, z, kept, top, rise)
    places = _apart(sorted(cuts))
    pieces: list[FloatArray] = []
    for a, b in pairwise(places):
        piece = stretch(path, a, b).points.copy()
        along = a + np.concatenate([[0.0], np.cumsum(plane_lengths(Path(piece)))])
        piece[:, 2] = np.maximum(piece[:, 2], _floor(along, 0.5 * (a + b), kept, top, rise))
        if pieces:
            last = pieces[-1][-1]
            if abs(last[2] - piece[0, 2]) <= NOISE:
                piece = piece[1:]
            else:
                piece[0, 3] = 0.0
        pieces.append(piece)
    return Path(np.concatenate(pieces))


def _apart(values: list[float]) -> list[float]:
    """Drop values that repeat the one before within 1e-5 mm, keeping the first and the last."""
    out = [values[0]]
    for v in values[1:-1]:
        if v - out[-1] > 10 * NOISE and values[-1] - v > 10 * NOISE:
            out.append(v)
    return [*out, values[-1]]


def _floor(s: FloatArray, middle: float, lifts: list[tuple[float, float]], top: float, rise: float) -> FloatArray:
    """Return the least height at run lengths `s`, all on the piece round `middle`."""
    low = np.full(len(s), -np.inf)
    for b, e in lifts:
        if b <= middle <= e:
            low = np.maximum(low, top)
        elif rise != math.inf:
            away = np.maximum(b - s, s - e)
            low = np.maximum(low, top - np.maximum(away, 0.0) * rise)
    return low


def _crossings(
    mark: FloatArray, z: FloatArray, lifts: list[tuple[float, float]], top: float, rise: float
) -> set[float]:
    """Return where a falling path meets the heights it must not go below."""
    found: set[float] = set()
    rows = np.flatnonzero(np.abs(np.diff(z)) > NOISE)
    for k in rows.tolist():
        a, b = float(mark[k]), float(mark[k + 1])
        if b - a <= NOISE:
            continue
        m = (float(z[k + 1]) - float(z[k])) / (b - a)
        found.add(a + (top - float(z[k])) / m)
        if rise != math.inf:
            for begin, end in lifts:
                for edge, way in ((begin, rise), (end, -rise)):
                    if abs(m - way) > 1e-12:
                        found.add((top - way * edge - float(z[k]) + m * a) / (m - way))
    return {v for v in found if mark[0] + NOISE < v < mark[-1] - NOISE}
