"""What a program says in words: size, zero, tool, what to do at a stop. Every line passes the filter of `words`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pathgen.model.cut import Cut
from pathgen.model.machine import Machine
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool
from pathgen.program.dialect import number, seconds
from pathgen.program.words import LONGEST, clean, comments
from pathgen.units import MM_PER_INCH


@dataclass(frozen=True, eq=False, kw_only=True)
class Setting:
    """What all programs of a job have in common.

    Attributes:
        name: the job's.
        stock: the slab.
        machine: its limits and dialect.
        safe: height of rapids, mm above the face.
        approach: height from which tools feed down, mm above the face.
        numbers: T number of every tool.
        touch_off: (x, y) where tools are set, stock coordinates, or None.
        size: finished (width, height), mm, or None.
        header: the caller's own first lines.
        unproved: the programs were not proved.
        back: the back of the stock lies up.
    """

    name: str
    stock: Stock
    machine: Machine
    safe: float
    approach: float
    numbers: dict[Tool, int]
    touch_off: tuple[float, float] | None = None
    size: tuple[float, float] | None = None
    header: tuple[str, ...] = ()
    unproved: bool = False
    back: bool = False

    @property
    def zero(self) -> tuple[float, float, float]:
        """The work zero in stock coordinates, mm."""
        return (*self.stock.zero_xy, self.stock.zero_z)

    @property
    def room(self) -> int:
        """Characters of a comment, parentheses included, that fit the dialect."""
        return min(LONGEST, self.machine.dialect.max_line)

    def comments(self, texts: Iterable[str]) -> list[str]:
        """Return comment lines that fit the dialect, long texts broken between words."""
        return comments(texts, longest=self.room)

    def comment(self, text: str) -> str:
        """Return one comment line, cut off where the dialect's line ends."""
        return f"({clean(text, longest=self.room - 2)})"


def size_words(what: str, width: float, height: float) -> str:
    """Return a size in mm and inches.

    >>> size_words("Finished size", 280, 120)
    'Finished size 280.00 x 120.00 mm, 11.024 x 4.724 inch'
    """
    inches = f"{width / MM_PER_INCH:.3f} x {height / MM_PER_INCH:.3f} inch"
    return f"{what} {width:.2f} x {height:.2f} mm, {inches}"


def zero_words(setting: Setting, *, mirrored: bool, faced: float) -> list[str]:
    """Return where the work zero is: corner, face, and the spot where tools are set.

    A faced plane keeps the job's zero: it is not Z0 but minus what was faced, and tools are set to that number there.
    """
    stock, dialect = setting.stock, setting.machine.dialect
    face = "back face, which lies up" if mirrored or setting.back else "top face"
    if stock.zero == "lower-left":
        corner = "the lower left corner of the stock"
    elif stock.zero == "center":
        corner = "the center of the stock"
    else:
        x, y = stock.zero_xy
        corner = f"{x:.3f} mm right, {y:.3f} mm up from the lower left corner"
    lines = [f"X0 Y0 is {corner}"]
    spot = ""
    if setting.touch_off is not None:
        zx, zy = stock.zero_xy
        spot = " at X" + number(setting.touch_off[0] - zx, dialect) + " Y" + number(setting.touch_off[1] - zy, dialect)
    if stock.zero_height == "table":
        lines.append(f"Z0 is the table under the stock, {face.split(',')[0]} up")
    elif faced > 0:
        lines.append(f"Z0 is where the {face} was before facing")
        lines.append(f"Set Z{number(-faced - stock.zero_z, dialect)} on the faced plane{spot}")
    else:
        film = f" on its film of {stock.film:g} mm" if stock.zero_on_film and stock.film else ""
        lines.append(f"Z0 is the {face}{film}, set{spot or ' there'}")
    return lines


def tool_words(setting: Setting, cut: Cut) -> str:
    """Return the tool and its speed.

    The length below the holder is named where it is known, since it decides what may collide.
    """
    tool = cut.tool
    text = f"Tool T{setting.numbers[tool]} {tool.describe()}"
    if tool.stick_out is not None:
        text += f", stick-out {tool.stick_out:g} mm"
    return text + (f", {cut.cutting.rpm:.0f} rpm" if tool.spins else ", must not spin")


def opening(
    setting: Setting, cuts: Sequence[Cut], *, program: int, of: int, before: Sequence[str], faced: float
) -> list[str]:
    """Return a program's first lines: NOT PROVED, size, the caller's lines, then stock, zero and tools in words."""
    stock = setting.stock
    first = ["NOT PROVED"] if setting.unproved else []
    if setting.size is not None:
        first.append(size_words("Finished size", *setting.size))
    first += setting.header
    first.append(f"{setting.name}, program {program} of {of}")
    first.append(size_words("Stock", stock.width, stock.height))
    first.append(f"{stock.material}, {stock.thickness:g} mm thick, {stock.thickness / MM_PER_INCH:.3f} inch")
    if stock.heights is not None:
        first.append(f"For one board only, its top measured at {len(stock.heights)} points")
    first += before
    first += zero_words(setting, mirrored=any(c.bounds.mirrored for c in cuts), faced=faced)
    seen: dict[Tool, Cut] = {}
    for cut in cuts:
        seen.setdefault(cut.tool, cut)
    first += [tool_words(setting, cut) for cut in seen.values()]
    return setting.comments(first)


def stop_words(setting: Setting, cut: Cut, *, messages: Sequence[str] = (), change: bool = False) -> list[str]:
    """Return what to do at a stop before `cut`: the operator's own words, unplugging, the tool to put in."""
    words = list(messages)
    if not cut.tool.spins:
        words.append(f"Spindle off and unplugged, the {cut.tool.kind} must never spin")
    elif setting.machine.spindle == "hand":
        words.append("Switch the spindle off and unplug it before touching the tool")
    if change:
        words += ["Put in the next tool and set Z again", tool_words(setting, cut)]
    return words


def please(setting: Setting, cuts: Sequence[Cut], *, faced: float) -> str:
    """Return what to do before a program of these cuts is started; `faced` = how far the face was lowered, mm."""
    cut = cuts[0]
    up = "back" if setting.back or cut.bounds.mirrored else "top"
    face = f"the {up} face" if setting.stock.zero_height == "top" else "the table"
    if setting.machine.tool_change == "automatic":
        tools = dict.fromkeys(c.tool for c in cuts)
        listed = ", ".join(f"T{setting.numbers[t]} {t.describe()}" for t in tools)
        return f"Load {listed}, measure their lengths into H of the same numbers, and set Z with zero on {face}."
    where = "on the faced plane" if faced and setting.stock.zero_height == "top" else ""
    words = f"Put in T{setting.numbers[cut.tool]}, {cut.tool.describe()}, and set Z {where or f'with zero on {face}'}."
    if where:
        words = words[:-1] + f" to {-faced - setting.stock.zero_z:g} mm."
    return words + (
        "" if cut.tool.spins else f" The spindle stays off and unplugged: the {cut.tool.kind} must never spin."
    )


def dwell(value: float) -> list[str]:
    """Return a dwell line, or none for no time."""
    return [f"G4 {seconds(value)}"] if value > 0 else []
