"""Bridges as the machine leaves them: measured from the written text, with nothing of the planner or the proof.

The text is read back, its moves below a height are grown by the cutter's radius (shapely), and what stands on the
cutter's center line is the bridge.
"""

import numpy as np
import pytest
import shapely
from shapely.affinity import scale
from shapely.geometry import MultiPoint, Point, Polygon, box

import pathgen as pg
from pathgen.model.motion import ARC, RAPID
from pathgen.motion.read import read_program

BOARD = pg.Stock(160, 110, 12, material="hardwood", thickness_range=(11.8, 12.2))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
STAR = Polygon(
    [(80 + r * np.cos(a), 55 + r * np.sin(a)) for a, r in zip(np.arange(10) * np.pi / 5, [44, 24] * 5, strict=True)]
)
SHAPES = {
    "rectangle": box(20, 20, 140, 90),
    "star": STAR,
    "disc": Point(80, 55).buffer(35, quad_segs=128),
    "oval": scale(Point(80, 55).buffer(30, quad_segs=128), 2, 1),
    "L": Polygon([(20, 20), (140, 20), (140, 55), (70, 55), (70, 90), (20, 90)]),
}


def ways(text, z):
    """The straight pieces (arcs cut finely) of all feed moves that lie at or below `z`."""
    m = read_program(text).moves
    lines = []
    for k in np.flatnonzero((m.kind != RAPID) & (np.maximum(m.start[:, 2], m.end[:, 2]) <= z + 1e-9)):
        if m.kind[k] != ARC:
            lines.append([m.start[k, :2], m.end[k, :2]])
            continue
        spoke = m.start[k, :2] - m.center[k, :2]
        turn = np.linspace(0, m.sweep[k], max(2, int(abs(m.sweep[k]) / 0.01)))
        c, s = np.cos(turn), np.sin(turn)
        lines.append(m.center[k, :2] + np.column_stack([c * spoke[0] - s * spoke[1], s * spoke[0] + c * spoke[1]]))
    return shapely.multilinestrings([shapely.linestrings(line) for line in lines])


def standing(text, center_line, z):
    """What stands on the center line at height `z`, end to end around the ring."""
    left = center_line.difference(ways(text, z).buffer(3.0, quad_segs=64))
    return [
        p for p in shapely.get_parts(shapely.line_merge(left) if left.geom_type != "LineString" else left) if p.length
    ]


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("finish", [0.0, 0.3])
def test_bridges_in_the_written_text_are_as_asked(name, finish):
    """Count exact, length at the narrowest within 0.05 mm, thickness within 0.02 mm, none on a corner."""
    outline = SHAPES[name]
    bridges = pg.Bridges(4, length=6, thickness=1.5)
    cuts = pg.profile(
        outline,
        MILL,
        depth=pg.THROUGH,
        stock=BOARD,
        bridges=bridges,
        finish_allowance=finish,
        lead=0 if not finish else None,
    )
    job = pg.Job(name, BOARD, ROUTER, cuts)
    (program,) = job.programs()
    center_line = outline.buffer(3.0, quad_segs=128).exterior
    found = standing(program.text, center_line, -12 + 0.5)
    assert len(found) == 4
    for piece in found:
        chord = Point(piece.coords[0]).distance(Point(piece.coords[-1]))
        assert chord == pytest.approx(6.0, abs=0.05)
    assert len(standing(program.text, center_line, -12 + 1.5 - 0.02)) == 4
    assert not standing(program.text, center_line, -12 + 1.5 + 0.02)
    corners = MultiPoint(sharp_corners(outline))
    assert all(piece.distance(corners) > 3.0 for piece in found)


def sharp_corners(outline):
    """Vertices at which the outline turns by more than 20 degrees."""
    xy = np.array(outline.exterior.coords)[:-1]
    a, b = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    sharp = xy[np.abs(np.degrees(turn)) > 20]
    return sharp if len(sharp) else np.array([[1e6, 1e6]])
