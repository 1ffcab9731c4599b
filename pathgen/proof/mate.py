"""Whether a plug fits its pocket: both are cut in simulation from their texts, and put together.

Terminology
-----------
place
    six numbers (a, b, d, e, dx, dy) that take the pocket's coordinates to the plug's: x' = a x + b y + dx,
    y' = d x + e y + dy. A plug that is turned over is mirrored by it.
seat
    the height of the plug's own face over the pocket's face, mm, once it is home.
gap
    air between two walls normal to them, mm; negative where they would have to be in the same place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import shapely
from shapely import STRtree

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.model.tool import EndMill, Tool, VBit
from pathgen.motion.read import read_program
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid
from pathgen.proof.sections import section
from pathgen.proof.strokes import Strokes, strokes_of, track_of
from pathgen.proof.sweep import Field, sweep

Place = tuple[float, float, float, float, float, float]

PIXEL = 0.05
"""Distance of the samples at which sloped walls are compared, mm. The heights at each sample are exact."""

TOUCHING = 0.02
"""Walls nearer than this touch, mm normal to them: a film of glue. Larger: open joints pass; smaller: the rounding of
two programs counts as air."""

LEAST_CONTACT = 0.98
"""Share of the sloped walls that must touch."""

MOST_OPEN = 0.001
"""Largest share of the planed face that may stay open."""

WITHIN = 0.01
"""How far a straight wall's air may be off what was asked, mm on each side."""

HEIGHTS = 0.02
"""How far under-gap and proud height may be off what was asked, mm."""

RIM = 0.05
"""Walls are looked at this far from their upper and lower ends, mm of height."""

SPACING = 0.2
"""Distance of the points on a straight wall, mm, besides its corners."""

