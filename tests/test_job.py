"""`Job`: the main job end to end, what it refuses, and that nothing is ever half written."""

import dataclasses
import math
import re

import numpy as np
import pytest
from shapely.affinity import translate
from shapely.geometry import Point, Polygon, box

import pathgen as pg
from pathgen.model.path import Path
from pathgen.motion.read import read_program

ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))
BOARD = pg.Stock(120, 80, 12, material="hardwood", thickness_range=(11.8, 12.2))


def small_job(**more):
    outline = pg.place(pg.plate(100, 60), BOARD, fit="none")
    letter = pg.place(pg.text("E", height=25), outline)
    cuts = [
        pg.vgroove(letter, BIT, stock=BOARD),
        pg.profile(outline, MILL, depth=pg.THROUGH, stock=BOARD, bridges=pg.Bridges(4, length=6, thickness=1.5)),
    ]
    return pg.Job("E", BOARD, ROUTER, cuts, **more)


def damaged(cut, dz):
    """The same cut with every path lowered behind the bounds' back."""
    passes = tuple(dataclasses.replace(p, path=p.path.moved(dz=dz)) for p in cut.passes)
    return dataclasses.replace(cut, passes=passes)


def test_the_shortest_honest_job_has_warnings_only(tmp_path):
    job = small_job()
    proof = job.prove()
    assert proof.ok is True, str(proof)
    assert proof.gouge <= 0.010
    assert proof.residual <= 0.02
    assert not [f for f in proof.findings if f.severity == "error"]
    files = job.write(tmp_path / "out")
    assert sorted(p.suffix for p in files) == [".html", ".png", ".rs274", ".rs274", ".svg"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(p.name for p in files)


def test_a_gouge_is_refused_and_nothing_is_written(tmp_path):
    """A V-groove 0.1 mm too deep behind the back of its bounds: no program, no folder content."""
    pocket = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)
    job = pg.Job("deep", BOARD, ROUTER, [damaged(c, -0.1) for c in pocket])
    with pytest.raises(pg.NotProvedError, match="gouge") as caught:
        job.programs()
    assert caught.value.proof.gouge == pytest.approx(0.1, abs=0.005)
    with pytest.raises(pg.NotProvedError):
        job.write(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_only_gouge_and_residual_can_be_accepted_and_the_header_says_so(tmp_path):
    pocket = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)
    job = pg.Job("deep", BOARD, ROUTER, [damaged(c, -0.1) for c in pocket])
    with pytest.raises(pg.NotProvedError):
        job.write(tmp_path, accept=[("gouge", 0.05)])
    with pytest.raises(pg.ArgumentError, match="never be accepted"):
        job.write(tmp_path, accept=[("spindle-on-dragging", 1)])
    files = job.write(tmp_path, accept=[("gouge", 0.2)])
    assert "accepted gouge" in files[0].read_text().lower()


def test_unproved_programs_say_so_in_line_one_and_stop_before_the_first_motion():
    pocket = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)
    job = pg.Job("deep", BOARD, ROUTER, [damaged(c, -0.1) for c in pocket])
    text = job.programs(unproved=True)[0].text
    assert "NOT PROVED" in text.splitlines()[0]
    motion = read_program(text)
    stops = [e.index for e in motion.events if e.kind == "stop"]
    assert stops[:1] == [0]


def test_facing_lowers_later_cuts_and_leaves_through_cuts(tmp_path):
    """Face 1 mm off, then pocket 3 mm: the floor lies at -4, and the outline still ends below the board."""
    area = box(20, 20, 60, 50)
    outline = box(10, 10, 110, 70)
    job = pg.Job(
        "faced",
        BOARD,
        ROUTER,
        [
            pg.face(BOARD.region, MILL, depth=1, stock=BOARD),
            pg.pocket(area, MILL, depth=3, stock=BOARD),
            pg.profile(outline, MILL, depth=pg.THROUGH, stock=BOARD, bridges=pg.Bridges(4, length=6, thickness=1.5)),
        ],
    )
    assert min(p.path.points[:, 2].min() for p in job.tool_cuts[1].passes) == pytest.approx(-4)
    assert min(p.path.points[:, 2].min() for p in job.tool_cuts[2].passes) == pytest.approx(-12.4)
    proof = job.prove()
    assert proof.ok is True, str(proof)
    with pytest.raises(pg.ArgumentError, match="beside the faced area"):
        pg.Job(
            "partly",
            BOARD,
            ROUTER,
            [pg.face(box(0, 0, 50, 80), MILL, depth=1, stock=BOARD), pg.pocket(area, MILL, depth=3, stock=BOARD)],
        )


