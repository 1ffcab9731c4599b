"""The proof as a whole: a clean sign is clean, and whatever is done to its programs is found, with place and amount."""

import dataclasses
import math
import re

import handmade
import numpy as np
import pytest
import shapely
import shapely.affinity
from handmade import ASKED, BIT, BOARD, MILL, TOOLS, settings, texts
from shapely.affinity import translate
from shapely.geometry import LineString, MultiPolygon, Point, box

import pathgen as pg
from pathgen.errors import ArgumentError
from pathgen.model.bounds import Bounds, Flat, Groove
from pathgen.motion.read import read_program
from pathgen.proof.compare import GOUGE, RESIDUAL
from pathgen.proof.grid import Grid
from pathgen.proof.pieces import pieces
from pathgen.proof.prove import prove
from pathgen.proof.strokes import strokes_of, track_of
from pathgen.proof.sweep import sweep
from pathgen.proof.walls import permitted, probes, section


def codes(proof, severity="error"):
    return {f.code for f in proof.findings if f.severity == severity}


@pytest.fixture(scope="module")
def clean():
    return prove(texts(), **settings())


# -- a clean sign -------------------------------------------------------------------------------------------------


def test_a_clean_sign_is_proved(clean):
    assert clean.ok is True, str(clean)
    assert clean.gouge <= 0.002
    assert clean.residual <= 0.002
    assert clean.errors == ()
    assert clean.gouge_area == clean.residual_area == 0
    assert "PROVED" in str(clean)


def test_the_volume_removed_is_that_of_the_solids(clean):
    """Roof over a 50 x 10 rectangle (a hipped roof: prism and two half pyramids), box, slot less two bridges."""
    deep = 5 / math.tan(math.radians(30))
    roof = 0.5 * 10 * deep * 40 + 10 * 10 * deep / 3
    tray = 25 * 20 * 3 - (4 - math.pi) * 9 * 3
    slot = (2 * 160 * 6 + math.pi * 36) * 12
    end = (
        LineString([(54, 7), (66, 7)])
        .buffer(3, quad_segs=64)
        .difference(MultiPolygon([Point(54, 7).buffer(3, quad_segs=64)]).union(Point(66, 7).buffer(3, quad_segs=64)))
    )
    truth = roof + tray + slot - 2 * end.area * 2
    assert clean.removed == pytest.approx(truth, rel=2e-3)
    assert clean.asked == pytest.approx(truth, rel=3e-3)


def test_the_height_is_a_map_of_the_cut_stock(clean):
    h = clean.height
    assert h.array.shape[0] * h.pixel == pytest.approx(80, abs=h.pixel)
    column, row = round((45 - h.origin[0]) / h.pixel - 0.5), round((50 - h.origin[1]) / h.pixel - 0.5)
    assert h.array[row, column] == pytest.approx(-5 / math.tan(math.radians(30)), abs=0.2)
    assert h.array.min() == pytest.approx(-12.4, abs=1e-5)
    assert not h.array.flags.writeable


def test_halving_the_grid_changes_the_gouge_by_a_fifth_of_a_step_at_most():
    wrong = shifted(texts(), -0.1)
    coarse, fine = (prove(wrong, **settings(grid=g)).gouge for g in (0.2, 0.1))
    assert abs(coarse - fine) <= 0.2 * 0.2
    assert fine == pytest.approx(0.1, abs=0.003)


def test_moving_the_work_zero_moves_nothing():
    """The same board with its zero in the middle and on the table, the program shifted alike: the same proof."""
    other = dataclasses.replace(BOARD, zero="center", zero_height="table")

    def shift(match):
        axis, value = match[1], float(match[2])
        return f"{axis}{value + {'X': -60, 'Y': -40, 'Z': 12}[axis]:.3f}"

    moved = [re.sub(r"([XYZ])(-?[\d.]+)", shift, t) for t in texts()]
    one, two = prove(texts(), **settings(grid=0.2)), prove(moved, **settings(stock=other, grid=0.2))
    assert two.ok is True, str(two)
    assert np.abs(one.height.array - two.height.array).max() < 1e-5


def test_the_order_of_programs_does_not_change_the_part():
    one = prove(texts(), **settings(grid=0.2))
    two = prove(texts()[::-1], **settings(grid=0.2))
    assert np.array_equal(one.height.array, two.height.array)


