"""Cuts laid onto a face that was measured: every move follows the height under the tool's axis."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

import numpy as np

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.cut import Cut, Stop
from pathgen.model.findings import Finding
from pathgen.model.path import STRAIGHT, Path
from pathgen.model.stock import Stock

LONGEST = 5.0
"""Longest piece of a move on an uneven face, mm. Larger: a dent between two ends is crossed in one go; smaller: longer
programs."""

ERROR = 0.01
"""Largest distance of a piece from the measured face, mm, taken between its ends."""

SHARE = 0.3
"""Share of `ERROR` at which a piece is halved: it is looked at in seven places, not in all, and what is then rounded
still counts as one depth (0.005 mm) in a proof."""

LEVEL_SPOT = 0.02
"""How far the measured top may lie off zero where tools are set, mm: as much as paper and feel are off."""

LOOKS = np.arange(1, 8) / 8.0
"""Where along a piece its distance from the face is looked at."""

MOST_HALVINGS = 12
"""A piece is not halved more often: 5 mm become 0.001 mm, the step of programs."""


def laid_on(cuts: Sequence[Cut | Stop], stock: Stock) -> tuple[Cut | Stop, ...]:
    """Return the cuts with their moves split and shifted by the measured height of the face under the tool's axis.

    Through cuts, and bridges with them, are measured from the underside and stay as they are. A facing makes the face a
    plane, so it and all after it stay too; it must be the first cut and go below the lowest measured place.

    Args:
        cuts: in the order in which they run, lowered by what a facing takes.
        stock: with its measured heights; without any, the cuts stay as they are.

    Raises:
        ArgumentError: for a move beyond the measured points, with its place; for a facing that leaves dents, or that
            follows another cut.
    """
    if stock.heights is None:
        return tuple(cuts)
    only = [c for c in cuts if isinstance(c, Cut)]
    faced = [c for c in only if c.face_depth]
    if faced:
        if only[0] is not faced[0]:
            raise ArgumentError(
                f"cut {only[0].name!r} runs before the facing of an uneven top: face first, with "
                "order='listed' if need be"
            )
        if faced[0].face_depth <= stock.dip:
            raise ArgumentError(
                f"facing by {faced[0].face_depth:g} mm leaves dents: the lowest measured place lies {stock.dip:g} mm "
                "below the plane on which Z is set. Face deeper"
            )
        return tuple(cuts)
    return tuple(c if isinstance(c, Stop) or c.through else _laid(c, stock) for c in cuts)


def height_notes(stock: Stock, touch_off: tuple[float, float]) -> Iterator[Finding]:
    """Yield a warning where tools are set to Z0 on a spot that was measured to lie higher or lower."""
    height = float(stock.top_at(*touch_off))
    if stock.zero_height == "top" and abs(height) > LEVEL_SPOT:
        yield Finding(
            code="touch-off-height",
            severity="warning",
            text=f"Tools are set to zero at ({touch_off[0]:g}, {touch_off[1]:g}), where the top was measured at "
            f"{height:.2f} mm.",
            advice="Take the height there off all measured points, or give touch_off=(x, y) at a height of 0.",
            where=(*touch_off, height),
            amount=height,
        )


def _laid(cut: Cut, stock: Stock) -> Cut:
    """Return one cut laid onto the face."""
    paths = [p.path for p in cut.passes]
    xy = np.concatenate([p.flattened(ERROR)[:, :2] for p in paths if len(p)])
    beyond = np.flatnonzero(np.isnan(stock.top_at(xy[:, 0], xy[:, 1])))
    if len(beyond):
        x, y = xy[beyond[0]]
        raise ArgumentError(
            f"cut {cut.name!r} goes to ({x:.2f}, {y:.2f}), beyond the points of measured_top: measure out to "
            "there, or move the work in"
        )
    passes = tuple(dataclasses.replace(p, path=q) for p, q in zip(cut.passes, laid(paths, stock), strict=True))
    return dataclasses.replace(cut, passes=passes)


def laid(paths: Sequence[Path], stock: Stock) -> list[Path]:
    """Return paths split into pieces of at most 5 mm and shifted by the height of the face at their ends.

    An arc becomes arcs on the same circle, each rising evenly. No piece leaves the shifted path by more than 0.01 mm.

    Args:
        paths: lines, arcs and helices, all of them within the measured points.
        stock: with its measured heights.
    """
    size = np.array([len(p) for p in paths], dtype=np.int64)
    if not size.sum():
        return list(paths)
    # all of them as one path, with a move from each to the next that is split by nothing and taken out again
    whole = Path(np.concatenate([p.points for p in paths]))
    first = np.cumsum(size) - size
    between = np.zeros(len(whole), dtype=np.bool_)
    between[first[size > 0]] = True
    count = np.where(between[1:], 1, _pieces(whole, stock, ~between[1:]))
    owner, share = _shares(count)
    rows = np.concatenate([whole.points[:1], _along(whole, owner, share, count)])
    rows[:, 2] += _heights(stock, rows)
    many = np.concatenate([[1], count])  # rows that each row of the path has become
    ends = np.cumsum(np.bincount(np.repeat(np.arange(len(paths)), size), many, minlength=len(paths))).astype(np.int64)
    out = []
    for end, begin in zip(ends.tolist(), [0, *ends[:-1].tolist()], strict=True):
        part = rows[begin:end].copy()
        part[:1, 3] = 0.0
        out.append(Path(part))
    return out


def _pieces(path: Path, stock: Stock, wanted: BoolArray) -> IntArray:
    """Return into how many equal pieces each move is split; moves that are not wanted are not looked at."""
    flat = path.points.copy()
    flat[:, 2] = 0.0
    count = np.maximum(np.ceil(Path(flat).move_lengths / LONGEST - 1e-9), 1).astype(np.int64)
    left = np.flatnonzero(wanted & (Path(flat).move_lengths > 0))
    for _ in range(MOST_HALVINGS):
        owner, share = _shares(count[left])
        move, step = left[owner], 1.0 / count[left][owner]
        a, b = (_heights(stock, _along(path, move, share - step * k, count)) for k in (1, 0))
        worst = np.zeros(len(owner))
        for look in LOOKS:
            there = _heights(stock, _along(path, move, share - step * (1.0 - look), count))
            worst = np.maximum(worst, np.abs(a + look * (b - a) - there))
        coarse = np.unique(owner[worst > SHARE * ERROR])
        if not len(coarse):
            break
        left = left[coarse]
        count[left] *= 2
    return count


def _shares(count: IntArray) -> tuple[IntArray, FloatArray]:
    """Return, for every piece, its move and the share of the move at which it ends."""
    owner = np.repeat(np.arange(len(count)), count)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 1
    return owner, k / count[owner]


def _along(path: Path, owner: IntArray, share: FloatArray, count: IntArray) -> FloatArray:
    """Return rows (x, y, z, bulge) at shares of moves; the bulge is that of one of the `count` pieces of the move."""
    p = path.points
    a, e = p[:-1][owner], p[1:][owner]
    rows = a + share[:, None] * (e - a)
    bent = np.flatnonzero(np.abs(e[:, 3]) > STRAIGHT)
    if len(bent):
        _, center, _ = path.arcs()
        o = owner[bent]
        turn = path.sweeps[o] * share[bent]
        dx, dy = a[bent, 0] - center[o, 0], a[bent, 1] - center[o, 1]
        rows[bent, 0] = center[o, 0] + np.cos(turn) * dx - np.sin(turn) * dy
        rows[bent, 1] = center[o, 1] + np.sin(turn) * dx + np.cos(turn) * dy
    last = share == 1.0
    rows[last, :3] = e[last, :3]
    rows[:, 3] = np.tan(np.arctan(e[:, 3]) / count[owner])
    return rows


def _heights(stock: Stock, rows: FloatArray) -> FloatArray:
    return np.nan_to_num(stock.top_at(rows[:, 0], rows[:, 1]))
