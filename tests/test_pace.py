"""How much of a path runs slower than a speed: closed forms of elementary mechanics, and laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pathgen as pg
from pathgen.motion.pace import pace
from pathgen.motion.read import read_program
from pathgen.motion.time import time

ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
HEAD = "G21 G17 G90 G94\nG0 X0 Y0 Z0\n"


def run(body, machine=ROUTER):
    motion = read_program(HEAD + body + "M2\n")
    return motion, pace(motion, machine)


def test_a_line_from_rest_to_rest_is_slow_at_both_ends():
    """From rest a speed w is reached after w^2 / (2 a): 20 mm/s at 500 mm/s2 after 0.4 mm; the same at the end."""
    motion, found = run("G1 X100 F1800\n")
    assert found.slower(np.full(len(motion.moves), 1200.0))[-1] == pytest.approx(0.8, abs=1e-9)
    assert found.slower(np.full(len(motion.moves), 1801.0))[-1] == pytest.approx(100)


def test_a_short_move_that_never_reaches_a_speed_is_slow_all_along():
    """Over 1 mm from rest to rest the highest speed is sqrt(a L) = 22.36 mm/s, 1342 mm/min."""
    motion, found = run("G1 X1 F3000\n")
    assert found.slower(np.full(len(motion.moves), 1345.0))[-1] == pytest.approx(1)
    assert found.slower(np.full(len(motion.moves), 1339.0))[-1] < 1
    assert found.slower(np.full(len(motion.moves), 600.0))[-1] == pytest.approx(2 * 100 / 1000)


def test_corners_of_a_square_are_slow_and_its_sides_are_not():
    motion, found = run("G1 X100 F1800\nY100\nX0\nY0\n")
    slow = found.slower(np.full(len(motion.moves), 1500.0))[-4:]
    assert (slow > 0.5).all()
    assert (slow < 3).all()
    assert slow[1] == pytest.approx(slow[2], rel=1e-6)


def test_rests_split_a_line_as_an_end_does():
    motion, found = run("G1 X50 F1800\nG4 P1\nX100\n")
    slow = found.slower(np.full(len(motion.moves), 1200.0))
    assert slow[-2:].tolist() == pytest.approx([0.8, 0.8])
    through, straight = run("G1 X50 F1800\nX100\n")
    assert straight.slower(np.full(len(through.moves), 1200.0))[-2:].tolist() == pytest.approx([0.4, 0.4])


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.integers(-40, 40), st.integers(-40, 40), st.integers(100, 3000)), min_size=1, max_size=12),
    st.floats(10, 3000),
    st.floats(1.01, 2),
)
def test_no_more_is_slow_than_there_is_and_a_higher_speed_never_takes_away(ends, speed, factor):
    body = "".join(f"G1 X{x} Y{y} F{f}\n" for x, y, f in ends)
    motion, found = run(body)
    low = found.slower(np.full(len(motion.moves), speed))
    high = found.slower(np.full(len(motion.moves), speed * factor))
    length = motion.moves.lengths
    assert (low >= 0).all()
    assert (low <= high + 1e-9).all()
    assert (high <= length + 1e-9).all()
    assert found.slower(np.full(len(length), 1e9)).sum() == pytest.approx(length.sum())
    assert found.seconds().tolist() == time(motion, ROUTER).moves.tolist()


def test_a_program_without_moves_has_a_pace_too():
    motion = read_program("G21\nM2\n")
    found = pace(motion, ROUTER)
    assert found.seconds().tolist() == []
    assert found.slower(np.empty(0)).tolist() == []
