"""`programs`: cuts in order to RS-274 texts, one file per tool unless the machine can do better.

The shape of every program: comments (size, zero and tool in words), modes, M5, a stop where the operator must act,
Z alone up to the safe height, X and Y, spindle and dwell, down, cut … up, M5, M9, dwell, end. A rapid moves Z alone
or X and Y alone, never both, and X and Y only at the safe height.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from pathgen.errors import ArgumentError, positive
from pathgen.model.cut import Cut, Stop
from pathgen.model.holding import KeepOut
from pathgen.model.machine import Machine
from pathgen.model.path import Pass
from pathgen.model.program import Program
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, DiamondPoint, Tool
from pathgen.program.dialect import modes
from pathgen.program.header import Setting, dwell, opening, please, stop_words, zero_words
from pathgen.program.link import Chain, chains, number_tools
from pathgen.program.script import Script
from pathgen.program.words import clean, file_name

APPROACH = 1.0
"""How far above the stock's top rapids end and feeds begin, mm. Common practice, no source: less meets stock that
is thicker than stated, more is time in the air."""

OVER_KEEP_OUTS = 5.0
"""How far above the highest keep-out rapids pass, mm. Common practice, no source."""

_COOLANT = {"none": [], "air": ["M7"], "mist": ["M7"], "flood": ["M8"]}


def programs(
    cuts: Iterable[Cut | Stop],
    *,
    name: str,
    stock: Stock,
    machine: Machine,
    clearance: float,
    keep_out: Sequence[KeepOut] = (),
    touch_off: tuple[float, float] | None = None,
    size: tuple[float, float] | None = None,
    header: Sequence[str] = (),
    unproved: bool = False,
    back: bool = False,
) -> tuple[Program, ...]:
    """Return the RS-274 programs that run `cuts` in the order given (see `pathgen.program.link.arrange`).

    A new file begins at every stop and tool change, unless the machine changes tools by itself, or its Z may be set
    anew at a stop inside a program. Spinning and dragging tools never share a file. Words follow NISTIR 6556.

    Args:
        cuts: cuts, and stops where the operator acts.
        name: the job's name.
        stock: the slab; its zero is where the programs have X0 Y0 Z0.
        machine: its limits and dialect.
        clearance: height of rapids above the face, mm; raised to 5 mm above the highest keep-out.
        keep_out: what stands on the table.
        touch_off: (x, y) where tools are set, stock coordinates; None = not stated.
        size: finished (width, height), mm.
        header: lines to be printed below the size (accepted findings).
        unproved: write NOT PROVED in line 1 and stop before the first motion.
        back: the back of the stock lies up, and is what words call the face.

    Raises:
        ArgumentError: for no cuts, a clearance within 1 mm of the stock's top, a speed the machine or the tool does not
            have, a dragging tool that would spin, two tools with one number, or coordinates too large to write.
    """
    listed = tuple(cuts)
    setting = setting_for(
        listed,
        name=name,
        stock=stock,
        machine=machine,
        clearance=clearance,
        keep_out=keep_out,
        touch_off=touch_off,
        size=size,
        header=header,
        unproved=unproved,
        back=back,
    )
    files = _files(listed, machine)
    return tuple(_Writer(setting, file, k, len(files)).program() for k, file in enumerate(files, 1))


def setting_for(
    listed: Sequence[Cut | Stop],
    *,
    name: str,
    stock: Stock,
    machine: Machine,
    clearance: float,
    keep_out: Sequence[KeepOut] = (),
    touch_off: tuple[float, float] | None = None,
    size: tuple[float, float] | None = None,
    header: Sequence[str] = (),
    unproved: bool = False,
    back: bool = False,
) -> Setting:
    """Return what all programs of `listed` have in common; arguments and errors as in `programs`."""
    if not any(isinstance(c, Cut) for c in listed):
        raise ArgumentError("there is nothing to write: give at least one cut")
    safe, approach = _heights(stock, clearance, keep_out)
    for cut in listed:
        if isinstance(cut, Cut):
            _check_speed(cut, machine)
    return Setting(
        name=clean(name),
        stock=stock,
        machine=machine,
        safe=safe,
        approach=approach,
        numbers=number_tools(listed),
        touch_off=touch_off,
        size=size,
        header=tuple(header),
        unproved=unproved,
        back=back,
    )


def _heights(stock: Stock, clearance: float, keep_out: Sequence[KeepOut]) -> tuple[float, float]:
    """Return the heights of rapids and of the approach, mm above the face."""
    top = stock.highest
    positive("clearance", clearance)
    safe = max([float(clearance), *(k.height + OVER_KEEP_OUTS for k in keep_out)])
    if safe < top + APPROACH:
        raise ArgumentError(
            f"clearance={clearance:g} is less than {APPROACH:g} mm above the stock's top at {top:g} mm (film, "
            f"unevenness and measured heights included): give at least {top + APPROACH:g}"
        )
    return safe, top + APPROACH


def _check_speed(cut: Cut, machine: Machine) -> None:
    """Raise `ArgumentError` for a spindle speed that must not or cannot be."""
    tool, rpm = cut.tool, cut.cutting.rpm
    if not tool.spins:
        if rpm != 0:
            raise ArgumentError(f"{cut.name}: {tool.describe()} must never spin, but rpm={rpm:g}: give rpm=0")
        return
    if not math.isfinite(rpm) or rpm <= 0:
        raise ArgumentError(f"{cut.name}: rpm={rpm:g} for {tool.describe()}, which cuts by spinning: give its speed")
    for whose, limit in (("the machine", machine.max_rpm), (tool.describe(), tool.max_rpm)):
        if limit is not None and rpm > limit:
            raise ArgumentError(
                f"{cut.name}: rpm={rpm:g} is more than the {limit:g} of {whose}: lower rpm, and feed in proportion"
            )
    if rpm < machine.min_rpm:
        raise ArgumentError(
            f"{cut.name}: rpm={rpm:g} is less than the machine's lowest, {machine.min_rpm:g}: raise rpm, and feed in "
            "proportion"
        )


@dataclass(eq=False, kw_only=True)
class _File:
    """What goes into one file.

    Attributes:
        before: messages of the stops ahead of it.
        cuts: (messages of the stops inside the file ahead of it, number in the job, cut).
        faced: how far the face was lowered by earlier files, mm.
        after: messages of stops at its end.
    """

    before: list[str]
    faced: float
    cuts: list[tuple[list[str], int, Cut]] = field(default_factory=list)
    after: list[str] = field(default_factory=list)


def _files(listed: Sequence[Cut | Stop], machine: Machine) -> list[_File]:
    """Split the cuts into files: see `programs`."""
    files: list[_File] = []
    messages: list[str] = []
    stopped, faced, last = False, 0.0, None
    inside = machine.dialect.zero_again_at_stop
    for item in listed:
        if isinstance(item, Stop):
            messages.append(item.message)
            stopped = True
            continue
        other = last is not None and item.tool != last
        fresh = last is None or item.tool.spins != last.spins
        fresh |= stopped and not inside
        fresh |= other and machine.tool_change == "manual" and not inside
        if fresh:
            files.append(_File(before=messages, faced=faced))
            messages = []
        number = 1 + sum(len(f.cuts) for f in files)
        files[-1].cuts.append((messages, number, item))
        messages, stopped, last = [], False, item.tool
        faced = max(faced, item.face_depth)
    files[-1].after = messages
    return files


class _Writer:
    """One file being written."""

    def __init__(self, setting: Setting, file: _File, index: int, of: int) -> None:
        self.setting, self.file, self.index, self.of = setting, file, index, of
        self.machine = setting.machine
        self.script = Script(machine=self.machine, zero=setting.zero)
        self.tool: Tool | None = None
        self.running: tuple[float, str] | None = None
        self.fresh = True

    def program(self) -> Program:
        """Return the finished program."""
        setting, file = self.setting, self.file
        only = [cut for _, _, cut in file.cuts]
        self._open(only)
        faced = file.faced
        for messages, number, cut in file.cuts:
            self._change(cut, messages, faced)
            self._cut(cut, number)
            faced = max(faced, cut.face_depth)
        self._close()
        tools = {setting.numbers[c.tool]: c.tool for c in only}
        kind = only[0].tool.kind if len(tools) == 1 else "tools"
        message = " ".join(
            [*(m.strip().rstrip(".") + "." for m in file.before if m.strip()), please(setting, only, faced=file.faced)]
        )
        return Program(
            name=file_name(f"{setting.name[:36]}-{self.index}-{kind}"),
            text=numbered(self.script.text()) if self.machine.dialect.line_numbers else self.script.text(),
            tools=tools,
            cuts=tuple(c.name for c in only),
            message=message,
        )

    def _open(self, cuts: Sequence[Cut]) -> None:
        """Write everything down to the first motion."""
        setting, machine, first = self.setting, self.machine, cuts[0]
        say = self.script.say
        say(opening(setting, cuts, program=self.index, of=self.of, before=self.file.before, faced=self.file.faced))
        say(modes(machine.dialect))
        automatic = machine.tool_change == "automatic"
        stop = setting.unproved or machine.spindle == "hand" or not first.tool.spins
        say(["M5", *(dwell(machine.spin_down) if stop or automatic else [])])
        if not automatic:
            say([f"T{setting.numbers[first.tool]}"])
        if stop:
            words = ["Not proved, watch every move with a hand on the stop"] if setting.unproved else []
            say([*setting.comments(words + stop_words(setting, first)), "M0", *modes(machine.dialect)])

    def _change(self, cut: Cut, messages: Sequence[str], faced: float) -> None:
        """Stop and change tools where needed, and be up and stopped, or running on, when it returns."""
        setting, machine, say = self.setting, self.machine, self.script.say
        other, started = cut.tool != self.tool, self.tool is not None
        automatic = machine.tool_change == "automatic"
        if started and (other or messages):
            self._up()
            self._spindle_off()
            if messages or not automatic:
                words = stop_words(setting, cut, messages=messages, change=other and not automatic)
                if other and not automatic:
                    words += zero_words(setting, mirrored=cut.bounds.mirrored, faced=faced)
                    say([f"T{setting.numbers[cut.tool]}"])
                say([*setting.comments(words), "M0"])
            self.fresh = True
        if other and automatic:
            if not started and machine.homed:
                say(["G53 G0 Z0"])
            say([f"T{setting.numbers[cut.tool]} M6", f"G43 H{setting.numbers[cut.tool]}"])
        if started and self.fresh:
            say(modes(machine.dialect))
        self.tool = cut.tool

    def _up(self, *, over: tuple[float, float] = (0.0, 0.0)) -> None:
        """Move Z alone to where X and Y may move."""
        if self.machine.homed and (self.fresh or self.script.at is None):
            self.script.say(["G53 G0 Z0"])
            self.script.unknown_z(over=over)
        else:
            self.script.rapid_z(self.setting.safe, over=over, fresh=self.fresh)

    def _spindle_off(self) -> None:
        """Write spindle and coolant off, and wait until it stands."""
        assert self.tool is not None
        wait = dwell(self.machine.spin_down) if self.tool.spins else []
        self.script.say(["M5", "M9", *wait])
        self.running = None

    def _start(self, cut: Cut) -> None:
        """Bring the spindle to speed and the coolant on, where they are not."""
        wanted = (cut.cutting.rpm, cut.cutting.cooling)
        if self.running == wanted:
            return
        say, was = self.script.say, self.running
        if cut.tool.spins and (was is None or was[0] != wanted[0]):
            speed = f"{cut.cutting.rpm:.0f}"
            if self.machine.spindle == "hand":
                say([*self.setting.comments([f"Plug in and switch the spindle on, {speed} rpm"]), "M0"])
                say(modes(self.machine.dialect))
                self._again()
            say([f"S{speed} M3", *dwell(self.machine.spin_up)])
        if was is not None and was[1] != wanted[1]:
            say(["M9"])
        if was is None or was[1] != wanted[1]:
            say(_COOLANT[wanted[1]])
        self.running = wanted

    def _again(self) -> None:
        """State the position again after a stop at which nothing moved."""
        assert self.script.at is not None
        over = (float(self.script.at[0]), float(self.script.at[1]))
        self.fresh = True
        self._up(over=over)
        self.script.rapid_xy(*over, fresh=True)

    def _cut(self, cut: Cut, number: int) -> None:
        """Write all chains of one cut, each from the safe height to the safe height."""
        script, setting = self.script, self.setting
        script.say([setting.comment(f"CUT {number} {clean(cut.name)}")])
        at = setting.stock.zero_xy if script.at is None else (float(script.at[0]), float(script.at[1]))
        for k, chain in enumerate(chains(cut, at=at), 1):
            start = chain.start
            over = (float(start[0]), float(start[1]))
            joined = k > 1 and script.at is not None and bool((np.abs(script.at - start) <= 1.5e-6).all())
            if not joined:
                self._up(over=over)
            script.say(setting.comments([f"PASS {number}.{k} {_pass_words(chain, cut.tool)}"]))
            if not joined:
                script.rapid_xy(*over, fresh=self.fresh)
                self._start(cut)
                self._down(cut.cutting, float(start[2]), over)
            for item in chain.passes:
                if item.role == "lift":
                    for z in item.path.points[1:, 2].tolist():
                        script.rapid_z(z, over=over)
                    continue
                script.feed(item.path.points[1:], _feed(item, cut.cutting), cut.cutting.plunge)
        if script.at is not None:
            self._up()

    def _down(self, cutting: Cutting, z: float, over: tuple[float, float]) -> None:
        """Come down: rapid to just above the stock, then feed at the plunge."""
        approach = max(self.setting.approach, z)
        self.script.rapid_z(approach, over=over)
        self.fresh = False
        if z < approach:
            self.script.feed(np.array([[*over, z, 0.0]]), cutting.plunge, cutting.plunge)

    def _close(self) -> None:
        """Write retract, spindle and coolant off, dwell, park, end."""
        setting, machine, say = self.setting, self.machine, self.script.say
        if machine.homed:
            say(["G53 G0 Z0"])
        self._spindle_off()
        if machine.park is not None:
            self.script.unknown_z(over=machine.park)
            self.script.rapid_xy(*machine.park, fresh=True)
        if machine.spindle == "hand" and self.tool is not None and self.tool.spins:
            say(setting.comments(["Switch the spindle off by hand and unplug it"]))
        say(setting.comments(self.file.after))
        say([machine.dialect.end])


def _feed(item: Pass, cutting: Cutting) -> float:
    """Return the highest feed of a pass by its role, mm/min; inf where only the machine limits it."""
    if item.role == "link":
        return math.inf
    factor = cutting.retrace if item.role == "retrace" else 1.0
    return cutting.feed * factor * item.feed_factor


def _pass_words(chain: Chain, tool: Tool) -> str:
    """Return what a chain does, for its comment.

    The depth is the deepest of its ends: arcs and lines never go below them. Of a sprung point it is no depth, but how
    far the spring is pressed in.
    """
    deepest = -min(float(p.path.points[:, 2].min()) for p in chain.passes)
    role = next((p.role for p in chain.passes if p.role in ("finish", "cut")), chain.passes[0].role)
    how = "pressed in" if isinstance(tool, DiamondPoint) else "deep"
    return f"{role}, level {chain.level + 1}, {max(deepest, 0.0):.2f} mm {how}"


def numbered(text: str) -> str:
    """Return the text with an N word before every line that is not a comment alone, 10 to 99990, then from 10 again."""
    lines, n = [], 0
    for line in text.splitlines():
        if line.startswith("("):
            lines.append(line)
        else:
            n = n + 10 if n < 99_990 else 10
            lines.append(f"N{n} {line}")
    return "\n".join(lines) + "\n"
