"""Scribing: forces, travels, nothing that turns, the lines asked for, and a proof of it."""

import functools
import itertools
import math
import re

import numpy as np
import pytest
import shapely
from checking import ROUTER
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, box

import pathgen as pg
from pathgen.cuts.scribe import force_at, scribe, travel_for
from pathgen.errors import ArgumentError, DrawingError
from pathgen.program.link import chains

POINT = pg.DiamondPoint(preload=1.5, spring_rate=4, max_travel=1.2, cutting=pg.Cutting(0, 900, 400))
SLATE = pg.Stock(160, 90, 8, material="stone", thickness_range=(7, 9), unevenness=0.2)
GLASS = pg.Stock(160, 90, 6, material="glass", thickness_range=(5.8, 6.2))
WOOD = pg.Stock(160, 90, 12, material="hardwood", thickness_range=(11.8, 12.2))
TURNING = re.compile(r"M0*[34]\b|S0*[1-9]")


def words(program):
    return "\n".join(re.sub(r"\([^)]*\)", "", line) for line in program.text.splitlines())


def job(lines, *, stock=SLATE, machine=ROUTER, travel=0.5, **more):
    return pg.Job("Marker", stock, machine, scribe(lines, POINT, travel=travel, line_width=0.2, stock=stock, **more))


def codes(cut):
    return [n.code for n in cut.notes]


# -- the spring ---------------------------------------------------------------------------------------------------


@given(st.floats(0, 5), st.floats(0.01, 50), st.floats(0, 2))
def test_force_and_travel_go_by_hookes_law_both_ways(preload, rate, travel):
    point = pg.DiamondPoint(preload=preload, spring_rate=rate)
    force = force_at(point, travel)
    assert force == pytest.approx(preload + rate * travel)
    if force > 0:
        assert travel_for(point, force) == pytest.approx(travel, abs=1e-9)


def test_a_spring_on_the_scale():
    """200 g on the scale at touch, 608 g pressed in by 1 mm: 1.96 N and 4 N/mm, by 9.81 m/s2."""
    point = pg.DiamondPoint(preload=0.2 * 9.81, spring_rate=(0.608 - 0.2) * 9.81)
    assert force_at(point, 1) == pytest.approx(0.608 * 9.81)
    assert force_at(point, 0) == pytest.approx(1.962)


def test_forces_a_spring_cannot_give_are_refused():
    for call, said in (
        (lambda: travel_for(POINT, 1.0), "preload"),
        (lambda: travel_for(POINT, 50), "stiffer"),
        (lambda: force_at(POINT, 1.3), "1.2 mm that the spring goes"),
        (lambda: force_at(pg.DiamondPoint(max_travel=1), 0.2), "kitchen scale"),
        (lambda: travel_for(pg.DiamondPoint(preload=1, spring_rate=0), 2), "any travel"),
        (lambda: force_at(pg.EndMill(6), 1), "DiamondPoint"),
    ):
        with pytest.raises(ArgumentError, match=said):
            call()


def test_travel_lies_between_the_unevenness_and_the_springs_end():
    line = LineString([(10, 10), (90, 10)])
    assert job(line, travel=0.3).cuts
    assert job(line, travel=1.0).cuts
    with pytest.raises(ArgumentError, match=r"uneven by 0\.2"):
        job(line, travel=0.29)
    with pytest.raises(ArgumentError, match="shatters"):
        job(line, travel=1.01)
    with pytest.raises(ArgumentError, match=r"less than 0\.1"):
        scribe(line, POINT, travel=0.09, line_width=0.1)


def test_the_notes_say_the_force_and_what_is_not_known():
    line = LineString([(10, 10), (90, 10)])
    (cut,) = scribe(line, POINT, travel=0.5, line_width=0.2, stock=SLATE)
    assert codes(cut) == ["spring-force"]
    assert "2.70 to 4.30 N" in cut.notes[0].text
    (cut,) = scribe(line, pg.DiamondPoint(cutting=pg.Cutting(0, 900, 200)), travel=0.5, line_width=0.2, stock=GLASS)
    assert codes(cut) == ["spring-unknown", "tempered-glass"]
    assert "bursts" in cut.notes[1].text


def test_on_glass_the_point_comes_down_slowly_and_it_is_said():
    line = LineString([(10, 10), (90, 10)])
    (cut,) = scribe(line, POINT, travel=0.5, line_width=0.2, stock=GLASS)
    assert cut.cutting.plunge == 300
    assert "slow-onto-glass" in codes(cut)
    (cut,) = scribe(line, POINT, travel=0.5, line_width=0.2, stock=SLATE)
    assert cut.cutting.plunge == 400
    text = pg.Job("G", GLASS, ROUTER, scribe(line, POINT, travel=0.5, line_width=0.2, stock=GLASS)).programs()[0].text
    assert "G1 Z-0.5 F300" in text


