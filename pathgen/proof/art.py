"""The cut part against the original artwork: the right way round, and the same picture."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from pathgen.model.findings import Finding
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid, Mask, inside

TELLS = 0.02
"""Likenesses nearer than this are the same: the drawing is symmetric as far as the grid can see."""

LIKE = 0.6
"""A likeness below this is another picture. A drawing that is cut whole and alone reaches 0.95 on a grid of 0.1 mm;
borders and other cuts beside it take some of that."""


def likeness(a: Mask, b: Mask) -> float:
    """Return how alike two masks are: the size of their correlation, 0 to 1; a picture and its negative are alike.

    The phi coefficient (Pearson's correlation of two yes-or-no values).
    """
    n = a.size
    both, one, other = np.count_nonzero(a & b), np.count_nonzero(a), np.count_nonzero(b)
    spread = float(one) * (n - one) * other * (n - other)
    return abs(n * both - float(one) * other) / np.sqrt(spread) if spread > 0 else 0.0


def _mirrored(region: Any, across: float) -> Any:
    return shapely.transform(region, lambda xy: np.column_stack([2.0 * across - xy[:, 0], xy[:, 1]]))


def _on(region: Any, cut: Mask, grid: Grid) -> float:
    """Return the best likeness of `region` with what was cut: where it stands, or with its box over the cut's."""
    best = likeness(inside(region, grid), cut)
    rows, columns = np.flatnonzero(cut.any(axis=1)), np.flatnonzero(cut.any(axis=0))
    if len(rows):
        x = grid.x0 + 0.5 * (columns[0] + columns[-1]) * grid.pixel
        y = grid.y0 + 0.5 * (rows[0] + rows[-1]) * grid.pixel
        x0, y0, x1, y1 = region.bounds
        moved = shapely.transform(region, lambda xy: xy + np.array([x - 0.5 * (x0 + x1), y - 0.5 * (y0 + y1)]))
        best = max(best, likeness(inside(moved, grid), cut))
    return best


def art_findings(
    cut: Mask, grid: Grid, width: float, *, artwork: Any | None, face: str, confirmed: bool
) -> Iterator[Finding]:
    """Yield what the comparison with the unmirrored original says.

    Work on the back is seen from the front, so it is right where the cut face shows the mirror image.

    Args:
        cut: samples that were cut, without the slots that part the board.
        grid: its samples.
        width: of the stock, mm; the mirror line is its middle.
        artwork: the original region, or None.
        face: "top" or "back".
        confirmed: the maker has looked at the front view.
    """
    if artwork is None or artwork.is_empty:
        if face == "back" and not confirmed:
            yield finding("mirrored-unknown", "The work is on the back and no original is given to compare it with.")
        return
    middle = 0.5 * (artwork.bounds[0] + artwork.bounds[2])
    plain, turned = (
        _on(artwork, cut, grid),
        max(_on(_mirrored(artwork, 0.5 * width), cut, grid), _on(_mirrored(artwork, middle), cut, grid)),
    )
    right, wrong = (plain, turned) if face == "top" else (turned, plain)
    if wrong > right + TELLS:
        yield finding(
            "mirrored-wrong",
            "The finished part shows the artwork mirrored: "
            + ("mirror the shape once before planning." if face == "back" else "it must not be mirrored."),
            amount=wrong - right,
        )
    elif abs(right - wrong) <= TELLS and face == "back" and not confirmed:
        yield finding("mirrored-symmetric", "The artwork is as like its mirror image as itself.")
    if max(right, wrong) < LIKE:
        yield finding("art-differs", f"What is cut is like the artwork by {max(right, wrong):.2f} of 1.", amount=right)
