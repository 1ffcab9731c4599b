"""Random jobs that mix spinning and dragging tools, in every dialect: ``python -m benchmarks.dragging`` (10,000 jobs).

No file with a knife or a diamond may hold M3, M4 or a speed above 0, or a tool that spins; each begins with M5 and a
stop. The texts are looked at twice: word by word with the few lines below, and read back by `read_program`.

    python -m benchmarks.dragging tip

measures how far the tip of a trailing blade, followed through the written programs, leaves its lines.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import random
import re
import sys
import time

import numpy as np
import shapely

import pathgen as pg
from pathgen.motion.read import read_program
from pathgen.program.link import arrange
from pathgen.program.write import programs

CARD = pg.Stock(120, 80, 6, material="card", thickness_range=(5.9, 6.1))
TURNING = (
    pg.EndMill(6, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5)),
    pg.VBit(60, diameter=6, cutting=pg.Cutting(18000, 1200, 400, cooling="air")),
    pg.BallNose(3, cutting=pg.Cutting(12000, 900, 300, cooling="flood")),
    pg.Drill(5, cutting=pg.Cutting(3000, 200, 100)),
)
DRAGGING = (
    pg.TrailingKnife(trail=0.25, edge_angle=45, cutting=pg.Cutting(0, 1200, 300)),
    pg.TrailingKnife(trail=3.0, edge_angle=60, cutting=pg.Cutting(0, 900, 200)),
    pg.DiamondPoint(preload=2, spring_rate=1.5, max_travel=1.5, cutting=pg.Cutting(0, 600, 150)),
)
MESSAGES = ("Turn the card", "S18000 M3 please", "Rose) M3 S12000 (", "spindle on, M4", "fetch tape")
NAMES = ("Fern", "M3 S9000", "G0 Z-5", "(bed) M4", "Rosé % 12")


def random_job(draw):
    """Return (cuts and stops, machine, what else the writer is told), chosen by `draw`, a `random.Random` or alike."""
    count = draw.randint(1, 6)
    listed = []
    for _ in range(count):
        if listed and draw.random() < 0.25:
            listed.append(pg.Stop(draw.choice(MESSAGES)))
        tool = draw.choice(TURNING + DRAGGING)
        listed.append(_cut(tool, draw))
    units = draw.choice(("mm", "inch"))
    dialect = pg.Dialect(
        units=units,
        decimals=draw.choice((None, 2, 3, 4)),
        arcs=draw.random() < 0.7,
        helices=draw.random() < 0.7,
        zero_again_at_stop=draw.random() < 0.5,
        line_numbers=draw.random() < 0.3,
        path_mode=draw.choice(("exact", "blend", None)),
        end=draw.choice(("M2", "M30")),
    )
    machine = pg.Machine(
        travel=(600, 400, 90),
        max_feed=3000,
        acceleration=500,
        max_rpm=24000,
        spin_up=draw.choice((0, 3)),
        spin_down=draw.choice((0, 5)),
        spindle=draw.choice(("program", "hand")),
        homed=draw.random() < 0.5,
        park=draw.choice((None, (10.0, 300.0))),
        tool_change=draw.choice(("manual", "automatic")),
        dialect=dialect,
    )
    return arrange(listed, order=draw.choice(("tools", "listed"))), machine, draw.choice(NAMES)


def _cut(tool, draw):
    """Return one cut: a real one of a knife now and then, else a line or two."""
    if isinstance(tool, pg.TrailingKnife) and draw.random() < 0.3:
        return dataclasses.replace(_real(tool))
    passes = []
    for k in range(draw.randint(1, 3)):
        x, y = draw.randint(5, 60), draw.randint(5, 70)
        end = [x + draw.randint(1, 50), y, -0.5, draw.choice((0.0, 0.0, 0.5, -1.0))]
        passes.append(pg.Pass(path=pg.Path([[x, y, -0.5, 0.0], end]), after=frozenset({k - 1} if k else ())))
    return pg.Cut(
        name=draw.choice(NAMES), tool=tool, cutting=tool.cutting, passes=tuple(passes), bounds=pg.Bounds(), depth=0.5
    )  # fmt: skip


@functools.cache
def _real(tool):
    return pg.knife(shapely.box(30, 30, 60, 50), tool, depth=0.5, stock=CARD)[0]


def texts_of(listed, machine, name):
    """Return the programs of a job without proving them."""
    return programs(listed, name=name, stock=CARD, machine=machine, clearance=5.0)


COMMENT = re.compile(r"\([^)]*\)")
WORD = re.compile(r"([A-Z])([-+]?[\d.]+)")


def wrongs(program):
    """Return what is wrong with one program: sentences; none where no dragging tool can ever be turned."""
    tools = list(program.tools.values())
    dragging = [t for t in tools if not t.spins]
    if not dragging:
        return []
    found = [] if len(dragging) == len(tools) else ["spinning and dragging tools share a file"]
    first_move = stopped = off = False
    for line in COMMENT.sub("", program.text).upper().splitlines():
        words = [(letter, float(value)) for letter, value in WORD.findall(line)]
        for letter, value in words:
            if (letter, value) in (("M", 3), ("M", 4)):
                found.append(f"M{value:g}")
            if letter == "S" and value != 0:
                found.append(f"S{value:g}")
            off |= not first_move and (letter, value) == ("M", 5)
            stopped |= not first_move and (letter, value) in (("M", 0), ("M", 1))
            first_move |= letter in "XYZ"
    if not off:
        found.append("no M5 before the first move")
    if not stopped:
        found.append("no stop before the first move")
    if "must never spin" not in " ".join(re.findall(r"\(([^)]*)\)", program.text)):
        found.append("the operator is not told")
    motion = read_program(program.text)
    if np.any(motion.moves.rpm != 0) or any(e.kind == "spindle" and e.value != 0 for e in motion.events):
        found.append("the reader sees a turning spindle")
    return found


def jobs(n, seed=7):
    """Return (jobs, files, files with a dragging tool, wrong files)."""
    files = dragged = wrong = 0
    for k in range(n):
        listed, machine, name = random_job(random.Random(seed * 1_000_003 + k))
        for program in texts_of(listed, machine, name):
            files += 1
            dragged += any(not t.spins for t in program.tools.values())
            wrong += bool(wrongs(program))
    return n, files, dragged, wrong


# -- the tip -----------------------------------------------------------------------------------------------------


def star(points, outer, inner):
    """A star about the origin."""
    turn = math.pi * np.arange(2 * points) / points
    r = np.where(np.arange(2 * points) % 2, inner, outer)
    return shapely.Polygon(np.column_stack([r * np.cos(turn), r * np.sin(turn)]))


def spiral(turns=4, pitch=6.0, least=6.0, n=3000):
    """An Archimedean spiral about the origin, an open line."""
    turn = np.linspace(0, 2 * math.pi * turns, n)
    r = least + pitch * turn / (2 * math.pi)
    return shapely.LineString(np.column_stack([r * np.cos(turn), r * np.sin(turn)]))


def gear(teeth=24, module=2.5, pressure=20.0):
    """A spur gear with involute flanks from the base circle (ISO 21771), about the origin."""
    pitch, alpha = 0.5 * teeth * module, math.radians(pressure)
    base, outer, root = pitch * math.cos(alpha), pitch + module, pitch - 1.25 * module
    roll = np.linspace(0, math.sqrt((outer / base) ** 2 - 1), 60)
    flank = base * (np.cos(roll) + roll * np.sin(roll)) + 1j * base * (np.sin(roll) - roll * np.cos(roll))
    half = math.pi / (2 * teeth) + math.tan(alpha) - alpha
    tooth = np.concatenate([flank * np.exp(-1j * half), (flank * np.exp(-1j * half)).conj()[::-1]])
    tooth = np.concatenate([[root * tooth[0] / abs(tooth[0])], tooth, [root * tooth[-1] / abs(tooth[-1])]])
    ring = np.concatenate([tooth * np.exp(2j * math.pi * k / teeth) for k in range(teeth)])
    return shapely.Polygon(np.column_stack([ring.real, ring.imag]))


def words_200():
    """Two hundred letters in a sans font, capitals 8 mm high."""
    names = "Fern Ginkgo Moss Sage Thyme Rosemary Bracken"
    lines, count = [], 0
    while count < 200:
        line = names
        over = count + sum(not c.isspace() for c in line) - 200
        while over > 0:
            over -= not line[-1].isspace()
            line = line[:-1]
        count += sum(not c.isspace() for c in line)
        lines.append(line.strip())
    return pg.text("\n".join(lines), height=8, font="sans")


SHAPES = {"square": lambda: shapely.box(0, 0, 60, 60), "star": lambda: star(20, 60, 35), "text": words_200,
          "spiral": spiral, "gear": gear}  # fmt: skip
TRAILS = (0.25, 1.0, 3.0)


def measured(shape, trail, *, card=None, **more):
    """Return the proof of a job that cuts a shape from the middle of a card, looked at coarsely but for the blade."""
    card = card or pg.Stock(360, 260, 0.5, material="card", thickness_range=(0.48, 0.52))
    table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
    blade = pg.TrailingKnife(trail=trail, edge_angle=45, cutting=pg.Cutting(0, 1500, 300))
    put = pg.place(shape, card, fit="none")
    return pg.Job("tip", card, table, pg.knife(put, blade, depth=pg.THROUGH, stock=card, **more)).prove(grid=0.5)


def tip():
    """Print a table of the tip's largest distances, mm."""
    print(f"{'shape':8} {'trail':>5} {'outside':>8} {'swivels':>8} {'left':>8} {'unsure':>7} {'overcut - asked':>16}")
    for name, make in SHAPES.items():
        for trail in TRAILS:
            proof = measured(make(), trail)
            (b,) = proof.blades
            over = min((o[2] for o in b.overcuts), default=math.nan) - (trail + 0.67)
            print(
                f"{name:8} {trail:5.2f} {b.off:8.4f} {b.off_swivel:8.4f} {b.left:8.4f} {b.unsure:6.2f}d {over:16.4f}"
                f"  {'proved' if proof.ok else 'NOT PROVED'}"
            )


def main(n=10_000):
    """Print one line for the random jobs, then the table of the tip."""
    begin = time.perf_counter()
    n, files, dragged, wrong = jobs(n)
    print(f"{n} random jobs, {files} files, {dragged} with a dragging tool: {wrong} wrong", end="")
    print(f"   ({time.perf_counter() - begin:.0f} s)", flush=True)
    tip()
    if wrong:
        sys.exit(1)


if __name__ == "__main__":
    tip() if sys.argv[1:] == ["tip"] else main()
