"""The small languages inside SVG attributes: lengths, transforms, viewports, number lists."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from pathgen.artwork.curves import NotFiniteError, matrix
from pathgen.artwork.pathdata import number_at
from pathgen.model.arrays import FloatArray
from pathgen.units import MM_PER_INCH

MM_PER_PX: Final = MM_PER_INCH / 96.0
"""CSS Values and Units 3, section 5.2: 96 px are 1 in."""

UNITS_MM: Final[Mapping[str, float]] = MappingProxyType(
    {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "q": 0.25,
        "in": MM_PER_INCH,
        "ft": 12 * MM_PER_INCH,
        "pt": MM_PER_INCH / 72,
        "pc": MM_PER_INCH / 6,
        "px": MM_PER_PX,
    }
)
"""mm in one of each unit. All but m and ft are CSS lengths."""

ABSOLUTE: Final = frozenset({"mm", "cm", "q", "in", "pt", "pc"})
_LENGTH: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([a-zA-Z]*|%)\s*$")
_SEPARATOR: Final = re.compile(r"[\s]*,?[\s]*")
_CALL: Final = re.compile(r"[\s,]*([a-zA-Z]+)\s*\(")
_ANGLE: Final = {"": 1.0, "deg": 1.0, "rad": 180.0 / math.pi, "grad": 0.9, "turn": 360.0}
_UNIT: Final = re.compile(r"[a-zA-Z]+|%")


@dataclass(frozen=True)
class Basis:
    """What relative lengths refer to: the viewport's size in user units, and the font size."""

    width: float
    height: float
    font: float = 16.0

    @property
    def diagonal(self) -> float:
        """sqrt((w^2 + h^2) / 2): SVG 1.1 section 7.10."""
        return math.hypot(self.width, self.height) / math.sqrt(2.0)


def length(text: str, basis: Basis, axis: str = "") -> float:
    """Return a CSS length in user units (px).

    Args:
        text: such as "12", "3mm", "50%", "2em".
        basis: for %, em, ex, vw, vh, rem.
        axis: "x", "y" or "" (the viewport's diagonal), for %.

    Raises:
        NotFiniteError: nan or inf.
        ValueError: anything else that is no length.

    >>> round(length("25.4mm", Basis(100, 100)), 9)
    96.0
    """
    found = _LENGTH.match(text)
    if not found:
        number_at(text.strip(), 0)
        raise ValueError(text)
    value, unit = float(found[1]), found[2].lower()
    if not math.isfinite(value):
        raise NotFiniteError(text)
    if unit in ("", "px"):
        return value
    if unit == "%":
        return value / 100.0 * {"x": basis.width, "y": basis.height}.get(axis, basis.diagonal)
    if unit in ABSOLUTE:
        return value * UNITS_MM[unit] / MM_PER_PX
    relative = {"em": basis.font, "ex": basis.font / 2, "rem": 16.0, "vw": basis.width / 100, "vh": basis.height / 100}
    if unit in relative:
        return value * relative[unit]
    raise ValueError(text)


def numbers(text: str) -> tuple[list[float], str | None]:
    """Return the numbers of a list such as `points`, up to the first error, and what stood there or None.

    >>> numbers("0-1 .5.5 10+2")
    ([0.0, -1.0, 0.5, 0.5, 10.0, 2.0], None)
    """
    values: list[float] = []
    text = text.strip()
    at = 0
    while at < len(text):
        try:
            value, at = number_at(text, at)
        except NotFiniteError:
            raise
        except ValueError as error:
            return values, str(error)
        values.append(value)
        at = _SEPARATOR.match(text, at).end()  # type: ignore[union-attr]
    return values, None


def _call_arguments(text: str, at: int, name: str, basis: Basis) -> tuple[list[float], int]:
    """Numbers with optional units up to ')', and where they end; angles in degrees, lengths in px."""
    values: list[float] = []
    while True:
        at = _SEPARATOR.match(text, at).end()  # type: ignore[union-attr]
        if text[at : at + 1] == ")":
            return values, at + 1
        value, at = number_at(text, at)
        unit = _UNIT.match(text, at)
        if unit:
            word, at = unit[0].lower(), unit.end()
            angle = name in ("skewx", "skewy", "skew") or (name == "rotate" and not values)
            if angle:
                if word not in _ANGLE:
                    raise ValueError(text)
                value *= _ANGLE[word]
            elif name.startswith("scale") and word == "%":
                value /= 100.0
            elif word == "%":
                raise ValueError(text)
            else:
                value = length(f"{value!r}{word}", basis)
        values.append(value)


