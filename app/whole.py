"""Results written whole or not at all: into a folder aside first, then moved to their places one by one."""

import errno
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """A new folder in or beside ``folder`` to write into; its files move to ``folder`` at the end, or vanish if anything is raised.

    Files of the same name in ``folder`` are replaced; others stay. What is raised bears a note if the files are in place anyhow.

    Raises
    ------
    OSError
        If the files cannot be written; it names a file, or the folder.
    """
    refuse_bad_place(folder)
    made = [parent for parent in (folder, *folder.parents) if not parent.exists()]
    aside, is_written = None, False
    try:
        with undisturbed():
            folder.parent.mkdir(parents=True, exist_ok=True)
            # A folder that is there may be a disk of its own, onto which nothing can be moved from outside.
            aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder if folder.exists() else folder.parent))
        yield aside
        with undisturbed():
            folder.mkdir(exist_ok=True)
            _move_all(aside, folder)
            aside.rmdir()
            is_written = True
    except BaseException as error:
        if is_written:
            error.add_note(f"the results are in {folder}")
            raise
        with undisturbed():
            _clear(aside, made)
        if isinstance(error, OSError) and error.filename is None:
            error.filename = str(folder)
        raise


def refuse_bad_place(folder: Path) -> None:
    """Raise an OSError if it shows beforehand that nothing can be written to a folder."""
    there = next(each for each in (folder.absolute(), *folder.absolute().parents) if os.path.lexists(each))
    if not there.is_dir():
        raise FileExistsError(errno.EEXIST, "a file is in the way of the results", str(there))
    if not os.access(there, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(there))


def _move_all(aside: Path, folder: Path) -> None:
    """Move all files, or, if one cannot be moved, put back what was there."""
    names = sorted(path.name for path in aside.iterdir())
    before = Path(tempfile.mkdtemp(prefix="before-", dir=aside))
    try:
        for name in names:
            if (folder / name).is_dir():
                raise IsADirectoryError(errno.EISDIR, "a folder is in the way of a result", str(folder / name))
            if (folder / name).exists():
                os.replace(folder / name, before / name)
            os.replace(aside / name, folder / name)
    except OSError:
        for name in names:
            if not (aside / name).exists():
                (folder / name).unlink()
            if (before / name).exists():
                os.replace(before / name, folder / name)
        raise
    shutil.rmtree(before)


def _clear(aside: Path | None, made: list[Path]) -> None:
    if aside is not None:
        shutil.rmtree(aside, ignore_errors=True)
    for folder in made:
        with suppress(OSError):
            folder.rmdir()


@contextmanager
def undisturbed() -> Iterator[None]:
    """Hold an interrupt (Ctrl-C) back until the block is done."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[tuple] = []
    before = signal.signal(signal.SIGINT, lambda *args: held.append(args))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if held and callable(before):
            before(*held[0])
