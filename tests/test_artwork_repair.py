"""The normal form of regions: reached in named steps, told by a public checker."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon

import pathgen as pg
from pathgen.artwork import repair
from pathgen.artwork.report import Report


def ring(*points):
    return np.array(points, dtype=float)


STAR = np.array([[math.sin(k * 0.8 * math.pi), math.cos(k * 0.8 * math.pi)] for k in range(5)])


def test_a_pentagram_by_both_rules():
    """Closed form: circumradius 1; the star's outline has area 5 sin 36 sin 36 / sin 126 … = 1.12257, the inner
    pentagon 0.34691 of it; even-odd leaves the five points."""
    inner = math.cos(math.radians(72)) / math.cos(math.radians(36))  # its circumradius
    points = 5 * math.sin(math.radians(36)) * inner
    pentagon = 2.5 * math.sin(math.radians(72)) * inner**2
    assert repair.fill([STAR]).area == pytest.approx(points, abs=1e-5)
    assert repair.fill([STAR], "evenodd").area == pytest.approx(points - pentagon, abs=1e-5)


@pytest.mark.parametrize(
    ("rings", "nonzero", "evenodd"),
    [
        ([ring((0, 0), (2, 2), (2, 0), (0, 2))], 2, 2),  # bow tie
        ([ring((0, 0), (10, 0), (10, 10), (0, 10)), ring((3, 3), (7, 3), (7, 7), (3, 7))], 100, 84),
        ([ring((0, 0), (10, 0), (10, 10), (0, 10)), ring((3, 3), (3, 7), (7, 7), (7, 3))], 84, 84),
        ([ring((0, 0), (1, 0), (1, 1), (0, 1)), ring((1, 1), (2, 1), (2, 2), (1, 2))], 2, 2),  # touch in a corner
        ([ring((0, 0), (1, 0), (1, 1), (0, 1)), ring((1, 0), (2, 0), (2, 1), (1, 1))], 2, 2),  # touch along a side
        ([ring((0, 0), (1, 0), (1, 1), (0, 1))] * 2, 1, 0),
        ([ring((0, 0), (5, 0))], 0, 0),
        ([ring((0, 0), (5, 0), (2, 0))], 0, 0),
        ([], 0, 0),
        ([ring((0, 0), (6, 0), (6, 6), (3, 0), (0, 6))], 18, 18),  # touches itself
    ],
)
def test_fill_rules_on_nasty_rings(rings, nonzero, evenodd):
    """SVG 1.1 section 11.3; areas by hand."""
    for rule, area in (("nonzero", nonzero), ("evenodd", evenodd)):
        region = repair.fill(rings, rule)
        assert isinstance(region, MultiPolygon)
        assert region.area == pytest.approx(area, abs=1e-5)
        assert repair.check(region) == ()


COORDINATE = st.integers(0, 9).map(float)
RING = st.lists(st.tuples(COORDINATE, COORDINATE), min_size=3, max_size=8).map(lambda p: np.array(p))
RINGS = st.lists(RING, min_size=1, max_size=4)


@settings(deadline=None, max_examples=70)
@given(RINGS, RINGS, st.sampled_from(["union", "difference", "intersection"]), st.sampled_from(["nonzero", "evenodd"]))
def test_both_ways_of_combining_agree_with_winding_numbers(a, b, operation, rule):
    """A law with two independent computations, on rings that touch, repeat and overlap on a small grid.

    Winding numbers are summed here from angles, not crossings.
    """
    swept, faces = repair.combine(a, b, operation, rule), repair.by_faces(a, b, operation, rule)
    assert swept.is_valid
    assert faces.is_valid
    assert swept.symmetric_difference(faces).area < 1e-3
    xs = np.linspace(0.137, 8.873, 12)
    for x in xs:
        for y in xs[::3] + 0.0113:
            inside = [
                (lambda n: n != 0 if rule == "nonzero" else n % 2 == 1)(sum(angle(r, x, y) for r in rings))
                for rings in (a, b)
            ]
            expected = {
                "union": inside[0] or inside[1],
                "difference": inside[0] and not inside[1],
                "intersection": inside[0] and inside[1],
            }[operation]
            point = shapely.Point(x, y)
            if swept.boundary.distance(point) > 1e-4:
                assert swept.contains(point) == expected


def angle(points, x, y):
    z = points[:, 0] - x + 1j * (points[:, 1] - y)
    return round(np.angle(np.roll(z, -1) / z).sum() / (2 * math.pi))


def test_a_contour_that_touches_itself_keeps_its_area():
    """Named row: on these rings shapely.make_valid makes 53.48 of the 52.66 that are filled (nonzero)."""
    rng = np.random.default_rng(0)
    for k in range(8):
        a = [rng.integers(0, 12, (rng.integers(3, 9), 2)).astype(float) for _ in range(3)]
        b = [rng.integers(0, 12, (5, 2)).astype(float)]
        if k == 7:
            region = repair.combine(a, b, "union")
    assert region.area == pytest.approx(52.6572, abs=1e-3)
    assert repair.check(region) == ()


def test_what_the_sweep_gives_up_on_is_still_filled(monkeypatch):
    """Named row: the sweep line raised on a flattened stroke of 81 points that doubles back on itself."""
    import pyclipper

    class Tired(pyclipper.Pyclipper):
        def Execute2(self, *rules):
            raise pyclipper.ClipperException("Execution of clipper did not succeed!")

    monkeypatch.setattr(pyclipper, "Pyclipper", Tired)
    assert repair.fill([STAR]).area == pytest.approx(1.12257, abs=1e-4)


def test_slivers_are_dropped_and_each_is_said():
    strip = Polygon([(0, 0), (50, 0), (50, 0.001), (0, 0.001)])
    plate = Polygon(
        [(0, 10), (50, 10), (50, 60), (0, 60)],
        [[(5, 20), (5, 20.001), (45, 20.001), (45, 20)], [(5, 30), (5, 40), (45, 40), (45, 30)]],
    )
    report = Report()
    kept = repair.without_slivers(MultiPolygon([strip, plate]), 0.002, report)
    assert kept.area == pytest.approx(2500 - 400)
    assert [n.code for n in report.notes()] == ["sliver", "sliver"]
    assert report.notes()[0].where == (0, 0)
    assert report.notes()[1].where == (5, 20)
    assert repair.without_slivers(kept, 0.002) is kept


SQUARE = [(0, 0), (1, 0), (1, 1), (0, 1)]


@pytest.mark.parametrize(
    ("region", "words"),
    [
        (MultiPolygon([Polygon(SQUARE[::-1])]), "shell turns the wrong way"),
        (MultiPolygon([Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [SQUARE])]), "hole turns the wrong way"),
        (MultiPolygon([Polygon(SQUARE), Polygon(SQUARE)]), "twice"),
        (MultiPolygon([Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])]), "not simple"),
        (MultiPolygon([Polygon([(0, 0), (1, 0), (1, 0), (1, 1), (0, 1)])]), "repeats a point"),
        (MultiPolygon([Polygon([(0, 0), (9, 0), (9, 0.001), (0, 0.001)])]), "sliver"),
        (MultiPolygon([Polygon([(0, 0), (9, 0), (0, 0), (9, 0)])]), "fewer than three"),
    ],
)
def test_the_checker_finds(region, words):
    assert any(words in problem for problem in repair.check(region))


def test_the_checker_finds_nan():
    with np.errstate(invalid="ignore"):
        region = MultiPolygon([Polygon([(0, 0), (9, 0), (9, math.nan), (0, 1)])])
    assert repair.check(region) == ("a coordinate is not a number",)


def test_the_checker_passes_the_normal_form_and_nothing():
    assert repair.check(MultiPolygon()) == ()
    plate = Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(1, 1), (1, 2), (2, 2), (2, 1)]])
    assert repair.check(MultiPolygon([plate])) == ()


def test_coordinates_that_are_no_numbers_or_too_far_are_refused_with_their_place():
    with pytest.raises(pg.DrawingError, match=r"a\.svg, line 3, 'leaf'.*point 2.*not a number"):
        repair.finite(ring((0, 0), (math.nan, 1)), file="a.svg", line=3, layer="leaf")
    with pytest.raises(pg.DrawingError, match=r"at \(2e\+06, 0\).*1 km"):
        repair.finite(ring((0, 0), (2e6, 0)), file="a.svg")
    kept = ring((0, 0), (1, 1))
    assert repair.finite(kept, file="a.svg") is kept


def test_a_wrong_rule_lists_the_valid_ones():
    with pytest.raises(pg.ArgumentError, match="'nonzero', 'evenodd'"):
        repair.combine([STAR], [], "union", "oddeven")


def test_the_same_region_comes_in_the_same_order_whatever_the_input_order():
    rings = [ring((k, 0), (k + 0.5, 0), (k + 0.5, 1), (k, 1)) for k in range(6)]
    a, b = repair.fill(rings), repair.fill(rings[::-1])
    assert [p.bounds for p in a.geoms] == [p.bounds for p in b.geoms]
