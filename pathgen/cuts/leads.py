"""Joining and leaving a wall: tangent arcs and small helices in the waste beside a contour.

All arcs bend to the waste's side of the path: to the left in climb, to the right in conventional milling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiLineString, MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from pathgen.cuts.entry import plane_lengths, stretch
from pathgen.cuts.slugs import Waste
from pathgen.model.arrays import FloatArray
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.shape.offset import as_multi

LEAD_SHARE = 0.4
"""Radius of the entry helix in cutter diameters: it bores 1.8 D. Common practice, no source: 1.2 to 1.8 D. Above half a
diameter a core stays; smaller helices load the cutter's center."""

NEAR = 0.003
"""How far a lead may dip below the way along the wall, mm: the error of offsets and arcs. Larger: it would mark the
wall; smaller: none would ever be found."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Lead:
    """A place on a contour with room beside it.

    Attributes:
        at: run length on the contour, mm.
        touch: (x, y) there.
        heading: (x, y) unit direction of the contour there.
        radius: of the circle in the waste, mm.
        left: the waste is on the left.
    """

    at: float
    touch: FloatArray
    heading: FloatArray
    radius: float
    left: bool

    @property
    def center(self) -> FloatArray:
        """Center of the circle that touches the contour."""
        return _side(self.touch, self.heading, self.radius, self.left)

    @property
    def bulge(self) -> float:
        """Bulge of half of it."""
        return 1.0 if self.left else -1.0

    def away(self, z: float) -> Path:
        """Return the half turn from the contour to the far side of the circle, at `z`."""
        far = 2 * self.center - self.touch
        return Path([[*self.touch, z, 0.0], [*far, z, self.bulge]])

    def swept(self, diameter: float) -> MultiPolygon:
        """Return what a cutter on the circle may touch, mm; it has no core."""
        return as_multi(Point(*self.center).buffer(self.radius + 0.5 * diameter + 0.002, quad_segs=64))


def _side(point: FloatArray, heading: FloatArray, by: float, left: bool) -> FloatArray:
    """Return the point `by` mm to the waste's side."""
    normal = np.array([-heading[1], heading[0]]) * (by if left else -by)
    value: FloatArray = point + normal
    return value


def heading_at(path: Path, s: float, *, before: bool = False) -> FloatArray:
    """Return the unit direction of a closed path just behind (or before) run length `s`."""
    step = 1e-3
    p = stretch(path, s - step, s) if before else stretch(path, s, s + step)
    d = p.points[-1, :2] - p.points[0, :2]
    value: FloatArray = d / np.hypot(*d)
    return value


def find_lead(
    path: Path,
    center: MultiPolygon,
    *,
    side: str,
    radius: tuple[float, ...],
    lifts: list[tuple[float, float]],
    spare: float,
    reach: float,
    left: bool,
    stock: Stock | None,
    whole: bool,
    keep_off: BaseGeometry,
    waste: Waste | None,
    overlap: float = 0.0,
) -> Lead | None:
    """Return the first place with room in the waste, the longest straight moves first; None if there is none.

    Args:
        path: the contour, closed.
        center: where the cutter's center must not be ("outside") or must stay ("inside").
        side: "outside" or "inside".
        radius: circles to try, largest first, mm.
        lifts: stretches to keep away from.
        spare: by how much, besides the circle, mm.
        reach: the cutter's radius, mm.
        left: the waste is on the left of the path.
        stock: what is swept must lie on it, where known.
        whole: the whole circle is run, not only a quarter each way.
        keep_off: center lines of all bridges, other contours' too.
        waste: of a through cut: no piece of it may be cut loose.
        overlap: how far past its start the contour is run before it is left, mm.
    """
    step = plane_lengths(path)
    mark = np.concatenate([[0.0], np.cumsum(step)])
    total = float(mark[-1])
    rank = np.lexsort((np.arange(len(step)), path.points[1:, 3] != 0, -np.round(step, 3)))
    places = [float(mark[k] + t * step[k]) for k in rank[:12] for t in (0.5, 0.25, 0.75)]
    places += (np.arange(48) * (total / 48)).tolist()
    room = center.buffer(-NEAR) if side == "outside" else center.buffer(NEAR)
    board = stock.region.buffer(-reach) if stock is not None else None
    for r in radius:
        for at in places:
            if _near_lift(at, lifts, total, spare + 2 * r):
                continue
            touch = stretch(path, at, at).points[0, :2]
            lead = Lead(at=at, touch=touch, heading=heading_at(path, at), radius=r, left=left)
            shape = _shape(lead, whole, stretch(path, at + overlap - 1e-3, at + overlap))
            fits = not room.intersects(shape) if side == "outside" else room.covers(shape)
            fits = fits and not keep_off.dwithin(shape, 2 * reach) and (board is None or board.covers(shape))
            if fits and not (waste is not None and waste.freed_by(shape.buffer(reach))):
                return lead
    return None


