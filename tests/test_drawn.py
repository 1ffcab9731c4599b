"""Dragging tools: they mark the face, claim no depth, and a diamond's lines are where they were asked."""

import handmade
import numpy as np
import pytest
import shapely
from handmade import settings
from shapely.geometry import LineString, MultiLineString

import pathgen as pg
from pathgen.model.bounds import Bounds, Kerf
from pathgen.proof.prove import prove

POINT = pg.DiamondPoint(max_travel=1, cutting=pg.Cutting(0, 600, 200))
KNIFE = pg.TrailingKnife(trail=0.5, edge_angle=45, cutting=pg.Cutting(0, 600, 200))
GLASS = pg.Stock(120, 80, 6, material="glass", thickness_range=(5.8, 6.2))
LINES = MultiLineString([[(20, 20), (60, 20), (60, 50)], [(80, 20), (80, 50)]])
ASKED = [("motif", POINT, Bounds((Kerf(shape=LINES, side="along", width=0.3, depth=0.3),)))]


def text(*ways, z=-0.3):
    lines = ["(CUT 1 motif)"]
    for (x, y), *rest in ways:
        lines += ["G0 Z5", f"G0 X{x} Y{y}", "G0 Z1", f"G1 Z{z} F200", *(f"G1 X{a} Y{b} F600" for a, b in rest)]
    return "(Tool T1)\nG21 G17 G90 G94 G40 G80 G54\nG61\nM5\nM0\nG0 Z5\n" + "\n".join(lines) + "\nG0 Z5\nM2\n"


GOOD = [list(line.coords) for line in LINES.geoms]


def proved(*ways, tool=POINT, asked=None, **more):
    asked = ASKED if asked is None else asked
    more = {"grid": 0.2, **more}
    return prove([text(*ways)], **settings(tools={1: tool}, bounds=asked, stock=GLASS, own=False, **more))


def test_a_scratch_marks_the_face_and_claims_no_depth():
    proof = proved(*GOOD, grid=0.05)
    assert not {f.code for f in proof.findings} & {"gouge", "residual"}, str(proof)
    assert (proof.height.array == 0).all()
    assert proof.removed == 0
    assert proof.touched.shape == proof.height.array.shape
    area = proof.touched.sum() * proof.height.pixel**2
    assert area == pytest.approx(LINES.length * 0.3, rel=0.05), "0.3 wide, as asked"
    rows, columns = np.nonzero(proof.touched)
    at = np.column_stack([columns, rows]) * 0.05 + proof.height.origin + 0.025
    assert shapely.distance(shapely.points(at), LINES).max() <= 0.15 + 1e-9


def test_where_nothing_drags_nothing_is_touched():
    assert prove(handmade.texts(), **settings(grid=0.5)).touched is None


@pytest.mark.parametrize("off", [0.1, 0.4])
def test_a_line_drawn_beside_the_asked_one_is_told(off):
    moved = [[(x, y + off) for x, y in GOOD[0]], GOOD[1]]
    proof = proved(*moved)
    # the asked line is 0.3 wide, so 0.15 to each side are within it; what is missing is `off` away
    assert proof.gouge == pytest.approx(max(off - 0.15, 0), abs=1e-3)
    assert proof.residual == pytest.approx(off, abs=1e-3)
    assert {f.cut for f in proof.findings if f.code in ("gouge", "residual")} == {"motif"}
    assert proof.ok is False


def test_a_line_that_is_not_drawn_is_left():
    proof = proved(GOOD[0])
    (left,) = [f for f in proof.findings if f.code == "residual" and f.amount > 19][:1]
    assert left.amount == pytest.approx(20, abs=1e-3), "the next drawn line is 20 mm away"
    assert proof.cuts[0].residual == proof.residual
    assert proved([(1, 1), (2, 2)]).residual > 1


def test_a_line_too_many_is_told_with_its_line():
    extra = [(90, 60), (100, 60)]
    proof = proved(*GOOD, extra)
    (beside,) = [f for f in proof.findings if f.code == "gouge"]
    assert beside.amount == pytest.approx(LineString(extra).interpolate(10).distance(LINES) - 0.15, abs=1e-2)
    assert text(*GOOD, extra).splitlines()[beside.line - 1] == "G1 X100 Y60 F600"


def test_how_a_knife_trails_is_said_to_be_unchecked():
    proof = proved(*GOOD, tool=KNIFE, asked=[("motif", KNIFE, ASKED[0][2])])
    assert any("trails" in sentence for sentence in proof.unchecked)
    assert not any("trails" in sentence for sentence in proved(*GOOD).unchecked)
    assert proof.touched.any()
    assert not {f.code for f in proof.findings} & {"gouge", "residual"}
