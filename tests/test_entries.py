"""Ramps and bores measured from the text: per material, per tool, and only where material is met."""

import math

import pytest
from checking import MILL, codes, only, program

import pathgen as pg


def ramp(angle, *, z=-2.0):
    """From Z0 down to z along X at an angle, then along."""
    return f"G0 Z1\nG1 Z0 F500\nX{20 + -z / math.tan(math.radians(angle)):.4f} Z{z} F1000\nX100\n"


@pytest.mark.parametrize(
    ("material", "limit"),
    [("hardwood", 5), ("acrylic", 5), ("softwood", 10), ("hdu foam", 10), ("brass", 3), ("aluminium", 3)],
)
def test_ramps_keep_to_what_the_material_takes(material, limit):
    """Common practice, no source: 3 degrees in metal, 5 in hardwood and acrylic, 10 in softwood and foam."""
    stock = pg.Stock(120, 80, 30, material=material)
    assert not only("ramp-steep-material", program(ramp(limit - 0.2)), stock=stock)
    (found,) = only("ramp-steep-material", program(ramp(limit + 1.0)), stock=stock)
    assert found.amount == pytest.approx(limit + 1.0, abs=0.01)
    assert found.line == 11
    assert f"takes {limit}" in found.text


def test_a_steeper_limit_of_the_tool_is_an_error_and_said_once():
    text = program(ramp(8))
    tool = pg.EndMill(6, flutes=1, max_ramp=4)
    assert "ramp-steep" in codes(text, tools={2: tool})
    assert "ramp-steep-material" not in codes(text, tools={2: tool})


def test_v_bits_follow_their_groove_and_plunges_are_no_ramps():
    assert not only("ramp-steep-material", program(ramp(50)), tools={2: pg.VBit(60, diameter=12)})
    assert not only("ramp-steep-material", program("G0 Z1\nG1 Z-2 F500\nX100 F1000\n"))


def test_going_down_a_way_already_cut_is_no_ramp():
    once = "G0 Z1\nG1 Z-2 F500\nX100 F1000\nG0 Z1\nX20\nG1 Z0 F500\n"
    assert not only("ramp-steep-material", program(once + "X30 Z-2 F1000\n"))
    assert only("ramp-steep-material", program(once + "X30 Z-2.5 F1000\n"))
    assert only("ramp-steep-material", program(once + "Y30 Z-2 F1000\n"))


def helix(radius, turns=2, drop=0.3):
    lines = [f"G0 X{20 + radius} Y20\nZ1\nG1 Z0 F500\n"]
    lines += [f"G3 X{20 + radius} Y20 Z{-drop * (k + 1):.3f} I{-radius} J0 F900\n" for k in range(turns)]
    return program("".join(lines))


@pytest.mark.parametrize(
    ("radius", "bad"), [(0.4, True), (0.65, False), (1.5, False), (2.35, False), (2.6, True), (6, False)]
)
def test_a_helix_bores_between_1_2_and_1_8_diameters(radius, bad):
    """Bore = diameter + twice the radius; 6 + 2 x 0.4 = 1.13 diameters, 6 + 2 x 2.6 = 1.87. Wider is a way round."""
    found = only("helix-bore", helix(radius))
    assert bool(found) is bad
    if bad:
        assert found[0].amount == pytest.approx(6 + 2 * radius)


def test_half_a_turn_is_no_bore_and_half_turns_add_up():
    half = "G0 X23 Y20\nZ1\nG1 Z0 F500\nG3 X17 Y20 Z-0.2 I-3 J0 F900\n"
    assert not only("helix-bore", program(half))
    assert only("helix-bore", program(half + "G3 X23 Y20 Z-0.4 I3 J0\n"))


def test_bores_are_counted_in_one_finding():
    twice = program("".join(helix(2.8).split("G4 P3\n")[1].split("G0 Z5\nM5")[0] + "G0 Z5\n" for _ in range(3)))
    (found,) = only("helix-bore", twice)
    assert "(3 bores)" in found.text


def test_the_tool_of_the_tests_is_what_the_figures_say():
    assert MILL.diameter == 6


def test_a_ramp_to_an_unknown_place_is_no_crash():
    """Nobody has said where X is: the reader says so, and the ramp along Y is told all the same."""
    text = program("G0 Z1\nG1 Z0 F500\nG1 Y30 Z-3\nG0 Z5\nX20 Y20\nZ1\nG1 Z-2\nX100 Y40\n").replace(
        "G0 X20 Y20\n", "G0 Y20\n"
    )
    assert {"feed-from-unknown", "ramp-steep-material"} <= codes(text)
