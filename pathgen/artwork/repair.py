"""From drawn rings to the normal form of a region, in named steps, and the public checker of that form.

Steps: `finite` (no NaN), `tidy` (no repeated points), `fill` (the drawn fill rule on all rings together, on a grid of
1e-6 mm, oriented), `without_slivers`. `check` tells whether a region is in normal form. Nothing here guesses what a
crossing outline means: the fill rule of the drawing decides.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon

from pathgen.artwork.report import Report
from pathgen.errors import DrawingError, one_of
from pathgen.model.arrays import FloatArray, IntArray

FillRule: TypeAlias = Literal["nonzero", "evenodd"]
Operation: TypeAlias = Literal["union", "difference", "intersection"]

GRID: Final = 1e6
"""Grid points in a mm. Larger: whole numbers pass 2^53 on large boards; smaller: rounding shows in the parts."""
FARTHEST: Final = 1e6
"""Coordinates beyond this (mm, 1 km) are an error: no board is that large, and floats grow coarse."""
_RULES: Final = ("nonzero", "evenodd")


def finite(points: FloatArray, *, file: str, line: int | None = None, layer: str | None = None) -> FloatArray:
    """Return `points`, (n, 2) in mm, or raise.

    Raises:
        DrawingError: a coordinate is not a number, or lies beyond 1 km; with the place.
    """
    if not np.isfinite(points).all():
        k = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0])
        raise DrawingError(
            f"point {k + 1} has a coordinate that is not a number (NaN or infinite): correct or delete this shape",
            file=file,
            line=line,
            layer=layer,
        )
    if points.size and np.abs(points).max() > FARTHEST:
        far = points[int(np.abs(points).max(axis=1).argmax())]
        raise DrawingError(
            "it reaches beyond 1 km from the origin: check the unit and the transforms, or delete this shape",
            file=file,
            line=line,
            layer=layer,
            position=(float(far[0]), float(far[1])),
        )
    return points


def tidy(points: FloatArray, *, closed: bool) -> FloatArray:
    """Return `points` on the 1e-6 mm grid without repeated neighbours; of a closed ring also without the last = first.

    >>> tidy(np.array([[0, 0], [0, 0], [1, 0], [0, 0]]), closed=True)
    array([[0., 0.],
           [1., 0.]])
    """
    grid = np.rint(np.asarray(points, dtype=np.float64) * GRID)
    keep = np.ones(len(grid), dtype=bool)
    keep[1:] = (grid[1:] != grid[:-1]).any(axis=1)
    grid = grid[keep]
    if closed and len(grid) > 1 and (grid[0] == grid[-1]).all():
        grid = grid[:-1]
    return grid / GRID


def rings_of(region: Polygon | MultiPolygon) -> list[FloatArray]:
    """Return all rings of a region, (n, 2) each, without the repeated last point."""
    rings = shapely.get_rings(shapely.get_parts(region))
    return [shapely.get_coordinates(r)[:-1] for r in rings]


def _whole(rings: Iterable[FloatArray]) -> list[Any]:
    out = []
    for ring in rings:
        points = tidy(ring, closed=True)
        if len(points) >= 3:
            out.append(np.rint(points * GRID).astype(np.int64))
    return out


def _polygons(node: Any) -> list[Polygon]:
    """All polygons of a tree of contours: odd depths are shells, their children holes."""
    out: list[Polygon] = []
    stack = list(node.Childs)
    while stack:
        shell = stack.pop()
        if len(shell.Contour) >= 3:
            holes = [np.array(h.Contour) / GRID for h in shell.Childs if len(h.Contour) >= 3]
            out.append(Polygon(np.array(shell.Contour) / GRID, holes))
        for hole in shell.Childs:
            stack.extend(hole.Childs)
    return out


def normal(parts: Iterable[Polygon]) -> MultiPolygon:
    """Return non-overlapping polygons as a valid, oriented MultiPolygon in a fixed order (by lowest, then leftmost).

    Those that touch themselves must come oriented: shells counter-clockwise, holes clockwise.
    """
    array = np.array([p for p in parts if not p.is_empty], dtype=object)
    if not len(array):
        return MultiPolygon()
    # Contours may touch themselves, which the simple-feature rules forbid; make_valid would change the area there.
    bad = ~shapely.is_valid(array)
    if bad.any():
        split = by_faces([ring for p in array[bad] for ring in rings_of(p)], [], "union")
        array = np.concatenate([array[~bad], shapely.get_parts(split)])
    array = shapely.orient_polygons(array)
    box = np.round(shapely.bounds(array), 6)
    array = array[np.lexsort((shapely.area(array), box[:, 0], box[:, 1]))]
    region = MultiPolygon(list(array))
    if not region.is_valid:
        united = shapely.get_parts(shapely.union_all(array))
        region = MultiPolygon(list(shapely.orient_polygons(united[shapely.get_type_id(united) == 3])))
    return region


def combine(
    subject: Sequence[FloatArray],
    clip: Sequence[FloatArray],
    operation: Operation,
    rule: FillRule = "nonzero",
) -> MultiPolygon:
    """Return the boolean of two sets of rings, both filled by `rule`, in normal form but for slivers.

    By sweep line; where that gives up on nearly coincident edges, which happens, by the faces of the arrangement.
    """
    import pyclipper

    one_of("rule", rule, _RULES)
    kind = pyclipper.PFT_NONZERO if rule == "nonzero" else pyclipper.PFT_EVENODD
    kinds = {
        "union": pyclipper.CT_UNION,
        "difference": pyclipper.CT_DIFFERENCE,
        "intersection": pyclipper.CT_INTERSECTION,
    }
    engine = pyclipper.Pyclipper()
    sets = (_whole(subject), _whole(clip))
    for whole, role in zip(sets, (pyclipper.PT_SUBJECT, pyclipper.PT_CLIP), strict=True):
        # AddPaths refuses a set of which every ring is flat: it has nothing to fill.
        with contextlib.suppress(pyclipper.ClipperException):
            if whole:
                engine.AddPaths(whole, role, True)
    try:
        tree = engine.Execute2(kinds[operation], kind, kind)
    except pyclipper.ClipperException:
        return by_faces(subject, clip, operation, rule)
    return normal(_polygons(tree))


def _windings(points: FloatArray, rings: Sequence[FloatArray]) -> IntArray:
    """Return how often the rings go round each point, (n,): signed crossings of the ray to the right."""
    total = np.zeros(len(points), dtype=np.int64)
    for ring in rings:
        a, b = ring, np.roll(ring, -1, axis=0)
        for first in range(0, len(points), 1000):
            x, y = points[first : first + 1000, :1], points[first : first + 1000, 1:]
            up, down = (a[:, 1] <= y) & (b[:, 1] > y), (a[:, 1] > y) & (b[:, 1] <= y)
            left = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
            total[first : first + 1000] += (up & (left > 0)).sum(axis=1) - (down & (left < 0)).sum(axis=1)
    return total


def by_faces(
    subject: Sequence[FloatArray],
    clip: Sequence[FloatArray],
    operation: Operation,
    rule: FillRule = "nonzero",
) -> MultiPolygon:
    """Return the same as `combine`, slower but on any input: faces of all edges, kept by their winding numbers."""
    sets = [[tidy(r, closed=True) for r in rings] for rings in (subject, clip)]
    sets = [[r for r in rings if len(r) >= 3] for rings in sets]
    edges = [LineString(np.concatenate([r, r[:1]])) for rings in sets for r in rings]
    if not edges:
        return MultiPolygon()
    noded = shapely.union_all(edges, grid_size=1.0 / GRID)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    if not len(faces):
        return MultiPolygon()
    inner = shapely.get_coordinates(shapely.point_on_surface(faces))
    turns = [_windings(inner, rings) for rings in sets]
    s, c = (t != 0 if rule == "nonzero" else t % 2 == 1 for t in turns)
    keep = {"union": s | c, "difference": s & ~c, "intersection": s & c}[operation]
    kept = shapely.get_parts(shapely.union_all(faces[keep], grid_size=1.0 / GRID))
    return normal(kept[shapely.get_type_id(kept) == 3])


def fill(rings: Sequence[FloatArray], rule: FillRule = "nonzero") -> MultiPolygon:
    """Return the area that `rings` enclose together under the fill rule: SVG 1.1 section 11.3.

    Args:
        rings: (n, 2) each, mm; closed or not, an open one is closed by a straight line.
        rule: "nonzero" or "evenodd".

    Returns:
        A valid, oriented MultiPolygon on the 1e-6 mm grid; empty where nothing is enclosed.

    >>> star = np.array([[0, 3], [-1.8, -2.4], [2.9, 0.9], [-2.9, 0.9], [1.8, -2.4]])
    >>> fill([star]).area > fill([star], "evenodd").area
    True
    """
    if len(rings) == 1:
        points = tidy(rings[0], closed=True)
        if len(points) < 3:
            return MultiPolygon()
        single = Polygon(points)
        if single.is_valid:
            return MultiPolygon([shapely.orient_polygons(single)])
    return combine(rings, [], "union", rule) if rings else MultiPolygon()


def united(regions: Sequence[MultiPolygon]) -> MultiPolygon:
    """Return the union of regions in normal form."""
    full = [r for r in regions if not r.is_empty]
    if len(full) == 1:
        return full[0]
    return fill([ring for region in full for ring in rings_of(region)])


def minus(region: MultiPolygon, other: MultiPolygon) -> MultiPolygon:
    """Return `region` without `other`, both in normal form."""
    return combine(rings_of(region), rings_of(other), "difference")


def common(region: MultiPolygon, other: MultiPolygon) -> MultiPolygon:
    """Return what both regions hold, both in normal form."""
    return combine(rings_of(region), rings_of(other), "intersection")


def _thin(rings: Any, tolerance: float) -> Any:
    """Which closed rings are narrower on average than `tolerance`: width = 2 area / perimeter, exact for a strip."""
    area = shapely.area(shapely.polygons(rings))
    return 2.0 * area < tolerance * shapely.length(rings)


def without_slivers(region: MultiPolygon, tolerance: float, report: Report | None = None) -> MultiPolygon:
    """Return `region` without pieces and holes whose mean width (2 area / perimeter) is below `tolerance` mm.

    Each one dropped is a `Note` with its place.
    """
    if region.is_empty:
        return region
    parts = shapely.get_parts(region)
    rings, owner = shapely.get_rings(parts, return_index=True)
    thin = _thin(rings, tolerance)
    if not thin.any():
        return region
    outer = np.ones(len(rings), dtype=bool)
    outer[1:] = owner[1:] != owner[:-1]
    kept = []
    for k, part in enumerate(parts):
        mine = owner == k
        if not thin[mine & outer].any():
            holes = [shapely.get_coordinates(r) for r in rings[mine & ~outer & ~thin]]
            kept.append(Polygon(part.exterior.coords, holes))
    if report is not None:
        for k in map(int, np.flatnonzero(thin)):
            x, y = shapely.get_coordinates(rings[k])[0]
            what = "piece" if outer[k] else "hole"
            report.say("sliver", f"a {what} thinner than {tolerance:g} mm was dropped", where=(x, y))
    return MultiPolygon(kept)


def crossing(ring: FloatArray) -> tuple[float, float] | None:
    """Return a place where the ring crosses or touches itself, or None."""
    points = tidy(ring, closed=True)
    if len(points) < 3:
        return None
    single = Polygon(points)
    if single.is_valid:
        return None
    reason = shapely.is_valid_reason(single)
    inside = reason[reason.find("[") + 1 : reason.find("]")].split()
    return float(inside[0]), float(inside[1])


def check(region: MultiPolygon, *, tolerance: float = 0.002) -> tuple[str, ...]:
    """Return what keeps `region` from the normal form, one sentence each; empty where it is in normal form.

    Checked: finite coordinates; closed rings of at least three different points; no repeated neighbours; simple
    rings and no overlapping pieces (validity by the simple-feature rules, ISO 19125-1); shells counter-clockwise and
    holes clockwise; nothing thinner on average than `tolerance` mm; no piece twice.
    """
    problems: list[str] = []
    coords = shapely.get_coordinates(region)
    if not np.isfinite(coords).all():
        return ("a coordinate is not a number",)
    parts = shapely.get_parts(region)
    if not len(parts):
        return ()
    rings, owner = shapely.get_rings(parts, return_index=True)
    outer = np.ones(len(rings), dtype=bool)
    outer[1:] = owner[1:] != owner[:-1]
    for ring in rings:
        xy = shapely.get_coordinates(ring)
        if (xy[0] != xy[-1]).any() or len(np.unique(xy[:-1], axis=0)) < 3:
            problems.append(f"a ring is not closed or has fewer than three points, at ({xy[0, 0]:g}, {xy[0, 1]:g})")
        elif (np.abs(np.diff(xy, axis=0)).max(axis=1) < 0.5 / GRID).any():
            problems.append(f"a ring repeats a point, at ({xy[0, 0]:g}, {xy[0, 1]:g})")
    if not shapely.is_valid(region):
        problems.append(f"it is not simple: {shapely.is_valid_reason(region)}")
    for wrong in map(int, np.flatnonzero(shapely.is_ccw(rings) != outer)):
        x, y = shapely.get_coordinates(rings[wrong])[0]
        problems.append(f"a {'shell' if outer[wrong] else 'hole'} turns the wrong way, at ({x:g}, {y:g})")
    for thin in map(int, np.flatnonzero(_thin(rings, tolerance))):
        x, y = shapely.get_coordinates(rings[thin])[0]
        problems.append(f"a sliver thinner than {tolerance:g} mm, at ({x:g}, {y:g})")
    same = {shapely.to_wkb(shapely.normalize(p)) for p in parts}
    if len(same) < len(parts):
        problems.append("a piece is there twice")
    return tuple(problems)
