"""Ways inside a region: straight where that is free, else round holes and along the outline."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, Point, box
from strategies import regions

from pathgen.cuts.clearing import Segments, rings_of
from pathgen.cuts.routes import along, route, way_length

SQUARE = Segments([np.array([[0.0, 0], [10, 0], [10, 10], [0, 10], [0, 0]])])


def found(region, a, b):
    return route(region, Segments(rings_of(region, "climb")), np.array(a, dtype=float), np.array(b, dtype=float))


@pytest.mark.parametrize("seed", range(5))
def test_the_nearest_point_of_a_table_is_the_nearest_point_of_its_lines(seed):
    """Against shapely's distance, whichever pieces are looked at; and all pieces that cross a box are found."""
    random = np.random.default_rng(seed)
    xy = np.cumsum(random.normal(scale=3.0, size=(80 + 40 * seed, 2)), axis=0)
    table, both = Segments([xy[:40], xy[40:]]), MultiLineString([xy[:40], xy[40:]])
    for at in random.uniform(-60, 60, (9, 2)):
        piece, foot, far = table.nearest(at)
        assert far == pytest.approx(Point(at).distance(both), abs=1e-4)
        assert LineString([table.a[piece], table.a[piece] + table.step[piece]]).distance(Point(foot)) < 1e-9
        second = table.nearest(at, table.owner == 1)
        assert second[2] == pytest.approx(Point(at).distance(LineString(xy[40:])), abs=1e-4)
        assert table.nearest_on(1, at)[2] == pytest.approx(second[2], abs=1e-4)
    way = LineString([(-30, -20), (25, 30)])
    lines = shapely.linestrings(np.stack([table.a, table.a + table.step], axis=1))
    found = table.near(np.array([-30.0, -20]), np.array([25.0, 30]))
    assert set(np.flatnonzero(shapely.intersects(lines, way))) <= set(found)


def test_the_shorter_way_along_a_ring():
    assert along(SQUARE, np.array([2.0, 0]), np.array([10.0, 3])).tolist() == [[2, 0], [10, 0], [10, 3]]
    back = along(SQUARE, np.array([2.0, 0]), np.array([0.0, 3]))
    assert back.tolist() == [[2, 0], [0, 0], [0, 3]]
    assert along(SQUARE, np.array([0.0, 1]), np.array([9.0, 0])).tolist() == [[0, 1], [0, 0], [9, 0]]


def test_a_free_way_is_straight():
    assert found(box(0, 0, 10, 10), (1, 1), (9, 7)).tolist() == [[1, 1], [9, 7]]
    assert found(box(0, 0, 10, 10), (0, 5), (10, 5)).tolist() == [[0, 5], [10, 5]]


def test_a_way_goes_round_a_hole_by_the_shorter_side():
    region = box(0, 0, 20, 20).difference(box(8, 6, 12, 16))
    way = found(region, (2, 8), (18, 8))
    assert way_length(way) == pytest.approx(16 + 2 * 2)
    assert region.buffer(1e-6).covers(LineString(way))


def test_a_way_goes_along_the_outline_of_a_bent_room():
    region = box(0, 0, 20, 20).difference(box(5, 0, 15, 15))
    way = found(region, (2, 1), (18, 1))
    assert region.buffer(1e-6).covers(LineString(way))
    assert way_length(way) == pytest.approx(3 + 14 + 10 + 14 + 3)


@given(regions(), st.tuples(*[st.floats(0, 1)] * 4))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_no_way_leaves_its_region(region, where):
    piece = max(region.geoms, key=lambda p: p.area)
    x0, y0, x1, y1 = piece.bounds
    ends = [Point(x0 + u * (x1 - x0), y0 + v * (y1 - y0)) for u, v in (where[:2], where[2:])]
    a, b = (shapely.get_coordinates(shapely.shortest_line(piece, p))[0] for p in ends)
    way = found(piece, a, b)
    if way is None:
        return
    assert np.allclose(way[[0, -1]], [a, b])
    assert piece.buffer(2e-3).covers(LineString(way) if way_length(way) > 0 else Point(a))