# -- nothing turns ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "machine",
    [
        ROUTER,
        pg.Machine(travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000, spindle="hand"),
        pg.Machine(travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000, tool_change="automatic"),
        pg.Machine(
            travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000,
            dialect=pg.Dialect(units="inch", arcs=False, line_numbers=True, zero_again_at_stop=True),
        ),
    ],
)  # fmt: skip
def test_no_program_of_a_diamond_holds_a_spindle_start_or_a_speed(machine):
    mill = pg.EndMill(4, cutting=pg.Cutting(18000, 900, 300, 1, 1.6))
    wood = WOOD
    line = LineString([(10, 10), (90, 10), (90, 40)])
    mixed = pg.Job(
        "Mixed", wood, machine,
        [
            pg.pocket(box(100, 50, 140, 80), mill, depth=2, stock=wood),
            scribe(line, POINT, travel=0.5, line_width=0.2, stock=wood),
            pg.profile(LineString([(10, 60), (90, 60)]), mill, side="along", depth=1, stock=wood),
        ],
    )  # fmt: skip
    found = 0
    for program in mixed.programs():
        spins = {tool.spins for tool in program.tools.values()}
        assert len(spins) == 1, "never in one file"
        turning = TURNING.findall(words(program))
        if spins == {False}:
            found += 1
            assert not turning
            lines = [w for w in words(program).split("\n") if w.strip()]
            stops = [k for k, w in enumerate(lines) if re.search(r"\bM0\b", w)]
            moves = [k for k, w in enumerate(lines) if re.search(r"\b[XYZ]", w)]
            assert "M5" in "\n".join(lines[: stops[0]])
            assert stops[0] < moves[0]
            assert not re.search(r"G4 P(?!5)", "\n".join(lines)), "no dwell but that of the stopping spindle"
        else:
            assert turning
    assert found == 1
    assert mixed.prove().ok


def test_a_spindle_speed_is_refused():
    fast = pg.Cutting(12000, 900, 200)
    with pytest.raises(ArgumentError, match="never spin"):
        scribe(LineString([(0, 0), (9, 0)]), POINT, travel=0.5, line_width=0.2, cutting=fast)
    with pytest.raises(ArgumentError, match="never spin"):
        pg.DiamondPoint(cutting=fast)


@functools.cache
def cuts_with(passes):
    """Cuts of both kinds of tools, planned once."""
    mill = pg.EndMill(4, cutting=pg.Cutting(18000, 900, 300, 1, 1.6))
    drill = pg.VBit(60, diameter=6, cutting=pg.Cutting(18000, 900, 300, 1, 1.6))
    kind = {"travel": 0.5, "line_width": 0.2, "stock": WOOD, "passes": passes}
    return {
        "hatch": scribe(pg.hatch(box(10, 10, 30, 30), spacing=5), POINT, **kind),
        "text": scribe(pg.stroke_text("N", height=5), POINT, **kind),
        "mill": pg.profile(LineString([(100, 50), (140, 50)]), mill, side="along", depth=1, stock=WOOD),
        "groove": pg.profile(LineString([(100, 70), (140, 70)]), drill, side="along", depth=1, stock=WOOD),
        "point": scribe(LineString([(50, 50), (90, 80)]), POINT, **kind),
    }


def any_job(order, stops, machine, passes, how):
    """Check that nothing turns with the diamond in it; return how many programs it has of its own."""
    cuts = cuts_with(passes)
    listed = [x for name, stop in zip(order, stops, strict=False) for x in ([pg.Stop("Look")] * stop + [cuts[name]])]
    found = 0
    for program in pg.Job("Any", WOOD, machine, listed, order=how).programs(unproved=True):
        if not all(tool.spins for tool in program.tools.values()):
            assert not TURNING.search(words(program))
            found += 1
    return found


JOBS = {
    "order": st.permutations(["hatch", "text", "mill", "groove", "point"]),
    "stops": st.lists(st.booleans(), min_size=5, max_size=5),
    "spindle": st.sampled_from(["program", "hand"]),
    "change": st.sampled_from(["manual", "automatic"]),
    "passes": st.integers(1, 2),
    "how": st.sampled_from(["tools", "listed"]),
    "dialect": st.builds(
        pg.Dialect, units=st.sampled_from(["mm", "inch"]), arcs=st.booleans(), line_numbers=st.booleans(),
        zero_again_at_stop=st.booleans(),
    ),
}  # fmt: skip


