"""What every way of cutting asks of its arguments: speeds, depths, levels, and whether the tool can do it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from pathgen.errors import ArgumentError, positive
from pathgen.model.cut import Cut
from pathgen.model.findings import Finding
from pathgen.model.path import Pass
from pathgen.model.stock import Depth, Stock, Through
from pathgen.model.tool import Cutting, DiamondPoint, EndMill, Tool, TrailingKnife

__all__ = [
    "Cut",
    "Cuttings",
    "DepthPlan",
    "Pass",
    "check_stock",
    "cutting_for",
    "described",
    "levels",
    "plan_depth",
    "tool_notes",
]

Cuttings: TypeAlias = Cutting | Mapping[Tool, Cutting] | None

DEFAULT_BELOW = 0.2
"""How far a through cut goes below the thickest board, mm. Common practice, no source: less leaves a skin
where the table is not flat, more wears the table."""

INCH_FRACTIONS = (*tuple(n / 16 for n in range(1, 16)), 1 / 32, 3 / 32, 5 / 32)
"""Sizes below 1 that are more often a fraction of an inch than a size in mm."""


def described(tool: object) -> str:
    """Return what to call a tool in a message, whatever was given in its place.

    >>> described(6)
    '6'
    """
    return tool.describe() if isinstance(tool, Tool) else repr(tool)


def check_stock(stock: object, *, name: str = "stock", needed: bool = False) -> None:
    """Refuse what is given for a stock and is none.

    Args:
        stock: what was given.
        name: of the argument.
        needed: None is refused too.

    Raises:
        ArgumentError: for another kind of value than a `Stock`.
    """
    if not isinstance(stock, Stock) and (needed or stock is not None):
        raise ArgumentError(f"{name}={stock!r} is no stock: give Stock(width, height, thickness, material=...)")


def cutting_for(tool: Tool, cutting: Cuttings) -> Cutting:
    """Return the speeds for `tool`: from a mapping, as given, else the tool's own.

    Raises:
        ArgumentError: if there are none, or they would spin a tool that must not.
    """
    found = cutting.get(tool) if isinstance(cutting, Mapping) else cutting
    found = found if found is not None else tool.cutting
    if found is None:
        raise ArgumentError(
            f"{tool.describe()} has no speeds: give cutting=Cutting(rpm, feed, plunge, stepdown, stepover) to the tool "
            "or to the cut, from the cutter maker's table for this material"
        )
    if not isinstance(found, Cutting):
        raise ArgumentError(f"cutting={found!r} must be a Cutting(rpm, feed, plunge), or a mapping from tools to them")
    if tool.spins and found.rpm == 0:
        raise ArgumentError(f"{tool.describe()}: rpm=0 for a tool that cuts by spinning: give its speed")
    if not tool.spins and found.rpm != 0:
        raise ArgumentError(f"{tool.describe()}: rpm={found.rpm:g}, but this tool must never spin: give rpm=0")
    return found


@dataclass(frozen=True, kw_only=True)
class DepthPlan:
    """A depth made definite on a stock.

    Attributes:
        depth: mm; for a through cut the nominal thickness.
        below: how much further down the tool goes, mm; 0 unless through.
        through: the cut parts the board.
    """

    depth: float
    below: float = 0.0
    through: bool = False

    @property
    def bottom(self) -> float:
        """Lowest z of the tip, mm (negative)."""
        return -(self.depth + self.below)


def plan_depth(depth: Depth, *, stock: Stock | None, below: float | None = None) -> DepthPlan:
    """Return a definite depth.

    Args:
        depth: mm, or `THROUGH`. A number of at least the thickness is through too.
        stock: needed for `THROUGH`.
        below: mm under the nominal underside; None = (thickest - nominal) + 0.2.

    Raises:
        ArgumentError: for THROUGH without a stock, a depth not above 0 or far beyond the stock, or `below`
            given for a cut that does not go through.
    """
    check_stock(stock)
    if isinstance(depth, Through):
        if stock is None:
            raise ArgumentError("depth=THROUGH needs stock=: the cut must know the board it goes through")
        through, d = True, stock.thickness
    else:
        d = positive("depth", depth)
        through = stock is not None and d >= stock.thickness
        if through and stock is not None and d > stock.thickness + 1e-9:
            raise ArgumentError(
                f"depth={d:g} lies below the {stock.thickness:g} mm stock: give depth=THROUGH and say with below= how "
                "far the tool may enter the table"
            )
    if not through:
        if below is not None:
            raise ArgumentError("below= is only for cuts that go through: give depth=THROUGH")
        return DepthPlan(depth=d)
    assert stock is not None
    extra = (stock.thickest - stock.thickness) + DEFAULT_BELOW if below is None else positive("below", below, zero=True)
    return DepthPlan(depth=d, below=extra, through=True)


def levels(bottom: float, stepdown: float | None, *, top: float = 0.0) -> tuple[float, ...]:
    """Return the z of each level from the first to `bottom`, equal steps none larger than `stepdown`.

    >>> levels(-9, 4)
    (-3.0, -6.0, -9.0)
    """
    drop = top - bottom
    n = 1 if stepdown is None else max(1, math.ceil(drop / stepdown - 1e-9))
    return (*tuple(top - drop * k / n for k in range(1, n)), float(bottom))


def tool_notes(tool: Tool, depth: float, *, name: str) -> tuple[Finding, ...]:
    """Check that a tool can go `depth` mm down, and return what to say about its size.

    Raises:
        ArgumentError: if the cut is deeper than the cutting edges or the stick-out.
    """
    for what, length in (("cutting edges", tool.cutting_length), ("stick-out", tool.stick_out)):
        if length is not None and depth > length + 1e-9:
            raise ArgumentError(
                f"{name}: {depth:g} mm deep, but the {what} of {tool.describe()} measure {length:g} mm: "
                "take a longer tool or cut less deep"
            )
    notes = []
    hint = any(abs(tool.diameter - f) < 5e-4 for f in INCH_FRACTIONS) and isinstance(tool, EndMill)
    if hint and not isinstance(tool, TrailingKnife | DiamondPoint):
        notes.append(
            Finding(
                code="inch-size",
                severity="note",
                text=f"{tool.describe()} is a very small cutter.",
                advice=f"Did you mean inch({tool.diameter:g})?",
                amount=tool.diameter,
            )
        )
    return tuple(notes)
