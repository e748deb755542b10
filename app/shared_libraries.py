"""Which shared libraries of the system the mesher and the renderer need, and which of them are missing.

This module imports the standard library alone: `start.py` loads it by its path before anything is installed.
"""

import ctypes
import sys
from collections.abc import Iterable

# Without these the mesher cannot be loaded, and the first picture ends the process (a segmentation fault in VTK,
# which Python cannot catch): so they are looked for before either is imported.
NEEDED = (
    "libGL.so.1",
    "libEGL.so.1",
    "libGLU.so.1",
    "libX11.so.6",
    "libXext.so.6",
    "libXrender.so.1",
    "libXcursor.so.1",
    "libXfixes.so.3",
    "libXft.so.2",
    "libXinerama.so.1",
    "libfontconfig.so.1",
    "libgomp.so.1",
)

PACKAGES = ("libgl1", "libegl1", "libglu1-mesa", "libxft2", "libxcursor1", "libxinerama1", "libgomp1")


def install_line(packages: Iterable[str] = PACKAGES) -> str:
    """The shell line that installs `packages` on Debian or Ubuntu, to be run by root."""
    return f"apt-get update && apt-get install -y --no-install-recommends {' '.join(packages)}"


INSTALL_LINE = install_line()


def can_be_loaded(name: str) -> bool:
    """True if the system's loader finds the shared library `name`, such as "libGL.so.1"."""
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def missing_libraries(names: Iterable[str] = NEEDED) -> list[str]:
    """Names of the shared libraries that the loader does not find.

    Parameters
    ----------
    names : iterable of str
        File names with version, as the loader knows them; all that Plancha needs unless given.

    Returns
    -------
    list of str
        In the order given; empty where nothing is missing, and on systems other than Linux, whose wheels need none.
    """
    if not sys.platform.startswith("linux"):
        return []
    return [name for name in names if not can_be_loaded(name)]


def missing_message(missing: Iterable[str], line: str = INSTALL_LINE) -> str:
    """What this system lacks and the `line` that cures it on Debian and Ubuntu, as text for the user."""
    return (
        f"this system lacks {', '.join(missing)}\n"
        f"on Debian or Ubuntu, as root: {line}\n"
        "on another system: install the packages that hold these"
    )
