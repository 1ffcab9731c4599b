"""Words set in a typeface: sizes, kerning, areas and errors, against fontTools and against the curves themselves."""

import math
import shutil
import time
from itertools import pairwise
from pathlib import Path

import font_source_sans_pro
import font_source_serif_pro
import numpy as np
import pytest
import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform
from shapely.geometry import MultiLineString, MultiPolygon, Point, Polygon

from pathgen.artwork.lettering import UNITS_PER_MM, flattened, nonzero, text, united
from pathgen.artwork.typeface import script_of, typeface
from pathgen.errors import ArgumentError, DrawingError, MissingFileError, PathgenError
from pathgen.model.artwork import region_of

SERIF = Path(font_source_serif_pro.font_directory)
SANS = Path(font_source_sans_pro.font_directory)
FONTS = [SERIF / "SourceSerifPro-Semibold.otf", SERIF / "SourceSerifPro-Semibold.ttf", SANS / "SourceSansPro-Bold.otf"]
BED = "Quercus robur 1753, Æsculus & Ginkgo"


def set_glyphs(lettering):
    """Every letter's outline under its own matrix."""
    return [affine_transform(lettering.outlines[name], matrix) for name, matrix in lettering.glyphs]


def bezier(points, t):
    """A Bezier curve of any degree at t (n, 1), by de Casteljau's rule."""
    p = [np.array(a, float) for a in points]
    while len(p) > 1:
        p = [a + t * (b - a) for a, b in pairwise(p)]
    return p[0]


def true_curves(font, glyph, per_curve=200):
    """Each of a glyph's curves in font units as a dense polyline on it; drawn by fontTools, evaluated here."""
    pen = DecomposingRecordingPen(font.getGlyphSet())
    font.getGlyphSet()[glyph].draw(pen)
    t = np.linspace(0, 1, per_curve)[:, None]
    out, at, start = [], None, None
    for op, args in pen.value:
        if op == "moveTo":
            at = start = args[0]
        elif op == "lineTo":
            out.append(bezier([at, args[0]], t))
        elif op == "curveTo":
            out.append(bezier([at, *args], t))
        elif op == "qCurveTo":
            off = np.array(args[:-1], float)
            ends = [*(0.5 * (a + b) for a, b in pairwise(off)), args[-1]]
            for control, end in zip(off, ends, strict=True):
                out.append(bezier([at, control, end], t))
                at = end
        elif at != start:
            out.append(bezier([at, start], t))
        if args:
            at = args[-1]
    return out


@pytest.mark.parametrize("font", [None, "serif", "sans", "sans bold", "serif light italic", *FONTS], ids=str)
@pytest.mark.parametrize("height", [3.0, 40.0, 137.7])
def test_the_flattened_h_is_exactly_as_high_as_asked(font, height):
    h = text("H", height=height, font=font)
    assert h.region.bounds[3] == pytest.approx(height, abs=0.001)
    assert h.region.bounds[1] == pytest.approx(0, abs=0.001)


def test_cap_height_is_near_the_one_that_the_font_states():
    """The OS/2 table's sCapHeight (OpenType specification) is the family's round number; 'H' is within 3 % of it."""
    for path in FONTS:
        stated = TTFont(path)["OS/2"].sCapHeight
        assert typeface(path).cap_height == pytest.approx(stated, rel=0.03)


@pytest.mark.parametrize("path", FONTS, ids=lambda p: p.name)
def test_letters_stand_where_fonttools_advances_and_kerning_put_them(path):
    """Origins against hmtx advances and GPOS pair values, both read by fontTools; integer font units."""
    font = TTFont(path)
    cmap, scale = font.getBestCmap(), 40.0 / typeface(path).cap_height
    word = "AVATAR To"
    x, want = 0, []
    for c, following in zip(word, [*word[1:], None], strict=True):
        if c != " ":
            want.append(x * scale)
        x += font["hmtx"][cmap[ord(c)]][0] + (pair_kern(font, cmap[ord(c)], cmap[ord(following)]) if following else 0)
    got = [m[4] for _, m in text(word, height=40, font=path).glyphs]
    assert got == pytest.approx(want, abs=1e-6)
    assert sum(pair_kern(font, cmap[ord(a)], cmap[ord(b)]) != 0 for a, b in pairwise(word)) >= 3


