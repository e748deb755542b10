"""From study.toml to checked studies, one per load case; every fault with its line, place and likely intent."""

import copy
import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

LARGEST_STUDY = 2_000_000  # bytes
NAMED = ("plate", "component", "cooling", "edge", "probe")
BASE_CASE = "as written"

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Case:
    """One load case: its name, what it changes (dotted names and texts), and the whole study with the changes made."""

    name: str
    changes: tuple[tuple[str, str], ...]
    study: Study
    stack: Stack


@dataclass(frozen=True)
class StudyFile:
    """A read study: where it came from and its load cases, the study as written first."""

    path: Path
    cases: tuple[Case, ...]


def read_study(path: str | Path) -> StudyFile:
    """Read a study and all its load cases.

    Raises
    ------
    StudyError
        With every fault of the file, its CSV files and its load cases.
    """
    path = Path(path)
    text = _read(path)
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyError([_toml_fault(path, text, error)]) from error
    lines = key_lines(text)
    variants, faults = _variants(raw)
    cases = []
    for name, changes, table, at in variants:
        try:
            study = _study(table)
            cases.append(Case(name, changes, study, stack_of(study, path.parent)))
        except StudyError as error:
            faults += [_located(fault, raw, lines, path, at) for fault in error.faults]
    if faults:
        raise StudyError(_without_twins([_located(fault, raw, lines, path, ()) for fault in faults]))
    return StudyFile(path, tuple(cases))


