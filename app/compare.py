"""Results side by side: what differs in the input, and what in the output, beyond both numerical errors or not."""

import difflib
import json
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_uppercase
from typing import Any, NoReturn

from pydantic import ValidationError
from rich.console import Console
from rich.text import Text

from plancha.app.result import SCHEMA, CaseRecord, ComponentRecord, Result, SpreadingRecord, SustainableRecord
from plancha.app.sections import Section, section
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import plain

RESULT, FIELDS = "result.json", "fields.vtu"
MOST_RESULTS = len(ascii_uppercase)
LARGEST = 500_000_000  # bytes of a result file
SHOWN_FAULTS = 20
MARKS = "> differs by more than both numerical errors together; +- is their sum"
UNKNOWN = "? the numerical error is not known, so that no difference is marked"
NEAR = 1e-3  # of the power: so near to the sustainable one the search's own tolerance shows in the slope


@dataclass(frozen=True)
class Opened:
    """A result as read: its letter in the tables, its path as the user wrote it, and its fields.vtu where there is one.

    Of a file that bears another name than result.json it is not known which fields.vtu belongs to it.
    """

    letter: str
    path: str
    result: Result
    fields: Path | None


@dataclass(frozen=True)
class Line:
    """One number of two results; ``error`` is the sum of both numerical errors (None if unknown), ``whole`` what 100 % are."""

    name: str
    first: float | None
    second: float | None
    digits: int
    error: float | None = 0.0
    whole: float | None = None

    @property
    def difference(self) -> float | None:
        """Second less first."""
        return None if self.first is None or self.second is None else self.second - self.first

    @property
    def differs(self) -> bool:
        """Whether the difference is more than both numerical errors, if they are known, and than the last printed digit."""
        if self.difference is None or self.error is None:
            return False
        return abs(self.difference) > max(self.error, 0.5 * 10.0**-self.digits)

    @property
    def per_cent(self) -> float | None:
        """The difference over the first value, of temperatures over the first rise."""
        whole = self.first if self.whole is None else self.whole
        return 100 * self.difference / abs(whole) if self.difference is not None and whole else None


def open_results(paths: Sequence[Path]) -> list[Opened]:
    """Read result files, or the result.json of folders.

    Raises
    ------
    StudyError
        With all that is wrong: fewer than two, missing files, files that hold no result, another version of the format, numbers
        that are none.
    """
    faults: list[Fault] = []
    opened: list[Opened] = []
    if not 2 <= len(paths) <= MOST_RESULTS:
        faults.append(Fault("compare", "two results or more are due", len(paths), f"2 to {MOST_RESULTS}"))
    for letter, path in zip(ascii_uppercase, paths):
        file = path / RESULT if os.path.isdir(path) else path
        fields = file.parent / FIELDS
        beside = file.name == RESULT and os.path.isfile(fields)
        try:
            opened.append(Opened(letter, str(path), read_result(file), fields if beside else None))
        except StudyError as error:
            faults += error.faults
    if faults:
        raise StudyError(faults)
    return opened


def read_result(path: Path) -> Result:
    """A result.json.

    Raises
    ------
    StudyError
        If the file is missing, unreadable, no result, of another version, or holds NaN or infinite numbers.
    """
    file = str(path)
    table = _table(path, file)
    found = table.get("schema") if isinstance(table, dict) else None
    if not isinstance(found, str) or not found.startswith("plancha-result/"):
        hint = "plancha solve study.toml -o folder writes one"
        raise StudyError(
            [Fault("", "this is no Plancha result", allowed=f'a {RESULT} with schema "{SCHEMA}"', hint=hint, file=file)]
        )
    if found != SCHEMA:
        hint = "solve the study again with this version"
        raise StudyError([Fault("schema", "the result has another version", plain(found), SCHEMA, hint, file)])
    try:
        result = Result.model_validate(table, strict=True)
        if not result.cases:
            raise StudyError([Fault("cases", "the result has no load case", hint="solve the study again", file=file)])
        return result
    except ValidationError as error:
        details = error.errors(include_url=False)[:SHOWN_FAULTS]
        hint = "the file was changed or cut off: solve the study again"
        raise StudyError([_fault_of(each, file, hint) for each in details]) from None


def _fault_of(details: Any, file: str, hint: str) -> Fault:
    message = "this number is missing" if details["type"] == "missing" else f"not as it should be: {details['msg']}"
    value = details["input"]
    shown = value if isinstance(value, str | float | int) or value is None else type(value).__name__
    return Fault(".".join(map(str, details["loc"])), message, plain(str(shown))[:60], hint=hint, file=file)


