"""Painted pieces of a drawing, in order, into regions, lines and layers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import MultiLineString, MultiPolygon

from pathgen.artwork.join import distinct, join
from pathgen.artwork.model import Layers
from pathgen.artwork.repair import fill, minus, rings_of, united, without_slivers
from pathgen.artwork.report import Report
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Layer


@dataclass(frozen=True, eq=False, kw_only=True)
class Piece:
    """One painted thing.

    Attributes:
        names: names of the groups around it, outermost first.
        ids: its own names.
        region: filled area, mm.
        white: painted as white as paper.
        lines: open strokes, (n, 2) mm.
        rings: closed strokes, (n, 2) mm, without the repeated last point.
        line: line of the file.
    """

    names: tuple[str, ...]
    ids: tuple[str, ...] = ()
    region: MultiPolygon = field(default_factory=MultiPolygon)
    white: bool = False
    lines: tuple[FloatArray, ...] = ()
    rings: tuple[FloatArray, ...] = ()
    line: int = 0

    def shifted(self, dx: float, dy: float) -> Piece:
        """Return it moved, mm."""
        move = np.array([dx, dy])
        return Piece(
            names=self.names,
            ids=self.ids,
            region=shapely.transform(self.region, lambda xy: xy + move),
            white=self.white,
            lines=tuple(p + move for p in self.lines),
            rings=tuple(p + move for p in self.rings),
            line=self.line,
        )


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the caller of `read` asked for; see there."""

    file: str
    tolerance: float
    join: float
    units: str | None
    strokes: str
    guessed: bool = False


def painted(pieces: Sequence[Piece], report: Report | None = None) -> MultiPolygon:
    """Return the visible filled area of pieces in painting order.

    Paint covers paint: white takes away what other paint lies below it, later paint over white counts again. Where
    all paint is white it counts as it is (white letters on a board not drawn).
    """
    pieces = [p for p in pieces if not p.region.is_empty]
    if all(p.white for p in pieces):
        if pieces and report is not None:
            report.say("all-white", "all paint is white, so white counts as the artwork")
        return united([p.region for p in pieces])
    region = MultiPolygon()
    start = 0
    for k in range(1, len(pieces) + 1):
        if k < len(pieces) and pieces[k].white == pieces[start].white:
            continue
        run = pieces[start:k]
        if run[0].white:
            left = minus(region, united([p.region for p in run]))
            if report is not None:
                _tell_white(run, region, left, report)
            region = left
        else:
            region = united([region, *[p.region for p in run]])
        start = k
    return region


def _tell_white(run: Sequence[Piece], before: MultiPolygon, after: MultiPolygon, report: Report) -> None:
    first = run[0]
    x, y = first.region.bounds[:2]
    if before.area - after.area > 1e-6:
        text = "white paint covers other paint, which is taken away there (a hole to the eye is a hole in the region)"
    else:
        text = "white paint on bare paper is left out; ask its layer for it"
    report.say("white-paint", text, where=(x, y), line=first.line, element=first.ids[0] if first.ids else None)


def stroked(
    pieces: Sequence[Piece], tolerance: float, report: Report | None = None
) -> tuple[MultiLineString, list[FloatArray]]:
    """Return (lines, closed rings) of the strokes of pieces, ends within `tolerance` joined and doubles dropped."""
    rings, twice = distinct([r for p in pieces for r in p.rings], closed=True)
    found = join([line for p in pieces for line in p.lines], tolerance)
    rings += found.loops
    if report is not None:
        for place, gap in found.gaps:
            report.say("joined", f"ends up to {_up(gap):g} mm apart were joined", where=place)
        for place in [*found.doubled, *((float(r[0, 0]), float(r[0, 1])) for r in twice)]:
            report.say("repeat", "a doubled line was dropped", where=place)
        for place in found.junctions:
            report.say("joined", "three or more line ends meet; the areas between the lines were taken", where=place)
    lines = [np.concatenate([r, r[:1]]) for r in rings] + list(found.open)
    return MultiLineString([x for x in lines if len(x) >= 2]), rings


def _up(gap: float) -> float:
    """Round up to the next of 1, 2, 5, 10 … times a power of ten, so that equal remarks are counted together."""
    power = 10.0 ** np.floor(np.log10(gap))
    return float(next(k * power for k in (1, 2, 5, 10) if k * power >= gap * (1 - 1e-9)))


def _layer(name: str, pieces: Sequence[Piece], settings: Settings) -> Layer:
    lines, rings = stroked(pieces, settings.join)
    return Layer(
        name=name,
        region=without_slivers(painted(pieces), settings.tolerance),
        lines=lines,
        outlines=without_slivers(fill(rings, "evenodd"), settings.tolerance),
        tolerance=settings.tolerance,
        units_guessed=settings.guessed,
    )


def layers(pieces: Sequence[Piece], settings: Settings, *, single: bool = False) -> Layers:
    """Return the layers by group name, or with `single` the pieces by their own names."""
    members: dict[str, list[Piece]] = {}
    for piece in pieces:
        for name in dict.fromkeys(piece.ids if single else piece.names):
            members.setdefault(name, []).append(piece)

    def maker(name: str, mine: list[Piece]) -> Callable[[], Layer]:
        return lambda: _layer(name, mine, settings)

    return Layers({name: maker(name, mine) for name, mine in members.items()})


def ink_box(pieces: Sequence[Piece]) -> tuple[float, float, float, float] | None:
    """Return the box of everything drawn, mm, or None."""
    points = [r for p in pieces for r in (*p.lines, *p.rings, *rings_of(p.region))]
    points = [p for p in points if len(p)]
    if not points:
        return None
    every = np.concatenate(points)
    (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)
