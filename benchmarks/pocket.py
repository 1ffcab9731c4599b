"""Planning a pocketed background, against the plain offset loop and the booleans that find what rings leave.

Run from the project's root: ``python -m benchmarks.pocket``. Prints a table of processor seconds; the target is
2.0 x or less.

The plain work is what no planner can do without: buffer loops over the whole background until nothing remains
(simplified between, as it would otherwise be several times slower), then rings grown by the radius, joined, and
taken from what the tool can reach.
"""

import time

import numpy as np
import shapely

import pathgen as pg
from pathgen.shape.tolerance import PLAN, SIMPLIFY, quad_segs

RUNS = 3
TARGET = 2.0


def background(words: str, width: float, height: float, cap: float):
    """A plate less its lettering."""
    plate = pg.plate(width, height)
    return plate.difference(pg.place(pg.text(words, height=cap, align="center"), plate, margin=8).region)


def islands():
    """A plate with 40 round and square islands."""
    x, y = np.meshgrid(np.arange(8) * 30 + 15.0, np.arange(5) * 20 + 12.0)
    spots = shapely.points(x.ravel(), y.ravel())
    round_, square = shapely.buffer(spots[::2], 3.0, quad_segs=32), shapely.buffer(spots[1::2], 3.5, cap_style="square")
    return shapely.box(0, 0, 240, 104).difference(shapely.union_all([*round_, *square]))


def plain(region, radius: float, stepover: float) -> tuple[float, float]:
    """Return seconds of the offset loop, and of the booleans."""
    segments = quad_segs(radius, PLAN)
    begin = time.process_time()
    rest = shapely.buffer(region, -radius, quad_segs=segments)
    sheets = []
    while not rest.is_empty:
        sheets.append(rest)
        rest = shapely.buffer(shapely.simplify(rest, SIMPLIFY), -stepover, quad_segs=segments)
    looped = time.process_time()
    rings = shapely.boundary(np.array(sheets, dtype=object))
    swept = shapely.union_all(shapely.buffer(rings, radius, quad_segs=segments))
    left = shapely.buffer(sheets[0], radius, quad_segs=segments).difference(swept)
    assert left.area < region.area
    return looped - begin, time.process_time() - looped


def main() -> None:
    print(f"{'background':34} {'stepover':>8} {'loop s':>8} {'booleans s':>10} {'pocket s':>9} {'ratio':>6}")
    shapes = {
        "two lines of text, 300 x 100": background("Botanic Garden\nFern & Moss", 300, 100, 20),
        "five lines of text, 400 x 250": background("\n".join(["Walled Garden and Fernery"] * 5), 400, 250, 20),
        "40 islands, 240 x 104": islands(),
    }
    for name, region in shapes.items():
        for share in (0.45, 0.7):
            tool = pg.EndMill(3, cutting=pg.Cutting(16000, 1800, 500, None, share * 3))
            loops, booleans, planned = [], [], []
            for _ in range(RUNS):
                loop, boolean = plain(region, 1.5, share * 3)
                begin = time.process_time()
                pg.pocket(region, tool, depth=3)
                planned.append(time.process_time() - begin)
                loops.append(loop)
                booleans.append(boolean)
            ratio = min(planned) / (min(loops) + min(booleans))
            row = f"{min(loops):8.3f} {min(booleans):10.3f} {min(planned):9.3f} {ratio:6.2f}"
            print(f"{name:34} {share:8.0%} {row}{'' if ratio <= TARGET else '  above the target'}")


if __name__ == "__main__":
    main()
