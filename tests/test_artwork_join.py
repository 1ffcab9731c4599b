"""Open ends joined: chains, loops, junctions, doubles."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.artwork.join import cluster, distinct, join

SQUARE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], dtype=float)


def sides(corners):
    return [np.array([a, b]) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]


def area(loop):
    return abs(shapely.Polygon(loop).area)


@settings(deadline=None, max_examples=60)
@given(st.integers(3, 14), st.randoms(use_true_random=False), st.floats(0, 0.0049))
def test_the_sides_of_a_polygon_in_any_order_and_direction_are_one_loop(n, random, gap):
    turn = 2 * math.pi * np.arange(n) / n
    lines = sides(20 * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    rng = np.random.default_rng(random.randrange(1000))
    lines = [line + rng.uniform(-gap, gap, (2, 2)) for line in lines]
    lines = [line if random.random() < 0.5 else line[::-1] for line in lines]
    random.shuffle(lines)
    found = join(lines, 0.02)
    assert len(found.loops) == 1
    assert found.open == ()
    assert area(found.loops[0]) == pytest.approx(0.5 * n * math.sin(2 * math.pi / n) * 400, abs=1)


def test_gaps_are_told_with_place_and_size_and_wider_ones_stay_open():
    lines = sides(SQUARE)
    lines[0] = lines[0] + [[0, 0], [0.03, 0.04]]
    found = join(lines, 0.06)
    assert area(found.loops[0]) == pytest.approx(100, abs=1)
    (((x, y), size),) = found.gaps
    assert (x, y) == pytest.approx((10, 0), abs=0.05)
    assert size == pytest.approx(0.05)
    found = join(lines, 0.04)
    assert found.loops == ()
    assert len(found.open) == 1
    assert len(found.open[0]) == 5


def test_no_point_moves_further_than_the_tolerance():
    rng = np.random.default_rng(3)
    lines = [line + rng.uniform(-0.004, 0.004, (2, 2)) for line in sides(SQUARE)]
    found = join(lines, 0.02)
    before = np.concatenate(lines)
    for point in found.loops[0]:
        assert np.linalg.norm(before - point, axis=1).min() <= 0.02


def test_doubles_are_dropped_forwards_and_backwards():
    lines = [*sides(SQUARE), np.array([[10.0, 0], [0, 0]]), np.array([[10.0, 0], [10, 10]])]
    found = join(lines, 0)
    assert len(found.doubled) == 2
    assert len(found.loops) == 1
    kept, dropped = distinct([SQUARE, np.roll(SQUARE, 2, axis=0), SQUARE[::-1], SQUARE + 1], closed=True)
    assert (len(kept), len(dropped)) == (2, 2)


@pytest.mark.parametrize(
    ("more", "faces", "still_open"),
    [
        ([[[0, 0], [10, 10]]], 2, 0),  # a rung from corner to corner: two triangles
        ([[[0, 0], [-5, -5]]], 1, 1),  # a tail at a corner
        ([[[0, 5], [10, 5]]], 1, 1),  # a rung that ends in mid side touches no end
        ([[[0, 0], [10, 10]], [[10, 0], [0, 10]]], 4, 0),  # two rungs that cross
    ],
)
def test_at_junctions_the_faces_are_found(more, faces, still_open):
    found = join([*sides(SQUARE), *(np.array(m, dtype=float) for m in more)], 0.01)
    assert len(found.loops) == faces
    assert len(found.open) == still_open
    assert sum(map(area, found.loops)) == pytest.approx(100)
    assert bool(found.junctions) == (more[0][0] != [0, 5])


def test_a_figure_of_eight_is_two_loops():
    lines = [*sides(SQUARE), *sides(SQUARE + 10)]
    assert sorted(area(x) for x in join(lines, 0.01).loops) == pytest.approx([100, 100])


def test_a_single_line_that_meets_itself_is_a_loop_and_a_doubled_back_one_is_not():
    bent = np.concatenate([SQUARE, [[0, 0.003]]])
    found = join([bent], 0.01)
    assert len(found.loops) == 1
    there_and_back = np.array([[0, 0], [10, 0], [0, 0.003]])
    assert join([there_and_back], 0.01).loops == ()


def test_nothing_gives_nothing():
    found = join([], 0.01)
    assert (found.loops, found.open) == ((), ())


def test_clusters_reach_by_way_of_others():
    points = np.array([[0, 0], [0.9, 0], [1.8, 0], [5, 5], [5, 5.95]])
    node = cluster(points, 1.0)
    assert node[0] == node[1] == node[2]
    assert node[3] == node[4] != node[0]


def test_a_large_drawing_is_joined_in_reasonable_time():
    """20,000 lines into 5,000 squares."""
    lines = [line for k in range(5000) for line in sides(SQUARE + np.array([20 * (k % 100), 20 * (k // 100)]))]
    np.random.default_rng(0).shuffle(lines)
    assert len(join(lines, 0.01).loops) == 5000
