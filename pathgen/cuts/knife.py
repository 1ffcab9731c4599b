"""Cutting card and film with a knife whose blade trails behind its pivot.

Steps: make lines and arcs of the tip's way (`knife_paths`); find the order, what lies inside another outline first;
pull the blade straight beside the parts (`knife_align`); then lay line after line, each begun with the blade as the
one before left it, so that nothing about its direction is left to chance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.knife_align import Stroke, align
from pathgen.cuts.knife_paths import TipPath, pivot_rows, tight_places, tip_path
from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, levels, tool_notes
from pathgen.errors import ArgumentError, DrawingError, number, positive
from pathgen.model.artwork import Lettering, Shape, lines_of, region_of
from pathgen.model.bounds import Bounds, Line
from pathgen.model.findings import Finding, Severity
from pathgen.model.path import Pass, Path
from pathgen.model.stock import Depth, Stock, Through
from pathgen.model.tool import Cutting, TrailingKnife
from pathgen.shape.tolerance import NOISE

__all__ = ["knife"]

INTO_BACKING = 0.15
"""How far a blade goes into the sheet under the thickest card, mm: 0.1 to 0.2 is common practice, no source."""

BACKING = (0.1, 0.2)
"""Less leaves threads where the card is thick, more drags the blade in the backing; mm, common practice, no source."""

SHALLOWEST = 0.05
"""Least depth of a swivel, mm: a blade that is lifted, or barely touches, does not turn."""

TEARS = 0.5
"""Thickest card in which a blade may turn on the spot at full depth, mm: common practice, no source."""

LISTED = 8
"""Places that a note lists."""


@dataclass(eq=False)
class _Outline:
    """One line to be cut.

    Attributes:
        tip: the way of the tip.
        polygon: what it encloses; None for an open line.
        start: how far along it a closed one begins, mm.
        name: for notes.
        inside: outlines that must be cut before it.
    """

    tip: TipPath
    polygon: Polygon | None
    start: float
    name: str
    inside: list[_Outline] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """What holds for all lines of one cut; mm and radians."""

    blade: TrailingKnife
    cutting: Cutting
    depth: float
    through: bool
    corner: float
    swivel: float
    overcut: float
    stock: Stock | None
    name: str

    @property
    def blade_length(self) -> float:
        """How much blade there is in the card along its way."""
        return self.depth / math.tan(math.radians(self.blade.edge_angle))


def knife(
    shape: Shape | LineString | MultiLineString,
    blade: TrailingKnife,
    *,
    depth: Depth,
    corner_angle: float = 20.0,
    swivel_depth: float = 0.2,
    overcut: float | None = None,
    waste: Shape | None = None,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Cut along the outlines of `shape`, or along its lines, with a trailing knife. It never spins.

    The pivot leads the tip by the trail: on a curve of radius r it runs on sqrt(r^2 + trail^2), so that the tip stays
    on the line within 0.005 mm. At a corner the blade is lifted to `swivel_depth` and swivels about its tip. First of
    all it is pulled straight for at least 7.2 trails in waste of the card, or beside it on the backing; from then on
    each line begins with the blade as the last one left it. What lies inside an outline is cut before it, closed
    outlines past their start. With a `stepdown` a line is cut in levels before the next begins.

    Args:
        shape: region, lettering, layer or lines; mm, stock coordinates.
        blade: the knife.
        depth: of the tip, mm; more than the card's thickness goes into the sheet under it. `THROUGH` = the thickest
            card and 0.15 mm.
        corner_angle: turns by more degrees are corners; at smaller ones the blade swivels at full depth.
        swivel_depth: of the tip at corners, mm, at least 0.05; `depth` or more = swivel at full depth.
        overcut: how far closed outlines are cut past their start, mm; None = trail + depth / tan(edge angle), the least
            that frees a part.
        waste: where the blade may first be pulled straight, mm; None = around the shape, else in its gaps and holes,
            else beside the card. Needed where other parts of the job lie there.
        cutting: speeds, with rpm 0; None = the blade's own. Its `stepdown` makes levels.
        stock: the card; needed for THROUGH.
        name: of the cut; None = "knife".

    Returns:
        One `Cut`.

    Raises:
        ArgumentError: for another tool, a depth the blade cannot reach, too small an overcut or swivel depth, speeds
            that spin, a `waste` without room.
        DrawingError: for a shape without lines.

    >>> blade = TrailingKnife(trail=0.25, edge_angle=45, cutting=Cutting(0, 1200, 300))
    >>> cut, = knife(shapely.box(20, 20, 80, 60), blade, depth=0.5)
    >>> cut.name, len(cut.passes), round(cut.bounds.rules[0].overcut, 6)
    ('knife', 2, 0.75)
    """
    plan = _planned(blade, depth, corner_angle, swivel_depth, overcut, cutting, stock, name)
    notes = [*tool_notes(blade, plan.depth, name=plan.name), *_depth_notes(plan)]
    outlines = _outlines(shape, plan)
    whole = _parts(shape, outlines)
    first = _in_order(outlines, None)[0]
    stroke = align(
        whole,
        stock,
        trail=blade.trail,
        to=first.tip.at(first.start)[0],
        waste=None if waste is None else region_of(waste, what="waste"),
    )
    passes = _passes(plan, outlines, stroke)
    notes += [_stroke_note(plan, stroke), *_detail_notes(plan, shape, outlines)]
    line = Line(
        lines=lines_of(shape),
        depth=plan.depth,
        overcut=plan.overcut,
        through=plan.through,
        waste=stroke.area,
    )
    return (
        Cut(
            name=plan.name,
            tool=blade,
            cutting=plan.cutting,
            passes=tuple(passes),
            bounds=Bounds((line,)),
            depth=plan.depth,
            notes=tuple(notes),
            stock=stock,
            through=plan.through,
            units_guessed=bool(getattr(shape, "units_guessed", False)),
        ),
    )


