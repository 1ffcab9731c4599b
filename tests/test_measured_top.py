"""A face that was measured: interpolation, moves laid onto it, and a proof that takes the same heights."""

import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator, RegularGridInterpolator
from shapely.geometry import LineString, Point, box

import pathgen as pg
from pathgen.model.path import Path
from pathgen.program.uneven import laid
from pathgen.shape.arcs import fit_arcs

ROUTER = pg.Machine(travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000)
BIT = pg.VBit(60, diameter=12.7, flutes=1, cutting=pg.Cutting(16000, 1500, 500, stepdown=3))
MILL = pg.EndMill(6, flutes=1, cutting_length=30, cutting=pg.Cutting(16000, 1800, 500, 3, 2.7))
DRILL = pg.Drill(5, cutting_length=60, cutting=pg.Cutting(3000, 300, 150))


def bowed(x, y):
    return 0.6 * np.sin(x / 60) + 0.4 * np.cos(y / 50) - 0.4


def on_grid(height=bowed, nx=5, ny=4):
    x, y = np.meshgrid(np.linspace(0, 200, nx), np.linspace(0, 120, ny))
    return np.column_stack([x.ravel(), y.ravel(), height(x.ravel(), y.ravel())])


def scattered(height=bowed, n=30):
    rng = np.random.default_rng(7)
    xy = np.vstack([[[0, 0], [200, 0], [0, 120], [200, 120]], rng.uniform([0, 0], [200, 120], (n, 2))])
    return np.column_stack([xy, height(*xy.T)])


def board(top=None, **more):
    given = {"material": "hardwood", "thickness_range": (17.7, 18.3), "measured_top": top, **more}
    return pg.Stock(200, 120, 18, **given)


def points_inside(n=500):
    return np.random.default_rng(3).uniform([1, 1], [199, 119], (n, 2)).T


# -- the interpolation -------------------------------------------------------------------------------------------


def test_a_grid_is_interpolated_as_scipy_does():
    rows = on_grid()
    x, y = points_inside()
    want = RegularGridInterpolator(
        (np.linspace(0, 200, 5), np.linspace(0, 120, 4)), rows[:, 2].reshape(4, 5).T, method="linear"
    )(np.column_stack([x, y]))
    assert np.allclose(board(rows).top_at(x, y), want, atol=1e-12)
    assert np.allclose(board(rows[::-1]).top_at(x, y), want, atol=1e-12)  # the order of rows says nothing


def test_scattered_points_are_interpolated_as_scipy_does():
    rows = scattered()
    x, y = points_inside()
    want = LinearNDInterpolator(rows[:, :2], rows[:, 2])(x, y)
    assert np.allclose(board(rows).top_at(x, y), want, atol=1e-9)


@settings(deadline=None, max_examples=30)
@given(a=st.floats(-0.01, 0.01), b=st.floats(-0.01, 0.01), c=st.floats(-1, 1), grid=st.booleans())
def test_a_plane_comes_back_exactly(a, b, c, grid):
    def plane(x, y):
        return a * x + b * y + c

    stock = board((on_grid if grid else scattered)(plane))
    x, y = points_inside(50)
    assert np.allclose(stock.top_at(x, y), plane(x, y), atol=1e-9)


@pytest.mark.parametrize("rows", [on_grid(), scattered()], ids=["grid", "scattered"])
def test_measured_points_come_back_and_beyond_them_nothing_is_known(rows):
    stock = board(rows)
    assert np.allclose(stock.top_at(rows[:, 0], rows[:, 1]), rows[:, 2], atol=1e-9)
    assert np.isnan(stock.top_at([-0.01, 200.01, 50, np.nan], [10, 10, 120.5, 3])).all()
    assert stock.rise == pytest.approx(max(0, rows[:, 2].max()))
    assert stock.dip == pytest.approx(max(0, -rows[:, 2].min()))
    assert board().top_at(7, 9) == 0
    assert stock == board(rows.tolist())
    assert hash(stock) == hash(board(tuple(map(tuple, rows))))
    assert stock != board()


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "rows (x, y, z)"),
        ("top.csv", "rows (x, y, z)"),
        ([(0, 0), (1, 1), (2, 0)], "rows (x, y, z)"),
        ([(0, 0, 0), (1, 1, 0), (2, 0, float("nan"))], "rows (x, y, z)"),
        ([(0, 0, 0), (1, 1, 0)], "in one line"),
        ([(0, 0, 0), (1, 1, 0), (2, 2, 0)], "in one line"),
        ([(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 0, 1)], "two heights at (9, 0)"),
        ([(0, 0, 0), (9, 0, 0), (0, 9, -18)], "z=-18 at (0, 9)"),
    ],
)
def test_heights_that_are_no_face_are_refused_in_words(rows, words):
    with pytest.raises(pg.ArgumentError, match=re.escape(words)):
        board(rows)


