"""The demo job: a name sunk into an oak board and the board cut out, into the folder given (default: demo)."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "demo")

# Stock and machine as the maker states them; what is not stated is warned of on the sheet.
board = pg.Stock(300, 150, 18, material="hardwood", thickness_range=(17.7, 18.3), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)

# Speeds belong to this router and this board. Take yours from the cutter maker's table.
bit = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
mill = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))

outline = pg.place(pg.plate(280, 120, corner="hollow", radius=12), board, fit="none")
name = pg.place(pg.text("Fern Walk", height=40), outline, margin=20)
bridges = pg.Bridges(4, length=6, thickness=1.5)

job = pg.Job(
    "Fern Walk",
    board,
    router,
    [
        pg.vgroove(name, bit, stock=board),
        pg.profile(outline, mill, depth=pg.THROUGH, stock=board, bridges=bridges),
    ],
)
proof = job.prove()
print(proof)
print(job.time())
for path in job.write(folder):
    print(path)
