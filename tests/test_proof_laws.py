"""Laws of reading, writing and proving on real jobs: a letter, a pocket and an outline, planned and written here."""

import itertools
import math
import re

import handmade
import numpy as np
import pytest
from shapely.affinity import translate
from shapely.geometry import box

import pathgen as pg
from pathgen.model.motion import ARC, RAPID
from pathgen.motion.read import read_program
from pathgen.program.script import Script
from pathgen.proof.prove import prove

BOARD = pg.Stock(80, 50, 8, material="hardwood", thickness_range=(7.8, 8.2))
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
MILL = pg.EndMill(4, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 1.7))
TOOLS = {1: BIT, 2: MILL}
FAR = (5.0, 2.0)
"""A shift by whole steps of every grid used here, mm."""


def machine(**dialect):
    return pg.Machine(
        travel=(600, 400, 90),
        max_feed=3000,
        acceleration=(500, 500, 250),
        max_rpm=24000,
        dialect=pg.Dialect(**dialect),
    )


def letter(dx=0.0, dy=0.0):
    shape = translate(pg.place(pg.text("R", height=14), box(10, 10, 35, 40)).region, dx, dy)
    return pg.vgroove(shape, BIT, stock=BOARD)


def tray(dx=0.0, dy=0.0):
    shape = translate(box(40, 15, 62, 33).difference(box(48, 20, 52, 25)), dx, dy)
    return pg.pocket(shape, MILL, depth=3, stock=BOARD)


def outline(dx=0.0, dy=0.0):
    plate = translate(box(8, 8, 68, 40), dx, dy)
    return pg.profile(plate, MILL, depth=pg.THROUGH, stock=BOARD, bridges=pg.Bridges(3, length=6, thickness=1.5))


@pytest.fixture(scope="module")
def parts():
    """Name to cuts."""
    return {"letter": letter(), "tray": tray(), "outline": outline()}


def job_of(cuts, *, order="tools", **dialect):
    return pg.Job("Laws", BOARD, machine(**dialect), list(cuts), order=order)


def asked(cuts):
    """What was asked, as `prove` takes it."""
    return [(cut.name, cut.tool, cut.bounds) for cut in itertools.chain(*cuts)]


def words(text, change):
    """Change the numbers of a program outside its comments; change(letter, value) returns the new value."""

    def line(row):
        if row.startswith("("):
            return row
        return re.sub(r"([A-Z])(-?[0-9]+\.[0-9]+)", lambda m: f"{m[1]}{change(m[1], float(m[2])):.6f}", row)

    return "\n".join(map(line, text.split("\n")))


def shifted(text, **by):
    return words(text, lambda letter, value: value + by.get(letter, 0.0))


def test_the_order_of_cuts_never_changes_the_part(parts):
    """Every order of the three, each with its own links and files: the same heights, to the last bit."""
    proofs = [job_of(order, order="listed").prove(grid=0.2) for order in itertools.permutations(parts.values())]
    assert proofs[0].height.array.min() < -8
    for other in proofs[1:]:
        assert np.array_equal(proofs[0].height.array, other.height.array)
        assert other.gouge == pytest.approx(proofs[0].gouge, abs=1e-9)
        assert other.residual == pytest.approx(proofs[0].residual, abs=1e-9)
        assert other.ok is True, str(other)
        assert {f.code for f in other.findings} == {f.code for f in proofs[0].findings}


@pytest.mark.parametrize("deep", [0.0, -0.05])
def test_the_proof_moves_with_the_work(deep, parts):
    """Texts shifted word by word, bounds made anew from the shifted shapes: the same proof, its places shifted."""
    texts = [shifted(p.text, Z=deep) for p in job_of(parts.values()).programs(unproved=True)]
    there = [shifted(text, X=FAR[0], Y=FAR[1]) for text in texts]
    far = [letter(*FAR), tray(*FAR), outline(*FAR)]
    settings = {"tools": TOOLS, "stock": BOARD, "machine": machine(), "clearance": 5.0, "grid": 0.2, "own": True}
    one = prove(texts, bounds=asked(parts.values()), **settings)
    two = prove(there, bounds=asked(far), **settings)
    assert one.ok is two.ok is (deep == 0.0), str(one)
    assert two.gouge == pytest.approx(one.gouge, abs=1e-4)
    assert two.residual == pytest.approx(one.residual, abs=1e-4)
    assert two.gouge_area == pytest.approx(one.gouge_area, rel=0.01, abs=0.05)
    assert two.removed == pytest.approx(one.removed, rel=1e-5)
    assert sorted((f.code, f.line) for f in one.findings) == sorted((f.code, f.line) for f in two.findings)
    across, up = (round(v / 0.2) for v in FAR)
    np.testing.assert_allclose(
        one.height.array[:-up, :-across], two.height.array[up:, across:], rtol=0, atol=1e-5, strict=False
    )


