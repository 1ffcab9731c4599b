"""The house itself: which room may know which, and that public names resolve."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import pathgen

ROOT = Path(pathgen.__file__).parent
MAY_KNOW = {
    "units": set(),
    "errors": set(),
    "model": {"units", "errors"},
    "artwork": {"units", "errors", "model"},
    "shape": {"units", "errors", "model"},
    "shop": {"units", "errors", "model"},
    "cuts": {"units", "errors", "model", "shape", "shop"},
    "program": {"units", "errors", "model", "cuts"},
    "motion": {"units", "errors", "model", "shop"},
    "proof": {"units", "errors", "model", "shop", "motion"},
    "jobcheck": {"units", "errors", "model"},
    "job": {"jobcheck", "units", "errors", "model", "artwork", "shape", "shop", "cuts", "program", "motion", "proof"},
    "trial_readings": {"errors", "model", "cuts", "trial"},
    "trial": {"units", "errors", "model", "artwork", "shape", "shop", "cuts", "job"},
    "restart": {"jobcheck", "units", "errors", "model", "program", "motion", "proof", "job"},
    "check": {"units", "errors", "model", "motion", "proof"},
    "sheet": {
        "units",
        "errors",
        "model",
        "artwork",
        "shape",
        "shop",
        "cuts",
        "program",
        "motion",
        "proof",
        "job",
    },
    "cli": {"units", "errors", "model", "shop", "motion", "proof", "check", "sheet"},
    "__main__": {"cli"},
}
LATE = {("job", "sheet")}


def imports(path: Path, *, top_only: bool = False) -> set[str]:
    tree = ast.parse(path.read_text())
    nodes = tree.body if top_only else list(ast.walk(tree))
    found = set()
    for node in nodes:
        names = []
        if isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        found |= {n.split(".")[1] for n in names if n.startswith("pathgen.")}
    return found


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT)))
def test_rooms_know_only_what_they_may(path):
    room = path.relative_to(ROOT).parts[0].removesuffix(".py")
    if room == "__init__":
        assert imports(path) == set()
        return
    allowed = MAY_KNOW[room] | {room} | {b for a, b in LATE if a == room}
    assert imports(path) <= allowed


def test_late_imports_are_late():
    for room, other in LATE:
        assert other not in imports(ROOT / f"{room}.py", top_only=True)


def test_proof_loads_no_planner():
    """The right side of the double line knows nothing of the left, also by way of third modules."""
    code = (
        "import sys, pathgen.proof.prove, pathgen.motion.read, pathgen.motion.time;"
        "bad = [m for m in sys.modules if m.startswith(('pathgen.cuts', 'pathgen.shape', 'pathgen.program'))];"
        "print(bad); sys.exit(bool(bad))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert run.returncode == 0, run.stdout + run.stderr


def test_public_names_resolve_and_the_stub_lists_them():
    stub = (ROOT / "__init__.pyi").read_text()
    for name in pathgen.__all__:
        assert getattr(pathgen, name) is not None
        assert name == "__version__" or f" {name} as {name}" in stub
    with pytest.raises(AttributeError):
        _ = pathgen.no_such_name


def test_import_is_quick_because_heavy_parts_come_late():
    """`import pathgen` alone loads neither readers nor numpy."""
    code = "import sys, pathgen; print([m for m in ('numpy', 'ezdxf', 'svgpathtools', 'shapely') if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
