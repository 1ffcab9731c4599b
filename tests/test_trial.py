"""Trial pieces prove like any job, and their readings mean what the formulas say."""

import itertools

import pytest
import shapely
from shapely import affinity

import pathgen as pg
from pathgen.errors import ArgumentError
from pathgen.trial import LADDER, SIDE

BOARD = pg.Stock(170, 110, 12, material="hardwood", thickness_range=(11.8, 12.2))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
MILL = pg.EndMill(3, cutting_length=14, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))


def test_the_fit_ladder_proves_and_its_plug_fits_each_pocket_as_marked():
    job = pg.trial("fit", MILL, stock=BOARD, machine=ROUTER, depth=4)
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
    job = pg.trial("fit", MILL, stock=BOARD, machine=ROUTER, depth=4)
    (marks,) = [c for c in job.tool_cuts if c.name == "tally marks"]
    lines = shapely.get_parts(marks.bounds.rules[0].shape)
    assert len(lines) == sum(range(1, len(LADDER) + 1))
    for number, cut in enumerate((c for c in job.tool_cuts if c.name.startswith("pocket")), 1):
        x0, y0, x1, _ = cut.bounds.rules[0].region.bounds
        below = [m for m in lines if x0 - 1 < m.bounds[0] < x1 + 1 and y0 - 15 < m.bounds[1] < y0]
        assert len(below) == number


def test_pieces_do_not_run_into_each_other():
    job = pg.trial("fit", MILL, stock=BOARD, machine=ROUTER, depth=4)
    regions = [c.bounds.rules[0].region for c in job.tool_cuts if c.name.startswith("pocket")]
    for a, b in itertools.combinations(regions, 2):
        assert a.distance(b) > MILL.diameter


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
        pg.trial("fit", MILL, **{"stock": BOARD, "machine": ROUTER, **more})


def test_unknown_kinds_tools_and_readings_are_refused():
    with pytest.raises(ArgumentError, match="kind"):
        pg.trial("flavour", MILL, stock=BOARD, machine=ROUTER)
    with pytest.raises(ArgumentError, match="end mill"):
        pg.trial("fit", pg.VBit(60, diameter=6), stock=BOARD, machine=ROUTER)
    for readings in ({}, {"fits": 0}, {"fits": 7}, {"fits": "x"}, {"fits": 2, "more": 1}):
        with pytest.raises(ArgumentError, match="fits"):
            pg.trial_result("fit", **readings)
