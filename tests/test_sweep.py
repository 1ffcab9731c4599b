"""The height field: closed forms against dense stamping, analytic shapes, and laws."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, box

from pathgen import BallNose, DiamondPoint, Drill, EndMill, Stock, VBit
from pathgen.errors import ArgumentError
from pathgen.model.tool import Tool
from pathgen.motion.read import read_program
from pathgen.proof.distance import Outline
from pathgen.proof.grid import Grid, beside_edge, inside, widened
from pathgen.proof.strokes import HIGH, Strokes, strokes_of, track_of
from pathgen.proof.sweep import lower_surface, lowest_strokes, profile_of, sweep

BOARD = Stock(40, 30, 12, material="mdf")
TOOLS = {
    "end mill": EndMill(6),
    "ball": BallNose(5),
    "drill": Drill(5),
    "flat drill": Drill(5, point_angle=180),
    "V 30": VBit(30, diameter=6),
    "V 60": VBit(60, diameter=12.7),
    "V 90 with tip": VBit(90, diameter=8, tip=0.5),
}


def strokes(points, tool=1, rapid=False):
    p = np.asarray(points, dtype=float)
    n = len(p) - 1
    same = np.zeros(n, dtype=np.int64)
    return Strokes(a=p[:-1], b=p[1:], tool=same + tool, rapid=np.full(n, rapid), move=np.arange(n), cut=same)


def stamped(points, tool, grid, step):
    """The same surface by setting the tool down every `step` mm: no closed form, slow, and an upper bound."""
    field = np.zeros((grid.rows, grid.columns))
    x, y = grid.x[None, :], grid.y[:, None]
    p = np.asarray(points, dtype=float)
    for a, b in itertools.pairwise(p):
        n = max(2, math.ceil(np.linalg.norm(b - a) / step))
        for t in np.linspace(0, 1, n):
            c = a + t * (b - a)
            field = np.minimum(field, c[2] + tool.height_at(np.hypot(x - c[0], y - c[1])))
    return field


# -- the surface of one stroke ------------------------------------------------------------------------------------

PATHS = {
    "level": [[8, 8, -2], [25, 8, -2]],
    "slanting, level": [[8, 8, -2], [20, 17, -2]],
    "ramp": [[8, 8, -0.5], [22, 13, -3]],
    "steep": [[10, 10, 0], [11, 10.5, -4]],
    "climbing": [[8, 8, -4], [20, 15, 1]],
    "plunge": [[15, 12, 5], [15, 12, -3]],
    "lift": [[15, 12, -3], [15, 12, 5]],
    "short": [[15, 12, -3], [15.02, 12.01, -3.01]],
    "corner": [[8, 8, -2], [18, 8, -2], [18, 16, -3]],
}


@pytest.mark.parametrize("name", TOOLS)
@pytest.mark.parametrize("path", PATHS)
def test_the_closed_form_agrees_with_dense_stamping(name, path):
    """Within 0.2 of a step: stamping every 0.02 mm errs by less, and misses only at the rim of upright walls."""
    tool, points = TOOLS[name], PATHS[path]
    grid = Grid.over(32, 24, 0.25)
    exact = sweep(strokes(points), {1: tool}, grid).astype(float)
    slow = stamped(points, tool, grid, 0.02)
    rim = beside_edge(slow < 0)  # upright outer walls of flat tools and of the cones' ends
    assert (exact <= slow + 1e-5).all(), "stamping can never cut more than the true surface"
    assert np.abs(exact - slow)[~rim].max() <= 0.2 * grid.pixel
    assert np.count_nonzero(exact < -1e-6) >= 12
    missed = np.count_nonzero((exact < 0) != (slow < 0))
    assert missed <= 3, "no more than a sample or two on the very rim differ"


def test_a_ball_along_a_line_leaves_a_round_trough():
    """z = z0 + R - sqrt(R^2 - q^2) (the circle's equation), exact between the ends."""
    grid = Grid.over(32, 24, 0.1)
    field = sweep(strokes([[5, 12, -2], [27, 12, -2]]), {1: BallNose(6)}, grid)
    q = grid.y - 12
    row = np.where(np.abs(q) <= 3, np.minimum(-2 + 3 - np.sqrt(np.maximum(9 - q * q, 0)), 0), 0)
    middle = (grid.x > 6) & (grid.x < 26)
    assert np.abs(field[:, middle] - row[:, None]).max() < 1e-5
    assert row.min() < -1.999


def test_a_v_bit_along_a_line_leaves_its_own_angle():
    """Depth = -z0 - (|q| - tip / 2) / tan(angle / 2): 60 degrees, tip 0.2."""
    grid = Grid.over(32, 24, 0.1)
    bit = VBit(60, diameter=10, tip=0.2)
    field = sweep(strokes([[5, 12, -2], [27, 12, -2]]), {1: bit}, grid)
    q = np.abs(grid.y - 12)
    row = np.minimum(-2 + np.maximum(q - 0.1, 0) / math.tan(math.radians(30)), 0)
    middle = (grid.x > 6.5) & (grid.x < 25.5)
    assert np.abs(field[:, middle] - row[:, None]).max() < 1e-5


def test_a_steep_cone_stroke_is_the_cone_at_its_lower_end_and_beyond():
    """Where the move falls faster than the cone's side, the deepest end does all the cutting it can reach."""
    bit = VBit(90, diameter=10)
    profile = profile_of(bit)
    low = lower_surface(profile, np.array([3.0]), np.array([0.0]), (1.0, 0.0, 1.0, 0.0, -3.0))
    assert low[0] == pytest.approx(-3 + 2)  # 2 mm beside the end at x = 1: rise 1 for 90 degrees


def test_beyond_the_cutter_nothing_is_cut():
    profile = profile_of(VBit(60, diameter=4))
    way = (1.0, 0.0, 10.0, -9.0, 0.0)
    assert np.isinf(lower_surface(profile, np.array([5.0]), np.array([2.0001]), way))[0]
    assert np.isfinite(lower_surface(profile, np.array([5.0]), np.array([1.9999]), way))[0]
    assert np.isinf(lower_surface(profile, np.array([12.1]), np.array([0.0]), way))[0]


def test_level_fill_is_the_buffer_of_the_path():
    """A flat cutter at one depth sweeps the path's buffer: GEOS with fine arcs as the outside check."""
    rng = np.random.default_rng(5)
    xy = rng.uniform([5, 5], [27, 19], (40, 2))
    grid = Grid.over(32, 24, 0.05)
    field = sweep(strokes(np.column_stack([xy, np.full(40, -2.0)])), {1: EndMill(1.5)}, grid)
    truth = inside(LineString(xy).buffer(0.75, quad_segs=200), grid)
    differ = (field < -1) != truth
    assert np.count_nonzero(differ) <= 5
    assert not (differ & ~beside_edge(truth)).any()
    assert 0.2 < truth.mean() < 0.9


def test_sparse_and_dense_level_fills_give_the_same():
    """One long frame takes the sparse route, a zigzag over the same area the dense one; both are exact."""
    grid = Grid.over(32, 24, 0.1)
    frame = [[4, 4, -1], [28, 4, -1], [28, 20, -1], [4, 20, -1], [4, 4, -1]]
    zigzag = [[4 + 24 * (k % 2), 4 + 16 * k / 40, -1] for k in range(41)]
    for points in (frame, zigzag):
        field = sweep(strokes(points), {1: EndMill(2)}, grid)
        truth = inside(LineString(np.array(points)[:, :2]).buffer(1, quad_segs=200), grid)
        assert np.count_nonzero((field < 0) != truth) <= 4


def test_a_dragging_tool_cuts_nothing_and_an_unknown_kind_is_refused():
    grid = Grid.over(10, 10, 0.5)
    assert (sweep(strokes([[2, 2, -1], [8, 8, -1]]), {1: DiamondPoint()}, grid) == 0).all()
    assert (sweep(strokes([[2, 2, -1], [8, 8, -1]]), {2: EndMill(2)}, grid) == 0).all()
    with pytest.raises(ArgumentError, match="knows no outline"):
        profile_of(Tool())


# -- laws ---------------------------------------------------------------------------------------------------------

places = st.tuples(st.floats(-3, 35), st.floats(-3, 27), st.floats(-4, 1))


@settings(max_examples=60, deadline=None)
@given(st.lists(places, min_size=2, max_size=6), st.sampled_from(sorted(TOOLS)))
def test_any_path_agrees_with_stamping(points, name):
    tool = TOOLS[name]
    grid = Grid.over(32, 24, 0.8)
    exact = sweep(strokes(points), {1: tool}, grid).astype(float)
    slow = stamped(points, tool, grid, 0.05)
    assert (exact <= slow + 2e-5).all()
    # a dot every 0.05 mm lies at most 0.025 mm from the true lowest place: slopes of at most 4 there, walls apart
    rim = beside_edge(slow < 0) | (np.abs(exact - slow) > 0.5)
    assert np.abs(exact - slow)[~rim].max(initial=0) <= 0.2 * grid.pixel
    assert np.count_nonzero(np.abs(exact - slow) > 0.5) <= 6


@settings(max_examples=30, deadline=None)
@given(st.lists(places, min_size=3, max_size=12), st.randoms(use_true_random=False))
def test_the_order_of_strokes_never_changes_the_part(points, random):
    grid = Grid.over(32, 24, 0.5)
    s = strokes(points)
    s.tool[len(s) // 2 :] = 2
    tools = {1: VBit(60, diameter=10), 2: EndMill(4)}
    order = np.array(random.sample(range(len(s)), len(s)))
    assert np.array_equal(sweep(s, tools, grid), sweep(s[order], tools, grid))


@settings(max_examples=30, deadline=None)
@given(st.lists(places, min_size=2, max_size=8))
def test_a_stroke_run_backwards_cuts_the_same(points):
    grid = Grid.over(32, 24, 0.5)
    for tool in TOOLS.values():
        there, back = (sweep(strokes(p), {1: tool}, grid) for p in (points, points[::-1]))
        assert np.allclose(there, back, atol=2e-5) or np.count_nonzero(np.abs(there - back) > 2e-5) <= 2


def test_moving_path_and_grid_together_changes_nothing():
    points = np.array([[5, 5, -1], [20, 9, -2], [12, 18, -0.5]])
    grid = Grid.over(32, 24, 0.2)
    moved = Grid(x0=grid.x0 + 100, y0=grid.y0 - 50, pixel=0.2, rows=grid.rows, columns=grid.columns)
    for tool in TOOLS.values():
        a = sweep(strokes(points), {1: tool}, grid)
        b = sweep(strokes(points + np.array([100, -50, 0])), {1: tool}, moved)
        assert np.abs(a - b).max() < 1e-5 or np.count_nonzero(np.abs(a - b) > 1e-5) <= 3


def test_a_window_of_the_grid_holds_the_same_samples():
    """Tiles can be swept by themselves: a part of the field is the field of the part."""
    points = [[5, 5, -1], [20, 9, -2], [12, 18, -0.5], [12, 18, -3]]
    grid = Grid.over(32, 24, 0.2)
    rows, columns = grid.window((8.0, 6.0, 15.0, 20.0))
    for tool in TOOLS.values():
        whole = sweep(strokes(points), {1: tool}, grid)
        assert np.abs(whole[rows, columns] - sweep(strokes(points), {1: tool}, grid.part(rows, columns))).max() < 1e-5


def test_the_lowest_stroke_at_a_point_is_the_field_there():
    points = [[5, 5, -1], [20, 9, -2], [12, 18, -0.5], [12, 18, -3]]
    grid = Grid.over(32, 24, 0.5)
    s = strokes(points)
    for tool in TOOLS.values():
        field = sweep(s, {1: tool}, grid)
        for r, c in ((20, 20), (30, 25), (12, 30)):
            low = lowest_strokes(s, {1: tool}, grid.x0 + c * 0.5, grid.y0 + r * 0.5)
            assert min(low.min(), 0) == pytest.approx(field[r, c], abs=1e-5)


# -- from program to strokes --------------------------------------------------------------------------------------


def track(text, stock=BOARD, tools=None):
    tools = tools or {1: EndMill(6)}
    return track_of([read_program(text)], tools, stock)


def test_arcs_and_helices_are_chords_within_half_a_thousandth():
    t = track("G21 G90 G17\nG0 X20 Y10 Z1\nG1 Z-1 F100\nG3 X10 Y20 I-10 J0\nG2 X10 Y10 Z-2 I0 J-5\nG1 X5\nM2")
    s = strokes_of(t)
    first = s[s.move == 2]
    middle = 0.5 * (first.a + first.b)
    assert np.abs(np.hypot(first.a[:, 0] - 10, first.a[:, 1] - 10) - 10).max() < 1e-9
    sag = 10 - np.hypot(middle[:, 0] - 10, middle[:, 1] - 10)
    assert 0 < sag.max() <= 0.0005 + 1e-9
    helix = s[s.move == 3]
    assert helix.a[0, 2] == -1
    assert helix.b[-1, 2] == -2
    assert np.allclose(np.diff(helix.b[:, 2]), np.diff(helix.b[:, 2])[0])
    assert np.allclose(np.hypot(helix.b[:, 0] - 10, helix.b[:, 1] - 15), 5)
    assert helix.b[:-1, 0].min() > 10 - 1e-9, "clockwise from the top: round by the right-hand side"


def test_arcs_in_the_other_planes_turn_the_standard_way():
    """G18 turns from Z to X, G19 from Y to Z, seen from the third axis' positive end (NISTIR 6556 section 3.5.3)."""
    t = track("G21 G90 G18\nG0 X10 Y5 Z0\nG3 X0 Z0 I-5 K0 F100\nG19\nG3 Y-5 Z0 J-5 K0\nM2")
    s = strokes_of(t)
    first, second = s[s.move == 1], s[s.move == 2]
    assert np.allclose(np.hypot(first.b[:, 0] - 5, first.b[:, 2]), 5)
    assert first.b[:, 2].min() == pytest.approx(-5, abs=0.01), "from +X counter-clockwise in ZX is down"
    assert np.allclose(np.hypot(second.b[:, 1] - 0, second.b[:, 2]), 5)
    assert second.b[:, 2].max() == pytest.approx(5, abs=0.01), "from +Y counter-clockwise in YZ is up"


def test_the_work_zero_shifts_into_stock_coordinates():
    centered = Stock(40, 30, 12, material="mdf", zero="center", zero_height="table")
    t = track("G21 G90 G17\nG0 Z20\nG0 X0 Y0\nG1 Z9 F100\nM2", centered)
    assert t.end[-1].tolist() == [20, 15, -3]


def test_a_retract_in_machine_coordinates_is_the_top_of_the_travel():
    t = track("G21 G90 G17\nG53 G0 Z0\nG0 X5 Y5\nG0 Z1\nG1 Z-1 F100\nX9\nG53 G0 Z0\nG0 X1\nM2")
    assert t.end[0, 2] == HIGH
    assert t.start[1, 2] == HIGH
    assert t.end[1, 2] == HIGH
    assert t.end[5, 2] == HIGH
    assert t.start[6, 2] == HIGH
    s = strokes_of(t)
    assert {0, 1, 2} & set(s.move.tolist()) == {2}, "moves from an unknown place are no strokes"
    assert s.lowest.min() == -1


def test_inch_and_mm_give_the_same_strokes():
    mm = strokes_of(track("G21 G90 G17\nG0 X0 Y0 Z5\nG1 Z-2.54 F254\nG2 X12.7 I6.35 J0\nM2"))
    inch = strokes_of(track("G20 G90 G17\nG0 X0 Y0 Z0.19685\nG1 Z-0.1 F10\nG2 X0.5 I0.25 J0\nM2"))
    assert len(mm) == len(inch)
    assert np.abs(mm.b - inch.b).max() < 0.002


@pytest.mark.parametrize(
    ("text", "tools"),
    [
        ("(Tool T7 V bit)\nG21 G0 X1 Y1 Z5\n(Tool T3 end mill)\nM0\nG1 X2 F100\nM2", [7, 3]),
        ("T4 M6 G21 G0 X1 Y1 Z5\nG1 X2 F100\nM2", [4, 4]),
        ("(Tool T7 V bit)\n(Tool T3 end mill)\nG21 G0 X1 Y1 Z5\nG1 X2 F100\nM2", [7, 7]),
        ("G21 G0 X1 Y1 Z5\nG1 X2 F100\nM2", [0, 0]),
    ],
)
def test_the_tool_goes_by_t_words_then_by_what_the_operator_is_told(text, tools):
    t = track(text, tools={3: EndMill(3), 4: EndMill(4), 7: VBit(60, diameter=10)})
    assert t.tool.tolist() == tools
    assert track("G21 G0 X1 Y1 Z5\nM2", tools={9: EndMill(3)}).tool.tolist() == [9]


def test_cuts_are_told_apart_by_their_comments():
    t = track("(CUT 1 Fern)\nG21 G0 X1 Y1 Z5\n(PASS 1.1 cut)\nG1 X2 F100\n(CUT 3 outline)\nX3\nM2")
    assert t.cut.tolist() == [0, 0, 2]


# -- the grid and its helpers -------------------------------------------------------------------------------------


def test_no_sample_lies_on_a_round_coordinate_and_all_lie_in_the_stock():
    for pixel in (0.05, 0.1, 0.25, 1.0):
        grid = Grid.over(30, 20, pixel)
        for places, size in ((grid.x, 30), (grid.y, 20)):
            assert 0 < places[0] < pixel
            assert 0 < size - places[-1] <= pixel
        steps = np.concatenate([grid.x / (0.5 * pixel), grid.y / (0.5 * pixel)])
        assert np.abs(steps - np.round(steps)).min() > 0.2


def test_areas_fill_in_exactly():
    """Against shapely's point-in-polygon at every sample: holes, islands, spikes, several parts."""
    spike = shapely.Polygon([(1, 1), (9, 1.3), (2, 8), (3, 3)])
    shapes = [
        box(2, 2, 8, 9).difference(Point(5, 5).buffer(2)).union(Point(5, 5).buffer(0.7)),
        spike,
        MultiPolygon([box(0, 0, 1, 1), box(3, 3, 4.5, 20)]),
        box(-5, -5, 50, 50),
        box(60, 60, 70, 70),
        MultiPolygon(),
    ]
    grid = Grid.over(10, 12, 0.17)
    x, y = np.meshgrid(grid.x, grid.y)
    for shape in shapes:
        assert np.array_equal(inside(shape, grid), shapely.contains_xy(shape, x, y))


def test_growing_a_mask_goes_to_all_eight_neighbours():
    mask = np.zeros((7, 8), dtype=bool)
    mask[3, 4] = True
    assert np.argwhere(widened(mask)).tolist() == [[r, c] for r in (2, 3, 4) for c in (3, 4, 5)]
    assert widened(mask, 2).sum() == 25
    assert np.array_equal(beside_edge(mask), widened(mask))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([np.inf, 1.5, 0.2]))
def test_distances_from_an_outline_are_exact(seed, limit):
    """Against shapely's own distance at every sample wanted, for random star-shaped outlines with a hole."""
    rng = np.random.default_rng(seed)
    n = rng.integers(3, 40)
    angle = np.sort(rng.uniform(0, 2 * np.pi, n))
    radius = rng.uniform(1.5, 6, n)
    shape = shapely.Polygon(np.column_stack([8 + radius * np.cos(angle), 7 + radius * np.sin(angle)])).buffer(0)
    shape = shape.difference(Point(8, 7).buffer(0.5))
    if shape.is_empty:
        return
    grid = Grid.over(16, 14, 0.3)
    wanted = widened(inside(shape, grid))
    found = Outline(shape).over(grid, wanted, limit=limit)
    x, y = np.meshgrid(grid.x, grid.y)
    truth = shapely.distance(shapely.points(x, y), shape.boundary)
    assert np.abs(found - np.minimum(truth, limit))[wanted].max(initial=0) < 1e-9
    assert np.isinf(found[~wanted]).all()
