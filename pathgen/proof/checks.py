"""What can be seen in a program without the design: one finding for each rule that it breaks.

Every check looks at all moves at once and reports its worst or first place, with the number of places in the text.
The checks live in files of their own, by what they look at; this one lists them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pathgen.model.findings import Finding
from pathgen.proof import entries, feeds, modes, motions, spindle
from pathgen.proof.codes import CODES, Code
from pathgen.proof.setting import NOISE, STEP, Setting

__all__ = ["CODES", "NOISE", "STEP", "Code", "Setting", "program_findings"]

CHECKS: tuple[Callable[[Setting], Iterator[Finding]], ...] = (
    modes.reading,
    modes.tools,
    motions.first_move,
    motions.rapids,
    motions.depths,
    entries.entries,
    spindle.running,
    spindle.speeds,
    feeds.feeds,
    spindle.waits,
    modes.modes,
    modes.lengths,
    motions.travel,
    motions.edges,
    motions.cuts_something,
)
"""Every check, in the order in which findings are listed."""


def program_findings(setting: Setting) -> list[Finding]:
    """Return all findings on the programs themselves."""
    return [f for check in CHECKS for f in check(setting)]
