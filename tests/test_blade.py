"""The trailing tip, followed through a program: closed forms, and programs that are wrong in one thing each.

Closed forms: link d, pivot moved by s, psi from the link to the pivot's way. Constant-tangent property and equations of
the tractrix: S. R. Dunbar, R. J. C. Bosman, S. E. M. Nooij, "The Track of a Bicycle Back Tire", Mathematics Magazine 74
(2001). The values here were computed from the formulas named at each test.
"""

import dataclasses
import math
import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString

import pathgen as pg
from pathgen.motion.read import read_program
from pathgen.proof.blade import WORST, _lag_after, advanced, headings, legs_of, trace_of, traces
from pathgen.proof.blade_line import OFF
from pathgen.proof.setting import Setting
from pathgen.proof.strokes import strokes_of, track_of

CARD = pg.Stock(120, 90, 0.5, material="card", thickness_range=(0.48, 0.52))
TABLE = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
SPEEDS = pg.Cutting(0, 1500, 300)
BLADE = pg.TrailingKnife(trail=1.0, edge_angle=45, cutting=SPEEDS)


def setting(body, *, trail=1.0):
    """A program's moves as the proof sees them; `body` begins at X0 Y0 above the card."""
    text = f"(Tool T1)\nG21 G17 G90 G94\nM5\nM0\nG0 Z5\nG0 X0 Y0\n{body}\nG0 Z5\nM2\n"
    tools = {1: pg.TrailingKnife(trail=trail, edge_angle=45)}
    motion = read_program(text)
    track = track_of([motion], tools, CARD)
    return Setting(texts=[text], motions=[motion], track=track, strokes=strokes_of(track), tools=tools, stock=CARD)


def followed(body, *, trail=1.0, guess=0.0):
    """Legs and trace of a program, from a blade that points `guess` radians left of its first move."""
    legs = legs_of(setting(body, trail=trail))
    begin, end = headings(legs, guess)
    return legs, trace_of(legs, begin, end, np.flatnonzero(legs.grips))


# -- closed forms ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("way", "psi", "offset", "x_tip", "path"),
    [
        (0.5, 62.476192, 0.886819, 0.037883, 0.120115),
        (1.0, 40.395063, 0.648054, 0.238406, 0.433781),
        (2.0, 15.414627, 0.265802, 1.035972, 1.325003),
        (3.0, 5.700471, 0.099328, 2.004945, 2.309329),
        (5.0, 0.772100, 0.013475, 4.000091, 4.306898),
    ],
)
@pytest.mark.parametrize("trail", [0.25, 1.0, 3.0])
def test_a_straight_pull_from_90_degrees_is_the_tractrix(trail, way, psi, offset, x_tip, path):
    """tan(psi / 2) = e^(-s / d); offset d sech(s / d); x = s - d tanh(s / d); length of the tip's way d ln cosh(s / d).

    The table is rounded to 1e-6, hence 5e-7 of a trail; the formulas besides to 1e-9.
    """
    found = float(advanced(math.pi / 2, way * trail, trail=trail))
    assert math.degrees(found) == pytest.approx(psi, abs=6e-7)
    assert found == pytest.approx(2 * math.atan(math.exp(-way)), abs=1e-12)
    _, trace = followed(f"G1 Z-0.3 F200\nX{way * trail}", trail=trail, guess=math.pi / 2)
    x, y, _ = trace.tip[-1] / trail
    assert (x, -y) == pytest.approx((x_tip, offset), abs=6e-7)
    assert (x, -y) == pytest.approx((way - math.tanh(way), 1 / math.cosh(way)), abs=1e-9)
    s = np.linspace(0, way, 4001)
    speed = np.cos(advanced(math.pi / 2, s * trail, trail=trail))
    simpson = (s[1] - s[0]) / 3 * (speed[0] + speed[-1] + 4 * speed[1:-1:2].sum() + 2 * speed[2:-1:2].sum())
    assert simpson == pytest.approx(path, abs=6e-7)
    assert simpson == pytest.approx(math.log(math.cosh(way)), abs=1e-9)


