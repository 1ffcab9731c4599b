"""Chamfers: breaking the edge of what is cut out, or of what it is cut from, with the flank of a V bit.

Terminology
-----------
face line
    Where the chamfer meets the face: the outline moved into the material by the chamfer's width.
tip line
    Where the bit's axis runs in the waste: beside the outline by tip / 2 + (depth - height) * tan(angle / 2). Round a
    convex corner it is an arc about the corner, so that what stays at each height is the outline drawn in evenly, with
    its corners sharp.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon

from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, described
from pathgen.cuts.profile import SMOOTH, profile, smooth_runs
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Shape, region_of
from pathgen.model.bounds import Bounds, Free, Groove
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool, VBit
from pathgen.shape.offset import as_multi, grown

BELOW = 0.5
"""How far the tip runs below the chamfer, mm: at its axis a bit stands still and tears. Common practice, no source;
larger: more room is needed in the waste."""

EXACT = 0.001
"""Largest error of the face line and the tip line, mm."""

ROUND = 64
"""Segments in a quarter of a round offset of what is asked."""

NEAR = 1e-6
"""A tip line this near to its distance from a corner goes round it, mm. Noise only."""

SHARPEST = 3.0
"""A corner's tip may lie this many widths from the face line (39 degrees). Larger: necks narrower than two chamfers
pass, and lose their face; smaller: sharp corners are refused."""

SPECK = 0.01
"""Chamfer that is not cut is told from this area on, mm2."""


def chamfer(
    region: Shape,
    bit: Tool,
    *,
    width: float,
    side: Literal["outside", "inside"] = "outside",
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Break the edge along the outlines of `region`: a slope `width` wide at the face.

    It is cut into the whole board, before the outline itself is cut (jobs part the board last). The slope is that of
    the bit, so the chamfer is width / tan(angle / 2) high; the tip runs up to 0.5 mm deeper, beside the outline. At
    convex corners the slopes meet in a sharp ridge; into concave ones the bit goes as far as it may.

    Args:
        region: the part (or the hole), as `profile()` takes it; mm, stock coordinates.
        bit: a V bit.
        width: of the chamfer, seen from above, mm.
        side: "outside": `region` is the part, and its edges, those of its holes too, are broken. "inside": `region` is
            a hole, and the edge of the board around it is broken.
        cutting: speeds; None = the bit's own.
        stock: the board; checks depth and edges.
        name: of the cut; None = "chamfer".

    Returns:
        One `Cut`.

    Raises:
        ArgumentError: for a tool that is no V bit, a chamfer wider than the bit or deeper than the stock, a part
            narrower than two chamfers or a hole narrower than the bit, with the place.
        DrawingError: for a region without area.

    >>> from shapely.geometry import box
    >>> from pathgen.model.tool import Cutting
    >>> cut, = chamfer(box(20, 20, 80, 60), VBit(90, diameter=12, cutting=Cutting(16000, 1500, 500)), width=1)
    >>> cut.name, round(cut.depth, 6)
    ('chamfer', 1.5)
    """
    title = name or "chamfer"
    one_of("side", side, ("outside", "inside"))
    check_stock(stock)
    positive("width", width)
    if not isinstance(bit, VBit):
        raise ArgumentError(f"{title}: {described(bit)} has no slope: take a V bit")
    asked = region_of(region, what=title)
    face_line = grown(asked, -width if side == "outside" else width, error=EXACT)
    _check_room(asked, face_line, width, side, title)
    depth, way = _tip_lines(asked, bit, width, side, stock, title)
    reach = 0.5 * bit.tip + depth * bit.slope
    tips = _in_direction(way, side, climb=cutting_for(bit, cutting).direction == "climb")
    if stock is not None:
        beside = tips.difference(stock.region.buffer(EXACT))
        if not beside.is_empty:
            x, y = shapely.get_coordinates(beside)[0]
            raise ArgumentError(
                f"{title}: the bit would run beside the stock at ({x:.2f}, {y:.2f}): leave {reach - width:.2f} mm of "
                "board round the part, or make the chamfer smaller"
            )
    (cut,) = profile(tips, bit, depth=depth, side="along", cutting=cutting, stock=stock, name=title)
    return (
        replace(
            cut,
            bounds=_asked(asked, width, side, depth, bit),
            notes=(*cut.notes, *_missed_note(asked, face_line, tips, reach, side, bit, title)),
            units_guessed=bool(getattr(region, "units_guessed", False)),
        ),
    )


