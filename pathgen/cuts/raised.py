"""Raised work: artwork left standing above a cleared floor, with the slope of a V bit for its walls.

Steps: end mills clear the floor up to the foot of the slopes; the V bit then follows the outer side of what stands: the
medial axis of the background as far as the floor's depth limits it, so that inside corners come out sharp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.groove_depth import Limit
from pathgen.cuts.groove_paths import Groove3, thinnest_stroke
from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, described
from pathgen.cuts.vgroove import Work, floor_tools
from pathgen.errors import ArgumentError, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool, VBit
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.tolerance import NOISE, WALL

__all__ = ["raised"]

OVER_RUN = 0.5
"""How far a background runs out beyond the stock, mm, besides what the tools need. Common practice, no source."""


def raised(
    region: Shape,
    border: Shape | None = None,
    *,
    floor_tool: Tool | Sequence[Tool],
    bit: Tool,
    depth: float,
    face_loss: float = 0.0,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Return the cuts that leave `region` standing above a floor.

    The slopes rise from the floor at half the bit's angle from upright and meet the face on the drawn outline. Where
    two letters stand nearer than the bit can go at full depth, the valley between them is as deep as it may be.

    Args:
        region: what stays, mm.
        border: the field's outer edge, which slopes too; None: the background runs out of the stock.
        floor_tool: an end mill that clears the floor, or several, each clearing what those before it left; the bit
            clears what none of them can enter.
        bit: a V bit whose cone is at least as high as the floor is deep.
        depth: of the floor, mm below the face.
        face_loss: what will be planed or sanded off the face afterwards, mm; the drawn outline appears then.
        cutting: speeds, or a mapping from tools to speeds; None takes the tools' own.
        stock: the board; needed without a border.
        name: for comments and the sheet; None = "raised".

    Returns:
        A `Cut` of each end mill that has something to clear, and one of the bit.

    Raises:
        DrawingError: for a region or border without area, or not valid.
        ArgumentError: for artwork beyond its border, tools of another kind, a bit whose cone is too low, or a depth
            through the board.

    >>> from shapely.geometry import box
    >>> from pathgen.model.tool import Cutting, EndMill
    >>> bit = VBit(60, diameter=12, cutting=Cutting(16000, 1500, 500, 3, 0.4))
    >>> mill = EndMill(6, cutting=Cutting(16000, 1800, 500, 3, 2.5))
    >>> [c.name for c in raised(box(30, 20, 60, 40), box(0, 0, 90, 60), floor_tool=mill, bit=bit, depth=3)]
    ['raised floor', 'raised']
    """
    title = name or "raised"
    if not isinstance(bit, VBit):
        raise ArgumentError(f"{title}: {described(bit)} makes no sloped walls: take a VBit")
    mills = floor_tools(floor_tool, title)
    if not mills:
        raise ArgumentError(f"{title}: give floor_tool=: at least one end mill clears the background")
    check_stock(stock)
    positive("depth", depth)
    positive("face_loss", face_loss, zero=True)
    if bit.cone_height < depth - NOISE:
        raise ArgumentError(
            f"{title}: {depth:g} mm deep, but the cone of {bit.describe()} is {bit.cone_height:.2f} mm high: its shank "
            "would cut into the walls: take a larger bit, or cut less deep"
        )
    if stock is not None and depth >= stock.thinnest:
        raise ArgumentError(
            f"{title}: depth={depth:g} goes through the board, which may measure {stock.thinnest:g} mm: give less"
        )
    if face_loss >= depth:
        raise ArgumentError(f"{title}: face_loss={face_loss:g} planes off all of depth={depth:g}")
    work = standing(
        region, border, bit=bit, depth=depth, begin=face_loss, mills=mills, cutting=cutting, stock=stock, title=title
    )
    return (*_noted(work.cuts(mills, cutting), work, region_of(region, what=title)),)


def standing(
    region: Shape,
    border: Shape | None,
    *,
    bit: VBit,
    depth: float,
    begin: float,
    mills: Sequence[Tool],
    cutting: Cuttings,
    stock: Stock | None,
    title: str,
) -> Work:
    """Return the groove round `region`, planned: its walls meet the drawn outline `begin` mm below the face.

    Args are those of `raised`.
    """
    asked = region_of(region, what=title)
    speeds = cutting_for(bit, cutting)
    groove = Groove3(bit=bit, begin=begin, limit=depth, stepdown=speeds.stepdown, widening=begin > 0)
    if border is None:
        if stock is None:
            raise ArgumentError(f"{title}: give border=, or stock= for a background that runs out of it")
        over = groove.reach + max(t.diameter for t in mills) + OVER_RUN
        field = grown(stock.region, over)  # round corners, so that every end mill clears them
    else:
        field = region_of(border, what=f"{title}: border")
    beyond = as_multi(shapely.difference(asked, field.buffer(WALL)))
    if not beyond.is_empty:
        spot = beyond.representative_point()
        raise ArgumentError(
            f"{title}: the artwork lies beyond its border at ({spot.x:.2f}, {spot.y:.2f}): give a larger border"
        )
    background = as_multi(shapely.difference(field, asked))
    if background.is_empty:
        raise ArgumentError(f"{title}: the artwork fills its border: there is no background to clear")
    work = Work(
        region=background,
        asked=background,
        groove=groove,
        speeds=speeds,
        limit=Limit(depth=depth, why="the floor asked for"),
        stock=stock,
        title=title,
        along=asked if border is None else None,
        open_edges=border is None,
        stands=True,
        units_guessed=bool(getattr(region, "units_guessed", False)),
    )
    work.plan(reuse=False)
    return work


def _noted(cuts: tuple[Cut, ...], work: Work, asked: MultiPolygon) -> tuple[Cut, ...]:
    """Return the cuts with what raised work has to say: how flat the top must be, and where valleys stay shallow."""
    groove = work.groove
    x, y, radius = thinnest_stroke(asked)
    flat = 0.1 * radius * 2 / groove.bit.slope
    notes = [
        Finding(
            code="flatness",
            severity="note",
            text=(
                f"Every 0.1 mm that the top lies too high or too low makes what stands {0.2 * groove.bit.slope:.3f} mm "
                f"wider or narrower at its face; the thinnest stroke, {2 * radius:.2f} mm, stays within 20 % while the "
                f"top is flat to {flat:.2f} mm."
            ),
            advice="Face the board, or measure its top, where it is less flat.",
            where=(x, y, 0.0),
            amount=flat,
            cut=work.title,
        )
    ]
    vx, vy, half = work.placed[0].plan.thinnest
    if half < groove.reach - NOISE:
        depth = -float(groove.height(np.array([half]))[0])
        notes.append(
            Finding(
                code="valley-shallow",
                severity="note",
                text=(
                    f"Where letters stand nearer than {2 * groove.reach:.2f} mm the valley does not reach the floor; "
                    f"at the narrowest, {2 * half:.2f} mm, it is {depth:.2f} mm deep."
                ),
                advice="Set the letters further apart, take a sharper bit, or let it stand.",
                where=(vx, vy, -depth),
                amount=depth,
                cut=work.title,
            )
        )
    last = cuts[-1]
    return (*cuts[:-1], replace(last, notes=(*last.notes, *notes)))
