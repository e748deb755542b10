"""What can go wrong: faults of the user's input, all at once, each with its place; and computations that fail."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input.

    ``place`` is what the user wrote ("plate.thickness", "row 7, column 3"), ``file`` and ``line`` where it stands. ``path`` are the
    study's keys that lead to it, where a line still has to be found by them.
    """

    place: str
    message: str
    value: object = None
    allowed: str = ""
    hint: str = ""
    file: str = ""
    line: int | None = None
    path: tuple[str | int, ...] = ()

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.file, f"line {self.line}" if self.line else "", self.place) if part)
        found = "" if self.value is None else f" (found: {self.value})"
        allowed = f"; allowed: {self.allowed}" if self.allowed else ""
        hint = f"; hint: {self.hint}" if self.hint else ""
        return f"{where}: {self.message}{found}{allowed}{hint}"


class StudyError(Exception):
    """The input cannot be used; ``faults`` lists everything wrong with it."""

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class Failure(Exception):
    """The input is fine but no valid answer came of it; the message says why, with the numbers."""
