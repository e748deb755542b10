"""The study's schema as data: what the unknown-key message, the load cases and the reference of all keys read."""

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from plancha.geometry.key_lines import Path
from plancha.geometry.parts import Part
from plancha.geometry.quantity import Quantity
from plancha.geometry.study import Study
from plancha.geometry.units import show

WORDS = {str: "text", bool: "true or false", int: "whole number", float: "number"}


@dataclass(frozen=True)
class Key:
    """One key of the study for the reference: where, what kind of value, whether it must be given, and what it means."""

    table: str
    name: str
    kind: str
    required: bool
    default: str
    description: str


def tables_of(annotation: Any) -> list[type[Part]]:
    """The schema tables that a field's type allows."""
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return [annotation]
    return [table for argument in get_args(annotation) for table in tables_of(argument)]


def table_at(place: Path) -> dict[str, FieldInfo]:
    """Fields of the table at a place such as ("component", 0, "map"); empty where there is none."""
    fields: dict[str, FieldInfo] = dict(Study.model_fields)
    for part in place:
        if isinstance(part, str):
            inner = tables_of(fields[part].annotation) if part in fields else []
            fields = {key: field for table in inner for key, field in table.model_fields.items()}
    return fields


def places(table: type[Part] = Study, name: str = "") -> Iterator[tuple[str, type[Part]]]:
    """Every table of the study by its dotted name, the study itself ("") first, each table before those inside it."""
    yield name, table
    for key, field in table.model_fields.items():
        for inner in tables_of(field.annotation):
            yield from places(inner, f"{name}.{key}" if name else key)


def tables_with(key: str) -> list[str]:
    """Names of the tables that have a key, the nearest to the top first; those inside an outer one left out."""
    found = sorted((name for name, table in places() if name and key in table.model_fields), key=lambda n: n.count("."))
    least = found[0].count(".") if found else 0
    return [name for name in found if name.count(".") == least]


def quantity_of(annotation: Any, metadata: list[Any]) -> Quantity | None:
    """The quantity that a field holds, where it holds one."""
    found = next((item for item in metadata if isinstance(item, Quantity)), None)
    if found is not None or get_origin(annotation) not in (typing.Annotated, typing.Union, types.UnionType):
        return found
    inner = list(getattr(annotation, "__metadata__", []))
    return next((q for a in get_args(annotation) if (q := quantity_of(a, inner)) is not None), None)


def kind_of(annotation: Any, metadata: list[Any] | None = None) -> str:
    """A type in the reader's words: `length`, `text`, `[length, length]`, `table`."""
    for item in metadata or []:
        if isinstance(item, Quantity):
            return item.dimension
    origin, arguments = get_origin(annotation), [a for a in get_args(annotation) if a is not type(None)]
    if origin is typing.Annotated:
        return kind_of(arguments[0], list(annotation.__metadata__))
    if origin is Literal:
        return " or ".join(f'"{choice}"' for choice in arguments)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(dict.fromkeys(kind_of(a) for a in arguments))
    if origin is tuple:
        inner = kind_of(arguments[0])
        return f"list of {inner}s" if arguments[-1] is Ellipsis else f"[{inner}, {inner}]"
    return "table" if tables_of(annotation) else WORDS[annotation]


def default_of(field: FieldInfo) -> str:
    """A field's default as a study would write it; empty where there is none, or where nothing is the default."""
    if field.is_required() or field.default in (None, (), ""):
        return ""
    quantity = quantity_of(field.annotation, field.metadata)
    if quantity is not None:
        text = (
            f"{field.default:g} K" if quantity.dimension == "temperature" else show(field.default, quantity.dimension)
        )
        return f'"{text}"'
    if isinstance(field.default, tuple):
        return ", ".join(f'"{each}"' for each in field.default)
    if isinstance(field.default, bool):
        return str(field.default).lower()
    return f'"{field.default}"' if isinstance(field.default, str) else f"{field.default:g}"


def keys_of(table: type[Part], name: str = "") -> list[Key]:
    """The keys of one table."""
    return [
        Key(
            name,
            key,
            kind_of(field.annotation, field.metadata),
            field.is_required(),
            default_of(field),
            field.description or "",
        )
        for key, field in table.model_fields.items()
    ]


def keys() -> Iterator[Key]:
    """All keys of the study, table after table."""
    for name, table in places():
        yield from keys_of(table, name)
