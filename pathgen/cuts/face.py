"""Facing: taking a thin, even layer off the board, with the tool running out over its edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import MultiPolygon, Point, box

from pathgen.cuts.clearing import Run, check_stepover
from pathgen.cuts.layers import floor_cut
from pathgen.cuts.lines import line_runs, zigzag
from pathgen.cuts.model import Cut, Cuttings, cutting_for, tool_notes
from pathgen.errors import ArgumentError, positive
from pathgen.model.artwork import Shape, region_of
from pathgen.model.bounds import Flat
from pathgen.model.stock import Stock
from pathgen.model.tool import EndMill, Tool
from pathgen.shape.offset import as_multi, grown

AIR = 1.0
"""How far the tool's edge runs out beyond the board, mm. Larger: longer lines; smaller: an uneven edge is still
in the cut when the tool turns."""


def face(
    region: Shape,
    tool: Tool,
    *,
    depth: float,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
    angle: float | None = None,
) -> tuple[Cut, ...]:
    """Return the cut that lowers `region` evenly, in straight lines.

    Where the region ends at the edge of the board the lines run out over it, and the tool comes down beside the board.
    Where the region ends on the board its edge is a wall, finished by a ring.

    Args:
        region: the board, or a part of it; mm.
        tool: an end mill.
        depth: mm.
        cutting: speeds; its `stepover` is needed. None takes the tool's own.
        stock: the board; None = the region is the whole board.
        name: for comments and the sheet; None = "face".
        angle: of the lines, degrees counter-clockwise from X; None = along the stock's grain, else along the longer
            side of the region.

    Returns:
        One `Cut` with `face_depth` and open edges.

    Raises:
        DrawingError: if the region is empty, open or not valid.
        ArgumentError: for a missing stepover, a depth of the whole board, a region narrower than the tool on the board.

    >>> from pathgen.model.tool import Cutting
    >>> mill = EndMill(20, cutting=Cutting(14000, 2500, 500, 1, 12))
    >>> cut, = face(box(0, 0, 300, 150), mill, depth=0.5)
    >>> cut.face_depth, cut.open_edges
    (0.5, True)
    """
    title = name or "face"
    if not isinstance(tool, EndMill):
        raise ArgumentError(f"{title}: {tool.describe()} cuts no flat face: take an end mill")
    speeds = cutting_for(tool, cutting)
    stepover = check_stepover(tool, speeds, title)
    positive("depth", depth)
    if stock is not None and depth >= stock.thickness:
        raise ArgumentError(f"{title}: depth={depth:g} takes the whole {stock.thickness:g} mm board: face less")
    tool_notes(tool, depth, name=title)
    asked = region_of(region, what=title)
    center = _center(asked, stock, tool, title)
    whole = stock is None or asked.covers(stock.region.buffer(-1e-6))
    direction = _direction(asked, stock) if angle is None else float(angle)
    if whole:
        runs = _open_lines(asked, center, stepover, direction)
    else:
        runs = line_runs(
            center, radius=0.5 * tool.diameter, stepover=stepover, angle=direction, direction=speeds.direction
        )
        _start_in_air(runs, asked, stock, tool)
    cut = floor_cut(
        runs,
        Flat(region=asked, depth=depth, open_edges=True, facing=True),
        center,
        tool=tool,
        cutting=speeds,
        entry="ramp",
        stock=stock,
        title=title,
        missed=_missed(asked, center, tool),
    )
    guessed = bool(getattr(region, "units_guessed", False))
    return (replace(cut, open_edges=True, face_depth=float(depth), units_guessed=guessed),)


def _center(asked: MultiPolygon, stock: Stock | None, tool: Tool, title: str) -> MultiPolygon:
    """Return where the tool's center may be: off the walls by its radius, and out over the board's edges."""
    radius = 0.5 * tool.diameter
    limit = grown(asked, radius + AIR)
    if stock is None:
        return limit
    x0, y0, x1, y1 = limit.bounds
    around = box(x0 - tool.diameter, y0 - tool.diameter, x1 + tool.diameter, y1 + tool.diameter)
    free = shapely.union(shapely.difference(around, stock.region), asked.buffer(1e-6))
    center = as_multi(shapely.intersection(grown(free, -radius), limit))
    reached = [p for p in center.geoms if p.distance(asked) < radius - 1e-6]
    if not reached:
        raise ArgumentError(
            f"{title}: {tool.describe()} is wider than the region, which ends on the board on both sides: take a "
            "smaller tool, or face the board to its edges"
        )
    return MultiPolygon(reached)


def _direction(asked: MultiPolygon, stock: Stock | None) -> float:
    """Return the direction of the grain, else of the longer side, degrees."""
    if stock is not None and stock.grain is not None:
        return float(stock.grain)
    x0, y0, x1, y1 = asked.bounds
    return 0.0 if x1 - x0 >= y1 - y0 else 90.0


def _open_lines(asked: MultiPolygon, center: MultiPolygon, stepover: float, angle: float) -> list[Run]:
    """Return lines over a region that ends at the board's edges all round; they begin in air."""
    runs: list[Run] = []
    turned = rotate(asked, -angle, origin=(0.0, 0.0))
    _, y0, _, y1 = turned.bounds
    n = max(1, int(np.ceil((y1 - y0) / stepover - 1e-9)))
    rows = y0 + (np.arange(n) + 0.5) * (y1 - y0) / n
    for piece in center.geoms:
        runs += zigzag(piece, stepover=stepover, angle=angle, rows=rows)
    for run in runs:
        run.entry = False
    return runs


def _start_in_air(runs: list[Run], asked: MultiPolygon, stock: Stock | None, tool: Tool) -> None:
    """Let runs that begin wholly beside the board come down without an entry."""
    board = asked if stock is None else stock.region
    for run in runs:
        if run.entry and Point(run.moves[0].xy[0]).distance(board) >= 0.5 * tool.diameter:
            run.entry = False


def _missed(asked: MultiPolygon, center: MultiPolygon, tool: Tool) -> MultiPolygon:
    """Return what no position of the tool covers."""
    rest = as_multi(shapely.difference(asked, grown(center, 0.5 * tool.diameter)))
    return MultiPolygon([p for p in rest.geoms if not p.buffer(-0.004, quad_segs=4).is_empty])
