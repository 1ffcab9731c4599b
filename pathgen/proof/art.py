"""The cut part against the original artwork: the right way round, the same size, the same area, the same picture."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from pathgen.model.findings import Finding
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid, Mask, inside, widened

TELLS = 0.02
"""Likenesses nearer than this are the same: the drawing is symmetric as far as the grid can see."""

LIKE = 0.6
"""A likeness below this is another picture. A drawing that is cut whole and alone reaches 0.95 on a grid of 0.1 mm;
borders and other cuts beside it take some of that."""


CERTAIN = 0.8
"""From this likeness on, the cut is the artwork in another size or with something missing."""

SIZE = 0.01
"""Sizes nearer than this share, and two samples, are the same."""

AREA = 0.05
"""A smaller share of the artwork than this may be cut too much or too little: fine strokes, rounded corners."""

INCH = 25.4
"""The ratio that comes from taking inches for mm or mm for inches."""


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
    best = max(right, wrong)
    other = list(_other_size(artwork, cut, grid, best)) if best < CERTAIN else []
    if other:
        yield from other
    elif best < LIKE:
        yield finding("art-differs", f"What is cut is like the artwork by {best:.2f} of 1.", amount=right)
    else:
        yield from _other_area(artwork, cut, grid, alone=best >= CERTAIN)


def _box(cut: Mask, grid: Grid) -> tuple[float, float, float, float]:
    """Return (x0, y0, x1, y1) around what is cut, mm, to half a sample."""
    rows, columns = np.flatnonzero(cut.any(axis=1)), np.flatnonzero(cut.any(axis=0))
    half = 0.5 * grid.pixel
    return (
        grid.x0 + float(columns[0]) * grid.pixel - half,
        grid.y0 + float(rows[0]) * grid.pixel - half,
        grid.x0 + float(columns[-1]) * grid.pixel + half,
        grid.y0 + float(rows[-1]) * grid.pixel + half,
    )


def _other_size(artwork: Any, cut: Mask, grid: Grid, before: float) -> Iterator[Finding]:
    """Yield that the cut is the artwork in another size, where it is alike with its box laid over the cut's."""
    if not cut.any():
        return
    x0, y0, x1, y1 = _box(cut, grid)
    a0, b0, a1, b1 = artwork.bounds
    wide, high = (x1 - x0) / max(a1 - a0, 1e-9), (y1 - y0) / max(b1 - b0, 1e-9)
    ratio = float(np.sqrt(wide * high))
    slack = SIZE + 2.0 * grid.pixel / max(min(x1 - x0, y1 - y0), grid.pixel)
    if abs(wide - high) > slack * ratio or abs(ratio - 1.0) <= slack:
        return
    scaled = shapely.transform(artwork, lambda xy: np.array([x0, y0]) + (xy - [a0, b0]) * [wide, high])
    mirrored = _mirrored(scaled, 0.5 * (x0 + x1))
    like = max(likeness(inside(scaled, grid), cut), likeness(inside(mirrored, grid), cut))
    if like < max(CERTAIN, before + TELLS):
        return
    inch = min(abs(ratio / INCH - 1.0), abs(ratio * INCH - 1.0)) <= slack
    text = f"The artwork measures {a1 - a0:.2f} x {b1 - b0:.2f} mm and is cut {x1 - x0:.2f} x {y1 - y0:.2f} mm"
    yield finding("art-inch" if inch else "art-size", f"{text}, {ratio:.4g} times as large.", amount=ratio)


def _other_area(artwork: Any, cut: Mask, grid: Grid, *, alone: bool) -> Iterator[Finding]:
    """Yield that within the artwork's own box more or less is cut than it covers: a part is missing, or a hole filled.

    Only where the artwork lies in its place on the stock, and is cut itself (not the ground around it). What is cut
    beside it counts only where nothing else is cut there (`alone`).
    """
    x0, y0, x1, y1 = artwork.bounds
    rows, columns = grid.window((x0 - grid.pixel, y0 - grid.pixel, x1 + grid.pixel, y1 + grid.pixel))
    drawn, here = inside(artwork, grid)[rows, columns], cut[rows, columns]
    if not drawn.any() or np.count_nonzero(drawn & here) < LIKE * np.count_nonzero(drawn):
        return
    # two samples along outlines are left out: walls may be counted on either side there
    missing = float(np.count_nonzero(~widened(~drawn, 2) & ~here)) * grid.cell
    extra = float(np.count_nonzero(here & ~widened(drawn, 2))) * grid.cell if alone else 0.0
    if max(missing, extra) > AREA * artwork.area:
        text = f"The artwork covers {artwork.area:.1f} mm2: {missing:.1f} mm2 of it are not cut, {extra:.1f} too much."
        yield finding("art-area", text, amount=max(missing, extra))
