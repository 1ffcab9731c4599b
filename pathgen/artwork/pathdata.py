"""Path data into curves: a lexer that stops at the first error, then `svgpathtools.parse_path` for each subpath.

parse_path alone loses a whole path for one wrong number, skips stray words, and merges subpaths that touch; it only
ever sees clean commands here, one subpath at a time, and never an arc.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from pathgen.artwork.curves import Curves, NotFiniteError, Pen, endpoint_arc
from pathgen.errors import InternalError

NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_SPACE: Final = re.compile(r"[ \t\r\n\f]*")
_COMMA: Final = re.compile(r"[ \t\r\n\f]*,?[ \t\r\n\f]*")
_NOT_FINITE: Final = re.compile(r"[+-]?(nan|inf)", re.IGNORECASE)
_ARITY: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@dataclass
class _Sub:
    """One subpath as clean text, with a line standing in for each arc."""

    start: complex
    words: list[str] = field(default_factory=list)
    arcs: dict[int, tuple[float, float, float, bool, bool, complex]] = field(default_factory=dict)
    count: int = 0
    closed: bool = False


def number_at(text: str, at: int) -> tuple[float, int]:
    """Return the number at `at` in `text` and where it ends.

    Raises:
        NotFiniteError: for nan, inf and numbers too large.
        ValueError: for anything else that is no number.
    """
    found = NUMBER.match(text, at)
    if not found:
        if _NOT_FINITE.match(text, at):
            raise NotFiniteError(text[at : at + 12])
        raise ValueError(text[at : at + 12])
    value = float(found[0])
    if not math.isfinite(value):
        raise NotFiniteError(found[0])
    return value, found.end()


def _arguments(text: str, at: int, command: str) -> tuple[list[float], int]:
    values: list[float] = []
    for k in range(_ARITY[command]):
        if k:
            at = _COMMA.match(text, at).end()  # type: ignore[union-attr]
        if command == "A" and k in (3, 4):
            if text[at : at + 1] not in ("0", "1"):
                raise ValueError(text[at : at + 12])
            values.append(float(text[at]))
            at += 1
        else:
            value, at = number_at(text, at)
            values.append(value)
    return values, at


class _Splitter:
    """Takes commands in order, keeps the pen's place, and writes each subpath as clean text."""

    def __init__(self) -> None:
        self.subs: list[_Sub] = []
        self.pen = 0j
        self.fresh = True

    def take(self, letter: str, v: list[float]) -> None:
        """Carry out one command of path data with its numbers (SVG 2, section 9.3)."""
        big = letter.upper()
        base = 0j if letter == big else self.pen
        if big == "M":
            self.pen = base + complex(v[0], v[1])
            self.subs.append(_Sub(self.pen))
            self.fresh = False
            return
        if big == "Z":
            if self.fresh:
                return
            self.subs[-1].closed = True
            self.pen, self.fresh = self.subs[-1].start, True
            return
        if self.fresh:
            self.subs.append(_Sub(self.pen))
            self.fresh = False
        sub = self.subs[-1]
        if big == "H":
            self.pen = complex(base.real + v[0], self.pen.imag)
        elif big == "V":
            self.pen = complex(self.pen.real, base.imag + v[0])
        else:
            self.pen = base + complex(v[-2], v[-1])
        if big == "A":
            sub.arcs[sub.count] = (v[0], v[1], v[2], bool(v[3]), bool(v[4]), self.pen)
            letter, v = ("L", [self.pen.real, self.pen.imag])
        if not (math.isfinite(self.pen.real) and math.isfinite(self.pen.imag)):
            raise NotFiniteError(letter)
        sub.words.append(letter + " ".join(map(repr, v)))
        sub.count += 1


def _lex(text: str) -> tuple[list[_Sub], str | None]:
    """Split path data at M and Z; also what stood at the first error, or None."""
    out = _Splitter()
    at = _SPACE.match(text).end()  # type: ignore[union-attr]
    command = ""
    first = True
    while at < len(text):
        letter = text[at]
        if letter.upper() in _ARITY:
            if first and letter not in "Mm":
                return out.subs, f"{text[at : at + 12]!r} stands before the first move"
            command, at, first = letter, _SPACE.match(text, at + 1).end(), False  # type: ignore[union-attr]
        elif not command or command in "Zz":
            return out.subs, f"{text[at : at + 12]!r} is no command"
        else:
            at = _COMMA.match(text, at).end() if text[at] == "," else at  # type: ignore[union-attr]
        try:
            values, at = _arguments(text, at, command.upper())
        except NotFiniteError:
            raise
        except ValueError as error:
            return out.subs, f"'{command}' needs {_ARITY[command.upper()]} numbers but found {error.args[0]!r}"
        out.take(command, values)
        command = {"M": "L", "m": "l"}.get(command, command)
        at = _SPACE.match(text, at).end()  # type: ignore[union-attr]
    return out.subs, None


@functools.cache
def _parse_path() -> Callable[[str], Any]:
    """Return svgpathtools' parser, imported when the first path comes (it takes a third of a second)."""
    from svgpathtools import parse_path

    return parse_path  # type: ignore[no-any-return]


def _curves(sub: _Sub) -> Curves:
    pen = Pen(sub.start)
    if sub.count:
        text = f"M{sub.start.real!r} {sub.start.imag!r}" + "".join(sub.words)
        segments = list(_parse_path()(text))
        if len(segments) != sub.count:
            raise InternalError(f"{sub.count} path commands became {len(segments)} segments: please report {text!r}")
        for k, segment in enumerate(segments):
            kind = type(segment).__name__
            if k in sub.arcs:
                endpoint_arc(pen, *sub.arcs[k])
            elif kind == "Line":
                pen.line(segment.end)
            elif kind == "QuadraticBezier":
                pen.quadratic(segment.control, segment.end)
            else:
                pen.cubic(segment.control1, segment.control2, segment.end)
    return pen.done(closed=sub.closed)


def parse(text: str) -> tuple[list[Curves], str | None]:
    """Return the subpaths of path data, in its own units, and the error they were cut short by, or None.

    SVG 1.1 section 8.3 (grammar), appendix F.2 (draw up to the first error), F.6 (arcs).

    Raises:
        NotFiniteError: for coordinates that are no numbers.

    >>> subs, error = parse("M0 0L10 10L5")
    >>> subs[0].rows.shape, error
    ((1, 8), "'L' needs 2 numbers but found ''")
    """
    subs, error = _lex(text)
    return [_curves(s) for s in subs], error
