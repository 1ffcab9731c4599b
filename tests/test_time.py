"""Machine time against elementary mechanics, a naive loop, and arcs against their flattenings.

The trapezoid and triangle of speed are elementary mechanics; v = sqrt(a R) is centripetal acceleration; the corner
tolerance formula is derived from the right triangle of corner, center and tangent point, no source.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.model.machine import Machine
from pathgen.model.motion import ARC, LINE, Motion, Moves
from pathgen.motion.edges import edges_of, joint_limits
from pathgen.motion.lookahead import corner_radii, look_ahead, seconds
from pathgen.motion.read import read_program
from pathgen.motion.time import clock, time, total

TABLE = Path(__file__).parents[1] / "shared" / "reference" / "machine_time.csv"


def table(kind, *columns):
    """Rows of one kind from the shared check table, which names their source."""
    with open(TABLE, encoding="utf-8", newline="") as lines:
        rows = [r for r in csv.DictReader(r for r in lines if not r.startswith("#")) if r["kind"] == kind]
    assert len(rows) >= 4
    return [tuple(float(r[c]) for c in columns) for r in rows]


def rest_to_rest():
    rows = table("move", "length", "top", "acceleration", "before", "after", "seconds")
    return [(length, top, a, s) for length, top, a, before, after, s in rows if before == after == 0]


def machine(accel=500, feed=60_000, **more):
    return Machine(travel=(1000, 1000, 100), max_feed=feed, acceleration=accel, max_rpm=24000, **more)


def program(*rows):
    return read_program("\n".join(["G21 G90 G17 F600", "G0 X0 Y0 Z0", *rows, "M2"]))


@pytest.mark.parametrize(("length", "speed", "accel", "expected"), rest_to_rest())
def test_a_move_from_rest_to_rest_is_a_trapezoid_or_a_triangle(length, speed, accel, expected):
    spent = time(program(f"G1 X{length} F{speed * 60}"), machine(accel))
    assert spent.total == spent.feed == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("length", "top", "accel", "before", "after", "expected"),
    table("move", "length", "top", "acceleration", "before", "after", "seconds"),
)
def test_a_move_between_speeds_keeps_its_closed_form(length, top, accel, before, after, expected):
    """Highest speed squared (2 a L + v0^2 + v1^2) / 2."""
    one = np.ones(1)
    spent = seconds(length * one, before**2 * one, after**2 * one, top**2 * one, accel * one)
    assert spent[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("radius", "speed"), table("arc", "radius", "speed"))
def test_an_arc_runs_no_faster_than_its_centripetal_acceleration_allows(radius, speed):
    motion = program(f"G3 X0 Y0 I{radius} F60000")
    edges, _ = edges_of(motion.moves, machine(500))
    assert math.sqrt(edges.top[-1]) == pytest.approx(speed, abs=1e-6)
    length = 2 * math.pi * radius
    assert time(motion, machine(500)).total == pytest.approx(length / speed + speed / 500, abs=1e-6)


def corner_speed(theta, legs=1000.0, tolerance=0.01, accel=500.0):
    turn = math.radians(180 - theta)
    half = np.array([turn / 2])
    by_tolerance, by_legs = corner_radii(np.sin(half), np.cos(half), np.array([legs / 2]), tolerance)
    return math.sqrt(accel * min(by_tolerance[0], by_legs[0]))


@pytest.mark.parametrize(("theta", "speed"), table("corner", "angle", "speed"))
def test_the_corner_speed_follows_from_angle_and_tolerance(theta, speed):
    assert corner_speed(theta) == pytest.approx(speed, abs=5e-5)


def test_a_sixty_degree_corner_has_the_tolerance_as_its_radius():
    turn = np.radians([120.0])
    assert corner_radii(np.sin(turn / 2), np.cos(turn / 2), np.array([9.0]), 0.01)[0][0] == pytest.approx(0.01)


def test_a_corner_between_moves_is_taken_at_its_speed():
    """Two legs of 100 mm, 90 degrees: each from rest to the corner speed, the axes sharing the change of direction."""
    motion = program("G1 X100 F3000", "Y100")
    # The change of direction points 45 degrees between the axes, so that both help: 500 sqrt 2.
    radius = 0.01 * math.sin(math.pi / 4) / (1 - math.sin(math.pi / 4))
    corner = math.sqrt(500 * math.sqrt(2) * radius)
    edges, _ = edges_of(motion.moves, machine(500))
    limits, _, _ = joint_limits(edges, np.array([0, 2]), machine(500))
    assert math.sqrt(limits[1]) == pytest.approx(corner)
    top = 50.0
    leg = (top - corner) / 500 + top / 500 + (100 - (2 * top**2 - corner**2) / 1000) / top
    assert time(motion, machine(500)).total == pytest.approx(2 * leg, abs=1e-9)


def test_each_axis_has_its_own_limits():
    slow_z = Machine(
        travel=(9, 9, 9), max_feed=(6000, 6000, 600), acceleration=(500, 500, 100), max_rpm=1, rapid=(9000, 9000, 1200)
    )
    down = time(program("G1 Z-10 F6000"), slow_z)
    assert down.feed == pytest.approx(10 / 10 + 10 / 100)
    rapid = time(program("G0 Z40"), slow_z)
    assert rapid.rapid == pytest.approx(40 / 20 + 20 / 100)
    # At 45 degrees between X and Y both axes give their acceleration; along X and Z the slower share rules.
    slant = time(program("G1 X100 Y100 F3000"), slow_z)
    accel = 500 * math.sqrt(2)
    assert slant.feed == pytest.approx(100 * math.sqrt(2) / 50 + 50 / accel)


def naive(lengths, accel, limits):
    """Look ahead move by move: back from the end, then forward from the start."""
    v = list(limits)
    for i in range(len(lengths) - 1, -1, -1):
        v[i] = min(v[i], v[i + 1] + 2 * accel[i] * lengths[i])
    for i in range(len(lengths)):
        v[i + 1] = min(v[i + 1], v[i] + 2 * accel[i] * lengths[i])
    return np.array(v)


def test_look_ahead_equals_a_naive_loop_on_300_programs():
    """With an acceleration of its own for every edge."""
    rng = np.random.default_rng(7)
    for _ in range(300):
        n = int(rng.integers(1, 400))
        lengths = rng.exponential(rng.choice([0.05, 1, 20]), n) + 1e-6
        accel = rng.uniform(50, 2000, n)
        limits = rng.uniform(0, 2500, n + 1) * (rng.random(n + 1) > 0.1)
        got = look_ahead(lengths, accel, limits)
        assert got == pytest.approx(naive(lengths, accel, limits), rel=1e-9, abs=1e-6)
        assert (got <= limits).all()


def moves(start, end, kind=LINE, center=None, sweep=0.0, feed=6000.0):
    n = len(start)
    return Motion(
        moves=Moves(
            start=start,
            end=end,
            kind=np.full(n, kind, dtype=np.int8),
            center=np.full((n, 3), np.nan) if center is None else center,
            sweep=np.full(n, sweep),
            plane=np.full(n, 17, dtype=np.int8),
            feed=np.full(n, feed),
            rpm=np.zeros(n),
            tool=np.zeros(n, dtype=np.int64),
            line=np.arange(n) + 1,
            machine=np.zeros(n, dtype=np.bool_),
        )
    )


@pytest.mark.parametrize("accel", [500, (500, 300, 250)])
@pytest.mark.parametrize("sagitta", [0.003, 0.001, 0.0001, 0.00001])
@pytest.mark.parametrize("radius", [0.1, 1, 10, 50])
def test_a_flattened_circle_takes_the_time_of_the_arc(radius, sagitta, accel):
    """Within 3 %, wherever it starts and whatever the feed."""
    n = math.ceil(math.pi / math.acos(1 - sagitta / radius))
    for begin in (0.0, 0.4, math.pi / 4, 2.0):
        angle = begin + np.linspace(0, 2 * np.pi, n + 1)
        points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle])
        for feed in (600.0, 2000.0, 20000.0):
            flat = time(moves(points[:-1], points[1:], feed=feed), machine(accel)).total
            arc = moves(points[:1], points[:1], ARC, np.zeros((1, 3)), 2 * np.pi, feed)
            assert flat == pytest.approx(time(arc, machine(accel)).total, rel=0.03)


def test_an_uneven_flattening_never_looks_faster_than_the_arc():
    """Chords of random length: the shorter leg rules each corner, so that they look slower, but not by much."""
    rng = np.random.default_rng(2)
    for radius in (0.5, 3, 20):
        largest = 2 * math.acos(1 - 0.003 / radius)
        steps = rng.uniform(0.5, 1, math.ceil(4 * math.pi / largest) + 2) * largest
        angle = np.concatenate([[0], np.cumsum(steps)])
        angle = np.append(angle[angle < 2 * np.pi - 0.5 * largest], 2 * np.pi)
        points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle])
        flat = time(moves(points[:-1], points[1:]), machine(500)).total
        arc = time(moves(points[:1], points[:1], ARC, np.zeros((1, 3)), 2 * np.pi), machine(500)).total
        assert 0.97 * arc < flat < 1.10 * arc


def test_a_line_cut_into_pieces_takes_the_time_of_the_line():
    whole = time(program("G1 X60 Y45 F3000"), machine((500, 400, 250))).total
    rows = [f"X{60 * k / 97:.9f} Y{45 * k / 97:.9f}" for k in range(1, 97)]
    assert time(program("F3000", "G1 X0", *rows, "X60 Y45"), machine((500, 400, 250))).total == pytest.approx(
        whole, rel=1e-4
    )


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.floats(-50, 50, allow_subnormal=False).map(lambda v: round(v, 3))] * 3), min_size=1, max_size=30
    ),
    st.floats(100, 20000),
)
def test_no_limit_of_the_machine_is_exceeded(points, feed):
    """Mean speed never above feed or axis limit; the same path backwards takes the same time."""
    m = machine((500, 300, 200), (6000, 5000, 1000))
    path = np.vstack([[0, 0, 0], points]).astype(float)
    there = moves(path[:-1], path[1:], feed=feed)
    back = moves(path[:0:-1], path[-2::-1], feed=feed)
    spent = time(there, m)
    length = np.linalg.norm(np.diff(path, axis=0), axis=1)
    reach = np.abs(np.diff(path, axis=0)) / (np.array([6000, 5000, 1000]) / 60)
    assert (spent.moves >= length / (feed / 60) - 1e-9).all()
    assert (spent.moves >= reach.max(axis=1) - 1e-9).all()
    assert spent.total == pytest.approx(time(back, m).total, rel=1e-6, abs=1e-6)
    assert spent.total == pytest.approx(spent.moves.sum(), rel=1e-9)


JOB = """G21 G90 G17
G0 Z10
T1 M6 S18000 M3
G4 P4
(CUT 1 Fern letters)
G0 X10 Y10
Z1
G1 Z-2 F300
(PASS 1.1 groove)
X60 F1800
G0 Z10
M5
(CUT 2 Outline)
T2 M6
S12000 M3
G0 X0 Y0
Z1
G1 Z-3 F300
G2 X0 Y0 I30 F900
G0 Z10
G4 P1.5
M0
G53 G0 Z0
M2"""


def test_a_job_is_told_apart_by_cut_and_by_tool():
    spent = time(read_program(JOB), machine(500, 3000, change_time=40, spin_up=3))
    assert list(spent.by_cut) == ["Fern letters", "Outline"]
    assert list(spent.by_tool) == [1, 2]
    assert spent.dwell == 5.5
    assert spent.change == 80
    # The first start is waited for by G4 P4, the second by nothing.
    assert spent.spin == 3
    assert spent.total == pytest.approx(spent.feed + spent.rapid + 5.5 + 80 + 3)
    assert spent.by_cut["Outline"] == pytest.approx(spent.by_tool[2])
    assert spent.by_tool[1] == pytest.approx(spent.by_cut["Fern letters"] + 4)
    assert sum(spent.by_tool.values()) == pytest.approx(spent.feed + spent.rapid + spent.dwell)
    assert spent.stops == (22,)
    assert spent.uncounted == (2, 6, 23)
    assert "1 stop not counted" in str(spent)
    assert str(spent).startswith("1 min 47 s (cutting 16 s, rapids 2.5 s, dwells 5.5 s, tool changes 1 min 20 s,")


def test_a_dwell_that_waits_for_the_spindle_is_not_counted_twice():
    start = ["S1000 M3", "G4 P2", "G1 X10"]
    assert time(program(*start), machine(spin_up=3)).spin == pytest.approx(1)
    assert time(program(*start), machine(spin_up=2)).spin == 0
    assert time(program(*start), machine(spin_up=3, spindle="hand")).spin == 0
    assert time(program("S1000 M3", "G1 X10", "G4 P9"), machine(spin_up=3)).spin == 3


def test_the_machine_stands_still_at_dwells_and_in_exact_stop_mode():
    straight = time(program("G1 X50 F3000", "X100"), machine()).feed
    dwelt = time(program("G1 X50 F3000", "G4 P0", "X100"), machine()).feed
    stopped = time(program("G61.1 G1 X50 F3000", "X100"), machine()).feed
    exact = time(program("G61 G1 X50 F3000", "X100"), machine()).feed
    assert straight == exact == pytest.approx(2.1)
    assert dwelt == stopped == pytest.approx(2.2)


def test_moves_of_no_length_change_nothing():
    plain = time(program("G1 X50 F3000", "Y50"), machine()).total
    assert time(program("G1 X50 F3000", "X50", "Y50", "G1 Y50"), machine()).total == pytest.approx(plain)
    assert time(read_program(""), machine()).total == 0
    assert time(read_program("G21 G0 X5\nM2"), machine()).total == 0


def test_inverse_time_moves_take_at_least_their_minutes():
    spent = time(program("G93 G1 X100 F2"), machine())
    assert spent.feed == pytest.approx(30 + (100 / 30) / 500, rel=1e-9)


def test_programs_one_after_the_other_add_up():
    """A change by hand counts where a program without M6 begins with another tool than was used last."""
    a, b = (time(program(f"T{k}", "G1 X100 F3000"), machine()) for k in (1, 2))
    job = time(read_program(JOB), machine())
    whole = total([a, a, b, job, b, a], change_time=30)
    assert whole.change == job.change + 2 * 30
    assert whole.total == pytest.approx(3 * a.total + 2 * b.total + job.total + 60)
    assert whole.by_cut == job.by_cut
    assert whole.by_tool[1] == pytest.approx(3 * a.by_tool[1] + job.by_tool[1])
    assert len(whole.moves) == 5 * len(a.moves) + len(job.moves)
    assert total([], change_time=30).total == 0


def test_a_result_cannot_be_changed():
    spent = time(program("G1 X100 F3000"), machine())
    with pytest.raises((AttributeError, TypeError)):
        spent.total = 1
    with pytest.raises(ValueError, match="read-only"):
        spent.moves[0] = 1
    with pytest.raises(TypeError):
        spent.by_cut["a"] = 1


def test_times_are_told_in_words():
    assert [clock(v) for v in (0, 9.96, 59.6, 60, 3599, 3600)] == [
        "0.0 s",
        "10.0 s",
        "1 min 0 s",
        "1 min 0 s",
        "59 min 59 s",
        "1 h 0 min 0 s",
    ]


def test_tools_changed_by_hand_within_a_program_take_their_time():
    spent = time(program("T3", "G1 X10", "G4 P2", "T4", "M0", "G1 X20", "T4", "X30"), machine(change_time=40))
    assert spent.change == 40
    assert list(spent.by_tool) == [3, 4]
    assert spent.by_tool[3] + spent.by_tool[4] == pytest.approx(spent.feed + 2)


def test_a_helix_is_limited_by_its_plane_and_by_its_rise():
    """Half a turn of radius 5 that rises by 20 mm: the plane's axes see the flat share of speed and acceleration."""
    around, rise = 5 * math.pi, 20.0
    length = math.hypot(around, rise)
    flat, steep = around / length, rise / length
    for accel, along in (((500, 500, 5000), 500 / flat), ((5000, 5000, 100), 100 / steep)):
        spent = time(program("G3 X10 I5 Z20 F600"), machine(accel)).feed
        assert spent == pytest.approx(length / 10 + 10 / along, rel=1e-9)
    # Fast enough, the turn rules: (v flat)^2 / R <= a.
    edges, _ = edges_of(program("G3 X10 I5 Z20 F60000").moves, machine((500, 500, 5000)))
    assert math.sqrt(edges.top[0]) == pytest.approx(math.sqrt(500 * 5) / flat)


def test_a_stop_rounds_nothing():
    """Legs of 2 mm turning by 30 degrees: a stop, then a corner whose rounding takes its share of the leg before it."""
    at = np.cumsum([[2 * math.cos(math.radians(a)), 2 * math.sin(math.radians(a)), 0] for a in (0, 30, 60)], axis=0)
    path = np.vstack([[0, 0, 0], at])
    edges, _ = edges_of(moves(path[:-1], path[1:], feed=60000.0).moves, machine(500))
    limits, top, accel = joint_limits(edges, np.array([0, 1, 3]), machine(500))
    half = math.radians(15)
    # The corner turns from 30 to 60 degrees: the change of direction points to 135 degrees, both axes help.
    radius = 0.01 * math.cos(half) / (1 - math.cos(half))
    assert limits[2] == pytest.approx(500 * math.sqrt(2) * radius)
    assert accel[1] == pytest.approx(500 / math.cos(math.radians(30)))
    assert top[1] == pytest.approx(limits[2] / 2 + accel[1] * (2 - limits[2] / 500 * math.tan(half)))