def _primitive(name: str, v: list[float]) -> FloatArray:
    """One transform function: SVG 1.1 section 7.6, CSS Transforms 1 section 13."""
    n = len(v)
    if name == "matrix" and n == 6:
        return matrix(*v)
    if name == "translate" and n in (1, 2):
        return matrix(1, 0, 0, 1, v[0], v[1] if n == 2 else 0.0)
    if name in ("translatex", "translatey") and n == 1:
        return matrix(1, 0, 0, 1, v[0] if name[-1] == "x" else 0.0, v[0] if name[-1] == "y" else 0.0)
    if name == "scale" and n in (1, 2):
        return matrix(v[0], 0, 0, v[-1], 0, 0)
    if name in ("scalex", "scaley") and n == 1:
        return matrix(v[0] if name[-1] == "x" else 1.0, 0, 0, v[0] if name[-1] == "y" else 1.0, 0, 0)
    if name == "rotate" and n in (1, 3):
        c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
        turn = matrix(c, s, -s, c, 0, 0)
        return turn if n == 1 else matrix(1, 0, 0, 1, v[1], v[2]) @ turn @ matrix(1, 0, 0, 1, -v[1], -v[2])
    if name == "skewx" and n == 1:
        return matrix(1, 0, math.tan(math.radians(v[0])), 1, 0, 0)
    if name == "skewy" and n == 1:
        return matrix(1, math.tan(math.radians(v[0])), 0, 1, 0, 0)
    if name == "skew" and n in (1, 2):
        return matrix(1, math.tan(math.radians(v[1])) if n == 2 else 0.0, math.tan(math.radians(v[0])), 1, 0, 0)
    raise ValueError(name)


def transform(text: str, basis: Basis) -> FloatArray:
    """Return a transform list as one (3, 3) matrix; the rightmost function acts first.

    Separators between numbers may be missing and angles and lengths may carry units.

    Raises:
        NotFiniteError: nan, inf or too large.
        ValueError: anything that is not understood; never a guess.

    >>> transform("translate(10-5)", Basis(0, 0))[:2, 2]
    array([10., -5.])
    """
    m = np.eye(3)
    at = 0
    text = text.strip()
    if text in ("", "none"):
        return m
    while at < len(text):
        call = _CALL.match(text, at)
        if not call:
            raise ValueError(text[at : at + 20])
        name = call[1].lower()
        values, at = _call_arguments(text, call.end(), name, basis)
        m = m @ _primitive(name, values)
    if not np.isfinite(m).all():
        raise NotFiniteError(text)
    return m


def view_box(text: str | None) -> tuple[float, float, float, float] | None:
    """Return a viewBox of positive size, or None where there is none; ValueError where it is wrong."""
    if text is None:
        return None
    values, error = numbers(text)
    if error is not None or len(values) != 4:
        raise ValueError(text)
    if values[2] <= 0 or values[3] <= 0:
        raise ValueError(text)
    return values[0], values[1], values[2], values[3]


def fit(
    box: tuple[float, float, float, float], x: float, y: float, width: float, height: float, aspect: str | None
) -> FloatArray:
    """Return the matrix from a viewBox into the viewport x, y, width, height: SVG 2 section 8.2.

    Args:
        box: viewBox.
        x: left of the viewport.
        y: top of it.
        width: of it.
        height: of it.
        aspect: preserveAspectRatio; None = "xMidYMid meet".
    """
    words = (aspect or "xMidYMid meet").replace("defer", "").split()
    align = words[0] if words else "xMidYMid"
    kx, ky = width / box[2], height / box[3]
    if align != "none":
        kx = ky = max(kx, ky) if "slice" in words else min(kx, ky)
    share = {"min": 0.0, "mid": 0.5, "max": 1.0}
    low = align.lower()
    fx = fy = 0.0
    if align != "none":
        fx, fy = share.get(low[1:4], 0.5), share.get(low[5:8], 0.5)
    dx = x + fx * (width - kx * box[2]) - kx * box[0]
    dy = y + fy * (height - ky * box[3]) - ky * box[1]
    return matrix(kx, 0, 0, ky, dx, dy)
