"""The setup sheet and its pictures: what must stand there, in what order, escaped, self-contained and readable."""

import dataclasses
import io
import math
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from importlib.resources import files
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely.geometry import LineString, MultiPolygon, box
from svgpathtools import Arc, parse_path

import pathgen as pg
from pathgen.model.bounds import Bounds, Flat, Groove, Kerf
from pathgen.model.cut import Cut, Stop
from pathgen.model.findings import Finding
from pathgen.model.path import Pass, Path
from pathgen.model.stock import MATERIALS
from pathgen.motion.time import clock
from pathgen.proof.report import CutResult
from pathgen.sheet.marks import INKS, hatch, linear, with_marks
from pathgen.sheet.page import setup_sheet
from pathgen.sheet.part import part_picture
from pathgen.sheet.picture import part_png, paths_svg
from pathgen.sheet.plan import COLORS, SEVERITY, UNITS, path_data, tool_colors
from pathgen.sheet.words import cautions, height_words, size_words, zero_sentences

BOARD = pg.Stock(300, 150, 18, material="hardwood")
ROUTER = pg.Machine(travel=(600, 400, 90), max_feed=3000, acceleration=(500, 500, 250), max_rpm=24000)
BIT = pg.VBit(60, diameter=12.7, stick_out=30, cutting=pg.Cutting(16000, 1500, 400, 5, 0.5))
MILL = pg.EndMill(6, cutting_length=22, cutting=pg.Cutting(18000, 1800, 500, 3, 2.5))
KNIFE = pg.TrailingKnife(trail=0.5, edge_angle=45, cutting=pg.Cutting(0, 1200, 300))
QUARTER = math.tan(math.pi / 8)
PLATE = box(10, 15, 290, 135)
FINDINGS = (
    Finding(
        code="no-range", severity="note", text="The range is not stated.", advice="Measure the board.", cut="outline"
    ),
    Finding(
        code="loose", severity="warning", text="Nothing holds it.", advice="State a hold-down.", where=(20, 30, -18)
    ),
)

CUTS = (
    CutResult(name="V-groove Fern", gouge=0.004, residual=0.011, lines=(("1", 12, 90),)),
    CutResult(name="outline", gouge=0.321, gouge_area=4.56, residual=0.002, lines=(("1", 95, 99), ("2", 7, 60))),
)


def groove(stock=BOARD, tool=BIT, name="V-groove Fern"):
    path = Path.lines([[60, 60, 0], [80, 100, -4], [100, 60, -4], [120, 100, 0]])
    region = MultiPolygon([LineString(path.points[:, :2]).buffer(2)])
    rules = (Groove(region=region, angle=60),) if tool.spins else ()
    return Cut(name=name, tool=tool, cutting=tool.cutting, passes=(Pass(path=path),), bounds=Bounds(rules), depth=4.0,
               stock=stock)  # fmt: skip


def outline(stock=BOARD, levels=6):
    """A rounded frame beside the plate, a level every 3 mm, corners as quarter circles of radius 3."""
    x0, y0, x1, y1, r = *PLATE.bounds, 3.0
    ring = [(x0, y0 - r, 0), (x1, y0 - r, 0), (x1 + r, y0, QUARTER), (x1 + r, y1, 0), (x1, y1 + r, QUARTER),
            (x0, y1 + r, 0), (x0 - r, y1, QUARTER), (x0 - r, y0, 0), (x0, y0 - r, QUARTER)]  # fmt: skip
    passes = tuple(
        Pass(path=Path([(x, y, -18.2 * (k + 1) / levels, b) for x, y, b in ring]), level=k, closed=True)
        for k in range(levels)
    )
    kerf = Kerf(shape=MultiPolygon([PLATE]), side="outside", width=6, depth=18, below=0.2, through=True)
    return Cut(name="outline", tool=MILL, cutting=MILL.cutting, passes=passes, bounds=Bounds((kerf,)), depth=18.2,
               stock=stock, through=True)  # fmt: skip


def heights(stock=BOARD, pixel=1.0):
    field = np.zeros((int(stock.height / pixel), int(stock.width / pixel)))
    field[60:100, 60:120] = -4.0
    field[12:15, 10:290] = -18.2
    return pg.HeightMap(field, pixel=pixel)


def proof(ok=True, findings=FINDINGS, **more):
    given = {"unchecked": ("keep-outs: none stated",), "gouge": 0.004, "residual": 0.011, "height": heights(),
             "gouge_area": 0.0, "residual_area": 0.0, "removed": 12340.0, "asked": 12350.0, "compared": True,
             "deep": None, "high": None, "touched": None,
             "cuts": CUTS}  # fmt: skip
    return SimpleNamespace(ok=ok, findings=findings, **{**given, **more})


class Proved(pg.Job):
    """A job whose proof is given, so that the sheet can be tested without cutting anything."""

    told = proof()

    def prove(self, **_):
        return self.told


def job(name="Fern", cuts=None, stock=BOARD, machine=ROUTER, told=None, **more):
    made = Proved(name, stock, machine, cuts or [groove(stock), outline(stock)], **more)
    object.__setattr__(made, "told", told or proof())
    return made


class Page(HTMLParser):
    """Reads a page, and fails where tags do not close in order."""

    VOID = frozenset({"meta", "img", "br", "hr", "link", "input"})

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.text = [], [], []
        self.feed(text)
        self.close()
        assert self.open == [], f"not closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert [tag] == self.open[-1:], f"</{tag}> closes something else"
        self.open.pop()

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)

    @property
    def words(self):
        return re.sub(r"\s+", " ", " ".join(self.text))


