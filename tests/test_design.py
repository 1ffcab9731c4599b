"""What was asked, on a grid: each rule against its own formula, and how rules combine."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, box

from pathgen import BallNose, EndMill, HeightMap, VBit
from pathgen.model.bounds import Bounds, Bridge, Flat, Free, Groove, Heights, Kerf
from pathgen.proof.design import bridge_profile, design, kerf_region, lowest_allowed, off_parts, reached
from pathgen.proof.grid import Grid, inside, widened

MILL, BIT = EndMill(6), VBit(60, diameter=12)
GRID = Grid.over(60, 40, 0.2)


def multi(shape):
    return MultiPolygon([shape]) if shape.geom_type == "Polygon" else shape


def asked(*rules, tool=MILL):
    return [("cut", tool, Bounds(rules=rules))]


def at(values, x, y, grid=GRID):
    return float(values[round((y - grid.y0) / grid.pixel), round((x - grid.x0) / grid.pixel)])


def test_where_no_rule_speaks_nothing_may_be_cut():
    d = design([], GRID)
    assert (d.deepest == 0).all()
    assert (d.leave == 0).all()
    d = design(asked(Flat(region=multi(box(10, 10, 20, 20)), depth=3)), GRID)
    assert at(d.deepest, 30, 30) == 0
    assert at(d.deepest, 15, 15) == -3


def test_a_flat_floor_is_owed_where_the_cutter_can_reach():
    """In the corner of a pocket a round cutter leaves (1 - pi / 4) R^2: nothing is owed there, all may be cut there."""
    region = box(10, 10, 40, 30)
    d = design(asked(Flat(region=multi(region), depth=3)), GRID)
    assert at(d.deepest, 10.2, 10.2) == -3
    assert at(d.leave, 10.2, 10.2) == 0
    assert at(d.leave, 25, 20) == -3
    grid = Grid.over(60, 40, 0.05)
    opened = inside(reached(Flat(region=multi(region), depth=3), region, MILL), grid).sum() * grid.cell
    assert opened == pytest.approx(600 - (4 - math.pi) * 9, abs=0.05)


def test_a_place_narrower_than_the_cutter_is_not_owed_but_may_be_cut():
    dumbbell = shapely.union_all([box(5, 10, 20, 30), box(20, 18, 40, 22), box(40, 10, 55, 30)])
    d = design(asked(Flat(region=multi(dumbbell), depth=2)), GRID)
    assert at(d.leave, 30, 20) == 0
    assert at(d.deepest, 30, 20) == -2
    assert at(d.leave, 12, 20) == -2
    thin = design(asked(Flat(region=multi(dumbbell), depth=2), tool=EndMill(3)), GRID)
    assert at(thin.leave, 30, 20) == -2


@pytest.mark.parametrize("angle", [30, 60, 90])
def test_a_groove_is_as_deep_as_its_outline_is_far(angle):
    """depth = d / tan(angle / 2), with d from shapely's distance at each sample."""
    region = shapely.union_all([box(5, 5, 25, 35), Point(38, 20).buffer(9, quad_segs=64)])
    d = design(asked(Groove(region=multi(region), angle=angle), tool=VBit(angle, diameter=50)), GRID)
    x, y = np.meshgrid(GRID.x, GRID.y)
    far = shapely.distance(shapely.points(x, y), region.boundary) * shapely.contains_xy(region, x, y)
    truth = -far / math.tan(math.radians(angle / 2))
    assert np.abs(d.deepest - truth).max() < 1e-5
    assert np.abs(d.leave - truth).max() < 1e-5
    slope = inside(region, GRID)
    assert np.allclose(d.cosine[slope], math.sin(math.radians(angle / 2)))


