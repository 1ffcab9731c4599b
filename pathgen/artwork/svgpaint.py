"""One SVG shape painted: its fill and its stroke, cut to the clips around it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box

from pathgen.artwork import css, strokes
from pathgen.artwork.compose import Piece
from pathgen.artwork.css import Paint
from pathgen.artwork.curves import Curves, NotFiniteError
from pathgen.artwork.repair import common, crossing, fill
from pathgen.artwork.svgcontext import Context, Drawing, names_of
from pathgen.artwork.svgvalues import length
from pathgen.artwork.xmltree import Node
from pathgen.model.arrays import FloatArray


@dataclass(eq=False)
class Painter:
    """Adds the pieces of shapes to a drawing."""

    drawing: Drawing

    def shape(self, node: Node, context: Context, declared: dict[str, str]) -> None:
        """Paint one shape; `declared` are its declared values."""
        style = context.style
        if style["visibility"].lower() != "visible":
            self.drawing.say("hidden", "it is invisible (visibility) and left out", node, context)
            return
        painted_with = self._paint("fill", node, context)
        stroke = self._paint("stroke", node, context)
        width = self._stroke_width(node, context) if stroke is not None else 0.0
        stroke = stroke if width > 0 else None
        if painted_with is None and stroke is None:
            self.drawing.report.say("hidden", "shapes without any paint are not drawn", line=node.line, element=node.id)
            return
        subs = self.drawing.geometry(node, context, declared).curves()
        if not subs:
            return
        flat = [self.drawing.flat(s.moved(context.matrix), node) for s in subs]
        ids = tuple(names_of(node))
        if any(style[f"marker-{w}"].lower() != "none" for w in ("start", "mid", "end")) and node.tag != "rect":
            self.drawing.say("ignored", "markers (arrow heads) are not drawn", node, context)
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
                self.drawing.report.say(
                    "crossing",
                    "an outline crosses or touches itself; the fill rule decides what is inside",
                    where=place,
                    line=node.line,
                    element=node.id,
                )
        if region.is_empty:
            if node.tag != "line" and node.tag != "polyline":
                self.drawing.say("no-area", "it is filled but encloses no area", node, context)
            return
        region = self._cut(region, context)
        if not region.is_empty:
            white = paint.white and context.alpha >= 0.99
            self.drawing.pieces.append(Piece(names=context.names, ids=ids, region=region, white=white, line=node.line))

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
        asked = self.drawing.settings.strokes
        outlined = filled is not None and (not filled.white or stroke.white)
        if asked == "ignore" or (asked == "lines" and outlined):
            if outlined:
                text = "the stroke around a filled shape is not added to it; strokes='outline' adds its width"
                self.drawing.say("stroke-width", text, node, None)
            else:
                self.drawing.report.say(
                    "no-strokes", "strokes were left out, as asked", line=node.line, element=node.id
                )
            return
        if context.style["stroke-dasharray"].lower() not in ("none", "", "0"):
            self.drawing.say("dash", "a dashed stroke is taken as a solid one", node, context)
        if asked == "outline":
            band = self._cut(
                strokes.band(subs, context.matrix, width, context.style, self.drawing.settings.tolerance), context
            )
            if not band.is_empty:
                white = stroke.white and context.alpha >= 0.99
                self.drawing.pieces.append(
                    Piece(names=context.names, ids=ids, region=band, white=white, line=node.line)
                )
            return
        rings, lines = [], []
        for sub, points in zip(subs, flat, strict=True):
            if len(points) < 2:
                if sub.closed or len(sub.rows):
                    self.drawing.say("no-area", "a stroke without length (a dot) has no line to follow", node, context)
                continue
            meets = len(points) > 2 and bool((points[0] == points[-1]).all())
            if (sub.closed or meets) and len(points) > 2:
                rings.append(points[:-1] if meets else points)
            else:
                lines.append(points)
        if rings and filled is None:
            text = "closed strokes without fill are lines; the area inside is in .outlines"
            self.drawing.report.say("closed-strokes", text, line=node.line, element=node.id)
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
            self.drawing.pieces.append(
                Piece(names=context.names, ids=ids, lines=tuple(lines), rings=tuple(rings), line=node.line)
            )

    def _stroke_width(self, node: Node, context: Context) -> float:
        text = context.style["stroke-width"]
        try:
            return length(text, context.basis)
        except NotFiniteError:
            raise
        except ValueError:
            self.drawing.say("broken-value", f"stroke-width={text!r} counts as 1", node, context)
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
            server = self.drawing.by_id.get(target)
            if server is not None and server.tag.endswith(("Gradient", "gradient", "pattern", "hatch", "solidcolor")):
                self.drawing.say("paint", f"a {name} with a gradient or pattern counts as solid paint", node, context)
                return Paint(None, alpha, target)
            if not rest:
                self.drawing.say("paint", f"the {name} paint {text} is not in the file: not painted", node, context)
                return None
            text = rest
        try:
            paint = css.paint(text, style["color"])
        except ValueError:
            first = css.INHERITED[name]
            self.drawing.say("paint", f"{name}={text!r} is not a colour and counts as {first}", node, context)
            paint = css.paint(first, "black")
        return None if paint is None else replace(paint, alpha=paint.alpha * alpha)
