"""Steady engagement, measured from the written text on a grid of its own: never a slot, nothing left, no gouge."""

import math

import corpus
import numpy as np
import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import LineString, Point, box

from pathgen.cuts.pocket import pocket
from pathgen.cuts.steady import longest_step
from pathgen.errors import ArgumentError
from pathgen.job import Job
from pathgen.model.machine import Machine
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, EndMill
from pathgen.motion.read import read_program

MACHINE = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
CELL = 0.04
"""Size of a grid cell, mm. Material is looked for this far outside the cutter, so that every angle measured is too
large, by about CELL / (r sin(angle)): 1 degree."""
STEP = 0.1
"""How far the tool goes between two looks, mm."""


def mill(diameter, *, stepdown=None, direction="climb"):
    speeds = Cutting(16000, 1800, 500, stepdown, 0.45 * diameter, direction=direction)
    return EndMill(diameter, cutting_length=20, cutting=speeds)


def job(region, tool, *, depth=3, engagement=60.0, **more):
    x0, y0, x1, y1 = region.bounds
    board = Stock(x1 - x0 + 20, y1 - y0 + 20, 18, material="aluminium", thickness_range=(18, 18))
    cuts = pocket(
        translate(region, 10 - x0, 10 - y0),
        tool,
        depth=depth,
        stock=board,
        pattern="steady",
        engagement=engagement,
        **more,
    )
    return Job("Steady", board, MACHINE, list(cuts))


def ways_in_material(text, depth):
    """Return the ways (n, 2) of a text: (those of the helix, all feed moves at depth, links among them)."""
    moves = read_program(text).moves
    entry, level = [], []
    for k in range(len(moves)):
        if moves.kind[k] == 0 or not np.isfinite(moves.start[k]).all():
            continue
        a, b = moves.start[k], moves.end[k]
        bulge = math.tan(moves.sweep[k] / 4) if moves.kind[k] == 2 else 0.0
        way = Path([[*a, 0.0], [*b, bulge]]).flattened(0.002)[:, :2]
        if a[2] > -depth + 1e-6:
            if np.ptp(way, axis=0).max() > 1e-6:
                entry.append(way)
        else:
            level.append(way)
    return entry, level


class Material:
    """Cells that will be cut sometime, minus those cut so far."""

    def __init__(self, swept, radius):
        x0, y0, x1, y1 = swept.bounds
        self.low = np.array([x0, y0]) - radius - 1
        n = np.ceil((np.array([x1, y1]) - self.low + radius + 1) / CELL).astype(int) + 1
        j, i = np.mgrid[: n[1], : n[0]]
        area = swept.buffer(-0.05)
        shapely.prepare(area)
        self.cells = shapely.contains_xy(area, i * CELL + self.low[0], j * CELL + self.low[1])
        self.radius = radius
        self.k = math.ceil(radius / CELL) + 1
        self.dy, self.dx = np.mgrid[-self.k : self.k + 1, -self.k : self.k + 1] * CELL
        self.rim = np.radians(np.arange(-90, 91))

    def cut(self, p):
        i, j = np.round((p - self.low) / CELL).astype(int)
        off = np.array([i, j]) * CELL + self.low - p
        inside = (self.dx + off[0]) ** 2 + (self.dy + off[1]) ** 2 <= self.radius**2
        self.cells[j - self.k : j + self.k + 1, i - self.k : i + self.k + 1][inside] = False

    def engagement(self, p, heading):
        """Degrees of the leading half with material just outside, `p` being cut."""
        a = self.rim + heading
        q = p + (self.radius + CELL) * np.column_stack([np.cos(a), np.sin(a)])
        i, j = np.round((q - self.low) / CELL).astype(int).T
        return int(self.cells[j, i].sum())


def measured(program_job, radius, depth=3):
    """Return the engagement at all places of all feed moves at depth, one every `STEP` mm."""
    (program,) = program_job.programs()
    entry, level = ways_in_material(program.text, depth)
    swept = shapely.union_all(shapely.buffer([LineString(w) for w in entry + level], radius, quad_segs=32))
    material = Material(swept, radius)
    for way in entry:
        for p in way:
            material.cut(p)
    whole = np.concatenate([level[0], *(w[1:] for w in level[1:])])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(whole, axis=0).T))])
    t = np.linspace(0, s[-1], math.ceil(s[-1] / STEP) + 1)
    points = np.column_stack([np.interp(t, s, whole[:, 0]), np.interp(t, s, whole[:, 1])])
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    found = np.zeros(len(step), dtype=int)
    for k in range(len(step)):
        material.cut(points[k])
        found[k] = material.engagement(points[k], heading[k])
    return found


def holds(found, stated):
    assert len(found) > 1000
    assert found.mean() > 0.2 * stated  # it does cut, though ways back count as well
    assert np.percentile(found, 99.9) <= stated + 5
    assert found.max() <= stated + 15


