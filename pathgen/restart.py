"""`restart`: the rest of a program after a stop (a power cut, a broken bit), proved like the whole.

Terminology
-----------
pass
    what follows one comment ``PASS cut.number`` of a written program.
lifted pass
    one that begins at the height of rapids; the others follow the pass before them without a lift.
halt
    a stop or tool change inside a program, where the machine stood still: everything before it is done.
"""

from __future__ import annotations

import bisect
import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, TypeAlias

import numpy as np

from pathgen.errors import ArgumentError, InternalError
from pathgen.job import Job
from pathgen.jobcheck import Accepted
from pathgen.model.cut import Cut
from pathgen.model.findings import Finding
from pathgen.model.heightmap import HeightMap
from pathgen.model.motion import RAPID, Motion
from pathgen.model.program import Program
from pathgen.model.tool import TrailingKnife
from pathgen.motion.read import read_program
from pathgen.program.dialect import number
from pathgen.program.files import check_suffix, folder_for, write_all
from pathgen.program.header import Setting, dwell, opening, please, stop_words
from pathgen.program.words import file_name
from pathgen.program.write import numbered, setting_for
from pathgen.proof.codes import finding
from pathgen.proof.report import Proof

Number: TypeAlias = tuple[int, int]

SAME = 0.002
"""Fields that differ by no more are the same, mm: noise of sweeping the same moves in other groups."""

ROUNDING = 0.003
"""A height rounded in mm or inch may lie this far off, mm."""

NOISE = 1e-6
"""Heights nearer than this are the same, mm. Numerical noise only."""

_PASS = re.compile(r"\s*PASS (\d+)\.(\d+) \w+, level \d+")
_CUT = re.compile(r"\s*CUT (\d+) ")
_ASKED = re.compile(r"\s*(?:PASS\s+)?(\d+)\.(\d+)\b", re.IGNORECASE)


@dataclass(frozen=True, eq=False, kw_only=True)
class Restart:
    """The rest of a program after a stop, proved.

    Attributes:
        program: what to run now; the programs after it follow as they are.
        proof: of the whole job, if everything before the line asked for was cut.
        certain: of the whole job, if only what lies before the place of the restart was cut.
        asked: (cut, pass) that was asked for.
        resumed: (cut, pass) at which the program begins: one earlier, so that a pass broken off is cut in full.
        line: line of the written program from which it goes on word for word, from 1.
        notes: what the operator should know.
    """

    program: Program
    proof: Proof
    certain: Proof
    asked: Number
    resumed: Number
    line: int
    notes: tuple[Finding, ...] = ()

    @property
    def text(self) -> str:
        """The RS-274 text."""
        return self.program.text

    def write(self, folder: str | FilePath, *, suffix: str = ".rs274") -> FilePath:
        """Write the program into `folder` and return its place.

        Args:
            folder: made if it is not there.
            suffix: of the file.

        Raises:
            ArgumentError: for a folder or suffix that cannot be one.
            WriteError: if it cannot be written; then nothing is left half there.
        """
        check_suffix(suffix)
        return write_all(folder_for(folder), {self.program.name + suffix: self.program.text})[0]


