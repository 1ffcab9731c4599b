"""Finish passes against how well the machine finds a place again."""

import dataclasses

import pytest
from checking import ROUTER, only, program

import pathgen as pg

MILL = pg.EndMill(6, flutes=1, cutting=pg.Cutting(16000, 2400, 500))
CONVENTIONAL = dataclasses.replace(MILL, cutting=pg.Cutting(16000, 2400, 500, direction="conventional"))


def finished(take, name="finish"):
    rough = (
        "(CUT 1 outline)\n(PASS 1.1 cut, level 1, 2.00 mm deep)\nG0 Z1\nG1 Z-2 F500\nX100 F2400\nY60\nX20\nY20\nG0 Z5\n"
    )
    last = (
        f"(PASS 1.2 {name}, level 1, 2.00 mm deep)\nX{20 + take} Y{20 + take}\nZ1\nG1 Z-2 F500\n"
        f"X{100 - take} F2400\nY{60 - take}\nX{20 + take}\nY{20 + take}\n"
    )
    return program(rough + last)


def loose(positioning):
    return dataclasses.replace(ROUTER, positioning=positioning)


@pytest.mark.parametrize(("take", "bad"), [(0.05, True), (0.09, True), (0.11, False), (0.2, False)])
def test_a_finish_pass_takes_at_least_twice_the_positioning(take, bad):
    """The machine may be 0.05 mm off: from 0.1 mm on the finish pass meets material all the way."""
    found = only("finish-fine", finished(take), tools={2: MILL}, machine=loose(0.05))
    assert bool(found) is bad
    if bad:
        assert found[0].amount == pytest.approx(take, abs=1e-6)


@pytest.mark.parametrize(("take", "bad"), [(0.05, False), (0.1, False), (0.12, True), (0.3, True)])
def test_on_a_machine_with_play_a_finish_pass_takes_little(take, bad):
    """Common practice, no source: above 0.1 mm of positioning no more than 0.1 mm is taken."""
    found = only("finish-thick", finished(take), tools={2: MILL}, machine=loose(0.15))
    assert bool(found) is bad
    assert not only("finish-fine", finished(take), tools={2: MILL}, machine=loose(0.15))


def test_on_a_machine_with_play_a_finish_pass_climbs():
    text = finished(0.1)
    assert only("finish-conventional", text, tools={2: CONVENTIONAL}, machine=loose(0.15))
    assert not only("finish-conventional", text, tools={2: MILL}, machine=loose(0.15))
    assert not only("finish-conventional", text, tools={2: CONVENTIONAL}, machine=loose(0.1))


def test_only_passes_that_are_called_finish_are_looked_at():
    text = finished(0.05, name="cut")
    assert not only("finish-fine", text, tools={2: MILL})
    assert not only("finish-fine", finished(0.05), tools={2: MILL}, machine=None)
    assert not only("finish-fine", finished(0.05), tools={2: pg.VBit(60, diameter=12)})


def test_a_finish_pass_far_from_all_others_has_nothing_to_be_held_against():
    assert not only("finish-thick", finished(5.0), tools={2: MILL}, machine=loose(0.15))
