"""Many moves to text at once: digits come from tables, four at a time, into byte buffers; blanks are squeezed out.

Terminology
-----------
step
    one unit of the last decimal. Coordinates arrive as whole steps (see `pathgen.program.dialect.steps`).
modal
    a word is written only where it says something new (NISTIR 6556 section 3.4 and Table 4).
field
    a fixed number of bytes of a buffer's row for one word; bytes that stay 0 vanish from the text.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pathgen.errors import ArgumentError
from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.machine import Axes, Dialect
from pathgen.program.dialect import LARGEST, steps

RAPID, LINE, CLOCKWISE, COUNTER = 0, 1, 2, 3
"""Motion modes G0 to G3, by their number."""

X, Y, Z, F, G = 1, 2, 4, 8, 16
"""Words to be written although nothing changed, as bits of `Rows.forced`; F by the next feed move."""

CHUNK = 16_384
"""Moves handled at once. Larger: buffers leave the processor's cache; smaller: overhead of numpy calls."""

FEEDS = 100_000
"""Size of the table of F words. Faster feeds are written as the last entry, which is slower than allowed."""

_Words = NDArray[np.uint32]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rows:
    """Moves ready to be written, n of them.

    Attributes:
        points: (n, 3) x, y, z at the end of each move, mm.
        zero: (x, y, z) of the work zero in the same coordinates, mm.
        mode: (n,) uint8: RAPID, LINE, CLOCKWISE or COUNTER.
        center: (n, 2) whole steps of I J.
        feed: (n,) highest feed along the path, mm/min; inf = the machine's.
        plunge: (n,) highest downward share of the feed, mm/min.
        sweep: (n,) |sweep| of arcs, radians.
        forced: (n,) uint8, see `X`.
    """

    points: FloatArray
    zero: tuple[float, float, float]
    mode: NDArray[np.uint8]
    center: FloatArray
    feed: FloatArray
    plunge: FloatArray
    sweep: FloatArray
    forced: NDArray[np.uint8]


def written(rows: Rows, dialect: Dialect, ceiling: Axes, *, feed_apart: bool = False) -> tuple[str, IntArray]:
    """Return the text of all moves, a line each, and where each move's line starts in it.

    Moves that round to nothing vanish, unless forced. Lines hold only words that change something.

    Args:
        rows: the moves; row 0 is measured against itself, so its position must be forced.
        dialect: units and decimals.
        ceiling: highest feed per axis, mm/min.
        feed_apart: write each F on a line of its own, before the move (for very short lines).

    Returns:
        (text, offsets): offsets has n + 1 entries; a move that vanished has an empty stretch.

    Raises:
        ArgumentError: for a coordinate beyond 9999 units or a feed that rounds down to 0.
    """
    n = len(rows.mode)
    texts: list[str] = []
    ends = np.zeros(n + 1, dtype=np.int64)
    state = _State(steps=_whole_steps(rows, 0, min(n, 1), dialect)[:, 0] if n else np.zeros(3, dtype=np.int64))
    total = 0
    for first in range(0, n, CHUNK):
        last = min(n, first + CHUNK)
        piece, kept = _chunk(rows, first, last, dialect, ceiling, state, feed_apart)
        texts.append(piece.decode("ascii"))
        marks = np.flatnonzero(np.frombuffer(piece, dtype=np.uint8) == 10) + 1
        if feed_apart:
            marks = marks[state.closing]
        count = np.cumsum(kept)
        ends[first + 1 : last + 1] = total + np.concatenate([[0], marks])[count]
        total += len(piece)
    return "".join(texts), ends


def _whole_steps(rows: Rows, first: int, last: int, dialect: Dialect) -> IntArray:
    """Return X Y Z of rows first to last as whole steps, (3, last - first)."""
    found = steps(rows.points[first:last], dialect, dialect.places, zero=rows.zero)
    if np.abs(found).max(initial=0.0) > LARGEST * 10.0**dialect.places:
        raise ArgumentError(
            f"a coordinate lies beyond {LARGEST} {dialect.units}, more than a word holds: check the units"
        )
    whole: IntArray = np.ascontiguousarray(found.T).astype(np.int64)
    return whole


@dataclass
class _State:
    """What the program has said so far: carried from chunk to chunk.

    `closing` is, where F has lines of its own, the number of the line that ends each move of the chunk.
    """

    steps: IntArray
    mode: int = -1
    feed: int = -1
    closing: Any = None


@dataclass(frozen=True, eq=False)
class _Lines:
    """One chunk's moves, m of them, and which of their words are to be written.

    Attributes:
        steps: (3, m) whole steps of X Y Z.
        changed: (3, m) the word is written.
        mode: (m,) see `Rows`.
        say_mode: (m,) G is written.
        feed: (m,) index of the F word.
        say_feed: (m,) F is written.
        curved: (m,) an arc.
        center: (2, m) whole steps of I J; None in a chunk without arcs.
    """

    steps: IntArray
    changed: BoolArray
    mode: NDArray[np.uint8]
    say_mode: BoolArray
    feed: IntArray
    say_feed: BoolArray
    curved: BoolArray
    center: IntArray | None


