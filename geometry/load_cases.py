"""Load cases: the study as written, and the study with the numbers that each [[case]] overrides by name."""

import copy
import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import Path, place_of, plain
from plancha.geometry.parts import LONGEST_NAME
from plancha.geometry.schema import table_at
from plancha.geometry.validation import shown

BASE_CASE = "as written"
MOST_CASES = 1000
KINDS = ("plate", "component", "joint", "cooling", "edge", "probe", "fins", "flow", "fan")  # top-level lists of tables
DEFAULT_NAMES = (
    "plate",
    "cooling",
    "edge",
    "fins",
    "flow",
    "fan",
)  # kinds whose entries are called so unless they say otherwise


@dataclass(frozen=True)
class Variant:
    """One load case before it is checked.

    ``changes`` are dotted names and texts; ``table`` is the whole study with them made; ``path`` leads to the case in the file,
    ``overridden`` from each place in the table to the key of the case that set it.
    """

    name: str
    changes: tuple[tuple[str, str], ...]
    table: dict[str, Any]
    path: Path = ()
    overridden: Mapping[Path, Path] = field(default_factory=dict)


def variants_of(raw: Mapping[str, Any]) -> tuple[list[Variant], list[Fault]]:
    """The study as written and each of its load cases, and what is wrong with the cases themselves.

    ``raw`` is the study file's table, its top-level lists written as lists.
    """
    base = {key: value for key, value in raw.items() if key != "case"}
    variants, faults = [Variant(BASE_CASE, (), base)], []
    cases = raw.get("case", [])
    if not isinstance(cases, list) or len(cases) > MOST_CASES:
        found = f"{len(cases)} cases" if isinstance(cases, list) else shown(cases)
        return variants, [
            Fault("case", f"load cases are tables, at most {MOST_CASES}", found, "[[case]]", path=("case",))
        ]
    for number, case in enumerate(cases):
        path: Path = ("case", number)
        fault = _name_fault(case, path, [variant.name for variant in variants])
        if fault:
            faults.append(fault)
        if isinstance(case, dict):
            variant, found_faults = _variant(base, case, path, raw)
            faults += found_faults
            variants += [] if fault else [variant]
    return variants, faults


def _name_fault(case: Any, path: Path, taken: list[str]) -> Fault | None:
    place = f"case {path[-1] + 1}" if isinstance(path[-1], int) else "case"
    if not isinstance(case, dict):
        return Fault(place, "a load case is a table", shown(case), "[[case]]", path=path)
    name = case.get("name")
    if not isinstance(name, str) or not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
        return Fault(place, "a load case needs a name", shown(name) if name else None, 'name = "hot day"', path=path)
    if name in taken:
        return Fault(place, "another load case has this name", name, "a name of its own", path=(*path, "name"))
    return None


def _variant(
    base: dict[str, Any], case: dict[str, Any], path: Path, raw: Mapping[str, Any]
) -> tuple[Variant, list[Fault]]:
    table = copy.deepcopy(base)
    overridden: dict[Path, Path] = {}
    faults: list[Fault] = []
    changes = {key: value for key, value in case.items() if key != "name"}
    _override(table, (), changes, path, overridden, faults)
    name = str(case.get("name", ""))
    faults = [_located(fault, raw) for fault in faults]
    texts = tuple((".".join(str(part) for part in at[2:]), _text(_at(case, at[2:]))) for at in overridden.values())
    return Variant(name, texts, table, path, overridden), faults


def with_changes(table: Mapping[str, Any], changes: Mapping[str, str], name: str) -> Variant:
    """The study in ``table`` with further values, each by its dotted name as a load case would write it.

    Parameters
    ----------
    table : mapping
        The whole study of a load case, such as `study_file.Case.table`; it stays as it is.
    changes : mapping of str to str
        Dotted names, such as "processor.interface.impedance", and the texts to put there, with their units.
    name : str
        Of the new variant.

    Raises
    ------
    StudyError
        If a name means nothing in the study, or several parts.
    """
    changed = copy.deepcopy(dict(table))
    overridden: dict[Path, Path] = {}
    faults: list[Fault] = []
    for dotted, text in changes.items():
        *parts, key = dotted.split(".")
        inner: dict[str, Any] = {key: text}
        for part in reversed(parts):
            inner = {part: inner}
        found: list[Fault] = []
        _override(changed, (), inner, (), overridden, found)
        faults += [replace(fault, place=plain(dotted), path=()) for fault in found]
    if faults:
        raise StudyError(faults)
    return Variant(name, tuple(changes.items()), changed, (), overridden)


