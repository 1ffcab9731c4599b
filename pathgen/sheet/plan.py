"""The plan seen from above, as SVG: stock, zero, what is asked, and the path of every tool in its own color."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.model.arrays import FloatArray
from pathgen.model.bounds import Bounds, Flat, Groove, Hole
from pathgen.model.cut import Cut
from pathgen.model.findings import Finding
from pathgen.model.holding import KeepOut
from pathgen.model.path import Path
from pathgen.model.stock import Stock
from pathgen.model.tool import Tool

COLORS: Final = ("#1f5f8b", "#a34716", "#35743f", "#7b3f86", "#7a6000", "#a8324a", "#116a68", "#4a4a4a")
"""Tool colors, dark enough for thin lines on paper (contrast at least 4.5 to 1); repeated after eight."""

UNITS: Final = 100
"""Whole numbers of the drawing per mm: 0.01 mm is below what print shows, and whole numbers keep the file small."""

SHARE: Final = 1 / 6000
"""Straight runs are thinned out within this share of the stock's longer side: 0.03 mm on an A4 page."""

MARKERS: Final = 12
"""Findings marked by number, at most: more would hide the plan."""


def escaped(text: object) -> str:
    """Return outside text for HTML or SVG, in elements and quoted attributes; control characters become spaces."""
    return html.escape("".join(c if c.isprintable() else " " for c in str(text)), quote=True)


def tool_colors(cuts: Iterable[Cut]) -> dict[Tool, str]:
    """Return a color for each tool, in order of use."""
    tools = dict.fromkeys(c.tool for c in cuts)
    return {tool: COLORS[k % len(COLORS)] for k, tool in enumerate(tools)}


def paths_svg(
    cuts: Sequence[Cut],
    stock: Stock,
    *,
    rapids: FloatArray | None = None,
    keep_out: Sequence[KeepOut] = (),
    touch_off: tuple[float, float] | None = None,
    findings: Sequence[Finding] = (),
    title: str = "Plan of the cuts, seen from above",
) -> str:
    """Return the plan as one self-contained SVG element.

    Args:
        cuts: in order; each tool has its color, entries and links are drawn thin.
        stock: drawn with its zero.
        rapids: (n, 2, 2) start and end of rapids over the stock, mm, stock coordinates; dashed.
        keep_out: clamps and the like, crossed out.
        touch_off: where tools are set, (x, y), mm.
        findings: those with a place are marked by their number in this list, up to `MARKERS`.
        title: read out to those who cannot see the picture.

    Returns:
        SVG text with 1 user unit = 1 mm, Y up inside. Arcs stay arcs, straight runs are thinned out.
    """
    w, h = stock.width, stock.height
    big = max(w, h)
    room, line = 0.075 * big, big / 900
    tol = big * SHARE
    colors = tool_colors(cuts)
    body = [_stock(stock, line)]
    body += [_asked(c.bounds, colors[c.tool], tol) for c in cuts]
    body += [_keep_out(k, line, tol) for k in keep_out]
    body += [_cut(c, colors[c.tool], line, tol) for c in cuts]
    if rapids is not None and len(rapids):
        body.append(_rapids(np.asarray(rapids, dtype=np.float64), line))
    over = [_zero(stock, big, line), _sizes(stock, big)]
    if touch_off is not None and tuple(touch_off) != stock.zero_xy:
        over.append(_touch(touch_off, h, big, line))
    over.append(_markers(findings, h, big))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{_n(-0.45 * room)} {_n(-0.2 * room)} {_n(w + 1.2 * room)} '
        f'{_n(h + room)}" role="img" aria-label="{escaped(title)}" '
        f'font-family="system-ui, sans-serif"><title>{escaped(title)}</title>'
        f'<g transform="matrix({1 / UNITS} 0 0 {-1 / UNITS} 0 {_n(h)})" fill="none" stroke-linejoin="round" '
        f'stroke-linecap="round">{"".join(body)}</g>{"".join(over)}</svg>'
    )


# -- numbers and path data ----------------------------------------------------------------------------------------


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _whole(xy: FloatArray) -> FloatArray:
    return np.rint(xy * UNITS)


def _steps(whole: FloatArray) -> str:
    """Return "dx dy dx dy …" from whole coordinates (n, 2), steps of no length left out."""
    d = np.diff(whole, axis=0).astype(np.int64)
    d = d[(d != 0).any(axis=1)]
    return " ".join(map(str, d.ravel().tolist())).replace(" -", "-")


