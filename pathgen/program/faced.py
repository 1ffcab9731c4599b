"""Where cuts touch the face, from what was asked; and cuts lowered by what a facing before them took off."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence

import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from pathgen.errors import ArgumentError
from pathgen.model.artwork import Matrix
from pathgen.model.bounds import Bounds, Flat, Free, Groove, Hole, Kerf, Line, Rule
from pathgen.model.cut import Cut, Stop
from pathgen.model.stock import Stock


def kerfs(cut: Cut) -> Iterator[Kerf]:
    """Return the slots that a cut was asked for."""
    return (r for r in cut.bounds.rules if isinstance(r, Kerf))


def cut_shapes(bounds: Bounds) -> list[BaseGeometry]:
    """Return where a cut is asked to change the face: `footprint` without where a blade is first turned; mm."""
    return [r.lines if isinstance(r, Line) else _rule_area(r) for r in bounds.rules]


def _rule_area(rule: Rule) -> BaseGeometry:
    if isinstance(rule, Groove) and rule.widening:
        return rule.region.buffer(rule.begin * math.tan(math.radians(0.5 * rule.angle)))
    if isinstance(rule, Flat | Groove | Free | Hole):
        return rule.region
    if isinstance(rule, Kerf):
        if rule.side == "along":
            return rule.shape.buffer(0.5 * rule.width)
        if rule.side == "outside":
            return rule.shape.buffer(rule.width).difference(rule.shape)
        return rule.shape.difference(rule.shape.buffer(-rule.width))
    if isinstance(rule, Line):
        return shapely.union(rule.lines, rule.waste)
    return MultiPolygon()


def parted(cut: Cut) -> list[BaseGeometry]:
    """Return the outlines of what a cut frees: of its through slots, and of the lines that a knife parts."""
    lines = [r.lines for r in cut.bounds.rules if isinstance(r, Line) and r.through]
    return [*(k.shape for k in kerfs(cut) if k.side != "along"), *lines] if cut.through else []


def footprint(bounds: Bounds) -> BaseGeometry:
    """Where a cut may touch the face, from what was asked; mm."""
    return shapely.union_all([_rule_area(r) for r in bounds.rules])


def _lower_rule(rule: Rule, by: float) -> Rule:
    if isinstance(rule, Flat | Kerf | Free | Hole | Line):
        return dataclasses.replace(rule, depth=rule.depth + by)
    if isinstance(rule, Groove):
        return dataclasses.replace(rule, begin=rule.begin + by, limit=rule.limit + by)
    return rule


def lowered(cuts: Sequence[Cut | Stop], stock: Stock) -> tuple[Cut | Stop, ...]:
    """Return the cuts with everything after a facing shifted down by what it took.

    Through cuts, and bridges with them, are measured from the underside and stay as they are.
    """
    faced, region = 0.0, MultiPolygon()
    out: list[Cut | Stop] = []
    for cut in cuts:
        if isinstance(cut, Stop) or faced == 0.0 or cut.through:
            out.append(cut)
        elif cut.face_depth:
            raise ArgumentError("a job can face its stock once: give the whole depth to one face()")
        else:
            if not region.buffer(1e-6).covers(footprint(cut.bounds)):
                raise ArgumentError(
                    f"cut {cut.name!r} lies partly beside the faced area, so it has no one depth: face all of it, or "
                    "cut it in a job of its own"
                )
            deep = cut.depth + faced
            if deep >= stock.thinnest - 1e-9:
                raise ArgumentError(
                    f"cut {cut.name!r} is {cut.depth:g} mm deep below a face lowered by {faced:g} mm: that is through "
                    f"the {stock.thinnest:g} mm stock"
                )
            out.append(
                dataclasses.replace(
                    cut,
                    depth=deep,
                    passes=tuple(dataclasses.replace(p, path=p.path.moved(dz=-faced)) for p in cut.passes),
                    travel=tuple((z - faced, where) for z, where in cut.travel),
                    bounds=dataclasses.replace(
                        cut.bounds, rules=tuple(_lower_rule(r, faced) for r in cut.bounds.rules)
                    ),
                )
            )
        if isinstance(cut, Cut) and cut.face_depth:
            faced = cut.face_depth
            region = shapely.union_all([r.region for r in cut.bounds.rules if isinstance(r, Flat)])
    return tuple(out)


def registered(pocket: Sequence[Cut], plug: Sequence[Cut], *, turned: bool) -> Matrix:
    """Return the move that lays a pocket over its plug by the middles of what each was asked to cut or leave.

    Args:
        pocket: cuts of the recess.
        plug: cuts of the piece: what stands is what their grooves go round, or their outlines enclose.
        turned: the plug is turned over, so the pocket is mirrored.
    """
    x0, y0, x1, y1 = shapely.union_all([footprint(c.bounds) for c in pocket]).bounds
    outlines = [k.shape for c in plug for k in kerfs(c)]
    grooves = [r.region for c in plug for r in c.bounds.rules if isinstance(r, Groove)]
    holes = [shapely.Polygon(ring) for g in grooves for p in shapely.get_parts(g) for ring in p.interiors]
    px0, py0, px1, py1 = shapely.union_all(outlines or holes).bounds
    sign = -1.0 if turned else 1.0
    dx, dy = 0.5 * (px0 + px1) - sign * 0.5 * (x0 + x1), 0.5 * (py0 + py1) - 0.5 * (y0 + y1)
    return (sign, 0.0, 0.0, 1.0, dx, dy)