@pytest.mark.parametrize("grid", [0.4, 0.2])
@pytest.mark.parametrize(
    ("what", "wrong"),
    [
        ("letter", {"Z": -0.1}),
        ("letter", {"X": 0.06}),
        ("tray", {"Z": -0.07}),
        ("tray", {"Y": -0.05}),
        ("outline", {"X": 0.08}),
    ],
)
def test_halving_the_grid_changes_the_gouge_by_a_fifth_of_a_step_at_most(what, wrong, grid, parts):
    texts = [shifted(p.text, **wrong) for p in job_of([parts[what]]).programs(unproved=True)]
    settings = {"tools": {1: BIT if what == "letter" else MILL}, "stock": BOARD, "machine": machine()}
    coarse, fine = (prove(texts, bounds=asked([parts[what]]), grid=g, **settings).gouge for g in (grid, grid / 2))
    assert abs(coarse - fine) <= 0.2 * grid / 2
    (amount,) = map(abs, wrong.values())
    assert 0.4 * amount <= fine <= amount + 0.01


INCH = 25.4
HALF_STEPS = {0: 0.5 * (0.001 + 0.0001 * INCH), 1: 0.5 * (0.0001 + 0.00001 * INCH)}
"""Extra decimals to how far rounding may move the two programs of a job apart along one axis, mm."""


@pytest.mark.parametrize("more", [0, 1])
@pytest.mark.parametrize("what", ["letter", "tray", "outline"])
def test_the_inch_and_the_mm_program_cut_the_same_part(what, more, parts):
    """With one decimal more than usual within 0.002 mm; with the usual four in inches, as near as those let them.

    Beside upright walls a sample may fall to either side.
    """
    mm = job_of([parts[what]], decimals=3 + more, center_decimals=4 + more).prove(grid=0.2)
    inch = job_of([parts[what]], units="inch", decimals=4 + more, center_decimals=5 + more).prove(grid=0.2)
    assert mm.ok is inch.ok is True, str(inch)
    apart = np.abs(mm.height.array - inch.height.array)
    steep = 1 / math.tan(math.radians(30)) if what == "letter" else 0.0
    bound = HALF_STEPS[more] * (1 + math.sqrt(2) * steep) + 2e-5
    assert more == 0 or bound <= 0.002
    assert (apart > bound).mean() < (0 if what == "letter" else 2e-4) + 1e-12
    assert abs(mm.removed - inch.removed) <= 2e-4 * mm.removed


def rewrite(text, dialect):
    """Read a program and write its moves again, from what was read alone; other lines stay as they are.

    What the reader says of a move, the writer is told: ends, sweep as bulge, feed. The lines in between set modes and
    speeds, and are not about places.
    """
    moves = read_program(text).moves
    script = Script(machine=machine(**dialect), zero=(0.0, 0.0, 0.0))
    of_line = {int(line): k for k, line in enumerate(moves.line)}
    assert len(of_line) == len(moves)
    fresh = True
    for number, row in enumerate(text.splitlines(), 1):
        k = of_line.get(number)
        if k is None:
            script.say([row])
            fresh = fresh or "G90" in row
            continue
        end = moves.end[k]
        if moves.kind[k] != RAPID:
            bulge = math.tan(moves.sweep[k] / 4) if moves.kind[k] == ARC else 0.0
            script.feed(np.array([[*end, bulge]]), float(moves.feed[k]), math.inf)
        elif "Z" in row:
            following = moves.end[min(k + 1, len(moves) - 1)]
            over = end if not np.isnan(end[:2]).any() else following
            script.rapid_z(float(end[2]), over=(float(over[0]), float(over[1])), fresh=fresh)
        else:
            script.rapid_xy(float(end[0]), float(end[1]), fresh=fresh)
            fresh = False
    return script.text()


@pytest.mark.parametrize(
    "dialect",
    [{}, {"units": "inch"}, {"arcs": False}, {"helices": False, "decimals": 4}, {"units": "inch", "decimals": 5}],
    ids=str,
)
@pytest.mark.parametrize("what", ["letter", "tray", "outline"])
def test_writing_what_was_read_is_a_fixed_point(what, dialect, parts):
    """The moves of a program, read and written again, are the same bytes."""
    for program in job_of([parts[what]], **dialect).programs(unproved=True):
        again = rewrite(program.text, dialect)
        assert again.splitlines() == program.text.splitlines()
        last = [row for row in program.text.splitlines() if re.search(r"X-?[0-9]", row)][-1]
        wrong = program.text.replace(last, words(last, lambda _, value: value + 0.01))
        assert rewrite(wrong, dialect) != program.text


def same_moves(one, other):
    """Equal to the last decimal that is written; moves that go nowhere are not written."""
    going, others = (((m.start != m.end).any(axis=1)) & (m.lengths > 0) | np.isnan(m.start[:, 2]) for m in (one, other))
    assert (one.kind[going] == other.kind[others]).all()
    for name in ("end", "center", "sweep", "feed", "rpm", "tool"):
        np.testing.assert_allclose(getattr(one, name)[going], getattr(other, name)[others], rtol=0, atol=1e-9)


def test_a_program_of_others_once_written_stays_as_it_is():
    """Written by hand in other words: the moves are kept, and what is written of them is a fixed point."""
    for text in handmade.texts():
        once = rewrite(text, {})
        same_moves(read_program(text).moves, read_program(once).moves)
        assert rewrite(once, {}) == once
        assert len(read_program(once).moves) > 10