def path_data(path: Path, tolerance: float) -> str:
    """Return a path as SVG path data in whole `UNITS`; arcs stay arcs, straight runs thinned by `tolerance` mm."""
    p = path.points
    if len(p) < 2:
        return ""
    curved = np.flatnonzero(p[:, 3] != 0.0)
    first = _whole(p[:1, :2])[0].astype(np.int64)
    parts = [f"M{first[0]} {first[1]}"]
    at = 0
    for i in [*curved.tolist(), len(p)]:
        if i - at > 1:
            run = shapely.get_coordinates(
                shapely.simplify(shapely.linestrings(p[at:i, :2]), tolerance, preserve_topology=False)
            )
            steps = _steps(_whole(run))
            parts.append(f"l{steps}" if steps else "")
        if i < len(p):
            parts.append(_arc(p[i - 1], p[i]))
            at = i
    data = "".join(parts)
    return data if data != parts[0] else ""


def _arc(start: FloatArray, end: FloatArray) -> str:
    """Return one arc; in a drawing with Y up, sweep 1 is counter-clockwise (SVG 2, section 9.3.8)."""
    bulge = float(end[3])
    dx, dy = (_whole(end[:2]) - _whole(start[:2])).astype(np.int64).tolist()
    if dx == 0 and dy == 0:
        return ""
    chord = float(np.hypot(*(end[:2] - start[:2])))
    radius = round(UNITS * chord * (1 + bulge * bulge) / (4 * abs(bulge)))
    return f"a{radius} {radius} 0 {int(abs(bulge) > 1)} {int(bulge > 0)} {dx} {dy}"


def _area_data(area: BaseGeometry, tolerance: float) -> str:
    """Return the rings of an area as path data."""
    thin = shapely.simplify(area, tolerance)
    rings = [r for p in shapely.get_parts(thin) if not p.is_empty for r in (p.exterior, *p.interiors)]
    out = []
    for ring in rings:
        xy = _whole(shapely.get_coordinates(ring))
        out.append(f"M{int(xy[0, 0])} {int(xy[0, 1])}l{_steps(xy[:-1])}z")
    return "".join(out)


# -- what is drawn ------------------------------------------------------------------------------------------------


def _stock(stock: Stock, line: float) -> str:
    return (
        f'<path d="{_area_data(stock.region, 0.0)}" fill="#f7f1e4" stroke="#7d6f55" '
        f'stroke-width="{_n(1.2 * line * UNITS)}"/>'
    )


def _asked(bounds: Bounds, color: str, tolerance: float) -> str:
    """Tint what is to be cut as an area: grooves and floors."""
    regions = [r.region for r in bounds.rules if isinstance(r, Groove | Flat | Hole)]
    # where several meet they are one area: an even-odd fill would leave their overlap blank
    regions = regions if len(regions) < 2 else [shapely.union_all(regions)]
    data = "".join(_area_data(r, tolerance) for r in regions if not r.is_empty)
    return f'<path d="{data}" fill="{color}" fill-opacity=".16" fill-rule="evenodd"/>' if data else ""


def _keep_out(keep: KeepOut, line: float, tolerance: float) -> str:
    region = keep.region
    x0, y0, x1, y1 = (v * UNITS for v in region.bounds)
    cross = f"M{x0:.0f} {y0:.0f}L{x1:.0f} {y1:.0f}M{x0:.0f} {y1:.0f}L{x1:.0f} {y0:.0f}"
    return (
        f'<path d="{_area_data(region, tolerance)}{cross}" fill="#d9d4cc" fill-opacity=".7" stroke="#333" '
        f'stroke-width="{_n(0.9 * line * UNITS)}"/>'
    )


def _cut(cut: Cut, color: str, line: float, tolerance: float) -> str:
    """Draw a cut's paths; levels that lie over each other are drawn once."""
    bold: dict[str, None] = {}
    thin: dict[str, None] = {}
    for one in cut.passes:
        data = path_data(one.path, tolerance)
        if data:
            (thin if one.role in ("entry", "link", "lift") else bold)[data] = None
    out = f'<g stroke="{color}"><title>{escaped(cut.name)}</title>'
    for drawn, width, extra in ((bold, line, ""), (thin, 0.5 * line, ' stroke-opacity=".6"')):
        if drawn:
            out += f'<path d="{"".join(drawn)}" stroke-width="{_n(width * UNITS)}"{extra}/>'
    return out + "</g>"


