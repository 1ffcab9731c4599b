"""Two readers made apart from each other say the same of every program; `second_reader.py` is the outside opinion.

First the second reader alone against what NISTIR 6556 prints, so that it may be believed.
"""

import importlib.util
import math
import random
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

import pathgen as pg
from pathgen.model.motion import ARC, LINE, RAPID
from pathgen.motion.read import read_program

ROOT = Path(__file__).parents[1]


def _load(name, path):
    """Return a module of the tests or benchmarks by its file."""
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


second = _load("second_reader", ROOT / "tests" / "second_reader.py")
handmade = _load("handmade_for_reading", ROOT / "tests" / "handmade.py")
long_reading = _load("long_reading_again", ROOT / "benchmarks" / "long_reading.py")
Refused, second_reading = second.Refused, second.second_reading

KINDS = {"rapid": RAPID, "line": LINE, "arc": ARC}
CLOSE = 1e-9
"""How far two readers may lie apart, mm and radians: what is left is rounding in the last digits."""


def steps_of(*rows):
    """Moves after the place (0, 0, 0) in mm."""
    return second_reading("\n".join(["G21 G90 G17 F600", "G0 X0 Y0 Z0", *rows, "M2"])).steps[1:]


def ends_of(*rows):
    return [tuple(round(v, 9) for v in s.end) for s in steps_of(*rows)]


def length(step):
    if step.kind != "arc":
        return math.dist(step.start, step.end)
    return math.hypot(abs(step.sweep) * math.dist(step.start, step.center), step.end[2] - step.start[2])


# The second reader alone.


def test_the_second_reader_finds_the_lengths_of_sample_c1():
    """NISTIR 6556 appendix C.1; the lengths are worked out from its words."""
    steps = second_reading((ROOT / "shared" / "reference" / "nistir6556_c1.rs274").read_text(encoding="ascii")).steps
    feeds = [s for s in steps if s.kind != "rapid"]
    arcs = [s for s in steps if s.kind == "arc"]
    assert len([s for s in feeds if s.kind == "line"]) == 29
    assert sum(map(length, feeds)) == pytest.approx(183.430466, abs=5e-7)
    assert sum(map(length, arcs)) == pytest.approx(56.451933, abs=5e-7)
    assert sum(length(s) for s in steps[1:] if s.kind == "rapid") == pytest.approx(202.052801, abs=5e-7)
    assert [round(math.degrees(s.sweep), 4) for s in arcs] == [270, -360, -360, -77.3644, -180]
    assert [tuple(round(v, 4) for v in s.center[:2]) for s in arcs] == [
        (13.5, 2.5),
        (32.5, 2.5),
        (57.5, 2.5),
        (66.5, 0.8775),
        (79.5, 2.5),
    ]


def test_the_second_reader_finds_the_printed_arcs():
    """Section 3.5.3.2 prints center (10, 11); Table 10 prints end (0, 1), center (1.5, 7.8476), clockwise."""
    assert steps_of("G0 X7 Y7", "G17 G2 x10 y16 i3 j4 z9")[-1].center[:2] == (10, 11)
    arc = steps_of("G0 X3 Y1", "g2 x[6-[4*3/2]] r7.01 z0.5")[-1]
    assert arc.end == (0, 1, 0.5)
    assert arc.sweep < 0
    assert arc.center[:2] == pytest.approx((1.5, 7.847634628))


def test_the_second_reader_drills_as_printed():
    """Section 3.5.16.2."""
    assert ends_of("G0 X1 Y2 Z3", "G90 G81 G98 X4 Y5 Z1.5 R2.8")[1:] == [(4, 5, 3), (4, 5, 2.8), (4, 5, 1.5), (4, 5, 3)]
    steps = steps_of("G0 X1 Y2 Z3", "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")
    assert [tuple(round(v, 9) for v in s.end) for s in steps if s.kind == "line"] == [
        (5, 7, 4.2),
        (9, 12, 4.2),
        (13, 17, 4.2),
    ]
    assert max(s.end[2] for s in steps) == pytest.approx(4.8)