# -- moves laid onto the face ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", [on_grid(), scattered()], ids=["grid", "scattered"])
def test_pieces_are_short_and_follow_the_face_within_a_hundredth(rows):
    stock = board(rows)
    ring = np.asarray(Point(100, 60).buffer(40, quad_segs=64).exterior.coords)
    curve = Path(fit_arcs(ring[:-1], tolerance=0.002, closed=True))
    flat = np.array([0, 0, -2, 0.0])
    for path in (Path.lines([[5, 5, -2], [195, 110, -2], [195, 5, -1]]), Path(curve.points + flat)):
        (done,) = laid([path], stock)
        level = done.points.copy()
        level[:, 2] = 0
        assert Path(level).move_lengths.max() <= 5 + 1e-9
        assert done.length == pytest.approx(path.length, rel=1e-3)
        dense, own = laid_densely(done), path.flattened(0.0005)
        gap = shapely.distance(shapely.points(dense[:, :2]), LineString(own[:, :2]))
        assert gap.max() < 0.001
        # the height above the face is what was planned
        at = shapely.line_locate_point(LineString(own[:, :2]), shapely.points(dense[1:-1, :2]))
        along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(own[:, :2], axis=0).T))])
        planned = np.interp(at, along, own[:, 2])
        above = dense[1:-1, 2] - stock.top_at(dense[1:-1, 0], dense[1:-1, 1])
        assert np.abs(above - planned).max() < 0.01


def laid_densely(path):
    """Points along a path with z even along every move: many for each."""
    p, out = path.points, []
    is_arc, center, _ = path.arcs()
    for k in range(len(p) - 1):
        t = np.linspace(0, 1, 12)
        xyz = p[k, :3] + t[:, None] * (p[k + 1, :3] - p[k, :3])
        if is_arc[k]:
            turn = path.sweeps[k] * t
            d = p[k, :2] - center[k]
            xyz[:, 0] = center[k, 0] + np.cos(turn) * d[0] - np.sin(turn) * d[1]
            xyz[:, 1] = center[k, 1] + np.sin(turn) * d[0] + np.cos(turn) * d[1]
        out.append(xyz)
    return np.concatenate(out)


def test_an_arc_becomes_arcs_on_its_circle():
    stock = board(on_grid())
    (done,) = laid([Path([[60, 60, -1, 0], [140, 60, -1, 1]])], stock)  # a half circle of radius 40
    is_arc, center, radius = done.arcs()
    assert is_arc.all()
    assert len(is_arc) >= np.pi * 40 / 5
    assert np.allclose(center, (100, 60), atol=1e-9)
    assert np.allclose(radius, 40, atol=1e-9)
    assert done.sweeps.sum() == pytest.approx(np.pi)


def test_on_a_flat_face_only_the_moves_are_shorter():
    stock = board([(0, 0, 0), (200, 0, 0), (0, 120, 0), (200, 120, 0)])
    (done,) = laid([Path.lines([[5, 5, -2], [25, 5, -2]])], stock)
    assert done.points[:, 0].tolist() == [5, 10, 15, 20, 25]
    assert (done.points[:, 2] == -2).all()


