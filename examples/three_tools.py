"""A tray with a leaf island, cleared by three end mills in turn: each takes only what the one before it left."""

import sys
from pathlib import Path

from shapely.geometry import Point

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

board = pg.Stock(180, 120, 18, material="hardwood", thickness_range=(17.7, 18.3))
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
mills = [
    pg.EndMill(12, cutting_length=30, cutting=pg.Cutting(14000, 2400, 600, 3, 5)),
    pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 2, 2.5)),
    pg.EndMill(2, cutting_length=8, cutting=pg.Cutting(18000, 900, 300, 0.8, 0.8)),
]

tray = pg.place(pg.plate(150, 90, corner="round", radius=1.2), board, fit="none")
leaf = Point(0, 20).buffer(30, quad_segs=64).intersection(Point(0, -20).buffer(30, quad_segs=64))
region = tray.difference(pg.place(leaf, tray, fit="none"))

cuts = []
for mill in mills:
    cuts += pg.pocket(region, mill, depth=4, rest_after=cuts, stock=board, name=f"tray {mill.diameter:g} mm")
job = pg.Job("Three tools", board, router, cuts)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
