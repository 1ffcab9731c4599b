"""Shank and holder against the stock as it stands when they come by."""

import dataclasses

import handmade
import pytest
from handmade import BOARD, settings
from shapely.geometry import box

import pathgen as pg
from pathgen.proof.collide import edge_length, envelope
from pathgen.proof.prove import prove

DEEP = pg.Stock(120, 80, 40, material="hardwood", thickness_range=(39.8, 40.2))
CUT = pg.Cutting(16000, 1800, 500)


def mill(**more):
    return pg.EndMill(6, cutting=CUT, **{"cutting_length": 60, "stick_out": 60} | more)


def text(*moves, tool=2):
    return handmade.HEAD.format(tool=tool) + handmade.UP + "\n".join(moves) + "\n" + handmade.TAIL


def slot(z, x0=30, x1=90, y=40, step=4):
    """A slot cut level by level, forth and back."""
    out = ["G0 Z5", f"G0 X{x0} Y{y}", "G0 Z1"]
    levels = range(-step, z - 1, -step)
    for k, level in enumerate(levels):
        out += [f"G1 Z{level} F500", f"X{x1 if k % 2 == 0 else x0} F1800"]
    return out


def cleared(z, x0, y0, x1, y1, *, step=4, over=5):
    """An area cleared level by level with lines in X, 5 mm apart."""
    out = ["G0 Z5", f"G0 X{x0} Y{y0}", "G0 Z1"]
    for level in range(-step, z - 1, -step):
        out += [f"G1 X{x0} Y{y0} F1800", f"Z{level} F500"]
        y = y0
        while y < y1:
            out += [f"X{x1} F1800", f"Y{min(y + over, y1)}", f"X{x0}", f"Y{min(y + 2 * over, y1)}"]
            y += 2 * over
        out += [f"X{x1}"]
    return out


def found(programs, tool, *, stock=DEEP, grid=0.2, **more):
    tools = {2: tool} if isinstance(tool, pg.EndMill) else tool
    proof = prove(programs, **settings(bounds=None, own=False, stock=stock, tools=tools, grid=grid, **more))
    return {f.code: f for f in proof.findings}


def test_a_holder_beside_a_deep_slot_is_met_by_the_face():
    """Stick-out 25, slot 32 deep: the holder's lower end comes 7 mm below the face beside it."""
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    touch = found([text(*slot(-32))], tool)["shank-touches"]
    assert touch.severity == "error"
    assert touch.amount == pytest.approx(7, abs=0.01)
    assert "holder of T2 comes 7.00 mm below" in touch.text
    assert touch.line is not None
    x, y, z = touch.where
    assert 30 - 15 <= x <= 90 + 15
    assert 40 - 15 <= y <= 40 + 15
    assert z == pytest.approx(-7, abs=0.01)
    assert "shank-touches" not in found([text(*slot(-24))], tool)


def test_a_holder_that_fits_into_the_cleared_pocket_touches_nothing():
    """The same depth in a pocket wider than the holder: cleared before, so neither holder nor stick-out complains."""
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    wide = cleared(-16, 23, 13, 97, 67)
    assert not {"shank-touches", "deeper-than-stick-out"} & set(found([text(*wide, *slot(-32, 45, 75))], tool))
    nearer = found([text(*wide, *slot(-32, 30, 75))], tool)
    assert "shank-touches" in nearer, "at X30 the holder reaches 5 mm beyond the pocket's wall at X20"
    assert nearer["shank-touches"].where[0] < 20
    assert "deeper-than-stick-out" in nearer


def test_what_counts_is_the_stock_as_it_stands_then():
    """The pocket is cleared only after the deep slot: the finished part shows nothing, the program is wrong."""
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    wide, deep = cleared(-16, 23, 13, 97, 67), slot(-32, 45, 75)
    touch = found([text(*deep, *wide)], tool)["shank-touches"]
    assert touch.amount == pytest.approx(3, abs=0.01), "told where it first touches, on the way to -28"
    lines = text(*deep, *wide).splitlines()
    assert lines[touch.line - 1].startswith(("X", "G1 Z"))
    assert touch.line <= 8 + 3 + len(deep)


def test_a_wide_shank_rubs_the_wall_above_its_edges():
    """Edges of 12 mm with a shank of 8 on a cutter of 6, in a slot 20 deep: it meets 8 mm of wall."""
    touch = found([text(*slot(-20))], mill(cutting_length=12, shank=8))
    assert touch["shank-touches"].amount == pytest.approx(8, abs=0.01)
    assert "shank of T2" in touch["shank-touches"].text
    assert "deeper-than-edges" in touch


