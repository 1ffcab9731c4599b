"""Marks in the picture of a part: where it is too deep, where something is left standing, where to look; and a legend.

Nothing is told by hue alone. Each kind has a shape of its own and a lightness of its own (dark or light, with a rim of
the other), areas besides a hatch of their own direction, so that the marks can be told apart with every kind of color
vision, in grey print, and on every material.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pathgen.model.arrays import BoolArray

Kind: TypeAlias = Literal["gouge", "residual", "error", "warning", "note"]
Color: TypeAlias = tuple[int, int, int]


@dataclass(frozen=True, kw_only=True)
class Ink:
    """How one kind of mark looks.

    Attributes:
        fill: sRGB.
        rim: sRGB, of the other lightness.
        shape: corners on a square from -1 to 1, y down; None = a ring.
        words: in the legend.
    """

    fill: Color
    rim: Color
    shape: tuple[tuple[float, float], ...] | None
    words: str


_DARK_RED: Final = (96, 8, 0)
_CREAM: Final = (255, 243, 222)
_SKY: Final = (134, 214, 255)
_NAVY: Final = (8, 26, 78)
_BLACK: Final = (20, 20, 20)
_WHITE: Final = (255, 255, 255)

INKS: Final[dict[Kind, Ink]] = {
    "gouge": Ink(fill=_DARK_RED, rim=_CREAM, shape=((-1, -0.8), (1, -0.8), (0, 1)), words="cut too deep"),
    "residual": Ink(fill=_SKY, rim=_NAVY, shape=((-1, 0.8), (1, 0.8), (0, -1)), words="left standing"),
    "error": Ink(
        fill=_BLACK,
        rim=_WHITE,
        shape=((-1, -0.6), (-0.6, -1), (0, -0.4), (0.6, -1), (1, -0.6), (0.4, 0), (1, 0.6), (0.6, 1), (0, 0.4),
               (-0.6, 1), (-1, 0.6), (-0.4, 0)),
        words="error",
    ),
    "warning": Ink(fill=_WHITE, rim=_BLACK, shape=((0, -1), (1, 0), (0, 1), (-1, 0)), words="warning"),
    "note": Ink(fill=_WHITE, rim=_BLACK, shape=None, words="note"),
}  # fmt: skip
"""Too deep points down and is dark, left standing points up and is light; an error is a cross, a warning a rhombus."""

SIZE: Final = 0.0095
"""Half of a mark's width, as a share of the picture's: smaller is overlooked, larger hides the letter."""

LETTER: Final = 0.025
"""Height of the legend's letters as a share of the picture's width: 2.4 mm where the picture is 95 mm wide."""

FINE: Final = 4
"""Marks are drawn this many times larger and averaged, so that slanting edges are smooth."""

RINGS: Final = 4
"""Rings of free spots looked at around a place that is taken: enough for the forty marks of a picture in one spot."""

STRIPE: Final = 5
"""Width of the hatch, in cells of half a pixel."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One mark.

    Attributes:
        kind: decides shape and color.
        x: column, in cells of the height field, from its left edge.
        y: row, in cells, from its lower edge.
        number: of the finding in its list, or None.
    """

    kind: Kind
    x: float
    y: float
    number: int | None = None


def hatch(rgb: NDArray[Any], area: BoolArray, kind: Kind) -> None:
    """Lay a hatch over cells of a picture in linear light, in place: two cells of fill, one of rim.

    The hatch of "gouge" rises to the right, that of "residual" falls.
    """
    rows, columns = np.nonzero(area)
    ink = INKS[kind]
    along = columns + (rows if kind == "gouge" else -rows)
    dark = (along // STRIPE) % 3 != 0
    rgb[rows[dark], columns[dark]] = linear(ink.fill)
    rgb[rows[~dark], columns[~dark]] = linear(ink.rim)


def linear(color: Color) -> NDArray[np.float32]:
    """Return an sRGB color in linear light, 0 to 1 (IEC 61966-2-1).

    >>> linear((255, 0, 188)).round(3).tolist()
    [1.0, 0.0, 0.503000020980835]
    """
    s = np.asarray(color, dtype=np.float64) / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


def with_marks(picture: Any, marks: Iterable[tuple[Kind, float, float, int | None]], hatched: Sequence[Kind]) -> Any:
    """Return a picture with marks on it and a legend under it.

    Args:
        picture: of Pillow, RGB.
        marks: (kind, x, y, number), pixels from the upper left corner.
        hatched: kinds whose areas are hatched in the picture.
    """
    placed = list(marks)
    half = max(5, round(SIZE * max(picture.size)))
    font = _font(max(10, round(LETTER * max(picture.size))))
    spots = _apart([(x, y) for _, x, y, _ in placed], half, font.size, picture.size)
    for (_, x, y, _), (u, v) in zip(placed, spots, strict=True):
        if (x, y) != (u, v):
            _leader(picture, (x, y, u, v), half)
    for (kind, _, _, number), (u, v) in zip(placed, spots, strict=True):
        _stamp(picture, kind, u, v, half)
        if number is not None:
            _words(picture, str(number), u + 1.5 * half, v - 1.6 * half, font)
    kinds = [k for k in INKS if k in hatched or any(m[0] == k for m in placed)]
    return _with_legend(picture, kinds, font, half) if kinds else picture


def _apart(
    places: Sequence[tuple[float, float]], half: int, letter: int, size: tuple[int, int]
) -> list[tuple[float, float]]:
    """Return where marks are drawn: at their places, or beside them where another mark lies already.

    Of the free spots on rings around a place the first is taken; where a crowd leaves none, the place itself.
    """
    wide, high = 2.6 * half + 1.3 * letter, max(2.6 * half, 1.1 * letter)
    shifts = [(0.0, 0.0)]
    for ring in range(1, RINGS + 1):
        steps = range(-ring, ring + 1)
        shifts += sorted(
            ((i * wide, j * high) for i in steps for j in steps if max(abs(i), abs(j)) == ring),
            key=lambda s: (np.hypot(*s), s),
        )
    taken: list[tuple[float, float]] = []
    for x, y in places:
        spots = [(x + dx, y + dy) for dx, dy in shifts]
        inside = [p for p in spots if half <= p[0] <= size[0] - wide and half <= p[1] <= size[1] - half]
        free = [p for p in [spots[0], *inside] if all(abs(p[0] - u) >= wide or abs(p[1] - v) >= high for u, v in taken)]
        taken.append(free[0] if free else (x, y))
    return taken


def _leader(picture: Any, line: tuple[float, float, float, float], half: int) -> None:
    """Draw a line from a place to its mark, with a dot at the place."""
    from PIL import ImageDraw

    pen, thin, (x, y) = ImageDraw.Draw(picture), max(1, round(0.2 * half)), line[:2]
    for color, grow in ((_WHITE, 2 * thin), (_BLACK, 0)):
        r = 1.5 * thin + 0.5 * grow
        pen.line(line, fill=color, width=thin + grow)
        pen.ellipse((x - r, y - r, x + r, y + r), fill=color)


def _stamp(picture: Any, kind: Kind, x: float, y: float, half: int) -> None:
    """Draw one mark with its rim."""
    from PIL import Image, ImageDraw

    ink, big = INKS[kind], FINE * half
    side = 2 * round(1.5 * big)
    tile = Image.new("RGBA", (side, side), (*ink.rim, 0))
    pen = ImageDraw.Draw(tile)
    middle, rim = side / 2, max(FINE, round(0.28 * big))
    if ink.shape is None:
        for width, color in ((round(0.7 * big), ink.rim), (round(0.7 * big) - rim, ink.fill)):
            r = 0.75 * big + width / 2
            pen.ellipse((middle - r, middle - r, middle + r, middle + r), outline=(*color, 255), width=width)
    else:
        corners = [(middle + big * u, middle + big * v) for u, v in ink.shape]
        pen.line([*corners, *corners[:2]], fill=(*ink.rim, 255), width=2 * rim, joint="curve")
        pen.polygon(corners, fill=(*ink.fill, 255))
    small = tile.resize((side // FINE, side // FINE), Image.Resampling.BOX)
    picture.paste(small, (round(x - small.width / 2), round(y - small.height / 2)), small)


def _words(picture: Any, words: str, x: float, y: float, font: Any) -> None:
    from PIL import ImageDraw

    pen = ImageDraw.Draw(picture)
    width = pen.textlength(words, font=font)
    x = min(x, picture.width - width - 2)
    pen.text((x, max(y, 1)), words, font=font, fill=_BLACK, stroke_width=max(1, font.size // 7), stroke_fill=_WHITE)


def _font(size: int) -> Any:
    from font_source_sans_pro import SourceSansProSemibold
    from PIL import ImageFont

    return ImageFont.truetype(SourceSansProSemibold, size)


def _with_legend(picture: Any, kinds: Sequence[Kind], font: Any, half: int) -> Any:
    """Return the picture with a strip under it that says what each mark is."""
    from PIL import Image, ImageDraw

    pen = ImageDraw.Draw(picture)
    row, room = round(1.9 * font.size), round(0.6 * font.size)
    places, x, line = [], room, 0
    for kind in kinds:
        wide = round(2 * half + room + pen.textlength(INKS[kind].words, font=font))
        if x > room and x + wide > picture.width:
            x, line = room, line + 1
        places.append((kind, x, line))
        x += wide + 3 * room
    page = Image.new("RGB", (picture.width, picture.height + (line + 1) * row), _WHITE)
    page.paste(picture, (0, 0))
    for kind, x, k in places:
        y = picture.height + (k + 0.5) * row
        _stamp(page, kind, x + half, y, half)
        ImageDraw.Draw(page).text((x + 2 * half + room, y), INKS[kind].words, font=font, fill=_BLACK, anchor="lm")
    return page
