"""Pieces that are cut free, found from the swept text, and what holds each of them.

Terminology
-----------
underside
    The height at which the stock falls apart: that of the thinnest board where zero is its top, for there the tool
    comes nearest to the table.
frame
    The piece that keeps most of the stock's edge; it counts as held.
bridge
    Material between two pieces that are apart above it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray
from pathgen.model.findings import Finding
from pathgen.model.holding import Hold
from pathgen.proof.checks import NOISE, Setting
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid, inside
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import Field
from pathgen.proof.walls import lines_of, section
from pathgen.shop.strength import strength

SLIVER = 0.01
"""Pieces of less than this many mm2 are dust."""

SKIN = 1e-3
"""Less than this left under a cut is through, mm: rounding in the program, never a skin left on purpose."""

TOUCH = 0.02
"""Areas nearer than this hang together, mm: the chords of two sections may differ by as much."""

QUAD = 16
"""Segments in a quarter of the slots' round ends: at a radius of 3 mm they err by 0.004 mm, and by the same at every
height, so that what hangs together is told apart all the same. Larger: time."""

SAME_WAY = 0.003
"""Strokes nearer than this to others run the same way, mm: the chords of two levels of one arc. Larger: slivers."""

MOST = 20
"""Loose pieces listed one by one; the last says how many more there are."""

TIMED = 8
"""Pieces for which the stroke that frees them is looked for by halving; the others get the last one beside them."""

LEAST_BRIDGES = 3
"""On two bridges a piece turns (common practice, no source)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Bridge:
    """One bridge as it was cut.

    Attributes:
        region: where it stands, mm.
        at: its middle (x, y), mm.
        length: material left at its narrowest, along the slot, mm.
        along: direction of the slot there, degrees.
        height: above the underside, mm.
    """

    region: Any
    at: tuple[float, float]
    length: float
    along: float
    height: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Bridged:
    """A piece that hangs on bridges.

    Attributes:
        region: of the piece above the bridges, mm.
        bridges: what it hangs on.
    """

    region: Any
    bridges: tuple[Bridge, ...]


def underside(s: Setting) -> float:
    """Return the height of the stock's underside where the board is thinnest, mm (negative)."""
    # a tool set on the table cuts all boards to the same height above it
    return -float(s.stock.thickness if s.stock.zero_height == "table" else s.stock.thinnest)


class Before:
    """What earlier programs had cut away of a stock, height by height.

    Args:
        field: heights as they left it, mm.
        grid: its samples; each stands for the square round it.
    """

    def __init__(self, field: Field, grid: Grid) -> None:
        self._field, self.grid = field, grid
        self._at: dict[float, Any] = {}

    def at(self, z: float) -> Any:
        """Return the area cut away at height `z`, mm: the squares of all samples there."""
        if z not in self._at:
            gone = np.pad(self._field <= z, ((0, 0), (1, 1)))
            turn = np.diff(gone.astype(np.int8), axis=1)
            (row, first), (_, end) = np.nonzero(turn == 1), np.nonzero(turn == -1)
            g = self.grid
            # neighbours share the very same numbers: a gap of one rounding between rows would hold pieces together
            x = g.x0 + g.pixel * (np.arange(g.columns + 1) - 0.5)
            y = g.y0 + g.pixel * (np.arange(g.rows + 1) - 0.5)
            self._at[z] = shapely.union_all(shapely.box(x[first], y[row], x[end], y[row + 1]))
        return self._at[z]


def pieces(s: Setting, before: Before | None = None) -> list[Any]:
    """Return what remains of the stock at its underside as polygons; the frame, that keeps most of its edge, first.

    What hangs together there hangs together: bridges and skins stand on the underside.

    Args:
        s: programs, tools and stock.
        before: what earlier programs had cut away; None = nothing.
    """
    return _parts_at(s, underside(s) + SKIN, before)


