"""Screw holes: ISO 273's clearances, seats for heads, and their proofs."""

import itertools
import re
import tomllib
from pathlib import Path

import pytest
from shapely.geometry import MultiPoint

import pathgen as pg
from pathgen.shop.screws import screw

ROUTER = pg.Machine(travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000)
MILL = pg.EndMill(3, flutes=1, cutting_length=25, cutting=pg.Cutting(18000, 900, 300, 1.5, 1.2))
BIT = pg.VBit(90, diameter=12.7, tip=0.2, flutes=1, cutting=pg.Cutting(16000, 1500, 500))
DRILL = pg.Drill(4.5, cutting_length=60, cutting=pg.Cutting(3000, 300, 150))
PLACES = [(12, 12), (68, 12), (12, 48), (68, 48)]


def board(**more):
    return pg.Stock(80, 60, 12, material="hardwood", thickness_range=(11.8, 12.2), **more)


def test_the_clearance_holes_are_those_of_iso_273():
    """Spot values of ISO 273:1979 as common tables of threads print them (M3, M6, M8, M12, M20)."""
    want = {
        "M3": (3.2, 3.4, 3.6),
        "M6": (6.4, 6.6, 7.0),
        "M8": (8.4, 9.0, 10.0),
        "M12": (13.0, 13.5, 14.5),
        "M20": (21.0, 22.0, 24.0),
    }
    for size, holes in want.items():
        assert tuple(screw(size, fit=f).hole for f in ("fine", "medium", "coarse")) == holes


def test_the_table_runs_from_m16_to_m20_and_grows_with_size_and_series():
    path = Path(pg.__file__).parent / "shop" / "data" / "iso273.toml"
    table = tomllib.loads(path.read_text())["sizes"]
    assert (next(iter(table)), list(table)[-1]) == ("M1.6", "M20")
    rows = [(r["thread"], r["fine"], r["medium"], r["coarse"]) for r in table.values()]
    assert all(a < b < c < d for a, b, c, d in rows)
    assert all(x < y for r, s in itertools.pairwise(rows) for x, y in zip(r, s, strict=True))
    assert "from memory" in path.read_text()
    assert all(float(size[1:]) == r["thread"] for size, r in table.items())


@pytest.mark.parametrize(
    ("tool", "head", "seat"),
    [
        (MILL, None, None),
        pytest.param(DRILL, None, None, marks=pytest.mark.slow),
        pytest.param(MILL, "pan", None, marks=pytest.mark.slow),
        (DRILL, "pan", MILL),
        (DRILL, "countersunk", BIT),
    ],
)
def test_screw_holes_are_proved(tool, head, seat):
    stock = board()
    job = pg.Job("Sign", stock, ROUTER, pg.screw_holes(PLACES, tool, stock=stock, head=head, seat=seat))
    proof = job.prove()
    assert proof.ok, proof.findings
    assert [c.name for c in job.tool_cuts] == (["M4 holes"] if head is None else ["M4 seats", "M4 holes"])


def test_the_seats_are_as_deep_and_as_wide_as_the_heads():
    stock = board()
    seat, hole = pg.screw_holes(MultiPoint(PLACES), MILL, stock=stock, head="pan", sink=0.5)
    x0, _, x1, _ = seat.bounds.rules[0].region.geoms[0].bounds
    assert x1 - x0 == pytest.approx(8.0 + 1.0, abs=1e-3)
    assert seat.depth == pytest.approx(3.1 + 0.5)
    x0, _, x1, _ = hole.bounds.rules[0].shape.geoms[0].bounds
    assert x1 - x0 == pytest.approx(4.5, abs=1e-3)
    cone, _ = pg.screw_holes(PLACES, DRILL, stock=stock, head="countersunk", seat=BIT)
    # a 90 degree cone 9.4 wide at the face, less half the tip
    assert cone.depth == pytest.approx(0.5 * (9.4 - 0.2), abs=1e-9)


def test_the_proof_sees_a_countersink_that_is_too_deep():
    stock = board()
    job = pg.Job("Sign", stock, ROUTER, pg.screw_holes(PLACES, DRILL, stock=stock, head="countersunk", seat=BIT))
    texts = [p.text.replace("Z-4.6", "Z-4.7") for p in job.programs()]
    assert texts != [p.text for p in job.programs()]
    proof = job.prove(texts=texts)
    assert proof.gouge == pytest.approx(0.1 * 0.7071, abs=0.02)
    assert not proof.ok


def test_two_seats_hold_their_head_off_each_other():
    with pytest.raises(pg.ArgumentError, match="meet"):
        pg.screw_holes([(20, 20), (28, 20)], MILL, stock=board(), head="pan")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"size": "M7"}, "'M8'"),
        ({"fit": "tight"}, "'medium'"),
        ({"head": "hex"}, "'pan'"),
        ({"head": "pan", "size": "M12"}, "no pan head"),
        ({"size": "M12", "tool": pg.EndMill(2.9, cutting=MILL.cutting)}, "slug"),
        ({"points": []}, "no point"),
        ({"points": 3}, "list of"),
        ({"points": [(1, 1)]}, "runs out"),
        ({"tool": pg.EndMill(6, cutting=MILL.cutting)}, "does not go round"),
        ({"tool": pg.Drill(4.0, cutting=DRILL.cutting)}, "hole of 4.5"),
        ({"tool": BIT}, "no upright hole"),
        ({"head": "countersunk"}, "VBit(90"),
        ({"head": "countersunk", "seat": pg.VBit(60, diameter=12, cutting=BIT.cutting)}, "VBit(90"),
        ({"head": "countersunk", "seat": pg.VBit(90, diameter=8, cutting=BIT.cutting)}, "narrower than the seat"),
        ({"head": "pan", "tool": DRILL}, "needs an end mill"),
        ({"seat": MILL}, "no head"),
        ({"head": "pan", "sink": 9}, "leaves nothing"),
        ({"sink": -1}, "sink"),
    ],
)
def test_what_cannot_be_made_is_refused_in_words(more, words):
    given = {"points": PLACES, "tool": MILL, "stock": board(), **more}
    with pytest.raises(pg.ArgumentError, match=re.escape(words)):
        pg.screw_holes(given.pop("points"), given.pop("tool"), **given)
