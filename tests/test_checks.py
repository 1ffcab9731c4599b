"""Program checks: each fault is found under its own code at its own line, and a clean program has none."""

import ast
import dataclasses
import math
import re
import runpy
from pathlib import Path

import handmade
import numpy as np
import pytest
from handmade import ASKED, MILL, ROUTER, settings, texts
from shapely.geometry import MultiPolygon, box

import pathgen as pg
from pathgen.model.bounds import Bounds, Flat
from pathgen.motion.codes import READ_CODES
from pathgen.proof.checks import CODES
from pathgen.proof.codes import ACCEPTABLE, finding
from pathgen.proof.collide import envelope
from pathgen.proof.prove import prove

ROOM = Path(pg.__file__).parent


def findings(text, code=None, **more):
    given = {"bounds": None, "own": False, "grid": 0.5, **more}
    proof = prove([text] if isinstance(text, str) else text, **settings(**given))
    return [f for f in proof.findings if code is None or f.code == code]


TRAY = handmade.HEAD.format(tool=2) + "\n".join(handmade.tray()) + "\n" + handmade.TAIL


def changed(old, new, text=TRAY, count=1):
    assert old in text
    return text.replace(old, new, count)


# -- the table ----------------------------------------------------------------------------------------------------


def test_the_table_is_complete_and_each_row_says_something():
    for code, (severity, meaning, advice) in CODES.items():
        assert re.fullmatch(r"[a-z][a-z0-9-]+", code)
        assert severity in ("error", "warning", "note")
        assert len(meaning) > 10
        assert len(advice) > 8
    assert set(READ_CODES) <= set(CODES)


def code_words(path):
    """Every literal that a file uses as a code: code="…", and the first argument of calls that make findings."""
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.Call):
            continue
        for k in node.keywords:
            if k.arg == "code" and isinstance(k.value, ast.Constant):
                yield k.value.value
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in ("finding", "found", "find", "say", "LineError"):
            at = 1 if name == "found" else 0
            if len(node.args) > at and isinstance(node.args[at], ast.Constant):
                yield node.args[at].value


@pytest.mark.parametrize("room", ["cuts", "program", "motion", "proof", "job.py"])
def test_every_code_used_in_pathgen_is_in_the_table(room):
    """Notes on drawings have a table of their own; everything that planner, reader and proof say is in this one."""
    files = [ROOM / room] if room.endswith(".py") else sorted((ROOM / room).glob("*.py"))
    used = {code for path in files for code in code_words(path) if isinstance(code, str) and code[0].isalpha()}
    if room in ("motion", "proof"):
        assert len(used) > 20
    assert used <= set(CODES), used - set(CODES)


def test_only_gouge_and_residual_can_be_accepted():
    assert ACCEPTABLE == ("gouge", "residual")
    assert all(CODES[c].severity == "error" for c in ACCEPTABLE)
    assert finding("gouge", "x").advice == CODES["gouge"].advice
    with pytest.raises(KeyError):
        finding("no-such-code", "x")


# -- clean programs -----------------------------------------------------------------------------------------------


def test_a_clean_program_has_no_finding_at_all():
    assert findings(TRAY) == []
    both = findings(list(texts()), bounds=ASKED, own=True)
    assert {f.code for f in both} == {"few-bridges"}, "the sign made by hand hangs on two bridges alone"


# -- one damage, one code -----------------------------------------------------------------------------------------

VBIT, DRAG = pg.VBit(60, diameter=10), pg.TrailingKnife(trail=0.25, edge_angle=45)
NO_CENTER = dataclasses.replace(MILL, center_cutting=False)
STUB = dataclasses.replace(MILL, cutting_length=2.5, stick_out=30)
SHORT = dataclasses.replace(MILL, stick_out=2.5)
SLOW = dataclasses.replace(MILL, max_rpm=12000)
SHALLOW = dataclasses.replace(MILL, max_ramp=3)


def tool(t):
    return {"tools": {2: t}}