def _rapids(rapids: FloatArray, line: float) -> str:
    whole = _whole(rapids).astype(np.int64)
    data = "".join("M{} {}L{} {}".format(*row) for row in whole.reshape(-1, 4).tolist())
    dash = f"{_n(4 * line * UNITS)} {_n(3 * line * UNITS)}"
    return (
        f'<path d="{data}" stroke="#555" stroke-width="{_n(0.4 * line * UNITS)}" stroke-dasharray="{dash}" '
        'stroke-linecap="butt"><title>rapids</title></path>'
    )


def _text(x: float, y: float, size: float, words: str, extra: str = "") -> str:
    return f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}"{extra}>{escaped(words)}</text>'


def _zero(stock: Stock, big: float, line: float) -> str:
    """Draw the work zero: a quartered disc and two short axes."""
    x, y = stock.zero_xy[0], stock.height - stock.zero_xy[1]
    r, arm = big / 75, big / 14
    tip = big / 110
    return (
        f'<g stroke="#111" stroke-width="{_n(line)}" fill="#111"><title>work zero</title>'
        f'<path d="M{_n(x)} {_n(y)}h{_n(arm)}M{_n(x)} {_n(y)}v{_n(-arm)}" fill="none"/>'
        f'<path d="M{_n(x + arm)} {_n(y - tip / 2)}l{_n(tip)} {_n(tip / 2)}l{_n(-tip)} {_n(tip / 2)}z'
        f'M{_n(x - tip / 2)} {_n(y - arm)}l{_n(tip / 2)} {_n(-tip)}l{_n(tip / 2)} {_n(tip)}z" stroke="none"/>'
        f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="#fff"/>'
        f'<path d="M{_n(x)} {_n(y)}v{_n(-r)}a{_n(r)} {_n(r)} 0 0 1 {_n(r)} {_n(r)}z'
        f'M{_n(x)} {_n(y)}v{_n(r)}a{_n(r)} {_n(r)} 0 0 1 {_n(-r)} {_n(-r)}z" stroke="none"/></g>'
        + _text(x + arm + 1.4 * tip, y + tip * 0.9, big / 48, "X", ' font-weight="600"')
        + _text(x - tip * 0.75, y - arm - 1.6 * tip, big / 48, "Y", ' font-weight="600"')
    )


def _touch(spot: tuple[float, float], height: float, big: float, line: float) -> str:
    x, y, r = spot[0], height - spot[1], big / 90
    return (
        f'<path d="M{_n(x)} {_n(y - r)}l{_n(r)} {_n(r)}l{_n(-r)} {_n(r)}l{_n(-r)} {_n(-r)}z" fill="#fff" stroke="#111" '
        f'stroke-width="{_n(line)}"><title>tools are set here</title></path>'
        + _text(x + 1.4 * r, y + 0.6 * r, big / 55, "set tools here")
    )


def _sizes(stock: Stock, big: float) -> str:
    size = big / 48
    wide = _text(stock.width / 2, stock.height + 2.2 * size, size, f"{stock.width:g} mm", ' text-anchor="middle"')
    x, y = stock.width + 1.8 * size, stock.height / 2
    turn = f' text-anchor="middle" transform="rotate(-90 {_n(x)} {_n(y)})"'
    return f'<g fill="#444">{wide}{_text(x, y, size, f"{stock.height:g} mm", turn)}</g>'


def _markers(findings: Sequence[Finding], height: float, big: float) -> str:
    placed = [(k, f) for k, f in enumerate(findings, 1) if f.where is not None][:MARKERS]
    if not placed:
        return ""
    r, out = big / 62, []
    for k, f in placed:
        assert f.where is not None
        x, y = f.where[0], height - f.where[1]
        out.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="#fff" stroke="{SEVERITY[f.severity]}" '
            f'stroke-width="{_n(r / 4)}"/>' + _text(x, y + 0.38 * r, 1.15 * r, str(k), ' text-anchor="middle"')
        )
    return f'<g font-weight="600" fill="#111"><title>places of findings</title>{"".join(out)}</g>'


SEVERITY: Final[Mapping[str, str]] = {"error": "#a3160c", "warning": "#7d5000", "note": "#2b5876"}
"""Colors of findings, dark enough for text on white."""
