"""The reader against NISTIR 6556: samples, modal groups, order of execution, every error at its line.

Source of the rules: Kramer, Proctor, Messina, The NIST RS274NGC Interpreter - Version 3, NISTIR 6556 (2000), with
its section in each test; the values are its own where the test says "prints", else worked out from its rules.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from pathgen.model.motion import ARC, LINE, RAPID
from pathgen.motion.codes import READ_CODES, READ_NOTES, READ_WARNINGS, severity
from pathgen.motion.read import read_program

SAMPLE_C1 = Path(__file__).parents[1] / "shared" / "reference" / "nistir6556_c1.rs274"


def read(*rows: str, **options):
    """Read rows after a start that states units, place and feed; the first row is line 3."""
    return read_program("\n".join(["G21 G90 G17 F600", "G0 X0 Y0 Z0", *rows, "M2"]), **options)


def codes(motion) -> list[tuple[str, int]]:
    return [(f.code, f.line) for f in motion.findings]


def ends(motion, skip: int = 1) -> list[tuple[float, ...]]:
    return [tuple(round(v, 6) for v in row) for row in motion.moves.end[skip:].tolist()]


@pytest.mark.parametrize("bulk", [True, False])
def test_sample_c1_has_its_lengths_and_its_five_arcs(bulk):
    """NISTIR 6556 appendix C.1; the lengths are worked out from its words."""
    motion = read_program(SAMPLE_C1.read_text(encoding="ascii"), bulk=bulk)
    assert motion.feed_length == pytest.approx(183.430466, abs=5e-7)
    assert motion.rapid_length == pytest.approx(202.052801, abs=5e-7)
    m = motion.moves
    arc = m.kind == ARC
    assert np.degrees(m.sweep[arc]).round(4).tolist() == [270.0, -360.0, -360.0, -77.3644, -180.0]
    assert m.center[arc, :2].round(4).tolist() == [[13.5, 2.5], [32.5, 2.5], [57.5, 2.5], [66.5, 0.8775], [79.5, 2.5]]
    straight = (m.kind == LINE) & ~np.isnan(m.start).any(axis=1)
    assert straight.sum() == 29
    assert m.lengths[straight].sum() == pytest.approx(126.978534, abs=5e-7)
    assert (m.kind == RAPID).sum() == 25
    assert codes(motion) == [("full-circle", 34), ("full-circle", 45)]
    cut = m.end[m.kind != RAPID]
    assert cut[:, 0].min() == 0
    assert cut[:, 0].max() == 81
    assert (m.rpm[1:] == 4000).all()
    assert m.tool[0] == 0
    assert (m.tool[1:] == 1).all()


def test_the_example_arc_in_center_format():
    """Section 3.5.3.2 prints: from (7, 7), G17 G2 x10 y16 i3 j4 z9 has center (10, 11) and radius 5."""
    motion = read("G0 X7 Y7", "G17 G2 x10 y16 i3 j4 z9")
    assert motion.moves.center[-1].tolist() == [10, 11, 0]
    assert motion.moves.end[-1].tolist() == [10, 16, 9]
    assert motion.moves.sweep[-1] == pytest.approx(-(math.pi - math.atan2(3, 4)))


def test_the_example_arc_in_radius_format():
    """Table 10 prints center (1.5, 7.8476) for g2 x[6-[4*3/2]] r7.01 z0.5 from (3, 1, 0)."""
    motion = read("G0 X3 Y1", "g2 x[6-[4*3/2]] r7.01 z0.5")
    assert motion.moves.center[-1, :2] == pytest.approx([1.5, 7.847634628], abs=1e-9)
    assert motion.moves.end[-1].tolist() == [0, 1, 0.5]
    assert motion.moves.sweep[-1] < 0


def test_a_negative_radius_takes_the_long_way():
    """Section 3.5.3.1."""
    short, long = read("G3 X10 Y0 R8"), read("G3 X10 Y0 R-8")
    assert short.moves.sweep[-1] + long.moves.sweep[-1] == pytest.approx(2 * math.pi)
    assert short.moves.sweep[-1] < math.pi < long.moves.sweep[-1]


@pytest.mark.parametrize(
    ("plane", "half", "quarter"),
    [("G17", "X10 I5 Z3", "X5 Y5 J5"), ("G18", "X10 I5 Y3", "Z5 X5 I5"), ("G19", "Y10 J5 X3", "Y5 Z5 K5")],
)
def test_arcs_and_helices_turn_alike_in_every_plane(plane, half, quarter):
    """Sections 3.5.3 and 2.1.2.6: length along the helix, direction seen from the positive end of the normal."""
    motion = read(f"{plane} G3 {half}")
    assert motion.moves.lengths[-1] == pytest.approx(math.hypot(5 * math.pi, 3))
    assert abs(motion.moves.sweep[-1]) == pytest.approx(math.pi)
    assert motion.moves.plane[-1] == int(plane[1:])
    # The quarter starts along the plane's first axis, its center lies along the second.
    assert read(f"{plane} G3 {quarter}").moves.sweep[-1] == pytest.approx(math.pi / 2)
    assert read(f"{plane} G2 {quarter}").moves.sweep[-1] == pytest.approx(-1.5 * math.pi)
    assert codes(motion) == []


def test_centers_are_offsets_in_both_distance_modes():
    """Sections 3.5.3.2 and 3.5.17."""
    absolute, relative = read("G0 X5 Y5", "G2 X15 Y5 I5"), read("G0 X5 Y5", "G91 G2 X10 Y0 I5")
    assert absolute.moves.center[-1].tolist() == relative.moves.center[-1].tolist() == [10, 5, 0]
    assert absolute.moves.end[-1].tolist() == relative.moves.end[-1].tolist()


def test_blanks_and_case_do_not_matter():
    """Section 3.3.1 prints: g0x +0. 12 34y 7 is g0 x+0.1234 y7."""
    assert ends(read("g0x +0. 12 34y 7")) == ends(read("G0 X+0.1234 Y7")) == [(0.1234, 7.0, 0.0)]


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        ("[2.0 / 3 * 1.5 - 5.5 / 11.0]", 0.5),  # printed in section 3.3.2.3
        ("[2 ** 3 * 2]", 16),
        ("[1 + 2 * 3]", 7),
        ("[2 ** 3 ** 2]", 64),
        ("[7 mod 4]", 3),
        ("[-7 mod 4]", 1),
        ("[1 or 0]", 1),
        ("[1 xor 1]", 0),
        ("[1 and 0]", 0),
        ("fix[2.8]", 2),
        ("fix[-2.8]", -3),
        ("fup[2.8]", 3),
        ("fup[-2.8]", -2),
        ("round[-2.5]", -3),
        ("atan[1]/[-1]", 135),
        ("acos[0]", 90),
        ("sin[30]", 0.5),
        ("sqrt[abs[-9]]", 3),
        ("exp[ln[5]]", 5),
        ("[[1+2]*[3-[1]]]", 6),
        ("tan[45]", 1),
        ("asin[1]", 90),
        ("cos[60]", 0.5),
    ],
)
def test_expressions_have_their_values(expression, value):
    """Section 3.3.2.3: order of operators, degrees, rounding."""
    assert read(f"G0 X{expression}").moves.end[-1, 0] == pytest.approx(value, abs=1e-12)


def test_parameters_are_read_before_they_are_set():
    """Section 3.3.3: "#3=6 G1 X#3" uses the old value."""
    motion = read("#3=15", "#3=6 G1 X#3", "X#3", "#1=3", "X[##1+1]", "#3=1 #3=2", "X#3")
    assert ends(motion) == [(15, 0, 0), (6, 0, 0), (7, 0, 0), (2, 0, 0)]
    assert codes(motion) == []


def test_a_parameter_that_was_never_set_is_named():
    assert codes(read("G0 X#7")) == [("parameter-not-set", 3)]


def test_the_order_of_execution_is_that_of_table_8():
    """Tool, speed, spindle, dwell, then the move; M5 stops the spindle before the move of its line."""
    motion = read("T1 M6 S12000 M3 G4 P2 G1 X5 F300", "G1 X6 M5")
    kinds = [(e.kind, e.value, e.index) for e in motion.events if e.kind in ("tool", "spindle", "dwell", "end")]
    assert kinds == [("tool", 1, 1), ("spindle", 12000, 1), ("dwell", 2, 1), ("spindle", 0, 2), ("end", 2, 3)]
    assert motion.moves.rpm.tolist() == [0, 12000, 0]
    assert motion.moves.feed[1:].tolist() == [300, 300]


def test_a_tool_change_stops_the_spindle():
    """Section 3.6.3."""
    motion = read("S500 M3", "G1 X1", "T1 M6", "G1 X2")
    assert motion.moves.rpm.tolist() == [0, 500, 0]
    assert [e.value for e in motion.events if e.kind == "spindle"] == [500, 0]


def test_a_stop_comes_after_the_move_of_its_line():
    motion = read("M0 G1 X5", "M1", "M60")
    assert [(e.text, e.index, e.line) for e in motion.events if e.kind == "stop"] == [
        ("M0", 2, 3),
        ("M1", 2, 4),
        ("M60", 2, 5),
    ]


def test_only_the_last_comment_of_a_line_counts():
    """Section 3.3.4."""
    motion = read("(a) G1 (b) X5 (MSG, Turn the board)", "(CUT 1 Fern)")
    assert [(e.text, e.index) for e in motion.events if e.kind == "comment"] == [
        ("MSG, Turn the board", 1),
        ("CUT 1 Fern", 2),
    ]


def test_inches_are_mm_inside_and_a_change_of_unit_keeps_the_place():
    """Section 3.5.7: the current position is re-expressed."""
    motion = read_program("G20 G90\nG0 X1 Y1 Z1\nF10\nG1 X2\nG21 G1 Y50.8\nM2")
    assert motion.moves.end.tolist() == [[25.4, 25.4, 25.4], [50.8, 25.4, 25.4], [50.8, 50.8, 25.4]]
    assert motion.moves.feed.tolist() == [0, 254, 254]
    assert codes(motion) == [("units-changed", 5)]


def test_inverse_time_feed_gives_each_move_its_minutes():
    """Section 3.5.19: F2 is half a minute, whatever the length; G0 is not affected."""
    motion = read("G93", "G1 X30 F2", "G0 X0", "G3 X20 I10 F1", "G94 F600", "G1 X0")
    m = motion.moves
    minutes = m.lengths[1:] / np.where(m.feed[1:] > 0, m.feed[1:], np.inf)
    assert minutes[[0, 2]] == pytest.approx([0.5, 1.0])
    assert m.feed[-1] == 600


def test_g92_moves_the_numbers_and_not_the_place():
    """Section 3.5.18 prints: at X = 4, G92 X7 makes the offset -3; a G92 X9 then makes it -5."""
    motion = read("G0 X4", "G92 X7", "G1 X7", "G92 X9", "X10", "G92.2", "X0", "G92.3", "X0", "G92.1", "G92.3", "X1")
    assert [e[0] for e in ends(motion)] == [4, 4, 5, 0, -5, 1]
    assert {c for c, _ in codes(motion)} == {"sets-offset"}


def test_a_place_set_by_g92_before_any_move_is_taken_as_given():
    motion = read_program("G21 G92 X5 Y5 Z5\nG0 X6\nM2")
    assert motion.moves.start[0].tolist() == [5, 5, 5]
    assert motion.moves.end[0].tolist() == [6, 5, 5]


def test_g10_sets_an_origin_that_its_work_offset_uses():
    """Section 3.5.5."""
    motion = read("G10 L2 P2 X100 Y50", "G0 X1 Y1", "G55 X1 Y1")
    assert ends(motion) == [(1, 1, 0), (101, 51, 0)]
    assert codes(motion) == [("sets-offset", 3), ("work-offset-changed", 5)]


def test_g28_and_g53_leave_the_place_unknown():
    """Sections 3.5.8 and 3.5.12: home and machine coordinates are not in the program."""
    motion = read("G28 X5", "G0 X1 Y1 Z1", "G53 G0 Z0", "G0 X2")
    m = motion.moves
    assert m.end[1].tolist() == [5, 0, 0]
    assert np.isnan(m.end[2]).all()
    assert m.machine.tolist() == [False, False, True, False, True, False]
    assert m.end[4, 2] == 0
    assert np.isnan(m.start[5, 2])
    assert codes(motion) == [("returns-home", 3)]


def test_an_absolute_drilling_cycle_moves_as_printed():
    """Section 3.5.16.2 prints (4, 5, 3) (4, 5, 2.8) feed (4, 5, 1.5) (4, 5, 3) from (1, 2, 3)."""
    motion = read("G0 X1 Y2 Z3", "G90 G81 G98 X4 Y5 Z1.5 R2.8")
    assert ends(motion, 2) == [(4, 5, 3), (4, 5, 2.8), (4, 5, 1.5), (4, 5, 3)]
    assert motion.moves.kind[2:].tolist() == [RAPID, RAPID, LINE, RAPID]


def test_an_incremental_drilling_cycle_repeats_as_printed():
    """Section 3.5.16.2 prints holes at (5, 7), (9, 12), (13, 17), clear Z 4.8, bottom 4.2."""
    motion = read("G0 X1 Y2 Z3", "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")
    holes = motion.moves.end[motion.moves.kind == LINE]
    assert holes.round(9).tolist() == [[5, 7, 4.2], [9, 12, 4.2], [13, 17, 4.2]]
    assert motion.moves.end[2].round(9).tolist() == [1, 2, 4.8]
    assert motion.moves.end[-1].round(9).tolist() == [13, 17, 4.8]


def test_a_peck_cycle_goes_down_by_q_and_clears():
    """Section 3.5.16.4: down by Q, rapid out, rapid back to 0.254 mm above the hole's bottom."""
    motion = read("G0 Z5", "G83 X1 Z-5 R1 Q2.5 G99")
    z = motion.moves.end[2:, 2].round(6).tolist()
    assert z == [5, 1, -1.5, 1, -1.246, -4, 1, -3.746, -5, 1]