def test_the_second_reader_reckons_as_printed():
    """Sections 3.3 and 3.3.2."""
    assert ends_of("g0x +0. 12 34y 7") == [(0.1234, 7, 0)]
    assert ends_of("g0 x[2.0 / 3 * 1.5 - 5.5 / 11.0]") == [(0.5, 0, 0)]
    assert ends_of("#3=6 G1 X#3", "X#3") == [(0, 0, 0), (6, 0, 0)]
    assert ends_of("G0 XFIX[2.8] YFIX[-2.8]", "XFUP[2.8] YFUP[-2.8]") == [(2, -3, 0), (3, -2, 0)]
    assert ends_of("G0 X[2 + 3 ** 2 mod 4] Yatan[1]/[-1] Z[1 xor 1 or 1]") == [(3, 135, 1)]


def test_the_second_reader_follows_the_order_of_execution():
    """Table 8: tool, spindle, dwell, then the move; M5 before the move, M0 after it."""
    reading = second_reading("G21 G0 X0 Y0 Z0\nT1 M6 S12000 M3 G4 P2 G1 X5 F300\nG1 X6 M5\nM2")
    assert [(s.rpm, s.tool, s.feed) for s in reading.steps] == [(0, 0, 0), (12000, 1, 300), (0, 1, 300)]
    assert reading.dwells == (2,)


@pytest.mark.parametrize(
    "rows",
    [
        ["G0 X10", "G2 X20.0021 I5"],
        ["(a (b) c)"],
        ["G1 X[1+2"],
        ["G0 G1 X1"],
        ["G1 X1 X2"],
        ["N100000"],
        ["X.", ""],
        ["#5400=1"],
        ["G17 G2 I1 J0"],
        ["G2 X0 Y0 R5"],
        ["G80 X1"],
        ["G92"],
        ["G93", "G1 X1"],
        ["G81 X1 Z-1 R-2"],
        ["#5220=1.5"],
    ],
)
def test_the_second_reader_refuses_what_the_report_forbids(rows):
    with pytest.raises(Refused):
        steps_of(*rows)


# Both readers.


def rows_of(steps):
    """Moves as rows of numbers, in the order of `rows_of_motion`."""
    rows = [
        (KINDS[s.kind], *s.start, *s.end, *s.center, s.sweep, s.feed, s.rpm, s.tool, s.line, s.machine, s.plane)
        for s in steps
    ]
    return _going(np.array(rows, dtype=float).reshape(-1, 17))


def rows_of_motion(motion, before=math.inf):
    """Moves as rows: kind, start, end, center, sweep, feed, rpm, tool, line, machine, plane."""
    m = motion.moves
    columns = [m.kind, *m.start.T, *m.end.T, *m.center.T, m.sweep, m.feed, m.rpm, m.tool, m.line, m.machine, m.plane]
    return _going(np.column_stack(columns).astype(float)[m.line < before])


def _going(rows):
    """Leave out moves that go nowhere: a reader may list them or not."""
    stays = ((rows[:, 1:4] == rows[:, 4:7]) | np.isnan(rows[:, 1:4]) & np.isnan(rows[:, 4:7])).all(axis=1)
    return rows[~stays | (rows[:, 0] == ARC) | (rows[:, 15] == 1)]


def same(first, other):
    """Hold the moves of both readers against each other, mm; feeds and sweeps by their size."""
    assert first.shape == other.shape
    arcs = first[:, 0] == ARC
    assert (first[:, [0, 12, 13, 14, 15]] == other[:, [0, 12, 13, 14, 15]]).all()
    assert (first[arcs, 16] == other[arcs, 16]).all()
    np.testing.assert_allclose(first[:, 1:7], other[:, 1:7], rtol=1e-12, atol=CLOSE)
    np.testing.assert_allclose(first[:, 7:10], other[:, 7:10], rtol=1e-12, atol=CLOSE)
    np.testing.assert_allclose(first[:, 10:12], other[:, 10:12], rtol=1e-9, atol=CLOSE)


def errors_of(motion):
    return [f for f in motion.findings if f.severity == "error"]


def both(text, **options):
    """Read a sound program with both readers; return what both say."""
    motion = read_program(text, **options)
    assert errors_of(motion) == []
    reading = second_reading(text, **options)
    same(rows_of_motion(motion), rows_of(reading.steps))
    assert tuple(e.text for e in motion.events if e.kind == "comment") == reading.comments
    assert [e.value for e in motion.events if e.kind == "dwell"] == pytest.approx(reading.dwells)
    return motion, reading


