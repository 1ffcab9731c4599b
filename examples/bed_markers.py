"""Ten bed markers from a spreadsheet: one job for each row, each in a folder of its own."""

import csv
import sys
from pathlib import Path

from shapely.geometry import box

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
shared = Path(__file__).parent.parent / "shared"

board = pg.Stock(140, 70, 9, material="hardwood", thickness_range=(8.8, 9.2), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
bit = pg.VBit(60, diameter=6.35, cutting=pg.Cutting(18000, 1200, 400, 4, 0.4))
mill = pg.EndMill(4, cutting_length=12, cutting=pg.Cutting(18000, 1400, 400, 2, 1.6))
outline = pg.place(pg.plate(126, 56, corner="round", radius=8), board, fit="none")
x0, y0, x1, y1 = outline.bounds
upper, lower = box(x0, y0 + 22, x1, y1), box(x0, y0, x1, y0 + 24)
jobs = []

with open(shared / "garden-names.csv", encoding="utf-8", newline="") as rows:
    for number, row in enumerate(csv.DictReader(rows), 1):
        name = pg.place(pg.text(row["name"], height=15), upper, margin=7)
        latin = pg.place(pg.text(row["latin"], height=7, font="serif semibold"), lower, margin=7)
        job = pg.Job(
            f"Marker {number:02d} {row['name']}",
            board,
            router,
            [
                pg.vgroove(name, bit, stock=board, name="name"),
                pg.vgroove(latin, bit, stock=board, name="latin name"),
                pg.profile(outline, mill, depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=5, thickness=1)),
            ],
        )
        jobs.append(job)
        files = job.write(folder / f"{number:02d}")
        print(f"{row['name']}: {job.time().total:.0f} s, gouge {job.prove().gouge:.4f} mm, {len(files)} files")
