"""How far a trailing blade's tip is from the lines asked for, and what it leaves uncut.

Both ways are looked at: places of the tip against the lines, and places of the lines against what the tip cut at full
depth, so that neither a strayed tip nor a cut-off corner can hide.

Terminology
-----------
run
    Legs of a knife between coming down and lifting clear.
progress
    How far along a closed line the tip has come, more than once round where it is cut past its start.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from shapely import STRtree

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.bounds import Line
from pathgen.model.findings import Finding
from pathgen.model.tool import Tool
from pathgen.proof.blade import Legs, Trace, asked_knives, traces, wrapped
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked
from pathgen.proof.report import BladeResult
from pathgen.proof.setting import NOISE, STEP, Setting
from pathgen.proof.through import undersides

OFF: Final = 0.02
"""Largest distance of the tip from the line, mm."""

OFF_SWIVEL: Final = 0.05
"""The same where the blade swivels about its tip, mm: that is done in shallow card, at corners."""

UNSURE: Final = 1.0
"""Most that the blade's direction may be unknown by when the first line begins, degrees."""

SHORT: Final = 0.02
"""How much of an overcut may be missing, mm: the tip's place along the line is known no better where lines are arcs."""

PROBE: Final = 0.25
"""Distance of the places of a line that are looked for in the cut, mm; all its vertices besides."""

CORNER: Final = math.radians(5.0)
"""Swivels by less are joints of a curve, not corners."""

BACK: Final = 0.02
"""How far before a corner the line's direction is taken, mm: at the corner itself it has two."""

MOST: Final = 3
"""Places told of one kind in one cut."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Lines:
    """The lines of one cut as straight edges; m edges of n lines.

    Attributes:
        a, b: (m, 2) mm.
        line: (m,) which line each belongs to.
        along: (m,) how far along its line each begins, mm.
        depth, overcut: (n,) mm.
        length: (n,) mm.
        closed: (n,) it encloses something; there and back is no outline.
        waste: where the blade is turned into its first direction.
        tree: of the edges.
    """

    a: FloatArray
    b: FloatArray
    line: IntArray
    along: FloatArray
    depth: FloatArray
    overcut: FloatArray
    length: FloatArray
    closed: BoolArray
    waste: Any
    tree: STRtree

    def nearest(self, xy: FloatArray) -> tuple[FloatArray, IntArray]:
        """Return distance and edge nearest to each place."""
        if not len(xy):
            return np.empty(0), np.empty(0, dtype=np.int64)
        found, far = self.tree.query_nearest(shapely.points(xy), return_distance=True, all_matches=False)
        return far, found[1].astype(np.int64)


def _lines(rules: Sequence[Line]) -> _Lines:
    parts = [(g, r) for r in rules for g in r.lines.geoms if g.length > 0]
    xy = [shapely.get_coordinates(g) for g, _ in parts]
    a, b = np.concatenate([p[:-1] for p in xy]), np.concatenate([p[1:] for p in xy])
    line = np.repeat(np.arange(len(xy)), [len(p) - 1 for p in xy])
    size = np.hypot(*(b - a).T)
    total = np.cumsum(size) - size
    first = np.searchsorted(line, np.arange(len(xy)))
    return _Lines(
        a=a,
        b=b,
        line=line,
        along=total - total[first][line],
        depth=np.array([r.depth for _, r in parts]),
        overcut=np.array([r.overcut for _, r in parts]),
        length=np.array([g.length for g, _ in parts]),
        closed=np.array([g.is_closed and len(g.coords) > 3 and shapely.Polygon(g).area > NOISE for g, _ in parts]),
        waste=shapely.union_all([r.waste for r in rules]),
        tree=STRtree(shapely.linestrings(np.stack([a, b], axis=1))),
    )


def is_followed(knife: Tool, asked: Sequence[Asked] | None) -> bool:
    """Return whether lines are known that the tip of this knife is held against in all its cuts."""
    own = [b for _, tool, b in asked or () if tool == knife]
    return bool(own) and all(any(isinstance(r, Line) for r in b.rules) for b in own)


def blade_findings(s: Setting, asked: Sequence[Asked]) -> tuple[tuple[BladeResult, ...], list[Finding], Any]:
    """Return what the blade did in each cut with a trailing knife, what is wrong with it, and the outlines it cut.

    The outlines are those that were cut to their full depth all round, lines as asked: of what is parted, else of all.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut.
    """
    knives = [k for k in asked_knives(asked) if any(isinstance(r, Line) for r in asked[k][2].rules)]
    if not knives:
        return (), [], shapely.MultiLineString()
    legs, both, apart = traces(s)
    cut = s.track.cut[legs.move]
    named = bool((cut >= 0).any())
    results, findings = [], []
    rings: list[tuple[bool, Any]] = []
    for group in [[k] for k in knives] if named else [knives]:
        own = np.isin(cut, group) if named else np.ones(len(legs), dtype=np.bool_)
        rules = [r for k in group for r in asked[k][2].rules if isinstance(r, Line)]
        name = asked[group[0]][0] if len(group) == 1 else None
        one = _Measured(s, legs, own, [_part(t, own) for t in both], apart, _lines(rules), name)
        results.append(one.result)
        findings += [*one.findings(), *_not_through(s, rules, name)]
        rings += one.rings(rules)
    parted = [g for through, g in rings if through] or [g for _, g in rings]
    return tuple(results), [*findings, *_in_parts(asked, knives)], shapely.MultiLineString(parted)


def _part(trace: Trace, own: BoolArray) -> Trace:
    keep = own[trace.leg]
    return Trace(**{f.name: getattr(trace, f.name)[keep] for f in dataclasses.fields(trace)})


def _not_through(s: Setting, rules: Sequence[Line], name: str | None) -> Iterator[Finding]:
    deep = [r.depth for r in rules if r.through]
    gap = -min(deep, default=math.inf) - undersides(s)[1]
    if gap > STEP:
        yield finding(
            "not-through",
            f"The blade stays {gap:.2f} mm above the underside where the card is {s.stock.thickest:g} mm thick.",
            amount=gap,
            cut=name,
        )


def _in_parts(asked: Sequence[Asked], knives: Sequence[int]) -> Iterator[Finding]:
    """Yield first strokes that run over a line, or over a part: inside an odd number of the job's outlines."""
    rules = [(k, r) for k in knives for r in asked[k][2].rules if isinstance(r, Line)]
    lines = shapely.union_all([r.lines for _, r in rules])
    closed = [shapely.Polygon(g) for _, r in rules for g in r.lines.geoms if g.is_closed and len(g.coords) > 3]
    for k, rule in rules:
        if rule.waste.is_empty:
            continue
        spot = rule.waste.representative_point()
        inside = int(shapely.contains_xy(np.array(closed), spot.x, spot.y).sum()) if closed else 0
        over = rule.waste.intersects(lines)
        if over or inside % 2:
            what = "a line" if over else "a part"
            text = f"The stroke that first pulls the blade straight runs over {what}."
            yield finding("knife-over-part", text, where=(spot.x, spot.y, 0.0), cut=asked[k][0])


