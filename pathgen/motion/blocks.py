"""One block carried out: checks, then the standard's order of execution (NISTIR 6556 table 8)."""

from __future__ import annotations

import math

import numpy as np

from pathgen.model.motion import ARC, LINE, RAPID
from pathgen.motion import arcs, cycles
from pathgen.motion.grammar import Block, LineError, whole
from pathgen.motion.state import AXES, Recorder, State

MOTION, NON_MODAL = "motion", "non-modal"
_GROUPS: dict[str, tuple[int, ...]] = {
    MOTION: (0, 10, 20, 30, 382, *range(800, 900, 10)),
    "plane": (170, 180, 190),
    "distance": (900, 910),
    "feed mode": (930, 940),
    "units": (200, 210),
    "cutter compensation": (400, 410, 420),
    "tool length": (430, 490),
    "cycle return": (980, 990),
    "coordinates": (540, 550, 560, 570, 580, 590, 591, 592, 593),
    "path control": (610, 611, 640),
    NON_MODAL: (40, 100, 280, 300, 530, 920, 921, 922, 923),
}
_GROUP_OF = {code: name for name, codes in _GROUPS.items() for code in codes}
_M_GROUPS = {0: "stop", 1: "stop", 2: "stop", 30: "stop", 60: "stop", 6: "tool change", 3: "spindle", 4: "spindle"}
_M_GROUPS |= {5: "spindle", 7: "mist", 8: "flood", 9: "coolant off", 48: "overrides", 49: "overrides"}
_AXIS_USERS = frozenset({100, 280, 300, 920})
FIRST_KEPT, LAST_KEPT = 5161, 5386
"""Parameters in which a controller keeps homes, the G92 offset and the work offsets (section 3.2.2)."""
SYSTEM = 5220
"""The parameter that holds the number of the work offset; each one's origin follows, 20 further for each."""
SHIFT = 5211
"""The first parameter of the G92 offset."""


def g_name(ten: int) -> str:
    """Return a tenfold G code as written.

    >>> g_name(591)
    'G59.1'
    """
    return f"G{ten // 10}" if ten % 10 == 0 else f"G{ten / 10:g}"


class Codes:
    """The G and M codes of one block by group, checked for rivals (section 3.3.5)."""

    def __init__(self, block: Block) -> None:
        self.g: dict[str, int] = {}
        for code in block.g:
            group = _GROUP_OF.get(code)
            if group is None:
                raise LineError("unknown-g", f"{g_name(code)} is not a G code of the standard")
            if group in self.g:
                raise LineError("modal-conflict", f"{g_name(self.g[group])} and {g_name(code)} are rivals ({group})")
            self.g[group] = code
        self.m: dict[str, int] = {}
        for code in block.m:
            group = _M_GROUPS.get(code)
            if group is None:
                raise LineError("unknown-m", f"M{code} is not an M code of the standard")
            if group in self.m or (group == "coolant off" and {"mist", "flood"} & set(self.m)):
                raise LineError("modal-conflict", f"M{code} has a rival on its line ({group})")
            if group in ("mist", "flood") and "coolant off" in self.m:
                raise LineError("modal-conflict", f"M{code} has a rival on its line (coolant)")
            self.m[group] = code
        if len(block.m) > 4:
            raise LineError("modal-conflict", "more than four M words on a line")


def check_words(block: Block, slots: int) -> None:
    """Raise `LineError` for words out of their range (section 3.7)."""
    for letter in "FSTPDHL":
        if block.words.get(letter, 0.0) < 0:
            raise LineError("negative-word", f"{letter}{block.words[letter]:g} is negative")
    if block.words.get("Q", 1.0) <= 0:
        raise LineError("negative-word", f"Q{block.words['Q']:g} must be above 0")
    for letter in "THDL":
        if letter in block.words:
            number = whole(block.words[letter], "not-whole", letter)
            if letter != "L" and number > slots:
                raise LineError("slot-beyond", f"{letter}{number} is larger than the number of tool slots, {slots}")
    for letter in "ABC":
        if letter in block.words:
            raise LineError("not-read", f"{letter} turns a rotary axis; pathgen reads X, Y and Z")


def motion_of(block: Block, codes: Codes, state: State) -> int | None:
    """Return the motion that this block carries out, None for none (sections 3.4 and 3.5)."""
    axis = any(letter in block.words for letter in AXES)
    explicit = codes.g.get(MOTION)
    taken = codes.g.get(NON_MODAL) in _AXIS_USERS
    if explicit is not None and explicit != 800 and taken:
        raise LineError(
            "two-axis-users", f"{g_name(codes.g[NON_MODAL])} and {g_name(explicit)} both use the axis words"
        )
    if explicit == 800:
        if axis and not taken:
            raise LineError("axis-without-g", "G80 uses no axis words")
        return None
    if explicit is not None:
        if explicit == 382 or explicit > 830:
            raise LineError("not-read", f"{g_name(explicit)} is not followed by pathgen")
        if not axis:
            code = "no-axis-word" if explicit <= 10 else "arc-end-missing" if explicit <= 30 else "bad-cycle"
            raise LineError(code, f"{g_name(explicit)} needs X, Y or Z")
        return explicit // 10
    if axis and not taken:
        if state.motion is None:
            raise LineError("axis-without-g", "axis words, but no active G code uses them")
        return state.motion
    return None


