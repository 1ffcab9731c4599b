"""The trailing knife: where its pivot goes, in which order, and what the proof sees its tip do."""

import dataclasses
import importlib.util
import math
import random
import sys
from pathlib import Path as FilePath

import numpy as np
import pytest
import shapely
import strategies
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import translate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon, box

import pathgen as pg
from pathgen.cuts.knife_align import stroke_length
from pathgen.cuts.knife_paths import TipPath, pivot_rows, tip_path

BENCH = FilePath(__file__).parents[1] / "benchmarks" / "dragging.py"
_spec = importlib.util.spec_from_file_location("dragging_bench", BENCH)
bench = importlib.util.module_from_spec(_spec)
sys.modules["dragging_bench"] = bench
_spec.loader.exec_module(bench)

CARD = pg.Stock(200, 150, 0.5, material="card", thickness_range=(0.48, 0.52))
TABLE = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
SPEEDS = pg.Cutting(0, 1500, 300)
TRAILS = (0.25, 1.0, 3.0)


def blade(trail=1.0, **more):
    return pg.TrailingKnife(trail=trail, edge_angle=45, cutting=SPEEDS, **more)


def lines_cut(cut):
    """The passes along lines: all but the first stroke."""
    return cut.passes[1:]


def proof_of(cuts, card=CARD, machine=TABLE):
    return pg.Job("card", card, machine, cuts).prove(grid=0.5)


def held(proof, *, off=0.02, off_swivel=0.05):
    """The tip keeps to its lines in every cut, and no error was found."""
    assert proof.ok is True, proof
    assert proof.blades
    for b in proof.blades:
        assert b.off <= off
        assert b.off_swivel <= off_swivel
        assert b.left <= off
        assert b.unsure <= 1.0
    return proof.blades[0]


# -- the pivot's way ---------------------------------------------------------------------------------------------


def test_on_a_line_the_pivot_leads_by_the_trail():
    (cut,) = pg.knife(LineString([(20, 30), (80, 30)]), blade(3.0), depth=0.5)
    path = cut.passes[1].path.points
    assert path[-2:, :3].tolist() == [[23.0, 30.0, -0.5], [83.0, 30.0, -0.5]]


@pytest.mark.parametrize("trail", TRAILS)
@pytest.mark.parametrize("rho", [0.7, 12.0])
def test_round_a_circle_the_pivot_runs_on_sqrt_rho2_trail2(trail, rho):
    """Dunbar, Bosman and Nooij, "The Track of a Bicycle Back Tire", Mathematics Magazine 74 (2001)."""
    turn = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    disc = Polygon(60 + rho * np.column_stack([np.cos(turn), np.sin(turn)]))
    (cut,) = pg.knife(disc, blade(trail), depth=0.5)
    path = cut.passes[1].path
    arc, center, radius = path.arcs()
    deep = arc & (path.points[1:, 2] == -0.5)
    assert deep.sum() >= 2
    assert radius[deep] == pytest.approx(math.hypot(rho, trail), abs=0.0055)
    assert center[deep] == pytest.approx(np.full((int(deep.sum()), 2), 60.0), abs=0.02)


def test_at_a_corner_it_lifts_swivels_on_the_trail_s_radius_and_comes_down_again():
    (cut,) = pg.knife(LineString([(20, 30), (80, 30), (80, 60)]), blade(), depth=0.5)
    p = cut.passes[1].path.points
    k = int(np.flatnonzero((p[:, 0] == 81) & (p[:, 2] == -0.2))[0])
    assert p[k : k + 4, :3].tolist() == [[81, 30, -0.2], [80, 31, -0.2], [80, 31, -0.5], [80, 61, -0.5]]
    assert p[k + 1, 3] == pytest.approx(math.tan(math.pi / 8))
    assert p[[k, k + 2, k + 3], 3].tolist() == [0, 0, 0]


def test_turns_up_to_the_corner_angle_swivel_at_full_depth():
    bend = LineString([(20, 30), (80, 30), (140, 45)])  # 14 degrees
    for angle, lifted in ((20.0, False), (10.0, True)):
        (cut,) = pg.knife(bend, blade(), depth=0.5, corner_angle=angle)
        z = cut.passes[1].path.points[2:, 2]
        assert bool((z > -0.5).any()) is lifted, angle
        held(proof_of(pg.knife(bend, blade(), depth=0.45, corner_angle=angle, stock=CARD)))


