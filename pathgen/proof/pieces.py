"""Pieces that are cut free, found from the swept text, and what holds each of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from pathgen.model.findings import Finding
from pathgen.proof.checks import Setting
from pathgen.proof.codes import finding
from pathgen.proof.walls import section

SLIVER = 0.01
"""Pieces of less than this many mm2 are dust."""

SKIN = 1e-3
"""Less than this left under a cut is through, mm: rounding in the program, never a skin left on purpose."""


def pieces(s: Setting) -> list[Any]:
    """Return what remains of the stock at its underside as polygons; the frame, that keeps most of its edge, first.

    What hangs together there hangs together: bridges and skins stand on the underside.
    """
    z = -s.stock.thickness + SKIN
    if not (s.strokes.lowest <= z).any():
        return [s.stock.region]
    gone = section(s.strokes, s.tools, z)
    left = [p for p in shapely.get_parts(s.stock.region.difference(gone)) if p.area > SLIVER]
    edge = s.stock.region.boundary.buffer(1e-6)
    return sorted(left, key=lambda p: (-p.boundary.intersection(edge).length, -p.area))


def loose_findings(s: Setting, hold: Sequence[Any]) -> Iterator[Finding]:
    """Yield a finding for every piece that nothing holds: the frame is held by the stock's own clamping."""
    left = pieces(s)
    if len(left) < 2:
        return
    wide = max((t.diameter for t in s.tools.values()), default=0.0)
    regions = [h.region for h in hold if getattr(h, "region", None) is not None]
    for piece in left[1:]:
        if any(region.intersection(piece).area > SLIVER for region in regions):
            continue
        x0, y0, x1, y1 = piece.bounds
        at = piece.representative_point()
        place: dict[str, Any] = {
            "where": (float(at.x), float(at.y), -float(s.stock.thickness)),
            "amount": float(piece.area),
        }
        place |= _freed_by(s, piece)
        size = f"A piece of {x1 - x0:.1f} x {y1 - y0:.1f} mm, {piece.area:.1f} mm2,"
        code = "loose-chip" if x1 - x0 < wide and y1 - y0 < wide else "loose-piece"
        yield finding(code, f"{size} is cut free and nothing holds it.", **place)


def _freed_by(s: Setting, piece: Any) -> dict[str, Any]:
    """Return line and cut of the last stroke that runs along a piece at full depth."""
    through = np.flatnonzero(s.strokes.lowest <= -s.stock.thickness + SKIN)
    x0, y0, x1, y1 = piece.bounds
    margin = max((t.diameter for t in s.tools.values()), default=0.0)
    b = s.strokes.b[through]
    near = (b[:, 0] > x0 - margin) & (b[:, 0] < x1 + margin) & (b[:, 1] > y0 - margin) & (b[:, 1] < y1 + margin)
    if not near.any():
        return {}
    place = s.place(int(s.strokes.move[through[near][-1]]))
    return {k: place[k] for k in ("line", "cut", "program")}
