"""Tools: outlines against elementary geometry, and arguments that are refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import pathgen as pg


@pytest.mark.parametrize(("angle", "width"), [(30, 0.5358984), (60, 1.1547005), (90, 2.0), (120, 3.4641016)])
def test_groove_width_per_depth(angle, width):
    """Width of a V groove 1 mm deep: 2 tan(angle / 2) (elementary geometry)."""
    assert 2 * pg.VBit(angle, diameter=30).radius_at(1.0) == pytest.approx(width, abs=1e-7)


def test_drill_point_of_118_degrees():
    """Common practice and geometry: a 118 degree point is 0.300 diameters high."""
    assert pg.Drill(10).height_at(5) == pytest.approx(3.0, abs=0.005)


@given(
    st.sampled_from([pg.EndMill(6), pg.BallNose(6), pg.VBit(60, diameter=6, tip=0.4), pg.Drill(6)]),
    st.floats(0, 3),
)
def test_outline_and_its_inverse_agree(tool, radius):
    height = float(tool.height_at(radius))
    assert float(tool.radius_at(height)) >= radius - 1e-6
    assert np.isinf(tool.height_at(radius + 3.001))


def test_a_ball_is_a_half_sphere():
    r = np.linspace(0, 3, 7)
    assert pg.BallNose(6).height_at(r) == pytest.approx(3 - np.sqrt(9 - r * r))


@pytest.mark.parametrize(
    "make",
    [
        lambda: pg.EndMill(-1),
        lambda: pg.EndMill(math.nan),
        lambda: pg.EndMill(0.25),
        lambda: pg.VBit(60, diameter=6, tip=7),
        lambda: pg.VBit(200, diameter=6),
        lambda: pg.Cutting(18000, 0, 300),
        lambda: pg.Cutting(18000, 1000, 300, direction="up"),
        lambda: pg.EndMill(6, cutting=pg.Cutting(0, 1000, 300)),
        lambda: pg.TrailingKnife(trail=1, edge_angle=45, cutting=pg.Cutting(100, 1000, 300)),
        lambda: pg.EndMill(6, number=0),
    ],
)
def test_arguments_that_cannot_be_are_refused(make):
    with pytest.raises(pg.ArgumentError):
        make()


def test_tiny_tool_is_told_of_inches():
    with pytest.raises(pg.ArgumentError, match=r"did you mean inch\(0.25\)"):
        pg.EndMill(0.25)
    assert pg.EndMill(0.25, small=True).diameter == 0.25
