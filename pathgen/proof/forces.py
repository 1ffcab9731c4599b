"""What a cutter pushes with, and what bridges and stated hold-downs bear.

Terminology
-----------
chip section
    The area that one edge peels off at once, seen along its way: axial depth x chip thickness, mm2.
level
    Axial depth is how far a stroke lies below the next level stroke of the same tool and cut above it: what its edges
    find standing, without a look at the field.

The force is the specific energy times the chip section of all edges in the cut (P = U x removal rate, divided by the
cutting speed; Groover, Fundamentals of Modern Manufacturing, chapter on theory of metal machining), for full width,
with a dull edge. Sideways a half more acts across it; an up spiral of 30 degrees lifts with tan 30 of it (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.holding import Hold, Screws, Tape, Vacuum
from pathgen.model.tool import Tool, VBit
from pathgen.proof.checks import NOISE, STEP, Setting
from pathgen.proof.codes import finding
from pathgen.proof.pieces import SKIN, Bridged, sides, stated, underside
from pathgen.proof.walls import lines_of
from pathgen.shop.strength import DULL, SAFETY, strength

ACROSS: Final = 0.5
"""Force across the way of the edges, in parts of that along it. From memory (0.3 to 0.6)."""

SPIRAL: Final = 30.0
"""Angle of a router cutter's spiral, degrees. Common practice, no source."""

FRICTION: Final = 0.3
"""Friction of a board on a vacuum table. Common practice, no source (wood on a sealing mat: 0.3 to 0.6)."""

SCREW: Final = 300.0
"""What one screw bears, N, sideways or upwards. Common practice, no source (4 mm in soft table tops)."""

BESIDE: Final = 0.5
"""Strokes whose cutter comes nearer to a piece than this push on it, mm."""

AT_ONCE: Final = 512
"""Strokes held against a piece at a time, hardest first."""


@dataclass(frozen=True, kw_only=True)
class Push:
    """The hardest push on a piece.

    Attributes:
        side: sideways, N.
        lift: upwards, N.
        stroke: which stroke.
    """

    side: float
    lift: float
    stroke: int


def forces(s: Setting) -> tuple[FloatArray, FloatArray]:
    """Return the force sideways and upwards, N, of each stroke; 0 where none is known (rapids, no speed or feed)."""
    side, lift = np.zeros(len(s.strokes)), np.zeros(len(s.strokes))
    figures = strength(s.stock.material)
    if figures.energy is None:
        return side, lift
    st = s.strokes
    feed, rpm = s.track.feed[st.move], np.abs(s.track.rpm[st.move])
    cutting = ~st.rapid & (st.lowest < -NOISE) & (feed > 0) & (rpm > 0)
    for number in np.unique(st.tool[cutting]):
        tool = s.tools.get(int(number))
        if tool is None or not tool.spins:
            continue
        own = np.flatnonzero(cutting & (st.tool == number))
        chip = feed[own] / (rpm[own] * tool.flutes)
        edges = max(1.0, 0.5 * tool.flutes)
        # U(h) x section, N: 1 J/mm3 is 1000 N/mm2
        along = DULL * 1000.0 * figures.chip_energy(chip) * chip * _engaged(s, own, tool) * edges
        side[own] = along * math.hypot(1.0, ACROSS)
        if tool.spiral == "up":
            lift[own] = along * math.tan(math.radians(SPIRAL))
    return side, lift


def _engaged(s: Setting, own: IntArray, tool: Tool) -> FloatArray:
    """Return the length of edge in the cut, mm, of one tool's strokes."""
    st = s.strokes
    low = st.lowest[own]
    if isinstance(tool, VBit):
        deep = -low
        if tool.cutting is not None and tool.cutting.stepdown is not None:
            deep = np.minimum(deep, tool.cutting.stepdown)
        return deep / math.cos(math.radians(0.5 * tool.angle))
    depth = np.empty(len(own))
    for cut in np.unique(st.cut[own]):
        these = st.cut[own] == cut
        rise = st.b[own[these], 2] - st.a[own[these], 2]
        turned = np.maximum.accumulate(np.where(np.abs(rise) > NOISE, np.arange(len(rise)), 0))
        # a level is come down to; what is gone up to is a bridge or a link
        level = (np.abs(rise) <= NOISE) & (rise[turned] <= NOISE)
        heights = np.unique(np.round(np.append(st.a[own[these][level], 2], 0.0), 3))
        above = np.searchsorted(heights, low[these] + STEP)
        depth[these] = heights[np.minimum(above, len(heights) - 1)] - low[these]
    return np.maximum(depth, 0.0)


