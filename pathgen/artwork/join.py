"""Open lines joined at their ends, doubled ones dropped, loops found.

Terminology. *End*: first or last point of an open line. *Node*: all ends that lie within the tolerance of one another,
directly or by way of further ends. *Chain*: lines that follow one another over nodes where exactly two ends meet.
*Junction*: a node where three or more ends meet; there the faces of the arrangement decide.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString

from pathgen.model.arrays import ROUND_DECIMALS, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Joined:
    """What `join` found.

    Attributes:
        loops: closed rings, (n, 2), without the repeated last point.
        open: open lines, (n, 2).
        gaps: ((x, y), size) of each gap closed that was wider than the 1e-6 mm grid.
        doubled: (x, y) of each doubled line that was dropped.
        junctions: (x, y) of each node where three or more ends meet.
    """

    loops: tuple[FloatArray, ...]
    open: tuple[FloatArray, ...]
    gaps: tuple[tuple[tuple[float, float], float], ...]
    doubled: tuple[tuple[float, float], ...]
    junctions: tuple[tuple[float, float], ...]


def distinct(lines: Sequence[FloatArray], *, closed: bool = False) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return (lines without doubles, the doubles): the same points forwards or backwards; rings from any start."""
    seen: set[bytes] = set()
    kept: list[FloatArray] = []
    dropped: list[FloatArray] = []
    for line in lines:
        grid = np.rint(line * 10**ROUND_DECIMALS).astype(np.int64)
        forms = [grid, grid[::-1]]
        if closed:
            first = np.lexsort((grid[:, 1], grid[:, 0]))[0]
            forms = [np.roll(grid, -first, axis=0)]
            forms.append(np.roll(forms[0][::-1], 1, axis=0))
        key = min(f.tobytes() for f in forms)
        (dropped if key in seen else kept).append(line)
        seen.add(key)
    return kept, dropped


def cluster(points: FloatArray, tolerance: float) -> IntArray:
    """Return a node number for each point, (n,): points within `tolerance` mm share one, also by way of others."""
    tree = shapely.STRtree(shapely.points(points))
    a, b = tree.query(shapely.points(points), predicate="dwithin", distance=max(tolerance, 1e-9))
    label = np.arange(len(points))
    while True:
        low = label.copy()
        np.minimum.at(low, a, label[b])
        low = low[low]
        if (low == label).all():
            break
        label = low
    _, node = np.unique(label, return_inverse=True)
    return node.reshape(-1).astype(np.int64)


def _walk(
    start: tuple[int, int], ends_at: dict[int, list[tuple[int, int]]], node: IntArray, used: set[int]
) -> list[tuple[int, int]]:
    """Follow (line, end it is entered by) from `start` over plain nodes until a junction, a loose end or the start."""
    chain = [start]
    used.add(start[0])
    while True:
        line, entered = chain[-1]
        here = ends_at[int(node[2 * line + 1 - entered])]
        if len(here) != 2:
            return chain
        following = [e for e in here if e[0] not in used]
        if not following:
            return chain
        chain.append(following[0])
        used.add(following[0][0])


def _string(chain: list[tuple[int, int]], lines: Sequence[FloatArray]) -> FloatArray:
    parts = [lines[k] if entered == 0 else lines[k][::-1] for k, entered in chain]
    return np.concatenate([parts[0], *[p[1:] for p in parts[1:]]])


def _snapped(lines: Sequence[FloatArray], node: IntArray, ends: FloatArray) -> list[FloatArray]:
    """Lines whose ends are moved to the middle of their node, on the 1e-6 mm grid."""
    count = np.bincount(node)
    middle = np.stack([np.bincount(node, ends[:, k]) / count for k in (0, 1)], axis=1)
    middle = np.round(middle, ROUND_DECIMALS)
    out = []
    for k, line in enumerate(lines):
        moved = line.copy()
        moved[0], moved[-1] = middle[node[2 * k]], middle[node[2 * k + 1]]
        out.append(moved)
    return out


