"""Inlays: a pocket and the piece that fits it, planned together.

Terminology
-----------
shared shape
    what both a pocket cutter (which rounds inside corners) and a plug cutter (which rounds outside ones) can cut.
clearance
    air between the walls, on each side.
under-gap
    room under the plug, for glue and dust.
proud
    how far the plug stands above the face before it is planed flush.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, described
from pathgen.cuts.pocket import pocket
from pathgen.cuts.profile import Bridges, profile
from pathgen.errors import ArgumentError, positive
from pathgen.model.artwork import Matrix, Shape, region_of
from pathgen.model.findings import Finding
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import EndMill, Tool
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.shared import ERROR, Change, changed, shared_shape
from pathgen.shape.tolerance import NOISE
from pathgen.shop.fits import Fit, fit
from pathgen.shop.materials import material

__all__ = ["Inlay", "inlay"]

LEAST_GAP, LEAST_PROUD = 0.3, 0.5
"""Least room under a plug and least height above the face, mm. Common practice, no source."""

READ = 0.001
"""Inlay outlines should be read this finely, mm: both halves take up the same error, but the eye sees it."""

OVERLAP = 0.4
"""How far the clearing of a pocket reaches into the ring that its walls' own passes take, in cutter diameters. Below
half of it nothing is left between them."""

SPARE = 3.0
"""Room round a plug in a blank that is made to its size, in diameters of the largest cutter."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Inlay:
    """A pocket and its plug.

    Attributes:
        kind: "straight" or "tapered".
        pocket: cuts of the pocket, in the coordinates of its stock.
        plug: cuts of the plug, in the coordinates of its own stock.
        pocket_region: outline of the pocket at the face, mm.
        plug_region: outline of the plug there, in the plug's own stock, mm.
        plug_stock: the board that the plug is cut from.
        change: how the drawn shape was changed.
        clearance: air on each side, mm; 0 for tapered work.
        depth: of the pocket, mm.
        under_gap: room under the plug, mm.
        proud: how far the plug's top (or its board's cleared face) stands above the face, mm.
        place: takes the pocket's coordinates to the plug's; with a mirroring where the plug is turned over.
        fits: the ISO 286 fit at the narrowest and the widest place, where one was asked.
    """

    kind: Literal["straight", "tapered"]
    pocket: tuple[Cut, ...]
    plug: tuple[Cut, ...]
    pocket_region: MultiPolygon
    plug_region: MultiPolygon
    plug_stock: Stock
    change: Change
    clearance: float
    depth: float
    under_gap: float
    proud: float
    place: Matrix
    fits: tuple[Fit, ...] = ()