def _planned(
    blade: TrailingKnife,
    depth: Depth,
    corner_angle: float,
    swivel_depth: float,
    overcut: float | None,
    cutting: Cuttings,
    stock: Stock | None,
    name: str | None,
) -> _Plan:
    """Check the arguments against each other and settle what follows from them."""
    if not isinstance(blade, TrailingKnife):
        raise ArgumentError(f"knife() needs a TrailingKnife, not {blade!r}: say its trail and edge angle")
    check_stock(stock)
    if not 1.0 <= number("corner_angle", corner_angle, unit="degrees") < 180.0:
        raise ArgumentError(f"corner_angle={corner_angle:g} must lie from 1 to 180 degrees: 20 suits most blades")
    if positive("swivel_depth", swivel_depth) < SHALLOWEST:
        raise ArgumentError(
            f"swivel_depth={swivel_depth:g} is less than {SHALLOWEST:g} mm, and a lifted blade does not turn: give 0.2"
        )
    if isinstance(depth, Through):
        if stock is None:
            raise ArgumentError("depth=THROUGH needs stock=: the cut must know the card it goes through")
        deep, through = stock.thickest + INTO_BACKING, True
    else:
        deep = positive("depth", depth)
        through = stock is not None and deep >= stock.thinnest
    if blade.max_depth is not None and deep > blade.max_depth + NOISE:
        raise ArgumentError(
            f"{deep:g} mm deep, but {blade.describe()} cuts {blade.max_depth:g} mm: take a longer blade or thinner card"
        )
    needed = blade.trail + deep / math.tan(math.radians(blade.edge_angle))
    over = needed if overcut is None else positive("overcut", overcut, zero=True)
    if through and over < needed - NOISE:
        raise ArgumentError(
            f"overcut={over:g} leaves the ends of outlines hanging together: give at least trail + depth / tan(edge "
            f"angle) = {needed:.2f} mm, or None"
        )
    return _Plan(
        blade=blade,
        cutting=cutting_for(blade, cutting),
        depth=deep,
        through=through,
        corner=math.radians(corner_angle),
        swivel=min(swivel_depth, deep),
        overcut=over,
        stock=stock,
        name=name or "knife",
    )


def _note(plan: _Plan, code: str, text: str, advice: str, severity: Severity = "note", **more: float) -> Finding:
    return Finding(code=code, severity=severity, text=text, advice=advice, cut=plan.name, amount=more.get("amount"))


def _depth_notes(plan: _Plan) -> Iterator[Finding]:
    """Yield what is to be said about depth and swivels."""
    if plan.through and plan.stock is not None:
        into = plan.depth - plan.stock.thickest
        if not BACKING[0] - NOISE <= into <= BACKING[1] + NOISE:
            yield _note(
                plan,
                "knife-backing",
                f"The blade goes {into:.2f} mm into the sheet under the thickest card; 0.1 to 0.2 is usual.",
                "Give depth=THROUGH, which takes 0.15 mm.",
                "warning",
                amount=into,
            )
    card = plan.depth if plan.stock is None or not plan.through else plan.stock.thickness
    if plan.swivel >= plan.depth - NOISE and card > TEARS:
        yield _note(
            plan,
            "knife-tears",
            f"At corners the blade turns at full depth in {card:g} mm card, and tears it.",
            "Leave swivel_depth at 0.2 mm.",
            "warning",
            amount=card,
        )


