"""Draw where a trailing knife's pivot and tip go, from the written program: ``python docs/make_knife_picture.py``."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

import pathgen as pg
from pathgen.motion.read import read_program
from pathgen.proof.blade import traces
from pathgen.proof.setting import Setting
from pathgen.proof.strokes import strokes_of, track_of

OUT = Path(__file__).parent / "pictures" / "knife.png"
WIDTH, FINE = 1000, 3
INK, BLADE, PIVOT, PAPER = (25, 25, 25), (190, 176, 150), (0, 96, 160), (250, 246, 238)

card = pg.Stock(52, 25, 0.5, material="card", thickness_range=(0.48, 0.52))
table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
blade = pg.TrailingKnife(trail=1.0, edge_angle=45, cutting=pg.Cutting(0, 1500, 300))


def setting() -> Setting:
    """Cut a word, read the program back, and take it as the proof does."""
    word = pg.place(pg.text("Sage", height=13, font="sans"), card, margin=3, fit="none", align="right")
    (program,) = pg.Job("Sage", card, table, pg.knife(word, blade, depth=0.4, stock=card)).programs()
    motion = read_program(program.text)
    track = track_of([motion], program.tools, card)
    return Setting(
        texts=[program.text], motions=[motion], track=track, strokes=strokes_of(track), tools=program.tools, stock=card
    )


def main() -> None:
    """Write the picture."""
    legs, (trace, _), _ = traces(setting())
    scale = WIDTH * FINE / card.width
    high = round(card.height * scale)
    page = Image.new("RGB", (WIDTH * FINE, high), PAPER)
    draw = ImageDraw.Draw(page)

    def put(points: np.ndarray) -> list[tuple[float, float]]:
        return [(float(x) * scale, high - float(y) * scale) for x, y in points]

    pivot = trace.tip[:, :2] + legs.trail[trace.leg][:, None] * np.column_stack(
        [np.cos(trace.heading), np.sin(trace.heading)]
    )
    last = np.zeros(2)
    for k in range(len(trace)):
        if np.hypot(*(pivot[k] - last)) > 0.12:
            draw.line(put(np.array([trace.tip[k, :2], pivot[k]])), fill=BLADE, width=FINE)
            last = pivot[k]
    for points, color, width in ((pivot, PIVOT, 2 * FINE), (trace.tip[:, :2], INK, 4 * FINE)):
        gaps = np.flatnonzero(np.hypot(*np.diff(points, axis=0).T) > 1.5)
        for part in np.split(np.arange(len(points)), gaps + 1):
            if len(part) > 1:
                draw.line(put(points[part]), fill=color, width=width, joint="curve")
    font = ImageFont.load_default(26 * FINE)
    for row, (color, words) in enumerate(((INK, "tip"), (PIVOT, "pivot"), (BLADE, "blade"))):
        y = (30 + 38 * row) * FINE
        draw.line([(24 * FINE, y), (84 * FINE, y)], fill=color, width=4 * FINE)
        draw.text((100 * FINE, y), words, fill=INK, font=font, anchor="lm")
    page = page.resize((WIDTH, round(high / FINE)), Image.Resampling.LANCZOS)
    page.quantize(64, dither=Image.Dither.NONE).save(OUT, optimize=True)
    print(OUT.name, page.size)


if __name__ == "__main__":
    main()
