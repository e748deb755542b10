"""Where meshes and the like are kept between runs: the user's cache folder, another one, or nowhere."""

import os
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from plancha.geometry.store import Keep, Store, made_anew

VARIABLE = "PLANCHA_CACHE"  # a folder, or one of NOWHERE
LIBRARIES = ("numpy", "scipy", "pygmsh", "gmsh", "shapely", "skfem")  # that make what is kept
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


@cache
def _program() -> list:
    """What the answers depend on beside the study: size and time of the libraries' first files and of the program's own."""
    found = [find_spec(name) for name in LIBRARIES]
    first = [Path(spec.origin) for spec in found if spec is not None and spec.origin is not None]
    own = Path(__file__).resolve().parent.parent
    sources = [path for room in ("geometry", "fem") for path in sorted((own / room).glob("*.py"))]
    return [(path.parent.name, path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in first + sources]
