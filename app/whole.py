"""Results written whole or not at all: into a folder aside first, then moved to their places one by one."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """A new folder beside ``folder`` to write into; its files move to ``folder`` at the end, or vanish if anything is raised.

    Files of the same name in ``folder`` are replaced; others stay.
    """
    made = [parent for parent in (folder.parent, *folder.parent.parents) if not parent.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        yield aside
        folder.mkdir(exist_ok=True)
        for path in sorted(aside.iterdir()):
            os.replace(path, folder / path.name)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        for parent in made:
            with suppress(OSError):
                parent.rmdir()
        raise
    aside.rmdir()