def restart(
    job: Job,
    program: int | Program,
    *,
    at: int | str | Sequence[int],
    accept: Sequence[Accepted] = (),
    grid: float | None = None,
    stock_after: HeightMap | None = None,
) -> Restart:
    """Return the rest of one of a job's programs after it was stopped.

    It begins at the pass before the one asked for (at the start of its chain, where passes follow each other without
    a lift; never before a stop or tool change, up to which everything is done), comes down where the whole program
    did, and goes on with the written text, word for word, to its end. It is proved twice: as if everything before
    `at` was cut, and as if only what lies before its own beginning was; both must give the part of the whole job.

    Args:
        job: what was being cut.
        program: which of its programs: index in `Job.programs()`, from 0, or the program itself.
        at: where it was stopped: a line of the written program, from 1, or a pass as its comments number them,
            "PASS 2.13" or (2, 13).
        accept: as given to `Job.write`, so that lines are counted as in the files written.
        grid: see `Job.prove`.
        stock_after: see `Job.prove`.

    Raises:
        ArgumentError: for no program of this job, or a place that is not in it; the nearest passes are named.
        NotProvedError: if the job or the rest of the program is not proved.
    """
    if not isinstance(job, Job):
        raise ArgumentError(f"job is a {type(job).__name__}: give the Job whose program was stopped")
    whole = job.prove(grid=grid, stock_after=stock_after)
    header = job._refuse(whole, accept)
    written = job._texts(header=header)
    index = _index(written, program, job.name)
    text = _Text(written, index, zero_z=job.stock.zero_z, safe=_setting(job, header).safe)
    asked, end = text.asked(at)
    begin = text.begin(asked)
    rest = _rest(job, header, text, asked=asked, begin=begin)
    proofs = []
    for line in (end, text.passes[begin].line - 1):
        proof = _proved(job, [p.text for p in written], index, rest.text, line, whole, grid, stock_after)
        job._refuse(proof, accept)
        proofs.append(proof)
    return Restart(
        program=rest,
        proof=proofs[0],
        certain=proofs[1],
        asked=text.passes[asked].number,
        resumed=text.passes[begin].number,
        line=text.passes[begin].join,
        notes=tuple(_notes(job, text.passes[begin])),
    )


# -- the written text ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Pass:
    """One pass of a written program.

    Attributes:
        number: (cut, pass).
        line: of its comment, from 1.
        join: line of its first move down from the height of rapids; of a pass that is not lifted, `line`.
        lifted: it begins at the height of rapids.
        halted: the machine stood still between the pass before it and `join`.
        begin: line from which on a stop is taken to be in this pass.
    """

    number: Number
    line: int
    join: int
    lifted: bool
    halted: bool
    begin: int


class _Text:
    """A written program as lines, moves and passes."""

    def __init__(self, written: Sequence[Program], index: int, *, zero_z: float, safe: float) -> None:
        self.written, self.index = written, index
        self.program = written[index]
        self.lines = self.program.text.splitlines()
        self.motion = read_program(self.program.text)
        self.passes = _passes(self.motion, safe - zero_z)
        if not self.passes:
            raise InternalError(f"program {self.program.name} has no numbered passes: please report this job")

    def state(self, line: int) -> dict[str, Any]:
        """Return the modal state before a line."""
        return read_program("\n".join(self.lines[: line - 1])).state

    def words(self, number: Number) -> str:
        """Return a pass as its comment names it."""
        return "PASS {}.{}".format(*number)

    def asked(self, at: Any) -> tuple[int, int]:
        """Return the index of the pass that was asked for, and the last line taken as cut before it broke off."""
        if isinstance(at, int | np.integer) and not isinstance(at, bool):
            return self._by_line(int(at)), int(at) - 1
        wanted = self._number(at)
        numbers = [p.number for p in self.passes]
        if wanted not in numbers:
            raise ArgumentError(f"{self.words(wanted)} {self._elsewhere(wanted)}")
        k = numbers.index(wanted)
        return k, self.passes[k].line - 1

    def _number(self, at: Any) -> Number:
        if isinstance(at, str) and (found := _ASKED.match(at)):
            return int(found[1]), int(found[2])
        whole = isinstance(at, Sequence) and not isinstance(at, str) and len(at) == 2
        if whole and all(isinstance(v, int | np.integer) and not isinstance(v, bool) for v in at):
            return int(at[0]), int(at[1])
        raise ArgumentError(
            f"at={at!r} must be a line of the program, such as 240, or a pass as its comments number them, such as "
            f"'{self.words(self.passes[-1].number)}' or {self.passes[-1].number}"
        )

    def _elsewhere(self, wanted: Number) -> str:
        """Return why a pass is not here, and which are near."""
        first, last = self.passes[0].number, self.passes[-1].number
        span = self.words(first) if first == last else f"{self.words(first)} to {last[0]}.{last[1]}"
        for k, other in enumerate(self.written):
            if k != self.index and re.search(rf"^\({self.words(wanted)} \w+, level", other.text, re.MULTILINE):
                return f"is in program {k}, {other.name}; program {self.index}, {self.program.name}, has {span}"
        place = bisect.bisect([p.number for p in self.passes], wanted)
        near = " and ".join(self.words(p.number) for p in self.passes[max(place - 1, 0) : place + 1])
        return f"is not in {self.program.name}, which has {span}: the nearest there are {near}"

    def _by_line(self, line: int) -> int:
        first = self.passes[0]
        if line < first.line:
            raise ArgumentError(
                f"line {line} of {self.program.name} lies before its first pass, {self.words(first.number)} in line "
                f"{first.line}: nothing was cut yet, so run the whole program, or give at='{self.words(first.number)}'"
            )
        if line > len(self.lines):
            last = self.passes[-1]
            raise ArgumentError(
                f"line {line} lies behind the end of {self.program.name}, which has {len(self.lines)} lines: its last "
                f"pass is {self.words(last.number)} in line {last.line}"
            )
        return bisect.bisect([p.begin for p in self.passes], line) - 1

    def begin(self, asked: int) -> int:
        """Return the index of the pass at which the program is to begin again.

        That is the one before, unless the machine stood still between them; then back to where a chain was begun from
        above. A trailing knife's blade stands as its last cut left it, which nothing tells, so it begins anew.
        """
        k = asked
        if k and not self.passes[k].halted:
            k -= 1
        while k and not self.passes[k].lifted:
            k -= 1
        if any(isinstance(t, TrailingKnife) for t in self.program.tools.values()):
            while k and not self.passes[k].halted:
                k -= 1
        return k


