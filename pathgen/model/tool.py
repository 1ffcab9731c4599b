"""Tools as bodies of revolution, and the speeds they run at.

Every tool answers two questions about its cutting outline, with the tip at height 0:
`height_at(radius)`: how high above the tip the outline is at a distance from the axis, and
`radius_at(height)`: how wide the tool is at a height above the tip.
"""

from __future__ import annotations

import math
from dataclasses import KW_ONLY, dataclass, field
from numbers import Integral
from typing import ClassVar, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pathgen.errors import ArgumentError, number, one_of, positive, yes_or_no
from pathgen.model.arrays import FloatArray

Direction: TypeAlias = Literal["climb", "conventional"]
Cooling: TypeAlias = Literal["none", "air", "mist", "flood"]
Spiral: TypeAlias = Literal["up", "down", "straight", "both"]

SMALLEST_DIAMETER = 0.3
"""Below this a diameter is more often inches typed as mm than a real cutter so it must be confirmed."""


@dataclass(frozen=True)
class Cutting:
    """Speeds and steps of one tool in one material.

    Args:
        rpm: spindle speed, 1/min; 0 for tools that must not spin.
        feed: feed along the path, mm/min.
        plunge: largest downward share of the feed, mm/min.
        stepdown: depth of one level, mm; None = the whole depth at once.
        stepover: distance of neighbouring passes, mm; None where no area is cleared.
        ramp: steepest entry, degrees below level.
        retrace: factor on feed where the path runs over what is already cut.
        slot: factor on feed where the tool cuts at its full width.
        direction: "climb" or "conventional".
        cooling: "none", "air", "mist" or "flood".

    Raises:
        ArgumentError: for a feed or plunge that is not above 0, or an unknown word.
    """

    rpm: float
    feed: float
    plunge: float
    stepdown: float | None = None
    stepover: float | None = None
    _: KW_ONLY
    ramp: float = 3.0
    retrace: float = 2.0
    slot: float = 0.5
    direction: Direction = "climb"
    cooling: Cooling = "none"

    def __post_init__(self) -> None:
        positive("rpm", self.rpm, zero=True)
        for name in ("feed", "plunge", "ramp", "retrace", "slot"):
            positive(name, getattr(self, name))
        for name in ("stepdown", "stepover"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))
        if self.ramp > 90:
            raise ArgumentError(f"ramp={self.ramp:g} is an angle below level: at most 90 degrees")
        one_of("direction", self.direction, ("climb", "conventional"))
        one_of("cooling", self.cooling, ("none", "air", "mist", "flood"))


@dataclass(frozen=True)
class Holder:
    """The part above the stick-out: a cylinder.

    Args:
        diameter: mm.
        length: mm.
    """

    diameter: float
    length: float

    def __post_init__(self) -> None:
        positive("holder diameter", self.diameter)
        positive("holder length", self.length)


@dataclass(frozen=True)
class Tool:
    """What all tools have in common. Make one of its kinds: `EndMill`, `BallNose`, `Drill`, `VBit`, ….

    Attributes:
        number: T number in programs; None = given by first use.
        name: how the sheet calls it; None = described by kind and size.
        cutting: the speeds to use where a cut is given none.
        flutes: cutting edges.
        cutting_length: length of the edges, mm; None = unknown.
        shank: shank diameter, mm; None = unknown.
        stick_out: length below the holder, mm; None = unknown.
        holder: the holder's cylinder; None = unknown.
        max_rpm: the maker's limit, 1/min.
        center_cutting: may go straight down.
        max_ramp: steepest entry, degrees.
        spiral: which way the chips go.
        up_cut_length: for spiral="both": length of the up-cut end, mm.
        small: confirms a diameter below 0.3 mm.
    """

    _: KW_ONLY
    number: int | None = None
    name: str | None = None
    cutting: Cutting | None = None
    flutes: int = 2
    cutting_length: float | None = None
    shank: float | None = None
    stick_out: float | None = None
    holder: Holder | None = None
    max_rpm: float | None = None
    center_cutting: bool = True
    max_ramp: float | None = None
    spiral: Spiral = "up"
    up_cut_length: float | None = None
    small: bool = False

    kind: ClassVar[str] = "tool"
    spins: ClassVar[bool] = True
    diameter: float = field(default=0.0, init=False, repr=False)

    def __post_init__(self) -> None:
        if self.number is not None and not (isinstance(self.number, Integral) and 1 <= self.number <= 99999):
            raise ArgumentError(f"tool number={self.number!r} must be a whole number from 1 to 99999")
        if not (isinstance(self.flutes, Integral) and self.flutes >= 1):
            raise ArgumentError(f"flutes={self.flutes!r} must be a whole number of at least 1")
        if self.name is not None and not isinstance(self.name, str):
            raise ArgumentError(f"tool name={self.name!r} must be text")
        if self.cutting is not None and not isinstance(self.cutting, Cutting):
            raise ArgumentError(f"cutting={self.cutting!r} must be Cutting(rpm, feed, plunge, stepdown, stepover)")
        if self.holder is not None and not isinstance(self.holder, Holder):
            raise ArgumentError(f"holder={self.holder!r} must be Holder(diameter, length)")
        for name in ("center_cutting", "small"):
            yes_or_no(name, getattr(self, name))
        for name in ("cutting_length", "shank", "stick_out", "max_rpm", "max_ramp", "up_cut_length"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))
        one_of("spiral", self.spiral, ("up", "down", "straight", "both"))
        if self.spins and self.cutting is not None and self.cutting.rpm == 0:
            raise ArgumentError(f"{self.describe()}: rpm=0 for a tool that cuts by spinning: give its speed")
        if not self.spins and self.cutting is not None and self.cutting.rpm != 0:
            raise ArgumentError(
                f"{self.describe()}: rpm={self.cutting.rpm:g}, but this tool must never spin: give rpm=0"
            )

    def _check_diameter(self) -> None:
        positive("diameter", self.diameter)
        if self.diameter < SMALLEST_DIAMETER and not self.small:
            raise ArgumentError(
                f"diameter={self.diameter:g} mm is very small: did you mean inch({self.diameter:g})? "
                "For a real micro cutter give small=True"
            )

    def describe(self) -> str:
        """Return the tool in a few words for comments, sheets and messages."""
        return self.name or f"{self.kind} {self.diameter:g} mm"

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """Height (mm) of the outline above the tip at `radius` (mm, array); inf outside the cutter."""
        raise TypeError(f"{type(self).__name__} has no outline at {radius!r}: use one of the tool kinds")

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """Radius (mm) of the tool at `height` (mm >= 0, array) above the tip; 0 below it."""
        raise TypeError(f"{type(self).__name__} has no outline at {height!r}: use one of the tool kinds")


