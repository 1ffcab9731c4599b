"""`read_shop`: the tools, the machine and the stock of a shop, kept in TOML files.

One file may hold all of it, or each may have its own. The keys are the names of the values they make: `[[tool]]` with
a `kind` makes an `EndMill`, a `VBit` …, `[tool.cutting]` its `Cutting`, `[tool.holder]` its `Holder`, `[machine]` a
`Machine`, `[machine.dialect]` its `Dialect`, `[stock]` a `Stock`. A number is in mm, mm/min, mm/s2; a text carries its
own unit: "0.25 in", "1/4 in", "60 in/min".
"""

from __future__ import annotations

import dataclasses
import difflib
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias

from pathgen.errors import ArgumentError, ShopFileError
from pathgen.model.givenfile import bytes_of
from pathgen.model.machine import Dialect, Machine
from pathgen.model.stock import Stock
from pathgen.model.tool import (
    SMALLEST_DIAMETER,
    BallNose,
    Cutting,
    DiamondPoint,
    Drill,
    EndMill,
    Holder,
    Tool,
    TrailingKnife,
    VBit,
)
from pathgen.shop.quantity import Quantity, quantity
from pathgen.shop.tomllines import Place, key_lines

Form: TypeAlias = Quantity | Literal["text", "yes", "pair", "point", "axes-length", "axes-feed", "axes-acceleration"]

KINDS: Final[Mapping[str, type[Tool]]] = {
    kind.kind: kind for kind in (EndMill, BallNose, Drill, VBit, TrailingKnife, DiamondPoint)
}
"""Word of a tool's kind to its class."""

LARGEST = 4_000_000
"""Bytes: a longer file is no list of tools, and reading it would only keep one waiting."""

_FORMS: Final[Mapping[str, Form]] = {
    **dict.fromkeys(
        ("diameter", "cut_width", "cutting_length", "shank", "stick_out", "up_cut_length", "tip", "trail", "max_depth",
         "max_travel", "stepdown", "stepover", "length", "corner_tolerance", "positioning", "width", "height",
         "thickness", "film", "unevenness"), "length",
    ),
    **dict.fromkeys(("feed", "plunge"), "feed"),
    **dict.fromkeys(
        ("number", "flutes", "max_rpm", "min_rpm", "max_ramp", "point_angle", "angle", "edge_angle", "preload",
         "spring_rate", "rpm", "ramp", "retrace", "slot", "spindle_power", "spin_up", "spin_down", "change_time",
         "decimals", "center_decimals", "max_line", "grain"), "plain",
    ),
    **dict.fromkeys(("name", "spiral", "direction", "cooling", "spindle", "tool_change", "units", "path_mode", "end",
                     "material", "zero_height"), "text"),
    **dict.fromkeys(("center_cutting", "small", "homed", "arcs", "helices", "length_offsets", "zero_again_at_stop",
                     "line_numbers", "zero_on_film"), "yes"),
    "thickness_range": "pair", "park": "pair", "zero": "point", "travel": "axes-length",
    "max_feed": "axes-feed", "rapid": "axes-feed", "acceleration": "axes-acceleration",
}  # fmt: skip
"""How each key is typed; a test holds this table against the values' own fields."""

_TABLES: Final = frozenset({"cutting", "holder", "dialect"})
_NOT_HERE: Final = frozenset({"outline", "measured_top"})
"""A stock's outline is a drawing, and measured heights are of one slab (`read_heights`)."""

_SAMPLES: Final[Mapping[str, Any]] = {
    "diameter": 1000.0, "angle": 60.0, "trail": 0.5, "edge_angle": 45.0, "rpm": None, "feed": 1000.0, "plunge": 500.0,
    "length": 30.0, "travel": (600.0, 400.0, 90.0), "max_feed": 3000.0, "acceleration": 500.0, "max_rpm": 1e6,
    "width": 300.0, "height": 150.0, "thickness": 18.0, "material": "mdf",
}  # fmt: skip
"""Stand in for a needed value that is missing or wrong, so that the rest of the table is looked at too."""


@dataclass(frozen=True, kw_only=True)
class Shop:
    """What files of a shop hold.

    Attributes:
        tools: T number to tool, in the order of the file.
        machine: None where the file holds none.
        stock: None where the file holds none.
    """

    tools: Mapping[int, Tool]
    machine: Machine | None = None
    stock: Stock | None = None


