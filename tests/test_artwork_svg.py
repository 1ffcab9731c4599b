"""SVG drawings: what is visible becomes millimetres; what is not read is a note.

Each row is a tiny drawing with its area by closed form. Sections are those of SVG 1.1 unless another is named.
"""

import gzip
import math

import pytest
import shapely

import pathgen as pg
from pathgen.artwork import repair
from pathgen.artwork.model import CODES

PI = math.pi
MM = 'width="100mm" height="100mm" viewBox="0 0 100 100"'


@pytest.fixture
def art(tmp_path):
    """Return a function that reads a drawing from its inner text, in mm on a page of 100 x 100."""

    def read(inner, head=MM, xmlns='xmlns="http://www.w3.org/2000/svg"', **options):
        path = tmp_path / "drawing.svg"
        path.write_text(f"<svg {xmlns} {head}>{inner}</svg>", encoding="utf-8")
        drawing = pg.read(path, **options)
        for region in (drawing.region, drawing.outlines, *(layer.region for layer in drawing.layers.values())):
            assert repair.check(region) == ()
        assert all(n.code in CODES for n in drawing.notes)
        return drawing

    return read


def codes(drawing):
    return {n.code for n in drawing.notes}


SQUARE = '<rect x="10" y="20" width="10" height="10"/>'