def pair_kern(font, left, right):
    """The kern feature's first matching pair value, read from GPOS with fontTools (OpenType, GPOS lookup type 2)."""
    gpos = font["GPOS"].table
    wanted = {i for f in gpos.FeatureList.FeatureRecord if f.FeatureTag == "kern" for i in f.Feature.LookupListIndex}
    for i in sorted(wanted):
        for sub in gpos.LookupList.Lookup[i].SubTable:
            sub = sub.ExtSubTable if sub.LookupType == 9 else sub
            if sub.LookupType != 2 or left not in sub.Coverage.glyphs:
                continue
            if sub.Format == 1:
                for record in sub.PairSet[sub.Coverage.glyphs.index(left)].PairValueRecord:
                    if record.SecondGlyph == right:
                        return record.Value1.XAdvance or 0
            else:
                c1 = sub.ClassDef1.classDefs.get(left, 0)
                c2 = sub.ClassDef2.classDefs.get(right, 0)
                value = sub.Class1Record[c1].Class2Record[c2].Value1
                return (value.XAdvance if value and hasattr(value, "XAdvance") else 0) or 0
    return 0


@pytest.mark.parametrize("path", FONTS, ids=lambda p: p.name)
def test_areas_agree_with_fonttools_where_contours_do_not_overlap(path):
    """fontTools' AreaPen integrates the true curves (Green); chords lose at most tolerance x outline length."""
    font = TTFont(path)
    glyphs, cmap = font.getGlyphSet(), font.getBestCmap()
    scale = 40.0 / typeface(path).cap_height
    for c in "HOSgaeR8":
        pen = AreaPen(glyphs)
        glyphs[cmap[ord(c)]].draw(pen)
        letter = text(c, height=40, font=path).region
        assert abs(abs(pen.value) * scale**2 - letter.area) <= 0.002 * letter.length
        assert letter.area > 100


@pytest.mark.parametrize("path", FONTS, ids=lambda p: p.name)
@pytest.mark.parametrize("tolerance", [0.0005, 0.002, 0.05])
def test_edges_lie_within_the_tolerance_of_the_true_curves(path, tolerance):
    """Both ways: curve points to the edge, and the edge's vertices back to densely sampled curves."""
    font = TTFont(path)
    scale = 40.0 / typeface(path).cap_height
    for c in "SO&g":
        letter = text(c, height=40, font=path, tolerance=tolerance)
        curves = [c * scale + letter.glyphs[0][1][4:] for c in true_curves(font, font.getBestCmap()[ord(c)])]
        # contours that lie inside one another would need care; these letters have none
        away = shapely.distance(shapely.boundary(letter.region), shapely.points(np.concatenate(curves)))
        assert away.max() <= tolerance
        back = shapely.distance(shapely.points(shapely.get_coordinates(letter.region)), MultiLineString(curves))
        assert back.max() <= 0.0002, "every vertex lies on a curve, as far as 200 chords can tell"
        if tolerance == 0.05:
            assert away.max() > 0.002, "the tolerance is used, not ignored"