class _Measured:
    """The blade in one cut."""

    def __init__(
        self,
        s: Setting,
        legs: Legs,
        own: BoolArray,
        both: Sequence[Trace],
        apart: FloatArray,
        lines: _Lines,
        name: str | None,
    ) -> None:
        self.s, self.legs, self.lines, self.name = s, legs, lines, name
        tip = np.concatenate([t.tip for t in both])
        self.leg = np.concatenate([t.leg for t in both])
        swivel = np.concatenate([t.swivel for t in both])
        working = ~self._in_waste(tip[:, :2])
        self.tip, self.leg, swivel = tip[working], self.leg[working], swivel[working]
        self.far, edge = lines.nearest(self.tip[:, :2])
        self.apart = np.degrees(0.5 * apart[self.leg])
        self.groups = {"off": ~swivel, "off_swivel": swivel}
        main = working[: len(both[0])]
        self.trace = Trace(**{f.name: getattr(both[0], f.name)[main] for f in dataclasses.fields(Trace)})
        self.edge = edge[: len(self.trace)]
        self.deep = self.trace.tip[:, 2] <= -lines.depth[lines.line[self.edge]] + STEP
        self.run = _runs(legs, own)[self.trace.leg]
        self.left, self.left_at, self.left_line = self._left()
        self.overcuts = self._overcuts()
        self.result = BladeResult(
            name=name or "all cuts with a knife",
            **{k: float(self.far[rows].max(initial=0.0)) for k, rows in self.groups.items()},
            where=self._place(self.groups["off"]),
            where_swivel=self._place(self.groups["off_swivel"]),
            left=float(self.left.max(initial=0.0)),
            unsure=float(self.apart.max(initial=0.0)),
            corners=self._corners(),
            overcuts=tuple((float(p[0]), float(p[1]), float(v)) for p, v, _ in self.overcuts),
        )

    def _in_waste(self, xy: FloatArray) -> BoolArray:
        if self.lines.waste.is_empty:
            return np.zeros(len(xy), dtype=np.bool_)
        shapely.prepare(self.lines.waste)
        inside: BoolArray = shapely.contains_xy(self.lines.waste, xy)
        return inside

    def _place(self, rows: BoolArray) -> tuple[float, float, float] | None:
        if not rows.any():
            return None
        x, y, z = self.tip[np.flatnonzero(rows)[np.argmax(self.far[rows])]].tolist()
        return (x, y, z)

    def _left(self) -> tuple[FloatArray, FloatArray, IntArray]:
        """Return how far places of the lines are from what the tip cut at full depth, mm; those places; their lines."""
        lines = self.lines
        n = np.maximum(np.ceil(np.hypot(*(lines.b - lines.a).T) / PROBE), 1).astype(np.int64)
        owner = np.repeat(np.arange(len(n)), n)
        k = np.arange(len(owner)) - np.repeat(np.cumsum(n) - n, n)
        at = lines.a[owner] + (k / n[owner])[:, None] * (lines.b - lines.a)[owner]
        last = np.append(np.flatnonzero(np.diff(lines.line)), len(lines.line) - 1)
        at = np.concatenate([at, lines.b[last]])
        line = np.concatenate([lines.line[owner], lines.line[last]])
        t = self.trace
        cut = self.deep[:-1] & self.deep[1:] & (self.run[:-1] == self.run[1:]) & (np.diff(t.leg) <= 3)
        if not cut.any():
            return np.full(len(at), math.inf), at, line
        ways = shapely.linestrings(np.stack([t.tip[:-1][cut, :2], t.tip[1:][cut, :2]], axis=1))
        _, far = STRtree(ways).query_nearest(shapely.points(at), return_distance=True, all_matches=False)
        return far, at, line

    def _overcuts(self) -> list[tuple[FloatArray, float, float]]:
        """Return (place, mm past the start, mm asked) of each closed line: the furthest that any run took it."""
        lines, t = self.lines, self.trace
        along = _projected(lines, self.edge, t.tip[:, :2])
        line = lines.line[self.edge]
        best = np.full(len(lines.length), -math.inf)
        rows = np.flatnonzero(self.deep & lines.closed[line])
        key = self.run[rows] * len(lines.length) + line[rows]
        order = np.lexsort((rows, key))
        rows, key = rows[order], key[order]
        if len(rows) > 1:
            same = key[1:] == key[:-1]
            size = lines.length[line[rows[1:]]]
            step = np.diff(along[rows])
            step -= size * np.round(step / size)
            starts = np.flatnonzero(np.concatenate([[True], ~same]))
            progress = np.abs(np.add.reduceat(np.concatenate([[0.0], np.where(same, step, 0.0)]), starts))
            which = line[rows[starts]]
            np.maximum.at(best, which, progress - lines.length[which])
        first = np.searchsorted(lines.line, np.arange(len(best)))
        return [
            (lines.a[first[k]], float(best[k]), float(lines.overcut[k]))
            for k in np.flatnonzero(lines.closed & np.isfinite(best)).tolist()
        ]

    def _corners(self) -> tuple[tuple[float, float, float], ...]:
        """Return (x, y, degrees) where each swivel begins: how far the blade points off the line there."""
        t, legs = self.trace, self.legs
        if len(t) < 2:
            return ()
        first = np.flatnonzero(np.diff(t.leg) > 0) + 1  # the first place of each leg but the first
        last = np.append(first[1:] - 1, len(t) - 1)
        turns = t.swivel[first] & t.swivel[last] & (np.abs(wrapped(t.heading[last] - t.heading[first])) > CORNER)
        before = self._cutting_before(first)
        turns &= (before >= 0) & (legs.length[t.leg[first]] > 0)
        rows = first[turns]
        back = t.tip[rows, :2] - BACK * np.column_stack([np.cos(t.heading[rows]), np.sin(t.heading[rows])])
        if not len(rows):
            return ()
        _, edge = self.lines.nearest(back)
        way = (self.lines.b - self.lines.a)[edge]
        off = np.degrees(np.abs(wrapped(t.heading[rows] - np.arctan2(way[:, 1], way[:, 0]))))
        off = np.minimum(off, 180.0 - off)
        return tuple((float(x), float(y), float(o)) for (x, y), o in zip(t.tip[rows, :2], off, strict=True))

    def _cutting_before(self, first: IntArray) -> IntArray:
        """Return the last place at which the tip went on along a line, in the same run, before each place; else -1."""
        t = self.trace
        goes = np.flatnonzero(~t.swivel & (self.legs.length[t.leg] > 0))
        if not len(goes):
            return np.full(len(first), -1)
        at = np.searchsorted(goes, first) - 1
        found = np.where(at >= 0, goes[np.maximum(at, 0)], -1)
        return np.where((found >= 0) & (self.run[found] == self.run[first]), found, -1)

    def rings(self, rules: Sequence[Line]) -> Iterator[tuple[bool, Any]]:
        """Yield (it parts the card, line) of each closed line that was cut to its full depth all round."""
        parts = [(r.through, g) for r in rules for g in r.lines.geoms if g.length > 0]
        worst = np.zeros(len(parts))
        np.maximum.at(worst, self.left_line, self.left)
        yield from (parts[k] for k in np.flatnonzero(self.lines.closed & (worst <= OFF)).tolist())

    def findings(self) -> Iterator[Finding]:
        """Yield what is wrong."""
        lines = self.lines
        for kind, limit, words in (("off", OFF, ""), ("off_swivel", OFF_SWIVEL, " in a swivel")):
            rows = np.flatnonzero(self.groups[kind] & (self.far > limit))
            for k in _apart(self.tip[rows], self.far[rows]):
                yield self._finding(
                    "blade-off-line", f"The tip is {self.far[rows[k]]:.3f} mm off its line{words}.",
                    float(self.far[rows[k]]), self.tip[rows[k]], int(self.leg[rows[k]]),
                )  # fmt: skip
        unsure = np.flatnonzero(self.apart > UNSURE)
        if len(unsure):
            k = int(unsure[0])
            yield self._finding(
                "blade-not-aligned",
                f"When its first line begins, the blade may point {min(self.apart[k], 180.0):.0f} degrees off.",
                float(self.apart[k]), self.tip[k], int(self.leg[k]),
            )  # fmt: skip
        rows = np.flatnonzero(self.left > OFF)
        for k in _apart(self.left_at[rows], np.minimum(self.left[rows], 1e6)):
            amount, (x, y) = float(self.left[rows[k]]), self.left_at[rows[k]].tolist()
            near = f"{amount:.3f} mm from here" if math.isfinite(amount) else "nowhere"
            where = (x, y, -float(lines.depth.max()))
            text = f"A line is not cut to its full depth; the nearest such cut is {near}."
            yield finding("line-left", text, amount=min(amount, 1e6), where=where, cut=self.name)
        short = sorted((v - want, v, p[0], p[1]) for p, v, want in self.overcuts if v < want - SHORT)
        for gap, value, x, y in short[:1]:
            words = f"{value:.2f} mm past its start" if value >= 0 else f"{-value:.2f} mm short of its start"
            more = f" ({len(short)} outlines)" if len(short) > 1 else ""
            yield finding(
                "overcut-short", f"An outline is cut to {words}, {-gap:.2f} mm less than asked{more}.", amount=-gap,
                where=(float(x), float(y), -float(lines.depth.max())), cut=self.name,
            )  # fmt: skip

    def _finding(self, code: str, text: str, amount: float, tip: FloatArray, leg: int) -> Finding:
        place = self.s.place(int(self.legs.move[leg]))
        x, y, z = tip.tolist()
        return finding(
            code, text, amount=amount, where=(x, y, z), cut=self.name, line=place["line"], program=place["program"]
        )


