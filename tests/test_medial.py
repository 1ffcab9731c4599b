"""Medial axes against closed forms (Blum 1967; bisectors and parabolas of elementary geometry) and distance fields."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely.geometry import MultiPolygon, Point, Polygon, box
from skimage.morphology import medial_axis as raster_axis

import pathgen as pg
from pathgen.errors import ArgumentError, DrawingError
from pathgen.shape import voronoi
from pathgen.shape.chains import between, chains
from pathgen.shape.medial import medial_axis

TURN = np.linspace(0, 2 * np.pi, 2001)[:-1]
RING = np.column_stack([np.cos(TURN), np.sin(TURN)])


def along(axis, n=9):
    """(k, 3) points all along the axis, the radius growing evenly between nodes."""
    e = axis.nodes[axis.edges]
    t = np.linspace(0, 1, n)[:, None, None]
    return (e[:, 0] + t * (e[:, 1] - e[:, 0])).reshape(-1, 3)


def error(region, axis):
    """Largest difference between the radius claimed along the axis and the distance to the outline."""
    p = along(axis)
    true = shapely.distance(shapely.points(p[:, :2]), shapely.boundary(region))
    assert len(p) > 8
    return float(np.abs(p[:, 2] - true).max())


def test_rectangle_40_by_10():
    axis = medial_axis(box(0, 0, 40, 10), tolerance=0.001)
    assert axis.length == pytest.approx(30 + 4 * 5 * math.sqrt(2), abs=1e-6)
    assert axis.nodes[:, 2].max() == pytest.approx(5, abs=1e-9)
    assert (axis.nodes[:, 2] == 0).sum() == 4


def test_square_has_two_diagonals():
    axis = medial_axis(box(0, 0, 10, 10), tolerance=0.001)
    assert axis.length == pytest.approx(2 * math.sqrt(2) * 10, abs=1e-3)
    assert axis.nodes[:, 2].max() == pytest.approx(5, abs=1e-3)


def test_equilateral_triangle_of_10():
    axis = medial_axis(Polygon([(0, 0), (10, 0), (5, 5 * math.sqrt(3))]), tolerance=0.001)
    assert axis.length == pytest.approx(3 * 10 / math.sqrt(3), abs=1e-3)
    assert axis.nodes[:, 2].max() == pytest.approx(10 / (2 * math.sqrt(3)), abs=1e-3)


def test_triangle_6_8_10_has_its_incenter_at_2_2():
    axis = medial_axis(Polygon([(0, 0), (8, 0), (0, 6)]), tolerance=0.001)
    assert axis.nodes[axis.nodes[:, 2].argmax()] == pytest.approx([2, 2, 2], abs=1e-3)


@pytest.mark.parametrize(
    ("n", "inradius"),
    [(3, 0.288675), (4, 0.5), (5, 0.688191), (6, 0.866025), (8, 1.207107), (12, 1.866025)],
)
def test_regular_polygons_of_side_10(n, inradius):
    big = 10 / (2 * math.sin(math.pi / n))
    turn = 2 * math.pi * np.arange(n) / n
    axis = medial_axis(Polygon(np.column_stack([big * np.cos(turn), big * np.sin(turn)])), tolerance=0.001)
    assert axis.nodes[:, 2].max() == pytest.approx(10 * inradius, abs=1e-3)
    assert axis.length == pytest.approx(n * big, abs=1e-3)


def test_disc_has_one_point():
    axis = medial_axis(Polygon(5 * RING), tolerance=0.001)
    assert len(axis.edges) == 0
    assert axis.nodes == pytest.approx(np.array([[0, 0, 5]]), abs=1e-3)


def test_annulus_has_a_circle():
    axis = medial_axis(Polygon(10 * RING, [4 * RING]), tolerance=0.001)
    assert axis.nodes[:, 2] == pytest.approx(np.full(len(axis.nodes), 3), abs=1e-3)
    assert np.hypot(*axis.nodes[:, :2].T) == pytest.approx(np.full(len(axis.nodes), 7), abs=1e-3)
    assert axis.length == pytest.approx(14 * math.pi, abs=1e-3)


@pytest.mark.parametrize(("a", "b", "end", "radius"), [(5, 3, 3.2, 1.8), (2, 1, 1.5, 0.5)])
def test_ellipse_ends_inside_its_foci(a, b, end, radius):
    """|x| <= (a^2 - b^2) / a, r = b^2 / a there: the radius of curvature at the vertex. r(x) = b sqrt(1 - x^2 /
    c^2)."""
    turn = (np.arange(800) + 0.5) * 2 * np.pi / 800
    axis = medial_axis(Polygon(np.column_stack([a * np.cos(turn), b * np.sin(turn)])), tolerance=0.001)
    x, y, r = axis.nodes.T
    assert x.max() == pytest.approx(end, abs=1e-3)
    assert x.min() == pytest.approx(-end, abs=1e-3)
    assert r.min() == pytest.approx(radius, abs=1e-3)
    assert np.abs(y).max() < 1e-3
    assert r == pytest.approx(b * np.sqrt(1 - x**2 / (a * a - b * b)), abs=1e-3)
    assert end < math.sqrt(a * a - b * b)


def test_slot_has_a_segment_of_even_radius():
    axis = medial_axis(shapely.LineString([(0, 0), (20, 0)]).buffer(3, quad_segs=200), tolerance=0.004)
    assert axis.nodes[:, 2] == pytest.approx(np.full(len(axis.nodes), 3), abs=1e-3)
    assert axis.length == pytest.approx(20, abs=1e-3)


def test_l_shape_has_its_parabola():
    shape = Polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
    axis = medial_axis(shape, tolerance=0.0005)
    j = 10 * (2 - math.sqrt(2))
    p = axis.nodes
    assert np.abs(p - [j, j, j]).max(axis=1).min() < 1e-3
    on = p[(p[:, 0] > j + 1e-6) & (p[:, 0] < 10 - 1e-6) & (p[:, 1] < p[:, 0])]
    assert len(on) > 8
    assert on[:, 1] == pytest.approx(5 + (on[:, 0] - 10) ** 2 / 20, abs=1e-3)
    assert on[:, 2] == pytest.approx(on[:, 1], abs=1e-3)
    assert error(shape, axis) <= 0.0005 + 1e-4


def test_between_two_reflex_corners_the_radius_is_no_straight_line():
    """A neck between two points 2 h apart: r = sqrt(h^2 + s^2) on the straight line between them."""
    shape = Polygon([(-20, -20), (20, -20), (2, 0), (20, 20), (-20, 20), (-2, 0)])
    axis = medial_axis(shape, tolerance=0.001)
    near = axis.nodes[(np.abs(axis.nodes[:, 0]) < 1e-6) & (np.abs(axis.nodes[:, 1]) < 1.5)]
    assert len(near) > 4
    assert near[:, 2] == pytest.approx(np.hypot(2, near[:, 1]), abs=1e-6)
    assert error(shape, axis) <= 0.001 + 1e-4


@pytest.mark.parametrize("tolerance", [0.01, 0.001])
def test_the_radius_along_every_edge_is_the_distance_to_the_outline(tolerance):
    region = pg.text("Quince & 8B%g", height=40).region
    assert error(region, medial_axis(region, tolerance=tolerance)) <= tolerance + 5e-5


@pytest.mark.parametrize(("half", "kept"), [(80.0, False), (87.0, False), (70.0, True), (45.0, True)])
def test_a_corner_keeps_its_branch_by_what_it_would_lose(half, kept):
    """A bar 4 wide that ends in a point of interior angle 2 b loses r (1 / sin b - 1) there: r = 2, bound 0.05."""
    b = math.radians(half)
    point = 20 + 2 / math.tan(b)
    axis = medial_axis(Polygon([(0, 0), (20, 0), (point, 2), (20, 4), (0, 4)]), tolerance=0.1)
    assert (2 * (1 / math.sin(b) - 1) >= 0.05) == kept
    assert (np.abs(axis.nodes - [point, 2, 0]).max(axis=1).min() < 1e-4) == kept


def test_sharp_corners_keep_their_branch_and_flattened_curves_lose_theirs():
    drop = shapely.union_all([Point(0, 0).buffer(8, quad_segs=200), Polygon([(-6.9, 4), (6.9, 4), (0, 16)])])
    axis = medial_axis(drop, tolerance=0.004)
    tips = axis.nodes[axis.nodes[:, 2] == 0]
    assert tips[:, :2] == pytest.approx(np.array([[0, 16]]), abs=1e-4)


def test_against_distance_fields():
    """scipy's exact distance transform and skimage's raster skeleton, at their own resolution."""
    region = pg.text("&", height=40).region
    axis = medial_axis(region, tolerance=0.004)
    pixel = 0.1
    x0, y0, x1, y1 = region.bounds
    x, y = np.arange(x0 - 1, x1 + 1, pixel), np.arange(y0 - 1, y1 + 1, pixel)
    mask = shapely.contains_xy(region, *np.meshgrid(x, y))
    field = ndimage.distance_transform_edt(mask) * pixel
    p = along(axis)
    i, j = np.rint((p[:, 1] - y[0]) / pixel).astype(int), np.rint((p[:, 0] - x[0]) / pixel).astype(int)
    assert np.abs(field[i, j] - p[:, 2]).max() < 2 * pixel
    rows, columns = np.nonzero(raster_axis(mask) & (field > 1.0))
    spots = shapely.points(x[columns], y[rows])
    lines = shapely.union_all(shapely.linestrings(axis.nodes[axis.edges, :2]))
    # a raster skeleton has twigs of its own; nine in ten of its pixels lie on the true axis
    assert np.quantile(shapely.distance(spots, lines), 0.9) < 2 * pixel


@settings(deadline=None, max_examples=40, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(1, 20), st.floats(0.05, 1)), min_size=3, max_size=24),
    st.sampled_from([0.0, 0.05, 0.4, 0.9]),
)
def test_random_stars_with_holes(spokes, hole):
    turn = np.cumsum([s[1] for s in spokes])
    turn = turn / turn[-1] * 2 * np.pi
    r = np.array([s[0] for s in spokes])
    shell = Polygon(np.column_stack([r * np.cos(turn), r * np.sin(turn)]))
    shape = shell if hole == 0 else shell.difference(Point(0, 0).buffer(hole, quad_segs=3))
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 1e-3]
    if not parts or not all(p.is_valid for p in parts):
        return
    region = MultiPolygon(parts)
    axis = medial_axis(region, tolerance=0.005)
    if len(axis.edges):
        assert error(region, axis) <= 0.005 + 1e-3
    inner = shapely.maximum_inscribed_circle(parts[0], tolerance=1e-3)
    assert axis.nodes[axis.part == 0, 2].max() >= shapely.length(inner) - 0.01


def test_every_polygon_has_an_axis_in_one_piece_with_a_ring_for_each_hole():
    shape = box(0, 0, 60, 40).difference(MultiPolygon([box(10, 10, 20, 30), box(35, 12, 45, 22)]))
    axis = medial_axis(shape, tolerance=0.004)
    c = chains(axis.nodes, axis.edges)
    assert c.piece.max() == 0
    nodes = len(np.unique(c.ends))
    assert c.count - nodes + 1 == 2


@pytest.mark.parametrize("tip", [(0.0, 15.0), (0.0, 14.9999951)])
def test_a_hole_that_touches_the_shell_in_mid_edge_is_cut_right(tip):
    """The construction alone gives radii wrong by millimetres here, without a word."""
    shape = Polygon([(0, 0), (30, 0), (30, 30), (0, 30)], [[tip, (10, 10), (10, 20)]])
    assert shape.is_valid
    axis = medial_axis(shape, tolerance=0.001)
    assert error(shape, axis) <= 0.0011
    assert (shapely.distance(shapely.points(axis.nodes[:, :2]), shape) < 1e-4).all()
    assert axis.nodes[:, 2].max() == pytest.approx(10, abs=0.3)


def test_holes_that_touch_each_other_are_cut_right():
    shape = Polygon(
        [(0, 0), (30, 0), (30, 30), (0, 30)], [[(5, 15), (10, 10), (10, 20)], [(15, 20), (20, 20), (10, 15)]]
    )
    assert shape.is_valid
    assert error(shape, medial_axis(shape, tolerance=0.001)) <= 0.0011


def test_corpus(nasty):
    axis = medial_axis(nasty, tolerance=0.004)
    assert len(axis.nodes) > 0
    if len(axis.edges):
        assert error(nasty, axis) <= 0.004 + 1e-4


def test_cells_are_numbered_as_the_construction_numbers_them():
    """The shortcut that saves fetching cells, against the cells themselves."""
    region = pg.text("Bg&", height=20).region
    polygons = voronoi._whole(region, np.zeros(2), 1e-6)
    outlines = voronoi._outlines(polygons)
    sites = voronoi._sites(outlines)
    seen = 0
    for k in range(len(polygons)):
        diagram = voronoi._constructed(outlines, k)
        for c, cell in diagram.EnumerateCells():
            segment = sites.segment[sites.first[k] + c]
            if cell.contains_segment:
                assert segment - outlines.first[k] == cell.site
            else:
                assert segment < 0
                assert sites.point[sites.first[k] + c].tolist() == diagram.RetrieveScaledPoint(cell)
            seen += 1
    assert seen > 300


def test_a_wrong_diagram_is_refused_with_its_place(monkeypatch):
    """Sites shuffled on purpose: the check against the outline must catch it, fetch the cells and come out right."""
    true = voronoi._sites

    def shuffled(outlines):
        s = true(outlines)
        return voronoi._Sites(np.where(s.segment >= 0, np.roll(s.segment, 3), -1), s.point, s.reflex, s.first)

    region = box(0, 0, 40, 10)
    right = medial_axis(region, tolerance=0.001)
    monkeypatch.setattr(voronoi, "_wrong", lambda kept, *_: np.ones(len(kept.edges), dtype=bool))
    with pytest.raises(DrawingError, match="middle line"):
        medial_axis(region, tolerance=0.001)
    assert right.length > 58
    assert shuffled(voronoi._outlines(voronoi._whole(MultiPolygon([region]), np.zeros(2), 1e-6))).segment.size == 8


def test_turned_and_moved_shapes_have_the_same_axis():
    region = pg.text("k", height=40).region
    axis = medial_axis(region, tolerance=0.004)
    turned = medial_axis(shapely.affinity.rotate(region, 180, origin=(0, 0)), tolerance=0.004)
    assert turned.length == pytest.approx(axis.length, abs=0.01)
    assert turned.nodes[:, 2].max() == pytest.approx(axis.nodes[:, 2].max(), abs=1e-4)


def test_bad_arguments_are_refused():
    with pytest.raises(ArgumentError, match="tolerance"):
        medial_axis(box(0, 0, 1, 1), tolerance=0)
    with pytest.raises(ArgumentError, match="40 m"):
        medial_axis(box(0, 0, 1e5, 1), tolerance=0.01)


def test_graphs_are_cut_at_heights_exactly():
    nodes = np.array([[0, 0, 0], [10, 0, 5], [20, 0, 0.0]])
    edges = np.array([[0, 1], [1, 2]])
    new, kept = between(nodes, edges, 1.0, 4.0)
    z = new[kept, 2]
    assert z.min() == 1.0
    assert z.max() == 4.0
    assert np.hypot(*np.diff(new[kept, :2], axis=1)[:, 0].T).sum() == pytest.approx(12)
