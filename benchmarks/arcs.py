"""Time and yield of fitting arcs: `python -m benchmarks.arcs`."""

from __future__ import annotations

import math
import time

import numpy as np

from pathgen.shape.arcs import fit_arcs

TOLERANCE = 0.005
N = 100_000


def outlines() -> dict[str, np.ndarray]:
    t = np.linspace(0, 2 * math.pi, N, endpoint=False)
    wavy = 100 + 5 * np.sin(40 * t) + 2 * np.sin(173 * t)
    corners = np.random.default_rng(7).normal(size=(N, 2)).cumsum(axis=0)
    return {
        "circle, 100 mm": 50 * np.column_stack([np.cos(t), np.sin(t)]),
        "ellipse, 120 x 50 mm": np.column_stack([60 * np.cos(t), 25 * np.sin(t)]),
        "wavy ring": wavy[:, None] * np.column_stack([np.cos(t), np.sin(t)]),
        "corners only": corners,
    }


def main() -> None:
    print(f"{N} vertices, tolerance {TOLERANCE} mm")
    for name, points in outlines().items():
        begin = time.perf_counter()
        rows = fit_arcs(points, tolerance=TOLERANCE, closed=True)
        print(f"{name:24s} {time.perf_counter() - begin:6.3f} s  {len(rows) - 1:7d} moves")


if __name__ == "__main__":
    main()