def test_inch_and_mm_programs_give_the_same_part():
    def inch(match):
        return f"{match[1]}{float(match[2]) / 25.4:.5f}"

    scaled = [re.sub(r"([XYZIJF])(-?[\d.]+)", inch, t).replace("G21", "G20") for t in texts()]
    one, two = prove(texts(), **settings(grid=0.2)), prove(scaled, **settings(grid=0.2))
    assert two.ok is True, str(two)
    assert np.median(np.abs(one.height.array - two.height.array)) <= 0.002
    assert abs(one.removed - two.removed) < 5e-4 * one.removed


def test_a_large_field_is_compared_in_bands_with_the_same_result(monkeypatch):
    """Bands bound the memory; damaged and clean programs are judged alike with and without."""
    for programs in (texts(), shifted(texts(), -0.1), [texts()[0]]):
        whole = prove(programs, **settings(grid=0.2))
        monkeypatch.setattr("pathgen.proof.compare.BAND", 30_000)
        monkeypatch.setattr("pathgen.proof.grid.BAND", 10_000)
        monkeypatch.setattr("pathgen.proof.sweep.BAND", 10_000)
        split = prove(programs, **settings(grid=0.2))
        monkeypatch.undo()
        assert np.array_equal(whole.height.array, split.height.array)
        assert codes(whole) == codes(split)
        assert split.gouge == pytest.approx(whole.gouge, abs=1e-4)
        assert split.residual == pytest.approx(whole.residual, rel=0.1, abs=1e-4)
        assert split.asked == pytest.approx(whole.asked)
        assert split.residual_area == pytest.approx(whole.residual_area)


# -- what is missing is said --------------------------------------------------------------------------------------


def test_without_design_or_machine_the_proof_is_never_ok():
    for lacking, said in (({"bounds": None}, "What was asked"), ({"machine": None}, "The machine is not known")):
        proof = prove(texts(), **settings(grid=0.4, **lacking))
        assert proof.ok is None, str(proof)
        assert any(sentence.startswith(said) for sentence in proof.unchecked)
    broken = prove(["G0 X5 Y5 Z1\nM2"], tools=TOOLS, stock=BOARD)
    assert broken.ok is False


def test_what_is_stated_is_not_in_unchecked():
    def about(word, **more):
        return any(word in s for s in prove(texts(), **settings(grid=0.5, **more)).unchecked)

    assert about("keep_out=")
    assert not about("keep_out=", keep_out=[pg.KeepOut(box(0, 72, 5, 80), 3)])
    assert about("at=")
    assert not about("at=", at=(50, 50))
    assert about("artwork=")
    assert not about("artwork=", artwork=handmade.GROOVE)
    assert not about("thickness_range=")
    assert about("thickness_range=", stock=dataclasses.replace(BOARD, thickness_range=None))


def test_bad_arguments_are_refused():
    with pytest.raises(ArgumentError, match="at least one program"):
        prove([], **settings())
    with pytest.raises(ArgumentError, match="'top', 'back'"):
        prove(texts(), **settings(face="front"))
    with pytest.raises(ArgumentError, match="coarser grid"):
        prove(texts(), **settings(grid=0.001))
    with pytest.raises(ArgumentError, match="grid"):
        prove(texts(), **settings(grid=-1))


@pytest.mark.parametrize(
    ("tools", "said"),
    [
        ([BIT, MILL], "must map T numbers"),
        ({"T1": BIT}, "'T1' is no T number"),
        ({1: BIT, 2: 6.0}, "T2 is 6.0"),
        ({-1: BIT}, "-1 is no T number"),
        ({True: BIT}, "True is no T number"),
        ({1: BIT, 3: None}, "T3 is None"),
    ],
)
def test_a_bad_tool_table_is_refused_by_naming_its_entry(tools, said):
    with pytest.raises(ArgumentError, match=said):
        prove(texts(), **settings(tools=tools))


def test_without_a_design_no_gouge_is_stated():
    proof = prove(texts(), **settings(bounds=None, grid=0.4))
    assert proof.compared is False
    assert "not compared" in str(proof)
    assert "gouge 0" not in str(proof)
    assert proof.cuts == ()