AREAS = {
    # shapes: chapter 9
    "rect": (SQUARE, 100),
    "rect with round corners": ('<rect width="20" height="10" rx="2"/>', 200 - (4 - PI) * 4),
    "only ry given: 9.2": ('<rect width="20" height="10" ry="2"/>', 200 - (4 - PI) * 4),
    "radii are clamped to half the sides: 9.2": ('<rect width="10" height="4" rx="8" ry="1"/>', 40 - (4 - PI) * 5),
    "lengths with units": ('<rect width="9.6px" height="10%" x="1mm"/>', 96),
    "circle": ('<circle cx="50" cy="50" r="20"/>', PI * 400),
    "ellipse": ('<ellipse cx="50" cy="50" rx="20" ry="5"/>', PI * 100),
    "auto radius: SVG 2 section 10.4": ('<ellipse cx="50" cy="50" rx="7" ry="auto"/>', PI * 49),
    "polygon": ('<polygon points="0,0 10 0,10,10"/>', 50),
    "packed points": ('<polygon points="0 0 10-0 10 10.5.5 10"/>', 0.5 * abs(10 * 10.5 + 10 * 10 - 0.5 * 10.5)),
    "polyline is closed for filling": ('<polyline points="0 0 10 0 10 10"/>', 50),
    "odd count drops the last": ('<polygon points="0 0 10 0 10 10 5"/>', 50),
    "path with arc": ('<path d="M0 50A50 50 0 0 1 100 50z"/>', PI * 1250),
    "geometry by style: SVG 2 section 7": ('<circle style="r: 3px; cx: 50px; cy: 20px"/>', PI * 9),
    # fill rules: 11.3
    "same way, nonzero": ('<path d="M0 0H20V20H0zM5 5H15V15H5z"/>', 400),
    "same way, evenodd": ('<path fill-rule="evenodd" d="M0 0H20V20H0zM5 5H15V15H5z"/>', 300),
    "other way, nonzero": ('<path d="M0 0H20V20H0zM5 5V15H15V5z"/>', 300),
    "bow tie": ('<path d="M0 0L20 20V0L0 20z"/>', 200),
    "open path is closed for filling": ('<path d="M0 0H10V10"/>', 50),
    # structure: chapter 5
    "use": ('<defs><rect id="a" width="5" height="5"/></defs><use href="#a" x="3"/><use href="#a" x="30"/>', 50),
    "use by the old link name": (
        '<defs><rect id="a" width="5" height="5"/></defs><use xmlns:l="http://www.w3.org/1999/xlink" l:href="#a"/>',
        25,
    ),
    "use passes its style on": (
        '<defs><rect id="a" width="5" height="5"/></defs><use href="#a" fill="none"/>' + SQUARE,
        100,
    ),
    "symbol is fitted into the size of its use": (
        (
            '<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
            '<use href="#s" width="20" height="30"/>'
        ),
        400,
    ),
    "symbol cuts off what overflows": (
        (
            '<symbol id="s" viewBox="0 0 10 10"><rect x="5" width="50" height="10"/></symbol>'
            '<use href="#s" width="10" height="10"/>'
        ),
        50,
    ),
    "nested svg": (
        '<svg x="10" y="10" width="20" height="20" viewBox="0 0 1 1"><rect width=".5" height="1"/></svg>',
        200,
    ),
    "switch takes the first that holds: 5.8": (
        (
            '<switch><g systemLanguage="xx"><rect width="3" height="3"/></g>'
            '<g requiredExtensions="http://example.invalid"><rect width="4" height="4"/></g><g>'
            '<rect width="5" height="5"/></g><g><rect width="6" height="6"/></g></switch>'
        ),
        25,
    ),
    "a is a group": ("<a>" + SQUARE + "</a>", 100),
    "definitions are not drawn": (
        '<defs><rect width="50" height="50"/></defs><symbol><rect width="50" height="50"/></symbol>'
        '<clipPath id="c"><rect width="50" height="50"/></clipPath><marker><rect width="9" height="9"/></marker>'
        '<pattern><rect width="9" height="9"/></pattern><mask><rect width="9" height="9"/></mask>' + SQUARE,
        100,
    ),
    # transforms: 7.6
    "nested transforms": (
        '<g transform="scale(2)"><g transform="rotate(30) translate(3,4)"><rect width="3" height="3"/></g></g>',
        36,
    ),
    "mirror": ('<rect transform="matrix(0 1 1 0 0 0)" width="10" height="4"/>', 40),
    "a flat transform draws nothing": ('<rect transform="scale(0)" width="10" height="4"/>' + SQUARE, 100),
    "transform by style": ('<rect style="transform: scale(2) rotate(90deg)" width="3" height="3"/>', 36),
    # visibility: 11.5
    "display none hides all inside": (
        '<g display="none"><rect width="9" height="9" display="inline"/></g>' + SQUARE,
        100,
    ),
    "visibility can be undone inside": (
        (
            '<g visibility="hidden"><rect width="9" height="9"/>'
            '<rect x="20" width="5" height="5" visibility="visible"/></g>'
        ),
        25,
    ),
    "opacity 0": ('<rect width="50" height="50" opacity="0"/>' + SQUARE, 100),
    "group opacity 0": ('<g opacity="0"><rect width="50" height="50"/></g>' + SQUARE, 100),
    "fill-opacity 0": ('<rect width="50" height="50" fill-opacity="0"/>' + SQUARE, 100),
    "fill none": ('<rect width="50" height="50" fill="none"/>' + SQUARE, 100),
    "transparent": ('<rect width="50" height="50" fill="transparent"/>' + SQUARE, 100),
    "alpha 0": ('<rect width="50" height="50" fill="rgba(0,0,0,0)"/>' + SQUARE, 100),
    "zero size draws nothing: 9.2": ('<rect width="0" height="50"/>' + SQUARE, 100),
    "negative size draws nothing": ('<rect width="-5" height="50"/><circle r="-3"/>' + SQUARE, 100),
    "current colour": ('<g color="none-such" fill="currentColor"><rect width="5" height="5"/></g>', 25),
    "fill by fallback": ('<rect width="5" height="5" fill="url(#none) red"/>', 25),
    # cascade: chapter 6
    "class beats attribute": (
        '<style>.a{fill:none}</style><rect class="x a" fill="red" width="50" height="50"/>' + SQUARE,
        100,
    ),
    "style attribute beats sheet": ('<style>rect{fill:none}</style><rect style="fill:red" width="5" height="5"/>', 25),
    "important beats style attribute": (
        '<style>.a{fill:none !important}</style><rect class="a" style="fill:red" width="9" height="9"/>' + SQUARE,
        100,
    ),
    "id beats class": ('<style>#i{fill:red} .a{fill:none}</style><rect id="i" class="a" width="5" height="5"/>', 25),
    "later rule wins": ('<style>.a{fill:none} .a{fill:red}</style><rect class="a" width="5" height="5"/>', 25),
    "descendant": ('<style>g .a{fill:none}</style><g><a><rect class="a" width="9" height="9"/></a></g>' + SQUARE, 100),
    "child": ('<style>g > .a{fill:none}</style><g><a><rect class="a" width="5" height="5"/></a></g>', 25),
    "compound": (
        (
            '<style>rect.a.b{fill:none}</style><rect class="b a" width="9" height="9"/>'
            '<rect class="a" width="5" height="5"/>'
        ),
        25,
    ),
    "inherit": (
        '<style>rect{fill:none}</style><g fill="red"><rect style="fill:inherit" width="5" height="5"/></g>',
        25,
    ),
    "media screen": ("<style>@media screen{.a{fill:none}}</style>" + SQUARE.replace("<rect", '<rect class="b"'), 100),
    "css in CDATA": ("<style><![CDATA[.a{fill:none}]]></style><rect class='a' width='9' height='9'/>" + SQUARE, 100),
    # clips: 14.3
    "clip": (
        '<clipPath id="c"><circle cx="15" cy="25" r="5"/></clipPath><g clip-path="url(#c)">' + SQUARE + "</g>",
        PI * 25,
    ),
    "clip by box": (
        (
            '<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
            '<rect clip-path="url(#c)" x="10" y="10" width="10" height="10"/>'
        ),
        50,
    ),
    "clip on clip": (
        '<clipPath id="a"><rect width="15" height="99"/></clipPath><clipPath id="c" clip-path="url(#a)">'
        '<rect width="99"'
        ' height="25"/></clipPath><g clip-path="url(#c)">' + SQUARE + "</g>",
        25,
    ),
    "an empty clip hides all": (
        '<clipPath id="c"/><g clip-path="url(#c)"><rect width="9" height="9"/></g>' + SQUARE,
        100,
    ),
    # painting order
    "white over dark is a hole": (SQUARE + '<rect x="12" y="22" width="4" height="4" fill="#fff"/>', 84),
    "dark over white counts again": (
        SQUARE + '<rect x="12" y="22" width="4" height="4" fill="white"/><rect x="13" y="23" width="1" height="1"/>',
        85,
    ),
    "white below is nothing": ('<rect width="90" height="90" fill="white"/>' + SQUARE, 100),
    "all white counts as it is": ('<rect width="9" height="9" fill="white"/>', 81),
    "doubled shapes count once": (SQUARE + SQUARE, 100),
}


