"""Tapered inlays: pocket and plug with the slope of one V bit, whose walls meet along their whole height."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.inlay import LEAST_GAP, Inlay, blank_for, common_notes, into, materials_of, note, noted, placed
from pathgen.cuts.model import Cuttings, check_stock, described
from pathgen.cuts.raised import standing
from pathgen.cuts.vgroove import floor_tools, vgroove
from pathgen.errors import ArgumentError, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool, VBit
from pathgen.shape.offset import as_multi, grown, opened
from pathgen.shape.shared import changed, closed_by, opened_by, solid
from pathgen.shape.tolerance import NOISE

__all__ = ["tapered_inlay"]


def tapered_inlay(
    region: Shape,
    bit: Tool,
    *,
    depth: float,
    under_gap: float = LEAST_GAP,
    proud: float = 1.0,
    floor_tool: Tool | Sequence[Tool] | None = None,
    detail: float = 0.5,
    materials: tuple[str, str] | None = None,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    plug_stock: Stock | None = None,
    name: str | None = None,
) -> Inlay:
    """Return a pocket and a plug with sloped walls that meet along their whole height when pressed together.

    The pocket is the V-groove of the shape, with a floor at `depth`. The plug is cut into the face of its own board,
    mirrored, and turned over: the V-groove of the shape's complement whose walls meet the outline at S = depth -
    under_gap below the face and go on up from there; around it the board is cleared to S + proud. So the plug's face
    lies `under_gap` over the pocket's floor while the walls touch and the boards stand `proud` apart (elementary
    geometry of two cones of one angle).

    Args:
        region: the drawn shape, mm, in the coordinates of `stock`.
        bit: a V bit, used for both halves, its angle as measured.
        depth: of the pocket's floor, mm.
        under_gap: room under the plug, mm.
        proud: how far the plug's board stays from the pocket's, mm: what is planed or sawn off.
        floor_tool: end mill or mills for the floors of both halves; None = the bit clears them and leaves ridges.
        detail: parts of the plug's own face thinner than this are reported, mm.
        materials: of pocket and plug; None = of their stocks.
        cutting: speeds, or a mapping from tools to speeds; None takes the tools' own.
        stock: the pocket's board.
        plug_stock: the plug's board, in the middle of which the plug is laid; None = a blank made to its size, with its
            zero on the table, since hardly any of its face is left to set tools on.
        name: for comments and the sheet; None = "inlay".

    Returns:
        The `Inlay`; each half is a job of its own, and `pathgen.mate` proves that they fit.

    Raises:
        DrawingError: for a shape without area.
        ArgumentError: for tools of another kind, a bit whose cone is lower than depth - under_gap + proud, or an
            under-gap that leaves no wall.
    """
    title = name or "inlay"
    if not isinstance(bit, VBit):
        raise ArgumentError(f"{title}: {described(bit)} makes no sloped walls: take a VBit")
    mills = floor_tools(floor_tool, title)
    check_stock(stock)
    check_stock(plug_stock, name="plug_stock")
    positive("depth", depth)
    positive("proud", proud)
    positive("detail", detail)
    if positive("under_gap", under_gap, zero=True) >= depth:
        raise ArgumentError(f"{title}: under_gap={under_gap:g} leaves no wall of depth={depth:g}: give less")
    seat = depth - under_gap
    deep = seat + proud
    if bit.cone_height < deep - NOISE:
        raise ArgumentError(
            f"{title}: the plug is cut {deep:g} mm deep, but the cone of {bit.describe()} is {bit.cone_height:.2f} mm "
            "high: take a larger bit, or a shallower pocket"
        )
    drawn = region_of(region, what=title)
    flat = 0.5 * bit.tip
    taken = closed_by(opened_by(drawn, flat), flat) if flat > 0 else drawn
    used = materials_of(materials, stock, plug_stock)
    widest = max((m.diameter for m in mills), default=bit.diameter)
    blank = plug_stock or blank_for(taken, max(deep + 3.0, 1.5 * deep), used[1], widest, title, on_table=True)
    place = into(taken, blank, turned=True)
    plug_region = placed(taken, place)
    notes = [*common_notes(region, under_gap, proud, title), *_tapered_notes(taken, bit, seat, detail, title)]
    if deep >= blank.thinnest:
        raise ArgumentError(f"{title}: the plug is cut {deep:g} mm deep, through its {blank.thinnest:g} mm board")
    holes = vgroove(
        taken, bit, depth_limit=depth, floor_tool=mills, cutting=cutting, stock=stock, name=f"{title} pocket"
    )
    work = standing(
        plug_region, None, bit=bit, depth=deep, begin=seat, mills=mills or (bit,), cutting=cutting, stock=blank,
        title=f"{title} plug",
    )  # fmt: skip
    return Inlay(
        kind="tapered",
        pocket=noted(holes, notes),
        plug=work.cuts(mills, cutting),
        pocket_region=taken,
        plug_region=plug_region,
        plug_stock=blank,
        change=changed(drawn, taken),
        clearance=0.0,
        depth=float(depth),
        under_gap=float(under_gap),
        proud=float(proud),
        place=place,
    )


def _tapered_notes(taken: MultiPolygon, bit: VBit, seat: float, detail: float, title: str) -> list[Finding]:
    """Return what a tapered inlay has to say: strokes without a gap under them, and thin detail on the plug's face."""
    notes = []
    reach = seat * bit.slope
    top = grown(taken, -reach)
    ridges = solid(shapely.difference(taken, opened(taken, reach)))
    wide = [g for g in ridges.geoms if not as_multi(g.buffer(-0.25 * reach)).is_empty]
    if wide:
        spot = max(wide, key=lambda g: g.area).representative_point()
        notes.append(
            note(
                "inlay-ridge", "warning",
                f"{len(wide)} strokes or corners are narrower than {2 * reach:.2f} mm: there the plug is a ridge that "
                "meets the pocket's bottom, with no gap under it.",
                "Give less depth, a sharper bit, or let glue escape along the ends.",
                (float(spot.x), float(spot.y), 0.0), 2 * reach, title,
            )
        )  # fmt: skip
    if bit.tip > 0 and wide:
        blunt = 0.5 * bit.tip * math.cos(math.radians(0.5 * bit.angle))
        notes.append(
            note(
                "inlay-tip", "warning",
                f"The bit's tip, {bit.tip:g} mm wide, leaves flat bottoms where strokes are narrow; the plug's ridges "
                f"there are sharp and overlap by {blunt:.3f} mm.",
                "Take a sharper bit, or blunt the ridges by hand.", None, blunt, title,
            )
        )  # fmt: skip
    thin = solid(shapely.difference(top, opened(top, 0.5 * detail)))
    if not thin.is_empty:
        spot = max(thin.geoms, key=lambda g: g.area).representative_point()
        notes.append(
            note(
                "inlay-detail", "warning",
                f"{len(thin.geoms)} details of the plug are thinner than {detail:g} mm at its face and may break.",
                "Give less depth, a sharper bit, or a bolder drawing.", (float(spot.x), float(spot.y), 0.0), detail,
                title,
            )
        )  # fmt: skip
    return notes