def _stroke_note(plan: _Plan, stroke: Stroke) -> Finding:
    (x0, y0), (x1, y1) = stroke.start, stroke.end
    where = "in waste of the card" if stroke.in_card else "beside the card, on the backing"
    if plan.stock is None:
        where = "beside the parts"
    return _note(
        plan,
        "knife-aligns",
        f"The blade is first pulled straight from ({x0:.1f}, {y0:.1f}) to ({x1:.1f}, {y1:.1f}), {where}.",
        "Keep this place free of clamps and of other parts.",
    )


# -- lines and their order ---------------------------------------------------------------------------------------


def _outlines(shape: Shape | LineString | MultiLineString, plan: _Plan) -> list[_Outline]:
    """Return all lines of a shape, each with what must be cut before it."""
    found: list[_Outline] = []
    known: dict[bytes, np.ndarray] = {}
    for n, line in enumerate(lines_of(shape).geoms, 1):
        xy = shapely.get_coordinates(line)
        if not (np.abs(xy) < 1e6).all():
            raise DrawingError("a line holds coordinates that are not numbers, or lie beyond 1 km")
        keep = np.append(True, (np.abs(np.diff(xy, axis=0)) > NOISE).any(axis=1))
        xy = xy[keep]
        closed = len(xy) > 3 and bool((np.abs(xy[0] - xy[-1]) <= NOISE).all())
        if len(xy) < 2:
            continue
        tip = tip_path(xy[:-1] if closed else xy, closed=closed, known=known)
        start = _start(tip, plan.overcut) if closed else 0.0
        found.append(_Outline(tip, Polygon(xy) if closed else None, start, f"line {n}"))
    if not found:
        raise DrawingError("lines: every line is shorter than 0.000001 mm: there is nothing to cut along")
    _nest([o for o in found if o.polygon is not None])
    return found


def _start(tip: TipPath, overcut: float) -> float:
    """Return where a closed outline is best begun: on its longest move, so that the overcut ends on it too."""
    lengths = np.round(tip.lengths, 6)
    k = int(np.argmax(lengths))
    before = float(tip.lengths[:k].sum())
    return before + 0.5 * max(float(lengths[k]) - overcut, 0.0)


def _nest(closed: Sequence[_Outline]) -> None:
    """Note in each closed outline which others lie directly inside it."""
    areas = np.array([o.polygon.area for o in closed if o.polygon is not None])
    polygons = np.array([o.polygon for o in closed], dtype=object)
    inner = shapely.point_on_surface(shapely.convex_hull(polygons))
    spots = np.array([p.representative_point() if p.is_valid else q for p, q in zip(polygons, inner, strict=True)])
    boxes = shapely.bounds(polygons) if len(polygons) else np.empty((0, 4))
    for k, outline in enumerate(closed):
        x, y = spots[k].x, spots[k].y
        near = np.flatnonzero(
            (areas > areas[k]) & (boxes[:, 0] <= x) & (boxes[:, 2] >= x) & (boxes[:, 1] <= y) & (boxes[:, 3] >= y)
        )
        around = [j for j in near[np.argsort(areas[near], kind="stable")] if shapely.contains_xy(polygons[j], x, y)]
        if around:
            closed[around[0]].inside.append(outline)


def _in_order(outlines: Sequence[_Outline], at: np.ndarray | None) -> list[_Outline]:
    """Return outlines in cutting order: open lines first, then each outline after what lies in it, the nearest next."""
    inner = {id(i) for o in outlines for i in o.inside}
    result: list[_Outline] = []
    for group in (
        [o for o in outlines if o.polygon is None],
        [o for o in outlines if o.polygon is not None and id(o) not in inner],
    ):
        for outline in _nearest(group, at):
            result += _in_order(outline.inside, at)
            result.append(outline)
            at = result[-1].tip.rows[-1, :2]
    return result


def _nearest(group: list[_Outline], at: np.ndarray | None) -> Iterator[_Outline]:
    """Yield outlines, each time the one that begins nearest to where the last one ended; open ones either way round."""
    left = list(range(len(group)))
    starts = np.array([o.tip.at(o.start)[0] for o in group]).reshape(-1, 2)
    ends = np.array([o.tip.rows[-1, :2] for o in group]).reshape(-1, 2)
    here = np.zeros(2) if at is None else at
    while left:
        far = np.round(np.hypot(*(starts[left] - here).T), 6)
        back = np.round(np.hypot(*(ends[left] - here).T), 6)
        free = np.array([group[k].polygon is None for k in left])
        best = np.where(free, np.minimum(far, back), far)
        n = int(np.argmin(best))
        k = left.pop(n)
        outline = group[k]
        if free[n] and back[n] < far[n]:
            outline.tip = outline.tip.reversed()
        here = outline.tip.at(outline.start)[0] if outline.polygon is not None else outline.tip.rows[-1, :2]
        yield outline