def test_the_measurement_sees_a_slot_as_half_a_turn():
    """Rings begin with a slot: the same measurement on them finds 180 degrees, so the check can fail."""
    region = box(10, 10, 40, 30)
    board = Stock(60, 50, 18, material="aluminium")
    cuts = pocket(region, mill(6), depth=3, stock=board)
    found = measured(Job("Rings", board, MACHINE, list(cuts)), 3.0)
    assert found.max() >= 175


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_the_engagement_stays_below_what_was_stated_in_a_square_with_corners(direction):
    made = job(box(0, 0, 19, 15), mill(6, direction=direction))
    holds(measured(made, 3.0), 60)
    proof = made.prove()
    assert proof.ok, proof.findings
    assert proof.residual <= 0.020


@pytest.mark.slow
@pytest.mark.parametrize("engagement", [45, 80])
def test_the_engagement_stays_below_what_was_stated_round_islands(engagement):
    region = box(0, 0, 38, 26).difference(shapely.union_all([Point(12, 12).buffer(3), box(23, 9, 27, 14)]))
    holds(measured(job(region, mill(6), engagement=engagement), 3.0), engagement)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["letter B", "annulus", "off-center island"])
def test_the_engagement_stays_below_what_was_stated_in_narrow_strokes(name):
    holds(measured(job(corpus.region(name), mill(3)), 1.5), 60)


def test_material_lies_on_the_right_in_climb_milling():
    """The cutter's left is cleared: found by sweeping what was cut before each crescent."""
    (cut,) = pocket(box(0, 0, 30, 24), mill(6), depth=3, pattern="steady", engagement=60)
    cleared = shapely.union_all([LineString(p.path.flattened(0.05)[:, :2]).buffer(3.0) for p in cut.passes[:2]])
    right = left = 0
    for item in cut.passes[2:]:
        xy = item.path.flattened(0.05)[:, :2]
        if item.role == "cut" and len(xy) > 4:
            middle, along = 0.5 * (xy[1:] + xy[:-1]), np.diff(xy, axis=0)
            side = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
            right += int((~shapely.contains_xy(cleared, middle + 2.9 * side)).sum())
            left += int((~shapely.contains_xy(cleared, middle - 2.9 * side)).sum())
        cleared = cleared.union(LineString(xy).buffer(3.0))
    assert right > 20 * left


@pytest.mark.parametrize("name", ["triangle", *(pytest.param(n, marks=pytest.mark.slow) for n in ("letter A", "comb"))])
def test_nothing_is_left_and_nothing_gouged(name):
    region = corpus.region(name)
    (cut,) = pocket(region, mill(3), depth=2, pattern="steady", engagement=70)
    lines = [LineString(p.path.flattened(0.0005)[:, :2]) for p in cut.passes]
    swept = shapely.union_all(shapely.buffer(lines, 1.5, quad_segs=64))
    rest = region.buffer(-1.5, quad_segs=96).buffer(1.5, quad_segs=96).difference(swept)
    assert [p for p in shapely.get_parts(rest) if not p.buffer(-0.02).is_empty] == []
    assert swept.difference(region.buffer(0.010)).is_empty
    assert [p for p in cut.passes if p.role == "entry"]


def test_levels_are_each_entered_by_a_helix():
    (cut,) = pocket(box(0, 0, 30, 20), mill(6, stepdown=1.5), depth=3, pattern="steady", engagement=60)
    entries = [p for p in cut.passes if p.role == "entry"]
    assert len(entries) == 2
    for item in entries:
        is_arc, _, _ = item.path.arcs()
        assert is_arc.all()


def test_the_step_for_a_given_engagement_by_the_law_of_cosines():
    for radius, loop, angle in ((3.0, 1.0, 60.0), (1.5, 20.0, 35.0), (5.0, 0.3, 100.0)):
        far = loop + longest_step(loop, radius, angle)
        # the cleared edge, a circle of loop + radius, meets the tool's rim at `angle` from straight outwards
        edge = math.hypot(far + radius * math.cos(math.radians(angle)), radius * math.sin(math.radians(angle)))
        assert edge == pytest.approx(loop + radius)


def test_what_cannot_be_steady_is_refused():
    region = box(0, 0, 30, 20)
    with pytest.raises(ArgumentError, match="widest place leaves the tool"):
        pocket(box(0, 0, 30, 4.4), mill(4), depth=2, pattern="steady", engagement=60)
    with pytest.raises(ArgumentError, match="too narrow for loops"):
        pocket(corpus.region("neck open"), mill(3), depth=2, pattern="steady", engagement=60)
    with pytest.raises(ArgumentError, match="by a helix only"):
        pocket(region, mill(4), depth=2, pattern="steady", engagement=60, entry="ramp")
    with pytest.raises(ArgumentError, match="kept by pattern='steady' only"):
        pocket(region, mill(4), depth=2, engagement=60)
    with pytest.raises(ArgumentError, match="15 to 120"):
        pocket(region, mill(4), depth=2, pattern="steady", engagement=170)
