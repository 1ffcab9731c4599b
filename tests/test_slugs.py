"""Waste that through cuts free: cleared where it is narrow, bridged where it is wide, never cut loose by a lead."""

import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon, box

import pathgen as pg
from pathgen.cuts.contours import contours
from pathgen.cuts.slugs import NARROW, Waste, clear_narrow
from pathgen.model.bounds import Bridge, Free
from pathgen.shape.offset import as_multi, grown

MILL = pg.EndMill(3, cutting_length=20, cutting=pg.Cutting(16000, 1800, 500, 3, 1.2))
HOLD = pg.Bridges(3, length=4, thickness=1.5)
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)


def board(width=100, height=80):
    return pg.Stock(width, height, 12, material="plywood", thickness_range=(11.7, 12.3))


def proved(shape, stock, **options):
    (cut,) = pg.profile(shape, MILL, depth=pg.THROUGH, stock=stock, bridges=HOLD, **options)
    return cut, pg.Job("Fern", stock, ROUTER, [cut]).prove()


def codes(cut):
    return [n.code for n in cut.notes]


def swept(paths, radius):
    return shapely.union_all([grown(LineString(p.flattened(0.001)[:, :2]), radius, error=0.001) for p in paths])


@pytest.mark.parametrize("width", [6.05, 7.0, 8.5, 10.0, 11.5, 13.4])
def test_a_narrow_slug_is_cleared_to_nothing_and_no_wall_is_touched(width):
    plate = as_multi(box(0, 0, 80, 60).difference(box(20, 20, 60, 20 + width)))
    found = contours(plate, "outside", radius=1.5)
    cleared, waste = clear_narrow(found, plate, "outside", diameter=3, direction="climb")
    assert len(cleared) == 1
    assert not waste.loose()
    (hole,) = [c for c in found if c.frees_waste]
    gone = swept(hole.ways, 1.5)
    reachable = grown(grown(box(20, 20, 60, 20 + width), -1.51), 1.5)
    assert reachable.difference(gone).buffer(-0.02).is_empty
    assert gone.intersection(plate).buffer(-0.004).is_empty


def test_wide_waste_keeps_its_slug_for_bridges():
    wide = 3.0 * (2 + NARROW) + 0.1
    plate = as_multi(box(0, 0, 80, 60).difference(box(20, 20, 60, 20 + wide)))
    found = contours(plate, "outside", radius=1.5)
    cleared, waste = clear_narrow(found, plate, "outside", diameter=3, direction="climb")
    assert not cleared
    assert len(waste.loose()) == 1
    assert [len(c.slug.geoms) for c in found] == [1, 0]
    assert not any(c.clearing for c in found)


def test_a_slot_as_wide_as_two_cutters_leaves_no_slug_to_clear():
    plate = box(20, 15, 80, 65).difference(box(40, 30, 60, 35.9))
    cut, proof = proved(plate, board())
    assert "slug-cleared" not in codes(cut)
    assert proof.ok
    assert proof.residual < 0.01


@pytest.mark.parametrize("side", ["outside", "inside"])
def test_narrow_cut_outs_prove_without_a_loose_piece(side):
    window = box(30, 30, 70, 37)
    cut, proof = proved(box(20, 15, 80, 65).difference(window) if side == "outside" else window, board(), side=side)
    assert codes(cut).count("slug-cleared") == 1
    assert proof.ok
    assert not [f for f in proof.findings if f.code.startswith("loose")]


def test_waste_in_a_bay_whose_mouth_the_slot_closes_is_cleared():
    bay = Point(50, 40).buffer(5.5, quad_segs=64).union(box(47.2, 40, 52.8, 65))
    cut, proof = proved(box(20, 15, 80, 65).difference(bay), board())
    assert "slug-cleared" in codes(cut)
    assert proof.ok
    assert not [f for f in proof.findings if f.code.startswith("loose")]