def _near_lift(at: float, lifts: list[tuple[float, float]], total: float, spare: float) -> bool:
    """Return whether run length `at` lies on a lift or within `spare` of one."""
    for begin, end in lifts:
        off = (at - 0.5 * (begin + end) + 0.5 * total) % total - 0.5 * total
        if abs(off) < 0.5 * (end - begin) + spare:
            return True
    return False


def _shape(lead: Lead, whole: bool, end: Path) -> BaseGeometry:
    """Return what the tool's center runs over besides the contour, which is left behind `end`."""
    if whole:
        return Point(*lead.center).buffer(lead.radius, quad_segs=32)
    line = Path.lines(np.array([[*lead.touch, 0.0], [*(lead.touch + 1e-3 * lead.heading), 0.0]]))
    come, _ = tangent_arcs(line, radius=lead.radius, aside=lead.radius, left=lead.left)
    _, leave = tangent_arcs(end, radius=lead.radius, aside=lead.radius, left=lead.left)
    return MultiLineString([come.flattened(0.01)[:, :2], leave.flattened(0.01)[:, :2]])


def tangent_arcs(path: Path, *, radius: float, aside: float, left: bool) -> tuple[Path, Path]:
    """Return an arc that joins the start of `path` and one that leaves its end, both tangent, z = 0.

    Each reaches `aside` mm off the path, in the waste, with a turn of acos(1 - aside / radius), a quarter at most.
    """
    turn = math.acos(1.0 - min(aside / radius, 1.0))
    bulge = math.tan(0.25 * turn) * (1.0 if left else -1.0)
    flat = path.points * [1, 1, 0, 1]
    first, last = flat[0, :2], flat[-1, :2]
    total = float(plane_lengths(path).sum())
    begin = stretch(Path(flat), 0.0, min(1e-3, total)).points
    end = stretch(Path(flat), total - min(1e-3, total), total).points
    u = (begin[-1, :2] - begin[0, :2]) / np.hypot(*(begin[-1, :2] - begin[0, :2]))
    v = (end[-1, :2] - end[0, :2]) / np.hypot(*(end[-1, :2] - end[0, :2]))
    rise = radius * (1.0 - math.cos(turn))
    start = _side(first, u, rise, left) - radius * math.sin(turn) * u
    stop = _side(last, v, rise, left) + radius * math.sin(turn) * v
    return (
        Path([[*start, 0.0, 0.0], [*first, 0.0, bulge]]),
        Path([[*last, 0.0, 0.0], [*stop, 0.0, bulge]]),
    )


def loop_down(lead: Lead, z_from: float, z_to: float, *, angle: float, first: bool) -> Path:
    """Return a helix on the lead's circle that ends at its touching point, at `z_to`.

    Args:
        lead: the circle.
        z_from: mm.
        z_to: mm.
        angle: steepest slope, degrees.
        first: begin at the far side of the circle (the tool comes from above), else at the touching point.
    """
    drop = z_from - z_to
    run = drop / math.tan(math.radians(angle)) if angle < 90 else 0.0
    n = max(1, math.ceil(run / (math.pi * lead.radius) - 1e-9))
    n += (n + first) % 2
    k = np.arange(n + 1)
    far = 2 * lead.center - lead.touch
    at_touch = (n - k) % 2 == 0
    xy = np.where(at_touch[:, None], lead.touch, far)
    z = z_from - drop * k / n
    z[-1] = z_to
    return Path(np.column_stack([xy, z, np.where(k > 0, lead.bulge, 0.0)]))
