"""Exact horizontal sections of what strokes cut away.

A straight stroke of a tool, cut at one height, is a row of discs whose centers and radii change steadily along it: its
outline is the hull of the two end discs, in closed form. Only a ball's radius does not change in proportion, so its
strokes are cut into pieces first.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray
from pathgen.model.tool import Tool
from pathgen.proof.grid import expanded
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import Profile, profile_of

QUAD: Final = 64
"""Segments in a quarter of a round end: at a radius of 5 mm its chords leave the circle by 0.0004 mm."""

BALL: Final = 0.0005
"""Largest error of a ball's radius between two pieces of a slope, mm."""

SHORT: Final = 40
"""Points of one line grown at a time: growing takes much longer the more often a line crosses itself."""


def section(strokes: Strokes, tools: Mapping[int, Tool], z: float, *, quad_segs: int = QUAD) -> Any:
    """Return the area cut away at height `z`: each stroke below it, grown by the tool's radius there, mm.

    Exact up to the chords of round ends: a flat or conical tool's stroke is the hull of two discs, level or sloping; a
    ball's is cut into pieces between which its radius is off by at most 0.0005 mm.

    Args:
        strokes: in stock coordinates.
        tools: T number to tool; strokes of unknown or dragging tools cut nothing.
        z: height, mm.
        quad_segs: segments in a quarter of a round end.
    """
    parts = []
    for number in np.unique(strokes.tool):
        profile = profile_of(tools[int(number)]) if int(number) in tools else None
        if profile is None:
            continue
        own = strokes[(strokes.tool == number) & (strokes.lowest <= z + 1e-9)]
        if len(own):
            parts.append(_section(own, profile, z, quad_segs))
    return shapely.union_all(parts) if parts else shapely.MultiPolygon()


def _section(own: Strokes, profile: Profile, z: float, quad_segs: int) -> Any:
    a, b = own.a.copy(), own.b.copy()
    for one, other in ((a, b), (b, a)):  # only the part of each stroke where the tip is below z
        above = one[:, 2] > z
        share = (one[above, 2] - z) / (one[above, 2] - other[above, 2])
        one[above] += share[:, None] * (other[above] - one[above])
    if profile.kind == "flat":
        return _grown(a[:, :2], b[:, :2], profile.radius, quad_segs)
    a, b = _pieces(a, b, profile, z)
    ra, rb = profile.reach(np.maximum(z - a[:, 2], 0.0)), profile.reach(np.maximum(z - b[:, 2], 0.0))
    some = np.maximum(ra, rb) > 0
    if not some.any():
        return shapely.MultiPolygon()
    return shapely.union_all(hulls(a[some, :2], ra[some], b[some, :2], rb[some], quad_segs=quad_segs))


def _grown(a: FloatArray, b: FloatArray, radius: float, quad_segs: int) -> Any:
    """Return the union of flat strokes: lines joined end to end, grown a short stretch at a time."""
    same = (a == b).all(axis=1)
    shapes = [*np.unique(a[same], axis=0)]
    grown = [shapely.buffer(shapely.points(np.array(shapes)), radius, quad_segs=quad_segs)] if shapes else []
    if not same.all():
        # the same way at several depths counts once
        ways = np.unique(np.round(np.concatenate([a[~same], b[~same]], axis=1), 6), axis=0)
        lines = shapely.linestrings(ways.reshape(-1, 2, 2))
        merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(lines)))
        grown.append(shapely.buffer(_stretches(merged), radius, quad_segs=quad_segs))
    return shapely.union_all(np.concatenate(grown))


def _stretches(lines: Any) -> Any:
    """Return lines cut into stretches of at most `SHORT` points."""
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    count = np.bincount(owner, minlength=len(lines))
    if (count <= SHORT).all():
        return lines
    a = np.flatnonzero(owner[1:] == owner[:-1])  # legs, by their first point
    first = np.cumsum(count) - count
    piece = (a - first[owner[a]]) // (SHORT - 1)
    heads = np.flatnonzero((np.diff(owner[a], prepend=-1) != 0) | (np.diff(piece, prepend=-1) != 0))
    legs = np.diff(heads, append=len(a))
    own, point = expanded(np.zeros_like(legs), legs + 1)
    return shapely.linestrings(xy[a[heads[own]] + point], indices=own)


