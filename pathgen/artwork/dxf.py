"""DXF in: visible entities of the model space, block instances followed, ends joined, loops filled."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import MultiLineString, MultiPolygon

from pathgen.artwork import dxfshapes
from pathgen.artwork.compose import Piece, Settings, ink_box, stroked
from pathgen.artwork.curves import NotFiniteError
from pathgen.artwork.dxffile import load
from pathgen.artwork.dxfunits import scale_of
from pathgen.artwork.model import Artwork, Layers
from pathgen.artwork.repair import fill, finite, tidy, united, without_slivers
from pathgen.artwork.report import Report
from pathgen.errors import DrawingError
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Layer

MOST_VISITS: Final = 300_000
"""Entities drawn at most, block instances counted each time: an array may ask for 30,000 x 30,000 of them."""
MOST_DEPTH: Final = 64
FAR_AWAY: Final = 1e5
"""Artwork further than this (mm) from the origin is moved near it. Larger: floats there are coarser than the grid."""
_HANDLE: Final = re.compile(rb"\n[ \t]*(?:5|105)[ \t]*\r?\n[ \t]*([0-9A-Fa-f]+)[ \t]*(?=\r?\n)")
"""A handle after its group code 5 (105 for dimension styles)."""
TEXTS: Final = frozenset({"TEXT", "MTEXT", "ATTRIB", "ATTDEF", "ARCTEXT", "RTEXT"})
QUIET: Final = frozenset({"POINT", "VIEWPORT", "SEQEND"})


@dataclass(eq=False)
class Reader:
    """Reads one document; `pieces` is the result, lines not yet joined."""

    doc: Any
    data: bytes
    scale: float
    settings: Settings
    report: Report
    pieces: list[Piece] = field(default_factory=list)
    _visits: int = 0
    _off: dict[str, str | None] = field(default_factory=dict)
    _spelling: dict[str, str] = field(default_factory=dict)
    _lines: dict[str, int] = field(default_factory=dict)

    def walk(self) -> list[Piece]:
        """Return all pieces in the file's order.

        Raises:
            DrawingError: a coordinate that is not a number, or too many entities.
        """
        from ezdxf.math import Matrix44

        to_mm = Matrix44.scale(self.scale)
        stack = [self._entities(self.doc.modelspace(), to_mm, None, ())]
        while stack:
            step = next(stack[-1], None)
            if step is None:
                stack.pop()
            else:
                stack.append(step)
        return self.pieces

    def _entities(
        self, entities: Any, to_mm: Any, outer_layer: str | None, chain: tuple[str, ...]
    ) -> Iterator[Iterator[Any]]:
        """Draw entities; yield a walk of the same kind for each block instance."""
        for entity in entities:
            self._visits += 1
            if self._visits > MOST_VISITS:
                raise DrawingError(
                    f"more than {MOST_VISITS} entities are drawn, block instances counted: explode or split it",
                    file=self.settings.file,
                )
            name = _layer_of(entity)
            layer = outer_layer if name == "0" and outer_layer is not None else name
            layer = self._spelling.setdefault(layer.casefold(), layer)
            why = self._hidden(entity, layer)
            if why is not None:
                self.report.say("layer-off", f"{why}: left out", layer=layer)
                continue
            if entity.dxftype() == "INSERT":
                yield from self._insert(entity, to_mm, layer, chain)
            else:
                self._draw(entity, to_mm, layer)

    def _hidden(self, entity: Any, layer: str) -> str | None:
        if entity.dxf.is_supported("invisible") and entity.dxf.get("invisible", 0):
            return "an entity is marked as invisible"
        if layer not in self._off:
            self._off[layer] = self._layer_state(layer)
        return self._off[layer]

    def _layer_state(self, layer: str) -> str | None:
        if layer.casefold() == "defpoints":
            return "the layer of dimension points is never plotted"
        if layer not in self.doc.layers:
            return None
        entry = self.doc.layers.get(layer)
        if entry.is_off():
            return "the layer is off"
        if entry.is_frozen():
            return "the layer is frozen"
        return "the layer is not plotted" if entry.dxf.get("plot", 1) == 0 else None

    def _line(self, handle: str | None) -> int | None:
        """Line of the text file that holds a handle, from 1, or None; all handles are looked up once."""
        if not handle:
            return None
        if not self._lines:
            number, at = 1, 0
            for found in _HANDLE.finditer(self.data):
                number += self.data.count(b"\n", at, found.start(1))
                at = found.start(1)
                self._lines.setdefault(found[1].decode("latin-1").upper(), number - 1)
        return self._lines.get(handle.upper())

    def _insert(self, entity: Any, to_mm: Any, layer: str, chain: tuple[str, ...]) -> Iterator[Iterator[Any]]:
        name = str(entity.dxf.get("name", ""))
        handle = entity.dxf.handle
        block = self.doc.blocks.get(name) if name else None
        for attribute in entity.attribs:
            self._draw(attribute, to_mm, layer)
        if block is None:
            text = f"the block '{name}' is not in the file: not drawn"
            self.report.say("block", text, layer=layer, element=handle, line=self._line(handle))
            return
        if block.block is not None and block.block.is_xref:
            self.report.say("block", f"'{name}' is another file, which is not fetched", layer=layer, element=handle)
            return
        if name.casefold() in chain or len(chain) >= MOST_DEPTH:
            text = f"the block '{name}' contains itself: not drawn again"
            self.report.say("block", text, layer=layer, element=handle, line=self._line(handle))
            return
        for offset in self._array(entity):
            m = entity.matrix44()
            m = m @ type(m).translate(*offset) @ to_mm
            yield self._entities(block, m, layer, (*chain, name.casefold()))

    def _array(self, entity: Any) -> Iterator[tuple[float, float, float]]:
        """Offsets of a block array in world coordinates: rows and columns turn with the block, but do not scale."""
        from ezdxf.math import Vec3

        rows, columns = max(entity.dxf.row_count, 1), max(entity.dxf.column_count, 1)
        dy, dx = entity.dxf.row_spacing, entity.dxf.column_spacing
        rows, columns = (rows if dy else 1), (columns if dx else 1)
        if rows * columns > MOST_VISITS:
            raise DrawingError(
                f"a block array of {rows} x {columns}: too many to cut; explode or split it",
                file=self.settings.file,
                layer=entity.dxf.handle,
                line=self._line(entity.dxf.handle),
            )
        ocs = entity.ocs()
        for row in range(rows):
            for column in range(columns):
                offset = Vec3(column * dx, row * dy).rotate_deg(entity.dxf.rotation)
                world = ocs.to_wcs(offset)
                yield world.x, world.y, world.z

    def _draw(self, entity: Any, to_mm: Any, layer: str) -> None:
        kind, handle = entity.dxftype(), entity.dxf.handle
        if kind not in dxfshapes.KINDS and kind != "HATCH":
            text = f"{kind} is not read"
            if kind in TEXTS:
                text += ": turn it into outlines in the drawing program, or set it with text()"
            self.report.say("ignored", text, layer=layer, element=handle, line=self._line(handle))
            return
        try:
            with np.errstate(over="ignore", invalid="ignore"):
                piece = self._hatch(entity, to_mm, layer) if kind == "HATCH" else self._shape(entity, to_mm, layer)
        except DrawingError:
            raise
        except NotFiniteError as error:
            raise DrawingError(
                f"a {kind} holds {error}, which is not a number or beyond all bounds: correct or delete it",
                file=self.settings.file,
                line=self._line(handle),
                layer=layer,
            ) from None
        except Exception as error:
            # One entity that the library cannot draw must not lose the rest of the drawing.
            text = f"a {kind} cannot be drawn ({str(error) or type(error).__name__}): left out"
            self.report.say("broken-entity", text, layer=layer, element=handle, line=self._line(handle))
            return
        if piece is not None:
            self.pieces.append(piece)

    def _check(self, points: FloatArray, entity: Any, layer: str) -> FloatArray:
        line = None if np.isfinite(points).all() else self._line(entity.dxf.handle)
        if not np.isfinite(points).all():
            finite(points, file=self.settings.file, line=line, layer=f"{layer} / {entity.dxf.handle}")
        return points

    def _heights(self, entity: Any, layer: str) -> None:
        """Say where heights are dropped: the third coordinate plays no part."""
        kind = entity.dxftype()
        if kind == "LINE":
            z = [entity.dxf.start.z, entity.dxf.end.z]
        elif kind == "POLYLINE":
            z = [v.dxf.location.z for v in entity.vertices]
        elif kind == "SPLINE":
            z = [p[2] for p in entity.control_points if len(p) > 2]
        else:
            return
        if z and (max(z) - min(z)) * self.scale > self.settings.tolerance:
            self.report.say("flat", "heights differ; they are dropped", layer=layer, element=entity.dxf.handle)

    def _shape(self, entity: Any, to_mm: Any, layer: str) -> Piece | None:
        kind = entity.dxftype()
        found = dxfshapes.curves(entity, to_mm, self.settings.tolerance)
        for points in found:
            self._check(points, entity, layer)
        self._heights(entity, layer)
        if kind in ("LWPOLYLINE", "POLYLINE") and self._wide(entity):
            text = "a polyline's width is not applied: its center line is taken"
            self.report.say("stroke-width", text, layer=layer, element=entity.dxf.handle)
        if kind in ("SOLID", "TRACE"):
            return Piece(names=(layer,), region=fill(found))
        lines, rings = [], []
        for points in found:
            clean = tidy(points, closed=False)
            if len(clean) < len(points):
                where = (float(points[0, 0]), float(points[0, 1]))
                self.report.say("repeat", "repeated points were dropped", where=where, layer=layer)
            if len(clean) < 2:
                text = f"a {kind} without length was left out"
                self.report.say("no-area", text, layer=layer, element=entity.dxf.handle)
            elif len(clean) > 3 and (clean[0] == clean[-1]).all():
                rings.append(clean[:-1])
            else:
                lines.append(clean)
        return Piece(names=(layer,), lines=tuple(lines), rings=tuple(rings)) if lines or rings else None

    @staticmethod
    def _wide(entity: Any) -> bool:
        if entity.dxftype() == "LWPOLYLINE":
            return bool(entity.has_width)
        return bool(entity.has_width) if entity.is_2d_polyline else False

    def _hatch(self, entity: Any, to_mm: Any, layer: str) -> Piece | None:
        def tell(where: tuple[float, float]) -> None:
            text = "a hatch boundary has a gap, closed by a straight line"
            self.report.say("joined", text, where=where, layer=layer, element=entity.dxf.handle)

        region = dxfshapes.hatch(entity, to_mm, self.settings.tolerance, self.settings.join, tell)
        if not entity.dxf.solid_fill:
            self.report.say("paint", "a hatch pattern counts as a solid area", layer=layer, element=entity.dxf.handle)
        return None if region.is_empty else Piece(names=(layer,), region=region)


def _layer_of(entity: Any) -> str:
    """Return the layer's name; an entity of a kind that the library does not know may have none."""
    return str(entity.dxf.get("layer", "0")) if entity.dxf.is_supported("layer") else "0"


