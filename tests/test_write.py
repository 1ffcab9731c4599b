"""Programs as the standard, the machine and the operator need them."""

import importlib.util
import itertools
import math
import re
import sys
from pathlib import Path as FilePath

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from pathgen.errors import ArgumentError
from pathgen.model.bounds import Bounds
from pathgen.model.cut import Cut, Stop
from pathgen.model.holding import KeepOut
from pathgen.model.machine import Dialect, Machine
from pathgen.model.motion import ARC, RAPID
from pathgen.model.path import Pass, Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, DiamondPoint, EndMill, TrailingKnife, VBit
from pathgen.motion.read import read_program
from pathgen.program.dialect import number
from pathgen.program.link import arrange
from pathgen.program.numbers import CHUNK
from pathgen.program.script import Script
from pathgen.program.write import programs

BENCH = FilePath(__file__).parents[1] / "benchmarks" / "writing.py"
spec = importlib.util.spec_from_file_location("writing", BENCH)
bench = importlib.util.module_from_spec(spec)
sys.modules["writing"] = bench
spec.loader.exec_module(bench)

STOCK = Stock(300, 150, 18, material="hardwood")
MILL, BIT = EndMill(6), VBit(60, diameter=12.7)
KNIFE, DIAMOND = TrailingKnife(trail=0.8, edge_angle=45), DiamondPoint()
SPEEDS = Cutting(16000, 1500, 500)
WORD = re.compile(r"([A-Z])(-?\d+\.?\d*)")


def machine(**options):
    dialect = {
        k: options.pop(k)
        for k in (
            "units", "decimals", "center_decimals", "arcs", "helices", "max_line", "zero_again_at_stop",
            "line_numbers", "path_mode", "end",
        )
        if k in options
    }  # fmt: skip
    base = {"travel": (600, 400, 90), "max_feed": 3000, "acceleration": 500, "max_rpm": 24000}
    return Machine(**(base | options), dialect=Dialect(**dialect))


def cut(name="groove", tool=BIT, *passes, cutting=None, **options):
    passes = passes or (Pass(path=Path.lines([(10, 10, 0), (40, 10, -2), (40, 30, -2)])),)
    speeds = cutting or (SPEEDS if tool.spins else Cutting(0, 1000, 300))
    return Cut(name=name, tool=tool, cutting=speeds, passes=passes, bounds=Bounds(), depth=2.0, **options)


def write(*cuts, on=None, stock=STOCK, clearance=5.0, **options):
    return programs(cuts, name="Fern", stock=stock, machine=on or machine(), clearance=clearance, **options)


def bare(text):
    """The words outside comments, line by line."""
    return [re.sub(r"\(.*?\)", "", line).strip() for line in text.splitlines() if not line.startswith("(")]


def remarks(text):
    return re.findall(r"\((.*?)\)", text)


# -- the shape of a program --------------------------------------------------------------------------------------


def test_a_whole_program_word_for_word():
    """Rounded, modal, rapids Z alone or XY alone, spindle and dwell before the first descent (NISTIR 6556 3.5, 3.6)."""
    (program,) = write(cut())
    assert bare(program.text) == [
        "G21",
        "G17 G90 G94 G40 G80",
        "G54",
        "G61",
        "M5",
        "T1",
        "G0 Z5.0",
        "X10.0 Y10.0",
        "S16000 M3",
        "G4 P3",
        "Z1.0",
        "G1 Z0.0 F500",
        "X40.0 Z-2.0 F1500",
        "Y30.0",
        "G0 Z5.0",
        "M5",
        "M9",
        "G4 P5",
        "M2",
    ]
    assert program.name == "Fern-1-V-bit"
    assert program.tools == {1: BIT}
    assert program.cuts == ("groove",)


def test_the_first_lines_say_size_zero_and_tool():
    (program,) = write(cut(), size=(280, 120), header=["accepted gouge 0.012 mm at 4.0 5.0"], touch_off=(20, 30))
    lines = remarks(program.text)
    assert lines[:2] == ["Finished size 280.00 x 120.00 mm, 11.024 x 4.724 inch", "accepted gouge 0.012 mm at 4.0 5.0"]
    words = " ".join(lines)
    for part in ("lower left corner", "Z0 is the top face, set at X20.0 Y30.0", "T1 V bit 60 deg 12.7 mm, 16000 rpm"):
        assert part in words
    assert program.text.index("(") == 0


def test_an_unproved_program_says_so_first_and_stops_before_it_moves():
    (program,) = write(cut(), unproved=True)
    assert program.text.splitlines()[0] == "(NOT PROVED)"
    words = bare(program.text)
    assert words.index("M0") < words.index("G0 Z5.0")
    (proved,) = write(cut())
    assert "M0" not in bare(proved.text)


def test_a_homed_machine_goes_to_the_top_of_its_travel_first():
    (program,) = write(cut(), on=machine(homed=True, park=(290, 140)))
    words = bare(program.text)
    assert words[5:8] == ["T1", "G53 G0 Z0", "G0 X10.0 Y10.0"]
    assert words[-7:] == ["G0 Z5.0", "G53 G0 Z0", "M5", "M9", "G4 P5", "G0 X290.0 Y140.0", "M2"]