def read_shop(path: str | os.PathLike[str]) -> Shop:
    """Read a TOML file of tools, machine and stock; see the page docs/check.md for its keys.

    Args:
        path: of the file, UTF-8.

    Raises:
        MissingFileError: there is no such file.
        ShopFileError: with all problems of the file, each with its line, its key and the nearest valid word.
    """
    file = os.fspath(path)
    text = _text(file)
    try:
        values = tomllib.loads(text)
        lines = key_lines(text)
    except tomllib.TOMLDecodeError as problem:
        at = re.search(r"\(at line (\d+), column \d+\)|\(at end of document\)", str(problem))
        line = int(at[1]) if at and at[1] else text.count("\n") + 1
        words = str(problem)[: at.start()].strip() if at else str(problem)
        raise ShopFileError(file, [(line, f"this is no TOML: {words}")]) from None
    except (RecursionError, ValueError):
        raise ShopFileError(
            file, [(None, "this is no list of tools: it is nested too deeply, or a number too long")]
        ) from None
    reader = _Reader(lines)
    shop = reader.shop(values)
    if reader.problems:
        raise ShopFileError(file, reader.problems)
    return shop


def _text(file: str) -> str:
    """Return what is in a file, or raise with what to do."""
    data = bytes_of(file, largest=LARGEST, folder="name one TOML file in it", large=", so it is no list of tools")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ShopFileError(file, [(line, "this is not UTF-8 text: save the file as UTF-8")]) from None


def nearest(word: str, valid: Iterable[str]) -> str:
    """Return ": did you mean 'x'?" for the valid word nearest to `word`, or a list of the valid words.

    >>> nearest("diametre", ("diameter", "flutes")), nearest("xyz", ("mm", "inch"))
    (": did you mean 'diameter'?", ": it is one of 'mm', 'inch'")
    """
    words = list(valid)
    folded = {w.casefold(): w for w in words}
    close = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return f": did you mean {folded[close[0]]!r}?" if close else f": it is one of {', '.join(map(repr, words))}"


class _Reader:
    """Makes values of tables, and collects what is wrong with them."""

    def __init__(self, lines: Mapping[Place, int]) -> None:
        self.lines = lines
        self.problems: list[tuple[int | None, str]] = []

    def say(self, place: Place, text: str) -> None:
        """Note a problem at the line of a place, or of the table it is in."""
        while place and place not in self.lines:
            place = place[:-1]
        self.problems.append((self.lines.get(place), text))

    def shop(self, values: Mapping[str, Any]) -> Shop:
        """Make everything in a document."""
        for key in values:
            if key not in ("tool", "machine", "stock"):
                self.say((key,), f"{key!r} is no table of a shop file{nearest(key, ('tool', 'machine', 'stock'))}")
        if not values:
            self.problems.append((None, "the file holds nothing: begin a tool with [[tool]], a machine with [machine]"))
        machine = self._table(Machine, values.get("machine"), ("machine",), "machine")
        stock = self._table(Stock, values.get("stock"), ("stock",), "stock")
        return Shop(tools=MappingProxyType(self._tools(values.get("tool", []))), machine=machine, stock=stock)

    def _tools(self, listed: Any) -> dict[int, Tool]:
        if not isinstance(listed, list):
            self.say(("tool",), "tools are listed with [[tool]], two brackets, once for each tool")
            return {}
        tools: dict[int, Tool] = {}
        seen: dict[int, Place] = {}
        for k, given in enumerate(listed):
            place: Place = ("tool", k)
            tool = self._tool(given, place)
            number = given.get("number") if isinstance(given, dict) else None
            if isinstance(number, int) and not isinstance(number, bool):
                if number in seen:
                    line = self.lines.get((*seen[number], "number"))
                    self.say((*place, "number"), f"number = {number} is taken: the tool of line {line} has it too")
                seen.setdefault(number, place)
            if tool is not None and tool.number is not None:
                tools[tool.number] = tool
        return tools

    def _tool(self, given: Any, place: Place) -> Tool | None:
        if not isinstance(given, dict):
            self.say(place, "tools are listed with [[tool]], each with keys of its own")
            return None
        word = given.get("kind")
        kind = {w.casefold(): c for w, c in KINDS.items()}.get(word.casefold()) if isinstance(word, str) else None
        rest = {k: v for k, v in given.items() if k != "kind"}
        if kind is not None:
            sized = any(f.name == "diameter" and f.init for f in dataclasses.fields(kind))
            return self._table(kind, rest, place, kind.kind, needed=("number", *["diameter"] * sized))
        if word is None:
            self.say(place, f"a tool has no kind: give one of {', '.join(map(repr, KINDS))}")
        else:
            self.say((*place, "kind"), f"kind = {_shown(word)} is no kind of tool{nearest(str(word), KINDS)}")
        every = {f.name for c in KINDS.values() for f in dataclasses.fields(c)}
        for key in rest.keys() - every:
            self.say((*place, key), f"{key!r} is no option of any tool{nearest(key, sorted(every))}")
        return None

    def _table(
        self, kind: type[Any], given: Any, place: Place, name: str, *, needed: tuple[str, ...] = ()
    ) -> Any | None:
        """Make one value of its table; None where there is none, or where it has a problem."""
        if given is None:
            return None
        if not isinstance(given, dict):
            self.say(place, f"{name} must be a table: [{'.'.join(k for k in place if isinstance(k, str))}]")
            return None
        before = len(self.problems)
        fields = {f.name: f for f in dataclasses.fields(kind) if f.init and f.name not in _NOT_HERE}
        values: dict[str, Any] = {}
        for key, value in given.items():
            at = (*place, key)
            if key not in fields:
                self.say(at, f"{key!r} is no option of {_a(name)}{nearest(key, fields)}")
            elif key in _TABLES:
                values[key] = self._table(
                    {"cutting": Cutting, "holder": Holder, "dialect": Dialect}[key], value, at, key
                )
            else:
                values[key] = self._value(key, value, at)
        missing = [n for n, f in fields.items() if (n in needed or _is_needed(f)) and n not in given]
        if missing:
            self.say(place, f"{_a(name)} needs {', '.join(missing)}")
        values = {k: v for k, v in values.items() if v is not None}
        spins = issubclass(kind, Tool) and kind.spins
        for key in fields:
            if (_is_needed(fields[key]) or key in needed) and key in _SAMPLES and key not in values:
                values[key] = _sample(key, spins)
        made = self._made(kind, values, place)
        return made if len(self.problems) == before else None

    def _value(self, key: str, value: Any, place: Place) -> Any | None:
        """Return a value in pathgen's own units, or None after noting what is wrong with it."""
        form = _FORMS[key]
        try:
            return _read(form, value)
        except ArgumentError as problem:
            self.say(place, f"{key} = {problem}")
            return None

    def _made(self, kind: type[Any], values: dict[str, Any], place: Place) -> Any | None:
        """Make a value; where it is refused, note why, put the key that was named aside, and look on."""
        small = issubclass(kind, Tool) and 0 < values.get("diameter", 1.0) < SMALLEST_DIAMETER
        if small and not values.get("small"):
            size = values["diameter"]
            self.say(
                (*place, "diameter"),
                f'diameter = {size:g} mm is very small: did you mean "{size:g} in"? For a real micro cutter add '
                "small = true",
            )
            values["diameter"] = _SAMPLES["diameter"]
        for _ in range(len(values) + 1):
            try:
                return kind(**values)
            except ArgumentError as problem:
                key = next((k for k in re.findall(r"([a-z_]+)=", str(problem)) if k in values), None)
                inner = re.search(r"\b(rpm)=", str(problem))
                at = (*place, key) if key else (*place, "cutting", "rpm") if inner else place
                self.say(at, _in_toml(str(problem), values.get(key) if key else None))
                if key is None:
                    if values.pop("cutting", None) is None:
                        return None
                elif key in _SAMPLES and values[key] != _SAMPLES[key]:
                    values[key] = _SAMPLES[key]
                else:
                    del values[key]
            except TypeError:
                return None  # a needed value was put aside, and what is wrong with it was said
        return None


