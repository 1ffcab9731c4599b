"""What a program's moves do to the stock: straight strokes in stock coordinates, in order.

Terminology
-----------
stroke
    One straight move of a tool's tip. A line is one stroke; an arc or helix is many, whose chords leave the true
    curve by at most `SAGITTA`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.motion import ARC, RAPID, Motion
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.proof.grid import expanded

SAGITTA = 0.0005
"""Largest distance of a chord from its arc, mm. Larger: eats into the 0.010 mm that walls are owed; smaller: more
strokes for nothing, since programs are rounded to 0.001."""

HIGH = 1000.0
"""Height that stands for the top of the machine's travel, mm above the face, where a program goes there by G53."""

_CUT = re.compile(r"\s*CUT\s+(\d+)\b")
_TOOL = re.compile(r"\s*Tool\s+T(\d+)\b")


@dataclass(frozen=True, eq=False, kw_only=True)
class Strokes:
    """Strokes of one or several programs in order; n strokes.

    Attributes:
        a: (n, 3) start of the tip in stock coordinates, mm.
        b: (n, 3) end.
        tool: (n,) T number.
        rapid: (n,) the move is a rapid.
        move: (n,) row of the move in `Track`.
        cut: (n,) index of the cut in the order in which they were asked for; -1 where the program does not say.
    """

    a: FloatArray
    b: FloatArray
    tool: IntArray
    rapid: BoolArray
    move: IntArray
    cut: IntArray

    def __len__(self) -> int:
        return len(self.a)

    def __getitem__(self, chosen: slice | BoolArray | IntArray) -> Strokes:
        return Strokes(
            a=self.a[chosen],
            b=self.b[chosen],
            tool=self.tool[chosen],
            rapid=self.rapid[chosen],
            move=self.move[chosen],
            cut=self.cut[chosen],
        )

    @property
    def lowest(self) -> FloatArray:
        """Lowest z of each stroke, mm."""
        return np.minimum(self.a[:, 2], self.b[:, 2])


@dataclass(frozen=True, eq=False, kw_only=True)
class Track:
    """Every move of all programs of a job, in stock coordinates; n moves.

    Attributes:
        start, end, center: (n, 3) mm; NaN where not known. z is `HIGH` where the tool is at the top of its travel.
        kind, plane, sweep, feed, rpm, tool, line: as in `Moves`.
        machine: (n,) ends in machine coordinates.
        program: (n,) index of the text.
        cut: (n,) as in `Strokes`.
    """

    start: FloatArray
    end: FloatArray
    center: FloatArray
    kind: IntArray
    plane: IntArray
    sweep: FloatArray
    feed: FloatArray
    rpm: FloatArray
    tool: IntArray
    line: IntArray
    machine: BoolArray
    program: IntArray
    cut: IntArray

    def __len__(self) -> int:
        return len(self.kind)


def track_of(motions: Sequence[Motion], tools: Mapping[int, Tool], stock: Stock) -> Track:
    """Return all moves of `motions`, run one after the other on one stock.

    Tools go by T words, else by the comments that tell the operator which tool to put in, else by being the only one.
    """
    shift = np.array([*stock.zero_xy, stock.zero_z])
    only = next(iter(tools)) if len(tools) == 1 else 0
    columns: dict[str, list[np.ndarray]] = {name: [] for name in Track.__annotations__}
    for k, motion in enumerate(motions):
        m = motion.moves
        start, end = m.start + shift, m.end + shift
        _heights(start, end, m.machine)
        columns["start"].append(start)
        columns["end"].append(end)
        columns["center"].append(m.center + shift)
        for name in ("kind", "plane", "line"):
            columns[name].append(getattr(m, name).astype(np.int64))
        for name in ("sweep", "feed", "rpm", "machine"):
            columns[name].append(getattr(m, name))
        columns["tool"].append(_tool_numbers(motion, only))
        columns["program"].append(np.full(len(m), k))
        columns["cut"].append(_cuts(motion))
    if not motions:
        raise ValueError("at least one program")
    return Track(**{name: np.concatenate(parts) for name, parts in columns.items()})


