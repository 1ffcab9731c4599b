"""From millimetres to a controller's numbers: units, decimals, single words, the modes a program states.

Numbers are rounded twice, each time from an exact integer: to 1e-6 mm, so that float noise of a processor never
decides, then once to the decimals that are written.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from pathgen.model.arrays import FloatArray
from pathgen.model.machine import Dialect

MICRO = 1_000_000
"""Steps of the inner grid in one mm. Coarser: rounding shows; finer: float noise decides."""

RADIUS_LIMIT = {"mm": 0.002, "inch": 0.0002}
"""How far the radii at both ends of an arc may differ, program units (NISTIR 6556 section 3.5.3.2)."""

LARGEST = 9999
"""Whole units that a coordinate word may hold: four digits."""


def ratio(dialect: Dialect, places: int) -> tuple[float, float]:
    """Return whole numbers (p, q) such that steps of `places` decimals = millionths of a mm * p / q, exactly."""
    p, q = 10**places, MICRO if dialect.units == "mm" else 25_400_000
    common = math.gcd(p, q)
    return float(p // common), float(q // common)


def steps(values: ArrayLike, dialect: Dialect, places: int, *, zero: ArrayLike = 0.0) -> FloatArray:
    """Return mm values as whole steps of the last decimal, as float64 that hold exact integers.

    Args:
        values: mm, any shape.
        dialect: for its units.
        places: decimals that will be written.
        zero: what is taken off first (the work zero), mm, broadcast against `values`.

    >>> steps([0.0005, 25.4], Dialect(units="inch"), 4)
    array([    0., 10000.])
    """
    p, q = ratio(dialect, places)
    micro = np.rint(np.asarray(values, dtype=np.float64) * MICRO) - np.rint(np.asarray(zero, dtype=np.float64) * MICRO)
    return np.rint(micro * p / q)


def number(value: float, dialect: Dialect) -> str:
    """Return one coordinate in mm as it is written: dialect's units and decimals, trailing zeros left out but one.

    >>> number(-12.5, Dialect()), number(25.4, Dialect(units="inch")), number(-0.0001, Dialect())
    ('-12.5', '1.0', '0.0')
    """
    places = dialect.places
    whole = int(steps(value, dialect, places))
    sign, (front, back) = "-" if whole < 0 else "", divmod(abs(whole), 10**places)
    digits = f"{back:0{places}d}".rstrip("0") or "0"
    return f"{sign}{front}.{digits}"


def seconds(value: float) -> str:
    """Return a dwell as a P word: seconds, at most one decimal, never rounded down.

    >>> seconds(3), seconds(0.25)
    ('P3', 'P0.3')
    """
    tenths = math.ceil(value * 10 - 1e-9)
    return f"P{tenths // 10}" if tenths % 10 == 0 else f"P{tenths // 10}.{tenths % 10}"


def modes(dialect: Dialect) -> list[str]:
    """Return the lines that state every mode a program relies on, each safe by itself.

    Units come alone and before any motion, as NISTIR 6556 section 3.5.7 advises; G17 G90 G94 G40 G80 are plane,
    absolute distances, feed per minute, no radius compensation, no cycle; then work offset and path control.
    """
    lines = ["G21" if dialect.units == "mm" else "G20", "G17 G90 G94 G40 G80", "G54"]
    if dialect.path_mode is not None:
        lines.append("G61" if dialect.path_mode == "exact" else "G64")
    return lines
