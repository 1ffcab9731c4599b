"""Pieces that are cut free, when, how heavy, and the bridges that hold them: from the text alone."""

import dataclasses

import handmade
import pytest
import shapely
from handmade import ASKED, BOARD, settings, texts
from hypothesis import given
from hypothesis import settings as budget
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, box

import pathgen as pg
from pathgen.proof.grid import Grid
from pathgen.proof.pieces import MOST, bridged, pieces, sides, underside
from pathgen.proof.prove import _setting, prove
from pathgen.proof.sweep import sweep


def text(*moves, tool=2):
    return handmade.HEAD.format(tool=tool) + handmade.UP + "\n".join(moves) + "\n" + handmade.TAIL


def loop(x0, y0, x1, y1, z=-12.4, *, lifts=(), top=-10, step=None, feed=900):
    """Once round a rectangle of the tool's center at depth; lifted where `lifts` says: (side 0 to 3, from, to)."""
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    out = ["G0 Z5", f"G0 X{x0} Y{y0}", "G0 Z1"]
    levels = [z] if step is None else [*range(-step, int(z), -step), z]
    for level in levels:
        out += [f"G1 Z{level} F500", f"X{x0} F{feed}"]
        for side in range(4):
            (ax, ay), (bx, by) = corners[side], corners[side + 1]
            for k, low, high in sorted(lifts):
                if k == side and level < top:
                    for at, height in ((low, top), (high, level)):
                        where = (
                            f"X{ax + at if bx > ax else ax - at}" if by == ay else f"Y{ay + at if by > ay else ay - at}"
                        )
                        out += [where, f"Z{height}"]
            out += [f"X{bx} Y{by}"]
    return out


def setting(programs, *, tools=handmade.TOOLS, stock=BOARD):
    return _setting(
        programs, tools, stock, None, machine=handmade.ROUTER, clearance=5.0, keep_out=(), at=None, own=False
    )


def measured(programs, *, stock=BOARD, grid=0.2, tools=handmade.TOOLS):
    s = setting(programs, stock=stock, tools=tools)
    samples = Grid.over(stock.width, stock.height, grid)
    return bridged(s, pieces(s), sweep(s.strokes, s.tools, samples), samples)


def found(programs, *, grid=0.2, **more):
    proof = prove(programs, **settings(bounds=None, own=False, grid=grid, **more))
    return [f for f in proof.findings if f.code in WATCHED]


WATCHED = {"loose-piece", "loose-chip", "few-bridges", "bridges-one-side"}


def test_a_loose_piece_is_told_with_its_size_weight_and_the_move_that_frees_it():
    """20 x 20 x 12 mm of hardwood at 0.70 g/cm3 is 3.36 g; the fourth side frees it."""
    program = text(*loop(27, 27, 53, 53))
    (piece,) = found([program])
    assert piece.code == "loose-piece"
    assert piece.severity == "error"
    assert piece.amount == pytest.approx(400, abs=0.1)
    assert "20.0 x 20.0 mm" in piece.text
    assert "3.4 g" in piece.text
    assert 30 < piece.where[0] < 50
    assert program.splitlines()[piece.line - 1] == "X27 Y27"


def test_it_is_the_freeing_move_that_is_told_not_the_last_one_beside_it():
    """Once it is free the tool runs round it again: the line told is still in the first round."""
    once, twice = loop(27, 27, 53, 53), loop(27, 27, 53, 53)
    (piece,) = found([text(*once, *twice)])
    lines = text(*once, *twice).splitlines()
    assert piece.line <= len(text(*once).splitlines()) - 5
    assert lines[piece.line - 1] == "X27 Y27"


def test_a_piece_smaller_than_its_own_cutter_is_a_chip_whichever_other_tools_there_are():
    """The V bit of 12.7 mm does not make a piece of 8 x 8 a chip: it is the mill of 6 that frees it."""
    assert [f.code for f in found([text(*loop(27, 27, 41, 41))])] == ["loose-piece"]
    assert [f.code for f in found([text(*loop(27, 27, 37, 37))])] == ["loose-chip"]


