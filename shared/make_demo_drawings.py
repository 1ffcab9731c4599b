"""Draws the demo drawings of the invented garden: fern-sign.svg, trail-sign.svg and bench-parts.dxf.

Run it in this folder: ``python make_demo_drawings.py``. The letters, leaves and parts are our own.
"""

from __future__ import annotations

import cmath
import math
from pathlib import Path

HERE = Path(__file__).parent


# -- letters: flared capitals, 100 units high, y up, baseline at 0 -----------------------------------------------------


def upright(x0: float, y0: float, x1: float, y1: float, w0: float, middle: float, w1: float) -> str:
    """Return a stroke with level ends that narrows towards its middle; widths are level ones.

    All strokes turn clockwise, so that where they overlap the nonzero rule fills them.
    """
    if y0 > y1:
        x0, y0, w0, x1, y1, w1 = x1, y1, w1, x0, y0, w0
    mx, my = (x0 + x1) / 2, (y0 + y1) / 2

    def waist(side: float) -> tuple[float, float]:
        ends = (x0 + side * w0 / 2 + x1 + side * w1 / 2) / 2
        return 2 * (mx + side * middle / 2) - ends, my

    (ax, ay), (bx, by) = waist(-1), waist(1)
    return (
        f"M{x0 - w0 / 2:.2f} {y0:.2f}Q{ax:.2f} {ay:.2f} {x1 - w1 / 2:.2f} {y1:.2f}"
        f"H{x1 + w1 / 2:.2f}Q{bx:.2f} {by:.2f} {x0 + w0 / 2:.2f} {y0:.2f}Z"
    )


def arm(x0: float, x1: float, y: float, way: int, thin: float = 8.5, thick: float = 13.0) -> str:
    """Return a level arm whose flat edge lies at y; it grows thicker to its end, away from the flat edge by `way`."""
    if way > 0:
        return f"M{x0} {y}V{y + thin}Q{x1 - 8} {y + thin} {x1 + 1.5} {y + thick}L{x1} {y}Z"
    return f"M{x0} {y}H{x1}L{x1 + 1.5} {y - thick}Q{x1 - 8} {y - thin} {x0} {y - thin}Z"


LETTERS = {
    "F": (54, [upright(12, 0, 12, 100, 15, 11.5, 15), arm(12, 52, 100, -1), arm(12, 44, 57, -1, 8, 12)]),
    "E": (
        58,
        [
            upright(12, 0, 12, 100, 15, 11.5, 15),
            arm(12, 54, 100, -1),
            arm(12, 47, 57, -1, 8, 12),
            arm(12, 56, 0, 1),
        ],
    ),
    "R": (
        68,
        [
            upright(12, 0, 12, 100, 15, 11.5, 15),
            "M12 100H36C52 100 61 90 61 75C61 59 52 49 36 49H12V57.5H34C43 57.5 48 64 48 75C48 86 43 91.5 34 91.5H12Z",
            upright(39, 53, 61, 0, 14, 12.5, 16),
        ],
    ),
    "N": (
        82,
        [
            upright(11, 0, 11, 100, 11, 8, 11),
            upright(14, 100, 71, 0, 17, 15, 15),
            upright(73, 0, 73, 100, 11, 8, 11),
        ],
    ),
    "W": (
        112,
        [
            upright(9, 100, 32, 0, 17, 13.5, 11),
            upright(51.5, 100, 32, 0, 10, 8, 11),
            upright(55, 100, 79, 0, 17, 13.5, 11),
            upright(103, 100, 79, 0, 11, 8, 11),
        ],
    ),
    "A": (
        82,
        [upright(7, 0, 38.5, 100, 11, 8, 9), upright(75, 0, 41, 100, 17, 14, 14), "M19 36.5H60L63 28H16Z"],
    ),
    "L": (54, [upright(12, 0, 12, 100, 15, 11.5, 15), arm(12, 52, 0, 1)]),
    "K": (
        72,
        [
            upright(12, 0, 12, 100, 15, 11.5, 15),
            upright(10, 37, 60, 100, 9, 8, 12),
            upright(24, 52, 65, 0, 7, 12.5, 17),
        ],
    ),
    "P": (
        64,
        [
            upright(12, 0, 12, 100, 15, 11.5, 15),
            "M12 100H36C53 100 62 89 62 73C62 56 53 45 36 45H12V53.5H34C44 53.5 49 61 49 73C49 85 44 91.5 34 91.5H12Z",
        ],
    ),
    "O": (
        92,
        [
            (
                "M46 102C71 102 87 81 87 50C87 19 71 -2 46 -2C21 -2 5 19 5 50C5 81 21 102 46 102Z"
                "M46 93C29 93 19.5 77 19.5 50C19.5 23 29 7 46 7C63 7 72.5 23 72.5 50C72.5 77 63 93 46 93Z"
            )
        ],
    ),
    "D": (
        84,
        [
            upright(12, 0, 12, 100, 15, 11.5, 15),
            "M12 100H36C62 100 79 81 79 50C79 19 62 0 36 0H12V8.5H34C53 8.5 65 24 65 50C65 76 53 91.5 34 91.5H12Z",
        ],
    ),
    " ": (34, []),
}