@pytest.mark.parametrize("name", AREAS)
def test_area_in_mm(art, name):
    inner, area = AREAS[name]
    drawing = art(inner)
    assert drawing.region.area == pytest.approx(area, abs=0.002 * max(drawing.region.length, 1))


@pytest.mark.parametrize("name", AREAS)
def test_a_quarter_turn_or_a_use_around_it_changes_nothing(art, name):
    """A law: the same picture inside rotate(90) and inside a use."""
    inner, _ = AREAS[name]
    plain = art(inner).region
    turned = art(f'<g transform="translate(100) rotate(90)">{inner}</g>').region
    if "objectBoundingBox" not in inner:
        assert turned.area == pytest.approx(plain.area, abs=1e-3)
    used = art(f'<defs><g id="all-of-it">{inner}</g></defs><use href="#all-of-it"/>').region
    assert used.symmetric_difference(plain).area < 1e-3


SIZES = {
    # (head, options): (page, area of a square of 10 user units, units guessed)
    "mm with viewBox": (MM, {}, (100, 100), 100, False),
    "inches": ('width="2in" height="1in" viewBox="0 0 200 100"', {}, (50.8, 25.4), (25.4 / 10) ** 2, False),
    "px are 1/96 in": ('width="96" height="192"', {}, (25.4, 50.8), (254 / 96) ** 2, True),
    "points": ('width="72pt" height="36pt"', {}, (25.4, 12.7), (254 / 96) ** 2, False),
    "viewBox only": ('viewBox="0 0 48 96"', {}, (12.7, 25.4), (254 / 96) ** 2, True),
    "percent": ('width="100%" height="100%" viewBox="0 0 96 96"', {}, (25.4, 25.4), (254 / 96) ** 2, True),
    "one side follows the box": ('width="100mm" viewBox="0 0 50 100"', {}, (100, 200), 400, False),
    "units as asked": ('width="7" height="9" viewBox="0 0 50 100"', {"units": "mm"}, (50, 100), 100, False),
    "inches as asked": ('viewBox="0 0 50 100"', {"units": "in"}, (1270, 2540), 254**2, False),
    "meet": ('width="100mm" height="50mm" viewBox="0 0 100 100"', {}, (100, 50), 25, False),
    "slice": (
        'width="100mm" height="50mm" viewBox="0 0 100 100" preserveAspectRatio="xMidYMid slice"',
        {},
        (100, 50),
        100,
        False,
    ),
    "none": ('width="100mm" height="50mm" viewBox="0 0 100 100" preserveAspectRatio="none"', {}, (100, 50), 50, False),
    "a wrong viewBox is left out": (
        'width="96" height="96" viewBox="0 0 100"',
        {},
        (25.4, 25.4),
        (254 / 96) ** 2,
        True,
    ),
}


