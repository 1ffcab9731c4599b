"""What the readings of a trial mean: from what the maker measured to the values of tools and cuts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

from pathgen.cuts.scribe import force_at
from pathgen.errors import ArgumentError, number, one_of, positive
from pathgen.model.tool import DiamondPoint
from pathgen.trial import KINDS, LADDER, SQUARE, Kind, rising

MISREAD = 0.1
"""Error of a width read with a caliper, mm: a tip that comes out less than nothing by no more is a sharp one."""


def trial_result(kind: Kind, *, steps: Sequence[float] | None = None, **readings: Any) -> dict[str, float]:
    """Return what the readings of a trial mean.

    "groove": steps= the two depths and widths= their widths at the face, mm; returns `angle` (degrees) and `tip` (mm)
    for `VBit`. A = 2 atan((w2 - w1) / (2 (d2 - d1))), tip = w1 - 2 d1 tan(A / 2). The angle does not depend on where Z
    was set; but a Z set too deep by e widens both grooves like a tip wider by 2 e tan(A / 2), and widths alone cannot
    tell one from the other. A tip below 0 by at most 0.1 mm, the error of reading, is returned as 0. Where the tip was
    measured, give tip= too: the result then holds `zero_error` (mm, positive where Z was set too deep).
    "slot": widths= of both slots, mm, as many as were measured; returns `cut_width` for `EndMill`, and their `spread`.
    "square": x= and y=, the sides; rising= the diagonal from the lower left, falling= the other, mm, all measured from
    one edge of a line to the same edge of the other. Returns `scale_x`, `scale_y` (measured through asked), the `angle`
    between the axes (degrees), and `out_of_square`: mm by which the Y side leans to the right.
    "line": steps= the travels, chosen= the number of the line that is right, line_width= its width, mm; returns
    `travel` and `line_width` for `scribe`, and with tool= the `force` in N.
    "fit": fits=, the number of the first pocket (counted from 1, by its marks) into which the plug goes as it should;
    returns the `clearance` for `inlay`.
    "feed": steps= the feeds, chosen= the number of the slot that is right; returns `slot_feed`: feed x slot of
    `Cutting`, mm/min.
    "knife": trail= as it was stated, and past= how far the lines run past those they end on, mm, negative where they
    fall short; returns the true `trail` for `TrailingKnife`. On a straight line the tip lies the true trail behind the
    pivot, which ends the stated trail past the line's end (elementary geometry): trail - past.

    Raises:
        ArgumentError: for an unknown kind, or a reading that is missing or not possible.

    >>> trial_result("fit", fits=3)
    {'clearance': 0.04}
    >>> {k: round(v, 6) for k, v in trial_result("groove", steps=(1, 4), widths=(1.3547, 4.8188)).items()}
    {'angle': 59.999977, 'tip': 0.2}
    """
    one_of("kind", kind, KINDS)
    read, wanted, also = _READ[kind]
    missing = [name for name in wanted if name not in readings]
    unknown = [name for name in readings if name not in (*wanted, *also)]
    if missing or unknown:
        listed = ", ".join(f"{name}=" for name in wanted)
        raise ArgumentError(f"trial_result({kind!r}) takes {listed}" + (f", and not {unknown[0]}=" if unknown else ""))
    if kind in ("slot", "square", "knife"):
        return read(**readings)
    if kind == "fit" and steps is None:
        steps = LADDER
    if steps is None:
        raise ArgumentError(
            f"trial_result({kind!r}) needs steps=, as given to trial() or as trial_steps() returns them"
        )
    return read(rising(kind, steps), **readings)


def _sizes(name: str, values: Any, least: int, most: int | None = None) -> tuple[float, ...]:
    """Return measured sizes, or raise `ArgumentError`."""
    try:
        found = tuple(positive(name, v) for v in values)
    except TypeError:
        found = ()
    if len(found) < least or (most is not None and len(found) > most):
        raise ArgumentError(f"{name}={values!r} must be {least}{'' if most == least else ' or more'} sizes in mm")
    return found


def _read_groove(depths: tuple[float, ...], *, widths: Any, tip: float | None = None) -> dict[str, float]:
    w1, w2 = _sizes("widths", widths, 2, 2)
    d1, d2 = depths
    if w2 <= w1:
        raise ArgumentError(f"widths={widths!r}: the deeper groove must be the wider one. Were they mixed up?")
    half = math.atan((w2 - w1) / (2.0 * (d2 - d1)))
    seen = w1 - 2.0 * d1 * math.tan(half)
    found = {"angle": math.degrees(2.0 * half), "tip": seen}
    if tip is not None:
        found["tip"] = positive("tip", tip, zero=True)
        found["zero_error"] = (seen - found["tip"]) / (2.0 * math.tan(half))
    elif seen < -MISREAD:
        raise ArgumentError(
            f"the widths give a tip of {seen:.3f} mm, less than nothing: Z was set too high by at least "
            f"{-seen / (2.0 * math.tan(half)):.3f} mm, or a width was misread. Set Z anew, or give tip= as measured"
        )
    else:
        found["tip"] = max(seen, 0.0)
    return found


def _read_slot(*, widths: Any) -> dict[str, float]:
    found = _sizes("widths", widths, 1)
    return {"cut_width": sum(found) / len(found), "spread": max(found) - min(found)}


def _read_square(*, x: float, y: float, rising: float, falling: float) -> dict[str, float]:
    """Parallelogram law: p^2 = x^2 + y^2 + 2 x y cos(angle), q^2 with minus (elementary geometry)."""
    x, y, p, q = (positive(n, v) for n, v in (("x", x), ("y", y), ("rising", rising), ("falling", falling)))
    lean = (p * p - q * q) / (4.0 * x * y)
    if abs(p * p + q * q - 2.0 * (x * x + y * y)) > 0.02 * (x * x + y * y) or abs(lean) >= 0.5:
        raise ArgumentError(f"sides {x:g} and {y:g} do not go with diagonals {p:g} and {q:g}: one of them was misread")
    return {
        "scale_x": x / SQUARE, "scale_y": y / SQUARE, "angle": math.degrees(math.acos(lean)), "out_of_square": y * lean,
    }  # fmt: skip


def _chosen(steps: tuple[float, ...], name: str, number: Any) -> float:
    if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= len(steps):
        raise ArgumentError(f"{name}={number!r} must be the number of a step, from 1 to {len(steps)}")
    return float(steps[number - 1])


def _read_line(
    travels: tuple[float, ...], *, chosen: Any, line_width: float, tool: DiamondPoint | None = None
) -> dict[str, float]:
    travel = _chosen(travels, "chosen", chosen)
    found = {"travel": travel, "line_width": positive("line_width", line_width)}
    if tool is not None:
        found["force"] = force_at(tool, travel)
    return found


def _read_fit(steps: tuple[float, ...], *, fits: Any) -> dict[str, float]:
    return {"clearance": _chosen(steps, "fits", fits)}


def _read_feed(feeds: tuple[float, ...], *, chosen: Any) -> dict[str, float]:
    return {"slot_feed": _chosen(feeds, "chosen", chosen)}


def _read_knife(*, trail: float, past: float) -> dict[str, float]:
    found = positive("trail", trail) - number("past", past)
    if found <= 0:
        raise ArgumentError(f"past={past:g} with trail={trail:g} leaves no trail at all: one of both was misread")
    return {"trail": found}


_READ: Final[dict[str, tuple[Callable[..., dict[str, float]], tuple[str, ...], tuple[str, ...]]]] = {
    "groove": (_read_groove, ("widths",), ("tip",)),
    "slot": (_read_slot, ("widths",), ()),
    "square": (_read_square, ("x", "y", "rising", "falling"), ()),
    "line": (_read_line, ("chosen", "line_width"), ("tool",)),
    "fit": (_read_fit, ("fits",), ()),
    "feed": (_read_feed, ("chosen",), ()),
    "knife": (_read_knife, ("trail", "past"), ()),
}
"""What reads each kind, the readings it takes, and those it may take."""
