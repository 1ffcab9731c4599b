"""What is stated before anything moves, plain comments in our own text, arcs long enough to be written."""

import dataclasses

import pytest
from checking import BOARD, ROUTER, checked, codes, only, program

import pathgen as pg

CUT = "G0 Z1\nG1 Z-2 F500\nX100 F2400\n"


@pytest.mark.parametrize("word", ["G17", "G90", "G94", "G40", "G80", "G54", "M5"])
def test_every_mode_is_stated_before_the_first_motion(word):
    """In one finding, whatever is missing; a comment or a later line states nothing."""
    text = program(CUT).replace("M5\n", "", 1) if word == "M5" else program(CUT).replace(f" {word}", "", 1)
    (found,) = only("mode-not-stated", text.replace("G0 Z1\n", f"G0 Z1\n{word} ({word})\n", 1))
    assert word in found.text
    assert found.amount == 1
    assert not only("mode-not-stated", program(CUT))


def test_all_missing_modes_are_one_finding():
    bare = "(Tool T2)\nG21\nG0 Z5\nX20 Y20\nS16000 M3\nG4 P3\n" + CUT + "G0 Z5\nM5\nG4 P5\nM2\n"
    (found,) = only("mode-not-stated", bare)
    assert found.amount == 7


@pytest.mark.parametrize("offset", ["G54", "G55", "G59", "G59.3"])
def test_any_work_offset_will_do(offset):
    assert not only("mode-not-stated", program(CUT).replace("G54", offset, 1))


def test_an_exact_path_is_stated_before_the_first_feed():
    assert not only("corners-rounded", program(CUT))
    late = program(CUT + "G0 Z5\nG61\n" + CUT).replace("G61\n", "", 1)
    assert only("corners-rounded", late)
    assert only("corners-rounded", program(CUT + "G64\nX20\n"))


# -- comments -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "comment", ["MSG, look", "msg,x", " m s g", "Rose; M3", "x" * 61, "Caf\u00e9", "a=b", "100 %", "50 mm/min"]
)
def test_our_own_comments_are_plain(comment):
    text = program(f"({comment})\n" + CUT)
    (found,) = only("own-comment", text, own=True)
    assert found.severity == "error"
    assert text.split("\n")[found.line - 1] == f"({comment})"
    assert not only("own-comment", text)


def test_what_the_writer_says_passes():
    job = pg.Job(
        "Rose) M3 S18000 (",
        BOARD,
        ROUTER,
        pg.pocket(
            pg.place(pg.plate(40, 30), BOARD), pg.EndMill(6, cutting=pg.Cutting(16000, 4000, 500, 3, 2.7)), depth=2
        ),
    )
    texts = [p.text for p in job.programs(unproved=True)]
    assert not only("own-comment", texts, own=True, tools={1: pg.EndMill(6)})


# -- arcs ---------------------------------------------------------------------------------------------------------


def arc(radius):
    """A half circle."""
    return program(f"G0 Z1\nG1 Z-2 F500\nX40 F2400\nG2 X{40 + 2 * radius:.4f} Y20 I{radius:.4f} J0\nG1 X100\n")


def test_arcs_shorter_than_two_hundredths_are_found():
    """A half circle of 0.005 mm radius is 0.0157 mm long, one of 0.0075 mm 0.0236."""
    (found,) = only("arc-short", arc(0.005))
    assert found.amount == pytest.approx(0.0157, abs=1e-4)
    assert "-" not in found.text
    assert not only("arc-short", arc(0.0075))


def test_in_inches_twenty_steps_are_longer():
    """20 steps of 0.0001 inch are 0.0508 mm; a half circle of 0.0005 inch is 0.0399 mm long."""
    body = "G0 Z0.2\nG1 Z-0.08 F20\nX1.5 F90\nG2 X1.501 Y0.8 I0.0005 J0\nG1 X4\n"
    inch = program(body).replace("G21", "G20").replace("X20 Y20", "X0.8 Y0.8")
    assert only("arc-short", inch)
    assert not only("arc-short", inch.replace("X1.501", "X1.503").replace("I0.0005", "I0.0015"))


def test_our_own_steps_are_those_of_the_dialect():
    coarse = dataclasses.replace(ROUTER, dialect=pg.Dialect(decimals=2, center_decimals=3))
    assert only("arc-short", arc(0.05), own=True, machine=coarse)
    assert not only("arc-short", arc(0.05), own=True)


# -- what the reader says ------------------------------------------------------------------------------------------


def test_many_findings_of_the_reader_are_three_and_a_number():
    circles = "".join("G2 X100 Y20 I-3\n" for _ in range(50))
    found = [f for f in checked(program(CUT + circles)) if f.code == "full-circle"]
    assert len(found) == 3
    assert "47 more" in found[-1].text
    assert found[0].line + 2 == found[2].line
    assert "own-full-circle" in codes(program(CUT + circles), own=True)


@pytest.mark.parametrize("line", ["G92 X0", "G10 L2 P1 X0", "G28 X0", "G30 Z0"])
def test_our_own_text_never_moves_the_zero_nor_goes_home(line):
    text = program(f"{line}\n" + CUT)
    assert only("own-zero-moved", text, own=True)[0].severity == "error"
    (found,) = [f for f in checked(text) if f.code in ("sets-offset", "returns-home")]
    assert (found.severity, found.line) == ("warning", 9)
    assert found.advice


@pytest.mark.parametrize("offset", ["G55", "G59.3"])
def test_our_own_text_has_one_work_offset_from_beginning_to_end(offset):
    whole = program(CUT).replace("G54", offset, 1)
    within = program(f"{offset}\n" + CUT)
    for text, line in ((whole, 2), (within, 9)):
        (found,) = only("own-zero-moved", text, own=True)
        assert (found.severity, found.line) == ("error", line)
    assert not only("own-zero-moved", program(CUT), own=True)


def test_programs_that_begin_in_two_work_offsets_are_told():
    """Each by itself is in order; that the second zero is the first one stands nowhere."""
    one, other = program(CUT), program(CUT).replace("G54", "G55", 1)
    (found,) = only("work-offset-changed", [one, other])
    assert found.line == 2
    assert "G55" in found.text
    assert found.program != ""
    assert not only("work-offset-changed", [one, one])
    assert not only("work-offset-changed", [other, other])


# -- lines left to a switch ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_that_a_switch_leaves_out_are_told(end):
    text = program(CUT + "/X90\n  / X100\n").replace("\n", end)
    (found,) = only("block-delete", text)
    assert (found.severity, found.line, found.amount) == ("warning", 12, 2)
    (own,) = only("own-block-delete", text, own=True)
    assert own.severity == "error"


def test_a_slash_that_begins_no_line_is_no_switch():
    assert not only("block-delete", program(CUT + "X[100/2]\n(a/b)\n") + "/X5\n")
