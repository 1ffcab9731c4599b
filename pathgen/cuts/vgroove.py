"""V-grooves: a V bit along the middle of a shape, deep where it is wide, so that both its edges are cut to the drawing.

Steps: find how deep it may go (`groove_depth`); plan the ways once for each different letter (`groove_paths`); lay them
where the letters stand; clear the flat floor where strokes are wider than the limit (`groove_floor`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.groove_depth import Limit, find_limit, flatness_note, flattened_note, ridge_warning
from pathgen.cuts.groove_floor import bit_floor, bit_spacing, mill_floor, ridge_left
from pathgen.cuts.groove_paths import Groove3, Plan, Way, plan_groove
from pathgen.cuts.model import Cut, Cuttings, Pass, cutting_for, described, tool_notes
from pathgen.errors import ArgumentError, DrawingError, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Lettering, Matrix, Shape, region_of
from pathgen.model.bounds import Bounds, Flat, Groove
from pathgen.model.findings import Finding
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill, Tool, VBit
from pathgen.shape.offset import as_multi, grown, opened
from pathgen.shape.tolerance import NOISE

__all__ = ["vgroove"]


def vgroove(
    region: Shape,
    bit: Tool,
    *,
    depth_limit: float | None = None,
    floor_tool: Tool | Sequence[Tool] | None = None,
    begin: float = 0.0,
    face_loss: float = 0.0,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
    reuse: bool = True,
) -> tuple[Cut, ...]:
    """Return the cuts that sink `region` as a V-groove whose edges at the top are the drawn outline.

    The tip follows the medial axis at depth begin + (r - tip / 2) / tan(angle / 2), r being the distance from the
    outline (elementary geometry of the cone). Where that is deeper than the limit, it goes along both walls at the
    limit instead, and the floor between them is cleared: by `floor_tool`, or by the bit, which leaves ridges.

    Args:
        region: what is to be sunk; of lettering equal letters are planned once. mm.
        bit: a V bit.
        depth_limit: deepest, mm below the face. None = thickness - max(20 %, min(3 mm, half the thickness)) of
            the thinnest board. The height of the bit's own cone limits it too.
        floor_tool: an end mill for flat floors; or several, each clearing what the ones before it left.
        begin: depth of an already cut floor in which the groove begins, mm; what is above must be cleared wider than
            the region, since the cone goes on widening.
        face_loss: what will be planed or sanded off the face afterwards, mm: the drawn outline appears then. The groove
            is that much deeper and wider until then; `depth_limit` counts from the face as it is.
        cutting: speeds, or a mapping from tools to speeds. None takes the tools' own.
        stock: the board; needed without depth_limit.
        name: for comments and the sheet; None = "V-groove".
        reuse: plan equal letters once; False plans each by itself.

    Returns:
        One `Cut` of the bit, and after it one of each floor tool that has something to clear.

    Raises:
        DrawingError: if the region is empty, open or not valid.
        ArgumentError: for a tool that is not a V bit (or end mill, for the floor), a tip wider than everything
            drawn, no stock and no limit, a limit beyond the stock, a depth beyond the bit's edges, or no stepover
            where a floor must be cleared.

    >>> from shapely.geometry import box
    >>> bit = VBit(90, diameter=12, cutting=Cutting(16000, 1500, 500))
    >>> cut, = vgroove(box(0, 0, 40, 10), bit, depth_limit=8)
    >>> cut.depth, round(sum(p.path.length for p in cut.passes if p.role == "cut"), 3)     # 30 + 4 x 5 sqrt 3
    (5.0, 64.641)
    """
    title = name or "V-groove"
    if not isinstance(bit, VBit):
        raise ArgumentError(f"{title}: {described(bit)} cuts no V-groove: take a VBit")
    mills = floor_tools(floor_tool, title)
    asked = region_of(region, what=title)
    speeds = cutting_for(bit, cutting)
    if positive("face_loss", face_loss, zero=True) and begin:
        raise ArgumentError(
            f"{title}: face_loss= and begin= cannot both be given: a face is lost only where one is left"
        )
    start, widening = max(begin, face_loss), face_loss > 0
    limit = find_limit(bit, depth_limit=depth_limit, begin=start, stock=stock, title=title, widening=widening)
    groove = Groove3(bit=bit, begin=start, limit=limit.depth, stepdown=speeds.stepdown, widening=widening)
    work = Work(
        region=region, asked=asked, groove=groove, speeds=speeds, limit=limit, stock=stock, title=title,
        units_guessed=bool(getattr(region, "units_guessed", False)),
    )  # fmt: skip
    work.plan(reuse)
    return work.cuts(mills, cutting)


def floor_tools(given: Tool | Sequence[Tool] | None, title: str) -> tuple[EndMill, ...]:
    """Return the floor tools as given, or raise `ArgumentError` for one that cuts no flat floor."""
    tools = () if given is None else tuple(given) if isinstance(given, Sequence) else (given,)
    mills = tuple(t for t in tools if isinstance(t, EndMill))
    for tool in tools:
        if not isinstance(tool, EndMill):
            raise ArgumentError(f"{title}: floor_tool={described(tool)} cuts no flat floor: take an end mill")
    return mills


@dataclass(frozen=True, eq=False)
class _Placed:
    """A plan and where it is laid."""

    plan: Plan
    turn: FloatArray  # (2, 2)
    move: FloatArray  # (2,)
    label: str

    def spot(self, place: tuple[float, float, float]) -> tuple[float, float]:
        x, y = self.turn @ np.array(place[:2]) + self.move
        return float(x), float(y)


@dataclass(eq=False, kw_only=True)
class Work:
    """One call of `vgroove` or `raised` on its way.

    Attributes:
        region: as given.
        asked: its area, mm.
        groove: depths.
        speeds: of the bit.
        limit: the deepest, and why.
        stock: the board, or None.
        title: name of the cut.
        along: only the walls of this area are cut, for raised work; None = all.
        open_edges: the area may run out of the stock.
        stands: the area is the background of raised work: floor tools run before the bit and take the bulk of its work
            away, and notes speak of what stands.
        units_guessed: the drawing did not state its unit.
        placed: the plans, once made.
    """

    region: Shape
    asked: MultiPolygon
    groove: Groove3
    speeds: Cutting
    limit: Limit
    stock: Stock | None
    title: str
    along: MultiPolygon | None = None
    open_edges: bool = False
    stands: bool = False
    units_guessed: bool = False
    placed: list[_Placed] = field(default_factory=list)

    def plan(self, reuse: bool) -> None:
        """Plan every different letter once, or everything in one go."""
        letters = self.region if isinstance(self.region, Lettering) else None
        if letters is not None and reuse and _apart(letters):
            self.placed = _planned_letters(letters, self.groove)
        else:
            plan = plan_groove(self.asked, self.groove, along=self.along)
            self.placed = [_Placed(plan, np.eye(2), np.zeros(2), "")]

    def cuts(self, mills: tuple[EndMill, ...], cutting: Cuttings) -> tuple[Cut, ...]:
        """Return the finished cuts."""
        depth = max(p.plan.depth for p in self.placed)
        missing = _missing_note(self)
        notes = [*tool_notes(self.groove.bit, depth, name=self.title), *missing]
        wall = any(not p.plan.wall.is_empty for p in self.placed)
        passes, last = _passes(self.placed)
        steps = max((p.plan.steps for p in self.placed), key=len)
        whole_wall = grown(self.asked, -self.groove.reach) if wall else MultiPolygon()
        bounds = self._bounds(mills, 0.0)
        milled: tuple[Cut, ...] = ()
        open_floor = whole_wall
        if wall:
            if not self.stands:
                notes.append(self._flattened())
            if mills:
                milled, rest = mill_floor(
                    self.asked, mills, self.groove, cutting=cutting, stock=self.stock, title=f"{self.title} floor"
                )
                open_floor = as_multi(shapely.intersection(whole_wall, grown(rest, self.groove.flat)))
            passes += self._bit_floor(open_floor, whole_wall, bool(milled), steps, passes, last, notes)
            if not milled and any(n.code == "floor-ridge" for n in notes):
                bounds = self._bounds((), ridge_left(self.speeds, self.groove))
        if not self.stands and (self.stock is None or self.stock.heights is None):
            thin = min(self.placed, key=lambda p: p.plan.thinnest[2])
            width, spot = 2 * thin.plan.thinnest[2], thin.spot(thin.plan.thinnest)
            notes.append(flatness_note(self.groove.bit, width, spot, self.title))
        unreached = _unreached(self.asked, self.groove.flat)
        notes += _corner_note(self, unreached)
        first = Cut(
            name=self.title,
            tool=self.groove.bit,
            cutting=self.speeds,
            passes=tuple(passes),
            bounds=bounds,
            depth=depth,
            notes=tuple(notes),
            unreached=unreached,
            stock=self.stock,
            open_edges=self.open_edges,
            units_guessed=self.units_guessed,
        )
        return _in_order(first, milled, mills_first=self.stands)

    def _bounds(self, mills: tuple[EndMill, ...], ridge: float) -> Bounds:
        bit = self.groove.bit
        rule = Groove(
            region=self.asked, angle=bit.angle, tip=bit.tip, limit=self.groove.limit, begin=self.groove.begin,
            ridge=ridge, floor_diameter=min((m.diameter for m in mills), default=None), widening=self.groove.widening,
            open_edges=self.open_edges,
        )  # fmt: skip
        return Bounds((rule,))

    def _flattened(self) -> Finding:
        wide = max(self.placed, key=lambda p: p.plan.widest[2])
        return flattened_note(self.limit, 2 * wide.plan.widest[2], wide.spot(wide.plan.widest), self.title)

    def _bit_floor(
        self,
        floor: MultiPolygon,
        wall: MultiPolygon,
        milled: bool,
        steps: tuple[float, ...],
        passes: list[Pass],
        last: list[frozenset[int]],
        notes: list[Finding],
    ) -> tuple[Pass, ...]:
        """Return the bit's own floor passes where the floor tool does not come, and say what ridge they leave."""
        if floor.is_empty:
            return ()
        spacing = bit_spacing(self.speeds, self.groove, self.title)
        inner = grown(wall, -spacing)
        center = inner if not milled else as_multi(shapely.intersection(inner, floor))
        widest = max(self.placed, key=lambda p: p.plan.widest[2])
        notes.append(
            ridge_warning(
                ridge_left(self.speeds, self.groove), widest.spot(widest.plan.widest), self.limit.depth, self.title
            )
        )
        if center.is_empty:
            return ()
        return bit_floor(
            center, self.groove, steps=steps, cutting=self.speeds, stock=self.stock, first=len(passes), after=last,
            title=self.title,
        )  # fmt: skip


