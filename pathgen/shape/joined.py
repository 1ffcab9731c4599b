"""Lines joined where their ends meet, so that a pen runs on instead of being lifted.

At each place the ends are paired so that the way turns as little as possible; of an odd number one is left. Every line
is kept once: nothing is drawn twice to save a lift.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely
from shapely.geometry import MultiLineString

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.shape.tolerance import NOISE

MEET_DECIMALS = 4
"""Ends that agree to this many decimals of a mm meet. More: rounding in a drawing keeps lines apart; fewer: gaps that
were drawn are closed."""


def joined(lines: MultiLineString) -> list[FloatArray]:
    """Return the lines as few long ones, (n, 2) each; closed ones end exactly where they start.

    Args:
        lines: mm; lines without length are left out.

    >>> cross = MultiLineString([[(0, 0), (1, 0)], [(2, 0), (1, 0)], [(1, 0), (1, 1)]])
    >>> [line.tolist() for line in joined(cross)]
    [[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]], [[1.0, 0.0], [1.0, 1.0]]]
    """
    parts = [_distinct(shapely.get_coordinates(g)) for g in lines.geoms]
    parts = [p for p in parts if len(p) > 1]
    rings, loose = list[FloatArray](), list[FloatArray]()
    for part in parts:
        closed = len(part) > 3 and np.abs(part[0] - part[-1]).max() <= NOISE
        (rings if closed else loose).append(part)
    for ring in rings:
        ring[-1] = ring[0]
    return [*rings, *_chains(loose)] if loose else rings


def _distinct(xy: FloatArray) -> FloatArray:
    """Return vertices without repeats."""
    keep = np.ones(len(xy), dtype=bool)
    keep[1:] = np.abs(np.diff(xy, axis=0)).max(axis=1) > NOISE
    return xy[keep].copy()


def _chains(lines: list[FloatArray]) -> list[FloatArray]:
    """Walk over paired ends, from ends without a partner first; what is left then are loops."""
    partner = _partners(lines)
    used = np.zeros(len(lines), dtype=bool)
    out = []
    for end in [*np.flatnonzero(partner < 0).tolist(), *range(0, 2 * len(lines), 2)]:
        if used[end // 2]:
            continue
        run, at = [], end
        while at >= 0 and not used[at // 2]:
            used[at // 2] = True
            line = lines[at // 2]
            run.append(line if at % 2 == 0 else line[::-1])
            at = int(partner[at ^ 1])
        chain = np.concatenate([run[0], *[r[1:] for r in run[1:]]])
        if at >= 0:
            chain[-1] = chain[0]
        out.append(chain)
    return out


def _partners(lines: list[FloatArray]) -> IntArray:
    """Return the end each end goes on with, (2 n,), -1 for none; 2 k is the start of line k, 2 k + 1 its end."""
    ends = np.array([p for line in lines for p in (line[0], line[-1])])
    away = np.array([d for line in lines for d in (line[1] - line[0], line[-2] - line[-1])])
    away /= np.hypot(away[:, 0], away[:, 1])[:, None]
    _, node = np.unique(np.round(ends, MEET_DECIMALS) + 0.0, axis=0, return_inverse=True)
    at: dict[int, list[int]] = defaultdict(list)
    for end, n in enumerate(node.reshape(-1).tolist()):
        at[n].append(end)
    partner = np.full(len(ends), -1, dtype=np.int64)
    for here in at.values():
        if len(here) < 2:
            continue
        a, b = np.triu_indices(len(here), 1)
        p, q = np.array(here)[a], np.array(here)[b]
        straight = np.round((away[p] * away[q]).sum(axis=1), 6)  # -1: straight on
        for k in np.lexsort((q, p, straight)).tolist():
            if partner[p[k]] < 0 and partner[q[k]] < 0:
                partner[p[k]], partner[q[k]] = q[k], p[k]
    return partner