def test_no_way_home_unless_a_park_is_stated():
    (program,) = write(cut())
    tail = bare(program.text)[-5:]
    assert not any(re.search("[XY]", line) for line in tail)


def test_lifts_pass_the_highest_keep_out_by_5_mm():
    (program,) = write(cut(), keep_out=[KeepOut(box(0, 0, 10, 10), 22.0)])
    moves = read_program(program.text).moves
    across = (moves.kind == RAPID) & (np.nan_to_num(moves.end[:, :2] - moves.start[:, :2], nan=1.0) != 0).any(axis=1)
    assert across.any()
    assert moves.end[across, 2].min() == 27.0


def test_the_work_zero_shifts_numbers_in_the_writer_only():
    stock = Stock(300, 150, 18, material="hardwood", zero="center", zero_height="table")
    (program,) = write(cut(), stock=stock)
    words = bare(program.text)
    assert "X-140.0 Y-65.0" in words
    assert "G0 Z23.0" in words
    assert "X-110.0 Z16.0 F1500" in words
    assert any("Z0 is the table" in r for r in remarks(program.text))


def test_a_film_raises_the_approach_and_may_carry_the_zero():
    film = Stock(300, 150, 18, material="acrylic", film=0.1, zero_on_film=True)
    (program,) = write(cut(), stock=film)
    words = bare(program.text)
    assert "Z1.0" in words  # 1 mm over the film, on which Z0 lies
    assert "X40.0 Z-2.1 F1500" in words


def test_inches_are_inches():
    """One inch is 25.4 mm exactly (1959)."""
    straight = Pass(path=Path.lines([(25.4, 50.8, -2.54), (76.2, 50.8, -2.54)]))
    (program,) = write(cut("a", MILL, straight), on=machine(units="inch"))
    words = bare(program.text)
    assert words[0] == "G20"
    assert "X1.0 Y2.0" in words
    assert "G1 Z-0.1 F19.6" in words  # 500 mm/min = 19.685 inch/min, rounded down
    assert "X3.0 F59.0" in words  # 1500 mm/min = 59.055


def test_cooling_is_switched_with_the_spindle():
    for cooling, word in (("air", "M7"), ("mist", "M7"), ("flood", "M8")):
        words = bare(write(cut(cutting=Cutting(16000, 1500, 500, cooling=cooling)))[0].text)
        assert words.index("S16000 M3") < words.index(word) < words.index("Z1.0")
        assert words.index("M9") > words.index("G1 Z0.0 F500")
    assert "M7" not in bare(write(cut())[0].text)


def test_a_change_of_speed_waits_at_the_safe_height():
    slow = Cutting(9000, 1500, 500)
    words = bare(write(cut("a"), cut("b", cutting=slow))[0].text)
    k = words.index("S9000 M3")
    assert words[k + 1] == "G4 P3"
    assert words[k - 2] == "G0 Z5.0"


# -- files, stops and tools --------------------------------------------------------------------------------------


def test_without_a_changer_every_tool_has_its_file_and_no_m6():
    files = write(cut("a", MILL), cut("b", BIT), cut("c", MILL))
    assert [f.name for f in files] == ["Fern-1-end-mill", "Fern-2-V-bit", "Fern-3-end-mill"]
    assert [list(f.tools) for f in files] == [[1], [2], [1]]
    assert not any("M6" in line for f in files for line in bare(f.text))
    assert "Put in T2, V bit 60 deg 12.7 mm" in files[1].message


def test_with_a_changer_the_length_comes_before_any_z():
    """NISTIR 6556 section 3.5.11: lengths act only by G43; Table 8: the change comes before the motion."""
    (program,) = write(cut("a", MILL), cut("b", BIT), on=machine(tool_change="automatic"))
    words = bare(program.text)
    for n in (1, 2):
        k = words.index(f"T{n} M6")
        assert words[k + 1] == f"G43 H{n}"
        moving = next(j for j in range(k, len(words)) if re.search("[XYZ]", words[j]))
        assert words[moving] == "G0 Z5.0"
        assert re.fullmatch(r"X\S+ Y\S+", words[moving + 1])
    k = words.index("T2 M6")
    assert words[k - 4 : k] == ["G0 Z5.0", "M5", "M9", "G4 P5"]
    assert words[k + 2 : k + 6] == ["G21", "G17 G90 G94 G40 G80", "G54", "G61"]
    assert not any("Z" in line for line in words[: words.index("T1 M6")])


def test_a_stop_ends_the_file_and_its_words_open_the_next():
    files = write(cut("a", MILL), Stop("Turn the board over."), cut("b", MILL), Stop("Oil it"))
    assert len(files) == 2
    assert files[1].message.startswith("Turn the board over. Put in T1")
    assert "Turn the board over." in remarks(files[1].text)
    assert remarks(files[1].text)[-1] == "Oil it"