@pytest.mark.parametrize(
    "text", ["", "M2", "%\n%", "G1 X1", "G21\nG2 X1 Y1 I0 J0\n(((", "G1 X1e9 F-3\nS1 M3 M4", "\x00\xff"]
)
def test_any_text_gives_a_proof(text):
    proof = prove([text], **settings(grid=1.0))
    assert proof.ok is False
    assert str(proof)


# -- mutants by rule ----------------------------------------------------------------------------------------------


def shifted(programs, dz):
    """Every word Z below the face moved by dz."""
    return [re.sub(r"Z(-[\d.]+)", lambda m: f"Z{float(m[1]) + dz:.4f}", t) for t in programs]


@pytest.mark.parametrize("dz", [-0.1, -0.05, -0.02])
def test_cut_too_deep_is_a_gouge_of_that_amount(dz):
    proof = prove(shifted(texts(), dz), **settings(grid=0.2))
    assert proof.ok is False
    assert "gouge" in codes(proof)
    assert proof.gouge == pytest.approx(-dz, abs=0.002)
    worst = max((f for f in proof.findings if f.code == "gouge"), key=lambda f: f.amount)
    assert worst.amount == proof.gouge
    assert worst.cut in ("tray", "outline")
    assert worst.line is not None
    assert worst.program == "2"


@pytest.mark.parametrize("dz", [0.1, 0.05, 0.025])
def test_cut_too_shallow_is_a_residual(dz):
    proof = prove(shifted(texts(), dz), **settings(grid=0.2))
    assert "residual" in codes(proof)
    assert proof.residual == pytest.approx(dz, abs=0.002)


def test_a_slope_is_measured_normal_to_itself():
    """A 60 degree groove 0.1 too deep stands 0.1 sin(30) = 0.05 mm off its asked walls."""
    proof = prove([shifted(texts()[:1], -0.1)[0]], **settings(bounds=ASKED[:1]))
    assert proof.gouge == pytest.approx(0.05, abs=0.002)
    proof = prove([shifted(texts()[:1], 0.1)[0]], **settings(bounds=ASKED[:1]))
    assert proof.residual == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize(("dx", "dy"), [(0.05, 0), (0, -0.05), (0.03, 0.04), (-0.02, 0)])
def test_a_moved_wall_is_seen_whole_on_any_grid(dx, dy):
    """A wall moved by half a pixel: a grid sees it half the time, exact distances always and by its amount."""
    (name, tool, bounds) = ASKED[1]
    moved = Bounds(tuple(dataclasses.replace(r, region=translate(r.region, dx, dy)) for r in bounds.rules))
    text = handmade.HEAD.format(tool=2) + "\n".join(handmade.tray()).replace("CUT 2", "CUT 1") + "\n" + handmade.TAIL
    for grid in (0.1, 0.13, 0.2):
        proof = prove([text], **settings(bounds=[(name, tool, moved)], grid=grid))
        assert proof.gouge == pytest.approx(max(abs(dx), abs(dy)), abs=0.001)
        # in a corner, which the cutter leaves round, the wall may move by both together
        assert max(abs(dx), abs(dy)) - 0.001 <= proof.residual <= math.hypot(dx, dy) + 0.002
        assert {"gouge", *({"residual"} if max(abs(dx), abs(dy)) > RESIDUAL + 0.002 else ())} <= codes(proof)


def changed_lines():
    """Every line of both programs that moves something, by program and line."""
    for k, text in enumerate(texts()):
        for n, line in enumerate(text.splitlines()):
            if not line.startswith("(") and re.search(r"[XYZ]-?[\d.]", line):
                yield k, n


def part(programs, grid):
    """The part by itself, without the proof's judgement."""
    motions = [read_program(t) for t in programs]
    return sweep(strokes_of(track_of(motions, TOOLS, BOARD)), TOOLS, grid)


def without(k, n):
    programs = list(texts())
    lines = programs[k].splitlines()
    del lines[n]
    programs[k] = "\n".join(lines) + "\n"
    return programs


