"""A DXF file from bytes to an ezdxf document: strict first, then repaired, never half of it."""

from __future__ import annotations

import contextlib
import io
import logging
import re
from collections.abc import Iterator
from typing import Any, Final

from pathgen.artwork.compose import Settings
from pathgen.artwork.report import Report
from pathgen.errors import DrawingError

_BINARY: Final = b"AutoCAD Binary DXF"  # the marker that the format prescribes
_ODD_NUMBER: Final = re.compile(
    rb"\n[ \t]*[123]\d[ \t]*\r?\n[ \t]*(?![+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?[ \t]*\r?\n)"
)
"""A line after a coordinate's group code that is no plain number; rare, so that the slow look is rarely needed."""


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep ezdxf's own log out of the maker's console; what matters becomes a note."""
    log = logging.getLogger("ezdxf")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        log.setLevel(before)


def _clean(data: bytes) -> bytes:
    """Text without byte order mark, leading blank lines and Mac line ends, which readers refuse though all is there."""
    for bom in (b"\xef\xbb\xbf",):
        data = data.removeprefix(bom)
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    return data.lstrip(b"\r\n\t ")


def _complete(data: bytes, file: str) -> None:
    """Raise unless the text ends in EOF: a file cut short would give half a drawing without a word."""
    tail = data.rstrip(b"\r\n\t \x1a\x00").rsplit(b"\n", 1)[-1].strip()
    if tail.upper() != b"EOF":
        raise DrawingError(
            "the file is cut off (it does not end in EOF), so part of it may be missing: export or copy it again",
            file=file,
            line=data.count(b"\n") + 1,
        )


def _bad_number(data: bytes, file: str) -> None:
    """Raise on a coordinate that is no number, before a tolerant reader bends it into one.

    Coordinates are group codes 10 to 39 and 210 to 239 (DXF Reference, group code value types). Inside strings the
    same words are harmless, because strings have other codes.
    """
    if not _ODD_NUMBER.search(data):
        return
    lines = data.split(b"\n")
    section = b""
    for k in range(0, len(lines) - 1, 2):
        code, value = lines[k].strip(), lines[k + 1].strip()
        if code == b"2" and k >= 2 and lines[k - 1].strip() == b"SECTION":
            section = value
        if section in (b"ENTITIES", b"BLOCKS") and len(code) == 2 and code[:1] in b"123":
            try:
                number = float(value)
            except ValueError:
                number = float("nan")
            if not abs(number) < 1e300:
                raise DrawingError(
                    f"the coordinate {value.decode('latin-1')[:20]!r} is not a number: correct it or delete the entity",
                    file=file,
                    line=k + 2,
                    layer=_layer_near(lines, k),
                )


def _layer_near(lines: list[bytes], k: int) -> str | None:
    """Layer (group code 8) of the entity around line pair `k`, or None."""
    start = k
    while start > 0 and lines[start].strip() != b"0":
        start -= 2
    for j in range(start + 2, min(start + 400, len(lines) - 1), 2):
        code = lines[j].strip()
        if code == b"0":
            return None
        if code == b"8":
            return lines[j + 1].strip().decode("latin-1")
    return None


def load(data: bytes, settings: Settings, report: Report) -> Any:
    """Return the ezdxf document.

    Raises:
        DrawingError: cut off, damaged beyond repair, or holding coordinates that are no numbers.
    """
    with _quiet():
        return _load(data, settings.file, report)


def _load(data: bytes, file: str, report: Report) -> Any:
    from ezdxf import recover
    from ezdxf.filemanagement import readfile

    if data.startswith(_BINARY):
        try:
            return readfile(file)
        except Exception as error:
            raise DrawingError(f"the binary DXF is damaged ({error}): export it as text DXF", file=file) from None
    clean = _clean(data)
    _complete(clean, file)
    _bad_number(clean, file)
    try:
        return readfile(file)
    except Exception:  # whatever fails inside the library here, it is the file
        report.say("recovered", "the file is damaged and was mended while reading: look at the result with care")
    try:
        doc, auditor = recover.read(io.BytesIO(clean))
    except Exception as error:
        raise DrawingError(f"the DXF is damaged ({error}): export it again", file=file) from None
    for problem in [*auditor.errors, *auditor.fixes]:
        report.say("recovered", re.sub(r"\s+", " ", problem.message))
    return doc
