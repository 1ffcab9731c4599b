"""What a program states before it moves: modes, tools, lengths; and what its reader found."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np

from pathgen.model.findings import Finding
from pathgen.model.motion import ARC, RAPID, Event
from pathgen.proof.codes import CODES, finding
from pathgen.proof.setting import Setting, drops, found, words_only

LONGEST_COMMENT = 60
"""Longest comment of our own text, characters. Common practice, no source: displays cut off longer ones."""

SHORTEST_ARC = 0.02
"""Shortest arc, mm. Common practice, no source: shorter ones turn rounding into direction."""

SHORTEST_STEPS = 20
"""The same in steps of the last decimal."""

REPEATS = 3
"""Findings of one code that the reader hands on singly; of more the last says how many follow."""

OFFSET = 54
"""The work offset of our own texts: G54."""

_COMMENT = re.compile(r"\(([^()\n]*)\)")
_OPTIONAL = re.compile(r"^[ \t]*/", re.MULTILINE)
_PLAIN = re.compile(r"(?![ ]*m[ ]*s[ ]*g)[A-Za-z0-9 .,_-]*", re.IGNORECASE)
_MODES = (
    ("G17", "plane", r"G17(?![0-9.])"),
    ("G90", "distance mode", r"G90(?![0-9.])"),
    ("G94", "feed mode", r"G94(?![0-9.])"),
    ("G40", "no cutter compensation", r"G40(?![0-9.])"),
    ("G80", "no drilling cycle", r"G80(?![0-9.])"),
    ("G54", "work offset", r"G5[4-9](?![0-9])"),
    ("M5", "spindle off", r"M0*[345](?![0-9.])"),
)
"""What a program states before it moves, how it is called, and how it is found without comments and spaces."""


def reading(s: Setting) -> Iterator[Finding]:
    """Hand on what the reader found, the first places of each code; in our own text a full circle is an error."""
    for k, motion in enumerate(s.motions):
        count = Counter(f.code for f in motion.findings)
        seen: Counter[str] = Counter()
        for f in motion.findings:
            seen[f.code] += 1
            more = count[f.code] - REPEATS if seen[f.code] == REPEATS else 0
            if seen[f.code] > REPEATS:
                continue
            text = f.text + (f" ({more} more of these follow.)" if more else "")
            advice = f.advice or CODES[f.code].advice
            told = dataclasses.replace(f, program=s.program_name(k), text=text, advice=advice)
            if s.own and f.code == "full-circle":
                told = finding("own-full-circle", "An arc ends where it starts.", line=f.line, program=told.program)
            elif s.own and f.code in ("sets-offset", "returns-home", "work-offset-changed"):
                told = finding("own-zero-moved", f.text.rstrip(".") + ".", line=f.line, program=told.program)
            yield told


def offsets(s: Setting) -> Iterator[Finding]:
    """All programs begin with one work offset, ours with G54: where another one lies is in no text."""
    first: Event | None = None
    for k, motion in enumerate(s.motions):
        stated = next((e for e in motion.events if e.kind == "offset"), None)
        if stated is None:
            continue
        first = first or stated
        place: dict[str, Any] = {"line": stated.line, "program": s.program_name(k)}
        if s.own and stated.value != OFFSET:
            yield finding("own-zero-moved", f"G{stated.value:g} is not the work offset that was set.", **place)
        elif stated.value != first.value:
            text = f"G{stated.value:g} after a program in G{first.value:g}: its place is not known."
            yield finding("work-offset-changed", text, **place)


def optional_lines(s: Setting) -> Iterator[Finding]:
    """Look for lines that a switch of the controller leaves out (block delete, NISTIR 6556 section 3.3.1)."""
    for k, (text, motion) in enumerate(zip(s.texts, s.motions, strict=True)):
        lines = text.replace("\r\n", "\n").replace("\r", "\n")
        end = next((e.line for e in motion.events if e.kind == "end"), lines.count("\n") + 1)
        at = [n for n in (lines.count("\n", 0, m.start()) + 1 for m in _OPTIONAL.finditer(lines)) if n <= end]
        if at:
            words = f"{len(at)} lines begin with / and were" if len(at) > 1 else "A line begins with / and was"
            yield finding(
                "own-block-delete" if s.own else "block-delete", f"{words} taken to run.",
                line=at[0], amount=float(len(at)), program=s.program_name(k),
            )  # fmt: skip


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
    """Every mode is stated before any motion, and the path is exact."""
    for k, (text, motion) in enumerate(zip(s.texts, s.motions, strict=True)):
        if not len(motion.moves):
            continue
        program = s.program_name(k)
        first = int(motion.moves.line[0])
        words = words_only("\n".join(text.split("\n", first)[:first]))
        missing = [f"{name} ({what})" for name, what, form in _MODES if not re.search(form, words)]
        if missing:
            yield finding(
                "mode-not-stated", f"Not stated before the first motion: {', '.join(missing)}.", line=first,
                amount=float(len(missing)), program=program,
            )  # fmt: skip
        paths = [e for e in motion.events if e.kind == "path"]
        feeds = np.flatnonzero(motion.moves.kind != RAPID)
        stated = bool(paths) and paths[0].index <= (feeds[0] if len(feeds) else 0)
        exact = stated and all(e.value in (61, 611, 61.1) for e in paths)
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
                    line=int(moves.line[end]), program=s.program_name(k),
                )  # fmt: skip


def comments(s: Setting) -> Iterator[Finding]:
    """Check that our own text holds plain comments only: nothing in a name may reach the controller as a word."""
    if not s.own:
        return
    for k, text in enumerate(s.texts):
        bad = [(m.start(), m[1]) for m in _COMMENT.finditer(text) if not _plain(m[1])]
        if bad:
            more = f" ({len(bad)} comments)" if len(bad) > 1 else ""
            yield finding(
                "own-comment", f"A comment is too long or not plain: {bad[0][1][:40]!r}{more}.",
                line=text.count("\n", 0, bad[0][0]) + 1, program=s.program_name(k),
            )  # fmt: skip


def _plain(words: str) -> bool:
    return len(words) <= LONGEST_COMMENT and _PLAIN.fullmatch(words) is not None


def short_arcs(s: Setting) -> Iterator[Finding]:
    """Check that arcs are long enough for rounding not to decide where they turn, or whether they go all round."""
    t = s.track
    arc = np.flatnonzero((t.kind == ARC) & ~np.isnan(t.end).any(axis=1))
    if not len(arc):
        return
    step = np.full(len(t), 0.001)  # as coordinates are commonly written: 0.001 mm, 0.0001 inch
    for k, motion, rows in s.programs():
        for e in motion.events:
            if e.kind == "units":
                step[rows[e.index :]] = 25.4e-4 if e.value == 20 else 1e-3
        if s.own and s.machine is not None:
            step[t.program == k] = s.machine.dialect.unit * 10.0**-s.machine.dialect.places
    shortest = np.maximum(SHORTEST_ARC, SHORTEST_STEPS * step)
    length = drops(t)[1]
    short = np.zeros(len(t), dtype=np.bool_)
    short[arc] = length[arc] < 0.9 * shortest[arc]  # rounding of the ends takes up to a tenth
    # the shortest one is the worst
    for f in found(s, "arc-short", short, -length, "An arc is {:.4f} mm long"):
        yield dataclasses.replace(f, text=f.text.replace("-", "", 1), amount=-(f.amount or 0.0))