def test_where_z_may_be_set_again_a_stop_waits_inside_the_file():
    on = machine(zero_again_at_stop=True)
    (program,) = write(cut("a", MILL), Stop("Turn the board over"), cut("b", BIT), on=on)
    words = bare(program.text)
    k = words.index("M0")
    assert words[k - 5 : k] == ["G0 Z5.0", "M5", "M9", "G4 P5", "T2"]
    rest = words[k + 1 :]
    assert rest[:4] == ["G21", "G17 G90 G94 G40 G80", "G54", "G61"]
    assert rest[4] == "G0 Z5.0"
    assert re.fullmatch(r"X\S+ Y\S+", rest[5])
    assert rest[6] == "S16000 M3"
    assert rest[9].endswith("F500")
    said = " ".join(remarks(program.text))
    for part in ("Turn the board over", "set Z again", "T2 V bit", "Z0 is the top face"):
        assert part in said


def test_spinning_and_dragging_tools_share_no_file_on_any_machine():
    for options in ({}, {"tool_change": "automatic"}, {"zero_again_at_stop": True}, {"spindle": "hand"}):
        files = write(cut("a", MILL), cut("b", KNIFE), cut("c", MILL), on=machine(**options))
        assert [{t.spins for t in f.tools.values()} for f in files] == [{True}, {False}, {True}]


def test_a_dragging_tool_starts_with_spindle_off_and_a_stop_in_words():
    (program,) = write(cut("a", KNIFE))
    words = bare(program.text)
    assert words.index("M5") < words.index("M0") < words.index("G0 Z5.0")
    assert not any(re.search(r"S\d|M3|M4", line) for line in words)
    assert "must never spin" in " ".join(remarks(program.text))
    assert "must never spin" in program.message


def test_a_spindle_switched_by_hand_gets_stops_with_words():
    (program,) = write(cut(), on=machine(spindle="hand"))
    words = bare(program.text)
    first, second = (k for k, line in enumerate(words) if line == "M0")
    assert first < words.index("G0 Z5.0") < second < words.index("S16000 M3")
    assert words[second + 1 : second + 7] == ["G21", "G17 G90 G94 G40 G80", "G54", "G61", "G0 Z5.0", "X10.0 Y10.0"]
    said = " ".join(remarks(program.text))
    assert "Switch the spindle off and unplug it" in said
    assert "switch the spindle on, 16000 rpm" in said


def test_tools_set_on_a_faced_plane_are_set_to_its_number():
    """The faced plane lies at minus what was faced: the job keeps one zero, and the words say which number to set."""
    face = cut("face", EndMill(20), face_depth=0.5)
    first, second = write(face, cut("b", BIT))
    assert not any("faced" in r for r in remarks(first.text))
    assert "Set Z-0.5 on the faced plane" in " ".join(remarks(second.text))
    assert "to -0.5 mm" in second.message


# -- refusals ----------------------------------------------------------------------------------------------------


def test_nothing_to_write_is_said():
    with pytest.raises(ArgumentError, match="nothing to write"):
        write(Stop("wait"))


def test_a_clearance_inside_the_approach_is_refused():
    with pytest.raises(ArgumentError, match="give at least 1"):
        write(cut(), clearance=0.5)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: cut(cutting=Cutting(30000, 1500, 500)), "24000 of the machine"),
        (lambda: cut("a", EndMill(6, max_rpm=12000)), "12000 of end mill"),
        (lambda: cut(cutting=Cutting(0, 1500, 500)), "give its speed"),
        (lambda: cut("a", KNIFE, cutting=Cutting(10000, 1500, 500)), "must never spin"),
        (lambda: cut(cutting=Cutting(16000, 0.5, 0.5)), "rounds down to 0"),
        (lambda: cut("a", BIT, Pass(path=Path.lines([(0, 0, 0), (10500, 0, -1)]))), "beyond 9999"),
    ],
)
def test_what_the_machine_cannot_do_is_refused(made, words):
    with pytest.raises(ArgumentError, match=words):
        write(made())


def test_a_speed_below_the_spindles_lowest_is_refused():
    with pytest.raises(ArgumentError, match="lowest, 18000"):
        write(cut(), on=machine(min_rpm=18000))


# -- outside text ------------------------------------------------------------------------------------------------

NASTY = st.one_of(
    st.text(max_size=120),
    st.sampled_from(["Rose) M3 S18000 (", "MSG,x", "a\nM3 S9000\n", "%\n", "(((", ")G0 Z-90(", "/", "N10 G0", ";"]),
)


