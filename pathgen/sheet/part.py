"""The picture of a job's simulated part: as it lies on the machine, or taken out of its frame."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray
from pathgen.model.bounds import Kerf, Line
from pathgen.model.cut import Cut
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap
from pathgen.model.stock import Stock
from pathgen.proof.grid import Grid, inside
from pathgen.sheet.marks import Kind, Mark
from pathgen.sheet.picture import part_png

if TYPE_CHECKING:
    from pathgen.job import Job
    from pathgen.proof.report import Proof

SPOT = 0.006
"""Radius of a marked place, as a share of the part's longer side: smaller is overlooked, larger hides the letter."""


SEEN: Final = 0.2
"""Half the width at which lines without width are drawn, mm: thinner ones vanish in the picture of a whole sheet."""


MARKED: Final = 40
"""Findings marked, at most: more would hide the part."""


def part_picture(
    work: Job | Stock, proof: Proof | None = None, *, width: int = 1400, margin: float = 0.06, finished: bool = False
) -> bytes:
    """Return a PNG of the part as its programs cut it in simulation; of back-side work the front view.

    Args:
        work: the job; or the stock that programs were checked on, then `proof` is needed.
        proof: with the simulated part; None = the job's own.
        width: of the longer side, pixels.
        margin: of ground around it, as a share of the longer side.
        finished: show only what is cut free (the piece inside the through outlines), without frame and marks.

    Returns:
        A PNG. What is too deep or left standing is hatched, every place of a finding is marked with its number in
        `Proof.findings` (the first `MARKED` of them), and a legend says what is what.

    Raises:
        ArgumentError: if the proof holds no simulated part, or `finished` finds nothing that is cut free.
    """
    if isinstance(work, Stock):
        stock, back = work, False
        if proof is None or finished:
            raise ArgumentError("with a stock alone give the proof that check() returned, and no finished=")
    else:
        proof, stock, back = proof or work.prove(), work.stock, work.face == "back"
    if proof.height is None:
        raise ArgumentError("there is no simulated part to show: its tools are not known")
    field = proof.height
    grid = _grid(field)
    turn = slice(None, None, -1) if back else slice(None)
    touched = proof.touched
    keep = inside(stock.outline, grid) if stock.outline is not None else None
    areas: dict[str, BoolArray] = {}
    marks: list[Mark] = []
    array = field.array if isinstance(work, Stock) else _with_lines(work, field.array, grid)
    if array is not field.array:
        touched = None  # a knife's lines are drawn as asked: its pivot runs beside them
    if finished:
        assert not isinstance(work, Stock)
        keep = _piece(work, grid)
        rows, columns = (np.flatnonzero(keep.any(axis=axis)) for axis in (1, 0))
        if len(rows) == 0:
            raise ArgumentError(f"job {work.name!r} cuts nothing free: the piece inside its outline is empty")
        crop = slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)
        array, keep = array[crop], keep[crop]
        touched = None if touched is None else touched[crop]
    else:
        marks = list(_marks(proof.findings, grid, mirrored=back))
        areas = {code: a[:, turn] for code in ("gouge", "residual") if (a := _area(proof, code, grid)).any()}
    return part_png(
        array[:, turn], pixel=field.pixel, material=stock.material, thickness=stock.thickness,
        keep=None if keep is None else keep[:, turn], grain_angle=stock.grain or 0.0, width=width, margin=margin,
        touched=None if touched is None else touched[:, turn],
        gouge=areas.get("gouge"), residual=areas.get("residual"), marks=marks,
    )  # fmt: skip


def marked(findings: Iterable[Finding]) -> bool:
    """Whether a picture of the part holds marks."""
    return any(f.where is not None for f in findings)


def _marks(findings: Sequence[Finding], grid: Grid, *, mirrored: bool) -> Iterator[Mark]:
    """Yield a mark for each place of a finding, at the edge of the picture where it lies beyond."""
    for number, f in enumerate(findings[:MARKED], 1):
        if f.where is not None:
            x, y = ((v - o) / grid.pixel + 0.5 for v, o in zip(f.where, (grid.x0, grid.y0), strict=False))
            x, y = min(max(x, 0.0), float(grid.columns)), min(max(y, 0.0), float(grid.rows))
            kind: Kind = "gouge" if f.code == "gouge" else "residual" if f.code == "residual" else f.severity
            yield Mark(kind=kind, x=grid.columns - x if mirrored else x, y=y, number=number)


def _area(proof: Proof, code: str, grid: Grid) -> BoolArray:
    """Return where the part is too deep or something is left: the samples, and a spot at the place of each finding.

    Walls are measured between the samples, so the spots are needed as well.
    """
    spots = _spots(proof.findings, code, grid)
    found = proof.deep if code == "gouge" else proof.high
    return spots if found is None else spots | found


def _grid(field: HeightMap) -> Grid:
    rows, columns = field.array.shape
    x0, y0 = (o + 0.5 * field.pixel for o in field.origin)
    return Grid(x0=x0, y0=y0, pixel=field.pixel, rows=rows, columns=columns)


def _piece(job: Job, grid: Grid) -> BoolArray:
    """Where the finished piece is: inside the through outlines, less what is cut out of it."""
    kerfs = [k for c in job.cuts if isinstance(c, Cut) and c.through for k in c.bounds.rules if isinstance(k, Kerf)]
    outer = [k.shape for k in kerfs if k.side == "outside"]
    rings = [
        g
        for c in job.cuts
        if isinstance(c, Cut)
        for r in c.bounds.rules
        if isinstance(r, Line) and r.through
        for g in r.lines.geoms
        if g.is_closed and len(g.coords) > 3
    ]
    if not outer and not rings:
        raise ArgumentError(f"job {job.name!r} cuts nothing free: there is no finished piece apart from its stock")
    cut_out = shapely.union_all([k.shape for k in kerfs if k.side == "inside"])
    # of what a knife parts, that which lies inside an odd number of outlines
    return inside(shapely.union_all(outer).difference(cut_out), grid) | inside(shapely.MultiLineString(rings), grid)


def _with_lines(job: Job, field: Any, grid: Grid) -> Any:
    """Return the part with the lines that dragging tools drew, which have no width, as fine grooves to be seen."""
    drawn = [r for c in job.cuts if isinstance(c, Cut) for r in c.bounds.rules if isinstance(r, Line)]
    if not drawn:
        return field
    shown = np.array(field)
    for rule in drawn:
        wide = rule.lines.buffer(max(SEEN, 0.75 * grid.pixel), quad_segs=2)
        deep = min(rule.depth, job.stock.thickness)
        np.minimum(shown, np.where(inside(wide, grid), np.float32(-deep), 0), out=shown)
    return shown


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
