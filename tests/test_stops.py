"""Stops, tool changes and ends: lifted clear, stopped for, said again, and left as it should be."""

import dataclasses

import pytest
from checking import HEAD, MILL, ROUTER, START, TAIL, codes, only, program

import pathgen as pg

CUT = "G0 Z1\nG1 Z-2 F500\nX100 F2400\n"
AGAIN = "G21 G17 G90 G94\nG54 G61\nG0 Z5\nX20 Y40\nS16000 M3\nG4 P3\nZ1\nG1 Z-2 F500\nX100 F2400\n"
STOPPED = program(CUT + "G0 Z5\nM5\nG4 P5\nM0\n" + AGAIN)
BY_HAND = dataclasses.replace(ROUTER, spindle="hand")
AUTOMATIC = dataclasses.replace(ROUTER, tool_change="automatic")


def test_careful_programs_have_no_finding():
    assert codes(program(CUT)) == set()
    assert codes(STOPPED) == set()


# -- what is said again -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("M0\nG21 ", "M0\n", "the unit"),
        ("M0\nG21 G17 ", "M0\nG21 ", "G17"),
        ("M0\nG21 G17 G90 ", "M0\nG21 G17 ", "G90"),
        (" G94\nG54 G61\nG0", "\nG54 G61\nG0", "G94"),
        ("X20 Y40\nS16000 M3", "X20 Y40\nM3", "S"),
        ("G61\nG0 Z5\nX20 Y40", "G61\nG0 Z5\nX20", "Y"),
        ("G54 G61\nG0 Z5\nX20", "G61\nG0 Z5\nX20", "the work offset"),
        ("G54 G61\nG0 Z5\nX20", "G54\nG0 Z5\nX20", "the path mode"),
        ("G0 Z5\nX20 Y40", "G0 Z5\nY40", "X"),
    ],
)
def test_after_a_stop_everything_that_holds_is_said_again(old, new, word):
    """Until the first feed move; a word in a comment does not count."""
    assert old in STOPPED
    (found,) = only("not-restated", STOPPED.replace(old, new + " (G21 G17 G90 G94 S1 X1 Y1)", 1))
    assert f" {word} are" in found.text
    assert STOPPED.split("\n")[found.line - 1] == "M0"


def test_feed_and_height_are_said_again_too():
    text = STOPPED.replace("Z1\nG1 Z-2 F500\nX100 F2400\nG0 Z5\nM5\nM9", "G1 X100\nG0 Z5\nM5\nM9").replace(
        "G61\nG0 Z5\nX20 Y40", "G61\nG0 X20 Y40"
    )
    (found,) = only("not-restated", text)
    assert "F, Z are" in found.text


def test_stops_are_counted_and_a_stop_at_the_end_needs_nothing():
    bare = "G0 Z5\nM5\nG4 P5\nM0\nS16000 M3\nG4 P3\nG0 Z1\nG1 Z-2\nX20\n"
    (found,) = only("not-restated", program(CUT + bare + bare))
    assert "(2 stops)" in found.text
    assert not only("not-restated", program(CUT, tail="G0 Z5\nM5\nM9\nG4 P5\nM0\nM2\n"))


def test_a_change_by_hand_is_a_stop_and_one_by_the_machine_is_none():
    change = "G0 Z5\nM5\nG4 P5\nT3 M6\nG43 H3\nS16000 M3\nG4 P3\nG0 Z1\nG1 Z-2\nX20\n"
    text = program("T2 M6\nG43 H2\nS16000 M3\nG4 P3\n" + CUT + change)
    tools = {2: MILL, 3: pg.EndMill(5, flutes=1)}
    assert only("not-restated", text, tools=tools)
    assert not only("not-restated", text, tools=tools, machine=AUTOMATIC)


# -- lifted clear -------------------------------------------------------------------------------------------------


def test_a_stop_with_the_tool_down_is_found():
    (found,) = only("stop-low", STOPPED.replace("G0 Z5\nM5\nG4 P5\nM0", "M5\nG4 P5\nM0", 1))
    assert found.amount == pytest.approx(7)
    assert not only("stop-low", STOPPED)


def test_a_program_that_ends_with_the_tool_down_is_found():
    for tail, amount in (("M5\nM9\nG4 P5\nM2\n", 7), ("G0 Z1\nM5\nM9\nG4 P5\nM2\n", 4)):
        (found,) = only("end-not-up", program(CUT, tail=tail))
        assert found.amount == pytest.approx(amount)
        assert found.severity == "error"
    assert not only("end-not-up", program(CUT, tail="G53 G0 Z0\nM5\nM9\nG4 P5\nM2\n"))
    assert not only("end-not-up", program(CUT, tail="G0 Z1\nM5\nG4 P5\nM2\n"), clearance=None)


# -- the end ------------------------------------------------------------------------------------------------------


def test_x_and_y_move_at_the_end_only_to_the_stated_park():
    home = program(CUT, tail="G0 Z5\nM5\nM9\nG4 P5\nG0 X0 Y0\nM2\n")
    assert only("ends-elsewhere", home)
    assert only("ends-elsewhere", home, machine=None)
    assert not only("ends-elsewhere", home, machine=dataclasses.replace(ROUTER, park=(0, 0)))
    assert only("ends-elsewhere", home, machine=dataclasses.replace(ROUTER, park=(0, 300)))


