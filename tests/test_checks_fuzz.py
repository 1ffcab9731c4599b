"""Program checks never fall over a text, whatever it holds, and whatever they find has a code, a line and advice."""

import random
import warnings

import handmade
import pytest
from checking import BOARD, MILL, ROUTER, checked, program

import pathgen as pg
from pathgen.proof.codes import CODES

WORDS = (
    "G0 X{} Y{}",
    "G0 Z{}",
    "G1 X{} Y{} Z{} F{}",
    "G1 Z-{} F100",
    "G2 X{} Y{} I{} J{}",
    "G3 X{} Y{} Z-{} I{} J{}",
    "G18",
    "G2 X{} Z{} I{} K{}",
    "G17",
    "G19",
    "G90",
    "G91",
    "G20",
    "G21",
    "G53 G0 Z0",
    "G53 G0 X0 Y0",
    "G4 P{}",
    "M0",
    "M1",
    "M3",
    "M4",
    "M5",
    "S{}",
    "S0",
    "M7",
    "M8",
    "M9",
    "T{} M6",
    "T2",
    "T3",
    "G43 H{}",
    "G49",
    "G28",
    "G92 X{}",
    "G92.1",
    "G81 X{} Y{} Z-{} R2",
    "G82 X{} Z-{} R2 P{}",
    "G80",
    "(CUT {} a)",
    "(Tool T3)",
    "(PASS 1.{} finish, level)",
    "(PASS 1.1 cut)",
    "(unplug)",
    "G61",
    "G64",
    "M2",
    "%",
    "X{}",
    "Z{}",
    "G1 X#1",
    "G93",
    "G94",
    "G55",
    "F{}",
    "/M3",
    "M30",
    "garbage",
    "G2 X{} R{}",
)
TOOLS = {
    1: pg.VBit(60, diameter=12),
    2: MILL,
    3: pg.DiamondPoint(max_travel=1.0),
    4: pg.TrailingKnife(trail=0.2, edge_angle=45, max_depth=1.0),
    5: pg.EndMill(4, spiral="both", up_cut_length=3, max_ramp=3, center_cutting=False),
    6: pg.Drill(3),
    7: pg.BallNose(6, spiral="down"),
}
STOCKS = [pg.Stock(120, 80, t, material=m) for t, m in ((4, "glass"), (12, "acrylic"), (30, "brass"), (6, "card"))]
MACHINES = [None, ROUTER, pg.Machine(travel=(9, 9, 9), max_feed=100, acceleration=10, max_rpm=900, spindle="hand")]


def text_of(chance):
    """A text of random words."""
    lines = [chance.choice(WORDS) for _ in range(chance.randrange(1, 40))]
    return "\n".join(
        line.format(*(chance.choice((0, 1, 2, 3, 5, 20, 60, 0.3, -4, 999)) for _ in range(6))) for line in lines
    )


def mutated(text, chance):
    """A good program with lines dropped, doubled, swapped and replaced."""
    lines = text.split("\n")
    for _ in range(chance.randrange(1, 6)):
        k, n = chance.randrange(len(lines)), chance.randrange(len(lines))
        act = chance.randrange(4)
        if act == 0 and len(lines) > 2:
            del lines[k]
        elif act == 1:
            lines.insert(n, lines[k])
        elif act == 2:
            lines[k], lines[n] = lines[n], lines[k]
        else:
            lines[k] = text_of(chance).split("\n")[0]
    return "\n".join(lines)


@pytest.mark.parametrize("seed", range(12))
def test_no_text_makes_the_checks_fall_over(seed):
    chance = random.Random(seed)
    good = [*handmade.texts(), program("G0 Z1\nG1 Z-2 F500\nX100 F2400\n")]
    found = 0
    for _ in range(40):
        texts = [
            text_of(chance) if chance.random() < 0.6 else mutated(chance.choice(good), chance)
            for _ in range(chance.randrange(1, 3))
        ]
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            told = checked(
                texts, tools=dict(chance.sample(sorted(TOOLS.items()), chance.randrange(0, 8))),
                stock=chance.choice([BOARD, *STOCKS]), machine=chance.choice(MACHINES), own=chance.random() < 0.3,
                clearance=chance.choice([None, 5.0]),
            )  # fmt: skip
        found += len(told)
        for f in told:
            assert f.severity == CODES[f.code].severity
            assert f.text
            assert f.advice
            assert f.line is None or 1 <= f.line <= max(text.count("\n") + 1 for text in texts)
            assert f.amount is None or f.amount == f.amount  # no NaN
    assert found > 200