def test_a_limit_gives_a_floor_and_a_ridge_may_stay_on_it():
    region = box(5, 5, 55, 35)
    groove = Groove(region=multi(region), angle=90, limit=4, ridge=0.3)
    d = design(asked(groove, tool=BIT), GRID)
    assert at(d.deepest, 30, 20) == -4
    assert at(d.leave, 30, 20) == pytest.approx(-3.7)
    assert at(d.cosine, 30, 20) == 1
    assert at(d.deepest, 6.2, 12) == pytest.approx(at(d.leave, 6.2, 12))


def test_a_floor_tool_owes_the_floor_it_can_enter_and_the_bit_the_rest():
    """A 50 x 30 groove, 90 degrees, 4 deep: its floor is 42 x 22, and a 6 mm tool leaves that floor's corners."""
    groove = Groove(region=multi(box(5, 5, 55, 35)), angle=90, limit=4, floor_diameter=6)
    d = design(asked(groove, tool=BIT), GRID)
    assert at(d.leave, 30, 20) == -4
    # 0.5 mm inside both edges of the floor's corner: the bit runs along the edge and rises again behind it
    assert -4 < at(d.leave, 9.6, 9.6) < -3.3
    assert at(d.deepest, 9.6, 9.6) == -4
    narrow = Groove(region=multi(box(5, 5, 55, 17)), angle=90, limit=4, floor_diameter=6)
    d = design(asked(narrow, tool=BIT), GRID)
    assert at(d.leave, 30, 11) == pytest.approx(-2.0, abs=0.21), "a floor 4 mm wide: the tool does not fit"


def test_a_flat_tip_cannot_reach_the_bottom_of_its_groove():
    """With a tip of 0.6 in a strip 4 wide at 90 degrees: the bit goes 2 - 0.3 deep, a flat 0.6 wide; slopes are met."""
    region = box(5, 18, 55, 22)
    grid = Grid.over(60, 40, 0.05)
    d = design(asked(Groove(region=multi(region), angle=90, tip=0.6), tool=VBit(90, diameter=12, tip=0.6)), grid)
    across = np.array([at(d.leave, 30, y, grid) for y in grid.y])
    far = np.maximum(2 - np.abs(grid.y - 20), 0)
    truth = -np.minimum(far, 1.7)
    assert (across - truth >= -1e-5).all(), "never more is owed than the bit can do"
    assert np.abs(across - truth).max() <= 0.06
    away = np.abs(np.abs(grid.y - 20) - 0.3) > 0.5
    assert np.abs(across - truth)[away & (np.abs(grid.y - 20) > 0.3)].max() < 1e-5
    thin = design(asked(Groove(region=multi(box(5, 19.8, 55, 20.2)), angle=90, tip=0.6)), grid)
    assert (thin.leave == 0).all()
    assert thin.deepest.min() < -0.15, "narrower than the tip: allowed, not owed"


def test_a_groove_that_begins_below_the_face_has_upright_walls_above():
    d = design(asked(Groove(region=multi(box(5, 5, 25, 35)), angle=60, begin=2), tool=BIT), GRID)
    edge = at(d.deepest, 5.2, 20)
    assert edge == pytest.approx(-2 - 0.2 / math.tan(math.radians(30)), abs=0.2)
    assert at(d.wall, 5.0, 20) == 1
    assert at(d.wall, 15, 20) == 0


@pytest.mark.parametrize(("side", "low", "high"), [("outside", 4, 10), ("inside", 10, 16), ("along", 7, 13)])
def test_a_kerf_lies_on_its_side(side, low, high):
    shape = multi(box(10, 10, 50, 30))
    kerf = Kerf(
        shape=MultiLineString([shape.geoms[0].exterior]) if side == "along" else shape,
        side=side,
        width=6,
        depth=12,
        below=0.4,
        through=True,
    )
    assert kerf_region(kerf).area == pytest.approx(
        {"outside": 2 * 60 * 6 + math.pi * 36, "inside": 800 - 28 * 8, "along": 120 * 6 - 36 + math.pi * 9}[side],
        rel=1e-3,
    )
    d = design(asked(kerf), GRID)
    for x in (low + 0.5, 0.5 * (low + high), high - 0.5):
        assert at(d.deepest, x, 20) == pytest.approx(-12.4)
    for x in (low - 0.5, high + 0.5):
        assert at(d.deepest, x, 20) == 0
    assert at(d.leave, 0.5 * (low + high), 20) == -12


