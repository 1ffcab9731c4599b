"""Arcs and helices as the standard defines them (NISTIR 6556 section 3.5.3)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pathgen.model.arrays import FloatArray
from pathgen.motion.grammar import LineError

IN_PLANE: dict[int, tuple[int, int, int]] = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""Plane to (first axis, second axis, normal), so that counter-clockwise runs from the first to the second."""
RADIUS_TOLERANCE = {1.0: 0.002, 25.4: 0.0002 * 25.4}
"""How far the radii at both ends may differ, mm, by the unit's length (section 3.5.3.2)."""
NOISE = 1e-9
"""Float noise of a length, mm. Larger: wrong arcs pass. Smaller: legal ones fail."""
FULL = 1e-9
"""Ends closer than this, in radians, close a full turn. Larger: tiny arcs become circles. Smaller: float noise
opens them."""


def sweeps(start: Any, end: Any, center: Any, plane: Any, turn: Any) -> FloatArray:
    """Return the signed sweep of arcs in radians, counter-clockwise positive; equal ends are a full turn.

    Args:
        start: (n, 3) mm.
        end: (n, 3) mm.
        center: (n, 3) mm.
        plane: (n,) 17, 18 or 19.
        turn: (n,) +1 for G3, -1 for G2.
    """
    order = np.array([IN_PLANE[17], IN_PLANE[18], IN_PLANE[19]])[np.asarray(plane, dtype=np.int64) - 17]
    row = np.arange(len(order))
    a, b = order[:, 0], order[:, 1]
    begin = np.arctan2(start[row, b] - center[row, b], start[row, a] - center[row, a])
    stop = np.arctan2(end[row, b] - center[row, b], end[row, a] - center[row, a])
    angle = (stop - begin) * turn
    angle = np.where(angle < -FULL, angle + 2 * math.pi, angle)
    angle = np.where(angle < FULL, angle + 2 * math.pi, angle)
    swept: FloatArray = np.minimum(angle, 2 * math.pi) * turn
    return swept


def check_center(first: float, second: float, dx: float, dy: float, unit: float) -> None:
    """Raise `LineError` unless an arc with center offset (first, second) can end (dx, dy) from its start; mm."""
    radius = math.hypot(first, second)
    other = math.hypot(dx - first, dy - second)
    if radius < NOISE and other < NOISE:
        raise LineError("arc-zero-radius", "the arc has no radius")
    if abs(radius - other) > RADIUS_TOLERANCE[unit] + NOISE:
        raise LineError(
            "arc-radii-differ",
            f"the arc starts {radius:.4f} mm and ends {other:.4f} mm from its center, "
            f"{RADIUS_TOLERANCE[unit]:g} mm of difference are allowed",
        )


def center_by_radius(dx: float, dy: float, radius: float, turn: float) -> tuple[float, float]:
    """Return the center's offset from the start for an arc in radius format (section 3.5.3.1).

    Args:
        dx: end less start along the plane's first axis, mm.
        dy: the same along its second axis, mm.
        radius: mm; negative for turns above 180 degrees.
        turn: +1 counter-clockwise, -1 clockwise.

    Raises:
        LineError: if the ends coincide or the radius is too short.
    """
    chord = math.hypot(dx, dy)
    if chord < NOISE:
        raise LineError("arc-no-chord", "an arc in radius format may not end where it starts: its center is open")
    half = 0.5 * chord
    if half > abs(radius) + NOISE:
        raise LineError(
            "arc-out-of-reach",
            f"a radius of {abs(radius):.4f} mm does not reach over {chord:.4f} mm: {half:.4f} needed",
        )
    height = math.sqrt(max(radius * radius - half * half, 0.0))
    side = height * turn * math.copysign(1.0, radius) / chord
    return 0.5 * dx - side * dy, 0.5 * dy + side * dx
