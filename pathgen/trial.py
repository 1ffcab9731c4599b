"""Trial pieces: small proven jobs that measure a tool, a machine or a fit, and what their readings mean.

Terminology
-----------
ladder
    the same thing several times with one number changed from step to step, each labelled by its number: the maker looks
    which step is right.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, box

from pathgen.artwork.stroke_text import stroke_text
from pathgen.cuts.knife import knife
from pathgen.cuts.model import check_stock, cutting_for
from pathgen.cuts.pocket import pocket
from pathgen.cuts.profile import Bridges, profile
from pathgen.cuts.scribe import SURE_CONTACT, scribe
from pathgen.errors import ArgumentError, one_of, positive
from pathgen.job import Job
from pathgen.model.cut import Cut
from pathgen.model.machine import Machine
from pathgen.model.stock import THROUGH, Stock
from pathgen.model.tool import DiamondPoint, EndMill, Tool, TrailingKnife, VBit
from pathgen.shape.offset import grown, opened
from pathgen.shape.shared import ERROR

Kind: TypeAlias = Literal["groove", "slot", "square", "line", "fit", "feed", "knife"]
KINDS: Final = ("groove", "slot", "square", "line", "fit", "feed", "knife")

LADDER = (0.0, 0.02, 0.04, 0.06, 0.08, 0.12)
"""Clearances of the fit ladder, mm on each side, from tight to loose. Common practice, no source."""

FEEDS = (0.5, 0.75, 1.0, 1.25, 1.5)
"""Feeds of the feed ladder, in feeds of the tool at full width. Common practice, no source."""

RUNGS = 6
"""Steps of the ladder of pressed lines. More: finer, longer to look at."""

SIDE = 20.0
"""Side of the ladder's square plug, mm: large enough to be turned by hand, small enough not to matter on the stock."""

MARK = 0.6
"""Depth of the tally marks beside each pocket, mm."""

SQUARE = 100.0
"""Side of the square that shows scale and squareness, mm. Larger: errors are read better; smaller: it fits more boards.
A caliper of 150 mm reaches its diagonals."""

PINWHEEL = 40.0
"""Side of the square of lines that shows a knife's trail, mm."""

LONG = 60.0
"""Length of trial lines and slots, mm: room to measure at three places away from the ends."""

SHORT = 20.0
"""Least length of trial lines and slots, mm."""

LETTER = 5.0
"""Height of the numbers beside trial lines, mm."""

EDGE = 5.0
"""Distance of everything from the stock's edge, mm."""

EXPECTED_WIDTH = 0.15
"""Width of a diamond's line until the trial has shown it, mm. Common practice, no source."""


