"""`Path`: where a tool's tip goes, as lines, arcs and helices. `Pass`: one stretch of it in the work.

Terminology
-----------
bulge
    tan(sweep / 4) of the arc that ends at a vertex; 0 is a line, positive turns counter-clockwise seen
    from +Z. The same quantity as group code 42 of the DXF reference. With a change of z the arc is a helix.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pathgen.model.arrays import BoolArray, FloatArray, frozen

STRAIGHT = 1e-12
"""Bulges no larger than this are lines: over 1 km such an arc strays by 1e-6 mm. Smaller: centers overflow."""

Role: TypeAlias = Literal["entry", "cut", "finish", "retrace", "link", "lift"]


@dataclass(frozen=True, eq=False)
class Path:
    """A run of straight moves, arcs and helices of a tool's tip.

    Attributes:
        points: float64 (n, 4), read-only: x, y, z in mm and the bulge of the move that *ends* there.
            Row 0 is the start; its bulge is 0.

    >>> round(Path([[0, 0, -1, 0], [10, 0, -1, 1]]).length, 6)   # a half circle of radius 5
    15.707963
    """

    points: FloatArray

    def __init__(self, points: ArrayLike) -> None:
        array = frozen(points, (None, 4))
        if len(array) and (not np.isfinite(array).all() or array[0, 3] != 0.0):
            raise ValueError("path points must be finite and the first bulge 0")
        object.__setattr__(self, "points", array)

    @classmethod
    def lines(cls, xyz: ArrayLike) -> Path:
        """Return the polyline through `xyz`, shape (n, 3)."""
        array = np.asarray(xyz, dtype=np.float64).reshape(-1, 3)
        return cls(np.column_stack([array, np.zeros(len(array))]))

    @classmethod
    def joined(cls, paths: Iterable[Path]) -> Path:
        """Return one path from paths that each start where the last one ended; the doubled vertex is dropped."""
        parts = [p.points for p in paths if len(p.points)]
        if not parts:
            return cls(np.empty((0, 4)))
        return cls(np.concatenate([parts[0], *[p[1:] for p in parts[1:]]]))

    def __len__(self) -> int:
        return len(self.points)

    @property
    def start(self) -> FloatArray:
        """The first (x, y, z), mm."""
        return self.points[0, :3]

    @property
    def end(self) -> FloatArray:
        """The last (x, y, z), mm."""
        return self.points[-1, :3]

    @property
    def sweeps(self) -> FloatArray:
        """Signed sweep of each of the n - 1 moves in radians, counter-clockwise positive, 0 for lines."""
        return 4.0 * np.arctan(self.points[1:, 3])

    @property
    def move_lengths(self) -> FloatArray:
        """3D length of each of the n - 1 moves, mm: along the arc, along the helix."""
        if len(self.points) < 2:
            return np.empty(0)
        step = np.diff(self.points[:, :3], axis=0)
        chord = np.hypot(step[:, 0], step[:, 1])
        half = 0.5 * self.sweeps
        sine = np.sin(half)
        curved = np.abs(sine) > 1e-12
        plane = chord * np.where(curved, half / np.where(curved, sine, 1.0), 1.0)
        length: FloatArray = np.hypot(plane, step[:, 2])
        return length

    @property
    def length(self) -> float:
        """3D length in mm."""
        return float(self.move_lengths.sum()) if len(self.points) > 1 else 0.0

    def arcs(self) -> tuple[BoolArray, FloatArray, FloatArray]:
        """Return (is_arc (n-1,), center (n-1, 2), radius (n-1,)) of the moves; NaN where a move is a line.

        From chord c and bulge b: radius = |c| (1 + b^2) / (4 |b|), centre = middle + normal (1 - b^2) |c| / (4 b)
        (DXF reference, polyline bulge; elementary geometry).
        """
        p = self.points
        a, e, b = p[:-1, :2], p[1:, :2], p[1:, 3]
        is_arc = np.abs(b) > STRAIGHT
        safe = np.where(is_arc, b, np.nan)
        chord = e - a
        normal = np.column_stack([-chord[:, 1], chord[:, 0]])
        center = 0.5 * (a + e) + normal * ((1 - safe**2) / (4 * safe))[:, None]
        radius = np.hypot(chord[:, 0], chord[:, 1]) * (1 + safe**2) / (4 * np.abs(safe))
        return is_arc, center, radius

    def reversed(self) -> Path:
        """Return the same curve run backwards: vertices flipped, bulges moved by one and negated."""
        p = self.points[::-1].copy()
        p[1:, 3] = -p[:-1, 3]
        if len(p):
            p[0, 3] = 0.0
        return Path(p + 0.0)  # + 0.0 turns -0.0 into 0.0, so that bytes do not depend on direction

    def moved(self, dx: float = 0.0, dy: float = 0.0, dz: float = 0.0) -> Path:
        """Return the path shifted by (dx, dy, dz) mm."""
        return Path(self.points + np.array([dx, dy, dz, 0.0]))

    def turned(self, degrees: float, about: tuple[float, float] = (0.0, 0.0)) -> Path:
        """Return the path turned counter-clockwise by `degrees` about a point."""
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        p = self.points.copy()
        x, y = p[:, 0] - about[0], p[:, 1] - about[1]
        p[:, 0], p[:, 1] = about[0] + c * x - s * y, about[1] + s * x + c * y
        return Path(p)

    def mirrored(self, across: float) -> Path:
        """Return the path mirrored at the vertical line x = `across`; arcs change direction."""
        p = self.points.copy()
        p[:, 0] = 2.0 * across - p[:, 0]
        p[:, 3] = -p[:, 3]
        return Path(p + 0.0)

    def flattened(self, sagitta: float) -> FloatArray:
        """Return vertices (m, 3) of the path with arcs cut into chords, none further than `sagitta` mm from its arc.

        The vertices lie on the true curve. Chord angle 2 acos(1 - sagitta / R) (elementary geometry).
        """
        p = self.points
        if len(p) < 2:
            return p[:, :3].copy()
        is_arc, center, radius = self.arcs()
        sweep = self.sweeps
        ratio = np.clip(1.0 - sagitta / np.where(is_arc, radius, np.inf), -1.0, 1.0)
        chord_angle = np.maximum(2.0 * np.arccos(ratio), 1e-4)
        n = np.where(is_arc, np.maximum(np.ceil(np.abs(sweep) / np.where(is_arc, chord_angle, 1.0)), 1), 1).astype(int)
        owner = np.repeat(np.arange(len(n)), n)
        k = np.arange(len(owner)) - np.repeat(np.cumsum(n) - n, n) + 1
        t = k / n[owner]
        a, e = p[:-1][owner], p[1:][owner]
        xyz = a[:, :3] + t[:, None] * (e[:, :3] - a[:, :3])
        rows = np.flatnonzero(is_arc[owner] & (k < n[owner]))
        o = owner[rows]
        angle = sweep[o] * t[rows]
        dx, dy = a[rows, 0] - center[o, 0], a[rows, 1] - center[o, 1]
        xyz[rows, 0] = center[o, 0] + np.cos(angle) * dx - np.sin(angle) * dy
        xyz[rows, 1] = center[o, 1] + np.sin(angle) * dx + np.cos(angle) * dy
        last = k == n[owner]
        xyz[last] = e[last, :3]
        return np.concatenate([p[:1, :3], xyz])


@dataclass(frozen=True, eq=False, kw_only=True)
class Pass:
    """One continuous stretch with the tool in the work.

    Attributes:
        path: where the tip goes.
        role: "entry" comes down into the material, "cut" removes, "finish" is the last run along a wall,
            "retrace" runs over what is already cut, "link" stays down between passes inside cleared area, "lift" goes
            straight up and down again as rapids, in a hole that the tool itself has made.
        level: number of the stepdown this pass belongs to, from 0.
        closed: the path ends where it starts.
        reversible: may be run backwards (only open passes of no fixed direction).
        after: indices, in the same Cut, of passes that must be done before. A pass that starts where the
            pass before it ended continues without a lift.
        feed_factor: on the feed of its role; below 1 for full-width cuts.
    """

    path: Path
    role: Role = "cut"
    level: int = 0
    closed: bool = False
    reversible: bool = False
    after: frozenset[int] = frozenset()
    feed_factor: float = 1.0
