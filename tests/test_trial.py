"""Trials: small proven jobs, and what their readings mean."""

import itertools
import math

import numpy as np
import pytest
import shapely
from checking import ROUTER
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

import pathgen as pg
from pathgen.errors import ArgumentError
from pathgen.model.bounds import Groove, Kerf
from pathgen.trial import KINDS, LADDER, SIDE, trial, trial_steps
from pathgen.trial_readings import trial_result

WOOD = pg.Stock(160, 140, 18, material="hardwood", thickness_range=(17.8, 18.2))
SLATE = pg.Stock(140, 120, 8, material="stone", thickness_range=(7.8, 8.2), unevenness=0.1)
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
MILL = pg.EndMill(4, cutting_length=20, cutting=pg.Cutting(16000, 1800, 500, 2, 1.6))
THIN = pg.Stock(170, 110, 12, material="hardwood", thickness_range=(11.8, 12.2))
FINE = pg.EndMill(3, cutting_length=14, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))
POINT = pg.DiamondPoint(preload=1, spring_rate=2, max_travel=1, cutting=pg.Cutting(0, 900, 200))
BLADE = pg.TrailingKnife(trail=1.0, edge_angle=50, max_depth=2, cutting=pg.Cutting(0, 1500, 300))
CARD = pg.Stock(120, 110, 0.5, material="card", thickness_range=(0.47, 0.53))
EVERY = [
    ("groove", BIT, WOOD), ("slot", MILL, WOOD), ("square", BIT, WOOD), ("square", MILL, WOOD),
    ("square", POINT, SLATE),
    ("line", POINT, SLATE), ("fit", FINE, THIN), ("feed", MILL, WOOD), ("feed", BIT, WOOD),
    ("knife", BLADE, CARD),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "tool", "stock"), EVERY, ids=lambda v: v if isinstance(v, str) else "")
def test_every_trial_is_a_small_proven_job(kind, tool, stock):
    work = trial(kind, tool, stock=stock, machine=ROUTER)
    proof = work.prove()
    assert proof.ok, str(proof)
    assert work.time().total < 1800
    assert work.name == f"Trial {kind}"


def test_there_is_a_trial_of_every_kind():
    assert {kind for kind, _, _ in EVERY} == set(KINDS)


def test_an_unknown_kind_is_told_with_those_there_are():
    for call in (
        lambda: trial("flavor", POINT, stock=WOOD, machine=ROUTER),
        lambda: trial_result("flavor", trail=1),
        lambda: trial_steps("flavor", POINT, stock=WOOD),
    ):
        with pytest.raises(ArgumentError, match="'groove', 'slot', 'square', 'line', 'fit', 'feed', 'knife'"):
            call()


# -- groove -------------------------------------------------------------------------------------------------------


@given(st.floats(20, 120), st.floats(0, 1), st.floats(0.2, 2), st.floats(0.5, 5))
def test_two_grooves_give_back_the_bit_that_cut_them(angle, tip, shallow, more):
    """w = tip + 2 d tan(A / 2), the cone's elementary geometry."""
    slope = math.tan(math.radians(angle / 2))
    depths = (shallow, shallow + more)
    found = trial_result("groove", steps=depths, widths=[tip + 2 * d * slope + 1e-12 for d in depths])
    assert found == pytest.approx({"angle": angle, "tip": tip}, abs=1e-6)


def test_a_wrong_zero_looks_like_a_wider_tip_until_the_tip_is_measured():
    """Both grooves 0.1 mm too deep: the angle stays, the tip seems 2 x 0.1 x tan(30 deg) wider."""
    slope = math.tan(math.radians(30))
    widths = [0.2 + 2 * (d + 0.1) * slope for d in (1, 4)]
    seen = trial_result("groove", steps=(1, 4), widths=widths)
    assert seen["angle"] == pytest.approx(60)
    assert seen["tip"] == pytest.approx(0.2 + 0.2 * slope)
    known = trial_result("groove", steps=(1, 4), widths=widths, tip=0.2)
    assert known == pytest.approx({"angle": 60, "tip": 0.2, "zero_error": 0.1})
    high = [0.0 + 2 * (d - 0.1) * slope for d in (1, 4)]
    with pytest.raises(ArgumentError, match=r"too high by at least 0\.100 mm"):
        trial_result("groove", steps=(1, 4), widths=high)
    assert trial_result("groove", steps=(1, 4), widths=high, tip=0)["zero_error"] == pytest.approx(-0.1)