def word(text: str, x: float, y: float, height: float, tracking: float = 12.0) -> tuple[list[str], float]:
    """Path elements for `text` from the baseline's left end (page mm, y down), and the width in mm."""
    k = height / 100
    out, at = [], 0.0
    for n, letter in enumerate(text):
        advance, parts = LETTERS[letter]
        if parts:
            rule = ' fill-rule="evenodd"' if letter == "O" else ""
            out.append(
                f'    <path id="{text.replace(" ", "-").lower()}-{n + 1}"{rule} '
                f'transform="translate({x + at * k:.3f} {y:.3f}) scale({k:g} {-k:g})" d="{"".join(parts)}"/>'
            )
        at += advance + tracking
    return out, (at - tracking) * k


# -- leaves ------------------------------------------------------------------------------------------------------------


def bezier(p: list[complex], t: float) -> tuple[complex, complex]:
    """Point and direction of a cubic."""
    s = 1 - t
    point = s**3 * p[0] + 3 * s * s * t * p[1] + 3 * s * t * t * p[2] + t**3 * p[3]
    slope = s * s * (p[1] - p[0]) + 2 * s * t * (p[2] - p[1]) + t * t * (p[3] - p[2])
    return point, slope / abs(slope)


def frond(p: list[complex], pairs: int, longest: float, thick: float) -> list[str]:
    """Return a fern frond along a cubic (page mm, y down): a tapering stem and sickle-shaped leaflets."""
    stem_left, stem_right = [], []
    for k, point in enumerate(p):
        _, way = bezier(p, k / 3)
        half = thick * (1 - 0.85 * k / 3) / 2
        stem_left.append(point + 1j * way * half)
        stem_right.append(point - 1j * way * half)
    curve = "C{:.2f} {:.2f} {:.2f} {:.2f} {:.2f} {:.2f}".format

    def xy(z: complex) -> tuple[float, float]:
        return z.real, z.imag

    out = [
        f'    <path d="M{stem_left[0].real:.2f} {stem_left[0].imag:.2f}'
        + curve(*xy(stem_left[1]), *xy(stem_left[2]), *xy(stem_left[3]))
        + f"L{stem_right[3].real:.2f} {stem_right[3].imag:.2f}"
        + curve(*xy(stem_right[2]), *xy(stem_right[1]), *xy(stem_right[0]))
        + 'Z"/>'
    ]
    for k in range(pairs):
        t = 0.16 + 0.82 * (k / (pairs - 1)) ** 0.92
        at, way = bezier(p, t)
        u = (t - 0.16) / 0.82
        size = longest * (0.62 + 0.38 * math.sin(math.pi * min(1, u * 2.4 + 0.1) / 2)) * (1 - u) ** 0.72 + 2.2
        lean = math.radians(66 - 26 * u)
        for side in (1, -1):
            turn = math.degrees(cmath.phase(way * cmath.exp(1j * side * lean)))
            out.append(
                f'    <use href="#leaflet" transform="translate({at.real:.2f} {at.imag:.2f}) rotate({turn:.2f}) '
                f'scale({size:.3f} {-side * size * 0.8:.3f})"/>'
            )
    _, way = bezier(p, 1)
    turn = math.degrees(cmath.phase(way))
    place = f"translate({p[3].real:.2f} {p[3].imag:.2f}) rotate({turn:.2f}) scale(4.6)"
    out.append(f'    <use href="#leaflet" transform="{place}"/>')
    return out


LEAFLET = (
    '  <defs>\n    <path id="leaflet" d="M-.04 .02C.1 .15 .34 .19 .58 .15C.78 .12 .92 .05 1 -.08'
    'C.86 -.06 .7 -.07 .5 -.1C.3 -.12 .1 -.1 -.04 -.02Z"/>\n  </defs>'
)


