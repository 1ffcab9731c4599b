"""Wood movement against the USDA Wood Handbook (FPL-GTR-190, 2010; FPL-GTR-282, 2021)."""

import tomllib
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathgen.errors import ArgumentError
from pathgen.shop import wood

TABLE = tomllib.loads(files("pathgen.shop").joinpath("data/wood.toml").read_text())


@pytest.mark.parametrize(
    ("rh", "emc"),
    [(5, 1.3), (10, 2.5), (20, 4.5), (25, 5.4), (30, 6.2), (40, 7.7), (50, 9.2), (60, 11.0), (65, 12.0), (70, 13.1),
     (80, 16.0), (90, 20.5), (95, 23.9)],
)  # fmt: skip
def test_moisture_equals_the_printed_table(rh, emc):
    """Table 4-2 at 70 F (21.1 C)."""
    assert wood.moisture(rh) == pytest.approx(emc, abs=0.1)


@pytest.mark.parametrize(("rh", "emc"), [(30, 6.172), (50, 9.246), (65, 11.964), (80, 15.997)])
def test_moisture_equals_the_equation(rh, emc):
    """Eq. 4-5 worked out at 70 F."""
    assert wood.moisture(rh, temperature=(70 - 32) / 1.8) == pytest.approx(emc, abs=0.02)


def test_moisture_at_140_f():
    """A published comparison of Eq. 4-5: 8.4 % at 140 F and 55 %."""
    assert wood.moisture(55, temperature=60.0) == pytest.approx(8.38, abs=0.03)


@pytest.mark.parametrize(
    ("name", "grain", "change"),
    [("black-walnut", "tangential", 3.288), ("black-walnut", "radial", 2.280), ("hard-maple", "tangential", 4.236)],
)
def test_a_board_of_200_mm_from_6_to_12_percent(name, grain, change):
    """Eq. 13-2 with the coefficients of Table 13-5."""
    got = wood.movement_of_moisture(name, 200, moisture=(6, 12), grain=grain)
    assert got.change == pytest.approx(change, abs=1e-9)
    assert len(got.notes) == 1


def test_the_worked_example_of_the_handbook(monkeypatch):
    """p. 13-17: 232 mm of white fir from 8 to 11 % grows by 1.7 mm; its coefficient and moistures are from memory."""
    monkeypatch.setitem(wood._table(), "white-fir", {"tangential": 0.00245, "radial": 0.00112, "source": "13-5"})
    got = wood.movement_of_moisture("white-fir", 232, moisture=(8, 11), grain="tangential")
    assert got.change == pytest.approx(1.7052, abs=1e-9)
    assert round(232 + got.change, 1) == 233.7


@pytest.mark.parametrize("grain", ["radial", "tangential"])
@pytest.mark.parametrize("name", [n for n, row in TABLE.items() if "shrinkage_radial" in row])
def test_coefficients_follow_from_the_shrinkage(name, grain):
    """Eq. 13-3 at 10 %: C = (S / 100) / (30 - 20 S / 100); an error of data entry would break it."""
    shrinkage = TABLE[name][f"shrinkage_{grain}"] / 100
    assert TABLE[name][grain] == pytest.approx(shrinkage / (30 - 20 * shrinkage), abs=1.01e-5)


@pytest.mark.parametrize("name", [n for n, row in TABLE.items() if "shrinkage_radial" in row])
def test_both_equations_meet_at_the_border_of_their_ranges(name):
    """Eq. 13-2 from 6 to 14 % and Eq. 13-3 a hair beyond agree within what the linear form leaves out."""
    inside = wood.movement_of_moisture(name, 100, moisture=(10, 14), grain="tangential").change
    beyond = wood.movement_of_moisture(name, 100, moisture=(10, 14.0001), grain="tangential").change
    assert beyond == pytest.approx(inside, rel=0.02)


@given(rh=st.floats(0, 99), more=st.floats(0.1, 0.9))
def test_damper_air_makes_damper_and_wider_wood(rh, more):
    assert wood.moisture(rh + more) > wood.moisture(rh)
    assert wood.movement("beech", 100, from_rh=rh, to_rh=rh + more).change >= 0


def test_a_pocket_closes_when_the_wood_dries():
    got = wood.seasons("black-cherry", 30, cut_at=45, driest=25, dampest=65)
    assert got.closes > 0
    assert got.opens > 0
    assert got.clearance == got.closes / 2
    assert got.gap == pytest.approx((got.closes + got.opens) / 2)
    # 5.4 to 8.4 % moisture by Table 4-2 (45 % between 7.7 and 9.2): 30 mm x 0.00248 x 3
    assert got.closes == pytest.approx(0.225, abs=0.03)


def test_a_climate_that_never_gets_drier_asks_for_no_clearance():
    got = wood.seasons("black-cherry", 30, cut_at=40, driest=40, dampest=60)
    assert got.closes == 0 == got.clearance


def test_what_is_from_memory_or_beyond_the_range_says_so():
    assert any("memory" in n for n in wood.movement("mahogany", 100, from_rh=40, to_rh=60).notes)
    assert any("beyond 6 to 14" in n for n in wood.movement("beech", 100, from_rh=10, to_rh=60).notes)


def test_bad_arguments_say_what_is_meant():
    with pytest.raises(ArgumentError, match="black-walnut"):
        wood.movement("Black Walnt", 100, from_rh=30, to_rh=60)
    for bad in (-1, 100, float("nan"), "x"):
        with pytest.raises(ArgumentError, match="rh"):
            wood.movement("beech", 100, from_rh=bad, to_rh=60)
    with pytest.raises(ArgumentError, match="swap"):
        wood.seasons("beech", 30, cut_at=45, driest=65, dampest=25)
    with pytest.raises(ArgumentError, match="grain"):
        wood.movement("beech", 100, from_rh=30, to_rh=60, grain="flat")
