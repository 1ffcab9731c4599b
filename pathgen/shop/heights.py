"""Measured heights of a face, read from a CSV file."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path as FilePath

from pathgen.errors import DrawingError, one_of
from pathgen.model.givenfile import bytes_of
from pathgen.units import MM_PER_INCH

LARGEST = 20_000_000
"""Bytes: half a million points; a longer file is something else."""

UNITS = {"mm": 1.0, "inch": MM_PER_INCH}


def read_heights(path: str | FilePath, *, units: str = "mm") -> tuple[tuple[float, float, float], ...]:
    """Return measured heights, rows (x, y, z) in mm, for `Stock(measured_top=…)`.

    Each line of the file holds x, y and z with a point for the decimals, parted by commas, semicolons or tabs. A first
    line of words, empty lines and lines that begin with # are passed over.

    Args:
        path: of the CSV file (RFC 4180), UTF-8.
        units: "mm" or "inch".

    Raises:
        MissingFileError: if there is no such file.
        ArgumentError: for another unit.
        DrawingError: for a line that does not hold three numbers, with its number; for a file without any.
    """
    name = str(path)
    one_of("units", units, tuple(UNITS))
    data = bytes_of(
        name,
        largest=LARGEST,
        folder="give the CSV file of measured heights in it",
        large=": heights are measured by the hundred, not by the million",
    )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise DrawingError("this file is not text in UTF-8: save it as CSV", file=name) from None
    rows: list[tuple[float, float, float]] = []
    begun = False
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip(" ,;\t") or line.lstrip().startswith("#"):
            continue
        mark = next((m for m in ";\t" if m in line), ",")
        cells = [c.strip() for c in next(csv.reader(io.StringIO(line), delimiter=mark))]
        values = _values(cells)
        if values is None:
            words = all(_number(c) is None for c in cells)
            if begun or not words:
                raise DrawingError(f"{line.strip()[:40]!r} is not x, y, z: give three numbers", file=name, line=number)
        else:
            x, y, z = (v * UNITS[units] for v in values)
            rows.append((x, y, z))
        begun = True
    if not rows:
        raise DrawingError("holds no line with x, y and z", file=name)
    return tuple(rows)


def _values(cells: list[str]) -> tuple[float, float, float] | None:
    found = [_number(c) for c in cells if c]
    if len(found) != 3 or any(v is None for v in found):
        return None
    x, y, z = (v for v in found if v is not None)
    return x, y, z


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
