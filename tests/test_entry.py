"""Ways down: angle, where they end, and that nothing is left uncut."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.cuts.entry import entry_angle, helix, level_at, plane_lengths, ramp, restarted, stretch
from pathgen.errors import ArgumentError
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill

STADIUM = Path([[0, 0, 0, 0], [40, 0, 0, 0], [40, 20, 0, 1], [0, 20, 0, 0], [0, 0, 0, 1]])
CORNER = Path.lines([[0, 0, 0], [10, 0, 0], [10, 5, 0]])
LAP = 80 + 20 * math.pi


def steepest(path):
    p = path.flattened(0.0005)
    step = np.diff(p, axis=0)
    run = np.hypot(step[:, 0], step[:, 1])
    return np.degrees(np.arctan2(-step[:, 2], run))[run > 1e-9].max()


@given(drop=st.floats(0.1, 30), angle=st.floats(0.5, 30), closed=st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_ramp_ends_at_the_start_of_its_path_and_keeps_its_angle(drop, angle, closed):
    path = STADIUM if closed else CORNER
    down = ramp(path, -1.0, -1.0 - drop, angle=angle)
    assert down.end.tolist() == pytest.approx([0, 0, -1 - drop], abs=1e-9)
    assert down.start[2] == -1
    run = plane_lengths(down).sum()
    assert run == pytest.approx(drop / math.tan(math.radians(angle)), rel=1e-9)
    assert steepest(down) <= angle * 1.002
    assert (np.diff(down.points[:, 2]) <= 0).all()


def test_a_ramp_on_a_closed_path_runs_in_its_direction_and_keeps_arcs_as_helices():
    down = ramp(STADIUM, 0, -3, angle=3)
    assert (down.points[:, 3] >= 0).all()
    assert (down.points[:, 3] > 0).sum() >= 1
    again = ramp(restarted(STADIUM, 3 / math.tan(math.radians(3))), 0, -3, angle=3)
    assert again.start.tolist() == pytest.approx([0, 0, 0], abs=1e-9)


def test_a_ramp_on_an_open_path_stays_on_it():
    down = ramp(CORNER, 0, -10, angle=4)
    assert np.allclose(down.start, [0, 0, 0])
    x, y = down.points[:, 0], down.points[:, 1]
    assert (((y == 0) & (x >= 0) & (x <= 10)) | ((x == 10) & (y <= 5))).all()


def test_ninety_degrees_plunges():
    assert ramp(STADIUM, 0, -2, angle=90).points[:, :3].tolist() == [[0, 0, 0], [0, 0, -2]]


@given(begin=st.floats(-300, 300), length=st.floats(0, 300))
@settings(max_examples=80, deadline=None)
def test_a_stretch_has_the_length_asked_and_lies_on_its_path(begin, length):
    """Vertices of a stadium lie 10 mm from its middle line (elementary geometry)."""
    part = stretch(STADIUM, begin, begin + length)
    assert plane_lengths(part).sum() == pytest.approx(length, abs=1e-5)
    p = part.flattened(0.001)
    off = np.hypot(p[:, 0] - np.clip(p[:, 0], 0, 40), p[:, 1] - 10)
    assert np.abs(off - 10).max() <= 1e-6
    joined = Path.joined(
        [stretch(STADIUM, begin, begin + 0.5 * length), stretch(STADIUM, begin + 0.5 * length, begin + length)]
    )
    assert plane_lengths(joined).sum() == pytest.approx(length, abs=1e-5)


def test_a_restarted_path_is_the_same_curve():
    for at in (0, 5, 40, 60, LAP - 1, LAP, 3 * LAP + 7):
        other = restarted(STADIUM, at)
        assert plane_lengths(other).sum() == pytest.approx(LAP)
        want = stretch(STADIUM, at % LAP, at % LAP).start
        assert np.allclose(other.start, want)
        assert np.allclose(other.end, want)
        assert other.sweeps.sum() == pytest.approx(2 * math.pi)


def test_a_helix_is_half_turns_that_end_with_one_flat_turn():
    """Slope of a helix: drop = pi r tan(angle) a half turn (elementary geometry)."""
    for direction, sign in (("climb", 1), ("conventional", -1)):
        bore = helix((5, 7), 2, 0, -4, angle=3, direction=direction)
        assert (bore.points[1:, 3] == sign).all()
        assert bore.points[-3:, 2].tolist() == [-4, -4, -4]
        assert steepest(bore) <= 3.0 + 1e-3
        assert len(bore) - 3 == math.ceil(4 / (math.pi * 2 * math.tan(math.radians(3))))
        assert np.hypot(bore.points[:, 0] - 5, bore.points[:, 1] - 7) == pytest.approx(2)


def test_the_entry_angle_is_the_least_of_speeds_tool_and_material():
    cutting = Cutting(16000, 1000, 300, ramp=8)
    assert entry_angle(cutting, EndMill(6), None) == 8
    assert entry_angle(cutting, EndMill(6), Stock(100, 100, 10, material="hardwood")) == 5
    assert entry_angle(cutting, EndMill(6, max_ramp=2), Stock(100, 100, 10, material="hardwood")) == 2
    assert entry_angle(cutting, EndMill(6), Stock(100, 100, 10, material="aluminium")) == 3


def test_bad_arguments_are_named():
    with pytest.raises(ArgumentError, match="lies above"):
        ramp(STADIUM, -2, -1, angle=3)
    with pytest.raises(ArgumentError, match="at most 90"):
        ramp(STADIUM, 0, -1, angle=91)
    with pytest.raises(ArgumentError, match="with length"):
        ramp(Path.lines([[0, 0, 0], [0, 0, 0]]), 0, -1, angle=3)
    with pytest.raises(ArgumentError, match="below 90"):
        helix((0, 0), 2, 0, -1, angle=90)
    with pytest.raises(ArgumentError, match="no stretch"):
        stretch(CORNER, -1, 3)
    with pytest.raises(ArgumentError, match="closed path"):
        restarted(CORNER, 1)


def test_levels_keep_the_plan():
    flat = level_at(STADIUM, -4)
    assert (flat.points[:, 2] == -4).all()
    assert np.array_equal(flat.points[:, [0, 1, 3]], STADIUM.points[:, [0, 1, 3]])
