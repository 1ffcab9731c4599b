"""Writing: speed against a plain join, and arcs by the million against the standard's limits.

    python -m benchmarks.writing

Speed: 1,000,000 moves given as a path to `pathgen.program.write.programs`, against the plain per-row join of the same
moves, best of three, taken in turns in one run. Arcs: random arcs are written, the text is read back by the
few lines below, and the numbers as written are held against NISTIR 6556 section 3.5.3.2.
"""

from __future__ import annotations

import math
import re
import time
from dataclasses import dataclass

import numpy as np

from pathgen.model.bounds import Bounds
from pathgen.model.cut import Cut
from pathgen.model.machine import Dialect, Machine
from pathgen.model.path import Pass, Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill
from pathgen.program.script import Script
from pathgen.program.write import programs

WORD = re.compile(r"([A-Z])(-?\d+\.?\d*)")
BATCH = 50_000
ARC_DIALECTS = [
    {"units": "mm"},
    {"units": "inch"},
    {"units": "mm", "center_decimals": 3},
    {"units": "inch", "center_decimals": 4},
    {"units": "inch", "decimals": 3, "center_decimals": 3},
]


def machine(**dialect):
    return Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000, dialect=Dialect(**dialect))


# -- speed -------------------------------------------------------------------------------------------------------


def moves(n, *, level):
    """A winding walk over a board in steps of some 0.3 mm, at one depth or up and down as in a groove."""
    rng = np.random.default_rng(1)
    xyz = rng.normal(0, 0.3, (n, 3)).cumsum(axis=0)
    xyz[:, :2] = 150 + 100 * np.sin(xyz[:, :2] / 50)
    xyz[:, 2] = -3.0 if level else -3 - 2.5 * np.sin(xyz[:, 2] / 5)
    return xyz


def speed(n=1_000_000, *, level=False):
    """Return (seconds of the plain join, seconds of writing, characters written), best of three in turns."""
    xyz = moves(n, level=level)
    rows = [tuple(row) for row in xyz.tolist()]
    path = Path.lines(xyz)
    tool, cutting = EndMill(6), Cutting(16000, 1500, 500)
    stock, on = Stock(300, 300, 18, material="hardwood"), machine()
    plain, written, size = math.inf, math.inf, 0
    for _ in range(3):
        begin = time.perf_counter()
        "\n".join("G1X%.3fY%.3fZ%.3f" % row for row in rows)  # noqa: UP031 - what is compared against
        plain = min(plain, time.perf_counter() - begin)
        begin = time.perf_counter()
        cut = Cut(name="walk", tool=tool, cutting=cutting, passes=(Pass(path=path),), bounds=Bounds(), depth=6.0)
        (program,) = programs([cut], name="walk", stock=stock, machine=on, clearance=5)
        written = min(written, time.perf_counter() - begin)
        size = len(program.text)
    return plain, written, size


# -- arcs --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Arcs:
    """What came of random arcs: share written as arcs; worst |radius difference| (program units), sweep error
    (degrees) and distance of an arc's or chord's middle from the planned circle (mm); the shortest arc (program units).
    """

    share: float
    radii: float
    sweep: float
    away: float
    shortest: float


def random_arcs(rng, n):
    """Starts, ends and bulges of n arcs: radii from 0.02 to 2000 mm, sweeps up to 350 degrees, all log-uniform."""
    radius = 10 ** rng.uniform(-1.7, 3.3, n)
    sweep = 10 ** rng.uniform(-3, math.log10(math.radians(350)), n) * rng.choice([-1, 1], n)
    center, angle = rng.uniform(-300, 300, (n, 2)), rng.uniform(0, 2 * np.pi, n)
    spoke = np.column_stack([np.cos(angle), np.sin(angle)]) * radius[:, None]
    turned = np.column_stack([np.cos(angle + sweep), np.sin(angle + sweep)]) * radius[:, None]
    return (center + spoke).round(6), (center + turned).round(6), np.tan(sweep / 4), center, radius


