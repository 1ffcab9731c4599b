"""Line work with a spring-loaded diamond point: what is set is how far the spring is pressed in, not a depth.

Terminology
-----------
travel
    how far Z goes below the place where the point touches. The point stays on the face and the spring gives way.
preload
    the force with which the spring already presses when the point just touches.
"""

from __future__ import annotations

from dataclasses import replace
from numbers import Integral

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString

from pathgen.cuts.model import Cut, Cuttings, check_stock, cutting_for, described
from pathgen.errors import ArgumentError, positive
from pathgen.model.arrays import FloatArray
from pathgen.model.artwork import Shape, lines_of
from pathgen.model.bounds import Bounds, Kerf
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Cutting, DiamondPoint, Tool
from pathgen.shape.arcs import fit_arcs
from pathgen.shape.joined import joined
from pathgen.shape.tolerance import ARC_FIT

SURE_CONTACT = 0.1
"""Travel beyond the unevenness of the face, mm: less may lose the face in its hollows. Common practice, no source."""

ONTO_GLASS = 300.0
"""Fastest way down onto glass, mm/min. Common practice, no source: faster, the point chips the glass where it lands."""

TOUCH = 1e-9
"""Travels that differ by less are the same, mm. Numerical noise only."""


def scribe(
    lines: Shape | LineString | MultiLineString,
    tool: Tool,
    *,
    travel: float,
    line_width: float,
    passes: int = 1,
    cutting: Cuttings = None,
    stock: Stock | None = None,
    name: str | None = None,
) -> tuple[Cut, ...]:
    """Draw lines with a spring-loaded diamond point that does not spin.

    Z goes `travel` below the face, the spring gives way, and the point presses with preload + rate x travel (Hooke's
    law). How deep and how wide it scratches depends on force and hardness; `line_width` is what a trial showed, and is
    all that the proof claims. Lines whose ends meet are drawn in one go; closed ones start where the next line is near.

    Args:
        lines: lines, or a region, a layer or lettering whose outlines are drawn; mm, stock coordinates.
        tool: a `DiamondPoint`.
        travel: how far the spring is pressed in, mm: at least the stock's unevenness + 0.1, at most the tool's
            `max_travel`, where it would bottom out and shatter.
        line_width: width of the scratch as measured on a trial, mm.
        passes: how often each line is drawn: closed ones go on round, open ones to and fro.
        cutting: feed and plunge, rpm 0; None = the tool's own. On glass the way down is held to 300 mm/min.
        stock: the slab, whose unevenness counts.
        name: of the cut; None = "scribed lines".

    Returns:
        One `Cut`.

    Raises:
        ArgumentError: for another tool, a spindle speed, a travel that may lose the face or bottom out the spring.
        DrawingError: where there is no line.

    >>> point = DiamondPoint(preload=1.0, spring_rate=2.0, max_travel=1.0, cutting=Cutting(0, 900, 200))
    >>> slate = Stock(140, 70, 8, material="stone", unevenness=0.2)
    >>> cut, = scribe(LineString([(10, 10), (90, 10)]), point, travel=0.5, line_width=0.15, stock=slate)
    >>> cut.name, cut.depth, len(cut.passes), round(force_at(point, 0.5), 6)
    ('scribed lines', 0.5, 1, 2.0)
    """
    name = name or "scribed lines"
    if not isinstance(tool, DiamondPoint):
        raise ArgumentError(f"scribe: {described(tool)} is no sprung point: take DiamondPoint(...)")
    check_stock(stock)
    if isinstance(passes, bool) or not isinstance(passes, Integral) or passes < 1:
        raise ArgumentError(f"passes={passes!r} must be a whole number above 0")
    speeds = cutting_for(tool, cutting)
    _check_travel(tool, travel, stock)
    notes = list(_notes(tool, travel, stock, speeds))
    if stock is not None and stock.material == "glass":
        speeds = replace(speeds, plunge=min(speeds.plunge, ONTO_GLASS))
    asked = lines_of(lines)
    asked = MultiLineString([g for g in asked.geoms if g.length > 0])
    width = positive("line_width", line_width)
    return (
        Cut(
            name=name,
            tool=tool,
            cutting=speeds,
            passes=tuple(_pass(xy, float(travel), int(passes)) for xy in _started(joined(asked))),
            bounds=Bounds((Kerf(shape=asked, side="along", width=width, depth=float(travel)),)),
            depth=float(travel),
            notes=tuple(notes),
            stock=stock,
            units_guessed=bool(getattr(lines, "units_guessed", False)),
        ),
    )


def force_at(tool: DiamondPoint, travel: float) -> float:
    """Return the force (N) with which a point presses when its spring is pressed in by `travel` (mm >= 0).

    Hooke's law: preload + rate x travel. Just touching (travel 0) it presses with the preload.

    Raises:
        ArgumentError: where preload or spring rate are unknown, or beyond the spring's travel.
    """
    travel = positive("travel", travel, zero=True)
    preload, rate = _spring(tool)
    if tool.max_travel is not None and travel > tool.max_travel + TOUCH:
        raise ArgumentError(f"travel={travel:g} mm is more than the {tool.max_travel:g} mm that the spring goes")
    return preload + rate * travel