def test_spindle_and_coolant_stand_before_the_end():
    assert only("coolant-left-on", program("M8\n" + CUT, tail="G0 Z5\nM5\nG4 P5\nM2\n"))
    assert not only("coolant-left-on", program("M8\n" + CUT))
    (found,) = only("end-no-dwell", program(CUT, tail="G0 Z5\nM5\nG4 P2\nM2\n"))
    assert found.amount == 2
    for tail in ("G0 Z5\nM5\nG4 P2\nM5\nG4 P3\nM2\n", "G0 Z5\nM5\nM9\nG4 P5\nM2\n"):
        assert not only("end-no-dwell", program(CUT, tail=tail))
    assert not only("end-no-dwell", program(CUT, tail="G0 Z5\nM5\nM2\n"), machine=BY_HAND)
    assert not only("end-no-dwell", program(CUT, tail="G0 Z5\nM5\nM2\n"), machine=None)


# -- by hand ------------------------------------------------------------------------------------------------------


def test_a_spindle_switched_by_hand_needs_a_stop_and_the_words_at_the_beginning():
    words = "(Switch the spindle off and unplug it)\nM0\nG21 G17 G90 G94\n"
    assert not only("by-hand-no-stop", program(CUT, stop=words), machine=BY_HAND)
    assert "without a stop" in only("by-hand-no-stop", program(CUT), machine=BY_HAND)[0].text
    silent = words.replace("unplug", "stop")
    assert "unplug" in only("by-hand-no-stop", program(CUT, stop=silent), machine=BY_HAND)[0].text
    late = program("(unplug)\nM0\n" + CUT)
    assert only("by-hand-no-stop", late, machine=BY_HAND)
    assert not only("by-hand-no-stop", program(CUT))


def test_a_spindle_switched_by_hand_is_switched_on_again_before_each_tool():
    words = "(Switch the spindle off and unplug it)\nM0\n"
    on = "(Plug in and switch on)\nM0\n"
    assert only("by-hand-not-started", program(CUT, stop=words), machine=BY_HAND)
    assert not only("by-hand-not-started", program(on + CUT, stop=words), machine=BY_HAND)
    change = "G0 Z5\nM5\n" + words + "(Tool T3)\n"
    tools = {2: MILL, 3: pg.EndMill(5, flutes=1)}
    assert only("by-hand-not-started", program(on + CUT + change + CUT, stop=words), machine=BY_HAND, tools=tools)
    assert not only(
        "by-hand-not-started", program(on + CUT + change + on + CUT, stop=words), machine=BY_HAND, tools=tools
    )


def test_no_stop_while_the_spindle_turns():
    (found,) = only("stop-spinning", STOPPED.replace("G0 Z5\nM5\nG4 P5\nM0", "G0 Z5\nM0", 1))
    assert found.severity == "error"
    assert not only("stop-spinning", STOPPED)


def test_a_machine_that_changes_tools_is_told_which():
    bare = program(CUT)
    assert only("not-loaded", bare, machine=AUTOMATIC)
    assert not only("not-loaded", bare)
    told = program("T2 M6\nG43 H2\nS16000 M3\nG4 P3\n" + CUT, start="")
    assert not only("not-loaded", told, machine=AUTOMATIC)


# -- changes ------------------------------------------------------------------------------------------------------

TOOLS = {2: MILL, 3: pg.EndMill(5, flutes=1)}


def changed(between):
    return (
        HEAD.format(tool=2, stop="") + "T2\nG0 X20 Y20\n" + START + CUT + "G0 Z5\nM5\nG4 P5\n" + between + AGAIN + TAIL
    )


def test_nothing_stops_for_a_change():
    (found,) = only("change-without-stop", changed("T3\n"), tools=TOOLS)
    assert "T3" in found.text
    assert not only("change-without-stop", changed("T3\nM0\n"), tools=TOOLS)
    assert not only("change-without-stop", changed("M0\nT3\n"), tools=TOOLS)
    assert not only("change-without-stop", changed("T2\n"), tools=TOOLS)


def test_a_change_at_a_stop_needs_a_zero_or_a_length():
    text = changed("T3\nM0\n")
    assert only("zero-not-again", text, tools=TOOLS)
    again = dataclasses.replace(ROUTER, dialect=pg.Dialect(zero_again_at_stop=True))
    assert not only("zero-not-again", text, tools=TOOLS, machine=again)
    assert not only("zero-not-again", text, tools=TOOLS, machine=None)
    assert not only("zero-not-again", changed("T3\nM0\nG43 H3\n"), tools=TOOLS)
    assert not only("change-without-stop", text, tools=TOOLS)


def test_the_length_of_another_tool_is_found():
    good, other = (program(f"T2 M6\nG43 H{h}\nS16000 M3\nG4 P3\n" + CUT, start="") for h in (2, 3))
    assert not codes(good) & {"length-other", "own-length"}
    (found,) = only("length-other", other)
    assert found.line == 8
    assert only("own-length", other, own=True)[0].severity == "error"
    assert not only("length-other", other, own=True)


def test_the_spindle_starts_after_the_first_retract():
    early = program(CUT, start="").replace("M5\nG0 Z5\n", "S16000 M3\nG4 P3\nG0 Z5\n", 1)
    assert only("spindle-early", early)
    assert not only("spindle-early", program(CUT))


def test_a_dwell_of_minutes_was_meant_in_milliseconds():
    """NISTIR 6556, section 3.5.4: P is in seconds."""
    assert not only("dwell-long", program(CUT))
    (found,) = only("dwell-long", program(CUT).replace("G4 P3\n", "G4 P3000\n", 1))
    assert found.amount == 3000
    assert found.severity == "warning"
    slow = dataclasses.replace(ROUTER, spin_up=90)
    assert not only("dwell-long", program(CUT).replace("G4 P3\n", "G4 P90\n", 1), machine=slow)