STUB = 0.05
"""What stands out further from a plug's wall below than above is left of a bridge, mm: it is filed flush."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Half:
    """One half, as a job wrote it.

    Attributes:
        texts: its programs.
        tools: T number to tool.
        stock: its board.
    """

    texts: Sequence[str]
    tools: Mapping[int, Tool]
    stock: Stock

    def strokes(self) -> Strokes:
        """Return all strokes of the programs, in stock coordinates."""
        return strokes_of(track_of([read_program(t) for t in self.texts], self.tools, self.stock))


@dataclass(frozen=True, eq=False, kw_only=True)
class Wanted:
    """What was asked of a fit; None = not stated, then it is measured and not judged.

    Attributes:
        clearance: air on each side of straight walls, mm.
        under_gap: room under the plug, mm.
        proud: height over the face, mm.
        positioning: how exactly the coarser of both machines moves, mm.
    """

    clearance: float | None = None
    under_gap: float | None = None
    proud: float | None = None
    positioning: float | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Mating:
    """How a plug fits its pocket.

    Attributes:
        kind: "straight" or "tapered" walls.
        seat: height of the plug's own face over the pocket's face, mm; negative for a plug that is turned over.
        under_gap: room between plug and pocket floor, ridges on it apart, mm; None where the pocket has no floor under
            the plug.
        proud: how far plug or board stand above the pocket's face, mm.
        clearance: least and largest air between straight walls, mm on each side; of tapered walls the gaps.
        interference: deepest place where both would be, mm normal to the wall, >= 0.
        interference_volume: mm3.
        contact: share of the walls that touch (tapered) or have the air asked for (straight), 0 to 1.
        open_area: share of the pocket's opening that the plug does not fill at the face, 0 to 1, air as asked apart.
        findings: errors first.
        section: (n, 4) a cut across both where the pocket is widest: along the cut, the pocket, the plug's lower and
            its upper side, mm over the pocket's face; NaN where there is none.
    """

    kind: Literal["straight", "tapered"]
    seat: float
    under_gap: float | None
    proud: float
    clearance: tuple[float, float]
    interference: float
    interference_volume: float
    contact: float
    open_area: float
    findings: tuple[Finding, ...] = ()
    section: FloatArray = field(default_factory=lambda: np.empty((0, 4)))

    @property
    def ok(self) -> bool:
        """Whether the plug fits: no error was found."""
        return not any(f.severity == "error" for f in self.findings)

    def __str__(self) -> str:
        gap = "no floor under the plug" if self.under_gap is None else f"under-gap {self.under_gap:.3f} mm"
        lines = [
            f"{'FITS' if self.ok else 'DOES NOT FIT'}: {gap}, proud {self.proud:.3f} mm",
            f"air between the walls {self.clearance[0]:.4f} to {self.clearance[1]:.4f} mm",
            f"interference {self.interference:.4f} mm, {self.interference_volume:.3f} mm3",
            f"contact {100 * self.contact:.2f} % of the walls, open at the face {100 * self.open_area:.3f} %",
        ]
        return "\n".join([*lines, *(f"- {f}" for f in self.findings)])


def mate(
    pocket: Half,
    plug: Half,
    *,
    kind: Literal["straight", "tapered"],
    place: Place,
    wanted: Wanted | None = None,
    pixel: float = PIXEL,
) -> Mating:
    """Put a plug into its pocket, both as their texts cut them, and measure the fit.

    Straight walls are compared by exact horizontal sections near the top, in the middle and near the bottom of the
    plug. Sloped ones are compared at samples whose heights are exact; the plug comes home where the middle one of all
    its wall samples touches.

    Args:
        pocket: the board with the recess.
        plug: the piece's board.
        kind: of walls.
        place: from the pocket's coordinates to the plug's.
        wanted: what was asked.
        pixel: distance of samples on sloped walls, mm.

    Raises:
        ArgumentError: where one of both cuts nothing that could fit the other.
    """
    wanted = wanted or Wanted()
    if kind == "straight":
        return _straight(pocket, plug, place, wanted)
    return _tapered(pocket, plug, place, wanted, pixel)


# -- straight walls ----------------------------------------------------------------------------------------------


def _straight(pocket: Half, plug: Half, place: Place, wanted: Wanted) -> Mating:
    hole, piece = pocket.strokes(), plug.strokes()
    floor = _floor(hole, pocket.tools)
    thick = plug.stock.thickness
    gap = wanted.under_gap if wanted.under_gap is not None else 0.0
    seat = floor + gap + thick
    bottom = floor + gap
    if bottom >= 0:
        raise ArgumentError("the plug would stand on top of the pocket: its under-gap is as high as the pocket is deep")
    levels = (min(-0.02, 0.02 * bottom), 0.5 * bottom, bottom + 0.02)
    plugs = [_piece(piece, plug, z - seat, place) for z in levels]
    voids = [_void(hole, pocket, z) for z in levels]
    if voids[1].is_empty:
        raise ArgumentError("the pocket's programs cut nothing at half the plug's height")
    upper = _in(plugs[1], voids[1])
    if upper.is_empty:
        raise ArgumentError("nothing that the plug's programs cut free lies over the pocket: check their places")
    stubs = plugs[2].intersection(upper.buffer(0.5)).difference(upper.buffer(STUB))
    pieces = [_in(plugs[0], upper.buffer(0.5)), upper, plugs[2].intersection(upper.buffer(0.5)).difference(stubs)]
    sections = list(zip(pieces, voids, strict=True))
    away = math.sqrt(max(t.diameter for t in plug.tools.values()) * STUB) + STUB
    measured = [_air(p, v, stubs.buffer(away) if k == 2 else None) for k, (p, v) in enumerate(sections)]
    least = min(float(m.min()) for m, _ in measured)
    most = max(float(m.max()) for m, _ in measured)
    overlap = [p.difference(v).area for p, v in sections]
    volume = -bottom * (overlap[0] + 2 * overlap[1] + overlap[2]) / 4
    asked = wanted.clearance
    every = np.concatenate([m for m, _ in measured])
    near = np.abs(every - (asked if asked is not None else float(np.median(every)))) <= WITHIN
    air = max(asked if asked is not None else most, 0.0)
    empty = voids[0].difference(sections[0][0].buffer(air + TOUCHING, quad_segs=32))
    worst = min(measured, key=lambda m: float(m[0].min()))
    spot = worst[1][int(np.argmin(worst[0]))]
    result = Mating(
        kind="straight",
        seat=seat,
        under_gap=gap,
        proud=seat,
        clearance=(least, most),
        interference=max(0.0, -least),
        interference_volume=float(volume),
        contact=float(near.mean()),
        open_area=float(empty.area / voids[0].area),
        section=_straight_section(sections, floor, seat, bottom),
    )
    return _judged(result, wanted, (float(spot[0]), float(spot[1]), 0.0))


def _floor(strokes: Strokes, tools: Mapping[int, Tool]) -> float:
    """Return the height of the deepest flat that end mills cut, mm (negative)."""
    flat = np.isin(strokes.tool, [n for n, t in tools.items() if isinstance(t, EndMill)])
    low = strokes.lowest[flat]
    if not len(low) or low.min() >= 0:
        raise ArgumentError("the pocket's programs cut no flat floor with an end mill")
    return float(low.min())


def _void(strokes: Strokes, half: Half, z: float) -> Any:
    return section(strokes, half.tools, z, quad_segs=128).intersection(half.stock.region)


def _piece(strokes: Strokes, half: Half, z: float, place: Place) -> Any:
    """Return what stands of the plug's board, but for its frame, at a height over its face, at the pocket's place."""
    left = half.stock.region.difference(section(strokes, half.tools, z, quad_segs=128))
    edge = half.stock.region.boundary.buffer(1e-6)
    parts = sorted(shapely.get_parts(left), key=lambda p: -p.boundary.intersection(edge).length)
    kept = parts if not parts or parts[0].boundary.intersection(edge).length == 0 else parts[1:]
    return _back(shapely.MultiPolygon(kept) if kept else left, place)


def _back(shape: Any, place: Place) -> Any:
    """Return a shape taken from the plug's coordinates to the pocket's."""
    a, b, d, e, dx, dy = place
    inverse = np.linalg.inv(np.array([[a, b], [d, e]]))
    return shapely.make_valid(shapely.transform(shape, lambda c: (c - np.array([dx, dy])) @ inverse.T))


def _in(shape: Any, void: Any) -> Any:
    """Return the parts of a shape that lie over the pocket for the most part: the plug, without waste."""
    parts = [p for p in shapely.get_parts(shape) if p.intersection(void).area > 0.5 * p.area]
    return shapely.union_all(parts) if parts else shapely.MultiPolygon()


def _air(piece: Any, void: Any, stubs: Any | None) -> tuple[FloatArray, FloatArray]:
    """Return the air at points of a plug's outline (n,) and the points (n, 2); negative outside the pocket.

    What is left of a bridge is filed flush, so points at `stubs` are left out: they leave the wall along the cutter's
    circle, whose sagitta over a half chord c is c^2 / D.
    """
    points = shapely.get_coordinates(shapely.segmentize(piece.boundary, SPACING))
    if stubs is not None and not stubs.is_empty:
        points = points[~shapely.intersects_xy(stubs, points[:, 0], points[:, 1])]
    edges = _edges(void)
    tree = STRtree(edges)
    _, far = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
    shapely.prepare(void)
    return np.where(shapely.contains_xy(void, points[:, 0], points[:, 1]), far, -far), points


def _edges(region: Any) -> Any:
    rings = shapely.get_rings(shapely.get_parts(region))
    pairs = [np.stack([c[:-1], c[1:]], axis=1) for c in (shapely.get_coordinates(r) for r in rings)]
    return shapely.linestrings(np.concatenate(pairs))


def _straight_section(sections: Sequence[tuple[Any, Any]], floor: float, seat: float, bottom: float) -> FloatArray:
    """Return the cut across pocket and plug at the height of the pocket's middle."""
    piece, void = sections[1]
    x0, _, x1, _ = void.bounds
    y = float(shapely.point_on_surface(void).y)
    x = np.linspace(x0 - 3.0, x1 + 3.0, 1200)
    in_void = shapely.contains_xy(void, x, np.full(len(x), y))
    in_plug = shapely.contains_xy(piece, x, np.full(len(x), y))
    return np.column_stack(
        [x, np.where(in_void, floor, 0.0), np.where(in_plug, bottom, np.nan), np.where(in_plug, seat, np.nan)]
    )


