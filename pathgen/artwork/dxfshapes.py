"""Single DXF entities into curves: circles, arcs, ellipses and bulges stay exact until they are flattened in mm.

Group codes and angles follow the DXF Reference, ENTITIES section; object coordinates by its arbitrary axis algorithm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pathgen.artwork.curves import Curves, Pen, stretch
from pathgen.artwork.join import distinct, join
from pathgen.artwork.repair import fill, tidy
from pathgen.model.arrays import FloatArray

MOST_BULGE: Final = 1e4
"""Bulges beyond this are nearly full circles on a nearly closed gap; larger ones only come from damage."""


class BrokenEntityError(ValueError):
    """An entity that cannot be drawn; the message says why."""


def plane(ocs: Any, elevation: float, to_mm: Any) -> FloatArray:
    """Return the (3, 3) matrix from an entity's own x, y at `elevation` to x, y in mm.

    Args:
        ocs: ezdxf's object coordinate system of the entity, or None for world coordinates.
        elevation: z in that system.
        to_mm: ezdxf Matrix44 from world coordinates of the block to mm.
    """
    corners = [(0.0, 0.0, elevation), (1.0, 0.0, elevation), (0.0, 1.0, elevation)]
    world = [ocs.to_wcs(c) for c in corners] if ocs is not None and ocs.transform else corners
    o, x, y = (to_mm.transform(c) for c in world)
    return np.array([[x[0] - o[0], y[0] - o[0], o[0]], [x[1] - o[1], y[1] - o[1], o[1]], [0.0, 0.0, 1.0]])


def circular(cx: float, cy: float, radius: float, start: float, end: float) -> Curves:
    """Return a counter-clockwise arc; angles in degrees; equal angles are a full circle, as drafting programs draw."""
    sweep = (end - start) % 360.0
    full = sweep < 1e-9 or abs(sweep - 360.0) < 1e-9
    a0, delta = math.radians(start), 2.0 * math.pi if full else math.radians(sweep)
    pen = Pen(complex(cx + radius * math.cos(a0), cy + radius * math.sin(a0)))
    pen.arc(complex(cx, cy), (radius, 0.0, 0.0, radius), a0, delta)
    return pen.done(closed=full)


def elliptic(
    center: Sequence[float], major: Sequence[float], minor: Sequence[float], start: float, end: float
) -> Curves:
    """Return center + major cos t + minor sin t for t from `start` to `end` in radians, counter-clockwise."""
    sweep = (end - start) % (2.0 * math.pi)
    full = sweep < 1e-9 or abs(sweep - 2.0 * math.pi) < 1e-9
    sweep = 2.0 * math.pi if full else sweep
    c, s = math.cos(start), math.sin(start)
    pen = Pen(complex(center[0] + major[0] * c + minor[0] * s, center[1] + major[1] * c + minor[1] * s))
    pen.arc(complex(center[0], center[1]), (major[0], minor[0], major[1], minor[1]), start, sweep)
    return pen.done(closed=full)


def polyline(points: Iterable[tuple[float, float, float]], closed: bool) -> Curves:
    """Return a polyline of (x, y, bulge): bulge = tan(sweep / 4) of the arc to the next point, positive to the left.

    With half chord h and bulge b the center lies h (1 - b^2) / (2 b) to the left of the chord's middle.
    """
    rows = list(points)
    if len(rows) < 2:
        raise BrokenEntityError("it has fewer than two points")
    pen = Pen(complex(rows[0][0], rows[0][1]))
    for k, (_, _, bulge) in enumerate(rows if closed else rows[:-1]):
        x, y, _ = rows[(k + 1) % len(rows)]
        end = complex(x, y)
        chord = end - pen.at
        if abs(bulge) < 1e-9 or chord == 0:
            pen.line(end)
            continue
        if abs(bulge) > MOST_BULGE:
            raise BrokenEntityError(f"it has an arc with bulge {bulge:g}, nearly a full circle over no gap")
        middle = 0.5 * (pen.at + end)
        center = middle + 0.5j * chord * (1.0 - bulge * bulge) / (2.0 * bulge)
        radius = abs(pen.at - center)
        first = pen.at - center
        pen.arc(center, (radius, 0.0, 0.0, radius), math.atan2(first.imag, first.real), 4.0 * math.atan(bulge))
        pen.at = end
    return pen.done(closed=closed)


def spline_points(tool: Any, tolerance: float) -> FloatArray:
    """Points of a B-spline within `tolerance` (own units): adaptive, at least 8 chords between knots, half spare."""
    return np.array([(p.x, p.y, p.z) for p in tool.flattening(0.5 * tolerance, segments=8)])


def curves(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    """Return the flattened points of one entity in mm, (n, 2) each; a closed one repeats its first point.

    Args:
        entity: an ezdxf entity of a kind in `KINDS`.
        to_mm: ezdxf Matrix44.
        tolerance: mm.

    Raises:
        BrokenEntityError: it cannot be drawn.
    """
    return KINDS[entity.dxftype()](entity, to_mm, tolerance)


def _flat(sub: Curves, m: FloatArray, tolerance: float) -> list[FloatArray]:
    points = sub.moved(m).flat(tolerance)
    if sub.closed and len(points) > 1:
        points = np.concatenate([points, points[:1]])
        if np.abs(points[-1] - points[-2]).max() < 1e-6:
            points = points[:-1]
            points[-1] = points[0]
    return [points]


def _world(points: Iterable[Any], to_mm: Any) -> FloatArray:
    return np.array([tuple(v)[:2] for v in to_mm.transform_vertices(points)], dtype=np.float64).reshape(-1, 2)


def _as_line(entity: Any, to_mm: Any, _tolerance: float) -> list[FloatArray]:
    return [_world([entity.dxf.start, entity.dxf.end], to_mm)]


def _as_arc(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    radius = abs(entity.dxf.radius)
    if radius == 0:
        raise BrokenEntityError("its radius is 0")
    center = entity.dxf.center
    whole = entity.dxftype() == "CIRCLE"
    start, end = (0.0, 360.0) if whole else (entity.dxf.start_angle, entity.dxf.end_angle)
    m = plane(entity.ocs(), center.z, to_mm)
    return _flat(circular(center.x, center.y, radius, start, end), m, tolerance)


def _as_ellipse(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    major = entity.dxf.major_axis
    if major.magnitude == 0 or entity.dxf.ratio == 0:
        raise BrokenEntityError("one of its axes has no length")
    minor = entity.dxf.extrusion.normalize().cross(major) * entity.dxf.ratio
    o = to_mm.transform(entity.dxf.center)
    u, v = to_mm.transform_direction(major), to_mm.transform_direction(minor)
    sub = elliptic((o.x, o.y), (u.x, u.y), (v.x, v.y), entity.dxf.start_param, entity.dxf.end_param)
    return _flat(sub, np.eye(3), tolerance)


def _as_lwpolyline(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    m = plane(entity.ocs(), entity.dxf.elevation, to_mm)
    return _flat(polyline(entity.get_points("xyb"), bool(entity.closed)), m, tolerance)


def _as_polyline(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    if entity.is_polygon_mesh or entity.is_poly_face_mesh:
        raise BrokenEntityError("it is a mesh, which is not read")
    # Flag 16 marks the frame of a fitted curve, which is not part of the curve.
    vertices = [v for v in entity.vertices if not v.dxf.flags & 16]
    closed = bool(entity.is_closed)
    if entity.is_3d_polyline:
        points = [v.dxf.location for v in vertices]
        if len(points) < 2:
            raise BrokenEntityError("it has fewer than two points")
        return [_world([*points, points[0]] if closed else points, to_mm)]
    rows = [(v.dxf.location.x, v.dxf.location.y, v.dxf.bulge) for v in vertices]
    elevation = vertices[0].dxf.location.z if vertices else 0.0
    return _flat(polyline(rows, closed), plane(entity.ocs(), elevation, to_mm), tolerance)


def _as_spline(entity: Any, to_mm: Any, tolerance: float) -> list[FloatArray]:
    scale = stretch(plane(None, 0.0, to_mm))
    points = _world(map(tuple, spline_points(entity.construction_tool(), tolerance / scale)), to_mm)
    if entity.closed and np.abs(points[0] - points[-1]).max() > 1e-6:
        points = np.concatenate([points, points[:1]])
    return [points]


def _as_solid(entity: Any, to_mm: Any, _tolerance: float) -> list[FloatArray]:
    """Corners of SOLID and TRACE: the third and fourth change places (DXF Reference, SOLID)."""
    corners = list(entity.wcs_vertices(close=True))
    return [_world(corners, to_mm)]


KINDS: Final[dict[str, Callable[[Any, Any, float], list[FloatArray]]]] = {
    "LINE": _as_line,
    "ARC": _as_arc,
    "CIRCLE": _as_arc,
    "ELLIPSE": _as_ellipse,
    "LWPOLYLINE": _as_lwpolyline,
    "POLYLINE": _as_polyline,
    "SPLINE": _as_spline,
    "SOLID": _as_solid,
    "TRACE": _as_solid,
}
"""How each kind of entity is drawn."""


def _edge(edge: Any, m: FloatArray, tolerance: float) -> FloatArray | None:
    """One edge of a hatch boundary in mm. Arcs were made counter-clockwise when the file was loaded."""
    kind = type(edge).__name__
    if kind == "LineEdge":
        pen = Pen(complex(edge.start[0], edge.start[1]))
        pen.line(complex(edge.end[0], edge.end[1]))
        return _flat(pen.done(closed=False), m, tolerance)[0]
    if kind == "ArcEdge":
        if edge.radius == 0:
            return None
        sub = circular(edge.center[0], edge.center[1], edge.radius, edge.start_angle, edge.end_angle)
        return _flat(sub, m, tolerance)[0]
    if kind == "EllipseEdge":
        major = (edge.major_axis[0], edge.major_axis[1])
        minor = (-major[1] * edge.ratio, major[0] * edge.ratio)
        sub = elliptic(edge.center, major, minor, edge.start_param, edge.end_param)
        return _flat(sub, m, tolerance)[0]
    tool = _edge_spline(edge)
    if tool is None:
        return None
    points = spline_points(tool, tolerance / stretch(m))[:, :2]
    moved: FloatArray = points @ m[:2, :2].T + m[:2, 2]
    return moved


def _edge_spline(edge: Any) -> Any:
    from ezdxf.math import BSpline, Vec3, fit_points_to_cad_cv

    if len(edge.control_points):
        return BSpline(
            [Vec3(p) for p in edge.control_points],
            order=edge.degree + 1,
            knots=edge.knot_values,
            weights=edge.weights or None,
        )
    if len(edge.fit_points) < 2:
        return None
    tangents = [Vec3(edge.start_tangent), Vec3(edge.end_tangent)] if edge.start_tangent and edge.end_tangent else None
    return fit_points_to_cad_cv([Vec3(p) for p in edge.fit_points], tangents=tangents)


def hatch(
    entity: Any, to_mm: Any, tolerance: float, gap: float, tell_gap: Callable[[tuple[float, float]], None]
) -> MultiPolygon:
    """Return the area of a HATCH in mm, by its style: 0 even-odd, 1 outermost only, 2 holes ignored.

    Args:
        entity: HATCH.
        to_mm: ezdxf Matrix44.
        tolerance: mm.
        gap: boundary edges no further apart than this are joined, mm.
        tell_gap: called with the place of every wider gap, which is closed by a straight line.

    Raises:
        BrokenEntityError: no boundary, or a broken one.
    """
    m = plane(entity.ocs(), entity.dxf.elevation.z, to_mm)
    rings: list[FloatArray] = []
    for boundary in entity.paths:
        if type(boundary).__name__ == "PolylinePath":
            rings.append(_flat(polyline(boundary.vertices, True), m, tolerance)[0])
            continue
        edges = [e for e in (_edge(edge, m, tolerance) for edge in boundary.edges) if e is not None]
        if not edges:
            continue
        rings += [e for e in edges if (e[0] == e[-1]).all()]
        found = join([e for e in edges if not (e[0] == e[-1]).all()], gap)
        rings += found.loops
        for rest in found.open:
            tell_gap((float(rest[-1, 0]), float(rest[-1, 1])))
            rings.append(rest)
    if not rings:
        raise BrokenEntityError("it has no boundary")
    rings, _ = distinct([r for r in (tidy(r, closed=True) for r in rings) if len(r) >= 3], closed=True)
    style = entity.dxf.hatch_style
    if style == 0 or len(rings) < 2:
        return fill(rings, "evenodd")
    depth = _depths(rings)
    deepest = 1 if style == 1 else 0
    return fill([r for r, d in zip(rings, depth, strict=True) if d <= deepest], "evenodd")


def _depths(rings: Sequence[FloatArray]) -> list[int]:
    """In how many other rings each one lies."""
    areas = [shapely.make_valid(Polygon(r)) for r in rings]
    inner = [a.representative_point() for a in areas]
    return [
        sum(k != j and other.area > areas[k].area and other.contains(inner[k]) for j, other in enumerate(areas))
        for k in range(len(rings))
    ]