def test_many_paths_are_laid_as_each_by_itself():
    stock = board(scattered())
    paths = [
        Path.lines([[5, 5, -2], [95, 110, -2]]),
        Path(np.empty((0, 4))),
        Path([[60, 60, -1, 0], [140, 60, -1, -0.4]]),
        Path.lines([[150, 20, 1], [150, 20, -3]]),
        Path.lines([[150, 20, -3]]),
    ]
    for one, path in zip(laid(paths, stock), paths, strict=True):
        assert np.allclose(one.points, laid([path], stock)[0].points, atol=1e-12)
    assert laid([], stock) == []
    assert len(laid(paths, stock)[3]) == 2


# -- jobs and their proof ----------------------------------------------------------------------------------------


def sign(stock):
    word = pg.place(pg.text("Fern", height=30), stock)
    return pg.Job(
        "Bowed",
        stock,
        ROUTER,
        [
            pg.vgroove(word, BIT, stock=stock),
            pg.pocket(Point(35, 60).buffer(14), MILL, depth=4, stock=stock),
            pg.drill([(20, 20), (180, 100)], DRILL, depth=8, stock=stock),
            pg.profile(
                box(10, 10, 190, 110), MILL, depth=pg.THROUGH, stock=stock,
                bridges=pg.Bridges(4, length=6, thickness=2),
            ),
        ],
    )  # fmt: skip


@pytest.mark.parametrize(
    "rows", [on_grid(), pytest.param(scattered(), marks=pytest.mark.slow)], ids=["grid", "scattered"]
)
def test_a_sign_on_a_bowed_board_is_proved(rows):
    proof = sign(board(rows)).prove()
    assert proof.ok, proof.findings
    assert proof.gouge <= 0.01
    assert proof.residual <= 0.02


def test_a_sign_on_a_bowed_board_is_proved_in_inches():
    stock = board(on_grid())
    inches = pg.Machine(
        travel=(600, 400, 120), max_feed=6000, acceleration=500, max_rpm=24000, dialect=pg.Dialect(units="inch")
    )
    cuts = pg.pocket(Point(35, 60).buffer(14), MILL, depth=4, stock=stock)
    proof = pg.Job("Inches", stock, inches, cuts).prove()
    assert proof.ok, proof.findings


def tray(stock):
    return pg.Job("Tray", stock, ROUTER, pg.pocket(box(60, 40, 140, 80), MILL, depth=3, stock=stock))


def test_a_program_for_a_flat_board_is_seen_to_be_wrong_on_a_bowed_one():
    flat, uneven = tray(board()), tray(board(on_grid()))
    x, y = np.meshgrid(np.linspace(60, 140, 81), np.linspace(40, 80, 41))
    top = uneven.stock.top_at(x, y)
    proof = uneven.prove(texts=[p.text for p in flat.programs()])
    assert not proof.ok
    assert proof.gouge == pytest.approx(top.max(), abs=0.03)
    other = uneven.prove(texts=[p.text for p in tray(board(on_grid(lambda x, y: bowed(x, y) + 0.2))).programs()])
    assert other.residual == pytest.approx(0.2, abs=0.02)


def test_a_move_that_crosses_a_ridge_in_one_go_is_seen():
    """Both its ends are at the right height; only between them it is too deep."""
    ridge = on_grid(lambda x, y: np.where(x == 100, 0.3, 0.0))
    stock = board(ridge)
    line = LineString([(50, 60), (150, 60)])
    (cut,) = pg.profile(line, MILL, depth=1, side="along", stock=stock)
    job = pg.Job("Ridge", stock, ROUTER, cut)
    assert job.prove().ok, job.prove().findings
    texts = [p.text for p in pg.Job("Ridge", board(), ROUTER, pg.profile(line, MILL, depth=1, side="along")).programs()]
    wrong = job.prove(texts=texts)
    assert not wrong.ok
    assert wrong.gouge == pytest.approx(0.3, abs=0.01)


def test_through_cuts_are_measured_from_the_underside_and_stay():
    def outline(stock):
        cut = pg.profile(
            box(10, 10, 190, 110), MILL, depth=pg.THROUGH, stock=stock, bridges=pg.Bridges(4, length=6, thickness=2)
        )
        return pg.Job("Outline", stock, ROUTER, cut)

    def levels(job):
        return [p.path.points for c in job.tool_cuts for p in c.passes]

    uneven = outline(board(on_grid()))
    assert all(np.array_equal(a, b) for a, b in zip(levels(uneven), levels(outline(board())), strict=True))
    assert uneven.prove().ok, uneven.prove().findings


