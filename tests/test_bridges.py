"""Bridges: where they stand, and how a path lifts over them."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from pathgen.cuts.bridges import GAP, Bridges, Site, lift_ends, lifted, placed
from pathgen.cuts.contours import contours
from pathgen.cuts.entry import level_at, plane_lengths, ramp, stretch
from pathgen.errors import ArgumentError
from pathgen.model.path import Path
from pathgen.shape.offset import as_multi

ASKED = Bridges(4, length=6, thickness=1.5)


def contour_of(shape, radius=3.0):
    return contours(as_multi(shape), "outside", radius=radius)[-1]


def spots(shape, bridges=ASKED, **options):
    c = contour_of(shape)
    where, _ = placed(Site(contour=c.path, outlines=c.outline, diameter=6), bridges, **options)
    return c.path, where, np.array([stretch(c.path, s, s).points[0, :2] for s in where])


def test_a_rectangle_gets_one_in_the_middle_of_each_side_and_never_at_a_corner():
    _, where, xy = spots(box(0, 0, 100, 100))
    assert len(where) == 4
    corners = shapely.multipoints([(0, 0), (100, 0), (100, 100), (0, 100)])
    assert shapely.distance(corners, shapely.points(xy)).min() > 6 + 3


@given(n=st.integers(3, 9), r=st.floats(12, 60), length=st.floats(1, 8))
@settings(max_examples=15, deadline=None)
def test_on_a_disc_they_stand_evenly(n, r, length):
    t = 2 * math.pi * np.arange(400) / 400
    shape = Polygon(r * np.column_stack([np.cos(t), np.sin(t)]))
    bridges = Bridges(n, length=length, thickness=1)
    total = 2 * math.pi * (r + 3)
    if total < n * (length + 6 + GAP) + 1:
        return
    path, where, _ = spots(shape, bridges)
    gaps = np.diff([*where, where[0] + plane_lengths(path).sum()])
    assert len(where) == n
    assert gaps.min() >= total / n - 0.6
    assert gaps.max() <= total / n + 0.6


def test_on_an_oval_they_stand_where_it_is_least_curved_of_even_places():
    t = 2 * math.pi * np.arange(1600) / 1600
    shape = Polygon(np.column_stack([80 * np.cos(t), 30 * np.sin(t)]))
    _, where, xy = spots(shape)
    assert len(where) == 4
    assert np.abs(xy[:, 0]).max() < 70


def test_straight_runs_come_before_curves():
    shape = box(0, 0, 120, 20).buffer(15, quad_segs=64)
    _, _, xy = spots(shape, Bridges(6, length=6, thickness=1))
    assert ((xy[:, 0] > 5) & (xy[:, 0] < 115) | (xy[:, 1] > 5) & (xy[:, 1] < 15)).all()


def test_sides_along_the_grain_are_preferred():
    shape = box(0, 0, 100, 80)
    for grain, axis, size in ((0.0, 1, 80), (90.0, 0, 100)):
        _, _, xy = spots(shape, grain=grain)
        on = (xy[:, axis] < 0) | (xy[:, axis] > size)
        assert on.sum() >= 2
        _, _, neutral = spots(shape)
        assert on.sum() >= ((neutral[:, axis] < 0) | (neutral[:, axis] > size)).sum()


def test_spacing_gives_the_count_by_length_and_never_fewer_than_three():
    assert Bridges(length=5, thickness=1, spacing=60).wanted(400) == 7
    assert Bridges(length=5, thickness=1, spacing=600).wanted(400) == 3
    assert Bridges(5, length=5, thickness=1).wanted(400) == 5
    _, where, _ = spots(box(0, 0, 100, 100), Bridges(length=5, thickness=1, spacing=60))
    assert len(where) == 7


def test_too_many_are_refused_with_what_would_fit():
    with pytest.raises(ArgumentError, match=r"9 bridges of 20 mm do not fit on the lid .*: [1-8] would, and with"):
        spots(box(0, 0, 60, 40), Bridges(9, length=20, thickness=1), what="the lid")


def test_the_length_that_the_message_names_does_fit():
    import re

    with pytest.raises(ArgumentError) as caught:
        spots(box(0, 0, 60, 40), Bridges(6, length=30, thickness=1))
    length = float(re.search(r"length=([\d.]+)", str(caught.value)).group(1))
    _, where, _ = spots(box(0, 0, 60, 40), Bridges(6, length=length, thickness=1))
    assert len(where) == 6


@given(r=st.floats(8, 200), apart=st.floats(4, 11))
@settings(max_examples=15, deadline=None)
def test_the_ends_of_a_lift_are_the_asked_distance_apart_in_a_straight_line(r, apart):
    """Arc = 2 r asin(chord / 2 r) (elementary geometry)."""
    path = Path([[r, 0, 0, 0], [-r, 0, 0, 1], [r, 0, 0, 1]])
    begin, end = lift_ends(path, 1.0, apart)
    assert end - begin == pytest.approx(2 * r * math.asin(apart / (2 * r)), abs=1e-6)
    assert 0.5 * (begin + end) == pytest.approx(1.0)


def height_at(path, s):
    p = path.flattened(1e-4)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p[:, :2], axis=0).T))])
    return np.interp(s, at, p[:, 2])


@given(angle=st.floats(1, 20), z=st.floats(-4, -0.5), begin=st.floats(2, 60), slope=st.sampled_from([10.0, 30.0, 90.0]))
@settings(max_examples=15, deadline=None)
def test_a_lifted_ramp_is_the_higher_of_ramp_and_bridge_everywhere(angle, z, begin, slope):
    way = ramp(Path([[0, 0, 0, 0], [100, 0, 0, 0], [100, 40, 0, 1], [0, 40, 0, 0], [0, 0, 0, 1]]), 0, z, angle=angle)
    top, end = 0.5 * z, begin + 12
    total = plane_lengths(way).sum()
    up = lifted(way, [(begin, end)], top=top, slope=slope)
    assert plane_lengths(up).sum() == pytest.approx(total, abs=1e-6)
    s = np.linspace(0, total, 400)
    s = s[(np.abs(s - begin) > 1e-3) & (np.abs(s - end) > 1e-3)]
    away = np.maximum(np.maximum(begin - s, s - end), 0)
    floor = top - away * math.tan(math.radians(slope)) if slope < 90 else np.where(away > 0, -np.inf, top)
    want = np.maximum(height_at(way, s), floor)
    assert height_at(up, s) == pytest.approx(want, abs=5e-4)


def test_a_flat_lift_goes_straight_up_and_straight_down():
    path = level_at(Path.lines([[0, 0, 0], [50, 0, 0]]), -5)
    up = lifted(path, [(20, 32)], top=-2, slope=90)
    assert up.points[:, [0, 2]].tolist() == [[0, -5], [20, -5], [20, -2], [32, -2], [32, -5], [50, -5]]
    assert lifted(path, [(20, 32)], top=-6, slope=90) is path


def test_arcs_stay_arcs_under_a_lift():
    path = level_at(Path([[10, 0, 0, 0], [-10, 0, 0, 1], [10, 0, 0, 1]]), -5)
    up = lifted(path, [(5, 17)], top=-2, slope=90)
    is_arc, center, radius = up.arcs()
    assert is_arc.sum() == 4
    assert radius[is_arc] == pytest.approx(10)
    assert up.sweeps.sum() == pytest.approx(2 * math.pi)
    assert Point(*center[is_arc][0]).distance(Point(0, 0)) < 1e-9


def test_bad_bridges_are_named():
    with pytest.raises(ArgumentError, match="at least 3"):
        Bridges(2, length=5, thickness=1)
    with pytest.raises(ArgumentError, match="length"):
        Bridges(4, length=0, thickness=1)
    with pytest.raises(ArgumentError, match="shape='round' is not one of"):
        Bridges(4, length=5, thickness=1, shape="round")