def test_a_swivel_at_full_depth_is_done_when_asked_and_warned_of_in_thick_card():
    corner = LineString([(20, 30), (80, 30), (80, 60)])
    (cut,) = pg.knife(corner, blade(), depth=0.5, swivel_depth=0.5)
    assert set(cut.passes[1].path.points[:, 2]) == {-0.5}
    assert [f.code for f in cut.notes] == ["knife-aligns"]
    (cut,) = pg.knife(corner, blade(), depth=0.7, swivel_depth=2)
    assert "knife-tears" in [f.code for f in cut.notes]
    held(proof_of(pg.knife(corner, blade(), depth=0.45, swivel_depth=1, stock=CARD)))


def test_a_reversal_is_a_half_turn():
    zigzag = LineString([(20, 30), (80, 30), (20, 30)])
    held(proof_of(pg.knife(zigzag, blade(), depth=0.45, stock=CARD)))


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.integers(-20, 20), st.integers(-20, 20)), min_size=3, max_size=12, unique=True),
    st.floats(0.0, 1.0),
    st.floats(0.01, 2.5),
)
def test_a_stretch_of_a_closed_path_is_as_long_as_asked_and_lies_on_it(points, first, share):
    tip = tip_path(np.array(points, dtype=float), closed=True)
    first *= tip.length
    piece = tip.between(first, first + share * tip.length)
    assert piece.length == pytest.approx(share * tip.length, rel=1e-9, abs=2e-6)
    whole = LineString(pg.Path(tip.rows).flattened(1e-4)[:, :2])
    assert shapely.distance(shapely.points(pg.Path(piece.rows).flattened(0.01)[:, :2]), whole).max() < 2e-4


def test_the_way_back_on_is_joined_where_the_one_before_ended():
    tip = tip_path(np.array([(0, 0), (10, 0), (10, 10), (0, 10)], dtype=float), closed=True)
    first, heading = pivot_rows(tip.between(5, 50), trail=1, z=-0.3, swivel_z=-0.2, corner=0.3, heading=1.0)
    more, _ = pivot_rows(tip.between(10, 20), trail=1, z=-0.6, swivel_z=-0.2, corner=0.3, heading=heading, above=-0.3)
    assert more[0, :3] == pytest.approx(first[-1, :3], abs=1e-9)
    assert isinstance(tip, TipPath)


# -- the first stroke, and angles carried on ---------------------------------------------------------------------


def test_tiny_trails_are_aligned_too_in_inches():
    machine = dataclasses.replace(TABLE, dialect=pg.Dialect(units="inch"))
    held(proof_of(pg.knife(box(60.1, 50.3, 90.7, 71.9), blade(0.1), depth=0.3, stock=CARD), machine=machine))


@pytest.mark.parametrize("trail", TRAILS)
def test_the_first_stroke_is_straight_in_waste_and_long_enough(trail):
    """170 degrees down to 1: 7.1776 trails (tractrix); long blades run on until the tip is 0.003 mm off at most."""
    part = pg.place(pg.plate(90, 60), CARD)
    (cut,) = pg.knife(part, blade(trail), depth=pg.THROUGH, stock=CARD)
    stroke = cut.passes[0].path
    (line,) = cut.bounds.rules
    assert len(stroke) == 2
    assert stroke.length >= 7.177 * trail
    left = 2 * math.degrees(math.atan(math.tan(math.radians(85)) * math.exp(-stroke.length / trail)))
    assert left <= 1.0
    assert trail * math.radians(left) <= 0.0031
    assert not line.waste.intersects(part)
    assert CARD.region.contains(line.waste)
    assert {f.code for f in cut.notes} == {"knife-aligns"}
    assert "in waste" in cut.notes[0].text


def test_holes_are_waste_where_there_is_no_other():
    card = pg.Stock(100, 80, 0.5, material="card", thickness_range=(0.48, 0.52))
    frame = box(1, 1, 99, 79).difference(box(20, 20, 80, 60))
    (cut,) = pg.knife(frame, blade(), depth=pg.THROUGH, stock=card)
    assert box(20, 20, 80, 60).contains(cut.bounds.rules[0].waste)
    held(proof_of([cut], card))


