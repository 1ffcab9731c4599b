"""Random and mutated programs: always a Motion, each finding with its line, never a crash or a hang."""

import importlib.util
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.motion.read import read_program

_PATH = Path(__file__).parent.parent / "benchmarks" / "long_reading.py"
_SPEC = importlib.util.spec_from_file_location("long_reading", _PATH)
long_reading = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(long_reading)


@pytest.mark.parametrize("seed", [11, 12])
def test_mutated_programs_are_read_without_a_crash(seed):
    with_findings, findings = long_reading.run(1000, seed)
    assert with_findings > 700
    assert findings > 1500


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_without_a_crash(text):
    long_reading.survive(text)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(long_reading.WORDS), max_size=40).map("".join))
def test_any_words_are_read_without_a_crash(text):
    long_reading.survive(text)


@pytest.mark.parametrize("program", long_reading.PROGRAMS, ids=range(len(long_reading.PROGRAMS)))
def test_the_programs_that_are_mutated_are_sound_themselves(program):
    """A guard: mutants of broken programs would test little."""
    motion = read_program(program)
    errors = [f for f in motion.findings if f.severity == "error"]
    assert len(motion.moves) > 2
    assert len(errors) <= 2


@pytest.mark.parametrize(
    "text",
    [
        "G0 X" + "[" * 251,
        "G0 X" + "[" * 125 + "1" + "]" * 125,
        "G0 X" + "#" * 250 + "1",
        "G0 X" + "sin[" * 62,
        "#" * 256,
        "G0 X" + "-" * 200,
        "(" * 256,
        ")" * 256,
        "X1" * 128,
        "G1" * 128,
        "%\n" * 5000,
        "%" + "(%)\n" * 5000 + "M2",
        "/" * 300,
        "N" * 300,
        "G0 X" + "9" * 250,
        "G0 X." + "0" * 240 + "1",
        "1" * 100_000,
        "\n" * 100_000,
        "\x00" * 1000,
        "G21 F1\nG0 X0 Y0 Z9\n" + "G81 X1 Z-1 R1 L99999\n" * 100,
        "G21 F1\nG0 X0 Y0 Z9\n" + "G83 X1 Z-999 R1 Q.001 L9\n" * 100,
        "#1=1\n" + "#1=[#1 * 10]\n" * 400,
        "#[1]=2 #[2]=3\n#1=#2 #2=#1\nG0 X#1",
        "G21 G93 F1\nG1 X0 F1\nG1 X0 F1\nM2",
    ],
    ids=range(24),
)
def test_texts_meant_to_break_a_reader_do_not(text):
    long_reading.survive(text)
