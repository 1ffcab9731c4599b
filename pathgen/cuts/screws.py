"""Screw holes for mounting signs: the clearance hole through the board, and the seat of the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import MultiPoint, MultiPolygon

from pathgen.cuts.drill import drill
from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, described, tool_notes
from pathgen.cuts.pocket import pocket
from pathgen.cuts.profile import profile
from pathgen.errors import ArgumentError, numbers, positive
from pathgen.model.bounds import Bounds, Groove
from pathgen.model.path import Pass, Path
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import Drill, EndMill, Tool, VBit
from pathgen.shape.offset import as_multi
from pathgen.shop.screws import Fit, Screw, screw

ROUND = 64
"""Segments in a quarter of a hole: at 10 mm across its chords leave the circle by 0.0004 mm."""

DRILL_FIT = 0.15
"""How far a drill may be wider or narrower than the clearance hole, mm: the next one in a set of tenths, never one of
another series."""

SEAT_ROOM = 1.0
"""How much wider than a pan head its seat is, mm. Common practice, no source."""

WIDEST = 4.5
"""Holes up to this many diameters of the end mill are cleared as they are cut; in wider ones a slug drops loose."""

COUNTERSINK = 90.0
"""Angle of countersunk heads, degrees (ISO 2009)."""

ABOVE = 0.5
"""A countersink begins this far above the face, mm."""


def screw_holes(
    points: Sequence[tuple[float, float]] | MultiPoint,
    tool: Tool,
    *,
    stock: Stock,
    size: str = "M4",
    fit: Fit = "medium",
    head: Literal["pan", "countersunk"] | None = None,
    seat: Tool | None = None,
    sink: float = 0.0,
    below: float | None = None,
    cutting: Cuttings = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Cut clearance holes for metric screws, and seats for their heads.

    A drill as wide as the hole drills it; an end mill runs round in it. A pan head sits in a flat counterbore 1 mm
    wider than the head, a countersunk head in a cone of 90 degrees that a V bit cuts going straight down. The seat is
    cut first, so a drill is led by it and passes through less.

    Args:
        points: (x, y) of each screw, mm, stock coordinates.
        tool: a drill within 0.15 mm of the hole, or an end mill narrower than it.
        stock: the board.
        size: "M1.6" to "M20".
        fit: of the clearance hole, ISO 273.
        head: "pan", "countersunk", or None for the hole alone.
        seat: the tool for the seat: an end mill for a pan head (None = `tool`), a V bit of 90 degrees for a countersunk
            one.
        sink: how far the head lies below the face, mm.
        below: as in `profile()`.
        cutting: speeds, or a mapping from tool to speeds; None = the tools' own.
        name: of the cuts; None = such as "M4 holes" and "M4 seats".

    Returns:
        The seats' cut, where there are seats, and the holes' cut.

    Raises:
        ArgumentError: for tools that do not fit, a seat that leaves nothing under the head, holes outside the stock.
    """
    asked = screw(size, fit=fit, head=head)
    title = name or f"{size} holes"
    check_stock(stock, needed=True)
    positive("sink", sink, zero=True)
    xy = _points(points)
    cuts: tuple[Cut, ...] = ()
    if head == "pan":
        cuts = _counterbore(xy, seat or tool, asked, sink, stock, cutting, f"{name} seats" if name else f"{size} seats")
    elif head == "countersunk":
        cuts = _countersink(xy, seat, asked, sink, stock, cutting, f"{name} seats" if name else f"{size} seats")
    elif seat is not None:
        raise ArgumentError(f"{title}: seat={described(seat)} is given, but no head: give head='pan' or 'countersunk'")
    through = _clearance(xy, tool, asked, below, stock, cutting, title)
    return (*cuts, *(replace(c, after=(*c.after, *cuts)) for c in through))


def _points(points: Sequence[tuple[float, float]] | MultiPoint) -> list[tuple[float, float]]:
    """Return (x, y) pairs, each once, in the order given."""
    listed = [(p.x, p.y) for p in points.geoms] if isinstance(points, MultiPoint) else points
    try:
        pairs = [numbers("points", p, form="(x, y) of each screw in mm") for p in listed]
    except TypeError:
        raise ArgumentError(f"points={points!r} must be a list of (x, y) in mm") from None
    if not pairs:
        raise ArgumentError("there is no point for a screw")
    return list(dict.fromkeys((x, y) for x, y in pairs))


def _discs(xy: list[tuple[float, float]], diameter: float, stock: Stock, title: str) -> MultiPolygon:
    """Return round regions that stand apart and inside the stock, or raise with the place."""
    spots = shapely.points(np.array(xy))
    tree = shapely.STRtree(spots)
    first, second = tree.query(spots, predicate="dwithin", distance=diameter)
    near = np.flatnonzero(first < second)
    if len(near):
        (ax, ay), (bx, by) = xy[first[near[0]]], xy[second[near[0]]]
        raise ArgumentError(
            f"{title}: {diameter:g} mm wide, those at ({ax:.2f}, {ay:.2f}) and ({bx:.2f}, {by:.2f}) meet: "
            "move them apart"
        )
    discs = shapely.buffer(spots, 0.5 * diameter, quad_segs=ROUND)
    out = np.flatnonzero(~shapely.covers(stock.region, discs))
    if len(out):
        x, y = xy[out[0]]
        raise ArgumentError(
            f"{title}: {diameter:g} mm wide, the one at ({x:.2f}, {y:.2f}) runs out of the stock: move it in"
        )
    return as_multi(MultiPolygon(list(discs)))