def test_vertices_lie_on_the_curve_and_a_line_is_not_cut():
    arc = [[1, 0], [1, 0.5522847498], [0.5522847498, 1], [0, 1]]
    line = [[0, 1], [0, 2 / 3], [0, 1 / 3], [0, 0]]
    xy, owner = flattened(np.array([arc, line]) * 100.0, np.array([0, 0]), 0.01)
    assert len(xy) == len(owner)
    assert (xy[:, 0] > 1e-9).sum() == len(xy) - 1, "the line adds its start only"
    # this cubic follows the circle within 2.73e-4 of the radius (well-known bound for k = 0.5523)
    assert np.abs(np.hypot(*xy.T) - 100).max() < 0.028


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-100, 100), min_size=8, max_size=8), st.sampled_from([0.002, 0.05, 1.0]))
def test_no_cubic_leaves_its_chords_by_more_than_the_tolerance(values, tolerance):
    curve = np.array(values).reshape(1, 4, 2)
    xy, _ = flattened(curve, np.zeros(1, np.int64), tolerance)
    xy = np.vstack([xy, curve[0, 3]])
    on_curve = bezier(curve[0], np.linspace(0, 1, 700)[:, None])
    line = shapely.linestrings(xy) if np.ptp(xy, axis=0).max() > 1e-9 else Point(xy[0])
    assert shapely.distance(line, shapely.points(on_curve)).max() <= tolerance + 1e-9


def test_nonzero_fills_overlaps_and_keeps_holes_of_the_other_turn():
    """Two overlapping squares of the same turn are one area, 4 + 4 - 1; one of the other turn is a hole."""
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], float)
    both = np.vstack([square, square + 1])
    assert nonzero(both, np.repeat([0, 1], 4)).area == pytest.approx(7.0, abs=1e-9)
    ring = np.vstack([square * 5, square[::-1] + 4])
    area = nonzero(ring, np.repeat([0, 1], 4))
    assert area.area == pytest.approx(96.0, abs=1e-9)
    assert len(area.geoms[0].interiors) == 1
    same_turn = nonzero(np.vstack([square * 5, square + 4]), np.repeat([0, 1], 4))
    assert same_turn.area == pytest.approx(100.0, abs=1e-9)
    island = nonzero(np.vstack([square * 5, square[::-1] * 3 + 1, square + 3]), np.repeat([0, 1, 2], 4))
    assert len(island.geoms) == 2
    assert island.area == pytest.approx(100 - 36 + 4, abs=1e-9)


def test_nonzero_gives_nothing_for_contours_without_area():
    assert nonzero(np.array([[0, 0], [5, 0], [2, 0]], float), np.zeros(3, np.int64)).is_empty
    assert nonzero(np.empty((0, 2)), np.empty(0, np.int64)).is_empty


def test_filling_moves_no_vertex_by_more_than_a_millionth():
    rng = np.random.default_rng(3)
    angle = np.sort(rng.uniform(0, 2 * math.pi, 200))
    xy = np.column_stack([np.cos(angle), np.sin(angle)]) * 31.4159265358979
    area = nonzero(xy, np.zeros(200, np.int64))
    got = shapely.get_coordinates(area)
    nearest = np.min(np.hypot(*(got[:, None] - xy[None]).transpose(2, 0, 1)), axis=1)
    assert len(got) == 201
    assert nearest.max() <= 0.75 / UNITS_PER_MM


@pytest.mark.parametrize("font", ["serif", "sans light", "serif black italic"])
def test_matrices_put_the_outlines_onto_the_region(font):
    lettering = text(BED, height=17, font=font)
    assert shapely.union_all(set_glyphs(lettering)).symmetric_difference(lettering.region).area < 1e-6
    assert region_of(lettering) is lettering.region
    assert all(p.exterior.is_ccw and not any(h.is_ccw for h in p.interiors) for p in lettering.region.geoms)


