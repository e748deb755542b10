"""Results are written whole or not at all: aside first, then renamed."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def written_whole(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A place to write to, which takes the name `path` once the block has ended well.

    Parameters
    ----------
    path : path
        Where the result shall stand; its folder is made where it is missing. What stood there stays until the new
        file is whole.

    Yields
    ------
    Path
        Of an empty file in the same folder, with the same ending. It is removed again if the block raises, whatever it
        raises (an interrupt by the user too).

    Examples
    --------
    >>> with written_whole("result.txt") as aside:                                # doctest: +SKIP
    ...     aside.write_text("done")
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(f".{path.stem}-{secrets.token_hex(8)}{path.suffix}")
    try:
        aside.touch(exist_ok=False)
        yield aside
        os.replace(aside, path)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
