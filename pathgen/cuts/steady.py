"""Clearing with a steady engagement: the tool peels thin crescents off the edge of what is cleared, never a slot.

Terminology
-----------
engagement
    the angle of the tool's leading half that stands in material; cutting straight along an edge with a stepover s it is
    acos(1 - s / r), in a slot 180 degrees.
field
    where the tool's center may move freely, since all around is cleared.
loop radius
    the field is always a union of discs of this radius, so that its edge never bends sharper, and meets walls tangent.
wave
    the field grown by one step; what is new of it falls into crescents.
crescent
    one piece of a wave; the tool runs along its outer edge, with the material on its outer side, and comes back over
    the field.

A tool of radius r whose center lies a step d outside a disc of radius a of the field stands in material by the angle
alpha with cos(alpha) = ((a + r)^2 - (a + d)^2 - r^2) / (2 (a + d) r) (law of cosines: the disc's cleared edge lies at
a + r). Solved for d that is the longest step for a given engagement; it grows with a. So the field is grown with the
largest loop that fits, then into corners and necks with ever smaller ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.polygon import orient

from pathgen.cuts.clearing import Move, Run, Segments, rings_of
from pathgen.cuts.layers import BEST_BORE, LEAST_BORE
from pathgen.cuts.routes import route, way_length
from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.tool import Direction
from pathgen.shape.offset import as_multi
from pathgen.shape.tolerance import NOISE, SIMPLIFY, quad_segs

SMALLEST_LOOP = 0.02
"""Smallest loop, mm. Larger: more stands in corners when the walls are finished; smaller: more loops."""

LEFT = 0.5
"""Largest place that loops may leave to the finishing of the walls, mm: the tips of sharp corners. Larger: that pass
cuts a slot; smaller: sharp corners are refused."""

SPARE = 2.5
"""How far the engagement planned stays below the one stated, degrees. Larger: time; smaller: chords and arcs fitted
through them exceed it."""

ERROR = 0.001
"""Error of the offsets that make a wave, mm. Larger: errors of many waves add up; smaller: time."""

BESIDE = 0.004
"""How far ways back may run beside the field, mm. Larger: the tool cuts on its way; smaller: the ends of crescents look
off the field."""

GLIDE = 1.5
"""Length over which a closed edge is joined from the field, in radii. Larger: overlap; smaller: the tool turns into the
material, which adds to its engagement."""

LIFT_OVER = 120.0
"""Longest way back over the field, mm; beyond it the tool lifts. Larger: a lift is quicker; smaller: more lifts."""

THIN = 0.02
"""Crescents thinner than this share of a step are left to the next wave. Larger: steps add up; smaller: hairs."""


def longest_step(loop: float, radius: float, engagement: float) -> float:
    """Return how far the tool may step out of a field with loops of radius `loop`, mm; see the head of this module.

    >>> round(longest_step(1e6, 3, 60), 3)      # a straight edge: r (1 - cos 60) = 1.5
    1.5
    """
    flat = radius * math.cos(math.radians(engagement))
    return math.sqrt(flat * flat + loop * loop + 2.0 * loop * radius) - flat - loop


def shifted_step(loop: float, radius: float, engagement: float) -> float:
    """Return how far a field of loops of radius `loop` may be shifted along a neck in one wave, mm.

    Seen from the loop before, the tool does not run square to the way outwards there, but turned by psi, with
    tan(psi) = d sin(phi) / (a + d cos(phi)) at the angle phi from the neck's direction; its engagement is alpha + psi.

    >>> 0.5 * longest_step(2, 3, 60) < shifted_step(2, 3, 60) < longest_step(2, 3, 60)
    True
    """
    phi = np.linspace(0.0, math.pi, 181)
    low, high = 0.0, longest_step(loop, radius, engagement)
    for _ in range(40):
        step = 0.5 * (low + high)
        far = np.sqrt(loop * loop + step * step + 2.0 * loop * step * np.cos(phi))
        cosine = ((loop + radius) ** 2 - far * far - radius * radius) / (2.0 * far * radius)
        alpha = np.arccos(np.clip(cosine, -1.0, 1.0))
        psi = np.arctan2(step * np.sin(phi), loop + step * np.cos(phi))
        engaged = np.degrees(np.where(psi > alpha, 2.0 * alpha, alpha + psi)).max()
        low, high = (step, high) if engaged <= engagement else (low, step)
    return low


def steady_runs(
    center: MultiPolygon, *, radius: float, engagement: float, direction: Direction, title: str
) -> list[Run]:
    """Return runs that clear all of `center` with no more than `engagement` degrees, then pass along its walls.

    Args:
        center: where the tool's center may be, mm.
        radius: of the tool, mm.
        engagement: degrees.
        direction: "climb" or "conventional".
        title: the cut's name, for messages.

    Raises:
        ArgumentError: where a piece has no room for a helix.
    """
    runs: list[Run] = []
    for piece in center.geoms:
        plan = _Peeling(piece, radius, engagement - SPARE, direction, title)
        plan.wave_by_wave()
        runs += plan.ordered(first=len(runs))
    return runs


@dataclass(eq=False, kw_only=True)
class _Crescent:
    """A piece of a wave.

    Attributes:
        area: the piece.
        edges: (n, 2) ways along its outer edge, in cutting direction, and whether each is a whole ring.
        before: indices of crescents next to it that come before.
    """

    area: Polygon
    edges: list[tuple[FloatArray, bool]]
    before: set[int] = field(default_factory=set)


class _Peeling:
    """One piece of the center region."""

    def __init__(self, piece: Polygon, radius: float, engagement: float, direction: Direction, title: str) -> None:
        self.piece, self.radius, self.engagement, self.title = piece, radius, engagement, title
        self.climb = direction == "climb"
        self.direction: Direction = direction
        widest = shapely.maximum_inscribed_circle(piece, 0.01)
        self.middle, self.room = shapely.get_coordinates(widest)[0], float(widest.length)
        self.bore = min((BEST_BORE - 1.0) * radius, 0.5 * self.room)
        if self.bore < (LEAST_BORE - 1.0) * radius - NOISE:
            x, y = self.middle
            raise ArgumentError(
                f"{title}: at ({x:.2f}, {y:.2f}) the widest place leaves the tool {2 * self.room:.2f} mm to move, too "
                "little for loops of steady engagement: take a smaller tool, or pattern='rings'"
            )
        self.begin = self.room - ERROR
        self.start = _disc(self.middle, self.begin)
        self.field: Any = self.start
        self.crescents: list[_Crescent] = []

    def wave_by_wave(self) -> None:
        """Grow the field until it fills the piece, with smaller and smaller loops."""
        loop = self.begin
        while True:
            self._fill(loop)
            if loop <= SMALLEST_LOOP:
                break
            loop = max(0.5 * loop, SMALLEST_LOOP)
        for part in as_multi(self.piece.difference(self.field).buffer(-4 * ERROR, quad_segs=4)).geoms:
            x0, y0, x1, y1 = part.bounds
            if math.hypot(x1 - x0, y1 - y0) > LEFT:
                x, y = part.representative_point().coords[0]
                raise ArgumentError(
                    f"{self.title}: at ({x:.2f}, {y:.2f}) the region is too narrow for loops of steady engagement: "
                    "take a smaller tool, or pattern='rings'"
                )

    def _fill(self, loop: float) -> None:
        """Grow the field by loops of one radius as far as they reach."""
        step = shifted_step(loop, self.radius, self.engagement)
        room = shapely.buffer(self.piece, -loop, quad_segs=quad_segs(loop, ERROR))
        while True:
            core = shapely.buffer(self.field, -loop + ERROR, quad_segs=quad_segs(loop, ERROR))
            core = shapely.intersection(shapely.buffer(core, step, quad_segs=quad_segs(step, ERROR)), room)
            wave = shapely.buffer(core, loop, quad_segs=quad_segs(loop, ERROR))
            wave = _largest(shapely.simplify(shapely.union(wave, self.field), SIMPLIFY))
            new = self._crescents(wave, THIN * step)
            if not new:
                return
            self._connect(new)
            self.field = wave

    def _crescents(self, wave: Polygon, thin: float) -> list[_Crescent]:
        """Return the pieces by which a wave is larger than the field."""
        parts = [p for p in as_multi(wave.difference(self.field)).geoms if not p.buffer(-0.5 * thin).is_empty]
        if not parts:
            return []
        inside = shapely.buffer(self.field, 2 * ERROR, quad_segs=8)
        edges: list[list[tuple[FloatArray, bool]]] = [[] for _ in parts]
        array = np.array(parts, dtype=object)
        turned = orient(wave, 1.0 if self.climb else -1.0)
        for ring in (turned.exterior, *turned.interiors):
            for xy, closed in _outside(shapely.get_coordinates(ring), inside):
                far = shapely.distance(array, Point(xy[len(xy) // 2]))
                k = int(np.argmin(far))
                if far[k] <= 4 * ERROR:
                    edges[k].append((xy, closed))
        return [_Crescent(area=p, edges=e) for p, e in zip(parts, edges, strict=True)]

    def _connect(self, new: list[_Crescent]) -> None:
        """Append crescents, each after all earlier ones next to it."""
        known = np.array([c.area for c in self.crescents], dtype=object)
        if len(known):
            areas = np.array([c.area for c in new], dtype=object)
            a, b = shapely.STRtree(known).query(areas, predicate="dwithin", distance=4 * ERROR)
            for k, n in zip(a.tolist(), b.tolist(), strict=True):
                new[k].before.add(n)
        self.crescents += new

    def ordered(self, *, first: int) -> list[Run]:
        """Return the runs: down, out in a spiral, crescent by crescent, then along the walls."""
        run = Run(entry=True, room=self.room)
        run.moves.append(Move(xy=self._spiral(), role="cut", curved=True))
        self.runs, self.done, self.first = [run], self.start.buffer(BESIDE, quad_segs=8), first
        self.within = self.piece.buffer(ERROR)
        waiting = set(range(len(self.crescents)))
        after: list[list[int]] = [[] for _ in self.crescents]
        missing = [len(c.before) for c in self.crescents]
        for k, c in enumerate(self.crescents):
            for b in c.before:
                after[b].append(k)
        ready = {k for k in waiting if not missing[k]}
        last: int | None = None
        while ready:
            k = self._nearest(ready, last)
            ready.discard(k)
            self._cut(self.crescents[k])
            last = k
            for n in after[k]:
                missing[n] -= 1
                if not missing[n]:
                    ready.add(n)
        for ring in rings_of(self.piece, self.direction):
            table = Segments([ring])
            piece, start, _ = table.nearest(self.runs[-1].end)
            self._link(start)
            xy = table.turned(piece, start)
            self.runs[-1].moves.append(Move(xy=xy, role="finish", closed=True, curved=True))
        return self.runs

    def _nearest(self, ready: set[int], last: int | None) -> int:
        """Return the crescent to go on with: next to the last one, else the nearest."""
        at = self.runs[-1].end
        beside = [k for k in ready if last is not None and last in self.crescents[k].before]
        choice = sorted(beside or ready)

        def away(k: int) -> float:
            edges = self.crescents[k].edges
            return round(min((float(np.hypot(*(xy[0] - at))) for xy, _ in edges), default=0.0), 6)

        return min(choice, key=away)

    def _spiral(self) -> FloatArray:
        """Return the way from the helix outwards, each turn as far out as the last allows, and once round at last."""
        reach = [self.bore]
        while reach[-1] < self.begin - NOISE:
            step = longest_step(reach[-1], self.radius, self.engagement)
            reach.append(min(reach[-1] + step, self.begin))
        reach.append(reach[-1])
        n = max(64, math.ceil(math.pi / math.acos(1 - min(0.5, 0.0005 / self.begin))))
        t = np.arange((len(reach) - 1) * n + 1) / n
        far = np.interp(t, np.arange(len(reach)), reach)
        turn = 2 * math.pi * t * (1.0 if self.climb else -1.0)
        way: FloatArray = self.middle + far[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        return way

    def _cut(self, crescent: _Crescent) -> None:
        """Run along the outer edges of a crescent."""
        left = list(crescent.edges)
        while left:
            at = self.runs[-1].end
            k = int(np.argmin([round(float(np.hypot(*(xy[0] - at))), 6) for xy, _ in left]))
            xy, closed = left.pop(k)
            if closed:
                xy = self._glided(xy)
            self._link(xy[0])
            self.runs[-1].moves.append(Move(xy=xy, role="cut", curved=True))
        self.done = _largest(shapely.union(self.done, crescent.area.buffer(BESIDE, quad_segs=4)))

    def _glided(self, ring: FloatArray) -> FloatArray:
        """Return a closed edge, begun on the field and led out to it little by little."""
        at = self.runs[-1].end
        table = Segments([ring])
        piece, start, _ = table.nearest(at)
        ring = table.turned(piece, start)
        line = LineString(np.concatenate([ring, ring[1:]]))
        total = 0.5 * line.length
        glide = min(GLIDE * self.radius, 0.5 * total)
        places = np.linspace(total - glide, total, 25)
        points = shapely.get_coordinates(line.interpolate(places))
        feet = shapely.get_coordinates(shapely.shortest_line(shapely.boundary(self.done), shapely.points(points)))[::2]
        share = np.linspace(0.0, 1.0, 25)[:, None]
        share = share * share * (3.0 - 2.0 * share)
        way: FloatArray = np.concatenate([feet + share * (points - feet), ring[1:]])
        return way

    def _link(self, to: FloatArray) -> None:
        """Go back over the field to `to`, or lift."""
        at = self.runs[-1].end
        if np.abs(at - to).max() <= NOISE:
            return
        field = _largest(shapely.intersection(self.done, self.within))
        way = route(field, Segments(rings_of(field, "climb")), at, to)
        if way is None or way_length(way) > LIFT_OVER:
            self.runs.append(Run(needs={self.first + len(self.runs) - 1}))
        else:
            self.runs[-1].moves.append(Move(xy=way, role="link"))


def _disc(middle: FloatArray, radius: float) -> Polygon:
    return Point(middle).buffer(radius, quad_segs=quad_segs(radius, ERROR))


def _largest(shape: Any) -> Polygon:
    """Return the largest piece of a shape."""
    pieces = as_multi(shape).geoms
    return max(pieces, key=lambda p: p.area)


def _outside(ring: FloatArray, region: Any) -> list[tuple[FloatArray, bool]]:
    """Return the stretches (n, 2) of a ring outside `region`, in its direction, and whether it is the whole ring."""
    line = LineString(ring)
    inside = [p for p in shapely.get_parts(line.intersection(region)) if p.length > NOISE]
    if not inside:
        return [(ring, True)]
    longest = max(inside, key=lambda p: round(p.length, 6))
    table = Segments([ring])
    piece, start, _ = table.nearest(shapely.get_coordinates(longest.interpolate(0.5, normalized=True))[0])
    turned = LineString(table.turned(piece, start))
    found = []
    for part in shapely.get_parts(shapely.line_merge(turned.difference(region))):
        if part.length > 1e-3:
            xy = shapely.get_coordinates(part)
            ends = shapely.line_locate_point(turned, shapely.points(xy[[0, -1]]))
            found.append((float(ends[0]), xy if ends[0] < ends[1] else xy[::-1]))
    return [(xy, False) for _, xy in sorted(found, key=lambda f: f[0])]
