"""A second reader of RS-274, made apart from the library's own, as an outside opinion on what a program means.

The syntax is the production grammar of NISTIR 6556, appendix E.2 (Kramer, Proctor, Messina, The NIST RS274NGC
Interpreter - Version 3, 2000), its production names from memory, parsed by lark. The meaning follows sections 2
and 3 of the report; how far the pecks of G83 back off, and what a line's axis words belong to, from memory of the
program published with it. It was written without a look at `pathgen.motion`, and keeps to other ways: one line at a
time, no bulk, lengths as complex numbers in the plane.

What no program states is NaN here as there: a place before it is named, and home. Tool lengths count as zero.
Cutter radius compensation, probing, rotary axes and G84 to G89 are refused. Nothing is skipped: the first thing
the report forbids raises `Refused`.
"""

from __future__ import annotations

import cmath
import functools
import math
import re
from dataclasses import dataclass

from lark import Lark, Transformer, v_args
from lark.exceptions import LarkError, VisitError

GRAMMAR = r"""
    line: BLOCK_DELETE? [LINE_NUMBER] segment*
    ?segment: mid_line_word | comment | parameter_setting

    mid_line_word: MID_LINE_LETTER real_value
    comment: COMMENT
    parameter_setting: "#" real_value "=" real_value

    ?real_value: real_number | expression | parameter_value | unary_combo
    real_number: REAL_NUMBER
    parameter_value: "#" real_value
    ?unary_combo: "atan" expression "/" expression -> arc_tangent
                | ORDINARY_UNARY_OPERATION expression -> ordinary_unary
    ?expression: "[" sum "]"
    ?sum: product | sum BINARY_OPERATION3 product -> binary
    ?product: power | product (BINARY_OPERATION2 | SLASH) power -> binary
    ?power: real_value | power POWER real_value -> binary

    BLOCK_DELETE: "/"
    SLASH: "/"
    LINE_NUMBER: /n[0-9]{1,5}/
    MID_LINE_LETTER: /[abcdfghijklmpqrstxyz]/
    COMMENT: /\([^()]*\)/
    REAL_NUMBER: /[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)/
    ORDINARY_UNARY_OPERATION: "abs" | "acos" | "asin" | "cos" | "exp" | "fix" | "fup" | "ln" | "round" | "sin"
                            | "sqrt" | "tan"
    POWER.2: "**"
    BINARY_OPERATION2: "*" | "mod"
    BINARY_OPERATION3: "and" | "xor" | "-" | "or" | "+"
"""

UNARY = {
    "abs": abs,
    "acos": lambda v: math.degrees(math.acos(v)),
    "asin": lambda v: math.degrees(math.asin(v)),
    "cos": lambda v: math.cos(math.radians(v)),
    "exp": math.exp,
    "fix": math.floor,
    "fup": math.ceil,
    "ln": math.log,
    "round": lambda v: math.floor(v + 0.5) if v >= 0 else -math.floor(-v + 0.5),
    "sin": lambda v: math.sin(math.radians(v)),
    "sqrt": math.sqrt,
    "tan": lambda v: math.tan(math.radians(v)),
}
BINARY = {
    "**": math.pow,
    "/": lambda a, b: a / b,
    "*": lambda a, b: a * b,
    "mod": lambda a, b: a - abs(b) * math.floor(a / abs(b)),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "or": lambda a, b: float(a != 0 or b != 0),
    "and": lambda a, b: float(a != 0 and b != 0),
    "xor": lambda a, b: float((a != 0) != (b != 0)),
}

G_GROUPS = {
    1: "G0 G1 G2 G3 G38.2 G80 G81 G82 G83 G84 G85 G86 G87 G88 G89",
    2: "G17 G18 G19",
    3: "G90 G91",
    5: "G93 G94",
    6: "G20 G21",
    7: "G40 G41 G42",
    8: "G43 G49",
    10: "G98 G99",
    12: "G54 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3",
    13: "G61 G61.1 G64",
    0: "G4 G10 G28 G30 G53 G92 G92.1 G92.2 G92.3",
}
GROUP_OF_G = {g: group for group, gs in G_GROUPS.items() for g in gs.split()}
GROUP_OF_M = {0: 4, 1: 4, 2: 4, 30: 4, 60: 4, 6: 6, 3: 7, 4: 7, 5: 7, 7: 8, 8: 8, 9: 8, 48: 9, 49: 9}
SYSTEMS = G_GROUPS[12].split()
AXES = "xyz"
# The first and second axis of each plane, and its normal: turning the first to the second is counter-clockwise seen
# from the normal's positive end, so in the plane of G18 Z comes first (right-handed axes).
PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
NAN3 = (math.nan,) * 3


