"""What a program states before it moves: modes, tools, lengths; and what its reader found."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from pathgen.model.findings import Finding
from pathgen.model.motion import RAPID
from pathgen.proof.codes import finding
from pathgen.proof.setting import Setting, found

_COMMENT = re.compile(r"\([^)\n]*\)")


def reading(s: Setting) -> Iterator[Finding]:
    """Hand on what the reader found; in our own text a full circle is an error."""
    import dataclasses

    for k, motion in enumerate(s.motions):
        for f in motion.findings:
            own = dataclasses.replace(f, program=str(k + 1) if len(s.motions) > 1 else None)
            if s.own and f.code == "full-circle":
                own = finding("own-full-circle", "An arc ends where it starts.", line=f.line, program=own.program)
            yield own


def tools(s: Setting) -> Iterator[Finding]:
    """Every T number is known, one is named before cutting, and spinning and dragging tools have files apart."""
    t = s.track
    feeds = t.kind != RAPID
    known = np.isin(t.tool, np.array(sorted(s.tools), dtype=np.int64)) if s.tools else np.zeros(len(t), dtype=bool)
    zero = np.zeros(len(t))
    yield from found(s, "no-tool-named", feeds & (t.tool == 0), zero, "No tool is named before this cut")
    for number in np.unique(t.tool[feeds & ~known & (t.tool != 0)]):
        yield from found(s, "unknown-tool", feeds & (t.tool == number), zero, f"T{number} is not in the tool list")
    spins = s.tool_table(lambda tool: tool.spins, np.nan)
    for program in np.unique(t.program):
        kinds = np.unique(spins[(t.program == program) & feeds & ~np.isnan(spins)])
        if len(kinds) > 1:
            row = int(np.flatnonzero((t.program == program) & feeds & (spins == 0))[0])
            yield finding("mixed-tools", "A dragging tool shares a file with a spinning one.", **s.place(row))


def modes(s: Setting) -> Iterator[Finding]:
    """Plane and distance mode are stated before any motion, and the path is exact."""
    for k, (text, motion) in enumerate(zip(s.texts, s.motions, strict=True)):
        if not len(motion.moves):
            continue
        program = str(k + 1) if len(s.motions) > 1 else None
        first = int(motion.moves.line[0])
        words = _COMMENT.sub("", "\n".join(text.splitlines()[:first])).upper().replace(" ", "")
        for code, what in (("G17", "plane"), ("G90", "distance mode")):
            if not re.search(rf"{code}(?![0-9.])", words):
                yield finding(
                    "mode-not-stated", f"The {what} is not stated before the first motion.", line=first,
                    advice=f"State {code} before any motion.", program=program,
                )  # fmt: skip
        paths = [e for e in motion.events if e.kind == "path"]
        exact = bool(paths) and all(e.value in (61, 611, 61.1) for e in paths)
        if not exact:
            by = f"by {s.machine.corner_tolerance:g} mm" if s.machine is not None else "by an unknown amount"
            yield finding(
                "corners-rounded", f"Corners may be rounded {by}.", program=program,
                line=paths[-1].line if paths else None,
            )  # fmt: skip


def lengths(s: Setting) -> Iterator[Finding]:
    """After a tool change the tool's length is applied before Z moves (NISTIR 6556 applies it by G43 alone)."""
    for k, motion in enumerate(s.motions):
        moves = motion.moves
        z_moves = np.flatnonzero(~moves.machine & ~(moves.end[:, 2] == moves.start[:, 2]) & ~np.isnan(moves.end[:, 2]))
        for n, event in enumerate(motion.events):
            if event.kind != "tool" or event.value == 0:
                continue
            later = z_moves[z_moves >= event.index]
            end = int(later[0]) if len(later) else len(moves)
            applied = any(e.kind == "length" and e.value > 0 and e.index <= end for e in motion.events[n + 1 :])
            if len(later) and not applied:
                yield finding(
                    "length-not-applied", f"Z moves after the change to T{event.value:g} without its length.",
                    line=int(moves.line[end]), program=str(k + 1) if len(s.motions) > 1 else None,
                )  # fmt: skip
