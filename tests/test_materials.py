"""What is known of materials: complete, in range, and in the order the trade knows."""

import numpy as np
import pytest

import pathgen as pg
from pathgen.model.stock import MATERIALS
from pathgen.shop.materials import LEAST_CHIP, material


@pytest.mark.parametrize("name", MATERIALS)
def test_every_material_has_its_figures(name):
    known = material(name)
    assert known.name == name
    assert 1 <= known.max_ramp <= 10
    assert 1 <= known.slot_depth <= 2
    assert (known.chip_load is None) == (known.family in ("card", "mineral"))


def test_an_unknown_material_is_refused_with_the_list():
    with pytest.raises(pg.PathgenError, match="hardwood"):
        material("cheese")


@pytest.mark.parametrize(
    ("name", "ramp", "slot"),
    [
        ("brass", 3, 1),
        ("aluminium", 3, 1),
        ("hardwood", 5, 2),
        ("acrylic", 5, 1),
        ("softwood", 10, 2),
        ("hdu foam", 10, 2),
    ],
)
def test_ramps_and_slots_are_those_of_common_practice(name, ramp, slot):
    """Common practice, no source: 3 degrees in metal, 5 in hardwood and acrylic, 10 in softwood and foam."""
    assert (material(name).max_ramp, material(name).slot_depth) == (ramp, slot)


@pytest.mark.parametrize(
    ("name", "least", "most"), [("mdf", 0.024, 0.18), ("aluminium", 0.018, 0.09), ("brass", 0.012, 0.072)]
)
def test_chip_loads_are_shares_of_the_diameter(name, least, most):
    """Common practice, no source: at most 3 % in wood and plastics, 1.5 % in aluminium, 1.2 in brass; a fifth rubs."""
    low, high = material(name).chip_range(6)
    assert (float(low), float(high)) == pytest.approx((least, most))


def test_no_chip_load_is_below_what_an_edge_can_cut():
    low, high = material("brass").chip_range(np.array([0.5, 1.0, 8.0]))
    assert low.tolist() == pytest.approx([LEAST_CHIP, LEAST_CHIP, 0.016])
    assert (high >= low).all()
    assert material("glass").chip_range(3) is None
