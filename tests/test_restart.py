"""`restart`: the rest of a program after a stop gives the part of the whole job, wherever it was stopped.

No outside source has numbers for this; the checks are laws: the rest moves as the whole program does from there on, and
what was cut before together with it leaves the same field.
"""

import dataclasses
import functools
import importlib
import itertools
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import box

import pathgen as pg
from pathgen.model.bounds import Bounds, Free
from pathgen.model.motion import RAPID
from pathgen.motion.read import read_program
from pathgen.program.dialect import modes

room = importlib.import_module("pathgen.restart")

BOARD = pg.Stock(90, 60, 6, material="softwood", thickness_range=(5.9, 6.1))
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5, cooling="air"))
FINE = pg.EndMill(3, cutting_length=12, cutting=pg.Cutting(18000, 1200, 400, 1.5, 1.2))
BIT = pg.VBit(60, diameter=6.35, cutting=pg.Cutting(17000, 1500, 500, 3, 0.5))
PASS = re.compile(r"^\(PASS (\d+)\.(\d+) ", re.MULTILINE)
GRID = 0.5


def machine(dialect=None, **more):
    base = {"travel": (600, 400, 90), "max_feed": 3000, "acceleration": (500, 500, 250), "max_rpm": 24000}
    return pg.Machine(**(base | more), dialect=pg.Dialect(**(dialect or {})))


MACHINES = {
    "plain": machine(),
    "inch": machine({"units": "inch", "line_numbers": True, "end": "M30"}),
    "short lines": machine({"max_line": 40, "line_numbers": True, "path_mode": None}),
    "by hand": machine({"zero_again_at_stop": True}, spindle="hand"),
    "zero again": machine({"zero_again_at_stop": True, "units": "inch"}),
    "changer": machine(tool_change="automatic"),
    "homed changer": machine({"line_numbers": True}, tool_change="automatic", homed=True, park=(0, 0)),
}


def shallow_cuts(board):
    """Pockets in several levels and a short word: many passes, arcs, three tools."""
    word = pg.place(pg.text("tek", height=9), box(10, 36, 40, 56))
    return [
        pg.pocket(box(50, 8, 62, 20), FINE, depth=3, stock=board, name="left tray"),
        pg.pocket(box(68, 8, 82, 20), FINE, depth=3, stock=board, name="right tray"),
        pg.vgroove(word, BIT, stock=board, depth_limit=1.5),
        pg.profile(
            pg.place(pg.plate(76, 48), board, fit="none"),
            MILL,
            depth=pg.THROUGH,
            stock=board,
            bridges=pg.Bridges(4, length=5, thickness=1.5),
        ),
    ]


@functools.cache
def job(kind="plain", zero="lower-left", zero_height="top"):
    board = dataclasses.replace(BOARD, zero=zero, zero_height=zero_height)
    return pg.Job("Moss", board, MACHINES[kind], shallow_cuts(board), touch_off=(0.6, 0.6))


def numbers(program):
    return [(int(a), int(b)) for a, b in PASS.findall(program.text)]


def line_of(program, number):
    rows = program.text.splitlines()
    return next(k for k, row in enumerate(rows, 1) if row.startswith("(PASS {}.{} ".format(*number)))


def tails_agree(rest, program, line):
    """The rest moves, from `line` of the whole program on, exactly as that does; returns how many moves."""
    whole, part = read_program(program.text), read_program(rest)
    count = int((whole.moves.line >= line).sum())
    assert count
    for name in ("start", "end", "kind", "center", "sweep", "plane", "feed", "rpm", "tool"):
        one, two = getattr(whole.moves, name)[-count:], getattr(part.moves, name)[-count:]
        assert np.allclose(one, two, rtol=0, atol=1e-9, equal_nan=True), name
    assert not [f for f in part.findings if f.severity == "error"]
    return count


def same_part(again, whole):
    """Both proofs are sound and leave the field of the whole job."""
    for proof in (again.proof, again.certain):
        assert proof.ok is True, str(proof)
        assert np.abs(proof.height.array - whole.height.array).max() <= 0.002