def _pieces(a: FloatArray, b: FloatArray, profile: Profile, z: float) -> tuple[FloatArray, FloatArray]:
    """Return strokes cut where their radius at `z` stops changing in proportion to the way."""
    top, low = (choose(a[:, 2], b[:, 2]) for choose in (np.maximum, np.minimum))
    full = profile.radius if profile.kind == "ball" else (profile.radius - profile.flat) * profile.rise
    rim = z - full  # tips below this have their full radius at z
    crossing = (low < rim) & (top > rim)
    share = np.where(crossing, (rim - a[:, 2]) / np.where(crossing, b[:, 2] - a[:, 2], 1.0), 1.0)[:, None]
    middle = a + share * (b - a)
    a, b = np.concatenate([a, middle[crossing]]), np.concatenate([np.where(crossing[:, None], middle, b), b[crossing]])
    if profile.kind != "ball":
        return a, b
    # a ball's radius is R sin(turn) at R (1 - cos(turn)) above its tip: cut by equal turns
    turn = [np.arccos(np.clip(1.0 - np.clip(z - p[:, 2], 0.0, full) / full, -1.0, 1.0)) for p in (a, b)]
    # seen from above, a height on a flat slope is drawn out along the way
    slope = np.abs(b[:, 2] - a[:, 2]) / np.maximum(np.hypot(b[:, 0] - a[:, 0], b[:, 1] - a[:, 1]), 1e-9)
    step = 2.0 * np.arccos(1.0 - np.minimum(BALL * np.clip(slope, 0.01, 1.0) / full, 0.5))
    n = np.maximum(np.ceil(np.abs(turn[1] - turn[0]) / step), 1).astype(np.int64)
    owner, k = expanded(np.zeros_like(n), n)
    ends = []
    for j in (k, k + 1):
        height = z - full * (1.0 - np.cos(turn[0][owner] + j / n[owner] * (turn[1] - turn[0])[owner]))
        rise = (b - a)[owner, 2]
        slanting = n[owner] > 1
        share = np.where(slanting, (height - a[owner, 2]) / np.where(slanting, rise, 1.0), j)
        ends.append(a[owner] + share[:, None] * (b - a)[owner])
    return ends[0], ends[1]


def hulls(a: FloatArray, ra: FloatArray, b: FloatArray, rb: FloatArray, *, quad_segs: int = QUAD) -> Any:
    """Return the hulls (n,) of pairs of discs as polygons: what a disc sweeps whose radius changes steadily, mm.

    A normal at the angle t from the way a to b touches the disc at b where cos t > (ra - rb) / length, else that at a
    (the support function of a hull is the larger of its parts'; elementary geometry).

    Args:
        a: centers (n, 2), mm.
        ra: radii (n,), mm.
        b: centers (n, 2).
        rb: radii (n,).
        quad_segs: segments in a quarter of a round end.
    """
    d = b - a
    length = np.hypot(d[:, 0], d[:, 1])
    one = length <= np.abs(ra - rb)  # one disc holds the other
    big = one & (rb > ra)
    a, ra = np.where(big[:, None], b, a), np.where(big, rb, ra)
    big = one & ~big
    b, rb = np.where(big[:, None], a, b), np.where(big, ra, rb)
    way = np.arctan2(d[:, 1], d[:, 0])
    half = np.arccos(np.clip((ra - rb) / np.where(one, 1.0, length), -1.0, 1.0))
    share = np.linspace(-1.0, 1.0, 2 * quad_segs + 1)
    front = way[:, None] + half[:, None] * share
    back = way[:, None] + np.pi + (np.pi - half)[:, None] * share
    rings = [
        c[:, None, :] + r[:, None, None] * np.stack([np.cos(t), np.sin(t)], axis=2)
        for c, r, t in ((b, rb, front), (a, ra, back))
    ]
    return shapely.polygons(np.concatenate(rings, axis=1))
