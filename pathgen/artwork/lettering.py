"""`text`: words set in a typeface, as filled areas that know their letters.

Terminology
-----------
cluster
    the characters that one group of glyphs stands for; "fi" may be one glyph, "e" with an accent two.
glyph id
    number of an outline in its font; 0 is the box that stands for "I have no such letter".
pen
    where the next glyph's origin goes. A line's pen starts at x = 0 on its baseline.

Steps: split lines, refuse what the shaper would set in a wrong order, shape each run of one script (kerning,
ligatures, joins), flatten each outline once, fill it by the nonzero rule, place copies, unite what overlaps.
"""

from __future__ import annotations

import math
import os
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pathgen.artwork.typeface import Typeface, script_of, typeface
from pathgen.errors import ArgumentError, DrawingError, number, one_of, positive
from pathgen.model.arrays import FloatArray, IntArray
from pathgen.model.artwork import Lettering, Matrix

Align: TypeAlias = Literal["left", "center", "right"]

UNITS_PER_MM = 1e6
"""Whole numbers in which glyphs are filled, per mm: rounding moves a vertex by at most 0.7e-6 mm. Smaller: the
rounding would show in the tolerance; larger: letters a kilometre high would not fit in 62 bits."""

ON_CURVE_SHARE = 0.99
"""Share of the tolerance given to chords; the rest covers the rounding above."""

HIGHEST = 1e5
"""Largest cap height, mm: larger ones are a mistaken unit."""

FINEST = 1e-4
"""Smallest tolerance, mm. Smaller: the rounding to `UNITS_PER_MM` would take more than its share of it."""

COARSEST = 0.1
"""Largest tolerance, as a share of the cap height. Larger: the letters would no longer be read as such."""

FARTHEST = 1e6
"""Largest distance of a letter from (0, 0), mm: beyond 1 km no cut is planned."""

CRUMB = 1e-8
"""Filled pieces and holes smaller than this are rounding noise, mm2."""

NEWLINE = re.compile("\r\n|[\n\r\v\f\x85\u2028\u2029]")

NO_INK = frozenset("\u2800\u115f\u1160\u3164\uffa0")
"""Characters counted as letters or symbols that Unicode defines as blank: the empty braille cell, Hangul fillers."""


def text(
    string: str,
    *,
    height: float,
    font: str | os.PathLike[str] | None = None,
    tracking: float = 0.0,
    align: Align = "left",
    line_spacing: float = 1.5,
    tolerance: float = 0.002,
) -> Lettering:
    """Return `string` set in a typeface.

    The first line's baseline is y = 0 and the widest line's pen starts at x = 0; further lines lie below.

    Args:
        string: the words; a newline starts a new line.
        height: cap height, mm: the flat top of this font's 'H' over the baseline (for a font without 'H', the cap
            height that its OS/2 table states).
        font: a .ttf or .otf file; or "serif" or "sans" with an optional weight and "italic", such as "sans bold";
            None = "serif semibold". The packaged families are Source Serif and Source Sans (OFL).
        tracking: extra space between letters, mm; negative sets them closer. Ligatures are off unless it is 0.
        align: of several lines, by their advance widths: "left", "center" or "right".
        line_spacing: distance of baselines, in cap heights.
        tolerance: largest distance of the area's edge from the font's true curves, mm. Vertices lie on the curves.

    Raises:
        ArgumentError: for an empty string, a number that is not usable, an unknown word, a tracking that would set
            letters before those they follow, a tolerance below 0.0001 mm or above a tenth of the height.
        DrawingError: for a font file that cannot be used, letters the font lacks or has no outline for, and lines
            that mix writing directions.

    >>> fern = text("Fern", height=40)
    >>> [round(y, 6) for y in (fern.outlines[fern.glyphs[0][0]].bounds[1], fern.outlines[fern.glyphs[0][0]].bounds[3])]
    [0.0, 40.0]
    """
    _check(string, height, tracking, align, line_spacing, tolerance)
    face = typeface(font)
    lines = [_line(face, line, float(height) / face.cap_height, float(tracking)) for line in _lines(string)]
    _refuse_missing(face, lines)
    widest = max(line.width for line in lines)
    share = {"left": 0.0, "center": 0.5, "right": 1.0}[align]
    ids = [i for line in lines for i in line.ids]
    pen = [
        line.pen + np.array([share * (widest - line.width), -row * line_spacing * height])
        for row, line in enumerate(lines)
    ]
    if not all((np.abs(p) < FARTHEST).all() for p in pen):
        raise ArgumentError(
            f"height={height:g}, tracking={tracking:g} and line_spacing={line_spacing:g} would set letters more than "
            "1 km away: make them smaller, or the text shorter"
        )
    made = (float(height), float(tolerance))
    return _assemble(face, ids, np.concatenate(pen), _areas(face, lines, *made), made, string)


