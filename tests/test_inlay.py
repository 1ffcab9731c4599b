"""Inlays with upright walls: the air all round, measured apart from planner and proof."""

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box
from test_shared import key, leaf, star

import pathgen as pg
from pathgen.errors import ArgumentError

BOARD = pg.Stock(160, 110, 12, material="hardwood", thickness_range=(11.9, 12.1))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000, positioning=0.01)
WOOD, BRASS = ("hardwood", "hardwood"), ("hardwood", "brass")
SHAPES = {"star": star(), "leaf": leaf(), "key": key(), "letters": pg.text("R", height=44, tolerance=0.001).region}


def mill(diameter):
    speeds = pg.Cutting(16000, 900, 250, 0.5 * diameter, 0.4 * diameter)
    return pg.EndMill(diameter, cutting_length=14, cutting=speeds)


def on(board, shape):
    return pg.place(shape, board, fit="none")


def made(shape, tool=1.5, plug=1.5, clearance=0.05, **more):
    more = {"materials": WOOD, "bridges": pg.Bridges(3, length=3, thickness=1), **more}
    return pg.inlay(
        on(BOARD, SHAPES[shape]), mill(tool), depth=4, clearance=clearance, plug_thickness=4.5, plug_tool=mill(plug),
        stock=BOARD, **more,
    )  # fmt: skip


def jobs(inlay):
    return pg.Job("pocket", BOARD, ROUTER, inlay.pocket), pg.Job("plug", inlay.plug_stock, ROUTER, inlay.plug)


def cut_away(cuts, z):
    """The area cut away at z by flat cutters: the ways below z grown by the radius, from the passes themselves."""
    lines, radius = [], cuts[0].tool.diameter / 2
    for cut in cuts:
        for p in cut.passes:
            xyz = p.path.flattened(1e-4)
            low = np.maximum(xyz[:-1, 2], xyz[1:, 2]) <= z + 1e-9
            lines += [shapely.LineString(pair) for pair in np.stack([xyz[:-1, :2], xyz[1:, :2]], axis=1)[low]]
    return shapely.union_all(shapely.buffer(lines, radius, quad_segs=64))


@pytest.mark.parametrize(
    ("shape", "tool", "plug"),
    [
        ("star", 1.0, 1.0),
        ("leaf", 3.0, 6.35),
        ("key", 6.35, 3.0),
        ("star", 3.0, 1.5),
        pytest.param("letters", 1.0, 1.5, marks=pytest.mark.slow),
    ],
)
def test_the_air_is_the_same_all_round(shape, tool, plug):
    """Asked 0.05 mm: every point of the plug's wall has it within 0.01, measured on the ways of both tools."""
    inlay = made(shape, tool, plug, bridges=None)
    hole = cut_away(inlay.pocket, -3.9).intersection(inlay.pocket_region.buffer(5))
    around = cut_away(inlay.plug, -4.4)
    move = [-v for v in inlay.place[4:]]
    frame = affinity.translate(inlay.plug_stock.region.difference(around), *move)
    pieces = [p for p in shapely.get_parts(frame) if p.intersection(inlay.pocket_region).area > 0.5 * p.area]
    assert len(pieces) == len(inlay.plug_region.geoms)
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(shapely.boundary(pieces), 0.3)))
    inside = shapely.contains_properly(hole, points)
    air = shapely.distance(points, hole.boundary)
    assert inside.all()
    assert air.min() >= 0.04
    assert air.max() <= 0.06


@pytest.mark.parametrize(
    "shape", ["key", "leaf", *(pytest.param(s, marks=pytest.mark.slow) for s in ("letters", "star"))]
)
def test_both_halves_prove_and_fit(shape):
    inlay = made(shape)
    pocket, plug = jobs(inlay)
    assert pocket.prove().ok, str(pocket.prove())
    assert plug.prove().ok, str(plug.prove())
    fit = pg.mate(pocket, plug, asked=inlay)
    assert fit.ok, str(fit)
    assert fit.clearance == pytest.approx((0.05, 0.05), abs=0.01)
    assert fit.interference == 0.0
    assert fit.proud == pytest.approx(inlay.proud)
    assert fit.under_gap == pytest.approx(0.3)
    assert fit.contact == pytest.approx(1.0, abs=0.001)