def trial(
    kind: Kind,
    tool: Tool,
    *,
    stock: Stock,
    machine: Machine,
    depth: float | None = None,
    steps: Sequence[float] | None = None,
) -> Job:
    """Return a small job to be cut and measured.

    "groove": two grooves of different depth, numbered; their widths give a V bit's angle and the width of its tip.
    "slot": a slot along X and one along Y; their widths give the width that an end mill really cuts.
    "square": a square of 100 mm drawn as lines; sides and diagonals give scale and squareness. Any tool.
    "line": a ladder of lines drawn by a diamond point at rising spring travel, numbered.
    "fit": a ladder of square pockets from tight to loose, and one plug, all from one board. Beside each pocket stand as
    many marks as its number. The number of the pocket into which the plug goes as it should is the reading.
    "feed": a ladder of slots at rising feed, with as many marks as its number beside each; the fastest that still looks
    and sounds right is the reading.
    "knife": four shallow lines round a square, each ending on the next; how far they run past it gives the trail.

    Args:
        kind: one of the above.
        tool: the one to be measured, or (for "fit") an end mill that will cut both halves.
        stock: the board; its material should be that of the work.
        machine: the machine that will do the work.
        depth: of pockets, slots and lines, mm; None = a third of the stock for "fit", half the diameter (at most a
            third of the stock) for slots, 0.5 for a square, half the card for a knife. Not for "groove" and "line",
            whose depths are the steps.
        steps: "groove": two depths, mm; "line": spring travels, mm; "fit": clearances on each side, mm; "feed": feeds
            at full width, mm/min; all rising. None = those of `trial_steps`.

    Raises:
        ArgumentError: for an unknown kind, another tool, steps that do not rise, or a stock too small.

    >>> from pathgen.model.tool import Cutting
    >>> bit = VBit(60, diameter=12.7, cutting=Cutting(16000, 1500, 500, 5, 0.5))
    >>> board = Stock(120, 60, 18, material="hardwood")
    >>> router = Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
    >>> [cut.name for cut in trial("groove", bit, stock=board, machine=router, steps=(1, 4)).cuts]
    ['groove 1, 1 mm deep', 'groove 2, 4 mm deep', 'numbers']
    """
    one_of("kind", kind, KINDS)
    _check_tool(kind, tool)
    check_stock(stock, needed=True)
    if depth is not None:
        if kind in ("groove", "line"):
            raise ArgumentError(f"depth= is not for the trial {kind!r}: its depths are the steps")
        positive("depth", depth)
    if kind in ("slot", "square", "knife"):
        if steps is not None:
            raise ArgumentError(f"steps= is not for the trial {kind!r}: it has none")
        rungs: tuple[float, ...] = ()
    else:
        rungs = trial_steps(kind, tool, stock=stock) if steps is None else rising(kind, steps)
    if kind == "fit":
        assert isinstance(tool, EndMill)
        cuts = _ladder(tool, stock, stock.thickness / 3 if depth is None else depth, rungs)
    elif kind == "slot":
        cuts = _slots(tool, stock, depth)
    elif kind == "square":
        cuts = _square(tool, stock, depth)
    elif kind == "knife":
        assert isinstance(tool, TrailingKnife)
        cuts = _pinwheel(tool, stock, 0.5 * stock.thickness if depth is None else depth)
    elif kind == "feed":
        cuts = _feeds(tool, stock, machine, depth, rungs)
    elif kind == "line":
        cuts = _pressed(tool, stock, rungs)
    else:
        cuts = _grooves(tool, stock, rungs)
    return Job(f"Trial {kind}", stock, machine, cuts)


def trial_steps(kind: Kind, tool: Tool, *, stock: Stock) -> tuple[float, ...]:
    """Return the steps that `trial` takes by itself, for `trial_result`; arguments and errors as in `trial`."""
    one_of("kind", kind, KINDS)
    _check_tool(kind, tool)
    check_stock(stock, needed=True)
    if kind == "groove":
        assert isinstance(tool, VBit)
        deep = min(0.8 * tool.cone_height, 0.4 * stock.thickness)
        return (round(deep / 3.0, 2), round(deep, 2))
    if kind == "fit":
        return LADDER
    if kind == "feed":
        speeds = cutting_for(tool, None)
        return tuple(float(round(f)) for f in (speeds.feed * speeds.slot * share for share in FEEDS))
    if kind == "line":
        assert isinstance(tool, DiamondPoint)
        if tool.max_travel is None:
            raise ArgumentError("the ladder of lines needs to know how far the spring goes: give max_travel= or steps=")
        low, high = stock.unevenness + SURE_CONTACT, tool.max_travel - stock.unevenness
        if high <= low:
            raise ArgumentError(
                f"the face is uneven by {stock.unevenness:g} mm, which leaves a spring of {tool.max_travel:g} mm no "
                "room for a ladder: flatten the face"
            )
        return tuple(np.round(np.linspace(low, high, RUNGS), 3).tolist())
    raise ArgumentError(f"the trial {kind!r} has no steps")


def _check_tool(kind: str, tool: Tool) -> None:
    """Raise `ArgumentError` for a tool that the trial cannot measure."""
    needed: dict[str, tuple[type[Tool], str]] = {
        "groove": (VBit, "cuts no groove with slanted walls: take a V bit"),
        "slot": (EndMill, "cuts no upright walls: take an end mill"),
        "fit": (EndMill, "cuts no upright walls: take an end mill"),
        "line": (DiamondPoint, "is no sprung point: take a diamond point"),
        "knife": (TrailingKnife, "trails no blade: take a trailing knife"),
    }
    if not isinstance(tool, Tool):
        raise ArgumentError(f"trial: {tool!r} is no tool")
    if kind in needed and not isinstance(tool, needed[kind][0]):
        raise ArgumentError(f"trial {kind!r}: {tool.describe()} {needed[kind][1]}")
    if kind in ("square", "feed") and not (tool.spins or (kind == "square" and isinstance(tool, DiamondPoint))):
        raise ArgumentError(f"trial {kind!r}: {tool.describe()} cannot be led along lines: take a cutter that spins")