@pytest.mark.parametrize(("k", "n"), list(changed_lines()))
def test_a_dropped_line_that_changes_the_part_is_caught(k, n):
    """Judged by the parts themselves: where they differ by more than 0.05 mm over more than a rim, it must not pass."""
    programs = without(k, n)
    grid = Grid.over(120, 80, 0.3)
    before, after = part(texts(), grid), part(programs, grid)
    proof = prove(programs, **settings(grid=0.3))
    if np.count_nonzero(np.abs(before - after) > 0.05) > 0:
        assert proof.ok is False, f"line {n + 1} of program {k + 1} was dropped"
    else:
        assert proof.gouge <= GOUGE


def test_dropping_lines_changes_the_part_most_of_the_time():
    """The test above is not vacuous."""
    grid = Grid.over(120, 80, 0.4)
    before = part(texts(), grid)
    differ = [np.abs(before - part(without(k, n), grid)).max() > 0.05 for k, n in changed_lines()]
    assert len(differ) > 60
    assert np.mean(differ) > 0.5


def test_going_into_the_table_is_told_beside_a_groove_without_a_limit():
    """The groove allows any depth within its own walls, but nothing below the board."""
    proof = prove([t.replace("Z-12.4", "Z-14.4") for t in texts()], **settings(grid=0.3))
    assert "below-table" in codes(proof)


def test_swapped_arcs_are_caught():
    swapped = [t.replace("G2 ", "G9 ").replace("G3 ", "G2 ").replace("G9 ", "G3 ") for t in texts()]
    proof = prove(swapped, **settings(grid=0.2))
    assert "gouge" in codes(proof)
    assert proof.gouge > 1


@pytest.mark.parametrize("axis", "XY")
@pytest.mark.parametrize("scale", [1.001, 0.999, 1.0005])
def test_a_scaled_axis_is_caught(axis, scale):
    offsets = {"X": "I", "Y": "J"}
    words = f"([{axis}{offsets[axis]}])(-?[\\d.]+)"
    scaled = [re.sub(words, lambda m: f"{m[1]}{float(m[2]) * scale:.4f}", t) for t in texts()]
    proof = prove(scaled, **settings(grid=0.2))
    assert proof.ok is False
    assert codes(proof) & {"gouge", "residual"}


@pytest.mark.parametrize("angle", [58, 59, 61, 62, 90])
def test_another_angle_of_the_bit_is_caught(angle):
    tools = {**TOOLS, 1: dataclasses.replace(BIT, angle=angle)}
    proof = prove(texts(), **settings(tools=tools, grid=0.2))
    assert codes(proof) & {"gouge", "residual"}
    deep = 5 / math.tan(math.radians(30))
    off = deep * (math.tan(math.radians(angle / 2)) - math.tan(math.radians(30)))
    if 60 < angle < 70:
        assert proof.gouge == pytest.approx(off * math.cos(math.radians(angle / 2)), rel=0.2)


@pytest.mark.parametrize("diameter", [5.9, 6.1])
def test_another_diameter_of_the_mill_is_caught(diameter):
    tools = {**TOOLS, 2: dataclasses.replace(MILL, diameter=diameter)}
    proof = prove(texts(), **settings(tools=tools, grid=0.2))
    expected = {5.9: "residual", 6.1: "gouge"}[diameter]
    assert expected in codes(proof)
    assert getattr(proof, expected) == pytest.approx(0.05, abs=0.003)


@pytest.mark.parametrize("by", [-4, -0.5, 0.1, 3])
def test_a_moved_bridge_is_caught(by):
    first, second = texts()
    moved = second.replace("X54\nZ-10\nX66", f"X{54 + by}\nZ-10\nX{66 + by}")
    assert moved != second
    proof = prove([first, moved], **settings(grid=0.2))
    assert "gouge" in codes(proof)
    assert proof.gouge == pytest.approx(min(abs(by), 2.4), abs=0.08)


@pytest.mark.parametrize("by", [0.05, 0.2, 1.0])
def test_a_bridge_longer_or_shorter_than_asked_is_caught(by):
    """Lifted too early it is longer: material left; too late, shorter: a gouge. Both by their own amount."""
    first, second = texts()
    longer = prove([first, second.replace("X54\nZ-10\nX66", f"X{54 - by}\nZ-10\nX66")], **settings(grid=0.2))
    assert longer.residual == pytest.approx(by, abs=0.002)
    assert "residual" in codes(longer)
    shorter = prove([first, second.replace("X54\nZ-10\nX66", f"X{54 + by}\nZ-10\nX66")], **settings(grid=0.2))
    assert shorter.gouge == pytest.approx(by, abs=0.08)
    assert "gouge" in codes(shorter)


