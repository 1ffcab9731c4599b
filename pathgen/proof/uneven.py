"""A face that was measured: heights are told from the measured top under the tool's axis.

The programs move in one plane's heights. Where the stock states measured heights, these are taken off the moves as
they were read, in short pieces, so that a piece of the program that does not follow the face is seen as too deep or too
high. From there on everything is as on a flat board: 0 is the face, wherever it is. Only what parts the board is left
as it was read, since it is measured from the underside; and after a facing nothing is taken off, for it made a plane.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.bounds import Flat, Hole, Kerf
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.proof.design import Asked
from pathgen.proof.grid import expanded
from pathgen.proof.setting import STEP, Setting, found
from pathgen.proof.strokes import Strokes, Track

PIECE = 1.0
"""Longest piece on which the height of the face changes evenly, mm: a fifth of what programs may be split into."""

IN_AIR = 0.9
"""Moves this far above the highest place are in the air and stay as they are, mm: 1 mm above it rapids end."""


def followed(stock: Stock, asked: Sequence[Asked] | None) -> tuple[bool, frozenset[int]]:
    """Return whether heights are taken off at all, and the cuts from which none are: those that part the board."""
    rules = [(k, r) for k, (_, _, b) in enumerate(asked or ()) for r in b.rules]
    faced = any(isinstance(r, Flat) and r.open_edges for _, r in rules)
    through = frozenset(k for k, r in rules if isinstance(r, Kerf | Hole) and r.through)
    return stock.heights is not None and not faced, through


def level_track(track: Track, stock: Stock, asked: Sequence[Asked] | None) -> Track:
    """Return the moves with the height of the face taken off their ends."""
    follows, through = followed(stock, asked)
    if not follows:
        return track
    own = ~np.isin(track.cut, list(through))
    return dataclasses.replace(
        track, start=_lowered(track.start, own, stock), end=_lowered(track.end, own, stock), center=track.center
    )


def level_strokes(strokes: Strokes, stock: Stock, asked: Sequence[Asked] | None) -> Strokes:
    """Return the strokes in pieces of at most 1 mm, the height of the face taken off the ends of each."""
    follows, through = followed(stock, asked)
    if not follows:
        return strokes
    own = ~np.isin(strokes.cut, list(through)) & (strokes.lowest < stock.highest + IN_AIR)
    length = np.hypot(*(strokes.b - strokes.a)[:, :2].T)
    count = np.where(own & ~strokes.rapid, np.maximum(np.ceil(length / PIECE), 1), 1).astype(np.int64)
    owner, k = expanded(np.zeros_like(count), count)
    pieces = _pieces(strokes, owner, k, count)
    return dataclasses.replace(pieces, a=_lowered(pieces.a, own[owner], stock), b=_lowered(pieces.b, own[owner], stock))


def _pieces(strokes: Strokes, owner: IntArray, k: IntArray, count: IntArray) -> Strokes:
    whole = strokes[owner]
    step = whole.b - whole.a
    share = np.column_stack([k / count[owner], (k + 1) / count[owner]])
    last = share[:, 1] == 1.0
    b = whole.a + share[:, 1:] * step
    b[last] = whole.b[last]
    return dataclasses.replace(whole, a=whole.a + share[:, :1] * step, b=b)


def _lowered(points: FloatArray, own: BoolArray, stock: Stock) -> FloatArray:
    """Return points less the height of the face under them, where they are the cut's own and not in the air."""
    low = np.flatnonzero(own & (points[:, 2] < stock.highest + IN_AIR))
    out = points.copy()
    out[low, 2] -= np.nan_to_num(stock.top_at(points[low, 0], points[low, 1]))
    return out


def beyond_measured(s: Setting) -> Iterator[Finding]:
    """Check that cuts stay within the measured points, beyond which the height of the face is not known."""
    if s.follows is None:
        return
    st = s.strokes
    rows = np.flatnonzero(~st.rapid & (st.lowest < -STEP) & ~np.isin(st.cut, list(s.follows)))
    rows = rows[np.isnan(s.stock.top_at(st.b[rows, 0], st.b[rows, 1]))]
    far = np.zeros(len(s.track))
    np.maximum.at(far, st.move[rows], -st.lowest[rows])
    yield from found(s, "top-unknown", far > 0, far, "A cut {:.2f} mm deep runs beyond the measured points")
