"""A graph of straight edges in space made into chains: runs of edges between places where ways part or end.

Terminology
-----------
junction
    a node where three or more edges meet, or where one ends.
chain
    the edges from one junction to the next. A ring without junctions is one chain that ends where it starts.
piece
    chains that hang together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Chains:
    """Chains of a graph, laid one after the other.

    Attributes:
        points: (n, 3) vertices of all chains; a junction stands once in each chain it ends.
        first: (k + 1,) where each chain begins in `points`.
        ends: (k, 2) junction at the start and end of each chain.
        piece: (k,) number of the piece each chain belongs to, counted from 0.
    """

    points: FloatArray
    first: IntArray
    ends: IntArray
    piece: IntArray

    @property
    def count(self) -> int:
        """Number of chains."""
        return len(self.ends)

    def lengths(self) -> FloatArray:
        """Return the length (k,) of each chain in space."""
        step = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        mark = np.concatenate([[0.0], np.cumsum(step)])
        length: FloatArray = mark[self.first[1:] - 1] - mark[self.first[:-1]]
        return length

    def graph(self) -> tuple[FloatArray, IntArray]:
        """Return the chains as (nodes, edges), every vertex once."""
        number = np.arange(len(self.points))
        where, which = np.unique(self.ends.T.ravel(), return_index=True)
        spots = np.concatenate([self.first[:-1], self.first[1:] - 1])
        number[spots] = spots[which][np.searchsorted(where, self.ends.T.ravel())]
        last = np.zeros(len(self.points), dtype=np.bool_)
        last[self.first[1:] - 1] = True
        a = np.flatnonzero(~last)
        used, edges = np.unique(np.column_stack([number[a], number[a + 1]]), return_inverse=True)
        return self.points[used], edges.reshape(-1, 2)


def chains(nodes: FloatArray, edges: IntArray) -> Chains:
    """Return the chains of a graph.

    Args:
        nodes: (n, 3).
        edges: (m, 2) rows of `nodes`; no edge from a node to itself.
    """
    m = len(edges)
    if not m:
        return Chains(points=np.empty((0, 3)), first=np.zeros(1, np.int64), ends=np.empty((0, 2), np.int64),
                      piece=np.empty(0, np.int64))  # fmt: skip
    tail = edges.ravel()  # half edge 2 e runs along edge e, 2 e + 1 against it
    head = edges[:, ::-1].ravel()
    degree = np.bincount(tail, minlength=len(nodes))
    leaving = np.zeros(len(nodes), dtype=np.int64)
    np.add.at(leaving, tail, np.arange(2 * m))
    after = np.where(degree[head] == 2, leaving[head] - (np.arange(2 * m) ^ 1), -1)
    found = _followed(np.flatnonzero(degree[tail] != 2), after)
    seen = np.zeros(m, dtype=np.bool_)
    seen[found[2] >> 1] = True
    if not seen.all():
        starts = _ring_starts(np.flatnonzero(~seen), after)
        after[np.isin(after, starts)] = -1
        extra = _followed(starts, after)
        found = (
            np.concatenate([found[0], extra[0] + 2 * m]),
            np.concatenate([found[1], extra[1]]),
            np.concatenate([found[2], extra[2]]),
        )
    chain, step, half = found
    order = np.lexsort((step, chain))
    chain, half = chain[order], half[order]
    begin = np.flatnonzero(np.concatenate([[True], np.diff(chain) != 0]))
    end = np.concatenate([begin[1:], [len(half)]]) - 1
    # each open chain was followed from both its ends: keep one
    one = (half[begin] < (half[end] ^ 1)) | (chain[begin] >= 2 * m)
    begin, size = begin[one], (end - begin)[one] + 2
    first = np.concatenate([[0], np.cumsum(size)])
    owner = np.repeat(np.arange(len(size)), size)
    at = np.arange(first[-1]) - first[owner]
    inner = np.minimum(begin[owner] + at, begin[owner] + size[owner] - 2)
    index = np.where(at < size[owner] - 1, tail[half[inner]], head[half[inner]])
    ends = np.column_stack([index[first[:-1]], index[first[1:] - 1]])
    return Chains(points=nodes[index], first=first, ends=ends, piece=_pieces(ends, len(nodes)))


def _followed(start: IntArray, after: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return (start's number, step, half edge) of all half edges met from each start on, all starts side by side."""
    chain, half = np.arange(len(start)), start
    rows = [(chain, np.zeros(len(start), dtype=np.int64), half)]
    step = 0
    while True:
        half = after[half]
        go = half >= 0
        chain, half = chain[go], half[go]
        if not len(half):
            break
        step += 1
        rows.append((chain, np.full(len(half), step), half))
    a, b, c = (np.concatenate(p) for p in zip(*rows, strict=True))
    return a, b, c