def _parts_at(s: Setting, z: float, before: Before | None, *, first: Any = slice(None)) -> list[Any]:
    """Return what the strokes `first` leave of the stock at height `z`, the frame first."""
    strokes = s.strokes[first]
    strokes = strokes[strokes.lowest <= z]
    if not len(strokes) and before is None:
        return [s.stock.region]
    strokes = _once(strokes)
    gone = section(strokes, s.tools, z, quad_segs=QUAD)
    left = [p for p in shapely.get_parts(s.stock.region.difference(gone)) if p.area > SLIVER]
    if before is not None:  # between a slot and the squares of its samples there is dust
        parts = shapely.get_parts(shapely.union_all(left).difference(before.at(z)))
        left = [p for p in parts if not p.buffer(-before.grid.pixel, quad_segs=2).is_empty]
    edge = s.stock.region.boundary.buffer(1e-6)
    return sorted(left, key=lambda p: (-p.boundary.intersection(edge).length, -p.area))


def _once(strokes: Strokes) -> Strokes:
    """Return strokes without those that run where the same tool runs at full depth: levels above it open nothing new.

    Without this, hundreds of nearly equal slots are laid upon one another, which takes most of the time.
    """
    kept = np.ones(len(strokes), dtype=np.bool_)
    for number in np.unique(strokes.tool):
        own = np.flatnonzero(strokes.tool == number)
        low = strokes.lowest[own]
        full = np.maximum(strokes.a[own, 2], strokes.b[own, 2]) <= low.min() + SKIN
        rest = own[~full]
        if not len(rest) or not full.any():
            continue
        ways = shapely.STRtree(lines_of(strokes[own[full]]))
        a, b = strokes.a[rest, :2], strokes.b[rest, :2]
        near = np.ones(len(rest), dtype=np.bool_)
        for share in (0.0, 0.25, 0.5, 0.75, 1.0):
            spots = shapely.points(a + share * (b - a))
            found, _ = ways.query(spots, predicate="dwithin", distance=SAME_WAY)
            here = np.zeros(len(rest), dtype=np.bool_)
            here[found] = True
            near &= here
        kept[rest[near]] = False
    return strokes[kept]


def stated(piece: Any, hold: Sequence[Hold]) -> list[Hold]:
    """Return the hold-downs that are stated under a piece."""
    return [h for h in hold if h.region.intersection(piece).area > SLIVER]


def weight(s: Setting, piece: Any, cut: Field, grid: Grid) -> float:
    """Return the weight of a piece as it was cut, g: its volume in the height field by the material's density."""
    rows, columns = grid.window(piece.bounds)
    here = inside(piece, grid.part(rows, columns))
    thickness = np.maximum(cut[rows, columns][here] + s.stock.thickness, 0.0)
    volume = float(thickness.sum(dtype=np.float64)) * grid.cell
    return volume * strength(s.stock.material).density / 1000.0


def loose_findings(
    s: Setting, left: Sequence[Any], cut: Field, grid: Grid, before: Before | None = None
) -> Iterator[Finding]:
    """Yield a finding for every piece that nothing holds: the frame is held by the stock's own clamping.

    Args:
        s: programs, tools and stock.
        left: what `pieces` returned.
        cut: the part, heights in mm.
        grid: its samples.
        before: what earlier programs had cut away; None = nothing.
    """
    loose = [p for p in left[1:] if not stated(p, s.hold)]
    for k, piece in enumerate(loose[:MOST]):
        a, b = sides(piece)
        at = piece.representative_point()
        place: dict[str, Any] = {
            "where": (float(at.x), float(at.y), -float(s.stock.thickness)),
            "amount": float(piece.area),
        }
        freeing = _freed_by(s, piece, before) if k < TIMED else _last_beside(s, piece)
        wide = max((t.diameter for t in s.tools.values()), default=0.0)
        if freeing >= 0:
            known = s.place(int(s.strokes.move[freeing]))
            place |= {key: known[key] for key in ("line", "cut", "program")}
            tool = s.tools.get(int(s.strokes.tool[freeing]))
            wide = tool.diameter if tool is not None else wide
        thin = "" if _loose_at_nominal(s, piece, before) else f" where the board is {-underside(s):g} mm thick"
        more = f" ({len(loose) - MOST} more pieces are)" if k == MOST - 1 and len(loose) > MOST else ""
        size = f"A piece of {a:.1f} x {b:.1f} mm, {piece.area:.1f} mm2, {weight(s, piece, cut, grid):.1f} g,"
        code = "loose-chip" if a < wide and b < wide else "loose-piece"
        yield finding(code, f"{size} is cut free{thin} and nothing holds it{more}.", **place)


