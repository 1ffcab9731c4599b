"""Small good jobs whose programs are damaged by rule: every kind of cut and dialect there is, each proved in a blink.

The last one is written by hand, for the tools that no cutting function plans yet.
"""

import functools
import math
from dataclasses import dataclass, field
from typing import Any

import handmade
import numpy as np
from shapely.geometry import LineString, MultiPolygon, Point, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Heights
from pathgen.model.heightmap import HeightMap
from pathgen.model.machine import Dialect
from pathgen.proof.prove import prove

SPEEDS = {"travel": (600, 400, 90), "max_feed": 3000, "acceleration": (500, 500, 250), "max_rpm": 24000}
BIT = pg.VBit(60, diameter=6.35, cutting=pg.Cutting(16000, 1500, 500, 3, 0.5))
MILL = pg.EndMill(4, cutting_length=14, max_rpm=20000, cutting=pg.Cutting(16000, 1800, 500, 3, 1.6))
FINE = pg.EndMill(2, cutting_length=8, cutting=pg.Cutting(18000, 1200, 300, 1.5, 0.9))


@dataclass(frozen=True, eq=False)
class Good:
    """A good set of programs, with all that is needed to prove any other set in its place.

    Attributes:
        name: of the job.
        texts: the programs in order.
        settings: arguments of `prove`, but for the texts.
    """

    name: str
    texts: tuple[str, ...]
    settings: dict[str, Any] = field(repr=False)

    def prove(self, texts=None, **more):
        """Prove these texts, or others, in this job's place."""
        return prove(self.texts if texts is None else tuple(texts), **self.settings | more)


def of_job(job):
    """Take the programs of a job, not proved yet, and everything its own proof is given."""
    written = job._texts()
    settings = {
        "tools": {n: t for p in written for n, t in p.tools.items()},
        "stock": job.stock,
        "machine": job.machine,
        "bounds": tuple((c.name, c.tool, c.bounds) for c in job.tool_cuts),
        "keep_out": tuple(job.keep_out),
        "hold": tuple(job.hold),
        "clearance": job.clearance,
        "at": job.at,
        "touch_off": job.touch_off,
        "artwork": None if job.artwork is None else getattr(job.artwork, "region", job.artwork),
        "face": job.face,
        "confirmed": job.confirmed,
        "minimum_left": job.minimum_left,
        "own": True,
    }
    return Good(job.name, tuple(p.text for p in written), settings)


def sign(name="sign", *, art="Fe", dialect=None, change="manual", **job):
    """V-grooved letters, a pocket, and the outline cut free on bridges."""
    board = pg.Stock(80, 50, 9, material="hardwood", thickness_range=(8.8, 9.2), grain=0)
    machine = pg.Machine(**SPEEDS, dialect=dialect or Dialect(), tool_change=change)
    outline = pg.place(pg.plate(66, 36, corner="round", radius=6), board, fit="none")
    x0, y0, x1, y1 = outline.bounds
    letters = pg.place(pg.text(art, height=16), box(x0, y0, x1 - 24, y1), margin=6)
    cuts = [
        pg.vgroove(letters, BIT, stock=board),
        pg.pocket(box(x1 - 22, y0 + 8, x1 - 8, y1 - 8), MILL, depth=3, stock=board),
        pg.profile(outline, MILL, depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=4, thickness=1.5)),
    ]
    return pg.Job(name, board, machine, cuts, at=(50, 50), **job)


def inside():
    """A hole cut out of a board from within, its waste held by bridges, and a rebate beside it."""
    board = pg.Stock(70, 60, 6, material="plywood", thickness_range=(5.8, 6.2))
    hole = Point(35, 30).buffer(17, quad_segs=64).union(box(30, 25, 58, 35))
    cuts = [
        pg.profile(
            hole, MILL, side="inside", depth=pg.THROUGH, stock=board, bridges=pg.Bridges(4, length=4, thickness=1)
        ),
        pg.profile(LineString([(8, 8), (62, 8)]), FINE, side="along", depth=1.2, stock=board),
    ]
    return pg.Job("inside", board, pg.Machine(**SPEEDS), cuts, order="listed")