def _ring_starts(edges: IntArray, after: IntArray) -> IntArray:
    """Return one half edge of each ring that has no junction."""
    left = dict.fromkeys(edges.tolist())
    following = after.tolist()
    starts = []
    while left:
        half = 2 * next(iter(left))
        starts.append(half)
        at = half
        while True:
            del left[at >> 1]
            at = following[at]
            if at == half:
                break
    return np.array(starts, dtype=np.int64)


def _pieces(ends: IntArray, n: int) -> IntArray:
    """Return the piece of each chain: the least junction that can be reached, spread until nothing changes."""
    label = np.arange(n)
    while True:
        low = label[ends].min(axis=1)
        new = label.copy()
        np.minimum.at(new, ends.ravel(), np.repeat(low, 2))
        new = new[new]
        if (new == label).all():
            break
        label = new
    return np.unique(label[ends[:, 0]], return_inverse=True)[1]


def thinned(c: Chains, tolerance: float) -> Chains:
    """Return the chains with inner vertices dropped, every one of them within `tolerance` of what is left.

    The distance is |d xy| + |d z|, at the same share of the length seen from above: the most by which the
    height at a place can be wrong where heights change by no more than 1 a mm. Errors of vertices dropped before
    are added.
    """
    points, n = c.points, len(c.points)
    fixed = np.zeros(n, dtype=np.bool_)
    fixed[c.first[:-1]] = fixed[c.first[1:] - 1] = True
    kept, error = np.arange(n), np.zeros(n)  # error of the stretch that ends at each vertex
    idle = 0
    for turn in range(40):
        inner = np.flatnonzero(~fixed[kept])
        inner = inner[inner % 2 == turn % 2]
        a, b, e = kept[inner - 1], kept[inner], kept[inner + 1] if len(inner) else inner
        away = _off_line(points[a], points[b], points[e]) + np.maximum(error[b], error[e])
        gone = away <= tolerance
        idle = 0 if gone.any() else idle + 1
        if idle == 2:
            break
        error[e[gone]] = away[gone]
        kept = np.delete(kept, inner[gone])
    return Chains(points=points[kept], first=np.searchsorted(kept, c.first), ends=c.ends, piece=c.piece)


def _off_line(a: FloatArray, b: FloatArray, e: FloatArray) -> FloatArray:
    """Return |d xy| + |d z| of b from the line a..e at b's foot on it seen from above; inf where it lies beyond."""
    way, to = e - a, b - a
    square = (way[:, :2] ** 2).sum(axis=1)
    t = (to[:, :2] * way[:, :2]).sum(axis=1) / np.maximum(square, 1e-18)
    off = to - t[:, None] * way
    result: FloatArray = np.hypot(off[:, 0], off[:, 1]) + np.abs(off[:, 2])
    return np.where((t > 0) & (t < 1), result, np.inf)


def divided(nodes: FloatArray, edges: IntArray, at: float) -> tuple[FloatArray, IntArray]:
    """Return the graph with a node wherever an edge crosses height `at` (third column).

    Args:
        nodes: (n, 3).
        edges: (m, 2).
        at: height.
    """
    z = nodes[edges, 2]
    cut = np.flatnonzero((z.min(axis=1) < at - 1e-9) & (z.max(axis=1) > at + 1e-9))
    if not len(cut):
        return nodes, edges
    a, b = nodes[edges[cut, 0]], nodes[edges[cut, 1]]
    t = (at - a[:, 2]) / (b[:, 2] - a[:, 2])
    fresh = a + t[:, None] * (b - a)
    fresh[:, 2] = at
    number = len(nodes) + np.arange(len(cut))
    out = edges.copy()
    out[cut, 1] = number
    return np.concatenate([nodes, fresh]), np.concatenate([out, np.column_stack([number, edges[cut, 1]])])


def between(nodes: FloatArray, edges: IntArray, low: float, high: float) -> tuple[FloatArray, IntArray]:
    """Return the part of the graph whose heights lie from `low` to `high`, edges cut where they leave it."""
    for at in (low, high):
        if abs(at) < float("inf"):
            nodes, edges = divided(nodes, edges, at)
    z = nodes[edges, 2]
    inside: BoolArray = (z.min(axis=1) >= low - 1e-9) & (z.max(axis=1) <= high + 1e-9)
    return nodes, edges[inside]