def test_a_face_makes_a_plane_so_nothing_after_it_is_shifted():
    facer = pg.EndMill(20, flutes=1, cutting_length=30, cutting=pg.Cutting(14000, 4000, 500, 1, 12))

    def job(stock, depth=1.5, **more):
        whole = box(0, 0, 200, 120)
        cuts = [pg.face(whole, facer, depth=depth, stock=stock), *tray(stock).tool_cuts[:0]]
        cuts += pg.pocket(box(60, 40, 140, 80), MILL, depth=3, stock=stock)
        return pg.Job("Faced", stock, ROUTER, cuts, **more)

    done = job(board(on_grid()))
    assert done.prove().ok, done.prove().findings
    assert done.tool_cuts[1].passes[-1].path.end[2] == pytest.approx(-4.5)
    with pytest.raises(pg.ArgumentError, match="dents"):
        job(board(on_grid()), depth=0.3)


def test_moves_beyond_the_measured_points_are_refused_and_seen():
    narrow = on_grid()
    narrow[:, :2] = narrow[:, :2] * 0.5 + [50, 30]  # measured from (50, 30) to (150, 90)
    assert tray(board(narrow)).prove().ok
    wide = narrow.copy()
    wide[:, :2] = narrow[:, :2] * 0.5 + [60, 30]  # up to (135, 75) only
    with pytest.raises(pg.ArgumentError, match=r"'pocket' goes to \(\d+.*measured_top"):
        tray(board(wide))
    inner = pg.pocket(box(100, 50, 120, 70), MILL, depth=3, stock=board(wide))
    job = pg.Job("Inner", board(wide), ROUTER, inner)
    assert job.prove().ok
    proof = job.prove(texts=[p.text for p in tray(board(narrow)).programs()])
    assert "top-unknown" in {f.code for f in proof.findings if f.severity == "error"}


def test_rapids_pass_over_the_highest_place_and_zero_is_asked_for():
    high = board(on_grid(lambda x, y: bowed(x, y) + 1.0))
    job = tray(high)
    assert 5 + high.rise <= job.clearance < 5 + high.rise + 0.1
    text = job._texts()[0].text
    low = min(float(z) for z in re.findall(r"G0 Z(-?[\d.]+)", text))
    assert low >= high.rise + 1 - 1e-3
    (note,) = [n for n in job.notes if n.code == "touch-off-height"]
    assert note.severity == "warning"
    assert note.amount == pytest.approx(1.0)
    assert not [n for n in tray(board(on_grid())).notes if n.code == "touch-off-height"]
    assert not [n for n in tray(board(on_grid(lambda x, y: x * 0 + 1), zero_height="table")).notes if "touch" in n.code]


def test_without_points_a_groove_tells_how_flat_the_top_must_be_and_with_them_not():
    def codes(stock):
        return {
            n.code for c in pg.vgroove(pg.place(pg.text("Fern", height=30), stock), BIT, stock=stock) for n in c.notes
        }

    assert "flatness" in codes(board())
    assert "flatness" not in codes(board(on_grid()))


@pytest.mark.parametrize("depth", [14.0, pg.THROUGH])
def test_holes_in_a_bowed_board_take_no_bite_above_a_diameter(depth):
    stock = board(on_grid(lambda x, y: bowed(x, y) + 0.8), film=0.1)
    cuts = pg.drill([(20, 20), (100, 60), (180, 20)], DRILL, depth=depth, stock=stock)
    job = pg.Job("Holes", stock, ROUTER, cuts)
    assert job.prove().ok, job.prove().findings
    (cut,) = job.tool_cuts
    for x in (20.0, 100.0, 180.0):
        own = [p for p in cut.passes if p.role == "cut" and p.path.start[0] == x]
        top = float(stock.top_at(x, own[0].path.start[1]))
        bites = -np.diff([top, *(p.path.end[2] for p in own)])
        assert bites.max() <= 5 + 1e-9
        assert own[0].path.start[2] >= top + 0.5


