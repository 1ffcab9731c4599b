"""Moves into edges with limits: direction, length, top speed and acceleration from the machine's axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.machine import Machine
from pathgen.model.motion import ARC, RAPID, Moves
from pathgen.motion.arcs import IN_PLANE
from pathgen.motion.lookahead import corner_radii

ALIKE = 3.0
"""Legs of a flattened curve are alike: one more than this times as long as the other is a straight line beside
it. Larger: straight lines at a slant lose acceleration. Smaller: uneven flattening looks faster than even."""
BENT = 4.0
"""Legs belong to a curve where its squared speed is below this times their top speed squared. Larger: rounding of
coordinates makes a line a curve. Smaller: flattened curves speed up unlike arcs."""
BLOCK = 1 << 15
"""Rows handled at a time, so that the arrays stay in the processor's cache. Speed only."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Edges:
    """n edges.

    Attributes:
        owner: (n,) index of the move.
        first: (3, n) unit vector at its start.
        last: (3, n) unit vector at its end; the same array where there are no arcs.
        length: (n,) mm, above 0.
        top: (n,) squared top speed, mm2/s2.
        accel: (n,) acceleration along the edge, mm/s2.
    """

    owner: IntArray
    first: FloatArray
    last: FloatArray
    length: FloatArray
    top: FloatArray
    accel: FloatArray


def edges_of(moves: Moves, machine: Machine) -> tuple[Edges, BoolArray]:
    """Return the edges of all moves of known length above 0, and which moves have no known length.

    Moves in machine coordinates have none: where they begin, told from the machine's zero, is not in the program.
    """
    n = len(moves)
    step, length = np.empty((3, n)), np.empty(n)
    for begin in range(0, n, BLOCK):
        part = slice(begin, begin + BLOCK)
        np.subtract(moves.end[part].T, moves.start[part].T, out=step[:, part])
        np.sqrt(np.einsum("ij,ij->j", step[:, part], step[:, part]), out=length[part])
    arc = np.flatnonzero(moves.kind == ARC)
    unknown: BoolArray = np.isnan(length) | moves.machine
    unknown[arc] |= np.isnan(moves.sweep[arc])
    if len(arc):
        length[arc] = 1.0
    keep = ~unknown & (length > 0.0) & ((moves.kind == RAPID) | (moves.feed > 0.0))
    if len(arc) or not keep.all():
        straight = np.flatnonzero(keep & (moves.kind != ARC))
        step, length = step[:, straight], length[straight]
    else:
        straight = np.arange(n)
    lines = _straight(moves, straight, step, length, machine)
    if not len(arc):
        return lines, unknown
    return _merged(lines, _curved(moves, arc[keep[arc]], machine)), unknown


def _limit(values: tuple[float, float, float], direction: FloatArray) -> FloatArray:
    """Return the largest amount along `direction` (3, n) that keeps every axis within its own value."""
    if values[0] == values[1] == values[2]:
        largest = np.abs(direction[0])
        for part in direction[1:]:
            np.maximum(largest, np.abs(part), out=largest)
        alike: FloatArray = values[0] / largest
        return alike
    share = np.abs(direction[0]) / values[0]
    for part, value in zip(direction[1:], values[1:], strict=True):
        np.maximum(share, np.abs(part) / value, out=share)
    least: FloatArray = 1.0 / share
    return least


def _straight(moves: Moves, owner: IntArray, step: FloatArray, length: FloatArray, machine: Machine) -> Edges:
    top, accel = np.empty(len(owner)), np.empty(len(owner))
    for begin in range(0, len(owner), BLOCK):
        part = slice(begin, begin + BLOCK)
        u = step[:, part]
        u /= length[part]
        accel[part] = _limit(machine.accelerations, u)
        rapid = moves.kind[owner[part]] == RAPID
        speed = np.minimum(moves.feed[owner[part]], _limit(machine.feeds, u))
        if rapid.any():
            speed[rapid] = _limit(machine.rapids, u[:, rapid])
        speed /= 60.0
        np.multiply(speed, speed, out=top[part])
    return Edges(owner=owner, first=step, last=step, length=length, top=top, accel=accel)


def _curved(moves: Moves, arc: IntArray, machine: Machine) -> Edges:
    """Return arcs as edges: one speed for the whole arc, v^2 <= a R with the slower axis of its plane."""
    row, sweep = np.arange(len(arc)), moves.sweep[arc]
    order = np.array([IN_PLANE[17], IN_PLANE[18], IN_PLANE[19]])[moves.plane[arc].astype(np.int64) - 17].T
    spoke = moves.start[arc] - moves.center[arc]
    radius = np.hypot(spoke[row, order[0]], spoke[row, order[1]])
    begin = np.arctan2(spoke[row, order[1]], spoke[row, order[0]])
    rise = np.nan_to_num((moves.end[arc] - moves.start[arc])[row, order[2]])
    length = np.hypot(radius * sweep, rise)
    flat, steep = radius * np.abs(sweep) / length, rise / length

    def tangent(angle: FloatArray) -> FloatArray:
        u = np.empty((3, len(arc)))
        u[order[0], row] = -np.sin(angle) * np.sign(sweep) * flat
        u[order[1], row] = np.cos(angle) * np.sign(sweep) * flat
        u[order[2], row] = steep
        return u

    def whole(values: tuple[float, float, float]) -> tuple[FloatArray, FloatArray]:
        """Return the least value of the plane's axes, and the most along the arc that keeps all axes within theirs."""
        own = np.array(values)[order]
        plane = np.minimum(own[0], own[1])
        with np.errstate(divide="ignore"):
            return plane, np.minimum(plane / flat, own[2] / np.abs(steep))

    plane_accel, accel = whole(machine.accelerations)
    speed = np.minimum(moves.feed[arc], whole(machine.feeds)[1]) / 60.0
    with np.errstate(divide="ignore"):
        top = np.minimum(speed * speed, plane_accel * radius / (flat * flat))
    return Edges(owner=arc, first=tangent(begin), last=tangent(begin + sweep), length=length, top=top, accel=accel)