def _in_order(bit: Cut, milled: Sequence[Cut], *, mills_first: bool) -> tuple[Cut, ...]:
    """Return the cuts bound to run one after the other; each is held against its own share of what was asked."""
    done: list[Cut] = []
    for cut in (*milled, bit) if mills_first else (bit, *milled):
        rules = tuple(
            replace(r, open_edges=True) if bit.open_edges and isinstance(r, Flat) else r for r in cut.bounds.rules
        )
        done.append(
            replace(
                cut, bounds=Bounds(rules), after=tuple(done), open_edges=bit.open_edges, units_guessed=bit.units_guessed
            )
        )
    return tuple(done)


def _apart(letters: Lettering) -> bool:
    """Return whether the region is nothing but the letters side by side: overlapping ones must be planned together."""
    areas = {k: o.area for k, o in letters.outlines.items()}
    total = sum(areas[k] * abs(m[0] * m[3] - m[1] * m[2]) for k, m in letters.glyphs)
    return bool(letters.glyphs) and math.isclose(total, letters.region.area, rel_tol=1e-9)


def _planned_letters(letters: Lettering, groove: Groove3) -> list[_Placed]:
    """Return the plan and place of each letter; letters equal up to move and turn share a plan."""
    plans: dict[tuple[object, ...], tuple[Plan, FloatArray, FloatArray]] = {}
    result = []
    words = [w for w in letters.text if not w.isspace()]
    named = len(words) == len(letters.glyphs)
    for n, (key, matrix) in enumerate(letters.glyphs):
        linear = np.array(matrix[:4]).reshape(2, 2)
        same = (key, *np.round(linear.T @ linear, 9).ravel().tolist(), bool(np.linalg.det(linear) > 0))
        move = np.array(matrix[4:])
        if same not in plans:
            plans[same] = (plan_groove(_put(letters.outlines[key], matrix), groove), linear, move)
        plan, first, first_move = plans[same]
        turn = linear @ np.linalg.inv(first)
        label = words[n] if named else key
        result.append(_Placed(plan, turn, move - turn @ first_move, label))
    return result


