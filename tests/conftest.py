"""What all tests share: the corpus of nasty regions, and the folder of helpers on the import path."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import corpus


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A test that takes `nasty` runs once for each region of the corpus."""
    if "nasty" in metafunc.fixturenames:
        metafunc.parametrize("nasty", sorted(corpus.REGIONS), indirect=True)


@pytest.fixture
def nasty(request: pytest.FixtureRequest):
    """One nasty region, a valid MultiPolygon."""
    return corpus.region(request.param)