def _chunk(
    rows: Rows, first: int, last: int, dialect: Dialect, ceiling: Axes, state: _State, feed_apart: bool
) -> tuple[bytes, BoolArray]:
    """Return the bytes of rows first to last and which of them were written; moves `state` on."""
    now = _whole_steps(rows, first, last, dialect)
    mode, forced = rows.mode[first:last], rows.forced[first:last]
    step = np.empty_like(now)
    step[:, 0] = now[:, 0] - state.steps
    np.subtract(now[:, 1:], now[:, :-1], out=step[:, 1:])
    state.steps = now[:, -1].copy()
    changed = step != 0
    any_forced = bool(forced.any())
    kept = changed.any(axis=0)
    if any_forced:
        changed |= (forced & np.array([[X], [Y], [Z]], dtype=np.uint8)) != 0
        kept |= forced != 0
    if not kept.all():
        now, step, changed = now[:, kept], step[:, kept], changed[:, kept]
        mode, forced = mode[kept], forced[kept]
        pick: Any = np.flatnonzero(kept) + first
    else:
        pick = slice(first, last)
    if not len(mode):
        return b"", kept
    curved = mode >= CLOCKWISE
    has_arcs = bool(curved.any())
    say_mode = np.empty(len(mode), dtype=bool)
    say_mode[0] = mode[0] != state.mode
    np.not_equal(mode[1:], mode[:-1], out=say_mode[1:])
    if any_forced:
        say_mode |= (forced & G) != 0
    state.mode = int(mode[-1])
    feed = _feeds(step, mode, curved if has_arcs else None, pick, rows, dialect, ceiling)
    say_feed = _said_feeds(feed, mode, forced if any_forced else None, state)
    center = rows.center[pick].T.astype(np.int64) if has_arcs else None
    lines = _Lines(now, changed, mode, say_mode, feed, say_feed, curved, center)
    if feed_apart:
        state.closing = np.cumsum(1 + say_feed.astype(np.int64)) - 1
    return _squeezed(lines, dialect, feed_apart), kept


def _feeds(
    step: IntArray,
    mode: NDArray[np.uint8],
    curved: BoolArray | None,
    pick: Any,
    rows: Rows,
    dialect: Dialect,
    ceiling: Axes,
) -> IntArray:
    """Return F of each move as an index of the table of F words; rapids get what the formula gives.

    F = min(feed, limit of each axis / its share of the direction); downward, the Z limit is also the plunge. That is
    F <= plunge / sin(angle below level) (elementary geometry). Arcs meet every direction, so their plane share
    is held against the slower of X and Y. Rounded down, so that the limits hold for the number as written.
    """
    dx, dy, dz = step.astype(np.float64)
    flat2 = dx * dx + dy * dy
    if curved is not None:
        half = 0.5 * rows.sweep[pick][curved]
        flat2[curved] *= (half / np.sin(half)) ** 2
    length = np.sqrt(flat2 + dz * dz)
    down = np.minimum(rows.plunge[pick], ceiling[2])
    share = np.maximum(dz / ceiling[2], -dz / down)
    np.abs(dx, out=dx)
    np.abs(dy, out=dy)
    dx *= 1.0 / ceiling[0]
    dy *= 1.0 / ceiling[1]
    if curved is not None:
        dx[curved] = np.sqrt(flat2[curved]) / min(ceiling[0], ceiling[1])
    np.maximum(share, dx, out=share)
    np.maximum(share, dy, out=share)
    still = share == 0
    share[still], length[still] = 1.0, np.inf
    allowed = np.minimum(rows.feed[pick], length / share)
    scale = 1.0 if dialect.units == "mm" else 10.0 / 25.4
    whole = np.floor(allowed * scale + 1e-6)
    moving = mode != RAPID
    if (whole[moving] < 1).any():
        raise ArgumentError(
            "a feed rounds down to 0: give feed and plunge of at least "
            + ("1 mm/min" if dialect.units == "mm" else "0.1 inch/min (2.54 mm/min)")
        )
    result: IntArray = np.minimum(whole, FEEDS - 1).astype(np.int64)
    return result