def test_a_cycle_stays_until_g80_and_keeps_its_words():
    motion = read("G0 Z5", "G82 X1 Z-5 R1 P0.5", "X2", "Y3", "G80")
    assert [e.value for e in motion.events if e.kind == "dwell"] == [0.5] * 3
    assert motion.moves.end[motion.moves.kind == LINE].tolist() == [[1, 0, -5], [2, 0, -5], [2, 3, -5]]
    assert codes(read("G0 Z5", "G81 X1 Z-5 R1", "G80", "X2")) == [("axis-without-g", 6)]
    assert codes(read("G0 Z5", "G81 X1 Z-5 R1", "G0 X0", "G81 X2")) == [("bad-cycle", 6)]


def test_the_end_resets_the_modes():
    """Section 3.6.1: G54, G17, G90, G94, M5, M9, motion G1, offsets as by G92.2."""
    state = read("G91 G18 G55 M3 S100 M8 G93").state
    assert (state["motion"], state["plane"], state["distance"], state["feed mode"]) == ("G1", "G17", "G90", "G94")
    assert (state["offset"], state["spindle"], state["coolant"]) == ("G54", "M5", "M9")


def test_what_follows_the_end_is_not_read():
    motion = read_program("G21\nG0 X1\nM2\n\nX1 X2 X3\n")
    assert codes(motion) == [("after-end", 5)]
    assert len(motion.moves) == 1