def hardest(s: Setting, piece: Any, force: tuple[FloatArray, FloatArray], *, below: float) -> Push | None:
    """Return the hardest push of the strokes beside a piece, from the first on that goes down to `below`, or None."""
    side, lift = force
    st = s.strokes
    x0, y0, x1, y1 = piece.bounds
    radius = s.tool_table(lambda tool: 0.5 * tool.diameter, 0.0)[st.move] + BESIDE
    low, high = np.minimum(st.a, st.b), np.maximum(st.a, st.b)
    near = (side > 0) & (low[:, 0] < x1 + radius) & (high[:, 0] > x0 - radius)
    near &= (low[:, 1] < y1 + radius) & (high[:, 1] > y0 - radius)
    rows = np.flatnonzero(near)
    deep = np.flatnonzero(st.lowest[rows] <= below)
    rows = rows[deep[0] :] if len(deep) else rows[:0]
    rows = rows[np.argsort(-side[rows], kind="stable")]
    for k in range(0, len(rows), AT_ONCE):
        some = rows[k : k + AT_ONCE]
        touching = some[shapely.distance(lines_of(st[some]), piece) < radius[some]]
        if len(touching):
            return Push(side=float(side[touching[0]]), lift=float(lift[touching].max()), stroke=int(touching[0]))
    return None


def bridge_force_findings(
    s: Setting, held: Sequence[Bridged], force: tuple[FloatArray, FloatArray]
) -> Iterator[Finding]:
    """Yield a finding for each piece of which a bridge is weak for the force beside it.

    A bridge's section at its narrowest times the material's shear strength must bear the whole push alone, twice over:
    the bridge nearest to the cutter takes nearly all of it.
    """
    figures = strength(s.stock.material)
    for one in held:
        push = None if stated(one.region, s.hold) else hardest(s, one.region, force, below=underside(s) + SKIN)
        if push is None:
            continue
        weakest = min(one.bridges, key=lambda b: b.length * b.height)
        bears = weakest.length * weakest.height * figures.shear
        needs = math.hypot(push.side, push.lift)
        if bears < SAFETY * needs:
            known = s.place(int(s.strokes.move[push.stroke]))
            yield finding(
                "bridge-weak",
                f"A bridge of {weakest.length:.1f} x {weakest.height:.2f} mm bears {bears:.0f} N, the cutter pushes "
                f"with {needs:.0f} N (computed; {SAFETY:g} times that is asked).",
                amount=bears / needs,
                where=(*weakest.at, underside(s) + weakest.height),
                **{k: known[k] for k in ("line", "cut", "program")},
            )


def hold_findings(s: Setting, left: Sequence[Any], force: tuple[FloatArray, FloatArray]) -> Iterator[Finding]:
    """Yield a finding for each piece whose stated hold-downs bear less than the push, or less than twice that.

    Args:
        s: programs, tools and stock.
        left: what `pieces` returned; the frame, too, is checked where a hold-down is stated under it.
        force: what `forces` returned.
    """
    for k, piece in enumerate(left):
        own = stated(piece, s.hold)
        push = hardest(s, piece, force, below=-NOISE if k == 0 else underside(s) + SKIN) if own else None
        if push is None:
            continue
        side, up = bearing(own, piece, push.lift)
        share = min(side / push.side, up / push.lift if push.lift > 0 else math.inf)
        known = s.place(int(s.strokes.move[push.stroke]))
        a, b = sides(piece)
        at = piece.representative_point()
        place: dict[str, Any] = {key: known[key] for key in ("line", "cut", "program")}
        place |= {"where": (float(at.x), float(at.y), -float(s.stock.thickness))}
        what = f"a piece of {a:.1f} x {b:.1f} mm"
        if share < SAFETY:
            yield finding(
                "hold-weak" if share < 1 else "hold-slight",
                f"What is stated to hold {what} bears {side:.0f} N sideways and {up:.0f} N upwards; the cutter pushes "
                f"with {push.side:.0f} N and lifts with {push.lift:.0f} N (computed; {SAFETY:g} times that is asked).",
                amount=share,
                **place,
            )
        screws = [n for h in own if isinstance(h, Screws) for n in h.points if piece.covers(shapely.Point(n))]
        if k and len(screws) == 1 and all(isinstance(h, Screws) for h in own):
            yield finding("one-screw", f"One screw alone holds {what}.", **place)


def bearing(own: Sequence[Hold], piece: Any, lift: float) -> tuple[float, float]:
    """Return what hold-downs bear sideways and upwards under a piece, N.

    Tape bears its shear strength both ways (pulled off straight, most tape bears no less); a vacuum its pressure times
    the area upwards, and by friction sideways, less what the cutter lifts; a screw a fixed force.

    Args:
        own: hold-downs.
        piece: mm.
        lift: of the cutter, N.
    """
    side = up = pull = 0.0
    for h in own:
        area = float(h.region.intersection(piece).area)
        if isinstance(h, Tape):
            side, up = side + h.shear * area, up + h.shear * area
        elif isinstance(h, Vacuum):
            pull += 1e-3 * h.pressure * area  # 1 kPa is 0.001 N/mm2
        else:
            n = sum(bool(piece.covers(shapely.Point(p))) for p in h.points)
            side, up = side + n * SCREW, up + n * SCREW
    return side + FRICTION * max(pull - max(lift - up, 0.0), 0.0), up + pull
