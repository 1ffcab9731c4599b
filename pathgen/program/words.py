"""Outside text in programs: one filter for comments and file names, so that no name can start a spindle.

A comment ends at its first closing parenthesis (NISTIR 6556 section 3.3.4); a name like ``Rose) M3 S18000 (`` would
switch the spindle on. Only letters, digits, space and ``. , - _`` pass, and no comment begins with MSG, which
the standard shows to the operator as a message.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

LONGEST = 60
"""Longest comment, characters. Common practice, no source: displays cut off longer ones."""

_OUTSIDE = re.compile(r"[^A-Za-z0-9 .,_-]")
_MESSAGE = re.compile(r"[ ]*m[ ]*s[ ]*g", re.IGNORECASE)
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)", re.IGNORECASE)


def _plain(text: str) -> str:
    """Return `text` with accents taken off, other foreign characters as ``_`` and single spaces."""
    bare = text
    if not text.isascii():
        bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return re.sub(r"[ ]+", " ", _OUTSIDE.sub("_", re.sub(r"\s", " ", bare))).strip()


def clean(text: str, *, longest: int = LONGEST) -> str:
    """Return `text` as it may stand in a comment: A-Z a-z 0-9 space . , - _, never beginning with MSG.

    Args:
        text: anything.
        longest: characters kept, at least 4.

    >>> clean("Rose) M3 S18000 (")
    'Rose_ M3 S18000 _'
    >>> clean("msg, hello")
    '- msg, hello'
    """
    words = _plain(text)
    if _MESSAGE.match(words):
        words = f"- {words}"
    return words[:longest].strip() or "-"


def comments(texts: Iterable[str], *, longest: int = LONGEST) -> list[str]:
    """Return one comment line, parentheses included, for each of `texts`, broken between words where it is too long.

    >>> comments(["Set Z again"], longest=8)
    ['(Set Z)', '(again)']
    """
    lines = []
    for text in texts:
        row = ""
        for word in _plain(text).split(" "):
            if row and len(row) + 1 + len(word) > longest - 2:
                lines.append(row)
                row = word
            else:
                row = f"{row} {word}" if row else word
        lines.append(row)
    return [f"({clean(row, longest=longest - 2)})" for row in lines]


def file_name(text: str) -> str:
    """Return `text` as it may be a file's name, without suffix, on any system.

    >>> file_name("../Fern & Moss")
    'Fern-_-Moss'
    """
    name = re.sub(r"[ ,]+", "-", clean(text)).strip(".-_") or "job"
    return f"_{name}" if _RESERVED.match(name) else name
