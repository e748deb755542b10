"""From study.toml to checked studies, one per load case; every fault with its line, place and likely intent."""

import functools
import re
import stat
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

from plancha.geometry.bodies import Stack
from plancha.geometry.draft import Reading
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import Path, key_lines, line_of, place_of
from plancha.geometry.load_cases import BASE_CASE, KINDS, Variant, variants_of, with_changes
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.stack import stack_faults, stack_of
from plancha.geometry.study import Study
from plancha.geometry.validation import remains_of, study_from

__all__ = [
    "BASE_CASE",
    "FILE_KEYS",
    "Case",
    "StudyFile",
    "WrittenStudy",
    "changed_case",
    "files_in",
    "files_named",
    "read_study",
    "study_of",
    "written_study",
]

LARGEST_STUDY = 2_000_000  # bytes
FILE_KEYS = ("file", "curve")  # keys of a study that name a file
DEEPEST = 20  # tables and lists inside each other
SHOWN_FAULTS = 50


@dataclass(frozen=True)
class Case:
    """One load case: its name, what it changes (dotted names and texts), and the whole study with the changes made.

    ``table`` is that study as text, as the file writes it.
    """

    name: str
    changes: tuple[tuple[str, str], ...]
    study: Study
    stack: Stack
    table: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class StudyFile:
    """A read study: where it came from and its load cases, the study as written first."""

    path: FilePath
    cases: tuple[Case, ...]


@dataclass(frozen=True)
class WrittenStudy:
    """A study file as written: its path, its table with top-level lists written as lists, and the line of each key."""

    path: FilePath
    table: dict[str, Any]
    lines: Mapping[Path, int]


def read_study(path: str | FilePath) -> StudyFile:
    """Read a study and all its load cases.

    Parameters
    ----------
    path : path
        A TOML file; its CSV files are looked for from its folder.

    Raises
    ------
    StudyError
        With every fault of the file, its CSV files and its load cases: in the order of the lines, fifty at most. Each bears the
        ``path`` of keys that leads to its place in the study.
    """
    return study_of(_text(FilePath(path)), FilePath(path))


def study_of(text: str, path: FilePath) -> StudyFile:
    """As ``read_study`` of a study that is at hand as text; messages call it by the path, whose folder holds its CSV files."""
    source = written_study(text, path)
    reading = Reading(functools.cache(read_power_map), functools.cache(read_grid))
    variants, faults = variants_of(source.table)
    cases: list[Case] = []
    for variant in variants:
        case = _checked(variant, source.path.parent, reading)
        if isinstance(case, Case):
            cases.append(case)
        else:
            faults += _news(case, variant, source, faults)
    if faults:
        raise StudyError(_in_order([_placed(fault, source) for fault in faults], str(source.path)))
    return StudyFile(source.path, tuple(cases))


def files_named(study: StudyFile) -> list[str]:
    """All files that a study and its load cases name, each once, in the order of their names."""
    return sorted({name for case in study.cases for name in files_in(case.table)})


