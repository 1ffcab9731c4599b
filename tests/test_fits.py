"""Limits and fits: every row of the published tables, the published formulas, and worked fits."""

import pytest

from pathgen.errors import ArgumentError
from pathgen.shop.fits import fit, tolerance

STEPS = [(1, 3), (3, 6), (6, 10), (10, 18), (18, 30), (30, 50), (50, 80), (80, 120)]


@pytest.mark.parametrize("step", STEPS[1:])
@pytest.mark.parametrize(("grade", "units"), [(6, 10), (7, 16), (8, 25), (9, 40), (10, 64), (11, 100), (12, 160)])
def test_grades_follow_the_tolerance_unit(step, grade, units):
    """ISO 286-1 (formula from memory): IT = k i, i = 0.45 D^(1/3) + 0.001 D um, D = geometric mean of the step."""
    mean = (step[0] * step[1]) ** 0.5
    unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
    given = tolerance(grade, step[1]) * 1000
    # the standard rounds to whole numbers, larger ones to multiples of 5 and 10
    assert given == pytest.approx(units * unit, rel=0.06, abs=0.9)


@pytest.mark.parametrize("step", STEPS[1:])
@pytest.mark.parametrize(
    ("letter", "factor", "power"), [("d", 16, 0.44), ("e", 11, 0.41), ("f", 5.5, 0.41), ("g", 2.5, 0.34)]
)
def test_deviations_follow_the_published_formulas(step, letter, factor, power):
    """es = -16 D^0.44 (d), -11 D^0.41 (e), -5.5 D^0.41 (f), -2.5 D^0.34 (g).

    Narayana, Kannaiah, Reddy, Machine Drawing, Table 15.4. Sizes to 3 mm follow no formula: see the next test.
    """
    mean = (step[0] * step[1]) ** 0.5
    upper = (fit(f"H7/{letter}6", step[1]).shaft[1] - step[1]) * 1000
    assert -upper == pytest.approx(factor * mean**power, rel=0.05, abs=1.0)


def test_the_first_step_as_printed():
    """ISO 286-1, Table 1 and Table 4, sizes to 3 mm, um."""
    assert [tolerance(g, 3) * 1000 for g in range(6, 13)] == pytest.approx([6, 10, 14, 25, 40, 60, 100])
    upper = [(fit(f"H7/{letter}6", 3).shaft[1] - 3) * 1000 for letter in "defgh"]
    assert upper == pytest.approx([-20, -14, -6, -2, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("name", "size", "hole", "shaft", "least", "most"),
    [
        ("H7/g6", 25, 25.021, (24.980, 24.993), 0.007, 0.041),
        ("H8/f7", 50, 50.039, (49.950, 49.975), 0.025, 0.089),
        ("H7/g6", 6, 6.012, (5.988, 5.996), 0.004, 0.024),
        ("H8/f7", 12, 12.027, (11.966, 11.984), 0.016, 0.061),
        ("H8/d9", 20, 20.033, (19.883, 19.935), 0.065, 0.150),
        ("H7/g6", 100, 100.035, (99.966, 99.988), 0.012, 0.069),
    ],
)
def test_worked_fits(name, size, hole, shaft, least, most):
    """25 H7: Machine Drawing p. 225; 50 H8/f7: a published worked example; the others derived from the tables."""
    f = fit(name, size)
    assert f.hole == pytest.approx((size, hole), abs=1e-9)
    assert f.shaft == pytest.approx(shaft, abs=1e-9)
    assert (f.least, f.most) == pytest.approx((least, most), abs=1e-9)
    assert f.clearance == pytest.approx((least + most) / 4, abs=1e-9)


def test_a_step_runs_up_to_and_including_its_upper_end():
    """30 mm H7 is +21 um and 50 mm H8 is +39: two published tables print 25 and 33 there."""
    assert tolerance(7, 30) == 0.021
    assert tolerance(7, 30.001) == 0.025
    assert tolerance(8, 50) == 0.039
    assert tolerance(8, 50.001) == 0.046


def test_a_finer_grade_is_never_wider_and_a_larger_size_never_tighter():
    for grade in range(6, 12):
        for _, size in STEPS:
            assert tolerance(grade, size) < tolerance(grade + 1, size)
    for grade in range(6, 13):
        widths = [tolerance(grade, size) for _, size in STEPS]
        assert widths == sorted(widths)


@pytest.mark.parametrize("name", ["H8", "f7/H8", "H8/k7", "G8/f7", "H5/f7", "H8/f13", "", "h8/f7", 8])
def test_other_fits_are_refused_with_the_way_out(name):
    with pytest.raises(ArgumentError, match=r"H8/f7|not one of 6"):
        fit(name, 20)


@pytest.mark.parametrize("size", [0, -1, 120.001, float("nan")])
def test_sizes_outside_the_table_are_refused(size):
    with pytest.raises(ArgumentError, match="size"):
        fit("H8/f7", size)
