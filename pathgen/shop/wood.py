"""How wood moves with the damp of the air, and what that asks of an inlay that does not move.

Source: USDA Forest Products Laboratory, *Wood Handbook* (FPL-GTR-190, 2010; FPL-GTR-282, 2021): Eq. 4-5 and Table 4-2
(moisture that wood comes to), Eq. 13-2 with Table 13-5, Eq. 13-3 with Table 4-3 (change of size).

Terminology
    rh: relative humidity of the air, percent.
    moisture: mass of water in the wood by the mass of the dry wood, percent.
    tangential: along the growth rings, the width of a flat-sawn board; radial: across them, the width of a
    quarter-sawn board. Along the fibers wood hardly moves.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeAlias

from pathgen.errors import ArgumentError, number, one_of, positive

Grain: TypeAlias = Literal["tangential", "radial"]

ROOM = 21.1
"""Temperature of a heated room, degrees Celsius: 70 F, that of Table 4-2."""

VALID = (6.0, 14.0)
"""Moisture, percent, for which Eq. 13-2 holds."""

SATURATED = 30.0
"""Moisture, percent, above which wood does not swell any more (Wood Handbook, chapter 4)."""


@dataclass(frozen=True, kw_only=True)
class Movement:
    """How much a piece of wood changes across the grain. An estimate: single boards differ by a fifth and more.

    Attributes:
        species: as in `SPECIES`.
        width: size across the grain before, mm.
        change: growth, mm; negative = it shrinks.
        moisture: percent before and after.
        notes: what limits the estimate, sentences.
    """

    species: str
    width: float
    change: float
    moisture: tuple[float, float]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Seasons:
    """What a pocket does through the year around a piece that does not move, such as metal.

    Attributes:
        closes: how much narrower the pocket gets in the driest season, mm, >= 0.
        opens: how much wider it gets in the dampest season, mm, >= 0.
        clearance: air on each side that keeps the piece from being squeezed, mm: half of `closes`.
        gap: widest gap on each side in the dampest season with that clearance, mm.
        notes: what limits the estimate, sentences.
    """

    closes: float
    opens: float
    clearance: float
    gap: float
    notes: tuple[str, ...]


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads(files("pathgen.shop").joinpath("data/wood.toml").read_text(encoding="utf-8"))


def species() -> tuple[str, ...]:
    """Return the names of all species in the table.

    >>> species()[:3]
    ('black-walnut', 'red-oak', 'white-oak')
    """
    return tuple(_table())


def _row(name: str) -> dict[str, Any]:
    table = _table()
    if not isinstance(name, str) or name not in table:
        near = get_close_matches(str(name).lower().replace(" ", "-"), table, n=1, cutoff=0.4)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise ArgumentError(f"species={name!r} is not one of {', '.join(table)}.{hint}")
    return table[name]


def _humidity(name: str, rh: float) -> float:
    number(name, rh)
    if not 0.0 <= rh < 100.0:
        raise ArgumentError(f"{name}={rh:g} is a relative humidity in percent: from 0 to below 100")
    return float(rh)


def moisture(rh: float, *, temperature: float = ROOM) -> float:
    """Return the moisture that wood comes to in air of one humidity, percent.

    Args:
        rh: relative humidity, percent, 0 to below 100.
        temperature: of the air, degrees Celsius.

    Raises:
        ArgumentError: for a humidity outside that range.

    Source: Wood Handbook, Eq. 4-5. The handbook warns that a tenth of a percent is not meaningful.

    >>> round(moisture(65), 1)
    12.0
    """
    h = _humidity("rh", rh) / 100.0
    number("temperature", temperature)
    t = float(temperature)
    w = 349.0 + 1.29 * t + 0.0135 * t * t
    k = 0.805 + 0.000736 * t - 0.00000273 * t * t
    k1 = 6.27 - 0.00938 * t - 0.000303 * t * t
    k2 = 1.91 + 0.0407 * t - 0.000293 * t * t
    kh = k * h
    first = kh / (1.0 - kh)
    second = (k1 * kh + 2.0 * k1 * k2 * kh * kh) / (1.0 + k1 * kh + k1 * k2 * kh * kh)
    return 1800.0 / w * (first + second)


def movement(
    name: str,
    width: float,
    *,
    from_rh: float,
    to_rh: float,
    grain: Grain = "tangential",
    temperature: float = ROOM,
) -> Movement:
    """Return how much a piece of wood grows or shrinks across the grain between two climates. An estimate.

    Args:
        name: a species of the table, such as "black-walnut".
        width: size across the grain in the first climate, mm.
        from_rh: relative humidity it has come to rest in, percent.
        to_rh: relative humidity it will come to rest in, percent.
        grain: "tangential" (flat-sawn width, the larger) or "radial" (quarter-sawn).
        temperature: of the air, degrees Celsius.

    Raises:
        ArgumentError: for an unknown species or a humidity outside 0 to 100.

    Source: Wood Handbook, Eq. 13-2 with Table 13-5, from 6 to 14 % moisture; outside that Eq. 13-3 with Table 4-3,
    where the shrinkage is known, else Eq. 13-2 beyond its range, which a note says.

    >>> round(movement("black-walnut", 200, from_rh=30, to_rh=65).change, 1)
    3.2
    """
    before, after = (
        moisture(_humidity(word, rh), temperature=temperature) for word, rh in (("from_rh", from_rh), ("to_rh", to_rh))
    )
    return movement_of_moisture(name, width, moisture=(before, after), grain=grain)


def movement_of_moisture(name: str, width: float, *, moisture: tuple[float, float], grain: Grain) -> Movement:
    """Return the same as `movement` from the wood's moisture before and after, percent, as a meter shows it."""
    row = _row(name)
    positive("width", width)
    one_of("grain", grain, ("tangential", "radial"))
    before, after = (min(max(float(m), 0.0), SATURATED) for m in moisture)
    notes = ["An estimate: single boards differ from the table, and no board is purely flat-sawn or quarter-sawn."]
    if row["source"] == "memory":
        notes.append(f"The figures of {name} are from memory: look them up before you rely on them.")
    shrinkage = row.get(f"shrinkage_{grain}")
    inside = all(VALID[0] <= m <= VALID[1] for m in (before, after))
    if inside or shrinkage is None:
        change = width * float(row[grain]) * (after - before)
        if not inside:
            notes.append(f"{before:.1f} to {after:.1f} % moisture goes beyond 6 to 14 %, where the coefficient holds.")
    else:
        change = width * (after - before) / (3000.0 / float(shrinkage) - 30.0 + before)
        notes.append(
            f"{before:.1f} to {after:.1f} % moisture goes beyond 6 to 14 %: reckoned from the whole shrinkage."
        )
        if row.get("shrinkage_source") == "memory":
            notes.append(f"The shrinkage of {name} is from memory: look it up before you rely on it.")
    return Movement(species=name, width=float(width), change=change, moisture=(before, after), notes=tuple(notes))


