"""Offsets: closed forms, the bound on the gouge side, laws on nasty shapes."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from pathgen.errors import ArgumentError
from pathgen.shape.offset import as_multi, grown, opened, simplified


def test_a_rectangle_grows_by_a_strip_and_four_quarter_discs():
    """Steiner's formula: area + perimeter * r + pi r^2 (exact geometry)."""
    for r in (0.3, 3.0, 12.0):
        want = 30 * 20 + 100 * r + math.pi * r * r
        got = grown(box(0, 0, 30, 20), r, error=0.001).area
        assert want - 0.001 * 2 * math.pi * r <= got <= want + 1e-9


def test_a_rectangle_shrinks_to_the_exact_rectangle():
    assert grown(box(0, 0, 30, 20), -4).equals_exact(MultiPolygon([box(4, 4, 26, 16)]).normalize(), 1e-9) or np.isclose(
        grown(box(0, 0, 30, 20), -4).area, 22 * 12, atol=1e-9
    )
    assert grown(box(0, 0, 30, 20), -4).bounds == pytest.approx((4, 4, 26, 16), abs=1e-9)
