"""Details that are smaller than the tool which is to cut them: where, and how much stays.

What a round cutter leaves in corners is no detail: only what lies further than a radius from all that the tools can
reach, a narrow arm or a corner sharper than 60 degrees.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.bounds import Flat, Groove, Kerf
from pathgen.model.findings import Finding
from pathgen.model.tool import Tool, VBit
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked, kerf_region, reached, rule_depth

SMALLEST: Final = 0.05
"""Details of less than this many mm2 are no detail: what offsets and a drawing's chords leave."""

QUAD: Final = 16
"""Segments in a quarter of round offsets here: at a radius of 5 mm they err by 0.006 mm, far below any detail."""


def detail_findings(asked: Sequence[Asked]) -> Iterator[Finding]:
    """Yield a finding for each cut with a detail that no tool of the job reaches at its depth.

    Args:
        asked: (name, tool, bounds) of each cut.
    """
    floors = [(k, r, tool) for k, (_, tool, b) in enumerate(asked) for r in b.rules if isinstance(r, Flat | Kerf)]
    grooves = [(k, r) for k, (_, _, b) in enumerate(asked) for r in b.rules if isinstance(r, Groove)]
    done: dict[int, Any] = {}
    for k, (name, tool, bounds) in enumerate(asked):
        left, away, top = [], 0.0, 0.0
        for rule in bounds.rules:
            if isinstance(rule, Flat | Kerf):
                region = kerf_region(rule) if isinstance(rule, Kerf) else rule.region
                away, top = 0.5 * tool.diameter, rule_depth(rule)
                others = [(j, r, t) for j, r, t in floors if j != k and rule_depth(r) >= rule_depth(rule) - 1e-6]
                # the floor of another cut's groove is finished by its bit
                bits = [r.region for j, r in grooves if j != k and r.limit >= top - 1e-6]
                found = [
                    p for p in _beyond(region, _reach(rule, tool, done), away) if not any(bit.covers(p) for bit in bits)
                ]
                left += [p for p in found for p in _parts(p, others, done)]
            elif isinstance(rule, Groove) and rule.tip > 0 and isinstance(tool, VBit):
                away, top = 0.5 * rule.tip, 0.0
                wide = rule.region.buffer(-away, quad_segs=QUAD).buffer(away, quad_segs=QUAD)
                left += _beyond(rule.region, wide, away)
        if left:
            yield _finding(name, tool, left, top)


def _reach(rule: Flat | Kerf, tool: Tool, done: dict[int, Any]) -> Any:
    if id(rule) not in done:
        done[id(rule)] = reached(rule, kerf_region(rule) if isinstance(rule, Kerf) else rule.region, tool)
    return done[id(rule)]


def _beyond(region: Any, reach: Any, away: float) -> list[Any]:
    """Return the pieces of `region` outside `reach` of which some place is further than `away` from it."""
    parts = shapely.get_parts(region.difference(reach))
    parts = parts[shapely.area(parts) > SMALLEST]
    return [p for p in parts if _farther(p, reach, away)]


def _farther(piece: Any, reach: Any, away: float) -> bool:
    """Whether some corner of a piece is further than `away` from `reach`; only what is near is looked at."""
    near = reach.intersection(shapely.box(*piece.bounds).buffer(away, cap_style="square", join_style="mitre"))
    far = shapely.distance(shapely.points(shapely.get_coordinates(piece)), near)
    return bool(near.is_empty or far.max() > away)


def _parts(piece: Any, others: Sequence[tuple[int, Any, Tool]], done: dict[int, Any]) -> list[Any]:
    """Return what other cuts, as deep or deeper, leave of a piece; their corners do not count either."""
    left = [piece]
    for _, rule, tool in others:
        if left and _around(rule).intersects(piece):
            reach = _reach(rule, tool, done)
            left = [p for part in left for p in _beyond(part, reach, 0.5 * tool.diameter)]
    return left


def _around(rule: Flat | Kerf) -> Any:
    """Return the rectangle round what a rule lets be cut, mm."""
    shape, grow = (rule.region, 0.0) if isinstance(rule, Flat) else (rule.shape, rule.width)
    x0, y0, x1, y1 = shape.bounds
    return shapely.box(x0 - grow, y0 - grow, x1 + grow, y1 + grow)


def _finding(name: str, tool: Tool, left: Sequence[Any], depth: float) -> Finding:
    areas = np.array([p.area for p in left])
    largest = left[int(np.argmax(areas))]
    middle = shapely.get_coordinates(shapely.maximum_inscribed_circle(largest, tolerance=0.01))
    width = 2.0 * float(np.hypot(*(middle[1] - middle[0])))
    more = f" in {len(left)} places" if len(left) > 1 else ""
    return finding(
        "detail-too-small",
        f"{tool.describe()} cannot cut a detail {width:.2f} mm wide: {areas.sum():.2f} mm2 stay{more}.",
        amount=float(areas.sum()),
        where=(float(middle[0, 0]), float(middle[0, 1]), -float(min(depth, 1e6))),
        cut=name,
    )