def _inside(radius: FloatArray, limit: float, height: FloatArray) -> FloatArray:
    return np.where(np.abs(radius) <= limit, height, np.inf)


@dataclass(frozen=True)
class EndMill(Tool):
    """A flat-bottomed cutter.

    Args:
        diameter: cutting diameter, mm.
        cut_width: width of a slot it was measured to cut, mm; None = diameter.

    >>> EndMill(6).height_at([0, 3, 3.1])
    array([ 0.,  0., inf])
    """

    diameter: float
    _: KW_ONLY
    cut_width: float | None = None
    kind: ClassVar[str] = "end mill"

    def __post_init__(self) -> None:
        self._check_diameter()
        if self.cut_width is not None:
            positive("cut_width", self.cut_width)
        super().__post_init__()

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """See `Tool.height_at`: 0 up to the radius."""
        r = np.asarray(radius, dtype=np.float64)
        return _inside(r, 0.5 * self.diameter, np.zeros_like(r))

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """See `Tool.radius_at`: the same all the way up."""
        h = np.asarray(height, dtype=np.float64)
        return np.where(h >= 0, 0.5 * self.diameter, 0.0)


@dataclass(frozen=True)
class BallNose(Tool):
    """A round-nosed cutter.

    Args:
        diameter: cutting diameter, mm; the nose is a half sphere of half of it.

    >>> BallNose(6).height_at([0, 3])
    array([0., 3.])
    """

    diameter: float
    kind: ClassVar[str] = "ball nose"

    def __post_init__(self) -> None:
        self._check_diameter()
        super().__post_init__()

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """See `Tool.height_at`: R - sqrt(R^2 - r^2)."""
        r = np.asarray(radius, dtype=np.float64)
        big = 0.5 * self.diameter
        return _inside(r, big, big - np.sqrt(np.maximum(big * big - r * r, 0.0)))

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """See `Tool.radius_at`: sqrt(h (2R - h)) up to R, then R."""
        h = np.maximum(np.asarray(height, dtype=np.float64), 0.0)
        big = 0.5 * self.diameter
        low = np.minimum(h, big)
        return np.sqrt(low * (2.0 * big - low))


def _cone_height(r: FloatArray, flat: float, half_angle: float, limit: float) -> FloatArray:
    return _inside(r, limit, np.maximum(np.abs(r) - flat, 0.0) / math.tan(math.radians(half_angle)))


def _cone_radius(height: ArrayLike, flat: float, half_angle: float, limit: float) -> FloatArray:
    h = np.asarray(height, dtype=np.float64)
    wide: FloatArray = np.minimum(flat + h * math.tan(math.radians(half_angle)), limit)
    return np.where(h >= 0, wide, 0.0)