def test_percent_marks_enclose_the_program():
    """Section 3.1: with them no M2 is needed, and what follows the second is ignored."""
    motion = read_program("\n %\nG21 G0 X1\n%\nE1 garbage")
    assert codes(motion) == []
    assert len(motion.moves) == 1


def test_block_delete_is_a_switch():
    """Section 3.3: the optional block delete character."""
    assert ends(read("/G0 X5", "Y1")) == [(5, 0, 0), (5, 1, 0)]
    assert ends(read("/G0 X5", "Y1", block_delete=True)) == [(0, 1, 0)]


def test_all_line_ends_count_alike():
    text = "G21 G0 X1\nX2 X3\n\nY5\nM2\n"
    for end in ("\r\n", "\r"):
        other = read_program(text.replace("\n", end))
        assert codes(other) == codes(read_program(text)) == [("repeated-word", 2)]
        assert other.moves.line.tolist() == [1, 4]


ERRORS = [
    (1, ["G1 X1" + " " * 252], "line-too-long"),
    (2, ["G1 X1 ; text"], "bad-character"),
    (2, ["E1"], "bad-character"),
    (2, ["U2"], "bad-character"),
    (2, ["G1 X1 %"], "bad-character"),
    (2, ["G1 X1\0"], "bad-character"),
    (2, ["\0G1 X1"], "bad-character"),
    (2, ["G1\vX1"], "bad-character"),
    (3, ["N100000 G0 X1"], "bad-line-number"),
    (3, ["N-1"], "bad-line-number"),
    (3, ["G0 N5 X1"], "bad-line-number"),
    (3, ["N000009"], "bad-line-number"),
    (4, ["G0 X."], "bad-number"),
    (4, ["G0 X-"], "bad-number"),
    (4, ["G1 X Y1"], "bad-number"),
    (5, ["(a (b) c)"], "nested-comment"),
    (6, ["G1 X1 (abc"], "unclosed-comment"),
    (7, ["G0 X[1+2"], "bad-expression"),
    (7, ["g1 x asim[0.5]"], "bad-expression"),
    (7, ["g1 x[1 foo 2]"], "bad-expression"),
    (7, ["g1 x sin 5"], "bad-expression"),
    (7, ["g1 x atan[1]"], "bad-expression"),
    (8, ["#5400=1"], "bad-parameter"),
    (8, ["#0=1"], "bad-parameter"),
    (8, ["#1.5=2"], "bad-parameter"),
    (8, ["#3 7"], "bad-parameter"),
    (8, ["G0 X#6000"], "bad-parameter"),
    (9, ["G0 X[1/0]"], "bad-arithmetic"),
    (9, ["G0 Xsqrt[-1]"], "bad-arithmetic"),
    (9, ["G0 Xln[0]"], "bad-arithmetic"),
    (9, ["G0 Xasin[1.1]"], "bad-arithmetic"),
    (9, ["G0 Xacos[-2]"], "bad-arithmetic"),
    (9, ["G0 X[[0-8] ** 0.5]"], "bad-arithmetic"),
    (9, ["G0 X[10**99**99]"], "bad-arithmetic"),
    (11, ["G1 X1 X2"], "repeated-word"),
    (11, ["F100 F200"], "repeated-word"),
    (12, ["G0 G1 X1"], "modal-conflict"),
    (12, ["G20 G21"], "modal-conflict"),
    (12, ["G90 G91"], "modal-conflict"),
    (12, ["G17 G18"], "modal-conflict"),
    (12, ["G41 G42"], "modal-conflict"),
    (12, ["G4 P1 G53 G0 X1"], "modal-conflict"),
    (13, ["M3 M5"], "modal-conflict"),
    (13, ["M0 M30"], "modal-conflict"),
    (13, ["M3 M6 M7 M48 M0 T1"], "modal-conflict"),
    (14, ["G5"], "unknown-g"),
    (14, ["G-1"], "unknown-g"),
    (14, ["G100"], "unknown-g"),
    (14, ["G59.4"], "unknown-g"),
    (14, ["M-1"], "unknown-m"),
    (14, ["M100"], "unknown-m"),
    (14, ["M10"], "unknown-m"),
    (15, ["S-1"], "negative-word"),
    (15, ["T-1"], "negative-word"),
    (15, ["F-1"], "negative-word"),
    (15, ["G4 P-1"], "negative-word"),
    (15, ["G43 H-1"], "negative-word"),
    (15, ["G0 Z5", "G83 X1 Z-1 R1 Q0"], "negative-word"),
    (16, ["T1.5 M6"], "not-whole"),
    (16, ["G43 H1.2"], "not-whole"),
    (17, ["T999"], "slot-beyond"),
    (17, ["G43 H999"], "slot-beyond"),
    (18, ["G1 F100"], "no-axis-word"),
    (18, ["G0"], "no-axis-word"),
    (18, ["G2 I5"], "arc-end-missing"),
    (19, ["G80 X1"], "axis-without-g"),
    (19, ["G80", "X1"], "axis-without-g"),
    (20, ["G92 G1 X1"], "two-axis-users"),
    (20, ["G28 G0 X1"], "two-axis-users"),
    (22, ["G93", "G1 X1"], "no-inverse-feed"),
    (23, ["G17 G2 I1 J0"], "arc-end-missing"),
    (23, ["G17 G2 Z1 I1 J0"], "arc-end-missing"),
    (23, ["G18 G2 Y1 I1"], "arc-end-missing"),
    (24, ["G2 X1 Y1"], "arc-center-missing"),
    (25, ["G2 X1 Y1 I1 R1"], "arc-format-mixed"),
    (26, ["G17 G2 X1 I1 K1"], "arc-wrong-offset"),
    (26, ["G18 G2 X1 I1 J1"], "arc-wrong-offset"),
    (26, ["G19 G2 Y1 J1 I1"], "arc-wrong-offset"),
    (27, ["G21 G2 X10.0021 Y0 I5 J0"], "arc-radii-differ"),
    (27, ["G20", "G2 X10.00021 Y0 I5 J0"], "arc-radii-differ"),
    (28, ["G2 X0 Y0 I0 J0"], "arc-zero-radius"),
    (29, ["G2 X0 Y0 R5"], "arc-no-chord"),
    (30, ["G2 X10 Y0 R4.9"], "arc-out-of-reach"),
    (31, ["G4"], "dwell-without-time"),
    (32, ["G10 L2 P10 X0"], "bad-offset-set"),
    (32, ["G10 L3 P1 X0"], "bad-offset-set"),
    (32, ["G10 L2 P1.5 X0"], "bad-offset-set"),
    (33, ["G43"], "length-without-h"),
    (34, ["G53 G2 X1 I1"], "bad-machine-move"),
    (34, ["G91", "G53 G0 X1"], "bad-machine-move"),
    (34, ["G91 G53 G0 X1"], "bad-machine-move"),
    (35, ["G92"], "offset-without-axis"),
    (21, ["G93", "G94", "G1 X1"], "no-feed"),
    (36, ["G1 X1 R2"], "stray-word"),
    (36, ["G0 X1 P3"], "stray-word"),
    (36, ["G0 X1 D3"], "stray-word"),
    (36, ["G0 X1 H3"], "stray-word"),
    (36, ["G0 X1 L3"], "stray-word"),
    (36, ["G0 X1 Q3"], "stray-word"),
    (36, ["G1 X1 I3"], "stray-word"),
    (36, ["J3"], "stray-word"),
    (36, ["G1 X1 K3"], "stray-word"),
    (37, ["G41 D1"], "cutter-compensation"),
    (37, ["G42"], "cutter-compensation"),
    (38, ["G81 X1 Z-1 R-2"], "bad-cycle"),
    (38, ["G81 Z-1"], "bad-cycle"),
    (38, ["G81 X1 R2"], "bad-cycle"),
    (38, ["G81"], "bad-cycle"),
    (38, ["G82 X1 Z-1 R1"], "bad-cycle"),
    (38, ["G83 X1 Z-1 R1"], "bad-cycle"),
    (38, ["G81 X1 Z-1 R1 L0"], "bad-cycle"),
    (38, ["G93", "G81 X1 Z-1 R1"], "bad-cycle"),
    (38, ["G81 X1 Z-1 R1 A3"], "not-read"),
    (38, ["G84 X1 Z-1 R1"], "not-read"),
    (38, ["G83 X1 Z-1 R1 Q0.000001"], "bad-cycle"),
    (39, ["G38.2 Z-5"], "not-read"),
    # more of each row
    (4, ["G0 X+"], "bad-number"),
    (5, ["G0 X1 (a) (b (c))"], "nested-comment"),
    (6, ["G0 X1 ("], "unclosed-comment"),
    (7, ["G0 X[1+2]]"], "bad-character"),
    (7, ["G0 X[[1+2]"], "bad-expression"),
    (7, ["G0 Xatan[1]2"], "bad-expression"),
    (7, ["G0 Xsqrt4"], "bad-expression"),
    (7, ["G0 X-[1]"], "bad-number"),
    (8, ["#5400"], "bad-parameter"),
    (8, ["G0 X#1.5"], "bad-parameter"),
    (9, ["G0 X[1 mod 0]"], "bad-arithmetic"),
    (9, ["G0 Xln[-1]"], "bad-arithmetic"),
    (9, ["G0 Xexp[9999]"], "bad-arithmetic"),
    (11, ["G2 X1 I1 I1"], "repeated-word"),
    (11, ["T1 T1"], "repeated-word"),
    (12, ["G54 G55"], "modal-conflict"),
    (12, ["G43 G49 H1"], "modal-conflict"),
    (12, ["G93 G94"], "modal-conflict"),
    (12, ["G61 G64"], "modal-conflict"),
    (12, ["G98 G99"], "modal-conflict"),
    (12, ["G28 G92 X1"], "modal-conflict"),
    (12, ["G80 G81 X1 Z1 R1"], "modal-conflict"),
    (12, ["G1 G1 X1"], "modal-conflict"),
    (13, ["M3 M4"], "modal-conflict"),
    (13, ["M7 M9"], "modal-conflict"),
    (13, ["M48 M49"], "modal-conflict"),
    (13, ["M1 M2"], "modal-conflict"),
    (14, ["G1.05 X1"], "unknown-g"),
    (14, ["M3.5"], "unknown-m"),
    (15, ["G10 L-2 P1 X0"], "negative-word"),
    (15, ["G41 D-1"], "negative-word"),
    (15, ["G10 L2 P-1 X0"], "negative-word"),
    (15, ["G83 X1 Z-1 R1 Q-1"], "negative-word"),
    (16, ["G41 D1.5"], "not-whole"),
    (16, ["G81 X1 Z-1 R1 L1.5"], "not-whole"),
    (16, ["T1.0002 M6"], "not-whole"),
    (17, ["G41 D999"], "slot-beyond"),
    (18, ["G3 R5"], "arc-end-missing"),
    (19, ["G80 Z1"], "axis-without-g"),
    (20, ["G10 L2 P1 G1 X1"], "two-axis-users"),
    (20, ["G30 G2 X1 I1"], "two-axis-users"),
    (22, ["G93", "G2 X1 I.5"], "no-inverse-feed"),
    (22, ["G93 G1 X1 F1", "X2"], "no-inverse-feed"),
    (23, ["G19 G3 X1 J1"], "arc-end-missing"),
    (24, ["G18 G2 X1 Z1"], "arc-center-missing"),
    (25, ["G2 X1 Y1 J1 R1"], "arc-format-mixed"),
    (27, ["G18 G2 X10.0021 I5"], "arc-radii-differ"),
    (28, ["G19 G2 Y0 J0"], "arc-zero-radius"),
    (29, ["G18 G3 X0 R-5"], "arc-no-chord"),
    (30, ["G19 G2 Y10 R-4.9"], "arc-out-of-reach"),
    (34, ["G53 G81 X1 Z-1 R1"], "bad-machine-move"),
    (34, ["G80", "G53 G90"], "bad-machine-move"),
    (35, ["G92 F1"], "offset-without-axis"),
    (36, ["G0 P1"], "no-axis-word"),
    (36, ["M3 P1"], "stray-word"),
    (36, ["L2"], "stray-word"),
    (36, ["G81 X1 Z-1 R1 Q1"], "stray-word"),
    (36, ["G81 X1 Z-1 R1 I1"], "stray-word"),
    (38, ["G83 Z-1 R1"], "bad-cycle"),
    (38, ["G82 X1 Z-1 R1 P-1"], "negative-word"),
    (38, ["G18 G81 X1 Y-1 R-2"], "bad-cycle"),
    (38, ["G89 X1 Z-1 R1 P1"], "not-read"),
    (38, ["G87 X1 Z-1 R1 I1 J1 K1"], "not-read"),
    (40, ["#5220=1.5"], "bad-parameter"),
    (40, ["#5220=0"], "bad-parameter"),
    (40, ["#5220=10"], "bad-parameter"),
    (40, ["#5221=10"], "not-read"),
    (40, ["#5220=2"], "not-read"),
]