def crozier(x: float, y: float, radius: float, stalk: float, side: int) -> str:
    """Return a rolled-up young frond: a stalk that ends in a spiral of half circles, thinning inwards."""
    outer, inner = radius, radius * 0.76
    sweep = 1 if side > 0 else 0
    right = x
    d = [
        (
            f"M{x - side * 1.1:.2f} {y + stalk:.2f}C{x - side * 1.6:.2f} {y + stalk * 0.6:.2f} {x:.2f} "
            f"{y + stalk * 0.35:.2f} {right:.2f} {y:.2f}"
        )
    ]
    ends = []
    at, r = right, outer
    way = side
    for _ in range(4):
        to = at + way * 2 * r
        d.append(f"A{r:.3f} {r:.3f} 0 0 {sweep} {to:.3f} {y:.2f}")
        ends.append((at, to, r))
        at, r, way = to, r * 0.72, -way
    d.append(f"A{r * 0.5:.3f} {r * 0.5:.3f} 0 1 {sweep} {at + way * r * 0.62:.3f} {y + 0.001:.3f}")
    band = [0.0, 0.10, 0.17, 0.24, 0.30]
    for k in range(3, -1, -1):
        a, b, r = ends[k]
        w = (outer - inner) * (1 - band[k] * 2)
        s = 1 if b > a else -1
        d.append(f"A{r - w:.3f} {r - w:.3f} 0 0 {1 - sweep} {a + s * w:.3f} {y:.2f}")
    w = outer - inner
    d.append(
        f"C{x + side * w:.2f} {y + stalk * 0.35:.2f} {x + side * (w - 1.2):.2f} {y + stalk * 0.6:.2f} "
        f"{x + side * 1.5:.2f} {y + stalk:.2f}Z"
    )
    return f'    <path d="{"".join(d)}"/>'


def scooped(x: float, y: float, w: float, h: float, r: float) -> str:
    """Return a rectangle with scooped corners."""
    return (
        f"M{x + r} {y}H{x + w - r}A{r} {r} 0 0 0 {x + w} {y + r}V{y + h - r}A{r} {r} 0 0 0 {x + w - r} {y + h}"
        f"H{x + r}A{r} {r} 0 0 0 {x} {y + h - r}V{y + r}A{r} {r} 0 0 0 {x + r} {y}Z"
    )


HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:art="urn:pathgen:layers" '
    'width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">\n  <title>{title}</title>\n'
    "  <style>\n    .deep {{ fill: #1f4d36 }}\n    .leaf {{ fill: #3f7d4f }}\n    .earth {{ fill: #7a4a26 }}\n"
    "    .edge {{ fill: none; stroke: #9a8f7d; stroke-width: 0.3 }}\n  </style>"
)


def layer(name: str, look: str, parts: list[str]) -> str:
    """Return a layer with its name as drawing programs write it."""
    inner = "\n".join(parts)
    return f'  <g id="{name}" class="{look}" art:groupmode="layer" art:label="{name}">\n{inner}\n  </g>'


def fern_sign() -> str:
    """280 x 120 mm: FERN WALK between two fronds in a scooped frame."""
    first, width_first = word("FERN", 0, 0, 36)
    second, width_second = word("WALK", 0, 0, 36)
    middle = 161.0
    first, _ = word("FERN", middle - width_first / 2, 55, 36)
    second, _ = word("WALK", middle - width_second / 2, 102, 36)
    fronds = frond([66 + 106j, 50 + 84j, 44 + 50j, 62 + 20j], 13, 24, 2.4)
    fronds += frond([241 + 106j, 247 + 88j, 248 + 68j, 239 + 45j], 10, 13.5, 1.7)
    fronds.append(crozier(83, 87, 4.4, 19, 1))
    return "\n".join(
        [
            HEAD.format(w=280, h=120, title="Fern Walk"),
            LEAFLET,
            layer("outline", "edge", ['    <rect x="0.5" y="0.5" width="279" height="119" rx="9"/>']),
            layer(
                "border",
                "earth",
                [f'    <path fill-rule="evenodd" d="{scooped(6, 6, 268, 108, 9)}{scooped(9, 9, 262, 102, 9)}"/>'],
            ),
            layer("leaf", "leaf", fronds),
            layer("letters", "deep", [*first, *second]),
            "</svg>\n",
        ]
    )


