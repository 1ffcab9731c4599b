"""The order of rings: from the middle of a piece outwards, in one run without a lift wherever it can be.

Terminology
-----------
ground
    what is cleared so wide that the tool may move there freely: finished sheets, and the rings of this sheet that are
    already cut. Finished sheets are joined to each other by the slots through which the tool came.
slot
    a way through full material from finished ground into the next piece; the tool then clears that piece from its
    middle outwards too, as if it had come down there.
island rings
    the rings around one hole of the center region, one in each sheet. Where nothing else lies next to them they are cut
    one after the other, so that the tool comes by each island once, and not once for each sheet.
ear
    a short way to and fro, from a ring to a spot that no ring clears.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString

from pathgen.cuts.clearing import Move, Run, Segments, Sheet, entry_point, rings_of, trimmed
from pathgen.cuts.routes import along, route, way_length
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Role
from pathgen.model.tool import Direction
from pathgen.shape.tolerance import NOISE

SNAP = 0.5
"""A ring starts on a vertex where its piece there is shorter than this many stepovers. Larger: steps between rings
grow oblique; smaller: the chord a ring starts on cannot become part of an arc."""

NEAR = 1.2
"""Rings within this many stepovers of done ground count as next to it. Larger: steps may cross full material;
smaller: chords make neighbours look far."""

LONGEST_SLOT = 24.0
"""Longest slot into the next piece, in radii of the tool; beyond it the tool lifts and comes down anew. Larger: slow
feed in full material takes longer than a lift and an entry; smaller: more lifts."""

LONGEST_LINK = 75.0
"""Longest way over cleared floor, mm: a lift, a rapid and coming down again take about as long. Larger: time, and way
at depth; smaller: more lifts."""

Ears: TypeAlias = list[list[FloatArray]]
"""For each sheet the ways (n, 2) that set out from one of its rings."""

Node: TypeAlias = tuple[str, int]
"""A piece of ground: ("inner", number of a finished sheet inside) or ("own", number of a ring cut before)."""


def ring_runs(
    tree: list[Sheet], *, stepover: float, direction: Direction, radius: float, ears: Ears | None = None
) -> list[Run]:
    """Return the runs that cut all rings, from the leaves outwards.

    Args:
        tree: from `pathgen.cuts.clearing.sheets`.
        stepover: mm.
        direction: "climb" or "conventional".
        radius: of the tool, mm.
        ears: see `Ears`; None = none.
    """
    for sheet in tree:
        sheet.table = Segments(rings_of(sheet.region, direction))
    plan = _Plan(tree, _order_children(tree), stepover, radius, ears)
    for k in _inner_first(tree):
        plan.cut(k)
    return plan.runs


def _order_children(tree: list[Sheet]) -> dict[int, int]:
    """Sort each sheet's children and return for each child but the first the one from which it is entered.

    The first is the one with most inside it; the others follow by the shortest tree that joins them (Prim 1957), branch
    after branch.
    """
    height = [0] * len(tree)
    bounds = shapely.bounds(np.array([s.region for s in tree], dtype=object))
    enter: dict[int, int] = {}
    for k in range(len(tree) - 1, -1, -1):
        kids = tree[k].children
        height[k] = 1 + max((height[c] for c in kids), default=0)
        if len(kids) < 2:
            continue
        first = max(kids, key=lambda c: (height[c], round(tree[c].region.area, 6)))
        left = [c for c in kids if c != first]
        regions = np.array([tree[c].region for c in left], dtype=object)
        boxes = bounds[left]
        best, source, last = np.full(len(left), np.inf), np.full(len(left), first), first
        branches: dict[int, list[int]] = {c: [] for c in kids}
        while not np.isnan(best).all():
            maybe = np.flatnonzero(_box_gaps(boxes, bounds[last]) < best)
            far = np.round(shapely.distance(tree[last].region, regions[maybe]), 6)
            nearer = maybe[far < best[maybe]]
            best[nearer], source[nearer] = far[far < best[maybe]], last
            n = int(np.nanargmin(best))
            last, best[n] = left[n], np.nan
            enter[last] = int(source[n])
            branches[enter[last]].append(last)
        tree[k].children, stack = [], [first]
        while stack:
            tree[k].children.append(stack.pop())
            stack += branches[tree[k].children[-1]][::-1]
    return enter


def _box_gaps(boxes: FloatArray, box: FloatArray) -> FloatArray:
    """Return the distances of boxes (n, 4) from a box (4,), mm: no shapes in them are nearer."""
    gap = np.maximum(np.maximum(boxes[:, :2] - box[2:], box[:2] - boxes[:, 2:]), 0.0)
    far: FloatArray = np.hypot(gap[:, 0], gap[:, 1])
    return far


def _inner_first(tree: list[Sheet]) -> list[int]:
    """Return the indices of all sheets, each after its children, piece by piece."""
    order: list[int] = []
    stack = [k for k in range(len(tree) - 1, -1, -1) if tree[k].parent < 0]
    while stack:
        k = stack.pop()
        if k < 0:
            order.append(~k)
            continue
        stack.append(~k)
        stack += tree[k].children[::-1]
    return order


class _Plan:
    """Everything cut so far."""

    def __init__(
        self, tree: list[Sheet], enter: dict[int, int], stepover: float, radius: float, ears: Ears | None
    ) -> None:
        self.tree, self.enter, self.stepover, self.radius = tree, enter, stepover, radius
        self.ears: list[list[list[FloatArray]]] = [[[] for _ in s.table.outlines] for s in tree]
        """For each sheet and ring the ears that set out from it."""
        for k, ways in enumerate(ears or []):
            for way in ways:
                self.ears[k][tree[k].table.outline_of(tree[k].table.nearest(way[0])[0])].append(way)
        self.runs: list[Run] = []
        self.slots: dict[int, FloatArray | None] = {}
        self.back: FloatArray | None = None
        """The way back from the last island ring to the ring from which the tool set out; None where it is on it."""
        self.early: list[dict[int, tuple[FloatArray, FloatArray, int]]] = [{} for _ in tree]
        """For each sheet its rings that were cut before its turn: (where the tool left, met it, and the sheet left)."""
        self._beside: dict[int, list[list[tuple[int, int]]]] = {}

    @property
    def run(self) -> Run:
        """The run that goes on."""
        return self.runs[-1]

    def cut(self, k: int) -> None:
        """Cut the rings of sheet `k`, all inside it being cut."""
        sheet = self.tree[k]
        work = _Rings(self, k)
        if not sheet.children:
            chain = self._led_to(k)
            begins = self.tree[chain[-1]].parent < 0
            start = None if begins else self._slot_to(chain)
            if start is None:
                needs = set() if begins else {len(self.runs) - 1}
                self.back = None
                self.runs.append(Run(entry=True, room=sheet.depth * self.stepover, needs=needs))
                start = entry_point(sheet.table.outlines[0])
            work.first(start)
        work.rest()

    def _led_to(self, leaf: int) -> list[int]:
        """Return a leaf and the sheets around it of which nothing was cut before, from inside out."""
        tree, chain = self.tree, [leaf]
        while tree[chain[-1]].parent >= 0 and tree[tree[chain[-1]].parent].children[0] == chain[-1]:
            chain.append(tree[chain[-1]].parent)
        return chain

    @property
    def at(self) -> FloatArray:
        """Where the tool is once it has come back from island rings."""
        return self.run.end if self.back is None else self.back[-1]

    def link(self, way: FloatArray | None) -> None:
        """Move from `at` along a way over cleared floor, or lift where there is none or a lift is quicker."""
        if way is not None and self.back is not None:
            way = np.concatenate([self.back, way])
        self.back = None
        if way is None or way_length(way) > LONGEST_LINK:
            self.runs.append(Run(needs={len(self.runs) - 1}))
        elif way_length(way) > NOISE:
            keep = np.concatenate([[True], np.abs(np.diff(way, axis=0)).max(axis=1) > NOISE])
            self.run.moves.append(Move(xy=way[keep], role="link"))

    def append_ring(self, k: int, piece: int, start: FloatArray, *, slot: bool) -> None:
        """Cut the ring of sheet `k` that holds `piece` from `start`, and then those around the same island."""
        sheet = self.tree[k]
        ring = sheet.table.outline_of(piece)
        ears = self.ears[k][ring]
        role: Role = "cut" if sheet.depth else "finish"
        xy = sheet.table.turned(piece, start)
        if ears:
            self.run.moves += with_ears(xy, ears, role, slot)
        else:
            self.run.moves.append(Move(xy=xy, role=role, slot=slot, closed=True, curved=True))
        outer = self._island_ring(k, ring)
        if outer is not None:
            self._step_out(k, ring, outer)

    def _island_ring(self, k: int, ring: int) -> int | None:
        """Return the ring around sheet `k` that lies next to nothing but its `ring`; None where there is none."""
        parent = self.tree[k].parent
        if ring == 0 or parent < 0:
            return None
        if parent not in self._beside:
            kids = [(c, n) for c in self.tree[parent].children for n in range(len(self.tree[c].table.outlines))]
            inner = np.array([LineString(self.tree[c].table.outlines[n]) for c, n in kids], dtype=object)
            outer = np.array([LineString(r) for r in self.tree[parent].table.outlines], dtype=object)
            found = shapely.STRtree(inner).query(outer, predicate="dwithin", distance=NEAR * self.stepover)
            beside: list[list[tuple[int, int]]] = [[] for _ in outer]
            for n, c in zip(*found.tolist(), strict=True):
                beside[n].append(kids[c])
            self._beside[parent] = beside
        fits = [n for n, near in enumerate(self._beside[parent]) if n and near == [(k, ring)]]
        return fits[0] if len(fits) == 1 else None

    def _step_out(self, k: int, ring: int, outer: int) -> None:
        """Step over from a ring of sheet `k` to the one around it, cut that, and note the way back."""
        parent = self.tree[k].parent
        table, at, known = self.tree[parent].table, self.run.end, self.back
        piece, start, _ = table.nearest_on(outer, at)
        start = table.snapped(piece, start, SNAP * self.stepover)
        inner = self.tree[k].table.single(ring)
        _, foot, gap = inner.nearest(start)
        if gap > NEAR * self.stepover:
            return
        way = along(inner, at, foot)
        self.back = None
        self.link(way)
        self.run.moves.append(Move(xy=np.array([foot, start]), role="cut", slot=True))
        home = np.concatenate([start[None], way[::-1]])
        self.back = home if known is None else np.concatenate([home, known])
        self.early[parent][outer] = foot, start, k
        self.append_ring(parent, piece, start, slot=False)

    def across(self, first: int, last: int, point: FloatArray) -> FloatArray | None:
        """Return a way from `point` on one finished sheet to where another is entered, through the slots between."""
        ups = [first]
        while ups[-1] in self.enter:
            ups.append(self.enter[ups[-1]])
        downs = [last]
        while downs[-1] not in ups:
            downs.append(self.enter[downs[-1]])
        steps = [(k, self.slots.get(k), -1) for k in ups[: ups.index(downs[-1])]]
        steps += [(self.enter[k], self.slots.get(k), 1) for k in reversed(downs[:-1])]
        ways = [point[None]]
        for k, slot, step in steps:
            if slot is None:
                return None
            way = slot[::step]
            within = route(self.tree[k].region, self.tree[k].table, ways[-1][-1], way[0])
            if within is None:
                return None
            ways += [within, way]
        return np.concatenate(ways)

    def _slot_to(self, chain: list[int]) -> FloatArray | None:
        """Cut a slot from the sheet finished last to a leaf, and return where it ends; None where the tool must lift.

        Args:
            chain: the leaf and the sheets around it of which nothing was cut before, from inside out.
        """
        tree, top = self.tree, chain[-1]
        around = tree[tree[top].parent]
        last, source = around.children[around.children.index(top) - 1], self.enter[top]
        self.slots[top] = None
        leave, arrive = shapely.get_coordinates(shapely.shortest_line(tree[source].region, tree[top].region))
        link = self.across(last, source, self.at)
        if link is not None:
            end = route(tree[source].region, tree[source].table, link[-1], leave)
            link = None if end is None else np.concatenate([link, end])
        slot = route(around.region, around.table, leave, arrive)
        if link is None or slot is None or way_length(link) > LONGEST_LINK:
            return None
        ways = [slot]
        for outer, inner in zip(chain[:0:-1], chain[-2::-1], strict=True):
            _, foot, _ = tree[inner].table.nearest(ways[-1][-1])
            way = route(tree[outer].region, tree[outer].table, ways[-1][-1], foot)
            if way is None:
                return None
            ways.append(way)
        whole = np.concatenate([ways[0], *(w[1:] for w in ways[1:])])
        if way_length(whole) > LONGEST_SLOT * self.radius:
            return None
        self.slots[top] = slot
        self.link(link)
        self.run.moves.append(Move(xy=whole, role="cut", slot=True))
        reached: FloatArray = whole[-1]
        return reached


class _Rings:
    """Cuts the rings of one sheet after everything inside it."""

    def __init__(self, plan: _Plan, number: int) -> None:
        sheet = plan.tree[number]
        self.plan, self.number, self.table, self.rings = plan, number, sheet.table, sheet.table.outlines
        self.stepover = plan.stepover
        self.numbers = sheet.children
        self.inner = [plan.tree[c] for c in sheet.children]
        self.left = np.ones(len(self.rings), dtype=bool)
        self.inner_of = np.repeat(np.arange(len(self.inner)), [len(s.table.outlines) for s in self.inner])
        self.own: list[int] = []
        self.lines: Any = None
        self.nodes: list[Node] = []
        self.ends: list[FloatArray] = []
        self.gaps: list[FloatArray] = []
        self.far = False
        """Steps longer than `NEAR` are noted too."""
        self.steps: dict[Node, tuple[FloatArray, FloatArray, Node]] = {}
        """For each ring cut: (where the tool left the ground, where it met the ring, the ground)."""
        for k, (leave, start, child) in plan.early[number].items():
            self.left[k] = False
            self.own.append(k)
            self.steps["own", k] = leave, start, ("inner", self.numbers.index(child))
        self.here: Node = ("inner", len(self.inner) - 1)

    @cached_property
    def done(self) -> Segments:
        """The rings of all sheets inside."""
        return Segments([r for s in self.inner for r in s.table.outlines])

    @cached_property
    def outline(self) -> Any:
        """The rings of this sheet as one shape."""
        whole = shapely.multilinestrings([LineString(r) for r in self.rings])
        shapely.prepare(whole)
        return whole

    def first(self, start: FloatArray) -> None:
        """Cut the ring nearest to `start` in full material."""
        piece, foot, _ = self.table.nearest(start)
        if self.plan.run.moves:
            if np.abs(foot - start).max() > NOISE:
                self.plan.run.moves.append(Move(xy=np.array([start, foot]), role="cut", slot=True))
        else:
            foot = self.table.snapped(piece, foot, SNAP * self.stepover)
        self._append_ring(piece, foot, slot=True)

    def rest(self) -> None:
        """Cut all other rings."""
        while self.left.any():
            at = self.plan.at
            piece, start, foot, node = self._next(at)
            self.plan.link(self._link(at, foot, node))
            gap = float(np.hypot(*(start - foot)))
            if gap > NOISE:
                self.plan.run.moves.append(Move(xy=np.array([foot, start]), role="cut", slot=True))
            self.steps["own", self.table.outline_of(piece)] = foot, start, node
            self._append_ring(piece, start, slot=gap > NEAR * self.stepover)

    def _append_ring(self, piece: int, start: FloatArray, *, slot: bool) -> None:
        k = self.table.outline_of(piece)
        self.left[k] = False
        self.own.append(k)
        self.here = ("own", k)
        self.plan.append_ring(self.number, piece, start, slot=slot)

    def _next(self, at: FloatArray) -> tuple[int, FloatArray, FloatArray, Node]:
        """Return (piece of the next ring, its start there, the point of ground to step over from, that ground).

        The ring nearest to the tool, if ground lies about one stepover from its nearest point; else the ring that can
        be stepped over to nearest to the tool, from the same sheet inside if there is one, since the way to another
        may be long; else the ring nearest to any ground, which can always be reached: the
        shortest way to it crosses no other.
        """
        piece, start, _ = self.table.nearest(at, self.left[self.table.owner])
        start = self.table.snapped(piece, start, SNAP * self.stepover)
        found = self._foot(start)
        base = self._chain(self.here)[-1]
        if found is not None and self._chain(found[1])[-1] == base and self._clear(found[0], start):
            return piece, start, *found
        self._join(np.inf if self.far else NEAR * self.stepover)
        ends, gaps = np.array(self.ends), np.where(self.left[None, :], self.gaps, np.inf)
        near = gaps <= NEAR * self.stepover
        if not near.any() and not self.far:
            self.far = True
            self.ends, self.gaps, self.nodes = [], [], []
            return self._next(at)
        same = near & np.array([self._chain(n)[-1] == base for n in self.nodes])[:, None]
        near = same if same.any() else near
        away = np.hypot(*np.moveaxis(ends[:, :, 0] - at, 2, 0)) + gaps
        choice = np.where(near, away, np.inf) if near.any() else gaps
        n, k = np.unravel_index(int(np.argmin(np.round(choice, 6))), choice.shape)
        foot, start = ends[n, k]
        piece, start, _ = self.table.nearest_on(int(k), start)
        return piece, start, foot, self.nodes[int(n)]

    def _join(self, limit: float) -> None:
        """Note the shortest steps, up to `limit` mm long, from all ground to all rings; longer ones are endless."""
        if self.lines is None:
            self.lines = np.array([LineString(r) for r in self.rings], dtype=object)
        inner: list[tuple[Node, Any]] = [
            (("inner", int(n)), LineString(r)) for n, r in zip(self.inner_of, self.done.outlines, strict=True)
        ]
        ground = inner + [(("own", k), self.lines[k]) for k in self.own]
        for node, line in ground[len(self.nodes) :]:
            shapely.prepare(line)
            ends, gaps = np.zeros((len(self.rings), 2, 2)), np.full(len(self.rings), np.inf)
            hit = self.left & (shapely.dwithin(line, self.lines, limit) if limit < np.inf else True)
            ways = shapely.shortest_line(line, self.lines[hit])
            ends[hit], gaps[hit] = shapely.get_coordinates(ways).reshape(-1, 2, 2), shapely.length(ways)
            self.nodes.append(node)
            self.ends.append(ends)
            self.gaps.append(gaps)

    def _foot(self, at: FloatArray) -> tuple[FloatArray, Node] | None:
        """Return (point, ground) nearest to `at`; None where it is more than about a stepover away."""
        limit = NEAR * self.stepover
        if self.inner:
            piece, foot, far = self.done.nearest(at)
            if far <= limit:
                return foot, ("inner", int(self.inner_of[self.done.outline_of(piece)]))
        for k in reversed(self.own):
            _, foot, far = self.table.single(k).nearest(at)
            if far <= limit:
                return foot, ("own", k)
        return None

    def _clear(self, a: FloatArray, b: FloatArray) -> bool:
        """Return whether the straight way from `a` to `b` meets no outline of this sheet but at its ends."""
        line = trimmed(a, b)
        return line is None or not bool(shapely.intersects(self.outline, line))

    def _link(self, at: FloatArray, foot: FloatArray, target: Node) -> FloatArray | None:
        """Return a way over cleared ground from the tool to `foot` on `target`; None where there is none."""
        up, down = self._chain(self.here), self._chain(target)
        common = next((n for n in up if n in down), None)
        ways: list[FloatArray | None] = [at[None]]
        node, point = self.here, at
        while node != common and node[0] == "own" and node in self.steps:
            leave, start, parent = self.steps[node]
            ways += [self._within(node, point, start), leave[None]]
            node, point = parent, leave
        if common is None:
            if node[0] != "inner" or down[-1][0] != "inner":
                return None
            crossed = self.plan.across(self.numbers[node[1]], self.numbers[down[-1][1]], point)
            if crossed is None:
                return None
            ways.append(crossed)
            node, point = down[-1], crossed[-1]
        for below in reversed(down[: down.index(node)]):
            leave, start, _ = self.steps[below]
            ways += [self._within(node, point, leave), start[None]]
            node, point = below, start
        ways.append(self._within(node, point, foot))
        found = [w for w in ways if w is not None]
        return np.concatenate(found) if len(found) == len(ways) else None

    def _chain(self, node: Node) -> list[Node]:
        """Return a piece of ground, the one from which it was reached, and so on."""
        chain = [node]
        while chain[-1] in self.steps:
            chain.append(self.steps[chain[-1]][2])
        return chain

    def _within(self, node: Node, a: FloatArray, b: FloatArray) -> FloatArray | None:
        """Return a way from `a` to `b` on one piece of ground."""
        if np.abs(a - b).max() <= NOISE:
            return b[None]
        if node[0] == "own":
            return along(self.table.single(node[1]), a, b)
        sheet = self.inner[node[1]]
        return route(sheet.region, sheet.table, a, b)


def with_ears(xy: FloatArray, ears: list[FloatArray], role: Role, slot: bool) -> list[Move]:
    """Return the moves along a closed ring (n, 2) with its ears, each where it sets out."""
    line = LineString(xy)
    places = shapely.line_locate_point(line, shapely.points(np.array([e[0] for e in ears])))
    mark = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    moves: list[Move] = []
    here, at = 0.0, xy[0]
    for k in np.argsort(np.round(places, 6), kind="stable"):
        s = min(float(places[k]), float(mark[-1]))
        if s - here > NOISE:
            stop = np.array([np.interp(s, mark, xy[:, 0]), np.interp(s, mark, xy[:, 1])])
            inner = xy[(mark > here + NOISE) & (mark < s - NOISE)]
            moves.append(Move(xy=np.concatenate([at[None], inner, stop[None]]), role=role, slot=slot, curved=True))
            here, at = s, stop
        ear = np.concatenate([at[None], ears[k][1:]])
        moves += [Move(xy=ear, role="cut", slot=True), Move(xy=ear[::-1], role="link")]
    if mark[-1] - here > NOISE:
        inner = xy[(mark > here + NOISE) & (mark < mark[-1] - NOISE)]
        moves.append(Move(xy=np.concatenate([at[None], inner, xy[-1:]]), role=role, slot=slot, curved=True))
    return moves