@pytest.mark.parametrize("bulk", [True, False])
@pytest.mark.parametrize(("row", "bad", "code"), ERRORS, ids=[f"{r}-{b[-1][:24]}" for r, b, _ in ERRORS])
def test_every_error_is_found_at_its_line_and_the_line_is_skipped(row, bad, code, bulk):
    """The error conditions of sections 3.3 to 3.8, numbered as rows of a list of the report's own rules."""
    motion = read(*bad, "G0 G94 G90 G21 X1 Y2 F600", bulk=bulk)
    errors = [(f.code, f.line) for f in motion.findings if f.severity == "error"]
    assert errors == [(code, 2 + len(bad))]
    assert motion.moves.end[-1, :2].tolist() == [1, 2]
    assert motion.moves.line[-1] == 3 + len(bad)
    assert not (motion.moves.line == 2 + len(bad)).any()
    assert row > 0


def test_every_row_is_tried():
    """Row 10 is about the whole text, row 21 about a text without F: see the tests below."""
    assert {row for row, _, _ in ERRORS} | {10} == set(range(1, 41))


def test_the_numbers_of_offsets_stand_in_their_parameters():
    """Section 3.2.2: 5220 names the work offset, 5221 on hold its origin, 5211 on the G92 offset."""
    motion = read("G55", "G10 L2 P2 X7 Z-1", "G92 X3", "G0 X#5241 Y#5220 Z#5211", "G54 G92.1 G0 X#5220 Y#5211")
    assert ends(motion) == [(7 + 7 - 10, 2, -10 - 1), (2, -10, -11)]
    state = motion.state["parameters"]
    assert (state[5220], state[5241], state[5243], state[5211]) == (1, 7, -1, 0)
    assert {code for code, _ in codes(motion)} == {"sets-offset", "work-offset-changed"}
    assert read("G20", "G10 L2 P3 X2", "G0 X#5261").moves.end[-1, 0] == pytest.approx(50.8)


