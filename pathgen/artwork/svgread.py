"""An SVG file from bytes to `Artwork`: tree, page, walk, composition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pathgen.artwork.compose import Settings, ink_box, layers, painted, stroked
from pathgen.artwork.model import Artwork
from pathgen.artwork.repair import fill, without_slivers
from pathgen.artwork.report import Report
from pathgen.artwork.svg import Walker
from pathgen.artwork.svgcontext import Drawing
from pathgen.artwork.svgpage import page
from pathgen.artwork.xmltree import parse_xml, unpack
from pathgen.errors import DrawingError


def read_svg(data: bytes, settings: Settings) -> Artwork:
    """Return the artwork of an SVG file; see `pathgen.artwork.read.read`."""
    root = parse_xml(unpack(data, settings.file), settings.file)
    if root.tag != "svg":
        raise DrawingError(
            f"this is XML, but its outermost element is <{root.tag or 'of another language'}>, not <svg>: "
            "export the drawing as SVG",
            file=settings.file,
            line=root.line,
        )
    report = Report()
    sheet = page(root, settings, report)
    settings = replace(settings, guessed=sheet.guessed)
    pieces = Walker(Drawing(root, settings, report), sheet).walk()
    box = ink_box(pieces)
    if box is None:
        why = report.summary()
        raise DrawingError(
            "there is nothing to cut in it" + (f" ({why})" if why else ": no visible shape with fill or stroke"),
            file=settings.file,
        )
    size = sheet.size
    if size is None:
        pieces = [p.shifted(-box[0], -box[1]) for p in pieces]
        size = (box[2] - box[0], box[3] - box[1])
        box = (0.0, 0.0, *size)
        report.say("no-page", "the drawing states no page: the box of its artwork is taken", line=root.line)
    _tell_size(size, box, report)
    region = without_slivers(painted(pieces, report), settings.tolerance, report)
    lines, rings = stroked(pieces, settings.join, report)
    outlines = without_slivers(fill(rings, "evenodd"), settings.tolerance)
    if region.is_empty and lines.is_empty:
        raise DrawingError("all that is drawn is thinner than the tolerance: check its unit", file=settings.file)
    return Artwork(
        region=region,
        lines=lines,
        outlines=outlines,
        layers=layers(pieces, settings),
        elements=layers(pieces, settings, single=True),
        notes=report.notes(),
        size=size,
        units_guessed=sheet.guessed,
        path=settings.file,
        tolerance=settings.tolerance,
    )


def _tell_size(size: tuple[float, float], box: Sequence[float], report: Report) -> None:
    w, h = box[2] - box[0], box[3] - box[1]
    report.say("size", f"the page is {size[0]:.3f} x {size[1]:.3f} mm, the artwork on it {w:.3f} x {h:.3f} mm")
    if box[0] < -1e-3 or box[1] < -1e-3 or box[2] > size[0] + 1e-3 or box[3] > size[1] + 1e-3:
        where = (box[0], box[1]) if min(box[0], box[1]) < 0 else (box[2], box[3])
        report.say("off-page", "some artwork reaches outside the page; it was kept", where=where)