def seasons(
    name: str,
    width: float,
    *,
    cut_at: float,
    driest: float,
    dampest: float,
    grain: Grain = "tangential",
    temperature: float = ROOM,
) -> Seasons:
    """Return what a pocket across the grain does through the year around a piece that does not move. An estimate.

    A pocket moves as the wood around it does: it narrows when the wood dries.

    Args:
        name: a species of the table.
        width: of the pocket across the grain, mm.
        cut_at: relative humidity of the shop the board has come to rest in, percent.
        driest: lowest relative humidity over the seasons, percent.
        dampest: highest relative humidity over the seasons, percent.
        grain: "tangential" (flat-sawn) or "radial" (quarter-sawn).
        temperature: of the air, degrees Celsius.

    Raises:
        ArgumentError: for an unknown species, or where `driest` is above `dampest`.

    Source: as `movement`.
    """
    if _humidity("driest", driest) > _humidity("dampest", dampest):
        raise ArgumentError(f"driest={driest:g} is above dampest={dampest:g} percent: swap them")
    dry, damp = (
        movement(name, width, from_rh=cut_at, to_rh=rh, grain=grain, temperature=temperature)
        for rh in (driest, dampest)
    )
    closes, opens = max(0.0, -dry.change), max(0.0, damp.change)
    notes = tuple(dict.fromkeys((*dry.notes, *damp.notes)))
    return Seasons(closes=closes, opens=opens, clearance=closes / 2, gap=(closes + opens) / 2, notes=notes)
