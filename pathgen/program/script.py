"""A program as it grows: moves in bulk, and lines of words between them.

Moves are kept in mm in stock coordinates until `Script.text`, the one place where they are shifted to the work
zero, turned into program units and rounded.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from pathgen.errors import ArgumentError, InternalError
from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.machine import Machine
from pathgen.program.arcs import Curves, fit_for_writing
from pathgen.program.numbers import CLOCKWISE, COUNTER, LINE, RAPID, F, G, Rows, X, Y, Z, written


@dataclass(eq=False)
class Script:
    """One program in the making.

    Args:
        machine: its limits and dialect.
        zero: (x, y, z) of the work zero in stock coordinates, mm.

    Attributes:
        at: (x, y, z) of the last move, mm; before the first, where the first one will take it.
    """

    machine: Machine
    zero: tuple[float, float, float]
    at: FloatArray | None = None
    _points: list[FloatArray] = field(default_factory=list)
    _rapid: list[bool] = field(default_factory=list)
    _feed: list[float] = field(default_factory=list)
    _plunge: list[float] = field(default_factory=list)
    _words: list[tuple[int, str]] = field(default_factory=list)
    _forced: list[tuple[int, int]] = field(default_factory=list)
    _pending: int = 0
    _count: int = 0

    def say(self, lines: Iterable[str]) -> None:
        """Add lines of words, as they are."""
        text = "".join(f"{line}\n" for line in lines)
        if text:
            self._words.append((self._count, text))

    def rapid_z(self, z: float, *, over: tuple[float, float], fresh: bool = False) -> None:
        """Move Z alone to `z`; `over` = (x, y) of the tool where it is not known. `fresh` states everything again."""
        x, y = over if self.at is None else (self.at[0], self.at[1])
        self._pending |= Z | F | G if fresh else 0
        self._rapid_to([x, y, z], self._pending)
        self._pending = 0

    def rapid_xy(self, x: float, y: float, *, fresh: bool = False) -> None:
        """Move X and Y alone, at the height where Z is."""
        if self.at is None:
            raise InternalError("a program moved X and Y before Z: please report this job")
        self._rapid_to([x, y, float(self.at[2])], (X | Y if fresh else 0) | (self._pending & ~Z))
        self._pending &= Z

    def unknown_z(self, *, over: tuple[float, float]) -> None:
        """Note that Z moved in machine coordinates: the next Z word is written whatever it says."""
        if self.at is None:
            self.at = np.array([*over, 0.0])
        self._pending |= Z | F | G

    def _rapid_to(self, xyz: list[float], forced: int) -> None:
        self.at = np.array(xyz)
        if forced:
            self._forced.append((self._count, forced))
        self._add(np.array([[*xyz, 0.0]]), True, np.inf, np.inf)

    def feed(self, points: FloatArray, feed: float, plunge: float) -> None:
        """Feed through the ends `points` (m, 4) from where the tool is: highest feed and highest downward share."""
        if len(points):
            self.at = points[-1, :3]
            self._add(points, False, feed, plunge)

    def _add(self, points: FloatArray, rapid: bool, feed: float, plunge: float) -> None:
        self._points.append(points)
        self._rapid.append(rapid)
        self._feed.append(feed)
        self._plunge.append(plunge)
        self._count += len(points)

    def text(self) -> str:
        """Return the RS-274 text of all moves and words."""
        if not self._count:
            return "".join(words for _, words in self._words)
        points = self._points[0] if len(self._points) == 1 else np.concatenate(self._points)
        counts = np.array([len(p) for p in self._points])
        dialect, zero = self.machine.dialect, np.array(self.zero)
        arcs, apart = self._fits(points)
        curves = fit_for_writing(points[0, :3], points, dialect, zero=zero, arcs=arcs)
        rows = self._rows(curves, counts)
        moves, offsets = written(rows, dialect, self.machine.feeds, feed_apart=apart)
        first = np.searchsorted(curves.source, np.array([at for at, _ in self._words], dtype=np.int64))
        parts, last = [], 0
        for (_, words), row in zip(self._words, first.tolist(), strict=True):
            here = int(offsets[row])
            parts += [moves[last:here], words]
            last = here
        parts.append(moves[last:])
        return "".join(parts)

    def _rows(self, curves: Curves, counts: IntArray) -> Rows:
        """Return the fitted moves as rows of whole steps."""
        source, bulge = curves.source, curves.points[:, 3]
        rapid = np.repeat(self._rapid, counts)
        mode = np.where(rapid, RAPID, LINE).astype(np.uint8)[source]
        if bulge.any():
            mode[bulge > 0], mode[bulge < 0] = COUNTER, CLOCKWISE
        forced = np.zeros(int(counts.sum()), dtype=np.uint8)
        for row, bits in self._forced:
            forced[row] |= bits
        straight = len(source) == len(forced)
        feed, plunge = np.repeat(self._feed, counts), np.repeat(self._plunge, counts)
        return Rows(
            points=curves.points[:, :3],
            zero=self.zero,
            mode=mode,
            center=curves.center,
            feed=feed if straight else feed[source],
            plunge=plunge if straight else plunge[source],
            sweep=np.abs(4.0 * np.arctan(bulge)) if bulge.any() else np.zeros(len(bulge)),
            forced=forced if straight else forced[source],
        )

    def _fits(self, points: FloatArray) -> tuple[bool, bool]:
        """Return whether arcs fit into the dialect's longest line, and whether F needs a line of its own."""
        dialect = self.machine.dialect
        room = dialect.max_line - (7 if dialect.line_numbers else 0)  # N99990 and a space
        if room >= 90:
            return True, False
        size = np.abs(points[:, :3] - self.zero).max(axis=0) / dialect.unit
        line = 2 + sum(4 + len(str(int(s + 1))) + dialect.places for s in size.tolist())
        if line > room:
            raise ArgumentError(
                f"max_line={dialect.max_line} has no room for a move to coordinates this large ({line} characters): "
                "take fewer decimals, leave line numbers out, or set the work zero near the work"
            )
        centers, feed = 2 * (4 + 4 + dialect.center_places), 8
        arcs = line + centers <= room
        return arcs, line + feed + (centers if arcs else 0) > room
