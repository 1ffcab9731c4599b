"""The first stroke of a trailing blade: straight, and long enough that it points that way whatever it did before.

Pulled along a line, a blade that is off by psi0 is off by psi after s = d ln(tan(psi0 / 2) / tan(psi / 2)) (tractrix:
Dunbar, Bosman and Nooij, "The Track of a Bicycle Back Tire", Mathematics Magazine 74, 2001). The worst start is taken
as 170 degrees off: exactly backwards it would never turn, but no blade stands so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError
from pathgen.model.arrays import FloatArray
from pathgen.model.stock import Stock

WORST = math.radians(170.0)
"""How far off the blade may point at first."""

KNOWN = math.radians(1.0)
"""How far off it may point after the stroke, at most: 7.18 trails from 170 degrees."""

SHORTEST = 2.0
"""Shortest stroke, mm. Shorter: the rounding of its ends in the program turns it."""

TIP_OFF = 0.003
"""How far the tip may then be from where it is thought to be, mm. Larger: the first line begins beside its start;
smaller: longer strokes of long blades."""

ROOM = 0.5
"""Least distance of the stroke from parts and from the edge of the card, beside the trail, mm: common practice, no
source."""

COARSE = 0.05
"""How finely parts are looked at here, mm; `ROOM` is ten times as much."""

WAYS = 8
"""Directions that are tried, evenly round."""

LINES = 60
"""Lines tried in each direction across the card. More: narrower strips of waste are found; fewer: time."""


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """Where the blade is first pulled straight.

    Attributes:
        start, end: of the pivot, mm.
        in_card: it lies in waste of the card; else beside it, on the backing.
        area: where the tip may be meanwhile, mm.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    in_card: bool
    area: MultiPolygon

    @property
    def heading(self) -> float:
        """Where the blade points at its end, radians."""
        return math.atan2(self.end[1] - self.start[1], self.end[0] - self.start[0])


def stroke_length(trail: float) -> float:
    """Return how long the stroke must be, mm.

    >>> round(stroke_length(0.3) / 0.3, 4)      # 170 degrees down to 0.57, at which the tip is 0.003 mm off
    7.7346
    """
    left = min(KNOWN, TIP_OFF / trail)
    return max(trail * math.log(math.tan(0.5 * WORST) / math.tan(0.5 * left)), SHORTEST)


def align(
    parts: BaseGeometry, stock: Stock | None, *, trail: float, to: FloatArray, waste: BaseGeometry | None = None
) -> Stroke:
    """Return a stroke in the card's waste that ends near `to`, else one beside card and parts.

    Args:
        parts: what must stay whole: areas and open lines, mm.
        stock: the card; None = not known, so the stroke lies beside the parts.
        trail: mm.
        to: (2,) start of the first line, mm.
        waste: where the stroke may run; None = around all parts, else between them.

    Raises:
        ArgumentError: for a `waste` that has no room for it.
    """
    length = 1.001 * stroke_length(trail)
    away = trail + ROOM
    card = None if stock is None else stock.region
    for keep in (parts.convex_hull, parts) if waste is None else (parts,):
        room = card if waste is None else waste
        if room is None:
            break
        around = keep.simplify(COARSE).buffer(away + COARSE, quad_segs=8).simplify(COARSE)
        best = _inside(room.buffer(-away).difference(around), length, to)
        if best is not None:
            middle = shapely.Point(0.5 * (best[0] + best[1]))
            return _stroke(best[0], best[1], card is not None and card.contains(middle), trail)
    if waste is not None:
        raise ArgumentError(
            f"waste= has no room for a straight stroke of {length:.1f} mm, {away:.2f} mm away from its edge and from "
            "all lines: give a larger one"
        )
    x0, y0, _, y1 = (parts if card is None else card).bounds
    x = round(x0 - away, 3)
    y = round(min(max(float(to[1]) - 0.5 * length, y0), max(y1 - length, y0)), 3)
    return _stroke(np.array([x, y]), np.array([x, y + length]), False, trail)


def _stroke(start: FloatArray, end: FloatArray, in_card: bool, trail: float) -> Stroke:
    area = LineString([start, end]).buffer(trail + 0.5 * ROOM)
    (x0, y0), (x1, y1) = start.tolist(), end.tolist()
    return Stroke(start=(x0, y0), end=(x1, y1), in_card=in_card, area=MultiPolygon([area]))


def _inside(free: BaseGeometry, length: float, to: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the stroke (start, end) inside `free` that ends nearest to `to`; None where there is no room."""
    best: tuple[float, FloatArray, FloatArray] | None = None
    for k in range(WAYS) if not free.is_empty else ():
        angle = 360.0 * k / WAYS
        flat = rotate(free, -angle, origin=(0.0, 0.0))
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        aim = np.array([c * to[0] + s * to[1], c * to[1] - s * to[0]])
        x0, y0, x1, y1 = flat.bounds
        y = y0 + (np.arange(LINES) + 0.5) * (y1 - y0) / LINES
        ends = [np.column_stack([np.full(LINES, x), y]) for x in (x0 - 1, x1 + 1)]
        rows = shapely.multilinestrings(shapely.linestrings(np.stack(ends, axis=1)))
        pieces = shapely.get_parts(shapely.intersection(rows, flat))
        box = shapely.bounds(pieces)
        box = box[(box[:, 2] - box[:, 0]) >= length]
        if not len(box):
            continue
        end = np.clip(aim[0], box[:, 0] + length, box[:, 2])
        far = np.round(np.hypot(end - aim[0], box[:, 1] - aim[1]), 3)
        n = int(np.argmin(far))
        if best is None or far[n] < best[0]:
            back = np.array([[c, s], [-s, c]])
            way = np.array([[end[n] - length, box[n, 1]], [end[n], box[n, 1]]]) @ back
            best = float(far[n]), way[0].round(3), way[1].round(3)
    return None if best is None else (best[1], best[2])