def _table(path: Path, file: str) -> Any:
    def refuse(word: str) -> NoReturn:
        """Refuse NaN and the infinities, however they are written."""
        message, hint = "the result holds a number that is none", "solve the study again"
        raise StudyError([Fault("", message, word[:60], "finite numbers", hint, file)])

    def finite(word: str) -> float:
        """A number, which 1e400 is not."""
        value = float(word)
        return value if math.isfinite(value) else refuse(word)

    try:
        if path.stat().st_size > LARGEST:
            raise StudyError([Fault("", "the file is too large", allowed=f"{LARGEST / 1e6:g} MB at most", file=file)])
        return json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse, parse_float=finite)
    except FileNotFoundError:
        near = difflib.get_close_matches(path.name, [RESULT], 1)
        hint = f"a folder with a {RESULT}, or that file{': did you mean ' + RESULT + '?' if near and near[0] != path.name else ''}"
        raise StudyError([Fault("", "there is no such file", hint=hint, file=file)]) from None
    except OSError as error:
        raise StudyError([Fault("", f"the file cannot be read: {error.strerror or error}", file=file)]) from None
    except (ValueError, RecursionError):
        raise StudyError([Fault("", "this is no Plancha result: not JSON", allowed=f"a {RESULT}", file=file)]) from None


def print_comparison(console: Console, opened: Sequence[Opened]) -> None:
    """Print what differs in the input of all results, then in the output of each against the first."""
    for each in opened:
        console.print(Text(f"{each.letter}: {each.path}  ({each.result.title})", style="bold"))
    console.print(input_table(opened))
    first = opened[0]
    for other in opened[1:]:
        console.print(output_table(first, other, "Whole product", whole_lines(first.result, other.result)))
        for name in cases_in_both(first.result, other.result):
            one, two = (next(case for case in each.result.cases if case.name == name) for each in (first, other))
            console.print(output_table(first, other, f'Case "{name}"', case_lines(one, two)))
        for missing in missing_words(first, other):
            console.print(Text(missing))


def cases_in_both(first: Result, second: Result) -> list[str]:
    """Names of the load cases that both have, in the first one's order."""
    others = {case.name for case in second.cases}
    return [case.name for case in first.cases if case.name in others]


def missing_words(first: Opened, second: Opened) -> list[str]:
    """Load cases and components that only one of two results has."""
    told = []
    for kind, names in (("load case", _case_names), ("component", _component_names)):
        for one, other in ((first, second), (second, first)):
            alone = [name for name in names(one.result) if name not in names(other.result)]
            if alone:
                told.append(f"Only {one.letter} has the {kind}{'s'[: len(alone) > 1]} {', '.join(alone)}.")
    return told


def _case_names(result: Result) -> list[str]:
    return [case.name for case in result.cases]


def _component_names(result: Result) -> list[str]:
    return [each.name for each in result.cases[0].components] if result.cases else []


def inputs_of(result: Result) -> dict[str, str]:
    """All that a result says of its input: the study, its CSV files, what each load case changes."""
    rows = dict(result.study)
    rows |= {f"contents of {name}": f"SHA-256 {print_[:12]}..." for name, print_ in result.files.items()}
    for case in result.cases:
        rows |= {f"[{case.name}] {name}": text for name, text in case.changes.items()}
    return rows


def input_table(opened: Sequence[Opened]) -> Section:
    """Input lines in which the results differ; a dash where one has no such line."""
    inputs = [inputs_of(each.result) for each in opened]
    names = dict.fromkeys(name for each in inputs for name in each)
    rows = []
    for name in names:
        texts = [each.get(name, "-") for each in inputs]
        if len(set(texts)) > 1:
            rows.append((name, *texts))
    versions = {each.result.plancha for each in opened}
    remark = "" if rows else "The inputs are the same."
    mixed = f"Written by different versions of Plancha: {', '.join(sorted(versions))}." if len(versions) > 1 else ""
    return section("Input: what differs", ("", *(each.letter for each in opened)), rows, remark, mixed)


def whole_lines(first: Result, second: Result) -> list[Line]:
    """Mass and height, which have no numerical error."""
    return [
        Line("mass, g", first.mass_g, second.mass_g, 1),
        Line("height, mm", first.height_mm, second.height_mm, 3),
    ]