def _said_feeds(feed: IntArray, mode: NDArray[np.uint8], forced: NDArray[np.uint8] | None, state: _State) -> BoolArray:
    """Return which moves write F: feed moves whose F differs from the last one said."""
    say = np.zeros(len(mode), dtype=bool)
    moving = np.flatnonzero(mode != RAPID)
    if len(moving):
        f = feed[moving]
        new = np.empty(len(f), dtype=bool)
        new[0] = f[0] != state.feed
        np.not_equal(f[1:], f[:-1], out=new[1:])
        if forced is not None:  # said again at the first feed move from a forced row on
            again = np.searchsorted(moving, np.flatnonzero(forced & F))
            new[again[again < len(moving)]] = True
        say[moving] = new
        state.feed = int(f[-1])
    if forced is not None and (forced[moving[-1] + 1 if len(moving) else 0 :] & F).any():
        state.feed = -1
    return say


def _squeezed(lines: _Lines, dialect: Dialect, feed_apart: bool) -> bytes:
    """Fill one row of fields per move and squeeze the zero bytes out."""
    wide = 2 + (dialect.places + 4) // 4
    finer = 2 + (dialect.center_places + 4) // 4
    width = 1 + 3 * wide + (2 * finer if lines.center is not None else 0) + 2 + 1 + (2 if feed_apart else 0)
    buffer = np.zeros((len(lines.mode), width), dtype=np.uint32)
    fed = np.flatnonzero(lines.say_feed)
    at = 0
    if feed_apart:
        buffer[fed, 0:2] = _feed_words(dialect.units, b"", b"\n")[lines.feed[fed]]
        at = 2
    buffer[:, at] = _mode_words()[np.where(lines.say_mode, lines.mode, 4)]
    at += 1
    before = lines.say_mode.copy()
    for axis, letter in enumerate("XYZ"):
        _coordinate(buffer, at, letter, lines.steps[axis], lines.changed[axis], before, dialect.places)
        before |= lines.changed[axis]
        at += wide
    if lines.center is not None:
        for axis, letter in enumerate("IJ"):
            _coordinate(buffer, at, letter, lines.center[axis], lines.curved, before, dialect.center_places)
            at += finer
    if not feed_apart:
        buffer[fed, at : at + 2] = _feed_words(dialect.units, b" ", b"")[lines.feed[fed]]
    buffer[:, at + 2] = _newline()
    return buffer.tobytes().translate(None, b"\0")


def _coordinate(
    buffer: _Words, at: int, letter: str, value: IntArray, said: BoolArray, before: BoolArray, places: int
) -> None:
    """Write one word's fields: letter and sign, whole units, decimals; nothing where it is not `said`."""
    size = np.abs(value)
    units = size // 10**places
    size -= units * 10**places
    index = (value < 0).view(np.uint8) + 2 * before.view(np.uint8) + 4 * said.view(np.uint8)
    buffer[:, at] = _letters(letter)[index]
    units[~said] = LARGEST + 1
    size[~said] = 10**places
    buffer[:, at + 1] = _whole()[units]
    table = _decimals(places)
    for k in range(table.shape[0]):
        buffer[:, at + 2 + k] = table[k][size]


def _packed(words: list[bytes], size: int) -> _Words:
    """Return words of at most `size` bytes as rows of uint32 that hold those bytes in order, zero behind."""
    table = np.array([w.ljust(size, b"\0") for w in words], dtype=f"S{size}")
    return np.frombuffer(table.tobytes(), dtype=np.uint32).reshape(len(words), size // 4)


@cache
def _whole() -> _Words:
    """0 to 9999 without leading zeros, then an empty entry."""
    return _packed([b"%d" % k for k in range(LARGEST + 1)] + [b""], 4)[:, 0].copy()


@cache
def _decimals(places: int) -> _Words:
    """Columns of point and decimals, trailing zeros left out but the first decimal; then an empty entry."""
    words = [b"." + (b"%0*d" % (places, k)).rstrip(b"0").ljust(1, b"0") for k in range(10**places)] + [b""]
    return np.ascontiguousarray(_packed(words, 4 * ((places + 4) // 4)).T)


@cache
def _letters(letter: str) -> _Words:
    """Letter with sign and the space before it, by index: 1 negative, 2 not first on its line, 4 written."""
    name = letter.encode()
    said = [name, name + b"-", b" " + name, b" " + name + b"-"]
    return _packed([b""] * 4 + said, 4)[:, 0].copy()


@cache
def _mode_words() -> _Words:
    return _packed([b"G0", b"G1", b"G2", b"G3", b""], 4)[:, 0].copy()


@cache
def _newline() -> np.uint32:
    word: np.uint32 = _packed([b"\n"], 4)[0, 0]
    return word


@cache
def _feed_words(units: str, before: bytes, behind: bytes) -> _Words:
    """F words by whole mm/min, or by tenths of an inch a minute."""
    if units == "mm":
        return _packed([before + b"F%d" % k + behind for k in range(FEEDS)], 8)
    return _packed([before + b"F%d.%d" % divmod(k, 10) + behind for k in range(FEEDS)], 8)
