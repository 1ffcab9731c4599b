"""A sunk-letter sign from an SVG drawing: letters and leaf by V bit, the outline cut free."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
shared = Path(__file__).parent.parent / "shared"

board = pg.Stock(320, 160, 18, material="hardwood", thickness_range=(17.7, 18.3), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
bit = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
mill = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))

drawing = pg.read(shared / "fern-sign.svg")
for note in drawing.notes:
    print(note)

outline = pg.place(pg.plate(296, 136, corner="round", radius=16), board, fit="none")
art = pg.place(drawing, outline, margin=8)

job = pg.Job(
    "Fern sign sunk",
    board,
    router,
    [
        pg.vgroove(art, bit, stock=board, depth_limit=7),
        pg.profile(outline, mill, depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=6, thickness=1.5)),
    ],
    artwork=art,
)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
