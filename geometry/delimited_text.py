"""Text of cells between separators: the file's rows with their line numbers, its separator, its decimal mark."""

import csv
import math
import os
import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

from plancha.geometry.faults import Fault, StudyError

MAX_BYTES = 1_000_000_000
SHOWN_FAULTS = 20
COUNTED_FAULTS = 1000
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
LARGEST = 1e100  # keeps sums and changes of unit finite
SAMPLE = 20  # rows from which the separator is told
SPACES = " "  # cells between white space; only where no separator is found
BYTE_ORDER_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
LETTER = re.compile(r"[^\W\d_]")
NOT_TEXT = re.compile(r"[\x00-\x08\x0e-\x1f]")


@dataclass(frozen=True)
class Sheet:
    """Rows of a delimited text file: (line number, text) without comments and blank lines, and what parts the cells."""

    file: str
    rows: tuple[tuple[int, str], ...]
    separator: str

    def cells(self, text: str) -> list[str]:
        """Cells of one row, without quotes and surrounding blanks."""
        if self.separator == SPACES:
            return text.replace('"', "").split()
        if '"' not in text:
            return [cell.strip() for cell in text.split(self.separator)]
        try:
            return [cell.strip() for cell in next(csv.reader([text], delimiter=self.separator, skipinitialspace=True))]
        except csv.Error:  # a cell beyond the reader's limit: no number, and shown as such
            return [text]


def read_sheet(path: str | os.PathLike[str], file: str) -> Sheet:
    """Rows of a text file of cells.

    Parameters
    ----------
    path : path
        UTF-8 or UTF-16 (with byte order mark), or else Western European 8-bit text. Lines that begin with # are
        comments; blank lines are passed over, at the end also lines of separators alone.
    file : str
        The file's name for the messages, as the user wrote it.

    Raises
    ------
    StudyError
        If the file is missing, unreadable, above 1 GB, not text or empty, or if its separator cannot be told.
    """
    rows = _rows(_text(_content(path, file), file))
    if not rows:
        raise StudyError(
            [Fault("", "the file has no cells", file=file, allowed="a grid of numbers or a table of blocks")]
        )
    return Sheet(file, rows, _separator(rows, file))


def _content(path: str | os.PathLike[str], file: str) -> bytes:
    try:
        status = os.stat(path)
        if not stat.S_ISREG(status.st_mode):
            raise StudyError([Fault("", "this is not a file", file=file, allowed="a CSV file")])
        if status.st_size > MAX_BYTES:
            found, allowed = f"{status.st_size / 1e9:.1f} GB", f"{MAX_BYTES / 1e9:g} GB at most"
            hint = "average the map over groups of cells"
            raise StudyError([Fault("", "the file is too large", found, allowed, hint, file)])
        with open(path, "rb") as stream:
            return stream.read()
    except FileNotFoundError:
        hint = "a path is taken from the folder of the study file"
        raise StudyError([Fault("", "there is no such file", hint=hint, file=file)]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise StudyError([Fault("", f"the file cannot be read: {reason}", file=file)]) from None


def _text(content: bytes, file: str) -> str:
    coding = next((name for mark, name in BYTE_ORDER_MARKS if content.startswith(mark)), "utf-8")
    try:
        text = content.decode(coding)
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    if NOT_TEXT.search(text[:100_000]) or "\x00" in text:
        hint = "save the sheet as CSV (comma-separated text, UTF-8)"
        raise StudyError([Fault("", "the file is not text", hint=hint, file=file)])
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text


def _rows(text: str) -> tuple[tuple[int, str], ...]:
    lines = text.split("\n")
    while lines and not lines[-1].strip(' ,;\t"'):
        lines.pop()
    stripped = ((number, line.strip(" ")) for number, line in enumerate(lines, 1))
    return tuple((number, line) for number, line in stripped if line.strip() and not line.startswith("#"))


def _separator(rows: tuple[tuple[int, str], ...], file: str) -> str:
    first = rows[0][1]
    heads = any(LETTER.search(part) and not is_number(part) for part in re.split(r"[,;\s]+", first))
    sample = [first] if heads else [text for _, text in rows[:SAMPLE]]
    joined = "\n".join(sample)
    found = [separator for separator in SEPARATORS if separator in joined]
    if found in ([";", "\t"], [",", ";", "\t"]):
        raise _unclear(rows, file, "both semicolons and tabs stand between the cells")
    if ";" in found:
        return ";"
    if "\t" in found:
        return "\t"
    if "," not in found:
        return "," if heads else SPACES
    if re.search(r"\d +[-+.\d]", joined) and not heads:
        raise _unclear(rows, file, "both commas and spaces stand between the digits")
    if not heads and "." not in joined and re.search(r"(?m)(?:^|,) *0\d", joined) and '"' not in joined:
        raise _unclear(rows, file, "commas may be decimal marks or separators here")
    return ","


def _unclear(rows: tuple[tuple[int, str], ...], file: str, message: str) -> StudyError:
    line, text = rows[0]
    return StudyError(
        [
            Fault(
                "row 1",
                f"the separator cannot be told: {message}",
                shown(text),
                "comma, semicolon or tab between the cells",
                "with decimal commas, put semicolons between the cells",
                file,
                line,
            )
        ]
    )


def shown(text: str) -> str:
    """A cell or line as a message shows it: long ones cut off."""
    return text if len(text) <= 40 else text[:40] + "..."


def is_number(text: str) -> bool:
    """True if the text is a number with a decimal point, also nan or inf."""
    try:
        number(text, decimal_comma=False)
    except ValueError:
        return False
    return True


def number(cell: str, decimal_comma: bool) -> float:
    """The cell's number; ValueError if it is none. Underscores between digits are no part of a number."""
    if "_" in cell:
        raise ValueError(cell)
    return float(cell.replace(",", ".") if decimal_comma else cell)


def uses_decimal_comma(cells: Iterable[str]) -> bool:
    """True if some cell holds a comma and none a point."""
    comma = False
    for cell in cells:
        if "." in cell:
            return False
        comma = comma or "," in cell
    return comma


def cell_fault(cell: str, decimal_comma: bool, lowest: float, place: str, file: str, line: int) -> Fault | None:
    """What is wrong with a cell that should hold a finite number of `lowest` or more; None if nothing is."""
    allowed = "a number, 0 or more" if lowest == 0.0 else "a number"
    try:
        value = number(cell, decimal_comma)
    except ValueError:
        if not cell:
            return Fault(place, "the cell is empty", allowed=allowed, file=file, line=line)
        hint = "keep one decimal mark in the whole file, and no mark between thousands" if "," in cell else ""
        return Fault(place, "this is not a number", shown(cell), allowed, hint, file, line)
    if not math.isfinite(value):
        return Fault(place, "the number is not finite", shown(cell), allowed, file=file, line=line)
    if abs(value) > LARGEST:
        return Fault(place, "the number is absurdly large", shown(cell), allowed, file=file, line=line)
    if value < lowest:
        return Fault(place, "the number is negative", shown(cell), allowed, file=file, line=line)
    return None


def first_faults(faults: Iterator[Fault], file: str) -> list[Fault]:
    """The first twenty faults, and a last one that counts the rest (to a thousand)."""
    kept = list(islice(faults, SHOWN_FAULTS))
    rest = sum(1 for _ in islice(faults, COUNTED_FAULTS))
    if rest:
        count = f"more than {rest - 1}" if rest == COUNTED_FAULTS else f"{rest}"
        kept.append(Fault("", f"... and {count} more faults", file=file))
    return kept
