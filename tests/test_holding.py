"""Hold-downs and keep-outs as values."""

import math

import pytest
from shapely.geometry import Point, box

import pathgen as pg
from pathgen.errors import ArgumentError

BOARD = pg.Stock(300, 150, 18, material="hardwood", thickness_range=(17.8, 18.2))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(16000, 1800, 500, 3, 2.5))


def job(**more):
    cuts = pg.pocket(box(40, 40, 120, 90), MILL, depth=3, stock=BOARD)
    return pg.Job("Tray", BOARD, ROUTER, cuts, **more)


def test_screws_are_heads_seen_from_above_and_keep_outs():
    screws = pg.Screws([(10, 10), (290, 140)], head=10, proud=3)
    assert screws.region.area == pytest.approx(2 * 25 * math.pi, rel=0.01)
    assert [k.height for k in screws.keep_outs] == [3, 3]
    assert screws.keep_outs[0].region.covers(Point(10, 10))
    assert screws.keep_outs[0].name == "screw at (10, 10)"
    assert pg.Screws([(10, 10), (12, 10)]).region.geom_type == "MultiPolygon"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: pg.Screws([]), "points holds none"),
        (lambda: pg.Screws("here"), "points='here'"),
        (lambda: pg.Screws(5), "points=5"),
        (lambda: pg.Screws([(1, 2, 3)]), "screw=(1, 2, 3) must be (x, y)"),
        (lambda: pg.Screws([(1, 2)], head=0), "head=0"),
        (lambda: pg.Screws([(1, 2)], proud=-1), "proud=-1"),
        (lambda: pg.Vacuum(5, 60), "vacuum: region is 5"),
        (lambda: pg.Vacuum(box(0, 0, 1, 1), 0), "pressure=0"),
        (lambda: pg.Vacuum(box(0, 0, 1, 1), 101325), "more than the air has"),
        (lambda: job(hold=pg.Screws([(5, 5)])), "hold=[Tape(…)]"),
        (lambda: job(hold=[pg.KeepOut(box(0, 0, 9, 9), 5)]), "must be a list of Tape or Vacuum or Screws"),
        (lambda: job(thin_wall=0), "thin_wall=0"),
    ],
)
def test_a_wrong_hold_down_is_named(make, says):
    with pytest.raises(ArgumentError) as error:
        make()
    assert says in str(error.value)


def test_a_job_takes_all_kinds_and_keeps_out_of_its_screws():
    screws = pg.Screws([(10, 75), (290, 75)], proud=4)
    held = job(hold=[screws, pg.Vacuum(BOARD.region, 50), pg.Tape(box(40, 40, 120, 90), 0.2)])
    assert len(held.keep_out) == 2
    assert held.clearance == 9, "5 mm above the screws' heads"
    assert held.prove().ok is True, str(held.prove())
    assert not any(s.startswith("How the stock is held") for s in held.prove().unchecked)


def test_a_screw_under_the_tools_way_is_an_error():
    proof = job(hold=[pg.Screws([(60, 60)])], touch_off=(10, 10)).prove()
    hit = next(f for f in proof.findings if f.code == "keep-out")
    assert hit.severity == "error"
    assert "screw at (60, 60)" in hit.text
    assert proof.ok is False
