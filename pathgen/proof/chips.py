"""Chips and heat: edges that cut and do not rub, nothing that turns on the spot, cooling where it is needed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from pathgen.model.arrays import BoolArray, FloatArray, IntArray
from pathgen.model.findings import Finding
from pathgen.model.holding import Tape
from pathgen.model.motion import ARC, RAPID, Motion
from pathgen.model.tool import DiamondPoint, Drill
from pathgen.motion.pace import Pace, pace
from pathgen.proof.codes import finding
from pathgen.proof.setting import NOISE, STEP, Setting, drops
from pathgen.shop.materials import material

SLACK = 0.9
"""Chip loads of common practice are no sharper than this: a tenth above or below is no finding."""

SHARE = 0.25
"""Chip loads out of range on less than this share of a tool's path are corners and ends, which every program has."""

SLOPE = 30.0
"""Steeper moves are dives, degrees: their speed is the plunge feed's, and edges cut another way."""

LOWEST_SPEED = 0.25
"""Advice on rpm ends at this share of the present one: routers have no torque further down."""

STANDING = 0.2
"""Longest time on the spot in contact, s. Common practice, no source: wood smokes and plastic melts after that."""


class _Path(NamedTuple):
    """Moves of one tool that cut: rows of the track, how long each is, its least and most chip load, mm."""

    rows: IntArray
    length: FloatArray
    least: FloatArray
    most: FloatArray


def chip_loads(s: Setting) -> Iterator[Finding]:
    """Check that edges take chips the material needs and the cutter bears, one finding for each tool.

    The least is held against the speed that the machine really reaches, look-ahead and corners included (without a
    machine: the feed), at the cutter's width halfway down to where it cuts; the most against the feed alone.
    """
    paces = [pace(m, s.machine) for m in s.motions] if s.machine is not None else None
    for number, tool in sorted(s.tools.items()):
        path = _cutting(s, number) if tool.spins and not isinstance(tool, Drill) else None
        if path is None or not path.length.sum() > 0:
            continue
        rate = np.abs(s.track.rpm[path.rows]) * tool.flutes
        total = float(path.length.sum())
        load = s.track.feed[path.rows] / rate
        slow = _slow(s, path, path.least * SLACK, rate, paces)
        if slow.sum() > SHARE * total:
            yield _rubbing(s, number, path, slow, rate, paces)
        over = load > path.most / SLACK
        if path.length[over].sum() > SHARE * total:
            worst = int(np.flatnonzero(over)[np.argmax((load / path.most)[over])])
            yield finding(
                "chip-load-high",
                f"T{number} takes {load[worst]:.3f} mm a tooth on {100 * path.length[over].sum() / total:.0f} % of its "
                f"way; {s.stock.material} wants at most {path.most[worst]:.3f}.",
                amount=float(load[worst]),
                **s.place(int(path.rows[worst])),
            )


def _cutting(s: Setting, number: int) -> _Path | None:
    """Return the moves with which tool `number` cuts sideways; None where the material has no chip load."""
    t, tool, known = s.track, s.tools[number], material(s.stock.material)
    _, level = drops(t)
    deep = (t.kind != RAPID) & (np.minimum(t.start[:, 2], t.end[:, 2]) < -STEP) & (level > NOISE)
    dz = np.abs(t.end[:, 2] - t.start[:, 2])
    rows = np.flatnonzero(deep & (t.tool == number) & (np.abs(t.rpm) > 0) & (t.feed > 0))
    rows = rows[np.degrees(np.arctan2(dz[rows], level[rows])) < SLOPE]
    middle = -0.5 * np.minimum(0.5 * (t.start[rows, 2] + t.end[rows, 2]), 0.0)
    least = known.chip_range(2.0 * tool.radius_at(middle))
    most = known.chip_range(tool.diameter)
    if least is None or most is None or not len(rows):
        return None
    length = np.hypot(level[rows], dz[rows])
    return _Path(rows, length, least[0], np.full(len(rows), float(most[1])))


def _slow(s: Setting, path: _Path, chip: FloatArray, rate: FloatArray, paces: list[Pace] | None) -> FloatArray:
    """Return how much of each move is too slow for chips of `chip` mm at `rate` edges a minute, mm."""
    speed = chip * rate
    if paces is None:
        return np.where(s.track.feed[path.rows] < speed, path.length, 0.0)
    wanted = np.zeros(len(s.track))
    wanted[path.rows] = speed
    each = np.concatenate([p.slower(wanted[s.track.program == k]) for k, p in enumerate(paces)])
    slow: FloatArray = each[path.rows]
    return slow


