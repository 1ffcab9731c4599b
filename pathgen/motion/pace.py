"""How fast every move really runs: corners, acceleration and look-ahead over the whole program.

Terminology
-----------
edge
    one move of known length above 0, see `pathgen.motion.edges`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.machine import Machine
from pathgen.model.motion import Motion
from pathgen.motion.edges import BLOCK, Edges, edges_of, joint_limits
from pathgen.motion.lookahead import look_ahead, seconds

_STANDING = frozenset({"dwell", "tool", "stop", "spindle", "end"})


@dataclass(frozen=True, eq=False, kw_only=True)
class Pace:
    """Speeds along a program of m moves, n of them edges.

    Attributes:
        count: m.
        owner: (n,) index of each edge's move.
        length: (n,) mm.
        joints: (n + 1,) squared speeds where edges meet, mm2/s2.
        top: (n,) squared top speed, mm2/s2.
        accel: (n,) mm/s2.
        unknown: (m,) moves whose length the program does not tell.
    """

    count: int
    owner: IntArray
    length: FloatArray
    joints: FloatArray
    top: FloatArray
    accel: FloatArray
    unknown: BoolArray

    def seconds(self) -> FloatArray:
        """Return (m,) seconds of each move; 0 where it is no edge."""
        each = np.zeros(self.count)
        n = len(self.length)
        spent = np.empty(n)
        for begin in range(0, n, BLOCK):
            part, after = slice(begin, begin + BLOCK), slice(begin + 1, begin + 1 + BLOCK)
            spent[part] = seconds(
                self.length[part], self.joints[:-1][part], self.joints[after], self.top[part], self.accel[part]
            )
        each[self.owner] = spent
        return each

    def slower(self, speed: FloatArray) -> FloatArray:
        """Return how much of each move runs slower than `speed`, mm.

        Elementary mechanics: from v0 the speed w is reached after (w^2 - v0^2) / (2 a).

        Args:
            speed: (m,) mm/min, one for each move.

        Returns:
            (m,) mm, at most the move's length; 0 where it is no edge.
        """
        wanted = (speed[self.owner] / 60.0) ** 2
        before, after = self.joints[:-1], self.joints[1:]
        mean = 0.5 * (before + after)
        peak = np.maximum(np.minimum(mean + self.accel * self.length, self.top), mean)
        ends = np.maximum(wanted - before, 0.0) + np.maximum(wanted - after, 0.0)
        slow = np.where(peak < wanted, self.length, np.minimum(ends / (2.0 * self.accel), self.length))
        each = np.zeros(self.count)
        each[self.owner] = slow
        return each


def pace(motion: Motion, machine: Machine) -> Pace:
    """Return how fast `machine` runs a program; the model is told at `pathgen.motion.time.time`.

    Args:
        motion: from `read_program`.
        machine: limits in mm/min and mm/s2.
    """
    edges, unknown = edges_of(motion.moves, machine)
    joints, top, accel = np.zeros(1), np.empty(0), np.empty(0)
    if len(edges.length):
        limits, top, accel = joint_limits(edges, _stops(motion, edges, unknown), machine)
        joints = look_ahead(edges.length, accel, limits)
    return Pace(
        count=len(motion.moves),
        owner=edges.owner,
        length=edges.length,
        joints=joints,
        top=top,
        accel=accel,
        unknown=unknown,
    )


def _stops(motion: Motion, edges: Edges, unknown: BoolArray) -> IntArray:
    """Return the joints at which the machine stands still, the first and the last included."""
    n, count = len(edges.length), len(motion.moves)
    still = [e.index for e in motion.events if e.kind in _STANDING]
    if unknown.any():
        still += np.flatnonzero(unknown).tolist()
    joints = [np.array([0, n]), np.searchsorted(edges.owner, np.array(still, dtype=np.int64))]
    path = [(e.index, e.value) for e in motion.events if e.kind == "path"]
    for (begin, mode), (stop, _) in zip(path, [*path[1:], (count, 0.0)], strict=False):
        if mode == 61.1:
            joints.append(np.searchsorted(edges.owner, np.arange(begin, stop)))
    return np.unique(np.concatenate(joints)).astype(np.int64)
