"""A small sign with its programs written by hand, each word known, for tests of the proof.

A board of 120 x 80 x 12 (11.8 to 12.2) with a V-groove, a pocket and an outline on two bridges. Nothing is planned
by pathgen, so that a fault in planning cannot hide one in proving.
"""

import math

from shapely.geometry import LineString, MultiLineString, MultiPolygon, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Bridge, Flat, Groove, Kerf

BOARD = pg.Stock(120, 80, 12, material="hardwood", thickness_range=(11.8, 12.2))
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=500, max_rpm=24000, min_rpm=6000)
BIT = pg.VBit(60, diameter=12.7, flutes=1, cutting=pg.Cutting(16000, 1500, 500))
MILL = pg.EndMill(6, flutes=1, cutting_length=22, stick_out=30, shank=6, cutting=pg.Cutting(16000, 1800, 500))
TOOLS = {1: BIT, 2: MILL}

GROOVE = box(20, 45, 70, 55)
TRAY = box(80, 20, 105, 40)
PLATE = box(10, 10, 110, 70)
BRIDGE_LINES = ([(54, 7), (66, 7)], [(66, 73), (54, 73)])

ASKED = (
    ("letters", BIT, Bounds((Groove(region=MultiPolygon([GROOVE]), angle=60),))),
    ("tray", MILL, Bounds((Flat(region=MultiPolygon([TRAY]), depth=3),))),
    (
        "outline",
        MILL,
        Bounds(
            (
                Kerf(shape=MultiPolygon([PLATE]), side="outside", width=6, depth=12, below=0.4, through=True),
                *(
                    Bridge(line=MultiLineString([LineString(line)]), diameter=6, length=6, top=-10)
                    for line in BRIDGE_LINES
                ),
            )
        ),
    ),
)

HEAD = """(Finished size 100.00 x 60.00 mm)
(Tool T{tool})
G21 G17 G90 G94 G40 G80 G54
G61
M5
G0 Z5
"""
UP = "S16000 M3\nG4 P3\n"
TAIL = "G0 Z5\nM5\nM9\nG4 P5\nM2\n"


def letters():
    """The groove of a 50 x 10 rectangle: its axis, and a run into each corner."""
    deep = 5 / math.tan(math.radians(30))
    lines = ["(CUT 1 letters)", "G0 X20 Y45", UP.strip(), "G0 Z1", "G1 Z0 F500"]
    steep = math.floor(500 / math.sin(math.atan2(deep, math.hypot(5, 5))))
    lines += [
        f"X25 Y50 Z{-deep:.3f} F{steep}",
        "X20 Y55 Z0 F1500",
        f"X25 Y50 Z{-deep:.3f} F{steep}",
        "X65 F1500",
        "X70 Y45 Z0",
        f"X65 Y50 Z{-deep:.3f} F{steep}",
        "X70 Y55 Z0 F1500",
    ]
    return HEAD.format(tool=1) + "\n".join(lines) + "\n" + TAIL


def tray():
    """Lines 2 mm apart, then once round along the wall."""
    lines = ["(CUT 2 tray)", "G0 X83 Y23", UP.strip(), "G0 Z1", "G1 Z-3 F500"]
    for k in range(8):
        lines += [f"X{102 if k % 2 == 0 else 83} F1800", f"Y{min(23 + 2 * (k + 1), 37)}"]
    lines += ["X102 Y37", "Y23", "X83", "Y37", "X102"]
    return lines


def ring(z, lift=()):
    """Once round outside the plate, arcs about its corners, lifted over the bridges."""
    out = ["Y70"]
    out += ["G2 X10 Y73 I3"]
    out += _run([(10, 73), (110, 73)], "X", z, [(54, 66)] if lift else [])
    out += ["G2 X113 Y70 J-3", "G1 Y10", "G2 X110 Y7 I-3"]
    out += _run([(110, 7), (10, 7)], "X", z, [(66, 54)] if lift else [])
    return [*out, "G2 X7 Y10 J3", "G1"]


def _run(ends, axis, z, lifts):
    out = []
    for a, b in lifts:
        out += [f"G1 {axis}{a}", "Z-10", f"{axis}{b}", f"Z{z} F500", "F1800"]
    return [*out, f"G1 {axis}{ends[1][0]}"]


def outline():
    """Three levels; the last goes 0.4 below the board and lifts over two bridges 2 mm thick."""
    lines = ["G0 Z5", "(CUT 3 outline)", "G0 X7 Y10", "G0 Z1"]
    for z, lift in ((-4, False), (-8, False), (-12.4, True)):
        lines += [f"G1 Z{z} F500", "F1800", *ring(z, lift)[:-1]]
    return lines


def texts():
    """Both programs: the V bit's, then the end mill's."""
    return (letters(), HEAD.format(tool=2) + "\n".join([*tray(), *outline()]) + "\n" + TAIL)


def settings(**more):
    """Arguments of `prove` for the sign."""
    return {"tools": TOOLS, "stock": BOARD, "machine": ROUTER, "clearance": 5.0, "bounds": ASKED, "own": True, **more}
