"""The machine: how far, how fast, and what its controller understands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from numbers import Real
from typing import Literal, TypeAlias

from pathgen.errors import ArgumentError, number, numbers, one_of, positive, yes_or_no

PerAxis: TypeAlias = float | Sequence[float]
Axes: TypeAlias = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """What a controller understands.

    Args:
        units: "mm" (G21) or "inch" (G20).
        decimals: of X Y Z; None = 3 in mm, 4 in inch.
        center_decimals: of I J; None = one more than the default `decimals`: 4 in mm, 5 in inch.
        arcs: G2 and G3 are understood.
        helices: G2 and G3 with a Z word are understood.
        max_line: longest line, characters (NISTIR 6556 section 3.3 allows 256).
        length_offsets: the controller keeps tool lengths (G43).
        zero_again_at_stop: tools may be changed by hand at a stop inside a program, Z is set anew there.
        line_numbers: write N words.
        path_mode: "exact" (G61), "blend" (G64) or None where neither is understood.
        end: "M2" or "M30".
    """

    units: Literal["mm", "inch"] = "mm"
    decimals: int | None = None
    center_decimals: int | None = None
    arcs: bool = True
    helices: bool = True
    max_line: int = 256
    length_offsets: bool = True
    zero_again_at_stop: bool = False
    line_numbers: bool = False
    path_mode: Literal["exact", "blend"] | None = "exact"
    end: Literal["M2", "M30"] = "M2"

    def __post_init__(self) -> None:
        one_of("units", self.units, ("mm", "inch"))
        one_of("path_mode", self.path_mode, ("exact", "blend", None))
        one_of("end", self.end, ("M2", "M30"))
        for name in ("decimals", "center_decimals"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, _whole(name, value, 1, 6))
        object.__setattr__(self, "max_line", _whole("max_line", self.max_line, 40, 256, " (NISTIR 6556 section 3.3)"))
        for name in ("arcs", "helices", "length_offsets", "zero_again_at_stop", "line_numbers"):
            yes_or_no(name, getattr(self, name))

    @property
    def places(self) -> int:
        """Decimals of X Y Z as written."""
        return self.decimals if self.decimals is not None else (3 if self.units == "mm" else 4)

    @property
    def center_places(self) -> int:
        """Decimals of I J as written."""
        return self.center_decimals if self.center_decimals is not None else (4 if self.units == "mm" else 5)

    @property
    def unit(self) -> float:
        """Mm in one program unit."""
        return 1.0 if self.units == "mm" else 25.4


def _whole(name: str, value: float, least: int, most: int, source: str = "") -> int:
    """Return a whole number between two others, or raise `ArgumentError`."""
    found = number(name, value, unit=f"a whole one from {least} to {most}")
    if found != int(found) or not least <= found <= most:
        raise ArgumentError(f"{name}={value!r} must be a whole number from {least} to {most}{source}")
    return int(found)


def _axes(name: str, value: PerAxis, *, one: bool = True) -> Axes:
    """Return (x, y, z) from three numbers, or from one for all axes where `one` may be given."""
    form = "one number or (x, y, z)" if one else "(x, y, z) lengths in mm"
    alone = isinstance(value, Real) and one
    x, y, z = numbers(name, (value,) * 3 if alone else value, form=form, counts=(3,))
    return (positive(name, x), positive(name, y), positive(name, z))


@dataclass(frozen=True, kw_only=True)
class Machine:
    """A machine's limits, as its manual states them.

    Args:
        travel: (x, y, z) lengths, mm.
        max_feed: mm/min, one number or (x, y, z).
        acceleration: mm/s2, one number or (x, y, z).
        max_rpm: the spindle's highest speed.
        min_rpm: its lowest.
        rapid: mm/min, one number or (x, y, z); None = `max_feed`.
        spindle_power: W; None = unknown.
        spin_up: seconds to full speed.
        spin_down: seconds to standstill.
        spindle: "program" (M3 and M5 switch it) or "hand".
        corner_tolerance: how far a corner may be cut at speed, mm.
        positioning: how well the machine finds a place again, mm.
        homed: G53 moves are known to be right.
        park: (x, y) in stock coordinates to end at; None = stay.
        tool_change: "manual" or "automatic".
        change_time: seconds for one tool change.
        dialect: what its controller understands.
    """

    travel: Sequence[float]
    max_feed: PerAxis
    acceleration: PerAxis
    max_rpm: float
    min_rpm: float = 0.0
    rapid: PerAxis | None = None
    spindle_power: float | None = None
    spin_up: float = 3.0
    spin_down: float = 5.0
    spindle: Literal["program", "hand"] = "program"
    corner_tolerance: float = 0.01
    positioning: float = 0.05
    homed: bool = False
    park: tuple[float, float] | None = None
    tool_change: Literal["manual", "automatic"] = "manual"
    change_time: float = 60.0
    dialect: Dialect = field(default_factory=Dialect)

    def __post_init__(self) -> None:
        object.__setattr__(self, "travel", _axes("travel", self.travel, one=False))
        for name in ("max_feed", "acceleration", "rapid"):
            value = getattr(self, name)
            if value is not None or name != "rapid":
                object.__setattr__(self, name, _axes(name, value))
        positive("max_rpm", self.max_rpm)
        positive("min_rpm", self.min_rpm, zero=True)
        for name in ("spin_up", "spin_down", "change_time"):
            positive(name, getattr(self, name), zero=True)
        for name in ("corner_tolerance", "positioning"):
            positive(name, getattr(self, name))
        if self.spindle_power is not None:
            positive("spindle_power", self.spindle_power)
        if self.min_rpm > self.max_rpm:
            raise ArgumentError(f"min_rpm={self.min_rpm:g} lies above max_rpm={self.max_rpm:g}")
        one_of("spindle", self.spindle, ("program", "hand"))
        one_of("tool_change", self.tool_change, ("manual", "automatic"))
        yes_or_no("homed", self.homed)
        if self.park is not None:
            numbers("park", self.park, form="(x, y) in mm")
        if not isinstance(self.dialect, Dialect):
            raise ArgumentError(f"dialect={self.dialect!r} must be a Dialect, such as Dialect(units='inch')")
        if self.tool_change == "automatic" and not self.dialect.length_offsets:
            raise ArgumentError(
                "tool_change='automatic' needs length_offsets=True: without G43 every tool after the first would cut "
                "at the wrong height (NISTIR 6556 applies tool lengths only by G43)"
            )

    @property
    def feeds(self) -> Axes:
        """Highest feed per axis, mm/min."""
        return self.max_feed  # type: ignore[return-value]  # made a triple above

    @property
    def accelerations(self) -> Axes:
        """Acceleration per axis, mm/s2."""
        return self.acceleration  # type: ignore[return-value]  # made a triple above

    @property
    def rapids(self) -> Axes:
        """Rapid speed per axis, mm/min."""
        return self.max_feed if self.rapid is None else self.rapid  # type: ignore[return-value]  # made triples above