@pytest.mark.parametrize("name", SIZES)
def test_page_and_units(art, name):
    """SVG 2 chapter 8; CSS Values 3 section 5.2: 96 px are one inch, which is 25.4 mm."""
    head, options, size, area, guessed = SIZES[name]
    drawing = art('<rect width="10" height="10"/>', head, **options)
    assert drawing.size == pytest.approx(size)
    assert drawing.region.area == pytest.approx(area, rel=1e-6)
    assert drawing.units_guessed is guessed
    assert {"units", "size"} <= codes(drawing)
    assert all(layer.units_guessed is guessed for layer in drawing.layers.values())


@pytest.mark.parametrize(
    ("align", "corner"),
    [
        ("xMinYMin", (0, 50)), ("xMidYMin", (0, 50)), ("xMaxYMin", (0, 50)),
        ("xMinYMid", (0, 25)), ("xMidYMid", (0, 25)), ("xMaxYMid", (0, 25)),
        ("xMinYMax", (0, 0)), ("xMidYMax", (0, 0)), ("xMaxYMax", (0, 0)),
    ],
)  # fmt: skip
def test_the_box_is_aligned_in_a_tall_page_and_likewise_in_a_wide_one(art, align, corner):
    """SVG 2 section 8.6: by hand for a box of 1 x 1 in a page of 50 x 100 and of 100 x 50."""
    full = '<rect width="1" height="1"/>'
    tall = art(full, f'width="50mm" height="100mm" viewBox="0 0 1 1" preserveAspectRatio="{align}"')
    assert tall.region.bounds[:2] == pytest.approx(corner)
    assert tall.region.area == pytest.approx(2500)
    wide = art(full, f'width="100mm" height="50mm" viewBox="0 0 1 1" preserveAspectRatio="{align}"')
    x = {"xMin": 0, "xMid": 25, "xMax": 50}[align[:4]]
    assert wide.region.bounds == pytest.approx((x, 0, x + 50, 50))


