"""Where the tip of a trailing blade goes, from the written program, and how far that is from the lines asked for.

Terminology
-----------
heading
    Direction from the tip to the pivot, radians: where the edge points. The tip can only move along it.
trail
    Length of that link, d. The program moves the pivot; the tip follows on a tractrix.
lag
    Heading less the direction in which the pivot moves, psi.
swivel
    Where the tip all but stands while the pivot turns round it: |cos psi| < 0.1.

The link of length d obeys  psi' = -sin(psi) / d - kappa  along a pivot path of curvature kappa (elementary geometry;
for kappa = 0 the tractrix: Dunbar, Bosman, Nooij, "The Track of a Bicycle Back Tire", Mathematics Magazine 74, 2001).
With tan(psi / 2) = x / y this is linear, (x, y)' = M (x, y) with M = [[-1/2d, -kappa/2], [kappa/2, 1/2d]] and
M M = (1/4d^2 - kappa^2/4) I, so that lines and arcs are both followed in closed form, whatever their length. The
friction of the swivel is ignored. Nothing is known here of how the path was planned.

Before the first cut of a file, and after every stop, nobody knows where the blade points: the tip is followed from both
170 degrees left and 170 degrees right of the first move, and the worse counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.motion import ARC
from pathgen.model.tool import TrailingKnife
from pathgen.proof.grid import expanded
from pathgen.proof.setting import Setting

WORST: Final = math.radians(170.0)
"""How far off the blade may point at first. 180 degrees would never turn; common practice, no source."""

GRIP: Final = 0.04
"""A tip shallower than this may slide without turning the blade, mm, and is taken to. Larger: shallow swivels count as
lifted; smaller: a blade that barely touches counts as turned."""

SWIVEL: Final = 0.1
"""Largest |cos(lag)| of a swivel: the tip then moves less than a tenth of what the pivot does."""

STEP: Final = 0.2
"""Largest distance of the places looked at along the pivot's path, mm. Larger: cut-off corners are seen late; smaller:
time."""

TURN: Final = math.radians(8.0)
"""Largest turn of the pivot's way and the blade together between two places, radians: 4 degrees of each on arcs, where
a chord of `STEP` then leaves the tip's true way by 0.002 mm at most."""

SAME: Final = 1e-9
"""Headings nearer than this are the same, radians: the two first guesses have met."""


def advanced(lag: ArrayLike, distance: ArrayLike, *, trail: ArrayLike, curvature: ArrayLike = 0.0) -> FloatArray:
    """Return the lag after the pivot has moved `distance` along a line or an arc, radians from -pi to pi.

    Args:
        lag: heading less direction of motion before, radians.
        distance: arc length, mm, >= 0.
        trail: length of the link, mm.
        curvature: of the pivot's path, 1/mm, positive to the left; 0 for lines.

    >>> round(math.degrees(advanced(math.pi / 2, 3.0, trail=3.0)), 6)   # 90 degrees, pulled by one trail
    40.395063
    """
    psi, s, d, k = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (lag, distance, trail, curvature)))
    square = 0.25 * (1.0 / (d * d) - k * k)
    rate = np.sqrt(np.abs(square))
    way = rate * s
    # cosh and sinh / rate, both times exp(-way) so that a long pull does not overflow; on tight arcs cos and sin
    fading = np.exp(-2.0 * way)
    small = way < 1e-5
    safe = np.where(small, 1.0, rate)
    even = np.where(square >= 0, 0.5 * (1.0 + fading), np.cos(way))
    odd = np.where(square >= 0, 0.5 * (1.0 - fading) / safe, np.sin(way) / safe)
    odd = np.where(small, s, odd)
    even = np.where(small, 1.0, even)
    x, y = np.sin(0.5 * psi), np.cos(0.5 * psi)
    end_x = even * x + odd * (-0.5 / d * x - 0.5 * k * y)
    end_y = even * y + odd * (0.5 * k * x + 0.5 / d * y)
    return wrapped(2.0 * np.arctan2(end_x, end_y))


def wrapped(angle: ArrayLike) -> FloatArray:
    """Return an angle from -pi to pi, radians."""
    a = np.asarray(angle, dtype=np.float64)
    turned: FloatArray = a - 2.0 * math.pi * np.round(a / (2.0 * math.pi))
    return turned


@dataclass(frozen=True, eq=False, kw_only=True)
class Legs:
    """Stretches of a knife's pivot path, each wholly in the card or wholly above it; n legs in order.

    Attributes:
        start: (n, 3) of the pivot, mm in stock coordinates.
        length: (n,) seen from above, mm.
        direction: (n,) of motion at the start, radians; of no meaning where it goes straight down or up.
        curvature: (n,) 1/mm, positive to the left.
        fall: (n,) change of z, mm.
        trail: (n,) of the blade, mm.
        grips: (n,) deep enough to turn the blade.
        fresh: (n,) nobody knows where the blade points when it begins.
        move: (n,) row in `Track`.
    """

    start: FloatArray
    length: FloatArray
    direction: FloatArray
    curvature: FloatArray
    fall: FloatArray
    trail: FloatArray
    grips: BoolArray
    fresh: BoolArray
    move: IntArray

    def __len__(self) -> int:
        return len(self.length)


