"""Clips of an SVG: areas in mm that everything inside is cut to. SVG 1.1 section 14.3."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from shapely.geometry import MultiPolygon

from pathgen.artwork import css
from pathgen.artwork.curves import NotFiniteError, matrix, stretch
from pathgen.artwork.repair import common, fill, rings_of
from pathgen.artwork.svgcontext import NOT_READ, Context, Drawing
from pathgen.artwork.svgshapes import SHAPES
from pathgen.artwork.svgvalues import transform
from pathgen.artwork.xmltree import Node
from pathgen.model.arrays import FloatArray


@dataclass(eq=False)
class Clipper:
    """Works out the clips of a drawing, each one once for each place."""

    drawing: Drawing
    _known: dict[tuple[int, bytes], MultiPolygon] = field(default_factory=dict)

    def clipped(self, node: Node, context: Context, style: dict[str, str]) -> Context | None:
        """Add the element's own clip: section 14.3. A clip that is not there does not clip (CSS Masking 1)."""
        value = style["clip-path"]
        if value.lower() == "none":
            return context
        name, _ = css.reference(value)
        if name is None:
            self.drawing.say("clip", f"clip-path: {value} is not applied", node, context)
            return context
        target = self.drawing.by_id.get(name)
        if target is None or target.tag != "clipPath":
            self.drawing.say("reference", f"there is no clip {value}: not clipped", node, context)
            return context
        m = context.matrix
        if target.attrs.get("clipPathUnits") == "objectBoundingBox":
            extent = self._extent(node, context)
            if extent is None:
                self.drawing.say("clip", "a clip measured by the box of a group is not applied", node, context)
                return context
            x0, y0, x1, y1 = extent
            m = m @ matrix(x1 - x0, 0, 0, y1 - y0, x0, y0)
        return replace(context, clips=(*context.clips, self._area(target, m, context, frozenset())))

    def _extent(self, node: Node, context: Context) -> tuple[float, float, float, float] | None:
        """Box of a single shape in its own user units, or None."""
        if node.tag not in SHAPES:
            return None
        subs = self.drawing.geometry(node, context).curves()
        flat = [s.flat(self.drawing.settings.tolerance / stretch(context.matrix)) for s in subs]
        if not flat:
            return None
        every = np.concatenate(flat)
        low, high = every.min(axis=0), every.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def _area(self, clip: Node, m: FloatArray, context: Context, seen: frozenset[int]) -> MultiPolygon:
        key = (id(clip), m.tobytes())
        if key in self._known:
            return self._known[key]
        if id(clip) in seen:
            self.drawing.say("reference", "a clip contains itself: that part is empty", clip, context)
            return MultiPolygon()
        seen = seen | {id(clip)}
        declared = self.drawing.sheet.declared(clip)
        style = css.cascade(declared, css.cascade({}, {}))
        m = m @ self._matrix(clip, style, context)
        rings: list[FloatArray] = []
        for child in clip.children:
            rings += rings_of(self._part(child, m, style, context, seen))
        area = fill(rings)
        area = self._again(area, style, m, context, seen)
        self._known[key] = area
        return area

    def _matrix(self, node: Node, style: dict[str, str], context: Context) -> FloatArray:
        try:
            return transform(style["transform"], context.basis)
        except NotFiniteError:
            raise
        except ValueError:
            text = f"its transform {style['transform']!r} is not understood and not applied to this clip"
            self.drawing.say("clip", text, node, context)
            return np.eye(3)

    def _part(
        self, child: Node, m: FloatArray, parent: dict[str, str], context: Context, seen: frozenset[int]
    ) -> MultiPolygon:
        """One child of a clipPath: a shape, or a `use` of a shape."""
        declared = self.drawing.sheet.declared(child)
        style = css.cascade(declared, parent)
        if child.tag not in (*SHAPES, "use") or style["display"] == "none" or style["visibility"] != "visible":
            if child.tag in NOT_READ:
                self.drawing.say("clip", f"<{child.tag}> in a clip is not applied", child, context)
            return MultiPolygon()
        m = m @ self._matrix(child, style, context)
        shape = self.drawing.geometry(child, context, declared)
        if child.tag == "use":
            target = self.drawing.target(child.attrs.get("href", ""), child, context)
            if target is None or target.tag not in SHAPES:
                return MultiPolygon()
            m = m @ matrix(1, 0, 0, 1, shape.number("x", "x"), shape.number("y", "y"))
            area = self._part(target, m, style, context, seen)
        else:
            flat = [self.drawing.flat(s.moved(m), child) for s in shape.curves()]
            area = fill(flat, "evenodd" if style["clip-rule"] == "evenodd" else "nonzero")
        return self._again(area, style, m, context, seen)

    def _again(
        self, area: MultiPolygon, style: dict[str, str], m: FloatArray, context: Context, seen: frozenset[int]
    ) -> MultiPolygon:
        name, _ = css.reference(style["clip-path"])
        other = self.drawing.by_id.get(name) if name else None
        if other is None or other.tag != "clipPath":
            return area
        return common(area, self._area(other, m, context, seen))