def test_without_waste_it_lies_beside_the_card_on_the_backing():
    card = pg.Stock(60, 40, 0.5, material="card", thickness_range=(0.48, 0.52))
    (cut,) = pg.knife(box(1, 1, 59, 39), blade(3.0), depth=pg.THROUGH, stock=card)
    assert not cut.bounds.rules[0].waste.intersects(card.region)
    assert cut.passes[0].path.points[0, 2] == -cut.depth
    proof = proof_of([cut], card)
    held(proof)
    assert "outside-stock" in [f.code for f in proof.warnings]
    assert "beside the card" in cut.notes[0].text


def test_each_line_begins_with_the_tip_on_its_start_and_the_blade_as_the_last_one_left_it():
    """The pivot comes down one trail from the start, in the direction in which the pass before it ended."""
    lines = MultiLineString([[(20, 20), (60, 20)], [(20, 50), (20, 90)], [(90, 90), (60, 60)]])
    (cut,) = pg.knife(lines, blade(2.0), depth=0.5)
    for before, after in zip(cut.passes, cut.passes[1:], strict=False):
        step = before.path.points[-1, :2] - before.path.points[-2, :2]
        way = step / np.hypot(*step)
        tip = after.path.points[0, :2] - 2.0 * way
        ends = np.array([c for line in lines.geoms for c in (line.coords[0], line.coords[-1])])
        assert np.hypot(*(ends - tip).T).min() < 1e-9
        assert after.path.points[0, 2] == -0.2


def test_closed_outlines_are_run_in_the_direction_that_needs_the_smaller_swivel():
    """So that no first swivel is a quarter turn or more: it is made in the card."""
    squares = MultiPolygon([box(20 + 30 * k, 40, 40 + 30 * k, 60) for k in range(5)])
    (cut,) = pg.knife(translate(shapely.affinity.rotate(squares, 20), 0, 20), blade(), depth=pg.THROUGH, stock=CARD)
    for item in lines_cut(cut):
        first = pg.Path(item.path.points[:2])
        assert abs(float(np.degrees(first.sweeps[0]))) <= 90 + 1e-6
    held(proof_of([cut]))


def test_passes_are_bound_to_each_other_in_a_row():
    (cut,) = pg.knife(pg.place(pg.text("Fern", height=20), CARD), blade(0.25), depth=0.4, stock=CARD)
    assert [p.after for p in cut.passes] == [frozenset({k - 1} if k else ()) for k in range(len(cut.passes))]
    assert not any(p.reversible for p in cut.passes)


def test_the_stroke_grows_with_the_logarithm_of_long_blades():
    """170 degrees down to 0.003 / trail radians (tractrix), and never under 2 mm."""
    assert stroke_length(0.1) == 2.0
    for trail in (0.3, 3.0):
        exact = trail * math.log(math.tan(math.radians(85)) / math.tan(0.0015 / trail))
        assert stroke_length(trail) == pytest.approx(exact)
        assert exact > 7.177595 * trail


# -- overcut, order, levels ---------------------------------------------------------------------------------------


def test_closed_outlines_are_cut_past_their_start_by_trail_and_depth_over_tan():
    knife = pg.TrailingKnife(trail=0.5, edge_angle=60, cutting=SPEEDS)
    (cut,) = pg.knife(box(40, 40, 90, 80), knife, depth=pg.THROUGH, stock=CARD)
    depth = 0.52 + 0.15
    assert cut.depth == pytest.approx(depth)
    asked = 0.5 + depth / math.tan(math.radians(60))
    assert cut.bounds.rules[0].overcut == pytest.approx(asked)
    b = held(proof_of([cut]))
    assert b.overcuts[0][2] == pytest.approx(asked, abs=0.003)
    (cut,) = pg.knife(box(40, 40, 90, 80), knife, depth=pg.THROUGH, overcut=7.5, stock=CARD)
    assert held(proof_of([cut])).overcuts[0][2] == pytest.approx(7.5, abs=0.003)


def test_an_overcut_longer_than_the_outline_goes_round_again():
    tiny = box(50, 50, 50.6, 50.6)
    (cut,) = pg.knife(tiny, blade(3.0), depth=pg.THROUGH, stock=CARD)
    assert held(proof_of([cut])).overcuts[0][2] == pytest.approx(3.67, abs=0.005)


