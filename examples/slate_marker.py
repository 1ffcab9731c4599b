"""A slate bed marker: a fern and two lines of lettering drawn with a diamond point that never spins."""

import sys
from pathlib import Path

from shapely.affinity import translate
from shapely.geometry import box

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")
shared = Path(__file__).parent.parent / "shared"

slate = pg.Stock(150, 90, 8, material="stone", thickness_range=(7, 9), unevenness=0.2)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
# travel and width of the line come from trial("line", ...) on a piece of the same slate
point = pg.DiamondPoint(preload=1.5, spring_rate=4, max_travel=1.2, cutting=pg.Cutting(0, 900, 200))
pressed = {"travel": 0.6, "line_width": 0.2, "stock": slate}

border = pg.place(pg.plate(140, 80, corner="round", radius=8), slate, fit="none")
frond = pg.read(shared / "fern-sign.svg")["leaf"].region.intersection(box(28, 8, 76, 110))  # the largest of three
leaf = pg.place(frond, box(8, 8, 52, 82), margin=2, fit="fill")
name = pg.place(pg.text("Shield fern", height=10, font="sans bold"), box(54, 46, 142, 78), margin=4)
latin = pg.place(pg.stroke_text("Polystichum setiferum", height=5, font="script"), box(54, 27, 142, 47), margin=4)
number = translate(pg.stroke_text("No. 28", height=4), 88, 17)

job = pg.Job(
    "Slate marker",
    slate,
    router,
    [
        pg.scribe(border, point, name="border", **pressed),
        pg.scribe(leaf, point, name="outlines of the leaf", **pressed),
        pg.scribe(pg.hatch(leaf, spacing=0.4, angle=20), point, name="filled leaf", **pressed),
        pg.scribe(name, point, name="outlines of the name", **pressed),
        pg.scribe(pg.hatch(name, spacing=0.4), point, name="filled name", **pressed),
        pg.scribe(latin, point, name="latin name", **pressed),
        pg.scribe(number, point, name="number", **pressed),
    ],
)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