def test_a_bridge_raises_its_slot_where_its_cutter_was_lifted():
    """Lifted over 12 mm with a 6 mm cutter: 6 mm are left at the narrowest, bounded by the cutter's two discs."""
    kerf = Kerf(shape=multi(box(10, 13, 50, 40)), side="outside", width=6, depth=12, below=0.4, through=True)
    bridge = Bridge(line=MultiLineString([[(24, 10), (36, 10)]]), diameter=6, length=6, top=-10)
    d = design(asked(kerf, bridge), GRID)
    assert at(d.deepest, 30, 10) == -10
    assert at(d.leave, 30, 10) == -10
    assert at(d.deepest, 22, 10) == pytest.approx(-12.4)
    row = d.deepest[round((10 - GRID.y0) / GRID.pixel)]
    assert (row == -10).sum() * GRID.pixel == pytest.approx(6, abs=GRID.pixel)
    edge = d.deepest[round((12.6 - GRID.y0) / GRID.pixel)]
    wide = 12 - 2 * math.sqrt(9 - (GRID.y[round((12.6 - GRID.y0) / GRID.pixel)] - 10) ** 2)
    assert (edge == -10).sum() * GRID.pixel == pytest.approx(wide, abs=GRID.pixel)
    assert at(d.deepest, 30, 20) == 0


def test_a_ramped_bridge_rises_at_its_angle():
    line = LineString([(10, 10), (30, 10)])
    bridge = Bridge(line=MultiLineString([line]), diameter=6, length=14, top=-10, slope=45)
    points = bridge_profile(line, bridge, -12)
    assert points.tolist() == [[10, 10, -12], [12, 10, -10], [28, 10, -10], [30, 10, -12]]
    flat = bridge_profile(line, Bridge(line=MultiLineString([line]), diameter=6, length=14, top=-10), -12)
    assert flat.tolist() == [[10, 10, -12], [10, 10, -10], [30, 10, -10], [30, 10, -12]]


def test_rules_of_one_cut_and_of_several_combine_by_the_deepest():
    shallow, deep = Flat(region=multi(box(5, 5, 40, 35)), depth=2), Flat(region=multi(box(20, 5, 55, 35)), depth=5)
    one = design(asked(shallow, deep), GRID)
    other = design([*asked(deep), *asked(shallow)], GRID)
    assert np.array_equal(one.deepest, other.deepest)
    assert np.array_equal(one.leave, other.leave)
    assert at(one.deepest, 30, 20) == -5
    assert at(one.deepest, 10, 20) == -2
    assert at(one.leave, 30, 20) == -5


def test_a_bridge_of_one_cut_does_not_fill_the_pocket_of_another():
    kerf = Kerf(shape=multi(box(10, 13, 50, 40)), side="outside", width=6, depth=12, through=True)
    bridge = Bridge(line=MultiLineString([[(24, 10), (36, 10)]]), diameter=6, length=6, top=-10)
    pocket = Flat(region=multi(box(28, 8, 32, 12)), depth=11)
    d = design([*asked(kerf, bridge), *asked(pocket)], GRID)
    assert at(d.deepest, 30, 10) == -11
    assert at(d.deepest, 27.2, 10) == -10


def test_free_places_may_be_cut_and_owe_nothing():
    d = design(asked(Free(region=multi(box(5, 5, 20, 20)), depth=6)), GRID)
    assert at(d.deepest, 10, 10) == -6
    assert (d.leave == 0).all()
    both = asked(Free(region=multi(box(5, 5, 20, 20)), depth=6), Flat(region=multi(box(1, 1, 2, 2)), depth=2))
    assert lowest_allowed(both, 12) == -6