def test_a_missing_bridge_frees_the_part_when_both_are_gone():
    first, second = texts()
    proof = prove([first, second.replace("Z-10", "Z-12.4")], **settings(grid=0.2))
    assert {"gouge", "loose-piece"} <= codes(proof)
    loose = next(f for f in proof.findings if f.code == "loose-piece")
    assert loose.amount == pytest.approx(6000, rel=1e-3)
    assert loose.cut == "outline"


def test_a_bridge_of_another_thickness_is_caught():
    first, second = texts()
    thin = prove([first, second.replace("Z-10", "Z-10.1")], **settings(grid=0.2))
    thick = prove([first, second.replace("Z-10", "Z-9.9")], **settings(grid=0.2))
    assert thin.gouge == pytest.approx(0.1, abs=0.002)
    assert thick.residual == pytest.approx(0.1, abs=0.002)


def test_a_left_program_is_a_residual():
    for k in (0, 1):
        proof = prove([texts()[k]], **settings(grid=0.2))
        assert "residual" in codes(proof)


# -- through, loose, skin -----------------------------------------------------------------------------------------


def test_a_through_cut_must_reach_the_thickest_board():
    thick = dataclasses.replace(BOARD, thickness_range=(11.8, 12.6))
    proof = prove(texts(), **settings(stock=thick, grid=0.2))
    assert "not-through" in codes(proof)
    found = next(f for f in proof.findings if f.code == "not-through")
    assert found.amount == pytest.approx(0.2, abs=0.002)
    unknown = prove(texts(), **settings(stock=dataclasses.replace(BOARD, thickness_range=None), grid=0.2))
    assert unknown.ok is True
    assert "thickness-range" in codes(unknown, "warning")


def ring_text(size, *, at=(30, 30), z=-12.4, mill=MILL):
    r = 0.5 * mill.diameter
    x0, y0, x1, y1 = at[0] - r, at[1] - r, at[0] + size + r, at[1] + size + r
    lines = [
        f"G0 X{x0} Y{y0}",
        handmade.UP.strip(),
        "G0 Z1",
        f"G1 Z{z} F500",
        f"X{x1} F900",
        f"Y{y1}",
        f"X{x0}",
        f"Y{y0}",
    ]
    return handmade.HEAD.format(tool=2) + "\n".join(lines) + "\n" + handmade.TAIL


def test_pieces_are_held_by_hold_downs_skins_or_the_frame():
    def found(text, **more):
        return codes(prove([text], **settings(bounds=None, grid=0.3, **more))) & {"loose-piece"}

    assert found(ring_text(20))
    assert not found(ring_text(20), hold=[pg.Tape(box(35, 35, 45, 45), shear=0.1)])
    assert found(ring_text(20), hold=[pg.Tape(box(0, 0, 20, 20), shear=0.1)])
    assert not found(ring_text(20, z=-11.7)), "a skin of 0.1 mm holds, where the board is thinnest too"
    assert found(ring_text(20, z=-11.9)), "a skin that the thinnest board does not have holds nothing"


def test_a_piece_smaller_than_the_cutter_is_a_warning():
    proof = prove([ring_text(4)], **settings(bounds=None, grid=0.3))
    assert "loose-chip" in codes(proof, "warning")
    assert "loose-piece" not in codes(proof)


def test_the_frame_is_the_piece_with_most_of_the_edge():
    """A small middle cut free and a frame all round; cut in two across, the larger part of the edge is the frame."""
    from pathgen.proof.checks import Setting

    def left(text):
        motions = [read_program(text)]
        track = track_of(motions, TOOLS, BOARD)
        return pieces(
            Setting(texts=[text], motions=motions, track=track, strokes=strokes_of(track), tools=TOOLS, stock=BOARD)
        )

    first, second = left(ring_text(20))
    assert first.area > 5000
    assert second.area == pytest.approx(400, rel=1e-6)
    across = "(Tool T2)\nG21 G90\nG0 Z5\nG0 X40 Y-4\nG1 Z-12.4 F300\nY84\nG0 Z5\nM2"
    parts = left(across)
    assert [round(p.area) for p in parts] == [77 * 80, 37 * 80]