def _asked(region: MultiPolygon, width: float, side: str, depth: float, bit: VBit) -> Bounds:
    """Return what is asked: grooves whose near edge is the outline moved by the width into the material.

    Worked out from the request alone, by plain offsets and not by those of the plan. Round a corner of the material the
    bit may cut the waste, but owes nothing: what stays inside the corner is settled by the grooves along its sides.
    """
    sign = 1.0 if side == "outside" else -1.0
    reach = 0.5 * bit.tip + depth * bit.slope
    away = reach - width
    way = as_multi(region.buffer(sign * away, quad_segs=ROUND))
    lines = MultiLineString([LineString(r.coords) for p in way.geoms for r in (p.exterior, *p.interiors)])
    straight, round_corners = _runs(smooth_runs(lines, reach), _corners(region), away)
    waste = as_multi(shapely.buffer(shapely.MultiLineString(round_corners), reach, quad_segs=ROUND))
    waste = as_multi(waste.difference(region) if side == "outside" else waste.intersection(region))
    grooves = [
        Groove(region=as_multi(run.buffer(reach, quad_segs=ROUND)), angle=bit.angle, tip=bit.tip, limit=depth)
        for run in straight
    ]
    return Bounds((*grooves, *([] if waste.is_empty else [Free(region=waste, depth=depth)])))


def _corners(region: MultiPolygon) -> FloatArray:
    """Return the vertices (n, 2) at which an outline turns."""
    found = [np.empty((0, 2))]
    for ring in (r for p in region.geoms for r in (p.exterior, *p.interiors)):
        xy = shapely.get_coordinates(ring)[:-1]
        into, out = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
        turn = np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1))
        found.append(xy[np.abs(turn) > SMOOTH])
    return np.concatenate(found)


def _runs(smooth: list[LineString], corners: FloatArray, away: float) -> tuple[list[LineString], list[LineString]]:
    """Part tip lines into those along the outline and those round its corners, `away` from one of them."""
    straight: list[LineString] = []
    bent: list[LineString] = []
    tree = shapely.STRtree(shapely.points(corners)) if len(corners) else None
    for run in smooth:
        xy = shapely.get_coordinates(run)
        near = np.full(len(xy), -1)
        if tree is not None:
            which = tree.query_nearest(shapely.points(xy), max_distance=away + NEAR, all_matches=False)
            near[which[0]] = which[1]
        bends = (near[:-1] == near[1:]) & (near[1:] >= 0)
        marks = np.flatnonzero(np.diff(bends)) + 1
        for a, b in pairwise([0, *marks.tolist(), len(bends)]):
            (bent if bends[a] else straight).append(LineString(xy[a : b + 1]))
    return straight, bent


def _check_room(asked: MultiPolygon, face_line: MultiPolygon, width: float, side: str, title: str) -> None:
    """Refuse what a chamfer would cut through: parts, or walls between holes, narrower than two chamfers."""
    back = SHARPEST * width
    lost = asked.difference(face_line.buffer(back)) if side == "outside" else face_line.buffer(-back).difference(asked)
    count = [(len(m.geoms), sum(len(p.interiors) for p in m.geoms)) for m in (asked, face_line)]
    parts = [p for p in as_multi(lost).geoms if p.area > SPECK]
    if count[0] == count[1] and not parts:
        return
    if not parts:
        again = grown(face_line, width if side == "outside" else -width)
        lost = asked.difference(again) if side == "outside" else again.difference(asked)
        parts = [p for p in as_multi(lost).geoms if p.area > SPECK] or list(asked.geoms)
    spot = max(parts, key=lambda p: p.area).representative_point()
    what = "the part is" if side == "outside" else "what stands between the holes is"
    raise ArgumentError(
        f"{title}: at ({spot.x:.2f}, {spot.y:.2f}) {what} narrower than two chamfers of {width:g} mm: make it smaller"
    )


