"""The examples run as a user runs them, and what they write is whole."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))
QUICK = {"demo", "sunk_sign", "clearance_ladder"}
"""Run with every test run; the others take longer, and are marked slow."""


@pytest.mark.parametrize(
    "example",
    [pytest.param(p, id=p.stem, marks=[] if p.stem in QUICK else [pytest.mark.slow]) for p in EXAMPLES],
)
def test_example_runs_and_writes_programs_and_a_sheet(example, tmp_path):
    run = subprocess.run(
        [sys.executable, "-W", "error", str(example), str(tmp_path / "out")],
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    written = list((tmp_path / "out").rglob("*"))
    programs = [p for p in written if p.suffix == ".rs274"]
    assert programs
    assert any(p.suffix == ".html" for p in written)
    assert not [p for p in written if p.suffix == ".tmp"]
    for program in programs:
        text = program.read_text()
        assert "NOT PROVED" not in text
        assert text.rstrip().splitlines()[-1].split()[-1] in ("M2", "M30")


def test_there_are_examples():
    assert {p.stem for p in EXAMPLES} >= {"demo", "sunk_sign", "pocketed_background", "bed_markers", "trail_sign_back"}
