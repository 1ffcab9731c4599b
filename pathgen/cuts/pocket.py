"""Pockets: clearing an area down to a flat floor, with nothing left in it that the tool could reach."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.ops import polylabel

from pathgen.cuts.clearing import Run, check_stepover, sheets
from pathgen.cuts.layers import Entry, floor_cut
from pathgen.cuts.leftover import ears, leftovers
from pathgen.cuts.lines import line_runs
from pathgen.cuts.model import Cut, Cuttings, DepthPlan, cutting_for, described, plan_depth, tool_notes
from pathgen.cuts.rest import Before, cleared_by, flat_cuts, rest_runs
from pathgen.cuts.rings import ring_runs
from pathgen.cuts.steady import steady_runs
from pathgen.cuts.wall import wall_passes
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.model.bounds import Flat
from pathgen.model.findings import Finding
from pathgen.model.stock import Depth, Stock
from pathgen.model.tool import Cutting, EndMill, Tool
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.tolerance import PLAN, quad_segs

MILDEST, WILDEST = 15.0, 120.0
"""Limits of a stated engagement, degrees. Beyond: hardly a chip, or loops that hardly differ from slots."""

HAIR, THIN = 1.5 * PLAN, 0.004
"""What stands off what the tool covers by no more than this, mm, and in radii, is the work of chords. Larger: corners
are reported too small; smaller: every curved wall seems to keep something."""

Pattern: TypeAlias = Literal["rings", "lines", "steady"]

TIGHT = 0.005
"""How much smaller the tool is taken in a piece as wide as itself, mm: its way would else vanish in rounding."""


def pocket(
    region: Shape,
    tool: Tool,
    *,
    depth: Depth,
    wall_allowance: float = 0.0,
    floor_allowance: float = 0.0,
    finish_allowance: float = 0.0,
    finish_floor: float = 0.0,
    pattern: Pattern = "rings",
    angle: float | None = None,
    engagement: float | None = None,
    entry: Entry = "helix",
    rest_after: Before = (),
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Return the cut that clears `region` to a flat floor.

    Args:
        region: what is to be sunk, with islands as holes; mm.
        tool: an end mill.
        depth: mm below the face, or `THROUGH`.
        wall_allowance: what is left on the walls for another cut, mm.
        floor_allowance: what is left on the floor for another cut, mm.
        finish_allowance: what a finishing pass at full depth takes off walls, mm; it joins and leaves them by arcs.
            0 = no such pass.
        finish_floor: what a last level takes from the floor, mm. 0 = no such level.
        pattern: "rings" along the outlines; "lines" at `angle` with a last ring along the walls; "steady": thin
            crescents, so that the tool never cuts at its full width (for metals and hard woods).
        angle: direction of the lines, degrees counter-clockwise from X; None = along the stock's grain, else 0.
        engagement: with "steady", the largest angle of the tool's leading half in material, degrees from 15 to 120;
            None = what a straight cut with the stepover has, acos(1 - stepover / radius).
        entry: how the tool comes down into full material: "helix" (where it fits, else a ramp), "ramp" along
            the first ring, or "plunge" (only tools that cut at their center).
        rest_after: cuts with other tools that run before, as their functions returned them: only what they leave of the
            region is cleared, with a short overlap. They must go at least as deep.
        cutting: speeds; its `stepover` is needed. None takes the tool's own.
        stock: the board; checks the depth, and its material limits how steep an entry may be.
        name: for comments and the sheet; None = "pocket".

    Returns:
        One `Cut`; none where `rest_after` leaves nothing that this tool can reach. Its bounds are the region less the
        wall allowance, at the depth less the floor allowance.

    Raises:
        DrawingError: if the region is empty, open or not valid.
        ArgumentError: for a tool wider than anything in the region, a missing stepover or one above the diameter,
            a depth beyond stock or cutting edges, a plunge with a tool that cannot, unknown words, or a piece in which
            "steady" finds no room for a helix.

    >>> from shapely.geometry import box
    >>> mill = EndMill(6, cutting=Cutting(16000, 1800, 500, 2, 2.5))
    >>> cut, = pocket(box(0, 0, 60, 40), mill, depth=4)
    >>> cut.depth, len(cut.travel)
    (4.0, 2)
    """
    title = name or "pocket"
    before = tuple(flat_cuts(rest_after))
    _check_pattern(pattern, engagement, entry, before, title)
    speeds, plan = _checked(tool, cutting, depth, stock, (wall_allowance, floor_allowance), entry, title)
    _check_finish(finish_allowance, finish_floor, plan.depth - floor_allowance, title)
    asked = region_of(region, what=title)
    if wall_allowance:
        asked = grown(asked, -wall_allowance)
    radius = 0.5 * tool.diameter
    center = _centers(asked, radius)
    if center.is_empty:
        raise _too_wide(region_of(region, what=title), tool, wall_allowance, title)
    rough = _rough(center, asked, radius, finish_allowance, title)
    missed = _missed(asked, center, radius)
    if before:
        cleared = cleared_by(before, -plan.bottom - floor_allowance, title=title)
        check_stepover(tool, speeds, title)
        runs = rest_runs(rough, cleared, radius=radius, cutting=speeds)
        missed = as_multi(shapely.difference(missed, cleared))
        if not runs and not finish_allowance:
            return ()
    elif pattern == "steady":
        angle_of = engagement if engagement is not None else _nominal(tool, check_stepover(tool, speeds, title))
        runs = steady_runs(rough, radius=radius, engagement=angle_of, direction=speeds.direction, title=title)
    elif pattern == "rings":
        check_stepover(tool, speeds, title)
        runs = _ring_plan(rough, radius=radius, cutting=speeds)
    else:
        stepover = check_stepover(tool, speeds, title)
        grain = stock.grain if stock is not None else None
        along = angle if angle is not None else grain or 0.0
        runs = line_runs(rough, radius=radius, stepover=stepover, angle=along, direction=speeds.direction)
    rule = Flat(region=asked, depth=-plan.bottom - floor_allowance)
    cut = floor_cut(
        runs, rule, rough, tool=tool, cutting=speeds, entry=entry, stock=stock, title=title, missed=missed,
        finish_floor=finish_floor,
    )  # fmt: skip
    if finish_allowance:
        cut = _with_walls(cut, center, finish_allowance)
    notes = (*cut.notes, *_missed_note(missed, asked, tool, title))
    guessed = bool(getattr(region, "units_guessed", False))
    return (replace(cut, notes=notes, through=plan.through, units_guessed=guessed, after=before),)


