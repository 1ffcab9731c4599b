"""Drilling: straight down in pecks, each with a lift that clears the chips.

Terminology
-----------
point
    The cone at a drill's end, 0.300 diameters high at 118 degrees. A hole's depth is that of its full diameter.
peck
    One bite; the drill is then lifted, as a rapid in its own hole, and comes back to just above where it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPoint, Point

from pathgen.cuts.model import (
    Cut,
    Cuttings,
    DepthPlan,
    check_stock,
    cutting_for,
    described,
    levels,
    plan_depth,
    tool_notes,
)
from pathgen.errors import ArgumentError, DrawingError, numbers, positive
from pathgen.model.arrays import FloatArray, frozen
from pathgen.model.artwork import Shape
from pathgen.model.bounds import Bounds, Hole
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path
from pathgen.model.stock import Depth, Stock
from pathgen.model.tool import Drill, Tool
from pathgen.shape.circles import circles
from pathgen.shop.materials import material

__all__ = ["Places", "drill"]

Places: TypeAlias = Sequence[tuple[float, float]] | MultiPoint | Shape

ABOVE = 0.5
"""A peck begins this far above the material it enters, mm. Larger: time in air; smaller: an uneven top, or chips at
the bottom of the hole, are met by a rapid."""

OUT = 1.0
"""How far a full lift takes the point out of the hole, mm. Common practice, no source."""

SHORT_LIFT = 1.0
"""Lift that only breaks the chip, mm, where chips fall out by themselves. Common practice, no source."""

FULL_LIFT = ("plastic", "metal")
"""Families whose chips pack or melt in the flutes, so that the drill leaves the hole after every peck."""

CLEAR_EVERY = 3.0
"""In all other materials the drill leaves the hole each time it is this many diameters deeper: wood dust packs too.
Common practice, no source."""

SAME = 1e-3
"""Points nearer than this are one hole, mm."""

DRAWN = 0.05
"""How far a circle's diameter may differ from the drill's, mm: rounding in drawings, never another drill."""


def drill(
    points: Places,
    tool: Tool,
    *,
    depth: Depth,
    peck: float | None = None,
    below: float | None = None,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Drill holes straight down.

    `depth` is that of the full diameter, so the point goes deeper by its height (0.300 D at 118 degrees). Through holes
    have their full diameter down to `below` under the board; a note says how deep the table is drilled. In metals and
    plastics the drill leaves the hole after every peck, elsewhere each time it is 3 D deeper, with a lift of 1 mm
    between.

    Args:
        points: (x, y) of each hole, mm, stock coordinates; or a region or layer of circles as wide as the drill.
        tool: a `Drill`.
        depth: mm, or `THROUGH`; a number of at least the stock's thickness is through too.
        peck: largest bite, mm, at most one diameter; None = one diameter.
        below: how far under the nominal underside a through hole has its full diameter, mm; None = (thickest -
            nominal) + 0.2.
        cutting: speeds; the drill goes down at `plunge`. None = the tool's own.
        stock: the board; needed for THROUGH. Its material decides how the drill lifts.
        name: of the cut; None = "holes".

    Returns:
        One `Cut`.

    Raises:
        ArgumentError: for a tool that is no drill, a peck above one diameter, holes that overlap or leave the stock, a
            point that would come through the underside, a depth beyond the flutes.
        DrawingError: for a piece that is no circle, or not as wide as the drill; with its place.

    >>> from pathgen.model.tool import Cutting
    >>> cut, = drill([(10, 10), (50, 10)], Drill(5, cutting=Cutting(3000, 300, 150)), depth=12)
    >>> round(cut.depth, 3)
    13.502
    """
    title = name or "holes"
    if not isinstance(tool, Drill):
        raise ArgumentError(
            f"{title}: {described(tool)} is no drill: give a Drill, or cut the hole with "
            "profile(side='inside') or pocket()"
        )
    check_stock(stock)
    speeds = cutting_for(tool, cutting)
    bite = tool.diameter if peck is None else positive("peck", peck)
    if bite > tool.diameter + 1e-9:
        raise ArgumentError(
            f"{title}: peck={bite:g} is more than one diameter ({tool.diameter:g} mm): chips pack and the drill "
            "breaks; take less"
        )
    xy, notes = _centers(points, tool, title)
    _check_places(xy, tool, stock, title)
    plan = plan_depth(depth, stock=stock, below=below)
    rule = Hole(
        points=tuple((float(x), float(y)) for x, y in xy.tolist()),
        diameter=tool.diameter,
        depth=plan.depth,
        angle=tool.point_angle,
        below=plan.below,
        through=plan.through,
    )
    bottom = plan.bottom - rule.point
    _check_point(plan, bottom, stock, tool, title)
    notes += tool_notes(tool, -bottom, name=title)
    if plan.through and stock is not None:
        notes += (_table_note(bottom, stock, title),)
    return (
        Cut(
            name=title,
            tool=tool,
            cutting=speeds,
            passes=_passes(xy, bottom, bite, tool, stock, through=plan.through),
            bounds=Bounds((rule,)),
            depth=-bottom,
            notes=notes,
            stock=stock,
            through=plan.through,
            units_guessed=bool(getattr(points, "units_guessed", False)),
        ),
    )


