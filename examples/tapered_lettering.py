"""Letters pressed into a board: pocket and plug by one V bit, walls that meet along their whole height."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

board = pg.Stock(150, 80, 15, material="hardwood", thickness_range=(14.8, 15.2), grain=0)
light = pg.Stock(150, 80, 12, material="hardwood", thickness_range=(11.8, 12.2), grain=0, zero_height="table")
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
bit = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.3))
mill = pg.EndMill(3, cutting_length=12, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))

word = pg.place(pg.text("Ivy", height=36, tolerance=0.001), board, fit="none")
inlay = pg.tapered_inlay(word, bit, depth=4, under_gap=0.4, proud=1, floor_tool=mill, stock=board, plug_stock=light)
jobs = [
    pg.Job("Ivy pocket", board, router, inlay.pocket, artwork=word),
    pg.Job("Ivy plug", light, router, inlay.plug),
]
fit = pg.mate(*jobs, asked=inlay)
print(fit)
assert fit.ok
for job in jobs:
    for path in job.write(folder):
        print(path)
(folder / "Ivy section.svg").write_text(pg.section_svg(fit))