# -- tapered walls -----------------------------------------------------------------------------------------------


def _tapered(pocket: Half, plug: Half, place: Place, wanted: Wanted, pixel: float) -> Mating:
    bits = [t for t in pocket.tools.values() if isinstance(t, VBit)]
    if not bits:
        raise ArgumentError("the pocket of a tapered inlay is cut by a V bit, but its programs use none")
    sine = math.sin(math.radians(0.5 * bits[0].angle))
    hole, depth, grid = _fields(pocket, plug, place, pixel)
    floor, cleared = float(hole.min()), float(depth.max())
    wall = (hole < -RIM) & (hole > floor + RIM) & (depth > RIM) & (depth < cleared - RIM)
    if not wall.any():
        raise ArgumentError("no sloped wall of the plug lies over one of the pocket: check their places")
    seat = float(np.median((hole - depth)[wall]))
    gap = seat + depth - hole
    carrying = (hole < -RIM) & (hole > max(seat, floor) + RIM)
    normal = np.where((hole < -RIM) & (hole > floor + RIM), gap * sine, gap)
    touching = np.abs(normal[carrying]) <= TOUCHING
    # material of both in one place, but for what a film of glue may hide
    hit = -np.minimum(normal, 0.0)
    row, column = np.unravel_index(int(np.argmax(hit)), hit.shape)
    under = (hole < floor + RIM) & (depth < RIM)
    if wanted.under_gap is not None and floor > seat - wanted.under_gap + RIM:
        under[...] = False  # strokes so narrow that their walls meet above the floor
    at = -max(2 * RIM, 0.02 * -floor)
    void = hole < at
    open_ = void & (seat + depth > at) & (gap * sine > TOUCHING)
    result = Mating(
        kind="tapered",
        seat=seat,
        under_gap=float(gap[under].max()) if under.any() else None,  # where no ridge stands on the floor
        proud=seat + cleared,
        clearance=(float(normal[carrying].min()), float(normal[carrying].max())),
        interference=float(hit.max()),
        interference_volume=float(-np.minimum(gap, 0.0).sum(dtype=np.float64)) * grid.cell,
        contact=float(touching.mean()),
        open_area=float(open_.sum() / void.sum()),
        section=_tapered_section(hole, depth, grid, seat, cleared),
    )
    return _judged(result, wanted, (float(grid.x[column]), float(grid.y[row]), float(hole[row, column])))


