"""What pathgen writes keeps every rule that its program checks know, whatever machine and controller it is for."""

import dataclasses
import itertools
import re
from collections import Counter

import pytest
from checking import BOARD, checked
from shapely.geometry import box

import pathgen as pg
from pathgen.program.write import programs

BIT = pg.VBit(60, diameter=12, flutes=1, number=1, cutting=pg.Cutting(16000, 2400, 500, 4, 0.5))
MILL = pg.EndMill(6, flutes=1, number=2, cutting=pg.Cutting(16000, 2400, 500, 3, 2.7, cooling="air"))
TOOLS = {1: BIT, 2: MILL}
CUTS = (
    *pg.vgroove(box(20, 40, 60, 44), BIT, stock=BOARD),
    pg.Stop("Look at the groove (closely)"),
    *pg.pocket(box(70, 20, 100, 60), MILL, depth=4, stock=BOARD),
    *pg.profile(box(15, 15, 105, 65), MILL, depth=14, stock=BOARD, slot_width=8, finish_allowance=0.2),
)

MACHINES = {
    "plain": {},
    "hand": {"spindle": "hand"},
    "homed": {"homed": True},
    "parked": {"homed": True, "park": (0.0, 75.0)},
    "automatic": {"tool_change": "automatic"},
    "slow spindle": {"spin_up": 12.0, "spin_down": 20.0},
}
DIALECTS = {
    "mm": {},
    "inch": {"units": "inch"},
    "coarse": {"decimals": 2, "center_decimals": 3},
    "numbered": {"line_numbers": True, "end": "M30"},
    "one file": {"zero_again_at_stop": True},
    "no lengths": {"length_offsets": False},
    "lines only": {"arcs": False},
}
EXPECTED = {"chip-load-low", "slot-chips"}
"""What has to do with the speeds chosen and the work itself, not with how it is written."""


@pytest.mark.parametrize(("machine", "dialect"), list(itertools.product(MACHINES, DIALECTS)))
def test_no_program_of_ours_breaks_a_rule(machine, dialect):
    if machine == "automatic" and dialect == "no lengths":
        with pytest.raises(pg.PathgenError, match="length_offsets"):
            made(machine, dialect)
        return
    router = made(machine, dialect)
    written = programs(CUTS, name="Rose) M3 (MSG, x", stock=BOARD, machine=router, clearance=5.0, touch_off=(2, 2))
    found = checked([p.text for p in written], machine=router, tools=TOOLS, own=True)
    assert len(written) == {"automatic": 2, "hand": 2}.get(machine, 2) - (dialect == "one file")
    assert [f for f in found if f.severity != "note" and f.code not in EXPECTED] == []


def made(machine, dialect):
    """The machine of these names."""
    return pg.Machine(
        travel=(600, 400, 90), max_feed=6000, acceleration=800, max_rpm=24000, dialect=pg.Dialect(**DIALECTS[dialect]),
        **MACHINES[machine],
    )  # fmt: skip


def test_the_same_programs_read_as_anybodys_are_clean_too():
    router = made("plain", "mm")
    written = programs(CUTS, name="Rose", stock=BOARD, machine=router, clearance=5.0)
    found = checked([p.text for p in written], machine=router, tools=TOOLS, clearance=None)
    assert {f.code for f in found if f.severity == "error"} == set()


def test_a_knife_and_a_mill_written_for_one_machine_are_clean():
    """Files apart; the knife's begins with M5 and a stop that says why."""
    knife = pg.TrailingKnife(trail=0.3, edge_angle=45, number=3, cutting=pg.Cutting(0, 800, 200))
    (cut, *_) = pg.pocket(box(70, 20, 100, 60), MILL, depth=0.4, stock=BOARD)
    dragged = dataclasses.replace(cut, tool=knife, cutting=knife.cutting)
    for machine in ("plain", "hand", "automatic", "homed"):
        router = made(machine, "one file")
        written = programs((cut, dragged), name="Fern", stock=BOARD, machine=router, clearance=5.0)
        assert len(written) == 2
        found = checked([p.text for p in written], machine=router, tools={2: MILL, 3: knife}, own=True)
        assert [f for f in found if f.severity != "note" and f.code not in EXPECTED] == []


HARMLESS = {
    "T1": "the comments say which tool is in",
    "T2": "the comments say which tool is in",
    "M9": "nothing runs that it could stop",
    "M7": "what cools is not told by the text",
}


@pytest.mark.parametrize(("machine", "dialect"), [("plain", "one file"), ("plain", "inch"), ("automatic", "mm")])
def test_no_line_of_words_can_be_lost_unseen(machine, dialect):
    """Each line that is neither a move nor a comment, dropped by itself: something is found that was not before."""
    router = made(machine, dialect)
    texts = [p.text for p in programs(CUTS, name="Rose", stock=BOARD, machine=router, clearance=5.0)]

    def count(changed):
        return Counter(f.code for f in checked(changed, machine=router, tools=TOOLS, own=True))

    clean, lost, dropped = count(texts), [], 0
    for k, text in enumerate(texts):
        lines = text.split("\n")[:-1]
        for n, line in enumerate(lines):
            if re.match(r"\(|(G[0123] )?[XYZ]", line) or line in HARMLESS:
                continue
            if machine == "automatic" and line == "G4 P5" and n < 14:
                continue  # the wait for a spindle that somebody may have left on
            dropped += 1
            without = [*texts[:k], "\n".join(lines[:n] + lines[n + 1 :]) + "\n", *texts[k + 1 :]]
            if not count(without) - clean:
                lost.append((n + 1, line))
    assert dropped > 15
    assert lost == []