def inlay(
    region: Shape,
    tool: Tool,
    *,
    depth: float,
    clearance: float | str,
    plug_thickness: float,
    under_gap: float = LEAST_GAP,
    plug_tool: Tool | None = None,
    bridges: Bridges | None = None,
    finish_allowance: float = 0.2,
    materials: tuple[str, str] | None = None,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    plug_stock: Stock | None = None,
    name: str | None = None,
) -> Inlay:
    """Return a pocket with upright walls and the plug that fits it.

    The plug is cut to a shape that both cutters can make, the pocket to the same shape grown by the clearance, which is
    thus the same all round. Walls are roughed with an allowance and finished over their full depth.

    Args:
        region: the drawn shape, mm, in the coordinates of `stock`.
        tool: end mill for the pocket.
        depth: of the pocket, mm.
        clearance: air on each side, mm; or, between metal or plastic parts, an ISO 286 fit such as "H8/f7": half of the
            mean of its least and greatest air at the shape's widest place, since a fit is stated across the width.
        plug_thickness: of the plug's board, mm.
        under_gap: room under the plug, mm.
        plug_tool: end mill for the plug; None = the same.
        bridges: hold the plug in its frame; None = it must be held by tape.
        finish_allowance: left on walls by roughing, mm; 0 = none.
        materials: of pocket and plug; None = of their stocks.
        cutting: speeds, or a mapping from tools to speeds; None takes the tools' own.
        stock: the pocket's board.
        plug_stock: the plug's board, in the middle of which the plug is laid; None = a blank made to its size.
        name: for comments and the sheet; None = "inlay".

    Returns:
        The `Inlay`; each half is a job of its own, and `pathgen.mate` proves that they fit.

    Raises:
        DrawingError: for a shape without area.
        ArgumentError: for cutters too wide for the shape, a negative clearance, a fit in wood or without materials, a
            plug that would not reach the face, or what `pocket` and `profile` refuse.

    >>> from shapely.geometry import box
    >>> from pathgen.model.tool import Cutting
    >>> mill = EndMill(3, cutting=Cutting(16000, 1200, 400, 1.5, 1.2))
    >>> both = ("hardwood", "brass")
    >>> made = inlay(box(0, 0, 30, 20), mill, depth=3, clearance=0.05, plug_thickness=4, materials=both)
    >>> made.proud, round(made.change.farthest, 2)      # round corners: (sqrt 2 - 1) times the radius less 0.05
    (1.3, 0.6)
    """
    title = name or "inlay"
    plug_tool = plug_tool if plug_tool is not None else tool
    if not isinstance(tool, EndMill) or not isinstance(plug_tool, EndMill):
        wrong = tool if not isinstance(tool, EndMill) else plug_tool
        raise ArgumentError(f"{title}: {described(wrong)} cuts no upright walls: take an end mill")
    for word, value in (("depth", depth), ("plug_thickness", plug_thickness)):
        positive(word, value)
    positive("under_gap", under_gap, zero=True)
    positive("finish_allowance", finish_allowance, zero=True)
    drawn = region_of(region, what=title)
    used = materials_of(materials, stock, plug_stock)
    air, fits = _clearance(clearance, drawn, used, title)
    proud = round(plug_thickness + under_gap - depth, 6)
    if proud < 0:
        raise ArgumentError(
            f"{title}: the plug is {-proud:.2f} mm too low to reach the face: take a thicker board, or a "
            "shallower pocket"
        )
    taken = shared_shape(drawn, inner=0.5 * tool.diameter - air, outer=0.5 * plug_tool.diameter)
    if taken.is_empty:
        raise ArgumentError(f"{title}: {tool.describe()} is wider than anything in the shape: take a smaller tool")
    hole = grown(taken, air, error=ERROR)
    blank = plug_stock or blank_for(taken, plug_thickness, used[1], max(tool.diameter, plug_tool.diameter), title)
    if abs(blank.thickness - plug_thickness) > NOISE:
        raise ArgumentError(
            f"{title}: plug_thickness={plug_thickness:g}, but plug_stock measures {blank.thickness:g} mm: "
            "state the same"
        )
    place = into(taken, blank, turned=False)
    plug_region = placed(taken, place)
    notes = _straight_notes(region, drawn, taken, air, under_gap, proud, fits, title)
    holes = _pocket_cuts(hole, tool, depth, finish_allowance, cutting, stock, title)
    plugs = profile(
        plug_region, plug_tool, depth=THROUGH, stock=blank, bridges=bridges, finish_allowance=finish_allowance,
        cutting=_climbing(plug_tool, cutting), name=f"{title} plug",
    )  # fmt: skip
    return Inlay(
        kind="straight",
        pocket=noted(holes, notes),
        plug=plugs,
        pocket_region=hole,
        plug_region=plug_region,
        plug_stock=blank,
        change=changed(drawn, taken),
        clearance=air,
        depth=float(depth),
        under_gap=float(under_gap),
        proud=proud,
        place=place,
        fits=fits,
    )


def materials_of(given: tuple[str, str] | None, stock: Stock | None, plug_stock: Stock | None) -> tuple[str, str]:
    """Return the names of both materials, "" where one is not stated."""
    check_stock(stock)
    check_stock(plug_stock, name="plug_stock")
    if given is not None:
        if not isinstance(given, tuple | list) or len(given) != 2:
            raise ArgumentError("materials= takes two names: of the pocket's board and of the plug's")
        for one in given:
            material(one)
        return given[0], given[1]
    return (stock.material if stock else "", plug_stock.material if plug_stock else (stock.material if stock else ""))


