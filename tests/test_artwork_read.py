"""The door: which file it is, what is wrong with it, and what to do."""

import gzip
import random
import warnings

import pytest

import pathgen as pg
from pathgen.artwork import repair
from pathgen.artwork.model import CODES, Note
from pathgen.artwork.report import Report

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">{}</svg>'
GOOD = SVG.format('<g id="leaf"><rect width="5" height="5"/></g>')


@pytest.fixture
def put(tmp_path):
    def write(data, name="drawing.svg"):
        path = tmp_path / name
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        return path

    return write


def test_a_missing_file_names_those_beside_it(put, tmp_path):
    put(GOOD, "fern.svg")
    with pytest.raises(pg.MissingFileError, match=r"ferns\.svg: there is no such file.*fern\.svg") as caught:
        pg.read(tmp_path / "ferns.svg")
    assert isinstance(caught.value, FileNotFoundError)
    assert isinstance(caught.value, pg.DrawingError)
    with pytest.raises(pg.MissingFileError):
        pg.read(tmp_path / "no such folder" / "a.svg")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00", "PNG picture"),
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"%PDF-1.7", "PDF"),
        (b"AC1027\x00\x00", "DWG drawing.*export it as DXF"),
        (b"PK\x03\x04", "ZIP"),
        (b"", "empty"),
        (b" \n\t", "empty"),
        (b"hello", "no SVG drawing"),
        (b"<svg", "line 1.*not well-formed"),
        (b"<svg><g></svg>", "line 1.*mismatched tag"),
        (b"<svg>\n<g>&nbsp;</g></svg>", "line 2.*undefined entity"),
        (b"<html><body/></html>", "outermost element is <html>"),
        (b'<x xmlns="urn:x"/>', "another language"),
        (b"\x1f\x8bgarbage", "packed drawing is damaged"),
        (gzip.compress(GOOD.encode())[:-12], "packed drawing is damaged"),
        (b'<?xml version="1.0" encoding="none-such"?><svg/>', "encoding"),
        (b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]><svg>&x;</svg>', "outside file"),
    ],
)
def test_what_is_no_drawing_is_named_with_the_way_out(put, data, words):
    path = put(data)
    with pytest.raises(pg.DrawingError, match=words) as caught:
        pg.read(path)
    assert caught.value.file == str(path)


@pytest.mark.parametrize("data", [b"AC1032\x00", b"0\nSECTION\n2\nENTITIES\n0\nLINE\n", b"random words"])
def test_what_is_no_dxf(put, data):
    with pytest.raises(pg.DrawingError, match=r"DWG|cut off|neither"):
        pg.read(put(data, "a.dxf"))


def test_the_content_decides_not_the_name(put):
    assert pg.read(put(GOOD, "leaf.dxf")).region.area == pytest.approx(25)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(pg.DrawingError, match="folder"):
        pg.read(tmp_path)


def test_an_entity_bomb_is_stopped(put):
    lines = ['<!ENTITY a0 "fernfernfernfern">']
    lines += [f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 10)]
    bomb = f"<!DOCTYPE svg [{''.join(lines)}]><svg><style>&a9;</style></svg>"
    with pytest.raises(pg.DrawingError, match="amplification"):
        pg.read(put(bomb))


def test_a_packed_bomb_is_stopped(put):
    with pytest.raises(pg.DrawingError, match="64 MB"):
        pg.read(put(gzip.compress(b"<svg>" + b" " * (65 * 2**20))))


def test_a_bomb_of_instances_is_stopped(put, monkeypatch):
    """1.8 kB that would draw 10^9 shapes; the cap is lowered here for the clock's sake."""
    monkeypatch.setattr("pathgen.artwork.svg.MOST_INSTANCES", 3000)
    groups = ['<g id="u0"><rect width="1" height="1"/></g>']
    groups += [f'<g id="u{k}">{f"""<use href="#u{k - 1}"/>""" * 10}</g>' for k in range(1, 10)]
    with pytest.raises(pg.DrawingError, match="by way of <use>"):
        pg.read(put(SVG.format(f"<defs>{''.join(groups)}</defs><use href='#u9'/>")))


def test_deep_nesting_is_read_and_absurd_nesting_refused(put):
    inner = '<rect width="5" height="5"/>'
    assert pg.read(put(SVG.format("<g>" * 9000 + inner + "</g>" * 9000))).region.area == pytest.approx(25)
    with pytest.raises(pg.DrawingError, match="nested"):
        pg.read(put(SVG.format("<g>" * 20000 + inner + "</g>" * 20000)))


