"""Card templates of two bench parts from a drawing: cut with a trailing knife, marked with shallow cuts."""

import sys
from pathlib import Path

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
drawing = pg.read(Path(__file__).parent.parent / "shared" / "bench-parts.dxf")

card = pg.Stock(400, 290, 0.5, material="card", thickness_range=(0.47, 0.53))
table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
blade = pg.TrailingKnife(trail=0.8, edge_angle=50, max_depth=2, cutting=pg.Cutting(0, 1500, 300))

holes = drawing["HOLES"].region
side, slat = sorted(drawing["OUTLINE"].region.geoms, key=lambda part: -part.area)[:2]
jobs = []
for name, part in (("Bench side", side), ("Slat", slat)):
    pieces = pg.template(
        part.difference(holes), sheet=(380, 270), label=pg.text(name, height=12, font="sans"), name=name
    )
    for piece in pieces:
        piece = pg.place(piece, card, fit="none")
        waste = card.region.difference(piece.region)
        marks = pg.knife(piece.lines, blade, depth=0.15, waste=waste, stock=card, name="marks")
        outline = pg.knife(piece.region, blade, depth=pg.THROUGH, stock=card, name="outline")
        job = pg.Job(piece.name, card, table, [*marks, *outline])
        jobs.append(job)
        job.write(folder / piece.name.lower().replace(" ", "-"))
        tip = max(blade.off for blade in job.prove().blades)
        print(f"{piece.name}: {job.time().total:.0f} s, tip {tip:.4f} mm off at most")