def _put(outline: MultiPolygon, m: Matrix) -> MultiPolygon:
    a, b, d, e, dx, dy = m
    moved: MultiPolygon = shapely.transform(outline, lambda c: c @ np.array([[a, d], [b, e]]) + np.array([dx, dy]))
    if a * e - b * d < 0:
        return as_multi(shapely.buffer(moved, 0))
    return moved


def _passes(placed: list[_Placed]) -> tuple[list[Pass], list[frozenset[int]]]:
    """Return all passes level by level, and for each level which pass of every way is its last."""
    count = max(len(p.plan.steps) for p in placed)
    result: list[Pass] = []
    last: list[frozenset[int]] = []
    before: list[frozenset[int]] = [frozenset()] * len(placed)
    for level in range(count):
        ends: list[int] = []
        for n, p in enumerate(placed):
            mine: list[int] = []
            # plans with fewer levels end with the last one of all
            own = level - (count - len(p.plan.steps))
            for way in p.plan.ways:
                if way.level == own:
                    _append(result, way, p, level, before[n])
                    mine.append(len(result) - 1)
            before[n] = frozenset(mine) or before[n]
            ends += mine
        last.append(frozenset(ends))
    return result, last


def _append(result: list[Pass], way: Way, p: _Placed, level: int, before: frozenset[int]) -> None:
    """Append the runs of one way, chained."""
    after = before
    for run, role in zip(way.runs, way.roles, strict=True):
        rows = run.copy()
        rows[:, :2] = run[:, :2] @ p.turn.T + p.move
        result.append(Pass(path=Path(rows), role=role, level=level, after=after))
        after = frozenset((len(result) - 1,))


