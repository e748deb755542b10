"""The study's schema as data: what the unknown-key message, the checks and the README's reference read."""

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from plancha.geometry.study import Part, Study
from plancha.geometry.units import Quantity


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


def table_at(place: tuple[str | int, ...]) -> dict[str, FieldInfo]:
    """Fields of the table at a place such as ("component", 0, "map"); empty where there is none."""
    fields: dict[str, FieldInfo] = dict(Study.model_fields)
    for part in place:
        if isinstance(part, str) and part in fields:
            fields = {
                key: field for table in tables_of(fields[part].annotation) for key, field in table.model_fields.items()
            }
    return fields


def kind_of(annotation: Any, metadata: list[Any]) -> str:
    """A type in the reader's words: `length`, `text`, `length x 2`, `table`."""
    for item in metadata:
        if isinstance(item, Quantity):
            return item.dimension
    origin, arguments = get_origin(annotation), [a for a in get_args(annotation) if a is not type(None)]
    if origin is typing.Annotated:
        return kind_of(arguments[0], list(annotation.__metadata__))
    if origin is Literal:
        return " or ".join(f'"{choice}"' for choice in arguments)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(dict.fromkeys(kind_of(a, []) for a in arguments))
    if origin is tuple:
        inner = kind_of(arguments[0], [])
        return f"list of {inner}s" if arguments[-1] is Ellipsis else f"[{inner}, {inner}]"
    if tables_of(annotation):
        return "table"
    return {str: "text", bool: "true or false", int: "whole number", float: "number"}.get(annotation, str(annotation))


def keys(table: type[Part] = Study, name: str = "") -> Iterator[Key]:
    """All keys of the study, table after table, depth first."""
    inner = []
    for key, field in table.model_fields.items():
        required = field.is_required()
        default = "" if required or field.default in (None, (), "") else str(field.default)
        yield Key(name, key, kind_of(field.annotation, field.metadata), required, default, field.description or "")
        inner += [(each, f"{name}.{key}" if name else key) for each in tables_of(field.annotation)]
    for each, path in inner:
        yield from keys(each, path)