def _tip_lines(
    asked: MultiPolygon, bit: VBit, width: float, side: str, stock: Stock | None, title: str
) -> tuple[float, MultiPolygon]:
    """Return how deep the tip runs, and where: a little below the chamfer, or at its foot where there is no room."""
    high = width / bit.slope
    if high > bit.cone_height + 1e-9:
        raise ArgumentError(
            f"{title}: a chamfer {width:g} mm wide is {high:.2f} mm high, and the cone of {bit.describe()} only "
            f"{bit.cone_height:.2f} mm: take a larger bit"
        )
    floor = bit.cone_height if stock is None else min(bit.cone_height, stock.thinnest - BELOW)
    if high > floor:
        assert stock is not None
        raise ArgumentError(
            f"{title}: a chamfer {width:g} mm wide is {high:.2f} mm high, too much for the {stock.thinnest:g} mm "
            "stock: make it smaller, or take a blunter bit"
        )
    sign = 1.0 if side == "outside" else -1.0
    holes = sum(len(p.interiors) for p in asked.geoms)
    for depth in (min(high + BELOW, floor), high):
        way = grown(asked, sign * (0.5 * bit.tip + (depth - high) * bit.slope), error=EXACT)
        # tip lines may join in the waste between parts, but none may vanish in a hole
        whole = len(way.geoms) >= len(asked.geoms) if side == "inside" else True
        if whole and sum(len(p.interiors) for p in way.geoms) >= holes and not way.is_empty:
            return depth, way
    spot = _narrowest(asked, side)
    raise ArgumentError(
        f"{title}: the bit does not fit into the hole at ({spot[0]:.2f}, {spot[1]:.2f}): make the chamfer smaller, or "
        "take a bit with a smaller tip"
    )


def _narrowest(asked: MultiPolygon, side: str) -> tuple[float, float]:
    holes = [shapely.Polygon(r) for p in asked.geoms for r in p.interiors]
    small = min(holes if side == "outside" and holes else asked.geoms, key=lambda p: p.area)
    spot = small.centroid
    return float(spot.x), float(spot.y)


def _in_direction(tips: MultiPolygon, side: str, *, climb: bool) -> MultiLineString:
    """Return the tip lines as rings in cutting direction.

    Round a part climb runs clockwise, in a hole counter-clockwise. The rings' polygons hold the part (outside) or the
    hole (inside), so outer rings go round a part in the first case and inner rings in the second.
    """
    out = []
    for piece in tips.geoms:
        for ring, outer in ((piece.exterior, True), *((r, False) for r in piece.interiors)):
            line = LineString(ring.coords)
            clockwise = (outer == (side == "outside")) == climb
            out.append(line.reverse() if bool(shapely.is_ccw(ring)) == clockwise else line)
    return MultiLineString(out)


def _missed_note(
    asked: MultiPolygon,
    face_line: MultiPolygon,
    tips: MultiLineString,
    reach: float,
    side: str,
    bit: VBit,
    title: str,
) -> tuple[Finding, ...]:
    """Return the note on chamfer that the bit cannot reach: in concave corners and gaps."""
    band = asked.difference(face_line) if side == "outside" else face_line.difference(asked)
    left = band.difference(tips.buffer(reach + EXACT, quad_segs=32))
    parts = [p for p in as_multi(left).geoms if p.area > SPECK]
    if not parts:
        return ()
    spot = max(parts, key=lambda p: p.area).representative_point()
    area = sum(p.area for p in parts)
    return (
        Finding(
            code="unreached",
            severity="note",
            text=f"{len(parts)} places of {title}, {area:.2f} mm2, the largest at ({spot.x:.1f}, {spot.y:.1f}), are "
            f"too narrow for {bit.describe()} and stay.",
            advice="Take a sharper bit, or break them by hand.",
            where=(float(spot.x), float(spot.y), 0.0),
            amount=area,
            cut=title,
        ),
    )
