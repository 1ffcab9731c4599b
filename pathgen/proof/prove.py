"""`prove`: read the written texts back, cut them in simulation, and hold the part against what was asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal

import numpy as np
import shapely

from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.bounds import Flat, Groove
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap
from pathgen.model.holding import KeepOut
from pathgen.model.machine import Machine
from pathgen.model.stock import Stock
from pathgen.model.tool import EndMill, Tool, TrailingKnife, VBit
from pathgen.motion.read import read_program
from pathgen.proof.art import art_findings
from pathgen.proof.blade_line import blade_findings, is_followed
from pathgen.proof.checks import STEP, Setting, program_findings
from pathgen.proof.codes import finding
from pathgen.proof.collide import cut_in_order, keep_out_findings, rapid_findings
from pathgen.proof.compare import Measured, bands, measure, removed_volume
from pathgen.proof.design import Asked, lowest_allowed, off_parts
from pathgen.proof.drawn import pressed_findings, touched
from pathgen.proof.grid import Grid, inside
from pathgen.proof.holder import reach_findings
from pathgen.proof.report import BladeResult, Proof
from pathgen.proof.standing import not_looked_at, standing_findings
from pathgen.proof.strokes import SAGITTA, strokes_of, track_of
from pathgen.proof.sweep import Field, profile_of
from pathgen.proof.through import remaining_findings, through_findings
from pathgen.proof.uneven import followed, level_strokes, level_track

PIXEL = 0.1
"""Step of the height field, mm, where a V bit or a ball cuts: finer letters than 1 mm still have ten samples across."""

COARSEST = 0.2
"""Step, mm, where only flat cutters work: their walls are measured by exact distances, the grid sees floors alone."""

COARSE = 0.03
"""Largest distance of a flat cutter's chords from their arc in the height field, in steps of the grid."""

SEEN = 0.25
"""Coarser steps than this, in diameters of the smallest tool, pass over whole cuts; the proof then says so.

Larger: a rapid through a corner of the board falls between samples unsaid. Smaller: the sentence stands under proofs
whose grid the maker chose coarse, but fine enough for their tools.
"""

MOST_SAMPLES = 80_000_000
"""More samples than this are not kept at once: a sheet of 1220 x 610 mm at 0.1 mm has 74 million."""


def prove(
    texts: Sequence[str],
    *,
    tools: Mapping[int, Tool],
    stock: Stock,
    machine: Machine | None = None,
    bounds: Iterable[Asked] | None = None,
    keep_out: Sequence[KeepOut] = (),
    hold: Sequence[Any] = (),
    clearance: float | None = None,
    at: Sequence[float] | None = None,
    touch_off: tuple[float, float] | None = None,
    grid: float | None = None,
    stock_after: HeightMap | None = None,
    artwork: Any | None = None,
    face: Literal["top", "back"] = "top",
    confirmed: bool = False,
    minimum_left: float | None = None,
    thin_wall: float | None = None,
    own: bool = False,
) -> Proof:
    """Prove programs, run one after the other on one stock, by texts, tools, stock and what was asked alone.

    Args:
        texts: RS-274 programs in order.
        tools: T number to tool.
        stock: the slab; its zero is where the programs have X0 Y0 Z0.
        machine: its limits; None = unknown, then `Proof.ok` is never True.
        bounds: (name, tool, bounds) of each cut in order; None = the design is unknown, then `Proof.ok` is never True.
        keep_out: clamps, screws and fences.
        hold: stated hold-downs, each with `.region`.
        clearance: height of rapids over the face, mm; None = not stated.
        at: where the stock's lower left corner (and face) lies in the machine's travel, mm; None = not stated.
        touch_off: (x, y) where tools are set.
        grid: step of the height field, mm; None = chosen from the tools.
        stock_after: the stock as an earlier proof left it (its `.height`).
        artwork: the original, unmirrored region, to compare the cut with.
        face: "back" for work that is read through clear stock from the front.
        confirmed: the maker has looked at the front view.
        minimum_left: least thickness that must remain under cuts that do not go through, mm.
        thin_wall: standing walls narrower than this are told, mm; None = by the material, its grain and the height.
        own: the texts were written by pathgen, so what it never writes is an error.

    Returns:
        The proof. It never raises on a program's content.

    Raises:
        ArgumentError: for no texts, a bad entry in the tool table, or a grid too fine for the memory.
    """
    one_of("face", face, ("top", "back"))
    texts = (texts,) if isinstance(texts, str) else texts
    if not texts:
        raise ArgumentError("there is nothing to prove: give at least one program text")
    check_tools(tools)
    asked = None if bounds is None else tuple((name, tool, off_parts(b)) for name, tool, b in bounds)
    samples = _grid(tools, stock, grid, stock_after)
    stated = {"machine": machine, "clearance": clearance, "keep_out": keep_out, "hold": hold, "at": at}
    setting = _setting(texts, tools, stock, asked, **stated, thin_wall=thin_wall, own=own)
    return _proved(setting, asked, samples, stock_after, hold, artwork, face, confirmed, minimum_left, touch_off)