def _read(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_STUDY:
            raise StudyError(
                [Fault("", "the study is too large", path.stat().st_size, f"{LARGEST_STUDY} bytes", file=str(path))]
            )
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise StudyError(
            [Fault("", f"cannot be read: {error.strerror}", file=str(path), hint="check the path")]
        ) from error
    except UnicodeDecodeError as error:
        raise StudyError([Fault("", "is not a text in UTF-8", file=str(path))]) from error


def _toml_fault(path: Path, text: str, error: tomllib.TOMLDecodeError) -> Fault:
    found = re.search(r"at line (\d+)", str(error))
    line = int(found.group(1)) if found else text.count("\n") + 1
    words = re.sub(r" \(at .*\)$", "", str(error))
    hint = 'quantities are texts in quotes: thickness = "3 mm"' if "value" in words.lower() else ""
    return Fault("", f"not valid TOML: {words}", hint=hint, file=str(path), line=line)


def key_lines(text: str) -> dict[Path_, int]:
    """Line on which each key, table and table entry of a TOML text stands; arrays of tables are counted from 0.

    A scan of line beginnings and inline tables' keys: good for messages, no parser.
    """
    lines: dict[Path_, int] = {}
    table: Path_ = ()
    counts: dict[Path_, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        head = re.match(r"\s*(\[\[?)([^\[\]]+)\]", line)
        key = re.match(r"\s*([\w\-]+|\"[^\"]*\")(?:\s*\.\s*([\w\-\.]+|\"[^\"]*\"))*\s*=", line)
        if head:
            table = tuple(part.strip().strip("\"'") for part in head.group(2).split("."))
            if head.group(1) == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            lines.setdefault(table, number)
        elif key:
            name = line.split("=", 1)[0]
            path = (*table, *(part.strip().strip("\"'") for part in re.findall(r'"[^"]*"|[^.\s]+', name)))
            lines.setdefault(path, number)
    return lines


def _variants(raw: Mapping[str, Any]) -> tuple[list[tuple[str, tuple[tuple[str, str], ...], dict, Path_]], list[Fault]]:
    """The study as written and each load case: name, changes, whole table, place of the case in the file."""
    base = {key: value for key, value in raw.items() if key != "case"}
    variants = [(BASE_CASE, (), base, ())]
    faults: list[Fault] = []
    cases = raw.get("case", [])
    for number, case in enumerate([cases] if isinstance(cases, dict) else cases if isinstance(cases, list) else []):
        at = ("case", number)
        if not isinstance(case, dict) or not isinstance(case.get("name"), str):
            faults.append(Fault(_dotted(at), "a load case needs a name", hint='name = "hot day"'))
            continue
        table, changes = copy.deepcopy(base), []
        for keys, value in _leaves({key: value for key, value in case.items() if key != "name"}):
            fault = _override(table, keys, value, (*at, *keys))
            if fault:
                faults.append(fault)
            changes.append((".".join(str(key) for key in keys), str(value)))
        if case["name"] in [name for name, *_ in variants]:
            faults.append(Fault(_dotted((*at, "name")), "another load case has this name", case["name"]))
        variants.append((case["name"], tuple(changes), table, at))
    return variants, faults


def _leaves(table: Mapping[str, Any], keys: tuple[str, ...] = ()) -> Iterable[tuple[tuple[str, ...], Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _leaves(value, (*keys, key))
        else:
            yield (*keys, key), value


def _override(table: dict, keys: tuple[str, ...], value: Any, at: Path_) -> Fault | None:
    """Set what ``keys`` name: a top-level key, or a key of a plate, component, layer, cooling, edge or probe called by name."""
    target: Any = table
    for depth, key in enumerate(keys[:-1]):
        items = _called(target, depth)
        if isinstance(target, dict) and isinstance(target.get(key), dict):
            target = target[key]
        elif key in items:
            target = items[key]
        else:
            near = difflib.get_close_matches(key, items, 1)
            hint = f'did you mean "{near[0]}"?' if near else ""
            return Fault(_dotted(at), "nothing in the study has this name", key, ", ".join(items), hint)
    if isinstance(target, dict):
        target[keys[-1]] = value
    return None


def _called(target: Any, depth: int) -> dict[str, dict]:
    """Tables inside a table that can be called by their names."""
    found: dict[str, dict] = {}
    kinds = NAMED if depth == 0 else ("layers",)
    for kind in kinds:
        entries = target.get(kind, []) if isinstance(target, dict) else []
        for entry in [entries] if isinstance(entries, dict) else entries if isinstance(entries, list) else []:
            if isinstance(entry, dict):
                default = kind if kind in ("plate", "cooling", "edge") else entry.get("material", "interface")
                found[str(entry.get("name", default))] = entry
    return found


def _study(table: Mapping[str, Any]) -> Study:
    try:
        return Study.model_validate(table)
    except ValidationError as error:
        raise StudyError([_fault_of(details, table) for details in error.errors()]) from error


def _fault_of(details: Any, table: Mapping[str, Any]) -> Fault:
    """A library's finding in our words."""
    place, kind, context = details["loc"], details["type"], details.get("ctx", {})
    value = details.get("input")
    shown = value if isinstance(value, str | int | float | bool) else None
    if kind == "missing":
        return Fault(_dotted(place), "is missing", allowed="this key must be given", hint=_description(place))
    if kind == "extra_forbidden":
        return Fault(_dotted(place), "unknown key", allowed=", ".join(_known(place)), hint=_key_hint(place))
    if kind in ("quantity", "study"):
        shown = context.get("found") if kind == "study" else shown
        return Fault(_dotted(place), details["msg"], shown, context.get("allowed", ""), context.get("hint", ""))
    if kind == "literal_error":
        return Fault(_dotted(place), "not one of the choices", shown, context["expected"])
    return Fault(_dotted(place), details["msg"], shown)


def _dotted(place: Iterable[str | int]) -> str:
    return ".".join(str(part) for part in place)


def _fields_at(place: Path_) -> dict[str, Any]:
    """Fields of the table that holds the last key of a place."""
    from plancha.geometry.schema import table_at

    return table_at(place[:-1])


def _known(place: Path_) -> list[str]:
    return sorted(_fields_at(place))


def _description(place: Path_) -> str:
    known = _fields_at(place).get(str(place[-1]))
    return known.description if known is not None and known.description else ""


def _key_hint(place: Path_) -> str:
    key = str(place[-1])
    if len(place) > 1 and key in Study.model_fields:
        return f"{key} is a key of the whole study: put it above the first [table]"
    near = difflib.get_close_matches(key, _known(place), 1)
    return f"did you mean {near[0]}?" if near else ""


def _located(fault: Fault, raw: Mapping[str, Any], lines: Mapping[Path_, int], path: Path, case: Path_) -> Fault:
    """The fault with file, line and a readable place; a load case's fault stands where the case is."""
    if fault.file:
        return fault
    place: Path_ = (
        tuple(int(part) if part.isdigit() else part for part in fault.place.split(".")) if fault.place else ()
    )
    readable, line = _readable(place, raw), _line(place, lines)
    if case:
        overridden = [key for key in lines if key[: len(case)] == case and key[-1:] == place[-1:]]
        line = lines[overridden[0]] if overridden else lines.get(case)
        readable = f'case "{raw["case"][case[1]]["name"]}", {readable}'
    return replace(fault, file=str(path), line=line, place=readable)


def _line(place: Path_, lines: Mapping[Path_, int]) -> int | None:
    """Line of the innermost part of a place that the scan saw; `[plate]` stands for its only entry."""
    for length in range(len(place), 0, -1):
        part = place[:length]
        for candidate in (part, part[:1] + part[2:] if len(part) > 1 and part[1] == 0 else part):
            if candidate in lines:
                return lines[candidate]
    return None


def _readable(place: Path_, raw: Mapping[str, Any]) -> str:
    """`component.1.layers.0.thickness` as `component "memory 2", layer 1, thickness`."""
    words: list[str] = []
    here: Any = raw
    for part in place:
        if isinstance(part, int):
            here = here[part] if isinstance(here, list) and part < len(here) else here
            name = here.get("name") if isinstance(here, dict) else None
            singular = words[-1].rstrip("s") if words[-1] in ("layers", "cut_outs") else words[-1]
            words[-1] = f'{singular} "{name}"' if isinstance(name, str) else f"{singular} {part + 1}"
        else:
            words.append(part)
            here = here.get(part) if isinstance(here, dict) else None
    return ", ".join(words) if words else "study"


def _without_twins(faults: list[Fault]) -> list[Fault]:
    """A fault of the study as written comes again in every load case: once is enough."""
    seen: set[tuple] = set()
    kept = []
    for fault in faults:
        key = (
            fault.message,
            fault.value,
            fault.line,
            fault.file,
            fault.place.split('", ', 1)[-1] if fault.line is None else "",
        )
        if key not in seen:
            kept.append(fault)
        seen.add(key)
    return kept