def _clearance(
    asked: float | str, drawn: MultiPolygon, used: tuple[str, str], title: str
) -> tuple[float, tuple[Fit, ...]]:
    """Return the air on each side, mm, and the fits at the narrowest and the widest place where one was asked."""
    if not isinstance(asked, str):
        return positive("clearance", asked, zero=True), ()
    for name in used:
        if not name:
            raise ArgumentError(f"{title}: a fit needs both materials: give materials=(pocket, plug), or both stocks")
        if material(name).family not in ("metal", "plastic"):
            raise ArgumentError(
                f"{title}: clearance={asked!r} is a fit for metal and plastic parts; {name} moves by more than that in "
                "one damp day: give a clearance in mm, from a trial"
            )
    from pathgen.cuts.groove_paths import thinnest_stroke
    from pathgen.shape.medial import medial_axis

    widest = 2.0 * float(medial_axis(drawn, tolerance=0.01).nodes[:, 2].max())
    narrow = 2.0 * thinnest_stroke(drawn)[2]
    fits = (fit(asked, narrow), fit(asked, widest))
    return fits[1].clearance, fits


def blank_for(
    shape: MultiPolygon, thickness: float, material_name: str, diameter: float, title: str, *, on_table: bool = False
) -> Stock:
    """Return a board made to the size of a plug.

    Raises:
        ArgumentError: where its material is not known.
    """
    if not material_name:
        raise ArgumentError(f"{title}: the plug's material is not known: give plug_stock= or materials=(pocket, plug)")
    x0, y0, x1, y1 = shape.bounds
    room = 2.0 * SPARE * diameter
    return Stock(
        math.ceil(x1 - x0 + room), math.ceil(y1 - y0 + room), thickness, material=material_name,
        zero_height="table" if on_table else "top",
    )  # fmt: skip


def into(shape: MultiPolygon, stock: Stock, *, turned: bool) -> Matrix:
    """Return the move that lays a shape into the middle of a stock, mirrored where it is turned over."""
    x0, y0, x1, y1 = shape.bounds
    cx, cy = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    sx0, sy0, sx1, sy1 = stock.region.bounds
    mx, my = 0.5 * (sx0 + sx1), 0.5 * (sy0 + sy1)
    sign = -1.0 if turned else 1.0
    return (sign, 0.0, 0.0, 1.0, round(mx - sign * cx, 6), round(my - cy, 6))


def placed(shape: MultiPolygon, m: Matrix) -> MultiPolygon:
    """Return a shape moved, and mirrored where the move does, mm."""
    a, b, d, e, dx, dy = m
    moved = shapely.transform(shape, lambda c: c @ np.array([[a, d], [b, e]]) + np.array([dx, dy]))
    return as_multi(shapely.normalize(moved) if a * e - b * d < 0 else moved)


def _climbing(tool: Tool, cutting: Cuttings) -> Cuttings:
    """Return speeds that climb: a conventional finish pulls the cutter into the wall it makes."""
    return replace(cutting_for(tool, cutting), direction="climb")


def _pocket_cuts(
    hole: MultiPolygon,
    tool: EndMill,
    depth: float,
    allowance: float,
    cutting: Cuttings,
    stock: Stock | None,
    title: str,
) -> tuple[Cut, ...]:
    """Return the cuts of a pocket: its middle cleared, then its walls roughed and finished."""
    speeds = _climbing(tool, cutting)
    inner = grown(hole, -(allowance + OVERLAP * tool.diameter), error=ERROR)
    cleared: tuple[Cut, ...] = ()
    if not grown(inner, -0.5 * tool.diameter).is_empty:
        cleared = pocket(inner, tool, depth=depth, cutting=speeds, stock=stock, name=f"{title} pocket")
    walls = profile(
        hole, tool, depth=depth, side="inside", finish_allowance=allowance, cutting=speeds, stock=stock,
        name=f"{title} pocket walls",
    )  # fmt: skip
    return (*cleared, *(replace(w, after=cleared) for w in walls))


