"""Plates, and shapes put into place, mirrored and moved: exact boxes, areas, laws, and the same kind given back."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

from pathgen.artwork.lettering import text
from pathgen.artwork.model import Artwork, Layers, Note
from pathgen.errors import ArgumentError, DrawingError
from pathgen.model.artwork import Layer
from pathgen.model.stock import Stock
from pathgen.shape.place import ALIGNMENTS, composed, mirror, move, place, plate, transformed

PLATE = plate(100, 60)
L_SHAPE = Polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
FERN = text("Fern & ivy", height=12)
matrices = st.tuples(st.floats(-180, 180), st.floats(0.1, 5), st.booleans(), st.floats(-200, 200), st.floats(-200, 200))


def similarity(turn, scale, flip, dx, dy):
    c, s = scale * math.cos(math.radians(turn)), scale * math.sin(math.radians(turn))
    return (-c, -s, -s, c, dx, dy) if flip else (c, -s, s, c, dx, dy)


def letters_cover_region(lettering):
    """The law of lettering: outlines under their matrices are the region, within 1e-6 mm."""
    placed = shapely.union_all([affine_transform(lettering.outlines[n], m) for n, m in lettering.glyphs])
    return shapely.hausdorff_distance(shapely.boundary(placed), shapely.boundary(lettering.region)) <= 1e-6


# -- plates


@pytest.mark.parametrize(
    ("corner", "area"),
    [("round", 100 * 60 - (4 - math.pi) * 144), ("hollow", 100 * 60 - math.pi * 144), ("cut", 100 * 60 - 2 * 144)],
)
def test_plate_areas_are_those_of_their_corners(corner, area):
    """Elementary geometry; chords within 0.002 mm of the arcs change it by less than 0.002 x arc length."""
    p = plate(100, 60, corner=corner, radius=12)
    assert p.is_valid
    assert p.exterior.is_ccw
    assert p.bounds == (0, 0, 100, 60)
    assert p.area == pytest.approx(area, abs=1e-9 if corner == "cut" else 0.002 * 2 * math.pi * 12)


@pytest.mark.parametrize("corner", ["round", "hollow"])
def test_corner_vertices_lie_on_their_circles_and_chords_within_the_tolerance(corner):
    p = plate(100, 60, corner=corner, radius=12)
    middle = (88, 48) if corner == "round" else (100, 60)
    xy = np.array(p.exterior.coords)
    xy = xy[(xy[:, 0] > 88 - 1e-9) & (xy[:, 1] > 48 - 1e-9)]
    xy = xy[np.lexsort((xy[:, 1],))]
    assert np.hypot(*(xy - middle).T) == pytest.approx(12, abs=1e-9)
    half = 0.5 * (xy[1:] + xy[:-1])
    assert 0 < np.abs(np.hypot(*(half - middle).T) - 12).max() <= 0.002


def test_plates_have_the_symmetry_of_a_rectangle():
    for corner in ("round", "hollow", "cut"):
        p = plate(80, 50, corner=corner, radius=9)
        for m in ((-1, 0, 0, 1, 80, 0), (1, 0, 0, -1, 0, 50)):
            assert affine_transform(p, m).symmetric_difference(p).area < 1e-9


def test_a_plate_of_two_half_circles_and_a_disc_have_no_doubled_vertices():
    for p in (plate(100, 40, corner="round", radius=20), plate(40, 40, corner="round", radius=20)):
        assert p.is_valid
        assert np.hypot(*np.diff(np.array(p.exterior.coords), axis=0).T).min() > 1e-3
    assert plate(40, 40, corner="cut", radius=20).area == pytest.approx(800)
    assert len(plate(40, 40, corner="cut", radius=20).exterior.coords) == 5


@pytest.mark.parametrize(
    ("args", "kwargs"),
    [
        ((0, 10), {}), ((10, -1), {}), ((math.nan, 10), {}), ((10, 10), {"corner": "oval"}),
        ((10, 10), {"corner": "round"}), ((10, 10), {"corner": "round", "radius": 5.1}),
        ((10, 10), {"radius": 2}), ((10, 10), {"corner": "cut", "radius": math.inf}),
    ],
    ids=str,
)  # fmt: skip
def test_plates_of_no_use_are_refused(args, kwargs):
    with pytest.raises(ArgumentError):
        plate(*args, **kwargs)


# -- place


@pytest.mark.parametrize("align", sorted(ALIGNMENTS))
def test_boxes_are_aligned_with_the_margin(align):
    got = place(plate(20, 10), PLATE, align=align, margin=4).bounds
    x = 4 if "left" in align else 76 if "right" in align else 40
    y = 4 if "bottom" in align else 46 if "top" in align else 25
    assert got == pytest.approx((x, y, x + 20, y + 10), abs=1e-9)


def test_shrink_only_shrinks_fill_also_grows_none_keeps():
    small, large = plate(10, 10), plate(300, 90)
    assert place(small, PLATE, fit="shrink").area == pytest.approx(100)
    assert place(small, PLATE, fit="fill").bounds == pytest.approx((20, 0, 80, 60))
    assert place(large, PLATE, fit="shrink", margin=5).bounds == pytest.approx((5, 16.5, 95, 43.5))
    assert place(small, PLATE, fit="none").area == 100


def test_too_large_with_fit_none_is_an_error_with_sizes():
    with pytest.raises(ArgumentError, match=r"120\.00 x 20\.00 mm, the room 90\.00 x 50\.00 mm.*margin of 5 mm"):
        place(plate(120, 20), PLATE, fit="none", margin=5)
    assert place(plate(100, 60), PLATE, fit="none").bounds == pytest.approx(PLATE.bounds, abs=1e-9)


def test_a_stock_takes_shapes_too():
    board = Stock(300, 150, 18, material="hardwood")
    assert place(plate(280, 120), board, fit="none").bounds == pytest.approx((10, 15, 290, 135))


def test_in_a_round_plate_nothing_stands_over_the_edge():
    """A square in a disc of radius r has a half side of r / sqrt 2 (elementary geometry)."""
    disc = Point(50, 50).buffer(50, quad_segs=400)
    got = place(plate(10, 10), disc, fit="fill")
    assert disc.buffer(1e-5).covers(got)
    assert got.bounds[0] == pytest.approx(50 - 50 / math.sqrt(2), abs=0.01)
    with pytest.raises(ArgumentError, match="stands over the outline"):
        place(plate(90, 90), disc, fit="none")
    with pytest.raises(ArgumentError, match="align"):
        place(plate(9, 9), disc, align="top-left")


def test_in_an_outline_with_a_bay_the_shape_itself_counts_not_its_hull():
    ell = move(L_SHAPE, dx=2, dy=2)
    room = Polygon([(0, 0), (40, 0), (40, 15), (15, 15), (15, 40), (0, 40)])
    assert room.covers(place(ell, room, align="bottom-left", fit="none"))
    with pytest.raises(ArgumentError, match="outline"):
        place(plate(20, 20), room, align="bottom-left", fit="none")


def test_holes_of_the_room_do_not_count():
    frame = box(0, 0, 100, 60).difference(box(10, 10, 90, 50))
    assert place(plate(20, 10), frame).bounds == pytest.approx((40, 25, 60, 35))


@pytest.mark.parametrize(
    ("shape", "into", "kwargs", "error"),
    [
        (PLATE, PLATE, {"margin": 40}, ArgumentError), (PLATE, PLATE, {"margin": -1}, ArgumentError),
        (PLATE, PLATE, {"align": "middle"}, ArgumentError), (PLATE, PLATE, {"fit": "stretch"}, ArgumentError),
        (Polygon(), PLATE, {}, ArgumentError), ("Fern", PLATE, {}, ArgumentError),
        (PLATE, Polygon(), {}, DrawingError), (PLATE, LineString([(0, 0), (1, 1)]), {}, DrawingError),
        (PLATE, MultiPolygon([box(0, 0, 9, 9), box(20, 0, 29, 9)]), {}, ArgumentError),
        (LineString([(0, 0), (1, math.inf)]), PLATE, {}, ArgumentError),
    ],
    ids=str,
)  # fmt: skip
def test_what_cannot_be_placed_is_refused(shape, into, kwargs, error):
    with pytest.raises(error):
        place(shape, into, **kwargs)


def test_a_single_line_without_height_can_be_placed():
    got = place(LineString([(0, 0), (400, 0)]), PLATE, margin=10)
    assert got.bounds == pytest.approx((10, 30, 90, 30))


@settings(max_examples=60, deadline=None)
@example(1.0, 1.0, 5e-324, "bottom", "shrink")
@given(
    st.floats(0.5, 400), st.floats(0.5, 400), st.floats(0, 25), st.sampled_from(sorted(ALIGNMENTS)),
    st.sampled_from(["shrink", "fill"]),
)  # fmt: skip
def test_whatever_is_placed_lies_inside_and_keeps_its_proportions(w, h, margin, align, fit):
    got = place(plate(w, h), PLATE, align=align, margin=margin, fit=fit)
    x0, y0, x1, y1 = got.bounds
    assert min(x0, y0, 100 - x1, 60 - y1) >= margin - 1e-6
    assert (x1 - x0) / (y1 - y0) == pytest.approx(w / h, rel=1e-6)
    if fit == "fill":
        assert max((x1 - x0) / (100 - 2 * margin), (y1 - y0) / (60 - 2 * margin)) == pytest.approx(1, abs=1e-6)


# -- kinds


@dataclass(frozen=True)
class Drawing:
    """Stands for artwork: layers by name, region and lines worked out from them."""

    layers: Mapping[str, Layer]
    notes: tuple[str, ...] = ()

    @property
    def region(self):
        return MultiPolygon([p for layer in self.layers.values() for p in layer.region.geoms])

    @property
    def lines(self):
        return MultiLineString([g for layer in self.layers.values() for g in layer.lines.geoms])


@dataclass(frozen=True)
class Outline:
    """A thing with a region that it works out from plain numbers: it cannot be moved, only its region can."""

    side: float
    name: str = "outline"

    @property
    def region(self):
        return box(0, 0, self.side, self.side)


LAYER = Layer(
    name="leaf", region=MultiPolygon([L_SHAPE]), lines=MultiLineString([[(0, 0), (50, 5)]]), units_guessed=True
)


def test_the_same_kind_comes_back():
    shapes = [
        L_SHAPE, MultiPolygon([L_SHAPE]), FERN, LAYER,
        LineString([(0, 0), (5, 9)]), MultiLineString([[(0, 0), (5, 9)]]),
        Drawing({"leaf": LAYER}, notes=("one",)),
    ]  # fmt: skip
    for shape in shapes:
        for got in (place(shape, PLATE), mirror(shape, across=3), move(shape, dx=1, turn=30)):
            assert type(got) is type(shape)


def test_layers_keep_name_lines_and_flags_and_their_tolerance_scales():
    got = place(LAYER, PLATE, fit="fill", margin=5)
    assert (got.name, got.units_guessed) == ("leaf", True)
    assert got.region.bounds[3] == pytest.approx(55)
    assert got.lines.bounds[0] == pytest.approx(50 - 25 * 5 / 3), "the lines count in the box too"
    assert got.tolerance == pytest.approx(0.002 * 5 / 3)


def test_artwork_moves_all_its_layers_and_keeps_its_notes():
    drawing = Drawing({"leaf": LAYER, "stem": Layer(name="stem", region=MultiPolygon([box(0, 0, 5, 5)]))}, notes=("n",))
    got = mirror(drawing, across=20)
    assert got.notes == ("n",)
    assert list(got.layers) == ["leaf", "stem"]
    assert got.layers["stem"].region.bounds == (35, 0, 40, 5)
    assert got.layers["leaf"].lines.bounds == (-10, 0, 40, 5)


def test_a_drawing_that_was_read_is_moved_with_its_layers_and_the_places_of_its_notes():
    """Layers are worked out when asked for, and a scale reaches the page's size and the tolerance."""
    made = []
    layers = Layers({"leaf": lambda: made.append("leaf") or LAYER, "stem": lambda: made.append("stem") or LAYER})
    drawing = Artwork(
        region=LAYER.region, lines=LAYER.lines, layers=layers, size=(50.0, 30.0), units_guessed=True, path="leaf.svg",
        tolerance=0.002, notes=(Note(code="open", text="A line stays open.", where=(10.0, 4.0)),),
    )  # fmt: skip
    got = place(drawing, plate(100, 60), fit="fill")
    assert isinstance(got, Artwork)
    assert got.size == pytest.approx((100, 60))
    assert got.tolerance == pytest.approx(0.004)
    assert got.notes[0].where == pytest.approx((20, 8))
    assert "stem" not in made
    assert got["stem"].region.bounds == pytest.approx((0, 0, 60, 60))
    assert got.region.bounds == pytest.approx((0, 0, 60, 60))
    assert got.path == "leaf.svg"


