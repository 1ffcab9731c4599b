"""A ladder of pockets from tight to loose, and a plug: it tells a shop the clearance that its own fits need."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

board = pg.Stock(170, 110, 12, material="hardwood", thickness_range=(11.8, 12.2))
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
mill = pg.EndMill(3, cutting_length=14, cutting=pg.Cutting(16000, 1500, 400, 1.5, 1.2))

job = pg.trial("fit", mill, stock=board, machine=router, depth=4)
print(job.prove())
for path in job.write(folder):
    print(path)
print("third pocket fits:", pg.trial_result("fit", fits=3))