def check_strays(block: Block, codes: Codes, motion: int | None) -> None:
    """Raise `LineError` for words that nothing on the line uses."""
    w, other = block.words, codes.g.get(NON_MODAL)
    cycle, arc = motion is not None and motion >= 81, motion in (2, 3)
    used = {
        "D": codes.g.get("cutter compensation") in (410, 420),
        "H": codes.g.get("tool length") == 430,
        "I": arc,
        "J": arc,
        "K": arc,
        "L": cycle or other == 100,
        "P": other in (40, 100) or motion == 82,
        "Q": motion == 83,
        "R": arc or cycle,
    }
    for letter, use in used.items():
        if letter in w and not use:
            raise LineError("stray-word", f"{letter} is used by nothing on this line")


def check_codes(block: Block, codes: Codes, motion: int | None, state: State) -> None:
    """Raise `LineError` for codes without the words they need."""
    w, other = block.words, codes.g.get(NON_MODAL)
    if codes.g.get("cutter compensation") in (410, 420):
        raise LineError(
            "cutter-compensation",
            f"{g_name(codes.g['cutter compensation'])}: cutter radius compensation is not read, "
            "its path depends on the controller's tool table",
        )
    if other == 40 and "P" not in w:
        raise LineError("dwell-without-time", "G4 needs P, in seconds")
    if other == 100 and (w.get("L") is None or round(w["L"]) != 2 or not _system(w.get("P", 0.0))):
        raise LineError("bad-offset-set", "G10 needs L2 and P from 1 to 9")
    for index, value in block.sets:
        _check_setting(index, value)
    if other == 920 and not any(a in w for a in AXES):
        raise LineError("offset-without-axis", "G92 needs X, Y or Z")
    if codes.g.get("tool length") == 430 and "H" not in w:
        raise LineError("length-without-h", "G43 needs H")
    if other == 530:
        distance = codes.g.get("distance")
        incremental = distance == 910 or (distance is None and not state.absolute)
        moving = motion if motion is not None else state.motion
        if moving not in (0, 1) or incremental:
            raise LineError("bad-machine-move", "G53 needs G0 or G1 and G90")


def _check_setting(index: int, value: float) -> None:
    """Raise `LineError` where a program sets a parameter in which controllers keep zeros and homes (section 3.2.2)."""
    if index == SYSTEM and not _system(value):
        raise LineError("bad-parameter", f"#{index}={value:g}: the number of the work offset is 1 to 9")
    if FIRST_KEPT <= index <= LAST_KEPT:
        raise LineError(
            "not-read",
            f"#{index} holds a zero or home of the controller; what comes of setting it here is not followed",
        )


def _system(p: float) -> int:
    near = round(p)
    return near if abs(p - near) <= 1e-4 and 1 <= near <= 9 else 0


def execute(block: Block, state: State, recorder: Recorder, line: int, slots: int) -> None:
    """Carry out one block, in the order of table 8.

    Raises:
        LineError: for what the standard forbids; state and recorder may then be half changed.
    """
    codes = Codes(block)
    check_words(block, slots)
    motion = motion_of(block, codes, state)
    check_strays(block, codes, motion)
    check_codes(block, codes, motion, state)
    for index in block.unset:
        recorder.find("parameter-not-set", line, f"#{index} is used before the program sets it; it is read as 0")
    if block.comment is not None:
        recorder.event("comment", line, text=block.comment)
    _feed_and_spindle(block, codes, state, recorder, line)
    if codes.g.get(NON_MODAL) == 40:
        recorder.event("dwell", line, block.words["P"])
    _settings(block, codes, state, recorder, line)
    _offsets(block, codes, state, recorder, line)
    if MOTION in codes.g:
        state.motion = None if codes.g[MOTION] == 800 else codes.g[MOTION] // 10
        if codes.g[MOTION] < 810:
            state.cycle = {}
    if motion is not None:
        _move(block, codes, motion, state, recorder, line)
    state.learn(dict(block.sets))
    if "stop" in codes.m:
        _stop(codes.m["stop"], state, recorder, line)


