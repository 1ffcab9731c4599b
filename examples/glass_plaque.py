"""A donor plaque of float glass, drawn with a diamond point: hatched letters, a shaded leaf, single-line lettering."""

import sys
from pathlib import Path

from PIL import Image, ImageDraw, ImageFilter
from shapely.affinity import translate
from shapely.geometry import box

import pathgen as pg

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "out")

glass = pg.Stock(200, 120, 6, material="glass", thickness_range=(5.8, 6.2), unevenness=0.05)
router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
# travel and width of the line come from trial("line", ...) on a piece of the same glass, never tempered
point = pg.DiamondPoint(preload=1, spring_rate=3, max_travel=1, cutting=pg.Cutting(0, 700, 150))
print(f"{pg.force_at(point, 0.4):.1f} N")

# a drop of dew in shades of grey; scratches on glass are light, so light shades get the lines close together
drop = Image.new("L", (240, 240), 0)
pen = ImageDraw.Draw(drop)
for k in range(110, 0, -1):
    pen.ellipse((120 - k, 120 - k, 120 + k, 120 + k), fill=40 + round(1.9 * (110 - k)))
pen.ellipse((70, 60, 110, 100), fill=0)
dew = translate(
    pg.tone(drop.filter(ImageFilter.GaussianBlur(3)), width=34, spacing_dark=2, spacing_light=0.35, angle=30), 14, 68
)

name = pg.place(pg.text("Friends of the\nFern House", height=13, align="center"), box(52, 60, 192, 112), margin=2)
words = pg.stroke_text(
    "gave the glass of this roof\nin the year of the great hail", height=5.5, font="serif italic", align="center"
)
words = pg.place(words, box(20, 14, 180, 50), margin=2)
border = pg.place(pg.plate(190, 110, corner="hollow", radius=8), glass, fit="none")


def drawn(lines, name):
    """Draw lines on the glass."""
    return pg.scribe(lines, point, travel=0.4, line_width=0.12, stock=glass, name=name)


job = pg.Job(
    "Glass plaque",
    glass,
    router,
    [
        drawn(pg.hatch(name, spacing=0.35, angle=60), "hatched name"),
        drawn(name, "outlines of the name"),
        drawn(words, "words"),
        drawn(dew, "drop of dew"),
        drawn(border, "border"),
    ],
)
print(job.prove())
print(job.time())
for path in job.write(folder):
    print(path)