# -- walls and sections -------------------------------------------------------------------------------------------


def test_a_section_is_what_is_cut_away_at_that_height():
    """At half the depth of a 60 degree groove only the middle half of its width is gone."""
    motions = [read_program(texts()[0])]
    strokes = strokes_of(track_of(motions, TOOLS, BOARD))
    for z in (-1e-6, -2.0, -5.0):
        inset = -z * math.tan(math.radians(30))
        truth = handmade.GROOVE.buffer(-inset, join_style="mitre")
        cut = section(strokes, TOOLS, z)
        assert cut.symmetric_difference(truth).area < 0.02 * truth.area
        assert shapely.hausdorff_distance(cut.boundary, truth.boundary) < 0.05
    assert section(strokes, TOOLS, -9).is_empty


def test_a_section_of_a_flat_cutter_is_the_grown_path():
    motions = [read_program(ring_text(20))]
    strokes = strokes_of(track_of(motions, TOOLS, BOARD))
    path = box(27, 27, 53, 53).exterior
    for z in (-0.5, -6, -12.3):
        assert section(strokes, TOOLS, z).symmetric_difference(path.buffer(3, quad_segs=64)).area < 1e-6
    assert section(strokes, TOOLS, -12.5).is_empty


def test_what_is_permitted_shrinks_with_depth():
    at = [permitted(ASKED, z).area for z in (-0.01, -2.9, -3.1, -12.3, -12.5)]
    groove = 50 * 10
    slot = 2 * 160 * 6 + math.pi * 36
    assert at[0] == pytest.approx(groove + 500 + slot, rel=1e-3)
    assert at[1] == pytest.approx((50 - 2 * 2.9 * 0.57735) * (10 - 2 * 2.9 * 0.57735) + 500 + slot, rel=1e-3)
    assert at[2] < at[1] - 499
    assert at[3] == pytest.approx(slot, rel=1e-3)
    assert at[4] == 0


def test_probes_stand_at_every_corner_and_half_a_millimeter_apart():
    p = probes(box(0, 0, 3, 2.2))
    assert {(0, 0), (3, 0), (3, 2.2), (0, 2.2)} <= {tuple(q) for q in p}
    near = np.sort(np.hypot(*(p[:, None] - p[None]).transpose(2, 0, 1)), axis=1)[:, 1]
    assert near.max() <= 0.5 + 1e-9
    assert len(p) == 2 * 6 + 2 * 5


def test_a_miss_beside_a_wall_is_the_way_to_the_asked_wall():
    """A slot 5 mm deep, 0.5 mm off to one side: 0.5 too far on that side and too little on the other, not 5."""
    slot = Bounds((Flat(region=MultiPolygon([box(30, 30, 60, 36)]), depth=5),))
    lines = ["G0 X33 Y33.5", handmade.UP.strip(), "G0 Z1", "G1 Z-5 F500", "X57 F900"]
    text = handmade.HEAD.format(tool=2) + "\n".join(lines) + "\n" + handmade.TAIL
    for grid in (0.1, 0.2, 0.4):
        proof = prove([text], **settings(bounds=[("slot", MILL, slot)], grid=grid))
        assert proof.gouge == pytest.approx(0.5, abs=0.002)
        assert proof.residual == pytest.approx(0.5, abs=0.1)


def test_a_flank_beside_an_upright_wall_is_measured_to_the_nearest_air():
    """A 90 degree bit 2 mm deep along an upright wall takes a wedge off, 1 mm from wall and face in its middle."""
    bit = pg.VBit(90, diameter=12, cutting=pg.Cutting(16000, 1500, 500))
    trench = Bounds((Flat(region=MultiPolygon([box(20, 30, 80, 50)]), depth=2),))
    lines = ["G0 X25 Y30", handmade.UP.strip(), "G0 Z1", "G1 Z-2 F500", "X75 F1500"]
    text = handmade.HEAD.format(tool=1) + "\n".join(lines) + "\n" + handmade.TAIL
    proof = prove([text], **settings(tools={1: bit}, bounds=[("trench", bit, trench)], grid=0.1))
    assert proof.gouge == pytest.approx(1.0, abs=0.12)