def test_inner_outlines_come_first_and_open_lines_before_all():
    island = box(40, 40, 50, 50)
    plate = box(20, 20, 90, 90).difference(box(30, 30, 60, 60))
    (cut,) = pg.knife(MultiPolygon([plate, island]), blade(), depth=pg.THROUGH, stock=CARD)
    sizes = [np.ptp(p.path.points[:, 0]) for p in lines_cut(cut)]
    assert sizes == sorted(sizes)
    held(proof_of([cut]))
    drawing = MultiLineString([list(island.exterior.coords), [(100, 20), (120, 20)], [(44, 42), (46, 48)]])
    (cut,) = pg.knife(drawing, blade(), depth=0.4)
    assert [len(set(p.path.points[:, 2])) > 2 or p.path.length > 30 for p in lines_cut(cut)] == [False, False, True]


def test_thick_card_is_cut_in_levels_line_by_line_without_a_lift():
    card = pg.Stock(200, 150, 2.0, material="card", thickness_range=(1.9, 2.1))
    knife = dataclasses.replace(blade(), cutting=pg.Cutting(0, 1500, 300, stepdown=0.8))
    shape = MultiPolygon([box(40, 40, 80, 80), box(100, 40, 130, 80)])
    (cut,) = pg.knife(shape, knife, depth=pg.THROUGH, stock=card)
    assert [p.level for p in lines_cut(cut)] == [0, 1, 2] * 2
    assert [round(float(p.path.points[-1, 2]), 6) for p in lines_cut(cut)][:3] == [-0.75, -1.5, -2.25]
    job = pg.Job("thick", card, TABLE, cut)
    held(job.prove(grid=0.5))
    (program,) = job.programs()
    body = program.text.split("(CUT 1 knife)")[1]
    assert body.count("(PASS") == 3  # the first stroke and two outlines, each from top to bottom in one
    open_ = pg.knife(LineString([(20, 20), (90, 20), (90, 60)]), knife, depth=pg.THROUGH, stock=card)
    held(proof_of(open_, card))


def test_a_job_cut_in_one_program_begins_with_m5_and_a_stop_and_lifts_between_lines():
    (cut,) = pg.knife(pg.place(pg.text("Moss", height=20, font="sans"), CARD), blade(0.25), depth=0.4, stock=CARD)
    job = pg.Job("Moss", CARD, TABLE, cut)
    (program,) = job.programs()
    head = program.text[: program.text.index("(CUT")]
    assert head.index("M5") < head.index("M0")
    assert "must never spin" in program.message
    assert not bench.wrongs(program)
    assert program.text.count("G0 Z5") >= len(cut.passes)


# -- the tip keeps to its line -----------------------------------------------------------------------------------


@pytest.mark.parametrize("trail", TRAILS)
@pytest.mark.parametrize("name", ["square", "star", "spiral", "gear"])
def test_the_tip_keeps_to_simple_shapes(name, trail):
    """From 170 degrees off; <= 0.02 mm outside the swivels and <= 0.05 in them is asked, half and a fifth is held."""
    b = held(bench.measured(bench.SHAPES[name](), trail), off=0.01, off_swivel=0.01)
    assert all(over == pytest.approx(trail + 0.67, abs=0.01) for _, _, over in b.overcuts)
    assert len(b.corners) == {"square": 4, "star": 40, "spiral": 0, "gear": 120}[name]
    assert max((c[2] for c in b.corners), default=0.0) < 2.0


@pytest.mark.slow
@pytest.mark.parametrize("trail", TRAILS)
def test_the_tip_keeps_to_two_hundred_letters(trail):
    b = held(bench.measured(bench.words_200(), trail), off=0.01, off_swivel=0.01)
    assert len(b.overcuts) > 250
    assert min(over for _, _, over in b.overcuts) > trail + 0.67 - 0.01


@pytest.mark.parametrize("trail", [0.25, 3.0])
def test_the_tip_keeps_to_letters(trail):
    held(bench.measured(pg.text("Sage & Rye", height=12, font="sans"), trail), off=0.01, off_swivel=0.01)


@pytest.mark.parametrize(
    "dialect",
    [
        {"arcs": False},
        {"units": "inch"},
        {"units": "inch", "arcs": False},
        {"center_decimals": 3},
        {"line_numbers": True, "end": "M30", "path_mode": None},
    ],
)
@pytest.mark.parametrize("trail", [0.25, 3.0])
def test_the_tip_keeps_to_its_line_in_every_dialect(dialect, trail):
    machine = dataclasses.replace(TABLE, dialect=pg.Dialect(**dialect))
    shape = pg.place(bench.star(7, 40, 18).buffer(3), CARD)
    held(proof_of(pg.knife(shape, blade(trail), depth=pg.THROUGH, stock=CARD), machine=machine))