def _clearance(
    xy: list[tuple[float, float]],
    tool: Tool,
    asked: Screw,
    below: float | None,
    stock: Stock,
    cutting: Cuttings,
    title: str,
) -> tuple[Cut, ...]:
    """Return the cut of the clearance holes."""
    if isinstance(tool, Drill):
        if abs(tool.diameter - asked.hole) > DRILL_FIT + 1e-9:
            raise ArgumentError(
                f"{title}: {tool.describe()} for a hole of {asked.hole:g} mm ({asked.size}): take that drill, or "
                "another fit"
            )
        return drill(xy, tool, depth=THROUGH, below=below, cutting=cutting, stock=stock, name=title)
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"{title}: {tool.describe()} cuts no upright hole: take a drill or an end mill")
    if not tool.diameter < asked.hole - 1e-9:
        raise ArgumentError(
            f"{title}: {tool.describe()} does not go round in a hole of {asked.hole:g} mm ({asked.size}): take a "
            "smaller end mill, or the drill"
        )
    if asked.hole > WIDEST * tool.diameter:
        raise ArgumentError(
            f"{title}: in a hole of {asked.hole:g} mm {tool.describe()} leaves a slug that drops loose: take one of at "
            f"least {asked.hole / WIDEST:.2f} mm"
        )
    discs = _discs(xy, asked.hole, stock, title)
    return profile(
        discs, tool, depth=THROUGH, side="inside", below=below, cutting=cutting, stock=stock, name=title, lead=0.0
    )


def _counterbore(
    xy: list[tuple[float, float]],
    tool: Tool,
    asked: Screw,
    sink: float,
    stock: Stock,
    cutting: Cuttings,
    title: str,
) -> tuple[Cut, ...]:
    """Return the cut of flat seats, deep enough for the head to lie `sink` below the face."""
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"{title}: a counterbore needs an end mill: give seat=EndMill(…)")
    depth = asked.head_height + sink
    _check_left(depth, stock, title)
    discs = _discs(xy, asked.head_diameter + SEAT_ROOM, stock, title)
    return pocket(discs, tool, depth=depth, cutting=cutting, stock=stock, name=title)


def _countersink(
    xy: list[tuple[float, float]],
    bit: Tool | None,
    asked: Screw,
    sink: float,
    stock: Stock,
    cutting: Cuttings,
    title: str,
) -> tuple[Cut, ...]:
    """Return the cut of conical seats: the bit goes straight down until its cone is as wide as the head at the face."""
    if not isinstance(bit, VBit) or abs(bit.angle - COUNTERSINK) > 1e-9 or not bit.center_cutting:
        raise ArgumentError(f"{title}: a countersunk head of {COUNTERSINK:g} degrees needs seat=VBit(90, …)")
    wide = asked.head_diameter + 2.0 * sink * bit.slope
    depth = 0.5 * (wide - bit.tip) / bit.slope
    if wide > bit.diameter + 1e-9:
        raise ArgumentError(f"{title}: {bit.describe()} is narrower than the seat, {wide:g} mm: take a larger bit")
    if bit.tip > asked.hole:
        raise ArgumentError(f"{title}: the tip of {bit.describe()} is wider than the hole, {asked.hole:g} mm")
    _check_left(0.5 * (wide - asked.hole) / bit.slope, stock, title)
    if depth >= stock.thinnest:
        raise ArgumentError(
            f"{title}: the bit's tip comes {depth:.2f} mm down, through the {stock.thinnest:g} mm stock: take a "
            "smaller screw, or a bit with a wider tip"
        )
    discs = _discs(xy, wide, stock, title)
    begin = stock.film + stock.unevenness + ABOVE  # a measured face is added later
    passes = tuple(Pass(path=Path.lines([[x, y, begin], [x, y, -depth]]), role="cut") for x, y in xy)
    speeds = cutting_for(bit, cutting)
    return (
        Cut(
            name=title,
            tool=bit,
            cutting=speeds,
            passes=passes,
            bounds=Bounds((Groove(region=discs, angle=bit.angle, tip=bit.tip, limit=depth),)),
            depth=depth,
            notes=tool_notes(bit, depth, name=title),
            stock=stock,
        ),
    )


def _check_left(depth: float, stock: Stock, title: str) -> None:
    """Refuse a seat that leaves the head nothing to sit on."""
    if depth >= stock.thinnest - 1e-9:
        raise ArgumentError(
            f"{title}: a seat {depth:.2f} mm deep leaves nothing of the {stock.thinnest:g} mm stock under the head: "
            "take a smaller screw, or sink it less"
        )
