"""Offsets: closed forms, the bound on the gouge side, laws on nasty shapes."""

import math

import corpus
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box
from strategies import regions

from pathgen.artwork.lettering import text
from pathgen.errors import ArgumentError
from pathgen.shape.offset import as_multi, grown, opened, simplified
from pathgen.shape.place import plate


def test_a_rectangle_grows_by_a_strip_and_four_quarter_discs():
    """Steiner's formula: area + perimeter * r + pi r^2 (exact geometry); the chords lie within the error."""
    for r in (0.3, 3.0, 12.0):
        want = 30 * 20 + 100 * r + math.pi * r * r
        got = grown(box(0, 0, 30, 20), r, error=0.001).area
        assert want - 0.001 * 2 * math.pi * r <= got <= want + 1e-9


def test_a_rectangle_shrinks_to_the_exact_rectangle():
    small = grown(box(0, 0, 30, 20), -4)
    assert small.bounds == pytest.approx((4, 4, 26, 16), abs=1e-9)
    assert small.area == pytest.approx(22 * 12, abs=1e-9)


def test_a_disc_shrinks_to_a_disc_on_the_true_curve():
    """Vertices of a polygon inscribed in a circle of radius 20 shrink onto one of 20 cos(pi / n) - 5, over cos."""
    n = 240
    turn = 2 * np.pi * np.arange(n) / n
    small = grown(Polygon(20 * np.column_stack([np.cos(turn), np.sin(turn)])), -5)
    radii = np.hypot(*shapely.get_coordinates(small).T)
    assert radii == pytest.approx(20 - 5 / math.cos(math.pi / n), abs=1e-9)


def test_what_is_too_narrow_vanishes_and_nothing_is_an_empty_multipolygon():
    assert grown(box(0, 0, 30, 5), -2.5001).is_empty
    assert isinstance(grown(box(0, 0, 30, 5), -2.5001), MultiPolygon)
    assert isinstance(grown(box(0, 0, 30, 5), 0.0), MultiPolygon)
    assert isinstance(grown(box(0, 0, 30, 5), -1), MultiPolygon)


def errs(region, by, error):
    """Return how far the offset outline lies from the true offset, (least, most), both ways along the whole outline."""
    return errs_of(grown(region, by, error=error), region, by)


def errs_of(result, region, by):
    if result.is_empty:
        return 0.0, 0.0
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(result, 0.1)))
    off = shapely.distance(points, region.boundary) - abs(by)
    return float(off.min()), float(off.max())


@pytest.mark.parametrize("error", [0.004, 0.001])
@pytest.mark.parametrize("by", [-2.5, -0.7, 0.7, 2.5])
def test_no_nasty_offset_errs_by_more_than_asked_and_only_one_way(nasty, by, error):
    """Nearer to the outline than the distance is the gouge side, and bounded; further than it is noise only, but where
    a notch shallower than 1 % of the distance is bridged (the corpus has one, 0.002 mm deep)."""
    least, most = errs(nasty, by, error)
    assert -error <= least
    assert most <= (0.002 if nasty.equals(corpus.region("mixed edges")) else 1e-6)


@pytest.mark.parametrize("n", [12, 24, 48, 180])
@pytest.mark.parametrize("over", [1.002, 1.005, 1.02, 1.3])
def test_a_round_piece_smaller_than_the_disc_vanishes_wholly(n, over):
    """Its outline turned inside out must not leave a speck: a tool would go where it does not fit."""
    turn = 2 * np.pi * np.arange(n) / n
    ring = 2.5 * np.column_stack([np.cos(turn), np.sin(turn)])
    by = 2.5 * math.cos(math.pi / n) * over
    assert grown(Polygon(ring), -by).is_empty
    holed = box(-20, -20, 20, 20).difference(Polygon(ring))
    assert not grown(holed, by).geoms[0].interiors
    assert grown(holed, by).is_valid


@pytest.mark.parametrize("by", [-3.0, -1.0, 1.0, 3.0])
def test_lettering_offsets_within_the_error(by):
    region = plate(150, 60).difference(shapely.affinity.translate(text("Fern &gS", height=25).region, 15, 15))
    least, most = errs(region, by, 0.004)
    assert -0.004 <= least < -1e-4
    assert most <= 1e-6


