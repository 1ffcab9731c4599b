"""Both ends of the stock's range: through cuts at the thickest board, and what remains at the thinnest.

A board is never as thick as it is called, so a cut that goes through must do so where the board is thickest, and what
is to remain (a bridge, a skin, a floor) must remain where it is thinnest. Where zero is the table the underside lies at
one height whatever the board measures.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.bounds import Bounds, Bridge, Hole, Kerf
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap
from pathgen.model.tool import Tool
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked, kerf_region, reached
from pathgen.proof.sections import section
from pathgen.proof.setting import STEP, Setting
from pathgen.proof.sweep import lowest_strokes, profile_of

RIM: Final = 0.03
"""How far inside the slot a through cut is looked for, mm: what stands at its rim is measured as a wall."""

HOLDS: Final = 0.5
"""A bridge that may be left with less than this share of what was asked is told."""

MOST: Final = 5
"""Places listed for one cut."""


def undersides(s: Setting) -> tuple[float, float]:
    """Return the heights of the underside where the board is thinnest and where it is thickest, mm (negative)."""
    if s.stock.zero_height == "table":
        return -s.stock.thickness, -s.stock.thickness
    return -s.stock.thinnest, -s.stock.thickest


def through_findings(s: Setting, asked: Sequence[Asked], before: HeightMap | None = None) -> Iterator[Finding]:
    """Yield where cuts do not go through at the thickest board, and bridges that the thinnest one leaves weak.

    Args:
        s: programs, tools and stock.
        asked: what was asked of each cut.
        before: the stock as earlier programs left it.
    """
    through = [(k, r) for k, (_, _, b) in enumerate(asked) for r in b.rules if isinstance(r, Kerf | Hole) and r.through]
    if not through:
        return
    thin, thick = undersides(s)
    gone = section(s.strokes, s.tools, thick + STEP)
    shapely.prepare(gone)
    for k in sorted({k for k, _ in through}):
        name, tool, bounds = asked[k]
        owed = shapely.union_all([owed_through(r, tool, bounds) for j, r in through if j == k])
        left = [p for p in shapely.get_parts(owed.intersection(s.stock.region).difference(gone)) if p.area > RIM * RIM]
        yield from _not_through(s, name, sorted(left, key=lambda p: -p.area), thick, before)
        yield from _weak_bridges(s, name, bounds, thin, thick)
    if s.stock.thickness_range is None:
        yield finding("thickness-range", "A cut goes through a board whose thickness is stated without a range.")


def owed_through(rule: Kerf | Hole, tool: Tool, bounds: Bounds) -> Any:
    """Return the area of a slot that must be gone at the underside, but for bridges, mm.

    Of a flat cutter that is what it reaches, less a rim; of others the middle of the slot, where they are lowest.
    """
    if isinstance(rule, Hole):
        return rule.region.buffer(-RIM)
    whole = kerf_region(rule)
    profile = profile_of(tool)
    if profile is not None and profile.kind == "flat":
        inner = reached(rule, whole, tool).buffer(-RIM)
    else:
        inner = whole.buffer(-0.5 * rule.width + RIM)
    lifted = [r.line.buffer(0.5 * max(r.diameter, rule.width) + RIM) for r in bounds.rules if isinstance(r, Bridge)]
    return inner.difference(shapely.union_all(lifted)) if lifted else inner


def _not_through(
    s: Setting, name: str, left: Sequence[Any], thick: float, before: HeightMap | None
) -> Iterator[Finding]:
    """Yield the places at which a cut stays above the thickest board's underside, the highest first."""
    places = []
    for part in left[: 4 * MOST]:
        spot = part.representative_point()
        low = lowest_strokes(s.strokes, s.tools, spot.x, spot.y)
        k = int(np.argmin(low)) if len(low) else -1
        z = min(float(low[k]) if k >= 0 else 0.0, _height(before, spot.x, spot.y))
        places.append((z - thick, (spot.x, spot.y, z), k if k >= 0 and np.isfinite(low[k]) else -1))
    for gap, where, k in sorted(places, key=lambda p: -p[0])[:MOST]:
        if gap <= STEP:
            continue
        place: dict[str, Any] = {"where": where, "cut": name}
        if k >= 0:
            known = s.place(int(s.strokes.move[k]))
            place |= {word: known[word] for word in ("line", "program")}
        yield finding(
            "not-through",
            f"The cut ends {gap:.2f} mm above the underside where the board is {s.stock.thickest:g} mm thick.",
            amount=gap,
            **place,
        )


def _height(before: HeightMap | None, x: float, y: float) -> float:
    """Return the height of the stock before these programs, mm: 0 where it was whole."""
    if before is None:
        return 0.0
    rows, columns = before.array.shape
    column = min(max(int((x - before.origin[0]) / before.pixel), 0), columns - 1)
    row = min(max(int((y - before.origin[1]) / before.pixel), 0), rows - 1)
    return float(min(before.array[row, column], 0.0))


def _weak_bridges(s: Setting, name: str, bounds: Bounds, thin: float, thick: float) -> Iterator[Finding]:
    """Yield one finding where the board's range leaves bridges with less than half of what was asked."""
    tops = [r.top for r in bounds.rules if isinstance(r, Bridge)]
    if not tops:
        return
    asked, least, most = (min(tops) - z for z in (-s.stock.thickness, thin, thick))
    if least < HOLDS * asked - STEP:
        yield finding(
            "bridge-range",
            f"Bridges asked {asked:.2f} mm thick are {max(least, 0.0):.2f} to {most:.2f} mm over the board's range.",
            amount=max(least, 0.0),
            cut=name,
        )


def remaining_findings(s: Setting, lowest: tuple[float, float, float], minimum_left: float | None) -> Iterator[Finding]:
    """Yield where less than asked remains under cuts that do not go through, at the thinnest board.

    Args:
        s: programs, tools and stock.
        lowest: (x, y, z) of the lowest place that is not to be parted, mm.
        minimum_left: least thickness that must remain, mm; None = anything above nothing.
    """
    thin, _ = undersides(s)
    # a board that is lower somewhere may be thinner there: what remains is told for its lowest place
    left = lowest[2] - thin - (s.stock.dip if s.follows is not None else 0.0)
    least = 0.0 if minimum_left is None else minimum_left
    if left >= least - STEP and not (minimum_left is None and left <= STEP):
        return
    words = f"{left:.2f} mm are left" if left > STEP else "Nothing is left under a cut that is not to go through"
    wanted = f"; {minimum_left:g} were asked" if minimum_left is not None else ""
    yield finding(
        "too-little-left",
        f"{words} where the board is {s.stock.thinnest:g} mm thick{wanted}.",
        amount=least - left,
        where=lowest,
    )
