"""SVG's basic shapes and paths into curves, in user units: SVG 1.1 chapters 8 and 9, SVG 2 chapter 10."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from pathgen.artwork import pathdata
from pathgen.artwork.curves import Curves, NotFiniteError, Pen, ellipse
from pathgen.artwork.svgvalues import Basis, length, numbers
from pathgen.artwork.xmltree import Node

SHAPES: Final = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})


class Geometry:
    """Reads the geometry of one element.

    Args:
        node: the element.
        declared: its declared values by CSS and attributes.
        basis: for relative lengths.
        say: called with (code, text) for whatever is wrong with a value.
    """

    def __init__(self, node: Node, declared: Mapping[str, str], basis: Basis, say: Callable[[str, str], None]) -> None:
        self.node, self.declared, self.basis, self.say = node, declared, basis, say

    def get(self, name: str, axis: str = "", default: float | None = 0.0) -> float | None:
        """Return a length in user units, `default` where it is missing, "auto" or wrong (then with a note)."""
        text = self.declared.get(name, self.node.attrs.get(name))
        if text is None or text.strip().lower() in ("auto", ""):
            return default
        try:
            return length(text, self.basis, axis)
        except NotFiniteError:
            raise
        except ValueError:
            self.say("broken-value", f"{name}={text!r} is not a length and counts as missing")
            return default

    def number(self, name: str, axis: str = "") -> float:
        """Return a length, 0 where it is missing."""
        return self.get(name, axis) or 0.0

    def curves(self) -> list[Curves]:
        """Return the subpaths; none where the element draws nothing (zero or negative size)."""
        return {
            "path": self._path,
            "rect": self._rect,
            "circle": self._ellipse,
            "ellipse": self._ellipse,
            "line": self._line,
            "polyline": self._poly,
            "polygon": self._poly,
        }[self.node.tag]()

    def _path(self) -> list[Curves]:
        text = self.declared.get("d", self.node.attrs.get("d", "")).strip()
        if text.startswith("path("):
            text = text[5:].rstrip(")").strip().strip("\"'")
        if text in ("", "none"):
            return []
        subs, error = pathdata.parse(text)
        if error is not None:
            self.say("broken-path", f"the path is drawn up to an error in its data: {error}")
        return subs

    def _rect(self) -> list[Curves]:
        """Return a rectangle with elliptic corners, clamped: SVG 1.1 section 9.2."""
        x, y = self.number("x", "x"), self.number("y", "y")
        w, h = self.number("width", "x"), self.number("height", "y")
        rx, ry = self.get("rx", "x", None), self.get("ry", "y", None)
        if w <= 0 or h <= 0:
            if w < 0 or h < 0:
                self.say("broken-value", "a rectangle of negative size draws nothing")
            return []
        rx = None if rx is not None and rx < 0 else rx
        ry = None if ry is not None and ry < 0 else ry
        rx, ry = (ry if rx is None else rx) or 0.0, (rx if ry is None else ry) or 0.0
        rx, ry = min(rx, w / 2), min(ry, h / 2)
        if rx == 0 or ry == 0:
            pen = Pen(complex(x, y))
            for corner in (complex(x + w, y), complex(x + w, y + h), complex(x, y + h)):
                pen.line(corner)
            return [pen.done(closed=True)]
        pen = Pen(complex(x + rx, y))
        quarter = 0.5 * math.pi
        for cx, cy, k in (
            (x + w - rx, y + ry, -1),
            (x + w - rx, y + h - ry, 0),
            (x + rx, y + h - ry, 1),
            (x + rx, y + ry, 2),
        ):
            pen.line(complex(cx + rx * round(math.cos(k * quarter)), cy + ry * round(math.sin(k * quarter))))
            pen.arc(complex(cx, cy), (rx, 0.0, 0.0, ry), k * quarter, quarter)
        return [pen.done(closed=True)]

    def _ellipse(self) -> list[Curves]:
        cx, cy = self.number("cx", "x"), self.number("cy", "y")
        if self.node.tag == "circle":
            rx = ry = self.number("r")
        else:
            x, y = self.get("rx", "x", None), self.get("ry", "y", None)
            rx, ry = (y if x is None else x) or 0.0, (x if y is None else y) or 0.0
        if rx < 0 or ry < 0:
            self.say("broken-value", "a circle or ellipse of negative radius draws nothing")
        return [ellipse(cx, cy, rx, ry)] if rx > 0 and ry > 0 else []

    def _line(self) -> list[Curves]:
        pen = Pen(complex(self.number("x1", "x"), self.number("y1", "y")))
        pen.line(complex(self.number("x2", "x"), self.number("y2", "y")))
        return [pen.done(closed=False)]

    def _poly(self) -> list[Curves]:
        text = self.node.attrs.get("points", "")
        values, error = numbers(text)
        if error is not None:
            self.say("broken-value", f"points are read up to an error: {error!r}")
        if len(values) % 2:
            self.say("broken-value", "points hold an odd count of numbers; the last is dropped")
            values = values[:-1]
        if len(values) < 4:
            return []
        corners = [complex(a, b) for a, b in zip(values[::2], values[1::2], strict=True)]
        pen = Pen(corners[0])
        for corner in corners[1:]:
            pen.line(corner)
        return [pen.done(closed=self.node.tag == "polygon")]