def _feed_and_spindle(block: Block, codes: Codes, state: State, recorder: Recorder, line: int) -> None:
    w, m = block.words, codes.m
    if "feed mode" in codes.g:
        inverse = codes.g["feed mode"] == 930
        if state.inverse and not inverse:
            state.feed = 0.0
        state.inverse = inverse
    if "F" in w and not state.inverse:
        state.feed = w["F"] * state.unit
    before = state.rpm
    if "S" in w:
        state.speed = w["S"]
    if "T" in w:
        state.selected = round(w["T"])
        recorder.selections.append((len(recorder), state.selected))
    if "tool change" in m:
        if state.selected is None:
            recorder.find("change-without-tool", line, "M6 before any T word: the spindle is read as empty")
        state.tool = state.selected or 0
        if state.turning:
            state.turning = 0
            recorder.event("spindle", line, 0.0)
        recorder.event("tool", line, state.tool)
        before = 0.0
    if "spindle" in m:
        state.turning = {3: 1, 4: -1, 5: 0}[m["spindle"]]
    if "spindle" in m or state.rpm != before:
        recorder.event("spindle", line, state.rpm)
    for group, value in (("mist", 7), ("flood", 8)):
        if group in m:
            state.coolant = value if state.coolant in (0, value) else 15
            recorder.event("coolant", line, value)
    if "coolant off" in m:
        state.coolant = 0
        recorder.event("coolant", line, 0)


