"""Parallel lines that fill an area, drawn there and back along its edge with as few lifts as can be.

Terminology
-----------
row
    one of the parallel lines; row k lies k spacings from the first.
stretch
    what of a row lies inside the area.
crossing
    where a row meets the outline: the end of a stretch.
joint
    the part of the outline from one crossing to the next: it crosses no row, so a line may run along it from the end
    of one stretch to that of a neighbour.

Every crossing ends one stretch and two joints. Fewest lifts means: as many joints as can be, each crossing in one at
most, and no run of stretches closed to a ring that leaves others out. A walk there and back finds most of them; where
runs are left over, they are turned round at a joint (L. Posa 1976) until an end lies where it can be joined.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiLineString, MultiPolygon
from shapely.geometry.polygon import orient

from pathgen.errors import ArgumentError, number, positive, yes_or_no
from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.artwork import Shape, region_of

MOST_ROWS = 200_000
"""Rows of one fill. More: a spacing in another unit."""

TURNS = 400
"""Ways of turning a run round that are tried for each end left over. Larger: waiting; smaller: more lifts."""

SHIFTS = 64
"""Shifts of the rows that are tried. Larger: waiting; smaller: a rougher share of the area."""

EVEN = 0.001
"""Rows that cover the area to this share are not shifted. Larger: tones of equal hatches differ; smaller: rows lie
unevenly between the ends of simple shapes for nothing."""

SPECK = 1e-6
"""Lines shorter than this are no line, mm."""


def hatch(region: Shape, *, spacing: float, angle: float = 45.0, cross: bool = False) -> MultiLineString:
    """Return parallel lines that fill `region`, joined along its edge into long lines.

    The lines lie evenly between the two ends of the region, or shifted together to where they cover its area best:
    equal regions get equal lines, wherever they stand. From line to line the way goes along the outline, so that the
    pen need not be lifted. A drawn line stands out over the outline by half its width: shrink the region first where
    that matters.

    Args:
        region: the area; mm.
        spacing: distance of neighbouring lines, mm.
        angle: of the lines, degrees counter-clockwise from X.
        cross: hatch again at right angles to the first lines.

    Raises:
        ArgumentError: for a number that cannot be, or a piece of the region so small that no line meets it.
        DrawingError: if the region is empty, open or not valid.

    >>> from shapely.geometry import box
    >>> fill = hatch(box(0, 0, 10, 3), spacing=1, angle=0)
    >>> [list(line.coords) for line in fill.geoms]
    [[(10.0, 0.5), (0.0, 0.5), (0.0, 1.5), (10.0, 1.5), (10.0, 2.5), (0.0, 2.5)]]
    """
    positive("spacing", spacing)
    number("angle", angle, unit="degrees counter-clockwise from X")
    yes_or_no("cross", cross)
    area = region_of(region)
    runs = [run for a in ((angle, angle + 90.0) if cross else (angle,)) for run in _filled(area, float(spacing), a)]
    return MultiLineString(runs)


def _filled(area: MultiPolygon, spacing: float, angle: float) -> list[FloatArray]:
    """Return the lines of one direction."""
    turn = math.radians(angle)
    across = np.array([-math.sin(turn), math.cos(turn)])
    along = np.array([math.cos(turn), math.sin(turn)])
    first = _first_row(area, across, along, spacing)
    out: list[FloatArray] = []
    for piece in area.geoms:
        rings = [shapely.get_coordinates(r) for r in (piece.exterior, *piece.interiors)]
        net = _net(rings, across, along, first, spacing)
        if net is None:
            x, y = piece.representative_point().coords[0]
            raise ArgumentError(
                f"spacing={spacing:g} mm: no line meets the piece at ({x:.2f}, {y:.2f}), which is smaller. Give a "
                "smaller spacing, another angle, or leave the piece out"
            )
        out += _Runs(net).lines()
    return out


def _first_row(area: MultiPolygon, across: FloatArray, along: FloatArray, spacing: float) -> float:
    """Return the height of a row, mm along `across`.

    Rows lie evenly between the two ends of the area, unless they would then cover more or less than the area: edges
    along the rows may gain or lose half a spacing each. Then they are shifted together to where they cover it best.
    (Over all shifts the mean is the area itself, so there is a good one.)
    """
    rings = [orient(piece, 1.0) for piece in area.geoms]
    outlines = [shapely.get_coordinates(r) for piece in rings for r in (piece.exterior, *piece.interiors)]
    u = np.concatenate([o @ across for o in outlines])
    v = np.concatenate([o @ along for o in outlines])
    low, high = float(u.min()), float(u.max())
    rows = max(1, round((high - low) / spacing))
    if rows > MOST_ROWS:
        raise ArgumentError(f"spacing={spacing:g} mm fills {high - low:g} mm with {rows} lines: give it in mm, wider")
    middle = 0.5 * (low + high) - 0.5 * (rows - 1) * spacing
    last = np.cumsum([len(o) for o in outlines]) - 1
    edge = np.setdiff1d(np.arange(len(u) - 1), last)
    best, least = middle, math.inf
    for k in range(SHIFTS):
        shift = (k + 1) // 2 * (1 if k % 2 else -1) / SHIFTS
        first = middle + shift * spacing
        off = abs(_length(u, v, edge, first, spacing) * spacing / area.area - 1.0)
        if off < least - 1e-9:
            best, least = first, off
        if least <= EVEN:
            break
    return best


def _length(u: FloatArray, v: FloatArray, edge: IntArray, first: float, spacing: float) -> float:
    """Return the length of all rows inside outlines that have the area on their left, mm: a sum over crossings."""
    height = (u - first) / spacing
    level = np.floor(height)
    low, count = level[edge], np.abs(level[edge + 1] - level[edge]).astype(np.int64)
    rising = level[edge + 1] > low
    at = np.repeat(edge, count)
    nth = np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)
    up = np.repeat(rising, count)
    row = np.repeat(low, count) + np.where(up, nth + 1, -nth)
    share = (row - height[at]) / (height[at + 1] - height[at])
    x = v[at] + share * (v[at + 1] - v[at])
    return float(np.where(up, x, -x).sum())


@dataclass(frozen=True, eq=False, kw_only=True)
class _Net:
    """Stretches of one piece, and the joints between them. Stretch k ends at crossings 2 k and 2 k + 1.

    Attributes:
        at: (2 n, 2) place of each crossing, mm.
        row: (n,) row of each stretch.
        after: (2 n,) the next crossing along the same outline.
        vertices: (m, 2) vertices of all outlines, one after the other, each ring closed.
        spot: (2 n,) edge on which each crossing lies: the index of its first vertex.
        ring: (2 n, 2) first and last vertex of its ring.
    """

    at: FloatArray
    row: IntArray
    after: IntArray
    vertices: FloatArray
    spot: IntArray
    ring: IntArray

    def joint(self, a: int, b: int) -> FloatArray:
        """Return the vertices along the outline from crossing `a` to crossing `b`, one of them next to the other."""
        if self.after[a] == b:
            return self._ahead(a, b)
        return self._ahead(b, a)[::-1]

    def _ahead(self, a: int, b: int) -> FloatArray:
        """Return the vertices from `a` on to `b` in the direction of the ring."""
        low, high = int(self.spot[a]), int(self.spot[b])
        begin, end = self.ring[a].tolist()
        if low == high:
            p = self.vertices[low]
            if np.hypot(*(self.at[b] - p)) >= np.hypot(*(self.at[a] - p)):
                return self.vertices[:0]
        if low < high:
            return self.vertices[low + 1 : high + 1]
        return np.concatenate([self.vertices[low + 1 : end + 1], self.vertices[begin + 1 : high + 1]])


def _net(rings: list[FloatArray], across: FloatArray, along: FloatArray, first: float, spacing: float) -> _Net | None:
    """Return the net of one piece, None where no row meets it.

    A vertex on a row counts as above it, so that every ring is crossed an even number of times.
    """
    size = np.array([len(r) for r in rings])
    begin = np.cumsum(size) - size
    vertices = np.concatenate(rings)
    owner = np.repeat(np.arange(len(rings)), size)
    height = (vertices @ across - first) / spacing
    level = np.floor(height).astype(np.int64)  # rows up to this one lie at or below the vertex
    edge = np.flatnonzero(owner[:-1] == owner[1:])
    low, high = level[edge], level[edge + 1]
    count = np.abs(high - low)
    spot = np.repeat(edge, count)
    nth = np.arange(len(spot)) - np.repeat(np.cumsum(count) - count, count)
    rising = np.repeat(high > low, count)
    row = np.repeat(low, count) + np.where(rising, nth + 1, -nth)
    if not len(spot):
        return None
    share = (row - height[spot]) / (height[spot + 1] - height[spot])
    at = vertices[spot] + np.clip(share, 0.0, 1.0)[:, None] * (vertices[spot + 1] - vertices[spot])
    # crossings stand in the order of the outlines now
    ring = owner[spot]
    after = np.arange(1, len(spot) + 1)
    last = np.flatnonzero(np.append(ring[1:] != ring[:-1], True))
    after[last] = np.concatenate([[0], last[:-1] + 1])
    place = np.lexsort((at @ along, row))
    number_of = np.empty(len(place), dtype=np.int64)
    number_of[place] = np.arange(len(place))
    return _Net(
        at=at[place],
        row=row[place][::2],
        after=number_of[after[place]],
        vertices=vertices,
        spot=spot[place],
        ring=np.stack([begin[ring[place]], (begin + size - 1)[ring[place]]], axis=1),
    )


class _Runs:
    """Stretches of one piece joined to runs.

    `mate[c]` is the crossing that crossing c is joined with, -1 for none.
    """

    def __init__(self, net: _Net) -> None:
        self.net = net
        n = len(net.at)
        self.mate = [-1] * n
        before = np.empty(n, dtype=np.int64)
        before[net.after] = np.arange(n)
        self.beside: list[list[int]] = [
            [k for k in dict.fromkeys(pair) if k not in (c, c ^ 1)]
            for c, pair in enumerate(zip(net.after.tolist(), before.tolist(), strict=True))
        ]

    def lines(self) -> list[FloatArray]:
        """Return the runs as lines."""
        self._walk()
        self._mend()
        return [line for line in map(self._drawn, self._starts()) if len(line) > 1]

    def _walk(self) -> None:
        """Join there and back, from the lowest row on; at each end the neighbour in the nearest row is taken."""
        row = self.net.row.tolist()
        used = [False] * len(row)
        for k in range(len(row)):
            if used[k]:
                continue
            used[k] = True
            for end in (2 * k, 2 * k + 1):
                here = end
                while True:
                    free = [c for c in self.beside[here] if not used[c // 2]]
                    if not free:
                        break
                    up = row[here // 2]
                    best = min(free, key=lambda c: (abs(row[c // 2] - up), -self._open(c, used), c))
                    self.mate[here], self.mate[best] = best, here
                    used[best // 2] = True
                    here = best ^ 1

    def _open(self, c: int, used: list[bool]) -> int:
        """Return how many ways lead on from the far end of the stretch that begins at `c`."""
        return sum(not used[d // 2] for d in self.beside[c ^ 1])

    def _far(self, end: int) -> int:
        """Return the other end of the run that ends with crossing `end`."""
        other = end ^ 1
        while self.mate[other] >= 0:
            other = self.mate[other] ^ 1
        return other

    def _mend(self) -> None:
        """Join runs that are left over by turning others round at a joint."""
        again = True
        while again:
            ends = [c for c, m in enumerate(self.mate) if m < 0]
            again = len(ends) > 2 and any(self._joined(c) for c in ends)

    def _joined(self, end: int) -> bool:
        """Try to join the run that ends at `end` with another; change nothing where that fails."""
        seen, heap = {end}, [(end, list[tuple[int, int, int]]())]
        tried = 0
        while heap and tried < TURNS:
            here, way = heap.pop(0)
            for a, b, c in way:
                self._turn(a, b, c)
            far = self._far(here)
            for c in self.beside[here]:
                tried += 1
                m = self.mate[c]
                if m < 0 and c != far:
                    self.mate[here], self.mate[c] = c, here
                    return True
                if m < 0 or m in seen:
                    continue
                self._turn(here, c, m)
                fine = not self._ring(here)
                self._turn_back(here, c, m)
                if fine:
                    seen.add(m)
                    heap.append((m, [*way, (here, c, m)]))
            for a, b, c in reversed(way):
                self._turn_back(a, b, c)
        return False

    def _turn(self, free: int, taken: int, freed: int) -> None:
        """Join `free` with `taken`, which lets `freed` go."""
        self.mate[free], self.mate[taken], self.mate[freed] = taken, free, -1

    def _turn_back(self, free: int, taken: int, freed: int) -> None:
        self.mate[free], self.mate[taken], self.mate[freed] = -1, freed, taken

    def _ring(self, start: int) -> bool:
        """Whether the run through crossing `start` is closed."""
        other = start
        while True:
            other = self.mate[other] ^ 1 if self.mate[other] >= 0 else -1
            if other < 0:
                return False
            if other == start:
                return True

    def _starts(self) -> list[int]:
        """Return one end of each run."""
        out, done = [], set[int]()
        for c, m in enumerate(self.mate):
            if m < 0 and c not in done:
                out.append(c)
                done |= {c, self._far(c)}
        return out

    def _drawn(self, start: int) -> FloatArray:
        """Return the vertices of the run that begins at crossing `start`."""
        net = self.net
        parts = [net.at[[start]]]
        here = start
        while True:
            here ^= 1
            parts.append(net.at[[here]])
            following = self.mate[here]
            if following < 0:
                break
            parts += [net.joint(here, following), net.at[[following]]]
            here = following
        xy = np.concatenate(parts)
        keep = np.append(True, np.abs(np.diff(xy, axis=0)).max(axis=1) > SPECK)
        line: FloatArray = xy[keep]
        return line
