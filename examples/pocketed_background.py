"""The same drawing the other way round: the background pocketed, letters and leaf left standing."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
shared = Path(__file__).parent.parent / "shared"

board = pg.Stock(320, 160, 18, material="hardwood", thickness_range=(17.7, 18.3), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
fine = pg.EndMill(2, cutting_length=8, cutting=pg.Cutting(18000, 1200, 300, 1.5, 0.9))
mill = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))

outline = pg.place(pg.plate(296, 136, corner="round", radius=16), board, fit="none")
drawing = pg.place(pg.read(shared / "fern-sign.svg"), outline, margin=8)
art = drawing["letters"].region.union(drawing["leaf"].region).union(drawing["border"].region)
background = outline.buffer(-5).difference(art)

job = pg.Job(
    "Fern sign standing",
    board,
    router,
    [
        pg.pocket(background, fine, depth=3, stock=board),
        pg.profile(outline, mill, depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=6, thickness=1.5)),
    ],
)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