def _settings(block: Block, codes: Codes, state: State, recorder: Recorder, line: int) -> None:
    g = codes.g
    if "plane" in g:
        state.plane = g["plane"] // 10
    if "units" in g:
        unit = 25.4 if g["units"] == 200 else 1.0
        if unit != state.unit and "F" in block.words and not state.inverse:
            recorder.find(
                "units-changed", line, "F is read before the unit on its line changes", "Put F on a later line."
            )
        if unit != state.unit and len(recorder) and state.stated:
            recorder.find("units-changed", line, "the unit changes within the program", "State it once, at the start.")
        state.unit, state.stated = unit, True
        recorder.event("units", line, g["units"] // 10)
    if "tool length" in g:
        state.length = round(block.words["H"]) if g["tool length"] == 430 else 0
        recorder.event("length", line, state.length)
    if "coordinates" in g:
        code = g["coordinates"]
        number = code // 10 - 53 if code <= 590 else code - 584
        if number != state.coordinates and len(recorder):
            recorder.find("work-offset-changed", line, f"{g_name(code)}: another work offset, its place is not known")
        state.coordinates = number
        state.learn({SYSTEM: float(number)})
        recorder.event("offset", line, code / 10)
    if "path control" in g:
        state.path = g["path control"] if g["path control"] == 611 else g["path control"] // 10
        recorder.event("path", line, g["path control"] / 10)
    if "distance" in g:
        state.absolute = g["distance"] == 900
    if "cycle return" in g:
        state.high_return = g["cycle return"] == 980


def _offsets(block: Block, codes: Codes, state: State, recorder: Recorder, line: int) -> None:
    w, code = block.words, codes.g.get(NON_MODAL)
    if code in (280, 300):
        _go_home(block, code, state, recorder, line)
    elif code == 100:
        number = _system(w["P"])
        old = state.origins.get(number, (0.0, 0.0, 0.0))
        x, y, z = (w[a] * state.unit if a in w else old[i] for i, a in enumerate(AXES))
        state.origins = {**state.origins, number: (x, y, z)}
        first = SYSTEM + 1 + 20 * (number - 1)
        state.learn({first + i: w[a] for i, a in enumerate(AXES) if a in w})
        recorder.find(
            "sets-offset", line, f"G10 sets the origin of work offset {number}", "Set offsets at the machine."
        )
    elif code in (920, 921, 922, 923):
        _shift(block, code, state)
        recorder.find("sets-offset", line, f"{g_name(code)} moves the zero", "Set the zero at the machine.")


def _shift(block: Block, code: int, state: State) -> None:
    """G92: the present place gets the given numbers; where it is not known, it is taken to lie at them."""
    if code == 920:
        shift = list(state.shift)
        origin = state.origins.get(state.coordinates, (0.0, 0.0, 0.0))
        for i, axis in enumerate(AXES):
            if axis in block.words:
                value = block.words[axis] * state.unit
                if math.isnan(state.position[i]):
                    state.position[i] = value + origin[i] + shift[i]
                shift[i] = state.position[i] - origin[i] - value
        state.shift = state.kept = (shift[0], shift[1], shift[2])
    elif code == 921:
        state.shift = state.kept = (0.0, 0.0, 0.0)
    elif code == 922:
        state.shift = (0.0, 0.0, 0.0)
    else:
        state.shift = state.kept
    if code in (920, 921):
        state.learn({SHIFT + i: value / state.unit for i, value in enumerate(state.shift)})


def _go_home(block: Block, code: int, state: State, recorder: Recorder, line: int) -> None:
    recorder.find("returns-home", line, f"{g_name(code)} moves to a place the program does not state")
    if any(a in block.words for a in AXES):
        recorder.move(state, target(block, state), RAPID, line)
    recorder.move(state, [math.nan] * 3, RAPID, line, machine=True)


def target(block: Block, state: State) -> list[float]:
    """Return the point that the axis words name, mm."""
    end = list(state.position)
    zero = state.zero
    for i, axis in enumerate(AXES):
        if axis in block.words:
            value = block.words[axis] * state.unit
            end[i] = value + zero[i] if state.absolute else state.position[i] + value
    return end


def _move(block: Block, codes: Codes, motion: int, state: State, recorder: Recorder, line: int) -> None:
    if motion >= 81:
        cycles.run(block, motion, state, recorder, line)
    elif motion in (2, 3):
        _arc(block, motion, state, recorder, line)
    elif codes.g.get(NON_MODAL) == 530:
        end = list(state.position)
        named = [i for i, axis in enumerate(AXES) if axis in block.words]
        for i in named:
            end[i] = block.words[AXES[i]] * state.unit
        feed = 0.0 if motion == 0 else feed_for(block, state, end)
        recorder.move(state, end, motion, line, feed=feed, machine=True)
        for i in named:
            state.position[i] = math.nan
    else:
        end = target(block, state)
        feed = 0.0 if motion == 0 else feed_for(block, state, end)
        recorder.move(state, end, LINE if motion else RAPID, line, feed=feed)


def feed_for(block: Block, state: State, end: list[float], length: float | None = None) -> float:
    """Return the feed of a move in mm/min, also where G93 states the time instead (section 3.5.19)."""
    if not state.inverse:
        if not state.feed > 0:
            raise LineError("no-feed", "a feed move without a feed: F was never set, or is 0")
        return state.feed
    if not block.words.get("F", 0.0) > 0:
        raise LineError("no-inverse-feed", "with G93 every feed move needs its own F")
    if length is None:
        length = math.dist(state.position, end)
    return 0.0 if math.isnan(length) else block.words["F"] * length


def _arc(block: Block, motion: int, state: State, recorder: Recorder, line: int) -> None:
    w = block.words
    first, second, normal = arcs.IN_PLANE[state.plane]
    if AXES[first] not in w and AXES[second] not in w:
        raise LineError("arc-end-missing", f"the arc needs {AXES[first]} or {AXES[second]} in G{state.plane}")
    offsets = "IJK"
    center_format = any(letter in w for letter in offsets)
    if "R" in w and center_format:
        raise LineError("arc-format-mixed", "the arc has both R and a center")
    if "R" not in w and not center_format:
        raise LineError("arc-center-missing", "the arc has neither R nor a center")
    if offsets[normal] in w:
        raise LineError("arc-wrong-offset", f"{offsets[normal]} is not in the plane of G{state.plane}")
    end = target(block, state)
    start = state.position
    if math.isnan(start[first] + start[second]):
        raise LineError("arc-from-unknown", "the arc starts at a place that the program has not set")
    turn = 1.0 if motion == 3 else -1.0
    dx, dy = end[first] - start[first], end[second] - start[second]
    if "R" in w:
        i, j = arcs.center_by_radius(dx, dy, w["R"] * state.unit, turn)
    else:
        i, j = w.get(offsets[first], 0.0) * state.unit, w.get(offsets[second], 0.0) * state.unit
        arcs.check_center(i, j, dx, dy, state.unit)
    center = [start[0], start[1], start[2]]
    center[first] += i
    center[second] += j
    feed = feed_for(block, state, end, _arc_length(start, end, center, state.plane, turn) if state.inverse else None)
    recorder.move(state, end, ARC, line, feed=feed, center=center, turn=turn)


def _arc_length(start: list[float], end: list[float], center: list[float], plane: int, turn: float) -> float:
    first, second, normal = arcs.IN_PLANE[plane]
    a, e, c = (np.array([v]) for v in (start, end, center))
    sweep = float(arcs.sweeps(a, e, c, np.array([plane]), np.array([turn]))[0])
    radius = math.hypot(start[first] - center[first], start[second] - center[second])
    rise = end[normal] - start[normal]
    return math.hypot(radius * sweep, 0.0 if math.isnan(rise) else rise)


def _stop(code: int, state: State, recorder: Recorder, line: int) -> None:
    if code in (0, 1, 60):
        recorder.event("stop", line, code, f"M{code}")
        return
    recorder.event("end", line, code, f"M{code}")
    state.ended = True
    state.shift, state.coordinates, state.plane, state.absolute = (0.0, 0.0, 0.0), 1, 17, True
    state.inverse, state.motion, state.turning, state.coolant = False, 1, 0, 0
    state.learn({SYSTEM: 1.0})