DAMAGES = {
    # name: (text, arguments, code, line of the finding or None)
    "rapid through material": (changed("X102 F1800\nY25", "G0 X102\nG1 Y25 F1800"), {}, "rapid-in-material", 13),
    "rapid plunge": (changed("G1 Z-3 F500\nX102", "G0 Z-3\nG1 X102"), {}, "rapid-in-material", 12),
    "rapid below clearance": (changed("G0 X83 Y23\n", "G0 Z2\nX83 Y23\n"), {}, "rapid-low", 9),
    "rapid in three axes": (changed("G0 X83 Y23\n", "G0 X83 Y23 Z6\n"), {}, "rapid-diagonal", 8),
    "first move sideways": (changed("G0 Z5\n", "G0 X0 Y0\nZ5\n"), {}, "first-move", 6),
    "first move with Z": (changed("G0 Z5\n", "G0 X0 Y0 Z5\n"), {}, "first-move", 6),
    "first move too low": (changed("G0 Z5\n", "G0 Z1\nG0 Z5\n"), {}, "first-move", 6),
    "plunge without center": (TRAY, tool(NO_CENTER), "plunge", 12),
    "too steep for the tool": (TRAY, tool(SHALLOW), "ramp-steep", 12),
    "deeper than the edges": (TRAY, tool(STUB), "deeper-than-edges", 12),
    "deeper than the stick-out": (TRAY, tool(SHORT), "deeper-than-stick-out", 12),
    "below the board": (changed("Z-3", "Z-12.5"), {}, "below-board", 12),
    "below the table": (changed("Z-3", "Z-12.5"), {"bounds": ASKED[1:2]}, "below-table", 12),
    "beside the stock": (changed("X102 Y37", "X140 Y37"), {}, "outside-stock", None),
    "out of travel": (changed("X102 Y37", "X700 Y37"), {}, "outside-travel", None),
    "out of travel where it lies": (TRAY, {"at": (510, 0, -50)}, "outside-travel", None),
    "knife with spindle": (TRAY, tool(DRAG), "spindle-on-dragging", None),
    "spindle off": (changed("S16000 M3\nG4 P3\n", ""), {}, "spindle-off", None),
    "spindle backwards": (changed("M3", "M4"), {}, "spindle-reversed", None),
    "spindle left on": (changed("G0 Z5\nM5\nM9", "G0 Z5\nM9"), {}, "spindle-left-on", 9),
    "too fast for the machine": (changed("S16000", "S30000"), {}, "speed-above-machine", None),
    "too slow for the machine": (changed("S16000", "S3000"), {}, "speed-above-machine", None),
    "too fast for the tool": (TRAY, tool(SLOW), "speed-above-tool", None),
    "feed above the machine": (changed("F1800", "F4000"), {}, "feed-above-machine", 13),
    "plunge too fast": (changed("F500", "F600"), {}, "plunge-feed", 12),
    "no dwell after start": (changed("G4 P3\n", ""), {}, "no-spin-up", 9),
    "dwell too short": (changed("G4 P3\n", "G4 P1\n"), {}, "no-spin-up", 9),
    "no dwell before a stop": (changed("G4 P5\nM2", "M0\nM2"), {}, "no-spin-down", None),
    "plane not stated": (changed("G17 ", ""), {}, "mode-not-stated", 6),
    "distance mode not stated": (changed("G90 ", ""), {}, "mode-not-stated", 6),
    "path mode not stated": (changed("G61\n", ""), {}, "corners-rounded", None),
    "blending": (changed("G61", "G64"), {}, "corners-rounded", 4),
    "no unit": (changed("G21 ", ""), {}, "units-not-stated", 6),
    "no end": (changed("M2\n", ""), {}, "no-end", None),
    "zero moved": (changed("G61\n", "G61\nG92 X0\n"), {}, "sets-offset", 5),
    "length not applied": (changed("G0 Z5\n", "T2 M6\nG0 Z5\n"), {}, "length-not-applied", 7),
    "unknown tool": (changed("(Tool T2)", "(Tool T7)"), {}, "unknown-tool", None),
    "no tool": (changed("(Tool T2)\n", ""), {"tools": {2: MILL, 3: VBIT}}, "no-tool-named", None),
    "nothing cut": (TRAY.replace("Z-3", "Z0.5"), {}, "cuts-nothing", None),
    "clamp hit by a rapid": (TRAY, {"keep_out": [pg.KeepOut(box(60, 0, 70, 80), 20)]}, "keep-out", None),
    "clamp hit by the cutter": (TRAY, {"keep_out": [pg.KeepOut(box(100, 39, 110, 50), 1)]}, "keep-out", None),
}


