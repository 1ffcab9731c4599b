"""Plain lines in bulk: bytes into columns of numbers, a block of lines at a time, no step for each line.

Terminology
-----------
plain line
    holds only comments and the letters G (0 to 3), X Y Z, I J, F and N, each once, with numbers of at
    most 8 digits on either side of the point. Every other line goes through the full grammar.
field
    what stands between a letter and the next letter or line end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.motion.grammar import MAX_LINE

LETTERS = "GXYZIJFN"
_DIGIT, _POINT, _SIGN, _LETTER, _END, _CLOSE, _BLANK, _OPEN, _OTHER = range(9)
_MAX_DIGITS = 8
"""Digits on one side of the point that one machine word holds. Fixed by 64 bits."""
_POWERS = 10 ** np.arange(_MAX_DIGITS + 1, dtype=np.uint64)
_U = np.uint64
_EXACT = _U(2**53)
"""Whole numbers up to here are exact in a float, so that mantissa / power of ten is rounded once, as `float` does."""


def _classes() -> NDArray[np.uint8]:
    table = np.full(256, _OTHER, dtype=np.uint8)
    table[list(b"0123456789")] = _DIGIT
    table[list(b"+-")] = _SIGN
    table[list((LETTERS + LETTERS.lower()).encode())] = _LETTER
    table[list(b" \t")] = _BLANK
    for mark, kind in ((".", _POINT), ("\n", _END), ("(", _OPEN), (")", _CLOSE)):
        table[ord(mark)] = kind
    return table


def _codes() -> NDArray[np.uint8]:
    table = np.full(256, len(LETTERS), dtype=np.uint8)
    for code, letter in enumerate(LETTERS):
        table[[ord(letter), ord(letter.lower())]] = code
    return table


_CLASS, _CODE = _classes(), _codes()


@dataclass(frozen=True, eq=False)
class Table:
    """Lines as columns.

    Attributes:
        plain: (n,) lines that are plain.
        columns: letter to (n,) numbers, NaN where the line has no such word; None where no line has it.
        comments: (m, 3) line, first byte and end of the last comment on it, for lines with one.
        block: the bytes.
    """

    plain: BoolArray
    columns: dict[str, FloatArray | None]
    comments: IntArray
    block: NDArray[np.uint8]


def tabulate(block: NDArray[np.uint8], ends: IntArray) -> Table:
    """Take a block of whole lines apart.

    Args:
        block: bytes, beginning with the line end before the first line and ending with that of the last.
        ends: (n + 1,) places of all line ends in it, the first one 0.
    """
    n = len(ends) - 1
    slow = np.diff(ends) > MAX_LINE + 1
    kinds, bytes_ = _CLASS.take(block), block
    comments = np.empty((0, 3), dtype=np.int64)
    if kinds.max() > _END or slow.any():
        keep, comments = _bare(kinds, ends, slow)
        block, kinds = block[keep], kinds[keep]
    words = _words(block, kinds)
    slow[words.line[words.wrong]] = True
    columns: dict[str, FloatArray | None] = {}
    for code, letter in enumerate(LETTERS):
        found = np.flatnonzero(words.code == code)
        columns[letter] = _column(words.line[found], words.value[found], slow, n) if len(found) else None
    g, f = columns["G"], columns["F"]
    if g is not None:
        slow |= (g > 3.0) | (g < 0.0) | (g != np.floor(g)) & ~np.isnan(g)
    if f is not None:
        slow |= f < 0.0
    return Table(~slow, columns, comments, bytes_)


def _column(line: IntArray, value: FloatArray, slow: BoolArray, n: int) -> FloatArray:
    """Return the numbers of one letter by line; lines that have it twice are marked slow."""
    twice = line[1:] == line[:-1]
    if twice.any():
        slow[line[1:][twice]] = True
    elif len(line) == n:
        return value
    column = np.full(n, np.nan)
    column[line] = value
    return column


def _bare(kinds: NDArray[np.uint8], ends: IntArray, slow: BoolArray) -> tuple[BoolArray, IntArray]:
    """Return which bytes remain without blanks, comments and slow lines, and the comments of the others.

    Of a comment its closing mark stays, so that it still separates words. Marks lines with other bytes, or with
    comments that are nested or not closed, in `slow`.
    """
    marks = np.flatnonzero((kinds == _OPEN) | (kinds == _CLOSE))
    inside = np.zeros(len(kinds), dtype=np.bool_)
    comments = np.empty((0, 3), dtype=np.int64)
    if len(marks):
        line = np.searchsorted(ends, marks) - 1
        count = np.bincount(line, minlength=len(slow))
        rank = np.arange(len(marks)) - (np.cumsum(count) - count)[line]
        slow[line[(kinds[marks] == _CLOSE) != (rank % 2 == 1)]] = True
        slow |= count % 2 == 1
        good = ~slow[line]
        marks, line = marks[good], line[good]
        depth = np.zeros(len(kinds), dtype=np.int8)
        depth[marks[::2]], depth[marks[1::2]] = 1, -1
        inside = np.cumsum(depth, dtype=np.int8) > 0
        last = np.append(line[1:] != line[:-1], True)[1::2] if len(marks) else np.empty(0, dtype=np.bool_)
        comments = np.column_stack([line[1::2], marks[::2] + 1, marks[1::2]])[last]
    other = np.flatnonzero((kinds == _OTHER) & ~inside)
    slow[np.searchsorted(ends, other) - 1] = True
    keep = ~inside & (kinds != _BLANK)
    if slow.any():
        keep[1:] &= np.repeat(~slow, np.diff(ends))
        keep[ends] = True
    return keep, comments


@dataclass(frozen=True, eq=False)
class _Words:
    """Letters, closing marks and line ends: their letter code, line and number, and which make their line slow."""

    code: NDArray[np.uint8]
    line: IntArray
    value: FloatArray
    wrong: BoolArray


def _words(block: NDArray[np.uint8], kinds: NDArray[np.uint8]) -> _Words:
    """Find the words of bare lines and check the form of their numbers: a sign, digits, a point, digits."""
    token = np.flatnonzero(kinds)
    kind = kinds[token]
    at = np.flatnonzero(kind >= _LETTER)
    between = np.diff(at) - 1
    at = at[:-1]
    place, stop = token[at], token[at + between + 1]
    own, following = kind[at], kind[at + 1]
    signed = (following == _SIGN) & (token[at + 1] == place + 1)
    mark = at + 1 + signed
    dotted = kind[mark] == _POINT
    point = np.where(dotted, token[mark], stop)
    whole, part = point - place - 1 - signed, stop - point - dotted
    line = np.cumsum(own == _END) - 1
    letter = own == _LETTER
    code = np.where(letter, _CODE[block[place]], np.uint8(len(LETTERS)))
    wrong = np.where(letter, whole + part < 1, stop - place > 1)
    wrong |= (between != signed.astype(np.int64) + dotted) | (whole > _MAX_DIGITS) | (part > _MAX_DIGITS)
    value, exact = _numbers(block, point, whole, stop, part)
    if signed.any():
        np.negative(value, out=value, where=signed & (block[place + 1] == ord("-")))
    wrong |= ~exact
    numbers = np.flatnonzero(code == LETTERS.index("N"))
    if len(numbers):
        late = (own[numbers - 1] != _END) | signed[numbers] | dotted[numbers] | (whole[numbers] > 5)
        wrong[numbers[late]] = True
    return _Words(code, line, value, wrong)


def _numbers(
    block: NDArray[np.uint8], point: IntArray, whole: IntArray, stop: IntArray, part: IntArray
) -> tuple[FloatArray, BoolArray]:
    """Return the number of each field without its sign, and whether it is exact.

    Args:
        block: bytes.
        point: (n,) place after the whole digits.
        whole: (n,) count of whole digits.
        stop: (n,) place after the field.
        part: (n,) count of digits after the point.
    """
    padded = np.empty(len(block) + 8, dtype=np.uint8)
    padded[:8] = ord("0")
    padded[8:] = block
    window = np.ndarray(shape=(len(padded) - 7,), dtype="<u8", buffer=padded.data, strides=(1,))
    part = np.clip(part, 0, _MAX_DIGITS)
    mantissa = _eight(window.take(point), np.clip(whole, 0, _MAX_DIGITS))
    power = _POWERS.take(part)
    mantissa *= power
    mantissa += _eight(window.take(stop), part)
    exact = mantissa <= _EXACT
    value: FloatArray = mantissa.astype(np.float64)
    value /= power
    return value, exact


def _eight(text: NDArray[np.uint64], digits: IntArray) -> NDArray[np.uint64]:
    """Return the number in the last `digits` of 8 characters, the first of them in the lowest byte.

    Neighbours are joined in pairs, pairs in fours, fours in eights: three multiplications for any 8 digits.
    """
    drop = ((_MAX_DIGITS - digits) * 8).astype(np.uint64)
    text &= _U(0x0F0F0F0F0F0F0F0F)
    # Two shifts in place of a mask; by 64 numpy shifts everything out.
    text >>= drop
    text <<= drop
    for factor, shift, mask in ((10, 8, 0x00FF00FF00FF00FF), (100, 16, 0x0000FFFF0000FFFF), (10000, 32, 0xFFFFFFFF)):
        high = text >> _U(shift)
        text *= _U(factor)
        text += high
        text &= _U(mask)
    return text