def test_the_grooves_in_the_simulated_piece_measure_what_the_reading_expects():
    """The proof's own height field is measured with a ruler, and gives the bit back."""
    work = trial("groove", BIT, stock=WOOD, machine=ROUTER, steps=(2, 6))
    field = work.prove(grid=0.1).height
    widths = []
    for cut in work.tool_cuts[:2]:
        (rule,) = [r for r in cut.bounds.rules if isinstance(r, Groove)]
        x = rule.region.centroid.x
        y0, y1 = rule.region.bounds[1] - 1, rule.region.bounds[3] + 1
        column = field.array[:, int((x - field.origin[0]) / field.pixel)]
        heights = field.origin[1] + (np.arange(len(column)) + 0.5) * field.pixel
        near = (heights > y0) & (heights < y1)
        middle = rule.region.centroid.y
        wall = near & (column < -0.3) & (heights < middle - 0.3)
        rise, at = np.polyfit(heights[wall], column[wall], 1)
        widths.append(2 * (middle + at / rise))  # twice the way from the middle to where the wall meets the face
    found = trial_result("groove", steps=(2, 6), widths=widths)
    assert found["angle"] == pytest.approx(60, abs=0.6)
    assert found["tip"] == pytest.approx(0, abs=0.1)


def test_readings_of_grooves_that_cannot_be_are_refused():
    wrong = {(3, 2): "mixed up", (1,): "2 sizes", (1, 2, 3): "2 sizes", 5: "2 sizes", (1, -2): "widths"}
    for widths, said in wrong.items():
        with pytest.raises(ArgumentError, match=said):
            trial_result("groove", steps=(1, 4), widths=widths)


# -- slot and square ----------------------------------------------------------------------------------------------


def test_slots_run_along_both_axes_and_do_not_meet():
    work = trial("slot", MILL, stock=WOOD, machine=ROUTER)
    lines = [r.shape for c in work.tool_cuts for r in c.bounds.rules if isinstance(r, Kerf)]
    spans = [np.ptp(shapely.get_coordinates(line), axis=0).tolist() for line in lines]
    assert spans == [[60, 0], [0, 60]]
    assert lines[0].distance(lines[1]) > MILL.diameter
    assert trial_result("slot", widths=[4.06, 4.10, 4.05]) == pytest.approx({"cut_width": 4.07, "spread": 0.05})


@given(st.floats(98, 102), st.floats(98, 102), st.floats(88, 92))
def test_sides_and_diagonals_give_back_scale_and_angle(x, y, angle):
    """The diagonals of a parallelogram built from its corners."""
    a, b = np.array([x, 0.0]), y * np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    rising, falling = np.hypot(*(a + b)), np.hypot(*(a - b))
    found = trial_result("square", x=x, y=y, rising=rising, falling=falling)
    assert found["scale_x"] == pytest.approx(x / 100)
    assert found["scale_y"] == pytest.approx(y / 100)
    assert found["angle"] == pytest.approx(angle)
    assert found["out_of_square"] == pytest.approx(b[0], abs=1e-9)


def test_the_square_is_drawn_at_its_size_with_its_axes_marked():
    work = trial("square", BIT, stock=WOOD, machine=ROUTER)
    square, marks = ([r.region for r in c.bounds.rules if isinstance(r, Groove)] for c in work.tool_cuts)
    x0, y0, x1, y1 = shapely.union_all(square).bounds
    wide = 2 * BIT.radius_at(0.5)
    assert (x1 - x0, y1 - y0) == pytest.approx((100 + wide, 100 + wide))
    upright = [m for m in marks if m.bounds[3] - m.bounds[1] > m.bounds[2] - m.bounds[0]]
    assert (len(upright), len(marks) - len(upright)) == (1, 2)


