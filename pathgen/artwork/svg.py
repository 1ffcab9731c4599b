"""SVG in: a walk over the tree with an explicit stack, painting pieces in document order.

Sections are those of SVG 1.1 (second edition) unless another standard is named.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from pathgen.artwork import css
from pathgen.artwork.compose import Piece
from pathgen.artwork.curves import NotFiniteError, matrix, stretch
from pathgen.artwork.repair import fill
from pathgen.artwork.svgclip import Clipper
from pathgen.artwork.svgcontext import NOT_READ, Context, Drawing, names_of
from pathgen.artwork.svgpage import Page
from pathgen.artwork.svgpaint import Painter
from pathgen.artwork.svgshapes import SHAPES
from pathgen.artwork.svgvalues import Basis, fit, length, transform, view_box
from pathgen.artwork.xmltree import Node
from pathgen.errors import DrawingError
from pathgen.model.arrays import FloatArray

MOST_VISITS: Final = 300_000
"""Elements drawn at most. Larger: minutes of reading; smaller: rich drawings are refused."""
MOST_INSTANCES: Final = 50_000
"""Elements drawn by way of `use` at most: a 2 kB file can ask for 10^9 of them."""
SILENT: Final = frozenset(
    [
        "defs",
        "symbol",
        "clipPath",
        "mask",
        "marker",
        "pattern",
        "linearGradient",
        "radialGradient",
        "meshgradient",
        "hatch",
        "solidcolor",
        "filter",
        "title",
        "desc",
        "metadata",
        "style",
        "script",
        "view",
        "cursor",
        "font",
        "font-face",
        "color-profile",
        "stop",
        "animate",
        "animateTransform",
        "animateMotion",
        "animateColor",
        "set",
        "namedview",
    ]
)
"""Elements that are never drawn where they stand, by the standard."""
CONTAINERS: Final = frozenset({"g", "a", "svg", "switch", "use"})


@dataclass(eq=False)
class Walker:
    """Reads one drawing; its pieces are the result."""

    drawing: Drawing
    page: Page
    _stack: list[tuple[Node, Context]] = field(default_factory=list)
    _visits: int = 0
    _instances: int = 0

    def __post_init__(self) -> None:
        self.clipper = Clipper(self.drawing)
        self.painter = Painter(self.drawing)

    def walk(self) -> list[Piece]:
        """Return all painted pieces in document order.

        Raises:
            DrawingError: a coordinate that is not a number, or too many instances.
        """
        start = Context(self.page.matrix, css.cascade({}, {}), self.page.basis)
        self._stack.append((self.drawing.root, start))
        while self._stack:
            node, context = self._stack.pop()
            self._visits += 1
            self._instances += bool(context.chain)
            if self._visits > MOST_VISITS or self._instances > MOST_INSTANCES:
                raise DrawingError(
                    f"more than {MOST_VISITS} elements, or {MOST_INSTANCES} by way of <use>, are drawn: split it",
                    file=self.drawing.settings.file,
                    line=node.line,
                )
            try:
                # Overflow shows as infinite points, which are refused with their place when flattened.
                with np.errstate(over="ignore", invalid="ignore"):
                    self._visit(node, context)
            except NotFiniteError as error:
                raise DrawingError(
                    f"<{node.tag}> holds {str(error)!r}, which is not a number: correct or delete it",
                    file=self.drawing.settings.file,
                    line=node.line,
                    layer=node.id or (context.names[-1] if context.names else None),
                ) from None
        return self.drawing.pieces

    def _visit(self, node: Node, context: Context) -> None:
        tag = node.tag
        if tag == "" or (tag in SILENT and not (tag == "symbol" and id(node) in context.chain)):
            return
        declared = self.drawing.sheet.declared(node)
        style = css.cascade(declared, context.style)
        inner = self._inner(node, context, style)
        if inner is None:
            return
        if tag in NOT_READ:
            if style["visibility"] == "visible":
                self.drawing.say("ignored", NOT_READ[tag], node, inner)
        elif tag in SHAPES:
            self.painter.shape(node, inner, declared)
        elif tag in CONTAINERS or tag == "symbol":
            self._container(node, inner, declared)
        else:
            self.drawing.say("ignored", f"<{tag}> is not known and not read", node, inner)

    def _inner(self, node: Node, context: Context, style: dict[str, str]) -> Context | None:
        """Return the context inside an element, or None where nothing of it is drawn."""
        drawn = node.tag in SHAPES or node.tag in CONTAINERS or node.tag in NOT_READ
        if style["display"].lower() == "none":
            if drawn:
                names = names_of(node)
                self.drawing.report.say(
                    "hidden",
                    "it is switched off (display: none) and left out",
                    layer=names[0] if names and node.tag in CONTAINERS else None,
                    line=node.line,
                    element=node.id,
                )
            return None
        try:
            alpha = context.alpha * css.opacity(style["opacity"])
        except ValueError:
            self.drawing.say("broken-value", f"opacity={style['opacity']!r} counts as 1", node, context)
            alpha = context.alpha
        if alpha == 0:
            self.drawing.say("hidden", "it is fully transparent and left out", node, context)
            return None
        font = context.basis.font
        try:
            font = length(style["font-size"], context.basis, "")
        except ValueError:
            style["font-size"] = repr(font)
        else:
            style["font-size"] = repr(font)
        basis = context.basis if font == context.basis.font else replace(context.basis, font=font)
        try:
            m = context.matrix @ _transform(style, basis) if style["transform"] else context.matrix
        except NotFiniteError:
            raise
        except ValueError:
            self.drawing.say(
                "broken-value", f"its transform {style['transform']!r} is not understood: left out", node, context
            )
            return None
        if abs(m[0, 0] * m[1, 1] - m[0, 1] * m[1, 0]) < 1e-12 * max(stretch(m), 1e-9) ** 2 or stretch(m) < 1e-12:
            self.drawing.say("no-area", "its transform makes it flat, so that it is not drawn", node, context)
            return None
        inner = replace(context, matrix=m, style=style, basis=basis, alpha=alpha)
        for effect in ("mask", "filter"):
            if style[effect].lower() != "none":
                self.drawing.say(
                    "clip" if effect == "mask" else "ignored", f"its {effect} is not applied", node, context
                )
        return self.clipper.clipped(node, inner, style)

    def _container(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        if node.tag == "use":
            self._use(node, context, declared)
            return
        if node is not self.drawing.root and node.tag in ("svg", "symbol"):
            viewed = self._viewport(node, context, declared)
            if viewed is None:
                return
            context = viewed
        names = names_of(node) if node is not self.drawing.root else []
        if names:
            context = replace(context, names=(*context.names, names[0]))
        children = node.children
        if node.tag == "switch":
            children = [c for c in children if c.tag not in ("", "foreignObject") and _holds(c)][:1]
        self._stack.extend((child, context) for child in reversed(children))

    def _viewport(self, node: Node, context: Context, declared: dict[str, str]) -> Context | None:
        """Context inside a nested <svg> or an instanced <symbol>: section 7.9."""
        shape = self.drawing.geometry(node, context, declared)
        w, h = shape.get("width", "x", None), shape.get("height", "y", None)
        x, y = (shape.number("x", "x"), shape.number("y", "y")) if node.tag == "svg" else (0.0, 0.0)
        if context.use_size is not None:
            w, h = (own if asked is None else asked for own, asked in zip((w, h), context.use_size, strict=True))
        w, h = context.basis.width if w is None else w, context.basis.height if h is None else h
        if w <= 0 or h <= 0:
            return None
        try:
            vb = view_box(node.attrs.get("viewBox"))
        except ValueError:
            self.drawing.say(
                "broken-value", f"viewBox={node.attrs['viewBox']!r} is wrong and was left out", node, context
            )
            vb = None
        m = context.matrix
        clips = context.clips
        overflow = declared.get("overflow", "hidden").lower()
        if overflow not in ("visible", "auto"):
            corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
            clips = (*clips, fill([corners @ m[:2, :2].T + m[:2, 2]]))
        inside = matrix(1, 0, 0, 1, x, y) if vb is None else fit(vb, x, y, w, h, node.attrs.get("preserveAspectRatio"))
        basis = Basis(vb[2] if vb else w, vb[3] if vb else h, context.basis.font)
        return replace(context, matrix=m @ inside, basis=basis, clips=clips, use_size=None)

    def _use(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        """Draw another element here: section 5.6."""
        target = self.drawing.target(node.attrs.get("href", ""), node, context)
        if target is None:
            return
        ancestors = set()
        around: Node | None = node
        while around is not None:
            ancestors.add(id(around))
            around = around.parent
        if id(target) in context.chain or id(target) in ancestors:
            self.drawing.say("reference", f"'{target.id}' would contain itself: not drawn again", node, context)
            return
        shape = self.drawing.geometry(node, context, declared)
        m = context.matrix @ matrix(1, 0, 0, 1, shape.number("x", "x"), shape.number("y", "y"))
        size = None
        if target.tag in ("svg", "symbol"):
            size = shape.get("width", "x", None), shape.get("height", "y", None)
        names = names_of(node)
        inner = replace(
            context,
            matrix=m,
            use_size=size,
            names=(*context.names, *names[:1]),
            chain=context.chain | {id(target), id(node)},
        )
        self._stack.append((target, inner))


def _holds(node: Node) -> bool:
    """Whether the conditions of a child of `switch` hold: section 5.8. No extensions are known here."""
    if node.attrs.get("requiredExtensions", None) is not None:
        return False
    language = node.attrs.get("systemLanguage")
    return language is None or any(w.strip().lower().startswith("en") for w in language.split(","))


_ORIGIN: Final = {"left": "0%", "top": "0%", "center": "50%", "right": "100%", "bottom": "100%"}


def _transform(style: dict[str, str], basis: Basis) -> FloatArray:
    """Return an element's own matrix: CSS Transforms 1 sections 6 and 7, measured from the view box.

    Raises:
        ValueError: not understood, or measured from the element's own box.
    """
    if style["transform-box"].lower() not in ("", "view-box"):
        raise ValueError(style["transform-box"])
    m = transform(style["transform"], basis)
    origin = style["transform-origin"].lower().split()
    if not origin:
        return m
    if origin[0] in ("top", "bottom") or origin[1:2] in (["left"], ["right"]):
        origin = [*origin[1:2], origin[0]] if len(origin) > 1 else ["center", origin[0]]
    x = length(_ORIGIN.get(origin[0], origin[0]), basis, "x")
    y = length(_ORIGIN.get(origin[1], origin[1]), basis, "y") if len(origin) > 1 else 0.5 * basis.height
    return matrix(1, 0, 0, 1, x, y) @ m @ matrix(1, 0, 0, 1, -x, -y)
