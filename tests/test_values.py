"""Plausible mistakes in the shared values: each is refused at once, by name, with the way out, never by a traceback."""

import math

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

import pathgen as pg
from pathgen.errors import number, numbers, positive, yes_or_no
from pathgen.model.motion import Moves
from pathgen.motion.read import read_program
from pathgen.shape.place import move

BOARD = pg.Stock(120, 80, 12, material="hardwood")
GOOD = {"travel": (600, 400, 90), "max_feed": 3000, "acceleration": 500, "max_rpm": 24000}


def board(*sizes, **more):
    return pg.Stock(*(sizes or (300, 150, 18)), **({"material": "hardwood"} | more))


def router(**more):
    return pg.Machine(**(GOOD | more))


MISTAKES = [
    (lambda: board("300", 150, 18), "width='300'"),
    (lambda: board(math.nan, 150, 18), "width=nan"),
    (lambda: board(zero=3), "zero=3"),
    (lambda: board(zero=("a", "b")), "zero=('a', 'b')"),
    (lambda: board(zero=(1, 2, 3)), "zero=(1, 2, 3)"),
    (lambda: board(thickness_range=18), "(least, most)"),
    (lambda: board(thickness_range=("a", 2)), "(least, most)"),
    (lambda: board(thickness_range=(19, 20)), "must hold the nominal"),
    (lambda: board(grain="along"), "grain='along'"),
    (lambda: board(outline=3), "outline must be"),
    (lambda: board(outline=Polygon()), "outline must be"),
    (lambda: router(travel=(1, 2)), "travel=(1, 2) must be (x, y, z)"),
    (lambda: router(travel=5), "travel=5 must be (x, y, z)"),
    (lambda: router(travel=None), "travel=None"),
    (lambda: router(travel=(600, 400, 0)), "travel=0.0 must be a number above 0"),
    (lambda: router(max_feed="3000"), "max_feed='3000'"),
    (lambda: router(max_feed=None), "max_feed=None"),
    (lambda: router(rapid="fast"), "rapid='fast'"),
    (lambda: router(park=5), "park=5 must be (x, y)"),
    (lambda: router(homed="no"), "homed='no' must be True or False"),
    (lambda: router(dialect="inch"), "dialect='inch' must be a Dialect"),
    (lambda: pg.Dialect(decimals=math.nan), "decimals=nan"),
    (lambda: pg.Dialect(decimals=2.5), "decimals=2.5 must be a whole number"),
    (lambda: pg.Dialect(max_line="80"), "max_line='80'"),
    (lambda: pg.Dialect(arcs="no"), "arcs='no'"),
    (lambda: pg.EndMill("6"), "diameter='6'"),
    (lambda: pg.EndMill(6, cutting=3), "Cutting(rpm"),
    (lambda: pg.EndMill(6, holder=30), "Holder(diameter, length)"),
    (lambda: pg.EndMill(6, number="a"), "number='a'"),
    (lambda: pg.EndMill(6, name=5), "name=5"),
    (lambda: pg.VBit("60", diameter=6), "angle='60'"),
    (lambda: pg.VBit(math.nan, diameter=6), "angle=nan"),
    (lambda: pg.KeepOut(5, 10), "region is 5"),
    (lambda: pg.KeepOut(Point(1, 1), 10), "Point without an area"),
    (lambda: pg.KeepOut(Polygon(), 10), "without an area"),
    (lambda: pg.Tape(LineString([(0, 0), (1, 1)]), 1), "without an area"),
    (lambda: pg.Stop(5), "say in words"),
    (lambda: pg.Stop(" "), "say in words"),
    (lambda: pg.plate("280", 120), "width='280'"),
    (lambda: pg.plate(1e300, 10), "100 m"),
    (lambda: pg.mirror(box(0, 0, 1, 1), across="x"), "across='x'"),
    (lambda: move(box(0, 0, 1, 1), turn=None), "turn=None"),
    (lambda: pg.place(box(0, 0, 1, 1e12), BOARD), "1000 km"),
    (lambda: pg.place(box(0, 0, 1, 1), BOARD, margin="2"), "margin='2'"),
]


@pytest.mark.parametrize(("make", "says"), MISTAKES, ids=[says for _, says in MISTAKES])
def test_a_plausible_mistake_is_named(make, says):
    with pytest.raises(pg.ArgumentError) as caught:
        make()
    assert says in str(caught.value)


def test_numbers_of_numpy_and_whole_floats_are_numbers():
    machine = router(max_feed=np.float32(3000), travel=np.array([600, 400, 90]))
    assert machine.feeds == (3000.0, 3000.0, 3000.0)
    assert machine.travel == (600.0, 400.0, 90.0)
    assert pg.Dialect(decimals=3.0).decimals == 3
    assert pg.EndMill(6, number=np.int64(3)).number == 3


def test_the_checks_hand_back_floats():
    assert positive("a", 3) == number("a", 3) == 3.0
    assert numbers("a", [1, 2, 3], form="", counts=(2, 3)) == (1.0, 2.0, 3.0)
    assert positive("a", 10**400 > 0) == 1.0
    with pytest.raises(pg.ArgumentError):
        positive("a", 10**400)
    yes_or_no("a", True)


def test_moves_in_machine_coordinates_have_no_length_that_the_text_tells():
    """From work Z5 to machine Z0 is not 5 mm: where machine zero lies, the text does not say."""
    motion = read_program("G21 G90 G17 G54 F600\nG0 Z5\nG0 X0 Y0\nG1 Z-1\nG53 G0 Z0\nG0 Z5\nM2")
    lengths = motion.moves.lengths
    assert isinstance(motion.moves, Moves)
    assert motion.moves.machine.tolist() == [False, False, False, True, False]
    assert lengths.tolist() == [0.0, 0.0, 6.0, 0.0, 0.0]
    assert motion.feed_length == 6.0
    assert motion.rapid_length == 0.0
