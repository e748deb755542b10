"""A process that works for the page: the mesher needs a main thread of its own, and a crash must not end the page."""

import gc
import multiprocessing
import threading
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from plancha.geometry.faults import Failure, Fault, StudyError

MOST_FAULTS = 50
NOT_NOW = (
    "the computation was stopped after {:.0f} s; the page goes on: make the design smaller, or its accuracy coarser"
)
ENDED = "the computation ended unexpectedly (exit code {}); the page goes on: change something and try again"
UNFORESEEN = "something unforeseen went wrong in the computation ({}); the page goes on: change something and try again"


class Refused(Exception):
    """The question has no answer: ``faults`` of the input with their places, or the ``failure`` of the computation."""

    def __init__(self, faults: list[dict[str, Any]], failure: str = ""):
        self.faults, self.failure = faults, failure
        super().__init__(failure or "the input is at fault")


@dataclass
class Worker:
    """A process that answers one question at a time, started again where it has ended.

    ``patience`` [s] is for one answer; ``yields`` is by how much it lets others go first (the system's niceness).
    """

    name: str
    patience: float
    yields: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)
    process: BaseProcess | None = None
    line: Connection | None = None

    def ask(self, task: str, question: Any, *more: Any) -> bytes:
        """The answer to a question (see `page_work.TASKS`).

        Raises
        ------
        Refused
            If there is none; the worker is ready for the next question all the same.
        """
        with self.lock:
            kind, answer = self._exchange((task, question, *more))
        if kind == "faults":
            raise Refused(answer)
        if kind == "failure":
            raise Refused([], answer)
        return answer

    def _exchange(self, message: tuple) -> tuple[str, Any]:
        line = self._ready()
        try:
            line.send(message)
            if not line.poll(self.patience):
                self.stop()
                return "failure", NOT_NOW.format(self.patience)
            return line.recv()
        except (EOFError, OSError):
            code = self._exit_code()
            self.stop()
            return "failure", ENDED.format(code)

    def _ready(self) -> Connection:
        if self.process is None or not self.process.is_alive() or self.line is None:
            self.stop()
            context = multiprocessing.get_context("spawn")
            self.line, other = context.Pipe()
            self.process = context.Process(
                target=serve, args=(other, self.yields), name=f"plancha page {self.name}", daemon=True
            )
            self.process.start()
            other.close()
        return self.line

    def _exit_code(self) -> int | None:
        if self.process is None:
            return None
        self.process.join(1.0)
        return self.process.exitcode

    def stop(self) -> None:
        """End the process, whatever it does."""
        if self.process is not None and self.process.is_alive():
            self.process.kill()
            self.process.join(5.0)
        if self.line is not None:
            self.line.close()
        self.process, self.line = None, None


def serve(line: Connection, yields: int) -> None:
    """Answer questions until the line closes: the worker process's whole life."""
    import os
    import signal

    if yields and hasattr(os, "nice"):
        os.nice(yields)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the page, which then closes the line
    from plancha.app.page_work import Memory, remembered

    gc.freeze()  # what is loaded stays: no collection looks at it again
    memory = Memory()
    while True:
        try:
            task, question, *more = line.recv()
        except (EOFError, OSError):
            return
        memory = remembered(memory, question)
        memory, reply = answered(memory, task, question, more)
        line.send(reply)


def answered(memory: Any, task: str, question: Any, more: list[Any]) -> tuple[Any, tuple[str, Any]]:
    """The memory after a question, and the reply: an answer, faults or a failure."""
    from plancha.app.page_work import TASKS

    try:
        memory, answer = TASKS[task](memory, question, *more)
        return memory, ("answer", answer)
    except StudyError as error:
        return memory, ("faults", [fault_record(each, question.design.path) for each in error.faults[:MOST_FAULTS]])
    except Failure as error:
        return replace(memory, kept=None), ("failure", str(error))
    except MemoryError:
        return replace(memory, kept=None), ("failure", "the memory does not suffice: a larger mesh_size may help")
    except Exception as error:
        traceback.print_exc()
        return replace(memory, kept=None), ("failure", UNFORESEEN.format(f"{type(error).__name__}: {error}"))


def fault_record(fault: Fault, path: Path) -> dict[str, Any]:
    """A fault as the page shows it: the command line's own words, the file by its bare name, and the keys that lead to its place."""
    shown = replace(fault, file=path.name) if fault.file == str(path) else fault
    return {"text": str(shown).replace(f"{path.parent}/", ""), "path": list(fault.path)}


def stop_all(workers: Mapping[str, Worker]) -> None:
    """End all workers."""
    for worker in workers.values():
        worker.stop()