def islands():
    """Two pockets round islands, one in rings, one in lines."""
    board = pg.Stock(70, 40, 12, material="mdf", thickness_range=(11.9, 12.1))
    one = box(6, 6, 32, 34).difference(Point(19, 20).buffer(5, quad_segs=64))
    two = box(38, 6, 64, 34).difference(box(48, 16, 55, 25))
    cuts = [
        pg.pocket(one, MILL, depth=4, stock=board, name="rings"),
        pg.pocket(two, MILL, depth=2.5, stock=board, pattern="lines", angle=30, name="lines"),
    ]
    return pg.Job("islands", board, pg.Machine(**SPEEDS), cuts)


def faced():
    """The whole face lowered, then a pocket and a groove in the new face."""
    board = pg.Stock(50, 40, 14, material="hardwood", thickness_range=(13.8, 14.2), zero="center")
    wide = pg.EndMill(12, cutting_length=20, cutting=pg.Cutting(14000, 2000, 500, 1, 9))
    cuts = [
        pg.face(board.region, wide, depth=1, stock=board),
        pg.pocket(box(28, 10, 42, 30), MILL, depth=2, stock=board),
        pg.vgroove(box(8, 12, 20, 18), BIT, stock=board),
    ]
    return pg.Job("faced", board, pg.Machine(**SPEEDS), cuts)


def back(art=None, mirrored=1):
    """Letters cut into the back of clear acrylic, to be read from the front."""
    panel = pg.Stock(60, 40, 6, material="acrylic", thickness_range=(5.6, 6.4), film=0.1)
    bit = pg.VBit(90, diameter=8, cutting=pg.Cutting(14000, 1200, 300, 2, 0.3, cooling="air"))
    mill = pg.EndMill(4, flutes=1, cutting_length=12, cutting=pg.Cutting(16000, 1400, 300, 1.5, 1.6, cooling="air"))
    outline = pg.place(pg.plate(48, 28, corner="round", radius=6), panel, fit="none")
    art = art or pg.place(pg.text("Fe", height=14), outline, margin=5)
    shown, edge = art, outline
    for _ in range(mirrored):
        shown, edge = pg.back_side(shown, panel), pg.back_side(edge, panel)
    cuts = [
        pg.vgroove(shown, bit, stock=panel, depth_limit=2),
        pg.profile(edge, mill, depth=pg.THROUGH, stock=panel, bridges=pg.Bridges(4, length=4, thickness=1)),
    ]
    return pg.Job("back", panel, pg.Machine(**SPEEDS), cuts, artwork=art, face="back", confirmed=True, minimum_left=3)


def floored():
    """A wide groove whose flat floor is cut by an end mill."""
    board = pg.Stock(60, 40, 12, material="hardwood", thickness_range=(11.8, 12.2))
    tipped = pg.VBit(60, diameter=6.35, tip=0.2, cutting=pg.Cutting(16000, 1500, 500, 3, 0.5))
    leaf = Point(30, 20).buffer(11, quad_segs=48).union(box(10, 16, 50, 24))
    cuts = [pg.vgroove(leaf, tipped, stock=board, depth_limit=2.5, floor_tool=FINE)]
    return pg.Job("floored", board, pg.Machine(**SPEEDS), cuts)


# -- written by hand -------------------------------------------------------------------------------------------------

BALL = pg.BallNose(6, cutting_length=20, cutting=pg.Cutting(16000, 1500, 500))
DRILL = pg.Drill(4, cutting_length=30, cutting=pg.Cutting(3000, 200, 200))
KNIFE = pg.TrailingKnife(trail=0.8, edge_angle=45, cutting=pg.Cutting(0, 1000, 300))
DIAMOND = pg.DiamondPoint(cutting=pg.Cutting(0, 1000, 300))
HOLES = ((10, 10), (20, 10), (30, 10), (40, 10))
HOLE_DEPTHS = (6.0, 6.0, 5.0, 4.0)
TROUGH = (12.0, 48.0, 28.0, 2.0)
"""x from, x to, y, depth of a trough cut by the ball along one line."""

BLOCK = pg.Stock(60, 40, 15, material="softwood", thickness_range=(14.8, 15.2))
HEAD = """(Finished size 60.00 x 40.00 mm)
(Tool T{tool})
G21 G17 G90 G94 G40 G80 G54
G61
M5
G0 Z5
"""
TAIL = "G0 Z5\nM5\nM9\nG4 P5\nM2\n"
STOP = "(Put in the tool and unplug the spindle)\nM0\nG21 G17 G90 G94 G40 G80 G54\nG61\n"


