"""Templates: true scale above all, a bar to check it by, and pieces that find each other again."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import LineString, Point, Polygon, box

import pathgen as pg

PART = box(0, 0, 300, 80)


def segments(layer):
    """All drawn lines as (x0, y0, x1, y1)."""
    return np.array([np.array(g.coords)[[0, -1]].ravel() for g in layer.lines.geoms])


def bars(layer, length=100.0):
    """Lines of exactly this length, level or upright, that end in ticks 8 mm high."""
    found = []
    for x0, y0, x1, y1 in segments(layer):
        level, upright = abs(y1 - y0) < 1e-9, abs(x1 - x0) < 1e-9
        if (level or upright) and abs(np.hypot(x1 - x0, y1 - y0) - length) < 1e-9:
            found.append(((x0, y0), (x1, y1)))
    return found


def match_marks(layer, at, *, upright=True):
    """Where lines end on the joint at x = `at` (y = `at` for a level one)."""
    s = segments(layer)
    if not upright:
        s = s[:, [1, 0, 3, 2]]
    rows = (np.abs(s[:, 1] - s[:, 3]) < 1e-9) & ((np.abs(s[:, 0] - at) < 1e-9) | (np.abs(s[:, 2] - at) < 1e-9))
    return sorted(np.round(s[rows, 1], 6).tolist())


def test_the_part_keeps_its_size_and_the_bar_is_100_mm():
    (piece,) = pg.template(PART)
    assert piece.region.equals(PART)
    assert piece.name == "template"
    ((a, b),) = bars(piece)
    assert np.hypot(b[0] - a[0], b[1] - a[1]) == pytest.approx(100.0, abs=1e-12)
    s = segments(piece)
    ticks = sorted(x for x, y0, x1, y1 in s if x == x1 and abs(y1 - y0) < 8.5 and a[0] - 1 < x < b[0] + 1)
    assert np.diff(ticks) == pytest.approx([10.0] * 10)
    ends = [abs(y1 - y0) for x, y0, x1, y1 in s if x == x1 and (abs(x - a[0]) < 1e-9 or abs(x - b[0]) < 1e-9)]
    assert ends == pytest.approx([8.0, 8.0])
    assert piece.region.contains(piece.lines)


def test_an_upright_part_has_an_upright_bar_and_one_without_room_has_it_below():
    (tall,) = pg.template(box(0, 0, 60, 300))
    ((a, b),) = bars(tall)
    assert a[0] == b[0]
    assert tall.region.contains(tall.lines)
    (small,) = pg.template(Polygon([(0, 0), (60, 0), (30, 50)]))
    ((a, b),) = bars(small)
    assert a[1] < small.region.bounds[1]
    assert min(small.region.bounds[1], small.lines.bounds[1]) == 0.0
    assert small.region.area == pytest.approx(1500)


def test_any_length_of_bar_and_none():
    (piece,) = pg.template(PART, bar=50)
    assert len(bars(piece, 50.0)) == 1
    (piece,) = pg.template(PART, bar=0, marks="none")
    assert piece.lines.is_empty


def test_crosses_and_holes_stand_where_asked_or_as_far_apart_as_can_be():
    (piece,) = pg.template(PART, points=[(20, 30), (270, 50)])
    for x, y in ((20, 30), (270, 50)):
        assert any(np.allclose(row, (x - 5, y, x + 5, y)) for row in segments(piece))
        assert any(np.allclose(row, (x, y - 5, x, y + 5)) for row in segments(piece))
    (piece,) = pg.template(PART, marks="holes", points=[(20, 30), (270, 50)], hole=4)
    holes = piece.region.geoms[0].interiors
    assert sorted(round(h.centroid.x, 6) for h in holes) == [20, 270]
    assert all(Polygon(h).area == pytest.approx(np.pi * 4, rel=0.002) for h in holes)
    (piece,) = pg.template(PART)
    centers = [
        (0.5 * (x0 + x1), y0) for x0, y0, x1, y1 in segments(piece) if y0 == y1 and abs(abs(x1 - x0) - 10) < 1e-9
    ]
    assert len(centers) == 2
    assert np.hypot(*np.subtract(*centers)) > 280


@pytest.mark.parametrize("width", [300, 450, 900])
def test_pieces_are_no_larger_than_the_sheet_and_make_up_the_part(width):
    part = pg.plate(width, 500, corner="round", radius=60).difference(Point(width / 2, 250).buffer(20))
    pieces = pg.template(part, sheet=(200, 280))
    assert len(pieces) == -(-width // 200) * 2
    for piece in pieces:
        x0, y0, x1, y1 = piece.region.bounds
        assert (x0, y0) == (0.0, 0.0)
        assert x1 <= 200 + 1e-9
        assert y1 <= 280 + 1e-9
        assert len(bars(piece)) == 1
    assert sum(p.region.area for p in pieces) == pytest.approx(part.area)
    back, x, y, row = [], 0.0, 0.0, pieces[0].name.split()[2]
    for piece in pieces:
        if piece.name.split()[2] != row:
            row, x, y = piece.name.split()[2], 0.0, y + back[-1].bounds[3]
        back.append(translate(piece.region, x, y))
        x += piece.region.bounds[2]
    assert shapely.union_all(back).symmetric_difference(part).area < 1e-6


def test_match_marks_meet_at_their_joint_with_as_many_ticks_as_its_number():
    pieces = pg.template(box(0, 0, 500, 100), sheet=(200, 150))
    assert [p.name for p in pieces] == [f"template row 1 column {k}" for k in (1, 2, 3)]
    for number, (left, right) in enumerate(pairwise(pieces), 1):
        edge = left.region.bounds[2]
        here, there = match_marks(left, edge), match_marks(right, 0.0)
        assert here == there
        assert len(here) == 2
        for y in here:
            for layer, low, high in ((left, edge - 12, edge), (right, 0.0, 12.0)):
                s = segments(layer)
                ticks = (
                    (s[:, 0] == s[:, 2]) & (s[:, 0] > low) & (s[:, 0] < high) & (np.abs(s[:, [1, 3]].mean(1) - y) < 1)
                )
                assert ticks.sum() == number


def test_level_joints_have_marks_too():
    low, high = pg.template(box(0, 0, 120, 400), sheet=(150, 250))
    assert match_marks(low, 200.0, upright=False) == match_marks(high, 0.0, upright=False)
    assert len(match_marks(high, 0.0, upright=False)) == 2


def test_joints_keep_off_holes_where_they_can():
    part = box(0, 0, 400, 100).difference(Point(200, 50).buffer(10))
    left, right = pg.template(part, sheet=(300, 120))
    assert sorted(len(p.region.geoms[0].interiors) for p in (left, right)) == [0, 1]
    left, right = pg.template(part, sheet=(201, 120))
    assert not [p for p in (left, right) if p.region.geoms[0].interiors]


@pytest.mark.parametrize("height", [8, 400])
def test_the_label_is_drawn_inside_and_made_smaller_only_where_it_must_be(height):
    label = pg.text("Fern", height=height, font="sans")
    (plain,), (named,) = pg.template(PART), pg.template(PART, label=label)
    extra = named.lines.difference(plain.lines)
    assert named.region.contains(named.lines)
    width = extra.bounds[2] - extra.bounds[0]
    assert (width == pytest.approx(label.size[0])) is (height == 8)
    assert named.lines.geoms[0].equals(plain.lines.geoms[0])
    (lined,) = pg.template(PART, label=LineString([(0, 0), (10, 0)]))
    assert len(lined.lines.geoms) == len(plain.lines.geoms) + 1


def test_a_template_can_be_placed_and_cut_with_marks_first():
    card = pg.Stock(340, 120, 0.5, material="card", thickness_range=(0.48, 0.52))
    table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
    blade = pg.TrailingKnife(trail=0.5, edge_angle=45, cutting=pg.Cutting(0, 1500, 300))
    piece = pg.place(pg.template(PART)[0], card, fit="none")
    free = card.region.difference(piece.region)
    marks = pg.knife(piece.lines, blade, depth=0.15, waste=free, stock=card, name="marks")
    outline = pg.knife(piece.region, blade, depth=pg.THROUGH, stock=card, name="outline")
    job = pg.Job("template", card, table, [*outline, *marks])
    assert [c.name for c in job.tool_cuts] == ["marks", "outline"]
    proof = job.prove(grid=0.5)
    assert proof.ok
    assert max(b.off for b in proof.blades) < 0.01
    assert job.finished_size == pytest.approx((300, 80))


@pytest.mark.parametrize(
    ("words", "given"),
    [
        ("no room for a check bar", {"sheet": (80, 90)}),
        ("outside the part", {"points": [(500, 500)]}),
        ("marks", {"marks": "stars"}),
        ("sheet", {"sheet": (0, 100)}),
        ("sheet", {"sheet": 100}),
        ("bar", {"bar": -1}),
        ("hole", {"hole": 0}),
        ("points", {"points": [(1,)]}),
    ],
)
def test_what_cannot_be_is_refused(words, given):
    with pytest.raises(pg.ArgumentError, match=words):
        pg.template(PART, **given)


def test_a_shape_without_area_is_refused():
    with pytest.raises(pg.DrawingError):
        pg.template(LineString([(0, 0), (1, 1)]))