def test_readings_that_fit_no_parallelogram_are_refused():
    with pytest.raises(ArgumentError, match="misread"):
        trial_result("square", x=100, y=100, rising=150, falling=141.4)
    with pytest.raises(ArgumentError, match="x"):
        trial_result("square", x=0, y=100, rising=141, falling=141)


# -- ladders ------------------------------------------------------------------------------------------------------


def test_the_ladder_of_lines_uses_the_spring_from_sure_contact_to_its_end():
    steps = trial_steps("line", POINT, stock=SLATE)
    assert steps[0] == pytest.approx(0.2)
    assert steps[-1] == pytest.approx(0.9)
    work = trial("line", POINT, stock=SLATE, machine=ROUTER)
    assert [c.depth for c in work.tool_cuts[:-1]] == pytest.approx(steps)
    assert work.tool_cuts[-1].name == "numbers"
    text = work.programs()[0].text
    assert "M3" not in text
    assert " S" not in text.replace("(S", "")


def test_the_chosen_line_gives_travel_width_and_force():
    found = trial_result("line", steps=(0.2, 0.4, 0.6), chosen=2, line_width=0.12, tool=POINT)
    assert found == pytest.approx({"travel": 0.4, "line_width": 0.12, "force": 1.8})
    cut = pg.scribe(pg.stroke_text("No", height=5), POINT, travel=found["travel"], line_width=found["line_width"])
    assert cut[0].depth == 0.4


def test_numbers_stand_beside_their_lines():
    """Rising from below, number k left of line k."""
    work = trial("line", POINT, stock=SLATE, machine=ROUTER)
    *lines, numbers = (c.bounds.rules[0].shape for c in work.tool_cuts)
    labels = sorted(numbers.geoms, key=lambda g: g.centroid.y)
    assert all(label.bounds[2] < line.bounds[0] for label in labels for line in lines)
    for k, line in enumerate(lines, 1):
        y = line.centroid.y
        own = shapely.multilinestrings([g for g in labels if abs(g.centroid.y - y) < 4])
        asked = pg.stroke_text(str(k), height=5)
        assert own.length == pytest.approx(asked.length)


def test_the_feed_ladder_writes_its_feeds():
    work = trial("feed", MILL, stock=WOOD, machine=ROUTER, steps=(600, 900, 1200))
    text = "\n".join(p.text for p in work.programs())
    for k, feed in enumerate((600, 900, 1200), 1):
        block = text.split("(CUT ")[k]
        assert f"feed {feed}" in block.split(")")[0]
        assert {f for f in (600, 900, 1200) if f"F{f}" in block} == {feed}
    assert trial_result("feed", steps=(600, 900, 1200), chosen=2) == {"slot_feed": 900.0}
    marks = next(r.shape for r in work.tool_cuts[-1].bounds.rules if isinstance(r, Kerf))
    rows = np.round([g.centroid.y for g in marks.geoms], 3)
    assert sorted(np.unique(rows, return_counts=True)[1].tolist()) == [1, 2, 3]


def test_a_feed_the_machine_does_not_have_is_refused():
    with pytest.raises(ArgumentError, match="6000 at most"):
        trial("feed", MILL, stock=WOOD, machine=ROUTER, steps=(900, 9000))


def test_the_fit_ladder_gives_the_clearance():
    assert trial_result("fit", fits=3) == {"clearance": 0.04}
    assert trial_result("fit", steps=(0.01, 0.05), fits=2) == {"clearance": 0.05}