class Refused(Exception):
    """The report forbids what stands at `line`; `steps` are the moves before it."""

    def __init__(self, line: int, why: str, steps: tuple[Step, ...] = ()) -> None:
        super().__init__(f"line {line}: {why}")
        self.line, self.why, self.steps = line, why, steps


class _Wrong(Exception):
    """Something on the line at hand is wrong."""


def _need(fact: bool, why: str) -> None:
    if not fact:
        raise _Wrong(why)


def _whole(value: float, what: str) -> int:
    """Section 3.3: what must be an integer may be off by 0.0001."""
    _need(abs(value - round(value)) <= 0.0001, f"{what} is not an integer")
    return round(value)


@dataclass(frozen=True)
class Step:
    """One move: mm, mm/min, radians."""

    kind: str
    start: tuple[float, ...]
    end: tuple[float, ...]
    feed: float
    rpm: float
    tool: int
    line: int
    center: tuple[float, ...] = NAN3
    sweep: float = 0.0
    plane: int = 17
    machine: bool = False


@v_args(inline=True)
class _Values(Transformer):
    """Evaluates while lark parses, so that a line reads every parameter before it sets any (section 3.3.3)."""

    parameters: dict[int, float]

    def _index(self, value: float) -> int:
        index = _whole(value, "parameter index")
        _need(1 <= index <= 5399, "parameter index")
        return index

    def real_number(self, token):
        return float(token)

    def parameter_value(self, index):
        return self.parameters.get(self._index(index), 0.0)

    def parameter_setting(self, index, value):
        return ("#", self._index(index), value)

    def ordinary_unary(self, name, value):
        return self._finite(UNARY[name], value)

    def arc_tangent(self, a, b):
        return math.degrees(math.atan2(a, b))

    def binary(self, a, name, b):
        return self._finite(BINARY[name], a, b)

    def mid_line_word(self, letter, value):
        return (str(letter), value)

    def comment(self, token):
        return ("(", str(token)[1:-1])

    def line(self, *segments):
        return [s for s in segments if isinstance(s, tuple)]

    def _finite(self, function, *values):
        try:
            result = float(function(*values))
        except (ValueError, ZeroDivisionError, OverflowError) as error:
            raise _Wrong(str(error)) from error
        _need(math.isfinite(result), "not a number")
        return result


@functools.cache
def _parser() -> tuple[_Values, Lark]:
    """Return the parser, made once, and what it evaluates with."""
    values = _Values()
    return values, Lark(GRAMMAR, start="line", parser="lalr", transformer=values)


def squeeze(line: str) -> str:
    """Take out what section 3.3 says has no meaning: spaces, tabs and case outside comments."""
    parts = re.split(r"(\([^()]*\)?)", line)
    return "".join(p if p.startswith("(") else re.sub(r"[ \t]", "", p).lower() for p in parts)