def test_grooves_too_wide_at_the_face_are_measured_normal_to_the_wall():
    """The groove's outline drawn 0.1 mm too small all round: the walls stand 0.1 cos(30) off."""
    small = Bounds((Groove(region=MultiPolygon([box(20.1, 45.1, 69.9, 54.9)]), angle=60),))
    proof = prove(texts()[:1], **settings(bounds=[("letters", BIT, small)], grid=0.05))
    assert proof.gouge == pytest.approx(0.1 * math.cos(math.radians(30)), abs=0.004)


# -- the artwork --------------------------------------------------------------------------------------------------

LETTER = shapely.union_all([box(20, 20, 26, 60), box(26, 54, 45, 60), box(26, 38, 40, 44)])  # an F


def pocketed(shape, *, tool=None):
    """A program that mills a shape's boxes out with a 1 mm cutter, straight, as seen on the cut face."""
    tool = tool or pg.EndMill(1, cutting=pg.Cutting(16000, 1500, 500))
    lines = ["(CUT 1 F)"]
    for part in (box(*b) for b in shape):
        x0, y0, x1, y1 = part.bounds
        lines += ["G0 Z5", f"G0 X{x0 + 0.5} Y{y0 + 0.5}", handmade.UP.strip(), "G0 Z1", "G1 Z-1 F500"]
        y, right = y0 + 0.5, True
        while y <= y1 - 0.5 + 1e-9:
            lines += [f"Y{y:.3f} F1500", f"X{(x1 if right else x0) + (-0.5 if right else 0.5)}"]
            y, right = y + 0.5, not right
        lines += [f"X{x0 + 0.5}", f"Y{y0 + 0.5}", f"X{x1 - 0.5}", f"Y{y1 - 0.5}", f"X{x0 + 0.5}"]
    text = handmade.HEAD.format(tool=1) + "\n".join(lines) + "\n" + handmade.TAIL
    return text, tool


BOXES = [(20, 20, 26, 60), (25, 54, 45, 60), (25, 38, 40, 44)]
MIRRORED = [(120 - x1, y0, 120 - x0, y1) for x0, y0, x1, y1 in BOXES]


@pytest.mark.parametrize(
    ("cut", "face", "right"),
    [(BOXES, "top", True), (MIRRORED, "top", False), (MIRRORED, "back", True), (BOXES, "back", False)],
)
def test_the_finished_part_shows_the_artwork_the_right_way_round(cut, face, right):
    text, tool = pocketed(cut)
    region = MultiPolygon([shapely.union_all([box(*b) for b in cut])])
    bounds = [("F", tool, Bounds((Flat(region=region, depth=1),)))]
    proof = prove([text], **settings(tools={1: tool}, bounds=bounds, artwork=LETTER, face=face, grid=0.25))
    assert ("mirrored-wrong" in codes(proof)) is not right
    assert proof.ok is right, str(proof)


def test_the_back_needs_an_original_or_a_look():
    text, tool = pocketed(MIRRORED)
    bounds = [
        ("F", tool, Bounds((Flat(region=MultiPolygon([shapely.union_all([box(*b) for b in MIRRORED])]), depth=1),)))
    ]
    args = settings(tools={1: tool}, bounds=bounds, face="back", grid=0.25)
    assert "mirrored-unknown" in codes(prove([text], **args))
    assert prove([text], **{**args, "confirmed": True}).ok is True


def test_symmetric_art_cannot_be_told_and_other_art_is_reported():
    square = [(50, 30, 70, 50)]
    text, tool = pocketed(square)
    bounds = [("square", tool, Bounds((Flat(region=MultiPolygon([box(*square[0])]), depth=1),)))]
    args = settings(tools={1: tool}, bounds=bounds, face="back", grid=0.25)
    proof = prove([text], **args, artwork=box(*square[0]))
    assert "mirrored-symmetric" in codes(proof, "warning")
    assert proof.ok is True
    other = prove([text], **args, artwork=LETTER)
    assert "art-differs" in codes(other, "warning")


