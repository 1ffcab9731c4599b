"""Another kind of value than a tool, a stock, speeds, bridges or a job: named and refused, by every way of cutting."""

import pytest
from shapely.geometry import box

import pathgen as pg
from pathgen.shop import wood

SPEEDS = pg.Cutting(16000, 1400, 400, 1.5, 1.2)
MILL = pg.EndMill(3, cutting_length=20, cutting=SPEEDS)
BIT = pg.VBit(60, diameter=12.7, cutting=SPEEDS)
DRILL = pg.Drill(5, cutting_length=50, cutting=pg.Cutting(3000, 300, 150))
BOARD = pg.Stock(90, 60, 12, material="hardwood")
PART = box(20, 15, 60, 45)

WAYS = {
    "pocket": lambda stock=BOARD, tool=MILL: pg.pocket(PART, tool, depth=3, stock=stock),
    "raised": lambda stock=BOARD, tool=BIT: pg.raised(PART, floor_tool=MILL, bit=tool, depth=3, stock=stock),
    "floor": lambda stock=BOARD, tool=MILL: pg.raised(PART, floor_tool=tool, bit=BIT, depth=3, stock=stock),
    "vgroove": lambda stock=BOARD, tool=BIT: pg.vgroove(PART, tool, depth_limit=3, stock=stock),
    "drill": lambda stock=BOARD, tool=DRILL: pg.drill([(20, 20)], tool, depth=3, stock=stock),
    "screws": lambda stock=BOARD, tool=MILL: pg.screw_holes([(20, 20)], MILL, seat=tool, head="pan", stock=stock),
    "chamfer": lambda stock=BOARD, tool=BIT: pg.chamfer(PART, tool, width=1, stock=stock),
    "inlay": lambda stock=BOARD, tool=MILL: pg.inlay(
        PART, tool, depth=3, clearance=0.05, plug_thickness=4, stock=stock
    ),
    "tapered": lambda stock=BOARD, tool=BIT: pg.tapered_inlay(PART, tool, depth=3, floor_tool=MILL, stock=stock),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("wrong", ["oak", 6, [1]])
def test_what_is_no_stock_is_refused(way, wrong):
    with pytest.raises(pg.ArgumentError, match="is no stock: give Stock"):
        WAYS[way](stock=wrong)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("wrong", ["mill", 6, 0.5])
def test_what_is_no_tool_is_refused(way, wrong):
    with pytest.raises(pg.ArgumentError, match=r"take a|give a Drill|give seat="):
        WAYS[way](tool=wrong)


def test_screw_holes_need_a_stock():
    with pytest.raises(pg.ArgumentError, match="stock=None is no stock"):
        pg.screw_holes([(20, 20)], MILL, stock=None)


def test_two_materials_are_two_names():
    with pytest.raises(pg.ArgumentError, match="takes two names"):
        pg.inlay(PART, MILL, depth=3, clearance=0.05, plug_thickness=4, materials=3)


def test_a_number_is_no_bridges():
    with pytest.raises(pg.ArgumentError, match="give Bridges"):
        pg.profile(PART, MILL, depth=pg.THROUGH, stock=BOARD, bridges=4)


def test_only_jobs_are_put_together():
    machine = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
    job = pg.Job("Recess", BOARD, machine, pg.pocket(PART, MILL, depth=3, stock=BOARD))
    for pair in ((None, job), (job, "plug")):
        with pytest.raises(pg.ArgumentError, match="is no job"):
            pg.mate(*pair)
    with pytest.raises(pg.ArgumentError, match="is no inlay"):
        pg.mate(job, job, asked="leaf")


def test_a_list_is_no_species():
    with pytest.raises(pg.ArgumentError, match="is not one of"):
        wood.movement(["white-oak"], 36, from_rh=35, to_rh=70)