def place_named(table: Mapping[str, Any], dotted: str) -> tuple[Path, Any]:
    """Where in a study's table a dotted name leads, and the value that is written there (None where none is).

    Raises
    ------
    StudyError
        If the name means nothing in the study, or several parts.
    """
    variant = with_changes(table, {dotted: ""}, "")
    path = next(iter(variant.overridden))
    try:
        return path, _at(table, path)
    except (KeyError, IndexError, TypeError):
        return path, None


def texts_of(table: Mapping[str, Any]) -> dict[str, str]:
    """Every value of a study's table by its dotted name, as the user wrote it.

    Parts are called as load cases call them; where several in a table are called the same, the later ones carry their number.
    """
    return dict(_texts({key: value for key, value in table.items() if key != "case"}, ""))


def _texts(value: Any, name: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            entries = inner if isinstance(inner, list) and inner and all(isinstance(e, dict) for e in inner) else None
            if entries is None:
                yield from _texts(inner, f"{name}.{key}" if name else key)
                continue
            for own, entry in zip(_own_names(entries, key), entries):
                part = own if key in (*KINDS, "layers") else f"{key}.{own}"
                rest = {each: text for each, text in entry.items() if each != "name"}
                yield from _texts(rest, f"{name}.{part}" if name else part)
    else:
        yield name, _text(value)


def _own_names(entries: list[dict[str, Any]], kind: str) -> list[str]:
    names = [_name_of(entry, kind) for entry in entries]
    return [
        name if names[:n].count(name) == 0 else f"{name} {names[:n].count(name) + 1}" for n, name in enumerate(names)
    ]


def _located(fault: Fault, raw: Mapping[str, Any]) -> Fault:
    return Fault(place_of(fault.path, raw), fault.message, fault.value, fault.allowed, fault.hint, path=fault.path)


def _at(table: Any, path: Path) -> Any:
    for part in path:
        table = table[part]
    return table


def _text(value: Any) -> str:
    return str(shown(value)) if not isinstance(value, list) else "[" + ", ".join(_text(each) for each in value) + "]"


def _override(
    target: dict[str, Any],
    here: Path,
    changes: Mapping[str, Any],
    at: Path,
    overridden: dict[Path, Path],
    faults: list[Fault],
) -> None:
    """Make the changes inside ``target``, the table at ``here``; ``at`` is where the case writes them."""
    named, known = _named(target, here), table_at(here)
    for key, value in changes.items():
        place = (*at, key)
        entries = named.get(key, [])
        if len(entries) > 1:
            faults.append(Fault("", f"{len(entries)} parts are called so", key, "names of their own", path=place))
        elif entries and isinstance(value, dict):
            path, table = entries[0]
            _override(table, path, value, place, overridden, faults)
        elif entries and key not in known:
            faults.append(Fault("", "this is a part: override one of its keys", key, f'{key}.... = "..."', path=place))
        elif key in known:
            is_entry = not here and key in KINDS and isinstance(value, dict)
            target[key] = [copy.deepcopy(value)] if is_entry else copy.deepcopy(value)
            overridden[(*here, key)] = place
        else:
            faults.append(_nothing_called_so(key, place, [*named, *known]))


def _nothing_called_so(key: str, place: Path, known: list[str]) -> Fault:
    near = difflib.get_close_matches(key[:LONGEST_NAME], known, 1)
    hint = f"did you mean {near[0]}?" if near else ""
    allowed = ", ".join(dict.fromkeys(plain(each) for each in known))
    return Fault("", "nothing in the study has this name", plain(key), allowed, hint, path=place)


def _named(target: dict[str, Any], here: Path) -> dict[str, list[tuple[Path, dict[str, Any]]]]:
    """Tables inside a table by what a case may call them: their key, or their name; more than one of a name is ambiguous."""
    found: dict[str, list[tuple[Path, dict[str, Any]]]] = {}
    for kind in ("layers",) if here else KINDS:
        entries = target.get(kind)
        for number, entry in enumerate(entries if isinstance(entries, list) else []):
            if isinstance(entry, dict):
                name = _name_of(entry, kind)
                found.setdefault(name, []).append(((*here, kind, number), entry))
    for key, value in target.items():
        if isinstance(value, dict):
            found[key] = [((*here, key), value)]
        # "plate" means the only plate, whatever its name.
        elif not here and key in KINDS and isinstance(value, list) and len(value) == 1 and isinstance(value[0], dict):
            found.setdefault(key, [((key, 0), value[0])])
    return found


def _name_of(entry: dict[str, Any], kind: str) -> str:
    if "name" in entry:
        return str(entry["name"])
    if kind in DEFAULT_NAMES:
        return kind
    material = entry.get("material", "interface") if kind == "layers" else f"{kind} without a name"
    return str(material.get("name", "inline")) if isinstance(material, dict) else str(material)
