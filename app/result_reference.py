"""The reference of result.json, docs/result.md: written from the records, so that it cannot fall behind.

`python -m plancha.app.result_reference docs/result.md` writes it anew.
"""

import sys
import types
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic.fields import FieldInfo

from plancha.app.result import SCHEMA, Record, Result

# Ends of keys and the units they stand for; the longer first, so that K_per_W is not taken for W.
UNITS = {
    "_W_per_m2K": "W/m^2/K",
    "_m3_per_s": "m^3/s",
    "_g_per_s": "g/s",
    "_m_per_s": "m/s",
    "_Pa": "Pa",
    "_dBA": "dB(A)",
    "_K_per_W": "K/W",
    "_degC": "degC",
    "_mm2": "mm^2",
    "_mm": "mm",
    "_K": "K",
    "_W": "W",
    "_g": "g",
    "kelvin": "K",
}
WORDS = {str: "text", bool: "true or false", int: "whole number", float: "number", type(None): "null"}
PLURALS = {
    "text": "texts",
    "number": "numbers",
    "table": "tables",
    "list of numbers": "lists of numbers",
}

INTRODUCTION = f"""\
# result.json

What `plancha solve` found, as one JSON table in UTF-8. The key `schema` names this format and its version, `{SCHEMA}`: a key
may be added without a new version, but none changes its meaning.

- **Units** stand at the end of the keys. Temperatures (`_degC`) are absolute; differences and rises (`_K`) are in kelvin, and rises
  are counted from the case's `reference_degC`.
- **Places**: the plan is seen from the cooled side, x to the right, y upward, in the coordinates of the study file.
- **Heat** that leaves is positive. A number that does not apply, or is not known, is `null`.
- **Errors** (`..._error_...`) are estimates of the numerical error alone, not of what the input is worth.
- The first of the `cases` is the study as written; the load cases follow in the order of the study.
- Written by a general-purpose reader: `json.load(open("results/result.json"))["cases"][0]["components"][0]["peak_degC"]`.
"""


def result_markdown() -> str:
    """The whole reference of result.json as Markdown."""
    return "\n".join([INTRODUCTION, *(_section(place, record) for place, record in records())])


def records(record: type[Record] = Result, place: str = "") -> Iterator[tuple[str, type[Record]]]:
    """Every record by the place where it stands first, such as ``cases[].components[]``, outer ones before those inside."""
    seen: set[type[Record]] = set()
    for where, each in _all_records(record, place):
        if each not in seen:
            seen.add(each)
            yield where, each


def _all_records(record: type[Record], place: str) -> Iterator[tuple[str, type[Record]]]:
    yield place, record
    for name, field in record.model_fields.items():
        inner = _record_in(field.annotation)
        if inner is not None:
            many = "[]" if get_origin(field.annotation) is list else ""
            yield from _all_records(inner, f"{place}.{name}{many}".lstrip("."))


def _record_in(annotation: Any) -> type[Record] | None:
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    return next((found for each in get_args(annotation) if (found := _record_in(each)) is not None), None)


def _section(place: str, record: type[Record]) -> str:
    title = f"`{place}`" if place else "The whole file"
    said = " ".join((record.__doc__ or "").split()).replace("``", "`")
    rows = [_row(name, field) for name, field in record.model_fields.items()]
    return "\n".join([f"## {title}", "", said, "", "| key | value | unit | |", "|---|---|---|---|", *rows, ""])


def _row(name: str, field: FieldInfo) -> str:
    key = field.alias or name
    row = f"| `{key}` | {type_in_words(field.annotation)} | {unit_of(key)} | {field.description or ''} |"
    return row.replace("|  |", "| |").replace("|  |", "| |")


def unit_of(key: str) -> str:
    """The unit that the end of a key names; empty where it names none."""
    return next((unit for end, unit in UNITS.items() if key.endswith(end)), "")


def type_in_words(annotation: Any) -> str:
    """A field's type in the reader's words: `number or null`, `list of tables`."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin is typing.Annotated:
        return type_in_words(arguments[0])
    if origin in (typing.Union, types.UnionType):
        return " or ".join(type_in_words(each) for each in arguments)
    if origin is list:
        return f"list of {PLURALS.get(inner := type_in_words(arguments[0]), inner)}"
    if origin is dict:
        return f"table of {PLURALS.get(inner := type_in_words(arguments[1]), inner)}"
    return "table" if _record_in(annotation) else WORDS[annotation]


def write_result_reference(path: Path) -> None:
    """Write the reference anew."""
    path.write_text(result_markdown(), encoding="utf-8")


if __name__ == "__main__":
    write_result_reference(Path(sys.argv[1]))