def _compose(
    pieces: Sequence[Piece], settings: Settings, report: Report | None
) -> tuple[MultiPolygon, MultiLineString]:
    """Region and open lines of one layer: loops by the even-odd rule, united with hatches."""
    lines, rings = stroked(pieces, settings.join, report)
    loops = fill(rings, "evenodd")
    region = united([loops, *[p.region for p in pieces]])
    return without_slivers(region, settings.tolerance, report), MultiLineString(list(lines.geoms)[len(rings) :])


def read_dxf(data: bytes, settings: Settings) -> Artwork:
    """Return the artwork of a DXF file; see `pathgen.artwork.read.read`."""
    report = Report()
    doc = load(data, settings, report)
    scale, guessed = scale_of(data, settings, report)
    settings = replace(settings, guessed=guessed)
    pieces = Reader(doc, data, scale, settings, report).walk()
    box = ink_box(pieces)
    if box is None:
        paper = any(len(layout) for layout in doc.layouts if layout.name != "Model")
        why = report.summary()
        raise DrawingError(
            "there is nothing to cut in its model space"
            + ("; its paper space is not empty: move the drawing to model space" if paper else "")
            + (f" ({why})" if why else ""),
            file=settings.file,
        )
    origin = (0.0, 0.0)
    if max(map(abs, box)) > FAR_AWAY:
        origin = (float(np.floor(box[0])), float(np.floor(box[1])))
        pieces = [p.shifted(-origin[0], -origin[1]) for p in pieces]
        report.say("far-away", f"the artwork lay far away and was moved by ({-origin[0]:g}, {-origin[1]:g}) mm")
    size = (box[2] - box[0], box[3] - box[1])
    report.say("size", f"the artwork is {size[0]:.3f} x {size[1]:.3f} mm")
    return _artwork(pieces, settings, report, size, origin)


