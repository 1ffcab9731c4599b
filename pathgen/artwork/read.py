"""`read`: a drawing file in, `Artwork` out."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final, Literal

from pathgen.artwork.compose import Settings
from pathgen.artwork.model import Artwork
from pathgen.artwork.svgvalues import UNITS_MM
from pathgen.errors import ArgumentError, DrawingError, MissingFileError, one_of, positive

_OTHER: Final = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"%PDF", "a PDF page"),
    (b"%!PS", "a PostScript page"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"AC10", "a DWG drawing"),
    (b"OTTO", "a font"),
    (b"RIFF", "a media file"),
)
_BOMS: Final = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_BINARY_DXF: Final = b"AutoCAD Binary DXF"  # the marker that the format prescribes


def _kind(data: bytes, file: str) -> str:
    """Tell "svg" from "dxf" by content; the name decides only where the content could be either.

    Raises:
        DrawingError: empty, or another kind of file.
    """
    for magic, what in _OTHER:
        if data.startswith(magic):
            advice = "export it as DXF" if what.startswith("a DWG") else "export the drawing as SVG or DXF"
            raise DrawingError(f"this is {what}, whatever its name says: {advice}", file=file)
    if not data.strip(b" \t\r\n\x00"):
        raise DrawingError("the file is empty: export the drawing again", file=file)
    if data.startswith(_BINARY_DXF):
        return "dxf"
    if data.startswith(b"\x1f\x8b"):
        return "svg"
    head = data[:4096]
    for bom in _BOMS:
        head = head.removeprefix(bom)
    head = head.replace(b"\x00", b"").lstrip()
    if head.startswith(b"<"):
        return "svg"
    words = head.split()
    if words[:1] in ([b"0"], [b"999"]) or (words[:1] == [b"0"] and b"SECTION" in words[:3]):
        return "dxf"
    suffix = Path(file).suffix.lower()
    if suffix in (".svg", ".svgz"):
        raise DrawingError("this is no SVG drawing (it does not begin with '<'): export it again", file=file)
    raise DrawingError("this is neither an SVG nor a DXF drawing: export it as one of them", file=file)


def read(
    path: str | os.PathLike[str],
    *,
    tolerance: float = 0.002,
    join: float = 0.01,
    units: str | None = None,
    strokes: Literal["lines", "outline", "ignore"] = "lines",
) -> Artwork:
    """Read a drawing.

    Args:
        path: an SVG (also gzipped) or a DXF file; its content decides which.
        tolerance: largest distance of flattened curves from the true ones, mm, after all transforms; > 0. Halving it
            makes about 1.4 times the points.
        join: ends of open lines no further apart than this are joined, mm; >= 0.
        units: what one unit of the drawing is: "mm", "cm", "m", "in", "ft", "pt", "pc", "px" or "q" (0.25 mm). None:
            what the drawing states. In an SVG the unit of the viewBox (else px) is meant, and its width and height
            are then left out of account.
        strokes: what becomes of strokes. "lines": strokes of unfilled shapes are center lines in `.lines`, and the
            area inside closed ones is in `.outlines`; a stroke around a filled shape adds nothing (a `Note` says
            so). "outline": every stroke is the band it paints and adds to `.region` (SVG only). "ignore": none.

    Returns:
        `Artwork`, with a `Note` for everything decided, changed or left out.

    Raises:
        MissingFileError: there is no such file.
        DrawingError: another kind of file, damaged, empty, or holding coordinates that are no numbers; with file,
            line, layer or element where they are known, and what to do.
        ArgumentError: a wrong argument, or strokes="outline" for a DXF.
    """
    one_of("strokes", strokes, ("lines", "outline", "ignore"))
    positive("tolerance", tolerance)
    positive("join", join, zero=True)
    if units is not None:
        one_of("units", units, tuple(UNITS_MM))
    file = os.fspath(path)
    data = _bytes(file)
    settings = Settings(file=file, tolerance=tolerance, join=join, units=units, strokes=strokes)
    if _kind(data, file) == "svg":
        from pathgen.artwork.svgread import read_svg

        return read_svg(data, settings)
    if strokes == "outline":
        raise ArgumentError(
            "strokes='outline' is for SVG drawings: lines of a DXF have no painted width. Take strokes='lines' and "
            "give the lines to a cut along them, or widen them with shapely's buffer"
        )
    from pathgen.artwork.dxf import read_dxf

    return read_dxf(data, settings)


def _bytes(file: str) -> bytes:
    """Return what is in a file, or raise with what to do."""
    place = Path(file)
    if place.is_dir():
        raise DrawingError("this is a folder: name one drawing in it", file=file)
    try:
        return place.read_bytes()
    except FileNotFoundError:
        folder = place.parent
        near = sorted(p.name for p in folder.glob("*") if p.suffix.lower() in (".svg", ".svgz", ".dxf"))[:5]
        there = f"; drawings there: {', '.join(near)}" if near else ""
        raise MissingFileError(f"there is no such file: check the path{there}", file=file) from None
    except OSError as error:
        raise DrawingError(f"the file cannot be read ({error.strerror}): check its permissions", file=file) from None