@settings(max_examples=40, deadline=None)
@given(
    st.text(st.sampled_from("AVWfijlTQy&é .-–'8ßŒ"), min_size=1, max_size=14).filter(str.strip),
    st.floats(2, 200),
    st.floats(-0.12, 0.5),
)
def test_any_words_give_a_valid_area_within_the_sum_of_their_letters(words, height, tracking):
    """Tight tracking makes letters overlap: the union is no larger than the sum and holds each letter."""
    lettering = text(words, height=height, tracking=tracking * height)
    letters = set_glyphs(lettering)
    assert lettering.region.is_valid
    assert isinstance(lettering.region, MultiPolygon)
    assert lettering.region.area <= sum(p.area for p in letters) * (1 + 1e-9)
    grown = lettering.region.buffer(1e-6)
    assert all(grown.covers(p) for p in letters)
    assert len(lettering.glyphs) == len(letters) >= 1


def test_equal_letters_share_one_outline_and_other_sizes_do_not():
    lettering = text("anna", height=20)
    assert len(lettering.glyphs) == 4
    assert len(lettering.outlines) == 2
    assert set(lettering.outlines) == {name for name, _ in lettering.glyphs}
    again = [text("a", height=20), text("a", height=20, font="serif")]
    assert {a.glyphs[0][0] for a in again} == {lettering.glyphs[0][0]}
    others = [text("a", height=21), text("a", height=20, tolerance=0.01), text("a", height=20, font="sans")]
    assert len({lettering.glyphs[0][0], *(o.glyphs[0][0] for o in others)}) == 4


def test_identity_follows_the_content_of_the_font_not_its_path(tmp_path):
    copy = tmp_path / "copy.otf"
    shutil.copy(FONTS[0], copy)
    assert text("R", height=9, font=copy).glyphs == text("R", height=9).glyphs
    shutil.copy(FONTS[2], copy)
    assert text("R", height=9, font=copy).glyphs[0][0] == text("R", height=9, font="sans bold").glyphs[0][0]


def test_ligatures_join_and_tracking_takes_them_apart():
    joined, apart = text("fi", height=30, font="sans"), text("fi", height=30, font="sans", tracking=2)
    font = TTFont(SANS / "SourceSansPro-Semibold.otf")
    advance, kern = font["hmtx"]["f"][0], pair_kern(font, "f", "i")
    scale = 30 / typeface("sans").cap_height
    assert len(apart.glyphs) == 2
    assert apart.glyphs[1][1][4] == pytest.approx((advance + kern) * scale + 2, abs=1e-6)
    serif = text("ffi", height=30, font=SERIF / "SourceSerifPro-Regular.otf")
    gsub = TTFont(SERIF / "SourceSerifPro-Regular.otf")["GSUB"].table
    assert any(f.FeatureTag == "liga" for f in gsub.FeatureList.FeatureRecord)
    assert len(serif.glyphs) < 3 or len(joined.glyphs) < 2, "one of the two families has an fi ligature"


def test_tracking_adds_between_letters_only():
    plain, wide = text("HHHH", height=10), text("HHHH", height=10, tracking=1.5)
    assert wide.size[0] - plain.size[0] == pytest.approx(4.5, abs=1e-6)
    assert wide.region.bounds[0] == plain.region.bounds[0]


def test_lines_go_down_by_the_spacing_and_align_by_their_width():
    left = text("HHHH\nH", height=10, line_spacing=1.8)
    assert left.region.bounds[1] == pytest.approx(-18, abs=1e-6)
    second = {a: text("HHHH\r\nH", height=10, align=a).glyphs[-1][1][4] for a in ("left", "center", "right")}
    pitch = text("HH", height=10).glyphs[1][1][4]
    assert second["left"] == 0
    assert second["center"] == pytest.approx(1.5 * pitch, abs=1e-6)
    assert second["right"] == pytest.approx(3 * pitch, abs=1e-6)
    gap = text("H\n\nH", height=10, line_spacing=2).glyphs
    assert gap[1][1][5] == pytest.approx(-40)


def test_scripts_side_by_side_keep_their_order():
    """Latin, Greek and Cyrillic run left to right; each script is shaped as its own run."""
    lettering = text("Aβ Жz", height=10)
    xs = [m[4] for _, m in lettering.glyphs]
    assert xs == sorted(xs)
    assert len(xs) == 4
    assert [script_of(c) for c in "aЖא 1"] == ["Latn", "Cyrl", "Hebr", None, None]