def _centers(points: Places, tool: Drill, title: str) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Return the centers (n, 2), each once, and a note on those given twice."""
    if isinstance(points, MultiPoint):
        listed = [(p.x, p.y) for p in points.geoms]
    elif isinstance(points, Point):
        listed = [(points.x, points.y)]
    elif hasattr(points, "geom_type") or hasattr(points, "region"):
        listed = []
        for x, y, d in circles(points):
            if abs(d - tool.diameter) > DRAWN:
                raise DrawingError(
                    f"{title}: a circle of {d:.3f} mm is not for {tool.describe()}: take the drill of that size, or "
                    "give the centers alone as points",
                    position=(x, y),
                )
            listed.append((x, y))
    else:
        try:
            pairs = [numbers("points", p, form="(x, y) of each hole in mm") for p in points]
            listed = [(x, y) for x, y in pairs]
        except TypeError:
            raise ArgumentError(f"{title}: points={points!r} must be a list of (x, y) in mm") from None
    if not listed:
        raise ArgumentError(f"{title}: there is no point to drill at")
    xy = np.array(listed, dtype=np.float64)
    first, second = shapely.STRtree(shapely.points(xy)).query(shapely.points(xy), predicate="dwithin", distance=SAME)
    again = np.unique(second[first < second])
    if not len(again):
        return frozen(xy), ()
    x, y = xy[again[0]]
    note = Finding(
        code="hole-twice",
        severity="note",
        text=f"{len(again)} holes stand in the drawing twice and are drilled once.",
        advice="Take the doubles out of the drawing.",
        where=(float(x), float(y), 0.0),
        cut=title,
    )
    return frozen(np.delete(xy, again, axis=0)), (note,)


def _check_places(xy: FloatArray, tool: Drill, stock: Stock | None, title: str) -> None:
    """Refuse holes that overlap or run out of the stock, with the place."""
    spots = shapely.points(xy)
    first, second = shapely.STRtree(spots).query(spots, predicate="dwithin", distance=tool.diameter - 1e-6)
    apart = first < second
    if apart.any():
        a, b = xy[first[apart][0]], xy[second[apart][0]]
        raise ArgumentError(
            f"{title}: the holes at ({a[0]:.2f}, {a[1]:.2f}) and ({b[0]:.2f}, {b[1]:.2f}) overlap, so the drill would "
            "run off into the first: move them apart, or cut them with an end mill"
        )
    if stock is None:
        return
    room = shapely.distance(spots, stock.region.exterior) * np.where(shapely.covers(stock.region, spots), 1.0, -1.0)
    worst = int(np.argmin(room))
    if room[worst] < 0.5 * tool.diameter - 1e-9:
        x, y = xy[worst]
        raise ArgumentError(
            f"{title}: the hole of {tool.diameter:g} mm at ({x:.2f}, {y:.2f}) runs out of the stock "
            f"({stock.width:g} x {stock.height:g} mm): move it in, or mill it"
        )


def _check_point(plan: DepthPlan, bottom: float, stock: Stock | None, tool: Drill, title: str) -> None:
    if stock is not None and not plan.through and -bottom >= stock.thinnest - 1e-9:
        raise ArgumentError(
            f"{title}: {plan.depth:g} mm deep at full diameter takes the point of {tool.describe()} {-bottom:.2f} mm "
            f"down, through the {stock.thinnest:g} mm stock: drill less deep, or give depth=THROUGH"
        )


def _table_note(bottom: float, stock: Stock, title: str) -> Finding:
    """Return how deep the table under the board is drilled."""
    into = -bottom - (stock.thickness if stock.zero_height == "table" else stock.thinnest)
    return Finding(
        code="table-drilled",
        severity="note",
        text=f"{title}: the drill's point goes up to {into:.2f} mm into what lies under the board.",
        advice="Lay a sheet that may be drilled under the board.",
        amount=into,
        cut=title,
    )


def _passes(
    xy: FloatArray, bottom: float, bite: float, tool: Drill, stock: Stock | None, *, through: bool
) -> tuple[Pass, ...]:
    """Return the pecks of every hole with the lifts between them."""
    # what does not go through is laid onto a measured face later, so only the others must clear its highest place here
    rise = stock.rise if stock is not None and through else 0.0
    top = rise + (stock.film + stock.unevenness if stock is not None else 0.0)
    packs = stock is not None and material(stock.material).family in FULL_LIFT
    steps = levels(bottom, bite, top=rise)
    passes: list[Pass] = []
    for x, y in xy.tolist():
        start, cleared = top + ABOVE, rise
        before: frozenset[int] = frozenset()
        for k, z in enumerate(steps):
            passes.append(Pass(path=Path.lines([[x, y, start], [x, y, z]]), role="cut", after=before))
            if k + 1 == len(steps):
                break
            full = packs or cleared - z >= CLEAR_EVERY * tool.diameter - 1e-9
            cleared = z if full else cleared
            start = z + ABOVE
            up = top + OUT if full else min(z + SHORT_LIFT, top + OUT)
            ways = [[x, y, z], [x, y, up], [x, y, start]]
            passes.append(Pass(path=Path.lines(ways), role="lift", after=frozenset({len(passes) - 1})))
            before = frozenset({len(passes) - 1})
    return tuple(passes)