def test_y_points_up_from_the_lower_left_corner_of_the_page(art):
    drawing = art('<rect x="10" y="20" width="5" height="7"/>')
    assert drawing.region.bounds == pytest.approx((10, 73, 15, 80))


@pytest.mark.parametrize(
    ("origin", "corner"),
    [
        ("", (0, 80)),
        ("0 0", (0, 80)),
        ("10px 5px", (-10, 85)),
        ("center", (-50, 130)),
        ("center top", (-50, 80)),
        ("bottom right", (-100, 180)),
        ("50% 20%", (-50, 100)),
        ("left", (0, 130)),
    ],
)
def test_transform_origin_is_measured_from_the_view_box(art, origin, corner):
    """CSS Transforms 1 section 7: o + 2 (p - o), by hand for a square of 10 at the upper left corner."""
    drawing = art(f'<rect width="10" height="10" style="transform: scale(2); transform-origin: {origin}"/>')
    assert drawing.region.bounds[:2] == pytest.approx(corner)


def test_a_transform_measured_from_the_own_box_is_left_out_and_said(art):
    drawing = art(SQUARE + '<rect width="5" height="5" style="transform: scale(2); transform-box: fill-box"/>')
    assert drawing.region.area == pytest.approx(100)
    assert "broken-value" in codes(drawing)


def test_without_a_page_the_artwork_begins_at_its_own_corner(art):
    drawing = art('<rect x="10" y="20" width="96" height="48"/>', "")
    assert drawing.region.bounds == pytest.approx((0, 0, 25.4, 12.7))
    assert drawing.size == pytest.approx((25.4, 12.7))
    assert "no-page" in codes(drawing)


def test_artwork_outside_the_page_is_kept_and_said(art):
    drawing = art('<rect x="95" y="20" width="10" height="10"/>')
    assert drawing.region.area == pytest.approx(100)
    assert "off-page" in codes(drawing)


LAYERED = (
    '<g xmlns:n="urn:any" n:groupmode="layer" n:label="Letters" id="layer1"><g id="inner">' + SQUARE + "</g></g>"
    '<g id="my_x5F_leaf" data-name="leaf"><circle id="dot" cx="50" cy="50" r="5"/></g>'
    '<g id="plain"><rect id="r" x="70" width="3" height="3"/></g>'
)


def test_layers_by_label_by_data_name_and_by_id(art):
    drawing = art(LAYERED)
    assert list(drawing.layers) == ["Letters", "inner", "leaf", "plain"]
    assert drawing["Letters"].region.area == pytest.approx(100)
    assert drawing["leaf"].region.area == pytest.approx(PI * 25, abs=0.1)
    assert drawing["dot"].region.equals(drawing["leaf"].region)
    assert drawing["plain"].name == "plain"
    assert drawing.region.area == pytest.approx(sum(drawing[n].region.area for n in ("Letters", "leaf", "plain")))


def test_a_wrong_name_lists_the_nearest(art):
    drawing = art(LAYERED)
    with pytest.raises(pg.DrawingError, match="'Letters'") as caught:
        drawing["letter"]
    assert isinstance(caught.value, KeyError)
    with pytest.raises(KeyError, match="'leaf'"):
        drawing["leave"]
    with pytest.raises(KeyError, match="the drawing has 'Letters'"):
        drawing["zzzz"]


def test_white_letters_are_a_hole_in_the_board_and_a_region_in_their_layer(art):
    drawing = art(
        '<g id="board"><rect width="50" height="50"/></g><g id="letters" fill="#fff"><rect width="5" height="5"/></g>'
    )
    assert drawing.region.area == pytest.approx(2475)
    assert drawing["letters"].region.area == pytest.approx(25)
    assert drawing["board"].region.area == pytest.approx(2500)
    note = next(n for n in drawing.notes if n.code == "white-paint")
    assert note.where == pytest.approx((0, 95))


def test_half_transparent_white_takes_nothing_away(art):
    drawing = art(SQUARE + '<rect x="12" y="22" width="4" height="4" fill="white" opacity=".5"/>')
    assert drawing.region.area == pytest.approx(100)


