"""A maple leaf let into a cherry board: pocket and plug with upright walls, put together before anything is cut."""

import sys
from pathlib import Path

from shapely.geometry import Point

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

board = pg.Stock(120, 90, 15, material="hardwood", thickness_range=(14.8, 15.2), grain=0)
thin = pg.Stock(110, 80, 5, material="hardwood", thickness_range=(4.9, 5.1), grain=0)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000, positioning=0.02)
mill = pg.EndMill(3, cutting_length=12, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))
small = pg.EndMill(2, cutting_length=8, cutting=pg.Cutting(18000, 1100, 300, 1, 0.8))

blade = Point(0, 18).buffer(34, quad_segs=256).intersection(Point(0, -18).buffer(34, quad_segs=256))
leaf = pg.place(blade, board, fit="none")
inlay = pg.inlay(
    leaf, mill, depth=4.5, clearance=0.05, plug_thickness=5, plug_tool=small,
    bridges=pg.Bridges(3, length=4, thickness=1), stock=board, plug_stock=thin,
)  # fmt: skip
print(f"changed by {inlay.change.farthest:.2f} mm at most, {inlay.change.area:.2f} mm2; proud {inlay.proud:g} mm")

jobs = [
    pg.Job("Leaf pocket", board, router, inlay.pocket),
    pg.Job("Leaf plug", thin, router, inlay.plug),
]
fit = pg.mate(*jobs, asked=inlay)
print(fit)
assert fit.ok
for job in jobs:
    for path in job.write(folder):
        print(path)
(folder / "Leaf section.svg").write_text(pg.section_svg(fit))
