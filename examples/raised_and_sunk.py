"""One name twice: sunk by a V bit, and left standing above a floor that two end mills clear."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

board = pg.Stock(220, 90, 18, material="hardwood", thickness_range=(17.7, 18.3), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
bit = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.3))
mill = pg.EndMill(6.35, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
small = pg.EndMill(3.175, cutting_length=12, cutting=pg.Cutting(16000, 1400, 400, 1.5, 1.2))

plate = pg.place(pg.plate(200, 70, corner="round", radius=10), board, fit="none")
name = pg.place(pg.text("Linden", height=30), plate, fit="none")
bridges = pg.Bridges(4, length=6, thickness=1.5)
outline = pg.profile(plate, mill, depth=pg.THROUGH, stock=board, bridges=bridges)
field = pg.place(pg.plate(188, 58, corner="round", radius=6), board, fit="none")

jobs = [
    pg.Job("Linden sunk", board, router, [pg.vgroove(name, bit, stock=board), outline], artwork=name),
    pg.Job(
        "Linden raised",
        board,
        router,
        [pg.raised(name, field, floor_tool=(mill, small), bit=bit, depth=4, stock=board), outline],
        artwork=name,
    ),
]
for job in jobs:
    print(job.prove())
    print(job.time())
    for path in job.write(folder):
        print(path)
