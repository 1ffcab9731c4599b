"""Docs are run: every Python block of README and docs executes, page by page, in a folder of its own."""

import re
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```python\n(.*?)^```", re.S | re.M)
LINK = re.compile(r"\]\(([^)#]+)(?:#[^)]*)?\)")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_the_code_on_the_page_runs(page, tmp_path, monkeypatch):
    """The blocks of one page run one after the other in one namespace, beside a copy of the project's shared art."""
    blocks = BLOCK.findall(page.read_text())
    shutil.copytree(ROOT / "shared", tmp_path / "shared")
    monkeypatch.chdir(tmp_path)
    namespace: dict[str, object] = {"__name__": "__docs__"}
    for number, block in enumerate(blocks, 1):
        exec(compile(block, f"{page.name}, block {number}", "exec"), namespace)
    assert page.name != "README.md" or len(list((tmp_path / "out").iterdir())) >= 4


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_and_pictures_of_the_page_are_there(page):
    for target in LINK.findall(page.read_text()):
        assert target.startswith("http") or (page.parent / target).exists(), target


def test_readme_has_exactly_two_set_up_commands():
    commands = [
        line for line in (ROOT / "README.md").read_text().splitlines() if line.startswith("    python3 -m venv")
    ]
    assert len(commands) == 2
    assert "pytest" in commands[1]


def test_every_dependency_is_explained():
    """Each package named in pyproject.toml stands in docs/dependencies.md."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    names = [*project["dependencies"], *(d for extra in project["optional-dependencies"].values() for d in extra)]
    page = (ROOT / "docs" / "dependencies.md").read_text().lower()
    missing = [n for n in names if re.split(r"[<>=\[]", n)[0].lower() not in page]
    assert missing == []