@pytest.mark.parametrize("name", sorted(DAMAGES))
def test_each_damage_is_found_under_its_code(name):
    text, more, code, line = DAMAGES[name]
    if code == "keep-out" and "rapid" in name:
        text = changed("G0 X83 Y23\n", "G0 X30 Y30\nX83 Y23\n", text)
    found = findings(text, code, **more)
    assert found, f"{name}: {[f.code for f in findings(text, **more)]}"
    if line is not None:
        assert found[0].line == line
    assert found[0].severity == CODES[code].severity
    assert found[0].text
    assert found[0].advice


@pytest.mark.parametrize("name", sorted(DAMAGES))
def test_no_damage_raises_other_alarms_than_its_own(name):
    """What follows from a damage by itself may be found too; nothing else."""
    text, more, code, _ = DAMAGES[name]
    follow = {
        "rapid through material": {"rapid-low"},
        "rapid in three axes": {"rapid-in-material"},
        "first move sideways": {"rapid-low"},
        "first move with Z": {"rapid-diagonal"},
        "plunge without center": set(),
        "out of travel": {"outside-stock"},
        "knife with spindle": {"dragging-no-stop"},
        "too fast for the machine": {"chip-load-low"},
        "too slow for the machine": {"chip-load-high"},
        "no dwell before a stop": {"no-spin-up"},
        "unknown tool": set(),
        "no tool": set(),
        "below the table": {"gouge", "residual", "loose-piece", "too-little-left"},
        "zero moved": {"feed-from-unknown", "first-move", "rapid-low"},
        "spindle off": set(),
        "spindle backwards": set(),
        "nothing cut": set(),
        "no dwell after start": set(),
        "too fast for the tool": set(),
        "clamp hit by a rapid": {"first-move", "rapid-low", "end-not-up"},
        "clamp hit by the cutter": {"first-move", "rapid-low", "end-not-up"},
    }.get(name, set())
    if name == "clamp hit by a rapid":
        text = changed("G0 X83 Y23\n", "G0 X30 Y30\nX83 Y23\n", text)
    got = {f.code for f in findings(text, **more)}
    assert got <= {code} | follow, got


# -- the finer points ---------------------------------------------------------------------------------------------


def test_a_rapid_back_up_or_through_air_already_cut_is_no_fault():
    """Straight up out of its own hole, sideways in a cleared pocket, down into a drilled one."""
    assert not findings(TRAY, "rapid-in-material")
    inside = changed("G0 Z5\nM5\nM9", "G0 X90 Y30\nZ5\nM5\nM9")
    assert not findings(inside, "rapid-in-material")
    assert findings(inside, "rapid-low")
    peck = changed("G0 Z5\nM5\nM9", "G0 Z5\nX90 Y30\nZ-2.9\nG1 Z-3 F500\nG0 Z5\nM5\nM9")
    assert not findings(peck, "rapid-in-material")
    into = changed("G0 Z5\nM5\nM9", "G0 Z5\nX50 Y30\nZ-0.5\nZ5\nM5\nM9")
    met = findings(into, "rapid-in-material")
    assert met[0].amount == pytest.approx(0.5, abs=1e-3)
    assert met[0].where == (50, 30, -0.5)


def test_a_rapid_is_judged_by_the_stock_as_it_stood_then():
    """Crossing the pocket at depth before it is cleared is a fault, after it is not."""
    early = changed("X102 F1800\n", "F1800\nG0 X102\nX83\nG1 X102\n")
    assert findings(early, "rapid-in-material")
    late = changed("G0 Z5\nM5\nM9", "G0 X83 Y23\nZ5\nM5\nM9")
    assert not findings(late, "rapid-in-material")


