"""Coming down into the material: ramps along a path, helices, and how steep they may be.

Terminology
-----------
run length
    length along a path seen from above, mm. A ramp's z falls in proportion to it, so its angle below level is the
    same everywhere, also on arcs (which become helices).
"""

from __future__ import annotations

import math

import numpy as np

from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, Direction, Tool
from pathgen.shape.tolerance import NOISE
from pathgen.shop.materials import material

__all__ = ["entry_angle", "helix", "is_closed", "level_at", "plane_lengths", "ramp", "restarted", "stretch"]


def entry_angle(cutting: Cutting, tool: Tool, stock: Stock | None) -> float:
    """Return the steepest entry, degrees below level: the least of what speeds, tool and material allow.

    Args:
        cutting: its `ramp`.
        tool: its `max_ramp`, where stated.
        stock: its material's largest ramp (`pathgen.shop.materials`); None = not known, so not asked.

    >>> from pathgen.model.tool import EndMill
    >>> entry_angle(Cutting(12000, 900, 300, ramp=8), EndMill(6), Stock(300, 200, 3, material="brass"))
    3.0
    """
    limits = [cutting.ramp]
    if tool.max_ramp is not None:
        limits.append(tool.max_ramp)
    if stock is not None:
        limits.append(material(stock.material).max_ramp)
    return float(min(limits))


def plane_lengths(path: Path) -> FloatArray:
    """Return (n - 1,) the length of each move seen from above, mm."""
    flat = path.points.copy()
    flat[:, 2] = 0.0
    return Path(flat).move_lengths


def stretch(path: Path, begin: float, end: float) -> Path:
    """Return the part of `path` from run length `begin` to `end`, cut at lines, arcs and helices exactly.

    Args:
        path: with length seen from above.
        begin: mm from its start; on a closed path any number, also below 0 or beyond its length (laps).
        end: mm, at least `begin`. Equal ends give a path of one vertex.

    Raises:
        ArgumentError: if the stretch leaves an open path or runs backwards.

    >>> stretch(Path([[0, 0, 0, 0], [10, 0, 0, 0]]), 2, 5).points[:, 0]
    array([2., 5.])
    """
    step = plane_lengths(path)
    total = float(step.sum())
    closed = is_closed(path)
    if end < begin or (not closed and (begin < -NOISE or end > total + NOISE)):
        raise ArgumentError(f"no stretch from {begin:g} to {end:g} mm on a path of {total:g} mm")
    if not closed:
        begin, end = min(max(begin, 0.0), total), min(max(end, 0.0), total)
    elif total > 0:
        laps = math.floor(begin / total)
        begin, end = begin - laps * total, end - laps * total
    rows, lap = path.points, step
    if closed and total > 0 and end > total:
        n = math.ceil(end / total - 1e-12)
        rows = np.concatenate([rows, np.tile(rows[1:], (n - 1, 1))])
        lap = np.tile(step, n)
    mark = np.concatenate([[0.0], np.cumsum(lap)])
    first = _at(rows, mark, begin)
    if end - begin <= NOISE:
        return Path(first[None, :] * [1, 1, 1, 0])
    inner = np.flatnonzero((mark > begin + NOISE) & (mark < end - NOISE))
    last = _at(rows, mark, end)
    out = np.concatenate([first[None, :], rows[inner], last[None, :]])
    # an arc that is cut keeps its radius: its bulge is the tangent of a quarter of the sweep that is left
    cuts = np.concatenate([[begin], mark[inner], [end]])
    middle = 0.5 * (cuts[:-1] + cuts[1:])
    move = np.clip(np.searchsorted(mark, middle, side="right") - 1, 0, len(lap) - 1)
    share = np.diff(cuts) / np.where(lap[move] > 0, lap[move], 1.0)
    whole = share >= 1.0 - 1e-12
    bulge = rows[1:, 3][move]
    out[0, 3] = 0.0
    out[1:, 3] = np.where(whole | (bulge == 0), bulge, np.tan(np.minimum(share, 1.0) * np.arctan(bulge)))
    return Path(out)


def is_closed(path: Path) -> bool:
    """Return whether the path ends where it starts, seen from above, and has length."""
    p = path.points
    return len(p) > 2 and bool((np.abs(p[0, :2] - p[-1, :2]) <= NOISE).all())


def _at(rows: FloatArray, mark: FloatArray, s: float) -> FloatArray:
    """Return the row (x, y, z, 0) at run length `s`."""
    near = int(np.argmin(np.abs(mark - s)))
    if abs(mark[near] - s) <= NOISE:
        vertex: FloatArray = rows[near] * np.array([1.0, 1.0, 1.0, 0.0])
        return vertex
    k = int(np.clip(np.searchsorted(mark, s, side="right") - 1, 0, len(mark) - 2))
    t = (s - mark[k]) / (mark[k + 1] - mark[k])
    a, b = rows[k], rows[k + 1]
    out: FloatArray = a + t * (b - a)
    out[3] = 0.0
    if b[3] != 0.0:
        one = Path([[*a[:3], 0.0], b])
        _, center, _ = one.arcs()
        turn = float(one.sweeps[0]) * t
        dx, dy = a[0] - center[0, 0], a[1] - center[0, 1]
        out[0] = center[0, 0] + math.cos(turn) * dx - math.sin(turn) * dy
        out[1] = center[0, 1] + math.sin(turn) * dx + math.cos(turn) * dy
    return out