def rising(kind: str, steps: Sequence[float]) -> tuple[float, ...]:
    """Return steps, or raise `ArgumentError` unless they rise."""
    if isinstance(steps, str | bytes) or not isinstance(steps, Iterable):
        raise ArgumentError(f"steps={steps!r} must be a list of numbers that rise, such as (0.3, 0.5, 0.7)")
    found = tuple(positive("steps", s, zero=kind == "fit") for s in steps)
    if len(found) < 2 or any(b <= a for a, b in pairwise(found)) or (kind == "groove" and len(found) != 2):
        many = "two of them" if kind == "groove" else "two at least"
        raise ArgumentError(f"steps={tuple(steps)!r} must rise, {many}")
    return found


def _rungs(count: int, stock: Stock, *, pitch: float, room: float) -> tuple[list[LineString], float]:
    """Return level lines one above the other in the middle of the stock, and their length; `room` is left of them.

    Raises:
        ArgumentError: where the stock is too small for them.
    """
    length = min(LONG, stock.width - room - 2 * EDGE - pitch)
    high = count * pitch + 2 * EDGE
    if length < SHORT or high > stock.height:
        raise ArgumentError(
            f"the trial takes {room + SHORT + pitch + 2 * EDGE:.0f} x {high:.0f} mm, the stock is {stock.width:g} x "
            f"{stock.height:g} mm: take a larger one, or fewer steps="
        )
    left = 0.5 * (stock.width - room - length) + room
    heights = [0.5 * stock.height + (k - 0.5 * (count - 1)) * pitch for k in range(count)]
    return [LineString([(left, y), (left + length, y)]) for y in heights], length


def _numbers(rungs: Sequence[LineString], *, gap: float) -> MultiLineString:
    """Return the number of each line, left of it, `gap` mm away."""
    parts = []
    for k, line in enumerate(rungs, 1):
        number = stroke_text(str(k), height=LETTER)
        x, y = line.coords[0]
        shift = np.array([x - gap - number.bounds[2], y - 0.5 * LETTER])
        parts += [LineString(np.asarray(g.coords) + shift) for g in number.geoms]
    return MultiLineString(parts)


def _grooves(tool: Tool, stock: Stock, depths: tuple[float, ...]) -> tuple[Cut, ...]:
    """Return two grooves and their numbers."""
    widest = 2.0 * float(tool.radius_at(depths[-1]))
    rungs, _ = _rungs(2, stock, pitch=max(2.0 * widest + 4.0, 2.0 * LETTER), room=3.0 * LETTER + widest)
    cuts: list[Cut] = []
    for k, (line, d) in enumerate(zip(rungs, depths, strict=True), 1):
        cuts += profile(line, tool, side="along", depth=d, stock=stock, name=f"groove {k}, {d:g} mm deep")
    words = _numbers(rungs, gap=widest + 2.0)
    return (*cuts, *profile(words, tool, side="along", depth=min(0.3, depths[0]), stock=stock, name="numbers"))


def _slot_depth(tool: Tool, stock: Stock, depth: float | None) -> float:
    return min(0.5 * tool.diameter, stock.thickness / 3.0) if depth is None else depth


