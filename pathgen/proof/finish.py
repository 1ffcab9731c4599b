"""Finish passes against how well the machine finds a place again."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.model.tool import EndMill
from pathgen.proof.codes import finding
from pathgen.proof.setting import STEP, Setting

LOOSE = 0.1
"""Above this positioning, mm, a machine gives way: then finish climb, with little to take. Common practice, no
source."""

TAKE = 0.1
"""Most that a finish pass takes on such a machine, mm. Common practice, no source."""

REACH = 2.0
"""Earlier passes further off than this many mm have nothing to do with a finish pass."""

_FINISH = re.compile(r"PASS\s+[0-9.]+\s+finish\b", re.IGNORECASE)
_PASS = re.compile(r"PASS\s+[0-9.]+\s", re.IGNORECASE)


def finishing(s: Setting) -> Iterator[Finding]:
    """Check each cut's finish passes, known by their comments, against `Machine.positioning`."""
    if s.machine is None:
        return
    finish = _finish_moves(s)
    if not finish.any():
        return
    where = s.machine.positioning
    for cut in np.unique(s.track.cut[finish]):
        rows = np.flatnonzero(finish & (s.track.cut == cut))
        tool = s.tools.get(int(s.track.tool[rows[0]]))
        if not isinstance(tool, EndMill):  # others finish floors and slopes, along their own path
            continue
        conventional = tool.cutting is not None and tool.cutting.direction == "conventional"
        if where > LOOSE and conventional:
            yield finding(
                "finish-conventional", f"A finish pass runs conventional on a machine that may be {where:g} mm off.",
                amount=where, **s.place(int(rows[0])),
            )  # fmt: skip
        take = _taken(s, rows)
        if take is None:
            continue
        if where > LOOSE and take > TAKE + STEP:
            code, text = "finish-thick", f"takes {take:.2f} mm on a machine that may be {where:g} mm off"
        elif where <= LOOSE and take < 2.0 * where - STEP:
            code, text = "finish-fine", f"takes {take:.3f} mm, less than twice the {where:g} mm the machine may be off"
        else:
            continue
        yield finding(code, f"A finish pass {text}.", amount=take, **s.place(int(rows[0])))


def _finish_moves(s: Setting) -> BoolArray:
    """Return which moves belong to a pass whose comment calls it a finish."""
    finish = np.zeros(len(s.track), dtype=np.bool_)
    for _, motion, rows in s.programs():
        for e in motion.events:
            if e.kind == "comment" and _PASS.match(e.text):
                finish[rows[e.index :]] = bool(_FINISH.match(e.text))
    finish &= (s.track.end[:, 2] < -STEP) & (s.track.kind != RAPID)
    return finish


def _taken(s: Setting, rows: IntArray) -> float | None:
    """Return what finish moves `rows` take off sideways, mm: how far they lie beside the cut's earlier path."""
    st, t = s.strokes, s.track
    cut = st.cut == t.cut[rows[0]]
    own = cut & np.isin(st.move, rows) & (np.abs(st.a[:, 2] - st.b[:, 2]) < STEP)
    earlier = np.flatnonzero(cut & (st.move < rows[0]) & ~st.rapid & (st.tool == t.tool[rows[0]]) & (st.lowest < -STEP))
    length = np.hypot(*(st.b[own] - st.a[own])[:, :2].T)
    if not own.any() or not len(earlier) or not length.sum() > 0:
        return None
    middle = 0.5 * (st.a[own] + st.b[own])[:, :2]
    tree = shapely.STRtree(shapely.linestrings(np.stack([st.a[earlier, :2], st.b[earlier, :2]], axis=1)))
    (who, _), gap = tree.query_nearest(
        shapely.points(middle), max_distance=REACH, return_distance=True, all_matches=False
    )
    if not len(who):
        return None
    order = np.argsort(gap)
    share = np.cumsum(length[who][order])
    return float(gap[order][np.searchsorted(share, 0.5 * share[-1])])