def restarted(path: Path, at: float) -> Path:
    """Return a closed path that starts and ends `at` mm further along; the same curve.

    Raises:
        ArgumentError: if the path is not closed.
    """
    if not is_closed(path):
        raise ArgumentError("only a closed path can start elsewhere")
    total = float(plane_lengths(path).sum())
    at = at % total
    if at <= NOISE or total - at <= NOISE:
        return path
    return stretch(path, at, at + total)


def level_at(path: Path, z: float) -> Path:
    """Return the path with every z set to `z` mm."""
    p = path.points.copy()
    p[:, 2] = z
    return Path(p)


def ramp(path: Path, z_from: float, z_to: float, *, angle: float) -> Path:
    """Return a way down along `path` that ends at the start of `path`, at `z_to`.

    Nothing is left uncut when `path` is then run in full at `z_to` from its start. On a closed path the ramp begins
    upstream, by as much as it needs, and runs in the path's own direction, in as many laps as it needs; to begin a
    ramp at a point, start the path that far downstream of it (`restarted`). On an open path it begins at the path's
    start, runs out along it and back, as often as needed, and never further than its end.

    Args:
        path: lines and arcs; its z is ignored. Arcs become helices.
        z_from: mm, where the ramp begins.
        z_to: mm, at most `z_from`.
        angle: degrees below level; 90 goes straight down.

    Raises:
        ArgumentError: for a `z_to` above `z_from`, an angle outside 0..90, or a path without length.

    >>> down = ramp(Path.lines([[0, 0, 0], [40, 0, 0]]), 0, -2, angle=5)
    >>> down.points[[0, -1], :3].round(6).tolist()
    [[0.0, 0.0, 0.0], [0.0, 0.0, -2.0]]
    """
    if z_to > z_from:
        raise ArgumentError(f"a ramp goes down: z_to={z_to:g} lies above z_from={z_from:g}")
    positive("angle", angle)
    if angle > 90:
        raise ArgumentError(f"angle={angle:g} is measured below level: at most 90 degrees")
    drop = z_from - z_to
    x, y = path.start[:2]
    run = drop / math.tan(math.radians(angle)) if angle < 90 else 0.0
    if run <= NOISE:
        return Path.lines([[x, y, z_from], [x, y, z_to]])
    total = float(plane_lengths(path).sum())
    if total <= NOISE:
        raise ArgumentError("a ramp needs a path with length: give one, or plunge")
    if is_closed(path):
        way = stretch(path, -run, 0.0)
    else:
        trips = max(1, math.ceil(run / (2.0 * total) - 1e-9))
        out = stretch(path, 0.0, run / (2.0 * trips))
        way = Path.joined([out, out.reversed()] * trips)
    points = way.points.copy()
    mark = np.concatenate([[0.0], np.cumsum(plane_lengths(way))])
    points[:, 2] = z_from - drop * mark / mark[-1]
    points[-1, 2] = z_to
    return Path(points)


def helix(
    center: tuple[float, float],
    radius: float,
    z_from: float,
    z_to: float,
    *,
    angle: float,
    direction: Direction = "climb",
    start_angle: float = 0.0,
) -> Path:
    """Return a helical bore of half-turn arcs that ends with one flat turn at `z_to`.

    A bore's wall lies outside the path, so climb runs counter-clockwise (spindle clockwise seen from above).

    Args:
        center: (x, y), mm.
        radius: of the tool center's circle, mm.
        z_from: mm.
        z_to: mm, at most `z_from`.
        angle: steepest slope, degrees below level; the half turns are as many as it takes, all equal.
        direction: "climb" (counter-clockwise) or "conventional".
        start_angle: where on the circle it begins and (the turns being whole) after the flat turn ends or lies
            opposite, degrees counter-clockwise from X.

    Raises:
        ArgumentError: for a `z_to` above `z_from`, a radius not above 0, or an angle outside 0..90.

    >>> bore = helix((0, 0), 2, 0, -1, angle=5)
    >>> bore.points[-3:, 2].tolist()
    [-1.0, -1.0, -1.0]
    """
    if z_to > z_from:
        raise ArgumentError(f"a helix goes down: z_to={z_to:g} lies above z_from={z_from:g}")
    positive("radius", radius)
    positive("angle", angle)
    one_of("direction", direction, ("climb", "conventional"))
    if angle >= 90:
        raise ArgumentError(f"angle={angle:g} must lie below 90 degrees for a helix")
    drop = z_from - z_to
    n = math.ceil(drop / (math.pi * radius * math.tan(math.radians(angle))) - 1e-9)
    k = np.arange(n + 3)
    side = np.where(k % 2 == 0, 1.0, -1.0)
    turn = math.radians(start_angle)
    z = z_from - drop * np.minimum(k, n) / max(n, 1)
    z[n:] = z_to
    bulge = np.where(k > 0, 1.0 if direction == "climb" else -1.0, 0.0)
    x = center[0] + radius * math.cos(turn) * side
    y = center[1] + radius * math.sin(turn) * side
    return Path(np.column_stack([x, y, z, bulge]))