def test_a_relief_is_its_height_map_between_the_samples_too():
    """A plane is kept exactly by bilinear interpolation, whatever the two grids."""
    x = 0.5 + np.arange(50)
    plane = np.tile(-0.1 * x, (30, 1))
    heights = Heights(map=HeightMap(plane, pixel=1.0, origin=(5, 5)))
    d = design(asked(heights, tool=BallNose(3)), GRID)
    middle = slice(40, 150)
    truth = -0.1 * (GRID.x - 5)
    inner = (GRID.x > 6) & (GRID.x < 54)
    assert np.abs(d.deepest[middle] - truth)[:, inner].max() < 1e-5
    assert np.array_equal(d.deepest[middle][:, inner], d.leave[middle][:, inner])
    assert np.allclose(d.cosine[middle][:, inner], 1 / math.hypot(1, 0.1), atol=1e-5)
    assert at(d.deepest, 2, 20) == 0


def test_samples_beside_upright_walls_are_marked():
    region = box(10, 10, 40, 30)
    d = design(asked(Flat(region=multi(region), depth=3)), GRID)
    x, y = np.meshgrid(GRID.x, GRID.y)
    near = shapely.distance(shapely.points(x, y), region.boundary) < 0.5 * GRID.pixel
    assert d.wall[near].all()
    assert not d.wall[~widened(widened(near))].any()


def test_a_groove_without_a_limit_permits_nothing_below_the_others():
    groove, tray = Groove(region=multi(box(5, 5, 25, 35)), angle=60), Flat(region=multi(box(30, 5, 50, 35)), depth=3)
    assert lowest_allowed(asked(groove), 12) == 0
    assert lowest_allowed(asked(groove, tray), 12) == -3


def test_a_through_cut_goes_no_deeper_below_a_thinner_board_than_was_stated():
    slot = Kerf(shape=multi(box(10, 10, 40, 30)), side="outside", width=3, depth=9, below=0.4, through=True)
    cleared = Free(region=multi(box(15, 15, 20, 20)), depth=9.4)
    assert lowest_allowed(asked(slot, cleared), 9) == pytest.approx(-9.4)
    assert lowest_allowed(asked(slot, cleared), 8) == pytest.approx(-8.4)


def test_each_sample_knows_which_cut_may_go_deepest_there():
    shallow, deep = Flat(region=multi(box(5, 5, 40, 35)), depth=2), Flat(region=multi(box(20, 5, 55, 35)), depth=5)
    d = design([*asked(shallow), *asked(deep)], GRID)
    assert at(d.owner, 10, 20) == 0
    assert at(d.owner, 30, 20) == 1
    assert at(d.owner, 58, 38) == -1
    other = design([*asked(deep), *asked(shallow)], GRID)
    assert at(other.owner, 30, 20) == 0


@pytest.mark.parametrize("side", ["outside", "inside"])
def test_a_lead_never_excuses_a_cut_into_the_part(side):
    part = box(15, 10, 45, 30)
    slot = Kerf(shape=multi(part), side=side, width=3, depth=9, through=True)
    lead = Free(region=multi(Point(15, 20).buffer(2)), depth=9)
    (_, kept) = off_parts(Bounds(rules=(slot, lead))).rules
    half = part.buffer(0) if side == "outside" else box(0, 0, 60, 40).difference(part)
    assert kept.region.intersection(half).area == pytest.approx(0, abs=1e-9)
    assert kept.region.area == pytest.approx(lead.region.area / 2, rel=1e-6)
    along = Kerf(shape=MultiLineString([LineString([(0, 0), (9, 9)])]), side="along", width=3, depth=9)
    assert off_parts(Bounds(rules=(along, lead))).rules[1] is lead