def test_mirroring_the_shape_keeps_climb():
    """The art mirrored and then planned runs the same way round as before: climb stays climb."""
    shape = Point(50, 40).buffer(15).union(box(50, 30, 80, 50))
    runs = []
    for s in (shape, pg.back_side(shape, BOARD)):
        cuts = pg.profile(s, MILL, depth=3, stock=BOARD)
        path = max((p for c in cuts for p in c.passes if p.closed), key=lambda p: p.path.length).path
        x, y = path.flattened(0.01)[:, :2].T
        runs.append(np.sign(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])))
    assert runs[0] == runs[1] != 0


def test_a_back_side_job_must_show_the_original_from_the_front():
    """Mirrored once: proved. Not mirrored, or twice: refused."""
    panel = pg.Stock(120, 80, 6, material="acrylic", thickness_range=(5.6, 6.4))
    bit = pg.VBit(90, diameter=8, cutting=pg.Cutting(14000, 1200, 300, 2, 0.3, cooling="air"))
    art = pg.place(pg.text("FE", height=25, font="sans bold"), panel)
    back = pg.back_side(art, panel)

    def job(shape):
        cuts = pg.vgroove(shape, bit, stock=panel, depth_limit=2)
        return pg.Job("FE", panel, ROUTER, cuts, artwork=art, face="back", confirmed=True, minimum_left=3)

    assert job(back).prove().ok is True, str(job(back).prove())
    for wrong in (art, pg.back_side(back, panel)):
        proof = job(wrong).prove()
        assert proof.ok is False
        assert any("mirror" in f.code for f in proof.findings if f.severity == "error")


def test_acute_corners_of_an_honest_pocket_are_no_residual():
    """Where walls meet at 12 degrees, a path 0.004 mm off both ends 0.04 mm short of the corner: not owed."""
    wedge = Polygon([(20, 30), (80, 30), (80, 30 + 60 * math.tan(math.radians(12)))])
    job = pg.Job(
        "wedge",
        BOARD,
        ROUTER,
        pg.pocket(wedge, pg.EndMill(2, cutting=pg.Cutting(16000, 900, 300, 1.5, 0.9)), depth=3, stock=BOARD),
    )
    assert job.prove().ok is True, str(job.prove())


def test_least_thickness_is_asked_of_grooves_not_of_through_cuts_and_their_bridges():
    """The outline parts the board and its bridges are thin on purpose; a pocket that leaves too little is refused."""
    panel = pg.Stock(120, 80, 6, material="acrylic", thickness_range=(5.6, 6.4))
    art = box(40, 30, 60, 44)
    outline = box(15, 15, 105, 65)
    bridges = pg.Bridges(4, length=5, thickness=1)
    fine = dataclasses.replace(MILL, cutting=dataclasses.replace(MILL.cutting, cooling="air"))

    def job(depth):
        cuts = [
            pg.pocket(art, fine, depth=depth, stock=panel),
            pg.profile(outline, fine, depth=pg.THROUGH, stock=panel, bridges=bridges),
        ]
        return pg.Job("left", panel, ROUTER, cuts, minimum_left=3)

    assert job(2).prove().ok is True, str(job(2).prove())
    assert [f.code for f in job(3).prove().findings if f.severity == "error"] == ["too-little-left"]


def test_touch_off_moves_off_a_cut_away_zero_and_says_so():
    centered = dataclasses.replace(BOARD, zero="center")
    pocket = pg.pocket(box(40, 20, 80, 60), MILL, depth=3, stock=centered)
    job = pg.Job("middle", centered, ROUTER, pocket)
    assert any(n.code == "touch-off-moved" for n in job.notes)
    assert not box(40, 20, 80, 60).intersects(Point(job.touch_off))
    with pytest.raises(pg.ArgumentError, match="cut away"):
        pg.Job("middle", centered, ROUTER, pocket, touch_off=(60, 40))


