"""A brass key across a split in a bench slat: the room it needs follows from how the wood moves through the year."""

import sys
from pathlib import Path

from shapely.geometry import Polygon

import pathgen as pg
from pathgen.shop import wood

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

slat = pg.Stock(140, 70, 30, material="hardwood", thickness_range=(29.7, 30.3), grain=0)
brass = pg.Stock(90, 50, 4, material="brass", thickness_range=(3.95, 4.05))
router = pg.Machine(travel=(600, 400, 90), max_feed=2400, acceleration=(500, 500, 250), max_rpm=24000, positioning=0.02)
in_wood = pg.EndMill(3, cutting_length=12, flutes=2, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))
in_brass = pg.EndMill(
    3, cutting_length=8, flutes=1, number=5, cutting=pg.Cutting(10000, 300, 60, 0.2, 0.9, ramp=2, cooling="mist")
)

# The key lies with its length across the grain: 24 mm of it span the split.
key = pg.place(Polygon([(-12, -18), (-5, 0), (-12, 18), (12, 18), (5, 0), (12, -18)]), slat, fit="none")
year = wood.seasons("white-oak", 36, cut_at=50, driest=35, dampest=70, grain="tangential")
print(f"the pocket closes by {year.closes:.2f} mm in the driest season, opens by {year.opens:.2f} in the dampest")
for note in year.notes:
    print(note)

inlay = pg.inlay(
    key, in_wood, depth=3.5, clearance=round(year.clearance, 2), plug_thickness=4, under_gap=0.3, plug_tool=in_brass,
    bridges=pg.Bridges(3, length=3, thickness=0.8), finish_allowance=0.15, stock=slat, plug_stock=brass,
)  # fmt: skip
jobs = [pg.Job("Key pocket", slat, router, inlay.pocket), pg.Job("Key plug", brass, router, inlay.plug)]
fit = pg.mate(*jobs, asked=inlay)
print(fit)
assert fit.ok
for job in jobs:
    print(job.prove())
    for path in job.write(folder):
        print(path)
(folder / "Key section.svg").write_text(pg.section_svg(fit))