def test_a_feed_move_without_a_feed_is_found():
    """Row of S41 and S43: feed 0, never set."""
    for text in ("G21\nG0 X0 Y0 Z0\nG1 X1\nM2", "G21 F0\nG0 X0 Y0 Z0\nG2 X1 I.5\nM2"):
        assert codes(read_program(text)) == [("no-feed", 3)]


def test_a_program_needs_an_end():
    """Section 3.1: M2 or M30, or a pair of %."""
    assert codes(read_program("G21\nG0 X1")) == [("no-end", 2)]
    assert codes(read_program("%\nG21\nG0 X1\nM2")) == [("percent-unmatched", 4)]
    assert codes(read_program("")) == [("no-end", 1)]
    assert codes(read_program("%")) == [("percent-unmatched", 1)]


LEGAL = [
    ["N99999 G0 X1", "N5 X2", "N5 X3", "N1 X4"],
    ["", "   ", "\t"],
    ["M3"],
    ["T0 M6"],
    ["T1 M6", "T1 M6"],
    ["G40"],
    ["G49"],
    ["G61", "G61", "G64", "G64"],
    ["#3=1 #3=2"],
    ["G2 X10.0019 Y0 I5 J0"],
    ["G2 X10 Y0.0021 I5 J0"],
    ["G20", "G2 X10.00019 Y0 I5 J0"],
    ["G1 X1 M3 M7 M8 S100"],
    ["M7", "M8", "M9"],
    ["G0 X1 (a) (b)"],
    ["N7"],
    ["/"],
    ["G0.00001 X1"],
    ["T1.00005 M6"],
    ["G3 X0 Y10 R5"],
    ["G43 H0"],
    ["G0 X#5220"],
    ["M5", "M5"],
    ["G4 P0"],
    ["G91", "G90 G53 G0 Z1"],
    ["G0 X1" + " " * 251],
]


