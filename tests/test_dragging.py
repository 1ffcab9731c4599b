"""Tools that must never spin: nothing in their files may turn a spindle, and they are set down with care."""

import dataclasses

import pytest
import shapely
from checking import BOARD, ROUTER, codes, only, program

import pathgen as pg
from pathgen.proof.codes import ACCEPTABLE

KNIFE = {2: pg.TrailingKnife(trail=0.25, edge_angle=45, max_depth=1.5)}
DIAMOND = {2: pg.DiamondPoint(max_travel=1.0)}
GLASS = pg.Stock(120, 80, 4, material="glass")
STOP = "M0\nG21 G17 G90 G94 G54\nG61\n"
CUT = "G0 Z1\nG1 Z-0.5 F200\nX100 F800\n"


def drawn(body=CUT, *, stop=STOP):
    return program(body, start="", stop=stop)


@pytest.mark.parametrize("tools", [KNIFE, DIAMOND])
def test_a_careful_file_has_no_finding(tools):
    assert codes(drawn(), tools=tools, stock=GLASS) == set()


@pytest.mark.parametrize(
    "word",
    ["S8000 M3", "M3", "M4", "M03", "S100", "S.5", "S#1", "S[2+3]", "s8000", "m 3", "S 1 0", "N5 M3", "/M3"],
)
def test_any_spindle_word_in_the_file_is_an_error_that_cannot_be_accepted(word):
    """Also a speed that no M3 follows, a deleted block, and words after the last move."""
    for text in (
        drawn().replace("M5\n", f"M5\n{word}\n", 1),
        drawn().replace("M9\n", f"M9\n{word}\n", 1),
        drawn(CUT + f"G0 Z5\n{word}\nX20\n"),
    ):
        found = only("spindle-on-dragging", text, tools=KNIFE)
        assert found, text
        assert found[0].severity == "error"
    assert "spindle-on-dragging" not in ACCEPTABLE


@pytest.mark.parametrize("word", ["S0", "S0.0", "M5", "M30", "(S8000 M3)", "S 0", "M3000 (unknown)"])
def test_what_only_looks_like_a_spindle_word_is_none(word):
    assert not only("spindle-on-dragging", drawn().replace("M5\n", f"M5\n{word}\n", 1), tools=KNIFE)


def test_the_line_of_the_word_is_told():
    text = drawn().replace("M9\n", "M9\nS100\n")
    (found,) = only("spindle-on-dragging", text, tools=KNIFE)
    assert text.split("\n")[found.line - 1] == "S100"


def test_a_running_spindle_is_told_once_with_its_speed():
    (found,) = only("spindle-on-dragging", drawn().replace(CUT, "S9000 M3\n" + CUT), tools=KNIFE)
    assert found.amount == 9000


def test_the_file_begins_with_m5_and_a_stop():
    assert not only("dragging-no-stop", drawn(), tools=KNIFE)
    assert "a stop" in only("dragging-no-stop", drawn(stop=""), tools=KNIFE)[0].text
    assert "M5" in only("dragging-no-stop", drawn().replace("M5\n", "", 1), tools=KNIFE)[0].text
    late = drawn(CUT + "G0 Z5\nM0\n" + CUT, stop="")
    assert only("dragging-no-stop", late, tools=KNIFE)


def test_no_rapid_sets_a_point_onto_the_face():
    (found,) = only("rapid-onto-face", drawn("G0 Z0\nG1 Z-0.5 F200\nX100\n"), tools=KNIFE)
    assert found.line == 10
    assert only("rapid-onto-face", drawn("G0 Z-0.4\nG1 X100 F800\n"), tools=DIAMOND)
    assert not only("rapid-onto-face", drawn("G0 Z0.1\nG1 Z-0.5 F200\nX100\n"), tools=KNIFE)
    assert not only("rapid-onto-face", drawn("G0 Z0\nG1 Z-0.5 F200\nX100\n"), tools={2: pg.EndMill(6)})


def test_blade_and_spring_have_an_end():
    deep = drawn("G0 Z1\nG1 Z-1.7 F200\nX100\n")
    (found,) = only("deeper-than-blade", deep, tools=KNIFE)
    assert found.amount == pytest.approx(0.2)
    (found,) = only("beyond-travel", deep, tools=DIAMOND)
    assert found.amount == pytest.approx(0.7)
    assert not codes(deep, tools={2: pg.TrailingKnife(trail=0.25, edge_angle=45)}) & {
        "deeper-than-blade",
        "beyond-travel",
    }
    assert not codes(drawn(), tools=DIAMOND) & {"beyond-travel"}


def test_a_diamond_comes_down_on_glass_slowly():
    """Common practice, no source: 300 mm/min; a slope counts by its downward share."""
    fast = drawn("G0 Z1\nG1 Z-0.5 F400\nX100\n")
    (found,) = only("diamond-fast", fast, tools=DIAMOND, stock=GLASS)
    assert found.amount == pytest.approx(400)
    assert not only("diamond-fast", fast, tools=DIAMOND, stock=BOARD)
    assert not only("diamond-fast", fast, tools=KNIFE, stock=GLASS)
    assert not only("diamond-fast", drawn("G0 Z1\nG1 X25 Z-0.5 F800\nX100\n"), tools=DIAMOND, stock=GLASS)


def test_a_spindle_switched_by_hand_changes_nothing_of_this():
    by_hand = dataclasses.replace(ROUTER, spindle="hand")
    assert only("spindle-on-dragging", drawn().replace("M5\n", "M5\nM3\n", 1), tools=KNIFE, machine=by_hand)


def test_a_face_that_rises_presses_the_spring_further():
    slate = pg.Stock(150, 90, 8, material="stone", thickness_range=(7, 9), unevenness=0.2)
    table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
    point = pg.DiamondPoint(max_travel=1.2, cutting=pg.Cutting(0, 900, 200))
    cut = pg.scribe(shapely.LineString([(20, 20), (100, 20)]), point, travel=1.0, line_width=0.2, stock=slate)
    job = pg.Job("line", slate, table, cut)
    (text,) = (p.text for p in job.programs())
    assert job.prove().ok
    assert "Z-1.0 " in text
    (wrong,) = (f for f in job.prove(texts=[text.replace("Z-1.0 ", "Z-1.1 ")]).findings if f.code == "beyond-travel")
    assert wrong.amount == pytest.approx(0.1)