def _check_pattern(
    pattern: Pattern, engagement: float | None, entry: Entry, before: tuple[Cut, ...], title: str
) -> None:
    """Raise `ArgumentError` for words that are unknown or do not go together."""
    one_of("pattern", pattern, ("rings", "lines", "steady"))
    one_of("entry", entry, ("helix", "ramp", "plunge"))
    if before and pattern != "rings":
        raise ArgumentError(f"{title}: what is left is cleared in rings: give pattern='rings' with rest_after")
    if pattern == "steady" and entry != "helix":
        raise ArgumentError(f"{title}: entry={entry!r} cuts at full width: pattern='steady' enters by a helix only")
    if engagement is None:
        return
    if pattern != "steady":
        raise ArgumentError(f"{title}: engagement= is kept by pattern='steady' only: give that, or a stepover")
    if not MILDEST <= positive("engagement", engagement) <= WILDEST:
        raise ArgumentError(f"{title}: engagement={engagement:g} must be {MILDEST:g} to {WILDEST:g} degrees")


def _check_finish(walls: float, floor: float, depth: float, title: str) -> None:
    """Raise `ArgumentError` for finishing passes that cannot be."""
    positive("finish_allowance", walls, zero=True)
    if positive("finish_floor", floor, zero=True) >= depth:
        raise ArgumentError(f"{title}: finish_floor={floor:g} is all of the {depth:g} mm: give about 0.2 mm")


def _nominal(tool: Tool, stepover: float) -> float:
    """Return the engagement of a straight cut with a stepover, degrees."""
    angle = math.degrees(math.acos(1.0 - stepover / (0.5 * tool.diameter)))
    return min(max(angle, MILDEST), WILDEST)


def _rough(center: MultiPolygon, asked: MultiPolygon, radius: float, allowance: float, title: str) -> MultiPolygon:
    """Return where the tool's center may be before the finishing pass along the walls.

    Raises:
        ArgumentError: where a piece of the center region would be left to that pass alone.
    """
    if not allowance:
        return center
    rough = grown(asked, -radius - allowance)
    for piece in center.geoms:
        if not piece.intersects(rough):
            x, y = piece.representative_point().coords[0]
            raise ArgumentError(
                f"{title}: at ({x:.2f}, {y:.2f}) the region is too narrow for finish_allowance={allowance:g} on both "
                "walls: take a smaller tool, or leave finish_allowance out"
            )
    return rough


def _with_walls(cut: Cut, center: MultiPolygon, allowance: float) -> Cut:
    """Return `cut` with a finishing pass along all walls, and what was its last ring as an ordinary one."""
    done = tuple(replace(p, role="cut") if p.role == "finish" else p for p in cut.passes)
    steps = tuple(z for z, _ in cut.travel)
    passes, notes = wall_passes(
        center, steps, tool=cut.tool, cutting=cut.cutting, allowance=allowance, after=frozenset(range(len(done))),
        first=len(done), title=cut.name,
    )  # fmt: skip
    travel = (*cut.travel[:-1], (steps[-1], center))
    return replace(cut, passes=(*done, *passes), notes=(*cut.notes, *notes), travel=travel)


