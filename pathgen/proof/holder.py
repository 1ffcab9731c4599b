"""What stands above a cutter's edges, shank and holder, against the stock as it stands when they come by.

Terminology
-----------
body
    A cylinder above the edges: the shank from the edges' upper end, the holder from the stick-out up.
candidate
    A stroke that takes the lower end of a body below the top of the stock. No other can touch (closed form), so most
    programs are done here.

A body's lower surface along its strokes is that of a flat cutter as wide as the body. Where the finished part stands
above it the body has touched, since stock only ever gets lower. What stands above it only in the stock as it was before
is looked at again in halves of the program, down to single strokes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.tool import EndMill, Tool
from pathgen.proof.checks import STEP, Setting
from pathgen.proof.codes import finding
from pathgen.proof.collide import edge_length
from pathgen.proof.grid import Grid
from pathgen.proof.sweep import Field, lowest_strokes, sweep

SAME: Final = 0.01
"""A shank no wider than the edges by more than this rubs no wall that they have cut, mm: tolerances of grinding."""

ASSUMED_HOLDER: Final = 50.0
"""Diameter of a holder that is not stated, mm, where the stick-out is. Common practice, no source."""

MOST_LOOKS: Final = 200
"""Looks at the stock in halves of the program. A program that needs more is taken as clear there: no false alarm."""

COARSE: Final = 0.02
"""Step at which a body is looked at, in its radii, where that is more than the field's. Larger: what stands no wider
than this is missed; smaller: time."""

BODY: Final = 1
"""Tool number of the body in its own sweep."""

_LENGTHS: Final = {"deeper-than-edges", "deeper-than-stick-out"}


@dataclass(frozen=True, kw_only=True)
class Body:
    """A cylinder above a tool's edges.

    Attributes:
        tool: T number.
        radius: mm.
        above: height of its lower end above the tip, mm.
        words: how findings call it.
    """

    tool: int
    radius: float
    above: float
    words: str = ""


@dataclass(frozen=True, kw_only=True)
class Touch:
    """A place where a body comes below standing stock.

    Attributes:
        depth: by how much, mm.
        where: (x, y, z of the body's lower end), mm.
        stroke: index of the stroke.
    """

    depth: float
    where: tuple[float, float, float]
    stroke: int


def reach_findings(
    s: Setting, told: Sequence[Finding], before: Field | None, cut: Field, grid: Grid
) -> Iterator[Finding]:
    """Yield the findings `told` and those on shanks and holders.

    A tool that goes deeper than its edges or its stick-out below the *face* is cleared of it where the stock beside its
    way had been lowered before, by facing or in a pocket.

    Args:
        s: programs, tools and stock.
        told: findings of the program checks.
        before: the stock as it was, heights in mm; None = whole.
        cut: the part.
        grid: its samples.
    """
    for f in told:
        if f.code not in _LENGTHS or any(_touch(s, b, before, cut, grid) for b in _limits(s, f.code, grid)):
            yield f
    for body in _bodies(s):
        touch = _touch(s, body, before, cut, grid)
        if touch is not None:
            place = s.place(int(s.strokes.move[touch.stroke])) | {"where": touch.where}
            yield finding(
                "shank-touches",
                f"The {body.words} of T{body.tool} comes {touch.depth:.2f} mm below stock that stands beside its way.",
                amount=touch.depth,
                **place,
            )


def _bodies(s: Setting) -> Iterator[Body]:
    for number, tool in sorted(s.tools.items()):
        edges = edge_length(tool)
        if edges is not None and tool.shank is not None and tool.shank > tool.diameter + 2 * SAME:
            yield Body(tool=number, radius=0.5 * tool.shank - SAME, above=edges, words="shank")
        if tool.stick_out is not None and tool.holder is not None:
            yield Body(tool=number, radius=0.5 * tool.holder.diameter, above=tool.stick_out, words="holder")


def _limits(s: Setting, code: str, grid: Grid) -> Iterator[Body]:
    """Yield the cylinders that must stay clear for a tool not to be too short."""
    for number, tool in sorted(s.tools.items()):
        if code == "deeper-than-edges" and tool.cutting_length is not None:
            # walls beside the edges, which rub where they stand higher
            yield Body(tool=number, radius=0.5 * tool.diameter + grid.pixel, above=tool.cutting_length)
        if code == "deeper-than-stick-out" and tool.stick_out is not None:
            wide = tool.holder.diameter if tool.holder is not None else ASSUMED_HOLDER
            yield Body(tool=number, radius=0.5 * max(wide, tool.diameter), above=tool.stick_out)


def _touch(s: Setting, body: Body, before: Field | None, cut: Field, grid: Grid) -> Touch | None:
    """Return a place where a body touches the stock as it stands then, the worst where the finished part shows it."""
    top = s.stock.film + s.stock.unevenness
    st = s.strokes
    rows = np.flatnonzero((st.tool == body.tool) & (st.lowest + body.above < top - STEP))
    if not len(rows):
        return None
    r = body.radius
    low, high = np.minimum(st.a[rows], st.b[rows]).min(axis=0), np.maximum(st.a[rows], st.b[rows]).max(axis=0)
    window = grid.window((low[0] - r, low[1] - r, high[0] + r, high[1] + r))
    # every k-th sample will do for a wide body; rows and columns are those of the field
    k = max(1, int(COARSE * r / grid.pixel))
    window = (slice(window[0].start, window[0].stop, k), slice(window[1].start, window[1].stop, k))
    finished = cut[window]
    if not finished.size:
        return None
    first = grid.part(*window)
    part = replace(first, pixel=k * grid.pixel, rows=finished.shape[0], columns=finished.shape[1])
    deepest = int(np.argmin(st.lowest[rows]))
    walk = _Walk(s, body, rows, part, top)
    found = walk.touch(deepest, deepest + 1, finished)
    if found is not None and found.depth >= top - (float(st.lowest[rows[deepest]]) + body.above) - STEP:
        return found  # beside the face itself: no other is worse
    found = walk.touch(0, len(rows), finished)
    if found is not None:
        return found
    start = np.zeros(finished.shape, dtype=np.float32) if before is None else before[window].copy()
    return walk.refine(0, len(rows), start, 0)


class _Walk:
    """Candidates of one body, held against the stock at different times."""

    def __init__(self, s: Setting, body: Body, rows: IntArray, grid: Grid, top: float) -> None:
        self.s, self.rows, self.grid, self.top = s, rows, grid, top
        shift = np.array([0.0, 0.0, body.above - top])
        own = s.strokes[rows]
        self.strokes = replace(own, a=own.a + shift, b=own.b + shift, tool=np.full(len(rows), BODY))
        self.tools: dict[int, Tool] = {BODY: EndMill(2.0 * body.radius, small=True)}
        self.looks = 0

    def touch(self, first: int, end: int, field: Field) -> Touch | None:
        """Return where candidates `first` to `end` come lowest below `field`, or None."""
        self.looks += 1
        under = sweep(self.strokes[first:end], self.tools, self.grid)
        # what has not been cut stands up to the film's or the face's highest place
        stands = np.where(field > -STEP, 0.0, np.minimum(field - self.top, 0.0))
        depth = np.where(under < 0.0, stands - under, 0.0)
        k = int(np.argmax(depth))
        if depth.flat[k] <= STEP:
            return None
        row, column = divmod(k, self.grid.columns)
        x, y = self.grid.x0 + column * self.grid.pixel, self.grid.y0 + row * self.grid.pixel
        over: FloatArray = lowest_strokes(self.strokes[first:end], self.tools, x, y)
        stroke = first + int(np.argmin(over))
        where = (float(x), float(y), float(under.flat[k]) + self.top)
        return Touch(depth=float(depth.flat[k]), where=where, stroke=int(self.rows[stroke]))

    def refine(self, first: int, end: int, field: Field, done: int) -> Touch | None:
        """Return where candidates `first` to `end` touch the stock as it stands at each, or None.

        Args:
            first: index of a candidate.
            end: index after the last.
            field: the stock once strokes before `done` have been cut; it is cut further, in place.
            done: index of a stroke, at most that of candidate `first`.
        """
        every, tools = self.s.strokes, self.s.tools
        sweep(every[done : self.rows[first]], tools, self.grid, into=field)
        if self.looks >= MOST_LOOKS or self.touch(first, end, field) is None:
            return None
        if end - first == 1:
            sweep(every[self.rows[first] : self.rows[first] + 1], tools, self.grid, into=field)
            return self.touch(first, end, field)
        middle = (first + end) // 2
        found = self.refine(first, middle, field.copy(), int(self.rows[first]))
        return found or self.refine(middle, end, field, int(self.rows[first]))