def _parts(shape: Shape | LineString | MultiLineString, outlines: Sequence[_Outline]) -> BaseGeometry:
    """Return what the first stroke must keep away from: areas, and lines that are open."""
    lines = MultiLineString([g for g in lines_of(shape).geoms if g.length > 0])
    if isinstance(shape, LineString | MultiLineString):
        areas = [o.polygon.buffer(0) for o in outlines if o.polygon is not None]
        return shapely.union_all([lines, *areas])
    region = shape if isinstance(shape, Polygon | MultiPolygon) else shape.region
    return lines if region.is_empty else shapely.union(lines, region_of(shape))


# -- passes ------------------------------------------------------------------------------------------------------


def _passes(plan: _Plan, outlines: Sequence[_Outline], stroke: Stroke) -> list[Pass]:
    """Return the first stroke and every line, each bound to follow the one before."""
    heights = levels(-plan.depth, plan.cutting.stepdown)
    z = -plan.swivel if stroke.in_card else -plan.depth
    passes = [Pass(path=Path.lines([[*stroke.start, z], [*stroke.end, z]]), role="entry")]
    heading = stroke.heading
    for outline in _in_order(outlines, np.array(stroke.end)):
        more = plan.overcut if outline.tip.closed else 0.0
        tip, start = _way_round(outline, more, heading)
        above: float | None = None
        for level, z in enumerate(heights):
            piece = tip.between(start, start + tip.length + more)
            rows, heading = pivot_rows(
                piece,
                trail=plan.blade.trail,
                z=z,
                swivel_z=max(-plan.swivel, z),
                corner=plan.corner,
                heading=heading,
                above=above,
            )
            passes.append(Pass(path=Path(rows), level=level, after=frozenset({len(passes) - 1})))
            if tip.closed:
                start, above = (start + more) % tip.length, z
    return passes


def _way_round(outline: _Outline, overcut: float, heading: float) -> tuple[TipPath, float]:
    """Return a line and where it begins; a closed one is run in the direction that the blade must swivel less for."""
    tip, start = outline.tip, outline.start
    if not tip.closed:
        return tip, start
    back = tip.reversed()
    other = (tip.length - start - overcut) % tip.length
    turns = [abs(math.remainder(t.at(s)[1] - heading, 2.0 * math.pi)) for t, s in ((tip, start), (back, other))]
    return (tip, start) if round(turns[0], 6) <= round(turns[1], 6) else (back, other)


# -- what the knife cannot do well -------------------------------------------------------------------------------


def _detail_notes(
    plan: _Plan, shape: Shape | LineString | MultiLineString, outlines: Sequence[_Outline]
) -> Iterator[Finding]:
    """Yield one note on the details that are smaller than the blade's length in the card."""
    places = [tight_places(o.tip, smallest=plan.blade_length, corner=plan.corner) for o in outlines]
    count = sum(len(p) for p in places)
    if not count:
        return
    spots = [(p[0], o) for p, o in zip(places, outlines, strict=True) if len(p)]
    letters = _letters(shape) if isinstance(shape, Lettering) else None
    words = []
    for (x, y), outline in spots[:LISTED]:
        who = outline.name if letters is None else letters(x, y)
        words.append(f"{who} at ({x:.1f}, {y:.1f})")
    more = f", and {len(spots) - LISTED} more lines" if len(spots) > LISTED else ""
    x, y = spots[0][0]
    yield Finding(
        code="knife-detail",
        severity="note",
        text=f"{count} details are smaller than the {plan.blade_length:.2f} mm of blade in the card: "
        f"{'; '.join(words)}{more}.",
        advice="A steeper blade, thinner card or less depth turns in less room.",
        where=(float(x), float(y), 0.0),
        amount=plan.blade_length,
        cut=plan.name,
    )


def _letters(lettering: Lettering) -> Callable[[float, float], str]:
    """Return a function from a place to the letter it belongs to, in words."""
    shapes = [affine_transform(lettering.outlines[key], m) for key, m in lettering.glyphs]
    tree = shapely.STRtree(shapes)
    spoken = [c for c in lettering.text if not c.isspace()]

    def named(x: float, y: float) -> str:
        k = int(tree.nearest(shapely.Point(x, y)))
        return f"letter {k + 1}" + (f" '{spoken[k]}'" if len(spoken) == len(shapes) else "")

    return named