def test_the_zero_may_lie_anywhere():
    card = dataclasses.replace(CARD, zero=(70.123, 33.3), zero_height="table")
    shape = pg.place(bench.star(5, 40, 18), card)
    held(proof_of(pg.knife(shape, blade(), depth=pg.THROUGH, stock=card), card))


def test_the_tip_keeps_to_nasty_shapes(nasty):
    x0, y0, x1, y1 = nasty.bounds
    card = pg.Stock(x1 - x0 + 40, y1 - y0 + 40, 0.5, material="card", thickness_range=(0.48, 0.52))
    machine = dataclasses.replace(TABLE, travel=(900, 900, 90))
    cuts = pg.knife(translate(nasty, 20 - x0, 20 - y0), blade(), depth=pg.THROUGH, stock=card)
    held(proof_of(cuts, card, machine), off=0.01, off_swivel=0.01)


@settings(deadline=None, max_examples=12)
@given(strategies.regions(), st.sampled_from(TRAILS))
def test_the_tip_keeps_to_random_shapes(region, trail):
    x0, y0, x1, y1 = region.bounds
    card = pg.Stock(x1 - x0 + 100, y1 - y0 + 100, 0.5, material="card", thickness_range=(0.48, 0.52))
    machine = dataclasses.replace(TABLE, travel=(900, 900, 90))
    cuts = pg.knife(translate(region, 50 - x0, 50 - y0), blade(trail), depth=pg.THROUGH, stock=card)
    held(proof_of(cuts, card, machine), off=0.01, off_swivel=0.01)


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_turned_by_quarters_the_plan_is_as_long(turn):
    shape = pg.place(pg.text("Rye", height=25), CARD)
    about = (100, 75)
    lengths = [
        sum(p.path.length for p in lines_cut(pg.knife(s, blade(), depth=0.4)[0]))
        for s in (shape.region, shapely.affinity.rotate(shape.region, turn, origin=about))
    ]
    # the order of letters, and with it the swivels between them, may differ
    assert lengths[1] == pytest.approx(lengths[0], rel=0.01)


def test_a_restarted_knife_begins_anew_and_is_proved():
    cuts = pg.knife(MultiPolygon([box(20, 20, 60, 60), box(90, 20, 130, 60)]), blade(), depth=pg.THROUGH, stock=CARD)
    job = pg.Job("card", CARD, TABLE, cuts)
    again = pg.restart(job, 0, at="PASS 1.3")
    assert [n.code for n in again.notes] == ["restart-knife"]
    assert "PASS 1.1" in again.program.text


# -- what is said and what is refused ----------------------------------------------------------------------------


def test_details_smaller_than_the_blade_in_the_card_are_named():
    """45 degrees and 0.67 mm deep: 0.67 mm of blade; the notch is 0.4 wide, the fillet has a radius of 0.3."""
    notch = box(40, 40, 80, 70).difference(box(55, 60, 55.4, 71))
    (cut,) = pg.knife(notch, blade(), depth=pg.THROUGH, stock=CARD)
    (found,) = [f for f in cut.notes if f.code == "knife-detail"]
    assert found.amount == pytest.approx(0.67)
    assert found.where[:2] == pytest.approx((55.2, 60.0), abs=0.3)
    round_ = box(40, 40, 80, 70).buffer(-0.3).buffer(0.3, quad_segs=32)
    (cut,) = pg.knife(round_, blade(), depth=pg.THROUGH, stock=CARD)
    (found,) = [f for f in cut.notes if f.code == "knife-detail"]
    assert found.text.startswith("4 details")
    (cut,) = pg.knife(box(40, 40, 80, 70), blade(), depth=pg.THROUGH, stock=CARD)
    assert not [f for f in cut.notes if f.code == "knife-detail"]


def test_in_lettering_the_letter_is_named():
    word = pg.place(pg.text("Lime", height=6, font="serif"), CARD)
    (cut,) = pg.knife(word, blade(), depth=pg.THROUGH, stock=CARD)
    (found,) = [f for f in cut.notes if f.code == "knife-detail"]
    for n, letter in enumerate("Lime", 1):
        assert f"letter {n} '{letter}'" in found.text