def _rubbing(
    s: Setting, number: int, path: _Path, slow: FloatArray, rate: FloatArray, paces: list[Pace] | None
) -> Finding:
    """Return the finding on a tool that rubs, with the speed that would cure it."""
    total, rpm = float(path.length.sum()), np.abs(s.track.rpm[path.rows])
    low, high = 0.0, 1.0  # factor on rpm: the largest at which no more than the allowed share is slow
    for _ in range(12):
        middle = 0.5 * (low + high)
        good = _slow(s, path, path.least * SLACK, rate * middle, paces).sum() <= SHARE * total
        low, high = (middle, high) if good else (low, middle)
    cure = low * float(rpm.max())
    least = s.machine.min_rpm if s.machine is not None else 0.0
    tool = s.tools[number]
    if cure >= max(least, LOWEST_SPEED * float(rpm.max())):
        advice = (
            f"{np.floor(cure / 100) * 100:.0f} rpm would cure it, and so would higher feeds or fewer edges: all "
            f"together by a factor of {float(rpm.max()) / cure:.1f}."
        )
    else:
        advice = "No speed of the spindle cures it: raise the feed" + (
            ", or take a cutter with fewer edges." if tool.flutes > 1 else ", or take a smaller cutter."
        )
    worst = int(np.argmax(slow))
    load = s.track.feed[path.rows] / rate
    wants, takes = float(path.least[worst]), float(load[worst])
    why = f"{takes:.3f} mm a tooth" if takes < wants * SLACK else "corners and short moves keep it slow"
    return finding(
        "chip-load-low",
        f"T{number} takes less than {s.stock.material} wants on {100 * slow.sum() / total:.0f} % of its way: {why} at "
        f"{rpm[worst]:.0f} rpm and {s.track.feed[path.rows[worst]]:.0f} mm/min, at least {wants:.3f} is wanted there.",
        amount=float(slow.sum() / total),
        advice=advice,
        **s.place(int(path.rows[worst])),
    )


def standing(s: Setting) -> Iterator[Finding]:
    """Check that no tool waits turning in wood, boards or plastic, and no diamond waits pressed down."""
    heats = material(s.stock.material).family in ("wood", "board", "plastic")
    for k, motion, rows in s.programs():
        worst = max(_waits(s, motion, rows, heats), default=None)
        if worst is not None:
            row, line = worst[1], worst[2]
            yield finding(
                "standing",
                f"A tool waits {worst[0]:g} s on the spot in contact.",
                amount=worst[0],
                **{**s.place(row), "line": line, "program": s.program_name(k)},
            )


def _waits(s: Setting, motion: Motion, rows: IntArray, heats: bool) -> Iterator[tuple[float, int, int]]:
    """Yield (seconds, row, line) of dwells in contact that are too long."""
    t = s.track
    turning = 0.0
    for e in motion.events:
        if e.kind == "spindle":
            turning = e.value
        elif e.kind == "dwell" and e.index and e.value > STANDING:
            row = int(rows[e.index - 1])
            tool = s.tools.get(int(t.tool[row]))
            if tool is None or not t.end[row, 2] < -STEP or _beside(s, row):
                continue
            if (turning and tool.spins and heats) or isinstance(tool, DiamondPoint):
                yield e.value, row, e.line


def _beside(s: Setting, row: int) -> bool:
    x, y = s.track.end[row, :2]
    return bool(x < 0 or y < 0 or x > s.stock.width or y > s.stock.height)


def cooling(s: Setting) -> Iterator[Finding]:
    """Check that metal that welds to edges, glass and stone are cooled, and how brass is cut and held."""
    t = s.track
    spins = s.tool_table(lambda tool: tool.spins, 0.0) > 0
    cutting = spins & (t.kind != RAPID) & (np.minimum(t.start[:, 2], t.end[:, 2]) < -STEP)
    if s.stock.material in ("aluminium", "glass", "stone"):
        dry = np.flatnonzero(cutting & ~_cooled(s))
        if len(dry):
            length = _lengths(s)[dry].sum() / max(_lengths(s)[cutting].sum(), NOISE)
            yield finding(
                "cut-dry", f"{s.stock.material.capitalize()} is cut dry on {100 * length:.0f} % of the way.",
                amount=float(length), **s.place(int(dry[0])),
            )  # fmt: skip
    if s.stock.material == "brass":
        edges = s.tool_table(lambda tool: tool.flutes, 0.0)
        for number in np.unique(t.tool[cutting & (edges > 2)]):
            row = int(np.flatnonzero(cutting & (t.tool == number))[0])
            yield finding(
                "many-edges", f"T{number} cuts brass with {edges[row]:.0f} edges.", amount=float(edges[row]),
                **s.place(row),
            )  # fmt: skip
        if cutting.any() and s.hold and all(isinstance(h, Tape) for h in s.hold):
            yield finding("tape-heat", "Brass is held by tape alone, which warms with the cut.")


def _cooled(s: Setting) -> BoolArray:
    """Whether coolant, or air, is on during each move."""
    on = np.zeros(len(s.track), dtype=np.bool_)
    for _, motion, rows in s.programs():
        for e in motion.events:
            if e.kind == "coolant":
                on[rows[e.index :]] = e.value > 0
    return on


def _lengths(s: Setting) -> FloatArray:
    t = s.track
    _, level = drops(t)
    rise = np.where(t.kind == ARC, np.nan_to_num(t.end[:, 2] - t.start[:, 2]), np.nan_to_num(t.end - t.start)[:, 2])
    long: FloatArray = np.hypot(level, rise)
    return long
