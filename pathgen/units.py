"""Units and the one door where inches are typed.

Inside pathgen everything is mm, degrees, seconds, mm/min, mm/s2, rpm, N and W.
"""

from __future__ import annotations

MM_PER_INCH = 25.4
"""Exact by definition (international yard and pound agreement, 1959; ISO 80000-3)."""


def inch(x: float) -> float:
    """Return `x` inches in mm.

    Args:
        x: length in inches, any sign.

    Returns:
        The same length in mm, ``x * 25.4`` exactly as defined in 1959.

    >>> inch(0.25)
    6.35
    """
    return x * MM_PER_INCH
