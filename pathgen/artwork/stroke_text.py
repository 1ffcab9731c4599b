"""`stroke_text`: words as single lines, for a point that draws them.

Packaged are the letters that A. V. Hershey digitized (Calligraphy for Computers, U.S. Naval Weapons Laboratory, 1967;
public domain), as chords on a grid of 1/21 of the cap height. A font of one's own is an SVG file with a `font`
element (SVG 1.1, chapter 20) whose glyphs are drawn along their middle.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from shapely.geometry import MultiLineString

from pathgen.artwork.curves import NotFiniteError
from pathgen.artwork.pathdata import parse
from pathgen.artwork.xmltree import MOST_BYTES, Node, parse_xml, unpack
from pathgen.errors import ArgumentError, DrawingError, number, one_of, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.givenfile import bytes_of

FONTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sans": "futural",
        "plain": "rowmans",
        "double": "rowmand",
        "bold": "futuram",
        "serif": "timesr",
        "serif italic": "timesi",
        "serif bold": "timesrb",
        "script": "scripts",
        "script double": "scriptc",
        "blackletter": "gothiceng",
        "greek": "greeks",
    }
)
"""Our word for each packaged font, and its name in the data."""

GREEK: Final = "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩ"
"""The letters that stand in the data in the places of A to X."""

DEFAULT_CAPS: Final = 0.7
"""Cap height of an SVG font that has no H and states none, in units per em. Common practice, no source."""

HIGHEST: Final = 1e5
"""Largest cap height, mm: larger ones are a mistaken unit."""


@dataclass(frozen=True, eq=False)
class StrokeFont:
    """A font of single lines, in its own units, y up, baseline at y = 0.

    Attributes:
        name: for messages.
        file: path, or None for a packaged font.
        cap_height: of the letter H.
        glyphs: characters to (advance, lines); in the order of the file, longer ones may stand for several characters.
    """

    name: str
    file: str | None
    cap_height: float
    glyphs: Mapping[str, tuple[float, tuple[FloatArray, ...]]]


def stroke_text(
    string: str,
    *,
    height: float,
    font: str | os.PathLike[str] | None = None,
    tracking: float = 0.0,
    align: Literal["left", "center", "right"] = "left",
    line_spacing: float = 1.7,
    tolerance: float = 0.002,
) -> MultiLineString:
    """Return `string` as single lines, without kerning.

    The first line's baseline is y = 0 and the widest line's pen starts at x = 0; further lines lie below.

    Args:
        string: the words; a newline starts a new line.
        height: cap height, mm.
        font: one of the packaged fonts "sans", "plain", "double", "bold", "serif", "serif italic", "serif bold",
            "script", "script double", "blackletter", "greek"; or an SVG file with a font element; None = "sans". The
            packaged ones hold the 95 characters of ASCII, "greek" the Greek alphabet without accents in place of the
            Latin one. (In some an arrow stands for ^.)
        tracking: extra space between letters, mm; negative sets them closer.
        align: of several lines, by their advance widths: "left", "center" or "right".
        line_spacing: distance of baselines, in cap heights.
        tolerance: largest distance of the lines from the true curves of an SVG font, mm.

    Raises:
        ArgumentError: for an empty string, a font that is not there (with the names of those that are), a number that
            is not usable.
        DrawingError: for a font file that cannot be used, and letters that the font lacks.

    >>> [line.coords[:] for line in stroke_text("L", height=21).geoms]
    [[(4.0, 21.0), (4.0, 0.0)], [(4.0, 0.0), (16.0, 0.0)]]
    """
    _check(string, height, tracking, align, line_spacing, tolerance)
    face = stroke_font(font, share=float(tolerance) / float(height))
    scale = float(height) / face.cap_height
    lines = [_placed(face, line, scale, float(tracking)) for line in string.splitlines()]
    widest = max(width for _, width in lines)
    share = {"left": 0.0, "center": 0.5, "right": 1.0}[align]
    out = []
    for row, (strokes, width) in enumerate(lines):
        shift = np.array([share * (widest - width), -row * line_spacing * height])
        out += [s + shift for s in strokes]
    if not out:
        raise ArgumentError(f"text {string!r} leaves no line: give the words to set")
    return MultiLineString(out)


def _check(string: str, height: float, tracking: float, align: str, line_spacing: float, tolerance: float) -> None:
    """Raise for arguments that cannot be carried out."""
    if not isinstance(string, str):
        raise ArgumentError(f'text={string!r} is no text: give the words to set, as in stroke_text("Fern", height=8)')
    if not string.strip():
        raise ArgumentError(f"text {string!r} is empty: give the words to set")
    bad = sorted({c for line in string.splitlines() for c in line if unicodedata.category(c) in ("Cc", "Cs")})
    if bad:
        raise DrawingError(
            f"the text holds control characters ({', '.join(f'U+{ord(c):04X}' for c in bad)}): take them out"
        )
    if positive("height", height) > HIGHEST:
        raise ArgumentError(f"height={height:g} mm is a cap height of more than 100 m: give it in mm")
    positive("line_spacing", line_spacing)
    positive("tolerance", tolerance)
    number("tracking", tracking)
    one_of("align", align, ("left", "center", "right"))


def _placed(face: StrokeFont, line: str, scale: float, tracking: float) -> tuple[list[FloatArray], float]:
    """Return (strokes, advance width) of one line, mm."""
    strokes: list[FloatArray] = []
    x = 0.0
    words = _glyphs(face, line)
    for k, word in enumerate(words):
        advance, drawn = face.glyphs[word]
        strokes += [s * scale + np.array([x, 0.0]) for s in drawn]
        x += advance * scale + (tracking if k < len(words) - 1 else 0.0)
    return strokes, x


def _glyphs(face: StrokeFont, line: str) -> list[str]:
    """Return the glyphs of a line: at each place the first of the font that fits (SVG 1.1, section 20.4).

    Raises:
        DrawingError: for letters that the font lacks, or has nothing drawn for.
    """
    heads: dict[str, list[str]] = {}
    for key in face.glyphs:
        heads.setdefault(key[0], []).append(key)
    found, missing = [], set()
    at = 0
    while at < len(line):
        fits = next((k for k in heads.get(line[at], ()) if line.startswith(k, at)), None)
        if fits is None or (not face.glyphs[fits][1] and unicodedata.category(fits[0])[0] in "LNPS"):
            missing.add(line[at])
            at += 1
            continue
        found.append(fits)
        at += len(fits)
    if missing:
        listed = ", ".join(f"'{c}' (U+{ord(c):04X})" for c in sorted(missing))
        raise DrawingError(
            f"the single-line font {face.name} has no letter for {listed}: take a font that has, or other words",
            file=face.file,
        )
    return found


def stroke_font(font: str | os.PathLike[str] | None, *, share: float = 1e-4) -> StrokeFont:
    """Return a packaged font by its word, or that of an SVG file.

    Args:
        font: see `stroke_text`.
        share: largest distance of chords from curves, in cap heights.

    Raises:
        ArgumentError: for a word that names no packaged font; the message lists them.
        DrawingError: for a file that holds no usable font; `MissingFileError` where there is none.
    """
    if font is None:
        return _packaged("sans")
    if not isinstance(font, str | os.PathLike):
        raise ArgumentError(f"font={font!r} is neither a path nor the word of a packaged font")
    if isinstance(font, str) and font in FONTS:
        return _packaged(font)
    path = os.fsdecode(font)
    if not path.lower().endswith((".svg", ".svgz")):
        raise ArgumentError(
            f"font={path!r} is no packaged single-line font: take one of {', '.join(map(repr, FONTS))}, or the path of "
            "an SVG file with a font element"
        )
    data = bytes_of(path, largest=MOST_BYTES, folder="give the path of an SVG font", large=": take out other fonts")
    return _from_svg(data, path, share)


@lru_cache(maxsize=32)
def _packaged(word: str) -> StrokeFont:
    """Return a packaged font, its letters pushed to start where their box does."""
    from HersheyFonts import HersheyFonts

    data = HersheyFonts()
    data.load_default_font(FONTS[word])
    glyphs: dict[str, tuple[float, tuple[FloatArray, ...]]] = {}
    for character, glyph in data.all_glyphs.items():
        base, left = float(glyph.base_line), float(glyph.left_offset)
        strokes = [np.array(s, dtype=np.float64).reshape(-1, 2) for s in glyph.strokes]
        drawn = tuple(np.stack([s[:, 0] - left, base - s[:, 1]], axis=1) for s in strokes if len(s) > 1)
        name = _greek(str(character)) if word == "greek" else str(character)
        if name:
            glyphs[name] = (float(glyph.char_width), drawn)
    h = data.all_glyphs["H"]
    return StrokeFont(word, None, float(h.base_line - h.cap_line), MappingProxyType(glyphs))


def _greek(character: str) -> str:
    """Return the Greek letter in the place of a Latin one, "" in the last two places, which hold none."""
    if not (character.isascii() and character.isalpha()):
        return character
    place = ord(character.upper()) - ord("A")
    letter = GREEK[place] if place < len(GREEK) else ""
    return letter if character.isupper() else letter.lower()


def _from_svg(data: bytes, path: str, share: float) -> StrokeFont:
    """Return the font of an SVG file."""
    root = parse_xml(unpack(data, path), path)
    fonts = [n for n in _all(root) if n.tag == "font"]
    if len(fonts) != 1:
        raise DrawingError(
            f"the file holds {len(fonts)} font elements: a single-line font is an SVG file with one", file=path
        )
    font = fonts[0]
    face = next((n for n in font.children if n.tag == "font-face"), None)
    attrs = face.attrs if face is not None else {}
    em = _value(attrs, "units-per-em", 1000.0, path, face)
    default = _value(font.attrs, "horiz-adv-x", em, path, font)
    nodes = [n for n in font.children if n.tag == "glyph" and n.attrs.get("unicode")]
    tall = next((n for n in nodes if n.attrs["unicode"] == "H"), None)
    caps = _value(attrs, "cap-height", DEFAULT_CAPS * em, path, face)
    if tall is not None:
        flat = _drawn(tall, em * 1e-4, path)
        caps = max((float(s[:, 1].max()) for s in flat), default=caps)
    if not caps > 0:
        raise DrawingError(f"its cap height is {caps:g}: letters must rise over the baseline", file=path)
    glyphs: dict[str, tuple[float, tuple[FloatArray, ...]]] = {}
    for node in nodes:
        advance = _value(node.attrs, "horiz-adv-x", default, path, node)
        glyphs.setdefault(node.attrs["unicode"], (advance, _drawn(node, share * caps, path)))
    if not glyphs:
        raise DrawingError("its font element holds no glyph with a unicode attribute", file=path)
    name = attrs.get("font-family") or font.id or FilePath(path).name
    return StrokeFont(name, path, caps, MappingProxyType(glyphs))


def _all(root: Node) -> Sequence[Node]:
    """Return all elements below `root`, itself included, in document order."""
    out, stack = [], [root]
    while stack:
        node = stack.pop()
        out.append(node)
        stack += reversed(node.children)
    return out


def _value(attrs: Mapping[str, str], name: str, missing: float, path: str, node: Node | None) -> float:
    """Return a number among attributes."""
    text = attrs.get(name)
    if text is None:
        return missing
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:
        raise DrawingError(f"{name}={text!r} is no number", file=path, line=node.line if node is not None else None)
    return value


def _drawn(node: Node, tolerance: float, path: str) -> tuple[FloatArray, ...]:
    """Return the lines of a glyph, closed ones with their first point again at the end."""
    try:
        subs, error = parse(node.attrs.get("d", ""))
        flat = [(s.flat(tolerance), s.closed) for s in subs]
    except NotFiniteError as bad:
        error, flat = f"{bad} is no coordinate", []
    if error:
        raise DrawingError(
            f"the glyph {node.attrs['unicode']!r} has broken path data ({error}): mend the font",
            file=path,
            line=node.line,
        )
    lines = [np.concatenate([xy, xy[:1]]) if closed and (xy[0] != xy[-1]).any() else xy for xy, closed in flat]
    return tuple(xy for xy in lines if len(xy) > 1)
