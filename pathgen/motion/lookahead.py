"""How fast a machine may be along a chain of moves: corner speeds, look-ahead, seconds.

Terminology
-----------
edge
    one move of known length, or a piece of an arc.
joint
    where two edges meet; n edges have n + 1 joints, the outer ones included.
"""

from __future__ import annotations

import numpy as np

from pathgen.model.arrays import FloatArray


def look_ahead(lengths: FloatArray, accelerations: FloatArray, limits: FloatArray) -> FloatArray:
    """Return the squared speed at every joint that no braking distance forbids.

    The speed squared may change by at most 2 a L along an edge. With c the running sum of 2 a L that is a running
    minimum from the end (braking) and one from the start (speeding up), each a single array operation.

    Args:
        lengths: (n,) mm.
        accelerations: (n,) mm/s2, one for each edge.
        limits: (n + 1,) squared speed limits at the joints, finite, mm2/s2.

    Returns:
        (n + 1,) squared speeds, mm2/s2, each at most its limit.
    """
    gain = np.empty(len(lengths) + 1)
    gain[0] = 0.0
    np.multiply(lengths, accelerations, out=gain[1:])
    gain[1:] *= 2.0
    np.cumsum(gain, out=gain)
    speeds = limits + gain
    np.minimum.accumulate(speeds[::-1], out=speeds[::-1])
    speeds -= gain
    speeds -= gain
    np.minimum.accumulate(speeds, out=speeds)
    speeds += gain
    return np.clip(speeds, 0.0, limits, out=speeds)


def seconds(
    lengths: FloatArray, before: FloatArray, after: FloatArray, top: FloatArray, accel: FloatArray
) -> FloatArray:
    """Return the time of each edge run as fast as its limits allow: a trapezoid of speed, or a triangle.

    Elementary mechanics: the highest speed squared is (2 a L + v0^2 + v1^2) / 2, cut off at the top speed.

    Args:
        lengths: (n,) mm.
        before: (n,) squared speed at its start, mm2/s2.
        after: (n,) squared speed at its end.
        top: (n,) squared top speed.
        accel: (n,) mm/s2.

    >>> one = np.ones(1)
    >>> seconds(50 * one, 100 * one, 400 * one, 3600 * one, 200 * one).round(8)   # 50 mm, from 10 to 20 at 60 mm/s
    array([1.00416667])
    """
    mean = 0.5 * (before + after)
    peak2 = np.minimum(mean + accel * lengths, top)
    np.maximum(peak2, mean, out=peak2)
    peak = np.sqrt(peak2)
    cruise = np.maximum(lengths - (peak2 - mean) / accel, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        time = cruise / peak
    time[cruise == 0.0] = 0.0
    ramps = peak + peak
    ramps -= np.sqrt(before)
    ramps -= np.sqrt(after)
    ramps /= accel
    time += ramps
    return time


def corner_radii(
    half_sine: FloatArray, half_cosine: FloatArray, reach: FloatArray, tolerance: float
) -> tuple[FloatArray, FloatArray]:
    """Return the radii on which corners may be rounded, mm, by the tolerance and by the legs; inf where straight.

    A circle that touches both legs and leaves the corner by d: R = d sin h / (1 - sin h) with h half the angle
    between the legs (derived from the right triangle of corner, center and tangent point). Its tangent points
    must lie within half of either leg: R <= min(L1, L2) / 2 tan h, else a finer flattening of one
    curve would look faster.

    Args:
        half_sine: (n,) sine of half the turn (the turn is 180 degrees less the angle between the legs).
        half_cosine: (n,) cosine of the same, equal to sin h.
        reach: (n,) half the shorter leg, mm.
        tolerance: d, mm.

    >>> turn = np.radians(90.0)
    >>> by_tolerance, by_legs = corner_radii(np.sin([turn / 2]), np.cos([turn / 2]), np.array([5.0]), 0.01)
    >>> np.sqrt(500 * by_tolerance).round(4), by_legs
    (array([3.4743]), array([5.]))
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        tangent = half_cosine / half_sine
        # 1 - sin h is sine^2 / (1 + cosine) of half the turn: no digits are lost on flattened curves.
        by_tolerance: FloatArray = tolerance * tangent * (1.0 + half_cosine) / half_sine
        by_legs: FloatArray = reach * tangent
    return by_tolerance, by_legs