@pytest.fixture(autouse=True, scope="module")
def _small_pictures():
    """Pages are tested with small pictures, to be quick."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pathgen.sheet.page.PICTURE_WIDTH", 200)
        yield


@pytest.fixture(scope="module")
def page():
    return Page(setup_sheet(job(cuts=[groove(), Stop("Brush paint into the letters."), outline()])))


# -- what stands there


def test_the_size_comes_first_in_mm_and_inches(page):
    words = page.words.split("Setup sheet", 1)[1]
    start = [
        words.index(w) for w in ("Fern", "280.00 × 120.00 mm", "11.024 × 4.724 in", "Proved, with 1 warning", "Zero")
    ]
    assert start == sorted(start)
    assert size_words(25.4, 12.7) == ("25.40 × 12.70 mm", "1.000 × 0.500 in")


def test_sections_follow_the_work(page):
    names = [
        "Tools, in order",
        "Cuts, in order",
        "Programs",
        "Proof",
        "Plan",
        "Warnings",
        "Notes",
        "Not checked",
        "Cautions",
    ]
    found = [page.words.index(n) for n in names]
    assert found == sorted(found)


def test_zero_is_said_in_words(page):
    assert "Zero at the lower left corner of the stock, on the top face." in page.words
    assert "again after each tool change" in page.words


def test_tools_are_listed_with_speeds_and_lengths(page):
    for words in ("T1", "V bit 60 deg 12.7 mm", "16000", "1500", "400", "30", "T2", "end mill 6 mm", "18000", "22"):
        assert words in page.words
    assert "not stated (≥ 18.2)" in page.words, "the mill's stick-out is not known, but what it needs is"
    assert "not stated (≥ 4.0)" in page.words, "the bit's cutting length"


def test_cuts_stand_in_order_with_depth_passes_time_and_stops(page):
    words = page.words.split("Cuts, in order")[1].split("Programs")[0]
    order = [
        words.index(w) for w in ("V-groove Fern", "4.00", "Stop: Brush paint into the letters.", "outline", "18.20")
    ]
    assert order == sorted(order)
    assert "through and 0.20 below" in words
    spent = job(cuts=[groove(), outline()]).time()
    assert len(re.findall(r"\d+ (?:min|s)\b", words)) >= 2
    assert set(spent.by_cut) == {"V-groove Fern", "outline"}


def test_cuts_of_one_name_each_have_their_own_time():
    """Times by name would be one sum; the programs' comments tell the cuts apart."""
    short, long = groove(name="groove"), dataclasses.replace(outline(), name="groove")
    made = job(cuts=[short, long])
    both = made.time()
    assert len(both.by_cut) == 1
    words = Page(setup_sheet(made)).words.split("Cuts, in order")[1].split("Programs")[0]
    alone = [job(cuts=[c], size=(280, 120)).time().by_cut["groove"] for c in (short, long)]
    assert sum(alone) == pytest.approx(both.by_cut["groove"])
    assert [f"{clock(t)}" in words for t in alone] == [True, True]
    assert clock(alone[0]) != clock(alone[1])


def test_very_long_programs_are_not_read_again(monkeypatch):
    """Times then go by name, and the plan has no rapids."""
    monkeypatch.setattr("pathgen.sheet.page.READ_UP_TO", 10)
    made = job()
    text = setup_sheet(made)
    assert "<title>rapids</title>" not in text
    for value in made.time().by_cut.values():
        assert clock(value) in Page(text).words


def test_what_each_cut_did_stands_in_a_table_with_its_lines(page):
    words = page.words.split(" Proof ")[1].split(" Plan ")[0]
    assert "1 V-groove Fern 1, 12 to 90 0.004 0.0 0.011 0.0" in words
    assert "2 outline 1, 95 to 99; 2, 7 to 60 0.321 4.6 0.002 0.0" in words
    assert "the whole part 0.004 0.0 0.011 0.0" in words
    assert "Removed 12.34 cm³, asked 12.35 cm³." in words
    unknown = Page(setup_sheet(job(told=proof(None, compared=False)))).words
    assert "Too deep" not in unknown, "without a design nothing was held against it, and a zero would be a lie"
    assert "Worst gouge" not in unknown


def test_passes_are_named_as_the_programs_mark_them():
    """So that the operator knows what to ask for after a stop."""
    made = job(cuts=[groove(), outline(levels=6)])
    text = "".join(p.text for p in made.programs(unproved=True))
    words = Page(setup_sheet(made)).words.split("Cuts, in order")[1].split("Programs")[0]
    last = {k: max(int(n) for c, n in re.findall(r"\(PASS (\d+)\.(\d+)", text) if int(c) == k) for k in (1, 2)}
    assert last[1] >= 1
    assert last[2] >= 2
    for k, n in last.items():
        assert (f" {k}.1 to {k}.{n} " if n > 1 else f" {k}.1 ") in words
    assert f"{last[2] + 1}" not in re.findall(r"2\.1 to 2\.(\d+)", words)


def test_programs_are_named_as_written_with_what_to_do_before(page):
    planned = job(cuts=[groove(), Stop("Brush paint into the letters."), outline()]).programs(unproved=True)
    assert len(planned) == 2
    for p in planned:
        assert f"{p.name}.rs274" in page.words
        assert p.message
        assert p.message in page.words