def _a(name: str) -> str:
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def _is_needed(field: dataclasses.Field[Any]) -> bool:
    return field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING


def _sample(key: str, spins: bool) -> Any:
    return (10000.0 if spins else 0.0) if key == "rpm" else _SAMPLES[key]


def _shown(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def _in_toml(message: str, value: Any) -> str:
    """Return a message about an argument in the words of the file."""
    told = re.sub(r"\b([a-z_]+)=(?=\S)", r"\1 = ", message).replace("= True", "= true").replace("= False", "= false")
    match = re.search(r"is not one of ((?:'[^']*'(?:, )?)+)", told)
    if match and isinstance(value, str):
        told = told[: match.start()] + "is not valid" + nearest(value, re.findall(r"'([^']*)'", match[1]))
    return told


def _read(form: Form, value: Any) -> Any:
    """Return a value in pathgen's own units.

    Raises:
        ArgumentError: for a value of another form.
    """
    if form == "text":
        if not isinstance(value, str):
            raise ArgumentError(f"{value} must be a text in quotes")
        return value
    if form == "yes":
        if not isinstance(value, bool):
            raise ArgumentError(f"{_shown(value)} must be true or false")
        return value
    if form == "point" and isinstance(value, str):
        return value
    if form in ("pair", "point"):
        return _several(value, 2, "length")
    if form in ("axes-length", "axes-feed", "axes-acceleration"):
        kind: Any = form.removeprefix("axes-")
        return _several(value, 3, kind) if kind == "length" or isinstance(value, list) else quantity(value, kind)
    plain: Any = form
    if form == "plain" and isinstance(value, int) and not isinstance(value, bool):
        return value
    return quantity(value, plain)


def _several(value: Any, count: int, kind: Quantity) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != count:
        raise ArgumentError(f"{_shown(value)} must be a list of {count} numbers: [{', '.join('xyz'[:count])}]")
    return tuple(quantity(v, kind) for v in value)
