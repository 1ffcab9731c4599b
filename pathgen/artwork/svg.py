"""SVG in: a walk over the tree with an explicit stack, painting pieces in document order.

Sections are those of SVG 1.1 (second edition) unless another standard is named.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box

from pathgen.artwork import css, strokes
from pathgen.artwork.compose import Piece, Settings
from pathgen.artwork.css import Paint, Sheet
from pathgen.artwork.curves import Curves, matrix, stretch
from pathgen.artwork.pathdata import NotFiniteError
from pathgen.artwork.repair import common, crossing, fill, finite, rings_of, tidy
from pathgen.artwork.report import Report
from pathgen.artwork.svgpage import Page
from pathgen.artwork.svgshapes import SHAPES, Geometry
from pathgen.artwork.svgvalues import Basis, fit, length, transform, view_box
from pathgen.artwork.xmltree import Node
from pathgen.errors import DrawingError
from pathgen.model.arrays import FloatArray

MOST_VISITS: Final = 300_000
"""Elements drawn at most, instances of `use` counted each time: a 2 kB file can ask for 10^9 of them."""
SILENT: Final = frozenset(
    "defs symbol clipPath mask marker pattern linearGradient radialGradient meshgradient hatch solidcolor filter "
    "title desc metadata style script view cursor font font-face color-profile stop animate animateTransform "
    "animateMotion animateColor set namedview".split()
)
"""Elements that are never drawn where they stand, by the standard."""
NOT_READ: Final = {
    "text": "text is not read: turn it into outlines in the drawing program, or set it with text()",
    "image": "a picture is not read: only outlines can be cut",
    "foreignObject": "foreign content is not read",
    "flowRoot": "flowed text is not read: turn it into outlines in the drawing program",
}
CONTAINERS: Final = frozenset({"g", "a", "svg", "switch", "use"})


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
class Walker:
    """Reads one drawing; `pieces` is the result."""

    root: Node
    page: Page
    settings: Settings
    report: Report
    pieces: list[Piece] = field(default_factory=list)
    _by_id: dict[str, Node] = field(default_factory=dict)
    _clip_cache: dict[tuple[int, bytes], MultiPolygon] = field(default_factory=dict)
    _visits: int = 0

    def __post_init__(self) -> None:
        def style_note(text: str, line: int) -> None:
            self.report.say("style", text, line=line)

        self.sheet = Sheet(style_note)
        stack = [self.root]
        while stack:
            node = stack.pop()
            if node.id and node.id not in self._by_id:
                self._by_id[node.id] = node
            if node.tag == "style" and node.attrs.get("type", "text/css").strip() in ("text/css", ""):
                self.sheet.add(node.text, node.line)
            stack.extend(reversed(node.children))

    def walk(self) -> list[Piece]:
        """Return all painted pieces in document order.

        Raises:
            DrawingError: a coordinate that is not a number, or too many instances.
        """
        self._stack: list[tuple[Node, Context]] = [
            (self.root, Context(self.page.matrix, css.cascade({}, {}), self.page.basis))
        ]
        while self._stack:
            node, context = self._stack.pop()
            self._visits += 1
            if self._visits > MOST_VISITS:
                raise DrawingError(
                    f"more than {MOST_VISITS} elements are drawn, instances counted: simplify or split the drawing",
                    file=self.settings.file,
                    line=node.line,
                )
            try:
                self._visit(node, context)
            except NotFiniteError as error:
                raise DrawingError(
                    f"<{node.tag}> holds {str(error)!r}, which is not a number: correct or delete it",
                    file=self.settings.file,
                    line=node.line,
                    layer=node.id or (context.names[-1] if context.names else None),
                ) from None
        return self.pieces

    def say(self, code: str, text: str, node: Node, context: Context | None = None) -> None:
        """Note something about an element."""
        layer = context.names[-1] if context is not None and context.names else None
        self.report.say(code, text, layer=layer, line=node.line, element=node.id)

    def _sayer(self, node: Node, context: Context) -> Callable[[str, str], None]:
        return lambda code, text: self.say(code, text, node, context)

    def _visit(self, node: Node, context: Context) -> None:
        tag = node.tag
        if tag == "" or (tag in SILENT and not (tag == "symbol" and id(node) in context.chain)):
            return
        declared = self.sheet.declared(node)
        style = css.cascade(declared, context.style)
        inner = self._inner(node, context, declared, style)
        if inner is None:
            return
        if tag in NOT_READ:
            if style["visibility"] == "visible":
                self.say("ignored", NOT_READ[tag], node, inner)
        elif tag in SHAPES:
            self._shape(node, inner, declared)
        elif tag in CONTAINERS or tag == "symbol":
            self._container(node, inner, declared)
        else:
            self.say("ignored", f"<{tag}> is not known and not read", node, inner)

    def _inner(self, node: Node, context: Context, declared: dict[str, str], style: dict[str, str]) -> Context | None:
        """Return the context inside an element, or None where nothing of it is drawn."""
        drawn = node.tag in SHAPES or node.tag in CONTAINERS or node.tag in NOT_READ
        if style["display"].lower() == "none":
            if drawn:
                names = names_of(node)
                self.report.say(
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
            self.say("broken-value", f"opacity={style['opacity']!r} counts as 1", node, context)
            alpha = context.alpha
        if alpha == 0:
            self.say("hidden", "it is fully transparent and left out", node, context)
            return None
        font = context.basis.font
        try:
            font = length(style["font-size"], context.basis, "")
        except ValueError:
            style["font-size"] = repr(font)
        else:
            style["font-size"] = repr(font)
        basis = replace(context.basis, font=font)
        try:
            m = context.matrix @ self._transform(node, style, basis, context)
        except NotFiniteError:
            raise
        except ValueError:
            self.say("broken-value", f"its transform {style['transform']!r} is not understood: left out", node, context)
            return None
        if abs(np.linalg.det(m[:2, :2])) < 1e-12 * max(stretch(m), 1e-9) ** 2 or stretch(m) < 1e-12:
            self.say("no-area", "its transform makes it flat, so that it is not drawn", node, context)
            return None
        inner = replace(context, matrix=m, style=style, basis=basis, alpha=alpha)
        for effect in ("mask", "filter"):
            if style[effect].lower() != "none":
                self.say(effect_code(effect), f"its {effect} is not applied", node, context)
        return self._clipped(node, inner, style)

    def _transform(self, node: Node, style: dict[str, str], basis: Basis, context: Context) -> FloatArray:
        m = transform(style["transform"], basis)
        origin = style["transform-origin"].split()
        if origin and style["transform"]:
            try:
                x = length(origin[0], basis, "x")
                y = length(origin[1], basis, "y") if len(origin) > 1 else 0.5 * basis.height
            except ValueError:
                raise ValueError(style["transform-origin"]) from None
            m = matrix(1, 0, 0, 1, x, y) @ m @ matrix(1, 0, 0, 1, -x, -y)
        return m

    # -- containers ---------------------------------------------------------------------------------------------

    def _container(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        if node.tag == "use":
            self._use(node, context, declared)
            return
        if node is not self.root and node.tag in ("svg", "symbol"):
            viewed = self._viewport(node, context, declared)
            if viewed is None:
                return
            context = viewed
        names = names_of(node) if node is not self.root else []
        if names:
            context = replace(context, names=(*context.names, names[0]))
        children = node.children
        if node.tag == "switch":
            children = [c for c in children if c.tag not in ("", "foreignObject") and _holds(c)][:1]
        self._stack.extend((child, context) for child in reversed(children))

    def _viewport(self, node: Node, context: Context, declared: dict[str, str]) -> Context | None:
        """Context inside a nested <svg> or an instanced <symbol>: section 7.9."""
        shape = Geometry(node, declared, context.basis, self._sayer(node, context))
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
            self.say("broken-value", f"viewBox={node.attrs['viewBox']!r} is wrong and was left out", node, context)
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

    def _target(self, text: str, node: Node, context: Context) -> Node | None:
        name = text.strip()
        target = self._by_id.get(name[1:]) if name.startswith("#") else None
        if target is None:
            what = f"there is no {name!r}" if name.startswith("#") else f"{name!r} lies outside the file, never fetched"
            self.say("reference", f"{what}: nothing is drawn", node, context)
        return target

    def _use(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        """Draw another element here: section 5.6."""
        target = self._target(node.attrs.get("href", ""), node, context)
        if target is None:
            return
        ancestors = set()
        around: Node | None = node
        while around is not None:
            ancestors.add(id(around))
            around = around.parent
        if id(target) in context.chain or id(target) in ancestors:
            self.say("reference", f"'{target.id}' would contain itself: not drawn again", node, context)
            return
        shape = Geometry(node, declared, context.basis, self._sayer(node, context))
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

    # -- clips --------------------------------------------------------------------------------------------------

    def _clipped(self, node: Node, context: Context, style: dict[str, str]) -> Context | None:
        """Add the element's own clip: section 14.3. A clip that is not there does not clip (CSS Masking 1)."""
        value = style["clip-path"]
        if value.lower() == "none":
            return context
        name, _ = css.reference(value)
        if name is None:
            self.say("clip", f"clip-path: {value} is not applied", node, context)
            return context
        target = self._by_id.get(name)
        if target is None or target.tag != "clipPath":
            self.say("reference", f"there is no clip {value}: not clipped", node, context)
            return context
        m = context.matrix
        if target.attrs.get("clipPathUnits") == "objectBoundingBox":
            extent = self._extent(node, context)
            if extent is None:
                self.say("clip", "a clip measured by the box of a group is not applied", node, context)
                return context
            x0, y0, x1, y1 = extent
            m = m @ matrix(x1 - x0, 0, 0, y1 - y0, x0, y0)
        return replace(context, clips=(*context.clips, self._clip_area(target, m, context, frozenset())))

    def _extent(self, node: Node, context: Context) -> tuple[float, float, float, float] | None:
        """Box of a single shape in its own user units, or None."""
        if node.tag not in SHAPES:
            return None
        subs = Geometry(node, self.sheet.declared(node), context.basis, self._sayer(node, context)).curves()
        flat = [s.flat(self.settings.tolerance / stretch(context.matrix)) for s in subs]
        if not flat:
            return None
        every = np.concatenate(flat)
        low, high = every.min(axis=0), every.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def _clip_area(self, clip: Node, m: FloatArray, context: Context, seen: frozenset[int]) -> MultiPolygon:
        key = (id(clip), m.tobytes())
        if key in self._clip_cache:
            return self._clip_cache[key]
        if id(clip) in seen:
            self.say("reference", "a clip contains itself: that part is empty", clip, context)
            return MultiPolygon()
        seen = seen | {id(clip)}
        declared = self.sheet.declared(clip)
        style = css.cascade(declared, css.cascade({}, {}))
        m = m @ transform(style["transform"], context.basis)
        rings: list[FloatArray] = []
        for child in clip.children:
            rings += rings_of(self._clip_part(child, m, style, context, seen))
        area = fill(rings)
        area = self._clip_again(area, style, m, context, seen)
        self._clip_cache[key] = area
        return area

    def _clip_part(
        self, child: Node, m: FloatArray, parent: dict[str, str], context: Context, seen: frozenset[int]
    ) -> MultiPolygon:
        """One child of a clipPath: a shape, or a `use` of a shape."""
        declared = self.sheet.declared(child)
        style = css.cascade(declared, parent)
        if child.tag not in (*SHAPES, "use") or style["display"] == "none" or style["visibility"] != "visible":
            if child.tag in NOT_READ:
                self.say("clip", f"<{child.tag}> in a clip is not applied", child, context)
            return MultiPolygon()
        m = m @ transform(style["transform"], context.basis)
        shape = Geometry(child, declared, context.basis, self._sayer(child, context))
        if child.tag == "use":
            target = self._target(child.attrs.get("href", ""), child, context)
            if target is None or target.tag not in SHAPES:
                return MultiPolygon()
            m = m @ matrix(1, 0, 0, 1, shape.number("x", "x"), shape.number("y", "y"))
            area = self._clip_part(target, m, style, context, seen)
        else:
            flat = [s.moved(m).flat(self.settings.tolerance) for s in shape.curves()]
            for points in flat:
                finite(points, file=self.settings.file, line=child.line, layer=child.id)
            area = fill(flat, "evenodd" if style["clip-rule"] == "evenodd" else "nonzero")
        return self._clip_again(area, style, m, context, seen)

    def _clip_again(
        self, area: MultiPolygon, style: dict[str, str], m: FloatArray, context: Context, seen: frozenset[int]
    ) -> MultiPolygon:
        name, _ = css.reference(style["clip-path"])
        other = self._by_id.get(name) if name else None
        if other is None or other.tag != "clipPath":
            return area
        return common(area, self._clip_area(other, m, context, seen))

    # -- shapes -------------------------------------------------------------------------------------------------

    def _shape(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        style = context.style
        if style["visibility"].lower() != "visible":
            self.say("hidden", "it is invisible (visibility) and left out", node, context)
            return
        painted_with = self._paint("fill", node, context)
        stroke = self._paint("stroke", node, context)
        width = self._stroke_width(node, context) if stroke is not None else 0.0
        stroke = stroke if width > 0 else None
        if painted_with is None and stroke is None:
            self.report.say("hidden", "shapes without any paint are not drawn", line=node.line, element=node.id)
            return
        subs = Geometry(node, declared, context.basis, self._sayer(node, context)).curves()
        if not subs:
            return
        moved = [s.moved(context.matrix) for s in subs]
        flat = [tidy_finite(s, self.settings, node) for s in moved]
        ids = tuple(names_of(node))
        if any(style[f"marker-{w}"].lower() != "none" for w in ("start", "mid", "end")) and node.tag != "rect":
            self.say("ignored", "markers (arrow heads) are not drawn", node, context)
        if painted_with is not None:
            self._filled(node, context, flat, painted_with, ids)
        if stroke is not None:
            self._stroked(node, context, subs, flat, painted_with, stroke, width, ids)

    def _filled(self, node: Node, context: Context, flat: list[FloatArray], paint: Paint, ids: tuple[str, ...]) -> None:
        rule = context.style["fill-rule"].strip().lower()
        region = fill(flat, "evenodd" if rule == "evenodd" else "nonzero")
        for ring in flat:
            place = crossing(ring)
            if place is not None:
                self.report.say(
                    "crossing",
                    "an outline crosses or touches itself; the fill rule decides what is inside",
                    where=place,
                    line=node.line,
                    element=node.id,
                )
        if region.is_empty:
            if node.tag != "line" and node.tag != "polyline":
                self.say("no-area", "it is filled but encloses no area", node, context)
            return
        region = self._cut(region, context)
        if not region.is_empty:
            white = paint.white and context.alpha >= 0.99
            self.pieces.append(Piece(names=context.names, ids=ids, region=region, white=white, line=node.line))

    def _cut(self, region: MultiPolygon, context: Context) -> MultiPolygon:
        for clip in context.clips:
            if not clip.is_empty and len(clip.geoms) == 1 and clip.contains(box(*region.bounds)):
                continue
            region = common(region, clip)
            if region.is_empty:
                break
        return region

    def _stroked(
        self,
        node: Node,
        context: Context,
        subs: list[Curves],
        flat: list[FloatArray],
        filled: Paint | None,
        stroke: Paint,
        width: float,
        ids: tuple[str, ...],
    ) -> None:
        asked = self.settings.strokes
        outlined = filled is not None and (not filled.white or stroke.white)
        if asked == "ignore" or (asked == "lines" and outlined):
            if outlined:
                text = "the stroke around a filled shape is not added to it; strokes='outline' adds its width"
                self.say("stroke-width", text, node, None)
            else:
                self.report.say("no-strokes", "strokes were left out, as asked", line=node.line, element=node.id)
            return
        if context.style["stroke-dasharray"].lower() not in ("none", "", "0"):
            self.say("dash", "a dashed stroke is taken as a solid one", node, context)
        if asked == "outline":
            band = self._cut(strokes.band(subs, context.matrix, width, context.style, self.settings.tolerance), context)
            if not band.is_empty:
                white = stroke.white and context.alpha >= 0.99
                self.pieces.append(Piece(names=context.names, ids=ids, region=band, white=white, line=node.line))
            return
        rings, lines = [], []
        for sub, points in zip(subs, flat, strict=True):
            if len(points) < 2:
                if sub.closed or len(sub.rows):
                    self.say("no-area", "a stroke without length (a dot) has no line to follow", node, context)
                continue
            meets = len(points) > 2 and bool((points[0] == points[-1]).all())
            if (sub.closed or meets) and len(points) > 2:
                rings.append(points[:-1] if meets else points)
            else:
                lines.append(points)
        if rings and filled is None:
            text = "closed strokes without fill are lines; the area inside is in .outlines"
            self.report.say("closed-strokes", text, line=node.line, element=node.id)
        self._add_lines(node, context, rings, lines, ids)

    def _add_lines(
        self,
        node: Node,
        context: Context,
        rings: list[FloatArray],
        lines: list[FloatArray],
        ids: tuple[str, ...],
    ) -> None:
        for clip in context.clips:
            every = [*lines, *(np.concatenate([r, r[:1]]) for r in rings)]
            if not every or clip.contains(shapely.multilinestrings([shapely.linestrings(x) for x in every])):
                continue
            cut = shapely.intersection(shapely.multilinestrings([shapely.linestrings(x) for x in every]), clip)
            parts = shapely.get_parts(shapely.line_merge(cut) if cut.geom_type.startswith("Multi") else cut)
            found = [shapely.get_coordinates(p) for p in parts if p.geom_type == "LineString" and p.length > 0]
            rings = [x[:-1] for x in found if (x[0] == x[-1]).all() and len(x) > 3]
            lines = [x for x in found if not ((x[0] == x[-1]).all() and len(x) > 3)]
        if rings or lines:
            self.pieces.append(
                Piece(names=context.names, ids=ids, lines=tuple(lines), rings=tuple(rings), line=node.line)
            )

    def _stroke_width(self, node: Node, context: Context) -> float:
        text = context.style["stroke-width"]
        try:
            return length(text, context.basis)
        except NotFiniteError:
            raise
        except ValueError:
            self.say("broken-value", f"stroke-width={text!r} counts as 1", node, context)
            return 1.0

    def _paint(self, name: str, node: Node, context: Context) -> Paint | None:
        """Paint of a fill or stroke, None where there is none: section 11.2."""
        style = context.style
        text = style[name]
        target, rest = css.reference(text)
        try:
            alpha = css.opacity(style[f"{name}-opacity"])
        except ValueError:
            alpha = 1.0
        if alpha == 0:
            return None
        if target is not None:
            server = self._by_id.get(target)
            if server is not None and server.tag.endswith(("Gradient", "gradient", "pattern", "hatch", "solidcolor")):
                self.say("paint", f"a {name} with a gradient or pattern counts as solid paint", node, context)
                return Paint(None, alpha, target)
            if not rest:
                self.say("paint", f"the {name} paint {text} is not in the file: not painted", node, context)
                return None
            text = rest
        try:
            paint = css.paint(text, style["color"])
        except ValueError:
            first = css.INHERITED[name]
            self.say("paint", f"{name}={text!r} is not a colour and counts as {first}", node, context)
            paint = css.paint(first, "black")
        return None if paint is None else replace(paint, alpha=paint.alpha * alpha)


def effect_code(effect: str) -> str:
    """Return the note code for a graphics effect that is not applied."""
    return "clip" if effect == "mask" else "ignored"


def tidy_finite(curves: Curves, settings: Settings, node: Node) -> FloatArray:
    """Return the flattened points of curves in mm, checked and on the 1e-6 mm grid."""
    points = finite(curves.flat(settings.tolerance), file=settings.file, line=node.line, layer=node.id)
    return tidy(points, closed=False)


def _holds(node: Node) -> bool:
    """Whether the conditions of a child of `switch` hold: section 5.8. No extensions are known here."""
    if node.attrs.get("requiredExtensions", None) is not None:
        return False
    language = node.attrs.get("systemLanguage")
    return language is None or any(w.strip().lower().startswith("en") for w in language.split(","))
