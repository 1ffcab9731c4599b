"""Both routes of reading give the same Motion, whatever the text."""

import dataclasses
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.motion import read as read_module
from pathgen.motion.read import read_program

PLAIN = "GXYZIJFN"


def assert_same(text, **options):
    """Read `text` by either route and compare every column, event, finding and the state."""
    quick, full = read_program(text, **options), read_program(text, bulk=False, **options)
    for field in dataclasses.fields(quick.moves):
        a, b = getattr(quick.moves, field.name), getattr(full.moves, field.name)
        assert a.dtype == b.dtype
        assert np.array_equal(a, b, equal_nan=True), field.name
    assert quick.events == full.events
    assert quick.findings == full.findings
    assert repr(quick.state) == repr(full.state)
    return quick


@pytest.fixture
def every_line_in_bulk(monkeypatch):
    """Let the bulk route take runs of a single line too, and blocks of a few lines."""
    monkeypatch.setattr(read_module, "SHORT", 1)
    monkeypatch.setattr(read_module, "BLOCK", 60)


numbers = st.one_of(
    st.integers(-30, 30).map(str),
    st.decimals(-99, 99, places=3).map(str),
    st.sampled_from(
        [
            "0",
            "-0",
            "+5",
            ".5",
            "-.25",
            "7.",
            "00012.50",
            "12345678.12345678",
            "99999999.9",
            "-0.0",
            "1e3",
            "",
            "-",
            "+.",
            "1..2",
        ]
    ),
)
plain_words = st.builds(lambda letter, number: letter + number, st.sampled_from(PLAIN + PLAIN.lower()), numbers)
motions = st.sampled_from(["G0", "G1", "g1", "G01", "G2", "G3", "G1.0", "G0", "G1", "", "", "", ""])
odd = st.sampled_from(
    [
        "(a)",
        "(CUT 1 Fern)",
        "(x) (y)",
        "((",
        ")",
        "( ",
        " ",
        "\t",
        "/",
        "%",
        ";",
        "M5",
        "G90",
        "G91",
        "G20",
        "G21",
        "G18",
        "G93",
        "G92 X1",
        "G80",
        "G81 Z-1 R2",
        "G53",
        "#1=2",
        "X[1+2]",
        "R5",
        "K1",
        "T1 M6",
        "M3 S100",
        "M2",
        "é",
        "N1",
        "G4 P1",
        "F0",
    ]
)
plain_lines = st.builds(
    lambda g, axes, f, ij: " ".join([g, *axes, ij, f]),
    motions,
    st.lists(st.builds(lambda a, n: f"{a}{n}", st.sampled_from("XYZ"), st.decimals(-50, 50, places=3)), max_size=3),
    st.sampled_from(["", "", "", "F100", "F0"]),
    st.sampled_from(["", "", "", "I5", "J-3 I1", "I0J0"]),
)
mixed_lines = st.lists(st.one_of(plain_words, odd), max_size=5).map("".join)
texts = st.lists(st.one_of(plain_lines, plain_lines, mixed_lines), max_size=25).map("\n".join)


@settings(max_examples=400, deadline=None)
@given(texts)
def test_both_routes_give_the_same_motion(text):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read_module, "SHORT", 1)
        patch.setattr(read_module, "BLOCK", 60)
        assert_same("G21 G90 F200 G0 X0 Y0 Z5\n" + text)
        assert_same(text)


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="G01X2Y3Z-.5 IJFN()\n\t%M", max_size=120))
def test_both_routes_agree_on_noise(text):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read_module, "SHORT", 1)
        assert_same(text)


@pytest.mark.parametrize(
    "line",
    [
        "X1 X2",
        "G0 G1 X1",
        "N000009 X1",
        "N5 N6 X1",
        "X1 N5",
        "(c) N5 X1",
        "N-1 X1",
        "N1.5 X1",
        "X",
        "X.",
        "X-",
        "X+-1",
        "X1-2",
        "X1.2.3",
        "X(a)1",
        "X1(a)2",
        "X1(a)Y2",
        "X 1 2 . 5",
        "G1.5 X1",
        "G-1 X1",
        "G4 X1",
        "I1",
        "G1 I1 X2",
        "G2 X1",
        "G2 Z1 I1",
        "G2 X1 Y1 I99",
        "G2 X9 Y9 I0 J0",
        "G1",
        "G1 F100",
        "F-5",
        "X123456789",
        "X0.123456789",
        "X99999999.99999999",
        "5 X1",
        "(open X1",
        "X1) Y2",
        "((a) b) X1",
        "X1 (é) Y2",
        "X1 \u2028 Y2",
        "X1 \ud800",
        " " * 300,
        "X1" + " " * 250,
        "X1" + " " * 255,
    ],
)
def test_doubtful_lines_are_judged_by_the_full_grammar(line, every_line_in_bulk):
    assert_same("G21 G90\nG0 X0 Y0 Z5\nG1 Z-1 F300\nX3 Y4\n" + line + "\nX5 Y5\nZ2\nM2")


