"""The cut across an inlay: pocket and plug put together, seen from the side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pathgen.model.arrays import FloatArray

if TYPE_CHECKING:
    from pathgen.proof.mate import Mating

BOARD, PLUG, LINE = "#dcc9a3", "#3d5a66", "#1d211f"
"""Light and dark, so that both can be told apart in grey print too."""

WIDE = 900
"""Width of the picture, pixels."""

BELOW = 2.0
"""How much of the board is drawn under the deepest place, mm."""


def section_svg(mating: Mating, *, stretch: float = 1.0) -> str:
    """Return the cut across both halves where the pocket is widest, as SVG.

    Args:
        mating: what `pathgen.mate` returned.
        stretch: factor on heights, for shallow work.
    """
    x, pocket, low, high = mating.section.T
    bottom, top = float(pocket.min()) - BELOW, float(np.nanmax(high, initial=0.0)) + 0.5
    scale = WIDE / max(float(x[-1] - x[0]), 1e-6)
    tall = (top - bottom) * stretch * scale + 46

    def place(xs: FloatArray, zs: FloatArray) -> str:
        px, py = (xs - x[0]) * scale, (top - zs) * stretch * scale
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(px, py, strict=True))

    board = place(np.concatenate([x, x[[-1, 0]]]), np.concatenate([pocket, [bottom, bottom]]))
    parts = [f'<polygon points="{board}" fill="{BOARD}" stroke="{LINE}" stroke-width="1"/>']
    there = np.isfinite(low)
    turns = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
    for a, b in zip(turns[::2], turns[1::2], strict=True):
        xs, zs = np.concatenate([x[a:b], x[a:b][::-1]]), np.concatenate([low[a:b], high[a:b][::-1]])
        parts.append(f'<polygon points="{place(xs, zs)}" fill="{PLUG}" stroke="{LINE}" stroke-width="1"/>')
    face = top * stretch * scale
    parts.append(f'<line x1="0" y1="{face:.1f}" x2="{WIDE}" y2="{face:.1f}" stroke="{LINE}" stroke-dasharray="6 4"/>')
    gap = "" if mating.under_gap is None else f", {mating.under_gap:.2f} mm under it"
    words = f"dark: the plug, {mating.proud:.2f} mm proud{gap}; light: the board; dashed: its face"
    parts.append(
        f'<text x="4" y="{tall - 14:.0f}" font-family="sans-serif" font-size="18" fill="{LINE}">{words}</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{tall:.0f}" viewBox="0 0 {WIDE} {tall:.0f}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>'
    )
