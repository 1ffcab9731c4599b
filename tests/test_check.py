"""`check`: any program against tools and stock, without a design."""

import numpy as np
import pytest

import pathgen as pg
from pathgen.motion.read import read_program
from pathgen.motion.time import time

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


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"text": b"G21"}, "bytes"),
        ({"text": None}, "NoneType"),
        ({"text": ["G21", 3]}, "int"),
        ({"tools": None}, "tools"),
        ({"tools": [pg.EndMill(6)]}, "tools"),
        ({"stock": (60, 40, 18)}, "stock"),
        ({"machine": "router"}, "machine"),
        ({"stock_after": "yesterday"}, "stock_after"),
    ],
)
def test_what_is_no_program_tool_stock_or_machine_is_refused_by_name(given, told):
    with pytest.raises(pg.ArgumentError, match=told):
        pg.check(**{"text": SLOT.format(y=20), "tools": TOOLS, "stock": STOCK, **given})


def test_a_stock_that_was_cut_is_the_same_stock_on_the_same_grid():
    after = pg.check(SLOT.format(y=10), tools=TOOLS, stock=STOCK, grid=0.5).height
    with pytest.raises(pg.ArgumentError, match="this same stock"):
        pg.check(SLOT.format(y=20), tools=TOOLS, stock=pg.Stock(90, 40, 18, material="hardwood"), stock_after=after)
    with pytest.raises(pg.ArgumentError, match="grid"):
        pg.check(SLOT.format(y=20), tools=TOOLS, stock=STOCK, grid=0.2, stock_after=after)


def test_a_grid_too_coarse_to_see_the_cuts_is_told():
    """A rapid 2 mm deep through the board falls between samples 20 mm apart."""
    text = SLOT.format(y=20).replace("G1 X50", "G0 X50")
    coarse = pg.check(text, tools=TOOLS, stock=STOCK, grid=20)
    assert any("20 mm is coarse for a tool of 6 mm" in sentence for sentence in coarse.unchecked)
    assert not any("coarse" in sentence for sentence in pg.check(text, tools=TOOLS, stock=STOCK, grid=1.5).unchecked)


ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000, change_time=60)


def test_time_is_told_where_the_machine_is_known_and_is_that_of_the_timer():
    text = SLOT.format(y=20)
    proof = pg.check([text, text], tools=TOOLS, stock=STOCK, machine=ROUTER, grid=0.5)
    each = time(read_program(text), ROUTER)
    assert proof.time.total == pytest.approx(2 * each.total), "each program puts its tool in by itself"
    assert proof.time.feed == pytest.approx(2 * each.feed)
    assert proof.time.feed > 2 * (2 / 300 + 40 / 900) * 60
    assert f"time {proof.time}" in str(proof)
    alone = pg.check(text, tools=TOOLS, stock=STOCK, grid=0.5)
    assert alone.time is None
    assert "time" not in str(alone).split("\n")[1]


def test_the_box_is_that_of_the_slot_to_one_step_of_the_grid():
    """A slot from X 10 to 50 by a 6 mm mill: X 7 to 53, Y 17 to 23, 2 mm deep."""
    for step in (0.1, 0.5):
        x0, y0, x1, y1, z = pg.check(SLOT.format(y=20), tools=TOOLS, stock=STOCK, grid=step).box
        assert (x0, y0, x1, y1) == pytest.approx((7, 17, 53, 23), abs=step)
        assert z == pytest.approx(-2, abs=1e-6)
    above = SLOT.format(y=20).replace("Z-2", "Z2")
    assert pg.check(above, tools=TOOLS, stock=STOCK, grid=0.5).box is None


def test_tools_that_no_program_calls_are_left_out_of_account():
    """A tool of 0.5 mm in the list would make the grid fine, and its missing lengths would be told."""
    many = {**TOOLS, 7: pg.EndMill(0.5, name="hair mill"), 8: pg.VBit(60, diameter=6, name="small bit")}
    one = pg.check(SLOT.format(y=20), tools=TOOLS, stock=STOCK)
    other = pg.check(SLOT.format(y=20), tools=many, stock=STOCK)
    assert other.height.pixel == one.height.pixel
    assert other.unchecked == one.unchecked
    assert [f.code for f in other.findings] == [f.code for f in one.findings]
    used = pg.check(SLOT.format(y=20).replace("T1", "T7"), tools=many, stock=STOCK)
    assert used.height.pixel < one.height.pixel
    assert any("hair mill" in sentence for sentence in used.unchecked)


def test_a_program_that_names_no_tool_or_an_unknown_one_is_told_so_whatever_the_list_holds():
    many = {**TOOLS, 2: pg.EndMill(3)}
    text = SLOT.format(y=20)
    codes = {f.code for f in pg.check(text.replace("T1 M6\n", ""), tools=many, stock=STOCK, grid=0.5).findings}
    assert "no-tool-named" in codes
    for tools in (TOOLS, many):
        codes = {f.code for f in pg.check(text.replace("T1", "T9"), tools=tools, stock=STOCK, grid=0.5).findings}
        assert "unknown-tool" in codes
    both = [text, text.replace("T1", "T9")]
    assert "unknown-tool" in {f.code for f in pg.check(both, tools=many, stock=STOCK, grid=0.5).findings}
