"""Single-line lettering: packaged fonts, a user's own SVG font, and what is told."""

import gzip

import numpy as np
import pytest
import shapely

import pathgen as pg
from pathgen.artwork.stroke_text import FONTS, stroke_font, stroke_text
from pathgen.errors import ArgumentError, DrawingError, MissingFileError

ASCII = "".join(chr(c) for c in range(33, 127))

FONT = """<svg xmlns="http://www.w3.org/2000/svg"><defs><font id="nib" horiz-adv-x="500">
<font-face font-family="Nib" units-per-em="1000" cap-height="600"/>
<missing-glyph d="M0 0H500V700H0Z"/>
<glyph unicode="ff" horiz-adv-x="900" d="M100 0V700M500 0V700"/>
<glyph unicode="f" d="M100 0V700"/>
<glyph unicode="H" horiz-adv-x="800" d="M100 0V700M700 0V700M100 350H700"/>
<glyph unicode="O" horiz-adv-x="800" d="M700 350A300 350 0 1 1 100 350A300 350 0 1 1 700 350Z"/>
<glyph unicode="&#x2019;" d="M10 600L20 700"/>
<glyph unicode=" " horiz-adv-x="300"/>
<glyph unicode="x"/>
</font></defs></svg>"""


@pytest.fixture
def nib(tmp_path):
    path = tmp_path / "nib.svg"
    path.write_text(FONT)
    return path


LATIN = [font for font in FONTS if font != "greek"]


@pytest.mark.parametrize("font", LATIN)
def test_every_latin_font_sets_all_of_ascii(font):
    lines = stroke_text(ASCII, height=10, font=font)
    letters = [stroke_text(c, height=10, font=font) for c in ASCII]
    assert lines.length == pytest.approx(sum(letter.length for letter in letters))
    assert len({letter.wkb for letter in letters}) >= len(ASCII) - 1, "I and l may look the same"


@pytest.mark.parametrize("font", ["sans", "plain", "double", "bold", "serif", "serif italic", "serif bold"])
def test_capitals_are_as_high_as_asked(font):
    _, y0, _, y1 = stroke_text("H", height=10, font=font).bounds
    assert (y0, y1) == pytest.approx((0, 10))


def test_the_fonts_differ():
    lengths = {round(stroke_text(ASCII, height=10, font=font).length, 3) for font in LATIN}
    assert len(lengths) == len(LATIN)


def test_the_greek_font_holds_the_greek_alphabet():
    letters = "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩαβγδεζηθικλμνξοπρστυφχψω"
    assert stroke_text(letters, height=10, font="greek").length > 100
    omicron, capital_h = stroke_text("Ο", height=10, font="greek"), stroke_text("Η", height=10, font="greek")
    assert omicron.bounds[3] == pytest.approx(10)
    assert capital_h.equals(stroke_text("H", height=10, font="plain")), "eta looks like H"
    with pytest.raises(DrawingError, match="'F'"):
        stroke_text("Fern", height=10, font="greek")


def test_the_letter_l_is_the_one_that_was_digitized():
    """Hershey's simplex L: a stem of 21 grid units, a foot of 12."""
    lines = stroke_text("L", height=21)
    assert lines.length == 21 + 12
    assert shapely.get_coordinates(lines).tolist() == [[4, 21], [4, 0], [4, 0], [16, 0]]


def test_size_goes_with_the_height_and_tracking_with_the_gaps():
    one, two = stroke_text("Fern", height=5), stroke_text("Fern", height=10)
    assert shapely.get_coordinates(two) == pytest.approx(2 * shapely.get_coordinates(one))
    wide = stroke_text("Fern", height=5, tracking=2)
    assert wide.bounds[2] == pytest.approx(one.bounds[2] + 3 * 2)
    assert wide.length == pytest.approx(one.length)


@pytest.mark.parametrize(("align", "share"), [("left", 0), ("center", 0.5), ("right", 1)])
def test_lines_are_aligned_by_their_advance(align, share):
    both = stroke_text("MMMM\nM", height=10, align=align, line_spacing=2)
    single = stroke_text("M", height=10)
    lower = [g for g in both.geoms if g.bounds[3] < 0]
    x, y = np.array(shapely.multilinestrings(lower).bounds[:2]) - single.bounds[:2]
    advance = 24 / 21 * 10  # of M
    assert (x, y) == pytest.approx((share * 3 * advance, -20))


def test_a_blank_line_keeps_its_place():
    assert stroke_text("I\n\nI", height=10, line_spacing=1.5).bounds[1] == pytest.approx(-30)