@pytest.mark.parametrize(
    ("kind", "tool", "stock", "more", "words"),
    [
        ("groove", MILL, WOOD, {}, "V bit"),
        ("slot", BIT, WOOD, {}, "end mill"),
        ("fit", BIT, WOOD, {}, "end mill"),
        ("line", BIT, SLATE, {}, "diamond point"),
        ("feed", POINT, SLATE, {}, "spins"),
        ("square", pg.TrailingKnife(trail=1, edge_angle=45), WOOD, {}, "spins"),
        ("groove", BIT, WOOD, {"steps": (4, 1)}, "rise"),
        ("groove", BIT, WOOD, {"steps": (1, 2, 3)}, "two of them"),
        ("groove", BIT, WOOD, {"depth": 1}, "depth="),
        ("square", BIT, WOOD, {"steps": (1, 2)}, "steps="),
        ("square", POINT, SLATE, {"depth": 1}, "depth="),
        ("square", BIT, pg.Stock(100, 100, 18, material="hardwood"), {}, "100 x 100"),
        ("slot", MILL, pg.Stock(30, 20, 18, material="hardwood"), {}, "too small"),
        ("groove", BIT, pg.Stock(40, 30, 18, material="hardwood"), {}, "40 x 30"),
        ("line", pg.DiamondPoint(cutting=POINT.cutting), SLATE, {}, "max_travel"),
        ("line", POINT, pg.Stock(140, 120, 8, material="stone", unevenness=0.5), {}, "no room"),
        ("fit", "mill", WOOD, {}, "no tool"),
    ],
)
def test_trials_that_cannot_be_are_refused(kind, tool, stock, more, words):
    with pytest.raises(ArgumentError, match=words):
        trial(kind, tool, stock=stock, machine=ROUTER, **more)


@pytest.mark.parametrize(
    ("kind", "readings", "words"),
    [
        ("groove", {"widths": (1, 2)}, "trial_steps"),
        ("line", {"steps": (0.2, 0.4), "chosen": 3, "line_width": 0.1}, "from 1 to 2"),
        ("line", {"steps": (0.2, 0.4), "chosen": 1}, "line_width="),
        ("feed", {"steps": (300, 600), "chosen": True}, "from 1 to 2"),
        ("fit", {"fits": 0}, "from 1 to 6"),
        ("fit", {"fits": 1, "width": 3}, "not width="),
        ("slot", {}, "widths="),
    ],
)
def test_readings_that_are_missing_or_strange_are_refused(kind, readings, words):
    with pytest.raises(ArgumentError, match=words):
        trial_result(kind, **readings)


def test_the_names_are_public():
    assert pg.trial is trial
    assert pg.trial_result is trial_result


# -- the ladder of fits -------------------------------------------------------------------------------------------


def test_the_fit_ladder_proves_and_its_plug_fits_each_pocket_as_marked():
    job = pg.trial("fit", FINE, stock=THIN, machine=ROUTER, depth=4)
    assert job.prove().ok, str(job.prove())
    pockets = [c for c in job.tool_cuts if c.name.startswith("pocket")]
    (plug,) = [c for c in job.tool_cuts if c.name == "plug"]
    assert len(pockets) == len(LADDER)
    piece = plug.bounds.rules[0].shape
    for cut, clearance in zip(pockets, LADDER, strict=True):
        hole = cut.bounds.rules[0].region
        (x0, y0, *_), (px, py, *_) = hole.bounds, piece.bounds
        there = affinity.translate(piece, x0 + clearance - px, y0 + clearance - py)
        assert hole.buffer(2e-3).covers(there)
        width = hole.bounds[2] - hole.bounds[0]
        assert width == pytest.approx(SIDE + 2 * clearance, abs=0.004)


def test_beside_each_pocket_stand_as_many_marks_as_its_number():
    job = pg.trial("fit", FINE, stock=THIN, machine=ROUTER, depth=4)
    (marks,) = [c for c in job.tool_cuts if c.name == "tally marks"]
    lines = shapely.get_parts(marks.bounds.rules[0].shape)
    assert len(lines) == sum(range(1, len(LADDER) + 1))
    for number, cut in enumerate((c for c in job.tool_cuts if c.name.startswith("pocket")), 1):
        x0, y0, x1, _ = cut.bounds.rules[0].region.bounds
        below = [m for m in lines if x0 - 1 < m.bounds[0] < x1 + 1 and y0 - 15 < m.bounds[1] < y0]
        assert len(below) == number


