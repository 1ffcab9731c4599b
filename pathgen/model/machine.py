"""The machine: how far, how fast, and what its controller understands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from pathgen.errors import ArgumentError, one_of, positive

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
            if value is not None and (value != int(value) or not 1 <= value <= 6):
                raise ArgumentError(f"{name}={value!r} must be a whole number from 1 to 6")
        if not 40 <= self.max_line <= 256:
            raise ArgumentError(f"max_line={self.max_line} must lie between 40 and 256 (NISTIR 6556 section 3.3)")

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


def _axes(name: str, value: PerAxis) -> Axes:
    values = tuple(value) if isinstance(value, Sequence) else (value,) * 3
    if len(values) != 3:
        raise ArgumentError(f"{name}={value!r} must be one number or (x, y, z)")
    x, y, z = (positive(name, v) for v in values)
    return (x, y, z)


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
        object.__setattr__(self, "travel", _axes("travel", tuple(self.travel)))
        for name in ("max_feed", "acceleration", "rapid"):
            value = getattr(self, name)
            if value is not None:
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
        if self.park is not None and (len(self.park) != 2 or not all(map(math.isfinite, self.park))):
            raise ArgumentError(f"park={self.park!r} must be (x, y) in mm")
        if self.tool_change == "automatic" and not self.dialect.length_offsets:
            raise ArgumentError(
                "tool_change='automatic' needs length_offsets=True: without G43 every tool after the first would cut at "
                "the wrong height (NISTIR 6556 applies tool lengths only by G43)"
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