def _slots(tool: Tool, stock: Stock, depth: float | None) -> tuple[Cut, ...]:
    """Return a slot along X and one along Y, which meet nowhere."""
    apart = 2.0 * tool.diameter
    length = min(LONG, stock.width - 2 * EDGE - tool.diameter - apart, stock.height - 2 * EDGE - tool.diameter)
    if length < max(SHORT, 3.0 * tool.diameter):
        raise ArgumentError(f"the stock of {stock.width:g} x {stock.height:g} mm is too small for two slots")
    x, y = 0.5 * (stock.width - length - apart), 0.5 * (stock.height - length)
    ways = {"X": [(x + apart, y), (x + apart + length, y)], "Y": [(x, y), (x, y + length)]}
    deep = _slot_depth(tool, stock, depth)
    return tuple(
        cut
        for axis, way in ways.items()
        for cut in profile(LineString(way), tool, side="along", depth=deep, stock=stock, name=f"slot along {axis}")
    )


def _square(tool: Tool, stock: Stock, depth: float | None) -> tuple[Cut, ...]:
    """Return the lines of the square, and one mark inside beside the side along X, two beside that along Y."""
    most = 2.0 * EDGE + tool.diameter + SQUARE
    if min(stock.width, stock.height) < most:
        raise ArgumentError(
            f"the square of {SQUARE:g} mm takes {most:g} mm each way, the stock is {stock.width:g} x "
            f"{stock.height:g} mm: take a larger one"
        )
    x, y = 0.5 * (stock.width - SQUARE), 0.5 * (stock.height - SQUARE)
    lines = MultiLineString([box(x, y, x + SQUARE, y + SQUARE).exterior.coords])
    gap = 2.0 * tool.diameter + 3.0
    marks = [
        [(x + 0.5 * SQUARE, y + gap), (x + 0.5 * SQUARE, y + gap + 5.0)],
        *([(x + gap, y + 0.5 * SQUARE + s * gap), (x + gap + 5.0, y + 0.5 * SQUARE + s * gap)] for s in (-0.5, 0.5)),
    ]
    shapes = {"square": lines, "marks, 1 along X, 2 along Y": MultiLineString(marks)}
    if isinstance(tool, DiamondPoint):
        if depth is not None:
            raise ArgumentError("depth= is not for a diamond point: it is pressed in by its spring")
        travel = trial_steps("line", tool, stock=stock)[RUNGS // 2]
        cuts = [
            scribe(line, tool, travel=travel, line_width=EXPECTED_WIDTH, stock=stock, name=name)
            for name, line in shapes.items()
        ]
    else:
        deep = min(0.5, stock.thickness / 3.0) if depth is None else depth
        cuts = [profile(line, tool, side="along", depth=deep, stock=stock, name=name) for name, line in shapes.items()]
    return tuple(cut for group in cuts for cut in group)


def _pinwheel(blade: TrailingKnife, stock: Stock, depth: float) -> tuple[Cut, ...]:
    """Return four lines round a square, each of which ends on the next one."""
    tail = max(8.0, 4.0 * blade.trail)
    most = PINWHEEL + 2.0 * (tail + EDGE)
    if min(stock.width, stock.height) < most:
        raise ArgumentError(
            f"the lines take {most:g} mm each way, the card is {stock.width:g} x {stock.height:g} mm: take a larger one"
        )
    x, y = 0.5 * (stock.width - PINWHEEL), 0.5 * (stock.height - PINWHEEL)
    u, v = x + PINWHEEL, y + PINWHEEL
    lines = [[(x - tail, y), (u, y)], [(u, y - tail), (u, v)], [(u + tail, v), (x, v)], [(x, v + tail), (x, y)]]
    return knife(MultiLineString(lines), blade, depth=depth, stock=stock, name="lines that end on each other")


def _pressed(tool: Tool, stock: Stock, travels: tuple[float, ...]) -> tuple[Cut, ...]:
    """Return lines at rising travel, and their numbers at the middle one."""
    rungs, _ = _rungs(len(travels), stock, pitch=2.0 * LETTER, room=3.0 * LETTER)
    cuts: list[Cut] = []
    for k, (line, t) in enumerate(zip(rungs, travels, strict=True), 1):
        cuts += scribe(line, tool, travel=t, line_width=EXPECTED_WIDTH, stock=stock, name=f"line {k}, travel {t:g} mm")
    middle = travels[len(travels) // 2]
    words = _numbers(rungs, gap=2.0)
    return (*cuts, *scribe(words, tool, travel=middle, line_width=EXPECTED_WIDTH, stock=stock, name="numbers"))


def _feeds(
    tool: Tool, stock: Stock, machine: Machine, depth: float | None, feeds: tuple[float, ...]
) -> tuple[Cut, ...]:
    """Return slots at rising feed; left of each as many marks as its number."""
    speeds = cutting_for(tool, None)
    most = min(machine.feeds[:2])
    if feeds[-1] > most:
        raise ArgumentError(f"steps= go up to {feeds[-1]:g} mm/min, but the machine feeds at {most:g} at most")
    deep = _slot_depth(tool, stock, depth)
    wide = 2.0 * float(np.max(tool.radius_at(deep)))
    pitch, apart = 2.0 * wide + 4.0, 1.5 * wide + 1.0
    rungs, _ = _rungs(len(feeds), stock, pitch=pitch, room=apart * len(feeds) + 2.0 * wide)
    cuts: list[Cut] = []
    marks = []
    for k, (line, feed) in enumerate(zip(rungs, feeds, strict=True), 1):
        here = replace(speeds, feed=feed, slot=1.0)
        name = f"slot {k}, feed {feed:g} mm/min"
        cuts += profile(line, tool, side="along", depth=deep, cutting=here, stock=stock, name=name)
        x, y = line.coords[0]
        at = [x - apart * n - 1.75 * wide for n in range(k)]
        marks += [[(a, y - 0.25 * wide), (a, y + 0.25 * wide)] for a in at]
    shallow = min(MARK, deep)
    return (
        *cuts,
        *profile(MultiLineString(marks), tool, side="along", depth=shallow, stock=stock, name="tally marks"),
    )


def _ladder(tool: EndMill, stock: Stock, depth: float, air: Sequence[float]) -> tuple[Cut, ...]:
    """Return the pockets with their marks, and the plug."""
    pitch = SIDE + 2 * max(air) + 3 * tool.diameter + 6.0
    columns = max(1, int((stock.width - 2 * tool.diameter) // pitch))
    rows = math.ceil((len(air) + 1) / columns)
    high = SIDE + 3 * tool.diameter + 12.0
    if rows * high > stock.height:
        raise ArgumentError(
            f"the ladder of {len(air)} pockets and a plug takes {rows} rows of {high:.0f} mm: the stock is "
            f"{stock.height:g} mm high. Give fewer steps= or a larger stock"
        )
    left, low = 0.5 * (stock.width - columns * pitch), 0.5 * (stock.height - rows * high)
    spots = [(left + (k % columns) * pitch, low + (k // columns) * high) for k in range(len(air) + 1)]
    square = opened(box(0, 0, SIDE, SIDE), 0.5 * tool.diameter, error=ERROR)
    cuts, marks = [], []
    for k, (c, (x, y)) in enumerate(zip(air, spots, strict=False), 1):
        x, y = x + 0.5 * (pitch - SIDE), y + tool.diameter + 9.0
        hole = grown(_moved(square, x, y), c, error=ERROR)
        cuts += list(pocket(hole, tool, depth=depth, stock=stock, name=f"pocket {k}, clearance {c:g}"))
        gap = SIDE / max(len(air), 1)
        at = [x + (n + 0.5) * gap for n in range(k)]
        marks += [[(a, y - tool.diameter - 6.0), (a, y - tool.diameter - 3.0)] for a in at]
    lines = MultiLineString(marks)
    scribed = profile(lines, tool, side="along", depth=min(MARK, 0.5 * depth), stock=stock, name="tally marks")
    x, y = spots[-1]
    plug = _moved(square, x + 0.5 * (pitch - SIDE), y + tool.diameter + 9.0)
    out = profile(
        plug, tool, depth=THROUGH, stock=stock, name="plug",
        bridges=Bridges(3, length=3, thickness=min(1.5, 0.3 * stock.thickness), shape="ramp"),
    )  # fmt: skip
    return (*cuts, *scribed, *out)


def _moved(shape: MultiPolygon, dx: float, dy: float) -> MultiPolygon:
    moved: MultiPolygon = shapely.transform(shape, lambda c: c + np.array([dx, dy]))
    return moved
