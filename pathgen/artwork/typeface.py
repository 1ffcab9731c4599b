"""`Typeface`: a font file, shaped and drawn by HarfBuzz; kept by its content."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path as FilePath
from typing import Any, Final

import numpy as np

from pathgen.errors import ArgumentError, DrawingError, MissingFileError
from pathgen.model.arrays import FloatArray, IntArray

FAMILIES: Final = {
    "serif": ("font_source_serif_pro", "SourceSerifPro"),
    "sans": ("font_source_sans_pro", "SourceSansPro"),
}
"""Word: (package that carries the files, how their names begin)."""

WEIGHTS: Final = {
    "extralight": "ExtraLight",
    "light": "Light",
    "regular": "Regular",
    "semibold": "Semibold",
    "bold": "Bold",
    "black": "Black",
}

DEFAULT_WEIGHT = "semibold"
"""Strokes of regular weight are thin for a groove at trail-sign sizes, bold ones close up small letters."""


@dataclass(frozen=True, eq=False)
class Outline:
    """A glyph as cubic curves.

    Attributes:
        curves: control points (n, 4, 2) in font units, lines and quadratics raised to cubics.
        owner: number of the closed contour of each curve (n,), ascending.
    """

    curves: FloatArray
    owner: IntArray


@dataclass(frozen=True)
class Glyph:
    """One shaped glyph, lengths in font units; `cluster` is the index of its first character."""

    id: int
    cluster: int
    advance: float
    dx: float
    dy: float


@dataclass(frozen=True, eq=False)
class Typeface:
    """A font that is ready to set.

    Attributes:
        name: its full name, or its file's.
        file: path as first given, for messages.
        digest: 12 hexadecimal digits of the content's SHA-256.
        cap_height: of the flat top of 'H' over the baseline, font units; without an 'H', as its OS/2 table states.
    """

    name: str
    file: str
    digest: str
    cap_height: float
    _font: Any
    _outlines: dict[int, Outline] = field(default_factory=dict)

    def has(self, character: str) -> bool:
        """Whether the font maps `character` to a glyph of its own."""
        return bool(self._font.get_nominal_glyph(ord(character)))

    def shape(self, run: str, *, ligatures: bool = True) -> list[Glyph]:
        """Shape a run of one script and one direction; glyphs from left to right."""
        import uharfbuzz as hb

        buffer = hb.Buffer()
        buffer.add_codepoints([ord(c) for c in run])
        buffer.guess_segment_properties()
        hb.shape(self._font, buffer, {} if ligatures else {"liga": False, "clig": False, "dlig": False})
        return [
            Glyph(info.codepoint, info.cluster, p.x_advance, p.x_offset, p.y_offset)
            for info, p in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)
        ]

    def outline(self, glyph: int) -> Outline:
        """Return a glyph's outline; without curves where it is blank."""
        found = self._outlines.get(glyph)
        if found is None:
            found = self._outlines[glyph] = draw(self._font, glyph)
        return found


def typeface(font: str | os.PathLike[str] | None) -> Typeface:
    """Return the typeface for a file or for the words of `pathgen.text`.

    Raises:
        ArgumentError: for words that name no packaged typeface.
        DrawingError: for a file that is no usable .ttf or .otf; `MissingFileError` where there is none.
    """
    if font is not None and not isinstance(font, str | os.PathLike):
        raise ArgumentError(f"font={font!r} is neither a path nor one of the words 'serif' and 'sans'")
    path = _packaged("serif" if font is None else font)
    if path is None:
        path = FilePath(os.fsdecode(font))  # type: ignore[arg-type]  # None is packaged
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise MissingFileError(
            "there is no such font file: give the path of a .ttf or .otf, or 'serif' or 'sans' with a weight",
            file=str(path),
        ) from None
    except ValueError:
        raise MissingFileError(
            "there is no font file of this name, which holds a zero character: give the path of a .ttf or .otf",
            file=ascii(str(path)),
        ) from None
    except OSError as err:
        raise DrawingError(
            f"the font cannot be read ({err.strerror}): give the path of a .ttf or .otf file that can",
            file=str(path)[:200],
        ) from None
    return _face(data, str(path))


def _packaged(font: str | os.PathLike[str]) -> FilePath | None:
    """Return the file of a packaged typeface, or None where `font` is a path."""
    words = font.split() if isinstance(font, str) else []
    if not words or words[0] not in FAMILIES:
        return None
    rest = [w for w in words[1:] if w != "italic"]
    if len(rest) > 1 or (rest and rest[0] not in WEIGHTS) or words.count("italic") > 1:
        raise ArgumentError(
            f"font={font!r}: after {words[0]!r} give one of {', '.join(map(repr, WEIGHTS))}, and 'italic' or not"
        )
    package, stem = FAMILIES[words[0]]
    style = WEIGHTS[rest[0] if rest else DEFAULT_WEIGHT]
    if "italic" in words:
        style = "It" if style == "Regular" else f"{style}It"
    spec = find_spec(package)
    places = list(spec.submodule_search_locations or ()) if spec else []
    if not places:
        raise DrawingError(f"the packaged typeface is not installed: pip install {package.replace('_', '-')}")
    return FilePath(places[0]) / "files" / f"{stem}-{style}.otf"


