"""Through cuts at the thickest board, and what remains at the thinnest, each part of an outline by itself."""

import dataclasses
import re

import handmade
import pytest
from handmade import ASKED, BOARD, MILL, settings, texts
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Bridge, Flat, Kerf
from pathgen.proof.design import reached
from pathgen.proof.prove import prove
from pathgen.proof.through import owed_through

PLATE = box(30, 30, 50, 50)
SIDES = ((27, 27), (53, 27), (53, 53), (27, 53), (27, 27))


def asked(*more, depth=12, through=True):
    kerf = Kerf(
        shape=MultiPolygon([PLATE]), side="outside", width=6, depth=depth, below=0.4 if through else 0, through=through
    )
    return [("outline", MILL, Bounds((kerf, *more)))]


def ring(heights, extra=(), head="(CUT 1 outline)"):
    """Once round the plate, each side at its own height."""
    lines = [head, "G0 X27 Y27", handmade.UP.strip(), "G0 Z1"]
    for (x, y), z in zip(SIDES[1:], heights, strict=True):
        lines += [f"G1 Z{z} F500", f"X{x} Y{y} F900"]
    return handmade.HEAD.format(tool=2) + "\n".join(x for x in [*lines, *extra] if x) + "\n" + handmade.TAIL


def found(text, bounds=None, code="not-through", **more):
    more = {"hold": [pg.Tape(PLATE, shear=0.1)], **more}
    proof = prove([text], **settings(bounds=asked() if bounds is None else bounds, grid=0.3, **more))
    return [f for f in proof.findings if f.code == code]


def test_a_cut_through_all_round_is_through():
    assert not found(ring([-12.4] * 4))
    assert not found(ring([-12.2] * 4)), "the thickest board's underside is at 12.2"


@pytest.mark.parametrize("side", range(4))
def test_each_side_is_looked_at_by_itself(side):
    heights = [-12.4] * 4
    heights[side] = -12.1
    (miss,) = found(ring(heights))
    assert miss.severity == "error"
    assert miss.amount == pytest.approx(0.1, abs=1e-6)
    way = LineString([SIDES[side], SIDES[side + 1]])
    assert way.distance(Point(miss.where[:2])) < 3
    assert miss.where[2] == pytest.approx(-12.1)
    assert f"X{SIDES[side + 1][0]} Y{SIDES[side + 1][1]}" in ring(heights).splitlines()[miss.line - 1]


def test_one_deep_stroke_elsewhere_hides_nothing():
    deep = ["G0 Z5", "G0 X27 Y27", "G0 Z1", "G1 Z-12.4 F500"]
    misses = found(ring([-12] * 4, deep))
    assert misses
    assert misses[0].amount == pytest.approx(0.2, abs=1e-6)


@pytest.mark.parametrize("head", ["", "(CUT 7 other)", "(CUT 1 outline)"])
def test_no_comment_decides_whether_a_cut_is_through(head):
    assert found(ring([-12.4, -12, -12.4, -12.4], head=head))
    assert not found(ring([-12.4] * 4, head=head))


def test_a_gap_of_a_millimeter_is_found():
    """The last side ends 1 mm + two radii before the corner, so that 1 mm of skin stays."""
    lines = ring([-12.4] * 4).replace("G1 Z-12.4 F500\nX27 Y27", "G1 Z-12.4 F500\nX27 Y34")
    assert lines != ring([-12.4] * 4)
    (miss,) = found(lines)
    assert miss.amount == pytest.approx(12.2, abs=1e-6), "nothing is cut there"
    assert 30 < miss.where[1] < 31.1


def test_bridges_are_no_gap_and_all_the_rest_is():
    bridge = Bridge(line=MultiLineString([[(34, 27), (46, 27)]]), diameter=6, length=6, top=-10)
    lifted = ring([-12.4] * 4).replace("X53 Y27 F900", "X34\nZ-10\nX46\nZ-12.4\nX53 Y27 F900", 1)
    assert not found(lifted, asked(bridge))
    assert found(lifted, asked())
    assert found(lifted.replace("X46\n", "X48\n"), asked(bridge)), "lifted 2 mm too long"
    whole = texts()
    assert not [f for f in prove(whole, **settings(grid=0.4)).findings if f.code == "not-through"]


def test_where_zero_is_the_table_every_board_is_cut_through_alike():
    table = dataclasses.replace(BOARD, zero_height="table")

    def raised(text):
        return re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) + 12:.3f}", text)

    assert not found(raised(ring([-12.05] * 4)), stock=table)
    assert found(raised(ring([-11.9] * 4)), stock=table)
    assert found(ring([-12.05] * 4)), "from the top a board of 12.2 is not cut through"


def test_what_is_owed_at_the_underside_is_what_the_cutter_reaches_less_bridges():
    rule = asked()[0][2].rules[0]
    bridge = Bridge(line=MultiLineString([[(34, 27), (46, 27)]]), diameter=6, length=6, top=-10)
    whole = owed_through(rule, MILL, Bounds((rule,)))
    ring_area = reached(rule, PLATE.buffer(6, quad_segs=64).difference(PLATE), MILL)
    assert ring_area.buffer(1e-6).covers(whole)
    assert whole.area == pytest.approx(ring_area.area - 0.03 * ring_area.length, rel=2e-3)
    assert not owed_through(rule, MILL, Bounds((rule, bridge))).intersects(LineString([(34, 27), (46, 27)]))


def test_a_thin_board_must_not_take_half_of_a_bridge():
    """Bridges 2 mm thick on a board of 12: 0.9 are left where it measures 10.9."""
    wide = dataclasses.replace(BOARD, thickness_range=(10.9, 12.2))
    whole = prove(texts(), **settings(stock=wide, grid=0.4))
    (told,) = [f for f in whole.findings if f.code == "bridge-range"]
    assert told.severity == "warning"
    assert told.amount == pytest.approx(0.9)
    assert "2.00 mm thick are 0.90 to 2.20" in told.text
    assert not [f for f in prove(texts(), **settings(grid=0.4)).findings if f.code == "bridge-range"]


def test_a_floor_that_the_thinnest_board_does_not_have_is_an_error():
    deep = Bounds((Flat(region=MultiPolygon([box(24, 24, 56, 30)]), depth=11.8),))
    text = ring([-11.8, -1, -1, -1])
    for thin, wrong in ((11.8, True), (11.9, False)):
        stock = dataclasses.replace(BOARD, thickness_range=(thin, 12.2))
        (*lines,) = found(text, [("tray", MILL, deep)], code="too-little-left", stock=stock)
        assert bool(lines) is wrong
        if wrong:
            assert "Nothing is left" in lines[0].text


def test_a_skin_is_not_asked_to_be_through():
    assert not found(ring([-11.5] * 4), asked(depth=11.5, through=False))


def test_what_an_earlier_program_cut_through_stays_through():
    first = prove(texts()[1:], **settings(bounds=ASKED[1:], grid=0.3))
    later = prove(texts()[:1], **settings(grid=0.3, stock_after=first.height))
    assert not [f for f in later.findings if f.code == "not-through"]
    assert [f for f in prove(texts()[:1], **settings(grid=0.3)).findings if f.code == "not-through"]