class _Machine:
    """The state of section 2.1 and Table 8's order."""

    def __init__(self, slots: int, by_hand: bool) -> None:
        self.values, self.parser = _parser()
        self.values.parameters = {5220: 1.0}
        self.slots, self.by_hand = slots, by_hand
        self.at = list(NAN3)
        self.origins = {name: [0.0] * 3 for name in SYSTEMS}
        self.shift, self.kept_shift = [0.0] * 3, [0.0] * 3
        self.unit = 1.0
        self.feed = 0.0
        self.speed, self.turning = 0.0, 0
        self.chosen, self.tool = 0, 0
        self.comments: list[str] = []
        self.dwells: list[float] = []
        self.steps: list[Step] = []
        self.sticky: dict[str, float] = {}
        self.cycle_mode = ""
        self.done = False
        self.number = 0
        self._defaults()
        self.motion = "G80"

    def _defaults(self) -> None:
        """What M2 and M30 reset (section 3.6.1)."""
        self.plane, self.incremental, self.inverse, self.system = 17, False, False, "G54"
        self.to_r = False
        self.turning, self.motion = 0, "G1"
        self.shift = [0.0] * 3

    # reading

    def line(self, text: str) -> None:
        """Read and run one line."""
        _need(len(text) <= 256, "longer than 256 characters")
        try:
            segments = self.parser.parse(squeeze(text))
        except VisitError as error:
            raise error.orig_exc from error
        except LarkError as error:
            raise _Wrong(f"syntax: {str(error).splitlines()[0]}") from error
        words: dict[str, float] = {}
        gs: dict[int, str] = {}
        ms: dict[int, list[int]] = {}
        settings = []
        for segment in segments:
            if segment[0] == "#":
                settings.append(segment[1:])
            elif segment[0] == "(":
                comment = segment[1]
                words["("] = 0.0
            elif segment[0] == "g":
                self._add_g(gs, segment[1])
            elif segment[0] == "m":
                self._add_m(ms, segment[1])
            else:
                _need(segment[0] not in words, f"{segment[0]} twice")
                words[segment[0]] = segment[1]
        if words.pop("(", None) is not None:
            self.comments.append(comment)
        _need(sum(map(len, ms.values())) <= 4, "more than four M words")
        for index, value in settings:
            _need(index != 5220 or 1 <= _whole(value, "#5220") <= 9, "#5220 names no work offset")
            _need(not 5161 <= index <= 5386, "a zero or home set by parameter is not read")
        self.values.parameters.update(dict(settings))
        self._signs(words)
        self._run(words, gs, ms)

    def _add_g(self, gs: dict[int, str], value: float) -> None:
        tenths = _whole(10 * value, "G")
        name = f"G{tenths // 10}" + (f".{tenths % 10}" if tenths % 10 else "")
        _need(name in GROUP_OF_G, f"unknown {name}")
        group = GROUP_OF_G[name]
        _need(group not in gs, f"{name} and {gs.get(group)}")
        gs[group] = name

    def _add_m(self, ms: dict[int, list[int]], value: float) -> None:
        m = _whole(value, "M")
        _need(m in GROUP_OF_M, f"unknown M{m}")
        group = GROUP_OF_M[m]
        _need(group not in ms or (group == 8 and {*ms[8], m} == {7, 8}), "two M words of a group")
        ms.setdefault(group, []).append(m)

    def _signs(self, words: dict[str, float]) -> None:
        for letter in "fstpdhl":
            _need(words.get(letter, 0.0) >= 0, f"negative {letter}")
        _need(words.get("q", 1.0) > 0, "Q is not positive")
        for letter in "tdhl":
            if letter in words:
                words[letter] = _whole(words[letter], letter)
        for letter in "tdh":
            _need(words.get(letter, 0) <= self.slots, f"{letter} beyond the slots")
        _need(not set(words) & set("abc"), "rotary axes are not read")

    # running

    def _run(self, words: dict[str, float], gs: dict[int, str], ms: dict[int, list[int]]) -> None:
        axes = bool(set(words) & set(AXES))
        motion = self._whose_axes(axes, gs)
        self._strays(words, gs, motion)
        if 5 in gs:
            if self.inverse and gs[5] == "G94":
                self.feed = 0.0  # one over minutes is no feed; the report is silent, and this the safe side
            self.inverse = gs[5] == "G93"
        if "f" in words:
            self.feed = words["f"] * (1.0 if self.inverse else self.unit)
        self.speed = words.get("s", self.speed)
        if "t" in words:
            self.chosen = int(words["t"])
            self.tool = self.chosen if self.by_hand else self.tool
        if 6 in ms:
            self.tool, self.turning = self.chosen, 0
        if 7 in ms:
            self.turning = {3: 1, 4: -1, 5: 0}[ms[7][0]]
        if gs.get(0) == "G4":
            self.dwells.append(words["p"])
        self._modes(gs)
        self._offsets(words, gs)
        if motion is not None:
            self._move(motion, words, gs)
        stop = ms.get(4, [0])[0]
        if stop in (2, 30):
            self._defaults()
            self.done = True

    def _whose_axes(self, axes: bool, gs: dict[int, str]) -> str | None:
        """Return the motion to be made (section 3.4: which G code uses the axis words)."""
        covets = gs.get(0) in ("G10", "G28", "G30", "G92")
        _need(gs.get(0) != "G92" or axes, "G92 without an axis word")
        if 1 in gs:
            if gs[1] == "G80":
                _need(covets or not axes, "G80 with axis words")
            else:
                _need(not covets, "two G codes want the axis words")
                _need(axes, "motion without axis word")
            return gs[1]
        if covets or not axes:
            return None
        _need(self.motion != "G80", "axis words without a G code")
        return self.motion

    def _strays(self, words: dict[str, float], gs: dict[int, str], motion: str | None) -> None:
        arc, cycle = motion in ("G2", "G3"), motion in ("G81", "G82", "G83")
        zero = gs.get(0)
        _need("d" not in words, "D without G41 or G42")
        _need("h" not in words or gs.get(8) == "G43", "H without G43")
        _need(arc or not set(words) & set("ijk"), "I, J or K without an arc")
        _need("l" not in words or cycle or zero == "G10", "stray L")
        _need("p" not in words or zero in ("G4", "G10") or motion == "G82", "stray P")
        _need("q" not in words or motion == "G83", "stray Q")
        _need("r" not in words or arc or cycle, "stray R")
        _need(zero != "G4" or "p" in words, "G4 without P")
        _need(zero != "G53" or (motion or self.motion) in ("G0", "G1"), "G53 wants G0 or G1")
        _need(zero != "G53" or gs.get(3, "G91" if self.incremental else "G90") == "G90", "G53 in G91")
        _need(gs.get(8) != "G43" or "h" in words, "G43 without H")
        _need(gs.get(7, "G40") == "G40", "cutter radius compensation is not read")

    def _modes(self, gs: dict[int, str]) -> None:
        self.plane = int(gs.get(2, f"G{self.plane}")[1:])
        if 6 in gs:
            self.unit = 25.4 if gs[6] == "G20" else 1.0
        self.system = gs.get(12, self.system)
        if 12 in gs:
            self.values.parameters[5220] = SYSTEMS.index(gs[12]) + 1.0
        if 3 in gs:
            self.incremental = gs[3] == "G91"
        if 10 in gs:
            self.to_r = gs[10] == "G99"

    def _offsets(self, words: dict[str, float], gs: dict[int, str]) -> None:
        zero = gs.get(0)
        if zero == "G10":
            number = _whole(words.get("p", -1.0), "P of G10")
            _need(words.get("l") == 2 and 1 <= number <= 9, "G10 wants L2 and P 1 to 9")
            for k, axis in enumerate(AXES):
                if axis in words:
                    self.origins[SYSTEMS[number - 1]][k] = words[axis] * self.unit
                    self.values.parameters[5201 + 20 * number + k] = words[axis]
        elif zero in ("G28", "G30"):
            if set(words) & set(AXES):
                self._go("rapid", self._target(words))
            self._go("rapid", list(NAN3), machine=True)
        elif zero == "G92":
            for k, axis in enumerate(AXES):
                if axis in words:
                    value = words[axis] * self.unit
                    if math.isnan(self.at[k]):  # no place known: the numbers are taken as the place
                        self.at[k] = value + self.origins[self.system][k] + self.shift[k]
                    self.shift[k] = self.at[k] - self.origins[self.system][k] - value
            self.kept_shift = list(self.shift)
        elif zero in ("G92.1", "G92.2"):
            self.shift = [0.0] * 3
            self.kept_shift = [0.0] * 3 if zero == "G92.1" else self.kept_shift
        elif zero == "G92.3":
            self.shift = list(self.kept_shift)
        if zero in ("G92", "G92.1"):
            self.values.parameters.update({5211 + k: v / self.unit for k, v in enumerate(self.shift)})

    def _target(self, words: dict[str, float]) -> list[float]:
        """Return where the axis words lead, mm."""
        goal = list(self.at)
        for k, axis in enumerate(AXES):
            if axis in words:
                value = words[axis] * self.unit
                origin = self.origins[self.system][k] + self.shift[k]
                goal[k] = self.at[k] + value if self.incremental else origin + value
        return goal

    def _go(self, kind: str, end: list[float], *, feed: float = 0.0, machine: bool = False, **arc) -> None:
        self.steps.append(
            Step(
                kind,
                tuple(self.at),
                tuple(end),
                feed,
                self.turning * self.speed,
                self.tool,
                self.number,
                plane=self.plane,
                machine=machine,
                **arc,
            )
        )
        self.at = list(end)

    def _move(self, motion: str, words: dict[str, float], gs: dict[int, str]) -> None:
        machine = gs.get(0) == "G53"
        if motion in ("G1", "G2", "G3"):
            _need(not self.inverse or "f" in words, "G93 wants F on the line")
            _need(self.feed > 0, "feed 0")
        if motion in ("G0", "G1") and machine:
            end = [words[a] * self.unit if a in words else here for a, here in zip(AXES, self.at, strict=True)]
            kept = [math.nan if a in words else here for a, here in zip(AXES, self.at, strict=True)]
            self._go(
                "rapid" if motion == "G0" else "line", end, feed=0.0 if motion == "G0" else self.feed, machine=True
            )
            self.at = kept
        elif motion == "G0":
            self._go("rapid", self._target(words))
        elif motion == "G1":
            end = self._target(words)
            self._go("line", end, feed=self._rate(math.dist(self.at, end)))
        elif motion in ("G2", "G3"):
            self._arc(motion, words)
        elif motion != "G80":
            self._cycle(motion, words)
        self.motion = motion

    def _rate(self, length: float) -> float:
        """Return the feed along the path: under G93, F is one over the minutes the move takes.

        0 where the length is not known.
        """
        rate = self.feed * length if self.inverse else self.feed
        return 0.0 if math.isnan(rate) else rate

    def _arc(self, motion: str, words: dict[str, float]) -> None:
        one, two, normal = PLANES[self.plane]
        _need(AXES[one] in words or AXES[two] in words, "arc without an end in its plane")
        end = self._target(words)
        _need("ijk"[normal] not in words, "offset across the plane")
        here, there = complex(self.at[one], self.at[two]), complex(end[one], end[two])
        _need(not cmath.isnan(here), "arc from a place no line has named")
        turn = 1 if motion == "G3" else -1
        offsets = set(words) & set("ijk")
        _need(("r" in words) != bool(offsets), "R or a center")
        if offsets:
            middle = here + self.unit * complex(words.get("ijk"[one], 0.0), words.get("ijk"[two], 0.0))
            _need(abs(here - middle) > 0, "radius 0")
            off = abs(abs(here - middle) - abs(there - middle))
            _need(off <= (0.0002 * 25.4 if self.unit != 1 else 0.002), "radii differ")
        else:
            middle = self._middle(here, there, words["r"] * self.unit, turn)
        sweep = cmath.phase((there - middle) / (here - middle)) if there != here else 0.0
        if sweep * turn <= 0:
            sweep += turn * 2 * math.pi
        center = list(self.at)
        center[one], center[two] = middle.real, middle.imag
        length = math.hypot(abs(here - middle) * sweep, end[normal] - self.at[normal])
        self._go("arc", end, feed=self._rate(length), center=tuple(center), sweep=sweep)

    def _middle(self, here: complex, there: complex, radius: float, turn: int) -> complex:
        """Section 3.5.3.1: a positive radius turns less than half a circle, a negative one more."""
        _need(here != there, "radius format wants another end")
        half = abs(there - here) / 2
        _need(half - abs(radius) <= (0.0002 * 25.4 if self.unit != 1 else 0.002), "radius cannot reach the end")
        height = math.sqrt(max(radius * radius - half * half, 0.0))
        left = (there - here) / abs(there - here) * 1j
        return (here + there) / 2 + left * height * turn * (1 if radius > 0 else -1)

    def _cycle(self, motion: str, words: dict[str, float]) -> None:
        """Section 3.5.16, in any plane."""
        one, two, deep = PLANES[self.plane]
        _need(motion in ("G81", "G82", "G83"), f"{motion} is not read")
        _need(not self.inverse, "cycle under G93")
        _need(self.feed > 0, "feed 0")
        if motion != self.cycle_mode or self.motion != motion:
            self.sticky = {}
        self.cycle_mode = motion
        for letter in ("r", "p", "q", AXES[deep]):
            if letter in words:
                self.sticky[letter] = words[letter]
        for letter in ("r", AXES[deep], *{"G82": "p", "G83": "q"}.get(motion, "")):
            _need(letter in self.sticky, f"cycle without {letter}")
        repeats = int(words.get("l", 1))
        _need(repeats > 0, "L is not positive")
        origin = self.origins[self.system][deep] + self.shift[deep]
        clear = self.sticky["r"] * self.unit + (self.at[deep] if self.incremental else origin)
        bottom = self.sticky[AXES[deep]] * self.unit + (clear if self.incremental else origin)
        _need(clear >= bottom, "R below the bottom")
        self._to(deep, max(clear, self.at[deep]))
        back = clear if self.to_r else self.at[deep]
        flat = {a: words[a] for a in (AXES[one], AXES[two]) if a in words}
        for _ in range(repeats):
            self._go("rapid", self._target(flat))
            self._to(deep, clear)
            if motion == "G83":
                self._pecks(deep, clear, bottom)
            self._to(deep, bottom, feed=self.feed)
            if motion == "G82":
                self.dwells.append(self.sticky["p"])
            self._to(deep, back)

    def _pecks(self, deep: int, clear: float, bottom: float) -> None:
        step = self.sticky["q"] * self.unit
        # A last peck of less than a nanometer is none: the depths are sums of rounded numbers.
        for k in range(1, math.ceil((clear - bottom) / step - 1e-6 / step)):
            self._to(deep, clear - k * step, feed=self.feed)
            self._to(deep, clear)
            self._to(deep, clear - k * step + 0.254)

    def _to(self, axis: int, value: float, *, feed: float = 0.0) -> None:
        end = list(self.at)
        end[axis] = value
        if end != self.at:
            self._go("line" if feed else "rapid", end, feed=feed)


