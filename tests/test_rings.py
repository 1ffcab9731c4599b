"""The order of rings: inside before outside, one run a piece, islands one after the other, ears to spots left."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from pathgen.cuts.clearing import sheets
from pathgen.cuts.leftover import ears, leftovers
from pathgen.cuts.rings import ring_runs
from pathgen.shape.offset import as_multi


def planned(center, *, radius=1.5, stepover=1.35):
    tree = sheets(as_multi(center), radius=radius, stepover=stepover)
    left, owner = leftovers(tree, radius=radius, stepover=stepover)
    rooms = np.array([s.region for s in tree], dtype=object)
    spots = ears(left, owner, shapely.boundary(rooms), rooms, radius=radius)
    return tree, ring_runs(tree, stepover=stepover, direction="climb", radius=radius, ears=spots), spots


def test_every_ring_of_every_sheet_is_cut_once():
    center = box(0, 0, 60, 40).difference(MultiPolygon([Point(15, 20).buffer(6), Point(40, 18).buffer(4)]))
    tree, runs, _ = planned(center)
    rings = sum(len(s.table.outlines) for s in tree)
    cut = [m for r in runs for m in r.moves if m.closed]
    assert len(cut) == rings
    assert sum(LineString(m.xy).length for m in cut) == pytest.approx(sum(s.region.length for s in tree))
    assert sum(m.role == "finish" for m in cut) == 3


def test_moves_of_a_run_meet():
    center = box(0, 0, 60, 40).difference(Point(15, 20).buffer(6)).union(box(59, 10, 90, 12.2))
    for stepover in (1.35, 2.2):
        _, runs, _ = planned(center, stepover=stepover)
        for run in runs:
            for a, b in zip(run.moves, run.moves[1:], strict=False):
                assert np.abs(a.xy[-1] - b.xy[0]).max() < 1e-6


def test_the_rings_round_an_island_follow_each_other():
    """Two islands far apart: the rings next to each are cut one after the other."""
    center = box(0, 0, 90, 40).difference(MultiPolygon([Point(20, 20).buffer(3), Point(70, 20).buffer(3)]))
    _, runs, _ = planned(center)
    (run,) = runs
    closed = [Polygon(m.xy) for m in run.moves if m.closed]
    for island in (Point(20, 20), Point(70, 20)):
        place = [k for k, ring in enumerate(closed) if ring.contains(island) and np.ptp(ring.bounds[::2]) < 9]
        assert len(place) == 2
        assert place[1] == place[0] + 1


def test_an_ear_goes_out_and_back_from_its_ring():
    center = box(0, 0, 30, 20)
    _, runs, spots = planned(center, stepover=2.7)
    ways = [w for sheet in spots for w in sheet]
    assert ways
    moves = [m for r in runs for m in r.moves]
    there = [k for k, m in enumerate(moves[:-1]) if m.role == "cut" and m.slot and not m.closed and len(m.xy) < 9]
    back = [k for k in there if moves[k + 1].role == "link" and np.array_equal(moves[k + 1].xy, moves[k].xy[::-1])]
    assert len(back) == len(ways)
    whole = shapely.union_all([LineString(m.xy).buffer(1.5, quad_segs=64) for m in moves])
    assert center.buffer(1.5, quad_segs=64).difference(whole).buffer(-0.02).is_empty