@pytest.mark.parametrize("words", ["abc שלום", "سلام 123", "שלום 42", "a \u202eb"])
def test_lines_that_mix_directions_are_refused(words):
    with pytest.raises(DrawingError, match="writing directions"):
        text(words, height=10)


def test_letters_that_the_font_lacks_are_listed_once_with_the_font():
    with pytest.raises(DrawingError, match=r"Source Serif Pro Semibold has no letter for '山' \(U\+5C71\), '木'") as e:
        text("Fern 木山木", height=10)
    assert "SourceSerifPro-Semibold.otf" in e.value.file
    with pytest.raises(DrawingError, match=r"U\+05E9"):
        text("שלום", height=10)


@pytest.mark.parametrize("words", ["", "   ", "\n\n"])
def test_no_words_are_refused(words):
    with pytest.raises(ArgumentError, match="empty"):
        text(words, height=10)


@pytest.mark.parametrize(
    "bad",
    [
        {"height": 0}, {"height": -3}, {"height": math.nan}, {"height": math.inf}, {"height": 1e9},
        {"tracking": math.nan}, {"tolerance": 0}, {"line_spacing": 0}, {"align": "middle"},
        {"font": "serif heavy"}, {"font": "sans bold light"},
    ],
    ids=str,
)  # fmt: skip
def test_arguments_of_no_use_are_refused(bad):
    with pytest.raises(ArgumentError):
        text("Fern", **{"height": 10.0, **bad})


def test_control_characters_are_refused_by_code():
    with pytest.raises(DrawingError, match=r"U\+0009"):
        text("Fern\tMoss", height=10)


def test_a_font_file_that_is_none_is_refused(tmp_path):
    with pytest.raises(MissingFileError):
        text("Fern", height=10, font=tmp_path / "none.otf")
    garbage = tmp_path / "garbage.ttf"
    for content, words in [
        (b"", "not a .ttf"),
        (b"plain words, no font", "not a .ttf"),
        (b"\x00\x01\x00\x00" + b"\xff" * 400, "not a .ttf"),
        (b"wOFF" + FONTS[0].read_bytes(), "packed web font"),
        (b"wOF2abc", "packed web font"),
        (b"ttcf123", "collection"),
    ]:
        garbage.write_bytes(content)
        with pytest.raises(DrawingError, match=words):
            text("Fern", height=10, font=garbage)
    with pytest.raises(DrawingError):
        text("Fern", height=10, font=tmp_path)


def test_a_font_cut_short_never_sets_half_letters(tmp_path):
    """Whatever is left of a font file, the answer is an error or the whole word."""
    whole = text("Fern", height=10).region
    data = FONTS[0].read_bytes()
    short = tmp_path / "short.otf"
    seen = set()
    for share in (0.05, 0.3, 0.6, 0.9, 0.999):
        short.write_bytes(data[: int(len(data) * share)])
        try:
            got = text("Fern", height=10, font=short).region
            seen.add("whole")
            assert got.symmetric_difference(whole).area < 1e-3 * whole.area or got.area > 0.9 * whole.area
        except DrawingError:
            seen.add("refused")
    assert "refused" in seen