BOARD = pg.Stock(90, 60, 8, material="hardwood", thickness_range=(7.8, 8.2))
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
MILL = pg.EndMill(4, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 1.7))
PLANER = pg.EndMill(20, cutting_length=22, cutting=pg.Cutting(12000, 2000, 500, 1, 14))


def _cuts(kind):
    if kind == "vgroove":
        return pg.vgroove(pg.place(pg.text("Re", height=20), BOARD), BIT, stock=BOARD)
    if kind == "pocket":
        return pg.pocket(box(20, 15, 60, 40).difference(box(30, 22, 36, 30)), MILL, depth=4, stock=BOARD)
    if kind == "profile":
        plate = pg.place(pg.plate(60, 36, corner="round", radius=8), BOARD, fit="none")
        return pg.profile(plate, MILL, depth=pg.THROUGH, stock=BOARD, bridges=pg.Bridges(3, length=6, thickness=1.5))
    return pg.face(BOARD.region, PLANER, depth=0.7, stock=BOARD)


@pytest.fixture(scope="module")
def cuts():
    return {kind: _cuts(kind) for kind in ("vgroove", "pocket", "profile", "face")}


DIALECTS = {
    "mm": pg.Dialect(),
    "inch": pg.Dialect(units="inch"),
    "no arcs": pg.Dialect(arcs=False, path_mode=None),
    "no helices": pg.Dialect(helices=False, path_mode="blend", end="M30"),
    "numbered": pg.Dialect(line_numbers=True, zero_again_at_stop=True),
    "fine": pg.Dialect(decimals=5, center_decimals=6),
    "coarse inch": pg.Dialect(units="inch", decimals=3, center_decimals=5, line_numbers=True),
}


def _machine(dialect, **more):
    return pg.Machine(
        travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000, dialect=dialect, **more
    )


@pytest.mark.parametrize("name", DIALECTS)
@pytest.mark.parametrize("kind", ["vgroove", "pocket", "profile", "face"])
def test_both_readers_say_the_same_of_what_is_written(kind, name, cuts):
    job = pg.Job("Reader", BOARD, _machine(DIALECTS[name]), cuts[kind])
    moves = 0
    for program in job.programs(unproved=True):
        motion, _ = both(program.text)
        moves += len(motion.moves)
        assert ((motion.moves.kind == ARC).any()) <= DIALECTS[name].arcs
    assert moves > 10


def test_both_readers_follow_tool_changes_homing_and_parking(cuts):
    machine = _machine(pg.Dialect(), homed=True, park=(0, 300), tool_change="automatic")
    job = pg.Job("Two tools", BOARD, machine, [cuts["vgroove"], cuts["profile"]])
    (program,) = job.programs(unproved=True)
    motion, _ = both(program.text)
    assert set(motion.moves.tool.tolist()) == {0, 1, 2}
    assert motion.moves.machine.sum() >= 2


def test_both_readers_follow_programs_written_by_hand():
    for text in handmade.texts():
        motion, _ = both(text)
        assert len(motion.moves) > 10
    both((ROOT / "shared" / "reference" / "nistir6556_c1.rs274").read_text(encoding="ascii"))


@pytest.mark.parametrize("number", range(len(long_reading.PROGRAMS)))
def test_both_readers_agree_on_programs_full_of_rare_words(number):
    text = long_reading.PROGRAMS[number]
    for skip in (False, True):
        agree(text, block_delete=skip)


OF_THE_WHOLE = {"no-end", "percent-unmatched"}


def agree(text, **options):
    """Both accept and say the same, or both stop at the same line having said the same; return that line or None.

    Where a number is larger than any machine can use, a limit of our own, there is nothing to compare: 0.
    """
    motion = read_program(text, **options)
    if any(f.code == "bad-number" and "beyond" in f.text for f in motion.findings):
        return 0
    first = min((f.line for f in errors_of(motion)), default=None)
    steps, stop = until_refused(text, **options)
    assert stop == first, errors_of(motion)[:1]
    only_end = {f.code for f in errors_of(motion) if f.line == first} <= OF_THE_WHOLE
    ours, others = rows_of_motion(motion, before=math.inf if only_end else first), rows_of(steps)
    if stop is not None:  # whether T waits for an M6 depends on all lines, those past the error too
        ours[:, 13] = others[:, 13] = 0
    same(ours, others)
    return stop