def check_any(order, stops, spindle, change, passes, how, dialect):
    machine = pg.Machine(
        travel=(600, 400, 90), max_feed=6000, acceleration=500, max_rpm=24000, spindle=spindle, tool_change=change,
        dialect=dialect,
    )  # fmt: skip
    assert any_job(order, stops, machine, passes, how) > 0


@settings(deadline=None, max_examples=60)
@given(**JOBS)
def test_in_any_order_of_tools_the_diamond_stands_still(order, stops, spindle, change, passes, how, dialect):
    check_any(order, stops, spindle, change, passes, how, dialect)


@pytest.mark.slow
@settings(deadline=None, max_examples=2000)
@given(**JOBS)
def test_in_thousands_of_jobs_the_diamond_stands_still(order, stops, spindle, change, passes, how, dialect):
    check_any(order, stops, spindle, change, passes, how, dialect)


# -- the lines ----------------------------------------------------------------------------------------------------


def drawn(cut):
    return shapely.union_all([LineString(p.path.flattened(0.0005)[:, :2]) for p in cut.passes])


@pytest.mark.parametrize("passes", [1, 2, 3])
def test_every_line_is_drawn_as_often_as_asked_and_no_other(passes):
    asked = MultiLineString([[(10, 10), (40, 10)], [(40, 10), (40, 30)], [(60, 20), (80, 20), (70, 35), (60, 20)]])
    (cut,) = scribe(asked, POINT, travel=0.5, line_width=0.2, passes=passes)
    assert len(cut.passes) == 2, "joined where they meet"
    assert sum(p.path.length for p in cut.passes) == pytest.approx(passes * asked.length)
    assert drawn(cut).hausdorff_distance(asked) < 1e-6
    assert all((p.path.points[:, 2] == -0.5).all() for p in cut.passes)
    assert [p.reversible for p in cut.passes] == [False, passes % 2 == 1]


def test_outlines_of_lettering_are_drawn_within_the_budget_of_arcs():
    name = pg.place(pg.text("Fern", height=30), SLATE)
    (cut,) = scribe(name, POINT, travel=0.5, line_width=0.2, stock=SLATE)
    outline = name.region.boundary
    assert drawn(cut).hausdorff_distance(outline) <= 0.0055
    assert all(p.closed for p in cut.passes)
    assert len(cut.passes) == len(shapely.get_parts(outline))


def test_closed_lines_start_where_the_next_line_is_near():
    """Squares in a row, each begun at another corner: from one to the next it is a side and a gap, hardly more."""
    rings = [box(x, 0, x + 10, 10).exterior for x in range(0, 100, 12)]
    far = MultiLineString([LineString(np.roll(np.array(r.coords)[:-1], k, axis=0)) for k, r in enumerate(rings)])
    closed = MultiLineString([[*g.coords, g.coords[0]] for g in far.geoms])
    (cut,) = scribe(closed, POINT, travel=0.5, line_width=0.2)
    order = chains(cut)
    way = sum(math.dist(a.end[:2], b.start[:2]) for a, b in itertools.pairwise(order))
    assert len(order) == 9
    assert way <= 1.02 * 8 * 12


def test_what_is_asked_of_the_proof_is_the_lines_and_their_width():
    asked = LineString([(10, 10), (90, 10)])
    (cut,) = scribe(asked, POINT, travel=0.5, line_width=0.25, stock=SLATE)
    (rule,) = cut.bounds.rules
    assert (rule.side, rule.width, rule.depth) == ("along", 0.25, 0.5)
    assert rule.shape.equals(MultiLineString([asked]))


def test_a_whole_marker_is_proved_and_claims_no_depth():
    name = pg.place(pg.text("Fern", height=20, font="sans bold"), box(10, 40, 150, 80))
    latin = pg.place(pg.stroke_text("Polystichum", height=8, font="script"), box(10, 10, 150, 30))
    kind = {"travel": 0.6, "line_width": 0.2, "stock": SLATE}
    work = pg.Job(
        "Marker", SLATE, ROUTER,
        [
            scribe(name, POINT, name="outlines", **kind),
            scribe(pg.hatch(name, spacing=0.6), POINT, name="hatch", **kind),
            scribe(latin, POINT, name="latin name", passes=2, **kind),
        ],
    )  # fmt: skip
    proof = work.prove()
    assert proof.ok, str(proof)
    assert proof.gouge <= 0.001
    assert proof.residual <= 0.01
    assert proof.removed == 0
    assert not [f for f in proof.findings if f.severity != "note"]
    area = proof.touched.sum() * proof.height.pixel**2
    assert area == pytest.approx(shapely.union_all([drawn(c) for c in work.tool_cuts]).length * 0.2, rel=0.5)