def _runs(legs: Legs, own: BoolArray) -> IntArray:
    """Return the number of the run of each leg: a new one begins wherever the blade has left the card."""
    away = ~(legs.grips & own)
    begins = np.concatenate([[True], away[:-1]]) if len(legs) else np.empty(0, dtype=bool)
    runs: IntArray = np.cumsum(begins).astype(np.int64)
    return runs


def _projected(lines: _Lines, edge: IntArray, xy: FloatArray) -> FloatArray:
    """Return how far along its line each place's foot lies, mm."""
    a, way = lines.a[edge], (lines.b - lines.a)[edge]
    size = np.einsum("ij,ij->i", way, way)
    share = np.clip(np.einsum("ij,ij->i", xy - a, way) / np.maximum(size, 1e-300), 0.0, 1.0)
    along: FloatArray = lines.along[edge] + share * np.sqrt(size)
    return along


def _apart(places: FloatArray, amount: FloatArray, *, apart: float = 10.0) -> list[int]:
    """Return the worst places, `MOST` at most and none within `apart` mm of another."""
    kept: list[int] = []
    for k in np.argsort(-amount, kind="stable")[:2000].tolist():
        if all(math.dist(places[k, :2], places[j, :2]) > apart for j in kept):
            kept.append(k)
            if len(kept) == MOST:
                break
    return kept
