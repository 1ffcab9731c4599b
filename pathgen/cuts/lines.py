"""Clearing an area with straight lines, there and back without a lift, and a last ring along the walls.

Lines end a little inside the center region, by radius - stepover / 2. That is the most at which the ring along the
walls still clears what stands between the ends of two lines: a point that no line passes lies within half a stepover of
where lines end, hence within the radius of the ring. So nothing is left at any stepover up to the diameter.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.clearing import Move, Run, rings_of, started_at, trimmed
from pathgen.model.arrays import FloatArray
from pathgen.model.tool import Direction
from pathgen.shape.offset import grown
from pathgen.shape.tolerance import NOISE

END_SHARE = 0.98
"""Share of radius - stepover / 2 by which lines end inside the center region. Larger: specks stand between the ends
of lines once chords err; smaller: longer lines."""

Row = list[FloatArray]
"""The stretches of one line, each (2, 2) from low to high x."""


def line_runs(
    center: MultiPolygon, *, radius: float, stepover: float, angle: float, direction: Direction, first: int = 0
) -> list[Run]:
    """Return runs that clear what `center` lets the tool reach: lines first, then a ring along every wall.

    Args:
        center: where the tool's center may be, mm.
        radius: of the tool, mm.
        stepover: largest distance of neighbouring lines, mm; they are spread evenly.
        angle: of the lines, degrees counter-clockwise from X.
        direction: of the last rings; lines run both ways.
        first: index that the first run returned will have.
    """
    runs: list[Run] = []
    for piece in center.geoms:
        inner = grown(piece, -END_SHARE * (radius - 0.5 * stepover))
        begin = len(runs)
        for part in inner.geoms:
            runs += zigzag(part, stepover=stepover, angle=angle)
        drawn = [LineString(m.xy) for r in runs[begin:] for m in r.moves]
        before = {first + n for n in range(begin, len(runs))}
        runs += _wall_runs(piece, drawn, direction, before, joined=runs[-1] if len(runs) > begin else None)
    return runs


def zigzag(area: Polygon, *, stepover: float, angle: float, rows: FloatArray | None = None) -> list[Run]:
    """Return runs of lines that cover `area` there and back; the tool's center stays in `area`.

    Args:
        area: one piece, mm.
        stepover: largest distance of neighbouring lines, mm.
        angle: of the lines, degrees.
        rows: distances of the lines from the origin, across their direction, mm; None = spread evenly over
            the area, half a step inside its ends.
    """
    flat = rotate(area, -angle, origin=(0.0, 0.0))
    x0, y0, x1, y1 = flat.bounds
    if rows is None:
        n = max(1, math.ceil((y1 - y0) / stepover - 1e-9))
        rows = y0 + (np.arange(n) + 0.5) * (y1 - y0) / n
    lines = shapely.linestrings(np.array([[[x0 - 1, y], [x1 + 1, y]] for y in rows]))
    cut, owner = shapely.get_parts(shapely.intersection(lines, flat), return_index=True)
    table: list[Row] = [[] for _ in rows]
    for line, k in zip(cut, owner.tolist(), strict=True):
        if line.length > 1e-3:
            xy = np.asarray(line.coords)[:, :2]
            table[k].append(xy if xy[0, 0] <= xy[-1, 0] else xy[::-1])
    outlines = [np.asarray(r.coords)[:, :2] for r in (flat.exterior, *flat.interiors)]
    boundary = shapely.boundary(flat)
    shapely.prepare(boundary)
    turn = math.radians(angle)
    back = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return [
        Run(moves=[Move(xy=xy @ back, role="cut", slot=k == 0) for k, xy in enumerate(way)], entry=True)
        for way in _ways(table, outlines, boundary, stepover)
    ]


def _ways(
    table: list[Row], outlines: list[FloatArray], boundary: BaseGeometry, stepover: float
) -> list[list[FloatArray]]:
    """Join the stretches of neighbouring rows into ways, each a list of a first line and the rest."""
    left = {(k, n) for k, row in enumerate(table) for n in range(len(row))}
    result = []
    while left:
        k, n = min(left)
        left.remove((k, n))
        way, forward = [table[k][n]], True
        while True:
            found = None
            for m in sorted(n for r, n in left if r == k + 1) if k + 1 < len(table) else []:
                line = table[k + 1][m]
                target = line[-1] if forward else line[0]
                joint = _joint(way[-1][-1], target, outlines, boundary, stepover)
                if joint is not None:
                    found = m, joint, line[::-1] if forward else line
                    break
            if found is None:
                break
            m, joint, line = found
            left.remove((k + 1, m))
            way.append(np.concatenate([joint, line]) if len(joint) else line)
            k, forward = k + 1, not forward
        joined = [way[0]]
        if len(way) > 1:
            joined.append(np.concatenate([way[0][-1:], *way[1:]]))
        result.append(joined)
    return result


def _joint(
    a: FloatArray, b: FloatArray, outlines: list[FloatArray], boundary: BaseGeometry, stepover: float
) -> FloatArray | None:
    """Return the vertices between two line ends: none where the straight way is free, else along the outline.

    None where there is no short way.
    """
    limit = 4.0 * stepover
    if np.hypot(*(b - a)) > limit:
        return None
    line = trimmed(a, b)
    if line is None or (not boundary.intersects(line)):
        middle = 0.5 * (a + b)
        if _inside(middle, outlines):
            return np.empty((0, 2))
    for ring in outlines:
        way = _along(ring, a, b)
        if way is not None and np.hypot(*np.diff(np.concatenate([[a], way, [b]]), axis=0).T).sum() <= limit:
            return way
    return None


def _inside(point: FloatArray, outlines: list[FloatArray]) -> bool:
    """Return whether a point lies in the area between the outlines (even-odd rule)."""
    count = 0
    for ring in outlines:
        a, b = ring[:-1], ring[1:]
        spans = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
        a, b = a[spans], b[spans]
        count += int((point[0] < a[:, 0] + (point[1] - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])).sum())
    return count % 2 == 1


def _along(ring: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray | None:
    """Return the vertices of the shorter way along a ring from `a` to `b`; None if they do not lie on it."""
    line = LineString(ring)
    ends = shapely.points([a, b])
    if (shapely.distance(ends, line) > 1e-6).any():
        return None
    at = shapely.line_locate_point(line, ends)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    total, low, high = along[-1], min(at), max(at)
    inner: FloatArray = ring[(along > low + NOISE) & (along < high - NOISE)]
    if high - low > 0.5 * total:
        tail, head = ring[along > high + NOISE], ring[(along < low - NOISE)]
        inner = np.concatenate([tail[:-1] if len(tail) else tail, head])
        return inner if at[0] > at[1] else inner[::-1]
    return inner if at[0] < at[1] else inner[::-1]


def _wall_runs(
    piece: Polygon, drawn: list[LineString], direction: Direction, before: set[int], *, joined: Run | None
) -> list[Run]:
    """Return the runs of the last rings of a piece; the first goes on from `joined` where it can."""
    done = MultiLineString(drawn) if drawn else None
    boundary = piece.boundary
    runs: list[Run] = []
    for k, ring in enumerate(rings_of(piece, direction)):
        line = LineString(ring)
        run = Run(needs=set(before))
        way = None if done is None else shapely.get_coordinates(shapely.shortest_line(done, line))
        step = None if way is None else trimmed(way[0], way[1])
        if way is None or (step is not None and boundary.intersects(step)):
            begin = 0.5 * (ring[0] + ring[1])
            run.entry = True
            run.moves.append(Move(xy=started_at(ring, begin), role="finish", slot=True, closed=True, curved=True))
        else:
            if k == 0 and joined is not None:
                near = shapely.get_coordinates(shapely.shortest_line(shapely.points(joined.end), line))
                free = trimmed(near[0], near[1])
                if free is None or not boundary.intersects(free):
                    joined.needs |= before - {max(before)}
                    joined.moves += _step(near)
                    joined.moves.append(
                        Move(xy=started_at(ring, near[1]), role="finish", slot=False, closed=True, curved=True)
                    )
                    continue
            run.moves += _step(way)
            run.moves.append(Move(xy=started_at(ring, way[1]), role="finish", closed=True, curved=True))
        runs.append(run)
    return runs


def _step(way: FloatArray) -> list[Move]:
    """Return the move from cleared floor over to a ring, if there is any distance to go."""
    return [Move(xy=way, role="cut", slot=True)] if np.hypot(*(way[1] - way[0])) > NOISE else []
