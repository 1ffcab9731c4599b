"""Pockets: clearing an area down to a flat floor, with nothing left in it that the tool could reach."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.ops import polylabel

from pathgen.cuts.clearing import Run, check_stepover, sheets
from pathgen.cuts.layers import Entry, floor_cut
from pathgen.cuts.leftover import ears, leftovers
from pathgen.cuts.lines import line_runs
from pathgen.cuts.model import Cut, Cuttings, DepthPlan, cutting_for, plan_depth, tool_notes
from pathgen.cuts.rest import Before, cleared_by, flat_cuts, rest_runs
from pathgen.cuts.rings import ring_runs
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.model.bounds import Flat
from pathgen.model.findings import Finding
from pathgen.model.stock import Depth, Stock
from pathgen.model.tool import Cutting, EndMill, Tool
from pathgen.shape.offset import as_multi, grown
from pathgen.shape.tolerance import PLAN, quad_segs

Pattern: TypeAlias = Literal["rings", "lines"]


def pocket(
    region: Shape,
    tool: Tool,
    *,
    depth: Depth,
    wall_allowance: float = 0.0,
    floor_allowance: float = 0.0,
    pattern: Pattern = "rings",
    angle: float = 0.0,
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
        pattern: "rings" along the outlines, or "lines" at `angle` with a last ring along the walls.
        angle: direction of the lines, degrees counter-clockwise from X.
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
            a depth beyond stock or cutting edges, a plunge with a tool that cannot, unknown words.

    >>> from shapely.geometry import box
    >>> mill = EndMill(6, cutting=Cutting(16000, 1800, 500, 2, 2.5))
    >>> cut, = pocket(box(0, 0, 60, 40), mill, depth=4)
    >>> cut.depth, len(cut.travel)
    (4.0, 2)
    """
    title = name or "pocket"
    one_of("pattern", pattern, ("rings", "lines"))
    if rest_after and pattern != "rings":
        raise ArgumentError(f"{title}: what is left is cleared in rings: give pattern='rings' with rest_after")
    one_of("entry", entry, ("helix", "ramp", "plunge"))
    speeds, plan = _checked(tool, cutting, depth, stock, wall_allowance, floor_allowance, entry, title)
    asked = region_of(region, what=title)
    if wall_allowance:
        asked = grown(asked, -wall_allowance)
    radius, stepover = 0.5 * tool.diameter, check_stepover(tool, speeds, title)
    center = grown(asked, -radius)
    if center.is_empty:
        raise _too_wide(region_of(region, what=title), tool, wall_allowance, title)
    before = tuple(flat_cuts(rest_after))
    if before:
        cleared = cleared_by(before, -plan.bottom - floor_allowance, title=title)
        runs = rest_runs(center, cleared, radius=radius, cutting=speeds)
        if not runs:
            return ()
    elif pattern == "rings":
        runs = _ring_plan(center, radius=radius, cutting=speeds)
    else:
        runs = line_runs(center, radius=radius, stepover=stepover, angle=angle, direction=speeds.direction)
    missed = _missed(asked, center, radius)
    if before:
        missed = as_multi(shapely.difference(missed, cleared))
    cut = floor_cut(
        runs,
        Flat(region=asked, depth=-plan.bottom - floor_allowance),
        center,
        tool=tool,
        cutting=speeds,
        entry=entry,
        stock=stock,
        title=title,
        missed=missed,
    )
    notes = (*cut.notes, *_missed_note(missed, asked, tool, title))
    guessed = bool(getattr(region, "units_guessed", False))
    return (replace(cut, notes=notes, through=plan.through, units_guessed=guessed, after=before),)


def _checked(
    tool: Tool,
    cutting: Cuttings,
    depth: Depth,
    stock: Stock | None,
    wall_allowance: float,
    floor_allowance: float,
    entry: Entry,
    title: str,
) -> tuple[Cutting, DepthPlan]:
    """Return speeds and depth, or raise for what cannot be carried out."""
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"{title}: {tool.describe()} cuts no flat floor: take an end mill")
    speeds = cutting_for(tool, cutting)
    positive("wall_allowance", wall_allowance, zero=True)
    positive("floor_allowance", floor_allowance, zero=True)
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


def _missed(asked: MultiPolygon, center: MultiPolygon, radius: float) -> MultiPolygon:
    """Return what of `asked` no position of the tool covers, without the hairs that chords leave along walls."""
    covered = shapely.buffer(center, radius, quad_segs=quad_segs(radius, PLAN))
    rest = as_multi(shapely.difference(asked, covered))
    parts = np.array(rest.geoms, dtype=object)
    if not len(parts):
        return rest
    return MultiPolygon(parts[~shapely.is_empty(shapely.buffer(parts, -1.5 * PLAN, quad_segs=4))].tolist())


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