def made_font(path, *, letters, cap_height=700, blank=()):
    """Write a TrueType font of straight-sided letters; contours as given, each a list of points in 1/1000 em."""
    builder = FontBuilder(1000, isTTF=True)
    named = {f"uni{ord(c):04X}": contours for c, contours in letters.items()}
    named |= {f"uni{ord(c):04X}": () for c in blank}
    names = [".notdef", "space", *named]
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({32: "space"} | {int(n[3:], 16): n for n in named})
    drawn = {}
    for name in names:
        pen = TTGlyphPen(None)
        for contour in named.get(name, ()):
            pen.moveTo(contour[0])
            for point in contour[1:]:
                pen.lineTo(point)
            pen.closePath()
        drawn[name] = pen.glyph()
    builder.setupGlyf(drawn)
    builder.setupHorizontalMetrics(dict.fromkeys(names, (800, 0)))
    builder.setupHorizontalHeader(ascent=900, descent=-200)
    builder.setupNameTable({"familyName": "Made", "styleName": "Regular", "fullName": "Made Regular"})
    builder.setupOS2(sCapHeight=cap_height, version=4)
    builder.setupPost()
    builder.save(path)
    return path


def rect(x0, y0, x1, y1, *, turned=False):
    ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return ring[::-1] if turned else ring


def test_contours_that_overlap_in_a_letter_are_one_area_whichever_way_they_turn(tmp_path):
    """A cross of two bars: 700 x 100 twice, less the middle once; the even-odd rule would leave a hole."""
    bars = [rect(0, 300, 700, 400), rect(300, 0, 400, 700)]
    for turned in (False, True):
        both = [b[::-1] if turned else b for b in bars]
        font = made_font(tmp_path / "cross.ttf", letters={"H": both})
        area = text("H", height=70, font=font).region
        assert len(area.geoms) == 1
        assert not area.geoms[0].interiors
        assert area.area == pytest.approx(70 * 10 * 2 - 100, abs=1e-6)


def test_a_line_of_right_to_left_letters_runs_from_the_right(tmp_path):
    """Of alef and bet the first letter of the word stands rightmost (Unicode Standard Annex 9)."""
    letters = {"H": [rect(0, 0, 700, 700)], "\u05d0": [rect(0, 0, 700, 300)], "\u05d1": [rect(0, 0, 700, 500)]}
    font = made_font(tmp_path / "rtl.ttf", letters=letters)
    parts = text("\u05d0\u05d1", height=70, font=font).region.geoms
    left, right = sorted(parts, key=lambda p: p.bounds[0])
    assert right.bounds[3] == pytest.approx(30), "alef, the first letter"
    assert left.bounds[3] == pytest.approx(50), "bet, the second"
    assert left.bounds[0] == pytest.approx(0)


def test_a_hole_is_kept_and_an_island_in_it_too(tmp_path):
    rings = [rect(0, 0, 700, 700), rect(100, 100, 600, 600, turned=True), rect(300, 300, 400, 400)]
    area = text("O", height=70, font=made_font(tmp_path / "o.ttf", letters={"H": [rings[0]], "O": rings})).region
    assert area.area == pytest.approx(4900 - 2500 + 100, abs=1e-6)
    assert len(area.geoms) == 2


def test_a_font_without_h_is_sized_by_the_cap_height_it_states(tmp_path):
    font = made_font(tmp_path / "i.ttf", letters={"I": [rect(100, 0, 200, 600)]}, cap_height=600)
    assert text("I", height=30, font=font).region.bounds[3] == pytest.approx(30, abs=1e-6)
    none = made_font(tmp_path / "none.ttf", letters={"I": [rect(100, 0, 200, 600)]}, cap_height=0)
    with pytest.raises(DrawingError, match="no cap height"):
        text("I", height=30, font=none)


def test_letters_without_outline_or_area_are_refused_by_name(tmp_path):
    flat = [(0, 0), (500, 0), (200, 0)]
    letters = {"H": [rect(0, 0, 500, 700)], "L": [flat]}
    font = made_font(tmp_path / "flat.ttf", letters=letters, blank=("B",))
    assert len(text("H H", height=10, font=font).glyphs) == 2, "a space is blank and that is right"
    with pytest.raises(DrawingError, match=r"holds no outline for 'B'"):
        text("HB", height=10, font=font)
    with pytest.raises(DrawingError, match=r"'L' encloses no area"):
        text("HL", height=10, font=font)


