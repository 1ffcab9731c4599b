"""The outermost viewport: from the drawing's user units to millimetres with y up, and why."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from pathgen.artwork.compose import Settings
from pathgen.artwork.curves import matrix
from pathgen.artwork.report import Report
from pathgen.artwork.svgvalues import ABSOLUTE, MM_PER_PX, UNITS_MM, Basis, fit, length, view_box
from pathgen.artwork.xmltree import Node
from pathgen.errors import DrawingError
from pathgen.model.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class Page:
    """The page.

    Attributes:
        matrix: (3, 3) from user units to mm; y up; the page's lower left corner at (0, 0).
        size: (width, height) in mm, or None where the drawing states none.
        basis: for relative lengths, in user units.
        guessed: no length unit stands in the file.
    """

    matrix: FloatArray
    size: tuple[float, float] | None
    basis: Basis
    guessed: bool


def _side(root: Node, name: str, axis: str) -> tuple[float | None, bool]:
    """One of width and height in px (None where missing, "auto" or %), and whether an absolute unit states it."""
    text = root.attrs.get(name, "").strip()
    if text == "" or text.lower() == "auto" or text.endswith("%"):
        return None, False
    try:
        value = length(text, Basis(100.0, 100.0), axis)
    except ValueError:
        raise ValueError(f"{name}={text!r}") from None
    unit = re.search(r"[a-zA-Z]*$", text)
    return value, bool(unit) and unit[0].lower() in ABSOLUTE  # type: ignore[index]


def page(root: Node, settings: Settings, report: Report) -> Page:
    """Return the page of a drawing: SVG 2 sections 8.2 to 8.9; CSS px are 1/96 in.

    Raises:
        DrawingError: a page of no size.
    """
    try:
        box = view_box(root.attrs.get("viewBox"))
    except ValueError:
        report.say("broken-value", f"viewBox={root.attrs['viewBox']!r} is wrong and was left out", line=root.line)
        box = None
    sides: dict[str, float | None] = {}
    absolute = False
    for name, axis in (("width", "x"), ("height", "y")):
        try:
            sides[name], stated = _side(root, name, axis)
            absolute |= stated
        except ValueError as error:
            report.say("broken-value", f"{error} is not a length and was left out", line=root.line)
            sides[name] = None
    w, h = sides["width"], sides["height"]
    if (w is not None and w <= 0) or (h is not None and h <= 0):
        raise DrawingError("its page has no size: set width and height", file=settings.file, line=root.line)
    if box is not None:
        if w is None and h is None:
            w, h = box[2], box[3]
        elif w is None and h is not None:
            w = h * box[2] / box[3]
        elif h is None and w is not None:
            h = w * box[3] / box[2]
    k = MM_PER_PX
    if settings.units is not None:
        k, absolute = UNITS_MM[settings.units], True
        if box is not None:
            w, h = box[2], box[3]
        _say_units(report, root, f"one unit of the drawing is 1 {settings.units}, as asked")
    elif absolute:
        _say_units(report, root, "the drawing states its size in real units")
    else:
        _say_units(
            report,
            root,
            "the drawing states no real unit, so 1 px is taken as 1/96 in (0.2646 mm); if the size is wrong, give "
            "units=, such as units='mm' for one mm to a unit of the drawing",
        )
    basis = Basis(box[2] if box else w or 100.0, box[3] if box else h or 100.0)
    user = np.eye(3)
    if box is not None and w is not None and h is not None:
        user = fit(box, 0.0, 0.0, w, h, root.attrs.get("preserveAspectRatio"))
    if w is None or h is None:
        return Page(matrix(k, 0, 0, -k, 0, 0) @ user, None, basis, not absolute)
    return Page(matrix(k, 0, 0, -k, 0, k * h) @ user, (k * w, k * h), basis, not absolute)


def _say_units(report: Report, root: Node, text: str) -> None:
    report.say("units", text, line=root.line)
