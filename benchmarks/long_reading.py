"""Random and mutated texts through the reader: no crash, no hang, both routes alike, every finding with its line.

Run from the project's root: ``python -m benchmarks.long_reading [count] [seed]``; 100,000 texts by default. The tests
run a few thousand.
"""

import dataclasses
import random
import re
import sys
import time as clock

import numpy as np

from pathgen.model.machine import Machine
from pathgen.motion import read as read_module
from pathgen.motion.codes import READ_CODES, severity
from pathgen.motion.time import time

SLOWEST = 5.0
"""Seconds that no text of this size may take."""
MACHINE = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 400, 250), max_rpm=24000)

PROGRAMS = (
    """\
%
(Fern, 280 x 120 mm)
G21 G17 G90 G94 G40 G80 G54 G61
M5
G0 Z10
T1 M6
G43 H1
S18000 M3
G4 P3
(CUT 1 Fern letters)
(PASS 1.1 groove)
G0 X10 Y10
Z1
G1 Z-2.5 F300
X20.125 Y12.5 F1800
G2 X30 Y12.5 I4.9375 J0
G3 X40.5 Z-3 I5.25
G1X41Y12.6Z-2.9
X42Y12.7Z-2.8
X43Y12.8Z-2.7
G0 Z10
M5
M9
G4 P5
M2
%
""",
    """\
n0010 g21 g0 x0 y0 z50
n0020 t1 m6 m3 f20 s4000
n0030 g0 x0 y0 z2
n0160 g1 z-0.5
n0170 x16
n0190 g3 x13.5 y-2.5 i-2.5
n0320 g2 x13.5 j2.5
n0490 g2 x18.5 r4
n0590 g2 j2.5 y2.5
n0610 g0 z50
n0620 m2
""",
    """\
G20 G90 G17
G0 X1 Y2 Z3
F10
G81 G98 X4 Y5 Z1.5 R2.8
X5
G82 X6 P.5
G83 X7 Z1 R2 Q.3 L2
G80
G91 G1 X1 Y1
G90
G18 G2 X0 Z0 R9
G19 G3 Y1 Z1 R-3
G17
G53 G0 Z0
G28 X1
G92 X0 Y0
G92.1
G55
G10 L2 P2 X1
M30
""",
    """\
#1=3
#2=[#1 * 2 + sin[30]]
G21 G0 X#1 Y#2 Z[2 ** 3 - 4.0 / 2]
G93 G1 X[#1 mod 2] F2
G94 F100
G1 Xatan[1]/[2] Yfix[2.8] Zround[-2.5]
##1=4
X##1 / Y1
/X1
M0 (MSG, Turn the board)
M2
""",
)
WORDS = [
    *re.findall(
        r"\S+",
        """
        G0 G1 G2 G3 G4 G10 G17 G18 G19 G20 G21 G28 G40 G41 G43 G53 G54 G59.3 G61 G61.1 G64 G80 G81 G82 G83
        G90 G91 G92 G92.1 G93 G94 G98 M0 M2 M3 M5 M6 M8 M30 X1 Y-2.5 Z3 I1 J-1 K2 R5 F100 S1000 T1 H1 L3
        P0.5 Q1 N10 D1 A1 E1 / % ( ) (a) # [ ] ** * + - = . 0 1e5 99999999999 sin[ atan[ mod #1=2 #5399 ;
        """,
    ),
    "é",
    "\x00",
    "\t",
    "\r",
    "\n",
]


def mutated(rng: random.Random) -> str:
    """Return a program with a few things wrong with it, or one of words thrown together."""
    if rng.random() < 0.2:
        return "".join(rng.choice(WORDS) + rng.choice(["", " ", "\n"]) for _ in range(rng.randint(0, 60)))
    text = bytearray(rng.choice(PROGRAMS).encode())
    for _ in range(rng.randint(1, 6)):
        at, end = sorted((rng.randint(0, len(text)), rng.randint(0, len(text))))
        roll = rng.randint(0, 6)
        if roll == 0 and text:
            text[min(at, len(text) - 1)] = rng.randint(0, 255)
        elif roll == 1:
            text[at:at] = bytes([rng.choice(b"GXYZIJKRFNM0123456789.-+()[]#=/%* \n")])
        elif roll == 2:
            del text[at : at + rng.randint(1, 3)]
        elif roll == 3:
            del text[at : min(end, at + 60)]
        elif roll == 4:
            text[at:at] = text[at : min(end, at + 80)]
        elif roll == 5:
            text[at:at] = f" {rng.choice(WORDS)} ".encode()
        else:
            lines = text.split(b"\n")
            rng.shuffle(lines)
            text = bytearray(b"\n".join(lines))
    return text.decode("latin-1")


def survive(text: str) -> int:
    """Read a text by both routes, estimate its time, and return how many findings it has."""
    begin = clock.perf_counter()
    motion = read_module.read_program(text)
    full = read_module.read_program(text, bulk=False)
    assert time(motion, MACHINE).total >= 0
    assert clock.perf_counter() - begin < SLOWEST, f"too slow: {text[:2000]!r}"
    count = max(1, text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").count("\n") + 1)
    for field in dataclasses.fields(motion.moves):
        a, b = getattr(motion.moves, field.name), getattr(full.moves, field.name)
        assert np.array_equal(a, b, equal_nan=True), (field.name, text)
    assert motion.findings == full.findings, text
    assert motion.events == full.events, text
    for finding in motion.findings:
        assert finding.code in READ_CODES
        assert finding.severity == severity(finding.code)
        assert 1 <= finding.line <= count, (finding, text)
    m = motion.moves
    assert not len(m) or (m.line.min() >= 1 and m.line.max() <= count)
    assert not np.isinf(m.end).any()
    return len(motion.findings)


def run(count: int, seed: int) -> tuple[int, int]:
    """Let `count` texts through the reader; return how many have findings, and how many findings."""
    rng, with_findings, findings = random.Random(seed), 0, 0
    short, read_module.SHORT = read_module.SHORT, 1
    try:
        for _ in range(count):
            found = survive(mutated(rng))
            with_findings, findings = with_findings + (found > 0), findings + found
    finally:
        read_module.SHORT = short
    return with_findings, findings


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    begin = clock.perf_counter()
    with_findings, findings = run(count, seed)
    spent = clock.perf_counter() - begin
    print(
        f"{count} texts: no crash, no hang; {with_findings} with {findings} findings, each with its line; {spent:.0f} s"
    )


if __name__ == "__main__":
    main()
