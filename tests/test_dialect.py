"""Numbers, modes and words as a controller reads them."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.model.machine import Dialect
from pathgen.program.dialect import modes, number, seconds, steps
from pathgen.program.words import clean, comments, file_name

MM, INCH = Dialect(), Dialect(units="inch")
ALLOWED = re.compile(r"[A-Za-z0-9 .,_-]{1,60}\Z")
WINDOWS = {"con", "prn", "aux", "nul", *(f"com{k}" for k in range(10)), *(f"lpt{k}" for k in range(10))}


def test_one_inch_is_25_4_mm_exactly():
    """International yard and pound agreement, 1959."""
    assert steps([25.4, 12.7, -25.4], INCH, 4).tolist() == [10000, 5000, -10000]
    assert number(6.35, INCH) == "0.25"


@given(st.floats(-2000, 2000), st.integers(1, 6), st.sampled_from(["mm", "inch"]))
@settings(max_examples=300, deadline=None)
def test_a_number_as_written_is_within_half_a_step_of_the_planned_one(value, places, units):
    dialect = Dialect(units=units, decimals=places)
    text = number(value, dialect)
    assert re.fullmatch(r"-?\d+\.\d+", text)
    assert len(text.split(".")[1]) <= places
    assert abs(float(text) * dialect.unit - value) <= 0.5 * dialect.unit * 10.0**-places + 0.51e-6


@given(st.integers(-(10**6), 10**6), st.floats(-4e-8, 4e-8), st.sampled_from([(MM, 500), (INCH, 1270), (MM, 1)]))
@settings(max_examples=300, deadline=None)
def test_noise_of_the_processor_never_decides(k, noise, case):
    """Geometry lies on a grid of 1e-6 mm; what float arithmetic adds to it is far smaller, and must decide no tie."""
    dialect, tie = case
    millionths = k * tie
    value = millionths / 1e6
    assert number(value + noise, dialect) == number(value, dialect)


def test_the_work_zero_is_taken_off_before_rounding():
    """0.4 + 0.4 steps round to 1 when taken together and to 0 when rounded apart."""
    assert steps([0.0004], MM, 3, zero=-0.0004).tolist() == [1]


def test_no_negative_zero_is_written():
    assert number(-0.0001, MM) == "0.0"
    assert number(-0.0006, MM) == "-0.001"


@given(st.floats(0, 1e4))
def test_a_dwell_is_never_shorter_than_asked(value):
    """NISTIR 6556 section 3.5.4: P is in seconds and not negative."""
    read = float(seconds(value)[1:])
    assert value - 1e-9 <= read <= value + 0.1 + 1e-9


def test_modes_are_all_stated_and_each_line_is_legal():
    """NISTIR 6556 Table 4: no line holds two words of one modal group; section 3.5.7: units first."""
    group = {
        "G21": 6, "G20": 6, "G17": 2, "G90": 3, "G94": 5, "G40": 7, "G80": 1, "G54": 12, "G61": 13, "G64": 13,
    }  # fmt: skip
    for dialect in (MM, INCH, Dialect(path_mode="blend"), Dialect(path_mode=None)):
        lines = modes(dialect)
        assert lines[0] in ("G20", "G21")
        for line in lines:
            groups = [group[w] for w in line.split()]
            assert len(groups) == len(set(groups))
        stated = {group[w] for line in lines for w in line.split()}
        assert stated == {6, 2, 3, 5, 7, 1, 12} | ({13} if dialect.path_mode else set())


@given(st.text(max_size=200))
@settings(max_examples=500, deadline=None)
def test_any_text_passes_the_filter_as_plain_words(text):
    """NISTIR 6556 section 3.3.4: a comment holds no parentheses, and one that begins with MSG, is a message."""
    words = clean(text)
    assert ALLOWED.match(words)
    assert not words.replace(" ", "").lower().startswith("msg")
    assert clean(words) == words


@pytest.mark.parametrize(
    "text",
    ["MSG,stop", " msg,x", "M S G, x", "Rose) M3 S18000 (", "a\nG0 Z-50", "%", "/", ";", "#1=3", "", "（x）M3", "\x00"],
)
def test_nasty_names_are_harmless(text):
    words = clean(text)
    assert ALLOWED.match(words)
    assert not re.match(r"m\s*s\s*g", words, re.IGNORECASE)


def test_accents_become_plain_letters():
    assert clean("Königskerze Façade") == "Konigskerze Facade"


@given(st.lists(st.text(max_size=150), max_size=4), st.integers(20, 60))
@settings(max_examples=200, deadline=None)
def test_long_texts_are_broken_into_comments_that_fit(texts, longest):
    lines = comments(texts, longest=longest)
    assert len(lines) >= len(texts)
    for line in lines:
        assert line[0] == "("
        assert line[-1] == ")"
        assert len(line) <= longest
        assert ALLOWED.match(line[1:-1])


def test_breaking_keeps_every_word():
    text = "the quick brown fox jumps over the lazy dog and digs the garden once more"
    assert " ".join(line[1:-1] for line in comments([text], longest=24)) == text


@given(st.text(max_size=100))
@settings(max_examples=300, deadline=None)
def test_a_file_name_is_safe_on_every_system(text):
    name = file_name(text)
    assert re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", name)
    assert ".." not in name.split("/")
    assert not name.endswith(".")
    assert name.split(".")[0].lower() not in WINDOWS
    assert len(name) <= 61


@pytest.mark.parametrize("name", ["con", "NUL", "Com1", "lpt9.txt", "aux"])
def test_names_that_an_operating_system_keeps_are_changed(name):
    assert file_name(name).split(".")[0].lower() not in WINDOWS


def test_rounding_meets_every_step_once():
    """Walking in quarter steps, four in a row come out as one step: nothing drifts."""
    walked = steps(np.arange(-4000, 4001) * 0.00025, MM, 3)
    counts = np.bincount((walked - walked.min()).astype(int))
    assert set(counts[1:-1].tolist()) <= {3, 4, 5}
    assert math.isclose(counts[1:-1].mean(), 4, abs_tol=0.01)