def test_walls_are_finished_climbing_over_their_whole_depth():
    conventional = pg.EndMill(
        3, cutting_length=14, cutting=pg.Cutting(16000, 900, 250, 1, 1.2, direction="conventional")
    )
    inlay = pg.inlay(
        on(BOARD, SHAPES["leaf"]),
        conventional,
        depth=4,
        clearance=0.05,
        plug_thickness=4.5,
        stock=BOARD,
        materials=BRASS,
    )
    for cuts, turn in ((inlay.pocket[1:], 1), (inlay.plug, -1)):  # counter-clockwise inside a wall, clockwise round one
        assert cuts[0].cutting.direction == "climb"
        finish = [p for p in cuts[0].passes if p.role == "finish"]
        assert finish
        ring = max(finish, key=lambda p: p.path.length).path.flattened(0.01)
        area = 0.5 * np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1])
        assert np.sign(area) == turn
        assert ring[:, 2].max() - ring[:, 2].min() < 1e-9
        assert ring[0, 2] == pytest.approx(-cuts[0].depth)


def test_the_change_is_shown_and_measured():
    inlay = made("star", tool=3.0, plug=3.0)
    # a tip of angle 2b recedes by r (1 / sin b - 1); the star's tips are the corners that recede furthest
    tip, inner = np.array([30.0, 0.0]), 13.0 * np.array([np.cos(np.pi / 5), np.sin(np.pi / 5)])
    half = np.arctan2(inner[1], tip[0] - inner[0])
    assert inlay.change.farthest == pytest.approx((1.5 - 0.05) * (1 / np.sin(half) - 1), abs=0.02)
    assert "<svg" in inlay.change._repr_svg_()
    note = next(n for c in inlay.pocket for n in c.notes if n.code == "inlay-changed")
    assert note.amount == pytest.approx(inlay.change.farthest)


def test_a_fit_is_half_its_mean_air_on_each_side():
    """ISO 286: H8/f7 over 18 to 30 mm leaves 0.020 to 0.074 mm across; a plate 24 mm wide gets (0.047 / 2) a side."""
    plate = MultiPolygon([box(40, 40, 100, 64)])
    inlay = pg.inlay(
        plate, mill(3), depth=3, clearance="H8/f7", plug_thickness=4, materials=("aluminium", "brass"),
    )  # fmt: skip
    assert inlay.clearance == pytest.approx((0.020 + 0.033 + 0.021 + 0.020) / 4, abs=1e-9)
    assert inlay.fits[1].size == pytest.approx(24, abs=0.01)


def test_a_fit_is_refused_in_wood_with_the_reason():
    with pytest.raises(ArgumentError, match="damp day"):
        pg.inlay(SHAPES["leaf"], mill(3), depth=3, clearance="H8/f7", plug_thickness=4, materials=BRASS)
    with pytest.raises(ArgumentError, match="both materials"):
        pg.inlay(SHAPES["leaf"], mill(3), depth=3, clearance="H8/f7", plug_thickness=4)


def test_a_plug_with_sharp_corners_is_refused():
    """The check can fail: the plug keeps the drawn corners, which the pocket's cutter rounds."""
    inlay = made("star", tool=3.0, plug=1.0)
    sharp = pg.profile(
        affinity.translate(on(BOARD, SHAPES["star"]), *inlay.place[4:]), mill(1.0), depth=pg.THROUGH,
        stock=inlay.plug_stock, bridges=pg.Bridges(3, length=3, thickness=1),
    )  # fmt: skip
    pocket, _ = jobs(inlay)
    fit = pg.mate(pocket, pg.Job("plug", inlay.plug_stock, ROUTER, sharp), asked=inlay)
    assert fit.ok is False
    assert "fit-interferes" in {f.code for f in fit.findings}
    assert fit.interference > 0.3


