"""From a TOML table to a checked Study: the data model's findings in our words, and what can still be checked despite them."""

import copy
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import Path, place_of, plain
from plancha.geometry.parts import TABLE, TEXT
from plancha.geometry.schema import kind_of, quantity_of, table_at, tables_with
from plancha.geometry.study import Study

DUE = {
    "model_type": ("a table is due here", '[table], or { key = "value" }'),
    "tuple_type": ("a list is due here", "[..., ...]"),
    "string_type": ("a text in quotes is due here", '"..."'),
    "bool_type": ("true or false is due here, without quotes", "true, false"),
    "int_type": ("a whole number is due here, without quotes", ""),
    "float_type": ("a number is due here, without quotes", ""),
    "finite_number": ("the number is not finite", ""),
}
BOUNDS = {"ge": "at least", "le": "at most", "min_length": "at least", "max_length": "at most"}
# What stands for a faulty value, so that the rest can be looked at; its own fault is told already.
ANY = {"title": "untitled", "ambient": "25 degC"}
STAND_INS: dict[str, Any] = {"thickness": "1 mm", "limit": "none", "material": {"conductivity": "1 W/m/K"}}


@dataclass(frozen=True)
class Remains:
    """What is left of a faulty study once the faulty parts are taken out: for further checks only.

    ``missing`` are the parts taken out: their kinds ("plate") by name.
    """

    study: Study
    missing: Mapping[str, str]


def study_from(table: Mapping[str, Any]) -> Study:
    """The study that a table (as tomllib reads it) describes.

    Raises
    ------
    StudyError
        With every fault that shows in the table itself; ``path`` tells where.
    """
    try:
        return Study.model_validate(table)
    except ValidationError as error:
        raise StudyError(_faults_of(error, table)) from None


def remains_of(table: Mapping[str, Any]) -> Remains | None:
    """A faulty table without its faulty parts, where enough is left to look at how the rest fits together."""
    try:
        Study.model_validate(table)
    except ValidationError as error:
        rest, missing = _without_faulty(table, error.errors(include_url=False))
    else:
        return None
    try:
        return Remains(Study.model_validate(rest), missing)
    except ValidationError:
        return None


def _faults_of(error: ValidationError, table: Mapping[str, Any]) -> Iterable[Fault]:
    return [_fault_of(details, table) for details in error.errors(include_url=False)]


def _path(details: Any) -> Path:
    """Where a finding is, without the tags by which the data model tells a text from a table."""
    place = details["loc"]
    return tuple(
        part
        for before, part in zip([None, *place], place)
        if not (part in (TEXT, TABLE) and before in ("material", "interface", "case_point"))
    )


def _fault_of(details: Any, table: Mapping[str, Any]) -> Fault:
    """One finding of the data model in our words."""
    path, kind, context = _path(details), details["type"], details.get("ctx", {})
    words = WORDS.get(kind, _other_words)
    message, value, allowed, hint = words(path, details.get("input"), context, kind)
    return Fault(place_of(path, table), message, value, allowed, hint, path=path)


Words = tuple[str, Any, str, str]  # message, value, allowed, hint


def _missing_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    if isinstance(path[-1], int):
        return "two values are due here", None, '["... mm", "... mm"]', ""
    field = table_at(path[:-1]).get(path[-1])
    if field is None:
        return "must be given", None, "", ""
    quantity = quantity_of(field.annotation, field.metadata)
    allowed = quantity.allowed if quantity else kind_of(field.annotation, field.metadata)
    return "must be given", None, allowed, field.description or ""


def _unknown_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    key = str(path[-1])
    known = sorted(table_at(path[:-1]))
    return "unknown key", None, ", ".join(known), _key_hint(path, key, known)


def _key_hint(path: Path, key: str, known: list[str]) -> str:
    if len(path) > 1 and key in Study.model_fields:
        return f"{key} is a key of the whole study: put it above the first [table]"
    near = difflib.get_close_matches(key[:60], known, 1)
    if near:
        return f"did you mean {near[0]}?"
    elsewhere = tables_with(key)
    return f"{key} is a key of {' or '.join(elsewhere)}" if elsewhere else ""


def _own_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    return context["message"], context.get("found"), context["allowed"], context["hint"]


def _choice_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    choices = context["expected"].replace("'", '"')
    near = difflib.get_close_matches(str(value)[:60], choices.replace(" or ", ", ").replace('"', "").split(", "), 1)
    return "not one of the choices", shown(value), choices, f'did you mean "{near[0]}"?' if near else ""


def _bound_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    allowed = ", ".join(f"{word} {context[key]}" for key, word in BOUNDS.items() if key in context)
    if "actual_length" in context:
        return "the list is too short" if kind == "too_short" else "the list is too long", None, allowed, ""
    return "the number is out of its range", shown(value), allowed, ""


def _other_words(path: Path, value: Any, context: Any, kind: str) -> Words:
    message, allowed = DUE.get(kind, ("this cannot be used here", ""))
    return message, shown(value), allowed, ""


WORDS = {
    "missing": _missing_words,
    "extra_forbidden": _unknown_words,
    "quantity": _own_words,
    "study": _own_words,
    "literal_error": _choice_words,
    "greater_than_equal": _bound_words,
    "less_than_equal": _bound_words,
    "too_short": _bound_words,
    "too_long": _bound_words,
}


def shown(value: Any) -> Any:
    """A value as a message shows it: texts and numbers as they are, of all else the kind."""
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) or (isinstance(value, int) and abs(value) < 10**15):
        return value
    return {dict: "a table", list: "a list", tuple: "a list", int: "a huge number"}.get(type(value), "a date or time")


def _without_faulty(table: Mapping[str, Any], findings: Iterable[Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """The table without unknown keys, with stand-ins, and without entries that have another fault; kinds of these by name."""
    rest: dict[str, Any] = copy.deepcopy(dict(table))
    faulty: dict[str, set[int]] = {}
    for details in findings:
        path = _path(details)
        if details["type"] == "extra_forbidden":
            _inside(rest, path[:-1]).pop(path[-1], None)
        elif len(path) > 2 and (stood_in := next((n for n, part in enumerate(path) if part in STAND_INS), 0)):
            _inside(rest, path[:stood_in])[path[stood_in]] = STAND_INS[str(path[stood_in])]
        elif len(path) > 1 and isinstance(path[1], int):
            faulty.setdefault(str(path[0]), set()).add(path[1])
        else:
            rest.pop(str(path[0]), None)
    missing: dict[str, str] = {}
    for kind, numbers in faulty.items():
        entries = rest.get(kind, [])
        missing |= {str(entries[n].get("name", kind)): kind for n in numbers if isinstance(entries[n], dict)}
        rest[kind] = [entry for number, entry in enumerate(entries) if number not in numbers]
    return {**ANY, **rest}, missing


def _inside(table: Any, path: Path) -> Any:
    for part in path:
        table = table[part]
    return table