def _checked(
    tool: Tool,
    cutting: Cuttings,
    depth: Depth,
    stock: Stock | None,
    allowances: tuple[float, float],
    entry: Entry,
    title: str,
) -> tuple[Cutting, DepthPlan]:
    """Return speeds and depth, or raise for what cannot be carried out."""
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"{title}: {described(tool)} cuts no flat floor: take an end mill")
    speeds = cutting_for(tool, cutting)
    positive("wall_allowance", allowances[0], zero=True)
    floor_allowance = positive("floor_allowance", allowances[1], zero=True)
    plan = plan_depth(depth, stock=stock)
    if floor_allowance >= plan.depth or (plan.through and floor_allowance):
        raise ArgumentError(
            f"{title}: floor_allowance={floor_allowance:g} leaves nothing of a {plan.depth:g} mm deep pocket, or "
            "stands in a cut that goes through: take less"
        )
    if entry == "plunge" and not tool.center_cutting:
        raise ArgumentError(f"{title}: {tool.describe()} does not cut at its center: take entry='helix' or 'ramp'")
    tool_notes(tool, -plan.bottom, name=title)
    return speeds, plan


def _ring_plan(center: MultiPolygon, *, radius: float, cutting: Cutting) -> list[Run]:
    """Return all runs of a ring pattern, pillars included."""
    assert cutting.stepover is not None
    tree = sheets(center, radius=radius, stepover=cutting.stepover)
    left, owner = leftovers(tree, radius=radius, stepover=cutting.stepover)
    rooms = np.array([s.region for s in tree], dtype=object)
    spots = ears(left, owner, shapely.boundary(rooms), rooms, radius=radius)
    return ring_runs(tree, stepover=cutting.stepover, direction=cutting.direction, radius=radius, ears=spots)


def _centers(asked: MultiPolygon, radius: float) -> MultiPolygon:
    """Return where the tool's center may be; a piece just as wide as the tool is entered along its middle."""
    found: list[Polygon] = []
    for piece in asked.geoms:
        way = grown(piece, -radius)
        x0, y0, x1, y1 = (0.0, 0.0, 0.0, 0.0) if way.is_empty else way.bounds
        if max(x1 - x0, y1 - y0) < TIGHT:
            way = grown(piece, min(TIGHT, 0.5 * radius) - radius, error=0.2 * TIGHT)
        found += way.geoms
    return MultiPolygon(found)


def _missed(asked: MultiPolygon, center: MultiPolygon, radius: float) -> MultiPolygon:
    """Return what of `asked` no position of the tool covers, without the hairs that chords leave along walls.

    What stands clear of the tool by a hair is found first and grown by as much: taking away exactly what is covered
    would cut along walls that both outlines share, which costs any boolean most of its time.
    """
    hair = min(HAIR, THIN * radius)
    covered = shapely.buffer(center, radius + hair, quad_segs=quad_segs(radius, hair / 1.5))
    core = as_multi(shapely.difference(asked, covered))
    if core.is_empty:
        return core
    return as_multi(shapely.intersection(asked, shapely.buffer(core, hair, quad_segs=4)))


def _missed_note(missed: MultiPolygon, asked: MultiPolygon, tool: Tool, title: str) -> tuple[Finding, ...]:
    """Return the note on what the tool cannot reach: how much, and the narrowest place."""
    if missed.is_empty:
        return ()
    parts = np.array(missed.geoms, dtype=object)
    inner = shapely.distance(shapely.point_on_surface(parts), asked.boundary)
    k = int(np.argmin(np.round(inner, 6)))
    spot = parts[k].representative_point()
    return (
        Finding(
            code="unreached",
            severity="note",
            text=(
                f"{tool.describe()} leaves {missed.area:.2f} mm2 in {len(parts)} corners and narrow places; the "
                f"narrowest is {2 * inner[k]:.2f} mm wide."
            ),
            advice="Take a smaller tool for what is left, or let it stand.",
            where=(spot.x, spot.y, 0.0),
            amount=float(missed.area),
            cut=title,
        ),
    )


def _too_wide(region: MultiPolygon, tool: Tool, allowance: float, title: str) -> ArgumentError:
    """Return the error for a tool that fits nowhere, with the widest place."""
    spots = [polylabel(p, tolerance=max(1e-3, 1e-3 * math.sqrt(p.area))) for p in region.geoms]
    widths = [2 * s.distance(region.boundary) for s in spots]
    k = int(np.argmax(widths))
    spare = f", and {allowance:g} mm are to be left on each wall" if allowance else ""
    return ArgumentError(
        f"{title}: {tool.describe()} is wider than anything in the region: its widest place, at ({spots[k].x:.2f}, "
        f"{spots[k].y:.2f}), measures {widths[k]:.2f} mm{spare}. Take a smaller tool or a V bit"
    )
