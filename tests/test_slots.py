"""Slots, thin sheet and spirals: what chips can leave, and what lifts the sheet."""

import pytest
from checking import MILL, only, program
from shapely.geometry import box

import pathgen as pg

FULL = "X100 F1500\n"


def levels(*depths, lift=True, back=True):
    """A slot along X at several depths, with or without lifts between them."""
    lines = []
    for k, z in enumerate(depths):
        if lift or k == 0:
            lines.append("G0 Z5\nX20\nZ1\n" if k else "G0 Z1\n")
        lines.append(f"G1 Z-{z} F500\nX{100 if lift or k % 2 == 0 else 20} F1500\n")
    return program("".join(lines))


def test_a_deep_slot_must_lift_between_its_levels():
    """Common practice, no source: from 2 diameters down, 12 mm here. Levels at 14 and 17 mm without a lift."""
    (found,) = only("slot-chips", levels(4, 8, 12, 14, 17, lift=False))
    assert found.amount == pytest.approx(3)
    assert found.where[2] == pytest.approx(-17)
    assert not only("slot-chips", levels(4, 8, 12, 14, 17))
    assert not only("slot-chips", levels(4, 8, 12, lift=False))


def test_metal_and_acrylic_lift_from_one_diameter_on():
    for material in ("aluminium", "acrylic", "brass"):
        stock = pg.Stock(120, 80, 30, material=material)
        assert only("slot-chips", levels(4, 7, 8, lift=False), stock=stock)
        assert not only("slot-chips", levels(4, 7, 8), stock=stock)


def test_one_deep_level_and_the_tops_of_bridges_are_no_second_level():
    bridged = "G0 Z1\nG1 Z-15 F500\nX40 F1500\nZ-13\nX55\nZ-15\nX100\n"
    assert not only("slot-chips", program(bridged))


def test_a_wide_slot_lets_its_chips_out():
    wide = "".join(f"G0 Z5\nX20 Y{y}\nZ1\nG1 Z-14 F500\nX100 F1500\nZ-17\nX20\n" for y in (20, 22))
    assert not only("slot-chips", program(wide))
    narrow = "".join(f"G0 Z5\nX20 Y{y}\nZ1\nG1 Z-14 F500\nX100 F1500\nZ-17\nX20\n" for y in (20, 21))
    assert only("slot-chips", program(narrow))


def test_sinking_on_and_on_without_a_lift_is_found_too():
    zigzag = "G0 Z1\nG1 Z-12 F500\n" + "".join(
        f"X{100 if k % 2 == 0 else 20} Z-{13.5 + 1.5 * k:.1f} F1500\n" for k in range(6)
    )
    (found,) = only("slot-chips", program(zigzag))
    assert found.amount > 6


def test_a_drilled_hole_is_no_slot():
    assert not only("slot-chips", program("G0 Z1\nG1 Z-20 F500\n"))


def test_a_down_spiral_packs_a_slot_deeper_than_one_and_a_half_diameters():
    down = {2: pg.EndMill(6, flutes=1, spiral="down")}
    (found,) = only("down-spiral-deep", levels(4, 8, 10), tools=down)
    assert found.amount == pytest.approx(10)
    assert not only("down-spiral-deep", levels(4, 8), tools=down)
    assert not only("down-spiral-deep", levels(4, 8, 10))


def test_an_up_spiral_lifts_thin_sheet_that_nothing_holds():
    thin, thick = (pg.Stock(120, 80, t, material="plywood") for t in (4, 12))
    assert only("up-spiral-thin", levels(2, 4.2), stock=thin)
    assert not only("up-spiral-thin", levels(2, 3), stock=thin)
    assert not only("up-spiral-thin", levels(4, 8, 12.2), stock=thick)
    assert not only("up-spiral-thin", levels(2, 4.2), stock=thin, hold=[pg.Tape(box(0, 0, 120, 80), 0.1)])
    assert not only("up-spiral-thin", levels(2, 4.2), stock=thin, tools={2: pg.EndMill(6, spiral="down")})


def test_the_first_pass_of_two_spirals_is_deeper_than_the_up_cut_end():
    both = {2: pg.EndMill(6, flutes=1, spiral="both", up_cut_length=5)}
    (found,) = only("both-shallow", levels(4, 8), tools=both)
    assert found.amount == pytest.approx(4)
    assert not only("both-shallow", levels(6, 8), tools=both)
    assert not only("both-shallow", levels(4, 8), tools={2: pg.EndMill(6, spiral="both")})


def test_the_first_pass_is_the_first_of_each_cut():
    both = {2: pg.EndMill(6, flutes=1, spiral="both", up_cut_length=5)}
    text = program("(CUT 1 a)\nG0 Z1\nG1 Z-6 F500\nX100 F1500\nG0 Z5\n(CUT 2 b)\nY40\nZ1\nG1 Z-3 F500\nX20 F1500\n")
    (found,) = only("both-shallow", text, tools=both, names=("a", "b"))
    assert found.cut == "b"
    assert MILL.diameter == both[2].diameter
