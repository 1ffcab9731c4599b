"""A trail sign cut into the back of clear acrylic: mirrored first, then planned, so that climb stays climb."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
shared = Path(__file__).parent.parent / "shared"

panel = pg.Stock(260, 140, 6, material="acrylic", thickness_range=(5.6, 6.4), film=0.1)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
bit = pg.VBit(90, diameter=8, cutting=pg.Cutting(14000, 1200, 300, 2, 0.3, cooling="air"))
mill = pg.EndMill(4, flutes=1, cutting_length=12, cutting=pg.Cutting(16000, 1400, 300, 1.5, 1.6, cooling="air"))

outline = pg.place(pg.plate(240, 120, corner="round", radius=16), panel, fit="none")
art = pg.place(pg.read(shared / "trail-sign.svg"), outline, margin=14)

back = pg.back_side(art, panel)
back_outline = pg.back_side(outline, panel)

job = pg.Job(
    "Trail sign back",
    panel,
    router,
    [
        pg.vgroove(back, bit, stock=panel, depth_limit=2),
        pg.profile(back_outline, mill, depth=pg.THROUGH, stock=panel, bridges=pg.Bridges(4, length=5, thickness=1)),
    ],
    artwork=art,
    face="back",
    confirmed=True,
    minimum_left=3,
)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
