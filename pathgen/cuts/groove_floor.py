"""The flat floor of a limited V-groove: cleared by an end mill, or by the V bit itself with ridges.

Terminology
-----------
floor
    what lies at the limit: the region shrunk by (limit - begin) tan(angle / 2).
ridge
    what a cone leaves between two passes; a V bit's passes lie so that no point of the floor is further from one than
    half the stepover and half the tip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from pathgen.cuts.clearing import sheets
from pathgen.cuts.entry import entry_angle
from pathgen.cuts.groove_depth import ridge_height
from pathgen.cuts.groove_paths import Groove3
from pathgen.cuts.layers import Descent, passes_at
from pathgen.cuts.model import Cut, Cuttings, Pass
from pathgen.cuts.pocket import pocket
from pathgen.cuts.rings import ring_runs
from pathgen.errors import ArgumentError
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill
from pathgen.shape.offset import as_multi, grown, opened
from pathgen.shape.tolerance import PLAN

HAIR = 0.01
"""Parts of a floor that hold no disc of this radius are not worth a pass, mm. Larger: they are felt; smaller: the
chords
of two offsets are taken for floor."""


def mill_floor(
    region: MultiPolygon,
    mills: Sequence[EndMill],
    groove: Groove3,
    *,
    cutting: Cuttings,
    stock: Stock | None,
    title: str,
) -> tuple[tuple[Cut, ...], MultiPolygon]:
    """Return the cuts that clear the floor with end mills, and the part of the floor that none of them can enter.

    Args:
        region: the drawn region, mm.
        mills: the floor tools; each clears what those before it left.
        groove: depths.
        cutting: see `pathgen.cuts.model.cutting_for`.
        stock: the board.
        title: the cut's name.

    Returns:
        No cut for an end mill that fits nowhere, or has nothing left to clear.
    """
    floor = grown(region, groove.flat - groove.reach, error=0.5 * PLAN)
    rest, done = floor, list[Cut]()
    for mill in mills:
        radius = 0.5 * mill.diameter
        if grown(floor, -radius).is_empty or (done and _solid(_both(rest, opened(floor, radius))).is_empty):
            continue
        done += pocket(
            floor, mill, depth=groove.limit, rest_after=tuple(done), cutting=cutting, stock=stock, name=title
        )
        rest = as_multi(shapely.difference(rest, opened(floor, radius)))
    return tuple(done), _solid(rest)


def _both(a: MultiPolygon, b: MultiPolygon) -> MultiPolygon:
    return as_multi(shapely.intersection(a, b))


def _solid(shape: MultiPolygon) -> MultiPolygon:
    """Return the pieces that hold a disc of radius `HAIR`."""
    parts = np.array(shape.geoms, dtype=object)
    if not len(parts):
        return shape
    return MultiPolygon(parts[~shapely.is_empty(shapely.buffer(parts, -HAIR, quad_segs=4))].tolist())


def bit_spacing(cutting: Cutting, groove: Groove3, title: str) -> float:
    """Return the distance of a V bit's floor passes, mm.

    Raises:
        ArgumentError: if the speeds have no stepover.
    """
    if cutting.stepover is None:
        raise ArgumentError(
            f"{title}: strokes are wider than the groove may be deep, so {groove.bit.describe()} must clear a "
            f"flat floor, "
            "but its speeds have no stepover: give Cutting(stepover=…), about 0.5 mm, or floor_tool="
        )
    return 0.5 * cutting.stepover + groove.flat


def bit_floor(
    center: MultiPolygon,
    groove: Groove3,
    *,
    steps: tuple[float, ...],
    cutting: Cutting,
    stock: Stock | None,
    first: int,
    after: list[frozenset[int]],
    title: str,
) -> tuple[Pass, ...]:
    """Return the passes of the V bit over the floor: rings no further apart than half the stepover and half the tip.

    Args:
        center: where the tip may go at the limit, less what the walls' passes cover; mm.
        groove: depths.
        steps: z of each level.
        cutting: of the bit.
        stock: its material limits how steep the bit may enter.
        first: index that the first pass returned will have in its cut.
        after: for each level, passes that must be done before.
        title: the cut's name, for messages.
    """
    spacing = bit_spacing(cutting, groove, title)
    tree = sheets(center, radius=spacing, stepover=spacing)
    runs = ring_runs(tree, stepover=spacing, direction=cutting.direction, radius=spacing)
    descent = Descent(
        entry="ramp",
        angle=entry_angle(cutting, groove.bit, stock),
        center=center,
        tool=groove.bit,
        direction=cutting.direction,
        title=title,
    )
    made = passes_at(runs, steps, descent=descent, slot=1.0, top=-groove.top)
    return tuple(replace(p, after=frozenset(first + k for k in p.after) | after[p.level]) for p in made)


def ridge_left(cutting: Cutting, groove: Groove3) -> float:
    """Return the highest ridge that the V bit leaves on the floor, mm, no more than the groove is deep."""
    assert cutting.stepover is not None
    return min(ridge_height(cutting.stepover, groove.bit) + PLAN / groove.bit.slope, groove.limit)