def until_refused(text, **options):
    """Return what the second reader reads, and the line it stops at, None for none."""
    try:
        return second_reading(text, **options).steps, None
    except Refused as refused:
        return refused.steps, refused.line


def test_both_readers_stop_at_the_same_line_of_a_mutant():
    rng = random.Random(20)
    stops = [agree(long_reading.mutated(rng)) for _ in range(600)]
    assert sum(s is None for s in stops) > 10
    assert sum(s is not None for s in stops) > 400


# Random sound programs.

PLANE_AXES = {17: "XYZ", 18: "ZXY", 19: "YZX"}


@st.composite
def values(draw, number, places=4):
    """A number as a program may write it: signs, zeros, an expression, a parameter (#1 is 2, #2 is 0.5)."""
    text = f"{number:.{places}f}"
    ways = [text, text, text.rstrip("0"), f"[{text}]", f"[{text} * #1 * #2]", f"[[{text} + 1.5] - 3 / #1]"]
    if not text.startswith("-"):
        ways += [f"+{text}", f"00{text}", f"abs[-{text}]"]
    ways += [f"[{text} ** 1]", f"[2 ** 2 - 4 + {text}]", f"[{text} + sin[180 - 180]]"]
    return draw(st.sampled_from(ways))


@st.composite
def spaced(draw, words):
    """Words in any order, with blanks, in small or large letters, with N, a comment or a slash before or after."""
    words = draw(st.permutations(words))
    line = draw(st.sampled_from([" ", "", "  \t"])).join(words)
    line = draw(st.sampled_from([str.upper, str.lower, str]))(line)
    line = draw(st.sampled_from(["", "", "N7 ", "N09999"])) + line
    line = draw(st.sampled_from(["", "", "", "/", "/ "])) + line
    return line + draw(st.sampled_from(["", "", "", " (Fern)", "(MSG, Turn) (b)"]))


NUMBERS = st.floats(-60, 60).map(lambda v: round(v, 3))
SIZES = st.floats(0.5, 40).map(lambda v: round(v, 3))


@st.composite
def straight_lines(draw):
    words = [draw(st.sampled_from(["G0", "G1", "G01", "G[2-1]", "G1.00001"]))]
    axes = draw(st.lists(st.sampled_from("XYZ"), min_size=1, max_size=3, unique=True))
    words += [axis + draw(values(draw(NUMBERS))) for axis in axes]
    words += draw(st.sampled_from([[], [], ["F333.3"], ["F#3"], ["S900"], ["M3"], ["M4"], ["M5"], ["G4 P.5"], ["T2"]]))
    return [draw(spaced(words))]


@st.composite
def arcs(draw):
    """To a known place, a plane, then an arc of that plane by center or radius, often a helix."""
    plane = draw(st.sampled_from([17, 18, 19]))
    one, two, normal = PLANE_AXES[plane]
    start = {axis: draw(NUMBERS) for axis in "XYZ"}
    radius, from_angle = draw(SIZES), draw(st.floats(0, 2 * math.pi))
    code = draw(st.sampled_from([2, 3]))
    turn = draw(st.floats(0.2, 6.0)) * (1 if code == 3 else -1)
    center = {one: -radius * math.cos(from_angle), two: -radius * math.sin(from_angle)}
    step = {
        one: center[one] + radius * math.cos(from_angle + turn),
        two: center[two] + radius * math.sin(from_angle + turn),
    }
    if draw(st.booleans()):
        step[normal] = draw(NUMBERS)
    incremental = draw(st.booleans())
    end = {a: v if incremental else v + start[a] for a, v in step.items()}
    words = [f"G{code}", *(a + draw(values(v, 6)) for a, v in end.items())]
    if draw(st.booleans()):
        letters = dict(zip("XYZ", "IJK", strict=True))
        words += [letters[a] + draw(values(v, 6)) for a, v in center.items()]
    else:
        words.append("R" + draw(values(radius if abs(turn) <= math.pi else -radius, 6)))
    first = f"G90 G0 {' '.join(a + str(v) for a, v in start.items())}"
    modes = [f"G{plane}", "G91" if incremental else "G90"]
    return [first, draw(spaced(modes)).removeprefix("/"), draw(spaced(words)), "G90 G17"]