def test_a_font_of_ones_own_is_read_from_svg(nib):
    letter = stroke_text("H", height=7, font=nib)
    assert letter.bounds == pytest.approx((1, 0, 7, 7)), "scaled by its own H, not by what it states"
    assert len(letter.geoms) == 3
    assert stroke_text("HH", height=7, font=nib).bounds[2] == pytest.approx(8 + 7)
    assert stroke_text("H H", height=7, font=nib).bounds[2] == pytest.approx(8 + 3 + 7)
    assert stroke_text("HfH", height=7, font=str(nib)).bounds[2] == pytest.approx(8 + 5 + 7), "its default advance"


def test_a_glyph_for_several_letters_goes_first_where_the_font_lists_it_first(nib):
    assert stroke_text("ffH", height=7, font=nib).bounds[2] == pytest.approx(9 + 7)
    assert stroke_text("fH", height=7, font=nib).bounds[2] == pytest.approx(5 + 7)


def test_curves_stay_within_the_tolerance_and_closed_ones_are_closed(nib):
    (ring,) = stroke_text("O", height=70, font=nib, tolerance=0.01).geoms
    assert ring.is_closed
    x, y = (shapely.get_coordinates(shapely.segmentize(ring, 0.05)) - (40, 35)).T / np.array([[30], [35]])
    off = 1 - np.hypot(x, y)
    assert 0 <= off.max() * 35 <= 0.01 * 35 / 30
    assert off.min() > -1e-9
    fine = stroke_text("O", height=70, font=nib, tolerance=0.0005)
    assert len(fine.geoms[0].coords) > 3 * len(ring.coords)


def test_a_packed_font_is_read(nib, tmp_path):
    packed = tmp_path / "nib.svgz"
    packed.write_bytes(gzip.compress(FONT.encode()))
    assert stroke_text("H", height=7, font=packed).equals(stroke_text("H", height=7, font=nib))


def test_letters_that_are_missing_or_blank_are_named(nib):
    with pytest.raises(DrawingError, match=r"sans has no letter for 'é' \(U\+00E9\)"):
        stroke_text("café", height=5)
    with pytest.raises(DrawingError, match=r"Nib has no letter for 'A' .*, 'x' "):
        stroke_text("HAx", height=5, font=nib)
    assert stroke_text("H\u2019", height=5, font=nib).length > 0


def test_an_unknown_font_is_told_with_the_names_there_are():
    with pytest.raises(ArgumentError, match=r"'sans', 'plain', 'double'.*'greek'"):
        stroke_text("Fern", height=5, font="gothic")
    with pytest.raises(ArgumentError, match="neither a path"):
        stroke_text("Fern", height=5, font=7)


def test_a_font_file_that_cannot_be_used_is_told(tmp_path):
    with pytest.raises(MissingFileError):
        stroke_text("Fern", height=5, font=tmp_path / "none.svg")
    for name, content, words in (
        ("plain", '<svg xmlns="http://www.w3.org/2000/svg"/>', "0 font elements"),
        ("empty", FONT[: FONT.index("<missing")] + "</font></defs></svg>", "no glyph"),
        ("broken", FONT.replace("M100 0V700M700", "M100 oops"), "broken path data"),
        ("number", FONT.replace('"1000"', '"many"'), "units-per-em='many'"),
        ("flat", FONT.replace('d="M100 0V700M700 0V700M100 350H700"', 'd="M0 -5H9"'), "cap height"),
        ("cut off", FONT[:200], "XML"),
    ):
        path = tmp_path / f"{name}.svg"
        path.write_text(content)
        with pytest.raises(DrawingError, match=words) as caught:
            stroke_text("H", height=5, font=path)
        assert caught.value.file == str(path)


@pytest.mark.parametrize(
    ("string", "more", "words"),
    [
        ("", {}, "empty"),
        ("  \n ", {}, "empty"),
        (7, {}, "no text"),
        ("Fern", {"height": 0}, "height"),
        ("Fern", {"height": 2e5}, "100 m"),
        ("Fern", {"align": "middle"}, "align"),
        ("Fern", {"tracking": "wide"}, "tracking"),
        ("Fern", {"line_spacing": 0}, "line_spacing"),
        ("Fern", {"tolerance": 0}, "tolerance"),
    ],
)
def test_what_cannot_be_set_is_refused(string, more, words):
    with pytest.raises(ArgumentError, match=words):
        stroke_text(string, **{"height": 5, **more})


def test_control_characters_are_refused():
    with pytest.raises(DrawingError, match=r"U\+0007"):
        stroke_text("Fe\arn", height=5)


def test_a_font_is_read_once():
    assert stroke_font("sans") is stroke_font(None)
    assert pg.stroke_text is stroke_text