def test_a_thing_that_only_has_a_region_comes_back_as_a_layer():
    got = move(Outline(7), dx=3)
    assert isinstance(got, Layer)
    assert got.name == "outline"
    assert got.region.bounds == (3, 0, 10, 7)


def test_lettering_keeps_its_outlines_and_composes_its_matrices():
    got = place(FERN, plate(30, 20), margin=2)
    assert got.outlines is FERN.outlines
    assert [n for n, _ in got.glyphs] == [n for n, _ in FERN.glyphs]
    assert got.text == FERN.text
    assert got.tolerance == pytest.approx(0.002 * 26 / FERN.size[0])
    assert got.size[0] == pytest.approx(26)
    assert letters_cover_region(got)
    assert all(isinstance(v, float) for _, m in got.glyphs for v in m)


@settings(max_examples=40, deadline=None)
@given(matrices, matrices)
def test_any_chain_of_moves_keeps_letters_and_region_together(first, second):
    got = transformed(transformed(FERN, similarity(*first)), similarity(*second))
    assert letters_cover_region(got)
    assert got.tolerance == pytest.approx(0.002 * first[1] * second[1])
    assert all(p.exterior.is_ccw for p in got.region.geoms)


@settings(max_examples=60, deadline=None)
@given(matrices, matrices)
def test_a_composed_matrix_does_one_after_the_other(first, second):
    a, b = similarity(*first), similarity(*second)
    want = affine_transform(affine_transform(L_SHAPE, a), b)
    got = affine_transform(L_SHAPE, composed(b, a))
    assert np.allclose(shapely.get_coordinates(got), shapely.get_coordinates(want), atol=1e-9)


