"""One line of RS-274 into words: the grammar of NISTIR 6556 section 3.3 and appendix E, expressions included.

Terminology
-----------
block
    one line of a program, taken apart.
word
    a letter with a number, an expression, a parameter or a function of one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

MAX_LINE = 256
"""Characters in a line (section 3.3)."""
WHOLE = 1e-4
"""A number that must be whole may be off by this much (section 3.3.2)."""
TOO_LARGE = 1e9
"""No machine reaches this number, in any unit; beyond it sums of squares lose their digits."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_LETTERS = frozenset("abcdfghijklmpqrstxyz")
_COMMENT = "("
"""What strip_comments leaves of a comment: nothing else can leave this sign."""


class LineError(Exception):
    """A line that the standard forbids: `code` of `codes.READ_CODES`, and what is wrong in words."""

    def __init__(self, code: str, text: str) -> None:
        self.code, self.text = code, text
        super().__init__(text)


@dataclass(slots=True)
class Block:
    """A line taken apart.

    Attributes:
        words: letter (capital) to value; G, M and N apart.
        g: G codes, times ten (G59.1 is 591).
        m: M codes.
        sets: parameter settings, in order.
        comment: the last comment on the line, or None.
        deleted: the line begins with "/".
        unset: parameters that were used but never set.
    """

    words: dict[str, float] = field(default_factory=dict)
    g: list[int] = field(default_factory=list)
    m: list[int] = field(default_factory=list)
    sets: list[tuple[int, float]] = field(default_factory=list)
    comment: str | None = None
    deleted: bool = False
    unset: list[int] = field(default_factory=list)


def whole(value: float, code: str, what: str) -> int:
    """Return `value` as an integer, or raise `LineError` unless it is within 0.0001 of one."""
    near = round(value)
    if abs(value - near) > WHOLE:
        raise LineError(code, f"{what} {value:g} must be a whole number")
    return near


def strip_comments(raw: str) -> tuple[str, str | None]:
    """Return the line without comments, blanks and tabs, in small letters, and its last comment.

    Each comment leaves one mark, so that it still separates words.

    Raises:
        LineError: for a comment inside a comment or one that is not closed.
    """
    comment: str | None = None
    if "(" not in raw and ")" not in raw:
        return raw.replace(" ", "").replace("\t", "").lower(), None
    out: list[str] = []
    at = 0
    while True:
        begin = raw.find("(", at)
        stretch = raw[at:] if begin < 0 else raw[at:begin]
        out.append(stretch.replace(" ", "").replace("\t", "").lower())
        if begin < 0:
            return "".join(out), comment
        end = raw.find(")", begin)
        nested = raw.find("(", begin + 1, end if end >= 0 else len(raw))
        if nested >= 0:
            raise LineError("nested-comment", "a comment stands inside a comment")
        if end < 0:
            raise LineError("unclosed-comment", "the comment is not closed on its line")
        comment = raw[begin + 1 : end]
        out.append(_COMMENT)
        at = end + 1


def parse_line(raw: str, parameters: Mapping[int, float]) -> Block:
    """Take one line apart.

    Args:
        raw: the line without its end.
        parameters: number to value; all are read before any is set (section 3.3.3).

    Raises:
        LineError: for what the grammar forbids.
    """
    if len(raw) > MAX_LINE:
        raise LineError("line-too-long", f"the line has {len(raw)} characters, {MAX_LINE} are allowed")
    text, comment = strip_comments(raw)
    reader = _Reader(text, parameters)
    block = Block(comment=comment, unset=reader.unset)
    reader.read_into(block)
    return block