def _passes(motion: Motion, safe: float) -> list[_Pass]:
    """Return the passes of a program in order; `safe` = height of rapids in its own coordinates, mm."""
    halts = [e.line for e in motion.events if e.kind in ("stop", "tool")]
    passes: list[_Pass] = []
    cut = count = 0
    for event in motion.events:
        if event.kind != "comment":
            continue
        # an operator's own message may read like one of these, so both must come in their order
        if (named := _CUT.match(event.text)) and (not count or int(named[1]) == cut + 1):
            cut, count = int(named[1]), 0
        found = _PASS.match(event.text)
        if not found or (int(found[1]), int(found[2])) != (cut, count + 1):
            continue
        count += 1
        join, lifted = _join(motion, event.index, event.line, safe)
        mark = passes[-1].join if passes else join
        between = halts[bisect.bisect(halts, mark) : bisect.bisect(halts, join)]
        begin = min([event.line, *between])
        passes.append(
            _Pass(
                number=(cut, count),
                line=event.line,
                join=join,
                lifted=lifted,
                halted=bool(between) or not passes,
                begin=begin,
            )
        )
    return passes


def _join(motion: Motion, index: int, line: int, safe: float) -> tuple[int, bool]:
    """Return the line of the first move down or in feed from move `index` on, and whether it begins up there."""
    moves = motion.moves
    before, after = moves.start[index:, 2], moves.end[index:, 2]
    if len(before) and before[0] < safe - ROUNDING:
        return line, False
    known = ~np.isnan(after) & ~moves.machine[index:]
    down = known & (np.isnan(before) | (after < before - NOISE))
    first = np.flatnonzero(down | (moves.kind[index:] != RAPID))
    if not len(first):
        raise InternalError(f"the pass in line {line} moves nowhere: please report this job")
    return int(moves.line[index + int(first[0])]), True


# -- the rest of it --------------------------------------------------------------------------------------------------


def _setting(job: Job, header: tuple[str, ...]) -> Setting:
    return setting_for(job.cuts, **job._told(header))


def _index(written: Sequence[Program], program: Any, name: str) -> int:
    """Return which program is meant."""
    listed = ", ".join(f"{k} {p.name}" for k, p in enumerate(written))
    if isinstance(program, Program):
        for k, p in enumerate(written):
            if p.text == program.text:
                return k
        raise ArgumentError(
            f"program {program.name!r} is not one of job {name!r} as it is now: give one of {listed}, and accept= as "
            "it was written with"
        )
    if isinstance(program, bool) or not isinstance(program, int | np.integer):
        raise ArgumentError(f"program={program!r} must be a Program of the job or its index: {listed}")
    if not 0 <= program < len(written):
        raise ArgumentError(f"program={program} is not in job {name!r}, which has {listed}")
    return int(program)