@st.composite
def drilling(draw):
    """A cycle of any plane, absolute or incremental, some of its words given once and kept, then G80."""
    plane = draw(st.sampled_from([17, 17, 18, 19]))
    one, two, normal = PLANE_AXES[plane]
    incremental = draw(st.booleans())
    clear, deep = draw(st.floats(0, 9)), draw(st.floats(0.01, 9))
    bottom = -deep if incremental else clear - deep
    code = draw(st.sampled_from([81, 82, 83]))
    words = [f"G{code}", one + draw(values(draw(NUMBERS))), f"{normal}{bottom:.4f}", f"R{clear:.4f}"]
    words += {81: [], 82: ["P0.25"], 83: [f"Q{draw(st.floats(0.3, 5)):.3f}"]}[code]
    words += draw(st.sampled_from([[], ["G98"], ["G99"], ["L3"]]))
    lines = [f"G90 G0 X1 Y2 Z{draw(NUMBERS):.3f}", f"G{plane} G9{int(incremental)}", draw(spaced(words))]
    for more in draw(st.lists(st.sampled_from([[], ["L2"], ["F77"]]), max_size=2)):
        lines += [draw(spaced([two + draw(values(draw(NUMBERS))), *more]))]
    return [*lines, "G80 G90 G17 G98"]


@st.composite
def switches(draw):
    """What changes the numbers or the state and not the place."""
    number = draw(NUMBERS)
    some = [
        ["G20"],
        ["G21"],
        ["G91", f"G1 X{number} Z1", "G90"],
        [f"G92 X{number} Z0"],
        ["G92.1"],
        ["G92.2"],
        ["G92.3"],
        [f"G10 L2 P{draw(st.integers(1, 9))} X{number} Y[3 * 4]"],
        [draw(st.sampled_from(["G54", "G55", "G59", "G59.3"]))],
        [f"#3={abs(number) + 1} #4=[#3 + 1]", "G1 X#4 F#3"],
        ["G93 G1 X3 Y4 F2", f"G0 Z{number}", f"G1 Y{number} F.25", "G94 F500"],
        ["G53 G0 Z0", "G0 X1 Y2 Z3"],
        [f"G28 X{number}", "G0 X1 Y2 Z3"],
        ["G30 Z5", "G0 X1 Y2 Z3"],
        ["T3 M6", "G43 H3"],
        ["M3 S1200 G4 P1", "G1 X1 M5"],
        ["M8", "M0", "M9", "G49", "G61.1", "M48"],
        ["", "(only words)", "N5", "/"],
        ["G0 X#5220 Y#5221 Z#5222", "G1 X#5211 Y#5241 Z#5381"],
    ]
    return draw(st.sampled_from(some))


@st.composite
def programs(draw):
    """A sound program."""
    blocks = st.one_of(straight_lines(), straight_lines(), arcs(), drilling(), switches())
    lines = ["#1=2 #2=.5 #3=250", draw(st.sampled_from(["G21", "G20"])), "G90 G17 F600", "G0 X1 Y2 Z3"]
    lines += [line for block in draw(st.lists(blocks, min_size=3, max_size=12)) for line in block]
    end = draw(st.sampled_from(["M2", "M30", "G0 Z50 M2"]))
    lines = draw(st.sampled_from([[*lines, end], ["%", *lines, "%", "never read ;"]]))
    return draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines)


@settings(max_examples=100, deadline=None)
@given(programs())
def test_both_readers_say_the_same_of_any_sound_program(text):
    both(text)
    for bulk in (True, False):
        same(rows_of_motion(read_program(text, bulk=bulk)), rows_of(second_reading(text).steps))


@pytest.mark.slow
@settings(max_examples=600, deadline=None)
@given(programs(), st.booleans())
def test_both_readers_say_the_same_of_many_sound_programs(text, skip):
    agree(text, block_delete=skip)
