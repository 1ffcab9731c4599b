"""Chip loads by the speed that is really reached, standing in contact, cooling: what burns, melts, welds or breaks."""

import dataclasses
import re

import pytest
from checking import MILL, ROUTER, only, program
from shapely.geometry import box

import pathgen as pg

FAST = "G0 Z1\nG1 Z-2 F500\nX100 F{feed}\n"


def straight(feed, rpm=16000):
    return program(FAST.format(feed=feed), start=f"S{rpm} M3\nG4 P3\n")


def at(material):
    return pg.Stock(120, 80, 30, material=material)


@pytest.mark.parametrize(
    ("material", "low", "high"),
    [("hardwood", 0.024, 0.18), ("acrylic", 0.024, 0.18), ("aluminium", 0.018, 0.09), ("brass", 0.012, 0.072)],
)
def test_chip_loads_outside_the_range_are_found_on_both_sides(material, low, high):
    """Common practice, no source: shares of the diameter, 6 mm here, and one edge; a tenth beyond is no finding."""
    for load, code in (
        (0.8 * low, "chip-load-low"), (0.95 * low, None), (1.05 * high, None), (1.2 * high, "chip-load-high"),
    ):  # fmt: skip
        text = straight(round(load * 16000))
        for name in ("chip-load-low", "chip-load-high"):
            assert bool(only(name, text, stock=at(material))) is (name == code), (load, name)


def test_the_amounts_are_the_load_and_the_share_of_the_way():
    (high,) = only("chip-load-high", straight(4000))
    assert high.amount == pytest.approx(4000 / 16000)
    (low,) = only("chip-load-low", straight(300))
    assert low.amount == pytest.approx(1)
    assert "100 % of its way" in low.text
    assert "0.019 mm a tooth" in low.text


def test_two_edges_take_half_the_chip_each():
    two = {2: dataclasses.replace(MILL, flutes=2)}
    assert not only("chip-load-low", straight(480))
    assert only("chip-load-low", straight(480), tools=two)


def test_the_rpm_that_is_advised_cures_it():
    (found,) = only("chip-load-low", straight(300))
    rpm = int(re.match(r"\d+", found.advice)[0])
    assert rpm == pytest.approx(300 / (0.9 * 0.024), rel=0.02)
    assert not only("chip-load-low", straight(300, rpm))
    assert only("chip-load-low", straight(300, round(1.1 * rpm)))


def test_where_no_speed_of_the_spindle_helps_the_advice_says_so():
    slow = dataclasses.replace(ROUTER, min_rpm=12000)
    (found,) = only("chip-load-low", straight(150), machine=slow)
    assert found.advice.startswith("No speed")
    (found,) = only("chip-load-low", straight(20))
    assert found.advice.startswith("No speed")


def test_speed_that_corners_never_let_a_machine_reach_counts():
    """Steps of 0.02 mm to and fro at 500 mm/s2: from rest to rest 190 mm/min at most, whatever F says."""
    to_and_fro = "G0 Z1\nG1 Z-2 F500\n" + "".join(f"X{20 + k % 2 / 50} F2400\n" for k in range(1, 80))
    (found,) = only("chip-load-low", program(to_and_fro))
    assert "corners" in found.text
    assert not only("chip-load-low", program(to_and_fro), machine=None)
    quick = dataclasses.replace(ROUTER, acceleration=20000)
    assert not only("chip-load-low", program(to_and_fro), machine=quick)


def test_a_v_bit_is_measured_by_the_width_it_cuts_at():
    """60 degrees 10 mm deep is 11.5 mm wide at the face, 5.8 halfway: 0.023 mm; 1 mm deep it is the floor of 0.01."""
    bit = {2: pg.VBit(60, diameter=20, flutes=1)}
    deep = program("G0 Z1\nG1 Z-10 F500\nX100 F240\n")
    shallow = program("G0 Z1\nG1 Z-1 F500\nX100 F240\n")
    assert only("chip-load-low", deep, tools=bit)
    assert not only("chip-load-low", shallow, tools=bit)