def ball_text():
    """Down the middle of the trough, and back."""
    x0, x1, y, deep = TROUGH
    body = f"""(CUT 1 trough)
G0 X{x0 + 3:g} Y{y:g}
S16000 M3
G4 P3
G0 Z1
G1 Z0 F500
X{x1 - 3:g} Z{-deep:g} F1500
X{x0 + 3:g} F1500
"""
    return HEAD.format(tool=1) + body + TAIL


def drill_text():
    """Four holes: two by one cycle, one with a dwell, one in steps."""
    return (
        HEAD.format(tool=2)
        + """(CUT 2 holes)
G0 X10 Y10
S3000 M3
G4 P3
G98 G81 X10 Y10 Z-6 R1 F200
X20
G82 X30 Z-5 R1 P0.5
G83 X40 Z-4 R1 Q1.5
G80
"""
        + TAIL
    )


def drag_text(tool, z):
    """A square drawn by a tool that must not spin."""
    return (
        HEAD.format(tool=tool)
        + STOP
        + f"""G0 Z5
(CUT {tool} square)
G0 X10 Y30
G0 Z1
G1 Z{z:g} F300
X20 F1000
Y38
X10
Y30
"""
        + TAIL
    )


def ball_bounds():
    """The trough as a relief: a ball's sections along a line that goes down and back level with its end."""
    x0, x1, y, deep = TROUGH
    r, pixel = 3.0, 0.1
    rows, columns = round(2 * r / pixel), round((x1 - x0) / pixel)
    px = x0 + (np.arange(columns) + 0.5) * pixel
    py = y - r + (np.arange(rows) + 0.5) * pixel
    along = np.clip(px, x0 + r, x1 - r)
    flat2 = np.add.outer((py - y) ** 2, (px - along) ** 2)
    height = -deep + r - np.sqrt(np.maximum(r * r - flat2, 0.0))
    height[flat2 > r * r] = 0.0
    return Bounds((Heights(map=HeightMap(np.minimum(height, 0.0), pixel=pixel, origin=(x0, y - r))),))


def drill_bounds():
    """Holes as reliefs: cones of the drill's point under upright walls."""
    rules = []
    for (x, y), deep in zip(HOLES, HOLE_DEPTHS, strict=True):
        pixel, n = 0.05, 84
        at = (np.arange(n) + 0.5) * pixel - 0.5 * n * pixel
        radius = np.hypot(at[:, None], at[None, :])
        height = -deep + radius / math.tan(math.radians(59))
        shape = MultiPolygon([Point(x, y).buffer(2, quad_segs=64)])
        origin = (x - 0.5 * n * pixel, y - 0.5 * n * pixel)
        rules.append(Heights(map=HeightMap(height, pixel=pixel, origin=origin), region=shape))
    return Bounds(tuple(rules))


def by_hand():
    """A ball, a drill, a knife and a diamond, none of which a cutting function plans yet."""
    texts = (ball_text(), drill_text(), drag_text(3, -0.4), drag_text(4, -0.1))
    settings = {
        "tools": {1: BALL, 2: DRILL, 3: KNIFE, 4: DIAMOND},
        "stock": BLOCK,
        "machine": pg.Machine(**SPEEDS),
        "clearance": 5.0,
        "bounds": (
            ("trough", BALL, ball_bounds()),
            ("holes", DRILL, drill_bounds()),
            ("square", KNIFE, Bounds()),
            ("square", DIAMOND, Bounds()),
        ),
        "own": True,
    }
    return Good("by hand", texts, settings)


@functools.cache
def good(name):
    """Return one of `NAMES`, its programs proved."""
    return MAKERS[name]()


MAKERS = {
    "sign": lambda: of_job(sign()),
    "inch": lambda: of_job(sign("inch", dialect=Dialect(units="inch"))),
    "no arcs": lambda: of_job(sign("no arcs", dialect=Dialect(arcs=False))),
    "changer": lambda: of_job(sign("changer", change="automatic")),
    "inside": lambda: of_job(inside()),
    "islands": lambda: of_job(islands()),
    "faced": lambda: of_job(faced()),
    "back": lambda: of_job(back()),
    "floored": lambda: of_job(floored()),
    "handmade": lambda: Good("handmade", handmade.texts(), handmade.settings()),
    "by hand": by_hand,
}
NAMES = tuple(MAKERS)
