"""The page's server: static files, and questions about designs that worker processes answer."""

import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from plancha.app.page_design import Design, Edit
from plancha.app.page_desk import EXAMPLES, Desk, dropped, example
from plancha.app.page_guard import App, TooLarge, guarded
from plancha.app.page_work import EXPORTS, Question
from plancha.app.page_worker import Refused, Worker, fault_record, stop_all
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import FILE_KEYS

FILES = Path(__file__).parent / "page_files"
REFUSED = "plancha-refused"
MOST_EDITS, MOST_KNOWN = 2000, 4000
LONGEST_VALUE = 400
QUICK, FULL = "quick", "full"
# Task by the address that asks for it, and the worker that does it: quick answers never wait for full ones.
TASKS = {"check": ("open", QUICK), "quick": ("quick", QUICK), "full": ("full", FULL), "case": ("case", FULL)}


class Garbage(Exception):
    """A request that the page itself would never send; the text says what of it means nothing here."""


@dataclass(frozen=True)
class Room:
    """What requests share: the desk with its designs, the workers, what to open first, and what was said of it."""

    desk: Desk
    workers: Mapping[str, Worker]
    first: str = ""


def workers() -> dict[str, Worker]:
    """One worker for quick answers, one for full ones, which lets the other go first where both are at work."""
    return {QUICK: Worker(QUICK, 120.0), FULL: Worker(FULL, 1800.0, yields=10)}


def server_app(room: Room, port: int) -> App:
    """The whole page behind its checks."""
    routes = [
        Route("/", _index),
        Mount("/files", StaticFiles(directory=FILES)),
        Route("/api/start", _answering(room, _start), methods=["POST"]),
        Route("/api/open", _answering(room, _open), methods=["POST"]),
        Route("/api/close", _answering(room, _close), methods=["POST"]),
        Route("/api/study", _answering(room, _study), methods=["POST"]),
        Route("/api/export/{what}", _answering(room, _export), methods=["POST"]),
        Route("/api/{task}", _answering(room, _task), methods=["POST"]),
    ]
    return guarded(Starlette(routes=routes, exception_handlers={TooLarge: _too_large}), port)


async def _index(request: Request) -> Response:
    page = (FILES / "index.html").read_bytes()
    return Response(page, media_type="text/html; charset=utf-8")


async def _too_large(request: Request, error: Exception) -> Response:
    return Response("too large\n", 413, media_type="text/plain")


Answer = Callable[[Room, Request], Awaitable[Response]]


def _answering(room: Room, answer: Answer) -> Callable[[Request], Awaitable[Response]]:
    """A route's function: what goes wrong becomes a reply that the page can show."""

    async def answered(request: Request) -> Response:
        """The reply to one request."""
        try:
            return await answer(room, request)
        except StudyError as error:
            return _refused([fault_record(each, Path("study.toml")) for each in error.faults], "")
        except Refused as error:
            return _refused(error.faults, error.failure)
        except Garbage as error:
            return JSONResponse({"faults": [], "failure": str(error)}, 400)

    return answered


def _refused(faults: list[dict[str, Any]], failure: str) -> Response:
    """An answer, not an error: that a design is at fault or fails to solve is part of the page's trade."""
    return JSONResponse({"faults": faults, "failure": failure}, headers={REFUSED: "yes"})


async def _start(room: Room, request: Request) -> Response:
    """What the page needs before anything is open: colours, examples, the design given on the command line."""
    from importlib.metadata import version

    from plancha.app.colours import COOL, DIFFERENCE, WARM, colours

    maps = {"warm": WARM, "cool": COOL, "difference": DIFFERENCE}
    return JSONResponse({
        "version": version("plancha"),
        "colours": {name: colours(each).ravel().tolist() for name, each in maps.items()},
        "examples": [{"key": key, "title": title} for key, title in EXAMPLES.items()],
        "first": room.first,
        "exports": [*EXPORTS],
    })  # fmt: skip


async def _open(room: Room, request: Request) -> Response:
    """Open an example, dropped files, or what lies on the desk already; replies with all that the page shows of it."""
    assumed: list[str] = []
    if request.headers.get("content-type", "").startswith("multipart/form-data"):
        text, given, assumed = dropped(await _files_of(request))
        key, is_new = room.desk.lay(text, given), True
    else:
        asked = await _json(request)
        key, is_new = str(asked.get("design", "")), "example" in asked
        if is_new:
            key = room.desk.lay(*example(str(asked["example"])))
    try:
        answer = await _ask(room, "open", QUICK, Question(_design(room, key)))
    except Refused:
        if is_new:
            room.desk.remove(key)
        raise
    return JSONResponse({**json.loads(answer), "design": key, "assumed": assumed})