def travel_for(tool: DiamondPoint, force: float) -> float:
    """Return the travel (mm) at which a point presses with `force` (N): (force - preload) / rate.

    Raises:
        ArgumentError: where preload or spring rate are unknown, or the spring cannot press so lightly or so hard.
    """
    force = positive("force", force)
    preload, rate = _spring(tool)
    if force < preload - TOUCH:
        raise ArgumentError(
            f"force={force:g} N is less than the preload, {preload:g} N: the spring presses with that much from the "
            "first touch on. Take a softer spring"
        )
    if rate == 0:
        raise ArgumentError(f"spring_rate=0: {tool.describe()} presses with {preload:g} N at any travel")
    travel = max(force - preload, 0.0) / rate
    if tool.max_travel is not None and travel > tool.max_travel + TOUCH:
        raise ArgumentError(
            f"force={force:g} N would take {travel:.3f} mm of travel, but the spring goes {tool.max_travel:g} mm: take "
            "a stiffer spring, or draw the lines more than once (passes=)"
        )
    return travel


def _spring(tool: DiamondPoint) -> tuple[float, float]:
    """Return (preload in N, rate in N/mm), or raise `ArgumentError` where they are unknown."""
    if not isinstance(tool, DiamondPoint):
        raise ArgumentError(f"{tool!r} is no DiamondPoint: only a sprung point has a force")
    if tool.preload is None or tool.spring_rate is None:
        raise ArgumentError(
            f"the force of {tool.describe()} is unknown: give it preload= (N) and spring_rate= (N/mm), by pressing it "
            "on a kitchen scale (102 g weigh 1 N)"
        )
    return float(tool.preload), float(tool.spring_rate)


def _check_travel(tool: DiamondPoint, travel: float, stock: Stock | None) -> None:
    """Raise `ArgumentError` for a travel that loses the face or bottoms the spring out."""
    travel = positive("travel", travel)
    uneven = stock.unevenness if stock is not None else 0.0
    least = uneven + SURE_CONTACT
    if travel < least - TOUCH:
        raise ArgumentError(
            f"travel={travel:g} mm is less than {least:g}: the face is uneven by {uneven:g} mm and {SURE_CONTACT:g} mm "
            "more keep the point on it. Press it in further, or flatten the face"
        )
    if tool.max_travel is None:
        return
    if travel + uneven > tool.max_travel + TOUCH:
        hills = f", and the face rises by up to {uneven:g} mm more" if uneven else ""
        raise ArgumentError(
            f"travel={travel:g} mm: the spring of {tool.describe()} goes {tool.max_travel:g} mm{hills}; bottomed out, "
            "the diamond shatters. Press it in less"
        )


def _notes(tool: DiamondPoint, travel: float, stock: Stock | None, speeds: Cutting) -> list[Finding]:
    """Return what there is to say about spring and material."""
    uneven = stock.unevenness if stock is not None else 0.0
    notes = []
    if tool.preload is not None and tool.spring_rate is not None:
        low, high = (max(tool.preload + tool.spring_rate * (travel + s * uneven), 0.0) for s in (-1, 1))
        span = f"{low:.2f} to {high:.2f} N, as the face rises and falls" if uneven else f"{high:.2f} N"
        notes.append(
            Finding(code="spring-force", severity="note", text=f"{travel:g} mm of travel presses with {span}.")
        )
    if tool.max_travel is None:
        notes.append(
            Finding(
                code="spring-unknown",
                severity="warning",
                text=f"How far the spring of {tool.describe()} goes is not stated; bottomed out, the diamond shatters.",
                advice="Measure it and give max_travel= to the tool.",
            )
        )
    if stock is not None and stock.material == "glass":
        notes.append(
            Finding(
                code="tempered-glass",
                severity="note",
                text="Never scribe tempered glass: it bursts. Which glass this is cannot be seen from here.",
                advice="Look for a stamp in a corner; in doubt, ask the supplier.",
            )
        )
        if speeds.plunge > ONTO_GLASS:
            notes.append(
                Finding(
                    code="slow-onto-glass",
                    severity="note",
                    text=f"The point comes down at {ONTO_GLASS:g} mm/min, not at {speeds.plunge:g}: faster chips the "
                    "glass.",
                    amount=ONTO_GLASS,
                )
            )
    return notes


def _pass(xy: FloatArray, travel: float, passes: int) -> Pass:
    """Return one line drawn `passes` times without a lift."""
    closed = bool((xy[0] == xy[-1]).all()) and len(xy) > 3
    once = Path(fit_arcs(xy[:-1] if closed else xy, tolerance=ARC_FIT, closed=closed)).moved(dz=-travel)
    ways = [once if closed or k % 2 == 0 else once.reversed() for k in range(passes)]
    path = Path.joined(ways) if passes > 1 else once
    return Pass(path=path, closed=closed, reversible=not closed and passes % 2 == 1)


def _started(lines: list[FloatArray]) -> list[FloatArray]:
    """Return the lines with closed ones begun at the vertex next to the nearest other line, where the tool comes by."""
    closed = [len(xy) > 3 and bool((xy[0] == xy[-1]).all()) for xy in lines]
    if len(lines) < 2 or not any(closed):
        return lines
    marks = np.array(
        [LineString(xy) if c else shapely.multipoints(xy[[0, -1]]) for xy, c in zip(lines, closed, strict=True)]
    )
    tree = shapely.STRtree(marks)
    rings = np.flatnonzero(closed)
    (owner, other) = tree.query_nearest(marks[rings], exclusive=True, all_matches=False)
    out = list(lines)
    for k, j in zip(rings[owner].tolist(), other.tolist(), strict=True):
        near = shapely.distance(shapely.points(lines[k][:-1]), marks[j])
        out[k] = _begun_at(lines[k], int(np.argmin(np.round(near, 6))))
    return out


def _begun_at(ring: FloatArray, k: int) -> FloatArray:
    turned = np.roll(ring[:-1], -k, axis=0)
    return np.concatenate([turned, turned[:1]])
