"""V-grooves, measured densely and independently: the cone's swept surface against the asked one, normal to it."""

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from closed_form import distance, inner_points, outline_points, swept
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

import pathgen as pg
from pathgen.cuts.vgroove import vgroove
from pathgen.errors import ArgumentError, PathgenError
from pathgen.model.artwork import Lettering

CUTTING = pg.Cutting(16000, 1500, 500)


def bit_of(angle, *, diameter=40.0, tip=0.0, **speeds):
    return pg.VBit(angle, diameter=diameter, tip=tip, cutting=pg.Cutting(16000, 1500, 500, **speeds))


def measure(cuts, region, *, limit=math.inf, floor=0.0, spacing=0.2, inner=8000):
    """Return (gouge, residual) normal to the asked surface, worst, mm. `floor`: what may stand on a flat floor."""
    bit = cuts[0].tool
    t, flat, sine = bit.slope, 0.5 * bit.tip, math.sin(math.radians(bit.angle / 2))
    edge, mid = outline_points(region, spacing), inner_points(region, inner)
    q = np.concatenate([edge, mid])
    z = np.min([swept(c, q) for c in cuts], axis=0)
    d = np.concatenate([np.zeros(len(edge)), distance(region, mid)])
    asked = -np.minimum(d / t, limit)
    gouge = (asked - z) * np.where(d / t < limit, sine, 1.0)
    reach = d
    if flat:
        turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        around = [q] + [q + flat * s * np.array([np.cos(k), np.sin(k)]) for k in turn for s in (0.5, 1.0)]
        reach = np.max([distance(region, p) for p in around], axis=0)
    must = -np.minimum(np.maximum(reach - flat, 0) / t, limit)
    left = z - must - np.where(d / t > limit - 1e-9, floor, 0.0)
    left = np.where((reach - flat) / t > limit - floor, np.minimum(left, z + limit - floor), left)
    residual = left * np.where(must > -limit, sine, 1.0)
    assert len(mid) > 500
    assert (z < 0).any()
    return float(gouge.max()), float(residual.max())


@pytest.fixture(scope="module")
def words():
    return {"serif": pg.text("Fern & B8", height=40), "sans": pg.text("Rag%e?S", height=40, font="sans")}


def starts(cut):
    """Passes that do not go on from the one before: each is a lift."""
    p = cut.passes
    return [
        k
        for k in range(len(p))
        if k == 0 or k - 1 not in p[k].after or np.abs(p[k].path.start - p[k - 1].path.end).max() > 1e-6
    ]


@pytest.mark.parametrize("angle", [30, 60, 90])
@pytest.mark.parametrize("font", ["serif", "sans"])
def test_letters_are_cut_to_the_drawing(words, font, angle):
    """40 mm letters: gouge at most 0.01 and residual at most 0.02 mm, normal to the asked surface."""
    gouge, residual = measure(vgroove(words[font], bit_of(angle), depth_limit=60), words[font].region)
    assert gouge <= 0.01
    assert residual <= 0.02


@pytest.mark.parametrize("angle", [30, 60, 90])
def test_a_flat_tip_is_reckoned_with(words, angle):
    gouge, residual = measure(
        vgroove(words["serif"], bit_of(angle, tip=0.2), depth_limit=60), words["serif"].region, spacing=1.5, inner=1500
    )
    assert gouge <= 0.01
    assert residual <= 0.02


def test_the_fonts_true_curves_are_met():
    """Planned on curves flattened to 0.002, held against the same letters flattened to 0.0001."""
    fine = pg.text("Bgs&", height=40, tolerance=0.0001).region
    for angle in (30, 90):
        gouge, residual = measure(vgroove(pg.text("Bgs&", height=40), bit_of(angle), depth_limit=60), fine)
        assert gouge <= 0.013
        assert residual <= 0.02