def check_tools(tools: Mapping[int, Tool]) -> None:
    """Refuse a tool table with anything but whole T numbers and tools that have an outline, naming the entry."""
    if not isinstance(tools, Mapping):
        raise ArgumentError(f"tools={tools!r} must map T numbers to tools, such as {{1: EndMill(6)}}")
    for number, tool in tools.items():
        if isinstance(number, bool) or not isinstance(number, int | np.integer) or number < 0:
            raise ArgumentError(f"tools: {number!r} is no T number: give whole numbers such as {{1: EndMill(6)}}")
        if not isinstance(tool, Tool) or type(tool) is Tool:
            raise ArgumentError(f"tools: T{number} is {tool!r}, not a tool such as EndMill(6)")
        profile_of(tool)


def _setting(
    texts: Sequence[str],
    tools: Mapping[int, Tool],
    stock: Stock,
    asked: tuple[Asked, ...] | None,
    **stated: Any,
) -> Setting:
    """Read the texts back, and put everything that is checked into one value."""
    motions = [read_program(text) for text in texts]
    written = track_of(motions, tools, stock)
    track = level_track(written, stock, asked)
    follows, parting = followed(stock, asked)
    return Setting(
        texts=texts,
        motions=motions,
        track=track,
        strokes=level_strokes(strokes_of(written), stock, asked),
        written=written,
        follows=parting if follows else None,
        tools=tools,
        stock=stock,
        names=tuple(name for name, _, _ in asked or ()),
        lowest=lowest_allowed(asked, stock.thickness) if asked else None,
        open_edges=_open_edges(asked or ()),
        **stated,
    )


def _proved(
    s: Setting,
    asked: tuple[Asked, ...] | None,
    grid: Grid,
    after: HeightMap | None,
    hold: Sequence[Any],
    artwork: Any | None,
    face: str,
    confirmed: bool,
    minimum_left: float | None,
    touch_off: tuple[float, float] | None,
) -> Proof:
    """Cut, compare, and collect what was found (arguments as in `prove`)."""
    field = _start(grid, after)
    before = field.copy() if after is not None else None
    # walls of flat cutters are measured by exact distances, so the field may see their arcs a little coarser
    flat = np.isin(s.track.tool, [n for n, tool in s.tools.items() if isinstance(tool, EndMill)])
    read = s.track if s.written is None else s.written
    coarse = level_strokes(strokes_of(read, sagitta=np.where(flat, COARSE * grid.pixel, SAGITTA)), s.stock, asked)
    met = cut_in_order(coarse, s.tools, grid, field)
    findings = [
        *reach_findings(s, program_findings(s), before, field, grid),
        *keep_out_findings(s),
        *rapid_findings(s, met),
        *standing_findings(s, asked, before, field, grid),
    ]
    blades: tuple[BladeResult, ...] = ()
    measured = None if asked is None else measure(s, asked, field, grid, before=before)
    if measured is None:
        carved = (field < -STEP) & (field > -s.stock.thickness + STEP)
    else:
        assert asked is not None
        carved = measured.carved
        findings += measured.findings
        findings += _asked_findings(s, asked, measured, minimum_left, after)
        findings += pressed_findings(s, asked)
        blades, strayed, rings = blade_findings(s, asked)
        findings += strayed
        carved = carved | inside(rings, grid)
        findings += _touch_findings(s, asked, touch_off, field, grid)
    findings += art_findings(carved, grid, s.stock.width, artwork=artwork, face=face, confirmed=confirmed)
    return Proof(
        findings=tuple(findings),
        height=HeightMap(field, pixel=grid.pixel, origin=_origin(grid)),
        gouge=0.0 if measured is None else measured.gouge,
        residual=0.0 if measured is None else measured.residual,
        unchecked=tuple(_unchecked(s, asked, grid, hold, touch_off, artwork)),
        complete=asked is not None and s.machine is not None,
        removed=sum(removed_volume(field[rows][core], s.stock.thickness, grid) for rows, core in bands(grid)),
        asked=None if measured is None else measured.asked,
        touched=touched(s, asked, grid),
        time=None,
        blades=blades,
        **({} if measured is None else _measures(measured)),
    )


def _measures(measured: Measured) -> dict[str, Any]:
    """Return what was measured as the proof states it."""
    marks = {name: measured.marks.get(what) for name, what in (("deep", "gouge"), ("high", "residual"))}
    for mark in marks.values():
        if mark is not None:
            mark.flags.writeable = False
    return {**measured.sizes, **marks, "cuts": measured.cuts}


def _grid(tools: Mapping[int, Tool], stock: Stock, step: float | None, after: HeightMap | None) -> Grid:
    if after is not None:
        rows, columns = after.array.shape
        return Grid(
            x0=after.origin[0] + 0.5 * after.pixel,
            y0=after.origin[1] + 0.5 * after.pixel,
            pixel=after.pixel,
            rows=rows,
            columns=columns,
        )
    if step is None:
        smallest = min((t.diameter for t in tools.values() if t.spins), default=6.0)
        flat = all(isinstance(t, EndMill) or not t.spins for t in tools.values())
        step = float(np.clip(smallest / 20.0, 0.05, COARSEST)) if flat else min(PIXEL, max(smallest / 20.0, 0.05))
        step = max(step, float(np.sqrt(stock.width * stock.height / MOST_SAMPLES)))
    positive("grid", step)
    if stock.width * stock.height / step**2 > 1.05 * MOST_SAMPLES:
        raise ArgumentError(
            f"grid={step:g} mm over {stock.width:g} x {stock.height:g} mm is more than {MOST_SAMPLES / 1e6:g} million "
            "samples: give a coarser grid"
        )
    return Grid.over(stock.width, stock.height, step)