def test_a_slanting_rapid_counts_as_the_whole_rectangle():
    """From (102, 37) to (83, 23) inside a pocket with an island in one corner of the way: the axes may arrive apart."""
    walled = TRAY.replace("Y25\nX83", "Y25").replace("G0 Z5\nM5\nM9", "G0 X62 Y60\nZ5\nM5\nM9")
    assert findings(walled, "rapid-in-material")


def test_full_circles_are_an_error_in_our_own_text_only():
    circle = changed("G0 Z5\nM5\nM9", "G2 X102 Y37 I-3\nG0 Z5\nM5\nM9")
    own, other = findings(circle, own=True), findings(circle)
    assert [f.code for f in own if "circle" in f.code] == ["own-full-circle"]
    assert [f.code for f in other if "circle" in f.code] == ["full-circle"]
    assert CODES["own-full-circle"].severity == "error"
    assert CODES["full-circle"].severity == "note"


def test_downward_arcs_and_ramps_keep_the_plunge_rule():
    """At 10 degrees below level F 1800 is 313 down: allowed by a plunge of 500; at 30 degrees it is 900: not."""
    for angle, bad in ((10, False), (15, False), (17, True), (30, True)):
        dx = 2 / math.tan(math.radians(angle))
        text = changed("G1 Z-3 F500\nX102 F1800", f"G1 Z-1 F500\nX{83 + dx:.4f} Z-3 F1800\nX102")
        assert bool(findings(text, "plunge-feed")) is bad
    helix = changed("G1 Z-3 F500", "G1 Z-1 F500\nG2 X87 Y23 I2 J0 Z-3 F1800\nG1")
    drop, run = 2, math.pi * 2
    assert 1800 * drop / math.hypot(drop, run) > 500
    assert findings(helix, "plunge-feed")


def test_machine_feeds_are_per_axis():
    slow_z = dataclasses.replace(ROUTER, max_feed=(3000, 1500, 400))
    found = findings(TRAY, "feed-above-machine", machine=slow_z)
    assert found[0].line in (12, 14)
    assert not findings(TRAY, "feed-above-machine", machine=dataclasses.replace(ROUTER, max_feed=(3000, 1800, 500)))


def test_spinning_and_dragging_tools_never_share_a_file():
    knife = "T3 M6\nG43 H3\nG0 Z5\nX10 Y10\nG1 Z-0.5 F300\nX20\n"
    both = changed("G0 Z5\nM5\nM9", "G0 Z5\nM5\nG4 P5\n" + knife + "G0 Z5\nM9")
    tools = {2: MILL, 3: DRAG}
    assert findings(both, "mixed-tools", tools=tools)
    assert not findings([TRAY, handmade.HEAD.format(tool=3) + knife + handmade.TAIL], "mixed-tools", tools=tools)


def test_a_dragging_tool_alone_is_clean_and_never_with_a_spindle():
    """The error stands whatever the program does besides, and cannot be accepted."""
    head = handmade.HEAD.format(tool=3).replace("M5\n", "M5\nM0\nG21 G17 G90 G94 G54\nG61\n")
    knife = head + "G0 X10 Y10\nZ1\nG1 Z-0.5 F300\nX20\nG0 Z5\nM5\nM9\nM2\n"
    assert {f.code for f in findings(knife, tools={3: DRAG})} <= {"loose-chip"}
    for start in ("S8000 M3", "S100 M4"):
        found = findings(changed("G0 X10", start + "\nG0 X10", knife), "spindle-on-dragging", tools={3: DRAG})
        assert found[0].severity == "error"
        assert "spindle-on-dragging" not in ACCEPTABLE


def test_a_spindle_switched_by_hand_is_not_looked_for():
    by_hand = dataclasses.replace(ROUTER, spindle="hand")
    text = changed("S16000 M3\nG4 P3\n", "M0\n")
    assert findings(text, "spindle-off")
    assert not findings(text, "spindle-off", machine=by_hand)