@given(
    NASTY,
    NASTY,
    NASTY.filter(str.strip),
    st.sampled_from([{}, {"line_numbers": True}, {"max_line": 40}, {"zero_again_at_stop": True}]),
)
@settings(max_examples=80, deadline=None)
def test_any_outside_text_gives_the_same_words_outside_comments(name, label, message, options):
    """NISTIR 6556 section 3.3.4: a comment ends at its first parenthesis; nothing gets out of it or shows as MSG."""

    def made(name, label, message):
        cuts = (cut(label, MILL), Stop(message), cut(label, EndMill(6, name=label)))
        return programs(
            cuts,
            name=name,
            stock=STOCK,
            machine=machine(**options),
            clearance=5,
            header=(label, message),
            unproved=True,
        )

    wild, tame = made(name, label, message), made("a", "b", "c")
    assert len(wild) == len(tame)
    for w, t in zip(wild, tame, strict=True):
        assert bare(w.text) == bare(t.text)
        assert w.text.isascii()
        assert w.text.splitlines()[0] == "(NOT PROVED)"
        for line in w.text.splitlines():
            assert len(line) <= machine(**options).dialect.max_line
            assert re.fullmatch(r"\([A-Za-z0-9 .,_-]{1,60}\)|[A-Z0-9. -]+", line)
            assert not re.match(r"\(\s*m\s*s\s*g", line, re.IGNORECASE)
        assert re.fullmatch(r"[A-Za-z0-9_.-]+", w.name)


# -- random jobs, read back --------------------------------------------------------------------------------------


def random_path(rng, arcs=True):
    n = int(rng.integers(2, 7))
    xyz = np.column_stack([rng.uniform(5, 290, n), rng.uniform(5, 140, n), -rng.uniform(0, 6, n)])
    if rng.random() < 0.3:  # tiny steps
        xyz = xyz[:1] + rng.normal(0, 0.01, (n, 3)).cumsum(axis=0) * [1, 1, 0.1]
        xyz[:, 2] = np.minimum(xyz[:, 2], 0)
    bulge = np.where(rng.random(n) < 0.5, np.tan(rng.uniform(-5.5, 5.5, n) / 4), 0.0) if arcs else np.zeros(n)
    bulge[0] = 0
    return Path(np.column_stack([xyz.round(4), bulge]))


def random_pass(rng):
    role = rng.choice(["entry", "cut", "finish", "retrace", "link"])
    level, back = int(rng.integers(0, 3)), bool(rng.random() < 0.5)
    return Pass(path=random_path(rng), role=str(role), level=level, reversible=back)


TOOLS = (MILL, BIT, KNIFE, DIAMOND, EndMill(3), EndMill(8, number=7))


def random_job(rng, make=random_pass):
    cuts = []
    for k in range(int(rng.integers(1, 5))):
        if rng.random() < 0.2:
            cuts.append(Stop("wait"))
        tool = TOOLS[int(rng.integers(0, len(TOOLS)))]
        cooling = str(rng.choice(["none", "air", "flood"]))
        rpm = float(rng.choice([12000, 16000])) if tool.spins else 0.0
        speeds = Cutting(rpm, float(rng.uniform(200, 4000)), float(rng.uniform(50, 900)), cooling=cooling)
        passes = [make(rng) for _ in range(int(rng.integers(1, 4)))]
        cuts.append(cut(f"c{k}", tool, *passes, cutting=speeds, through=bool(rng.random() < 0.3)))
    return arrange(cuts)


def random_machine(rng, *, decimals=None):
    pick = lambda *options: options[int(rng.integers(0, len(options)))]  # noqa: E731
    return machine(
        units=pick("mm", "inch"), line_numbers=pick(True, False), zero_again_at_stop=pick(True, False),
        homed=pick(True, False), tool_change=pick("manual", "automatic"), spindle=pick("program", "hand"),
        park=pick(None, (3.0, 4.0)), arcs=pick(True, True, False), helices=pick(True, False), decimals=decimals,
        max_line=pick(40, 60, 256), path_mode=pick("exact", "blend", None), end=pick("M2", "M30"),
        max_feed=pick(3000, (2000, 2500, 800)),
    )  # fmt: skip


def test_no_mixed_job_ever_spins_a_dragging_tool():
    """2,000 random jobs on 50 random machines: no S above 0, no M3 or M4 in any file that a dragging tool is in."""
    rng = np.random.default_rng(20)
    dragging = spinning = 0
    plain = Pass(path=Path.lines([(10, 10, 0), (40, 10, -2)]))
    machines = [random_machine(rng) for _ in range(50)]
    for k in range(2000):
        on = machines[k % 50]
        for program in programs(random_job(rng, lambda _: plain), name="a", stock=STOCK, machine=on, clearance=5):
            words = "\n".join(bare(program.text))
            spins = {t.spins for t in program.tools.values()}
            assert len(spins) == 1
            if spins == {False}:
                dragging += 1
                assert not re.search(r"M0*[34]\b|S0*[1-9]", words)
                before = words[: re.search(r"[XYZ]", words).start()]
                assert before.index("M5") < before.index("M0\n")
            else:
                spinning += 1
                assert re.search(r"S\d+ M3\n(N\d+ )?G4 P3\n", words)
    assert min(dragging, spinning) > 700