@dataclass(frozen=True)
class Reading:
    """What a program does: its moves, comments and dwells in order."""

    steps: tuple[Step, ...]
    comments: tuple[str, ...]
    dwells: tuple[float, ...]


def _lines(text: str) -> tuple[list[tuple[int, str]], bool, int]:
    """Return the lines with their numbers, whether ``%`` encloses them (section 3.1), and the last line's number."""
    every = re.split(r"\r\n|\r|\n", text)
    last = max(1, len(every) - (not every[-1]))
    rows = [(k, row) for k, row in enumerate(every, 1) if row.strip(" \t")]
    if not rows or rows[0][1].strip(" \t") != "%":
        return rows, False, last
    for k, (_, row) in enumerate(rows[1:], 1):
        if row.strip(" \t") == "%":
            return rows[1:k], True, last
    return rows[1:], False, last


def second_reading(text: str, *, block_delete: bool = False, slots: int = 99) -> Reading:
    """Read a program, or raise `Refused` at the first thing the report forbids."""
    rows, marked, last = _lines(text)
    by_hand = not any(re.search(r"m0*6(?![0-9.])", re.sub(r"\([^()]*\)", "", squeeze(row))) for _, row in rows)
    machine = _Machine(slots, by_hand)
    for number, row in rows:
        if block_delete and row.lstrip(" \t").startswith("/"):
            continue
        machine.number = number
        try:
            machine.line(row)
        except _Wrong as error:
            raise Refused(number, str(error), tuple(machine.steps)) from error
        if machine.done:
            break
    if not marked and (not machine.done or text.lstrip().startswith("%")):
        raise Refused(last, "no end, or no second %", tuple(machine.steps))
    return Reading(tuple(machine.steps), tuple(machine.comments), tuple(machine.dwells))
