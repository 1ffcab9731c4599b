"""Nasty regions as plain data, each with what it breaks. Every cut's tests run over them.

`REGIONS[name] = (shell, holes…)`, lists of (x, y) in mm, each a list of one or more polygons. All are valid areas once
`region(name)` has built them; shapes that drawings hold in broken form are given repaired, as the reader gives them.
"""

from __future__ import annotations

import math

import shapely
from shapely.geometry import MultiPolygon, Polygon

Ring = list[tuple[float, float]]


def _circle(x: float, y: float, r: float, n: int = 96, turn: float = 0.0) -> Ring:
    return [
        (x + r * math.cos(turn + 2 * math.pi * k / n), y + r * math.sin(turn + 2 * math.pi * k / n)) for k in range(n)
    ]


def _box(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def _comb(teeth: int, gap: float, wide: float, tall: float) -> Ring:
    ring: Ring = [(0.0, 0.0)]
    pitch = gap + wide
    for k in range(teeth):
        x = k * pitch
        ring += [(x + wide, 0.0), (x + wide, tall), (x + pitch, tall), (x + pitch, 0.0)]
    end = teeth * pitch + wide
    return [*ring, (end, 0.0), (end, -12.0), (0.0, -12.0)]


def _star(n: int, outer: float, inner: float) -> Ring:
    return [
        ((outer, inner)[k % 2] * math.cos(math.pi * k / n), (outer, inner)[k % 2] * math.sin(math.pi * k / n))
        for k in range(2 * n)
    ]


def _spiral(turns: float, pitch: float, wide: float, step: int = 40) -> Ring:
    n = int(turns * step)
    angle = [2 * math.pi * k / step for k in range(n + 1)]
    start = 6.0
    out = [((start + pitch * a / 6.283185) * math.cos(a), (start + pitch * a / 6.283185) * math.sin(a)) for a in angle]
    back = [
        ((start + wide + pitch * a / 6.283185) * math.cos(a), (start + wide + pitch * a / 6.283185) * math.sin(a))
        for a in reversed(angle)
    ]
    return out + back


def _gear(n: int) -> Ring:
    return [
        (
            (30 + 4 * math.copysign(1, math.sin(n * t))) * math.cos(t),
            (30 + 4 * math.copysign(1, math.sin(n * t))) * math.sin(t),
        )
        for t in (2 * math.pi * k / (8 * n) for k in range(8 * n))
    ]


def _rooms(low: float, high: float) -> Ring:
    """Two rooms of 30 x 30 joined by a neck 15 long between the heights `low` and `high`."""
    left = [(30.0, high), (30.0, 30.0), (0.0, 30.0), (0.0, 0.0), (30.0, 0.0), (30.0, low)]
    return [*left, (45.0, low), (45.0, 0.0), (75.0, 0.0), (75.0, 30.0), (45.0, 30.0), (45.0, high)]


def _letter_b() -> Ring:
    lower = _circle(16, 17, 17, 64, -math.pi / 2)[:33]
    upper = _circle(16, 47, 13, 64, -math.pi / 2)[1:33]
    return [(0, 0), (16, 0), *lower, *upper, (0, 60)]


_ISLANDS = [
    _circle(15 + 30 * (k % 8), 12 + 20 * (k // 8), 2.0 + 0.5 * (k % 5), 24)
    if k % 3
    else _box(12 + 30 * (k % 8), 9 + 20 * (k // 8), 19 + 30 * (k % 8), 14 + 20 * (k // 8))
    for k in range(40)
]

REGIONS: dict[str, list[list[Ring]]] = {
    # the simplest shapes: closed forms are known
    "square": [[_box(0, 0, 40, 40)]],
    "disc": [[_circle(0, 0, 20, 180)]],
    "annulus": [[_circle(0, 0, 30, 180), _circle(0, 0, 12, 120)]],
    "slot": [[[*_circle(0, 0, 4.2, 64)[48:], *_circle(0, 0, 4.2, 64)[:17], *[(-40.0, 4.2), (-40.0, -4.2)]]]],
    "triangle": [[[(0, 0), (60, 0), (10, 45)]]],
    # two triangles that meet in a point, what a bow-tie becomes once repaired
    "bow-tie": [[[(0, 0), (20, 20), (0, 40)]], [[(40, 0), (40, 40), (20, 20)]]],
    # narrow teeth: many leaves, some that the tool does not enter
    "comb": [[_comb(7, 6.0, 9.0, 25.0)]],
    "narrow comb": [[_comb(5, 8.0, 3.2, 20.0)]],
    # long and hardly wider than a 3 mm tool
    "sliver": [[[(0, 0), (80, 0), (80, 3.3), (0, 3.05)]]],
    # a wedge that gets arbitrarily narrow
    "needle": [[[(0, 0), (120, 4), (0, 8)]]],
    # a hole that touches the shell in a point in mid-edge
    "touching hole": [[_box(0, 0, 50, 40), [(0, 20), (18, 12), (22, 24)]]],
    # two holes that touch each other in a point
    "holes that touch": [[_box(0, 0, 60, 40), _box(10, 10, 28, 20), [(28, 20), (45, 20), (45, 32), (28, 32)]]],
    "star": [[_star(7, 40, 14)]],
    "sharp star": [[_star(11, 45, 25)]],
    "spiral": [[_spiral(3, 14, 9)]],
    "gear": [[_gear(12)]],
    # two rooms joined by a neck one hair wider than a 3 mm tool, and one hair narrower
    "neck open": [[_rooms(13, 16.02)]],
    "neck shut": [[_rooms(13, 15.98)]],
    # a neck that no tool can pass, thin as a hair
    "hair neck": [[_rooms(14.99, 15.01)]],
    # vertices given twice, and three in a line
    "doubled points": [
        [[(0, 0), (0, 0), (15, 0), (30, 0), (30, 0), (30, 20), (30, 20.0000001), (0, 20), (0, 20), (0, 10)]]
    ],
    # far from the origin: float noise is a hundred times larger
    "far away": [[[(90000.0 + x, 70000.0 + y) for x, y in _star(5, 30, 15)]]],
    # a hundred short edges on each side, nearly straight
    "nearly straight": [
        [
            [(0.4 * k, 0.0005 * (k % 2)) for k in range(101)]
            + [(40 - 0.4 * k, 25 + 0.0005 * (k % 2)) for k in range(101)]
        ]
    ],
    # edges of very different length
    "mixed edges": [[[(0, 0), (50, 0), (50, 0.001), (50.002, 0.0015), (50, 30), (49.999, 30), (0, 30)]]],
    "plate with 40 islands": [[_box(0, 0, 240, 100), *_ISLANDS]],
    # letters' habits: counters, a thin bar, a serif, an acute join
    "letter A": [
        [[(0, 0), (9, 0), (14, 14), (34, 14), (39, 0), (48, 0), (29, 52), (19, 52)], [(17, 22), (31, 22), (24, 42)]]
    ],
    "letter B": [[_letter_b(), _box(9, 9, 16, 25), _box(9, 41, 16, 53)]],
    "letter e": [[[*_circle(0, 0, 20, 72)[:60], *_circle(0, 0, 11, 72)[59:0:-1][:54], (0.0, 4.0), (20.0, 4.0)]]],
    # an island that leaves a corridor just wide enough on one side only
    "off-center island": [[_box(0, 0, 60, 60), _box(4, 4, 48, 48)]],
    # rooms side by side, not joined
    "scattered": [[_box(20 * k, 0, 20 * k + 6 + k, 9 + 2 * k)] for k in range(8)],
    # saw teeth far smaller than the tool
    "saw": [[[(0.5 * k, 0.35 * (k % 2)) for k in range(121)] + [(60, 20), (0, 20)]]],
}
"""Name -> polygons, each a shell and its holes."""


def region(name: str) -> MultiPolygon:
    """Return a corpus region as a valid MultiPolygon."""
    polygons = [Polygon(rings[0], rings[1:]) for rings in REGIONS[name]]
    whole = MultiPolygon(polygons) if len(polygons) > 1 else polygons[0]
    whole = shapely.make_valid(whole)
    parts = [p for p in shapely.get_parts(whole) if isinstance(p, Polygon)]
    if not parts:
        parts = [p for g in shapely.get_parts(whole) for p in shapely.get_parts(g) if isinstance(p, Polygon)]
    return MultiPolygon(parts)