def test_random_jobs_keep_the_rules_of_the_standard():
    """120 random jobs read back by the standard's rules, and held against the rules of the trade.

    NISTIR 6556: 3.3 line length, 3.3.5 no word twice, 3.4 groups, 3.5.1 and 3.5.3 axis words and radii, 3.5.7 units
    first, 3.5.11 lengths, 3.6.1 end. Trade: rapids Z alone or XY alone, spindle running before any descent, feeds
    within plunge and axes.
    """
    rng = np.random.default_rng(4)
    for _ in range(120):
        on, job = random_machine(rng), random_job(rng)
        for program in programs(job, name="a", stock=STOCK, machine=on, clearance=5):
            lines = program.text.splitlines()
            assert max(map(len, lines)) <= on.dialect.max_line
            for line in bare(program.text):
                letters = [w for w, _ in WORD.findall(line)]
                assert all(letters.count(w) == 1 for w in letters if w not in "GM")
            motion = read_program(program.text)
            assert motion.findings == ()
            check_rapids(motion)
            check_spindle(motion, program)
            check_feeds(motion, on, job, program)


def check_rapids(motion):
    moves = motion.moves
    rapid = moves.kind == RAPID
    step = np.nan_to_num(moves.end - moves.start, nan=9.0)
    step[:, 2] = np.where(np.isnan(moves.end[:, 2]) & np.isnan(moves.start[:, 2]), 0.0, step[:, 2])
    flat, up = (step[:, :2] != 0).any(axis=1), step[:, 2] != 0
    first = np.isnan(moves.start).any(axis=1)
    assert not (rapid & flat & up & ~first).any()
    known = rapid & flat & ~np.isnan(moves.end[:, 2]) & ~moves.machine
    known &= ~(first & up)  # the first Z, before X and Y are known
    assert (moves.end[known, 2] >= 5.0 - 1e-3).all()
    assert not (moves.end[~rapid, 2] > 1.0 + 1e-3).any()


def check_spindle(motion, program):
    moves = motion.moves
    spins = all(t.spins for t in program.tools.values())
    below = (moves.kind != RAPID) & (moves.end[:, 2] < 1.0)
    assert (moves.rpm[below] > 0).all() if spins else (moves.rpm == 0).all()
    assert motion.state["spindle"] == "M5"
    assert motion.state["coolant"] == "M9"


def check_feeds(motion, on, job, program):
    moves = motion.moves
    feeding = moves.kind != RAPID
    step, length = moves.end - moves.start, moves.lengths
    most = max(c.cutting.plunge for c in job if isinstance(c, Cut) and c.name in program.cuts)
    share = np.divide(step, length[:, None], out=np.zeros_like(step), where=length[:, None] > 0)
    assert (moves.feed[feeding] > 0).all()
    assert (moves.feed * -share[:, 2] <= min(most, on.feeds[2]) + 1e-6)[feeding].all()
    assert (moves.feed * share[:, 2] <= on.feeds[2] + 1e-6)[feeding].all()
    line = feeding & (moves.kind != ARC)
    assert (moves.feed[line, None] * np.abs(share[line, :2]) <= np.array(on.feeds[:2]) + 1e-6).all()
    arc = moves.kind == ARC
    level = np.sqrt(np.maximum(1 - share[arc, 2] ** 2, 0))
    assert (moves.feed[arc] * level <= min(on.feeds[:2]) + 1e-6).all()


@given(st.integers(0, 10**9))
@settings(max_examples=60, deadline=None)
def test_positions_read_back_are_the_planned_ones_within_rounding(seed):
    """Every vertex of every pass is met in order; between vertices the tool stays on the planned curve."""
    rng = np.random.default_rng(seed)
    on = random_machine(rng)
    path = random_path(rng)
    (program,) = programs([cut("a", MILL, Pass(path=path))], name="a", stock=STOCK, machine=on, clearance=9)
    motion = read_program(program.text)
    moves = motion.moves
    assert motion.findings == ()
    step = on.dialect.unit * 10.0**-on.dialect.places
    ends = moves.end[moves.kind != RAPID]
    here = 0
    for vertex in path.points[1:, :3]:
        off = np.abs(ends[here:] - vertex).max(axis=1, initial=0.0)
        if not len(off):  # vertices that rounded together at the end
            assert np.abs(ends[-1] - vertex).max() <= step
            continue
        close = np.flatnonzero(off <= 0.5 * step + 1e-6)
        if len(close):
            here += int(close[0])
        else:
            raise AssertionError(f"vertex {vertex} was not met")
    assert np.abs(ends[-1] - path.points[-1, :3]).max() <= step


def plainly(xyz, cutting, on):
    """The same moves written one at a time: modal words by comparing texts, F by the scalar formula."""
    said, feed, lines = dict(zip("XYZ", (number(v, on.dialect) for v in xyz[0]), strict=True)), None, []
    for here, there in itertools.pairwise(xyz):
        a, b = ([float(number(v, on.dialect)) for v in p] for p in (here, there))
        step = [q - p for p, q in zip(a, b, strict=True)]
        length = math.hypot(*step)
        words = []
        for letter, value in zip("XYZ", there, strict=True):
            if said[letter] != number(value, on.dialect):
                said[letter] = number(value, on.dialect)
                words.append(letter + said[letter])
        if not words:
            continue
        limits = [cutting.feed, *(f * length / abs(s) for f, s in zip(on.feeds, step, strict=True) if s)]
        if step[2] < 0:
            limits.append(cutting.plunge * length / -step[2])
        f = math.floor(min(limits) + 1e-6)
        if f != feed:
            words.append(f"F{f}")
        feed = f
        lines.append(" ".join(words))
    return lines