def test_travel_is_never_called_a_depth_in_program_or_sheet(tmp_path):
    work = job(MultiLineString([[(20, 20), (80, 20)], [(20, 50), (80, 50)]]))
    text = work.programs()[0].text
    assert "(PASS 1.1 cut, level 1, 0.50 mm pressed in)" in text
    assert "mm deep" not in text
    work.write(tmp_path)
    page = (tmp_path / "Marker.html").read_text()
    assert "0.50 pressed in" in page


def test_a_stopped_job_goes_on_at_a_line_of_ones_choice():
    asked = MultiLineString([[(20, y), (80, y)] for y in (20, 30, 40, 50)])
    work = job(asked, passes=2)
    rest = pg.restart(work, work.programs()[0], at="PASS 1.3")
    assert rest.proof.ok, str(rest.proof)
    assert not TURNING.search(words(rest.program))
    assert "PASS 1.1" not in rest.program.text


def test_a_line_that_was_left_out_of_the_program_is_told():
    work = job(MultiLineString([[(20, 20), (80, 20)], [(20, 50), (80, 50)]]))
    text = work.programs()[0].text
    cut = [line for line in text.splitlines() if "X80.0" not in line or "Y" in line]
    assert work.prove().ok
    assert not work.prove(texts=["\n".join(cut) + "\n"]).ok


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"travel": 0}, "travel"),
        ({"travel": math.nan}, "travel"),
        ({"line_width": 0}, "line_width"),
        ({"passes": 0}, "passes"),
        ({"passes": 1.5}, "passes"),
        ({"passes": True}, "passes"),
        ({"tool": pg.EndMill(6)}, "no sprung point"),
        ({"tool": pg.TrailingKnife(trail=0.5, edge_angle=45)}, "no sprung point"),
        ({"tool": pg.DiamondPoint()}, "has no speeds"),
    ],
)
def test_what_cannot_be_scribed_is_refused(more, words):
    given = {"tool": POINT, "travel": 0.5, "line_width": 0.2, **more}
    with pytest.raises(ArgumentError, match=words):
        scribe(LineString([(0, 0), (9, 0)]), given.pop("tool"), **given)


def test_nothing_to_draw_is_told():
    with pytest.raises(DrawingError, match="no line"):
        scribe(MultiLineString(), POINT, travel=0.5, line_width=0.2)


@pytest.mark.parametrize("shape", [None, "Fern", 3.0, [(0, 0), (9, 0)], shapely.Point(1, 1), POINT])
def test_what_has_no_lines_is_named(shape):
    with pytest.raises(DrawingError, match=f"{type(shape).__name__} has no lines: give a LineString"):
        scribe(shape, POINT, travel=0.5, line_width=0.2)


def test_an_empty_line_is_no_line():
    with pytest.raises(DrawingError, match="no line to cut along"):
        scribe(LineString(), POINT, travel=0.5, line_width=0.2)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"stock": "slate"}, "stock='slate' is no stock"),
        ({"stock": 8}, "stock=8 is no stock"),
        ({"cutting": 900}, "cutting=900 must be a Cutting"),
        ({"cutting": (0, 900, 200)}, "must be a Cutting"),
        ({"tool": "diamond"}, "'diamond' is no sprung point"),
        ({"tool": None}, "None is no sprung point"),
    ],
)
def test_things_of_another_kind_are_refused_by_name(more, words):
    given = {"tool": POINT, "travel": 0.5, "line_width": 0.2, **more}
    with pytest.raises(ArgumentError, match=re.escape(words)):
        scribe(LineString([(0, 0), (9, 0)]), given.pop("tool"), **given)


@pytest.mark.parametrize("z", ["Z-0.15", "Z-0.4", "Z-0.9"])
def test_the_proof_holds_the_springs_travel(z):
    board = pg.Stock(80, 60, 6, material="stone", unevenness=0.2)
    point = pg.DiamondPoint(preload=2, spring_rate=3, max_travel=1.2, cutting=pg.Cutting(0, 900, 200))
    lines = MultiLineString([[(10, 10), (60, 10)], [(10, 20), (60, 40), (20, 50)]])
    table = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
    job = pg.Job("Slate", board, table, pg.scribe(lines, point, travel=0.6, line_width=0.2, stock=board))
    (program,) = job.programs()
    assert "Z-0.6" in program.text
    spoilt = job.prove(texts=[program.text.replace("Z-0.6", z)])
    assert "travel-differs" in {f.code for f in spoilt.errors}
