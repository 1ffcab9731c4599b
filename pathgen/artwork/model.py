"""What a drawing becomes: `Artwork`, and the `Note` that says what was done to it or left out."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from shapely.geometry import MultiLineString, MultiPolygon

from pathgen.errors import DrawingError
from pathgen.model.artwork import Layer

CODES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "size": "the size that came out, in mm",
        "units": "how the unit was decided",
        "no-page": "the drawing states no page; its own box was taken",
        "off-page": "artwork lies outside the page; it was kept",
        "far-away": "artwork lay far from the origin and was moved near it",
        "white-paint": "white paint covers other paint and takes it away",
        "all-white": "white paint only: it counts as the artwork",
        "stroke-width": "a stroke's width was not applied",
        "closed-strokes": "closed outlines drawn as strokes only",
        "no-strokes": "strokes were left out because strokes='ignore'",
        "dash": "a dashed stroke was taken as a solid one",
        "hidden": "hidden parts were left out",
        "paint": "a gradient or pattern counts as solid paint, or a paint was not found",
        "ignored": "a kind of thing that is not read",
        "style": "a style rule that is not understood",
        "broken-path": "path data with an error: drawn up to the error",
        "broken-value": "a number, length or transform with an error",
        "reference": "a reference to something that is not there, or to itself",
        "clip": "a clip that was not applied",
        "no-area": "a filled shape without area",
        "repeat": "repeated points or doubled shapes were dropped",
        "crossing": "an outline crossed itself and was resolved by its fill rule",
        "sliver": "a piece thinner than the tolerance was dropped",
        "joined": "open ends were joined",
        "open": "open lines stay open",
        "flat": "heights (z) were dropped",
        "layer-off": "a layer that is off, frozen or not plotted was left out",
        "block": "a block that is missing, cyclic or another file",
        "broken-entity": "an entity that cannot be drawn",
        "recovered": "the file was damaged and repaired while reading",
    }
)
"""Every code a `Note` may carry, with its meaning."""


@dataclass(frozen=True, kw_only=True)
class Note:
    """One thing the reader did, decided or left out: never silence.

    Attributes:
        code: one of `CODES`.
        text: what is so, in one sentence, with what to do where something can be done.
        where: (x, y) in mm in the artwork's coordinates, or None.
        layer: layer or group it concerns, or None.
        line: line of the file, from 1, or None.
        element: id or handle, or None.
    """

    code: str
    text: str
    where: tuple[float, float] | None = None
    layer: str | None = None
    line: int | None = None
    element: str | None = None

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"note code {self.code!r} is not listed in CODES")

    def __str__(self) -> str:
        place = [f"line {self.line}"] if self.line is not None else []
        place += [f"'{self.element}'"] if self.element else []
        place += [f"layer '{self.layer}'"] if self.layer else []
        place += ["at ({:.3f}, {:.3f})".format(*self.where)] if self.where is not None else []
        return f"{self.code}: {self.text}" + (f" [{', '.join(place)}]" if place else "")


class UnknownLayerError(DrawingError, KeyError):
    """A name that the drawing does not hold; also caught by ``except KeyError``."""

    __str__ = Exception.__str__


class Layers(Mapping[str, Layer]):
    """The named parts of a drawing; each is worked out when first asked for, then kept.

    Args:
        makers: a function for each name, in the drawing's order.
    """

    def __init__(self, makers: Mapping[str, Callable[[], Layer]]) -> None:
        self._makers = dict(makers)
        self._made: dict[str, Layer] = {}

    def __getitem__(self, name: str) -> Layer:
        if name not in self._made:
            self._made[name] = self._makers[name]()
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._makers)

    def __len__(self) -> int:
        return len(self._makers)

    def __repr__(self) -> str:
        return f"Layers({', '.join(self._makers)})"


@dataclass(frozen=True, eq=False, kw_only=True)
class Artwork:
    """A drawing, in mm, X right and Y away from the operator.

    Normal form of every region (checked by `pathgen.artwork.repair.check`): finite, closed, simple, shells
    counter-clockwise and holes clockwise, nothing thinner than the tolerance, no piece twice.

    Attributes:
        region: all visible filled area. In an SVG white paint that covers other paint takes it away, later paint
            over it counts again (a `Note` says so); a drawing painted in white alone counts as it is. In a DXF the
            closed loops of a layer are filled by the even-odd rule, hatches are added, and layers are united.
        lines: strokes without fill, as center lines; closed ones end where they start.
        outlines: the area inside closed strokes without fill, by the even-odd rule: the region that a maker who
            draws outlines means. In a DXF closed loops are in `region` already and this is empty.
        layers: name to `Layer`, in the drawing's order. In an SVG: groups by label, else by id.
        notes: everything decided, changed or ignored.
        size: SVG: the page; DXF: the box of the artwork; (width, height), mm.
        units_guessed: the drawing did not state its unit.
        path: the file.
        tolerance: largest distance of the region's outlines and the lines from the true curves, mm.
        origin: (x, y) in mm of the artwork's (0, 0) in the drawing's own coordinates; other than (0, 0) only where
            a DXF lay too far away.
        elements: like `layers`, for single shapes by id; SVG only.
    """

    region: MultiPolygon
    lines: MultiLineString
    outlines: MultiPolygon = field(default_factory=MultiPolygon)
    layers: Mapping[str, Layer]
    notes: tuple[Note, ...] = ()
    size: tuple[float, float]
    units_guessed: bool
    path: str
    tolerance: float
    origin: tuple[float, float] = (0.0, 0.0)
    elements: Mapping[str, Layer] = field(default_factory=lambda: Layers({}))

    def __getitem__(self, name: str) -> Layer:
        """Return the layer (or else the single element) called `name`.

        Upper and lower case count in an SVG; in a DXF they do not, as the format says.

        Raises:
            UnknownLayerError: a `DrawingError` and a `KeyError`, with the nearest names there are.
        """
        for names in (self.layers, self.elements):
            if name in names:
                return names[name]
        if self.path.lower().endswith(".dxf"):
            same = [n for n in self.layers if n.casefold() == name.casefold()]
            if same:
                return self.layers[same[0]]
        every = [*self.layers, *self.elements]
        low = {n.casefold(): n for n in reversed(every)}
        near = [low[n] for n in difflib.get_close_matches(name.casefold(), low, n=5, cutoff=0.5)]
        names_there = ", ".join(repr(n) for n in (near or every[:8])) or "no names at all"
        hidden = [n.text for n in self.notes if n.code in ("hidden", "layer-off") and n.layer == name]
        raise UnknownLayerError(
            f"there is no layer or element called {name!r}"
            + (f" among what is visible ({hidden[0]})" if hidden else "")
            + (f"; the nearest names are {names_there}" if near else f"; the drawing has {names_there}"),
            file=self.path,
            layer=name,
        )