@given(regions(), st.sampled_from([-3.0, -1.5, -0.2, 0.2, 1.5, 3.0]))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_random_offsets_stay_within_the_error(region, by):
    least, most = errs(region, by, 0.004)
    assert least >= -0.004
    assert most <= 0.004


@pytest.mark.parametrize("by", [-3.0, -6.35])
def test_a_shallow_notch_is_not_bridged(by):
    """A jog 0.016 mm deep, under 1 % of the distance: GEOS alone offsets it as if it were not there."""
    edge = [(0.7, 0), (0.716, 7.999), (0.7, 7.999), (0.7, 30)]
    region = Polygon([*edge, (30, 30), (30, 0)])
    bare = shapely.buffer(region, by, quad_segs=64)
    assert max(errs_of(bare, region, by)) > 0.008
    assert max(errs_of(grown(region, by), region, by)) <= 0.004


@given(regions(), st.floats(0.05, 6.0))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_growing_never_loses_area_and_shrinking_never_gains(region, by):
    big, small = grown(region, by), grown(region, -by)
    assert big.is_valid
    assert small.is_valid
    assert small.area < region.area < big.area
    assert big.buffer(1e-6).covers(region)
    assert small.is_empty or region.buffer(1e-6).covers(small)  # GEOS: nothing covers an empty area


@given(regions(), st.floats(0.1, 3.0))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_opening_stays_inside_and_opening_again_changes_nothing(region, by):
    """Opening is idempotent (Serra, Image Analysis and Mathematical Morphology, 1982), here within the chords."""
    once = opened(region, by)
    if once.is_empty:
        return
    assert region.buffer(0.005).covers(once)
    twice = opened(once, by - 0.01)
    assert once.difference(twice).buffer(-0.02).is_empty


def test_opening_rounds_corners_by_the_disc():
    """Each square corner loses (1 - pi / 4) r^2 (elementary geometry)."""
    assert 900 - opened(box(0, 0, 30, 30), 4, error=1e-4).area == pytest.approx((4 - math.pi) * 16, rel=1e-3)


def test_lines_and_points_grow_into_regions():
    assert grown(LineString([(0, 0), (10, 0)]), 1, error=1e-4).area == pytest.approx(20 + math.pi, rel=1e-4)
    assert grown(Point(0, 0), 2, error=1e-4).area == pytest.approx(4 * math.pi, rel=1e-3)


def test_simplifying_moves_nothing_further_than_said_and_keeps_pieces_and_holes(nasty):
    slim = simplified(nasty, 0.0005)
    assert slim.is_valid
    assert len(slim.geoms) == len(nasty.geoms)
    assert shapely.hausdorff_distance(slim.boundary, nasty.boundary) <= 0.0005 + 1e-9
    assert shapely.get_num_coordinates(slim) <= shapely.get_num_coordinates(nasty)


def test_simplifying_before_each_offset_keeps_rings_small():
    """Fillets of many small steps pile up vertices; simplified between, a fifth of them remain."""
    region = plate(150, 60).difference(shapely.affinity.translate(text("Fern &gS", height=25).region, 15, 15))
    raw = slim = region
    for _ in range(5):
        raw, slim = grown(raw, -0.8), grown(simplified(slim), -0.8)
    assert slim.area == pytest.approx(raw.area, rel=1e-4)
    assert shapely.get_num_coordinates(slim) < 0.6 * shapely.get_num_coordinates(raw)


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_distance_that_is_no_number_is_refused(bad):
    with pytest.raises(ArgumentError, match="give distances in mm"):
        grown(box(0, 0, 1, 1), bad)
    with pytest.raises(ArgumentError, match="error"):
        grown(box(0, 0, 1, 1), 1.0, error=0.0)


def test_filled_parts_of_anything_are_kept_and_the_rest_dropped():
    mixed = GeometryCollection([box(0, 0, 1, 1), LineString([(0, 0), (5, 5)]), MultiPolygon([box(3, 3, 4, 4)])])
    assert as_multi(mixed).area == pytest.approx(2)
    assert as_multi(LineString([(0, 0), (5, 5)])).is_empty
    assert as_multi(Polygon()).is_empty