async def _files_of(request: Request) -> dict[str, bytes]:
    from starlette.datastructures import UploadFile
    from starlette.exceptions import HTTPException

    from plancha.app.page_desk import MOST_FILES

    given: dict[str, bytes] = {}
    try:
        async with request.form(max_files=MOST_FILES, max_fields=8) as form:
            for each in form.getlist("files"):
                if isinstance(each, UploadFile):
                    given[each.filename or ""] = await each.read()
    except HTTPException as error:
        raise Garbage(f"the upload cannot be read: {error.detail}") from None
    return given


async def _close(room: Room, request: Request) -> Response:
    room.desk.remove(str((await _json(request)).get("design", "")))
    return JSONResponse({})


async def _task(room: Room, request: Request) -> Response:
    name = request.path_params["task"]
    if name not in TASKS:
        raise Garbage("there is no such question")
    task, worker = TASKS[name]
    return _bytes(await _ask(room, task, worker, _question(room, await _json(request))))


async def _study(room: Room, request: Request) -> Response:
    question = _question(room, await _json(request))
    return _bytes(await _ask(room, "study", QUICK, question))


async def _export(room: Room, request: Request) -> Response:
    what = request.path_params["what"]
    if what not in EXPORTS:
        raise Garbage("there is no such export")
    return _bytes(await _ask(room, "export", FULL, _question(room, await _json(request)), what))


def _bytes(content: bytes) -> Response:
    return Response(content, media_type="application/octet-stream")


async def _ask(room: Room, task: str, worker: str, question: Question, *more: str) -> bytes:
    return await to_thread.run_sync(lambda: room.workers[worker].ask(task, question, *more))


async def _json(request: Request) -> dict[str, Any]:
    try:
        asked = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise Garbage("the request is no JSON") from None
    if not isinstance(asked, dict):
        raise Garbage("the request is no JSON object")
    return asked


def _design(room: Room, key: str) -> Design:
    if key not in room.desk.designs:
        raise Garbage("this design is no longer open here: open it again")
    return room.desk.designs[key]


def _question(room: Room, asked: Mapping[str, Any]) -> Question:
    """A request as a question; whatever it holds beyond what is understood here is left out."""
    texts = {key: asked.get(key, "") for key in ("design", "case", "view", "component")}
    if not all(isinstance(text, str) and len(text) <= LONGEST_VALUE for text in texts.values()):
        raise Garbage("design, case, view and component are texts")
    known = asked.get("known", [])
    if not isinstance(known, list) or not all(isinstance(each, str) for each in known) or len(known) > MOST_KNOWN:
        raise Garbage("known is a list of keys")
    design = _design(room, texts["design"])
    case = texts["case"] or "as written"
    shown = texts["view"] or "temperature"
    return Question(design, _edits(asked.get("edits", [])), case, shown, tuple(known), texts["component"])


def _edits(found: Any) -> tuple[Edit, ...]:
    if not isinstance(found, list) or len(found) > MOST_EDITS:
        raise Garbage(f"edits are a list of {MOST_EDITS} at most")
    return tuple(_edit(each) for each in found)


def _edit(each: Any) -> Edit:
    if not isinstance(each, list) or len(each) != 2 or not isinstance(each[0], list):
        raise Garbage("an edit is a path and a value")
    path, value = each
    is_path = 0 < len(path) <= 20 and all(isinstance(part, str | int) and not isinstance(part, bool) for part in path)
    if not is_path or any(isinstance(part, int) and part < 0 for part in path):
        raise Garbage("an edit's path is a list of keys and numbers")
    if path[-1] in FILE_KEYS:
        raise Garbage("files cannot be changed on the page: drop the study with its files")
    if not isinstance(value, str | int | float | bool) or (isinstance(value, str) and len(value) > LONGEST_VALUE):
        raise Garbage("an edit's value is a text, a number, true or false")
    return Edit(tuple(path), value)


def close(room: Room) -> None:
    """End the workers."""
    stop_all(room.workers)