def art_cut(boxes, art, **more):
    text, tool = pocketed(boxes)
    region = MultiPolygon([shapely.union_all([box(*b) for b in boxes])])
    bounds = [("F", tool, Bounds((Flat(region=region, depth=1),)))]
    return prove([text], **settings(tools={1: tool}, bounds=bounds, artwork=art, grid=0.25, **more))


@pytest.mark.parametrize(
    ("times", "code", "severity"),
    [(1 / 25.4, "art-inch", "error"), (25.4, "art-inch", "error"), (0.8, "art-size", "warning")],
)
def test_art_cut_in_another_size_is_told_with_both_sizes(times, code, severity):
    """The drawing was taken in other units, or shrunk: alike once its box is laid over the cut's."""
    drawn = shapely.affinity.scale(LETTER, times, times, origin=(0, 0))
    proof = art_cut(BOXES, drawn)
    (found,) = [f for f in proof.findings if f.code.startswith("art-")]
    assert (found.code, found.severity) == (code, severity)
    assert found.amount == pytest.approx(1 / times, rel=0.02)
    assert f"{25 * times:.2f} x {40 * times:.2f} mm" in found.text
    assert proof.ok is (severity != "error")


def test_art_of_which_a_part_is_missing_or_filled_is_told_by_its_area():
    assert not [f for f in art_cut(BOXES, LETTER).findings if f.code.startswith("art-")]
    (gap,) = [f for f in art_cut(BOXES[:2], LETTER).findings if f.code == "art-area"]
    assert gap.severity == "warning", "a bar of the F is missing"
    holed = LETTER.difference(box(20.5, 20.5, 25.5, 36))
    (filled,) = [f for f in art_cut(BOXES, holed).findings if f.code == "art-area"]
    assert filled.severity == "warning"
    assert filled.amount == pytest.approx(4 * 14.5, abs=2), "less two samples all round"


# -- stock carried on, thin floors, touch-off ---------------------------------------------------------------------


def test_a_chain_of_programs_carries_the_cut_stock_on():
    one = prove(texts()[:1], **settings(bounds=ASKED[:1], grid=0.2))
    two = prove(texts()[1:], **settings(grid=0.2, stock_after=one.height))
    assert two.ok is True, str(two)
    both = prove(texts(), **settings(grid=0.2))
    assert np.array_equal(two.height.array, both.height.array)


def test_the_least_thickness_left_is_kept():
    args = settings(bounds=ASKED[1:2], grid=0.3)
    text = handmade.HEAD.format(tool=2) + "\n".join(handmade.tray()) + "\n" + handmade.TAIL
    assert prove([text], **args, minimum_left=8.7).ok is True
    proof = prove([text], **args, minimum_left=9)
    assert codes(proof) == {"too-little-left"}
    assert proof.errors[0].amount == pytest.approx(0.2, abs=1e-3)


def test_a_touch_off_spot_that_is_cut_away_is_refused():
    proof = prove(texts(), **settings(grid=0.3, touch_off=(90, 30)))
    assert "touch-off-cut" in codes(proof)
    assert prove(texts(), **settings(grid=0.3, touch_off=(3, 3))).ok is True


def test_the_report_is_a_value():
    proof = prove(texts(), **settings(grid=0.5))
    with pytest.raises(dataclasses.FrozenInstanceError):
        proof.gouge = 1
    more = proof.with_findings([pg.Finding(code="loose-chip", severity="warning", text="x")])
    assert more.ok is True
    assert len(more.findings) == len(proof.findings) + 1
    worse = more.with_findings([pg.Finding(code="gouge", severity="error", text="y", amount=1)])
    assert worse.ok is False
    assert worse.findings[0].code == "gouge", "errors first"
    assert worse.errors[0].text in str(worse)


def test_a_cut_of_which_nothing_was_asked_is_told(clean):
    """Its lines may be left out or moved, and no finding would say so."""
    asked = settings()["bounds"]
    bare = tuple((name, tool, Bounds() if k == len(asked) - 1 else b) for k, (name, tool, b) in enumerate(asked))
    proof = prove(texts(), **{**settings(), "bounds": bare})
    (sentence,) = (u for u in proof.unchecked if "nothing was asked" in u)
    assert repr(asked[-1][0]) in sentence
    assert not any("nothing was asked" in u for u in clean.unchecked)