def test_bulk_writing_gives_what_writing_one_by_one_gives():
    """More than a chunk of moves, many of which round to nothing or change one axis only."""
    n = CHUNK + CHUNK // 10
    rng = np.random.default_rng(8)
    step = rng.normal(0, 0.004, (n, 3)) * (rng.random((n, 3)) < 0.4)
    xyz = (step.cumsum(axis=0) + np.array([150, 70, -3])).round(6)
    xyz[:, 2] = np.minimum(xyz[:, 2], -0.5)
    on = machine(max_feed=(2500, 1200, 700))
    script = Script(machine=on, zero=(0.0, 0.0, 0.0))
    script.rapid_z(float(xyz[0, 2]), over=(float(xyz[0, 0]), float(xyz[0, 1])), fresh=True)
    script.feed(np.column_stack([xyz[1:], np.zeros(n - 1)]), SPEEDS.feed, SPEEDS.plunge)
    lines = script.text().splitlines()[1:]
    expected = plainly(xyz, SPEEDS, on)
    expected[0] = f"G1 {expected[0]}"
    assert n // 4 < len(expected) < 0.9 * n
    assert lines == expected


def test_a_feed_is_said_again_after_a_stop_even_at_the_border_of_a_chunk():
    for n in (5, *range(CHUNK - 6, CHUNK + 2)):
        script = Script(machine=machine(), zero=(0.0, 0.0, 0.0))
        script.rapid_z(5.0, over=(0.0, 0.0), fresh=True)
        script.feed(np.column_stack([np.arange(1, n + 1) * 0.01, np.zeros((n, 3))]), 900.0, 900.0)
        script.rapid_z(5.0, over=(0.0, 0.0))
        script.say(["M0"])
        script.rapid_z(5.0, over=(0.0, 0.0), fresh=True)
        script.rapid_xy(1.0, 2.0, fresh=True)
        script.feed(np.array([[1.0, 2.0, 0.0, 0.0], [3.0, 2.0, 0.0, 0.0]]), 900.0, 900.0)
        lines = script.text().splitlines()
        assert lines[lines.index("M0") :] == ["M0", "G0 Z5.0", "X1.0 Y2.0", "G1 Z0.0 F900", "X3.0"]


def test_z_is_said_after_the_top_of_travel_even_if_the_number_is_the_last_one():
    """G53 moved Z to a place that the program's own numbers do not know: 'the same as before' would be wrong."""
    high = Pass(path=Path.lines([(10, 10, 5), (20, 10, -1)]))
    (program,) = write(cut("a", MILL, high), cut("b", BIT, high), on=machine(homed=True, tool_change="automatic"))
    words = bare(program.text)
    second = words[words.index("T2 M6") :]
    assert second[second.index("G53 G0 Z0") + 1 :][:4] == ["G0 X10.0 Y10.0", "S16000 M3", "G4 P3", "Z5.0"]


def test_words_stand_where_they_were_said_even_across_chunks():
    """A remark after every 1,000th move, with moves between that vanish: each follows the position it was said at."""
    script = Script(machine=machine(), zero=(0.0, 0.0, 0.0))
    script.rapid_z(5.0, over=(0.0, 0.0), fresh=True)
    for k in range(1, 40):
        xs = np.linspace(k - 1, k, 1001)[1:]
        twice = np.repeat(xs, 2)
        script.feed(np.column_stack([twice, np.zeros((2000, 2)), np.zeros(2000)]), 1000.0, 1000.0)
        script.say([f"(at {k})"])
    lines = script.text().splitlines()
    places = [k for k, line in enumerate(lines) if line.startswith("(")]
    assert len(places) == 39
    assert len(lines) == 39 * 1001 + 1
    assert [line for line in lines if "F" in line] == ["G1 X0.001 Z0.0 F1000"]
    for k in places:
        assert lines[k - 1].split("X")[1].split(" ")[0] == f"{int(lines[k][4:-1])}.0"


# -- arcs --------------------------------------------------------------------------------------------------------

ARC_DIALECTS = bench.ARC_DIALECTS


