"""Details smaller than the tool that is to cut them."""

import math

import handmade
import pytest
from shapely.geometry import MultiPolygon, Polygon, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Flat, Groove, Kerf
from pathgen.proof.details import detail_findings

MILL = handmade.MILL
FINE = pg.EndMill(2, cutting_length=8, cutting=pg.Cutting(18000, 900, 300, 1, 0.8))
BOARD = pg.Stock(120, 80, 12, material="mdf")


def flat(region, depth=3, tool=MILL):
    return ("tray", tool, Bounds((Flat(region=MultiPolygon([region]), depth=depth),)))


TRAY = box(20, 20, 60, 50)
ARM = TRAY.union(box(60, 30, 75, 34))
"""A tray with an arm 4 mm wide and 15 long, too narrow for the mill of 6."""


def test_an_arm_narrower_than_the_tool_is_told_with_place_width_and_area():
    (told,) = detail_findings([flat(ARM)])
    assert told.severity == "warning"
    assert told.code == "detail-too-small"
    assert "4.00 mm wide" in told.text
    # the mill of 6 enters the mouth of the arm by 3 - sqrt(9 - 4)
    enters = 3 - math.sqrt(5)
    assert told.amount == pytest.approx(15 * 4, abs=4 * enters + 0.1)
    assert 60 < told.where[0] < 75
    assert told.where[1] == pytest.approx(32, abs=0.6)
    assert told.where[2] == -3
    assert told.cut == "tray"


def test_round_corners_are_no_detail_but_sharp_ones_are():
    assert list(detail_findings([flat(TRAY)])) == []
    for angle, expected in ((90, 0), (62, 0), (50, 1)):
        half = math.tan(math.radians(angle / 2)) * 40
        wedge = Polygon([(20, 40), (60, 40 - half), (60, 40 + half)]).intersection(box(0, 0, 60, 80))
        bottom = wedge.union(box(58, 40 - half, 90, 40 + half))
        assert len(list(detail_findings([flat(bottom)]))) == expected, angle


def test_a_finer_tool_that_goes_as_deep_settles_it():
    assert len(list(detail_findings([flat(ARM)]))) == 1
    assert list(detail_findings([flat(ARM), flat(ARM, tool=FINE)])) == []
    assert list(detail_findings([flat(ARM, tool=FINE), flat(ARM)])) == []
    shallow = list(detail_findings([flat(ARM), flat(ARM, depth=2, tool=FINE)]))
    assert [f.cut for f in shallow] == ["tray"], "not down to the floor"


def test_a_bay_narrower_than_the_cutter_stays_in_a_profile():
    """The bay is 2.5 mm wide and 15 deep: 37 mm2 less what the cutter enters."""
    plate = MultiPolygon([box(20, 20, 80, 60).difference(box(40, 45, 42.5, 60))])
    kerf = Kerf(shape=plate, side="outside", width=6, depth=12, through=True)
    (told,) = detail_findings([("outline", MILL, Bounds((kerf,)))])
    assert "2.50 mm wide" in told.text
    assert told.amount == pytest.approx(37.5, abs=2)
    assert told.where[:2] == pytest.approx((41.25, 52.5), abs=7)
    clear = Kerf(shape=MultiPolygon([box(20, 20, 80, 60)]), side="outside", width=6, depth=12, through=True)
    assert list(detail_findings([("outline", MILL, Bounds((clear,)))])) == []


def test_strokes_finer_than_a_flat_tip():
    fine = MultiPolygon([box(20, 20, 60, 20.3), box(20, 30, 60, 33)])
    blunt = pg.VBit(60, diameter=6, tip=0.5)
    (told,) = detail_findings([("letters", blunt, Bounds((Groove(region=fine, angle=60, tip=0.5),)))])
    assert "0.30 mm wide" in told.text
    assert told.amount == pytest.approx(12, abs=0.1)
    sharp = pg.VBit(60, diameter=6)
    assert list(detail_findings([("letters", sharp, Bounds((Groove(region=fine, angle=60),)))])) == []


def test_planner_and_proof_say_it_once():
    """A pocket with an arm: the proof's finding takes the place of the planner's note; corners stay the planner's."""
    for region, code in ((ARM, "detail-too-small"), (TRAY, "unreached")):
        mill = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
        cuts = pg.pocket(region, mill, depth=3, stock=BOARD)
        findings = pg.Job("Tray", BOARD, handmade.ROUTER, cuts).prove(grid=0.2).findings
        told = [f.code for f in findings if f.code in ("detail-too-small", "unreached")]
        assert told == [code]
