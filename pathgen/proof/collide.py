"""What moves hit: keep-outs under all moves, and material under rapids."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import shapely

from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.tool import Tool, VBit
from pathgen.proof.checks import NOISE, STEP, Setting
from pathgen.proof.codes import finding
from pathgen.proof.grid import Grid
from pathgen.proof.strokes import Strokes
from pathgen.proof.sweep import Field, profile_of, sweep

IN_MATERIAL = 0.01
"""A rapid that takes off less than this has met rounding, not material, mm."""

MOST_PLACES = 20
"""Rapids in material are listed up to this many; one is enough to stop the program."""


def edge_length(tool: Tool) -> float | None:
    """Return how far up from the tip a tool cuts, mm; None where it is not stated. A V bit's cone ends at its rim."""
    if tool.cutting_length is None and isinstance(tool, VBit):
        return tool.cone_height
    return tool.cutting_length


def envelope(tool: Tool, height: FloatArray) -> FloatArray:
    """Return the largest radius of cutter, shank and holder below a `height` above the tip, mm, as far as stated."""
    profile = profile_of(tool)
    above = np.maximum(height, 0.0)
    radius = np.zeros_like(above) if profile is None else np.asarray(profile.reach(above), dtype=np.float64)
    edges = edge_length(tool)
    if tool.shank is not None and edges is not None:
        radius = np.where(above > edges, np.maximum(radius, 0.5 * tool.shank), radius)
    if tool.holder is not None and tool.stick_out is not None:
        radius = np.where(above > tool.stick_out, np.maximum(radius, 0.5 * tool.holder.diameter), radius)
    return radius


def keep_out_findings(s: Setting) -> Iterator[Finding]:
    """Yield a finding for each keep-out that a move comes into; a rapid in X and Y counts as the whole rectangle."""
    for number, keep in enumerate(s.keep_out, 1):
        worst: tuple[float, int] | None = None
        low = s.strokes.lowest
        under = np.flatnonzero(low < keep.height - NOISE)
        for tool_number in np.unique(s.strokes.tool[under]):
            tool = s.tools.get(int(tool_number))
            if tool is None:
                continue
            own = under[s.strokes.tool[under] == tool_number]
            radius = envelope(tool, keep.height - low[own])
            gap = shapely.distance(_shadows(s.strokes, own), keep.region)
            over = np.where(gap <= 0, np.maximum(radius, NOISE), radius - gap)
            k = int(np.argmax(over))
            if over[k] > NOISE and (worst is None or over[k] > worst[0]):
                worst = (float(over[k]), int(s.strokes.move[own[k]]))
        if worst is not None:
            yield finding(
                "keep-out",
                f"A move comes {worst[0]:.2f} mm into {keep.name or f'keep-out {number}'}.",
                amount=worst[0],
                **s.place(worst[1]),
            )


def _shadows(strokes: Strokes, rows: IntArray) -> FloatArray:
    a, b = strokes.a[rows, :2], strokes.b[rows, :2]
    shapes = shapely.linestrings(np.stack([a, b], axis=1))
    slanting = strokes.rapid[rows] & (np.abs(a - b) > NOISE).all(axis=1)
    if slanting.any():
        low, high = np.minimum(a, b)[slanting], np.maximum(a, b)[slanting]
        shapes[slanting] = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    return shapes  # type: ignore[no-any-return]


def cut_in_order(strokes: Strokes, tools: Mapping[int, Tool], grid: Grid, field: Field) -> list[tuple[float, int]]:
    """Cut `field` by all strokes in order, in place; return (depth in material, move) of rapids that met some.

    Only rapids that go sideways or down below the face can meet material, so the field is brought up to date before
    each of those and swept in bulk between.
    """
    plain_up = (np.abs(strokes.b[:, :2] - strokes.a[:, :2]) <= NOISE).all(axis=1) & (strokes.b[:, 2] >= strokes.a[:, 2])
    risky = np.flatnonzero(strokes.rapid & (strokes.lowest < -NOISE) & ~plain_up)
    met: list[tuple[float, int]] = []
    done = 0
    for k in risky:
        sweep(strokes[done:k], tools, grid, into=field)
        done = int(k)
        if len(met) < MOST_PLACES:
            depth = _into_material(strokes, int(k), tools, grid, field)
            if depth > IN_MATERIAL:
                met.append((depth, int(strokes.move[k])))
    sweep(strokes[done:], tools, grid, into=field)
    return met


def _into_material(strokes: Strokes, k: int, tools: Mapping[int, Tool], grid: Grid, field: Field) -> float:
    """Return how deep rapid `k` cuts into the field as it stands, mm."""
    tool = tools.get(int(strokes.tool[k]))
    if tool is None or profile_of(tool) is None:
        return 0.0
    a, b = strokes.a[k], strokes.b[k]
    r = 0.5 * tool.diameter
    low, high = np.minimum(a, b), np.maximum(a, b)
    rows, columns = grid.window((low[0] - r, low[1] - r, high[0] + r, high[1] + r))
    part = grid.part(rows, columns)
    if part.rows == 0 or part.columns == 0:
        return 0.0
    # the axes need not arrive together: straight, X first and Y first
    z = max(a[2], b[2]) if abs(a[2] - b[2]) <= STEP else None
    ways = [(a, b)]
    if (np.abs(a[:2] - b[:2]) > NOISE).all():
        for corner in (np.array([a[0], b[1], 0.0]), np.array([b[0], a[1], 0.0])):
            corner[2] = z if z is not None else low[2]
            ways += [(a, corner), (corner, b)]
    n = len(ways)
    same = np.zeros(n, dtype=np.int64)
    legs = Strokes(
        a=np.array([w[0] for w in ways]),
        b=np.array([w[1] for w in ways]),
        tool=same + int(strokes.tool[k]),
        rapid=np.ones(n, dtype=np.bool_),
        move=same,
        cut=same,
    )
    swept = sweep(legs, tools, part)
    depth = field[rows, columns] - swept
    return float(depth.max())


def rapid_findings(s: Setting, met: list[tuple[float, int]]) -> Iterator[Finding]:
    """Yield findings for rapids that met material."""
    for depth, move in met:
        yield finding(
            "rapid-in-material",
            f"A rapid runs {depth:.2f} mm deep through material.",
            amount=depth,
            **s.place(move),
        )