def arc_text(begin, end, bulge, dialect):
    """Each arc after a rapid to its start."""
    script = Script(machine=machine(**dialect), zero=(0.0, 0.0, 0.0))
    script.rapid_z(5.0, over=(-1.0, -1.0), fresh=True)
    for a, e, b in zip(begin.tolist(), end.tolist(), bulge.tolist(), strict=True):
        script.rapid_xy(*a)
        script.feed(np.array([[*e, 5.0, b]]), 1000.0, 1000.0)
    return script.text()


def read_arcs(text):
    """Return (mode, x0, y0, x1, y1, i, j) of every feed move, and the number of rapids before it."""
    at = {"X": 0.0, "Y": 0.0}
    mode, group, rows, owner = 0, -1, [], []
    for line in text.splitlines():
        before = (at["X"], at["Y"])
        words = dict(WORD.findall(line))
        mode = int(words.get("G", mode))
        at |= {k: float(words[k]) for k in "XY" if k in words}
        if mode == 0:
            group += "Z" not in words
        else:
            rows.append((mode, *before, at["X"], at["Y"], float(words.get("I", 0)), float(words.get("J", 0))))
            owner.append(group)
    return np.array(rows), np.array(owner)


def arcs(n, dialect, *, seed):
    """Write n random arcs, read the text, and return the worst of everything."""
    begin, end, bulge, center, radius = random_arcs(np.random.default_rng(seed), n)
    rows, owner = read_arcs(arc_text(begin, end, bulge, dialect))
    a, e, ij = rows[:, 1:3], rows[:, 3:5], rows[:, 5:7]
    arc, left = rows[:, 0] >= 2, rows[:, 0] == 3
    if not (left == (bulge[owner] > 0))[arc].all():
        raise AssertionError("an arc runs the wrong way")
    out = e - a - ij
    off = np.abs(np.hypot(*ij.T) - np.hypot(*out.T))[arc]
    turn = np.arctan2(-ij[:, 0] * out[:, 1] + ij[:, 1] * out[:, 0], -(ij * out).sum(axis=1))
    turn = np.where(left, turn, -turn) % (2 * np.pi)
    planned = 4 * np.arctan(np.abs(bulge))
    planned /= 1 + (planned > math.radians(270))  # wider ones are written as two halves
    half = np.where(arc, np.where(left, turn, -turn), 0.0) / 2
    c, s = np.cos(half), np.sin(half)
    swung = np.column_stack([-ij[:, 0] * c + ij[:, 1] * s, -ij[:, 0] * s - ij[:, 1] * c])
    middle = np.where(arc[:, None], a + ij + swung, 0.5 * (a + e)) * Dialect(**dialect).unit
    return Arcs(
        share=len(np.unique(owner[arc])) / n,
        radii=float(off.max()),
        sweep=math.degrees(np.abs(turn[arc] - planned[owner[arc]]).max()),
        away=float(np.abs(np.hypot(*(middle - center[owner]).T) - radius[owner]).max()),
        shortest=float((np.hypot(*ij.T) * turn)[arc].min()),
    )


def many_arcs(n, dialect):
    """As `arcs`, in batches."""
    parts = [arcs(min(BATCH, n - k), dialect, seed=k) for k in range(0, n, BATCH)]
    return Arcs(
        share=float(np.mean([p.share for p in parts])),
        radii=max(p.radii for p in parts),
        sweep=max(p.sweep for p in parts),
        away=max(p.away for p in parts),
        shortest=min(p.shortest for p in parts),
    )


def main(count=1_000_000):
    for level in (False, True):
        plain, written, size = speed(level=level)
        what = "level moves" if level else "moves in X, Y and Z"
        print(f"writing 1,000,000 {what}: {written:.3f} s for {size:,} bytes, plain join {plain:.3f} s", end="; ")
        print(f"ratio {written / plain:.3f}")
    for k, dialect in enumerate(ARC_DIALECTS):
        n = count if k < 2 else count // 5
        made, result = Dialect(**dialect), many_arcs(n, dialect)
        print(f"{n:,} arcs, {made.units}, {made.places} + {made.center_places} decimals", end=": ")
        print(f"{100 * result.share:.1f} % stay arcs; worst radii {result.radii:.6f} {made.units}", end=", ")
        print(f"sweep {result.sweep:.3f} deg, off the circle {result.away:.4f} mm")


if __name__ == "__main__":
    main()