def _start(grid: Grid, after: HeightMap | None) -> Field:
    if after is not None:
        return np.array(after.array, dtype=np.float32)
    return np.zeros((grid.rows, grid.columns), dtype=np.float32)


def _origin(grid: Grid) -> tuple[float, float]:
    return (grid.x0 - 0.5 * grid.pixel, grid.y0 - 0.5 * grid.pixel)


def _open_edges(asked: Sequence[Asked]) -> frozenset[int]:
    return frozenset(
        k for k, (_, _, b) in enumerate(asked) if any(isinstance(r, Flat | Groove) and r.open_edges for r in b.rules)
    )


def _asked_findings(
    s: Setting, asked: Sequence[Asked], measured: Measured, minimum_left: float | None, after: HeightMap | None
) -> Iterator[Finding]:
    """Yield findings that need both the design and the cut part."""
    yield from through_findings(s, asked, after)
    yield from remaining_findings(s, measured.lowest, minimum_left)
    for name, _, b in asked:
        ridges = [r.ridge for r in b.rules if isinstance(r, Groove) and r.ridge > 0]
        if ridges:
            yield finding(
                "floor-ridge",
                f"Ridges of {max(ridges):.2f} mm may stay on the flat floor.",
                amount=max(ridges),
                cut=name,
            )


def _touch_findings(
    s: Setting, asked: Sequence[Asked], touch_off: tuple[float, float] | None, field: Field, grid: Grid
) -> Iterator[Finding]:
    """Check that the spot where tools are set stays, but for a facing, after which they are set on the faced plane."""
    if touch_off is None or s.stock.zero_height == "table" or len(np.unique(s.strokes.tool)) < 2:
        return
    spot = shapely.Point(touch_off)
    faced = any(isinstance(r, Flat) and r.facing and r.region.covers(spot) for _, _, b in asked for r in b.rules)
    rows, columns = grid.window((touch_off[0] - 0.5, touch_off[1] - 0.5, touch_off[0] + 0.5, touch_off[1] + 0.5))
    around = field[rows, columns]
    if around.size and not faced and float(around.min()) < -STEP:
        yield finding(
            "touch-off-cut",
            f"The spot where tools are set is lowered by {-float(around.min()):.2f} mm.",
            amount=-float(around.min()),
            where=(*touch_off, float(around.min())),
        )


def _unchecked(
    s: Setting, asked: Sequence[Asked] | None, grid: Grid, hold: Sequence[Any], touch_off: Any, artwork: Any | None
) -> Iterator[str]:
    """Yield a sentence for everything that could not be checked."""
    if asked is None:
        yield "What was asked is not known, so the part was held against nothing."
    elif len(asked) > 1 and not (s.track.cut >= 0).any():
        yield "The programs do not name their cuts, so the part was not compared after each of them."
    for name in dict.fromkeys(name for name, _, b in asked or () if not b.rules):
        yield f"Of the cut {name!r} nothing was asked, so what it leaves out or moves was not seen."
    if s.machine is None:
        yield "The machine is not known, so travel, speeds and feeds were not checked."
    elif s.at is None:
        yield "Where the stock lies in the machine's travel is not stated (at=), so only the span of moves was checked."
    if not s.keep_out:
        yield "No clamps, screws or fences are stated (keep_out=), so no move was checked against them."
    if s.stock.thickness_range is None:
        yield "The board's thickness has no range (thickness_range=), so it was taken as exact."
    if not hold:
        yield "How the stock is held is not stated (hold=); its frame was taken as held."
    smallest = min((tool.diameter for tool in s.tools.values() if tool.spins), default=np.inf)
    if grid.pixel > SEEN * smallest:
        yield (
            f"The grid of {grid.pixel:g} mm is coarse for a tool of {smallest:g} mm, so what lies between its samples "
            "was not seen (grid=)."
        )
    yield from not_looked_at(s, asked)
    for number, tool in sorted(s.tools.items()):
        missing = [
            words
            for words, value in (
                ("cutting length", tool.cutting_length if not isinstance(tool, VBit) else 0.0),
                ("stick-out", tool.stick_out),
                ("holder", tool.holder),
            )
            if value is None
        ]
        if tool.spins and missing:
            yield f"T{number} {tool.describe()} states no {', '.join(missing)}, so these were not checked."
        if isinstance(tool, TrailingKnife) and not is_followed(tool, asked):
            yield f"T{number} {tool.describe()}: how its tip trails behind the path was not followed."
    if touch_off is None:
        yield "Where tools are set is not stated (touch_off=)."
    if artwork is None:
        yield "No original is given (artwork=), so the picture was not compared with one."
