"""The finishing pass along the walls of a pocket: at full depth, joined and left by arcs, so that no mark stays."""

from __future__ import annotations

import numpy as np
from shapely.geometry import MultiPolygon, Point

from pathgen.cuts.clearing import rings_of
from pathgen.cuts.contours import closed_path
from pathgen.cuts.entry import level_at, plane_lengths, stretch
from pathgen.cuts.laps import AIR, OVERLAP
from pathgen.cuts.leads import find_lead, tangent_arcs
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path
from pathgen.model.tool import Cutting, Tool

ASIDE = 0.1
"""How far an arc begins beyond the allowance, in radii of the tool. Larger: needs more room; smaller: the tool comes
down beside what is to be taken with no air between."""


def wall_passes(
    center: MultiPolygon,
    steps: tuple[float, ...],
    *,
    tool: Tool,
    cutting: Cutting,
    allowance: float,
    after: frozenset[int],
    first: int,
    title: str,
) -> tuple[tuple[Pass, ...], tuple[Finding, ...]]:
    """Return the passes that take `allowance` from all walls, and what to say.

    Args:
        center: where the tool's center may be; its outlines are run along, in cutting direction.
        steps: z of the levels before, mm. One pass at the last of them where the cutting edges are long enough or of
            unknown length and a single level was cut, else one at each.
        tool: an end mill.
        cutting: direction.
        allowance: mm.
        after: indices of passes that must be done before.
        first: index of the first pass returned.
        title: the cut's name.
    """
    passes: list[Pass] = []
    notes: list[Finding] = []
    flutes = tool.cutting_length
    heights = steps[-1:] if flutes is not None and flutes >= -steps[-1] - 1e-9 else steps
    radius = 0.5 * tool.diameter
    left = cutting.direction == "climb"
    for piece in center.geoms:
        for ring in rings_of(piece, cutting.direction):
            path = closed_path(ring)
            total = float(plane_lengths(path).sum())
            lead = find_lead(
                path, MultiPolygon([piece]), side="inside", radius=(radius, 0.5 * radius, 0.25 * radius), lifts=[],
                spare=0.0, reach=radius, left=left, stock=None, whole=False, keep_off=Point(), waste=None,
                overlap=min(OVERLAP, 0.25 * total),
            )  # fmt: skip
            at = lead.at if lead is not None else 0.0
            lap = stretch(path, at, at + total + min(OVERLAP, 0.25 * total))
            if lead is not None:
                aside = min(allowance + ASIDE * radius, lead.radius)
                come, leave = tangent_arcs(lap, radius=lead.radius, aside=aside, left=left)
                lap = Path.joined([come, lap, leave])
            else:
                notes.append(_no_lead(lap, title))
            before, above = after, 0.0
            for z in heights:
                run = level_at(lap, z)
                x, y = run.start[:2]
                down = Path.lines(np.array([[x, y, min(above + AIR, 0.0)], [x, y, z]]))
                level = len(steps)
                passes.append(Pass(path=down, role="entry", level=level, after=before))
                passes.append(Pass(path=run, role="finish", level=level, after=frozenset({first + len(passes) - 1})))
                before, above = frozenset({first + len(passes) - 1}), z
    return tuple(passes), tuple(notes)


def _no_lead(lap: Path, title: str) -> Finding:
    x, y, _ = lap.start
    return Finding(
        code="no-lead",
        severity="note",
        text=f"{title}: there is no room for arcs beside the wall: its finishing pass begins and ends on it.",
        advice="Take a smaller tool.",
        where=(float(x), float(y), 0.0),
        cut=title,
    )