def test_sizes_that_cannot_be_are_refused_and_odd_ones_reported():
    outline = box(10, 10, 110, 70)
    cuts = pg.profile(outline, MILL, depth=3, stock=BOARD)
    with pytest.raises(pg.ArgumentError, match="finished piece measures"):
        pg.Job("big", BOARD, ROUTER, pg.profile(box(-30, 0, 110, 70), MILL, depth=3, stock=BOARD))
    pocket = pg.pocket(translate(box(0, 0, 40, 20), 20, 20), MILL, depth=3, stock=BOARD)
    job = pg.Job("asked", BOARD, ROUTER, pocket, size=(80, 40))
    assert any(n.code == "size-differs" for n in job.notes)
    assert pg.Job("fits", BOARD, ROUTER, cuts).finished_size[0] >= 100


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: pg.Job("", BOARD, ROUTER, pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)), "needs a name"),
        (lambda: pg.Job("x", BOARD, ROUTER, []), "no cuts"),
        (lambda: pg.Job("x", BOARD, ROUTER, ["cut"]), "cuts holds a str"),
        (
            lambda: pg.Job(
                "x",
                dataclasses.replace(BOARD, width=130),
                ROUTER,
                pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD),
            ),
            "another stock",
        ),
        (lambda: pg.Job("x", BOARD, ROUTER, pg.pocket(box(20, 20, 60, 50), MILL, depth=12)), "give it stock="),
        (lambda: pg.pocket(box(20, 20, 60, 50), MILL, depth=40, stock=BOARD), "depth=40"),
        (lambda: pg.pocket(box(20, 20, 60, 50), pg.EndMill(6), depth=3, stock=BOARD), "has no speeds"),
        (lambda: pg.vgroove(box(20, 20, 60, 50), BIT), "stock="),
        (lambda: pg.profile(box(20, 20, 60, 50), MILL, depth=pg.THROUGH), "stock="),
        (
            lambda: pg.Job(
                "x",
                BOARD,
                ROUTER,
                [
                    pg.pocket(box(20, 20, 60, 50), dataclasses.replace(MILL, number=1), depth=3, stock=BOARD),
                    pg.vgroove(box(70, 20, 80, 50), dataclasses.replace(BIT, number=1), stock=BOARD),
                ],
            ),
            "number",
        ),
    ],
)
def test_what_cannot_be_carried_out_is_said_before_any_work(make, says):
    with pytest.raises(pg.PathgenError, match=re.escape(says)):
        make()


POCKET = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"stock": ROUTER, "machine": BOARD}, "the order is Job(name, stock, machine, cuts)"),
        ({"machine": None}, "machine is a NoneType"),
        ({"cuts": ROUTER}, "cuts holds a Machine"),
        ({"name": 5}, "needs a name"),
        ({"keep_out": pg.KeepOut(box(0, 0, 9, 9), 20)}, "keep_out=[KeepOut(…)]"),
        ({"keep_out": None}, "must be a list of KeepOut"),
        ({"hold": ["tape"]}, "must be a list of Tape"),
        ({"touch_off": 5}, "touch_off=5 must be (x, y)"),
        ({"touch_off": (5000, 1)}, "lies beside the stock"),
        ({"touch_off": (30, 30)}, "is cut away"),
        ({"at": (1,)}, "at=(1,) must be (x, y) or (x, y, z)"),
        ({"size": (40, "x")}, "size=(40, 'x')"),
        ({"size": (0, 40)}, "size=0.0"),
        ({"artwork": "fern.svg"}, "has no area"),
        ({"confirmed": "no"}, "confirmed='no'"),
        ({"minimum_left": "x"}, "minimum_left='x'"),
        ({"clearance": float("nan")}, "clearance=nan"),
    ],
)
def test_a_wrong_argument_of_a_job_is_named(more, says):
    given = {"name": "x", "stock": BOARD, "machine": ROUTER, "cuts": POCKET} | more
    first = [given.pop(k) for k in ("name", "stock", "machine", "cuts")]
    with pytest.raises(pg.ArgumentError, match=re.escape(says)):
        pg.Job(*first, **given)


