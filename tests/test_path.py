"""`Path`: lengths, reversal and flattening against the closed forms of circles and helices."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathgen.model.path import Path

HALF = Path([[0, 0, 0, 0], [10, 0, 0, 1.0]])


def test_half_circle_has_the_length_and_center_of_geometry():
    is_arc, center, radius = HALF.arcs()
    assert is_arc.tolist() == [True]
    assert center[0] == pytest.approx([5, 0])
    assert radius[0] == pytest.approx(5)
    assert HALF.length == pytest.approx(5 * math.pi)


def test_bulge_one_turns_counter_clockwise():
    """DXF reference: a positive bulge is counter-clockwise from start to end; from (0,0) to (10,0) it passes below."""
    assert HALF.flattened(0.01)[:, 1].min() == pytest.approx(-5, abs=0.01)


def test_helix_length():
    """CHECKS: helix of radius 5, pitch 2, one turn: 31.479524 mm (hypot of circumference and rise)."""
    turn = Path([[5, 0, 0, 0], [-5, 0, 1, 1.0], [5, 0, 2, 1.0]])
    assert turn.length == pytest.approx(31.479524, abs=1e-6)


@given(st.floats(-6, 6), st.floats(0.001, 0.1))
def test_flattening_keeps_its_promise(sweep, sagitta):
    """Each chord's middle is within the sagitta of the arc, each vertex on it; reversing runs the same curve back."""
    path = Path([[0, 0, 0, 0], [7, 3, -2, math.tan(sweep / 4)]])
    flat = path.flattened(sagitta)
    is_arc, center, radius = path.arcs()
    if is_arc[0]:
        off = np.hypot(*(flat[:, :2] - center[0]).T)
        middle = np.hypot(*(0.5 * (flat[1:, :2] + flat[:-1, :2]) - center[0]).T)
        assert np.abs(off - radius[0]).max() < 1e-6 * max(1, radius[0])
        assert (radius[0] - middle).max() <= sagitta + 1e-6 * max(1, radius[0])
    back = path.reversed()
    assert back.length == pytest.approx(path.length)
    assert np.allclose(back.flattened(sagitta)[::-1], flat, atol=1e-9)


def test_mirroring_turns_arcs_round():
    assert HALF.mirrored(5).points[1].tolist() == [0.0, 0.0, 0.0, -1.0]


def test_not_a_number_is_refused():
    with pytest.raises(ValueError, match="finite"):
        Path([[0, 0, 0, 0], [float("nan"), 0, 0, 0]])
