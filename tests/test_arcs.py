"""Arcs fitted through vertices: counts in closed form, deviation both ways, corners kept, speed."""

import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, box

from pathgen.errors import ArgumentError
from pathgen.model.path import Path
from pathgen.shape.arcs import LARGEST_RADIUS, SHORTEST, fit_arcs
from pathgen.shape.offset import grown


def circle(radius, n, x=0.0, y=0.0):
    t = 2 * math.pi * np.arange(n) / n
    return np.column_stack([x + radius * np.cos(t), y + radius * np.sin(t)])


def apart(points, rows):
    """The largest distance of dense points of either curve from the other, mm."""
    a = LineString(np.asarray(points)[:, :2])
    b = LineString(Path(rows).flattened(1e-4)[:, :2])
    worst = 0.0
    for one, other in ((a, b), (b, a)):
        dense = shapely.get_coordinates(shapely.segmentize(one, max(one.length / 2000, 1e-3)))
        shapely.prepare(other)
        worst = max(worst, float(shapely.distance(other, shapely.points(dense)).max()))
    return worst


def closed(points):
    return np.concatenate([points, points[:1]])


def test_the_closed_outline_of_a_100_mm_disc_is_at_most_4_arcs():
    """The issue's number, for every flattening that the tolerance can bridge, and wherever the outline begins."""
    for sagitta in (0.0005, 0.002, 0.004):
        n = math.ceil(math.pi / math.acos(1 - sagitta / 50))
        for first in (0, 1, n // 3):
            rows = fit_arcs(np.roll(circle(50, n), first, axis=0), tolerance=0.005, closed=True)
            assert 2 <= len(rows) - 1 <= 4
            assert (rows[1:, 3] > 0).all()
            _, center, radius = Path(rows).arcs()
            assert np.abs(radius - 50).max() <= 0.001
            assert np.abs(center).max() <= 0.001


def test_no_arc_turns_more_than_a_half_circle():
    for n in (90, 360, 1001):
        rows = fit_arcs(circle(3, n), tolerance=0.005, closed=True)
        assert np.abs(Path(rows).sweeps).max() <= math.pi * (1 + 1e-6)
        assert abs(Path(rows).sweeps.sum()) == pytest.approx(2 * math.pi, rel=1e-6)


def test_polygons_keep_every_corner_exactly():
    """Corners of regular polygons lie on a circle; the middles of their sides do not."""
    for n in (3, 4, 6, 12, 36):
        p = circle(40, n)
        rows = fit_arcs(p, tolerance=0.005, closed=True)
        assert np.array_equal(rows[:, :2], closed(p))
        assert (rows[:, 3] == 0).all()


def test_a_corner_between_curves_stays():
    lens = np.concatenate([circle(20, 720)[:241], circle(20, 720, x=0.0, y=20 * math.sqrt(3))[360:601]])
    rows = fit_arcs(lens, tolerance=0.005, closed=True)
    assert len(rows) - 1 <= 5
    for corner in (lens[0], lens[240], lens[241], lens[-1]):
        assert np.hypot(*(rows[:, :2] - corner).T).min() <= 1e-9


def test_collinear_vertices_become_one_line():
    x = np.linspace(0, 90, 301)
    rows = fit_arcs(np.column_stack([x, 0.5 * x]), tolerance=0.005)
    assert rows.tolist() == [[0, 0, 0, 0], [90, 45, 0, 0]]


def test_a_grown_rectangle_is_four_lines_and_four_quarter_turns():
    ring = shapely.get_coordinates(grown(box(0, 0, 100, 60), 3).geoms[0].exterior)[:-1]
    rows = fit_arcs(ring, tolerance=0.005, closed=True)
    bulges = np.abs(rows[1:, 3])
    assert (bulges > 0).sum() == 4
    assert (bulges == 0).sum() == 4
    assert bulges[bulges > 0] == pytest.approx(math.tan(math.pi / 8), abs=1e-9)


@pytest.mark.parametrize("tolerance", [0.001, 0.005, 0.02])
def test_ellipses_and_spirals_stay_within_the_tolerance(tolerance):
    t = np.linspace(0, 2 * math.pi, 4000, endpoint=False)
    ellipse = np.column_stack([60 * np.cos(t), 25 * np.sin(t)])
    rows = fit_arcs(ellipse, tolerance=tolerance, closed=True)
    assert apart(closed(ellipse), rows) <= tolerance * 1.01 + 1e-4
    assert len(rows) < 120
    s = np.linspace(0, 20, 6000)
    spiral = np.column_stack([(2 + s) * np.cos(s), (2 + s) * np.sin(s)])
    rows = fit_arcs(spiral, tolerance=tolerance)
    assert apart(spiral, rows) <= tolerance * 1.01 + 1e-4
    assert len(rows) < 100


def test_ends_of_pieces_are_vertices_of_the_input():
    t = np.linspace(0, 3, 500)
    p = np.column_stack([20 * t, 5 * np.sin(2 * t)])
    rows = fit_arcs(p, tolerance=0.005)
    assert {tuple(r) for r in rows[:, :2].tolist()} <= {tuple(r) for r in p.tolist()}
    assert np.array_equal(rows[[0, -1], :2], p[[0, -1]])


@given(
    seed=st.integers(0, 10**6),
    n=st.integers(8, 300),
    smooth=st.floats(0.0, 1.0),
    tolerance=st.sampled_from([0.001, 0.005, 0.05]),
)
@settings(max_examples=25, deadline=None)
def test_deviation_never_exceeds_the_tolerance_in_either_direction(seed, n, smooth, tolerance):
    """Random walks whose heading changes slowly or abruptly; run backwards the same bound holds."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(0, 0.02 + 0.5 * smooth**3, n)) + np.cumsum(np.full(n, rng.normal(0, 0.03)))
    step = rng.uniform(0.05, 0.4, n)
    p = np.cumsum(np.column_stack([step * np.cos(heading), step * np.sin(heading)]), axis=0)
    for points in (p, p[::-1]):
        rows = fit_arcs(points, tolerance=tolerance)
        assert apart(points, rows) <= tolerance * 1.02 + 1.5e-4
        arcs = rows[1:, 3] != 0
        assert (Path(rows).move_lengths[arcs] >= SHORTEST).all()
        radius = Path(rows).arcs()[2]
        assert (radius[arcs] <= LARGEST_RADIUS).all()


def test_heights_that_follow_length_make_a_helix_and_others_keep_their_vertices():
    t = np.linspace(0, math.pi, 181)
    plane = np.column_stack([10 * np.cos(t), 10 * np.sin(t)])
    rows = fit_arcs(np.column_stack([plane, -2 * t]), tolerance=0.005)
    assert len(rows) == 2
    assert rows[1, 2] == pytest.approx(-2 * math.pi)
    wavy = np.column_stack([plane, np.where(np.arange(181) % 2, 0.1, 0.0)])
    assert len(fit_arcs(wavy, tolerance=0.005)) == 181


def test_very_wide_curves_become_lines_or_stay_chords():
    t = np.linspace(0, 0.01, 201)
    p = 20000 * np.column_stack([np.cos(t), np.sin(t)])
    assert (fit_arcs(p, tolerance=0.005)[:, 3] == 0).all()


def test_short_repeated_and_empty_input():
    assert fit_arcs(np.empty((0, 2)), tolerance=0.01).shape == (0, 4)
    assert fit_arcs([[1, 2]], tolerance=0.01).tolist() == [[1, 2, 0, 0]]
    assert fit_arcs([[0, 0], [0, 0], [5, 0], [5, 0]], tolerance=0.01)[:, :2].tolist() == [[0, 0], [5, 0]]
    assert fit_arcs([[0, 0], [5, 0], [0, 0]], tolerance=0.01)[:, 0].tolist() == [0, 5, 0]


def test_bad_input_is_named():
    with pytest.raises(ArgumentError, match="shape"):
        fit_arcs([1, 2, 3], tolerance=0.01)
    with pytest.raises(ArgumentError, match="finite"):
        fit_arcs([[0, 0], [math.nan, 1]], tolerance=0.01)
    with pytest.raises(ArgumentError, match="tolerance"):
        fit_arcs([[0, 0], [1, 1]], tolerance=0)


def test_a_hundred_thousand_vertices_take_about_a_second():
    """Generous here; `benchmarks/arcs.py` measures."""
    t = np.linspace(0, 2 * math.pi, 100_000, endpoint=False)
    r = 100 + 5 * np.sin(40 * t) + 2 * np.sin(173 * t)
    p = np.column_stack([r * np.cos(t), r * np.sin(t)])
    begin = time.process_time()
    rows = fit_arcs(p, tolerance=0.005, closed=True)
    assert time.process_time() - begin < 4
    assert 200 < len(rows) < 3000