@pytest.mark.parametrize(
    ("start", "end", "trails"), [(90, 1, 4.741349), (90, 0.1, 7.043959), (45, 1, 3.859975), (170, 1, 7.177595)]
)
def test_straight_runs_to_align(start, end, trails):
    """s = d ln(tan(psi0 / 2) / tan(psi / 2))."""
    exact = math.log(math.tan(math.radians(start / 2)) / math.tan(math.radians(end / 2)))
    assert exact == pytest.approx(trails, abs=1e-6)
    for d in (0.25, 3.0):
        left = math.degrees(float(advanced(math.radians(start), exact * d, trail=d)))
        assert left == pytest.approx(end, abs=1e-6)


def test_a_blade_exactly_backwards_never_turns():
    """Only rounding turns it: by e^20 times 1e-16 over twenty trails."""
    assert abs(float(advanced(math.pi, 5.0, trail=0.25))) == pytest.approx(math.pi, abs=1e-6)


@pytest.mark.parametrize(("big", "d", "rho"), [(5, 3, 4), (10, 6, 8), (10, 0.25, 9.9968745), (2, 0.25, 1.9843135)])
@pytest.mark.parametrize("side", [1, -1])
def test_on_a_steady_circle_the_tip_runs_inside(big, d, rho, side):
    """Tip radius sqrt(R^2 - d^2), and the tip behind the pivot by asin(d / R)."""
    assert math.hypot(rho, d) == pytest.approx(big, abs=1e-6)
    code = "G3" if side > 0 else "G2"
    turns = 12
    body = "G1 Z-0.3 F200\n" + "\n".join([f"{code} X0 Y0 I0 J{big * side}"] * turns)
    _, trace = followed(body, trail=d, guess=1.0)
    last = trace.tip[trace.leg == trace.leg.max()]
    radius = np.hypot(last[:, 0], last[:, 1] - big * side)
    assert radius == pytest.approx(np.full(len(last), rho), abs=1e-6)
    angle = math.atan2(last[-1, 1] - big * side, last[-1, 0])
    behind = (math.atan2(-side, 0) - angle) * side
    assert math.remainder(behind, 2 * math.pi) == pytest.approx(math.asin(d / big), abs=1e-6)


@pytest.mark.parametrize("rho", [0.3, 2.0, 25.0])
@pytest.mark.parametrize("d", [0.25, 3.0])
def test_a_pivot_at_sqrt_rho2_d2_keeps_the_tip_on_rho(rho, d):
    """From the first moment, where the link stands on the tangent; a whole turn, lines of the text rounded to 1e-9."""
    big = math.hypot(rho, d)
    # tip at (rho, 0) going up, pivot d above it; the center is at the origin of this program's X0 Y0 shifted there
    ahead = math.atan2(d, rho)
    legs, trace = followed(
        f"G1 Z-0.3 F200\nG3 X{-2 * rho:.9f} Y{-2 * d:.9f} I{-rho:.9f} J{-d:.9f}\nX0 Y0 I{rho:.9f} J{d:.9f}",
        trail=d,
        guess=-ahead,  # the pivot's way points `ahead` further left than the link
    )
    center = np.array([-rho, -d])
    radius = np.hypot(*(trace.tip[:, :2] - center).T)
    assert radius == pytest.approx(np.full(len(radius), rho), abs=1e-6)
    assert len(legs) >= 3
    assert big > rho


