"""Slots one cutter wide, thin sheet, and which way a cutter's spiral sends its chips."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.model.tool import EndMill, Tool
from pathgen.proof.codes import finding
from pathgen.proof.sections import section
from pathgen.proof.setting import NOISE, STEP, Setting
from pathgen.proof.strokes import Strokes, strokes_of
from pathgen.shop.materials import material

WIDE = 1.3
"""From this many diameters on, chips find their way out beside the cutter. Common practice, no source."""

SLOT_AREA = 2.0
"""Narrow places of less than this many square diameters are corners and holes, not slots."""

DOWN_SPIRAL = 1.5
"""Deepest slot for a down spiral, diameters. Common practice, no source."""

THIN = 6.0
"""Sheet up to this thickness is lifted by an up spiral, mm. Common practice, no source."""

SAGITTA = 0.02
"""Largest distance of a chord from its arc, mm: widths are told to a tenth of a diameter here."""

LEVEL_SHARE = 0.6
"""A level is one that runs along this share of the slot; shorter ones are the tops of bridges."""


def slots(s: Setting) -> Iterator[Finding]:
    """Check that chips can leave: lifts in deep slots, no down spiral in them."""
    rules = material(s.stock.material)
    flat = [n for n, tool in s.tools.items() if isinstance(tool, EndMill)]
    least = min((min(DOWN_SPIRAL, rules.slot_depth) * s.tools[n].diameter for n in flat), default=np.inf)
    if not (s.strokes.lowest[np.isin(s.strokes.tool, flat)] < -least).any():
        return
    st = strokes_of(s.track, sagitta=SAGITTA)
    for number, tool in sorted(s.tools.items()):
        if not isinstance(tool, EndMill):
            continue
        own = np.flatnonzero((st.tool == number) & ~st.rapid)
        deepest = -float(st.lowest[own].min(initial=0.0))
        lifted = rules.slot_depth * tool.diameter
        if deepest > lifted + STEP:
            yield from _not_lifted(s, st, tool, own, lifted)
        packed = DOWN_SPIRAL * tool.diameter
        if tool.spiral == "down" and deepest > packed + STEP:
            row = _deepest_in(st, own, _narrow(s, st, tool, packed))
            if row is not None:
                yield finding(
                    "down-spiral-deep", f"A down spiral cuts a slot {deepest:.1f} mm deep, {tool.diameter:g} mm wide.",
                    amount=deepest, **s.place(row),
                )  # fmt: skip


def _narrow(s: Setting, st: Strokes, tool: Tool, depth: float) -> shapely.Geometry:
    """Return the places cut deeper than `depth` that are less than `WIDE` diameters wide."""
    flat = [n for n, other in s.tools.items() if isinstance(other, EndMill)]
    cut = section(st[~st.rapid & np.isin(st.tool, flat)], s.tools, -depth - STEP, quad_segs=8)
    r = 0.5 * WIDE * tool.diameter
    narrow = cut.difference(cut.buffer(-r).buffer(1.001 * r))
    least = SLOT_AREA * tool.diameter**2
    return shapely.union_all([p for p in shapely.get_parts(narrow) if p.area > least])


def _deepest_in(st: Strokes, own: IntArray, slot: shapely.Geometry) -> int | None:
    """Return the move of the deepest of strokes `own` that ends in `slot`."""
    if slot.is_empty:
        return None
    shapely.prepare(slot)
    inside = own[shapely.contains_xy(slot, st.b[own, :2])]
    if not len(inside):
        return None
    return int(st.move[inside[np.argmin(st.lowest[inside])]])


def _not_lifted(s: Setting, st: Strokes, tool: Tool, own: IntArray, limit: float) -> Iterator[Finding]:
    """Check each slot deeper than `limit`: between two lifts above the face only one level of it is cut.

    Counted from the text: strokes that run level below the limit, by their height, each run between lifts apart. A
    path that sinks by more than a diameter below the limit in one run does not lift either.
    """
    slot = _narrow(s, st, tool, limit)
    if slot.is_empty:
        return
    shapely.prepare(slot)
    deep = own[st.lowest[own] < -limit - STEP]
    deep = deep[shapely.contains_xy(slot, st.b[deep, :2])]
    up = np.cumsum((st.b[:, 2] > -STEP) | (st.a[:, 2] > -STEP))  # strokes of one run share a number
    worst: tuple[float, int] | None = None
    for run in np.unique(up[deep]):
        rows = deep[up[deep] == run]
        sunk = _sunk(st.a[rows], st.b[rows], slot.area / tool.diameter, tool.diameter)
        if sunk > STEP and (worst is None or sunk > worst[0]):
            worst = (sunk, int(st.move[rows[np.argmin(st.lowest[rows])]]))
    if worst is not None:
        deepest = -float(st.lowest[deep].min())
        yield finding(
            "slot-chips",
            f"A slot {deepest:.1f} mm deep and {tool.diameter:g} mm wide sinks by {worst[0]:.1f} mm without a lift.",
            amount=worst[0],
            **s.place(worst[1]),
        )


def _sunk(a: FloatArray, b: FloatArray, length: float, diameter: float) -> float:
    """Return how far the floor of a slot of this `length` sinks in one run of strokes a to b, mm; 0 for one level."""
    level = np.abs(a[:, 2] - b[:, 2]) < STEP
    heights, owner = np.unique(np.round(b[level, 2], 2), return_inverse=True)
    along = np.bincount(owner, np.hypot(*(b - a)[level, :2].T), minlength=len(heights))
    levels = heights[along > LEVEL_SHARE * length]
    by_levels = float(levels.max() - levels.min()) if len(levels) > 1 else 0.0
    z = np.concatenate([a[:, 2], b[:, 2]])
    by_slope = float(z.max() - z.min())
    sloping = float(np.hypot(*(b - a)[~level, :2].T).sum())
    return max(by_levels, by_slope if by_slope > diameter and sloping > length else 0.0)


def spirals(s: Setting) -> Iterator[Finding]:
    """Check up spirals in thin sheet, and the first pass of cutters with two spirals."""
    t = s.track
    cutting = (t.kind != RAPID) & (t.end[:, 2] < -STEP)
    for number, tool in sorted(s.tools.items()):
        rows = np.flatnonzero(cutting & (t.tool == number))
        if not tool.spins or not len(rows):
            continue
        through = t.end[rows, 2] <= -s.stock.thickness + STEP
        thin = s.stock.thickness <= THIN and not s.hold
        if thin and isinstance(tool, EndMill) and tool.spiral == "up" and through.any():
            yield finding(
                "up-spiral-thin", f"An up spiral cuts through sheet of {s.stock.thickness:g} mm; nothing holds it.",
                amount=float(s.stock.thickness), **s.place(int(rows[through][0])),
            )  # fmt: skip
        if tool.spiral == "both" and tool.up_cut_length is not None:
            yield from _first_passes(s, rows, tool.up_cut_length)


def _first_passes(s: Setting, rows: IntArray, end: float) -> Iterator[Finding]:
    """Yield a finding for each cut whose first level is no deeper than the up-cut `end` of its cutter, mm."""
    t = s.track
    step = t.end[rows] - t.start[rows]
    flat: BoolArray = (np.abs(step[:, 2]) < STEP) & (np.hypot(step[:, 0], step[:, 1]) > NOISE)
    level = rows[flat]
    for cut in np.unique(t.cut[level]):
        first = int(level[t.cut[level] == cut][0])
        depth = -float(t.end[first, 2])
        if depth <= end + NOISE:
            yield finding(
                "both-shallow", f"The first pass is {depth:.2f} mm deep, the up-cut end {end:g} mm long.",
                amount=depth, **s.place(first),
            )  # fmt: skip
