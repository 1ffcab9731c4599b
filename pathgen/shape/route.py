"""An open walk over all edges of a connected graph with the least length walked twice (route inspection).

Terminology
-----------
walk
    steps along edges, each starting where the last one ended; every edge is walked at least once.
again
    a step along an edge that was walked before.
fold
    the edges walked twice. Where the walk may start and end anywhere, all nodes but the two ends
    must have an even number of edges once those of the fold are counted twice.

A set of edges that makes all nodes even is called a join (Edmonds and Johnson 1973, "Matching, Euler tours and the
Chinese postman"). On a tree there is one join, all its edges. With c edges beyond a spanning tree there are 2^c:
whether each of those c is in it can be chosen, and the tree's edges follow. An open walk's fold is a join with the
edges of a path from its start to its end exchanged, and that path can be taken in the tree. So for each choice the
best path is found in one run over the tree, with edges of the join counting as gain and others as cost; on a tree
this is its longest path. Up to `EXACT` edges beyond the tree every choice is tried; with more, choices are changed
one and two at a time as long as that helps. Letters have c = 0 to 3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pathgen.errors import ArgumentError

EXACT = 7
"""Most edges beyond a tree for which every choice is tried: 128 runs. Larger: time doubles with each; smaller:
ornaments with a few holes are left to the search."""

PAIRS = 40
"""Most edges beyond a tree for which all pairs of changes are tried. Larger: time grows with the square; smaller: walks
up to 15 % longer than the shortest were seen on tangles of ten rings."""

_ROUNDS = 20
"""How often the search goes through all changes. It ends by itself long before."""


@dataclass(frozen=True)
class Step:
    """One step of a walk.

    Attributes:
        edge: its number.
        forward: from the edge's first end to its second.
        again: it was walked before.
    """

    edge: int
    forward: bool
    again: bool


def open_walk(ends: Sequence[tuple[int, int]], weights: Sequence[float], *, start: Sequence[int] = ()) -> list[Step]:
    """Return an open walk over all edges with the least length walked twice.

    Exact for up to 7 edges beyond a spanning tree; a local search above.

    Args:
        ends: the two nodes of each edge, any integers; an edge may end where it starts.
        weights: length of each edge, at least 0.
        start: nodes to start at, if the best walk can (either of its ends, or anywhere on a closed one).

    Raises:
        ArgumentError: if the graph does not hang together.

    >>> walk = open_walk([(0, 1), (1, 2), (1, 3)], [5, 4, 1])       # a T: its short arm twice
    >>> [(s.edge, s.forward, s.again) for s in walk]
    [(0, True, False), (2, True, False), (2, False, True), (1, True, False)]
    """
    if not ends:
        return []
    graph = _Graph(ends, weights)
    fold = graph.best_fold()
    return _walked(ends, weights, fold, set(start))


class _Graph:
    """A spanning tree, and what the joins of the graph are made of."""

    def __init__(self, ends: Sequence[tuple[int, int]], weights: Sequence[float]) -> None:
        self.ends, self.weights = ends, weights
        at: dict[int, list[int]] = {}
        for e, (a, b) in enumerate(ends):
            at.setdefault(a, []).append(e)
            if a != b:
                at.setdefault(b, []).append(e)
        self.odd = {node for node, edges in at.items() if sum(1 for e in edges if ends[e][0] != ends[e][1]) % 2 == 1}
        self._span(at)
        in_tree = {e for _, _, e in self.tree}
        self.extra = [e for e, (a, b) in enumerate(ends) if e not in in_tree and a != b]

    def _span(self, at: dict[int, list[int]]) -> None:
        """Make a spanning tree: (node, its parent, edge between), children before their parents.

        Long edges first, so that those left over, which a join may hold at will, are short.
        """
        from heapq import heappop, heappush

        root = self.ends[0][0]
        reached = {root}
        order: list[tuple[int, int, int]] = []
        heap: list[tuple[float, int, int, int]] = []

        def offer(node: int) -> None:
            for e in at[node]:
                a, b = self.ends[e]
                heappush(heap, (-self.weights[e], e, node, b if a == node else a))

        offer(root)
        while heap:
            _, e, parent, node = heappop(heap)
            if node not in reached:
                reached.add(node)
                order.append((node, parent, e))
                offer(node)
        if len(reached) != len(at):
            raise ArgumentError("the edges do not hang together: find a walk for each piece")
        order.reverse()
        self.tree = order

    def best_fold(self) -> list[int]:
        """Return the edges to be walked twice."""
        c = len(self.extra)
        if c <= EXACT:
            choices: Iterator[int] = iter(range(1 << c))
            return min((self._fold(choice) for choice in choices), key=lambda f: f[0])[1]
        choice, best = 0, self._fold(0)
        for _ in range(_ROUNDS):
            before = best[0]
            for k in range(c):
                partners = range(k, c) if c <= PAIRS else (k, (k + 1) % c)
                for j in partners:
                    change = (1 << k) | (1 << j)
                    found = self._fold(choice ^ change)
                    if found[0] < best[0] - 1e-9:
                        choice, best = choice ^ change, found
            if best[0] >= before - 1e-9:
                break
        return best[1]

    def _fold(self, choice: int) -> tuple[float, list[int]]:
        """Return (length, edges) of the best fold whose join holds the chosen extra edges."""
        odd = set(self.odd)
        fold = []
        total = 0.0
        for k, e in enumerate(self.extra):
            if choice >> k & 1:
                fold.append(e)
                total += self.weights[e]
                odd ^= set(self.ends[e])
        held: set[int] = set()
        for node, parent, e in self.tree:
            if node in odd:
                odd ^= {node, parent}
                held.add(e)
                total += self.weights[e]
        gain, path = self._best_path(held)
        held ^= path
        return total - gain, fold + sorted(held)

    def _best_path(self, held: set[int]) -> tuple[float, set[int]]:
        """Return (gain, edges) of the path in the tree that gains most, edges of the join counting as gain."""
        down: dict[int, tuple[float, int, int]] = {}
        best, pair = 0.0, (-1, -1)
        for node, parent, e in self.tree:
            gain, *_ = down.get(node, (0.0, -1, -1))
            w = self.weights[e]
            value = gain + (w if e in held else -w)
            here, other, _ = down.get(parent, (0.0, -1, -1))
            if value + here > best:
                best, pair = value + here, (node, other)
            if value > here:
                down[parent] = (value, node, e)
        above = {node: e for node, _, e in self.tree}
        path = set()
        for node in pair:
            while node != -1:
                path.add(above[node])
                node = down.get(node, (0.0, -1, -1))[1]
        return best, path


def _walked(
    ends: Sequence[tuple[int, int]], weights: Sequence[float], fold: Sequence[int], wish: set[int]
) -> list[Step]:
    """Return the walk over every edge once and those of the fold twice (Hierholzer 1873)."""
    copies = [*range(len(ends)), *fold]
    at: dict[int, list[int]] = {}
    for k, e in enumerate(copies):
        a, b = ends[e]
        at.setdefault(a, []).append(k)
        at.setdefault(b, []).append(k)
    odd = [node for node, edges in at.items() if len(edges) % 2]
    wished = [n for n in (odd or at) if n in wish]
    start = min(wished) if wished else min(odd or at)
    doubled = set(fold)
    # the last of a node's list is taken first: twigs walked twice before edges walked once
    for edges in at.values():
        edges.sort(key=lambda k: (copies[k] in doubled, weights[copies[k]]))
    used = [False] * len(copies)
    stack: list[tuple[int, int]] = [(start, -1)]
    trail: list[tuple[int, int]] = []
    while stack:
        node = stack[-1][0]
        edges = at[node]
        while edges and used[edges[-1]]:
            edges.pop()
        if edges:
            k = edges.pop()
            used[k] = True
            a, b = ends[copies[k]]
            stack.append((b if a == node else a, k))
        else:
            trail.append(stack.pop())
    trail.reverse()
    seen: set[int] = set()
    steps = []
    node = trail[0][0]
    for to, k in trail[1:]:
        e = copies[k]
        steps.append(Step(e, ends[e][0] == node, e in seen))
        seen.add(e)
        node = to
    return steps
