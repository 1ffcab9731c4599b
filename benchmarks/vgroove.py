"""V-groove of a 400-letter paragraph against the raw Voronoi construction of the same segments.

Run: python -m benchmarks.vgroove [rounds]. Best of the rounds, all in one run, since machines differ.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import pyvoronoi
import shapely

import pathgen as pg
from pathgen.shape.medial import medial_axis

PARAGRAPH = (
    "In the fern house the path turns left past the tree ferns and runs down to\n"
    "the pond, where water lilies open from May to late September. Please keep\n"
    "to the boards: the moss on both sides took forty years to grow, and every\n"
    "step on it is seen for ten. Seats stand at the gate, beside the old quince\n"
    "and under the lime. The garden closes at dusk; a bell rings twice before the\n"
    "gates are locked. Dogs are welcome on a lead, bicycles stay at the lower gate.\n"
    "Take nothing but seeds you are given; leave nothing but your own footprints.\n"
)


def best(works: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Return the least processor time of each, s; they take turns, so that a busy machine slows all alike."""
    least = dict.fromkeys(works, float("inf"))
    for _ in range(rounds):
        for name, work in works.items():
            start = time.process_time()
            work()
            least[name] = min(least[name], time.process_time() - start)
    return least


def main(rounds: int = 5) -> None:
    """Print the table."""
    text = pg.text(PARAGRAPH, height=12)
    bit = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500))
    segments = []
    for polygon in text.region.geoms:
        rings = [np.asarray(r.coords) for r in (polygon.exterior, *polygon.interiors)]
        segments.append(np.concatenate([np.stack([r[:-1], r[1:]], axis=1) for r in rings]).tolist())

    def raw() -> None:
        for polygon in segments:
            diagram = pyvoronoi.Pyvoronoi(100000)
            for segment in polygon:
                diagram.AddSegment(segment)
            diagram.Construct()

    asked = {"V-groove, each letter by itself": 2.5}
    times = best(
        {
            "raw construction": raw,
            "medial axis": lambda: medial_axis(text.region, tolerance=0.004),
            "V-groove, each letter by itself": lambda: pg.vgroove(text, bit, depth_limit=9, reuse=False),
            "V-groove, equal letters once": lambda: pg.vgroove(text, bit, depth_limit=9),
        },
        rounds,
    )
    count = sum(map(len, segments))
    print(f"{len(text.glyphs)} letters, {shapely.get_num_geometries(text.region)} polygons, {count} segments")
    for name, taken in times.items():
        ratio = f"{taken / times['raw construction']:6.2f} x"
        print(f"{name:34s} {taken:8.3f} s  {ratio}" + (f"   (asked: {asked[name]} x)" if name in asked else ""))


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
