"""What is needed to reproduce a result: versions, platform, fingerprints of the input, the command."""

import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from plancha.app.records import fingerprint
from plancha.app.sections import Section, section
from plancha.geometry.study_file import StudyFile, files_named

LIBRARIES = (
    "numpy",
    "scipy",
    "scikit-fem",
    "cvxopt",
    "gmsh",
    "pygmsh",
    "meshio",
    "shapely",
    "pydantic",
    "pyvista",
)


def versions_table() -> Section:
    """Plancha, Python and the libraries that the numbers and pictures come from."""
    rows = [("plancha", version("plancha")), ("Python", platform.python_version())]
    rows += [(name, _version(name)) for name in LIBRARIES]
    return section("Versions", ("", "version"), rows, f"On {platform.platform()}.")


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "-"


def fingerprints_table(study: StudyFile, more: tuple[Path, ...] = ()) -> Section:
    """SHA-256 of the study file, of every file that it names, and of ``more``, each named as the command names it."""
    folder = study.path.parent
    rows = [(study.path.name, fingerprint(study.path))]
    rows += [(name, fingerprint(folder / name)) for name in files_named(study)]
    rows += [(path.name, fingerprint(path)) for path in more]
    return section("Input files", ("file", "SHA-256 of its contents"), rows)