def _check(string: str, height: float, tracking: float, align: str, line_spacing: float, tolerance: float) -> None:
    """Raise for arguments that cannot be carried out."""
    if not isinstance(string, str):
        raise ArgumentError(f'text={string!r} is no text: give the words to set, as in text("Fern", height=40)')
    if not string.strip():
        raise ArgumentError(f"text {string!r} is empty: give the words to set")
    positive("height", height)
    positive("line_spacing", line_spacing)
    positive("tolerance", tolerance)
    one_of("align", align, ("left", "center", "right"))
    number("tracking", tracking)
    if height > HIGHEST:
        raise ArgumentError(f"height={height:g} mm is a cap height of more than 100 m: give it in mm")
    if not FINEST <= tolerance <= COARSEST * height:
        raise ArgumentError(
            f"tolerance={tolerance:g} mm for letters {height:g} mm high must lie between {FINEST:g} and "
            f"{COARSEST * height:g} mm, a tenth of the height"
        )


@dataclass(frozen=True, eq=False)
class _Line:
    """One shaped line.

    Attributes:
        ids: glyph ids, in order.
        pen: origin of each, (n, 2), mm.
        width: advance width, mm.
        missing: characters without a glyph.
        visible: (characters, glyph ids) of each cluster that should leave ink.
    """

    ids: list[int]
    pen: FloatArray
    width: float
    missing: str
    visible: tuple[tuple[str, tuple[int, ...]], ...]


