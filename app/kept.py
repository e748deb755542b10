"""Where meshes and the like are kept between runs: the user's cache folder, another one, or nowhere."""

import os
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from plancha.geometry.store import Keep, Store, made_anew

VARIABLE = "PLANCHA_CACHE"  # a folder, or one of NOWHERE
LIBRARIES = ("plancha", "numpy", "scipy", "gmsh", "shapely", "scikit-fem", "cvxopt")
NOWHERE = ("", "0", "no", "off", "none")


def users_keep() -> Keep:
    """How arrays are kept: as the environment variable PLANCHA_CACHE says, else in the user's cache folder."""
    wanted = os.environ.get(VARIABLE)
    if wanted is not None and wanted.strip().lower() in NOWHERE:
        return made_anew
    if wanted is not None:
        return Store(Path(wanted).expanduser(), program=_program()).keep
    from platformdirs import user_cache_path

    return Store(user_cache_path("plancha", appauthor=False), program=_program()).keep


def _program() -> list:
    """Versions of the libraries, and the program's own files, which a developer changes: their size and time."""
    versions = []
    for name in LIBRARIES:
        with suppress(PackageNotFoundError):
            versions.append((name, version(name)))
    own = Path(__file__).resolve().parent.parent
    sources = [path for room in ("geometry", "fem") for path in sorted((own / room).glob("*.py"))]
    return [versions, [(path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in sources]]