def test_automatic_changes_need_their_length_each_time():
    good = changed("G0 Z5\n", "T2 M6\nG43 H2\nG0 Z5\n")
    assert not findings(good, "length-not-applied")
    again = changed("G0 Z5\nM5\nM9", "G0 Z5\nM5\nG4 P5\nT3 M6\nG0 Z6\nM9", good)
    found = findings(again, "length-not-applied", tools={2: MILL, 3: VBIT})
    assert len(found) == 1
    assert "T3" in found[0].text


def test_a_homed_start_needs_no_clearance_move():
    homed = changed("G0 Z5\n", "G53 G0 Z0\n")
    assert {f.code for f in findings(homed)} == set()


def test_facing_may_leave_the_stock():
    text = changed("X102 Y37", "X140 Y37").replace("(CUT 2 tray)", "(CUT 1 face)")
    asked = (("face", MILL, Bounds((Flat(region=MultiPolygon([box(-5, -5, 150, 90)]), depth=3, open_edges=True),))),)
    assert findings(text, "outside-stock")
    assert not findings(text, "outside-stock", bounds=asked)


def test_travel_is_a_span_without_a_place_and_a_place_with_one():
    small = dataclasses.replace(ROUTER, travel=(15, 400, 90))
    assert findings(TRAY, "outside-travel", machine=small)
    just = dataclasses.replace(ROUTER, travel=(106, 400, 90))
    assert not findings(TRAY, "outside-travel", machine=just)
    assert findings(TRAY, "outside-travel", machine=just, at=(5, 0, -40))
    assert not findings(TRAY, "outside-travel", machine=just, at=(3, 0))


def test_a_place_beyond_a_meter_is_no_top_of_travel():
    far = changed("X102 Y37", "X1200 Y37")
    (found,) = findings(far, "outside-travel")
    assert found.amount == pytest.approx(1200 - 83 - 600)
    assert not findings(changed("G0 Z5\n", "G53 G0 Z0\n"), "outside-travel")


def test_keep_outs_meet_cutter_shank_and_holder():
    """A clamp 20 high, 5 mm beside the cutter's edge: only the holder, 25 above the tip's end, is wide enough."""
    held = dataclasses.replace(MILL, stick_out=21, shank=6, holder=pg.Holder(40, 50))
    clamp = pg.KeepOut(box(113, 20, 118, 40), 20)
    assert not findings(TRAY, "keep-out", keep_out=[clamp], clearance=25, tools={2: MILL})
    hit = findings(TRAY, "keep-out", keep_out=[clamp], clearance=25, tools={2: held})
    assert hit
    assert hit[0].amount == pytest.approx(20 - 11, abs=0.01)
    far = pg.KeepOut(box(113 + 10, 20, 118 + 10, 40), 20)
    assert not findings(TRAY, "keep-out", keep_out=[far], clearance=25, tools={2: held})


def test_the_envelope_of_a_tool_grows_from_cutter_to_shank_to_holder():
    t = pg.EndMill(3, cutting_length=10, shank=6, stick_out=30, holder=pg.Holder(25, 40))
    assert envelope(t, np.array([-1.0, 0.0, 9.9, 10.1, 29.9, 30.1])).tolist() == [1.5, 1.5, 1.5, 3, 3, 12.5]
    assert envelope(pg.EndMill(3), np.array([50.0])).tolist() == [1.5]


def test_a_program_line_is_named_with_its_program():
    found = findings([TRAY, changed("F1800", "F4000")], "feed-above-machine")
    assert (found[0].line, found[0].program) == (13, "2")


def test_the_page_of_codes_says_what_the_table_says():
    """After a change of the table: python docs/make_checks.py."""
    page = runpy.run_path(str(ROOM.parent / "docs" / "make_checks.py"))["page"]()
    assert (ROOM.parent / "docs" / "checks.md").read_text(encoding="utf-8") == page
    assert all(f"| `{code}` |" in page for code in CODES)
