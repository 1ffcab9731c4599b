"""`back_side`: artwork turned over, so that what is cut into the rear face reads right from the front."""

from __future__ import annotations

from typing import TypeVar

from pathgen.model.stock import Stock
from pathgen.shape.place import mirror

T = TypeVar("T")


def back_side(artwork: T, stock: Stock) -> T:
    """Return `artwork` mirrored at the middle of the stock, as the stock's rear face shows it after a turn about Y.

    Mirror first and plan afterwards: a planned path that is mirrored would turn climb into conventional.

    Args:
        artwork: whatever `mirror` takes: regions, lines, lettering, layers, drawings; mm, stock coordinates.
        stock: the slab; it is turned over about the line x = width / 2, so that its outline lands on itself.

    Returns:
        The same kind as given; twice gives the original back.

    >>> from shapely.geometry import box
    >>> back_side(box(0, 0, 10, 5), Stock(100, 50, 6, material="acrylic")).bounds
    (90.0, 0.0, 100.0, 5.0)
    """
    return mirror(artwork, across=0.5 * stock.width)