@pytest.mark.parametrize("tip", [0.0, 0.2])
def test_strokes_wider_than_the_bit_get_a_flat_floor_and_their_drawn_outline(tip):
    """Letters with strokes of 15 mm and a 6 mm bit: its cone is the limit, its ridges are announced."""
    letters = pg.text("E&", height=110, font="sans")
    bit = bit_of(60, diameter=6, tip=tip, stepover=0.5)
    cuts = vgroove(letters, bit, depth_limit=60)
    ridge = 0.25 / bit.slope
    gouge, residual = measure(
        cuts, letters.region, limit=bit.cone_height, floor=ridge, spacing=4.0 if tip else 0.7, inner=1800
    )
    assert gouge <= 0.01
    assert residual <= 0.02
    note = next(n for n in cuts[0].notes if n.code == "floor-ridge")
    assert note.severity == "warning"
    assert note.amount == pytest.approx(ridge, abs=0.01)
    assert cuts[0].bounds.rules[0].ridge == note.amount


def test_a_floor_tool_clears_what_it_can_enter():
    mill = pg.EndMill(6, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
    region = MultiPolygon([box(0, 0, 60, 40)])
    cuts = vgroove(region, bit_of(60, stepover=0.5), depth_limit=4, floor_tool=mill)
    assert [type(c.tool) for c in cuts] == [pg.VBit, pg.EndMill]
    assert cuts[1].after == (cuts[0],)
    assert cuts[0].bounds.rules[0].floor_diameter == 6
    assert cuts[1].bounds.rules[0].depth == 4
    q = inner_points(region.geoms[0].buffer(-4 * math.tan(math.pi / 6) - 3 * 0.3, join_style="mitre"), 3000)
    z = np.min([swept(c, q) for c in cuts], axis=0)
    assert z == pytest.approx(np.full(len(q), -4), abs=1e-6)
    gouge, _ = measure(cuts, region, limit=4, floor=4)
    assert gouge <= 0.01


def test_volume_within_a_thousandth(words):
    """Summed over the same samples, so that only the surface itself counts."""
    region = words["serif"].region
    (cut,) = vgroove(words["serif"], bit_of(60), depth_limit=60)
    q = inner_points(region, 30000, seed=4)
    asked = distance(region, q).sum() / math.tan(math.radians(30))
    assert -swept(cut, q).sum() == pytest.approx(asked, rel=0.001)


def test_a_disc_is_a_straight_plunge():
    (cut,) = vgroove(Point(20, 20).buffer(8, quad_segs=200), bit_of(60), depth_limit=30)
    (only,) = cut.passes
    assert only.path.points[:, :3] == pytest.approx(
        np.array([[20, 20, 0], [20, 20, -8 / math.tan(math.pi / 6)]]), abs=2e-3
    )


def test_one_lift_for_each_piece_and_starts_at_corners(words):
    (cut,) = vgroove(words["serif"], bit_of(60), depth_limit=60)
    first = starts(cut)
    assert len(first) == len(words["serif"].region.geoms)
    # the 8 has no corner to start at, and a longest way may end in a round
    assert sum(abs(cut.passes[k].path.start[2]) < 1e-6 for k in first) >= 5
    assert Counter(p.role for p in cut.passes)["retrace"] > 5


def test_levels_step_down_and_leave_three_tenths(words):
    (whole,) = vgroove(words["serif"], bit_of(60), depth_limit=60)
    (cut,) = vgroove(words["serif"], bit_of(60, stepdown=2), depth_limit=60)
    assert {p.level for p in cut.passes} == set(range(5))
    finish = [p for p in cut.passes if p.level == 4]
    assert {p.role for p in finish} == {"finish", "retrace"}
    assert sum(p.path.length for p in finish) == pytest.approx(sum(p.path.length for p in whole.passes), rel=1e-9)
    q = inner_points(words["serif"].region, 4000)
    z = np.zeros(len(q))
    for level in range(5):
        mine = tuple(p for p in cut.passes if p.level == level)
        new = np.minimum(z, swept(cut.__class__(**{**cut.__dict__, "passes": mine}), q))
        z, before = new, z
        if level < 4:
            assert (before - z).max() <= 2 + 1e-6
            lowest = min(p.path.points[:, 2].min() for p in mine)
            assert all(p.path.points[:, 2].min() <= lowest + 2 for p in mine)
    assert (before - z).max() <= 0.3 + 0.01


def test_stretches_at_their_depth_are_not_run_again():
    """A wedge: at each level only what is deeper than the level before."""
    (cut,) = vgroove(Polygon([(0, 0), (100, -10), (100, 10)]), bit_of(60, stepdown=4), depth_limit=60)
    ahead = [min(p.path.points[:, 0].min() for p in cut.passes if p.level == k) for k in range(3)]
    assert ahead[0] < ahead[1] < ahead[2]


def test_equal_letters_are_planned_once_and_cut_alike():
    text = pg.text("noon", height=20)
    (once,) = vgroove(text, bit_of(60), depth_limit=20)
    (each,) = vgroove(text, bit_of(60), depth_limit=20, reuse=False)
    assert len(starts(once)) == len(starts(each)) == 4
    a, b = (sum(p.path.length for p in c.passes) for c in (once, each))
    assert a == pytest.approx(b, rel=1e-3)
    gouge, residual = measure((once,), text.region)
    assert max(gouge, residual) <= 0.01


def test_turned_letters_share_a_plan(monkeypatch):
    import pathgen.cuts.vgroove as module

    text = pg.text("F", height=20)
    key, outline = text.glyphs[0][0], text.outlines[text.glyphs[0][0]]
    turned = affinity.translate(affinity.rotate(outline, 90, origin=(0, 0)), 50, 5)
    both = Lettering(
        region=MultiPolygon([*outline.geoms, *turned.geoms]),
        glyphs=((key, (1, 0, 0, 1, 0, 0)), (key, (0, -1, 1, 0, 50, 5))),
        outlines={key: outline},
        tolerance=0.002,
        text="FF",
    )
    calls = []
    true = module.plan_groove
    monkeypatch.setattr(module, "plan_groove", lambda *a: calls.append(1) or true(*a))
    cuts = vgroove(both, bit_of(60), depth_limit=20)
    assert len(calls) == 1
    assert max(measure(cuts, both.region)) <= 0.01


def test_the_default_limit_comes_from_the_board():
    """thickness - max(20 %, min(3 mm, half the thickness)), of the thinnest board: common practice, no source."""
    for thick, limit in ((18, 14.4), (10, 7.0), (4, 2.0)):
        stock = pg.Stock(300, 200, thick, material="hardwood")
        (cut,) = vgroove(box(50, 50, 150, 100), bit_of(90, diameter=60, stepover=4), stock=stock)
        assert cut.depth == pytest.approx(limit)
        assert next(n for n in cut.notes if n.code == "groove-limit").severity == "note"
    ranged = pg.Stock(300, 200, 18, material="hardwood", thickness_range=(15, 19))
    assert vgroove(box(50, 50, 150, 100), bit_of(90, diameter=60, stepover=4), stock=ranged)[0].depth == 12


def test_begin_shifts_the_groove_down():
    (level,) = vgroove(box(0, 0, 40, 10), bit_of(90), depth_limit=30)
    (deep,) = vgroove(box(0, 0, 40, 10), bit_of(90), depth_limit=30, begin=2)
    assert deep.depth - level.depth == pytest.approx(2)
    assert max(p.path.points[:, 2].max() for p in deep.passes) == pytest.approx(-2)


def test_flatness_is_said_with_the_thinnest_stroke():
    (cut,) = vgroove(box(0, 0, 40, 10), bit_of(60), depth_limit=30)
    note = next(n for n in cut.notes if n.code == "flatness")
    assert "0.115 mm" in note.text  # 0.2 tan 30
    assert note.amount == pytest.approx(0.1 * 10 / math.tan(math.pi / 6), rel=1e-6)


def test_corners_that_the_tip_rounds_are_said_by_letter():
    (cut,) = vgroove(pg.text("NE N", height=20), bit_of(60, tip=0.3), depth_limit=20)
    note = next(n for n in cut.notes if n.code == "unreached")
    assert note.severity == "note"
    assert "'N'" in note.text
    assert "'E'" in note.text
    assert note.amount == pytest.approx(cut.unreached.area)
    assert not any(n.code == "unreached" for n in vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=20)[0].notes)


