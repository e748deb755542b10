"""The house keeps its order: arrows point one way, rooms keep to their trade, and no machine's path slips in."""

import ast
import re
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = ("geometry", "fem", "app")
MODULES = sorted(path for room in ROOMS for path in (ROOT / room).glob("*.py"))


def imported(path: Path) -> set[str]:
    """All modules a file imports, at the top or inside functions."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            names.add(node.module or "")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def at_top(path: Path) -> set[str]:
    """Modules a file imports when it is itself imported."""
    names = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add((node.module or "").split(".")[0])
    return names


def test_there_are_modules_to_look_at():
    assert {path.parent.name for path in MODULES} == set(ROOMS)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_arrows_run_from_app_to_fem_to_geometry(path):
    above = ROOMS[ROOMS.index(path.parent.name) + 1 :]
    upward = {name for name in imported(path) for room in above if name.startswith(f"plancha.{room}")}
    assert not upward


def test_no_circles_inside_a_room():
    edges = {}
    for path in MODULES:
        own = f"plancha.{path.parent.name}.{path.stem}"
        edges[own] = {name for name in imported(path) if name in {f"plancha.{p.parent.name}.{p.stem}" for p in MODULES}}
    assert len(tuple(TopologicalSorter(edges).static_order())) == len(
        edges
    )  # it raises, and names the circle, if there is one


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_meshers_and_renderers_load_only_where_they_are_used(path):
    assert not at_top(path) & {"gmsh", "pygmsh", "pyvista", "vtk", "matplotlib", "skfem", "meshio"}


def test_only_the_command_line_imports_nothing_heavy():
    assert not at_top(ROOT / "app" / "cli.py") & {"numpy", "scipy", "pydantic", "shapely", "rich"}


def test_fem_reads_no_files_and_geometry_knows_no_solver():
    for path in MODULES:
        source = path.read_text(encoding="utf-8")
        if path.parent.name == "fem":
            assert not re.search(r"\bopen\(|read_text|write_text|pathlib", source), path
        if path.parent.name == "geometry":
            assert "skfem" not in source and "cvxopt" not in source, path


def test_no_path_of_a_machine_stands_in_the_project():
    stray = re.compile(r"(?<![\w.])/(work|root|home)/\w")
    for path in [*ROOT.glob("*.md"), *ROOT.glob("*/**/*.py"), *ROOT.glob("*/**/*.md"), *ROOT.glob("*/**/*.toml")]:
        if ".venv" not in path.parts and path != Path(__file__):
            assert not stray.search(path.read_text(encoding="utf-8")), path