def _lines(string: str) -> list[str]:
    """Split into lines, and refuse what no shaper sets rightly on its own."""
    lines = NEWLINE.split(string)
    for line in lines:
        bad = sorted({c for c in line if unicodedata.category(c) in ("Cc", "Cs")})
        if bad:
            raise DrawingError(
                f"the text holds control characters ({', '.join(f'U+{ord(c):04X}' for c in bad)}): take them out",
                layer=line,
            )
        kinds = {unicodedata.bidirectional(c) for c in line}
        marks = kinds & {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
        right_to_left = kinds & {"R", "AL"}
        if marks or (right_to_left and kinds & {"L", "EN", "AN"}):
            raise DrawingError(
                "the line mixes writing directions (right-to-left letters with left-to-right letters or numbers), "
                "and would be set in a wrong order: set each part by its own text() and place them",
                layer=line,
            )
    return lines


def _runs(line: str) -> list[str]:
    """Cut a line where the script changes; spaces, digits and marks stay with the run before them.

    A simple form of script itemization (Unicode Standard Annex 24, section 5.1).
    """
    runs: list[str] = []
    current: str | None = None
    for c in line:
        script = script_of(c)
        if runs and (script is None or current is None or script == current):
            runs[-1] += c
        else:
            runs.append(c)
        current = script or current
    return runs


def _line(face: Typeface, line: str, scale: float, tracking: float) -> _Line:
    """Shape one line and walk the pen over it."""
    ids: list[int] = []
    rows: list[tuple[float, float]] = []
    missing, visible = "", []
    x = 0.0
    for run in _runs(line):
        shaped = face.shape(run, ligatures=tracking == 0.0)
        clusters: dict[int, list[int]] = {}
        previous: int | None = None
        begun = -math.inf
        for glyph in shaped:
            if glyph.cluster != previous:
                if tracking and previous is not None:
                    x += tracking
                _refuse_backwards(x, begun, tracking, run)
                begun = x if glyph.advance else begun
            rows.append((x + glyph.dx * scale, glyph.dy * scale))
            x += glyph.advance * scale
            ids.append(glyph.id)
            clusters.setdefault(glyph.cluster, []).append(glyph.id)
            previous = glyph.cluster
        if tracking and shaped:
            x += tracking
        starts = sorted(clusters)
        for start, end in zip(starts, [*starts[1:], len(run)], strict=True):
            word, members = run[start:end], clusters[start]
            if 0 in members:
                missing += "".join(c for c in word if not face.has(c)) or word
            elif any(unicodedata.category(c)[0] in "LNPS" and c not in NO_INK for c in word):
                visible.append((word, tuple(members)))
    width = x - tracking if ids else 0.0
    return _Line(ids, np.array(rows, dtype=np.float64).reshape(-1, 2), width, missing, tuple(visible))


def _refuse_backwards(x: float, begun: float, tracking: float, run: str) -> None:
    """Raise where tracking sets a letter at or before the start of the one it follows."""
    if tracking < 0 and x <= begun:
        raise ArgumentError(
            f"tracking={tracking:g} mm sets letters of {run[:40]!r} over or before those they follow: take a number "
            "nearer to 0"
        )


def _refuse_missing(face: Typeface, lines: Sequence[_Line]) -> None:
    """Raise for characters without a glyph, and for visible ones whose glyphs hold no outline."""
    missing = sorted({c for line in lines for c in line.missing})
    if missing:
        listed = ", ".join(f"'{c}' (U+{ord(c):04X})" for c in missing)
        raise DrawingError(
            f"{face.name} has no letter for {listed}: take a font that has, or other words", file=face.file
        )
    checked: set[tuple[str, tuple[int, ...]]] = {pair for line in lines for pair in line.visible}
    empty = sorted({word for word, ids in checked if not any(len(face.outline(i).owner) for i in ids)})
    if empty:
        raise DrawingError(
            f"{face.name} holds no outline for {', '.join(map(repr, empty))}: it is a bitmap or color font, or these "
            "letters are blank in it. Take an outline font",
            file=face.file,
        )


def _areas(face: Typeface, lines: Sequence[_Line], height: float, tolerance: float) -> dict[int, MultiPolygon]:
    """Return the area of each glyph; raise for a visible one that has an outline but encloses nothing."""
    shapes = {i: _filled(face, i, height, tolerance) for i in dict.fromkeys(i for line in lines for i in line.ids)}
    words = {i: word for line in lines for word, members in line.visible for i in members}
    flat = sorted({words.get(i, f"glyph {i}") for i, s in shapes.items() if s.is_empty and len(face.outline(i).owner)})
    if flat:
        raise DrawingError(
            f"{face.name}: {', '.join(map(repr, flat))} encloses no area at {height:g} mm, so it cannot be cut: take "
            "another font",
            file=face.file,
        )
    return shapes


def _assemble(
    face: Typeface,
    ids: list[int],
    pen: FloatArray,
    shapes: Mapping[int, MultiPolygon],
    made: tuple[float, float],
    string: str,
) -> Lettering:
    """Place a copy of each glyph's area and unite those that overlap; `made` = (height, tolerance) of the areas."""
    inked = [k for k, i in enumerate(ids) if not shapes[i].is_empty]
    if not inked:
        raise ArgumentError(f"text {string!r} leaves no ink: give the words to set")
    pen = pen[inked]
    names = {i: f"{face.digest}-{i}-{made[0]!r}-{made[1]!r}" for i in shapes}
    glyphs: tuple[tuple[str, Matrix], ...] = tuple(
        (names[ids[k]], (1.0, 0.0, 0.0, 1.0, x, y)) for k, (x, y) in zip(inked, pen.tolist(), strict=True)
    )
    used = {ids[k] for k in inked}
    outlines: Mapping[str, MultiPolygon] = {names[i]: s for i, s in shapes.items() if i in used}
    letters = np.array([shapes[ids[k]] for k in inked], dtype=object)
    coords = shapely.get_coordinates(letters) + np.repeat(pen, shapely.get_num_coordinates(letters), axis=0)
    letters = shapely.set_coordinates(letters, coords)
    return Lettering(region=united(letters), glyphs=glyphs, outlines=outlines, tolerance=made[1], text=string)


def united(shapes: Sequence[MultiPolygon] | np.ndarray[tuple[int], np.dtype[np.object_]]) -> MultiPolygon:
    """Return the union of areas as one valid MultiPolygon; those that touch no other pass through unchanged.

    Uniting all at once would node every letter anew; on a line of text few letters touch.
    """
    parts = shapely.get_parts(np.asarray(shapes, dtype=object))
    a, b = shapely.STRtree(parts).query(parts, predicate="intersects")
    touching = np.unique(a[a != b])
    if len(touching) == 0:
        return MultiPolygon(parts.tolist())
    merged = shapely.get_parts(shapely.union_all(parts[touching]))
    merged = [p for p in merged if isinstance(p, Polygon)]
    return MultiPolygon([*np.delete(parts, touching).tolist(), *map(shapely.geometry.polygon.orient, merged)])


# -- one glyph ----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def _filled(face: Typeface, glyph: int, height: float, tolerance: float) -> MultiPolygon:
    """Return a glyph's area in mm, its origin at (0, 0)."""
    outline = face.outline(glyph)
    scale = height / face.cap_height
    xy, owner = flattened(outline.curves * scale, outline.owner, tolerance * ON_CURVE_SHARE)
    return nonzero(xy, owner)


def flattened(curves: FloatArray, owner: IntArray, tolerance: float) -> tuple[FloatArray, IntArray]:
    """Cut cubic Bezier curves into equal parameter steps whose chords stay within `tolerance` of them.

    Steps n = ceil(sqrt(3 / 4 M / tolerance)), M = the larger second difference of the control points: Wang's
    formula for degree 3 (G. Wang 1984; in R. Goldman, Pyramid Algorithms, 2003, section 5.6.3). A quadratic raised
    to a cubic gives the same n as Wang's formula for degree 2, a line 1.

    Args:
        curves: control points (n, 4, 2), mm.
        owner: contour of each curve (n,), ascending.
        tolerance: mm, > 0.

    Returns:
        Vertices (m, 2) on the curves, each curve's end left out (the next one's start), and the contour of each.
    """
    second = np.diff(curves, n=2, axis=1)
    bend = np.hypot(second[..., 0], second[..., 1]).max(axis=1) if len(curves) else np.empty(0)
    steps = np.maximum(np.ceil(np.sqrt(0.75 * bend / tolerance)), 1).astype(np.int64)
    which = np.repeat(np.arange(len(curves)), steps)
    k = np.arange(len(which)) - np.repeat(np.cumsum(steps) - steps, steps)
    t = (k / steps[which])[:, None]
    p, s = curves[which], 1.0 - t
    xy = s * s * s * p[:, 0] + 3 * s * s * t * p[:, 1] + 3 * s * t * t * p[:, 2] + t * t * t * p[:, 3]
    return xy, owner[which]


def nonzero(xy: FloatArray, owner: IntArray) -> MultiPolygon:
    """Return the area that closed contours enclose by the nonzero rule, whichever way each of them turns.

    Args:
        xy: vertices (n, 2), mm.
        owner: contour of each vertex (n,), ascending.

    Returns:
        A valid MultiPolygon, outer rings counter-clockwise, each vertex within 1e-6 mm of where it was.
    """
    import pyclipper

    whole = np.rint(xy * UNITS_PER_MM).astype(np.int64)
    rings = np.split(whole, np.flatnonzero(np.diff(owner)) + 1) if len(whole) else []
    clipper = pyclipper.Pyclipper()
    clipper.StrictlySimple = True
    given = [r.tolist() for r in rings if len(r) >= 3 and np.ptp(r, axis=0).min() > 0]
    if not given:
        return MultiPolygon()
    try:
        clipper.AddPaths(given, pyclipper.PT_SUBJECT, True)
        tree = clipper.Execute2(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    except pyclipper.ClipperException:  # every contour has no area
        return MultiPolygon()
    polygons: list[Polygon] = []
    waiting = list(tree.Childs)
    while waiting:
        outer = waiting.pop()
        holes = [h.Contour for h in outer.Childs]
        polygons.append(Polygon(outer.Contour, holes))
        waiting += [island for h in outer.Childs for island in h.Childs]
    area = shapely.transform(MultiPolygon(polygons), lambda c: c / UNITS_PER_MM)
    return _clean(area)


def _clean(area: MultiPolygon) -> MultiPolygon:
    """Drop rounding crumbs, orient, and sort, so that every machine lists the pieces alike."""
    if not area.is_valid:
        area = shapely.make_valid(area, method="structure")
    kept = []
    for p in shapely.get_parts(area):
        if isinstance(p, Polygon) and p.area > CRUMB:
            holes = [h for h in p.interiors if Polygon(h).area > CRUMB]
            kept.append(shapely.geometry.polygon.orient(Polygon(p.exterior, holes)))
    kept.sort(key=lambda p: p.bounds)
    return MultiPolygon(kept)