def _fields(pocket: Half, plug: Half, place: Place, pixel: float) -> tuple[Field, Field, Grid]:
    """Return the pocket's heights, the plug's depths at the same places, and the grid, in the pocket's coordinates.

    The samples cover what lies in both boards; where the place mirrors or moves, the plug's samples move with it.
    """
    a, b, d, e, dx, dy = place
    if b or d or abs(a) != 1.0 or abs(e) != 1.0:
        raise ArgumentError(f"place={place!r} must move, and may mirror, but not turn or scale")
    x0, y0, x1, y1 = pocket.stock.region.intersection(_back(plug.stock.region, place)).bounds
    grid = Grid(
        x0=x0 + 0.382 * pixel,
        y0=y0 + 0.618 * pixel,
        pixel=pixel,
        rows=max(1, int((y1 - y0) / pixel)),
        columns=max(1, int((x1 - x0) / pixel)),
    )
    ends = np.array([a * grid.x[[0, -1]] + dx, e * grid.y[[0, -1]] + dy])
    other = Grid(x0=float(ends[0].min()), y0=float(ends[1].min()), pixel=pixel, rows=grid.rows, columns=grid.columns)
    hole = sweep(pocket.strokes(), pocket.tools, grid)
    depth = -sweep(plug.strokes(), plug.tools, other)
    return hole, depth[:: int(e), :: int(a)], grid


def _tapered_section(hole: Field, depth: Field, grid: Grid, seat: float, cleared: float) -> FloatArray:
    row = int(np.argmax((hole < -RIM).sum(axis=1)))
    used = np.flatnonzero(hole[row] < 0)
    c0, c1 = max(int(used[0]) - int(3 / grid.pixel), 0), int(used[-1]) + int(3 / grid.pixel)
    x = grid.x[c0:c1]
    top = np.full(len(x), seat + cleared + 1.0)
    return np.column_stack([x, hole[row, c0:c1], seat + depth[row, c0:c1], top])


# -- what to say -------------------------------------------------------------------------------------------------


def _judged(m: Mating, wanted: Wanted, where: tuple[float, float, float]) -> Mating:
    """Return the fit with its findings."""
    import dataclasses

    told: list[Finding] = []

    def say(code: str, text: str, amount: float, place: tuple[float, float, float] | None = None) -> None:
        told.append(finding(code, text, amount=amount, where=place))

    allowed = TOUCHING if m.kind == "tapered" else 0.0005
    if m.interference > allowed:
        say("fit-interferes", f"Plug and pocket overlap by {m.interference:.3f} mm.", m.interference, where)
    if m.kind == "straight" and wanted.clearance is not None:
        low, high = m.clearance[0] - wanted.clearance, m.clearance[1] - wanted.clearance
        off = max(abs(low), abs(high))
        if off > WITHIN:
            text = f"The air between the walls is {m.clearance[0]:.3f} to {m.clearance[1]:.3f} mm"
            say("fit-clearance", f"{text}; asked was {wanted.clearance:g} mm.", off, where)
    if m.kind == "tapered" and m.contact < LEAST_CONTACT:
        say("fit-contact", f"Only {100 * m.contact:.1f} % of the walls touch.", m.contact)
    if m.open_area > MOST_OPEN:
        say("fit-open", f"{100 * m.open_area:.2f} % of the face stay open.", m.open_area)
    for code, what, found, asked in (
        ("fit-gap", "under-gap", m.under_gap, wanted.under_gap),
        ("fit-proud", "proud height", m.proud, wanted.proud),
    ):
        if found is not None and asked is not None and abs(found - asked) > HEIGHTS:
            say(code, f"The {what} comes out at {found:.3f} mm; asked were {asked:g} mm.", found)
    if wanted.positioning is not None and m.kind == "straight" and (wanted.clearance or 0) < 2 * wanted.positioning:
        say(
            "fit-too-fine",
            f"A clearance of {wanted.clearance or 0:g} mm is finer than twice the {wanted.positioning:g} mm to which "
            "the machine moves.",
            wanted.clearance or 0.0,
        )
    told.sort(key=lambda f: {"error": 0, "warning": 1, "note": 2}[f.severity])
    return dataclasses.replace(m, findings=tuple(told))