def files_in(value: Any) -> Iterator[str]:
    """Every name of a file inside a study's table or list, in the order of writing."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if key in FILE_KEYS and isinstance(inner, str):
                yield inner
            else:
                yield from files_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from files_in(inner)


def changed_case(case: Case, folder: FilePath, changes: Mapping[str, str], reading: Reading | None = None) -> Case:
    """A load case with further values.

    Parameters
    ----------
    case : Case
    folder : path
        Where the study's CSV files are.
    changes : mapping of str to str
        Dotted names as a load case writes them, such as "processor.interface.impedance", and texts with their units.
    reading : Reading, optional
        How CSV files are read.

    Raises
    ------
    StudyError
        If a name means nothing in the study, or the study with the changes is not sound.
    """
    found = _checked(with_changes(case.table, changes, case.name), folder, reading or Reading())
    if isinstance(found, Case):
        return replace(found, changes=(*case.changes, *found.changes))
    raise StudyError([replace(fault, place=f"{', '.join(changes)}: {fault.place}", path=()) for fault in found])


def _checked(variant: Variant, folder: FilePath, reading: Reading) -> Case | list[Fault]:
    """The load case, or all its faults."""
    try:
        study = study_from(variant.table)
    except StudyError as error:
        remains = remains_of(variant.table)
        more = stack_faults(remains.study, folder, remains.missing, reading) if remains else []
        return [*error.faults, *more]
    try:
        return Case(variant.name, variant.changes, study, stack_of(study, folder, reading), variant.table)
    except StudyError as error:
        return list(error.faults)


def written_study(text: str, path: FilePath) -> WrittenStudy:
    """The table of a study's text, unchecked but for being TOML.

    Raises
    ------
    StudyError
        If it is no TOML, or nested too deeply.
    """
    table = _table(text, path)
    single = [kind for kind in (*KINDS, "case") if isinstance(table.get(kind), dict)]
    lines = {_numbered(key, single): line for key, line in key_lines(text).items()}
    return WrittenStudy(path, {key: [value] if key in single else value for key, value in table.items()}, lines)


def _numbered(key: Path, single: Iterable[str | int]) -> Path:
    """`[plate]` is the first of its kind."""
    return (key[0], 0, *key[1:]) if key[0] in single else key


def _text(path: FilePath) -> str:
    file = str(path)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise StudyError([Fault("", "this is not a file", allowed="a study file (TOML)", file=file)])
        if status.st_size > LARGEST_STUDY:
            found, allowed = f"{status.st_size} bytes", f"{LARGEST_STUDY} bytes at most"
            raise StudyError([Fault("", "the study is too large", found, allowed, "put maps into CSV files", file)])
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise StudyError([Fault("", "there is no such file", hint="check the path", file=file)]) from None
    except UnicodeDecodeError:
        raise StudyError([Fault("", "the file is not text in UTF-8", hint="save it as UTF-8", file=file)]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise StudyError([Fault("", f"the file cannot be read: {reason}", file=file)]) from None


def _table(text: str, path: FilePath) -> dict[str, Any]:
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise StudyError([_too_deep(path)]) from None
    except ValueError as error:  # broken TOML, or a number of thousands of digits
        raise StudyError([_toml_fault(path, text, str(error))]) from None
    if _depth(table) > DEEPEST:
        raise StudyError([_too_deep(path)])
    return table


def _too_deep(path: FilePath) -> Fault:
    return Fault("", "tables or lists are nested too deeply", allowed=f"{DEEPEST} levels at most", file=str(path))


def _depth(table: Any) -> int:
    """How many tables and lists lie inside each other, counted without recursion."""
    depth, level = 0, [table]
    while level:
        depth += 1
        values = [each.values() if isinstance(each, dict) else each for each in level]
        level = [value for inner in values for value in inner if isinstance(value, dict | list)]
    return depth


def _toml_fault(path: FilePath, text: str, words: str) -> Fault:
    found = re.search(r"at line (\d+)", words)
    line = int(found[1]) if found else text.count("\n") + 1 if "end of document" in words else None
    written = text.split("\n")[line - 1].strip() if line and line <= text.count("\n") + 1 else ""
    hint = 'quantities are texts in quotes: thickness = "3 mm"' if re.search(r"=\s*[-+.\d]+\s*[^\s\d]", written) else ""
    message = "not valid TOML: " + re.sub(r" \(at .*\)$", "", words)
    return Fault("", message, hint=hint, file=str(path), line=line)


def _news(found: Iterable[Fault], variant: Variant, source: WrittenStudy, known: Iterable[Fault]) -> list[Fault]:
    """The faults of a load case that are not told yet, placed where the case causes them."""
    if not variant.path:
        return list(found)
    told = {(fault.file, fault.line, fault.path, fault.message) for fault in known}
    news = [fault for fault in found if (fault.file, fault.line, fault.path, fault.message) not in told]
    return [fault if fault.file else _in_case(fault, variant, source) for fault in news]


def _in_case(fault: Fault, variant: Variant, source: WrittenStudy) -> Fault:
    """A fault of the changed study, at the key of the case that touches its place, else at the case."""
    touching = (
        at
        for place, at in variant.overridden.items()
        if place == fault.path[: len(place)] or place[: len(fault.path)] == fault.path
    )
    path = next(touching, variant.path) if fault.path else variant.path
    line = line_of(path, source.lines)
    return replace(
        fault, place=f"{place_of(variant.path, source.table)}, {fault.place}", file=str(source.path), line=line
    )


def _placed(fault: Fault, source: WrittenStudy) -> Fault:
    if fault.file:
        return fault
    return replace(fault, file=str(source.path), line=line_of(fault.path, source.lines))


def _in_order(faults: list[Fault], file: str) -> list[Fault]:
    """Each fault once, the study's own by line, then those of CSV files; the rest beyond fifty is counted."""
    once = list({str(fault): fault for fault in faults}.values())
    once.sort(key=lambda fault: (fault.file != file, fault.line or 0))
    rest = len(once) - SHOWN_FAULTS
    return [*once[:SHOWN_FAULTS], *([Fault("", f"... and {rest} more faults", file=file)] if rest > 0 else [])]