@dataclass(frozen=True)
class Drill(Tool):
    """A twist drill.

    Args:
        diameter: mm.
        point_angle: included angle of the point, degrees.
    """

    diameter: float
    _: KW_ONLY
    point_angle: float = 118.0
    kind: ClassVar[str] = "drill"

    def __post_init__(self) -> None:
        self._check_diameter()
        if not 30 <= number("point_angle", self.point_angle, unit="degrees") <= 180:
            raise ArgumentError(f"point_angle={self.point_angle:g} must lie between 30 and 180 degrees")
        super().__post_init__()

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """See `Tool.height_at`: a cone of half the point angle."""
        r = np.asarray(radius, dtype=np.float64)
        return _cone_height(r, 0.0, 0.5 * self.point_angle, 0.5 * self.diameter)

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """See `Tool.radius_at`."""
        return _cone_radius(height, 0.0, 0.5 * self.point_angle, 0.5 * self.diameter)


@dataclass(frozen=True)
class VBit(Tool):
    """A cone-shaped cutter for grooves.

    Args:
        angle: included angle, degrees, as measured on a trial groove where it was.
        diameter: largest cutting diameter, mm.
        tip: width of the flat at the tip, mm.

    >>> VBit(90, diameter=12, tip=0.2).height_at([0.1, 1.1]).round(9)
    array([0., 1.])
    """

    angle: float
    _: KW_ONLY
    diameter: float
    tip: float = 0.0
    kind: ClassVar[str] = "V bit"

    def __post_init__(self) -> None:
        self._check_diameter()
        positive("tip", self.tip, zero=True)
        if not 5 <= number("angle", self.angle, unit="degrees") <= 170:
            raise ArgumentError(f"angle={self.angle:g} must lie between 5 and 170 degrees (the included angle)")
        if self.tip >= self.diameter:
            raise ArgumentError(f"tip={self.tip:g} must be smaller than diameter={self.diameter:g}")
        super().__post_init__()

    def describe(self) -> str:
        """See `Tool.describe`."""
        return self.name or f"V bit {self.angle:g} deg {self.diameter:g} mm"

    @property
    def slope(self) -> float:
        """tan(angle / 2): how much the cut widens to each side for 1 mm of depth."""
        return math.tan(math.radians(0.5 * self.angle))

    @property
    def cone_height(self) -> float:
        """Height of the cone, mm: the deepest groove whose edges it can still cut."""
        return 0.5 * (self.diameter - self.tip) / self.slope

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """See `Tool.height_at`: 0 on the tip's flat, then the cone."""
        r = np.asarray(radius, dtype=np.float64)
        return _cone_height(r, 0.5 * self.tip, 0.5 * self.angle, 0.5 * self.diameter)

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """See `Tool.radius_at`."""
        return _cone_radius(height, 0.5 * self.tip, 0.5 * self.angle, 0.5 * self.diameter)


@dataclass(frozen=True)
class _Dragging(Tool):
    """A tool that is drawn along and must never spin: a point without width."""

    spins: ClassVar[bool] = False

    def height_at(self, radius: ArrayLike) -> FloatArray:
        """See `Tool.height_at`: 0 on the axis, inf elsewhere."""
        r = np.asarray(radius, dtype=np.float64)
        return np.where(r == 0, 0.0, np.inf)

    def radius_at(self, height: ArrayLike) -> FloatArray:
        """See `Tool.radius_at`: 0."""
        return np.zeros_like(np.asarray(height, dtype=np.float64))


@dataclass(frozen=True)
class TrailingKnife(_Dragging):
    """A knife whose tip trails behind its pivot. It never spins.

    Args:
        trail: distance from pivot to tip, mm.
        edge_angle: angle of the cutting edge from the face of the card, degrees.
        max_depth: deepest the blade can cut, mm; None = unknown.
    """

    _: KW_ONLY
    trail: float
    edge_angle: float
    max_depth: float | None = None
    kind: ClassVar[str] = "trailing knife"

    def __post_init__(self) -> None:
        positive("trail", self.trail)
        if not 0 < number("edge_angle", self.edge_angle, unit="degrees") <= 90:
            raise ArgumentError(f"edge_angle={self.edge_angle:g} must lie above 0 and up to 90 degrees")
        if self.max_depth is not None:
            positive("max_depth", self.max_depth)
        super().__post_init__()

    def describe(self) -> str:
        """See `Tool.describe`."""
        return self.name or f"trailing knife, trail {self.trail:g} mm"


@dataclass(frozen=True)
class DiamondPoint(_Dragging):
    """A spring-loaded diamond point. It never spins.

    Args:
        preload: the spring's start force, N; None = unknown.
        spring_rate: N/mm; None = unknown.
        max_travel: furthest it can be pressed in, mm; None = unknown.
    """

    _: KW_ONLY
    preload: float | None = None
    spring_rate: float | None = None
    max_travel: float | None = None
    kind: ClassVar[str] = "diamond point"

    def __post_init__(self) -> None:
        for name in ("preload", "spring_rate", "max_travel"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name), zero=True)
        super().__post_init__()

    def describe(self) -> str:
        """See `Tool.describe`."""
        return self.name or "diamond point"