def ginkgo(x: float, y: float, size: float, turn: float) -> list[str]:
    """Return a fan-shaped leaf with a notch, its veins left white."""
    blade = (
        "M0 0C-.08 -.18 -.38 -.34 -.78 -.42C-.98 -.46 -1.02 -.56 -.94 -.66C-.78 -.88 -.5 -1.06 -.3 -1.08"
        "C-.2 -1.1 -.16 -1.02 -.1 -.92C-.06 -.84 -.02 -.74 .01 -.6C.04 -.76 .08 -.88 .14 -.98"
        "C.2 -1.1 .3 -1.12 .42 -1.08C.66 -1.02 .88 -.82 .98 -.62C1.02 -.52 .96 -.44 .8 -.41"
        "C.42 -.34 .1 -.18 .03 0C.02 .22 .06 .46 .16 .7L.08 .74C-.02 .48 -.04 .24 0 0Z"
    )
    veins = []
    for angle in (-54, -42, -30, -18, 20, 32, 44, 56):
        a, b = math.radians(angle), math.radians(angle * 0.5)
        reach = 0.84 if abs(angle) < 50 else 0.78
        tip = (reach * math.sin(a), -reach * math.cos(a))
        bend = (0.42 * math.sin(b), -0.42 * math.cos(b))
        side = (0.014 * math.cos(a), 0.014 * math.sin(a))
        start = (0.2 * math.sin(b), -0.2 * math.cos(b))
        veins.append(
            f"M{start[0]:.4f} {start[1]:.4f}Q{bend[0]:.4f} {bend[1]:.4f} {tip[0] - side[0]:.4f} {tip[1] - side[1]:.4f}"
            f"L{tip[0] + side[0]:.4f} {tip[1] + side[1]:.4f}Q{bend[0] + 0.012:.4f} {bend[1]:.4f} "
            f"{start[0]:.4f} {start[1]:.4f}Z"
        )
    place = f'transform="translate({x} {y}) rotate({turn}) scale({size})"'
    return [
        f'    <path {place} d="{blade}"/>',
        f'    <path {place} style="fill: #fff" d="{"".join(veins)}"/>',
    ]


def trail_sign() -> str:
    """220 x 110 mm: the way to the pond, for the back of clear plastic."""
    letters, width = word("POND", 0, 0, 34)
    letters, _ = word("POND", 144 - width / 2, 54, 34)
    arrow = (
        "M87 71C107 64 131 64 151 69C160 71.3 169 72.3 178 71.6L175.5 64.5C184 69 192 72 201 73.6"
        "C193 77.4 186 82 180 88L178.8 79.4C168 80.4 158 79.2 148.5 76.8C128 71.8 107 71.4 89 77.5Z"
    )
    ripples = [
        f'    <path d="M{x0} {y}q5 -4.4 10 0t10 0t10 0t10 0{"t10 0" * more}"/>'
        for x0, y, more in ((96, 88, 2), (103, 94.5, 1))
    ]
    return "\n".join(
        [
            HEAD.format(w=220, h=110, title="To the Pond"),
            layer("outline", "edge", ['    <rect x="0.5" y="0.5" width="219" height="109" rx="14"/>']),
            layer(
                "border",
                "deep",
                [
                    (
                        '    <path fill-rule="evenodd" d="M19 5.5H201A13.5 13.5 0 0 1 214.5 19V91'
                        "A13.5 13.5 0 0 1 201 104.5H19A13.5 13.5 0 0 1 5.5 91V19A13.5 13.5 0 0 1 19 5.5Z"
                        "M19 8A11 11 0 0 0 8 19V91A11 11 0 0 0 19 102H201A11 11 0 0 0 212 91V19"
                        'A11 11 0 0 0 201 8Z"/>'
                    )
                ],
            ),
            layer("leaf", "leaf", ginkgo(47, 68, 33, -10)),
            layer("letters", "deep", letters),
            layer("arrow", "earth", [f'    <path d="{arrow}"/>']),
            '  <g id="water" art:groupmode="layer" art:label="water" fill="none" stroke="#3c7a8c" stroke-width="0.6" '
            'stroke-linecap="round">\n' + "\n".join(ripples) + "\n  </g>",
            "</svg>\n",
        ]
    )


# -- bench parts -------------------------------------------------------------------------------------------------------


