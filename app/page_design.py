"""A design on the page: a study's text, where its CSV files are, and the values that were changed since."""

import copy
import functools
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from pathlib import PurePath
from typing import Any

from plancha.geometry.draft import Reading
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import Path, place_of, plain
from plancha.geometry.load_cases import Variant, variants_of
from plancha.geometry.stack import stack_of
from plancha.geometry.study_file import Case, files_in, written_study
from plancha.geometry.validation import study_from

Value = str | int | float | bool


@dataclass(frozen=True)
class Edit:
    """A value put in the place of another: the keys that lead there in the study's file, and what is to stand there."""

    path: Path
    value: Value


@dataclass(frozen=True)
class Design:
    """A study's text, and its path: messages call it so, and its folder holds the CSV files."""

    text: str
    path: FilePath


def edited_text(text: str, edits: Sequence[Edit]) -> str:
    """A study's text with values replaced; comments and order stay.

    Raises
    ------
    StudyError
        If nothing stands where a value is to be replaced.
    """
    import tomlkit

    if not edits:
        return text
    document = tomlkit.parse(text)
    for edit in edits:
        _put(document, edit)
    return tomlkit.dumps(document)


def edited_table(table: Mapping[str, Any], edits: Sequence[Edit]) -> dict[str, Any]:
    """A study's table with values replaced; the table given stays as it is."""
    changed = copy.deepcopy(dict(table))
    for edit in edits:
        _put(changed, edit)
    return changed


def _put(table: Any, edit: Edit) -> None:
    """Replace a value that is there, inside a table that is this function's caller's own."""
    *way, last = edit.path
    here = table
    try:
        for part in way:
            # `[plate]` is the first of its kind, and written without a list.
            here = here if part == 0 and isinstance(here, dict) else here[part]
        before = here[last]
    except (KeyError, IndexError, TypeError):
        place = ".".join(str(part) for part in edit.path)
        raise StudyError(
            [Fault(plain(place), "nothing stands here in the study", hint="open the study again")]
        ) from None
    if isinstance(before, dict | list):
        raise StudyError([Fault(place_of(edit.path, {}), "this is a table or a list; replace one of its values")])
    here[last] = edit.value


def variant_of(table: Mapping[str, Any], case: str) -> Variant:
    """One load case of a study's table, by its name.

    Raises
    ------
    StudyError
        If the cases themselves are at fault, or none is called so.
    """
    variants, faults = variants_of(table)
    if faults:
        raise StudyError(faults)
    for variant in variants:
        if variant.name == case:
            return variant
    raise StudyError([Fault("case", "no load case has this name", plain(case), ", ".join(v.name for v in variants))])


def case_of(design: Design, edits: Sequence[Edit], case: str, reading: Reading) -> Case:
    """One load case of a design with its edits, without a look at the others: what a quick answer needs.

    Raises
    ------
    StudyError
        With the faults of this case, whose lines are not known here.
    """
    table = edited_table(_written_table(design), edits)
    variant = variant_of(table, case)
    study = study_from(variant.table)
    return Case(variant.name, variant.changes, study, stack_of(study, design.path.parent, reading), variant.table)


@functools.lru_cache(maxsize=8)
def _written_table(design: Design) -> dict[str, Any]:
    return written_study(design.text, design.path).table


def files_named_in(text: str) -> set[str]:
    """The files that a study's text names; none where it is no TOML, which is told elsewhere."""
    try:
        return set(files_in(tomllib.loads(text)))
    except (ValueError, RecursionError):
        return set()


def refuse_files_elsewhere(text: str, given: Mapping[str, object], file: str) -> None:
    """Refuse a study that names files other than those given with it.

    Raises
    ------
    StudyError
        With a fault for each such name.
    """
    faults = []
    for name in sorted(files_named_in(text)):
        if name in given:
            continue
        if not is_plain_name(name):
            words = "a study on the page may only name files that are dropped with it, by their bare names"
            faults.append(Fault("", words, plain(name), "a name without a folder", file=file))
        else:
            hint = "drop the study and all its CSV files together"
            faults.append(Fault("", "the study names a file that was not given", plain(name), hint=hint, file=file))
    if faults:
        raise StudyError(faults)


def is_plain_name(name: str) -> bool:
    """Whether a name is that of a file alone: no folder, no way out of one, nothing hidden, nothing unprintable."""
    is_bare = name == PurePath(name).name and "\\" not in name and ":" not in name
    return is_bare and name.isprintable() and 0 < len(name) <= 120 and not name.startswith(".")
