"""The picture of a job's simulated part: as it lies on the machine, or taken out of its frame."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import shapely

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray
from pathgen.model.bounds import Kerf
from pathgen.model.cut import Cut
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap
from pathgen.proof.grid import Grid, inside
from pathgen.sheet.picture import part_png

if TYPE_CHECKING:
    from pathgen.job import Job
    from pathgen.proof.report import Proof

SPOT = 0.006
"""Radius of a marked place, as a share of the part's longer side: smaller is overlooked, larger hides the letter."""


def part_picture(
    job: Job, proof: Proof | None = None, *, width: int = 1400, margin: float = 0.06, finished: bool = False
) -> bytes:
    """Return a PNG of the part as its own programs cut it in simulation; of back-side work the front view.

    Args:
        job: its stock decides color, outline and grain.
        proof: with the simulated part; None = the job's own.
        width: of the longer side, pixels.
        margin: of ground around it, as a share of the longer side.
        finished: show only what is cut free (the piece inside the through outlines), without frame and marks.

    Returns:
        A PNG. Places of gouge and residual findings are marked: red and blue hatched spots.

    Raises:
        ArgumentError: if the proof holds no simulated part, or `finished` finds nothing that is cut free.
    """
    proof = proof or job.prove()
    if proof.height is None:
        raise ArgumentError(f"job {job.name!r} has no simulated part to show: its tools are not known")
    field = proof.height
    grid = _grid(field)
    turn = slice(None, None, -1) if job.face == "back" else slice(None)
    keep = inside(job.stock.outline, grid) if job.stock.outline is not None else None
    marks: dict[str, BoolArray] = {}
    array = field.array
    if finished:
        keep = _piece(job, grid)
        rows, columns = (np.flatnonzero(keep.any(axis=axis)) for axis in (1, 0))
        if len(rows) == 0:
            raise ArgumentError(f"job {job.name!r} cuts nothing free: the piece inside its outline is empty")
        crop = slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)
        array, keep = array[crop], keep[crop]
    else:
        marks = {code: m[:, turn] for code in ("gouge", "residual") if (m := _spots(proof.findings, code, grid)).any()}
    return part_png(
        array[:, turn], pixel=field.pixel, material=job.stock.material, thickness=job.stock.thickness,
        keep=None if keep is None else keep[:, turn], grain_angle=job.stock.grain or 0.0, width=width, margin=margin,
        gouge=marks.get("gouge"), residual=marks.get("residual"),
    )  # fmt: skip


def marked(findings: Iterable[Finding]) -> bool:
    """Whether a picture of the part holds marks."""
    return any(f.code in ("gouge", "residual") and f.where is not None for f in findings)


def _grid(field: HeightMap) -> Grid:
    rows, columns = field.array.shape
    x0, y0 = (o + 0.5 * field.pixel for o in field.origin)
    return Grid(x0=x0, y0=y0, pixel=field.pixel, rows=rows, columns=columns)


def _piece(job: Job, grid: Grid) -> BoolArray:
    """Where the finished piece is: inside the through outlines, less what is cut out of it."""
    kerfs = [k for c in job.cuts if isinstance(c, Cut) and c.through for k in c.bounds.rules if isinstance(k, Kerf)]
    outer = [k.shape for k in kerfs if k.side == "outside"]
    if not outer:
        raise ArgumentError(f"job {job.name!r} cuts nothing free: there is no finished piece apart from its stock")
    cut_out = shapely.union_all([k.shape for k in kerfs if k.side == "inside"])
    return inside(shapely.union_all(outer).difference(cut_out), grid)


def _spots(findings: Iterable[Finding], code: str, grid: Grid) -> BoolArray:
    """Mark a disc around the place of each finding of one code."""
    mask = np.zeros((grid.rows, grid.columns), dtype=np.bool_)
    radius = max(SPOT * grid.pixel * max(mask.shape), grid.pixel)
    for f in findings:
        if f.code == code and f.where is not None:
            x, y, _ = f.where
            rows, columns = grid.window((x - radius, y - radius, x + radius, y + radius))
            near = np.hypot(grid.x[None, columns] - x, grid.y[rows, None] - y) <= radius
            mask[rows, columns] |= near
    return mask
