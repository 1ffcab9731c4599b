"""The order of cuts, of tools, and of the passes inside a cut.

Terminology
-----------
chain
    passes that follow each other without a lift: each starts where the one before it ended.
batch
    chains that are free to run in any order: the same level, nothing left that must come before.
tour
    the order of a batch, with little way through the air.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathgen.errors import ArgumentError, one_of
from pathgen.model.arrays import ROUND_DECIMALS, FloatArray
from pathgen.model.cut import Cut, Stop
from pathgen.model.path import Pass, Path
from pathgen.model.tool import Tool
from pathgen.program.tour import Ends, tour


def number_tools(cuts: Iterable[Cut | Stop]) -> dict[Tool, int]:
    """Return the T number of every tool, in order of first use.

    Equal tools share a number. A tool without one gets the lowest number that no tool claims.

    Raises:
        ArgumentError: if two different tools claim one number.

    >>> from pathgen.model.bounds import Bounds
    >>> from pathgen.model.tool import Cutting, EndMill
    >>> def cut(tool):
    ...     return Cut(name="a", tool=tool, cutting=Cutting(1000, 100, 50), passes=(), bounds=Bounds(), depth=1)
    >>> list(number_tools([cut(EndMill(6)), cut(EndMill(3, number=1)), cut(EndMill(6))]).values())
    [2, 1]
    """
    tools = list(dict.fromkeys(c.tool for c in cuts if isinstance(c, Cut)))
    claimed: dict[int, Tool] = {}
    for tool in tools:
        if tool.number is None:
            continue
        other = claimed.setdefault(tool.number, tool)
        if other != tool:
            raise ArgumentError(
                f"tool number {tool.number} is claimed by {other.describe()} and by {tool.describe()}, which differ: "
                "give each its own number, or none"
            )
    free = (k for k in range(1, len(tools) + len(claimed) + 1) if k not in claimed)
    return {tool: tool.number if tool.number is not None else next(free) for tool in tools}


def arrange(cuts: Iterable[Cut | Stop], *, order: Literal["tools", "listed"] = "tools") -> tuple[Cut | Stop, ...]:
    """Return the cuts in the order they are to run.

    Args:
        cuts: cuts, and stops between them that no cut may cross.
        order: "tools": as few tool changes as the rules allow, tools as first listed; cuts named in `Cut.after`
            first; cuts that part the board last, inner outlines before those around them, even where that calls a
            tool twice. "listed": the order is kept.

    Raises:
        ArgumentError: for an unknown word, a cut listed twice, or an order in which a cut would run before
            one it must follow.
    """
    one_of("order", order, ("tools", "listed"))
    listed = list(cuts)
    only = [c for c in listed if isinstance(c, Cut)]
    if len({id(c) for c in only}) != len(only):
        twice = next(c for k, c in enumerate(only) if any(c is d for d in only[:k]))
        raise ArgumentError(f"the cut '{twice.name}' is listed twice: plan it again if it is meant to run twice")
    result: list[Cut | Stop] = []
    section: list[Cut] = []
    for item in [*listed, None]:
        if isinstance(item, Cut):
            section.append(item)
            continue
        result += section if order == "listed" else _by_tools(section)
        section = []
        if item is not None:
            result.append(item)
    _check_order(result)
    return tuple(result)


def _check_order(cuts: Sequence[Cut | Stop]) -> None:
    """Raise `ArgumentError` if a cut stands before one that it must follow."""
    place = {id(c): k for k, c in enumerate(cuts)}
    for k, cut in enumerate(cuts):
        if isinstance(cut, Stop):
            continue
        for before in cut.after:
            if place.get(id(before), -1) > k:
                raise ArgumentError(
                    f"the cut '{cut.name}' must run after '{before.name}', but stands before it or before the stop "
                    "ahead of it: list it later, or take order='tools'"
                )


def _by_tools(cuts: list[Cut]) -> list[Cut]:
    """Order one section: see `arrange`."""
    here = {id(c) for c in cuts}
    needs = {id(c): {id(b) for b in c.after} & here for c in cuts}
    for inner, outer in _nested([c for c in cuts if c.through]):
        if id(outer) not in needs[id(inner)]:
            needs[id(outer)].add(id(inner))
    tools = list(dict.fromkeys(c.tool for c in cuts))
    left, done, result = list(cuts), set[int](), list[Cut]()
    tool: Tool | None = None
    while left:
        ready = [c for c in left if needs[id(c)] <= done]
        if not ready:
            raise ArgumentError(
                f"the cuts {', '.join(c.name for c in left)} each must run after another: no order works"
            )
        inside = [c for c in ready if not c.through] or ready
        same = [c for c in inside if c.tool == tool]
        chosen = same[0] if same else min(inside, key=lambda c: tools.index(c.tool))
        tool = chosen.tool
        result.append(chosen)
        done.add(id(chosen))
        left = [c for c in left if c is not chosen]
    return result


def _nested(cuts: Sequence[Cut]) -> list[tuple[Cut, Cut]]:
    """Return (inner, outer) for cuts whose boxes lie one in the other, by the boxes of their passes."""
    boxes = []
    for cut in cuts:
        points = [p.path.points[:, :2] for p in cut.passes if len(p.path)]
        xy = np.concatenate(points) if points else np.zeros((1, 2))
        boxes.append(np.round([*xy.min(axis=0), *-xy.max(axis=0)], ROUND_DECIMALS))
    return [
        (a, b)
        for a, box_a in zip(cuts, boxes, strict=True)
        for b, box_b in zip(cuts, boxes, strict=True)
        if a is not b and (box_a >= box_b).all() and (box_a > box_b).any()
    ]


@dataclass(frozen=True, eq=False, kw_only=True)
class Chain:
    """Passes that follow each other without a lift.

    Attributes:
        passes: in order, already turned round where that saves way.
        level: of its first pass.
        turned: it runs backwards.
    """

    passes: tuple[Pass, ...]
    level: int
    turned: bool = False

    @property
    def start(self) -> FloatArray:
        """First (x, y, z), mm."""
        return self.passes[0].path.start

    @property
    def end(self) -> FloatArray:
        """Last (x, y, z), mm."""
        return self.passes[-1].path.end


def chains(cut: Cut, *, at: tuple[float, float] | None = None) -> list[Chain]:
    """Return the passes of one cut as chains, in the order they are to run.

    Level by level as far as `Pass.after` allows, never before a pass that must come first; within a batch by a
    short tour from `at` that turns reversible chains round where that helps. Ties are decided on coordinates
    rounded to 1e-6 mm, then by the order planned.

    Args:
        cut: the cut.
        at: (x, y) where the tool is before, mm; None = not known, so it begins with the first chain planned.

    Raises:
        ArgumentError: if passes wait for each other in a circle, or for one that does not exist.
    """
    order = _ordered(cut, at, joined=True) or _ordered(cut, at, joined=False)
    if order is None:
        raise ArgumentError(f"{cut.name}: passes wait for each other in a circle: this plan cannot be run")
    return order


def _ordered(cut: Cut, at: tuple[float, float] | None, *, joined: bool) -> list[Chain] | None:
    """Return the chains in running order, or None where they wait for each other.

    `joined` makes chains of passes that meet; passes alone may run where joined ones would wait for each other.
    """
    groups, needs = _groups(cut, joined)
    whole = [Chain(passes=tuple(cut.passes[k] for k in g), level=cut.passes[g[0]].level) for g in groups]
    followers: list[list[int]] = [[] for _ in groups]
    for k, before in enumerate(needs):
        for b in before:
            followers[b].append(k)
    waits = [len(n) for n in needs]
    ready = [k for k, n in enumerate(waits) if n == 0]
    result: list[Chain] = []
    while ready:
        lowest = min(whole[k].level for k in ready)
        batch = [k for k in ready if whole[k].level == lowest]
        ready = [k for k in ready if whole[k].level != lowest]
        ordered = _toured([whole[k] for k in batch], at)
        result += ordered
        at = (float(ordered[-1].end[0]), float(ordered[-1].end[1]))
        for k in batch:
            for f in followers[k]:
                waits[f] -= 1
                if waits[f] == 0:
                    ready.append(f)
        ready.sort()
    return result if len(result) == len(groups) else None


def _groups(cut: Cut, joined: bool) -> tuple[list[list[int]], list[set[int]]]:
    """Return the pass indices of each chain, and which chains each must follow."""
    groups: list[list[int]] = []
    owner: dict[int, int] = {}
    previous: int | None = None
    for k, item in enumerate(cut.passes):
        if any(not 0 <= b < len(cut.passes) for b in item.after):
            raise ArgumentError(f"{cut.name}: pass {k} waits for a pass that does not exist")
        if len(item.path) < 2:
            continue
        follows = joined and previous is not None and previous == k - 1 and previous in item.after
        if follows and _meet(cut.passes[k - 1].path.end, item.path.start):
            groups[-1].append(k)
        else:
            groups.append([k])
        owner[k] = len(groups) - 1
        previous = k
    needs = [{owner[b] for k in g for b in cut.passes[k].after if b in owner} - {n} for n, g in enumerate(groups)]
    return groups, needs


def _meet(a: FloatArray, b: FloatArray) -> bool:
    """Return whether two points are the same within the rounding of geometry."""
    return bool((np.abs(a - b) <= 1.5 * 10.0**-ROUND_DECIMALS).all())


def _toured(batch: list[Chain], at: tuple[float, float] | None) -> list[Chain]:
    """Return the chains of one batch in the order of a short tour, turned round where that helps."""
    if len(batch) == 1 and (at is None or not batch[0].passes[0].reversible):
        return batch
    ends = Ends(
        start=np.round([c.start[:2] for c in batch], ROUND_DECIMALS),
        end=np.round([c.end[:2] for c in batch], ROUND_DECIMALS),
        free=np.array([len(c.passes) == 1 and c.passes[0].reversible for c in batch]),
    )
    order, turned = tour(ends, at=at)
    return [_backwards(batch[k]) if t else batch[k] for k, t in zip(order.tolist(), turned.tolist(), strict=True)]


def _backwards(chain: Chain) -> Chain:
    """Return a chain of one pass run from its end to its start."""
    item = chain.passes[0]
    turned = Pass(
        path=Path.reversed(item.path),
        role=item.role,
        level=item.level,
        closed=item.closed,
        reversible=item.reversible,
        after=item.after,
        feed_factor=item.feed_factor,
    )
    return Chain(passes=(turned,), level=chain.level, turned=True)