def test_a_job_on_a_bowed_board_can_be_restarted_in_the_middle_of_its_holes():
    stock = board(on_grid())
    cuts = pg.drill([(20, 20), (60, 20), (100, 20), (140, 20)], DRILL, depth=14, stock=stock)
    job = pg.Job("Holes", stock, ROUTER, cuts, clearance=5.0123456)
    again = pg.restart(job, 0, at="PASS 1.3")
    assert again.proof.ok
    assert again.certain.ok
    assert again.program.text.count("(PASS") == 3  # the one asked for, the one before it, and the last


# -- a film on the face ------------------------------------------------------------------------------------------


def test_depth_is_measured_from_the_face_under_a_film_and_zero_from_where_it_is_set():
    texts = {}
    for name, more in (("bare", {}), ("under", {"film": 0.1}), ("on", {"film": 0.1, "zero_on_film": True})):
        job = tray(board(**more))
        assert job.prove().ok, job.prove().findings
        texts[name] = job.programs()[0].text
    assert re.search(r"Z-3\.0\b", texts["bare"])
    assert re.search(r"Z-3\.0\b", texts["under"])
    assert re.search(r"Z-3\.1\b", texts["on"])
    assert "on its film of 0.1 mm" in texts["on"]
    assert re.search(r"^Z1\.1$", texts["under"], re.M)  # rapids end 1 mm above the film
    assert re.search(r"^Z1\.0$", texts["on"], re.M)
    # a groove planned for a face under film that is set on the film by mistake comes out shallower by the film
    wrong = tray(board(film=0.1, zero_on_film=True)).prove(texts=[texts["under"]])
    assert wrong.residual == pytest.approx(0.1, abs=0.01)


def test_paint_cure_and_peel_are_stops_between_the_cuts():
    stock = board(film=0.1)
    cuts = [
        *pg.pocket(box(60, 40, 140, 80), MILL, depth=3, stock=stock),
        pg.Stop("Paint the letters, let them cure, peel the mask"),
        *pg.pocket(box(20, 40, 40, 80), MILL, depth=2, stock=stock),
    ]
    first, second = pg.Job("Painted", stock, ROUTER, cuts).programs()
    assert "(Paint the letters, let them cure, peel the mask)" in second.text
    assert "Paint the letters" in second.message
    assert "Paint the" not in first.text


# -- heights from a file -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["x,y,z\n0,0,0.1\n\n200, 0, -0.2\n# far\n0,120,0\n", "0;0;0.1\n200;0;-0.2\n0;120;0",
                                  "\ufeffX\tY\tZ\r\n0\t0\t0.1\r\n200\t0\t-0.2\r\n0\t120\t0\r\n"])  # fmt: skip
def test_heights_are_read_from_a_file(tmp_path, text):
    path = tmp_path / "top.csv"
    path.write_text(text, "utf-8", newline="")
    rows = pg.read_heights(path)
    assert rows == ((0, 0, 0.1), (200, 0, -0.2), (0, 120, 0))
    assert board(rows).top_at(0, 0) == pytest.approx(0.1)
    assert pg.read_heights(path, units="inch")[1] == pytest.approx((5080, 0, -5.08))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x,y,z\n0,0,0\n1,2\n", "line 3"),
        ("x,y,z\n0,0,0\n1,2,nan\n", "line 3"),
        ("0,0,0\nx,y,z\n", "line 2"),
        ("0,0,a\n", "line 1"),
        ("x,y,z\n", "no line"),
        ("", "no line"),
    ],
)
def test_a_file_without_heights_is_refused_with_its_line(tmp_path, text, words):
    path = tmp_path / "top.csv"
    path.write_text(text)
    with pytest.raises(pg.DrawingError, match=words):
        pg.read_heights(path)
    with pytest.raises(pg.MissingFileError):
        pg.read_heights(tmp_path / "none.csv")
    with pytest.raises(pg.DrawingError, match="folder"):
        pg.read_heights(tmp_path)
    with pytest.raises(pg.ArgumentError, match="'inch'"):
        pg.read_heights(path, units="cm")