def legs_of(s: Setting) -> Legs:
    """Return the legs of every knife in the programs. Arcs that stand upright are taken by their ends."""
    t = s.track
    trail = s.tool_table(lambda tool: tool.trail if isinstance(tool, TrailingKnife) else None, np.nan)
    known = ~np.isnan(trail) & ~np.isnan(t.start).any(axis=1) & ~np.isnan(t.end).any(axis=1)
    rows = np.flatnonzero(known)
    fresh = _fresh(s)
    start, end = t.start[rows], t.end[rows]
    arc = (t.kind[rows] == ARC) & (t.plane[rows] == 17)
    spoke = (start - t.center[rows])[:, :2]
    radius = np.where(arc, np.hypot(spoke[:, 0], spoke[:, 1]), np.inf)
    arc &= radius > 0
    sweep = np.where(arc, t.sweep[rows], 0.0)
    step = end - start
    length = np.where(arc, np.where(arc, radius, 0.0) * np.abs(sweep), np.hypot(step[:, 0], step[:, 1]))
    along = np.arctan2(step[:, 1], step[:, 0])
    side = np.where(sweep >= 0, 1.0, -1.0)
    round_ = np.arctan2(spoke[:, 1], spoke[:, 0]) + 0.5 * math.pi * side
    direction = np.where(arc, round_, along)
    curvature = np.where(arc, side / np.where(arc, radius, 1.0), 0.0)
    # cut every leg where it passes the depth at which the blade begins to grip
    low, high = start[:, 2], end[:, 2]
    crosses = (low < -GRIP) != (high < -GRIP)
    share = np.where(crosses, (low + GRIP) / np.where(crosses, low - high, 1.0), 1.0)
    share = np.where((share > 1e-9) & (share < 1 - 1e-9), share, 1.0)
    owner, part = expanded(np.zeros(len(rows), dtype=np.int64), 1 + (share < 1))
    first = np.where(part == 0, 0.0, share[owner])
    last = np.where((part == 0) & (share[owner] < 1), share[owner], 1.0)
    span = (last - first) * length[owner]
    begun = first * length[owner]
    xy = _ahead(start[owner, :2], direction[owner], curvature[owner], begun)
    z = low[owner] + first * (high - low)[owner]
    fall = (last - first) * (high - low)[owner]
    return Legs(
        start=np.column_stack([xy, z]),
        length=span,
        direction=direction[owner] + curvature[owner] * begun,
        curvature=curvature[owner],
        fall=fall,
        trail=trail[rows][owner],
        grips=z + 0.5 * fall < -GRIP,
        fresh=fresh[rows][owner] & (part == 0),
        move=rows[owner],
    )


def _fresh(s: Setting) -> BoolArray:
    """Return the moves before which someone may have turned the blade: the first of a program, and after every stop."""
    t = s.track
    fresh = np.zeros(len(t), dtype=np.bool_)
    for _, motion, rows in s.programs():
        fresh[rows[0]] = True
        for event in motion.events:
            if event.kind in ("stop", "tool") and event.index < len(rows):
                fresh[rows[event.index]] = True
    return fresh


def _ahead(xy: FloatArray, direction: FloatArray, curvature: FloatArray, distance: FloatArray) -> FloatArray:
    """Return where the pivot is `distance` further along lines and arcs, (n, 2) mm."""
    half = 0.5 * curvature * distance
    chord = distance * np.sinc(half / math.pi)
    way = direction + half
    ahead: FloatArray = xy + chord[:, None] * np.column_stack([np.cos(way), np.sin(way)])
    return ahead


def headings(legs: Legs, guess: float) -> tuple[FloatArray, FloatArray]:
    """Return the heading at the start and at the end of each leg, radians.

    Args:
        legs: in order.
        guess: how far left of its motion the blade points when the first leg of a fresh row grips, radians.
    """
    begin, end = np.empty(len(legs)), np.empty(len(legs))
    grips, fresh = legs.grips & (legs.length > 0), legs.fresh.tolist()
    rows = zip(
        legs.direction.tolist(), legs.length.tolist(), legs.curvature.tolist(), legs.trail.tolist(), grips.tolist(),
        strict=True,
    )  # fmt: skip
    heading, unknown, waiting = 0.0, True, 0
    for n, (direction, length, curvature, trail, turns) in enumerate(rows):
        if fresh[n]:
            unknown, waiting = True, n
        if turns and unknown:
            heading, unknown = direction + guess, False
            begin[waiting:n] = end[waiting:n] = heading  # it points there since it was last touched
        begin[n] = heading
        if turns:
            lag = _lag_after(heading - direction, length, trail, curvature)
            heading = direction + curvature * length + lag
        end[n] = heading
    return begin, end