def test_findings_come_by_severity_with_advice_and_place(page):
    words = page.words
    assert words.index("Nothing holds it.") < words.index("The range is not stated.")
    assert "State a hold-down." in words
    assert "X 20.0 Y 30.0 Z -18.00" in words
    assert "keep-outs: none stated" in words


def test_places_are_told_as_the_machine_shows_them():
    """Findings come in stock coordinates; the operator reads coordinates from the work zero."""
    words = Page(setup_sheet(job(stock=dataclasses.replace(BOARD, zero="center", zero_height="table")))).words
    assert "X -130.0 Y -45.0 Z 0.00" in words


def test_the_line_of_a_finding_is_told_with_the_name_of_its_program():
    made = job(cuts=[groove(), outline()])
    name = made.programs(unproved=True)[1].name
    late = Finding(code="late", severity="warning", text="There.", line=17, program="2", cut="outline")
    object.__setattr__(made, "told", proof(True, (late, dataclasses.replace(late, program="9", line=4))))
    words = Page(setup_sheet(made)).words
    assert f"(outline, {name} line 17)" in words
    assert "(outline, 9 line 4)" in words, "a program that is not there keeps the number it was given"


def test_an_unproved_job_says_so_loudly():
    error = Finding(code="gouge", severity="error", text="Cut 0.100 mm too deep.", where=(80, 100, -4), amount=0.1)
    text = setup_sheet(job(told=proof(False, (error,), gouge=0.1)))
    assert "NOT PROVED: 1 error. Do not run." in Page(text).words
    assert 'class="state bad"' in text
    accepted = Page(setup_sheet(job(told=proof(False, (error,))), accepted=["accepted gouge 0.100 mm at 80.0 100.0"]))
    assert "NOT PROVED" not in accepted.words
    assert "Accepted" in accepted.words
    assert "accepted gouge 0.100 mm at 80.0 100.0" in accepted.words
    residual = dataclasses.replace(error, code="residual")
    both = Page(setup_sheet(job(told=proof(False, (error, residual))), accepted=["accepted gouge 0.100 mm"]))
    assert "NOT PROVED" in both.words, "a fault that was not accepted is not covered by one that was"
    assert "Not fully checked" in Page(setup_sheet(job(told=proof(None)))).words
    clean = setup_sheet(job(told=proof(True, ())))
    assert "Proved, no warnings" in Page(clean).words


def test_a_flood_of_findings_is_cut_and_counted():
    many = tuple(Finding(code=f"c{k}", severity="warning", text=f"Number {k}.") for k in range(100))
    words = Page(setup_sheet(job(told=proof(True, many)))).words
    assert "Number 39." in words
    assert "Number 40." not in words
    assert "And 60 more" in words


# -- safe and self-contained


EVIL = "<script>alert(1)</script>\"'&\x00\x1b]"


def test_outside_text_is_escaped_everywhere():
    bad = (
        Finding(
            code="x<y", severity="warning", text=EVIL, advice=EVIL, where=(1, 2, 3), cut=EVIL, program=EVIL, line=3
        ),
    )
    tool = dataclasses.replace(BIT, name=EVIL)
    cuts = [groove(tool=tool, name=EVIL), Stop(EVIL), outline()]
    text = setup_sheet(job(EVIL, cuts=cuts, told=proof(True, bad, unchecked=(EVIL,))), accepted=[EVIL])
    page = Page(text)
    assert not [t for t, _ in page.tags if t == "script"]
    assert "\x00" not in text
    assert "\x1b" not in text
    assert page.words.count("<script>alert(1)</script>") >= 7
    for tag, attributes in page.tags:
        assert not [a for a in attributes if a.startswith("on")], tag


def test_nothing_is_fetched():
    text = setup_sheet(job())
    page = Page(text)
    for tag, attributes in page.tags:
        assert tag not in ("script", "link", "iframe", "object")
        for name in ("src", "href", "xlink:href"):
            if name in attributes:
                assert attributes[name].startswith("data:image/png;base64,")
    outside = re.findall(r"https?://[^\s\"']+", text)
    assert set(outside) <= {"http://www.w3.org/2000/svg"}, "the name of the SVG language only"
    assert "@import" not in text
    assert "url(" not in text


def test_the_same_job_gives_the_same_page():
    sheets = {setup_sheet(made) for made in (job(), job())}
    assert len(sheets) == 1


def test_the_page_can_be_read_without_eyes_and_color(page):
    """Language, alternative texts, captions, scoped heads, one first heading (WCAG 2.1: 1.1.1, 1.3.1, 3.1.1)."""
    tags = page.tags
    assert ("html", {"lang": "en"}) in tags
    images = [a for t, a in tags if t == "img"]
    assert images
    assert all(len(a["alt"]) > 20 for a in images)
    drawings = [a for t, a in tags if t == "svg"]
    assert drawings
    assert all(a["role"] == "img" and a["aria-label"] for a in drawings)
    assert sum(t == "table" for t, _ in tags) == sum(t == "caption" for t, _ in tags) == 4
    assert all("scope" in a for t, a in tags if t == "th")
    assert sum(t == "h1" for t, _ in tags) == 1


