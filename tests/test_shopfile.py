"""Shop files: every option of every value can be typed, and every problem is told with its line."""

import dataclasses
import math
import re
import string
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pathgen as pg
from pathgen.model.tool import Tool
from pathgen.shop import shopfile
from pathgen.shop.quantity import UNITS, quantity
from pathgen.shop.shopfile import KINDS, nearest, read_shop
from pathgen.shop.tomllines import key_lines


def shop(folder, text, name="tools.toml"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_shop(path)


def problems(folder, text):
    with pytest.raises(pg.ShopFileError) as caught:
        shop(folder, text)
    assert str(caught.value).count("\n") + 1 == len(caught.value.problems)
    return caught.value.problems


# -- values


FULL = """
[[tool]]
kind = "end mill"
number = 12
diameter = "1/4 in"
cut_width = 6.31
name = "reaching mill"
flutes = 3
cutting_length = "1 1/2 in"
shank = "0.25in"
stick_out = 45
holder = { diameter = 40, length = "3 in" }
max_rpm = 24_000
center_cutting = false
max_ramp = 5
spiral = "both"
up_cut_length = 3
small = false
[tool.cutting]
rpm = 16000
feed = "60 in/min"
plunge = "500 mm/min"
stepdown = 3
stepover = "0.1 in"
ramp = 2
retrace = 1.5
slot = 0.6
direction = "conventional"
cooling = "air"

[[tool]]
kind = "v BIT"
number = 1
angle = 60
diameter = 12.7
tip = 0.1

[[tool]]
kind = "ball nose"
number = 2
diameter = 3

[[tool]]
kind = "drill"
number = 3
diameter = 5
point_angle = 135

[[tool]]
kind = "trailing knife"
number = 4
trail = 0.25
edge_angle = 45
max_depth = 1.5
cutting = { rpm = 0, feed = 1200, plunge = 300 }

[[tool]]
kind = "diamond point"
number = 5
preload = 2
spring_rate = 1.5
max_travel = 2

[machine]
travel = ["24 in", 400, 90]
max_feed = "120 in/min"
acceleration = [500, "20 in/s2", 250]
rapid = [4000, 4000, "60 in/min"]
max_rpm = 24000
min_rpm = 8000
spindle_power = 800
spin_up = 4
spin_down = 6
spindle = "hand"
corner_tolerance = 0.02
positioning = "0.002 in"
homed = true
park = [0, "12 in"]
tool_change = "manual"
change_time = 90
[machine.dialect]
units = "inch"
decimals = 4
center_decimals = 5
arcs = true
helices = false
max_line = 80
length_offsets = false
zero_again_at_stop = true
line_numbers = true
path_mode = "blend"
end = "M30"

[stock]
width = "12 in"
height = 150
thickness = 18
material = "hardwood"
thickness_range = [17.7, 18.3]
zero = [10, "1 in"]
zero_height = "table"
grain = 90
film = 0.1
zero_on_film = true
unevenness = 0.2
"""


def test_every_option_of_every_value_is_read_in_pathgens_own_units(tmp_path):
    found = shop(tmp_path, FULL)
    cutting = pg.Cutting(16000, 1524, 500, 3, 2.54, ramp=2, retrace=1.5, slot=0.6, direction="conventional",
                         cooling="air")  # fmt: skip
    mill = pg.EndMill(6.35, cut_width=6.31, number=12, name="reaching mill", flutes=3, cutting_length=38.1, shank=6.35,
                      stick_out=45, holder=pg.Holder(40, 76.2), max_rpm=24000, center_cutting=False, max_ramp=5,
                      spiral="both", up_cut_length=3, cutting=cutting)  # fmt: skip
    assert list(found.tools) == [12, 1, 2, 3, 4, 5], "in the order of the file"
    assert found.tools == {
        12: mill,
        1: pg.VBit(60, diameter=12.7, tip=0.1, number=1),
        2: pg.BallNose(3, number=2),
        3: pg.Drill(5, point_angle=135, number=3),
        4: pg.TrailingKnife(trail=0.25, edge_angle=45, max_depth=1.5, number=4, cutting=pg.Cutting(0, 1200, 300)),
        5: pg.DiamondPoint(preload=2, spring_rate=1.5, max_travel=2, number=5),
    }
    dialect = pg.Dialect(units="inch", decimals=4, center_decimals=5, helices=False, max_line=80, length_offsets=False,
                         zero_again_at_stop=True, line_numbers=True, path_mode="blend", end="M30")  # fmt: skip
    assert found.machine == pg.Machine(
        travel=(609.6, 400, 90), max_feed=3048, acceleration=(500, 508, 250), rapid=(4000, 4000, 1524), max_rpm=24000,
        min_rpm=8000, spindle_power=800, spin_up=4, spin_down=6, spindle="hand", corner_tolerance=0.02,
        positioning=pg.inch(0.002), homed=True, park=(0, 304.8), change_time=90, dialect=dialect,
    )  # fmt: skip
    assert found.stock == pg.Stock(
        304.8, 150, 18, material="hardwood", thickness_range=(17.7, 18.3), zero=(10, 25.4), zero_height="table",
        grain=90, film=0.1, zero_on_film=True, unevenness=0.2,
    )  # fmt: skip


def test_the_full_file_above_leaves_no_option_out():
    """So that an option added to a value later is missed here, and not by a maker."""
    document = tomllib.loads(FULL)
    typed = {key for tool in document["tool"] for key in tool} - {"kind"}
    assert typed == {f.name for kind in KINDS.values() for f in dataclasses.fields(kind) if f.init}
    assert set(document["tool"][0]["cutting"]) == {f.name for f in dataclasses.fields(pg.Cutting) if f.init}
    assert set(document["tool"][0]["holder"]) == {f.name for f in dataclasses.fields(pg.Holder)}
    assert set(document["machine"]) == {f.name for f in dataclasses.fields(pg.Machine)}
    assert set(document["machine"]["dialect"]) == {f.name for f in dataclasses.fields(pg.Dialect)}
    assert set(document["stock"]) == {f.name for f in dataclasses.fields(pg.Stock)} - {"outline", "measured_top"}
    kinds = {c for c in Tool.__subclasses__() if not c.__name__.startswith("_")}
    assert set(KINDS.values()) >= kinds


def test_the_projects_own_tools_can_be_used(project):
    found = read_shop(project / "shared" / "tools.toml")
    assert len(found.tools) >= 4
    assert all(tool.cutting is not None for tool in found.tools.values())
    assert found.machine is not None


def test_the_file_shown_in_the_docs_can_be_used(tmp_path, project):
    page = (project / "docs" / "check.md").read_text()
    found = shop(tmp_path, re.search(r"```toml\n(.*?)```", page, re.S)[1])
    assert found.tools[1].diameter == 12.7
    assert found.tools[2].holder == pg.Holder(40, 60)
    assert found.stock.thickest == 18.3
    assert found.machine.dialect == pg.Dialect()


@pytest.fixture
def project():
    from pathlib import Path

    return Path(pg.__file__).parent.parent


@pytest.mark.parametrize(
    ("typed", "kind", "size"),
    [
        (6, "length", 6.0), (6.35, "length", 6.35), ("6 mm", "length", 6), ("6mm", "length", 6),
        ("1/4 in", "length", 6.35),
        ("1/4in", "length", 6.35), (" 0.25 in ", "length", 6.35), (".5 in", "length", 12.7),
        ("2 3/8 in", "length", 60.325), ("3 in", "length", 76.2),
        ("-1 1/2 in", "length", -38.1), ("100 in/min", "feed", 2540), ("1500 mm/min", "feed", 1500),
        ("10 in/s2", "acceleration", 254), (16000, "plain", 16000),
    ],
)  # fmt: skip
def test_quantities_are_exact(typed, kind, size):
    assert quantity(typed, kind) == pytest.approx(size, rel=1e-15, abs=0)


@pytest.mark.parametrize(
    ("typed", "kind", "says"),
    [
        ("6", "length", "has no unit"), ("6 cm", "length", "'cm' is not one of mm, in"),
        ("six mm", "length", "type a number"),
        ("1/0 in", "length", "fraction"), ("1 1/0 in", "length", "fraction"), (True, "length", "must be a number"),
        (None, "length", "must be a number"), ([1], "length", "must be a number"), ("6 mm", "feed", "mm/min, in/min"),
        ("16000", "plain", "must be a number"), (math.nan, "length", "finite"), (math.inf, "plain", "finite"),
        (10**400, "length", "finite"), ("1e3 mm", "length", "type a number"),
        ("9" * 400 + " mm", "length", "no number"),
        ("6 mm\n", "length", None), ("\u0666 mm", "length", "type a number"), ("", "length", "type a number"),
    ],
)  # fmt: skip
def test_what_is_no_quantity_is_refused_with_the_form_it_takes(typed, kind, says):
    if says is None:
        assert quantity(typed, kind) == 6
        return
    with pytest.raises(pg.ArgumentError, match=says):
        quantity(typed, kind)


@given(st.text(max_size=30), st.sampled_from(sorted(UNITS)))
@settings(deadline=None)
def test_any_text_is_a_quantity_or_an_argument_error(text, kind):
    try:
        size, told = quantity(text, kind), ""
    except pg.ArgumentError as problem:
        size, told = 0.0, str(problem)
    assert math.isfinite(size)
    assert len(told) < 250


# -- problems


BAD = """
[[tool]]
number = 1
kind = "V bitt"
diamter = 12.7

[[tool]]
number = 1
kind = "end mill"
diameter = 6
flutes = 0
spiral = "upp"
shank = "6 cm"
[tool.cutting]
rpm = 16000
feed = 1500
plunge = -5
stepdwn = 3

[[tool]]
kind = "V bit"
angle = 900
tip = 1
diameter = 0.25
name = 3

[[tool]]
number = 4
kind = "trailing knife"
trail = 0.3
edge_angle = 45
[tool.cutting]
rpm = 100
feed = 500
plunge = 100

[machine]
travel = [600, 400]
max_feed = 3000
max_rpm = 24000
min_rpm = 30000
homed = "yes"
dialect = { units = "inches", decimls = 3 }

[stok]
width = 300
"""


def test_all_problems_of_a_file_are_told_at_once_each_at_its_line(tmp_path):
    lines = BAD.splitlines()
    found = problems(tmp_path, BAD)
    expected = [  # (what stands on the line, words of the message)
        ('kind = "V bitt"', "did you mean 'V bit'?"),
        ("diamter = 12.7", "did you mean 'diameter'?"),
        ("number = 1", "is taken: the tool of line 3"),
        ("flutes = 0", "whole number of at least 1"),
        ('spiral = "upp"', "did you mean 'up'?"),
        ('shank = "6 cm"', "'cm' is not one of mm, in"),
        ("plunge = -5", "above 0"),
        ("stepdwn = 3", "did you mean 'stepdown'?"),
        ("[[tool]]", "a V bit needs number"),
        ("angle = 900", "between 5 and 170 degrees"),
        ("diameter = 0.25", 'did you mean "0.25 in"?'),
        ("name = 3", "text in quotes"),
        ("rpm = 100", "must never spin"),
        ("[machine]", "a machine needs acceleration"),
        ("travel = [600, 400]", "list of 3 numbers"),
        ("min_rpm = 30000", "above max_rpm"),
        ('homed = "yes"', "true or false"),
        ("dialect = {", "did you mean 'inch'?"),
        ("dialect = {", "did you mean 'decimals'?"),
        ("[stok]", "did you mean 'stock'?"),
    ]
    left = list(found)
    for start, words in expected:
        hit = [p for p in left if words in p[1] and lines[p[0] - 1].startswith(start)]
        assert len(hit) == 1, (start, words, found)
        left.remove(hit[0])
    assert left == [], "nothing is told twice, and nothing made up"
    assert [p[0] for p in found] == sorted(p[0] for p in found)


def test_a_diameter_that_is_missing_or_unreadable_is_told_once_and_as_what_it_is(tmp_path):
    bits = '[[tool]]\nnumber = 1\nkind = "end mill"\n[[tool]]\nnumber = 2\nkind = "V bit"\nangle = 60\n'
    assert problems(tmp_path, bits + 'diameter = "6 furlongs"\ntip = 1\n') == (
        (1, "an end mill needs diameter"),
        (8, "diameter = \"6 furlongs\": the unit 'furlongs' is not one of mm, in"),
    )
    knife = '[[tool]]\nnumber = 1\nkind = "trailing knife"\ntrail = 0.5\nedge_angle = 45\n'
    assert shop(tmp_path, knife).tools[1].diameter == 0


def test_messages_speak_the_words_of_the_file_not_of_python(tmp_path):
    told = " ".join(text for _, text in problems(tmp_path, BAD))
    assert not re.search(r"\b[a-z_]+=\S", told)
    assert "True" not in told
    assert "inch(" not in told


def test_a_tool_number_given_twice_names_both_lines(tmp_path):
    (line, text), *more = problems(
        tmp_path,
        '[[tool]]\nkind = "drill"\nnumber = 7\ndiameter = 5\n[[tool]]\nkind = "drill"\ndiameter = 6\nnumber = 7\n',
    )
    assert (line, more) == (8, [])
    assert "line 3" in text


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("[[tool]\nnumber = 1\n", 1, "no TOML"),
        ('[[tool]]\nnumber = 1\nkind = "drill\n', 3, "no TOML"),
        ("a = 1\na = 2\n", 2, "no TOML"),
        ("", None, "holds nothing"),
        ("# only words\n", None, "holds nothing"),
        ("tool = 3\n", 1, "two brackets"),
        ("[tool]\nnumber = 3\n", 1, "two brackets"),
        ("tool = [1, 2]\n", 1, "keys of its own"),
        ("machine = 3\n", 1, "must be a table"),
        ("[[machine]]\nmax_rpm = 1\n", 1, "must be a table"),
        ('[[tool]]\nnumber = 1\nkind = ["drill"]\n', 3, "no kind"),
        ("[[tool]]\nnumber = 1\n", 1, "has no kind"),
        ('[[tool]]\nnumber = 1\nkind = "drill"\ndiameter = 5\ncutting = 3\n', 5, "must be a table"),
        ('[[tool]]\nnumber = "1"\nkind = "drill"\ndiameter = 5\n', 2, "must be a number"),
        ('[[tool]]\nnumber = 1.5\nkind = "drill"\ndiameter = 5\n', 2, "whole number"),
        ('[[tool]]\nnumber = 1\nkind = "drill"\ndiameter = inf\n', 4, "finite"),
        ('[[tool]]\nnumber = 1\nkind = "drill"\ndiameter = 2020-01-01\n', 4, "must be a number"),
        (b'[[tool]]\nname = "caf\xe9"\n', 2, "UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", 1, "UTF-8"),
        ("x = " + "[" * 5000 + "]" * 5000, None, "nested too deeply"),
        ("x = " + "9" * 5000, None, "number too long"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_shop_file_is_told_with_its_line(tmp_path, text, line, says):
    found = problems(tmp_path, text)
    assert any(at == line and says in words for at, words in found), found


def test_a_file_that_is_not_there_or_no_file_is_told(tmp_path):
    with pytest.raises(pg.MissingFileError, match="no such file"):
        read_shop(tmp_path / "none.toml")
    with pytest.raises(pg.DrawingError, match="folder"):
        read_shop(tmp_path)
    with pytest.raises(pg.DrawingError, match="cannot be read"):
        read_shop("a\0b")
    big = tmp_path / "big.toml"
    with big.open("wb") as file:
        file.truncate(shopfile.LARGEST + 1)
    with pytest.raises(pg.DrawingError, match="larger"):
        read_shop(big)


def test_windows_line_ends_and_byte_order_marks_change_nothing(tmp_path):
    text = '[[tool]]\nkind = "drill"\nnumber = 1\ndiameter = 5\n'
    windows = b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()
    assert shop(tmp_path, windows, "w.toml").tools == shop(tmp_path, text).tools
    assert problems(tmp_path, windows + b"flute = 2\r\n")[0][0] == 5


def test_the_nearest_word_is_told_or_all_of_them():
    assert nearest("Diametre", ["diameter", "tip"]) == ": did you mean 'diameter'?"
    assert nearest("q", ["diameter", "tip"]) == ": it is one of 'diameter', 'tip'"


WORDS = st.sampled_from(
    ["tool", "machine", "stock", "kind", "number", "diameter", "cutting", "rpm", "feed", "travel", "x"]
)
VALUES = st.recursive(
    st.one_of(st.integers(), st.floats(), st.booleans(), st.sampled_from(["drill", "V bit", "1/4 in", "end mill", ""])),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(WORDS, inner, max_size=4)),
    max_leaves=12,
)


def toml(value):
    """Write a value as inline TOML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


@given(st.dictionaries(WORDS, VALUES, max_size=5))
@settings(deadline=None, max_examples=200)
def test_any_valid_toml_is_a_shop_or_a_list_of_problems(tmp_path_factory, values):
    text = "".join(f"{k} = {toml(v)}\n" for k, v in values.items())
    found: tuple = ()
    try:
        assert isinstance(shop(tmp_path_factory.getbasetemp(), text), pg.Shop)
    except pg.ShopFileError as error:
        found = error.problems
    for line, words in found:
        assert (line is None) == (not values)
        assert line is None or 1 <= line <= len(values)
        assert words


# -- lines


NASTY = '''# a comment with [brackets] and "quotes
top = 1
"quoted key" = """
[not.a.header]
fake = 1 \\"""
more"""   # after
literal = \'\'\'
[also] not = "here"
\'\'\'\'
array = [ 1, # one ]
  "two ] }", [3,
  4], { deep = "x" },
]
a.b."c d" = 2
inline = { x = 1, y = { z = [1, 2] } }
when = 1979-05-27 07:32:00
empty = ""
quotes = """"one" and ""two"""""

[table . "sub.table"] # words
key = 'it = [s]'
[[list]]
n = 1
[list.inner]
m = 2
[[list.more]]
k = 3
[[list.more]]
k = 4
[[list]]
n = 5
  indented = 6
'''


def test_lines_are_found_whatever_stands_between_them():
    document = tomllib.loads(NASTY)
    lines = key_lines(NASTY)
    expected = {
        ("top",): 2, ("quoted key",): 3, ("literal",): 7, ("array",): 10, ("array", 0): 10, ("array", 1): 11,
        ("array", 2): 11, ("array", 2, 1): 12, ("array", 3, "deep"): 12, ("a",): 14, ("a", "b", "c d"): 14,
        ("inline", "y", "z", 1): 15, ("when",): 16, ("empty",): 17, ("quotes",): 18, ("table",): 20,
        ("table", "sub.table"): 20, ("table", "sub.table", "key"): 21, ("list", 0): 22, ("list", 0, "n"): 23,
        ("list", 0, "inner"): 24, ("list", 0, "inner", "m"): 25, ("list", 0, "more", 0, "k"): 27,
        ("list", 0, "more", 1, "k"): 29, ("list", 1): 30, ("list", 1, "n"): 31, ("list", 1, "indented"): 32,
    }  # fmt: skip
    for place, line in expected.items():
        assert lines[place] == line, place
    assert set(lines) == set(places(document)), "every place of the document, and none besides"


def places(value, at=()):
    if at:
        yield at
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in inner:
        yield from places(child, (*at, key))


TEXTS = st.text(string.ascii_letters + " #[]{}=,.'\"\\\n\t", max_size=12)


@st.composite
def documents(draw):
    """A TOML text of tables and keys whose lines are known, with values that look like anything else."""
    rows, expected = [], {}
    seen: dict[str, int] = {}

    def put(text):
        rows.extend(text.split("\n"))

    for _ in range(draw(st.integers(1, 5))):
        for _ in range(draw(st.integers(0, 2))):
            put(draw(st.sampled_from(["", "# [no] = {", "   ", "#"])))
        name = draw(st.sampled_from(["tool", "other", "a b"]))
        header = f'"{name}"' if " " in name else name
        k = seen[name] = seen.get(name, -1) + 1
        expected[name, k] = len(rows) + 1
        put(f"[[{header}]]" + draw(st.sampled_from(["", " # x", "  "])))
        for key in draw(st.lists(st.sampled_from("pqrs"), unique=True, max_size=4)):
            expected[name, k, key] = len(rows) + 1
            words = draw(TEXTS)
            escaped = words.replace("\\", "\\\\").replace('"', '\\"')
            value = draw(st.sampled_from(["basic", "long", "array", "number"]))
            if value == "basic":
                put(f'{key} = "' + escaped.replace("\n", "\\n").replace("\t", "\\t") + '"')
            elif value == "long":
                put(f'{key} = """{escaped}"""')
            elif value == "array":
                plain = escaped.replace("\n", "\\n").replace("\t", "\\t")
                expected[name, k, key, 1, "z"] = len(rows) + 2
                put(f'{key} = [ "{plain}", # ]\n {{ z = 1 }} ,\n]')
            else:
                put(f"{key}=1.5e3# {words.split(chr(10))[0].replace(chr(9), ' ')}")
    return "\n".join(rows) + "\n", expected


@given(documents())
@settings(deadline=None, max_examples=150)
def test_lines_of_made_up_documents_are_the_lines_they_were_made_on(made):
    text, expected = made
    document = tomllib.loads(text)
    lines = key_lines(text)
    assert {place: lines[place] for place in expected} == expected
    assert set(lines) == set(places(document))
    assert key_lines(text.replace("\n", "\r\n")) == lines