def _faced(cuts: Sequence[Cut]) -> float:
    return max((c.face_depth for c in cuts), default=0.0)


def _rest(job: Job, header: tuple[str, ...], text: _Text, *, asked: int, begin: int) -> Program:
    """Return the rest of a program: its own beginning, then the written lines from the join on."""
    first, wanted = text.passes[begin], text.passes[asked]
    state = text.state(first.join)
    words = (
        *header,
        f"RESTART of program {text.index + 1} at {text.words(first.number)}, line {first.join}",
        f"Asked for was {text.words(wanted.number)}, line {wanted.line}",
        "The tool must be set again, and X Y Z zero checked, first",
        *(n.text for n in _notes(job, first)),
    )
    setting = _setting(job, words)
    count = first.number[0] - 1
    last = text.passes[-1].number[0]
    cuts, before = job.tool_cuts[count:last], job.tool_cuts[:count]
    start = _start(setting, text, cuts, begin=begin, state=state, faced=_faced(before))
    own = "".join(f"{line}\n" for line in start)
    if setting.machine.dialect.line_numbers:
        own = numbered(own)
    _check_state(read_program(own).state, state)
    tools = {setting.numbers[c.tool]: c.tool for c in cuts}
    name = f"{setting.name[:30]}-{text.index + 1}-restart-{first.number[0]}-{first.number[1]}"
    return Program(
        name=file_name(name),
        text=own + "".join(f"{line}\n" for line in text.lines[first.join - 1 :]),
        tools=tools,
        cuts=tuple(c.name for c in cuts),
        message=f"Check the zero of X, Y and Z. {please(setting, cuts, faced=_faced(before))}",
    )


def _start(
    setting: Setting, text: _Text, cuts: Sequence[Cut], *, begin: int, state: Mapping[str, Any], faced: float
) -> list[str]:
    """Return the lines down to the join: header, modes, M5, tool, stop, Z up, X and Y, spindle, dwell, coolant."""
    machine, first = setting.machine, text.passes[begin]
    dialect, cut = machine.dialect, cuts[0]
    automatic, by_hand = machine.tool_change == "automatic", machine.spindle == "hand"
    modes = _modes(state)
    x, y, z = state["position"]
    level = f"G0 X{number(x, dialect)} Y{number(y, dialect)}"
    up = "G53 G0 Z0" if machine.homed else f"G0 Z{number(setting.safe - setting.stock.zero_z, dialect)}"
    lines = opening(setting, cuts, program=text.index + 1, of=len(text.written), before=(), faced=faced)
    stop = by_hand or not cut.tool.spins
    lines += [*modes, "M5", *(dwell(machine.spin_down) if stop or automatic else [])]
    lines += [] if automatic else [f"T{state['T']}"]
    if stop:
        lines += [*setting.comments(stop_words(setting, cut)), "M0", *modes]
    if automatic:
        lines += [up] if machine.homed else []
        lines += [f"T{state['tool']} M6", *str(state["length"]).splitlines()]
    of_cut, of_pass = _comments(text, first)
    lines += [*of_cut, up, *of_pass, level]
    if state["spindle"] != "M5":
        speed = f"{state['S']:.0f}"
        if by_hand:
            lines += setting.comments([f"Plug in and switch the spindle on, {speed} rpm"])
            lines += ["M0", *modes, up, level]
        lines += [f"S{speed} {state['spindle']}", *dwell(machine.spin_up)]
    lines += str(state["coolant"]).split() if state["coolant"] != "M9" else []
    if machine.homed and not math.isnan(z):
        lines.append(f"G0 Z{number(z, dialect)}")
    if state["F"] > 0:
        lines.append(f"F{state['F'] / dialect.unit:.{0 if dialect.units == 'mm' else 1}f}")
    return lines


