"""A plan in the plane made into passes at each level, with the ways down into the material."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.clearing import Move, Run
from pathgen.cuts.entry import entry_angle, helix, ramp
from pathgen.cuts.model import Cut, Pass, levels, tool_notes
from pathgen.errors import ArgumentError, InternalError
from pathgen.model.arrays import FloatArray
from pathgen.model.bounds import Bounds, Flat
from pathgen.model.findings import Finding
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, Direction, Tool
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.tolerance import ARC_FIT

Entry: TypeAlias = Literal["helix", "ramp", "plunge"]

ENTRY_ABOVE = 0.2
"""An entry begins this far above the material it enters, mm. Larger: time in air; smaller: an uneven top is met
early."""

LEAST_BORE, BEST_BORE = 1.2, 1.5
"""Width of a helical entry's bore in diameters: below 1.2 the tool's middle rubs, above 1.8 a core stands. Common
practice, no source."""

INNER_SIMPLIFY = 0.002
"""Rings that make no wall are drawn through fewer vertices, off by this at most, mm. Larger: their chords no longer
become arcs; smaller: time."""

MOST_TURNS = 60
"""More turns than this on one ramp mean a ring too short to ramp on. Larger: the tool rubs round and round a
spot; smaller: small pockets are refused."""


def passes_at(
    runs: list[Run], steps: tuple[float, ...], *, descent: Descent, slot: float, top: float = 0.0
) -> tuple[Pass, ...]:
    """Return the passes of `runs` repeated at each level.

    Args:
        runs: the plan in the plane.
        steps: z of each level, from above, mm.
        descent: the way down where a run begins in full material.
        slot: factor on feed where the tool cuts at its full width.
        top: z of the face before the cut, mm.

    Raises:
        ArgumentError: where no entry is possible.
    """
    passes: list[Pass] = []
    order = _in_order(runs)
    drawn = iter(_drawn([m for run in runs for m in run.moves]))
    flat = [[next(drawn) for _ in run.moves] for run in runs]
    for level, (above, z) in enumerate(zip((top, *steps), steps, strict=False)):
        last: dict[int, int] = {}
        for k in order:
            after = frozenset(last[n] for n in runs[k].needs)
            if runs[k].entry:
                path = descent.path(runs[k], above + ENTRY_ABOVE, z)
                passes.append(Pass(path=path, role="entry", level=level, after=after))
                after = frozenset({len(passes) - 1})
            for move, rows in zip(runs[k].moves, flat[k], strict=True):
                passes.append(
                    Pass(
                        path=Path(rows + np.array([0.0, 0.0, z, 0.0])),
                        role=move.role,
                        level=level,
                        closed=move.closed,
                        after=after,
                        feed_factor=slot if move.slot else 1.0,
                    )
                )
                after = frozenset({len(passes) - 1})
            last[k] = len(passes) - 1
    return tuple(passes)


def _drawn(moves: list[Move]) -> list[FloatArray]:
    """Return the rows (x, y, 0, bulge) of each move, with arcs where its vertices lie on a curve.

    All moves are fitted in one go: each at a height of its own, and no arc leads from one height to another.
    """
    rows: list[FloatArray] = [np.column_stack([m.xy, np.zeros((len(m.xy), 2))]) for m in moves]
    curved = [k for k, m in enumerate(moves) if m.curved and len(m.xy) > 2]
    if not curved:
        return rows
    inner = [k for k in curved if moves[k].role == "cut"]
    owner = np.repeat(np.arange(len(inner)), [len(moves[k].xy) for k in inner])
    lines = shapely.linestrings(np.concatenate([moves[k].xy for k in inner]), indices=owner) if inner else []
    slim = shapely.simplify(lines, INNER_SIMPLIFY, preserve_topology=False)
    outlines = {k: moves[k].xy for k in curved} | {
        k: shapely.get_coordinates(c) for k, c in zip(inner, slim, strict=True)
    }
    tagged = [np.column_stack([outlines[k], np.full(len(outlines[k]), 1000.0 * n)]) for n, k in enumerate(curved)]
    fitted = fit_arcs(np.concatenate(tagged), tolerance=ARC_FIT)
    tag = np.round(fitted[:, 2] / 1000.0).astype(np.int64)
    ends = np.searchsorted(tag, np.arange(len(curved) + 1))
    for n, k in enumerate(curved):
        part = fitted[ends[n] : ends[n + 1]].copy()
        part[:, 2] = 0.0
        part[0, 3] = 0.0
        rows[k] = part
    return rows


def _in_order(runs: list[Run]) -> list[int]:
    """Return indices so that every run stands after those it needs."""
    order: list[int] = []
    placed: set[int] = set()
    for k in range(len(runs)):
        stack = [k]
        while stack:
            n = stack[-1]
            missing = [m for m in sorted(runs[n].needs) if m not in placed]
            if missing:
                stack.extend(missing)
                continue
            stack.pop()
            if n not in placed:
                placed.add(n)
                order.append(n)
    return order


@dataclass(frozen=True, eq=False, kw_only=True)
class Descent:
    """How a cut comes down into full material.

    Attributes:
        entry: the way wished for; a helix that does not fit becomes a ramp.
        angle: steepest entry, degrees.
        center: where the tool's center may be; helices stay in it.
        tool: of which the diameter sizes a helix.
        direction: of a helix.
        title: the cut's name, for messages.
        notes: filled with a finding for each place where the tool had to plunge unasked.
    """

    entry: Entry
    angle: float
    center: BaseGeometry
    tool: Tool
    direction: Direction
    title: str
    notes: list[Finding] = field(default_factory=list)

    def path(self, run: Run, z_from: float, z_to: float) -> Path:
        """Return the way down to the start of a run.

        Raises:
            ArgumentError: where the first move is too short to ramp along and the tool may not plunge.
        """
        first = run.moves[0]
        x, y = first.xy[0]
        straight = Path.lines([[x, y, z_from], [x, y, z_to]])
        if self.entry == "plunge":
            return straight
        found = self._helix(first.xy, run.room, z_from, z_to) if self.entry == "helix" else None
        if found is not None:
            return found
        way = Path.lines(np.column_stack([first.xy, np.zeros(len(first.xy))]))
        if (z_from - z_to) / math.tan(math.radians(self.angle)) <= MOST_TURNS * way.length:
            return ramp(way, z_from, z_to, angle=self.angle)
        if self.tool.center_cutting:
            self._say_plunged(float(x), float(y))
            return straight
        raise ArgumentError(
            f"{self.title}: at ({x:.2f}, {y:.2f}) there is no room for {self.tool.describe()} to ramp down, and it "
            "does not cut at its center: take a smaller tool, or one that may plunge"
        )

    def _say_plunged(self, x: float, y: float) -> None:
        place = (x, y, 0.0)
        if all(n.where != place for n in self.notes):
            self.notes.append(
                Finding(
                    code="plunge-entry",
                    severity="warning",
                    text=f"{self.tool.describe()} goes straight down: there is no room to ramp.",
                    advice="Take a smaller tool, or drill there first.",
                    where=place,
                    cut=self.title,
                )
            )

    def _helix(self, xy: FloatArray, room: float, z_from: float, z_to: float) -> Path | None:
        """Return a helix that ends on the start of `xy`, tangent to it; None where its bore does not fit.

        Its middle lies on the inner side of a ring, so that the whole bore lies within 2 r of the start.
        """
        if self.angle >= 90:
            return None
        along = xy[1] - xy[0]
        left = 1.0 if self.direction == "climb" else -1.0
        normal = left * np.array([-along[1], along[0]]) / np.hypot(*along)
        least = 0.5 * (LEAST_BORE - 1.0) * self.tool.diameter
        radius = min(0.5 * (BEST_BORE - 1.0) * self.tool.diameter, 0.5 * room)
        if radius < least:
            radius = least
            if not self.center.covers(shapely.Point(xy[0] + 1.001 * radius * normal).buffer(radius)):
                return None
        middle = xy[0] + radius * normal
        begin = math.degrees(math.atan2(*(xy[0] - middle)[::-1]))
        for start in (begin, begin + 180.0):
            path = helix(
                (float(middle[0]), float(middle[1])),
                radius,
                z_from,
                z_to,
                angle=self.angle,
                direction=self.direction,
                start_angle=start,
            )
            if np.hypot(*(path.end[:2] - xy[0])) < radius:
                rows = path.points.copy()
                rows[-1, :2] = xy[0]
                return Path(rows)
        raise InternalError(f"{self.title}: a helix does not end where it must: please report it with the drawing")


def floor_cut(
    runs: list[Run],
    rule: Flat,
    center: MultiPolygon,
    *,
    tool: Tool,
    cutting: Cutting,
    entry: Entry,
    stock: Stock | None,
    title: str,
    missed: MultiPolygon,
    finish_floor: float = 0.0,
) -> Cut:
    """Return the cut that takes `runs` down to a flat floor in equal levels.

    Args:
        runs: the plan in the plane.
        rule: what was asked.
        center: where the tool's center may be.
        tool: an end mill.
        cutting: speeds.
        entry: the way down wished for.
        stock: the board; its material limits how steep an entry may be.
        title: the cut's name.
        missed: what no position of the tool covers.
        finish_floor: what a last level takes from the whole floor, mm; 0 = there is none.
    """
    steps = levels(finish_floor - rule.depth, cutting.stepdown)
    if finish_floor:
        steps = (*steps, -rule.depth)
    descent = Descent(
        entry=entry,
        angle=entry_angle(cutting, tool, stock),
        center=center,
        tool=tool,
        direction=cutting.direction,
        title=title,
    )
    passes = passes_at(runs, steps, descent=descent, slot=cutting.slot)
    return Cut(
        name=title,
        tool=tool,
        cutting=cutting,
        passes=passes,
        bounds=Bounds((rule,)),
        depth=rule.depth,
        travel=tuple((z, center) for z in steps),
        notes=(*tool_notes(tool, rule.depth, name=title), *descent.notes),
        unreached=missed,
        stock=stock,
    )