@pytest.mark.parametrize("dialect", ARC_DIALECTS, ids=lambda d: "-".join(map(str, d.values())))
def test_random_arcs_keep_the_radius_limit_as_written(dialect):
    """NISTIR 6556 section 3.5.3.2: radii at start and end differ by at most 0.002 mm or 0.0002 inch; in 100 %.

    No arc is shorter than 0.02 mm or 20 rounding steps (common practice, no source).
    50,000 arcs in all, a 1 in 20 sample of what `python -m benchmarks.writing` counts. The sweep is the planned one
    within 1 degree, and no arc or chord leaves the planned circle by more than rounding and the chord's 0.001 mm.
    """
    count = 30_000 if dialect == {"units": "mm"} else 5_000
    result = bench.arcs(count, dialect, seed=5)
    assert result.share > 0.25
    assert result.radii <= {"mm": 0.002, "inch": 0.0002}[dialect["units"]]
    assert result.sweep <= 1.0
    made = Dialect(**dialect)
    assert result.shortest >= 0.99 * max(0.02 / made.unit, 20 * 10.0**-made.places)
    rounding = 0.75 if made.center_places > made.places else 1.5  # steps; the center's own rounding comes on top
    assert result.away <= 0.001 + rounding * 10.0**-made.places * made.unit


def test_an_arc_that_rounds_to_nothing_is_no_full_circle():
    """NISTIR 6556 section 3.5.3.2: a center-format arc with equal ends is a full turn."""
    tiny = Pass(path=Path([[10, 10, -1, 0], [10.0003, 10.0002, -1, 1.0], [20, 10, -1, 0]]))
    words = bare(write(cut("a", MILL, tiny))[0].text)
    assert "X20.0 F1500" in words
    assert not any("I" in line for line in words)


def test_a_nearly_full_turn_is_written_as_two_arcs():
    turn = Pass(path=Path([[10, 10, -1, 0], [10.001, 10, -1, math.tan(math.radians(359.99) / 4)]]))
    motion = read_program(write(cut("a", MILL, turn))[0].text)
    arcs = motion.moves.kind == ARC
    assert arcs.sum() == 2
    assert np.degrees(motion.moves.sweep[arcs]) == pytest.approx([180, 180], abs=0.5)


def test_a_disc_of_100_mm_stays_as_few_arcs_as_planned():
    halves = Pass(path=Path([[100, 50, -1, 0], [0, 50, -1, 1], [100, 50, -1, 1]]), closed=True)
    lines = [x for x in bare(write(cut("a", MILL, halves))[0].text) if "I" in x]
    assert lines == ["G3 X0.0 I-50.0 J0.0 F1500", "X100.0 I50.0 J0.0"]


def test_the_standards_worked_arc_is_written_as_printed():
    """NISTIR 6556 section 3.5.3.2: G17 G2 x10 y16 i3 j4 z9 from (7, 7): a helix about (10, 11) of radius 5."""
    a, e, c = np.array([7.0, 7.0]), np.array([10.0, 16.0]), np.array([10.0, 11.0])
    turn = -((math.atan2(*(a - c)[::-1]) - math.atan2(*(e - c)[::-1])) % (2 * math.pi))
    script = Script(machine=machine(), zero=(0.0, 0.0, 0.0))
    script.rapid_z(5.0, over=(7.0, 7.0), fresh=True)
    script.rapid_xy(7.0, 7.0, fresh=True)
    script.feed(np.array([[10.0, 16.0, 9.0, math.tan(turn / 4)]]), 1000.0, 1000.0)
    assert script.text().splitlines()[-1] == "G2 X10.0 Y16.0 Z9.0 I3.0 J4.0 F1000"


def test_a_controller_without_arcs_or_helices_gets_chords_on_the_curve():
    helix = Pass(path=Path([[60, 50, 0, 0], [40, 50, -1, 1], [60, 50, -2, 1]]), role="entry")
    for options in ({"arcs": False}, {"helices": False}):
        motion = read_program(write(cut("a", MILL, helix), on=machine(**options))[0].text)
        moves = motion.moves
        assert not (moves.kind == ARC).any()
        cutting = (moves.kind != RAPID) & (moves.end[:, 2] < 0)
        middle = 0.5 * (moves.start + moves.end)[cutting]
        off = np.abs(np.hypot(middle[:, 0] - 50, middle[:, 1] - 50) - 10)
        assert off.max() <= 0.002
        turned = np.unwrap(np.arctan2(moves.end[cutting, 1] - 50, moves.end[cutting, 0] - 50))
        assert moves.end[cutting, 2] == pytest.approx(-turned / np.pi, abs=0.002)
    flat = Pass(path=Path([[60, 50, -1, 0], [40, 50, -1, 1]]))
    assert (read_program(write(cut("a", MILL, flat), on=machine(helices=False))[0].text).moves.kind == ARC).any()


def test_short_lines_leave_no_room_for_arcs_and_give_feeds_a_line_of_their_own():
    path = Path([[160, 50, -1, 0], [140.1234, 50.4321, -1, 1], [50.5555, 70.7777, -2, 0]])
    text = write(cut("a", MILL, Pass(path=path)), on=machine(max_line=40, line_numbers=True))[0].text
    assert max(map(len, text.splitlines())) <= 40
    motion = read_program(text)
    assert motion.findings == ()
    assert motion.moves.feed[motion.moves.kind != RAPID].max() == 1500
    assert any(re.fullmatch(r"N\d+ F1500", line) for line in text.splitlines())