def _missing_note(work: Work) -> list[Finding]:
    """Return the warning on letters that the tip cannot enter at all.

    Raises:
        ArgumentError: if it can enter none.
    """
    gone = [(p, m) for p in work.placed for m in p.plan.missing.tolist()]
    if not any(p.plan.ways for p in work.placed):
        names = ", ".join(f"'{k}'" for k in Counter(p.label for p, _ in gone if p.label)) or "everything drawn"
        widest = max((m[2] for _, m in gone), default=0.0)
        if not gone:
            raise DrawingError(f"{work.title}: the region has no inside wide enough to cut: draw it larger")
        raise ArgumentError(
            f"{work.title}: the flat tip of {work.groove.bit.describe()} is {work.groove.bit.tip:g} mm wide, "
            f"wider than "
            f"{names} (at most {2 * widest:.3f} mm): take a sharper bit, or larger letters"
        )
    if not gone:
        return []
    names = ", ".join(f"'{k}'" for k in Counter(p.label for p, _ in gone if p.label))
    x, y = gone[0][0].spot((gone[0][1][0], gone[0][1][1], 0.0))
    return [
        Finding(
            code="unreached",
            severity="warning",
            text=(
                f"{len(gone)} pieces {f'of {names} ' if names else ''}are narrower than the bit's flat tip and "
                f"stay uncut."
            ),
            advice="Take a bit with a smaller tip, or larger letters.",
            where=(x, y, 0.0),
            amount=2 * gone[0][1][2],
            cut=work.title,
        )
    ]


def _corner_note(work: Work, unreached: MultiPolygon) -> list[Finding]:
    """Return the note on corners and hairlines that the tip's flat leaves standing at the face, letter by letter."""
    if unreached.is_empty:
        return []
    parts = np.array(unreached.geoms, dtype=object)
    area = shapely.area(parts)
    names = [p.label for p in work.placed]
    said = ""
    if all(names) and isinstance(work.region, Lettering):
        put = [_put(work.region.outlines[key], matrix) for key, matrix in work.region.glyphs]
        which, letter = shapely.STRtree(put).query_nearest(shapely.point_on_surface(parts), all_matches=False)
        total: dict[str, float] = {}
        for k, n in zip(which.tolist(), letter.tolist(), strict=True):
            total[names[n]] = total.get(names[n], 0.0) + float(area[k])
        said = ": " + ", ".join(f"'{k}' {v:.3f}" for k, v in sorted(total.items(), key=lambda i: -i[1]))
    spot = shapely.point_on_surface(parts[int(np.argmax(np.round(area, 6)))])
    return [
        Finding(
            code="unreached",
            severity="note",
            text=(
                f"The flat tip of {work.groove.bit.describe()}, {work.groove.bit.tip:g} mm, leaves "
                f"{unreached.area:.3f} mm2 "
                f"of corners and hairlines standing at the face{said}."
            ),
            advice="Take a sharper bit where that shows.",
            where=(float(spot.x), float(spot.y), 0.0),
            amount=float(unreached.area),
            cut=work.title,
        )
    ]


def _unreached(region: MultiPolygon, flat: float) -> MultiPolygon:
    """Return what the tip's flat cannot enter."""
    if flat <= NOISE:
        return MultiPolygon()
    return as_multi(shapely.difference(region, opened(region, flat)))
