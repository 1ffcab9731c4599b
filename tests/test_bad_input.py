"""What makers send by mistake: each is an error that names the file, layer or letter, and says what to do."""

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, MultiPolygon, Polygon, box

import pathgen as pg

SHARED = Path(__file__).parent.parent / "shared"
BOARD = pg.Stock(120, 80, 12, material="hardwood")
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000)
SPEEDS = pg.Cutting(16000, 1800, 500, 3, 1.2)
MILL = pg.EndMill(3, cutting_length=10, cutting=SPEEDS)
BIT = pg.VBit(60, diameter=12.7, cutting=pg.Cutting(16000, 1500, 500, 5, 0.5))
PNG = bytes.fromhex("89504e470d0a1a0a0000000d49484452") + bytes(64)
EMPTY_SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm" viewBox="0 0 10 10"/>'
NAN_SVG = EMPTY_SVG[:-2] + '><path id="leaf" d="M0 0 L nan 5 L 5 5 Z"/></svg>'
OPEN_SVG = EMPTY_SVG[:-2] + '><path id="stem" d="M1 1 L9 9" stroke="black" fill="none"/></svg>'


def drawing(folder, name, content):
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def not_a_number():
    with np.errstate(invalid="ignore"):
        return Polygon([(0, 0), (9, 0), (9, float("nan"))])


@pytest.mark.parametrize(
    ("make", "error", "says"),
    [
        (lambda d: pg.read(d / "missing.svg"), pg.MissingFileError, "missing.svg"),
        (lambda d: pg.read(drawing(d, "photo.svg", PNG)), pg.DrawingError, "photo.svg"),
        (lambda d: pg.read(drawing(d, "blank.svg", EMPTY_SVG)), pg.DrawingError, "blank.svg"),
        (lambda d: pg.read(drawing(d, "broken.svg", NAN_SVG)), pg.DrawingError, "broken.svg"),
        (lambda d: pg.pocket(pg.read(drawing(d, "open.svg", OPEN_SVG)), MILL, depth=2), pg.DrawingError, "open"),
        (lambda _: pg.pocket(LineString([(0, 0), (9, 9)]), MILL, depth=2), pg.DrawingError, "open outline"),
        (lambda _: pg.pocket(not_a_number(), MILL, depth=2), pg.DrawingError, "numbers"),
        (lambda _: pg.vgroove(Polygon([(0, 0), (9, 0), (5, 0)]), BIT, depth_limit=2), pg.DrawingError, "area"),
        (lambda _: pg.vgroove(MultiPolygon(), BIT, depth_limit=2), pg.DrawingError, "empty"),
        (lambda _: pg.pocket(box(0, 0, 2, 40), MILL, depth=2), pg.ArgumentError, "3 mm"),
        (
            lambda _: pg.vgroove(box(0, 0, 0.5, 40), dataclasses.replace(BIT, tip=0.8), depth_limit=2),
            pg.ArgumentError,
            "tip",
        ),
        (lambda _: pg.pocket(box(0, 0, 20, 20), MILL, depth=14, stock=BOARD), pg.ArgumentError, "12 mm stock"),
        (lambda _: pg.pocket(box(0, 0, 20, 20), MILL, depth=11, stock=BOARD), pg.ArgumentError, "cutting edges"),
        (lambda _: pg.Cutting(16000, 0, 500), pg.ArgumentError, "feed=0"),
        (
            lambda _: pg.Job("big", BOARD, ROUTER, pg.pocket(box(0, 0, 130, 20), MILL, depth=2, stock=BOARD)),
            pg.ArgumentError,
            "finished piece measures 130.00",
        ),
        (lambda _: pg.text("Farn 竹", height=20), pg.DrawingError, "竹"),
        (lambda _: pg.read(SHARED / "fern-sign.svg")["lettres"], pg.DrawingError, "letters"),
    ],
)
def test_it_is_an_error_that_names_the_place(make, error, says, tmp_path):
    with pytest.raises(error, match=re.escape(says)) as caught:
        make(tmp_path)
    assert isinstance(caught.value, pg.PathgenError)
    assert len(str(caught.value)) > len(says) + 10
    left = {p.name for p in tmp_path.iterdir()}
    assert left <= {"photo.svg", "blank.svg", "broken.svg", "open.svg"}
