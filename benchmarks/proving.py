"""How long a proof takes: a 300 x 150 mm sign (V letters, pocket, outline on bridges) on a grid of 0.1 mm.

Held against `scipy.ndimage.distance_transform_edt` of the letters' mask on the same grid, in the same run:
``python -m benchmarks.proving``. With ``--sheet`` also a sheet of 1220 x 610 mm, with its peak of memory.
"""

from __future__ import annotations

import resource
import sys
import time

from scipy.ndimage import distance_transform_edt
from shapely.geometry import box

import pathgen as pg
from pathgen.proof.grid import Grid, inside

ROUTER = pg.Machine(travel=(1300, 700, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
PIXEL = 0.1


def sign(width: float, height: float, words: str, cap: float) -> tuple[pg.Job, object]:
    """Return a job with letters on the left, a pocket on the right, and an outline; and the letters."""
    board = pg.Stock(width, height, 18, material="hardwood", thickness_range=(17.8, 18.2))
    outline = pg.place(pg.plate(width - 20, height - 20), board, fit="none")
    left = box(18, 20, 0.7 * width, height - 20)
    letters = pg.place(pg.text(words, height=cap), left, fit="shrink")
    cuts = [
        pg.vgroove(letters, BIT, stock=board),
        pg.pocket(box(0.72 * width, 20, width - 18, height - 20), MILL, depth=3, stock=board),
        pg.profile(outline, MILL, depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=6, thickness=1.5)),
    ]
    return pg.Job("Garden sign", board, ROUTER, cuts), letters.region


def best(call, times: int = 3) -> float:
    """Return the shortest of several runs, seconds."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def main() -> None:
    job, letters = sign(300, 150, "Fern Garden\nRose Walk", 40)
    job.programs(unproved=True)
    steps = iter(PIXEL * (1 + 1e-9 * k) for k in range(10))  # a new grid each time, since proofs are kept
    prove = best(lambda: job.prove(grid=next(steps)))
    mask = inside(letters, Grid.over(300, 150, PIXEL))
    edt = best(lambda: distance_transform_edt(mask))
    proof = job.prove(grid=PIXEL)
    print(f"sign 300 x 150 mm, grid {PIXEL} mm: proof {prove:.2f} s, distance transform {edt:.2f} s")
    print(f"ratio {prove / edt:.2f} (asked: at most 5); gouge {proof.gouge:.4f}, residual {proof.residual:.4f} mm")
    if "--sheet" in sys.argv:
        job, _ = sign(1220, 610, "\n".join(["Botanic Garden", "Fern House", "Rose Walk"]), 120)
        begin = time.perf_counter()
        proof = job.prove(grid=PIXEL)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"sheet 1220 x 610 mm: proof {time.perf_counter() - begin:.1f} s with writing, peak memory {peak:.2f} GB")
        print(f"gouge {proof.gouge:.4f}, residual {proof.residual:.4f} mm, ok {proof.ok}")


if __name__ == "__main__":
    main()