@pytest.mark.parametrize(
    ("inner", "words"),
    [
        ("", "nothing to cut.*no visible shape"),
        ("<text>Fern</text>", "text is not read"),
        ('<g display="none"><rect width="5" height="5"/></g>', "switched off"),
        ('<rect width="5" height="5" fill="none"/>', "without any paint"),
        ('<path d="M0 0H5V.0001H0z"/>', "thinner than the tolerance"),
    ],
)
def test_an_empty_drawing_says_why(put, inner, words):
    with pytest.raises(pg.DrawingError, match=words):
        pg.read(put(SVG.format(inner)))


@pytest.mark.parametrize(
    "inner",
    [
        '\n<g id="leaf">\n<path id="{}" d="M0 0L5 NaN 3 3z"/></g>',
        '\n<g id="leaf">\n<rect id="{}" x="nan" width="5" height="5"/></g>',
        '\n<g id="leaf">\n<polygon id="{}" points="0 0 5 inf 3 3"/></g>',
        '\n<g id="leaf">\n<rect id="{}" width="5" height="5" transform="translate(1e999)"/></g>',
        '\n<g id="leaf">\n<circle id="{}" r="1e400"/></g>',
        '\n<g id="leaf">\n<path id="{}" d="M0 0L5 1e30 3 3z"/></g>',
    ],
)
def test_coordinates_that_are_no_numbers_name_file_line_and_element(put, inner):
    path = put(SVG.format(inner.format("tip")))
    with pytest.raises(pg.DrawingError, match=r"not a number|1 km") as caught:
        pg.read(path)
    assert (caught.value.file, caught.value.line, caught.value.layer) == (str(path), 3, "tip")


def test_wrong_arguments_are_named_before_the_file_is_read(tmp_path):
    nowhere = tmp_path / "nowhere.svg"
    with pytest.raises(pg.ArgumentError, match="'lines', 'outline', 'ignore'"):
        pg.read(nowhere, strokes="line")
    with pytest.raises(pg.ArgumentError, match="tolerance=0"):
        pg.read(nowhere, tolerance=0)
    with pytest.raises(pg.ArgumentError, match="join=-1"):
        pg.read(nowhere, join=-1)
    with pytest.raises(pg.ArgumentError, match="'mm', 'cm'"):
        pg.read(nowhere, units="furlong")


def test_artwork_is_frozen_and_speaks(put):
    art = pg.read(put(GOOD))
    with pytest.raises(AttributeError):
        art.region = None
    assert "leaf" in repr(art.layers)
    assert list(art.layers) == ["leaf"]
    assert art.layers["leaf"] is art["leaf"]
    assert len(art.layers) == 1


def test_open_lines_asked_for_as_a_region_say_what_to_do(put):
    from pathgen.model.artwork import region_of

    art = pg.read(put(SVG.format('<path id="vein" d="M0 0H5" fill="none" stroke="#000"/>')))
    with pytest.raises(pg.DrawingError, match="open lines only"):
        region_of(art)
    with pytest.raises(pg.DrawingError, match=r"'vein'.*open lines only"):
        region_of(art["vein"])


def test_notes_are_listed_and_readable():
    with pytest.raises(ValueError, match="not listed"):
        Note(code="ferny", text="")
    report = Report()
    report.say("open", "an open line", where=(1, 2), layer="leaf", line=3, element="a")
    assert str(report.notes()[0]) == "open: an open line [line 3, 'a', layer 'leaf', at (1.000, 2.000)]"
    assert all(text for text in CODES.values())


WORDS = [b"0", b"-1", b"1e30", b"%", b"none", b"z", b"M", b"a1 1 0 0110 0", b"scale(0)", b"evenodd", b"1e-30", b"5e5"]


def test_damaged_drawings_give_a_region_in_normal_form_or_a_drawing_error(put, pytestconfig):
    """90 seeded damages of the demo drawings and of a drawing with everything in it."""
    shared = pytestconfig.rootpath / "shared"
    seeds = [(shared / name).read_bytes() for name in ("fern-sign.svg", "trail-sign.svg", "bench-parts.dxf")]
    rng = random.Random(11)
    read = 0
    for k in range(90):
        data = bytearray(seeds[k % 3])
        for _ in range(rng.randint(1, 3)):
            at = rng.randrange(len(data))
            data[at : at + rng.randint(0, 3)] = rng.choice(WORDS)
        path = put(bytes(data), "a.dxf" if k % 3 == 2 else "a.svg")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                art = pg.read(path)
            except pg.DrawingError:
                continue
        read += 1
        assert repair.check(art.region) == ()
    assert read > 25
