"""The page: a study seen and changed in the browser. Served to this machine alone, until it is stopped."""

import socket
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from plancha.geometry.faults import Fault, StudyError

LOOPBACK = "127.0.0.1"


def serve(study: Path | None, port: int, announce: Callable[[str], None]) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    study : path or None
        A study to open at once; None leaves the choice to the page.
    port : int
        Where to listen; 0 takes any that is free.
    announce : function
        Called with the page's address once it can be reached.

    Raises
    ------
    StudyError
        If the study is at fault, or the port cannot be had.
    """
    import uvicorn

    from plancha.app.page_desk import Desk, from_disk
    from plancha.app.page_server import Room, close, server_app, workers
    from plancha.geometry.study_file import read_study

    laid = None
    if study is not None:
        read_study(study)  # bad input ends here, as in every command
        laid = from_disk(study)
    with closing(bound(port)) as listening, tempfile.TemporaryDirectory(prefix="plancha-page-") as folder:
        own_port = listening.getsockname()[1]
        desk = Desk(Path(folder))
        room = Room(desk, workers(), desk.lay(*laid) if laid else "")
        settings = uvicorn.Config(
            server_app(room, own_port), log_level="error", access_log=False, lifespan="off", ws="none", http="h11"
        )
        try:
            announce(f"http://{LOOPBACK}:{own_port}/")
            uvicorn.Server(settings).run(sockets=[listening])
        except KeyboardInterrupt:
            pass  # how it is meant to end
        finally:
            close(room)


def bound(port: int) -> socket.socket:
    """A socket that listens on this machine's own address only; port 0 takes any that is free.

    Raises
    ------
    StudyError
        If the port cannot be had.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((LOOPBACK, port))
        listening.listen()
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or str(error)
        hint = "leave --port out to take any that is free"
        raise StudyError([Fault("--port", f"cannot be had: {reason}", port, "a free port up to 65535", hint)]) from None
    return listening
