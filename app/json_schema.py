"""The study's schema as JSON schema (draft 7), for editors that complete and check TOML by one.

`plancha schema -o docs/study.schema.json` writes it. It knows keys, kinds of values and choices; what it cannot say (units, bounds,
what goes with what) `plancha check` says.
"""

import json
from typing import Any

from pydantic.fields import FieldInfo

from plancha.geometry.parts import Part, listed, one_or_many
from plancha.geometry.schema import default_of, places
from plancha.geometry.study import Study

DRAFT = "http://json-schema.org/draft-07/schema#"
NO_VALUE = {"type": "null"}  # which TOML does not have
CASE = {
    "type": "object",
    "description": "A load case: what it overrides of the study as written, by dotted names.",
    "properties": {"name": {"type": "string", "description": "how tables and pictures call it"}},
    "required": ["name"],
    "additionalProperties": True,
}


def schema_text() -> str:
    """The JSON schema as text, the same every time."""
    return json.dumps(study_schema(), indent=1, ensure_ascii=False) + "\n"


def study_schema() -> dict[str, Any]:
    """The JSON schema of a study file."""
    raw = Study.model_json_schema(ref_template="#/definitions/{model}")
    tables = {table.__name__: table for _, table in places()}
    definitions = {name: _table(table, tables[name]) for name, table in sorted(raw["$defs"].items())}
    whole = _table({key: value for key, value in raw.items() if key != "$defs"}, Study)
    whole["properties"]["case"] = {"anyOf": [CASE, {"type": "array", "items": CASE}]}
    return {"$schema": DRAFT, **whole, "title": "Plancha study", "definitions": definitions}


def _table(schema: dict[str, Any], table: type[Part]) -> dict[str, Any]:
    """The schema of one table: each key with its meaning and its default in words."""
    properties = {key: _key(value, table.model_fields[key]) for key, value in schema["properties"].items()}
    return {**_plain(schema), "properties": properties}


def _key(schema: dict[str, Any], field: FieldInfo) -> dict[str, Any]:
    default = default_of(field)
    said = (field.description or "") + (f" [{default}]" if default else "")
    kinds = _several(_plain(schema), field)
    return {**{name: part for name, part in kinds.items() if name != "description"}, "description": said}


def _several(schema: dict[str, Any], field: FieldInfo) -> dict[str, Any]:
    """A list that may also be written as its only entry takes both."""
    readers = {getattr(each, "func", None) for each in field.metadata}
    return {"anyOf": [schema["items"], schema]} if readers & {one_or_many, listed} else schema


def _plain(schema: Any) -> Any:
    """A part of pydantic's schema in draft 7: without its titles, its defaults in SI, and the value that is none."""
    if isinstance(schema, list):
        return [_plain(each) for each in schema if each != NO_VALUE]
    if not isinstance(schema, dict):
        return schema
    kept = {key: _plain(value) for key, value in schema.items() if key not in ("title", "default", "properties")}
    choices = kept.get("anyOf", [])
    if len(choices) == 1:  # a value that may be left out
        kept = {**choices[0], **{key: value for key, value in kept.items() if key != "anyOf"}}
    pair = kept.pop("prefixItems", None)
    return kept if pair is None else {**kept, "items": pair[0]}
