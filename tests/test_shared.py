"""The shape that an inner and an outer cutter can both make."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

import pathgen as pg
from pathgen.shape.shared import changed, closed_by, opened_by, shared_shape, solid


def star(points=5, outer=30.0, inner=13.0):
    k = np.arange(2 * points)
    r = np.where(k % 2, inner, outer)
    return MultiPolygon([Polygon(np.column_stack([r * np.cos(np.pi * k / points), r * np.sin(np.pi * k / points)]))])


def leaf():
    return MultiPolygon([Point(0, 20).buffer(30, quad_segs=200).intersection(Point(0, -20).buffer(30, quad_segs=200))])


def key():
    """A butterfly key: two wedges that meet at a waist."""
    return MultiPolygon([Polygon([(-20, -12), (0, -5), (20, -12), (20, 12), (0, 5), (-20, 12)])])


SHAPES = {
    "star": star(), "leaf": leaf(), "key": key(), "letters": pg.text("Rg", height=40, tolerance=0.001).region,
    "comb": MultiPolygon(
        [box(0, 0, 40, 6).union(box(0, 0, 2.7, 20)).union(box(6, 0, 9.4, 20)).union(box(13, 0, 40, 20))]
    ),
}  # fmt: skip


@pytest.mark.parametrize("radii", [(1.5, 0.75), (1.0, 3.175)])
@pytest.mark.parametrize("name", sorted(SHAPES))
def test_both_cutters_can_make_it(name, radii):
    """Open by the inner radius and closed by the outer one: neither changes it by a disc of 0.004 mm."""
    inner, outer = radii
    shape = shared_shape(SHAPES[name], inner=inner, outer=outer)
    assert shape.area > 0.5 * SHAPES[name].area
    for other in (opened_by(shape, inner), closed_by(shape, outer)):
        assert solid(shape.symmetric_difference(other).buffer(-0.002)).is_empty


def test_a_square_loses_its_corners_to_the_inner_cutter():
    """Elementary geometry: four times (1 - pi / 4) r^2, at most (sqrt 2 - 1) r away."""
    square = MultiPolygon([box(0, 0, 20, 20)])
    shape = shared_shape(square, inner=2.0, outer=1.0)
    change = changed(square, shape)
    assert change.area == pytest.approx(4 * (1 - np.pi / 4) * 4, rel=0.01)
    assert change.farthest == pytest.approx((2**0.5 - 1) * 2, abs=0.005)
    assert change.added.is_empty


def test_an_inside_corner_is_filled_for_the_outer_cutter():
    corner = MultiPolygon([box(0, 0, 30, 30).difference(box(15, 15, 30, 30))])
    change = changed(corner, shared_shape(corner, inner=0.0, outer=2.0))
    assert change.removed.is_empty
    assert change.added.area == pytest.approx((1 - np.pi / 4) * 4, rel=0.01)


def test_the_smaller_change_is_taken():
    """Two discs joined by a hair: bridging would add a strip, separating takes the hair away."""
    dumbbell = MultiPolygon([Point(-8, 0).buffer(5).union(Point(8, 0).buffer(5)).union(box(-8, -0.05, 8, 0.05))])
    shape = shared_shape(dumbbell, inner=1.0, outer=1.0)
    assert changed(dumbbell, shape).area < 2.0


def test_what_no_cutter_can_enter_gives_nothing():
    assert shared_shape(MultiPolygon([box(0, 0, 20, 1)]), inner=0.6, outer=0.5).is_empty


@settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
@given(turn=st.floats(0, 360), inner=st.floats(0.2, 2), outer=st.floats(0.2, 2))
def test_turning_the_shape_turns_the_result(turn, inner, outer):
    a = shared_shape(SHAPES["star"], inner=inner, outer=outer)
    turned = affinity.rotate(SHAPES["star"], turn, origin=(0, 0))
    b = affinity.rotate(shared_shape(turned, inner=inner, outer=outer), -turn, origin=(0, 0))
    assert a.symmetric_difference(b).area < 0.002 * a.length