class _Reader:
    """Reads a line without blanks from left to right."""

    def __init__(self, text: str, parameters: Mapping[int, float]) -> None:
        self.text, self.at, self.parameters = text, 0, parameters
        self.unset: list[int] = []

    def peek(self) -> str:
        return self.text[self.at] if self.at < len(self.text) else ""

    def read_into(self, block: Block) -> None:
        """Read the whole line into `block` (NISTIR 6556, appendix E)."""
        if self.peek() == "/":
            block.deleted = True
            self.at += 1
        if self.peek() == "n":
            self.line_number()
        while self.at < len(self.text):
            letter = self.text[self.at]
            self.at += 1
            if letter == _COMMENT:
                continue
            if letter == "#":
                block.sets.append(self.setting())
            elif letter in _LETTERS:
                self.word(letter.upper(), block)
            elif letter == "n":
                raise LineError("bad-line-number", "a line number must come first on its line")
            else:
                raise LineError("bad-character", f"{letter!r} has no meaning here")

    def line_number(self) -> None:
        """Read an N word (section 3.3.1)."""
        match = re.compile("[0-9]*").match(self.text, self.at + 1)
        digits = match.group() if match else ""
        if not 1 <= len(digits) <= 5:
            raise LineError("bad-line-number", "a line number is N with 1 to 5 digits and no sign")
        self.at += 1 + len(digits)

    def word(self, letter: str, block: Block) -> None:
        """Read the value of a letter and put it into `block` (section 3.3.2)."""
        value = self.value(letter)
        if not abs(value) <= TOO_LARGE:
            raise LineError("bad-number", f"{letter}{value:g} is beyond what any machine can use")
        if letter == "G":
            ten = round(value * 10)
            if value < 0 or abs(value * 10 - ten) > WHOLE or ten > 999:
                raise LineError("unknown-g", f"G{value:g} is not a G code of the standard")
            block.g.append(ten)
        elif letter == "M":
            code = whole(value, "unknown-m", "an M code of")
            if not 0 <= code <= 99:
                raise LineError("unknown-m", f"M{value:g} is not an M code of the standard")
            block.m.append(code)
        elif letter in block.words:
            raise LineError("repeated-word", f"{letter} stands twice on the line")
        else:
            block.words[letter] = value

    def setting(self) -> tuple[int, float]:
        """Read a parameter setting `#n=value` (section 3.3.3)."""
        index = self.index()
        if self.peek() != "=":
            raise LineError("bad-parameter", f"= is missing after #{index}")
        self.at += 1
        return index, self.value(f"#{index}=")

    def index(self) -> int:
        """Read a parameter number, 1 to 5399."""
        index = whole(self.value("#"), "bad-parameter", "the parameter number")
        if not 1 <= index <= 5399:
            raise LineError("bad-parameter", f"parameter number {index} lies outside 1 to 5399")
        return index

    def value(self, after: str) -> float:
        """Read a real value: a number, an expression, a parameter, or a function of an expression."""
        first = self.peek()
        if first == "[":
            return self.expression()
        if first == "#":
            return self.parameter()
        if first.isalpha() and first.isascii():
            return self.function(after)
        match = _NUMBER.match(self.text, self.at)
        if match is None:
            raise LineError("bad-number", f"there are no digits after {after}")
        self.at = match.end()
        return float(match.group())

    def parameter(self) -> float:
        """Read #n, ##n and so on without a call for each sign: a line may hold 250 of them."""
        marks = 0
        while self.peek() == "#":
            marks += 1
            self.at += 1
        value = self.value("#")
        for _ in range(marks):
            index = whole(value, "bad-parameter", "the parameter number")
            if not 1 <= index <= 5399:
                raise LineError("bad-parameter", f"parameter number {index} lies outside 1 to 5399")
            if index not in self.parameters:
                self.unset.append(index)
            value = self.parameters.get(index, 0.0)
        return value

    def function(self, after: str) -> float:
        """Read a unary operation such as SQRT[4] (section 3.3.2.4)."""
        match = re.compile("[a-z]+").match(self.text, self.at)
        name = match.group() if match else ""
        if name not in _FUNCTIONS and name != "atan":
            if "[" not in self.text[self.at :]:
                raise LineError("bad-number", f"there are no digits after {after}")
            raise LineError("bad-expression", f"{name.upper()} is not a function of the standard")
        self.at += len(name)
        inner = self.bracket(name)
        if name == "atan":
            if self.peek() != "/":
                raise LineError("bad-expression", "ATAN[y] must be followed by /[x]")
            self.at += 1
            return math.degrees(math.atan2(inner, self.bracket(name)))
        return _calculate(_FUNCTIONS[name], name.upper(), inner)

    def bracket(self, name: str) -> float:
        """Read the expression in brackets that a function must be followed by."""
        if self.peek() != "[":
            raise LineError("bad-expression", f"[ is missing after {name.upper()}")
        return self.expression()

    def expression(self) -> float:
        """Read [ ... ] with ** before * / MOD before + - OR XOR AND, each from left to right (section 3.3.2.3)."""
        self.at += 1
        values, operators = [self.value("[")], [""]
        while True:
            if self.peek() == "]":
                self.at += 1
                name, level = "", 0
            else:
                name, level = self.operator()
            while operators[-1] and _LEVELS[operators[-1]] >= level:
                right = values.pop()
                values[-1] = _calculate(_OPERATORS[operators.pop()], "the expression", values[-1], right)
            if not name:
                return values[0]
            operators.append(name)
            values.append(self.value(name.upper()))

    def operator(self) -> tuple[str, int]:
        """Read a binary operator and return it with its precedence (section 3.3.2.3)."""
        for name in _LEVELS:
            if self.text.startswith(name, self.at):
                self.at += len(name)
                return name, _LEVELS[name]
        if self.at >= len(self.text):
            raise LineError("bad-expression", "the expression is not closed")
        raise LineError("bad-expression", f"{self.text[self.at]!r} is not an operator of the standard")


def _calculate(formula: Callable[..., float], what: str, *values: float) -> float:
    try:
        result = formula(*values)
    except (ArithmeticError, ValueError) as problem:
        raise LineError("bad-arithmetic", f"{what} has no value: {problem}") from None
    if isinstance(result, complex) or not math.isfinite(result):
        raise LineError("bad-arithmetic", f"{what} has no finite value")
    return result


def _power(base: float, exponent: float) -> float:
    if base < 0 and exponent != round(exponent):
        raise ValueError("a negative number to a power that is not whole")
    return math.pow(base, exponent)


def _round(value: float) -> float:
    return math.copysign(math.floor(abs(value) + 0.5), value)


def _unit(function: Callable[[float], float]) -> Callable[[float], float]:
    return lambda value: math.degrees(function(value))


def _degrees(function: Callable[[float], float]) -> Callable[[float], float]:
    return lambda value: function(math.radians(value))


_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "abs": abs,
    "acos": _unit(math.acos),
    "asin": _unit(math.asin),
    "cos": _degrees(math.cos),
    "exp": math.exp,
    "fix": lambda v: float(math.floor(v)),
    "fup": lambda v: float(math.ceil(v)),
    "ln": math.log,
    "round": _round,
    "sin": _degrees(math.sin),
    "sqrt": math.sqrt,
    "tan": _degrees(math.tan),
}
_OPERATORS: dict[str, Callable[[float, float], float]] = {
    "**": _power,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "mod": lambda a, b: math.fmod(a, b) + (abs(b) if math.fmod(a, b) < 0 else 0.0),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "or": lambda a, b: float(a != 0 or b != 0),
    "xor": lambda a, b: float((a != 0) != (b != 0)),
    "and": lambda a, b: float(a != 0 and b != 0),
}
_LEVELS = {"**": 3, "*": 2, "/": 2, "mod": 2, "+": 1, "-": 1, "or": 1, "xor": 1, "and": 1}