def case_lines(first: CaseRecord, second: CaseRecord) -> list[Line]:
    """Peaks, margins, sustainable power and spreading resistances that both have, these in the same body."""
    lines: list[Line] = []
    others = {each.name: each for each in second.components}
    for one in first.components:
        if one.name in others:
            lines += _component_lines(one, others[one.name])
    lines += _sustainable_lines(first, second)
    spread = {each.component: each for each in second.spreading}
    for found in first.spreading:
        other = spread.get(found.component)
        if other is not None and (other.body, other.face) == (found.body, found.face):
            lines += _spreading_lines(found, other)
    return lines


def _spreading_lines(one: SpreadingRecord, two: SpreadingRecord) -> list[Line]:
    name = f"{one.component}: spreading in {one.body}"
    most = _sum([one.maximum_error_K_per_W, two.maximum_error_K_per_W])
    mean = _sum([one.mean_error_K_per_W, two.mean_error_K_per_W])
    return [
        Line(f"{name}, max, K/W", one.maximum_K_per_W, two.maximum_K_per_W, 4, most),
        Line(f"{name}, mean, K/W", one.mean_K_per_W, two.mean_K_per_W, 4, mean),
    ]


def _sum(errors: Sequence[float | None]) -> float | None:
    known = [error for error in errors if error is not None]
    return sum(known) if len(known) == len(errors) else None


def _component_lines(one: ComponentRecord, two: ComponentRecord) -> list[Line]:
    error = _sum([one.peak_error_K, two.peak_error_K])
    lines = [Line(f"{one.name}: peak, degC", one.peak_degC, two.peak_degC, 1, error, one.peak_rise_K)]
    if one.margin_K is not None or two.margin_K is not None:
        lines.append(Line(f"{one.name}: margin, K", one.margin_K, two.margin_K, 1, error))
    return lines


def _sustainable_lines(first: CaseRecord, second: CaseRecord) -> list[Line]:
    """Sustainable power; its error is what the limiting component's peak rise may be off, by the power that changes it so much."""
    if first.sustainable is None or second.sustainable is None:
        return []
    error = _sum([_power_error(first), _power_error(second)])
    return [Line("sustainable power, W", first.sustainable.power_W, second.sustainable.power_W, 1, error)]


def _power_error(case: CaseRecord) -> float | None:
    """Relative error of the limiting peak's rise, times its rise at the limit, over kelvin per watt of the scaled power."""
    found = case.sustainable
    limiting = next((each for each in case.components if found and each.name == found.limited_by), None)
    if found is None or found.power_W is None or limiting is None:
        return None
    slope = _kelvin_per_watt(case, found, limiting)
    if limiting.peak_error_K is None or limiting.margin_K is None or not limiting.peak_rise_K or not slope:
        return None
    return abs(limiting.peak_error_K / limiting.peak_rise_K * (limiting.peak_rise_K + limiting.margin_K) / slope)


def _kelvin_per_watt(case: CaseRecord, found: SustainableRecord, limiting: ComponentRecord) -> float | None:
    """Rise of the limiting peak per watt of the scaled power, between the power asked for and the sustainable one."""
    asked = sum(each.power_W for each in case.components if each.name in found.scaled)
    more = (found.power_W or 0.0) - asked
    if abs(more) > NEAR * asked and limiting.margin_K is not None:
        return limiting.margin_K / more
    return limiting.peak_rise_K / asked if asked and len(found.scaled) == len(case.components) else None


def output_table(first: Opened, second: Opened, head: str, lines: Sequence[Line]) -> Section:
    """Numbers of two results with difference, per cent and error; those that differ are marked."""
    rows = [
        (
            f"> {line.name}" if line.differs else f"  {line.name}",
            _number(line.first, f".{line.digits}f"),
            _number(line.second, f".{line.digits}f"),
            _number(line.difference, f"+.{line.digits}f"),
            _number(line.per_cent, "+.1f"),
            _error(line),
        )
        for line in lines
    ]
    columns = ("  ", first.letter, second.letter, f"{second.letter} - {first.letter}", "%", "+-")
    remark = MARKS if any(line.differs for line in lines) else "Nothing differs by more than both numerical errors."
    of_rise = "% of a peak is of the rise above the reference" if any(line.whole for line in lines) else ""
    unknown = UNKNOWN if any(line.error is None for line in lines) else ""
    return section(f"{head}: {second.letter} against {first.letter}", columns, rows, remark, unknown, of_rise)


def _number(value: float | None, form: str) -> str:
    if value is None:
        return "-"
    text = format(value, form)
    return text if float(text) else text.lstrip("+-")


def _error(line: Line) -> str:
    if line.error is None:
        return "?"
    if line.error == 0:
        return ""
    text = f"{line.error:.{line.digits}f}"
    return text if float(text) else f"<{text[:-1]}1"