def bench_parts(path: Path) -> None:
    """Side, slat, stretcher and name plate of a garden bench, mm; layers OUTLINE, HOLES, ENGRAVE, NOTES."""
    import ezdxf
    from ezdxf.enums import TextEntityAlignment

    ezdxf.options.write_fixed_meta_data_for_testing = True  # the same bytes every time
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    doc.header["$MEASUREMENT"] = 1
    for name, colour in (("OUTLINE", 7), ("HOLES", 5), ("ENGRAVE", 3), ("NOTES", 8)):
        doc.layers.add(name, color=colour)
    doc.layers.get("NOTES").dxf.plot = 0
    space = doc.modelspace()
    cut, holes, engrave = ({"layer": name} for name in ("OUTLINE", "HOLES", "ENGRAVE"))

    # The side: lines, arcs and a spline, drawn apart, that meet end to end.
    space.add_line((0, 0), (60, 0), dxfattribs=cut)
    space.add_arc((160, 0), 100, 90, 180, dxfattribs=cut)
    space.add_arc((160, 0), 100, 0, 90, dxfattribs=cut)
    space.add_line((260, 0), (320, 0), dxfattribs=cut)
    space.add_line((320, 0), (320, 180), dxfattribs=cut)
    space.add_arc((290, 180), 30, 0, 90, dxfattribs=cut)
    space.add_spline(dxfattribs=cut).apply_construction_tool(
        ezdxf.math.BSpline([(290, 210), (220, 210), (200, 170), (120, 175), (70, 180), (60, 240), (30, 240)], order=4)
    )
    space.add_lwpolyline([(30, 240, 0.41421356237309503), (0, 210, 0), (0, 0, 0)], format="xyb", dxfattribs=cut)
    # Mortises by a block, one of them turned.
    block = doc.blocks.new("MORTISE")
    half = math.tan(math.pi / 4)
    block.add_lwpolyline([(-20, -6, 0), (20, -6, half), (20, 6, 0), (-20, 6, half)], format="xyb", close=True)
    space.add_blockref("MORTISE", (32, 50), dxfattribs={**holes, "rotation": 90})
    space.add_blockref("MORTISE", (258, 130), dxfattribs=holes)
    space.add_blockref("MORTISE", (32, 130), dxfattribs={**holes, "rotation": 90})
    space.add_circle((32, 210), 6, dxfattribs=holes)

    # A slat with elliptic ends and a row of holes.
    space.add_line((360, 0), (760, 0), dxfattribs=cut)
    space.add_ellipse((760, 30), (0, 30), 0.5, math.pi, 2 * math.pi, dxfattribs=cut)
    space.add_line((760, 60), (360, 60), dxfattribs=cut)
    space.add_ellipse((360, 30), (0, 30), 0.5, 0, math.pi, dxfattribs=cut)
    hole = doc.blocks.new("HOLE")
    hole.add_circle((0, 0), 4)
    space.add_blockref("HOLE", (390, 30), dxfattribs={**holes, "column_count": 5, "column_spacing": 85, "row_count": 1})

    # A stretcher: one closed polyline with round corners.
    r = math.tan(math.pi / 8)
    x, y, w, h, c = 360, 90, 415, 50, 12
    space.add_lwpolyline(
        [
            (x + c, y, 0), (x + w - c, y, r), (x + w, y + c, 0), (x + w, y + h - c, r),
            (x + w - c, y + h, 0), (x + c, y + h, r), (x, y + h - c, 0), (x, y + c, r),
        ],
        format="xyb",
        close=True,
        dxfattribs=cut,
    )  # fmt: skip
    # The name plate: an oval with an engraved leaf, hatched, and its midrib as an open line.
    space.add_ellipse((480, 205), (120, 0), 0.375, dxfattribs=cut)
    leaf = space.add_hatch(color=3, dxfattribs=engrave)
    edge = leaf.paths.add_edge_path()
    edge.add_spline(control_points=[(400, 205), (430, 240), (500, 245), (560, 205)], degree=3,
                    knot_values=[0, 0, 0, 0, 1, 1, 1, 1])  # fmt: skip
    edge.add_spline(control_points=[(560, 205), (500, 170), (430, 172), (400, 205)], degree=3,
                    knot_values=[0, 0, 0, 0, 1, 1, 1, 1])  # fmt: skip
    space.add_lwpolyline([(385, 199, -0.08), (450, 206, -0.03), (548, 205, 0)], format="xyb", dxfattribs=engrave)
    note = space.add_text("Bench, 18 mm boards", height=8, dxfattribs={"layer": "NOTES"})
    note.set_placement((640, 180), align=TextEntityAlignment.LEFT)
    doc.saveas(path)


def main() -> None:
    """Write all three."""
    (HERE / "fern-sign.svg").write_text(fern_sign(), encoding="utf-8")
    (HERE / "trail-sign.svg").write_text(trail_sign(), encoding="utf-8")
    bench_parts(HERE / "bench-parts.dxf")


if __name__ == "__main__":
    main()