def luminance(color):
    """Relative luminance of a "#rgb" or "#rrggbb" color (WCAG 2.1, definitions)."""
    c = color[1:] if len(color) == 7 else "".join(2 * d for d in color[1:])
    v = [int(c[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    r, g, b = (x / 12.92 if x <= 0.03928 else ((x + 0.055) / 1.055) ** 2.4 for x in v)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a, b):
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_words_and_lines_stand_out_from_the_paper():
    """At least 4.5 to 1 on the page's own background (WCAG 2.1, 1.4.3), for every color that carries words or lines."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    css = files("pathgen.sheet").joinpath("page.css").read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]+);", css))
    words = {named[n] for n in re.findall(r"[ {;]color: var\(--(\w+)\)", css)}
    words |= set(re.findall(r"[ {;]color: (#[0-9a-f]+)", css)) - {"#fff"}
    assert len(words) >= 6
    for color in [*words, *COLORS, *SEVERITY.values()]:
        assert min(contrast(color, named["paper"]), contrast(color, "#fff"), contrast(color, named["tone"])) >= 4.5, (
            color
        )
    assert contrast("#fff", "#9a1409") >= 4.5, "the words NOT PROVED on their red ground"


# -- words


def test_cautions_fit_material_tools_and_machine():
    common = " ".join(cautions(job()))
    for words in (
        "stop within reach",
        "slug",
        "batch in scrap",
        "manual, local codes and licensed practice come first",
    ):
        assert words in common
    assert "unplug" not in common
    sheets = {m: dataclasses.replace(BOARD, material=m) for m in MATERIALS}
    said = {m: " ".join(cautions(job(stock=s))) for m, s in sheets.items()}
    assert "shared dust bag" in said["brass"]
    assert "shared dust bag" not in said["hardwood"]
    assert all(w in said["glass"] for w in ("wet", "eyes", "breath", "tempered"))
    assert "wet" in said["stone"]
    assert "film" in said["acrylic"]
    assert "Dust" in said["mdf"]
    hand = dataclasses.replace(ROUTER, spindle="hand")
    assert "switched by hand" in " ".join(cautions(job(machine=hand)))


def test_a_knife_is_cut_unplugged_and_never_spins():
    card = pg.Stock(300, 150, 1, material="card")
    cut = dataclasses.replace(groove(card, KNIFE, "petal"), depth=0.8)
    said = cautions(job(cuts=[cut], stock=card))
    assert "unplug" in said[0]
    assert "slug" not in " ".join(said), "nothing turns"
    words = Page(setup_sheet(job(cuts=[cut], stock=card, size=(60, 40)))).words
    assert "must not spin" in words


@pytest.mark.parametrize(
    ("stock", "more", "expected"),
    [
        (BOARD, {}, ("Zero at the lower left corner of the stock, on the top face.", "Set Z there, again after")),
        (dataclasses.replace(BOARD, zero="center"), {"touch_off": (12.0, 5.0)},
         ("Zero at the center of the stock", "Set Z at X -138, Y -70, again")),
        (dataclasses.replace(BOARD, zero=(10, 20), zero_height="table"), {},
         ("10 mm right of and 20 mm up from", "on the table under the stock", "bare table beside")),
        (dataclasses.replace(BOARD, film=0.1, zero_on_film=True), {}, ("on the film (0.1 mm) that covers the top",)),
    ],
    ids=["corner", "center", "table", "film"],
)  # fmt: skip
def test_every_zero_has_its_words(stock, more, expected):
    said = " ".join(zero_sentences(job(stock=stock, **more)))
    for words in expected:
        assert words in said


def test_faced_and_turned_work_is_named():
    assert "the faced plane is 0.5 mm lower" in height_words(BOARD, back=False, faced=0.5)
    assert height_words(BOARD, back=True, faced=0) == "on the back face, which lies up"


def test_work_from_the_back_is_shown_as_read_from_the_front():
    clear = pg.Stock(300, 150, 18, material="acrylic")
    field = np.zeros((150, 300))
    field[40:110, 20:60] = -5.0
    told = proof(height=pg.HeightMap(field, pixel=1.0))
    shown = {}
    for face in ("top", "back"):
        text = setup_sheet(job(stock=clear, told=told, face=face))
        shown[face] = picture(re.search(r"base64,([A-Za-z0-9+/=]+)", text)[1])
        assert ("read from the front" in text) == (face == "back")
        assert ("back face, which lies up" in text) == (face == "back")
    for face, p in shown.items():
        rows, columns, _ = p.shape
        band = p[rows // 3 : rows // 2, columns // 10 : -columns // 10].std(axis=(0, 2))
        left, right = np.array_split(band, 2)
        assert (left.std() > 3 * right.std()) == (face == "top")
        assert (right.std() > 3 * left.std()) == (face == "back")


def test_a_job_without_a_simulated_part_still_has_a_sheet():
    assert "no simulated part" in Page(setup_sheet(job(told=proof(None, height=None)))).words


# -- the part's picture


def picture(data):
    import base64

    raw = base64.b64decode(data) if isinstance(data, str) else data
    return np.asarray(Image.open(io.BytesIO(raw)).convert("RGB")).astype(float)


def lightness(png):
    return picture(png).mean(axis=2)


def field_of(rows=120, columns=200):
    return np.zeros((rows, columns))


def test_a_picture_has_the_width_asked_and_equal_heights_give_equal_bytes():
    z = field_of()
    z[40:60, 50:90] = -3
    first = part_png(z, pixel=0.5, material="hardwood", width=320, margin=0.05)
    assert picture(first).shape == (round(320 * (120 + 20) / (200 + 20)), 320, 3)
    assert first == part_png(z, pixel=0.5, material="hardwood", width=320, margin=0.05)


@pytest.mark.parametrize("material", MATERIALS)
def test_every_material_has_its_own_look(material):
    z = field_of(60, 100)
    z[20:40, 30:60] = -2
    png = picture(part_png(z, pixel=1, material=material, width=200, margin=0))
    face = png[:20, 70:].mean(axis=(0, 1))
    assert face.min() > 30
    assert face.max() < 252
    others = [picture(part_png(z, pixel=1, material=m, width=64, margin=0)) for m in MATERIALS if m != material]
    assert all(np.abs(o[:6, 24:].mean(axis=(0, 1)) - face).max() > 2 for o in others)


def test_the_lowest_row_is_drawn_at_the_bottom_and_left_stays_left():
    z = field_of()
    z[5:40, 5:60] = -6  # low y, low x
    p = lightness(part_png(z, pixel=0.5, material="pvc foam", width=400, margin=0))
    rows, columns = p.shape
    corner = p[rows * 3 // 4 : rows * 19 // 20, columns // 20 : columns // 4].mean()
    others = [p[: rows // 4, : columns // 4].mean(), p[: rows // 4, columns * 3 // 4 :].mean()]
    assert corner < min(others) - 5


def test_light_comes_from_the_upper_left():
    """Of a V-groove's two walls, the one that faces the upper left is the lighter; the same along both axes."""
    x = np.abs(np.arange(200) * 0.2 - 20.0)
    z = np.broadcast_to(-np.clip(4 - x, 0, None), (200, 200))
    for field, lit, dark in (
        (z, (slice(60, 140), slice(104, 116)), (slice(60, 140), slice(84, 96))),
        (z.T[::-1], (slice(104, 116), slice(60, 140)), (slice(84, 96), slice(60, 140))),
    ):
        p = lightness(part_png(field, pixel=0.2, material="pvc foam", width=200, margin=0))
        assert p[lit].mean() > p[dark].mean() + 20


def test_a_flat_board_is_evenly_lit_and_hollows_are_darker():
    p = lightness(part_png(field_of(), pixel=0.5, material="acrylic", width=300, margin=0))
    assert p.std() < 1.0
    z = field_of()
    z[40:80, 60:140] = -8
    p = lightness(part_png(z, pixel=0.5, material="pvc foam", width=300, margin=0))
    assert p[62:118, 92:208].mean() < p[5:50, 5:50].mean() - 8


def test_shadows_fall_to_the_lower_right_of_what_stands():
    z = np.full((200, 200), -5.0)
    z[90:110, 90:110] = 0.0
    p = lightness(part_png(z, pixel=0.2, material="pvc foam", width=200, margin=0))
    below_right, above_left = p[114:118, 114:118].mean(), p[82:86, 82:86].mean()
    assert below_right < above_left - 15


def test_what_is_cut_through_shows_the_ground():
    z = field_of()
    z[40:80, 60:140] = -18.2
    through = picture(part_png(z, pixel=0.5, material="brass", thickness=18.0, width=300, margin=0))
    pocket = picture(part_png(z, pixel=0.5, material="brass", width=300, margin=0))
    ground, metal = through[95, 150], pocket[95, 150]
    assert metal[0] - metal[2] > 40, "brass is yellow"
    assert ground[0] - ground[2] < 30, "paper is not"


def test_a_part_out_of_its_frame_shows_only_what_is_kept():
    keep = np.zeros((120, 200), bool)
    keep[30:90, 50:150] = True
    p = picture(part_png(field_of(), pixel=0.5, material="brass", keep=keep, width=300, margin=0))
    assert p[90, 150, 0] - p[90, 150, 2] > 40
    assert p[10, 10, 0] - p[10, 10, 2] < 30


def test_faults_are_hatched_even_a_single_cell():
    gouge, residual = np.zeros((120, 200), bool), np.zeros((120, 200), bool)
    gouge[60, 50], residual[30:50, 120:160] = True, True
    more = {"pixel": 0.5, "material": "pvc foam", "width": 400, "margin": 0}
    p = picture(part_png(field_of(), gouge=gouge, residual=residual, **more))[:240]
    clean = part_png(field_of(), **more)
    y, x = np.nonzero(np.abs(p - picture(clean)).max(axis=2) > 25)
    single = x < 200
    assert 8 < single.sum() < 400
    assert (y[single].mean(), x[single].mean()) == pytest.approx((119, 101), abs=3)
    assert (~single).sum() > 1500
    assert part_png(field_of(), gouge=~gouge & gouge, **more) == clean


@pytest.mark.parametrize(
    ("field", "more"),
    [
        (np.zeros(5), {}), (np.zeros((0, 4)), {}), (np.full((4, 4), np.nan), {}), (np.zeros((4, 4)), {"width": 3}),
        (np.zeros((4, 4)), {"pixel": 0}), (np.zeros((4, 4)), {"material": "cheese"}),
        (np.zeros((4, 4)), {"gouge": np.zeros((3, 4), bool)}), (np.zeros((4, 4)), {"margin": -1}),
    ],
    ids=str,
)  # fmt: skip
def test_pictures_of_no_use_are_refused(field, more):
    with pytest.raises(pg.ArgumentError):
        part_png(field, **{"pixel": 1.0, "material": "brass", "width": 64, **more})


def test_tiny_and_thin_fields_can_be_drawn():
    for shape in ((1, 1), (1, 300), (200, 2), (3, 3)):
        png = part_png(np.zeros(shape), pixel=0.1, material="stone", thickness=3, width=200)
        assert max(picture(png).shape) in range(196, 205)


# -- the part of a job


def test_a_finished_piece_is_shown_without_its_frame():
    whole = picture(part_picture(job(told=proof(findings=())), width=300, margin=0))
    piece = picture(part_picture(job(), width=300, margin=0.1, finished=True))
    assert whole.shape[0] / whole.shape[1] == pytest.approx(150 / 300, abs=0.02)
    assert piece.shape[0] / piece.shape[1] == pytest.approx((120 + 56) / (280 + 56), abs=0.02)
    assert whole[2:8, 2:8].mean(axis=(0, 1))[2] < 160, "oak"
    assert piece[2:8, 2:8].mean(axis=(0, 1))[2] > 180, "paper"
    middle = np.array(piece.shape) // 2
    assert piece[middle[0], middle[1] + 60, 2] < 160, "oak"
    with pytest.raises(pg.ArgumentError, match="cuts nothing free"):
        part_picture(job(cuts=[groove()]), finished=True)
    with pytest.raises(pg.ArgumentError, match="no simulated part"):
        part_picture(job(), proof(height=None))


def test_a_board_with_its_own_outline_is_shown_as_it_is():
    disc = shapely.Point(150, 75).buffer(74)
    round_board = dataclasses.replace(BOARD, outline=disc)
    made = job(cuts=[groove(round_board)], stock=round_board)
    p = picture(part_picture(made, proof(height=pg.HeightMap(np.zeros((150, 300)), pixel=1.0)), width=300, margin=0))
    assert p[75, 10, 2] > 180, "paper beside the disc"
    assert p[75, 150, 2] < 160, "oak inside"


def test_places_of_faults_are_marked_in_the_picture_and_explained():
    faults = (
        Finding(code="gouge", severity="error", text="Too deep.", where=(250.0, 120.0, -1.0), amount=0.1),
        Finding(code="residual", severity="error", text="Left.", where=(30.0, 30.0, -1.0), amount=0.1),
    )
    told = proof(False, faults, height=pg.HeightMap(np.zeros((150, 300)), pixel=1.0))
    shown = picture(part_picture(job(), told, width=300, margin=0))
    plain = picture(part_picture(job(), proof(findings=(), height=told.height), width=300, margin=0))
    assert shown.shape[0] > plain.shape[0] == 150, "a legend stands under the part"
    y, x = np.nonzero(np.abs(shown[:150] - plain).max(axis=2) > 25)
    left = x < 150
    assert left.sum() > 40
    assert (y[left].min() + y[left].max(), x[left].min()) == pytest.approx((240, 24), abs=12)
    assert (y[~left].min() + y[~left].max(), x[~left].min()) == pytest.approx((60, 244), abs=12)
    mirrored = picture(part_picture(job(face="back"), told, width=300, margin=0))
    back = picture(part_picture(job(face="back"), proof(findings=(), height=told.height), width=300, margin=0))
    y, x = np.nonzero(np.abs(mirrored[:150] - back).max(axis=2) > 25)
    assert (y[x < 150].mean() < 60, y[x > 150].mean() > 90) == (True, True), "front view of work cut from the back"
    assert "Marks have the numbers" in Page(setup_sheet(job(told=told))).words
    assert "Marks have" not in Page(setup_sheet(job(told=proof(findings=())))).words


def test_measured_areas_are_hatched_where_the_proof_has_them():
    deep, high = np.zeros((150, 300), bool), np.zeros((150, 300), bool)
    deep[100:130, 20:60], high[20:50, 200:280] = True, True
    field = pg.HeightMap(np.zeros((150, 300)), pixel=1.0)
    told = proof(False, (), height=field, deep=deep, high=high)
    plain = picture(part_picture(job(), proof(findings=(), height=field), width=300, margin=0))
    changed = np.abs(picture(part_picture(job(), told, width=300, margin=0))[:150] - plain).max(axis=2) > 25
    for area in (deep, high):
        assert changed[area[::-1]].mean() > 0.9
    grown = np.zeros((150, 300), bool)
    grown[12:58, 12:68], grown[92:138, 192:288] = True, True
    assert not changed[~grown].any()


def test_what_dragging_tools_draw_is_seen_where_they_draw_it():
    drawn = np.zeros((150, 300), bool)
    drawn[40:44, 20:280] = True
    field = pg.HeightMap(np.zeros((150, 300)), pixel=1.0)
    plain = picture(part_picture(job(), proof(findings=(), height=field), width=300, margin=0))
    lined = picture(part_picture(job(), proof(findings=(), height=field, touched=drawn), width=300, margin=0))
    changed = np.abs(lined.astype(int) - plain).max(axis=2) > 4
    assert changed[drawn[::-1]].mean() > 0.9
    assert not changed[:100].any()
    assert not changed[112:].any()


def test_programs_checked_on_a_stock_alone_have_a_picture_too():
    field = pg.HeightMap(heights().array, pixel=1.0)
    shown = part_picture(BOARD, proof(findings=(), height=field), width=300)
    assert shown == part_picture(job(), proof(findings=(), height=field), width=300)
    for more in ({"proof": None}, {"proof": proof(), "finished": True}):
        with pytest.raises(pg.ArgumentError, match="check"):
            part_picture(BOARD, **more)


# -- marks for every kind of eye

MACHADO = {
    "as most see": np.eye(3),
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "grey print": [[0.2126, 0.7152, 0.0722]] * 3,
}
"""Machado, Oliveira, Fernandes: A Physiologically-based Model for Simulation of Color Vision Deficiency, IEEE TVCG 15
(2009), severity 1.0, for linear RGB."""


def seen(color, eye):
    """Luminance of a color in linear light as an eye sees it."""
    return float(np.clip(np.array(MACHADO[eye]) @ np.asarray(color, float), 0, 1) @ (0.2126, 0.7152, 0.0722))


def apart(a, b, eye):
    light, dark = sorted((seen(a, eye), seen(b, eye)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("eye", MACHADO)
def test_marks_are_told_apart_by_lightness_with_every_kind_of_color_vision(eye):
    """3 to 1 is what WCAG 2.1 asks of graphics (1.4.11); hue alone carries nothing."""
    for row in MACHADO[eye]:
        assert sum(row) == pytest.approx(1, abs=2e-6), "grey stays grey"
    deep, high = INKS["gouge"], INKS["residual"]
    assert apart(linear(deep.fill), linear(high.fill), eye) >= 7
    for ink in INKS.values():
        assert apart(linear(ink.fill), linear(ink.rim), eye) >= 7, "fill and rim"


@pytest.mark.parametrize("eye", MACHADO)
@pytest.mark.parametrize("material", MATERIALS)
def test_marks_stand_out_from_every_material(material, eye):
    """Fill or rim has at least 3 to 1 against the face, its cuts and their shadows, as they come out in a picture."""
    z = field_of(60, 100)
    z[20:40, 30:60] = -6
    p = picture(part_png(z, pixel=1, material=material, width=100, margin=0)).reshape(-1, 3)
    grounds = [linear(tuple(p[k])) for k in np.argsort(p.sum(axis=1))[:: len(p) // 25]]
    for ink in INKS.values():
        worst = min(max(apart(linear(c), g, eye) for c in (ink.fill, ink.rim)) for g in grounds)
        assert worst >= 3, (material, eye, ink.words)


def test_each_kind_of_mark_has_its_own_shape_and_hatches_cross():
    shapes = [ink.shape for ink in INKS.values()]
    assert len(set(shapes)) == len(INKS)
    areas = {}
    for kind in ("gouge", "residual"):
        rgb = np.zeros((60, 60, 3))
        hatch(rgb, np.ones((60, 60), bool), kind)
        areas[kind] = rgb[..., 0] == linear(INKS[kind].rim)[0]
        assert areas[kind].mean() == pytest.approx(1 / 3, abs=0.05)
    rising, falling = areas["gouge"], areas["residual"]
    assert (rising[1:, :-1] == rising[:-1, 1:]).all(), "one row down is one column back"
    assert (falling[1:, 1:] == falling[:-1, :-1]).all()


def test_the_legend_names_what_is_marked_and_nothing_else():
    page = Image.new("RGB", (400, 200), (128, 128, 128))
    one = with_marks(page.copy(), [("gouge", 50, 50, 1)], [])
    many = with_marks(page.copy(), [(kind, 50, 50, 1) for kind in INKS], ["gouge"])
    assert with_marks(page.copy(), [], []).size == (400, 200)
    assert one.size[0] == 400
    assert one.size[1] > 200
    ink = [np.asarray(p.crop((0, 200, *p.size)).convert("L")) < 128 for p in (one, many)]
    assert 0 < 2 * ink[0].sum() < ink[1].sum()
    assert with_marks(Image.new("RGB", (70, 70)), [(k, 5, 5, None) for k in INKS], []).size[1] > 70 + 4 * 15, "in rows"
    assert with_marks(page.copy(), [], ["residual"]).size[1] > 200, "a hatch alone is explained as well"


def test_marks_at_one_place_are_drawn_side_by_side_with_a_line_to_it():
    """Two faults of one move lie at one place; neither may hide the other, nor leave the picture."""
    page = Image.new("RGB", (600, 300), (128, 128, 128))
    alone = np.asarray(with_marks(page.copy(), [("note", 300, 150, None)], []))[:300]
    ink = (np.abs(alone.astype(int) - 128).max(axis=2) > 40).sum()
    for place in ((300, 150), (0, 0), (599, 299)):
        many = np.asarray(with_marks(page.copy(), [("note", *place, None)] * 12, []))[:300]
        shown = (np.abs(many.astype(int) - 128).max(axis=2) > 40).sum()
        assert shown > 11 * ink
    far = np.asarray(with_marks(page.copy(), [("note", 100, 150, None), ("note", 500, 150, None)], []))[:300]
    assert (np.abs(far.astype(int) - 128).max(axis=2) > 40).sum() == 2 * ink, "no line where there is room"
    crowd = with_marks(page.copy(), [("error", 300, 150, k) for k in range(400)], [])
    assert crowd.size[0] == 600, "a crowd is drawn all the same"


# -- the plan


def drawn(svg):
    return ET.fromstring(svg), {"s": "http://www.w3.org/2000/svg"}


def test_the_plan_is_well_formed_and_holds_stock_zero_and_tools():
    root, ns = drawn(paths_svg([groove(), outline()], BOARD))
    titles = [t.text for t in root.iterfind(".//s:title", ns)]
    assert titles[0].startswith("Plan")
    assert {"work zero", "V-groove Fern", "outline"} <= set(titles)
    strokes = {g.get("stroke") for g in root.iterfind(".//s:g[@stroke]", ns)}
    assert set(tool_colors([groove(), outline()]).values()) <= strokes
    x, y, w, h = (float(v) for v in root.get("viewBox").split())
    assert x < 0
    assert y < 0
    assert x + w > 300
    assert y + h > 150


def path_points(data, n=400):
    """Points along SVG path data, by svgpathtools, in mm."""
    return np.array([[z.real, z.imag] for s in parse_path(data) for z in map(s.point, np.linspace(0, 1, n))]) / UNITS


def test_arcs_stay_arcs_and_turn_the_right_way():
    """Read back by svgpathtools: within rounding (0.01 mm) of the path, quarter circles of either turn."""
    for bulge in (QUARTER, -QUARTER, 1.0, -0.3, 2.5):
        path = Path([(10, 10, 0, 0), (30, 10, 0, 0), (40, 25, 0, bulge), (41, 30, 0, 0)])
        data = path_data(path, 0.02)
        segments = parse_path(data)
        assert [isinstance(s, Arc) for s in segments] == [False, True, False]
        true = LineString(path.flattened(0.001)[:, :2])
        away = shapely.distance(true, shapely.points(path_points(data)))
        assert away.max() < 0.03
        back = shapely.distance(LineString(path_points(data)), shapely.points(np.array(true.coords)))
        assert back.max() < 0.03


def test_straight_runs_are_thinned_within_the_tolerance():
    t = np.linspace(0, 2 * math.pi, 20001)
    path = Path.lines(np.column_stack([50 + 40 * np.cos(t), 50 + 30 * np.sin(t), 0 * t]))
    data = path_data(path, 0.05)
    assert len(data) < 1500
    got = LineString(path_points(data, 3))
    assert shapely.distance(got, shapely.points(path.points[:, :2])).max() < 0.06
    assert path_data(Path.lines([[5, 5, 0], [5, 5, -3]]), 0.05) == "", "a plunge alone leaves no line"


def test_levels_that_lie_over_each_other_are_drawn_once():
    one, many = (paths_svg([outline(levels=n)], BOARD) for n in (1, 30))
    assert one == many


def test_a_long_text_keeps_the_plan_small():
    words = pg.place(pg.text("Fern moss ivy\nrose oak ash\nlime yew elm", height=9), pg.plate(280, 120))
    passes = tuple(
        Pass(path=Path.lines(np.column_stack([c := shapely.get_coordinates(p.exterior), np.full(len(c), -1.0)])))
        for p in words.region.geoms
    )
    cut = Cut(name="text", tool=BIT, cutting=BIT.cutting, passes=passes, bounds=Bounds(), depth=1.0)
    full = sum(len(p.path.points) for p in passes) * len("123.456,123.456 ")
    assert len(paths_svg([cut], BOARD)) < full / 4


def test_entries_and_links_are_thinner_than_cuts():
    thin = Pass(path=Path.lines([[5, 5, 1], [9, 9, 0]]), role="entry")
    cut = dataclasses.replace(groove(), passes=(thin, *groove().passes))
    root, ns = drawn(paths_svg([cut], BOARD))
    group = next(g for g in root.iterfind(".//s:g[@stroke]", ns) if g.find("s:title", ns).text == "V-groove Fern")
    widths = [float(p.get("stroke-width")) for p in group.iterfind("s:path", ns)]
    assert widths[0] > widths[1] > 0


def test_rapids_are_dashed_keep_outs_crossed_and_findings_numbered():
    rapids = np.array([[[0, 0], [100, 50]], [[100, 50], [7, 9]]], float)
    keep = pg.KeepOut(box(0, 100, 20, 150), 25)
    svg = paths_svg([groove()], BOARD, rapids=rapids, keep_out=[keep], touch_off=(280, 10), findings=FINDINGS)
    root, ns = drawn(svg)
    dashed = list(root.iterfind(".//s:path[@stroke-dasharray]", ns))
    assert len(dashed) == 1
    assert dashed[0].get("d").count("M") == 2
    texts = [t.text for t in root.iterfind(".//s:text", ns)]
    assert "2" in texts, "the second finding has a place"
    assert "1" not in texts, "the first has none"
    assert "set tools here" in texts
    assert len(svg) > len(paths_svg([groove()], BOARD)) + 300


def test_names_in_the_plan_are_escaped():
    root, ns = drawn(paths_svg([groove(name="<b>&\"'")], BOARD, title="<i>&\"'"))
    assert "<b>&\"'" in [t.text for t in root.iterfind(".//s:title", ns)]
    assert root.get("aria-label") == "<i>&\"'"


def test_floors_and_grooves_are_tinted():
    flat = Bounds((Flat(region=MultiPolygon([box(10, 10, 60, 60)]), depth=3),))
    root, ns = drawn(paths_svg([dataclasses.replace(groove(), bounds=flat)], BOARD))
    tint = [p.get("d") for p in root.iterfind(".//s:path[@fill-opacity]", ns)]
    assert len(tint) == 1
    assert path_points(tint[0], 3).min(axis=0) == pytest.approx([10, 10])
    assert path_points(tint[0], 3).max(axis=0) == pytest.approx([60, 60])
