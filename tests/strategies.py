"""Random regions for hypothesis, biased to the nearly degenerate; tested in test_strategies.py."""

from __future__ import annotations

import math

import numpy as np
import shapely
from hypothesis import strategies as st
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

NUDGES = (0.0, 1e-7, 1e-4, 0.01)
"""What coordinates are moved by: noise, less than any tolerance, about one tolerance."""


@st.composite
def wobbly_discs(draw: st.DrawFn, *, least: float = 8.0, most: float = 40.0) -> Polygon:
    """A star-shaped outline with lobes, mm."""
    n = draw(st.integers(6, 60))
    radii = draw(st.lists(st.floats(least, most), min_size=n, max_size=n))
    return Polygon(
        [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)]
    )


@st.composite
def unions_of_bars(draw: st.DrawFn) -> MultiPolygon:
    """Bars laid over each other at any angle, many of them parallel or nearly so, with necks as wide as they happen."""
    shapes = []
    for _ in range(draw(st.integers(1, 5))):
        width, height = draw(st.floats(2.0, 60.0)), draw(st.floats(2.0, 25.0))
        angle = draw(st.one_of(st.sampled_from([0.0, 90.0, 45.0, 0.001]), st.floats(0.0, 180.0)))
        x, y = draw(st.floats(-30.0, 30.0)), draw(st.floats(-30.0, 30.0))
        nudge = draw(st.sampled_from(NUDGES))
        shapes.append(translate(rotate(box(0, 0, width + nudge, height), angle, origin=(0, 0)), x, y))
    return _many(shapely.union_all(shapes))


@st.composite
def plates_with_islands(draw: st.DrawFn) -> MultiPolygon:
    """A plate with islands, some of which touch each other or its edge."""
    plate = box(0, 0, draw(st.floats(30.0, 80.0)), draw(st.floats(30.0, 60.0)))
    islands = []
    for _ in range(draw(st.integers(1, 8))):
        x, y = draw(st.floats(0.0, 80.0)), draw(st.floats(0.0, 60.0))
        if draw(st.booleans()):
            islands.append(Point(x, y).buffer(draw(st.floats(0.5, 9.0)), quad_segs=draw(st.integers(2, 24))))
        else:
            islands.append(LineString([(x, y), (x + draw(st.floats(-20.0, 20.0)), y + 8.0)]).buffer(0.7, cap_style=2))
    return _many(shapely.difference(plate, shapely.union_all(islands)))


@st.composite
def rooms_and_necks(draw: st.DrawFn, *, diameter: float = 3.0) -> MultiPolygon:
    """Two rooms joined by a neck about as wide as a tool of `diameter` mm: a hair more, a hair less, or exactly."""
    width = diameter + draw(st.sampled_from([-1, 1])) * draw(st.sampled_from(NUDGES))
    low = draw(st.floats(2.0, 10.0))
    gap = draw(st.floats(0.5, 30.0))
    rooms = [box(0, 0, 25, 20), box(25, low, 25 + gap, low + width), box(25 + gap, 0, 45 + gap, 22)]
    return _many(rotate(shapely.union_all(rooms), draw(st.sampled_from([0.0, 30.0, 90.0])), origin=(0, 0)))


def regions() -> st.SearchStrategy[MultiPolygon]:
    """Any of the above, with some area; mm."""
    return st.one_of(wobbly_discs().map(_many), unions_of_bars(), plates_with_islands(), rooms_and_necks()).filter(
        lambda r: r.area > 1.0
    )


def _many(shape: shapely.Geometry) -> MultiPolygon:
    shape = shapely.make_valid(shapely.transform(shape, lambda xy: np.round(xy, 9)))
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 1e-3]
    return MultiPolygon(parts)