def test_pieces_do_not_run_into_each_other():
    job = pg.trial("fit", FINE, stock=THIN, machine=ROUTER, depth=4)
    regions = [c.bounds.rules[0].region for c in job.tool_cuts if c.name.startswith("pocket")]
    for a, b in itertools.combinations(regions, 2):
        assert a.distance(b) > FINE.diameter


def test_the_reading_is_the_clearance_of_the_pocket_that_fits():
    assert [pg.trial_result("fit", fits=k + 1)["clearance"] for k in range(len(LADDER))] == list(LADDER)


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"steps": (0.1,)}, "rise"), ({"steps": (0.1, 0.05)}, "rise"), ({"steps": (-0.1, 0.05)}, "steps"),
        ({"stock": pg.Stock(60, 40, 12, material="hardwood")}, "larger stock"),
    ],
)  # fmt: skip
def test_bad_arguments_of_the_ladder_are_refused(more, match):
    with pytest.raises(ArgumentError, match=match):
        pg.trial("fit", FINE, **{"stock": THIN, "machine": ROUTER, **more})


def test_unknown_kinds_tools_and_readings_are_refused():
    with pytest.raises(ArgumentError, match="kind"):
        pg.trial("flavour", FINE, stock=THIN, machine=ROUTER)
    with pytest.raises(ArgumentError, match="end mill"):
        pg.trial("fit", pg.VBit(60, diameter=6), stock=THIN, machine=ROUTER)
    for readings in ({}, {"fits": 0}, {"fits": 7}, {"fits": "x"}, {"fits": 2, "more": 1}):
        with pytest.raises(ArgumentError, match="fits"):
            pg.trial_result("fit", **readings)


# -- knife --------------------------------------------------------------------------------------------------------


@given(st.floats(0.3, 4), st.floats(-0.25, 0.25))
def test_lines_that_run_past_each_other_give_back_the_trail(true, error):
    """A blade whose trail is shorter than stated by e leaves its tip e further on when the pivot stops."""
    found = trial_result("knife", trail=true + error, past=error)
    assert found == pytest.approx({"trail": true})


def test_each_line_of_the_knife_trial_ends_on_the_next():
    (cut,) = trial("knife", BLADE, stock=CARD, machine=ROUTER).tool_cuts
    lines = shapely.get_parts(cut.bounds.rules[0].lines)
    assert len(lines) == 4
    for line in lines:
        end = shapely.get_point(line, -1)
        assert min(other.distance(end) for other in lines if other is not line) < 1e-9


def test_a_knife_trial_that_cannot_be_is_refused():
    with pytest.raises(ArgumentError, match="trailing knife"):
        trial("knife", MILL, stock=WOOD, machine=ROUTER)
    with pytest.raises(ArgumentError, match="larger one"):
        trial("knife", BLADE, stock=pg.Stock(40, 40, 0.5, material="card"), machine=ROUTER)
    with pytest.raises(ArgumentError, match="no trail at all"):
        trial_result("knife", trail=1, past=1.5)


def test_steps_and_stocks_of_another_kind_are_refused_by_name():
    with pytest.raises(ArgumentError, match=r"steps=0\.5 must be a list of numbers that rise"):
        trial("line", POINT, stock=SLATE, machine=ROUTER, steps=0.5)
    with pytest.raises(ArgumentError, match=r"steps=3 must be a list of numbers that rise"):
        trial_result("line", steps=3, chosen=1, line_width=0.2, tool=POINT)
    for kind, tool in (("line", POINT), ("knife", BLADE)):
        with pytest.raises(ArgumentError, match="stock=None is no stock"):
            trial(kind, tool, stock=None, machine=ROUTER)
