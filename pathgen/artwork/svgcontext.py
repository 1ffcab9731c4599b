"""What the walk over an SVG tree carries along: the surroundings of an element, and the drawing as a whole."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from shapely.geometry import MultiPolygon

from pathgen.artwork.compose import Piece, Settings
from pathgen.artwork.css import Sheet
from pathgen.artwork.curves import Curves
from pathgen.artwork.repair import finite, tidy
from pathgen.artwork.report import Report
from pathgen.artwork.svgshapes import Geometry
from pathgen.artwork.svgvalues import Basis
from pathgen.artwork.xmltree import Node
from pathgen.model.arrays import FloatArray

NOT_READ: Final = {
    "text": "text is not read: turn it into outlines in the drawing program, or set it with text()",
    "image": "a picture is not read: only outlines can be cut",
    "foreignObject": "foreign content is not read",
    "flowRoot": "flowed text is not read: turn it into outlines in the drawing program",
}


@dataclass(frozen=True, eq=False)
class Context:
    """What an element takes from those around it.

    Attributes:
        matrix: (3, 3) user units to mm.
        style: computed style.
        basis: for relative lengths.
        names: of the groups.
        clips: areas in mm that everything is cut to.
        alpha: product of the opacities.
        chain: elements that are being instanced by `use`.
        use_size: width and height that a `use` gives its <symbol> or <svg>, where it does.
    """

    matrix: FloatArray
    style: dict[str, str]
    basis: Basis
    names: tuple[str, ...] = ()
    clips: tuple[MultiPolygon, ...] = ()
    alpha: float = 1.0
    chain: frozenset[int] = frozenset()
    use_size: tuple[float | None, float | None] | None = None


def _unescape(name: str) -> str:
    """Decode _x5F_ and the like, which some drawing programs write for characters an id may not hold."""
    return re.sub(r"_x([0-9A-Fa-f]{2,4})_", lambda m: chr(int(m[1], 16)), name)


def names_of(node: Node) -> list[str]:
    """Return the names of an element: label, data-name, id, the id without escapes; the first is the best."""
    found = [node.attrs.get("label"), node.attrs.get("data-name"), node.id and _unescape(node.id), node.id]
    return list(dict.fromkeys(n for n in found if n))


@dataclass(eq=False)
class Drawing:
    """One drawing while it is read.

    Attributes:
        root: its outermost element.
        settings: what the caller asked for.
        report: takes the notes.
        pieces: what was painted so far.
        sheet: its style sheets.
        by_id: elements by id; the first of equal ids.
    """

    root: Node
    settings: Settings
    report: Report
    pieces: list[Piece] = field(default_factory=list)
    by_id: dict[str, Node] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Index ids and read the style sheets."""

        def style_note(text: str, line: int) -> None:
            self.report.say("style", text, line=line)

        self.sheet = Sheet(style_note)
        stack = [self.root]
        while stack:
            node = stack.pop()
            if node.id and node.id not in self.by_id:
                self.by_id[node.id] = node
            if node.tag == "style" and node.attrs.get("type", "text/css").strip() in ("text/css", ""):
                self.sheet.add(node.text, node.line)
            stack.extend(reversed(node.children))

    def say(self, code: str, text: str, node: Node, context: Context | None = None) -> None:
        """Note something about an element."""
        layer = context.names[-1] if context is not None and context.names else None
        self.report.say(code, text, layer=layer, line=node.line, element=node.id)

    def sayer(self, node: Node, context: Context) -> Callable[[str, str], None]:
        """Return a function (code, text) that notes something about an element."""
        return lambda code, text: self.say(code, text, node, context)

    def geometry(self, node: Node, context: Context, declared: dict[str, str] | None = None) -> Geometry:
        """Return the reader of an element's geometry."""
        values = self.sheet.declared(node) if declared is None else declared
        return Geometry(node, values, context.basis, self.sayer(node, context))

    def flat(self, curves: Curves, node: Node) -> FloatArray:
        """Return the flattened points of curves in mm, checked and on the 1e-6 mm grid."""
        points = curves.flat(self.settings.tolerance)
        return tidy(finite(points, file=self.settings.file, line=node.line, layer=node.id), closed=False)

    def target(self, text: str, node: Node, context: Context) -> Node | None:
        """Return the element that a link names, or None (noted)."""
        name = text.strip()
        target = self.by_id.get(name[1:]) if name.startswith("#") else None
        if target is None:
            what = f"there is no {name!r}" if name.startswith("#") else f"{name!r} lies outside the file, never fetched"
            self.say("reference", f"{what}: nothing is drawn", node, context)
        return target
