"""Arrays kept on disk under a hash of everything that makes them: made once, found again by later runs.

Entries are plain .npz files without pickle, never code. Each is written aside and then renamed, so that processes side by side meet
whole entries only; a damaged one is made anew. What was not used for longest goes first when there is too much.
"""

import hashlib
import os
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

Arrays = dict[str, np.ndarray]
Keep = Callable[[str, object, Callable[[], Arrays]], Arrays]  # kind, all that makes the arrays, how they are made

MOST_BYTES = 500_000_000
ENDING, ASIDE = ".npz", ".part"
ABANDONED = 3600.0  # s; what was being written for longer never will be whole


def made_anew(kind: str, made_of: object, make: Callable[[], Arrays]) -> Arrays:
    """The arrays, kept nowhere."""
    return make()


@dataclass(frozen=True)
class Store:
    """A folder of kept arrays, the most bytes it may take up, and what of the ``program`` may make other arrays of the same."""

    folder: Path
    most_bytes: int = MOST_BYTES
    program: object = None

    def keep(self, kind: str, made_of: object, make: Callable[[], Arrays]) -> Arrays:
        """The arrays made of something: those kept, else made now and kept if that can be."""
        path = self.folder / f"{kind}-{content_hash((kind, made_of, self.program))}{ENDING}"
        found = _read(path)
        if found is None:
            found = make()
            with suppress(OSError):
                _write(path, found, self.most_bytes)
        return found


def _read(path: Path) -> Arrays | None:
    """What is kept, whose turn to go is then last; None where there is none or it is damaged."""
    try:
        with np.load(path, allow_pickle=False) as entry:
            arrays = {name: entry[name] for name in entry.files}
        os.utime(path)
        return arrays
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error):
        return None


def _write(path: Path, arrays: Mapping[str, np.ndarray], most_bytes: int) -> None:
    if sum(each.nbytes for each in arrays.values()) > most_bytes:
        return
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, aside = tempfile.mkstemp(suffix=ASIDE, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, **arrays)
        os.replace(aside, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(aside)
        raise
    _make_room(path.parent, most_bytes)


def _make_room(folder: Path, most_bytes: int) -> None:
    """Remove what was used longest ago until the rest fits, and what a stopped process left half written."""
    entries = []
    for path in folder.iterdir():
        with suppress(OSError):  # another process may have removed it
            state = path.stat()
            if path.suffix == ENDING:
                entries.append((state.st_mtime, state.st_size, path))
            elif path.suffix == ASIDE and time.time() - state.st_mtime > ABANDONED:
                path.unlink()
    total = sum(size for _, size, _ in entries)
    for _, size, path in sorted(entries):
        if total <= most_bytes:
            return
        with suppress(OSError):
            path.unlink()
        total -= size


def content_hash(value: object) -> str:
    """Hash of a value's content: of numbers, text, arrays, matrices, shapes, and sequences, mappings and dataclasses of them.

    Raises
    ------
    TypeError
        If there is anything else in it.
    """
    digest = hashlib.sha256()
    _feed(digest.update, value)
    return digest.hexdigest()


def _feed(update: Callable[[Any], None], value: object) -> None:
    """Every value with its type and length before it, so that no two contents read alike."""
    update(type(value).__name__.encode() + b":")
    if value is None or type(value) in (bool, int, float, str):
        text = repr(value).encode()
        update(b"%d;" % len(text) + text)
    elif isinstance(value, bytes):
        update(b"%d;" % len(value) + value)
    elif isinstance(value, np.ndarray):
        update(f"{value.dtype.str}{value.shape};".encode())
        update(value.tobytes())
    elif isinstance(value, np.generic):
        _feed(update, value.item())
    elif isinstance(value, shapely.Geometry):
        _feed(update, shapely.to_wkb(value))
    elif isinstance(value, Mapping):
        _feed(update, [(key, value[key]) for key in sorted(value)])
    elif isinstance(value, Sequence):
        update(b"%d;" % len(value))
        for each in value:
            _feed(update, each)
    elif is_dataclass(value) and not isinstance(value, type):
        _feed(update, [(field.name, getattr(value, field.name)) for field in fields(value)])
    else:
        raise TypeError(f"no content hash of {type(value).__name__}")
