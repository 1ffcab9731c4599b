"""What can be seen in a program without the design: one finding for each rule that it breaks.

Every check looks at all moves at once and reports its worst or first place, with the number of places in the text.
The checks live in files of their own, by what they look at; this one lists them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pathgen.model.findings import Finding
from pathgen.proof import chips, dragging, entries, feeds, finish, modes, motions, slots, spindle, stops, uneven
from pathgen.proof.codes import CODES, Code
from pathgen.proof.setting import NOISE, STEP, Setting

__all__ = ["CODES", "NOISE", "STEP", "Code", "Setting", "program_findings"]

CHECKS: tuple[Callable[[Setting], Iterator[Finding]], ...] = (
    modes.reading,
    modes.offsets,
    modes.optional_lines,
    modes.tools,
    motions.first_move,
    motions.rapids,
    motions.depths,
    entries.entries,
    slots.slots,
    slots.spirals,
    dragging.never_spinning,
    dragging.set_down,
    spindle.running,
    spindle.speeds,
    spindle.waits,
    spindle.long_dwells,
    stops.by_hand,
    feeds.feeds,
    chips.chip_loads,
    chips.standing,
    chips.cooling,
    finish.finishing,
    modes.modes,
    modes.comments,
    modes.short_arcs,
    modes.lengths,
    stops.lengths_of_others,
    stops.loaded,
    stops.changes,
    stops.stops,
    stops.ends,
    motions.travel,
    motions.edges,
    uneven.beyond_measured,
    motions.cuts_something,
)
"""Every check, in the order in which findings are listed."""


def program_findings(setting: Setting) -> list[Finding]:
    """Return all findings on the programs themselves."""
    return [f for check in CHECKS for f in check(setting)]
