"""Each cut held against its own request: who gouged or left something, and what a later cut hides."""

import dataclasses
import re

import handmade
import numpy as np
import pytest
from handmade import ASKED, MILL, settings, texts
from shapely.geometry import MultiPolygon, box

from pathgen.model.bounds import Bounds, Flat
from pathgen.proof.prove import prove

WIDE, DEEP = box(20, 20, 60, 50), box(30, 28, 50, 42)
STEPS = (
    ("wide", MILL, Bounds((Flat(region=MultiPolygon([WIDE]), depth=3),))),
    ("deep", MILL, Bounds((Flat(region=MultiPolygon([DEEP]), depth=5),))),
)


def cleared(region, z):
    """Rows 4 mm apart inside a rectangle, then once round along its wall, all at one depth."""
    x0, y0, x1, y1 = (v + s * 3 for v, s in zip(region.bounds, (1, 1, -1, -1), strict=True))
    lines = [f"G0 X{x0} Y{y0}", "G0 Z1", f"G1 Z{z} F500"]
    for k, y in enumerate([*np.arange(y0, y1, 4), y1]):
        lines += [f"Y{y} F1800", f"X{x1 if k % 2 == 0 else x0}"]
    return [*lines, f"X{x1} Y{y1}", f"Y{y0}", f"X{x0}", f"Y{y1}", f"X{x1}", "G0 Z5"]


def program(first, second, names=("(CUT 1 wide)", "(CUT 2 deep)")):
    body = [names[0], "G0 X23 Y23", handmade.UP.strip(), *first, names[1], *second]
    return handmade.HEAD.format(tool=2) + "\n".join(line for line in body if line) + "\n" + handmade.TAIL


def proved(first, second, names=("(CUT 1 wide)", "(CUT 2 deep)"), **more):
    return prove([program(first, second, names)], **settings(bounds=STEPS, grid=0.2, **more))


def of(proof, code):
    return [f for f in proof.findings if f.code == code]


GOOD = (cleared(WIDE, -3), cleared(DEEP, -5))


def test_two_clean_steps_are_each_clean():
    proof = proved(*GOOD)
    assert proof.ok is True, str(proof)
    assert [c.name for c in proof.cuts] == ["wide", "deep"]
    for cut in proof.cuts:
        assert cut.gouge == cut.residual == cut.hidden == cut.early == 0
        assert cut.gouge_area == cut.residual_area == cut.gouge_volume == cut.residual_volume == 0
    assert proof.deep is None
    assert proof.high is None


def test_the_lines_of_each_cut_are_those_of_its_moves():
    text = program(*GOOD).splitlines()
    wide, deep = proved(*GOOD).cuts
    ((program_1, first, last),) = wide.lines
    assert program_1 == "1"
    assert text[first - 2] == "(CUT 1 wide)"
    ((_, begin, end),) = deep.lines
    assert text[begin - 2] == "(CUT 2 deep)"
    assert last < begin <= end
    assert text[end - 1] == "G0 Z5"


def test_a_gouge_that_a_later_cut_hides_is_told_of_its_cut():
    """The first step runs 1.2 too deep along a line that the second clears to 5 anyway: right part, overloaded tool."""
    dip = ["G0 X38 Y35", "G0 Z1", "G1 Z-4.2 F500", "X42 F1800", "G0 Z5"]
    proof = proved([*GOOD[0], *dip], GOOD[1])
    assert proof.ok is True, "the part is right"
    assert proof.gouge == 0
    wide, deep = proof.cuts
    assert wide.hidden == pytest.approx(1.2, abs=1e-5)
    assert deep.hidden == 0
    (found,) = of(proof, "gouge-hidden")
    assert found.severity == "warning"
    assert found.cut == "wide"
    assert found.amount == pytest.approx(1.2, abs=1e-5)
    assert program([*GOOD[0], *dip], GOOD[1]).splitlines()[found.line - 1] in ("G1 Z-4.2 F500", "X42 F1800")
    assert 35 <= found.where[0] <= 45


def test_the_same_depth_in_the_later_cut_is_no_gouge():
    """The order tells: what the second may do the first may not."""
    proof = proved(GOOD[0], [*GOOD[1], "G0 X35 Y35", "G0 Z1", "G1 Z-4.2 F500", "X45 F1800", "G0 Z5"])
    assert proof.ok is True
    assert not of(proof, "gouge-hidden")
    assert proof.cuts[1].hidden == 0


def left_out(lines):
    """The first step without its rows through the middle: what they leave the second step runs into."""
    ring = ["G0 X23 Y23", "G0 Z1", "G1 Z-3 F500", "X57 F1800", "Y47", "X23", "Y23"]
    # a second ring 4 mm inside, so that all but the deep rectangle is cleared
    return [*ring, "X26.9 Y25 F1800", "X53.1", "Y45", "X26.9", "Y25", "G0 Z5"] if lines else ring


def test_material_that_a_cut_leaves_for_the_next_tool_is_found():
    proof = proved(left_out(True), GOOD[1])
    assert proof.ok is False
    found = of(proof, "left-for-next")
    assert found, str(proof)
    assert {f.cut for f in found} == {"wide"}
    assert found[0].severity == "error"
    assert found[0].amount == pytest.approx(3, abs=1e-5)
    assert DEEP.buffer(1).contains(box(*found[0].where[:2], *found[0].where[:2]).centroid)
    wide, deep = proof.cuts
    assert wide.early == pytest.approx(3, abs=1e-5)
    assert deep.early == 0