@pytest.mark.parametrize("turn", [5, 45, 90, 144, 180])
@pytest.mark.parametrize("d", [0.25, 1.0, 3.0])
def test_a_pivot_on_an_arc_of_radius_d_leaves_the_tip_where_it_is(turn, d):
    """At a corner with turn phi the pivot runs an arc of radius d and angle phi about the tip."""
    phi = math.radians(turn)
    end = d * (math.cos(phi) - 1), d * math.sin(phi)
    _, trace = followed(f"G1 Z-0.3 F200\nG3 X{end[0]:.9f} Y{end[1]:.9f} I{-d:.9f} J0", trail=d, guess=-math.pi / 2)
    assert trace.tip[:, :2] == pytest.approx(np.tile([-d, 0.0], (len(trace), 1)), abs=1e-6)
    assert trace.swivel.sum() >= 2
    assert trace.heading[-1] == pytest.approx(phi, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(
    st.floats(-3.1, 3.1),
    st.floats(0.2, 4.0),
    st.sampled_from([0.0, 0.05, 0.3, 0.9, 1.0, 1.0000001, 1.4, 8.0]),
    st.floats(0.01, 12.0),
    st.sampled_from([1, -1]),
)
def test_the_closed_form_is_what_small_steps_arrive_at(psi, d, ratio, way, side):
    """psi' = -sin(psi) / d - kappa, by the classical Runge-Kutta steps of fourth order; ratio = d / radius."""
    kappa = side * ratio / d
    n = 4000
    h, p = way / n, psi

    def slope(v):
        return -math.sin(v) / d - kappa

    for _ in range(n):
        k1 = slope(p)
        k2 = slope(p + 0.5 * h * k1)
        k3 = slope(p + 0.5 * h * k2)
        k4 = slope(p + h * k3)
        p += h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    found = float(advanced(psi, way, trail=d, curvature=kappa))
    # where the start lies near the unstable end both grow their own rounding
    assert abs(math.remainder(found - p, 2 * math.pi)) < 1e-6
    assert math.remainder(_lag_after(psi, way, d, kappa) - found, 2 * math.pi) == pytest.approx(0, abs=1e-12)


@settings(deadline=None, max_examples=60)
@given(st.floats(-3.1, 3.1), st.floats(0.1, 5.0), st.floats(-3.0, 3.0), st.floats(0.0, 40.0), st.floats(0.0, 1.0))
def test_two_stretches_are_one(psi, d, kappa, way, share):
    whole = float(advanced(psi, way, trail=d, curvature=kappa))
    half = float(advanced(psi, share * way, trail=d, curvature=kappa))
    rest = float(advanced(half, (1 - share) * way, trail=d, curvature=kappa))
    assert abs(math.remainder(rest - whole, 2 * math.pi)) < 1e-6


def test_a_long_pull_does_not_overflow():
    assert float(advanced(3.0, 1e6, trail=0.1)) == pytest.approx(0.0, abs=1e-12)


def pulled(legs):
    """The legs along which the blade is pulled."""
    return np.flatnonzero(legs.grips & (legs.length > 0))


# -- lifting, stops, guesses --------------------------------------------------------------------------------------


def test_a_lifted_blade_keeps_its_direction_and_one_that_barely_touches_counts_as_lifted():
    for z in ("1", "0", "-0.03"):
        legs = legs_of(setting(f"G1 Z-0.3 F200\nX10\nZ{z}\nX10 Y20\nZ-0.3\nX10 Y20.001"))
        begin, _ = headings(legs, 0.0)
        assert begin[pulled(legs)[-1]] == pytest.approx(0.0, abs=1e-9), z
    legs = legs_of(setting("G1 Z-0.3 F200\nX10\nZ-0.05\nX10 Y20"))
    assert headings(legs, 0.0)[1][-1] == pytest.approx(math.pi / 2, abs=1e-6)


def test_a_slope_turns_the_blade_only_where_it_grips():
    legs = legs_of(setting("G1 Z0 F200\nX10 Z-0.4\nX20"))
    assert legs.length[pulled(legs)].tolist() == pytest.approx([9.0, 10.0])
    assert legs.start[pulled(legs)][0] == pytest.approx([1.0, 0.0, -0.04])


def test_nobody_knows_the_direction_at_the_start_nor_after_a_stop():
    """The two first guesses lie 340 degrees, that is 20 degrees backwards, apart until the blade has been pulled."""
    s = setting("G1 Z-0.3 F200\nX10\nG0 Z5\nM0\nG0 Z5\nG1 Z-0.3\nX20")
    legs, both, apart = traces(s)
    first = pulled(legs)
    assert np.degrees(apart[first]) == pytest.approx([20.0, 20.0], abs=1e-9)
    assert (legs.fresh & (legs.move > 0)).sum() == 1
    begin, _ = headings(legs, WORST)
    assert begin[first] == pytest.approx([WORST, WORST])
    assert set(both[1].leg.tolist()) <= set(both[0].leg.tolist())


def test_a_program_without_a_knife_has_no_legs():
    s = setting("G1 Z-0.3 F200\nX10")
    object.__setattr__(s, "tools", {1: pg.EndMill(6)})
    assert len(legs_of(s)) == 0


# -- wrong programs ----------------------------------------------------------------------------------------------


def job(shape=None, blade=BLADE, **more):
    shape = shapely.box(40, 30, 80, 60) if shape is None else shape
    return pg.Job("card", CARD, TABLE, pg.knife(shape, blade, depth=pg.THROUGH, stock=CARD, **more))


def errors(proof):
    return {f.code for f in proof.errors}


def texts_of(one):
    return [p.text for p in one.programs()]


def proof_of(one, change):
    texts = [change(t) for t in texts_of(one)]
    assert texts != texts_of(one), "the change changed nothing"
    return one.prove(texts=texts, grid=0.5)


@pytest.fixture(scope="module")
def square():
    return job()


def test_the_job_itself_is_right_and_the_proof_says_by_how_much(square):
    proof = square.prove(grid=0.5)
    assert proof.ok is True
    (blade,) = proof.blades
    assert blade.name == "knife"
    assert 0 < blade.off < 0.005
    assert 0 <= blade.off_swivel < 0.005
    assert blade.left < 0.005
    assert blade.unsure < 1.0
    assert len(blade.corners) == 4
    assert max(c[2] for c in blade.corners) < 0.01
    assert blade.overcuts[0][2] == pytest.approx(1.0 + 0.67, abs=0.005)
    assert "knife: tip 0.00" in str(proof)


def test_another_trail_than_planned_is_off_the_line(square):
    """With a trail 0.1 longer the tip comes down that much off the start, and is led off further in the swivels."""
    other = job(blade=pg.TrailingKnife(trail=1.1, edge_angle=45, cutting=SPEEDS))
    proof = square.prove(texts=texts_of(other), grid=0.5)
    found = [f for f in proof.errors if f.code == "blade-off-line"]
    assert found
    assert 0.1 < max(f.amount for f in found) < 0.2
    assert found[0].where is not None
    assert found[0].line is not None


def test_a_pivot_moved_along_the_line_itself_cuts_the_corners(square):
    """A program for a point, run with a trailing blade: at each corner the tip is a trail short."""
    ring = "G1 X80 Y30\nY60\nX40\nY30\nX45\n"

    def change(text):
        head, tail = text.split("(PASS 1.2", 1)
        body = "(PASS 1.2 by hand)\nG0 X41 Y30\nG0 Z1.5\nG1 Z-0.67 F300\nF1500\n" + ring
        return head + body + tail[tail.rindex("G0 Z") :]

    proof = proof_of(square, change)
    assert {"blade-off-line", "line-left"} <= errors(proof)
    (blade,) = proof.blades
    # pulled round a right angle the tip keeps (1 - sin psi) away: nearest 0.4 mm at 45 degrees; both ways see it
    assert blade.off > 0.2
    assert blade.left > 0.2


def test_without_a_first_stroke_nobody_knows_where_the_blade_points(square):
    def change(text):
        return re.sub(r"\(PASS 1\.1.*?(?=\(PASS 1\.2)", "G0 Z5\n", text, flags=re.S)

    found = [f for f in proof_of(square, change).errors if f.code == "blade-not-aligned"]
    assert found
    assert found[0].amount > 5


def test_a_short_first_stroke_is_told(square):
    """Five trails bring 170 degrees down to 8.8: more than the one degree that is let pass."""

    def change(text):
        lines = text.split("\n")
        k = next(n for n, line in enumerate(lines) if line.startswith("(PASS 1.1"))
        end = next(n for n in range(k, len(lines)) if lines[n].startswith("G0 Z") and n > k + 3)
        x = [float(m) for m in re.findall(r"X(-?[\d.]+)", "\n".join(lines[k:end]))]
        y = [float(m) for m in re.findall(r"Y(-?[\d.]+)", "\n".join(lines[k:end]))]
        at = next(n for n in range(end - 1, k, -1) if re.search("[XY]", lines[n]))
        start = np.array([x[0], y[0]])
        stop = np.array([x[-1], y[-1]])
        short = start + 5.0 * (stop - start) / np.hypot(*(stop - start))
        lines[at] = f"X{short[0]:.3f} Y{short[1]:.3f} F1500"
        return "\n".join(lines)

    found = [f for f in proof_of(square, change).errors if f.code == "blade-not-aligned"]
    assert [f.amount for f in found] == pytest.approx([8.8], abs=0.3)


def test_a_swivel_in_the_air_leaves_the_line(square):
    def change(text):
        return text.replace("Z-0.2", "Z0.2")

    proof = proof_of(square, change)
    assert "blade-off-line" in errors(proof)
    assert max(f.amount for f in proof.errors if f.code == "blade-off-line") > 0.5


def test_a_missing_overcut_is_told_with_its_amount():
    one = job(overcut=3.0)

    def change(text):
        lines = text.split("\n")
        last = max(n for n, line in enumerate(lines) if line.startswith(("X", "G1 X", "Y")))
        x = float(re.search(r"X(-?[\d.]+)", lines[last])[1])
        lines[last] = lines[last].replace(f"X{x:g}", f"X{x + 1.0:g}")
        return "\n".join(lines)

    (found,) = [f for f in proof_of(one, change).errors if f.code == "overcut-short"]
    assert found.amount == pytest.approx(1.0, abs=0.01)
    assert "2.00 mm past" in found.text


def test_a_pass_that_is_too_shallow_leaves_the_line(square):
    proof = proof_of(square, lambda text: text.replace("Z-0.67", "Z-0.6"))
    assert "line-left" in errors(proof)
    assert not errors(proof) & {"blade-off-line"}


@pytest.mark.parametrize("by", [0.03, -0.03])
def test_one_vertex_moved_by_more_than_the_limit_is_found(square, by):
    """Each line of the text that moves X in the card, one at a time; moved along the cut itself the tip stays on it."""
    (text,) = texts_of(square)
    lines = text.split("\n")
    begin = next(n for n, line in enumerate(lines) if line.startswith("(PASS 1.2"))
    found = 0
    rows = [n for n in range(begin + 4, len(lines) - 6) if re.search(r"X[\d.]+", lines[n]) and "Y" in lines[n]]
    for n in rows[:8]:
        x = float(re.search(r"X([\d.]+)", lines[n])[1])
        changed = [*lines[:n], lines[n].replace(f"X{x:g}", f"X{x + by:.3f}"), *lines[n + 1 :]]
        proof = square.prove(texts=["\n".join(changed)], grid=0.5)
        found += bool(errors(proof))
    assert found == len(rows[:8]) > 2


def test_card_thicker_than_the_blade_is_deep_is_told():
    thick = pg.Stock(120, 90, 0.5, material="card", thickness_range=(0.4, 0.8))
    cuts = pg.knife(shapely.box(40, 30, 80, 60), BLADE, depth=0.65, stock=thick)
    assert cuts[0].through
    proof = pg.Job("card", thick, TABLE, cuts).prove(grid=0.5)
    (found,) = [f for f in proof.errors if f.code == "not-through"]
    assert found.amount == pytest.approx(0.15)


def test_a_first_stroke_over_another_part_is_told():
    near = shapely.box(10, 10, 100, 80)
    window = shapely.box(40, 30, 60, 60)
    inner = pg.knife(window, BLADE, depth=pg.THROUGH, stock=CARD, name="window")
    outer = pg.knife(near, BLADE, depth=pg.THROUGH, stock=CARD, name="card")
    found = pg.Job("both", CARD, TABLE, [inner, outer]).prove(grid=0.5).errors
    assert {(f.code, f.cut) for f in found} == {("knife-over-part", "window")}
    strip = shapely.box(101, 5, 119, 85)
    beside = pg.knife(window, BLADE, depth=pg.THROUGH, stock=CARD, name="window", waste=strip)
    assert strip.covers(beside[0].bounds.rules[0].waste)
    assert pg.Job("both", CARD, TABLE, [beside, outer]).prove(grid=0.5).ok


def test_programs_that_name_no_cut_are_held_against_all_lines(square):
    def change(text):
        return re.sub(r"\(CUT.*\)\n", "", text)

    proof = proof_of(square, change)
    assert [b.name for b in proof.blades] == ["knife"]
    assert not errors(proof)
    strip = shapely.box(2, 2, 118, 20)
    parts = [shapely.box(x, 30, x + 20, 60) for x in (30, 60)]
    both = [pg.knife(p, BLADE, depth=pg.THROUGH, stock=CARD, waste=strip) for p in parts]
    two = pg.Job("two", CARD, TABLE, both)
    proof = proof_of(two, change)
    assert [b.name for b in proof.blades] == ["all cuts with a knife"]
    assert not errors(proof)
    assert len(two.prove(grid=0.5).blades) == 2


def test_lines_that_no_knife_touches_are_left():
    one = job(MultiLineString([[(20, 20), (60, 20)], [(20, 40), (60, 40)]]))

    def change(text):
        head = text[: text.rindex("(PASS")]
        return head + "G0 Z5\nM5\nM9\nM2\n"

    found = [f for f in proof_of(one, change).errors if f.code == "line-left"]
    assert found
    assert max(f.amount for f in found) == pytest.approx(20, abs=0.1)


def test_open_lines_owe_no_overcut_and_are_cut_to_their_ends():
    one = job(LineString([(20, 20), (60, 20), (70, 50)]))
    (blade,) = one.prove(grid=0.5).blades
    assert blade.overcuts == ()
    assert blade.left < OFF


def test_the_outlines_that_were_cut_are_held_against_the_artwork():
    """Film that is read from behind must be cut mirrored, card never; a letter left out is seen too."""
    word = pg.place(pg.text("Rye", height=25), CARD)
    cuts = pg.knife(word, BLADE, depth=pg.THROUGH, stock=CARD)
    mirrored = pg.mirror(word, across=60)
    right = pg.Job("Rye", CARD, TABLE, cuts, artwork=word).prove(grid=0.2)
    assert right.ok
    assert not right.warnings
    wrong = pg.Job("Rye", CARD, TABLE, cuts, artwork=mirrored).prove(grid=0.2)
    assert "mirrored-wrong" in errors(wrong)
    behind = pg.Job(
        "Rye", CARD, TABLE, pg.knife(mirrored, BLADE, depth=pg.THROUGH, stock=CARD), artwork=word, face="back"
    )
    assert behind.prove(grid=0.2).ok


def test_pictures_show_the_lines_and_the_piece(square):
    """A card whose lines were not drawn in would look blank; the finished piece is what the lines enclose."""
    import io

    from PIL import Image

    def picture(**more):
        return np.asarray(Image.open(io.BytesIO(pg.part_picture(square, width=400, **more))).convert("L"), dtype=float)

    whole, piece = picture(), picture(finished=True, margin=0.0)
    blank = pg.Job("blank", CARD, TABLE, pg.knife(LineString([(1, 1), (1.2, 1)]), BLADE, depth=0.1, stock=CARD))
    empty = np.asarray(Image.open(io.BytesIO(pg.part_picture(blank, width=400))).convert("L"), dtype=float)
    assert np.abs(whole[:280] - empty[:280]).max() > 40
    assert piece.shape[1] / piece.shape[0] == pytest.approx(40 / 30, rel=0.03)


@pytest.mark.parametrize(("rho", "trail"), [(5.0, 1.0), (20.0, 3.0)])
def test_a_planner_that_forgets_the_lead_on_curves_is_found_out(rho, trail):
    """A pivot on the circle itself pulls the tip onto sqrt(rho^2 - d^2)."""
    turn = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    disc = shapely.Polygon(np.array([60, 45]) + rho * np.column_stack([np.cos(turn), np.sin(turn)]))
    blade = pg.TrailingKnife(trail=trail, edge_angle=45, cutting=SPEEDS)
    (cut,) = pg.knife(disc, blade, depth=pg.THROUGH, stock=CARD)
    z = -cut.depth
    half = [[60 + rho, 45, z, 0.0], [60 - rho, 45, z, 1.0], [60 + rho, 45, z, 1.0]] * 2
    half[3] = [60 + rho, 45, z, 0.0]
    wrong = pg.Pass(path=pg.Path(half), after=frozenset({0}))
    proof = pg.Job("disc", CARD, TABLE, dataclasses.replace(cut, passes=(cut.passes[0], wrong))).prove(grid=0.5)
    assert "blade-off-line" in errors(proof)
    assert "line-left" in errors(proof)
    assert proof.blades[0].left >= rho - math.sqrt(rho**2 - trail**2) - 0.01