def test_a_line_that_cannot_hold_a_move_is_refused():
    far = Pass(path=Path.lines([(-1100, -1100, -1), (1150, 1150, -12)]))
    with pytest.raises(ArgumentError, match="max_line=40 has no room"):
        write(cut("a", MILL, far), on=machine(max_line=40, line_numbers=True, decimals=4))


# -- feeds -------------------------------------------------------------------------------------------------------


def feeds_of(*passes, on=None, cutting=SPEEDS):
    moves = read_program(write(cut("a", MILL, *passes, cutting=cutting), on=on)[0].text).moves
    return moves.feed[moves.kind != RAPID].tolist()


def straight(*points, **options):
    return Pass(path=Path.lines(points), **options)


def test_each_role_has_its_feed():
    for role, factor, expected in [
        ("cut", 1.0, 1500), ("cut", 0.5, 750), ("finish", 1.0, 1500), ("retrace", 1.0, 3000), ("link", 1.0, 4000),
    ]:  # fmt: skip
        item = straight((0, 0, 1), (50, 0, 1), role=role, feed_factor=factor)
        assert feeds_of(item, on=machine(max_feed=4000)) == [expected]


def test_downward_feeds_keep_the_plunge():
    """F = plunge / sin(angle below level), elementary geometry: 500 / sin(45 deg) = 707.1; 500 / sin(30 deg) = 1000."""
    down45 = straight((0, 0, 1), (10, 0, -9))
    down30 = straight((0, 0, 1), (10 * math.sqrt(3), 0, -9))
    shallow = straight((0, 0, 1), (100, 0, -1))
    up = straight((0, 0, -1), (10, 0, 1))
    assert feeds_of(down45) == [707]
    assert feeds_of(down30) == [1000]
    assert feeds_of(shallow) == [1500]
    assert feeds_of(up)[-1] == 1500


def test_a_square_corner_of_a_60_degree_groove_is_cut_at_the_plunges_pace():
    """Out of a square corner depth grows r / tan(30) while the axis grows r sqrt 2: 51 degrees below level."""
    corner = straight((0, 0, 0), (10, 10, -10 / math.tan(math.radians(30))))
    angle = math.atan((1 / math.tan(math.radians(30))) / math.sqrt(2))
    assert math.degrees(angle) == pytest.approx(50.77, abs=0.01)
    assert feeds_of(corner)[-1] == math.floor(500 / math.sin(angle))


def test_a_helix_keeps_the_plunge_along_its_slope():
    """NISTIR 6556 section 2.1.2.6: F acts along the helix. Radius 5, half a turn down 20 mm."""
    helix = Pass(path=Path([[10, 0, 1, 0], [0, 0, -19, 1]]))
    expected = 500 * math.hypot(20, 5 * math.pi) / 20
    assert feeds_of(helix) == [math.floor(expected)]


def test_every_axis_keeps_its_own_limit():
    on = machine(max_feed=(1000, 400, 300))
    assert feeds_of(straight((0, 0, 1), (50, 0, 1)), on=on) == [1000]
    assert feeds_of(straight((0, 0, 1), (0, 50, 1)), on=on) == [400]
    assert feeds_of(straight((0, 0, 1), (30, 40, 1)), on=on) == [500]  # 400 / 0.8
    assert feeds_of(straight((0, 0, -9), (0, 0, 1)), on=on)[-1] == 300
    assert feeds_of(straight((0, 0, 1), (0, 0, -9)), on=on) == [300]
    assert feeds_of(Pass(path=Path([[10, 0, 1, 0], [0, 0, 1, 1]])), on=on) == [400]


# -- words that must not be cut off ------------------------------------------------------------------------------


def test_on_short_lines_a_speed_or_a_depth_is_wrapped_never_cut_off():
    """Half a number at a stop reads as another number."""
    deep = tuple(Pass(path=Path.lines([(10, 10 + k, 0), (40, 10 + k, -11.5)]), level=11) for k in range(12))
    (program,) = write(cut("groove", BIT, *deep), on=machine(spindle="hand", max_line=40))
    said = " ".join(remarks(program.text))
    assert f"switch the spindle on, {SPEEDS.rpm:.0f} rpm" in said
    assert said.count("level 12, 11.50 mm deep") == 12
    assert max(map(len, program.text.splitlines())) <= 40


def test_for_a_tool_changer_all_tools_are_loaded_and_measured_before_the_start():
    (program,) = write(cut("a", BIT), cut("b", MILL), on=machine(tool_change="automatic"))
    assert program.message.startswith(f"Load T1 {BIT.describe()}, T2 {MILL.describe()}, measure their lengths")
    assert "Put in" not in program.message


def test_where_the_back_lies_up_no_word_sends_the_operator_to_the_top_face():
    for on in (machine(), machine(tool_change="automatic")):
        (program,) = write(cut(), on=on, back=True)
        assert "Z0 is the back face, which lies up" in " ".join(remarks(program.text))
        assert "zero on the back face" in program.message
        assert "top face" not in program.text + program.message