def test_a_plug_wider_than_its_pocket_is_refused():
    inlay = made("leaf", tool=3.0, plug=3.0)
    tight = pg.profile(
        inlay.plug_region.buffer(0.07, quad_segs=64), mill(3.0), depth=pg.THROUGH, stock=inlay.plug_stock,
        bridges=pg.Bridges(3, length=3, thickness=1),
    )  # fmt: skip
    fit = pg.mate(jobs(inlay)[0], pg.Job("plug", inlay.plug_stock, ROUTER, tight), asked=inlay)
    assert {"fit-interferes", "fit-clearance"} <= {f.code for f in fit.findings}
    assert fit.interference == pytest.approx(0.02, abs=0.005)
    assert fit.interference_volume > 0


def test_a_mirrored_plug_is_refused():
    shape = MultiPolygon([Polygon([(0, 0), (50, 0), (40, 14), (14, 20)])])
    board = on(BOARD, shape)
    inlay = pg.inlay(board, mill(3), depth=4, clearance=0.05, plug_thickness=4.5, stock=BOARD, materials=WOOD)
    turned = pg.profile(
        pg.mirror(inlay.plug_region, across=inlay.plug_stock.width / 2), mill(3), depth=pg.THROUGH,
        stock=inlay.plug_stock, bridges=pg.Bridges(3, length=3, thickness=1),
    )  # fmt: skip
    fit = pg.mate(pg.Job("a", BOARD, ROUTER, inlay.pocket), pg.Job("b", inlay.plug_stock, ROUTER, turned), asked=inlay)
    assert fit.ok is False
    assert fit.interference > 1


def test_without_numbers_the_halves_are_laid_over_each_other():
    inlay = made("key", tool=3.0, plug=3.0)
    fit = pg.mate(*jobs(inlay))
    assert fit.ok
    assert fit.clearance == pytest.approx((0.05, 0.05), abs=0.01)


def test_findings_on_gap_height_reading_and_fineness():
    inlay = pg.inlay(
        pg.place(pg.text("R", height=44), BOARD, fit="none"), mill(1), depth=4, clearance=0.005, plug_thickness=4.2,
        under_gap=0.1, stock=BOARD, materials=WOOD,
    )  # fmt: skip
    codes = {n.code for c in inlay.pocket for n in c.notes}
    assert {"inlay-gap", "inlay-proud", "inlay-tolerance"} <= codes
    fit = pg.mate(*jobs(inlay), asked=inlay)
    assert "fit-too-fine" in {f.code for f in fit.findings}


def test_bad_arguments_are_refused_with_the_way_out():
    region = SHAPES["leaf"]
    good = {"depth": 4, "clearance": 0.05, "plug_thickness": 4.5, "materials": WOOD}
    for bad, match in (
        ({"clearance": -0.02}, "clearance"),
        ({"clearance": float("nan")}, "clearance"),
        ({"depth": 6}, "too low to reach the face"),
        ({"plug_tool": pg.BallNose(3, cutting=pg.Cutting(16000, 900, 250, 1, 1))}, "end mill"),
        ({"materials": ("hardwood",)}, "two names"),
        ({"materials": None}, "plug_stock"),
        ({"plug_stock": pg.Stock(100, 100, 5, material="brass")}, "plug_stock measures 5"),
    ):
        with pytest.raises(ArgumentError, match=match):
            pg.inlay(region, mill(3), **{**good, **bad})
    with pytest.raises(ArgumentError, match="wider than anything"):
        pg.inlay(region, pg.EndMill(40, cutting=pg.Cutting(9000, 900, 250, 1, 9)), **good)
