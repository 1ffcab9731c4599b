"""Trial pieces: small proven jobs that measure a tool or a fit, and what their readings mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiLineString, MultiPolygon, box

from pathgen.cuts.pocket import pocket
from pathgen.cuts.profile import Bridges, profile
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.job import Job
from pathgen.model.cut import Cut
from pathgen.model.machine import Machine
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import EndMill, Tool
from pathgen.shape.offset import grown, opened
from pathgen.shape.shared import ERROR

Kind: TypeAlias = Literal["fit"]
KINDS: tuple[str, ...] = ("fit",)

LADDER = (0.0, 0.02, 0.04, 0.06, 0.08, 0.12)
"""Clearances of the fit ladder, mm on each side, from tight to loose. Common practice, no source."""

SIDE = 20.0
"""Side of the ladder's square plug, mm: large enough to be turned by hand, small enough not to matter on the stock."""

MARK = 0.6
"""Depth of the tally marks beside each pocket, mm."""


def trial(
    kind: Kind,
    tool: Tool,
    *,
    stock: Stock,
    machine: Machine,
    depth: float | None = None,
    steps: Sequence[float] = LADDER,
) -> Job:
    """Return a small job to be cut and measured.

    "fit": a ladder of square pockets from tight to loose, and one plug, all from one board. Beside each pocket stand as
    many marks as its number. The number of the pocket into which the plug goes as it should is handed to
    `trial_result`.

    Args:
        kind: "fit".
        tool: an end mill that will cut both halves.
        stock: the board; its material should be that of the work.
        machine: the machine that will cut the work.
        depth: of the pockets, mm; None = a third of the stock.
        steps: clearances on each side, mm, from tight to loose.

    Raises:
        ArgumentError: for an unknown kind, another tool, steps that do not rise, or a stock too small for the ladder.
    """
    one_of("kind", kind, KINDS)
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"trial: {tool.describe()} cuts no upright walls: take an end mill")
    air = [positive("steps", s, zero=True) for s in steps]
    if len(air) < 2 or any(b <= a for a, b in pairwise(air)):
        raise ArgumentError(f"steps={tuple(steps)!r} must rise from tight to loose, two at least")
    return Job(
        f"Trial {kind}", stock, machine, _ladder(tool, stock, stock.thickness / 3 if depth is None else depth, air)
    )


def _ladder(tool: EndMill, stock: Stock, depth: float, air: Sequence[float]) -> tuple[Cut, ...]:
    """Return the pockets with their marks, and the plug."""
    pitch = SIDE + 2 * max(air) + 3 * tool.diameter + 6.0
    columns = max(1, int((stock.width - 2 * tool.diameter) // pitch))
    rows = math.ceil((len(air) + 1) / columns)
    high = SIDE + 3 * tool.diameter + 12.0
    if rows * high > stock.height:
        raise ArgumentError(
            f"the ladder of {len(air)} pockets and a plug takes {rows} rows of {high:.0f} mm: the stock is "
            f"{stock.height:g} mm high. Give fewer steps= or a larger stock"
        )
    left, low = 0.5 * (stock.width - columns * pitch), 0.5 * (stock.height - rows * high)
    spots = [(left + (k % columns) * pitch, low + (k // columns) * high) for k in range(len(air) + 1)]
    square = opened(box(0, 0, SIDE, SIDE), 0.5 * tool.diameter, error=ERROR)
    cuts, marks = [], []
    for k, (c, (x, y)) in enumerate(zip(air, spots, strict=False), 1):
        x, y = x + 0.5 * (pitch - SIDE), y + tool.diameter + 9.0
        hole = grown(_moved(square, x, y), c, error=ERROR)
        cuts += list(pocket(hole, tool, depth=depth, stock=stock, name=f"pocket {k}, clearance {c:g}"))
        gap = SIDE / max(len(air), 1)
        at = [x + (n + 0.5) * gap for n in range(k)]
        marks += [[(a, y - tool.diameter - 6.0), (a, y - tool.diameter - 3.0)] for a in at]
    lines = MultiLineString(marks)
    scribed = profile(lines, tool, side="along", depth=min(MARK, 0.5 * depth), stock=stock, name="tally marks")
    x, y = spots[-1]
    plug = _moved(square, x + 0.5 * (pitch - SIDE), y + tool.diameter + 9.0)
    out = profile(
        plug, tool, depth=THROUGH, stock=stock, name="plug",
        bridges=Bridges(3, length=3, thickness=min(1.5, 0.3 * stock.thickness), shape="ramp"),
    )  # fmt: skip
    return (*cuts, *scribed, *out)


def _moved(shape: MultiPolygon, dx: float, dy: float) -> MultiPolygon:
    moved: MultiPolygon = shapely.transform(shape, lambda c: c + np.array([dx, dy]))
    return moved


def trial_result(kind: Kind, *, steps: Sequence[float] = LADDER, **readings: Any) -> dict[str, float]:
    """Return what the readings of a trial mean.

    "fit": give fits=, the number of the first pocket (counted from 1, by its marks) into which the plug goes as it
    should; returns the clearance for `inlay`.

    Raises:
        ArgumentError: for an unknown kind, or a reading that is missing or not possible.

    >>> trial_result("fit", fits=3)
    {'clearance': 0.04}
    """
    one_of("kind", kind, KINDS)
    number = readings.pop("fits", None)
    if readings or not isinstance(number, int) or not 1 <= number <= len(steps):
        raise ArgumentError(f"give fits=, the number of the pocket that fits, from 1 to {len(steps)}")
    return {"clearance": float(steps[number - 1])}