def test_strokes_are_lines_and_closed_ones_have_an_area_inside(art):
    drawing = art(
        '<g id="s" fill="none" stroke="#000"><rect width="20" height="10"/><path d="M0 50H30"/>'
        '<circle cx="10" cy="5" r="2"/></g>'
    )
    assert drawing.region.is_empty
    assert drawing.lines.length == pytest.approx(60 + 30 + 4 * PI, abs=0.03)
    assert drawing.outlines.area == pytest.approx(200 - 4 * PI, abs=0.03)
    assert drawing["s"].outlines.area == pytest.approx(drawing.outlines.area)
    assert "closed-strokes" in codes(drawing)
    assert art('<path fill="none" stroke="#000" d="M0 50H30"/>' + SQUARE, strokes="ignore").lines.is_empty


def test_strokes_that_meet_are_joined_into_loops(art):
    drawing = art(
        '<g fill="none" stroke="red"><path d="M0 0H10"/><path d="M10 10V0.004"/><path d="M10 10H0V0"/></g>', join=0.01
    )
    assert drawing.outlines.area == pytest.approx(100, abs=0.05)
    assert "joined" in codes(drawing)
    apart = art('<g fill="none" stroke="red"><path d="M0 0H10"/><path d="M10 10V0.02"/><path d="M10 10H0V0"/></g>')
    assert apart.outlines.is_empty


def test_a_stroke_around_a_filled_shape_is_said_not_added(art):
    drawing = art('<rect width="10" height="10" stroke="red" stroke-width="2"/>')
    assert drawing.region.area == pytest.approx(100)
    assert drawing.lines.is_empty
    assert "stroke-width" in codes(drawing)


def test_a_white_shape_with_a_stroke_counts_as_its_outline(art):
    drawing = art(SQUARE + '<rect x="12" y="22" width="4" height="4" fill="#fff" stroke="#000"/>')
    assert drawing.region.area == pytest.approx(84)
    assert drawing.lines.length == pytest.approx(16)


STROKE = 'fill="none" stroke="#000" stroke-width="2"'
BANDS = {
    # SVG 2 section 13.5; widths 2, so half is 1
    "butt": (f'<path {STROKE} d="M10 10H30"/>', 40),
    "square": (f'<path {STROKE} stroke-linecap="square" d="M10 10H30"/>', 44),
    "round": (f'<path {STROKE} stroke-linecap="round" d="M10 10H30"/>', 40 + PI),
    "mitre": (f'<path {STROKE} d="M10 10H30V30"/>', 80),
    "bevel": (f'<path {STROKE} stroke-linejoin="bevel" d="M10 10H30V30"/>', 79.5),
    "round join": (f'<path {STROKE} stroke-linejoin="round" d="M10 10H30V30"/>', 79 + PI / 4),
    "beyond the limit a mitre is a bevel": (f'<path {STROKE} stroke-miterlimit="1.4" d="M10 10H30V30"/>', 79.5),
    "at the limit it is a mitre": (f'<path {STROKE} stroke-miterlimit="1.41422" d="M10 10H30V30"/>', 80),
    "closed": (f'<rect {STROKE} x="10" y="10" width="20" height="10"/>', 22 * 12 - 18 * 8),
    "closed by meeting, not by command: butt ends": (f'<path {STROKE} d="M10 10H30V20H10V10"/>', 22 * 12 - 18 * 8 - 1),
    "circle": (f'<circle {STROKE} cx="50" cy="50" r="10"/>', PI * (121 - 81)),
    "dot with round caps": (f'<path {STROKE} stroke-linecap="round" d="M50 50z"/>', PI),
    "dot with square caps": (f'<path {STROKE} stroke-linecap="square" d="M50 50h0"/>', 4),
    "uneven scale deforms the band": (f'<g transform="scale(3,1)"><path {STROKE} d="M10 10V30"/></g>', 120),
    "stroke that does not scale": (
        f'<g transform="scale(2)"><path {STROKE} vector-effect="non-scaling-stroke" d="M10 10H20"/></g>',
        20 * 50.8 / 96,
    ),
    "fill and stroke": ('<rect x="10" y="10" width="10" height="10" stroke="red" stroke-width="2"/>', 144),
    "white stroke takes away": ('<rect x="10" y="10" width="10" height="10" stroke="#fff" stroke-width="2"/>', 64),
    "a sharp turn back inside a curve is round": (f'<path {STROKE} d="M10 10C40 10 40 10 10 10"/>', None),
}


