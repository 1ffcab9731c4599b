"""What dragging tools draw: a scratch or a slit has a line, and no depth that a height field could claim.

A diamond's line is as wide as the shop's trial said; its depth comes from force and hardness, never from a cone. A
knife parts what it runs through, and its tip trails behind the path. So both mark the face as touched, and their cuts
are left out of all comparisons of heights; a diamond's line is held against the asked lines here, a knife's tip is
followed and held against them in `pathgen.proof.blade_line`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely

from pathgen.model.arrays import BoolArray
from pathgen.model.bounds import Bounds, Kerf
from pathgen.model.findings import Finding
from pathgen.model.tool import DiamondPoint
from pathgen.proof.codes import finding
from pathgen.proof.design import Asked, rule_region
from pathgen.proof.grid import Grid, inside
from pathgen.proof.places import Miss
from pathgen.proof.setting import NOISE, Setting

STEP: Final = 0.5
"""Distance of the points looked at along lines, mm."""

SEEN: Final = 0.001
"""Lines nearer than this are the same, mm: rounding in the program."""

PRESSED: Final = 0.01
"""How far a spring's travel may be off what was asked, mm: rounding in the program and in measured heights."""

MOST: Final = 5
"""Places told of one cut."""


def standing_only(asked: Sequence[Asked]) -> tuple[Asked, ...]:
    """Return what was asked with the rules of dragging tools left out: they owe no heights. Indices stay."""
    return tuple((name, tool, bounds if tool.spins else Bounds()) for name, tool, bounds in asked)


def _lines(s: Setting, cut: int | None = None) -> tuple[Any, Any]:
    """Return (indices of strokes, their lines): those of dragging tools below the face, of one cut or all."""
    dragging = [n for n, tool in s.tools.items() if not tool.spins]
    own = np.isin(s.strokes.tool, dragging) & (s.strokes.lowest < -NOISE)
    if cut is not None:
        own &= s.strokes.cut == cut
    index = np.flatnonzero(own)
    ends = np.stack([s.strokes.a[index, :2], s.strokes.b[index, :2]], axis=1)
    return index, shapely.linestrings(ends) if len(index) else np.empty(0, dtype=object)


def touched(s: Setting, asked: Sequence[Asked] | None, grid: Grid) -> BoolArray | None:
    """Return the samples that dragging tools touch, None where none does.

    A line is as wide as was asked of its cut, at least one sample.
    """
    index, _ = _lines(s)
    if not len(index):
        return None
    widths = np.full(len(asked or ()) + 1, grid.pixel)
    for k, (_, _, bounds) in enumerate(asked or ()):
        widths[k] = max([r.width for r in bounds.rules if isinstance(r, Kerf)], default=0.0)
    cut = s.strokes.cut[index]
    half = 0.5 * np.maximum(widths[np.where(cut < len(widths) - 1, cut, -1)], grid.pixel)
    # strokes that go on from each other make one line: thousands of pieces that overlap are slow to unite
    a, b = s.strokes.a[index, :2], s.strokes.b[index, :2]
    apart = (index[1:] != index[:-1] + 1) | (half[1:] != half[:-1]) | (a[1:] != b[:-1]).any(axis=1)
    first = np.concatenate([[0], np.flatnonzero(apart) + 1])
    run = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(index))))
    points = np.insert(b, first, a[first], axis=0)
    owner = np.insert(run, first, np.arange(len(first)))
    ways = shapely.linestrings(points, indices=owner)
    return inside(shapely.union_all(shapely.buffer(ways, half[first], quad_segs=8)), grid)


def drawn_misses(s: Setting, asked: Sequence[Asked]) -> tuple[list[Miss], list[Miss]]:
    """Return (lines drawn where none was asked, asked lines that were not drawn) of diamond points.

    Amounts are distances seen from above, mm.
    """
    beside: list[Miss] = []
    missing: list[Miss] = []
    for cut, (_, tool, bounds) in enumerate(asked):
        rules = [r for r in bounds.rules if isinstance(r, Kerf) and r.side == "along"]
        if not isinstance(tool, DiamondPoint) or not rules:
            continue
        index, lines = _lines(s, cut)
        if not len(index):
            index, lines = _lines(s)
        area = shapely.union_all([rule_region(r) for r in bounds.rules])
        at, owner = _along(lines)
        far = shapely.distance(shapely.points(at), area) if len(at) else np.empty(0)
        beside += (
            Miss(amount=a, where=(x, y, float(s.strokes.lowest[index[owner[k]]])), stroke=int(index[owner[k]]), cut=cut)
            for k, a, x, y in _worst(far, at)
        )
        wanted, _ = _along(shapely.get_parts([r.shape for r in rules]))
        drawn = shapely.multilinestrings(lines) if len(lines) else shapely.MultiLineString()
        shapely.prepare(drawn)
        gap = shapely.distance(shapely.points(wanted), drawn) if len(lines) else np.full(len(wanted), STEP)
        missing += (Miss(amount=a, where=(x, y, 0.0), cut=cut) for _, a, x, y in _worst(gap, wanted))
    return beside, missing


def pressed_findings(s: Setting, asked: Sequence[Asked]) -> Iterator[Finding]:
    """Yield a finding for each cut of a diamond point that is not pressed in by the asked travel on its lines."""
    for cut, (name, tool, bounds) in enumerate(asked):
        depths = [r.depth for r in bounds.rules if isinstance(r, Kerf) and r.side == "along"]
        if not isinstance(tool, DiamondPoint) or not depths:
            continue
        index, _ = _lines(s, cut)
        a, b = s.strokes.a[index], s.strokes.b[index]
        level = np.hypot(*(b - a)[:, :2].T) > NOISE
        off = np.maximum(np.abs(a[:, 2] + depths[0]), np.abs(b[:, 2] + depths[0])) * level
        if len(off) and off.max() > PRESSED:
            k = int(np.argmax(off))
            place = s.place(int(s.strokes.move[index[k]]))
            worst = -float(a[k, 2] if abs(a[k, 2] + depths[0]) > abs(b[k, 2] + depths[0]) else b[k, 2])
            text = f"The point is pressed in {worst:.3f} mm where {depths[0]:g} were asked."
            yield finding("travel-differs", text, amount=float(off[k]), **{**place, "cut": name})


def _along(lines: Any) -> tuple[Any, Any]:
    """Return points (n, 2) at both ends of each leg of lines and `STEP` apart between, and the line of each."""
    if not len(lines):
        return np.empty((0, 2)), np.empty(0, dtype=np.int64)
    long = shapely.length(lines) > 0  # a plunge is a point
    fine = np.array(lines, dtype=object)
    fine[long] = shapely.segmentize(fine[long], STEP)
    return shapely.get_coordinates(fine, return_index=True)  # type: ignore[no-any-return]


def _worst(amount: Any, at: Any) -> Iterator[tuple[int, float, float, float]]:
    """Yield (index, amount, x, y) of the worst places, no two within 10 mm."""
    left = amount > SEEN
    for _ in range(MOST):
        if not left.any():
            return
        k = int(np.argmax(np.where(left, amount, 0.0)))
        yield k, float(amount[k]), float(at[k, 0]), float(at[k, 1])
        left &= np.hypot(at[:, 0] - at[k, 0], at[:, 1] - at[k, 1]) > 10.0