# -- mirror, move


def test_mirror_twice_is_nothing_and_once_swaps_left_and_right():
    for shape in (L_SHAPE, MultiPolygon([L_SHAPE]), FERN.region):
        once = mirror(shape, across=17)
        assert once.is_valid
        assert all(p.exterior.is_ccw for p in shapely.get_parts(once))
        assert once.area == pytest.approx(shape.area)
        assert mirror(once, across=17).symmetric_difference(shape).area < 1e-9
    assert mirror(L_SHAPE, across=30).bounds == (30, 0, 60, 30)
    assert mirror(L_SHAPE, across=30).contains(Point(59, 29))
    assert not mirror(L_SHAPE, across=30).contains(Point(31, 29))


def test_mirrored_lines_keep_their_direction_of_travel():
    got = mirror(LineString([(0, 0), (10, 5)]), across=0)
    assert list(got.coords) == [(0, 0), (-10, 5)]


def test_quarter_turns_are_exact():
    assert move(L_SHAPE, turn=90).bounds == (-30, 0, 0, 30)
    assert move(L_SHAPE, turn=-450).bounds == (0, -30, 30, 0)
    assert list(move(PLATE, turn=180, dx=100, dy=60).bounds) == [0, 0, 100, 60]
    assert move(L_SHAPE, turn=45).area == pytest.approx(L_SHAPE.area)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_moves_that_are_no_numbers_are_refused(bad):
    with pytest.raises(ArgumentError):
        mirror(PLATE, across=bad)
    with pytest.raises(ArgumentError):
        move(PLATE, turn=bad)
    with pytest.raises(ArgumentError, match="str cannot be moved"):
        mirror("Fern", across=0)
