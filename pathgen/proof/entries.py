"""How tools enter the material: plunges, ramps and helical bores."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.motion import ARC, RAPID
from pathgen.model.tool import EndMill
from pathgen.proof.codes import finding
from pathgen.proof.setting import STEP, Setting, drops, found
from pathgen.shop.materials import material

STEEP = 60.0
"""Steeper moves are plunges, flatter ones ramps, degrees below level."""

BORE = (1.2, 1.8)
"""Narrowest and widest helical bore, diameters: narrower ones have no room for chips, wider ones leave a pin in the
middle. Common practice, no source."""

WIDEST_BORE = 2.6
"""Circles wider than this many diameters go round a shape and are no bore."""

SAME_WAY = 0.02
"""A move runs where the tool has been if it lies this near to an earlier one, mm: arcs and rounding."""


def entries(s: Setting) -> Iterator[Finding]:
    """Tools that cannot plunge, and tools with a steepest entry, enter as they may; materials take no steep ramps."""
    t = s.track
    drop, level = drops(t)
    angle = np.degrees(np.arctan2(drop, level))
    into = (t.kind != RAPID) & (drop > 0.01) & (t.end[:, 2] < -STEP)
    cannot = s.tool_table(lambda tool: not tool.center_cutting, 0.0) > 0
    yield from found(
        s, "plunge", into & cannot & (angle > STEEP), drop, "A tool that cannot plunge goes down {:.3f} mm"
    )
    limit = s.tool_table(lambda tool: tool.max_ramp, np.inf)
    steep = into & (angle > limit + 0.1) & ~(cannot & (angle > STEEP))
    yield from found(s, "ramp-steep", steep, angle, "A tool goes down at {:.1f} degrees")
    # V bits and balls follow sloping work; the rule is for what cuts with its whole bottom
    flat = s.tool_table(lambda tool: isinstance(tool, EndMill), 0.0) > 0
    takes = material(s.stock.material).max_ramp
    # a thousandth of rounding on a short move changes its angle
    least = np.degrees(np.arctan2(np.maximum(drop - STEP, 0.0), level))
    ramp = into & flat & (least > takes + 0.1) & (angle <= STEEP) & ~steep
    ramp[np.flatnonzero(ramp)[_been_there(s, np.flatnonzero(ramp))]] = False
    text = f"A ramp goes down at {{:.1f}} degrees; {s.stock.material} takes {takes:g}"
    yield from found(s, "ramp-steep-material", ramp, angle, text)
    yield from _bores(s, drop)


def _been_there(s: Setting, rows: IntArray) -> BoolArray:
    """Whether each of these moves ends where the same tool has been before, as deep or deeper."""
    seen = np.zeros(len(rows), dtype=np.bool_)
    st = s.strokes
    known = np.flatnonzero(~np.isnan(s.track.end[rows, :2]).any(axis=1))
    if not len(known):
        return seen
    lines = shapely.linestrings(np.stack([st.a[:, :2], st.b[:, :2]], axis=1))
    tree = shapely.STRtree(lines)
    ends = s.track.end[rows]
    who, other = tree.query(shapely.points(ends[known, :2]), predicate="dwithin", distance=SAME_WAY)
    who = known[who]
    low = np.maximum(st.a[:, 2], st.b[:, 2])[other]
    before = (st.move[other] < rows[who]) & (st.tool[other] == s.track.tool[rows[who]]) & ~st.rapid[other]
    seen[who[before & (low <= ends[who, 2] + STEP)]] = True
    return seen


def _bores(s: Setting, drop: FloatArray) -> Iterator[Finding]:
    """Check the width of helical bores: arcs in a row about one middle that go down and once round at least."""
    t = s.track
    arcs = np.flatnonzero((t.kind == ARC) & (t.plane == 17) & (drop > 1e-4) & (t.end[:, 2] < -STEP))
    flat = s.tool_table(lambda tool: isinstance(tool, EndMill), 0.0)[arcs] > 0
    arcs = arcs[flat]
    if not len(arcs):
        return
    center, radius = t.center[arcs, :2], np.hypot(*(t.start[arcs, :2] - t.center[arcs, :2]).T)
    new = np.ones(len(arcs), dtype=np.bool_)
    new[1:] = (np.diff(arcs) > 1) | (np.hypot(*np.diff(center, axis=0).T) > 0.01) | (np.abs(np.diff(radius)) > 0.01)
    run = np.cumsum(new) - 1
    turned = np.bincount(run, np.abs(t.sweep[arcs]))
    first = np.flatnonzero(new)
    diameter = s.tool_table(lambda tool: tool.diameter, np.inf)[arcs[first]]
    width = 2.0 * radius[first] / diameter + 1.0
    whole = turned > 2.0 * np.pi - 0.05
    odd = whole & (width < WIDEST_BORE) & ((width < BORE[0] - 0.01) | (width > BORE[1] + 0.01))
    if odd.any():
        bad = np.flatnonzero(odd)
        worst = int(bad[np.argmax(np.abs(width[bad] - 1.5))])
        more = f" ({len(bad)} bores)" if len(bad) > 1 else ""
        yield finding(
            "helix-bore", f"A helix bores {width[worst]:.2f} diameters wide{more}.",
            amount=float(width[worst] * diameter[worst]), **s.place(int(arcs[first[worst]])),
        )  # fmt: skip