def noted(cuts: Sequence[Cut], notes: Sequence[Finding]) -> tuple[Cut, ...]:
    """Return the cuts with notes on the last one, on which no other waits."""
    return (*cuts[:-1], replace(cuts[-1], notes=(*cuts[-1].notes, *notes)))


def _straight_notes(
    region: Shape,
    drawn: MultiPolygon,
    taken: MultiPolygon,
    air: float,
    under_gap: float,
    proud: float,
    fits: tuple[Fit, ...],
    title: str,
) -> list[Finding]:
    """Return what a straight inlay has to say before anything is cut."""
    notes = common_notes(region, under_gap, proud, title)
    change = changed(drawn, taken)
    if change.farthest > 0.01:
        spot = _worst(change)
        notes.append(
            note(
                "inlay-changed", "note",
                f"So that both cutters can make it, {change.area:.2f} mm2 of the shape are changed, by at most "
                f"{change.farthest:.2f} mm.",
                "Take smaller cutters for sharper corners.", spot, change.farthest, title,
            )
        )  # fmt: skip
    for one, where in zip(fits, ("narrowest", "widest"), strict=False):
        notes.append(
            note(
                "inlay-fit", "note", f"At the {where} place: {one}.", "Measure a trial before the costly piece.",
                None, one.clearance, title,
            )
        )  # fmt: skip
    if fits and not fits[0].least <= 2 * air <= fits[0].most:
        notes.append(
            note(
                "inlay-fit-uneven", "warning",
                f"{2 * air:.3f} mm of air across suit the widest place, but lie outside {fits[0].least:.3f} to "
                f"{fits[0].most:.3f} mm, which the fit asks at the narrowest.",
                "Give a clearance in mm, or a coarser fit.", None, 2 * air, title,
            )
        )  # fmt: skip
    return notes


def common_notes(region: Shape, under_gap: float, proud: float, title: str) -> list[Finding]:
    """Return what both kinds of inlay have to say: too little room, too little height, an outline read coarsely."""
    notes = []
    if under_gap < LEAST_GAP - NOISE:
        notes.append(
            note(
                "inlay-gap", "warning", f"Only {under_gap:g} mm of room are planned under the plug.",
                f"Give under_gap= at least {LEAST_GAP:g} mm, and more than both boards are out of flat.", None,
                under_gap, title,
            )
        )  # fmt: skip
    if proud < LEAST_PROUD - NOISE:
        notes.append(
            note(
                "inlay-proud", "warning", f"The plug stands only {proud:g} mm above the face.",
                f"Plan at least {LEAST_PROUD:g} mm, or the saw's kerf and 1 mm where it is sawn off.", None, proud,
                title,
            )
        )  # fmt: skip
    read = getattr(region, "tolerance", 0.0)
    if isinstance(read, float) and read > READ + 1e-9:
        notes.append(
            note(
                "inlay-tolerance", "warning", f"The shape was read with a tolerance of {read:g} mm.",
                f"Give tolerance={READ:g} to read() or text().", None, read, title,
            )
        )  # fmt: skip
    return notes


def note(
    code: str,
    severity: Literal["error", "warning", "note"],
    text: str,
    advice: str,
    where: tuple[float, float, float] | None,
    amount: float,
    title: str,
) -> Finding:
    """Return a finding of the planner, by position."""
    return Finding(code=code, severity=severity, text=text, advice=advice, where=where, amount=float(amount), cut=title)


def _worst(change: Change) -> tuple[float, float, float] | None:
    parts = [*change.added.geoms, *change.removed.geoms]
    if not parts:
        return None
    spot = max(parts, key=lambda p: p.area).representative_point()
    return (float(spot.x), float(spot.y), 0.0)
