"""How deep a V-groove may go, and what to tell the maker about it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pathgen.cuts.model import check_stock
from pathgen.errors import ArgumentError, positive
from pathgen.model.findings import Finding
from pathgen.model.stock import Stock
from pathgen.model.tool import VBit

LEAST_LEFT = 3.0
"""What the default limit leaves under a groove, mm, though no more than half the board. Common practice, no source."""

LEFT_SHARE = 0.2
"""Share of the thickness that the default limit leaves where that is more. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """The deepest a groove may go.

    Attributes:
        depth: mm below the face.
        why: in words, for notes.
    """

    depth: float
    why: str


def find_limit(
    bit: VBit, *, depth_limit: float | None, begin: float, stock: Stock | None, title: str, widening: bool = False
) -> Limit:
    """Return the limit from what was asked, the stock, and the size of the bit: the least of them.

    The default from the stock is thickness - max(20 %, min(3 mm, half the thickness)), of the thinnest board.

    Raises:
        ArgumentError: without depth_limit and stock, for a limit beyond the stock, or above where the groove begins.
    """
    check_stock(stock)
    positive("begin", begin, zero=True)
    if depth_limit is not None:
        found = Limit(depth=positive("depth_limit", depth_limit), why="the depth limit asked for")
        if stock is not None and found.depth >= stock.thinnest:
            raise ArgumentError(
                f"{title}: depth_limit={found.depth:g} goes through the board, which may measure "
                f"{stock.thinnest:g} mm: "
                "give less, or a thicker board"
            )
    elif stock is not None:
        thin = stock.thinnest
        left = max(LEFT_SHARE * thin, min(LEAST_LEFT, 0.5 * thin))
        found = Limit(depth=thin - left, why=f"the default for a {thin:g} mm board, which leaves {left:g} mm under it")
    else:
        raise ArgumentError(
            f"{title}: give stock= or depth_limit=: a wide stroke would go deeper than the board, so the groove must "
            "know one of them"
        )
    if begin >= found.depth:
        word = "face_loss" if widening else "begin"
        raise ArgumentError(f"{title}: {word}={begin:g} lies below the deepest the groove may go, {found.depth:g} mm")
    cone = (0.0 if widening else begin) + bit.cone_height
    if cone < found.depth:
        found = Limit(depth=cone, why=f"the size of {bit.describe()}, whose cone is {bit.cone_height:.2f} mm high")
    return found


def flattened_note(limit: Limit, widest: float, where: tuple[float, float], title: str) -> Finding:
    """Return the note on strokes that the limit gives a flat floor.

    Args:
        limit: see `find_limit`.
        widest: width of the widest stroke, mm.
        where: (x, y) of its middle.
        title: the cut's name.
    """
    return Finding(
        code="groove-limit",
        severity="note",
        text=(
            f"Wide strokes (up to {widest:.2f} mm) get a flat floor at {limit.depth:.2f} mm, {limit.why}; the drawn "
            "outline is met at the top all the same."
        ),
        advice="Give depth_limit= for another depth, or a larger bit.",
        where=(*where, -limit.depth),
        amount=limit.depth,
        cut=title,
    )


def flatness_note(bit: VBit, thinnest: float, where: tuple[float, float], title: str) -> Finding:
    """Return the note on how flat the top must be: a groove's width follows its depth.

    dw = 2 dz tan(angle / 2) (elementary geometry).

    Args:
        bit: its angle.
        thinnest: width of the thinnest stroke, mm.
        where: (x, y) of it.
        title: the cut's name.
    """
    per_tenth = 0.2 * bit.slope
    flat = 0.1 * thinnest / bit.slope
    return Finding(
        code="flatness",
        severity="note",
        text=(
            f"Every 0.1 mm that the top lies too high or too low makes the grooves {per_tenth:.3f} mm wider or "
            f"narrower; the thinnest stroke, {thinnest:.2f} mm, stays within 20 % while the top is flat to "
            f"{flat:.2f} mm."
        ),
        advice="Face the board, or measure its top, where it is less flat.",
        where=(*where, 0.0),
        amount=flat,
        cut=title,
    )


def ridge_warning(ridge: float, where: tuple[float, float], depth: float, title: str) -> Finding:
    """Return the warning that a V bit leaves ridges on a flat floor."""
    return Finding(
        code="floor-ridge",
        severity="warning",
        text=f"The V bit clears the flat floor itself and leaves ridges up to {ridge:.2f} mm high on it.",
        advice="Give floor_tool= for a smooth floor, or a smaller stepover.",
        where=(*where, -depth),
        amount=ridge,
        cut=title,
    )


def ridge_height(stepover: float, bit: VBit) -> float:
    """Return the height of the ridge between passes `stepover` mm apart, mm: stepover / (2 tan(angle / 2)).

    >>> round(ridge_height(1.0, VBit(60, diameter=6)), 6)
    0.866025
    """
    return stepover / (2.0 * math.tan(math.radians(0.5 * bit.angle)))