@pytest.mark.parametrize("kind", ["plain", "zero again"])
def test_a_restart_at_sampled_passes_gives_the_part_of_the_whole_job(kind):
    planned = job(kind)
    whole = planned.prove(grid=GRID)
    assert whole.ok is True, str(whole)
    for k, program in enumerate(planned._texts()):
        passes = numbers(program)
        for number in dict.fromkeys((passes[0], passes[len(passes) // 2], passes[-1])):
            again = pg.restart(planned, k, at=number, grid=GRID)
            assert again.asked == number
            assert again.resumed <= number
            same_part(again, whole)
            tails_agree(again.text, program, again.line)


@pytest.mark.slow
@pytest.mark.parametrize("kind", sorted(MACHINES))
def test_a_restart_at_every_pass_gives_the_part_of_the_whole_job(kind):
    planned = job(kind, zero="center", zero_height="table")
    whole = planned.prove(grid=1.0)
    for k, program in enumerate(planned._texts()):
        for number in numbers(program):
            again = pg.restart(planned, k, at="PASS {}.{}".format(*number), grid=1.0)
            same_part(again, whole)
            tails_agree(again.text, program, again.line)


@pytest.mark.slow
def test_a_restart_at_every_pass_of_a_long_word_gives_the_part_of_the_whole_job():
    board = pg.Stock(160, 50, 8, material="softwood", thickness_range=(7.9, 8.1))
    word = pg.place(pg.text("Sorrel, tansy", height=16), board, margin=5)
    planned = pg.Job("Word", board, MACHINES["inch"], pg.vgroove(word, BIT, stock=board, depth_limit=2.5))
    whole = planned.prove(grid=1.0)
    (program,) = planned._texts()
    assert len(numbers(program)) >= 12
    for number in numbers(program):
        again = pg.restart(planned, 0, at=number, grid=1.0)
        same_part(again, whole)
        tails_agree(again.text, program, again.line)


@settings(deadline=None, max_examples=10, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(MACHINES)), st.floats(0, 1), st.floats(0, 1))
def test_a_restart_at_any_line_gives_the_part_of_the_whole_job(kind, which, where):
    planned = job(kind)
    programs = planned._texts()
    k = min(int(which * len(programs)), len(programs) - 1)
    lines = programs[k].text.splitlines()
    first = line_of(programs[k], numbers(programs[k])[0])
    at = first + round(where * (len(lines) - first))
    again = pg.restart(planned, k, at=at, grid=1.0)
    same_part(again, planned.prove(grid=1.0))
    assert tails_agree(again.text, programs[k], again.line)
    assert again.text.splitlines()[-(len(lines) - again.line + 1) :] == lines[again.line - 1 :]
    # nothing is left out: no feed move from the line asked for on comes before the place where it goes on
    moves = read_program(programs[k].text).moves
    assert not ((moves.line >= at) & (moves.line < again.line) & (moves.kind != RAPID)).any()


def test_a_restart_at_the_first_pass_is_the_whole_program():
    for kind in MACHINES:
        planned = job(kind)
        for k, program in enumerate(planned._texts()):
            first = numbers(program)[0]
            text = pg.restart(planned, k, at=first, grid=1.0).text if kind == "plain" else rest(planned, k, first)
            one, two = read_program(program.text), read_program(text)
            assert len(one.moves) == len(two.moves)
            for name in ("start", "end", "kind", "center", "sweep", "feed", "rpm", "tool", "machine"):
                assert np.allclose(getattr(one.moves, name), getattr(two.moves, name), equal_nan=True), (kind, name)
            assert waits(one) == waits(two)
            assert one.state == two.state


def rest(planned, k, at):
    """The text of a restart, without its two proofs."""
    text = room._Text(planned._texts(), k, zero_z=planned.stock.zero_z, safe=room._setting(planned, ()).safe)
    asked, _ = text.asked(at)
    return room._rest(planned, (), text, asked=asked, begin=text.begin(asked)).text


def waits(motion):
    return [(e.kind, e.value) for e in motion.events if e.kind in ("dwell", "stop", "tool", "length", "coolant", "end")]


def test_it_begins_one_pass_earlier_and_never_before_a_tool_change():
    planned = job("changer")
    (program,) = planned._texts()
    passes = numbers(program)
    for before, number in itertools.pairwise(passes):
        again = read_program(rest(planned, 0, number))
        first = next(e.text for e in again.events if e.kind == "comment" and e.text.startswith("PASS"))
        tool = {c: t.tool for c, t in enumerate(planned.tool_cuts, 1)}
        changed = tool[before[0]] != tool[number[0]]
        resumed = tuple(int(v) for v in first.split()[1].split("."))
        assert resumed == number if changed else resumed <= before, number


def test_the_beginning_states_everything_that_was_in_force():
    for kind, wanted in MACHINES.items():
        planned = job(kind)
        texts = planned._texts()
        program = texts[-1]
        number = numbers(program)[-1]
        lines = rest(planned, len(texts) - 1, number).splitlines()
        plain = [re.sub(r"^N\d+ ", "", row) for row in lines if not row.startswith("(")]
        stated = modes(wanted.dialect)
        assert plain[: len(stated)] == stated
        assert plain[len(stated)] == "M5"
        first = next(k for k, row in enumerate(plain) if re.match(r"(G53 )?G0 ", row))
        assert re.fullmatch(r"G53 G0 Z0|G0 Z[\d.]+", plain[first]), "the first motion is Z alone, up"
        spin = plain.index("S16000 M3")
        assert plain[spin + 1] == "G4 P3"
        assert plain[spin + 2] == "M7", "compressed air, as the cut asks for"
        assert not [row for row in plain[: spin + 2] if row.startswith("G1 ")]
        assert (wanted.spindle == "hand") == ("M0" in plain[:spin])
        assert (wanted.tool_change == "automatic") == any(re.fullmatch(r"G43 H\d", row) for row in plain[:spin])
        assert all(len(row) <= wanted.dialect.max_line for row in lines)


def test_the_header_says_restart_the_pass_and_the_line_and_what_to_check():
    planned = job()
    k = len(planned._texts()) - 3
    program = planned._texts()[k]
    number = numbers(program)[3]
    again = pg.restart(planned, k, at=number, grid=1.0)
    head = again.text.split("G21")[0]
    assert head.splitlines()[0].startswith("(Finished size")
    assert f"(RESTART of program {k + 1} at PASS {again.resumed[0]}.{again.resumed[1]}, line {again.line})" in head
    assert "(Asked for was PASS {}.{}, line {})".format(*number, line_of(program, number)) in head
    assert "tool must be set again" in head
    assert "zero checked" in head
    assert re.fullmatch(r"(\([A-Za-z0-9 .,_-]{1,58}\)\n)+", head)
    assert "Put in T1" in again.program.message
    assert "restart" in again.program.name


@pytest.mark.parametrize(
    ("program", "at", "said"),
    [
        (0, 3, r"line 3 .* before its first pass, PASS 1\.1 in line \d+"),
        (0, 0, "before its first pass"),
        (0, 10**6, r"behind the end .* is PASS \d\.\d+"),
        (0, "PASS 1.99", r"is not in .* PASS 1\.1 to \d\.\d+: the nearest there are PASS 1\.\d+"),
        (0, (0, 1), r"nearest there are PASS 1\.1$"),
        (0, "PASS 3.1", r"is in program 1, Moss-2-V-bit; program 0"),
        (0, "somewhere", "must be a line of the program"),
        (0, 2.5, "must be a line of the program"),
        (0, True, "must be a line of the program"),
        (0, (1, 2, 3), "must be a line of the program"),
        (9, 20, r"program=9 is not in job 'Moss', which has 0 Moss-1"),
        ("Moss", 20, "must be a Program of the job or its index"),
    ],
)
def test_a_place_that_is_not_there_is_refused_with_the_nearest_passes(program, at, said):
    job().prove(grid=1.0)
    with pytest.raises(pg.ArgumentError, match=said):
        pg.restart(job(), program, at=at, grid=1.0)


def test_the_program_itself_may_be_given_and_no_other():
    planned = job()
    program = planned.programs()[1]
    again = pg.restart(planned, program, at=(3, 1), grid=1.0)
    assert again.asked == (3, 1)
    with pytest.raises(pg.ArgumentError, match="not one of job"):
        pg.restart(planned, dataclasses.replace(program, text=program.text + "\n"), at=(3, 1), grid=1.0)
    with pytest.raises(pg.ArgumentError, match="give the Job"):
        pg.restart("Moss", 0, at=20)


def dragged(tool, count=4):
    """Lines drawn by a tool that must never spin, one pass each."""
    passes = []
    for k in range(count):
        path = pg.Path.lines([(10, 10 + 8 * k, 0), (10, 10 + 8 * k, -0.3), (60, 10 + 8 * k, -0.3)])
        passes.append(pg.Pass(path=path, after=(k - 1,) if k else ()))
    bounds = Bounds((Free(region=box(5, 5, 70, 50), depth=0.3),))
    cut = pg.Cut(name="lines", tool=tool, cutting=tool.cutting, passes=tuple(passes), bounds=bounds, depth=0.3)
    return pg.Job("Lines", BOARD, machine(), [cut])


def test_a_dragging_tool_is_stopped_and_unplugged_before_its_rest_moves():
    planned = dragged(pg.DiamondPoint(cutting=pg.Cutting(0, 600, 200)))
    program = planned._texts()[0]
    again = pg.restart(planned, 0, at=(1, 3), grid=1.0)
    assert again.resumed == (1, 2)
    plain = [row for row in again.text.splitlines() if not row.startswith("(")]
    assert plain[4:7] == ["M5", "G4 P5", "T1"]
    assert plain[7] == "M0"
    assert not re.search(r"\bM3\b", again.text)
    assert "must never spin" in again.text.replace(")\n(", " ")
    tails_agree(again.text, program, again.line)


def test_a_knife_begins_anew_since_its_blade_points_nobody_knows_where():
    planned = dragged(pg.TrailingKnife(trail=0.5, edge_angle=45, cutting=pg.Cutting(0, 600, 200)))
    again = pg.restart(planned, 0, at=(1, 4), grid=1.0)
    assert again.resumed == (1, 1)
    assert [n.code for n in again.notes] == ["restart-knife"]


def test_passes_chained_without_a_lift_begin_again_where_the_chain_does():
    """Passes that wait for nothing, each beginning where the one before it ended: numbers of their own, and no lift."""
    x = (10, 30, 50, 70)
    entry = pg.Path.lines([(x[0], 10, 0), (x[0], 10, -1), (x[1], 10, -1)])
    paths = [entry, *(pg.Path.lines([(a, 10, -1), (b, 10, -1)]) for a, b in itertools.pairwise(x[1:]))]
    passes = tuple(pg.Pass(path=path, level=k) for k, path in enumerate(paths))
    apart = pg.Pass(path=pg.Path.lines([(10, 30, 0), (10, 30, -1), (60, 30, -1)]), level=4)
    bounds = Bounds((Free(region=box(5, 5, 75, 35), depth=1),))
    cut = pg.Cut(name="row", tool=MILL, cutting=MILL.cutting, passes=(*passes, apart), bounds=bounds, depth=1)
    planned = pg.Job("Row", BOARD, machine(), [cut])
    (program,) = planned._texts()
    lifts = read_program(program.text.split("(PASS 1.4")[0]).moves
    assert numbers(program) == [(1, 1), (1, 2), (1, 3), (1, 4)]
    assert int(((lifts.kind == RAPID) & (lifts.end[:, 2] > lifts.start[:, 2])).sum()) == 1, "the lift at its end alone"
    for number in numbers(program):
        again = pg.restart(planned, 0, at=number, grid=1.0)
        assert again.resumed == (1, 1), number
        assert tails_agree(again.text, program, again.line)


def test_a_restart_within_a_facing_warns_of_two_heights_and_later_tools_go_to_the_faced_plane():
    board = dataclasses.replace(BOARD, zero_height="top")
    cuts = [
        pg.face(board.region, MILL, depth=0.5, stock=board),
        pg.pocket(box(50, 8, 62, 20), FINE, depth=1.5, stock=board),
    ]
    planned = pg.Job("Faced", board, machine({"zero_again_at_stop": True}), cuts)
    (program,) = planned._texts()
    assert len(numbers(program)) >= 2
    later = rest(planned, 0, (2, 1))
    assert "Set Z-0.5 on the faced plane" in later.split("G21")[0]
    assert "two heights" not in later
    inside = line_of(program, (1, 1)) + 8
    again = pg.restart(planned, 0, at=inside, grid=1.0)
    assert "Set Z-0.5" not in again.text.split("G21")[0]
    assert [n.code for n in again.notes] == ["restart-faced"]


def test_a_message_that_reads_like_a_pass_is_none():
    cuts = shallow_cuts(BOARD)
    said = [cuts[0], pg.Stop("PASS 1.9 cut, level 1"), cuts[1], pg.Stop("CUT 9 none"), cuts[2]]
    planned = pg.Job("Said", BOARD, machine({"zero_again_at_stop": True}), said, order="listed")
    (program,) = planned._texts()
    with pytest.raises(pg.ArgumentError, match=r"PASS 1\.9 is not in"):
        rest(planned, 0, (1, 9))
    assert "(CUT 3 " in rest(planned, 0, (3, 2))
    assert tails_agree(rest(planned, 0, (2, 1)), program, line_of(program, (2, 1)) + 3)


def test_a_stop_at_the_halt_itself_goes_on_with_the_next_tool():
    planned = job("zero again")
    (program,) = planned._texts()
    halt = next(e.line for e in read_program(program.text).events if e.kind == "stop")
    after = next(n for n in numbers(program) if line_of(program, n) > halt)
    assert f"(PASS {after[0]}.{after[1]} " in (text := rest(planned, 0, halt))
    assert "(PASS 1.1 " not in text
    assert "(PASS {}.{} ".format(*numbers(program)[0]) not in text


def test_a_module_never_hides_the_public_name_in_it():
    for name in ("restart", "check"):
        assert importlib.import_module(f"pathgen.{name}").__name__ == f"pathgen.{name}"
        assert callable(getattr(pg, name))


def test_the_file_is_written_whole_or_not_at_all(tmp_path):
    again = pg.restart(job(), 0, at=(1, 1), grid=1.0)
    place = again.write(tmp_path / "new")
    assert place.read_text() == again.text
    assert [p.name for p in (tmp_path / "new").iterdir()] == [again.program.name + ".rs274"]
    assert again.write(tmp_path, suffix=".tap").suffix == ".tap"
    with pytest.raises(pg.ArgumentError, match="suffix"):
        again.write(tmp_path, suffix="tap")
    (tmp_path / "file").write_text("x")
    with pytest.raises(pg.WriteError):
        again.write(tmp_path / "file")
    assert (tmp_path / "file").read_text() == "x"


def test_what_is_not_proved_is_not_restarted_and_what_was_accepted_stands_in_the_header():
    pocket = pg.pocket(box(20, 20, 50, 40), MILL, depth=2, stock=BOARD)
    deep = [
        dataclasses.replace(c, passes=tuple(dataclasses.replace(p, path=p.path.moved(dz=-0.1)) for p in c.passes))
        for c in pocket
    ]
    planned = pg.Job("deep", BOARD, machine(), deep)
    with pytest.raises(pg.NotProvedError, match="gouge"):
        pg.restart(planned, 0, at=(1, 1), grid=GRID)
    again = pg.restart(planned, 0, at=(1, 1), grid=GRID, accept=[("gouge", 0.2)])
    assert "(accepted gouge" in again.text


def test_a_rest_that_would_leave_something_out_is_refused(monkeypatch):
    """The proof of a restart is no formality: one begun a pass too late is found."""
    planned = job()
    begin = room._Text.begin
    monkeypatch.setattr(room._Text, "begin", lambda self, k: begin(self, k) + 2)
    monkeypatch.setattr(room, "_broken_off", lambda text, line, job: "")
    with pytest.raises(pg.NotProvedError, match=r"residual|restart-differs|not-through"):
        pg.restart(planned, 0, at=(1, 1), grid=GRID)


def test_programs_of_the_proof_keep_their_numbers_and_the_rest_is_called_restart():
    assert [room._renamed(n, 3) for n in (None, "1", "2", "3", "4", "9")] == [None, "1", "2", "restart", "3", "8"]
    planned = job()
    again = pg.restart(planned, 1, at=(3, 2), grid=1.0)
    told = {p for c in again.proof.cuts for p, *_ in c.lines}
    assert told == {"1", "2", "restart", "3"}


def test_a_restart_where_cuts_lie_in_one_another_is_proved():
    """One tool cuts a tray, then a deeper one inside it: stopped early in the second, the first one's final pass comes
    again after it."""
    cuts = [
        pg.pocket(box(20, 10, 70, 50), MILL, depth=1, stock=BOARD),
        pg.pocket(box(30, 20, 60, 40), MILL, depth=4, stock=BOARD),
        pg.pocket(box(35, 24, 55, 36), MILL, depth=5, stock=BOARD),
    ]
    planned = pg.Job("Steps", BOARD, machine(), cuts)
    whole = planned.prove(grid=GRID)
    (program,) = planned._texts()
    for number in numbers(program)[1:]:
        again = pg.restart(planned, 0, at=line_of(program, number) + 12, grid=GRID)
        assert again.resumed < again.asked
        same_part(again, whole)


# -- a stock that is already cut ---------------------------------------------------------------------------


def test_a_second_job_goes_on_with_the_stock_that_the_first_one_left():
    one = pg.Job("one", BOARD, machine(), [pg.pocket(box(15, 15, 45, 40), MILL, depth=2, stock=BOARD)])
    two = pg.Job("two", BOARD, machine(), [pg.pocket(box(35, 20, 70, 45), MILL, depth=3, stock=BOARD)])
    first = one.prove(grid=GRID)
    second = two.prove(stock_after=first.height)
    alone = two.prove(grid=GRID)
    assert second.ok is True, str(second)
    assert np.array_equal(second.height.array, np.minimum(first.height.array, alone.height.array))
    other = one.prove(stock_after=alone.height)
    assert np.array_equal(other.height.array, second.height.array), "the order never changes the part"
    assert any("stock_after" in s for s in second.unchecked)
    assert two.prove(stock_after=first.height) is second, "kept"
    assert two.prove(grid=GRID) is alone
    assert (
        two.prove(stock_after=pg.HeightMap(first.height.array * 0.5, pixel=GRID, origin=first.height.origin))
        is not second
    )


def test_what_the_stock_lacks_already_is_no_gouge_but_what_is_cut_anew_is():
    deep = pg.Job("deep", BOARD, machine(), [pg.pocket(box(20, 15, 50, 40), MILL, depth=4, stock=BOARD)])
    flat = pg.Job("flat", BOARD, machine(), [pg.pocket(box(25, 20, 45, 35), MILL, depth=1, stock=BOARD)])
    after = deep.prove(grid=GRID).height
    assert flat.prove(stock_after=after).ok is True
    lowered = [p.text.replace("Z-1.0", "Z-1.5") for p in flat._texts()]
    assert flat.prove(texts=lowered, grid=GRID).ok is False
    beside = pg.Job("beside", BOARD, machine(), [pg.pocket(box(55, 15, 75, 35), MILL, depth=1, stock=BOARD)])
    lowered = [p.text.replace("Z-1.0", "Z-1.5") for p in beside._texts()]
    assert beside.prove(texts=lowered, stock_after=after).gouge == pytest.approx(0.5, abs=0.01)


def test_a_rapid_in_a_pocket_that_is_there_already_meets_no_material():
    one = pg.Job("one", BOARD, machine(), [pg.pocket(box(20, 15, 60, 45), MILL, depth=3, stock=BOARD)])
    low = """(Tool T1)
G21
G17 G90 G94 G40 G80
G61
T1
G0 Z5
X30 Y30
S16000 M3
G4 P3
Z-1
X50
Z5
M5
M2
"""
    after = one.prove(grid=GRID).height
    codes = [{f.code for f in one.prove(texts=[low], **on).findings} for on in ({"grid": GRID}, {"stock_after": after})]
    assert [("rapid-in-material" in found, "rapid-low" in found) for found in codes] == [(True, True), (False, True)]


def test_a_map_of_another_slab_is_refused():
    planned = job()
    map_of = functools.partial(pg.HeightMap, pixel=1.0)
    for wrong, said in (
        (map_of(np.zeros((10, 10))), "same stock"),
        (map_of(np.zeros((60, 90)), origin=(20, 0)), "same stock"),
        (np.zeros((60, 90)), "give the .height"),
    ):
        with pytest.raises(pg.ArgumentError, match=said):
            planned.prove(stock_after=wrong)
    with pytest.raises(pg.ArgumentError, match=r"grid=0\.5 differs"):
        planned.prove(stock_after=map_of(np.zeros((60, 90))), grid=0.5)


def test_a_restart_on_a_stock_that_was_cut_before_keeps_that():
    one = pg.Job("one", BOARD, machine(), [pg.pocket(box(12, 10, 30, 28), MILL, depth=2, stock=BOARD)])
    after = one.prove(grid=1.0).height
    again = pg.restart(job(), 0, at=(1, 2), stock_after=after)
    whole = job().prove(stock_after=after)
    same_part(again, whole)
    assert whole.height.array.sum() < job().prove(grid=1.0).height.array.sum()