def test_letters_that_touch_become_one_area(tmp_path):
    """Bars as wide as their advance stand edge to edge."""
    font = made_font(tmp_path / "bar.ttf", letters={"H": [rect(0, 0, 800, 700)]})
    lettering = text("HHH", height=7, font=font)
    assert len(lettering.region.geoms) == 1
    assert lettering.region.area == pytest.approx(24 * 7, abs=1e-6)
    assert len(lettering.glyphs) == 3


def test_letters_that_do_not_touch_pass_through_the_union():
    a, b, c = (Polygon([(x, 0), (x + 2, 0), (x + 2, 2), (x, 2)]) for x in (0, 1, 10))
    got = united([MultiPolygon([p]) for p in (a, b, c)])
    assert got.area == pytest.approx(6 + 4)
    assert len(got.geoms) == 2


def test_a_long_line_is_set_quickly_after_first_use():
    """200 characters in under 50 ms (best of five, so that a busy machine does not decide)."""
    words = ("The quick brown fox jumps over the lazy dog. " * 5)[:200]
    text(words, height=12)
    best = math.inf
    for _ in range(5):
        start = time.perf_counter()
        text(words, height=12)
        best = min(best, time.perf_counter() - start)
    assert best < 0.05


@pytest.mark.slow
def test_every_packaged_font_sets_its_letters_validly():
    """One character in ten of each of the 48 files: valid, oriented, with the area of the nonzero rule or less."""
    rng = np.random.default_rng(7)
    count = 0
    for path in sorted([*SERIF.glob("*.[ot]tf"), *SANS.glob("*.[ot]tf")]):
        font = TTFont(path)
        glyphs, cmap = font.getGlyphSet(), font.getBestCmap()
        scale = 20.0 / typeface(path).cap_height
        inked = [c for c in cmap if chr(c).isprintable() and not chr(c).isspace()]
        for code in rng.choice(inked, len(inked) // 10, replace=False).tolist():
            pen = AreaPen(glyphs)
            glyphs[cmap[code]].draw(pen)
            letter = text(chr(code), height=20, font=path).region
            assert letter.is_valid
            # overlapping contours count twice in Green's integral, once in the area
            assert letter.area <= abs(pen.value) * scale**2 + 0.002 * letter.length
            count += 1
    assert count > 1500


@pytest.mark.parametrize(
    ("string", "more", "says"),
    [
        (5, {}, "text=5 is no text"),
        (None, {}, "text=None is no text"),
        (b"Fern", {}, "is no text"),
        ("a", {"height": "10"}, "height='10'"),
        ("a", {"height": 1e-3}, "tolerance=0.002"),
        ("a", {"tracking": "1"}, "tracking='1'"),
        ("ab", {"tracking": 1e308}, "1 km away"),
        ("ab", {"tracking": -100}, "nearer to 0"),
        ("il", {"tracking": -5}, "nearer to 0"),
        ("a\nb", {"line_spacing": 1e300}, "1 km away"),
        ("a", {"tolerance": 1e-12}, "must lie between"),
        ("a", {"tolerance": 100}, "must lie between"),
        ("a", {"font": 3}, "font=3"),
        ("a", {"font": b"serif"}, "font=b'serif'"),
        ("a", {"font": "a\0b"}, "zero character"),
        ("a", {"font": "x" * 5000}, "cannot be read"),
        ("a", {"font": ""}, "cannot be read"),
    ],
)
def test_a_wrong_argument_is_named_at_once(string, more, says):
    with pytest.raises(PathgenError) as caught:
        text(string, **({"height": 10} | more))
    assert says in str(caught.value)
    assert len(str(caught.value)) < 500


def test_letters_may_be_set_close_as_long_as_each_begins_after_the_last():
    loose, close = text("mm", height=10), text("mm", height=10, tracking=-3)
    assert loose.size[0] - close.size[0] == pytest.approx(3)