def test_the_depth_below_the_card_is_checked():
    assert pg.knife(box(40, 40, 80, 70), blade(), depth=pg.THROUGH, stock=CARD)[0].depth == pytest.approx(0.67)
    for depth, code in ((0.53, True), (0.62, False), (0.72, False), (0.8, True)):
        (cut,) = pg.knife(box(40, 40, 80, 70), blade(), depth=depth, stock=CARD)
        assert cut.through
        assert ("knife-backing" in [f.code for f in cut.notes]) is code, depth
    (cut,) = pg.knife(box(40, 40, 80, 70), blade(), depth=0.3, stock=CARD)
    assert not cut.through


def test_the_finished_size_is_that_of_the_outlines():
    cuts = pg.knife(pg.place(pg.plate(90, 60), CARD), blade(3.0), depth=pg.THROUGH, stock=CARD)
    assert pg.Job("card", CARD, TABLE, cuts).finished_size == pytest.approx((90, 60))
    cuts = pg.knife(pg.place(pg.plate(90, 60), CARD), blade(3.0), depth=0.2, swivel_depth=0.2, stock=CARD)
    assert pg.Job("card", CARD, TABLE, cuts).finished_size == pytest.approx((90, 60))


SQUARE = box(40, 40, 80, 70)


@pytest.mark.parametrize(
    ("words", "given_"),
    [
        ("TrailingKnife", {"blade": pg.EndMill(3)}),
        ("lifted blade does not turn", {"swivel_depth": 0.01}),
        ("swivel_depth", {"swivel_depth": 0}),
        ("corner_angle", {"corner_angle": 0}),
        ("corner_angle", {"corner_angle": 200}),
        ("hanging together", {"overcut": 0.2}),
        ("take a longer blade", {"blade": blade(max_depth=0.6)}),
        ("THROUGH needs stock", {"stock": None}),
        ("above 0", {"depth": -1, "stock": None}),
        ("must never spin", {"cutting": pg.Cutting(9000, 500, 100)}),
        ("no speeds", {"blade": pg.TrailingKnife(trail=1, edge_angle=45)}),
        ("beside|waste=", {"waste": box(0, 0, 4, 4)}),
    ],
)
def test_what_cannot_be_done_is_refused_with_a_way_out(words, given_):
    more = {"depth": pg.THROUGH, "stock": CARD, "blade": blade(), **given_}
    knife = more.pop("blade")
    with pytest.raises(pg.ArgumentError, match=words):
        pg.knife(SQUARE, knife, **more)


@pytest.mark.parametrize("shape", [MultiLineString(), Polygon(), LineString([(1, 1), (1, 1)])])
def test_shapes_without_lines_are_refused(shape):
    with pytest.raises(pg.DrawingError):
        pg.knife(shape, blade(), depth=0.4)


def test_a_job_with_other_tools_has_files_apart_and_other_faults_are_still_told():
    """A knife's cut beside a pocket that is left too high: the one is proved, the other blamed."""
    board = pg.Stock(200, 150, 6, material="pvc foam", thickness_range=(5.9, 6.1))
    mill = pg.EndMill(6, cutting_length=10, cutting=pg.Cutting(16000, 1500, 500, 3, 2.5))
    pocket = pg.pocket(box(120, 30, 170, 70), mill, depth=2, stock=board)
    lines = pg.knife(box(20, 30, 70, 70), blade(), depth=0.4, stock=board)
    job = pg.Job("mixed", board, TABLE, [*pocket, *lines])
    assert job.prove(grid=0.5).ok
    programs = job.programs()
    assert [{t.spins for t in p.tools.values()} for p in programs] == [{True}, {False}]
    shallow = [p.text.replace("Z-2.0", "Z-1.5") for p in programs]
    assert "residual" in {f.code for f in job.prove(texts=shallow, grid=0.5).errors}


# -- never a spinning knife --------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=500, derandomize=True)
@given(st.integers(0, 2**48))
def test_no_random_mix_of_tools_ever_turns_a_dragging_one(seed):
    """1 in 20 of the ten thousand jobs of `python -m benchmarks.dragging`."""
    listed, machine, name = bench.random_job(random.Random(seed))
    for program in bench.texts_of(listed, machine, name):
        assert bench.wrongs(program) == []