@pytest.mark.parametrize("shank", [None, 4, 6])
def test_a_slender_shank_rubs_nothing_but_short_edges_are_told(shank):
    codes = found([text(*slot(-20))], mill(cutting_length=12, shank=shank))
    assert "shank-touches" not in codes
    assert codes["deeper-than-edges"].amount == pytest.approx(8, abs=0.01)


def test_edges_are_long_enough_below_a_faced_or_cleared_plane():
    """Edges of 20 mm reach -32 where the stock beside the slot had been taken down to -16 before, not after."""
    tool = mill(cutting_length=20)
    wide, deep = cleared(-16, 23, 13, 97, 67), slot(-32, 45, 75)
    assert "deeper-than-edges" not in found([text(*wide, *deep)], tool)
    assert "deeper-than-edges" in found([text(*deep, *wide)], tool)
    assert "deeper-than-edges" in found([text(*slot(-32))], tool)


def test_a_stock_that_was_lowered_by_an_earlier_program_counts():
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    first = prove(
        [text(*cleared(-16, 23, 13, 97, 67))],
        **settings(bounds=None, own=False, stock=DEEP, tools={2: tool}, grid=0.2),
    )
    assert "shank-touches" not in found([text(*slot(-32, 45, 75))], tool, grid=None, stock_after=first.height)
    assert "shank-touches" in found([text(*slot(-32, 45, 75))], tool)


def test_film_and_unevenness_stand_above_the_face():
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    board = dataclasses.replace(DEEP, unevenness=1.5)
    assert "shank-touches" not in found([text(*slot(-24))], tool)
    assert found([text(*slot(-24))], tool, stock=board)["shank-touches"].amount == pytest.approx(0.5, abs=0.01)


def test_a_v_bits_edges_end_with_its_cone():
    """60 degrees and 6 mm: the cone is 5.196 high; a shank of 12 meets the face once the tip is deeper."""
    bit = pg.VBit(60, diameter=6, shank=12, cutting=CUT)
    assert edge_length(bit) == pytest.approx(3 / 0.57735, abs=1e-3)
    assert "shank-touches" not in found([text(*slot(-5, step=5))], {2: bit}, stock=BOARD)
    touch = found([text(*slot(-8, step=4))], {2: bit}, stock=BOARD)["shank-touches"]
    assert touch.amount == pytest.approx(8 - 5.196, abs=0.01)


def test_keep_outs_meet_shank_and_holder_of_every_move():
    """The cutter passes 4 mm beside a clamp; its shank of 20 mm does not, once it is low enough."""
    tool = pg.EndMill(6, cutting_length=12, shank=20, cutting=CUT)
    clamp = pg.KeepOut(box(30, 47, 90, 60), 3, name="left clamp")
    assert "keep-out" not in found([text(*slot(-4))], tool, stock=BOARD, keep_out=[clamp])
    hit = found([text(*slot(-12))], tool, stock=BOARD, keep_out=[clamp])["keep-out"]
    assert hit.amount == pytest.approx(3, abs=1e-6)
    assert "left clamp" in hit.text


def test_a_parked_holder_hits_a_fence_it_would_clear_while_cutting():
    """The last rapid in X and Y crosses a fence 20 high at 5: an error, park included."""
    tool = mill(stick_out=25, holder=pg.Holder(30, 40))
    park = text(*slot(-4), "G0 Z5", "G0 X30 Y75")
    fence = pg.KeepOut(box(0, 72, 120, 80), 20)
    assert "keep-out" in found([park], tool, keep_out=[fence])
    assert "keep-out" not in found([text(*slot(-4))], tool, keep_out=[fence])


def test_the_envelope_widens_at_edges_and_stick_out():
    tool = pg.EndMill(6, cutting_length=12, shank=8, stick_out=30, holder=pg.Holder(40, 50), cutting=CUT)
    assert envelope(tool, [0, 12, 12.1, 30, 30.1]).tolist() == [3, 3, 4, 4, 20]


def test_a_faced_board_does_not_shorten_the_tool():
    """Edges of 12 mm, a slot 11 deep from a plane faced 3 mm lower: 14 below the raw face, and none of it too deep."""
    board = pg.Stock(120, 80, 20, material="mdf", thickness_range=(19.8, 20.2))
    cut = pg.Cutting(16000, 1800, 500, 3, 2.5)
    facer = pg.EndMill(20, cutting_length=20, cutting=pg.Cutting(16000, 1800, 500, 3, 8))
    short = pg.EndMill(6, cutting_length=12, shank=6, cutting=cut)
    cuts = [pg.face(board.region, facer, depth=3), pg.pocket(box(40, 30, 80, 50), short, depth=11, stock=board)]
    proof = pg.Job("Faced", board, handmade.ROUTER, cuts).prove(grid=0.3)
    assert proof.ok is True, str(proof)
    assert proof.height.array.min() == pytest.approx(-14, abs=1e-3)
