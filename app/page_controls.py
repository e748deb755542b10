"""The controls of a design: for every value of its study that can be changed on the page, what it is and how it may be changed."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from plancha.geometry.key_lines import Path
from plancha.geometry.load_cases import DEFAULT_NAMES, KINDS, Variant
from plancha.geometry.materials import shipped_materials
from plancha.geometry.schema import quantity_of, table_at
from plancha.geometry.study import Study

# What decides an answer and is changed often; everything else is folded away.
MAIN = (
    "ambient", "thickness", "material", "impedance", "bond_line", "conductivity", "contact", "coefficient", "held", "power",
    "limit", "coolant", "rate", "speed", "running", "blocked", "height", "pitch", "age", "natural", "emissivity",
    "unit", "seen_from",
)  # fmt: skip
NO_CONTROL = (
    "title",
    "name",
    "file",
    "curve",
    "on",
    "lower",
    "upper",
    "fans",
    "fins",
    "sustainable",
    "void_map",
    "candidate",
)
MAP_UNITS = ("W", "W/cm^2", "W/mm^2", "W/m^2")  # of a power map's cells
NUMBER = re.compile(r"\s*([-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*(\S.*)\Z")
ORDER = {kind: number for number, kind in enumerate(KINDS)}


def controls_of(variant: Variant) -> list[dict[str, Any]]:
    """Groups of controls of one load case, each with ``title``, ``kind`` and ``controls``; the study's own values come first.

    A control tells where it stands in the checked study (``place``, where faults point to) and where a change of it is to be
    written in the file (``path``: that of the load case where the case sets it).
    """
    table, groups = variant.table, []
    top = {key: value for key, value in table.items() if key not in KINDS}
    own = list(_controls(top, (), variant))
    if own:
        groups.append({"title": "Study", "kind": "study", "controls": own})
    for kind in sorted((key for key in table if key in KINDS), key=lambda key: ORDER[key]):
        entries = table[kind] if isinstance(table[kind], list) else []
        for number, entry in enumerate(entries):
            found = list(_controls(entry, (kind, number), variant))
            if found and isinstance(entry, dict):
                groups.append({"title": _name_of(entry, kind, number), "kind": kind, "controls": found})
    return groups


def _name_of(entry: Mapping[str, Any], kind: str, number: int) -> str:
    name = entry.get("name") or (kind if kind in DEFAULT_NAMES else f"{kind} {number + 1}")
    return str(name)


def _controls(value: Any, path: Path, variant: Variant, label: str = "") -> Iterator[dict[str, Any]]:
    """Controls of all values inside one."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in NO_CONTROL:
                yield from _controls(inner, (*path, key), variant, _label(label, key, inner))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _controls(inner, (*path, number), variant, _entry_label(label, inner, number))
    else:
        found = _control(value, path)
        if found is not None:
            written = _written_at(path, variant)
            is_main = _key_of(path) in MAIN and not any(part in path for part in ("patch", "void", "cut_outs"))
            shared = {"place": list(path), "path": list(written), "label": label, "main": is_main}
            yield {**shared, "in_case": written != path, **found}


def _label(label: str, key: str, inner: Any) -> str:
    if key == "layers":
        return label
    words = key.replace("_", " ")
    return f"{label}, {words}" if label else words


def _entry_label(label: str, inner: Any, number: int) -> str:
    if isinstance(inner, dict):
        material = inner.get("material")
        name = inner.get("name") or (material if isinstance(material, str) else None)
        if name:
            return f"{label}, {name}" if label else str(name)
    places = ("x", "y")
    is_pair = not isinstance(inner, dict | list) and number < len(places)
    word = places[number] if is_pair else str(number + 1)
    return f"{label} {word}" if label else word


def _key_of(path: Path) -> str:
    return str(next(part for part in reversed(path) if isinstance(part, str)))


def _field_at(path: Path) -> FieldInfo | None:
    """The schema's field that holds a value."""
    keys = [number for number, part in enumerate(path) if isinstance(part, str)]
    last = keys[-1]
    return table_at(path[:last]).get(str(path[last]))


def _control(value: Any, path: Path) -> dict[str, Any] | None:
    """What kind of control a value gets; None where it gets none."""
    field, key = _field_at(path), _key_of(path)
    if field is None:
        return None
    about = {"help": field.description or "", "value": value}
    if isinstance(value, bool):
        return {**about, "kind": "switch"}
    if isinstance(value, int | float):
        return {**about, "kind": "number"}
    choices = choices_of(field.annotation)
    if choices:
        return {**about, "kind": "choice", "choices": choices}
    if key == "unit" and path[-2:-1] == ("map",) and value in MAP_UNITS:
        return {**about, "kind": "choice", "choices": list(MAP_UNITS)}
    if key == "material":
        return {**about, "kind": "choice", "choices": list(shipped_materials())}
    written = NUMBER.match(str(value))
    dimension = _dimension(field)
    if dimension is None and not (written and isinstance(path[-1], int)):
        return None
    number, unit = (float(written[1]), written[2].strip()) if written else (None, "")
    allowed = getattr(quantity_of(field.annotation, field.metadata), "allowed", "")
    return {
        **about,
        "kind": "quantity",
        "number": number,
        "unit": unit,
        "dimension": dimension or "",
        "allowed": allowed,
    }


def _dimension(field: FieldInfo) -> str | None:
    found = quantity_of(field.annotation, field.metadata)
    return found.dimension if found else None


def choices_of(annotation: Any) -> list[str]:
    """The texts that a field may hold, where the schema lists them."""
    if get_origin(annotation) is Literal:
        return [each for each in get_args(annotation) if isinstance(each, str)]
    inner = [choices_of(argument) for argument in get_args(annotation) if get_origin(annotation) is not tuple]
    found = [choice for choices in inner for choice in choices]
    return found if len(get_args(annotation)) <= 2 else []


def _written_at(path: Path, variant: Variant) -> Path:
    """Where in the file a value of the case is written: at its place, or in the case that sets it."""
    for length in range(len(path), 0, -1):
        found = variant.overridden.get(path[:length])
        if found is not None:
            return (*found, *path[length:])
    return path


assert set(ORDER) <= set(Study.model_fields), "every kind of part is a key of the study"