def _loose_at_nominal(s: Setting, piece: Any, before: Before | None) -> bool:
    """Whether a piece that is loose where the board is thinnest is so at its nominal thickness too."""
    nominal = -float(s.stock.thickness)
    if underside(s) == nominal:
        return True
    return not _parts_at(s, nominal + SKIN, before)[0].covers(piece.representative_point())


def sides(piece: Any) -> tuple[float, float]:
    """Return length and width of the smallest rectangle round a piece, mm."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    if len(corners) < 4:
        return float(piece.length), 0.0
    one, other = (float(np.hypot(*(corners[k + 1] - corners[k]))) for k in (0, 1))
    return max(one, other), min(one, other)


def _freed_by(s: Setting, piece: Any, before: Before | None) -> int:
    """Return the stroke after which a piece no longer hangs on the frame, -1 where none does; found by halving."""
    z = underside(s) + SKIN
    deep = np.flatnonzero(s.strokes.lowest <= z)
    point = piece.representative_point()
    if before is not None and not _parts_at(s, z, before, first=deep[:0])[0].covers(point):
        return -1  # an earlier program did
    low, high = 0, len(deep)  # not free after `low` strokes, free after `high`
    while high - low > 1:
        middle = (low + high) // 2
        parts = _parts_at(s, z, before, first=deep[:middle])
        if parts and parts[0].covers(point):
            low = middle
        else:
            high = middle
    return int(deep[high - 1]) if len(deep) else -1


def _last_beside(s: Setting, piece: Any) -> int:
    """Return the last stroke that runs along a piece at full depth, -1 where none does."""
    through = np.flatnonzero(s.strokes.lowest <= underside(s) + SKIN)
    x0, y0, x1, y1 = piece.bounds
    margin = max((t.diameter for t in s.tools.values()), default=0.0)
    b = s.strokes.b[through]
    near = (b[:, 0] > x0 - margin) & (b[:, 0] < x1 + margin) & (b[:, 1] > y0 - margin) & (b[:, 1] < y1 + margin)
    return int(through[near][-1]) if near.any() else -1


# -- bridges ---------------------------------------------------------------------------------------------------------


def bridged(s: Setting, left: Sequence[Any], cut: Field, grid: Grid, before: Before | None = None) -> list[Bridged]:
    """Return the pieces that hang on bridges, as they were cut: apart above the bridges, together at the underside.

    Args:
        s: programs, tools and stock.
        left: what `pieces` returned.
        cut: the part, heights in mm.
        grid: its samples.
        before: what earlier programs had cut away; None = nothing.
    """
    top = _lifted_to(s)
    if top is None:
        return []
    high = _parts_at(s, top + SKIN, before)
    if len(high) < 2:
        return []
    lifted = shapely.get_parts(shapely.union_all(list(left)).difference(shapely.union_all(high)))
    lifted = lifted[shapely.area(lifted) > SLIVER]
    if not len(lifted):
        return []
    tree = shapely.STRtree(high)
    spot, owner = tree.query(lifted, predicate="dwithin", distance=TOUCH)
    joins = np.bincount(spot, minlength=len(lifted)) > 1  # what touches one piece alone is a chord's difference
    found = []
    for k in range(1, len(high)):
        own = spot[(owner == k) & joins[spot]]
        if len(own) and not _is_skin(high[k], [lifted[j] for j in own]):
            beside = [shapely.union_all([high[n] for n in owner[spot == j]]) for j in own]
            bridges = tuple(_bridge(s, lifted[j], around, cut, grid) for j, around in zip(own, beside, strict=True))
            found.append(Bridged(region=high[k], bridges=bridges))
    return found


def _lifted_to(s: Setting) -> float | None:
    """Return the height up to which tools are lifted between two stretches of a through cut, mm; None = nowhere."""
    floor = underside(s) + SKIN
    z = np.column_stack([s.strokes.a[:, 2], s.strokes.b[:, 2]]).ravel()
    z = z[np.concatenate([[True], np.abs(np.diff(z)) > NOISE])] if len(z) else z
    if len(z) < 3:
        return None
    turn = np.concatenate([[True], np.sign(np.diff(z))[1:] != np.sign(np.diff(z))[:-1], [True]])
    z = z[turn]
    peaks = (z[1:-1] > z[:-2]) & (z[1:-1] > z[2:]) & (z[:-2] <= floor) & (z[2:] <= floor)
    peaks &= (z[1:-1] > floor) & (z[1:-1] < -NOISE)
    return float(z[1:-1][peaks].max()) if peaks.any() else None


def _is_skin(piece: Any, own: Sequence[Any]) -> bool:
    """Whether what joins a piece to others runs along more than half of its outline: a skin, no bridges."""
    touching = piece.exterior.intersection(shapely.union_all(list(own)).buffer(2 * TOUCH))
    return bool(touching.length > 0.5 * piece.exterior.length)


def _bridge(s: Setting, region: Any, around: Any, cut: Field, grid: Grid) -> Bridge:
    """Measure one bridge, between the ends of the slot on its two sides; `around` is what it joins."""
    near = around.intersection(shapely.box(*region.bounds).buffer(1.0))
    ends = region.boundary.difference(near.buffer(2 * TOUCH))
    lines = sorted(
        shapely.get_parts(shapely.line_merge(ends)) if not ends.is_empty else [], key=lambda g: -float(g.length)
    )
    middle = region.representative_point()
    at, length, along = (float(middle.x), float(middle.y)), float(np.sqrt(region.area)), 0.0
    if len(lines) > 1:
        (x0, y0), (x1, y1) = shapely.get_coordinates(shapely.shortest_line(lines[0], lines[1])).tolist()
        at, length = (0.5 * (x0 + x1), 0.5 * (y0 + y1)), float(np.hypot(x1 - x0, y1 - y0))
        along = float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))
    row = int(np.clip(round((at[1] - grid.y0) / grid.pixel), 0, grid.rows - 1))
    column = int(np.clip(round((at[0] - grid.x0) / grid.pixel), 0, grid.columns - 1))
    height = max(float(cut[row, column]) - underside(s), 0.0)
    return Bridge(region=region, at=at, length=length, along=along, height=height)


def bridge_findings(s: Setting, held: Sequence[Bridged]) -> Iterator[Finding]:
    """Yield a finding for each piece with fewer than three bridges, or with all of them on one side of its middle."""
    for one in held:
        if stated(one.region, s.hold):
            continue
        a, b = sides(one.region)
        spots: FloatArray = np.array([bridge.at for bridge in one.bridges])
        place = {"where": (*one.bridges[0].at, underside(s) + one.bridges[0].height)}
        what = f"A piece of {a:.1f} x {b:.1f} mm"
        if len(spots) < LEAST_BRIDGES:
            n = "a single bridge" if len(spots) == 1 else f"{len(spots)} bridges"
            yield finding("few-bridges", f"{what} hangs on {n}.", amount=float(len(spots)), **place)
        elif not shapely.MultiPoint(spots).convex_hull.buffer(TOUCH).covers(one.region.centroid):
            far = float(shapely.MultiPoint(spots).convex_hull.distance(one.region.centroid))
            yield finding(
                "bridges-one-side",
                f"{what} has its {len(spots)} bridges all on one side, {far:.1f} mm from its middle.",
                amount=far,
                **place,
            )