def test_one_cut_alone_is_a_list_of_one():
    one, all_of_it = (pg.Job("x", BOARD, ROUTER, c).programs() for c in (POCKET[0], POCKET))
    assert [p.text for p in one] == [p.text for p in all_of_it]


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"accept": "gouge"}, "list of (code, amount in mm)"),
        ({"accept": ("gouge", 0.1)}, "list of (code, amount in mm)"),
        ({"accept": [("gouge", "x")]}, "accepted amount='x'"),
        ({"accept": [("rapid-in-stock", 1)]}, "can never be accepted"),
        ({"suffix": ".svg"}, "sheet or a picture"),
        ({"grid": -1}, "grid"),
    ],
)
def test_a_wrong_argument_of_write_is_named_and_makes_no_folder(tmp_path, how, says):
    with pytest.raises(pg.ArgumentError, match=re.escape(says)):
        pg.Job("x", BOARD, ROUTER, POCKET).write(tmp_path / "out", **how)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("texts", ["G21", 5, [5], [b"G21"], None])
def test_texts_to_prove_are_a_list_of_texts(texts):
    job = pg.Job("x", BOARD, ROUTER, POCKET)
    if texts is None:
        assert job.prove(texts=None).ok
        return
    with pytest.raises(pg.ArgumentError, match="list of program texts"):
        job.prove(texts=texts)


def test_tools_are_set_on_the_stock_where_the_work_zero_lies_beside_it():
    """Beside the board there is no face to set a tool on; from the table there is."""
    beside = dataclasses.replace(BOARD, zero=(-10.0, -10.0))
    pocket = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=beside)
    job = pg.Job("x", beside, ROUTER, pocket)
    assert job.stock.region.contains(Point(job.touch_off))
    assert any(n.code == "touch-off-moved" and "beside the stock" in n.text for n in job.notes)
    table = dataclasses.replace(beside, zero_height="table")
    cuts = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=table)
    assert pg.Job("x", table, ROUTER, cuts).touch_off == (-10.0, -10.0)


def test_tools_are_never_set_under_a_clamp():
    clamp = pg.KeepOut(box(-5, -5, 8, 8), 20)
    job = pg.Job("x", BOARD, ROUTER, POCKET, keep_out=[clamp])
    assert clamp.region.distance(Point(job.touch_off)) >= 2.9
    assert any(n.code == "touch-off-moved" and "under a keep-out" in n.text for n in job.notes)
    with pytest.raises(pg.ArgumentError, match="under a keep-out"):
        pg.Job("x", BOARD, ROUTER, POCKET, keep_out=[clamp], touch_off=(2, 2))


def test_asking_twice_costs_nothing_and_gives_the_same():
    job = small_job()
    assert job.prove() is job.prove()
    assert job.programs() == job.programs()


def test_same_job_same_bytes():
    assert [p.text for p in small_job().programs()] == [p.text for p in small_job().programs()]


def test_a_name_cannot_reach_the_program():
    """Outside text goes through one filter: a name that tries to start a spindle changes no motion."""
    pocket = pg.pocket(box(20, 20, 60, 50), MILL, depth=3, stock=BOARD)
    plain = pg.Job("Rose", BOARD, ROUTER, pocket).programs()[0]
    nasty = pg.Job("Rose) M3 S18000 (\n G0 Z-50", BOARD, ROUTER, pocket).programs()[0]
    a, b = read_program(plain.text), read_program(nasty.text)
    assert np.array_equal(a.moves.end, b.moves.end, equal_nan=True)
    assert np.array_equal(a.moves.rpm, b.moves.rpm)
    assert not {"/", "\n"} & set(nasty.name)


def test_a_path_is_a_value():
    with pytest.raises(ValueError, match="read-only"):
        Path([[0, 0, 0, 0]]).points[0, 0] = 1
