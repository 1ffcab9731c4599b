"""The corpus and the random regions are what they claim to be: valid, filled, and nasty enough."""

import corpus
import shapely
from hypothesis import find, given, settings
from strategies import plates_with_islands, regions, rooms_and_necks, unions_of_bars


def test_every_region_of_the_corpus_is_valid_and_filled(nasty):
    assert nasty.is_valid
    assert nasty.area > 10
    assert len(corpus.REGIONS) > 25


def test_the_corpus_keeps_what_it_is_there_for():
    """Repair must not quietly turn the nasty shapes into easy ones."""
    assert len(corpus.region("bow-tie").geoms) == 2
    assert len(corpus.region("plate with 40 islands").geoms[0].interiors) == 40
    assert len(corpus.region("letter A").geoms[0].interiors) == 1
    assert len(corpus.region("letter B").geoms[0].interiors) == 2
    assert corpus.region("far away").bounds[0] > 80000
    assert len(corpus.region("doubled points").geoms[0].exterior.coords) > 8
    assert corpus.region("neck open").buffer(-1.5).geom_type == "Polygon"
    assert corpus.region("neck shut").buffer(-1.5).geom_type == "MultiPolygon"
    touching = corpus.region("touching hole").geoms[0]
    assert shapely.intersects(touching.exterior, touching.interiors[0]) if touching.interiors else touching.area < 1930


@given(regions())
@settings(max_examples=60, deadline=None, derandomize=True)
def test_random_regions_are_valid_and_filled(region):
    assert region.is_valid
    assert region.area > 1.0
    assert not region.is_empty


def test_random_regions_reach_the_hard_cases():
    """Several pieces, holes, and necks that a 3 mm tool cannot pass do occur."""
    quiet = settings(max_examples=400, deadline=None, derandomize=True)
    assert find(unions_of_bars(), lambda r: len(r.geoms) > 1, settings=quiet)
    assert find(plates_with_islands(), lambda r: any(p.interiors for p in r.geoms), settings=quiet)
    shut = find(rooms_and_necks(), lambda r: len(shapely.get_parts(r.buffer(-1.5))) > len(r.geoms), settings=quiet)
    assert shut.area > 1.0