@pytest.mark.parametrize("rows", LEGAL, ids=[rows[-1][:24] or "blank" for rows in LEGAL])
def test_legal_look_alikes_stay_legal(rows):
    """What the report says is no error; y = 0.0021 leaves the radii 4.4e-7 apart."""
    motion = read(*rows)
    assert [f for f in motion.findings if f.severity == "error"] == []


def test_a_full_circle_is_a_note():
    motion = read("G3 X0 Y0 I5")
    assert motion.moves.sweep[-1] == pytest.approx(2 * math.pi)
    assert codes(motion) == [("full-circle", 3)]
    assert motion.findings[0].severity == "note"


def test_a_start_that_is_not_named_is_not_known():
    motion = read_program("G21 F100\nG0 Z5\nG1 X3\nM2")
    assert np.isnan(motion.moves.start[0]).all()
    assert np.isnan(motion.moves.end[0]).tolist() == [True, True, False]
    assert codes(motion) == [("feed-from-unknown", 3)]
    assert codes(read_program("G21 F100\nG2 X1 I1\nM2")) == [("arc-from-unknown", 2)]


def test_motion_before_any_unit_is_named():
    assert codes(read_program("G0 X1\nM2")) == [("units-not-stated", 1)]


def test_a_change_without_a_tool_is_named():
    assert codes(read("M6")) == [("change-without-tool", 3)]


def test_every_code_has_a_meaning_and_a_weight():
    assert set(READ_CODES) >= READ_WARNINGS | READ_NOTES
    used = {code for _, _, code in ERRORS}
    assert used <= set(READ_CODES)
    assert all(severity(code) == "error" for code in used)
    assert all(code == code.lower() and " " not in code for code in READ_CODES)


def test_a_tool_put_in_by_hand_is_named_by_its_t_word():
    """Where nothing changes tools, T alone says what is in the spindle; with M6, T only selects (section 3.7.3)."""
    by_hand = read("T3", "G1 X1", "T4", "M0", "G1 X2")
    assert by_hand.moves.tool.tolist() == [0, 3, 4]
    assert not [e for e in by_hand.events if e.kind == "tool"]
    assert read("T3 M6", "T4 G1 X1", "M6", "X2").moves.tool.tolist() == [0, 3, 4]
    assert read("T9 X1 X2", "G1 X1").moves.tool.tolist() == [0, 0]