def test_a_turned_chip_is_measured_along_its_own_sides():
    square = shapely.affinity.rotate(box(0, 0, 5, 3), 30)
    assert sides(square) == pytest.approx((5, 3))


def test_a_skin_that_the_thinnest_board_does_not_have_holds_nothing():
    """The board measures 11.8 to 12.2: a cut to 11.9 goes through where it is thinnest."""
    (piece,) = found([text(*loop(27, 27, 53, 53, z=-11.9))])
    assert "where the board is 11.8 mm thick" in piece.text
    assert found([text(*loop(27, 27, 53, 53, z=-11.7))]) == []
    whole = dataclasses.replace(BOARD, thickness_range=None)
    assert found([text(*loop(27, 27, 53, 53, z=-11.9))], stock=whole) == []


def test_on_a_table_zero_all_boards_are_cut_to_the_same_skin():
    table = dataclasses.replace(BOARD, zero_height="table")
    program = text(*loop(27, 27, 53, 53, z=0.1)).replace("Z5", "Z17").replace("Z1\n", "Z13\n")
    assert found([program], stock=table) == []


def test_many_loose_pieces_are_not_listed_without_end():
    small = [m for k in range(6) for j in range(5) for m in loop(6 + 18 * k, 5 + 14 * j, 16 + 18 * k, 15 + 14 * j)]
    told = found([text(*small)])
    assert len(told) == MOST
    assert "more pieces are" in told[-1].text


def test_what_two_programs_free_together_is_found_on_the_stock_as_it_stands():
    """Three sides in one program, the fourth in the next: each alone frees nothing."""
    three = text(*loop(27, 27, 53, 53)[:-1])
    fourth = text("G0 X27 Y53", "G0 Z1", "G1 Z-12.4 F500", "Y27 F900")
    first = prove([three], **settings(bounds=None, own=False, grid=0.2))
    assert not {f.code for f in first.findings} & WATCHED
    assert found([fourth]) == []
    (piece,) = found([fourth], grid=None, stock_after=first.height)
    assert piece.code == "loose-piece"
    assert piece.amount == pytest.approx(400, abs=5)
    assert fourth.splitlines()[piece.line - 1] == "Y27 F900"
    assert found([fourth], grid=None, stock_after=first.height, hold=[pg.Tape(box(30, 30, 50, 50), shear=5)]) == []


def test_bridges_left_by_an_earlier_program_still_hold():
    lifts = [(0, 20, 32), (1, 10, 22), (2, 20, 32), (3, 10, 22)]
    first = prove([text(*loop(17, 17, 83, 53, lifts=lifts))], **settings(bounds=None, own=False, grid=0.2))
    pocket = text("G0 X40 Y35", "G0 Z1", "G1 Z-3 F500", "X60 F900")
    assert found([pocket], grid=None, stock_after=first.height) == []


def test_hold_downs_and_bridges_hold():
    program = text(*loop(27, 27, 53, 53))
    for hold in (
        pg.Tape(box(30, 30, 50, 50), shear=5),
        pg.Vacuum(box(0, 0, 120, 80), pressure=100),
        pg.Screws([(36, 36), (44, 44)]),
    ):
        assert found([program], hold=[hold]) == []
    assert {f.code for f in found([program], hold=[pg.Screws([(5, 5)])])} == {"loose-piece"}


def test_bridges_are_measured_in_the_text():
    """Lifted over 12 mm with a cutter of 6: 6 mm are left at the narrowest, 1.8 mm high on the thinnest board."""
    lifts = [(0, 20, 32), (1, 10, 22), (2, 20, 32), (3, 10, 22)]
    (part,) = measured([text(*loop(17, 17, 83, 53, lifts=lifts))])
    assert sides(part.region) == pytest.approx((60, 30), abs=0.02)
    assert len(part.bridges) == 4
    for bridge in part.bridges:
        assert bridge.length == pytest.approx(6, abs=0.02)
        assert bridge.height == pytest.approx(11.8 - 10, abs=1e-3)
        middle = LineString([bridge.at, part.region.centroid.coords[0]])
        assert 3 - 0.1 <= part.region.distance(shapely.Point(bridge.at)) <= 3 + 0.1
        assert middle.length > 15
    assert sorted(round(b.along % 180) for b in part.bridges) == [0, 0, 90, 90]
    assert found([text(*loop(17, 17, 83, 53, lifts=lifts))]) == []


