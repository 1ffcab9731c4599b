"""`tone`: a picture in shades of grey as parallel lines, close together where it is dark and far apart where light.

The shades are cut into a few levels. Each level has its own distance of lines, and the number of lines per mm goes up
in equal steps from level to level: seen from afar a hatch is as dark as its lines are many.
"""

from __future__ import annotations

import math
import os
from typing import Any

import numpy as np
from shapely.geometry import MultiLineString

from pathgen.errors import ArgumentError, DrawingError, MissingFileError, number, positive
from pathgen.model.arrays import FloatArray, IntArray

MOST_PIXELS = 50_000_000
"""Largest picture, pixels. Larger: a packed bomb could fill the memory."""

MOST_SAMPLES = 50_000_000
"""Places looked at along all lines of one level. More: a spacing or width in another unit."""

SAMPLES = 2
"""Places looked at along a line for each pixel of the picture. Larger: waiting; smaller: ragged ends of lines."""


def tone(
    image: Any,
    *,
    width: float,
    spacing_dark: float,
    spacing_light: float,
    angle: float = 45.0,
    levels: int = 6,
) -> MultiLineString:
    """Return lines that give the shades of a picture, its lower left corner at (0, 0).

    Where lines come out dark give `spacing_dark` the smaller of the two; where they come out light, as on slate or
    frosted glass, `spacing_light`. What would need lines further apart than twice the larger of the two stays bare.
    Line by line every other one runs back. Stretches shorter than half the smaller spacing are left out.

    Args:
        image: path of a picture file, or a `PIL.Image.Image`; color is turned to grey (ITU-R 601-2 luma), and what is
            transparent counts as white.
        width: of the picture on the work, mm; the height follows.
        spacing_dark: distance of lines where the picture is black, mm.
        spacing_light: distance of lines where it is as good as white, mm.
        angle: of the lines, degrees counter-clockwise from X.
        levels: how many distances there are, at least 2.

    Raises:
        ArgumentError: for a number that cannot be, or equal spacings.
        DrawingError: for a file that is no picture; `MissingFileError` where there is none; for a picture that leaves
            no line.

    >>> from PIL import Image
    >>> black = Image.new("L", (40, 20), 0)
    >>> lines = tone(black, width=40, spacing_dark=1, spacing_light=4, angle=0)
    >>> len(lines.geoms), round(lines.length)
    (20, 800)
    """
    positive("width", width)
    number("angle", angle, unit="degrees counter-clockwise from X")
    dark, light = positive("spacing_dark", spacing_dark), positive("spacing_light", spacing_light)
    if isinstance(levels, bool) or not isinstance(levels, int) or not 2 <= levels <= 256:
        raise ArgumentError(f"levels={levels!r} must be a whole number from 2 to 256")
    if dark == light:
        raise ArgumentError("spacing_dark and spacing_light are equal, so every shade would look the same")
    grey = _grey(image)
    ink = 1.0 - grey if dark < light else grey
    near, far = min(dark, light), max(dark, light)
    many = np.linspace(1.0 / far, 1.0 / near, levels)
    step = many[1] - many[0]
    wanted = ink / near
    level = np.where(wanted < 0.5 / far, 0, 1 + np.clip(np.rint((wanted - many[0]) / step), 0, levels - 1))
    lines: list[FloatArray] = []
    for k in range(levels):
        if (level == k + 1).any():
            lines += _rows(level == k + 1, float(width), float(1.0 / many[k]), angle, 0.5 * near)
    if not lines:
        raise DrawingError("the picture is bare at every place: there is no line to draw")
    return MultiLineString(lines)


def _grey(image: Any) -> FloatArray:
    """Return the picture as (rows from the bottom, columns), 0 black to 1 white."""
    from PIL import Image, UnidentifiedImageError

    if isinstance(image, str | os.PathLike):
        path = os.fsdecode(image)
        try:
            with Image.open(path) as opened:
                _check_size(opened, path)
                opened.load()
                return _grey(opened)
        except FileNotFoundError:
            raise MissingFileError("there is no such picture: check the path", file=path) from None
        except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as err:
            if isinstance(err, DrawingError):
                raise
            raise DrawingError(f"this is no picture that can be read ({err}): export it as PNG", file=path) from None
    if not isinstance(image, Image.Image):
        raise ArgumentError(f"image={image!r} is neither a path nor a PIL picture")
    _check_size(image, "picture")
    white = Image.new("RGBA", image.size, "white")
    flat = Image.alpha_composite(white, image.convert("RGBA")).convert("L")
    return np.asarray(flat, dtype=np.float64)[::-1] / 255.0


def _check_size(image: Any, path: str) -> None:
    """Raise for pictures too large to work on, or without pixels."""
    wide, high = image.size
    if wide * high > MOST_PIXELS or wide * high == 0:
        raise DrawingError(f"the picture has {wide} x {high} pixels: scale it to at most 7000 x 7000", file=path)


def _rows(mask: Any, width: float, spacing: float, angle: float, shortest: float) -> list[FloatArray]:
    """Return the stretches of lines, `spacing` apart, that lie where `mask` is set; every other line runs back."""
    rows, columns = mask.shape
    pixel = width / columns
    size = np.array([width, rows * pixel])
    turn = math.radians(angle)
    along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    reach_along, reach_across = (0.5 * float(np.abs(size * d).sum()) for d in (along, across))
    count = max(1, round(2 * reach_across / spacing))
    sampled = math.ceil(2 * reach_along / pixel * SAMPLES)
    if count * sampled > MOST_SAMPLES:
        raise ArgumentError(
            f"lines {spacing:g} mm apart over a picture {width:g} mm wide are too many to draw: give both in mm"
        )
    step = 2 * reach_along / sampled
    heights = (np.arange(count) - 0.5 * (count - 1)) * spacing
    middle = 0.5 * size
    places = (np.arange(sampled) + 0.5) * step - reach_along
    out: list[FloatArray] = []
    for n, height in enumerate(heights.tolist()):
        xy = middle + height * across + places[:, None] * along
        cell = np.floor(xy / pixel).astype(np.int64)
        inside = (cell >= 0).all(axis=1) & (cell[:, 0] < columns) & (cell[:, 1] < rows)
        there = np.zeros(sampled, dtype=bool)
        there[inside] = mask[cell[inside, 1], cell[inside, 0]]
        ends = _stretches(there)
        ends = ends[(ends[:, 1] - ends[:, 0]) * step >= shortest]
        marks = ends * step - reach_along
        ways = middle + height * across + marks[:, :, None] * along
        out += list(ways if n % 2 == 0 else ways[::-1, ::-1])
    return out


def _stretches(there: Any) -> IntArray:
    """Return (first, behind the last) of each run of True, (n, 2)."""
    change = np.diff(np.concatenate([[0], there.astype(np.int8), [0]]))
    found: IntArray = np.stack([np.flatnonzero(change > 0), np.flatnonzero(change < 0)], axis=1)
    return found