def test_clearing_is_done_level_by_level_before_the_slot_around_it():
    (cut,) = pg.profile(box(30, 30, 70, 37), MILL, depth=pg.THROUGH, side="inside", stock=board())
    for level in {p.level for p in cut.passes}:
        laps = [swept([p.path], 1.5) for p in cut.passes if p.level == level and p.role == "cut"]
        for k in range(1, len(laps)):
            freed = box(30, 30, 70, 37).difference(shapely.union_all(laps[: k + 1]))
            loose = [g for g in as_multi(freed).geoms if g.distance(box(30, 30, 70, 37).boundary) > 1.5]
            assert not [g for g in loose if not g.buffer(-0.02).is_empty], "a slug is free at this level"


def test_cuts_that_do_not_go_through_free_nothing_and_clear_nothing():
    (cut,) = pg.profile(box(30, 30, 70, 37), MILL, depth=4, side="inside", stock=board())
    assert "slug-cleared" not in codes(cut)
    assert not cut.bounds.rules[0].through


def test_a_cut_that_would_part_held_waste_frees_a_piece_and_one_at_its_edge_does_not():
    part = as_multi(Polygon([(20, 20), (60, 20), (60, 60), (44, 60), (44, 40), (36, 40), (36, 60), (20, 60)]))
    waste = Waste.beside(part, "outside", grown(part.boundary, 3).difference(part), 1.5)
    assert not waste.loose()
    assert waste.freed_by(LineString([(36, 55), (44, 55)]).buffer(1.5))
    assert not waste.freed_by(Point(10, 40).buffer(3))


def test_bridges_stand_clear_of_the_slots_of_neighbouring_parts():
    """Two plates 4 mm apart, cut with 3 mm: a bridge between them would be cut through by the other's slot."""
    stock = board(120, 80)
    plates = box(20, 20, 58, 60).union(box(62, 20, 100, 60))
    cut, proof = proved(plates, stock)
    assert proof.ok
    assert proof.gouge <= 0.01
    bridges = [r for r in cut.bounds.rules if isinstance(r, Bridge)]
    assert len(bridges) == 6
    gap = box(58, 20, 62, 60)
    assert not any(gap.contains(r.line.centroid) for r in bridges)


def test_bridges_stand_clear_of_the_other_side_of_their_own_slot():
    """A bay 4 mm wide: both its sides are cut by the same contour."""
    cut, proof = proved(box(20, 15, 80, 65).difference(box(48, 30, 52, 65)), board())
    assert proof.ok
    assert proof.gouge <= 0.01
    assert not [r for r in cut.bounds.rules if isinstance(r, Bridge) and box(46, 30, 54, 64).contains(r.line.centroid)]


def test_no_lead_of_one_part_comes_near_a_bridge_of_another():
    stock = board(160, 60)
    row = shapely.union_all([box(20 + 26 * k, 20, 38 + 26 * k, 38) for k in range(5)])
    cut, proof = proved(row, stock)
    assert proof.ok
    assert proof.gouge <= 0.01
    lines = shapely.union_all([r.line for r in cut.bounds.rules if isinstance(r, Bridge)])
    leads = [r.region for r in cut.bounds.rules if isinstance(r, Free)]
    assert leads
    assert min(g.distance(lines) for g in leads) >= 1.4


def test_parts_around_a_gap_that_the_slots_close_are_planned_and_said_to_be_joined():
    """Four squares in a ring: the way in their middle runs along several outlines, and along no hole."""
    squares = shapely.union_all([box(20, 20, 38, 38), box(40, 20, 58, 38), box(20, 60, 38, 78), box(40, 60, 58, 78)])
    ring = squares.union(box(20, 40, 24, 58)).union(box(54, 40, 58, 58))
    (cut,) = pg.profile(ring, MILL, depth=pg.THROUGH, stock=board(100, 100))
    (said,) = [n for n in cut.notes if n.code == "parts-joined"]
    assert said.severity == "warning"
    assert "2.00 mm" in said.text
    for p in cut.passes:
        assert LineString(p.path.flattened(0.001)[:, :2]).distance(ring) >= 1.5 - 0.01