KINDS: Final = (b"\x00\x01\x00\x00", b"OTTO", b"true")
"""First bytes of the font files that are read (OpenType specification, font tables)."""

PACKED: Final = (b"wOFF", b"wOF2")


@lru_cache(maxsize=32)
def _face(data: bytes, file: str) -> Typeface:
    """Load a font; the cache compares content, so an overwritten file is never taken for the old one."""
    import uharfbuzz as hb

    if data[:4] in PACKED:
        raise DrawingError("this is a packed web font: unpack it to .ttf or .otf first", file=file)
    if data[:4] == b"ttcf":
        raise DrawingError("this is a collection of fonts: give one of them as a .ttf or .otf file", file=file)
    try:
        face = hb.Face(data) if data[:4] in KINDS else None
    except (ValueError, hb.HarfBuzzError):
        face = None
    if face is None or face.glyph_count == 0:
        raise DrawingError("this is not a .ttf or .otf font, or it is damaged", file=file)
    tags = set(face.table_tags)
    if "Silf" in tags and "GSUB" not in tags:
        raise DrawingError("this font joins its letters by rules that are not supported (Graphite)", file=file)
    font = hb.Font(face)
    name = face.get_name(hb.OTNameIdPredefined.FULL_NAME) or FilePath(file).name
    digest = hashlib.sha256(data).hexdigest()[:12]
    return Typeface(name, file, digest, _cap_height(font, file), font)


def _cap_height(font: Any, file: str) -> float:
    """Measure 'H' (type designers' own definition of cap height), else take what the font states."""
    import uharfbuzz as hb

    glyph = font.get_nominal_glyph(ord("H"))
    curves = draw(font, glyph).curves if glyph else np.empty((0, 4, 2))
    measured = float(curves[:, (0, 3), 1].max()) if len(curves) else 0.0
    stated = font.get_metric_position(hb.OTMetricsTag.CAP_HEIGHT)
    cap = measured if measured > 0 else float(stated or 0)
    if not cap > 0:
        raise DrawingError("the font has no 'H' and states no cap height, so letters cannot be sized", file=file)
    return cap


def draw(font: Any, glyph: int) -> Outline:
    """Return a glyph's contours, closed, as cubics in font units (degree elevation: Farin, CAGD, section 6.1)."""
    curves: list[tuple[float, ...]] = []
    owner: list[int] = []
    at: list[float] = [0.0, 0.0, 0.0, 0.0]  # pen x, y and the contour's start
    contour = [-1]

    def move(x: float, y: float, _: Any) -> None:
        close(None)
        contour[0] += 1
        at[:] = [x, y, x, y]

    def cubic(a: float, b: float, c: float, d: float, x: float, y: float, _: Any) -> None:
        curves.append((at[0], at[1], a, b, c, d, x, y))
        owner.append(contour[0])
        at[:2] = [x, y]

    def quadratic(a: float, b: float, x: float, y: float, _: Any) -> None:
        u, v = at[:2]
        cubic(u + 2 * (a - u) / 3, v + 2 * (b - v) / 3, x + 2 * (a - x) / 3, y + 2 * (b - y) / 3, x, y, None)

    def line(x: float, y: float, _: Any) -> None:
        u, v = at[:2]
        cubic(u + (x - u) / 3, v + (y - v) / 3, x + (u - x) / 3, y + (v - y) / 3, x, y, None)

    def close(_: Any) -> None:
        if at[0] != at[2] or at[1] != at[3]:
            line(at[2], at[3], None)

    font.draw_glyph(glyph, _funcs(move, line, quadratic, cubic, close))
    close(None)
    return Outline(np.array(curves, dtype=np.float64).reshape(-1, 4, 2), np.array(owner, dtype=np.int64))


def _funcs(move: Any, line: Any, quadratic: Any, cubic: Any, close: Any) -> Any:
    import uharfbuzz as hb

    funcs = hb.DrawFuncs()
    funcs.set_move_to_func(move)
    funcs.set_line_to_func(line)
    funcs.set_quadratic_to_func(quadratic)
    funcs.set_cubic_to_func(cubic)
    funcs.set_close_path_func(close)
    return funcs


@lru_cache(maxsize=8192)
def script_of(character: str) -> str | None:
    """Return the ISO 15924 code of a character's script; None where many scripts share it (digits, spaces, marks)."""
    import uharfbuzz as hb

    buffer = hb.Buffer()
    buffer.add_codepoints([ord(character)])
    buffer.guess_segment_properties()
    script = buffer.script
    return None if script in (None, "", "Zyyy", "Zinh", "Zzzz") else str(script)