def test_the_looking_itself_finds_what_is_wrong():
    cuts = pg.knife(SQUARE, blade(), depth=0.4, stock=CARD)
    (program,) = pg.Job("card", CARD, TABLE, cuts).programs()
    for old, new, says in (
        ("M5\n", "M5\nS9000 M3\n", "M3"),
        ("G1 ", "S100\nG1 ", "S100"),
        ("M5\n", "", "no M5"),
        ("M0\n", "", "no stop"),
        ("must never", "may", "not told"),
    ):
        wrong = dataclasses.replace(program, text=program.text.replace(old, new))
        assert any(says in w for w in bench.wrongs(wrong)), says
    mixed = dataclasses.replace(program, tools={**program.tools, 9: pg.EndMill(3)})
    assert "spinning and dragging tools share a file" in bench.wrongs(mixed)


@pytest.mark.parametrize("kind", ["knife", "diamond"])
def test_speeds_that_spin_a_dragging_tool_never_reach_a_program(kind):
    tool = blade() if kind == "knife" else pg.DiamondPoint()
    cut = pg.Cut(
        name="x", tool=tool, cutting=pg.Cutting(12000, 500, 100), bounds=pg.Bounds(), depth=0.4,
        passes=(pg.Pass(path=pg.Path.lines([[10, 10, -0.4], [20, 10, -0.4]])),),
    )  # fmt: skip
    with pytest.raises(pg.ArgumentError, match="must never spin"):
        pg.Job("x", CARD, TABLE, cut).programs(unproved=True)


def test_a_knife_set_down_as_fast_as_a_rapid_is_an_error():
    hasty = dataclasses.replace(blade(), cutting=pg.Cutting(0, 1500, 2000))
    cuts = pg.knife(SQUARE, hasty, depth=0.4, stock=CARD)
    assert proof_of(cuts, machine=dataclasses.replace(TABLE, rapid=(6000, 6000, 2500))).ok
    proof = proof_of(cuts, machine=dataclasses.replace(TABLE, rapid=(6000, 6000, 2000)))
    (found,) = [f for f in proof.errors if f.code == "plunge-as-rapid"]
    assert found.amount == pytest.approx(2000)


@pytest.mark.filterwarnings("ignore:invalid value encountered")
def test_drawings_that_are_broken_are_refused_by_name():
    bow = Polygon([(40, 40), (80, 80), (80, 40), (40, 80)])
    with pytest.raises(pg.DrawingError, match="not a valid area"):
        pg.knife(bow, blade(), depth=0.4)
    with pytest.raises(pg.DrawingError):
        pg.knife(LineString([(0, 0), (1, float("nan"))]), blade(), depth=0.4)
    with pytest.raises(pg.DrawingError, match="beyond 1 km"):
        pg.knife(LineString([(0, 0), (1e7, 0)]), blade(), depth=0.4)


def test_a_layer_gives_its_lines_and_the_outlines_of_its_areas():
    layer = pg.Layer(
        name="card", region=MultiPolygon([box(40, 40, 90, 80)]), lines=MultiLineString([[(50, 60), (70, 60)]])
    )
    (cut,) = pg.knife(layer, blade(), depth=pg.THROUGH, stock=CARD)
    assert len(lines_cut(cut)) == 2
    held(proof_of([cut]))
    flat = [(x, y, 7.0) for x, y in ((40, 40), (80, 40), (80, 70))]
    held(proof_of(pg.knife(LineString(flat), blade(), depth=0.4, stock=CARD)))


@pytest.mark.parametrize(
    ("more", "words"),
    [({"stock": "card"}, "stock='card' is no stock"), ({"cutting": 1500}, "cutting=1500 must be a Cutting")],
)
def test_things_of_another_kind_are_refused_by_name(more, words):
    with pytest.raises(pg.ArgumentError, match=words):
        pg.knife(box(0, 0, 30, 30), blade(), depth=0.3, **more)


@pytest.mark.parametrize("shape", [None, "leaf", shapely.Point(1, 1), [(0, 0), (9, 0)]])
def test_what_has_no_lines_is_named(shape):
    with pytest.raises(pg.DrawingError, match=f"{type(shape).__name__} has no lines: give a LineString"):
        pg.knife(shape, blade(), depth=0.3)


def test_lines_of_almost_no_length_are_told():
    with pytest.raises(pg.DrawingError, match="nothing to cut along"):
        pg.knife(LineString([(40, 40), (40 + 1e-10, 40)]), blade(), depth=0.3)
