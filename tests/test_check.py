"""`check`: any program against tools and stock, without a design."""

import numpy as np
import pytest

import pathgen as pg

TOOLS = {1: pg.EndMill(6)}
STOCK = pg.Stock(60, 40, 18, material="hardwood")
SLOT = "G21 G90 G17\nT1 M6\nS12000 M3\nG0 Z5\nG0 X10 Y{y}\nG1 Z-2 F300\nG1 X50 F900\nG0 Z5\nM5\nM2\n"


def test_a_slot_is_cut_as_deep_as_written_and_never_ok_without_a_design():
    proof = pg.check(SLOT.format(y=20), tools=TOOLS, stock=STOCK, grid=0.2)
    assert proof.height.array.min() == pytest.approx(-2, abs=1e-4)
    assert proof.removed == pytest.approx(2 * (40 * 6 + 9 * np.pi), rel=0.01)
    assert proof.ok is not True


def test_a_rapid_through_the_board_is_an_error():
    proof = pg.check(SLOT.format(y=20).replace("G1 X50", "G0 X50"), tools=TOOLS, stock=STOCK, grid=0.2)
    assert proof.ok is False


def test_a_chain_gives_what_the_kept_stock_gives():
    one, two = SLOT.format(y=10), SLOT.format(y=30)
    both = pg.check([one, two], tools=TOOLS, stock=STOCK, grid=0.2)
    first = pg.check(one, tools=TOOLS, stock=STOCK, grid=0.2)
    after = pg.check(two, tools=TOOLS, stock=STOCK, stock_after=first.height)
    assert np.array_equal(both.height.array, after.height.array)


def test_no_text_is_refused():
    with pytest.raises(pg.ArgumentError, match="nothing to prove"):
        pg.check([], tools=TOOLS, stock=STOCK)
