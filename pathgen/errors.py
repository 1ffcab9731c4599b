"""Whose fault it is: your drawing, your argument, a program that failed its proof, or our bug.

Every message says what is wrong, where, and what to do about it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any


class PathgenError(Exception):
    """The root of every error that pathgen raises on purpose."""


class DrawingError(PathgenError, ValueError):
    """A drawing, a font or a data file that cannot be used.

    Attributes:
        file: path of the file as given, or None.
        line: line number in it, from 1, or None.
        layer: layer, element id, handle or letter, or None.
        position: (x, y) in the drawing's own units, or None.
    """

    def __init__(
        self,
        message: str,
        *,
        file: str | None = None,
        line: int | None = None,
        layer: str | None = None,
        position: tuple[float, float] | None = None,
    ) -> None:
        self.file, self.line, self.layer, self.position = file, line, layer, position
        place = [str(file)] if file else []
        if line is not None:
            place.append(f"line {line}")
        if layer:
            place.append(f"'{layer}'")
        if position is not None:
            place.append(f"at ({position[0]:.6g}, {position[1]:.6g})")
        super().__init__(f"{', '.join(place)}: {message}" if place else message)


class MissingFileError(DrawingError, FileNotFoundError):
    """A file that is not there; also caught by ``except FileNotFoundError``."""


class ShopFileError(DrawingError):
    """Your file of tools, machine or stock holds something that cannot be used; all of it is told at once.

    Attributes:
        file: path of the file as given.
        line: line of the first problem, or None.
        problems: (line or None, sentence) for each problem, by line.
    """

    def __init__(self, file: str, problems: Sequence[tuple[int | None, str]]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: p[0] or 0))
        super().__init__("", file=file, line=self.problems[0][0])
        told = [f"{file}{'' if line is None else f':{line}'}: {text}" for line, text in self.problems]
        self.args = ("\n".join(told),)


class ArgumentError(PathgenError, ValueError):
    """An argument that cannot be carried out; the message names it and the way out."""


class NotProvedError(PathgenError):
    """The written program failed its proof, so nothing was handed out.

    Attributes:
        proof: the `Proof` with its findings.
    """

    def __init__(self, message: str, *, proof: Any) -> None:
        self.proof = proof
        super().__init__(message)


class WriteError(PathgenError, OSError):
    """A file or folder that could not be written; what was begun has been taken away again."""


class InternalError(PathgenError, RuntimeError):
    """Our bug. The message asks for a report with the input that caused it."""


def one_of(name: str, value: object, valid: tuple[object, ...]) -> None:
    """Raise `ArgumentError` that lists the valid words unless `value` is one of them.

    >>> one_of("side", "outsid", ("outside", "inside", "along"))
    Traceback (most recent call last):
    ...
    pathgen.errors.ArgumentError: side='outsid' is not one of 'outside', 'inside', 'along': take one of these
    """
    if value not in valid:
        words = ", ".join(repr(v) for v in valid)
        raise ArgumentError(f"{name}={value!r} is not one of {words}: take one of these")


def positive(name: str, value: float, *, zero: bool = False) -> float:
    """Return `value` as a float, or raise `ArgumentError` unless it is finite and > 0 (>= 0 with `zero`).

    >>> positive("depth", -1)
    Traceback (most recent call last):
    ...
    pathgen.errors.ArgumentError: depth=-1 must be a number above 0
    """
    size = _float(value)
    if not (size < math.inf) or size < 0 or (size == 0 and not zero):
        raise ArgumentError(f"{name}={value!r} must be a number {'of at least' if zero else 'above'} 0")
    return size


def number(name: str, value: object, *, unit: str = "mm") -> float:
    """Return `value` as a float, or raise `ArgumentError` unless it is a finite number of any sign.

    >>> number("turn", "90", unit="degrees")
    Traceback (most recent call last):
    ...
    pathgen.errors.ArgumentError: turn='90' must be a number (degrees)
    """
    found = _float(value)
    if not math.isfinite(found):
        raise ArgumentError(f"{name}={value!r} must be a number ({unit})")
    return found


def numbers(name: str, value: Any, *, form: str, counts: tuple[int, ...] = (2,)) -> tuple[float, ...]:
    """Return `value` as a tuple of floats, or raise `ArgumentError` unless it holds `counts` finite numbers.

    Args:
        name: of the argument.
        value: a sequence of numbers.
        form: how it is to be given, in words, such as "(x, y) in mm".
        counts: how many numbers it may hold.

    >>> numbers("park", 5, form="(x, y) in mm")
    Traceback (most recent call last):
    ...
    pathgen.errors.ArgumentError: park=5 must be (x, y) in mm
    """
    try:
        found = () if isinstance(value, str | bytes) else tuple(_float(v) for v in value)
    except TypeError:
        found = ()
    if len(found) not in counts or not all(map(math.isfinite, found)):
        raise ArgumentError(f"{name}={value!r} must be {form}")
    return found


def yes_or_no(name: str, value: object) -> None:
    """Raise `ArgumentError` unless `value` is True or False: a word such as "no" would count as yes."""
    if value is not True and value is not False:
        raise ArgumentError(f"{name}={value!r} must be True or False")


def _float(value: Any) -> float:
    """Return a number as a float, NaN for anything else; text is no number, even where it looks like one."""
    if isinstance(value, str | bytes | bytearray):
        return math.nan
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return math.nan