def _artwork(
    pieces: list[Piece], settings: Settings, report: Report, size: tuple[float, float], origin: tuple[float, float]
) -> Artwork:
    for piece in pieces:
        for points in (*piece.lines, *piece.rings):
            finite(points, file=settings.file, layer=piece.names[0])
    by_layer: dict[str, list[Piece]] = {}
    for piece in pieces:
        by_layer.setdefault(piece.names[0], []).append(piece)
    made: dict[str, Layer] = {}
    for name, mine in by_layer.items():
        kept = mine
        if settings.strokes == "ignore":
            kept = [replace(p, lines=()) for p in mine]
            if any(p.lines for p in mine):
                report.say("no-strokes", "open lines were left out, as asked", layer=name)
        region, lines = _compose(kept, settings, report)
        made[name] = Layer(
            name=name, region=region, lines=lines, tolerance=settings.tolerance, units_guessed=settings.guessed
        )
        for line in lines.geoms:
            x, y = line.coords[-1]
            report.say("open", "an open line: it encloses nothing, cut along it or close it", where=(x, y), layer=name)
    region = united([layer.region for layer in made.values()])
    lines = MultiLineString([g for layer in made.values() for g in shapely.get_parts(layer.lines)])
    if region.is_empty and lines.is_empty:
        raise DrawingError("there is nothing left to cut in it: check its unit and tolerance", file=settings.file)
    return Artwork(
        region=region,
        lines=lines,
        layers=Layers({name: partial(made.__getitem__, name) for name in made}),
        notes=report.notes(),
        size=size,
        units_guessed=settings.guessed,
        path=settings.file,
        tolerance=settings.tolerance,
        origin=origin,
    )
