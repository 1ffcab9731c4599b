"""The shape that two cutters can both make: one works inside it and rounds its inside corners, one outside it.

Terminology
-----------
open by r
    a disc of radius r, kept inside, covers the shape: an inner cutter of that radius makes it.
closed by r
    a disc of radius r, kept outside, covers the rest: an outer cutter of that radius makes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.shape.offset import as_multi, grown, simplified

ERROR = 0.001
"""Bound on offsets of an inlay's outline, mm: both halves together may be off by 0.008. Larger: fits wander."""

SLIM = 0.0004
"""Outlines are simplified by this between offsets, mm. Larger: it adds up; smaller: 20 times the time on lettering."""

HAIR = 0.002
"""Differences that hold no disc of this radius are chords of two offsets, not detail, mm."""

ROUNDS = 20
"""The search for a shared shape ends in one to three rounds; more means that it does not end."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Change:
    """How a shape was changed so that two cutters can make it.

    Attributes:
        drawn: the shape asked for, mm.
        taken: the shape that is cut, mm.
        added: what the cut shape has more, mm.
        removed: what it has less, mm.
        farthest: largest distance of the new outline from the drawn one, mm.
    """

    drawn: MultiPolygon
    taken: MultiPolygon
    added: MultiPolygon
    removed: MultiPolygon
    farthest: float

    @property
    def area(self) -> float:
        """Area added and removed together, mm2."""
        return float(self.added.area + self.removed.area)

    def _repr_svg_(self) -> str:
        """Show the drawn shape in grey, what was added filled dark, what was removed outlined thick."""
        x0, y0, x1, y1 = shapely.union(self.drawn, self.taken).bounds
        pad = 0.05 * max(x1 - x0, y1 - y0)
        width, height = x1 - x0 + 2 * pad, y1 - y0 + 2 * pad
        thin = max(width, height) / 400.0
        parts = [
            _svg_path(self.drawn, 'fill="#d5d5d5" stroke="none"'),
            _svg_path(self.added, f'fill="#1b4965" stroke="#1b4965" stroke-width="{thin:g}"'),
            _svg_path(self.removed, f'fill="#f2b134" stroke="#000000" stroke-width="{2 * thin:g}"'),
        ]
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x0 - pad:g} {-y1 - pad:g} {width:g} {height:g}" '
            f'width="600"><g transform="scale(1 -1)">{"".join(parts)}</g></svg>'
        )


def _svg_path(region: MultiPolygon, style: str) -> str:
    rings = shapely.get_rings(shapely.get_parts(region)) if not region.is_empty else []
    data = " ".join(
        "M" + " L".join(f"{x:.3f},{y:.3f}" for x, y in shapely.get_coordinates(ring)[:-1]) + " Z" for ring in rings
    )
    return f'<path d="{data}" fill-rule="evenodd" {style}/>' if data else ""


def shared_shape(region: MultiPolygon, *, inner: float, outer: float) -> MultiPolygon:
    """Return a shape near to `region` that is open by `inner` and closed by `outer`; empty if none is found.

    Opening and closing by turns need not end; here what a step spoils is bridged over (or, in the other search, taken
    away) by a disc, which ends in a few rounds. Both searches are made, and the smaller change is taken.

    Args:
        region: mm.
        inner: radius of the disc that must fit inside everywhere, mm; not above 0 = any shape will do.
        outer: radius of the disc that must fit outside everywhere, mm; the same.

    >>> from shapely.geometry import box
    >>> star = MultiPolygon([box(0, 0, 20, 6).union(box(7, 0, 13, 20))])
    >>> both = shared_shape(star, inner=1.0, outer=1.5)
    >>> both.symmetric_difference(star).area < 4.0      # five corners lose (1 - pi / 4) r^2, two inside ones gain it
    True
    """
    inner, outer = max(inner, 0.0), max(outer, 0.0)
    found = [f for f in (_bridging(region, inner, outer), _separating(region, inner, outer)) if f is not None]
    best = MultiPolygon()
    if found:
        sizes = [round(float(shapely.symmetric_difference(f, region).area), 6) for f in found]
        best = found[int(np.argmin(sizes))]
    return best


def opened_by(region: MultiPolygon, by: float) -> MultiPolygon:
    """Return `region` without what a disc of radius `by` mm cannot enter; as it is for no radius."""
    return _offset(_offset(region, -by), by) if by > 0 else region


def closed_by(region: MultiPolygon, by: float) -> MultiPolygon:
    """Return `region` with all filled that a disc of radius `by` mm cannot enter from outside."""
    return _offset(_offset(region, by), -by) if by > 0 else region


def _offset(region: MultiPolygon, by: float) -> MultiPolygon:
    """Return `grown` without the vertices that a straight line replaces: each offset would double them."""
    return simplified(grown(region, by, error=ERROR), SLIM)


def _bridging(region: MultiPolygon, inner: float, outer: float) -> MultiPolygon | None:
    """Open first; where closing makes places that are too narrow for the pocket's cutter, widen them."""
    shape = opened_by(region, inner)
    for _ in range(ROUNDS):
        closed = closed_by(shape, outer)
        bad = solid(shapely.difference(closed, opened_by(closed, inner)))
        if bad.is_empty:
            return closed
        shape = as_multi(shapely.union(opened_by(closed, inner), _offset(bad, inner)))
    return None


def _separating(region: MultiPolygon, inner: float, outer: float) -> MultiPolygon | None:
    """Close first; where opening makes places that are too narrow for the plug's cutter, widen those."""
    shape = closed_by(region, outer)
    for _ in range(ROUNDS):
        open_ = opened_by(shape, inner)
        closed = closed_by(open_, outer)
        bad = solid(shapely.difference(closed, open_))
        if bad.is_empty:
            return open_
        shape = as_multi(shapely.difference(closed, _offset(bad, outer)))
    return None


def solid(shape: Any) -> MultiPolygon:
    """Return the pieces that hold a disc of radius `HAIR`."""
    parts = np.array(as_multi(shape).geoms, dtype=object)
    if not len(parts):
        return MultiPolygon()
    return MultiPolygon(parts[~shapely.is_empty(shapely.buffer(parts, -HAIR, quad_segs=4))].tolist())


def changed(drawn: MultiPolygon, taken: MultiPolygon) -> Change:
    """Return how `taken` differs from `drawn`."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(shapely.boundary(taken), 0.2)))
    far = float(shapely.distance(points, shapely.boundary(drawn)).max()) if len(points) else 0.0
    corners = shapely.points(shapely.get_coordinates(shapely.boundary(drawn)))
    if not taken.is_empty:
        far = max(far, float(shapely.distance(corners, shapely.boundary(taken)).max()))
    return Change(
        drawn=drawn,
        taken=taken,
        added=solid(shapely.difference(taken, drawn)),
        removed=solid(shapely.difference(drawn, taken)),
        farthest=far,
    )
