"""Where each key of a TOML text stands: `tomllib` reads the values, but does not say on which line.

The text must be valid TOML 1.0; `tomllib` has seen to that before.
"""

from __future__ import annotations

import re
import tomllib
from typing import Final, TypeAlias

Place: TypeAlias = tuple[str | int, ...]
"""Keys and, inside arrays, numbers from 0, from the top of the document down to a value."""

_STRING: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")'  # longest of the ways to end: up to two quotes belong to the text
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR: Final = re.compile(r"[^,\]}\n#]+")
_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE: Final = re.compile(r"[ \t]*")


def key_lines(text: str) -> dict[Place, int]:
    r"""Return the line, from 1, of every key, table header and array element of a valid TOML text.

    Args:
        text: the document.

    Raises:
        tomllib.TOMLDecodeError: by chance only, for a text that is no valid TOML.

    >>> key_lines("[[tool]]\ndiameter = 6\n[tool.cutting]\nrpm = 1")[("tool", 0, "cutting", "rpm")]
    4
    """
    return _Scan(text.replace("\r\n", "\n")).lines


class _Scan:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.line, self.counted = 1, 0
        self.lines: dict[Place, int] = {}
        self.counts: dict[Place, int] = {}
        table: Place = ()
        self._skip(_BLANK)
        while self.at < len(text):
            table = self._header() if text[self.at] == "[" else self._pair(table)
            self._skip(_BLANK)

    def _skip(self, what: re.Pattern[str]) -> str:
        found = what.match(self.text, self.at)
        if found is None:
            raise tomllib.TOMLDecodeError(f"nothing to read at character {self.at}")
        self.at = found.end()
        return found.group()

    def _here(self) -> int:
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        return self.line

    def _note(self, place: Place, line: int) -> Place:
        """Keep the first line on which a place, or a table above it, is named."""
        for n in range(1, len(place) + 1):
            self.lines.setdefault(place[:n], line)
        return place

    def _keys(self) -> Place:
        """Read a key with its dots."""
        keys: list[str] = []
        while True:
            self._skip(_SPACE)
            quoted = self.text[self.at] in "\"'"
            word = self._skip(_STRING if quoted else _BARE)
            keys.append(tomllib.loads(f"k = {word}")["k"] if quoted else word)
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return tuple(keys)
            self.at += 1

    def _in_last(self, place: Place) -> Place:
        """Step into the last element of every array of tables along a place."""
        inside: Place = ()
        for key in place:
            inside = (*inside, key)
            if inside in self.counts:
                inside = (*inside, self.counts[inside] - 1)
        return inside

    def _header(self) -> Place:
        """Read [table] or [[array of tables]]; return where its keys belong."""
        line = self._here()
        double = self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        keys = self._keys()
        self.at += 2 if double else 1
        if not double:
            return self._note(self._in_last(keys), line)
        array = (*self._in_last(keys[:-1]), keys[-1])
        self.counts[array] = self.counts.get(array, 0) + 1
        return self._note((*array, self.counts[array] - 1), line)

    def _pair(self, table: Place) -> Place:
        """Read key = value; return the table, for the pairs after it."""
        line = self._here()
        place = self._note((*table, *self._keys()), line)
        self.at += 1  # the equals sign
        self._value(place)
        return table

    def _value(self, place: Place) -> None:
        self._skip(_SPACE)
        first = self.text[self.at]
        if first in "\"'":
            self._skip(_STRING)
        elif first == "[":
            self._many(place, "]")
        elif first == "{":
            self._many(place, "}")
        else:
            self._skip(_SCALAR)

    def _many(self, place: Place, end: str) -> None:
        """Read the elements of an array, or the pairs of an inline table."""
        self.at += 1
        number = 0
        while True:
            self._skip(_BLANK)
            if self.text[self.at] == end:
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
            elif end == "}":
                self._pair(place)
            else:
                self._value(self._note((*place, number), self._here()))
                number += 1