@pytest.mark.parametrize("name", BANDS)
def test_the_band_of_a_stroke(art, name):
    inner, area = BANDS[name]
    drawing = art(inner, strokes="outline")
    assert drawing.lines.is_empty
    if area is None:
        area = 45 + PI / 2  # out 22.5 and back, with a round end at the turn
    assert drawing.region.area == pytest.approx(area, abs=0.002 * drawing.region.length)


def test_the_spike_of_a_mitre_ends_where_the_rule_says(art):
    """SVG 2 section 13.5.5: the tip lies half / sin(angle / 2) from the corner."""
    drawing = art(f'<path {STROKE} stroke-miterlimit="10" d="M10 10L40 10L10 20"/>', strokes="outline")
    angle = math.atan2(10, 30)
    middle = math.radians(180) - angle / 2
    tip = shapely.Point(
        40 - math.cos(middle) / math.sin(angle / 2), 100 - (10 - math.sin(middle) / math.sin(angle / 2))
    )
    assert drawing.region.distance(tip) < 1e-4
    assert drawing.region.bounds[2] == pytest.approx(tip.x, abs=1e-4)


UNREAD = {
    "text": ("<text>Fern</text>", "ignored"),
    "picture": ('<image href="http://example.invalid/x.png"/>', "ignored"),
    "unknown element": ("<sparkle/>", "ignored"),
    "mask": ('<rect width="5" height="5" mask="url(#m)"/>', "clip"),
    "filter": ('<rect width="5" height="5" filter="url(#m)"/>', "ignored"),
    "missing clip": ('<rect width="5" height="5" clip-path="url(#m)"/>', "reference"),
    "clip of a shape function": ('<rect width="5" height="5" clip-path="circle(3px)"/>', "clip"),
    "missing use": ('<use href="#nowhere"/>', "reference"),
    "use of another file": ('<use href="other.svg#a"/>', "reference"),
    "use of itself": ('<g id="loop"><use href="#loop"/></g>', "reference"),
    "use in a ring": ('<g id="a"><use href="#b"/></g><defs><g id="b"><use href="#a"/></g></defs>', "reference"),
    "gradient": ('<linearGradient id="g"/><rect width="5" height="5" fill="url(#g)"/>', "paint"),
    "no such paint": ('<rect width="5" height="5" fill="url(#g)"/>', "paint"),
    "no such colour": ('<rect width="5" height="5" fill="ferny"/>', "paint"),
    "broken path": ('<path d="M0 0H5V5H0z L"/>', "broken-path"),
    "broken transform": ('<rect width="5" height="5" transform="rotate(ten)"/>', "broken-value"),
    "broken length": ('<rect width="5" height="5" rx="wide"/>', "broken-value"),
    "hidden layer": ('<g id="h" display="none"><rect width="5" height="5"/></g>', "hidden"),
    "unpainted": ('<path d="M0 0H24V24z" fill="none"/>', "hidden"),
    "no area": ('<path d="M0 0H24"/>', "no-area"),
    "crossing": ('<path d="M0 0L20 20V0L0 20z"/>', "crossing"),
    "sliver": ('<path d="M0 90H50V90.001H0z"/>', "sliver"),
    "style import": ("<style>@import url(x.css);</style>", "style"),
    "selector": ("<style>rect:nth-child(2){fill:none}</style>", "style"),
    "dashes": ('<path fill="none" stroke="red" stroke-dasharray="2 1" d="M0 0H9"/>', "dash"),
    "markers": ('<path fill="none" stroke="red" marker-end="url(#m)" d="M0 0H9"/>', "ignored"),
    "doubled line": ('<g fill="none" stroke="red"><path d="M0 0H9"/><path d="M9 0H0"/></g>', "repeat"),
}