def test_a_step_left_out_whole_is_found_though_a_later_one_makes_the_part_right():
    """Both over one rectangle, 3 then 5 deep: without the first the part is the same."""
    both = (STEPS[0], ("same", MILL, Bounds((Flat(region=MultiPolygon([WIDE]), depth=5),))))
    good = program(cleared(WIDE, -3), cleared(WIDE, -5))
    assert prove([good], **settings(bounds=both, grid=0.2)).ok is True
    without = prove([program([], cleared(WIDE, -5), ("", "(CUT 2 same)"))], **settings(bounds=both, grid=0.2))
    assert without.gouge == without.residual == 0
    assert without.ok is False
    assert {f.cut for f in of(without, "left-for-next")} == {"wide"}
    assert without.cuts[0].lines == ()


def test_a_lost_comment_alone_changes_no_judgement():
    for names in (("", "(CUT 2 deep)"), ("(CUT 1 wide)", "")):
        proof = proved(*GOOD, names=names)
        assert not of(proof, "left-for-next"), names
        assert proof.gouge == proof.residual == 0


def test_gouge_and_residual_are_told_of_the_cut_that_made_them():
    first, second = texts()
    deeper = second.replace("Z-3 ", "Z-3.1 ")
    assert deeper != second
    proof = prove([first, deeper], **settings(grid=0.2))
    by_name = {c.name: c for c in proof.cuts}
    assert by_name["tray"].gouge == pytest.approx(0.1, abs=1e-3)
    assert by_name["tray"].gouge == proof.gouge
    assert by_name["tray"].gouge_area == pytest.approx(25 * 20, rel=0.03)
    assert by_name["tray"].gouge_volume == pytest.approx(50, rel=0.03)
    for other in ("letters", "outline"):
        assert by_name[other].gouge <= 0.002
        assert by_name[other].gouge_area == 0
    assert proof.gouge_area == pytest.approx(sum(c.gouge_area for c in proof.cuts))
    assert {f.cut for f in of(proof, "gouge")} == {"tray"}


def test_what_no_cut_takes_is_left_by_the_cut_that_owes_it():
    proof = prove(texts()[1:], **settings(grid=0.2))
    by_name = {c.name: c for c in proof.cuts}
    assert by_name["letters"].residual == proof.residual > 1
    assert by_name["letters"].residual_area == pytest.approx(proof.residual_area)
    assert by_name["tray"].residual <= 0.002
    assert by_name["letters"].lines == ()
    assert "letters: gouge" in str(proof)
    assert "not named in the programs" in str(proof)


def test_two_cuts_that_gouge_are_both_told():
    first, second = texts()
    worse = re.sub(r"Z-(3|12\.4) ", lambda m: f"Z-{float(m[1]) + 0.1:g} ", second)
    proof = prove([first, worse], **settings(grid=0.2))
    assert {"tray", "outline"} <= {f.cut for f in of(proof, "gouge")}


def test_the_cells_that_are_wrong_are_kept_for_pictures():
    first, second = texts()
    proof = prove([first, second.replace("Z-3 ", "Z-3.1 ")], **settings(grid=0.2))
    assert proof.deep.shape == proof.height.array.shape
    assert not proof.deep.flags.writeable
    rows, columns = np.nonzero(proof.deep)
    x = proof.height.origin[0] + (columns + 0.5) * proof.height.pixel
    y = proof.height.origin[1] + (rows + 0.5) * proof.height.pixel
    assert x.min() == pytest.approx(80, abs=0.3)
    assert x.max() == pytest.approx(105, abs=0.3)
    assert y.min() == pytest.approx(20, abs=0.3)
    assert y.max() == pytest.approx(40, abs=0.3)
    assert proof.high is None
    assert prove(texts()[1:], **settings(grid=0.2)).high is not None


def test_a_program_that_names_no_cuts_is_still_judged_as_a_whole():
    plain = [re.sub(r"\(CUT.*\)\n", "", t) for t in texts()]
    assert prove(plain, **settings(grid=0.2)).gouge <= 0.002
    worse = [re.sub(r"\(CUT.*\)\n", "", t).replace("Z-3 ", "Z-3.1 ") for t in texts()]
    proof = prove(worse, **settings(grid=0.2))
    assert proof.ok is False
    assert proof.gouge == pytest.approx(0.1, abs=1e-3)
    assert all(c.lines == () for c in proof.cuts)
    assert any("do not name their cuts" in sentence for sentence in proof.unchecked)
    assert not any("do not name their cuts" in s for s in prove(texts(), **settings(grid=0.4)).unchecked)


def test_the_whole_is_the_worst_of_its_cuts():
    for programs in (texts(), texts()[1:], [t.replace("Z-8 ", "Z-12.6 ") for t in texts()]):
        proof = prove(programs, **settings(grid=0.2))
        blamed = max(c.gouge for c in proof.cuts)
        assert blamed <= proof.gouge
        assert proof.gouge <= max(blamed, 0.002), "nothing here is without a cut to blame"
        assert max(c.residual for c in proof.cuts) == proof.residual


def test_the_names_are_those_asked_for():
    renamed = [(f"x{k}", tool, bounds) for k, (_, tool, bounds) in enumerate(ASKED)]
    assert [c.name for c in prove(texts(), **settings(bounds=renamed, grid=0.4)).cuts] == ["x0", "x1", "x2"]
    assert dataclasses.is_dataclass(prove(texts(), **settings(grid=0.4)).cuts[0])