def _merged(a: Edges, b: Edges) -> Edges:
    """Return the edges of both in the order of their moves."""
    owner = np.concatenate([a.owner, b.owner])
    order = np.argsort(owner, kind="stable")
    return Edges(
        owner=owner[order],
        first=np.concatenate([a.first, b.first], axis=1)[:, order],
        last=np.concatenate([a.last, b.last], axis=1)[:, order],
        length=np.concatenate([a.length, b.length])[order],
        top=np.concatenate([a.top, b.top])[order],
        accel=np.concatenate([a.accel, b.accel])[order],
    )


def joint_limits(edges: Edges, stops: IntArray, machine: Machine) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the squared speed limits at the n + 1 joints, and the edges' top speeds squared and accelerations.

    A corner is rounded on a radius R at v^2 <= a R. Where the corner tolerance sets R, a is what the axes allow along
    the change of direction. Where the legs set it, the two legs are part of a flattened curve, which runs at one speed
    like an arc does: a is the least the axes allow along any direction in the plane of the legs, and so it is
    along these legs. Rounding takes R / tan h of either leg; where roundings fill a leg the speed cannot rise in
    between: its highest value squared is that at the joints plus a times what is left of the leg, though never
    below what standing still at both ends would allow.

    Args:
        edges: n edges, n > 0.
        stops: joints at which the machine stands still.
        machine: its corner tolerance and accelerations count.
    """
    n = len(edges.length)
    limits, taken = np.zeros(n + 1), np.zeros(n + 1)
    accel = edges.accel.copy()
    for begin in range(1, n, BLOCK):
        here = slice(begin, min(begin + BLOCK, n))
        before = slice(here.start - 1, here.stop - 1)
        change = edges.first[:, here] - edges.last[:, before]
        sine = 0.5 * np.sqrt(np.einsum("ij,ij->j", change, change))
        np.minimum(sine, 1.0, out=sine)
        short = np.minimum(edges.length[before], edges.length[here])
        highest = np.minimum(edges.top[before], edges.top[here])
        limits[here], taken[here], curve = _corner(edges.last[:, before], change, sine, short, highest, machine)
        for legs in (before, here):
            np.minimum(accel[legs], np.where(edges.length[legs] < ALIKE * short, curve, np.inf), out=accel[legs])
    limits[stops] = 0.0
    taken[stops] = 0.0
    top = np.empty(n)
    for begin in range(0, n, BLOCK):
        here, after = slice(begin, min(begin + BLOCK, n)), slice(begin + 1, min(begin + BLOCK, n) + 1)
        v0, v1 = limits[here], limits[after]
        left = edges.length[here] - taken[here] - taken[after]
        peak = np.maximum(0.5 * (v0 + v1) + accel[here] * np.maximum(left, 0.0), accel[here] * edges.length[here])
        np.maximum(peak, np.maximum(v0, v1), out=peak)
        np.minimum(edges.top[here], peak, out=top[here])
    return limits, top, accel


def _corner(
    leg: FloatArray, change: FloatArray, sine: FloatArray, short: FloatArray, highest: FloatArray, machine: Machine
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the squared speed at corners, what their rounding takes of either leg, and the curves' acceleration."""
    cosine, reach = np.sqrt(1.0 - sine * sine), 0.5 * short
    with np.errstate(divide="ignore", invalid="ignore"):
        by_tolerance, by_legs = corner_radii(sine, cosine, reach, machine.corner_tolerance)
        across = 2.0 * sine * _limit(machine.accelerations, change)
        swing = _swing(machine.accelerations, leg, change)
        limit = np.fmin(highest, np.fmin(across * by_tolerance, swing * by_legs))
        taken = limit / swing * sine / cosine
        bent = (by_legs < by_tolerance) & (swing * by_legs < BENT * highest)
        curve = np.where(bent, swing, np.inf)
    # Where the legs lie on one line, straight on or straight back, nothing is rounded.
    return limit, np.fmin(np.nan_to_num(taken, nan=0.0), reach), curve


def _swing(values: tuple[float, float, float], leg: FloatArray, change: FloatArray) -> FloatArray:
    """Return the least that `values` allow along any direction in the plane of `leg` and `change`.

    With n the plane's unit normal, a direction in it reaches sqrt(1 - n_i^2) along axis i.
    """
    nx = leg[1] * change[2] - leg[2] * change[1]
    ny = leg[2] * change[0] - leg[0] * change[2]
    nz = leg[0] * change[1] - leg[1] * change[0]
    nx *= nx
    ny *= ny
    nz *= nz
    share = np.maximum(np.maximum((ny + nz) / values[0] ** 2, (nx + nz) / values[1] ** 2), (nx + ny) / values[2] ** 2)
    least: FloatArray = np.sqrt((nx + ny + nz) / share)
    return least