def _faces(chains: list[FloatArray]) -> tuple[list[FloatArray], list[FloatArray]]:
    """Outlines of the faces of crossing chains, and what bounds no face."""
    noded = shapely.node(shapely.multilinestrings([LineString(c) for c in chains]))
    faces, cuts, dangles, _ = shapely.polygonize_full(list(shapely.get_parts(noded)))
    loops = [shapely.get_coordinates(f.exterior)[:-1] for f in shapely.get_parts(faces)]
    rest = [*shapely.get_parts(cuts), *shapely.get_parts(dangles)]
    loose = shapely.line_merge(MultiLineString(rest))
    return loops, [shapely.get_coordinates(p) for p in shapely.get_parts(loose)]


def join(lines: Sequence[FloatArray], tolerance: float) -> Joined:
    """Join open lines whose ends lie within `tolerance` mm.

    Args:
        lines: (n, 2) each, n >= 2, open.
        tolerance: mm; 0 joins only ends on the same point of the 1e-6 mm grid.

    Returns:
        Loops, leftover open lines, and what was done. Where three or more ends meet, the lines there are cut at
        their crossings and the outlines of all faces between them are the loops: by the even-odd rule two faces side
        by side are one area, one inside the other is a hole.
    """
    lines, doubled = distinct(lines)
    lines = [line for line in lines if len(line) >= 2]
    places = tuple((float(d[0, 0]), float(d[0, 1])) for d in doubled)
    if not lines:
        return Joined((), (), (), places, ())
    ends = np.concatenate([line[[0, -1]] for line in lines])
    node = cluster(ends, tolerance)
    gaps = _gaps(ends, node)
    lines = _snapped(lines, node, ends)
    ends_at: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for k, n in enumerate(node):
        ends_at[int(n)].append((k // 2, k % 2))
    used: set[int] = set()
    loops: list[FloatArray] = []
    loose: list[tuple[int, int, FloatArray]] = []
    # From every end that is not plain first, so that what is left afterwards are pure loops.
    starts = [e for here in ends_at.values() if len(here) != 2 for e in here]
    for start in [*starts, *((k, 0) for k in range(len(lines)))]:
        if start[0] in used:
            continue
        chain = _walk(start, ends_at, node, used)
        points = _string(chain, lines)
        first = int(node[2 * chain[0][0] + chain[0][1]])
        last = int(node[2 * chain[-1][0] + 1 - chain[-1][1]])
        if first == last and len(ends_at[first]) == 2 and len(points) > 3:
            loops.append(points[:-1])
        else:
            loose.append((first, last, points))
    more, still_open, junctions = _junctions(loose, ends_at, ends)
    return Joined((*loops, *more), tuple(still_open), gaps, places, junctions)


def _gaps(ends: FloatArray, node: IntArray) -> tuple[tuple[tuple[float, float], float], ...]:
    """Where ends of one node lie apart by more than the grid, and the box diagonal of each."""
    order = np.argsort(node, kind="stable")
    first = np.flatnonzero(np.r_[True, np.diff(node[order]) > 0])
    low = np.minimum.reduceat(ends[order], first, axis=0)
    size = np.linalg.norm(np.maximum.reduceat(ends[order], first, axis=0) - low, axis=1)
    return tuple(
        ((float(low[k, 0]), float(low[k, 1])), float(size[k])) for k in np.flatnonzero(size > 1.5 * 10**-ROUND_DECIMALS)
    )


def _junctions(
    loose: list[tuple[int, int, FloatArray]], ends_at: dict[int, list[tuple[int, int]]], ends: FloatArray
) -> tuple[list[FloatArray], list[FloatArray], tuple[tuple[float, float], ...]]:
    """Sort chains into those hanging together over junctions (then faces) and single open ones."""
    parent = {n: n for first, last, _ in loose for n in (first, last)}

    def root(n: int) -> int:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for first, last, _ in loose:
        parent[root(first)] = root(last)
    groups: dict[int, list[FloatArray]] = defaultdict(list)
    for first, _, points in loose:
        groups[root(first)].append(points)
    loops: list[FloatArray] = []
    still_open: list[FloatArray] = []
    for chains in groups.values():
        if len(chains) == 1 and not (chains[0][0] == chains[0][-1]).all():
            still_open += chains
        else:
            found, left = _faces(chains)
            loops += found
            still_open += left
    places = []
    for n in sorted(parent):
        if len(ends_at[n]) > 2:
            line, end = ends_at[n][0]
            x, y = ends[2 * line + end]
            places.append((float(x), float(y)))
    return loops, still_open, tuple(places)