def _lag_after(lag: float, s: float, d: float, k: float) -> float:
    """Return what `advanced` does for one leg: a loop over legs has no use for arrays of one."""
    square = 0.25 * (1.0 / (d * d) - k * k)
    rate = math.sqrt(abs(square))
    way = rate * s
    if way < 1e-5:
        even, odd = 1.0, s
    elif square >= 0:
        fading = math.exp(-2.0 * way)
        even, odd = 0.5 * (1.0 + fading), 0.5 * (1.0 - fading) / rate
    else:
        even, odd = math.cos(way), math.sin(way) / rate
    x, y = math.sin(0.5 * lag), math.cos(0.5 * lag)
    turned = 2.0 * math.atan2(
        even * x + odd * (-0.5 / d * x - 0.5 * k * y), even * y + odd * (0.5 * k * x + 0.5 / d * y)
    )
    return math.remainder(turned, 2.0 * math.pi)


@dataclass(frozen=True, eq=False, kw_only=True)
class Trace:
    """Places of the tip in order; n places, at least two for each leg that grips.

    Attributes:
        tip: (n, 3) mm in stock coordinates.
        heading: (n,) radians.
        swivel: (n,) the tip all but stands while the pivot goes on.
        leg: (n,) index in `Legs`.
    """

    tip: FloatArray
    heading: FloatArray
    swivel: BoolArray
    leg: IntArray

    def __len__(self) -> int:
        return len(self.leg)


def trace_of(legs: Legs, begin: FloatArray, end: FloatArray, chosen: IntArray) -> Trace:
    """Return the tip's places along the `chosen` legs, near enough to each other for every bend.

    Args:
        legs: all legs.
        begin: heading at the start of each, radians.
        end: heading at the end.
        chosen: indices of legs that grip, rising.
    """
    length, d = legs.length[chosen], legs.trail[chosen]
    turn = np.abs(wrapped(end[chosen] - begin[chosen])) + np.abs(legs.curvature[chosen]) * length
    # where the blade swings in, it does so within a few trails: those are looked at closely, the rest evenly
    swing = np.minimum(length, d * np.log1p(turn / 1e-4))
    close = np.maximum(np.ceil(turn / TURN), 1.0).astype(np.int64)
    even = np.maximum(np.ceil(length / STEP), 1.0).astype(np.int64)
    count = close + even + 1
    owner, k = expanded(np.zeros_like(count), count)
    near = k <= close[owner]
    share = np.where(near, swing[owner] * k / close[owner], length[owner] * (k - close[owner]) / even[owner])
    order = np.lexsort((share, owner))
    owner, s = owner[order], share[order]
    leg = chosen[owner]
    direction = legs.direction[leg]
    lag = advanced(begin[leg] - direction, s, trail=legs.trail[leg], curvature=legs.curvature[leg])
    heading = direction + legs.curvature[leg] * s + lag
    pivot = _ahead(legs.start[leg, :2], direction, legs.curvature[leg], s)
    tip = pivot - legs.trail[leg][:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    part = s / np.where(legs.length[leg] > 0, legs.length[leg], 1.0)
    z = legs.start[leg, 2] + part * legs.fall[leg]
    z = np.where(legs.length[leg] > 0, z, legs.start[leg, 2] + legs.fall[leg])
    return Trace(
        tip=np.column_stack([tip, z]),
        heading=heading,
        swivel=(np.abs(np.cos(lag)) < SWIVEL) & (legs.length[leg] > 0),
        leg=leg,
    )


def traces(s: Setting) -> tuple[Legs, list[Trace], FloatArray]:
    """Return the legs of all knives, the traces of both first guesses, and how far the guesses lie apart, radians.

    The second trace holds only legs on which the guesses have not met; it is empty where nothing is cut.
    """
    legs = legs_of(s)
    begin, end = headings(legs, WORST)
    other, other_end = headings(legs, -WORST)
    apart = np.abs(wrapped(begin - other))
    grips = np.flatnonzero(legs.grips)
    unlike = grips[apart[grips] > SAME]
    return legs, [trace_of(legs, begin, end, grips), trace_of(legs, other, other_end, unlike)], apart


def asked_knives(asked: Sequence[Any]) -> Iterator[int]:
    """Yield the indices of cuts that are to be made by a trailing knife."""
    return (k for k, (_, tool, _) in enumerate(asked) if isinstance(tool, TrailingKnife))