@pytest.mark.parametrize("name", UNREAD)
def test_what_is_not_read_or_odd_is_a_note_with_its_line_and_the_rest_is_read(art, name):
    inner, code = UNREAD[name]
    drawing = art("\n" + inner + "\n" + SQUARE)
    found = [n for n in drawing.notes if n.code == code]
    assert found
    assert found[0].line is not None or found[0].where is not None
    assert drawing.region.intersection(shapely.box(10, 70, 20, 80)).area == pytest.approx(100)


def test_equal_remarks_are_counted_not_repeated(art):
    drawing = art("<text>a</text>" * 50 + SQUARE)
    notes = [n for n in drawing.notes if n.code == "ignored"]
    assert len(notes) == 1
    assert "50 times" in notes[0].text


@pytest.mark.parametrize("xmlns", ["", 'xmlns:svg="http://www.w3.org/2000/svg"'])
def test_no_namespace_or_unbound_prefixes_are_read(art, xmlns):
    assert art(SQUARE + '<i:pgf i:data="1"/>', xmlns=xmlns).region.area == pytest.approx(100)


def test_a_prefixed_drawing_and_foreign_elements(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(
        f'<s:svg xmlns:s="http://www.w3.org/2000/svg" xmlns:o="urn:other" {MM}><s:rect width="5" height="5"/>'
        '<o:rect width="50" height="50"/></s:svg>'
    )
    assert pg.read(path).region.area == pytest.approx(25)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "latin-1"])
def test_encodings_and_packed_files(tmp_path, encoding):
    text = f'<?xml version="1.0" encoding="{encoding}"?><svg {MM}><g id="Bäume">{SQUARE}</g></svg>'
    plain, packed = tmp_path / "a.svg", tmp_path / "b.svg"
    plain.write_bytes(text.encode(encoding))
    packed.write_bytes(gzip.compress(text.encode(encoding)))
    for path in (plain, packed):
        assert pg.read(path)["Bäume"].region.area == pytest.approx(100)


def test_entities_of_the_drawing_itself_are_read(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://example.invalid/svg11.dtd" ['
        '<!ENTITY ns "http://www.w3.org/2000/svg"><!ENTITY w "7">]>'
        f'<svg xmlns="&ns;" {MM}><rect width="&w;" height="7"/></svg>'
    )
    assert pg.read(path).region.area == pytest.approx(49)


def test_flattening_holds_after_a_large_scale(art):
    """A circle of radius 0.05 user units, 1000 times larger: true within 0.002 mm."""
    ring = art('<g transform="scale(1000)"><circle cx=".05" cy=".05" r=".05"/></g>').region.geoms[0].exterior
    middle = shapely.Point(50, 50)
    assert shapely.hausdorff_distance(ring, middle) == pytest.approx(50, abs=1e-5)
    assert ring.distance(middle) >= 50 - 0.002 - 1e-6


def test_a_finer_tolerance_changes_the_area_by_less_than_its_band(art):
    inner = AREAS["circle"][0]
    coarse, fine = art(inner, tolerance=0.02), art(inner, tolerance=0.002)
    assert len(coarse.region.geoms[0].exterior.coords) < len(fine.region.geoms[0].exterior.coords)
    assert 0 < fine.region.area - coarse.region.area < 0.02 * fine.region.length
    assert coarse.tolerance == 0.02