@given(length=st.floats(1, 12), thickness=st.floats(0.3, 4), count=st.integers(3, 4))
@budget(max_examples=15, deadline=None)
def test_any_bridge_is_found_with_its_size(length, thickness, count):
    lifts = [(k, 12, 18 + length) for k in range(count)]
    (part,) = measured([text(*loop(17, 17, 83, 57, lifts=lifts, top=round(-11.8 + thickness, 4)))], grid=0.4)
    assert len(part.bridges) == count
    assert [b.length for b in part.bridges] == pytest.approx([length] * count, abs=0.03)
    assert [b.height for b in part.bridges] == pytest.approx([thickness] * count, abs=2e-3)


def test_two_bridges_are_too_few_and_three_on_one_side_tip():
    two = found([text(*loop(17, 17, 83, 53, lifts=[(0, 20, 32), (2, 20, 32)]))])
    assert [f.code for f in two] == ["few-bridges"]
    assert "2 bridges" in two[0].text
    assert two[0].severity == "warning"
    three = found([text(*loop(17, 17, 83, 53, lifts=[(0, 5, 15), (0, 25, 35), (0, 45, 55)]))])
    assert [f.code for f in three] == ["bridges-one-side"]
    assert three[0].amount == pytest.approx(18, abs=0.1), "from the line of bridges to the middle of the piece"
    around = found([text(*loop(17, 17, 83, 53, lifts=[(0, 25, 35), (1, 15, 25), (3, 15, 25)]))])
    assert around == []


def test_the_sign_made_by_hand_hangs_on_two():
    proof = prove(texts(), **settings(grid=0.2))
    assert [f.code for f in proof.warnings if f.code in WATCHED] == ["few-bridges"]


def test_a_skin_is_no_bridge_and_a_lift_elsewhere_none_either():
    assert measured([text(*loop(27, 27, 53, 53, z=-11.0))]) == []
    assert measured(texts()[:1]) == []


def test_a_planned_profile_has_the_bridges_it_was_asked_for():
    """Flat and ramped, rough and finish pass, two parts and a cut-out: as many as asked, as long, as high."""
    board = pg.Stock(200, 100, 12, material="plywood")
    mill = pg.EndMill(4, cutting_length=14, cutting=pg.Cutting(16000, 1800, 500, 3, 1.6))
    frame = box(10, 10, 90, 90).difference(box(30, 30, 70, 70))
    shape = MultiPolygon([frame, box(110, 10, 190, 90)])
    asked = pg.Bridges(4, length=5, thickness=1.5)
    cuts = pg.profile(shape, mill, depth=pg.THROUGH, stock=board, bridges=asked, finish_allowance=0.3)
    job = pg.Job("Frames", board, handmade.ROUTER, cuts)
    (program,) = job.programs(unproved=True)
    parts = measured([program.text], stock=board, tools=program.tools)
    assert sorted(len(p.bridges) for p in parts) == [4, 4, 8], "the slug's four hold the frame round it too"
    for part in parts:
        for bridge in part.bridges:
            assert bridge.length == pytest.approx(5, abs=0.02)
            assert bridge.height == pytest.approx(1.5, abs=2e-3)


def test_the_underside_is_that_of_the_thinnest_board():
    assert underside(setting(texts())) == -11.8
    assert underside(setting(texts(), stock=dataclasses.replace(BOARD, zero_height="table"))) == -12


def test_asking_with_or_without_a_design_gives_the_same_pieces():
    for bounds in (None, ASKED):
        proof = prove(texts(), **settings(grid=0.3, bounds=bounds))
        assert {f.code for f in proof.findings if f.code in WATCHED} == {"few-bridges"}