def _modes(state: Mapping[str, Any]) -> list[str]:
    """Return the lines that state the modes as they were read."""
    plane = f"{state['plane']} {state['distance']} {state['feed mode']} G40 G80"
    return [m for m in (state["units"], plane, state["offset"], state["path"]) if m is not None]


def _comments(text: _Text, first: _Pass) -> tuple[list[str], list[str]]:
    """Return the comment lines of the cut and of the pass, as written; that of the pass may be wrapped."""
    lines, row = text.lines, first.line - 1
    named = [lines[row]]
    while (
        lines[row + len(named)].startswith("(")
        and len(named) < 3
        and not lines[row + len(named) - 1].endswith(("mm deep)", "mm pressed in)"))
    ):
        named.append(lines[row + len(named)])
    of_cut = (k for k in range(row, -1, -1) if lines[k].startswith(f"(CUT {first.number[0]} "))
    return [lines[k] for k in list(of_cut)[:1]], named


def _check_state(own: Mapping[str, Any], wanted: Mapping[str, Any]) -> None:
    """Raise unless the rest begins in the very state in which the whole program was at that line."""
    for name, value in wanted.items():
        if name == "position":
            same = np.allclose(own[name], value, rtol=0, atol=NOISE, equal_nan=True)
        else:
            same = own[name] == value
        if not same:
            raise InternalError(
                f"the restart would go on with {name} {own[name]} instead of {value}: please report this job"
            )


def _notes(job: Job, first: _Pass) -> list[Finding]:
    """Return what the operator should know of a restart at this pass."""
    notes = []
    cut = job.tool_cuts[first.number[0] - 1]
    if isinstance(cut.tool, TrailingKnife):
        notes.append(
            finding("restart-knife", "Begins anew, since the way the blade points is not known", line=first.join)
        )
    if cut.face_depth:
        notes.append(finding("restart-faced", "The face is partly cut, set Z where it is still uncut", line=first.join))
    return notes


# -- its proof ---------------------------------------------------------------------------------------------------------


def _proved(
    job: Job,
    texts: Sequence[str],
    index: int,
    rest: str,
    line: int,
    whole: Proof,
    grid: float | None,
    stock_after: HeightMap | None,
) -> Proof:
    """Prove the job with program `index` broken off after `line` and its rest run then."""
    broken = _broken_off(texts[index], line, job)
    chain = [*texts[:index], *([broken] if broken else []), rest, *texts[index + 1 :]]
    proof = job._proof_of(tuple(chain), grid=grid, stock_after=stock_after, own=True)
    place = index + 1 + bool(broken)
    found = [dataclasses.replace(f, program=_renamed(f.program, place)) for f in proof.findings]
    cuts = [
        dataclasses.replace(c, lines=tuple((_renamed(p, place) or p, a, b) for p, a, b in c.lines)) for c in proof.cuts
    ]
    off = float(np.abs(proof.height.array - whole.height.array).max())
    if off > SAME:
        found.append(
            finding("restart-differs", f"The part differs by {off:.3f} mm from that of the whole job.", amount=off)
        )
    return dataclasses.replace(proof, findings=tuple(found), cuts=tuple(cuts))


def _broken_off(text: str, line: int, job: Job) -> str:
    """Return a program that stopped after `line`, its tool lifted out by hand; "" where it has not moved by then."""
    lines = text.splitlines()[:line]
    motion = read_program("\n".join(lines))
    if not len(motion.moves):
        return ""
    dialect, height = job.machine.dialect, job.clearance - job.stock.zero_z
    up = [] if math.isnan(motion.state["position"][2]) else [f"G0 Z{number(height, dialect)}"]
    return "\n".join([*lines, *up, "M5", "M9", *dwell(job.machine.spin_down), dialect.end]) + "\n"


def _renamed(number: str | None, place: int) -> str | None:
    """Return the number a program of the chain has in the job, or "restart"; `place` = that of the rest, from 1."""
    if number is None or not number.isdigit() or int(number) < place:
        return number
    return "restart" if int(number) == place else str(int(number) - 1)