def test_plunges_air_and_materials_without_a_figure_are_not_measured():
    assert not only("chip-load-low", program("G0 Z1\nG1 Z-10 F100\n"))
    assert not only("chip-load-low", program("G0 Z1\nX100 F100\nG1 Z-1 F500\nX20 F2000\n"))
    for material in ("glass", "card"):
        assert not only("chip-load-low", straight(100), stock=at(material))
    drill = {2: pg.Drill(6)}
    assert not only("chip-load-low", straight(100), tools=drill)


def test_one_finding_for_a_tool_however_many_moves():
    many = "G0 Z1\nG1 Z-2 F500\n" + "".join(f"X{100 if k % 2 else 20} Y{20 + k} F200\n" for k in range(30))
    assert len(only("chip-load-low", program(many))) == 1


# -- standing -----------------------------------------------------------------------------------------------------

WAIT = "G0 Z1\nG1 Z-2 F500\nX60 F2400\nG4 P{time}\nX100\n"


def test_waiting_in_contact_burns_wood_and_melts_plastic():
    """Common practice, no source: 0.2 s."""
    for material in ("hardwood", "mdf", "acrylic"):
        (found,) = only("standing", program(WAIT.format(time=0.5)), stock=at(material))
        assert (found.amount, found.line) == (0.5, 12)
        assert not only("standing", program(WAIT.format(time=0.1)), stock=at(material))
    assert not only("standing", program(WAIT.format(time=0.5)), stock=at("aluminium"))


def test_waiting_above_beside_or_at_rest_is_no_harm():
    assert not only("standing", program("G0 Z1\nG1 Z-2 F500\nX100 F2400\nG0 Z5\nG4 P2\n"))
    assert not only("standing", program("G0 Z1\nG1 Z-2 F500\nX140 F2400\nG4 P2\nX100\n"))
    assert not only("standing", program(WAIT.format(time=1), start=""))


def test_the_longest_wait_is_told():
    (found,) = only("standing", program(WAIT.format(time=0.5) + "G4 P3\n"))
    assert found.amount == 3


def test_a_diamond_never_waits_pressed_down():
    diamond = {2: pg.DiamondPoint(max_travel=3)}
    assert only("standing", program(WAIT.format(time=0.5), start=""), tools=diamond, stock=at("glass"))


# -- cooling ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("material", ["aluminium", "glass", "stone"])
def test_what_must_be_cooled_is_found_dry(material):
    dry = straight(1200)
    (found,) = only("cut-dry", dry, stock=at(material))
    assert found.amount == pytest.approx(1)
    for word in ("M7", "M8"):
        assert not only("cut-dry", dry.replace("G4 P3", f"G4 P3\n{word}"), stock=at(material))


def test_half_a_way_dry_is_told_as_half():
    half = program("G0 Z1\nM8\nG1 Z-1 F500\nX60 F1200\nM9\nX98\n")
    (found,) = only("cut-dry", half, stock=at("aluminium"))
    assert found.amount == pytest.approx(38 / 80, abs=0.02)
    assert found.line == 14


def test_wood_and_diamonds_are_not_cooled():
    assert not only("cut-dry", straight(2400))
    assert not only(
        "cut-dry", program(FAST.format(feed=300), start=""), tools={2: pg.DiamondPoint()}, stock=at("glass")
    )


def test_brass_wants_few_edges_and_no_tape():
    three = {2: pg.EndMill(6, flutes=3)}
    (found,) = only("many-edges", straight(1200), stock=at("brass"), tools=three)
    assert found.amount == 3
    assert not only("many-edges", straight(1200), stock=at("brass"))
    assert not only("many-edges", straight(1200), stock=at("aluminium"), tools=three)
    tape, screws = pg.Tape(box(0, 0, 120, 80), 0.1), pg.Screws([(5, 5), (115, 75)])
    assert only("tape-heat", straight(1200), stock=at("brass"), hold=[tape])
    assert not only("tape-heat", straight(1200), stock=at("brass"), hold=[tape, screws])
    assert not only("tape-heat", straight(1200), hold=[tape])