def _cuts(motion: Motion) -> IntArray:
    """Return the cut of each move: the number in the last comment ``CUT n name`` before it, less 1."""
    cut = np.full(len(motion.moves), -1)
    for event in motion.events:
        if event.kind == "comment" and (found := _CUT.match(event.text)):
            cut[event.index :] = int(found[1]) - 1
    return cut


def _tool_numbers(motion: Motion, only: int) -> IntArray:
    """Return the T number of each move: by T word, else by what the operator is told to put in, else the only one.

    Where tools are changed by hand a program has no T word; it says ``Tool Tn`` in a comment, first of all the tool to
    begin with, and again at each stop where another is put in.
    """
    spoken = np.full(len(motion.moves), only)
    told = False
    for event in motion.events:
        if event.kind == "comment" and (found := _TOOL.match(event.text)):
            if event.index or not told:
                spoken[event.index :] = int(found[1])
            told = True
    return np.where(motion.moves.tool == 0, spoken, motion.moves.tool)


def _heights(start: FloatArray, end: FloatArray, machine: BoolArray) -> None:
    """Put `HIGH` where z is known to be at the top of travel, in place; moves in machine coordinates lose x and y."""
    last = math.nan
    for k in np.flatnonzero(machine | np.isnan(start[:, 2]) | np.isnan(end[:, 2])):
        if np.isnan(start[k, 2]) and k:
            start[k, 2] = end[k - 1, 2] if not np.isnan(end[k - 1, 2]) else last
        if machine[k]:
            unknown = np.isnan(start[k + 1]) if k + 1 < len(start) else np.ones(3, dtype=bool)
            if unknown[2] and not np.isnan(end[k, 2]):
                end[k, 2] = last = HIGH
            end[k, :2][unknown[:2] & ~np.isnan(end[k, :2])] = np.nan
            if k + 1 < len(start) and unknown[2]:
                start[k + 1, 2] = end[k, 2]
        elif np.isnan(end[k, 2]):
            end[k, 2] = start[k, 2]


def strokes_of(track: Track, *, sagitta: float | FloatArray = SAGITTA) -> Strokes:
    """Return the moves as strokes; moves whose place is not known are left out (the checks report them).

    Args:
        track: all moves.
        sagitta: largest distance of a chord from its arc, mm; one number, or one for each move.
    """
    known = np.flatnonzero(~np.isnan(track.start + track.end).any(axis=1))
    start, end = track.start[known], track.end[known]
    arc = track.kind[known] == ARC
    normal = np.select([track.plane[known] == 18, track.plane[known] == 19], [1, 0], 2)
    u = np.select([normal == 1, normal == 0], [2, 1], 0)  # first axis of the plane: X, Z, Y for G17, G18, G19
    v = np.select([normal == 1, normal == 0], [0, 2], 1)
    every = np.arange(len(known))
    center = track.center[known]
    du, dv = start[every, u] - center[every, u], start[every, v] - center[every, v]
    radius = np.where(arc, np.hypot(du, dv), 1.0)
    sagitta = np.broadcast_to(sagitta, len(track))[known]
    step = 2.0 * np.arccos(np.clip(1.0 - sagitta / np.maximum(radius, sagitta), -1.0, 1.0))
    sweep = np.where(arc, track.sweep[known], 0.0)
    pieces = np.where(arc, np.maximum(np.ceil(np.abs(sweep) / np.maximum(step, 1e-4)), 1), 1).astype(np.int64)
    owner, k = expanded(np.zeros_like(pieces), pieces)
    share = (k + 1) / pieces[owner]
    b = start[owner] + share[:, None] * (end[owner] - start[owner])
    inner = np.flatnonzero(arc[owner] & (k + 1 < pieces[owner]))
    o = owner[inner]
    turned = sweep[o] * share[inner]
    cos, sin = np.cos(turned), np.sin(turned)
    b[inner, u[o]] = center[o, u[o]] + cos * du[o] - sin * dv[o]
    b[inner, v[o]] = center[o, v[o]] + sin * du[o] + cos * dv[o]
    last = k + 1 == pieces[owner]
    b[last] = end[owner[last]]
    a = np.empty_like(b)
    a[1:] = b[:-1]
    first = k == 0
    a[first] = start[owner[first]]
    move = known[owner]
    return Strokes(a=a, b=b, tool=track.tool[move], rapid=track.kind[move] == RAPID, move=move, cut=track.cut[move])