def test_what_the_tip_cannot_enter_is_said_and_nothing_at_all_is_an_error():
    shape = MultiPolygon([box(0, 0, 40, 10), box(0, 20, 40, 20.3)])
    (cut,) = vgroove(shape, bit_of(60, tip=0.5), depth_limit=20)
    note = next(n for n in cut.notes if n.code == "unreached")
    assert note.severity == "warning"
    assert cut.unreached.intersection(box(0, 20, 40, 20.3)).area == pytest.approx(12, rel=1e-3)
    with pytest.raises(ArgumentError, match=r"'i'.*sharper bit|'l'.*sharper bit"):
        vgroove(pg.text("il", height=2), bit_of(60, tip=1.5), depth_limit=20)


def not_numbers():
    with np.errstate(invalid="ignore"):
        return Polygon([(0, 0), (float("nan"), 0), (0, 9)])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: vgroove(box(0, 0, 9, 9), bit_of(60)), "stock="),
        (lambda: vgroove(box(0, 0, 9, 9), pg.EndMill(6, cutting=CUTTING), depth_limit=3), "VBit"),
        (lambda: vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=3, floor_tool=bit_of(60)), "end mill"),
        (lambda: vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=float("nan")), "depth_limit"),
        (lambda: vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=1), "stepover"),
        (lambda: vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=3, begin=3), "begin"),
        (lambda: vgroove(box(0, 0, 9, 9), pg.VBit(60, diameter=9), depth_limit=9), "no speeds"),
        (
            lambda: vgroove(box(0, 0, 9, 9), bit_of(60), depth_limit=20, stock=pg.Stock(99, 99, 18, material="mdf")),
            "goes through",
        ),
        (
            lambda: vgroove(
                box(0, 0, 9, 9), pg.VBit(60, diameter=20, cutting_length=3, cutting=CUTTING), depth_limit=20
            ),
            "cutting edges",
        ),
        (lambda: vgroove(Polygon(), bit_of(60), depth_limit=3), "empty"),
        (lambda: vgroove(Polygon([(0, 0), (1e-5, 0), (0, 1e-5)]), bit_of(60), depth_limit=3), "no area"),
        (lambda: vgroove(not_numbers(), bit_of(60), depth_limit=3), "not numbers"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_the_way_out(call, words):
    with pytest.raises(PathgenError, match=words):
        call()


@pytest.mark.parametrize("word", ["k", "E"])
def test_machine_time_against_walking_at_feed_and_lifting_at_tips(word):
    """At most 1.10 x the better of the shortest walk at feed throughout and of lifting instead of every retrace."""
    board = pg.Stock(300, 150, 40, material="hardwood")
    router = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
    (cut,) = vgroove(pg.text(word, height=40), bit_of(60), stock=board)

    def seconds(passes):
        return pg.Job("x", board, router, [replace(cut, passes=tuple(passes))]).time().total

    ours = seconds(cut.passes)
    at_feed = seconds(replace(p, role="cut") for p in cut.passes)
    lifting = seconds(replace(p, after=frozenset()) for p in cut.passes if p.role != "retrace")
    assert at_feed > ours
    assert ours <= 1.10 * min(at_feed, lifting)
