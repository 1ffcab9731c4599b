"""One budget of accuracy for all of pathgen. A tolerance is what the user is owed; an epsilon is numerical noise.

Drawn size is cut size within `WALL`: planning 0.004 + arcs 0.005 + rounding 0.001 mm. Flattening of curves
comes before, at `FLATTEN`: a chord error of 0.01 mm would be 0.017 mm of groove depth at 60 degrees, 0.037 at 30.
"""

from __future__ import annotations

import math
from typing import Final

WALL: Final = 0.010
"""Largest distance of a cut wall from the region it was planned on, mm."""

FLATTEN: Final = 0.002
"""Largest distance of a flattened curve from the true one, mm. Larger: visible in groove depth; smaller: time."""

PLAN: Final = 0.004
"""Share of `WALL` for offsets and medial axes, mm."""

ARC_FIT: Final = 0.005
"""Share of `WALL` for arcs fitted through vertices, mm. Larger: walls wander; smaller: fewer arcs, longer programs."""

SIMPLIFY: Final = 0.0005
"""Rings are simplified by this before they are offset again, mm. Larger: errors add up ring by ring;
smaller: GEOS multiplies vertices (67,754 against 19,172 on one sign)."""

NOISE: Final = 1e-6
"""Coordinates nearer than this are the same, mm. Numerical noise only, never the user's tolerance."""


def quad_segs(radius: float, error: float) -> int:
    """Return the segments per quarter circle that keep a round buffer within `error` mm of a true offset by `radius`.

    GEOS starts its vertices on the true circle at the corner's directions, and a fillet's end chords may be as long
    as the full step, so that the chord's sagitta is r (1 - cos(pi / (4 n))); it is met twice where two fillets overlap.

    >>> quad_segs(3.0, 0.002)
    31
    """
    ratio = 1.0 - 0.5 * error / max(radius, error)
    return max(4, math.ceil(math.pi / (4.0 * math.acos(max(ratio, 0.0)))))