def test_a_long_program_of_all_kinds_reads_alike():
    """Comments, feeds, line numbers, arcs and errors in the midst of long runs."""
    rng = random.Random(4)
    lines = ["G21 G90 G17", "T1 M6 S18000 M3", "G0 X0 Y0 Z5 F900"]
    for k in range(4000):
        roll = rng.random()
        if roll < 0.7:
            lines.append(f"G1X{rng.uniform(0, 300):.3f}Y{rng.uniform(0, 150):.3f}")
        elif roll < 0.8:
            lines.append(f"N{k} x{rng.uniform(0, 300):.3f} (PASS 1.{k} along) z-{rng.random():.2f}")
        elif roll < 0.9:
            lines.append(f"G0 X{k % 97} Y0\nG3 X{k % 97 + 10} I5 F{rng.randint(100, 2000)}")
        elif roll < 0.95:
            lines.append("")
        elif roll < 0.97:
            lines.append(rng.choice(["G2 X0 I1", "G1", "X1 X2", "G20", "G21", "M5", "M3", "G91", "G90", "(a) (b)"]))
        else:
            lines.append(f"Z{rng.randint(-9, 9)}")
    motion = assert_same("\n".join([*lines, "M2"]))
    assert len(motion.moves) > 3500
    assert {"arc-radii-differ", "repeated-word", "no-axis-word"} <= {f.code for f in motion.findings}


def test_many_lines_with_errors_cost_no_more_than_the_full_grammar():
    """Every line fails its arc check; the bulk route may not start again after each of them."""
    text = "G21 G90 G0 X0 Y0 Z5 F100\n" + "G2 X1 Y1 I99\n" * 3000 + "M2"
    motion = assert_same(text)
    assert sum(f.code == "arc-radii-differ" for f in motion.findings) == 3000


def test_plain_lines_are_read_in_bulk_and_not_one_by_one(monkeypatch):
    """A guard against an empty success: the quick route must take the plain lines."""
    seen = []
    monkeypatch.setattr(read_module, "parse_line", lambda raw, p: seen.append(raw) or parse(raw, p))
    from pathgen.motion.grammar import parse_line as parse

    lines = [f"G1X{k % 50}.125Y{k % 7}Z-1.5" for k in range(5000)]
    motion = read_program("G21 G90 F300\nG0 X0 Y0 Z5\n(CUT 1 Fern)\n" + "\n".join(lines) + "\nM2")
    assert len(motion.moves) == 5001
    assert len(seen) < 40


def test_numbers_come_out_as_float_reads_them():
    """Digit by digit to the last bit, over all lengths on either side of the point."""
    rng = random.Random(9)
    fields = []
    for _ in range(5000):
        whole, part = rng.randint(0, 8), rng.randint(0, 8)
        digits = "".join(rng.choice("0123456789") for _ in range(whole + part)) or "0"
        fields.append(
            rng.choice(["", "-", "+"])
            + (digits[:whole] + "." + digits[whole:] if part else digits + rng.choice(["", "."]))
        )
    motion = read_program("G21 G90\n" + "\n".join("G0X" + f for f in fields) + "\nM2")
    assert motion.moves.end[:, 0].tolist() == [float(f) for f in fields]


def test_lines_with_comments_are_read_in_bulk_too(monkeypatch):
    seen = []
    monkeypatch.setattr(read_module, "parse_line", lambda raw, p: seen.append(raw) or parse(raw, p))
    from pathgen.motion.grammar import parse_line as parse

    lines = [f"(PASS 1.{k} groove) X{k % 50} (along) Y{k % 7}" for k in range(3000)]
    motion = read_program("G21 G90 F300\nG0 X0 Y0 Z5\nG1 Z-1\n" + "\n".join(lines) + "\nM2")
    assert sum(e.text == "along" for e in motion.events) == 3000
    assert len(seen) < 40


def test_after_an_error_the_bulk_route_waits_longer_each_time(monkeypatch):
    """Else a program of errors takes the square of its length."""
    calls = []
    monkeypatch.setattr(read_module, "carry_out", lambda *a: calls.append(a[1]) or carry(*a))
    from pathgen.motion.runs import carry_out as carry

    read_program("G21 G90 G0 X0 Y0 Z5 F100\n" + "G2 X1 Y1 I99\n" * 3000 + "M2")
    assert 1 < len(calls) < 15


@pytest.mark.parametrize(
    ("lines", "errors"),
    [
        ("G2 X10.0019 Y0 I5 J0", 0),
        ("G2 X10.0021 Y0 I5 J0", 1),
        ("G2 X10 Y0.0021 I5 J0", 0),
        ("G20\nG2 X10.00019 Y0 I5 J0", 0),
        ("G20\nG2 X10.00021 Y0 I5 J0", 1),
        ("G2 X0 Y0 I0 J0", 1),
        ("G3 X0 Y0 I5", 0),
        ("G0 Z5\nG81 X1 Z-1 R1\nG0 X3\nX4\nG81 X2", 1),
        ("G0 Z5\nG81 X1 Z-1 R1\nF300\nX4\nX5", 0),
    ],
)
def test_single_lines_in_bulk_keep_to_the_standard(lines, errors, every_line_in_bulk):
    motion = assert_same("G21 G90 F600\nG0 X0 Y0 Z0\n" + lines + "\nM2")
    assert sum(f.severity == "error" for f in motion.findings) == errors


def test_the_bulk_route_sets_in_after_a_drilling_cycle(monkeypatch):
    seen = []
    monkeypatch.setattr(read_module, "parse_line", lambda raw, p: seen.append(raw) or parse(raw, p))
    from pathgen.motion.grammar import parse_line as parse

    head = "G21 G90 F300\nG0 X0 Y0 Z5\nG81 X1 Z-1 R1\nX2\nY3\nG0 X0\n"
    motion = read_program(head + "".join(f"G1X{k % 50}Y{k % 7}\n" for k in range(3000)) + "M2")
    assert len(motion.moves) > 3000
    assert len(seen) < 40
