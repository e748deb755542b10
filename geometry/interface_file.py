"""Candidates for a joint from the user's own table: one a row, under heads in any order that carry their units."""

import math
import os
import re
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import chain

from plancha.geometry.bond_line import (
    PRASHER_EXPONENT,
    bulk_uncertainty,
    filled_polymer_bond_line,
    spread_around,
)
from plancha.geometry.delimited_text import (
    Sheet,
    cell_fault,
    first_faults,
    number,
    read_sheet,
    shown,
    uses_decimal_comma,
)
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.headed_columns import HEAD, Column, columns_of, scale
from plancha.geometry.interface_table import KINDS, Candidate, Triple, name_key, shipped_candidates
from plancha.geometry.quantity import Quantity
from plancha.geometry.units import UnitFault, show

MOST_ROWS = 5000
LONGEST_NAME = 80
TEXTS = ("name", "kind", "source", "note")
ANSWERS = ("conducts electricity", "reworkable")
YES, NO = ("yes", "true", "1"), ("no", "false", "0")
IMPEDANCE = Quantity("impedance", at_least=1e-8, at_most=0.1)
PRESSURE = Quantity("pressure", at_least=1.0, at_most=1e9)
LENGTH = Quantity("length", at_least=1e-8, at_most=0.1)
# Heads and what their cells are; aged means the end of life, low and high what one may meet.
NUMBERS = {
    "impedance": IMPEDANCE, "impedance low": IMPEDANCE, "impedance high": IMPEDANCE,
    "aged impedance": IMPEDANCE, "aged impedance low": IMPEDANCE, "aged impedance high": IMPEDANCE,
    "bond line": LENGTH, "bond line tolerance": LENGTH, "yield stress": Quantity("pressure", at_least=1e-3, at_most=1e7),
    "conductivity": Quantity("conductivity", at_least=0.01, at_most=5000.0),
    "conductivity tolerance": Quantity("conductivity", at_least=1e-4, at_most=5000.0),
    "contact": Quantity("impedance", at_least=0.0, at_most=0.1),
    "pressure exponent": Quantity("fraction", at_least=0.0, at_most=1.0),
    "pressure": PRESSURE, "lowest pressure": PRESSURE, "highest pressure": PRESSURE,
    "thickness": LENGTH,
    "lowest compression": Quantity("fraction", at_least=0.0, below=1.0),
    "highest compression": Quantity("fraction", above=0.0, below=1.0),
    "highest temperature": Quantity("temperature", at_least=250.0, at_most=2000.0),
}  # fmt: skip
ROLES = (*TEXTS, *ANSWERS, *NUMBERS)
UNITLESS = ("pressure exponent", "lowest compression", "highest compression")  # a bare number is a share of one
HEADS = (
    "name, impedance [mm^2 K/W] (or bond line [um] and conductivity [W/m/K]), aged impedance [mm^2 K/W]; and, if known, "
    + ", ".join(
        role for role in ROLES if role not in ("name", "impedance", "aged impedance", "bond line", "conductivity")
    )
)
OFFS = {"bond line tolerance": "bond line", "conductivity tolerance": "conductivity"}
PAIRS = (("lowest pressure", "highest pressure"), ("lowest compression", "highest compression"))
OWN_SOURCE = "the user's table"


def read_candidates(path: str | os.PathLike[str], shown_as: str | None = None) -> tuple[Candidate, ...]:
    """Candidates from a table.

    Parameters
    ----------
    path : path
        Cells parted by commas, semicolons or tabs; decimal commas where the separator leaves no doubt; lines that begin with #
        are comments. First row: heads (``HEADS``) in any order, each with its unit, "bond line [um]". Then one candidate a row;
        a cell of what is not known stays empty. The impedance may be given, or bond line (or yield stress [Pa] and pressure, for a
        filled polymer) and conductivity, with contact terms; the impedance at the end of life must be given. Low and high may be
        given, or follow from the tolerances of bond line and conductivity; else the spread is unknown and all three are equal.
        Where they are not given for the end of life, they lie as many times below and above as when new.
    shown_as : str, optional
        The file's name in messages.

    Raises
    ------
    StudyError
        With all that is wrong, by row and column, up to twenty.
    """
    sheet = read_sheet(path, os.fspath(path) if shown_as is None else shown_as)
    columns = _columns(sheet)
    rows = [(line, sheet.cells(text)) for line, text in sheet.rows[1:]]
    if len(rows) > MOST_ROWS:
        raise StudyError([Fault("", "too many candidates", len(rows), f"{MOST_ROWS} rows at most", file=sheet.file)])
    numeric = [column for column in columns.values() if column.role in NUMBERS]
    decimal_comma = uses_decimal_comma(cells[c.place] for _, cells in rows for c in numeric if c.place < len(cells))
    found: dict[str, Candidate] = {}
    parts = (_row(sheet, columns, decimal_comma, found, row, line, cells) for row, (line, cells) in enumerate(rows, 1))
    faults = first_faults(chain.from_iterable(parts), sheet.file)
    if not rows:
        faults.append(Fault("", "the table has no candidates", allowed="one a row below the heads", file=sheet.file))
    if faults:
        raise StudyError(faults)
    return tuple(found.values())


def _columns(sheet: Sheet) -> dict[str, Column]:
    line = sheet.rows[0][0]
    columns, faults = columns_of(sheet, _column, _word)
    faults += [Fault("heads", words, allowed=HEADS, file=sheet.file, line=line) for words in _missing(columns)]
    if faults:
        raise StudyError(faults)
    return columns


def _missing(columns: dict[str, Column]) -> Iterator[str]:
    for role in ("name", "aged impedance"):
        if role not in columns:
            yield f"there is no column {role}"
    has_bulk = "conductivity" in columns and ("bond line" in columns or "yield stress" in columns)
    if "impedance" not in columns and not has_bulk:
        yield "there is no column impedance, nor bond line and conductivity"


def _word(head: str) -> str | None:
    found = HEAD.fullmatch(head)
    word = re.sub(r"[\s_]+", " ", found["word"]).strip().lower() if found else ""
    return word if word in ROLES else None


def _column(place: int, head: str) -> Column:
    found, role = HEAD.fullmatch(head), _word(head)
    if found is None or role is None:
        raise UnitFault("unknown column", HEADS)
    if role not in NUMBERS:
        return Column(role, place, head)
    dimension, unit = NUMBERS[role].dimension, found["unit"]
    if not unit and role in UNITLESS:
        return Column(role, place, head)
    if not unit:
        example = {"impedance": "mm^2 K/W", "length": "um", "temperature": "degC", "pressure": "kPa"}
        words = f'a unit in brackets, as in "{role} [{example.get(dimension, "W/m/K")}]"'
        raise UnitFault("the head has no unit", words)
    return Column(role, place, head, *scale(unit, dimension))


def _row(
    sheet: Sheet,
    columns: dict[str, Column],
    decimal_comma: bool,
    found: dict[str, Candidate],
    row: int,
    line: int,
    cells: list[str],
) -> Iterator[Fault]:
    """Add a row's candidate to those found, or tell its faults."""
    if len(cells) != len(columns):
        allowed = f"{len(columns)} cells, as many as heads"
        hint = "quote a name that holds the separator" if len(cells) > len(columns) else ""
        yield Fault(f"row {row}", "wrong number of cells", len(cells), allowed, hint, sheet.file, line)
        return
    faults: list[Fault] = []
    values: dict[str, float] = {}
    texts = {role: cells[columns[role].place] for role in (*TEXTS, *ANSWERS) if role in columns}
    for column in columns.values():
        cell = cells[column.place]
        if column.role in NUMBERS and cell:
            place = f'row {row}, column "{shown(column.head)}"'
            fault = _number_fault(column, cell, decimal_comma, place, sheet.file, line)
            faults += [fault] if fault else []
            if not fault:
                values[column.role] = column.factor * number(cell, decimal_comma) + column.offset
    told = [*_text_faults(texts, found), *(() if faults else _value_faults(values))]
    faults += [
        Fault(f"row {row}", message, value, allowed, file=sheet.file, line=line) for message, value, allowed in told
    ]
    candidate = None if faults else _candidate(texts, values)
    if isinstance(candidate, str):
        faults.append(Fault(f"row {row}", candidate, shown(texts["name"]), file=sheet.file, line=line))
    elif candidate is not None:
        found[name_key(candidate.name)] = candidate
    yield from faults


def _number_fault(column: Column, cell: str, decimal_comma: bool, place: str, file: str, line: int) -> Fault | None:
    fault = cell_fault(cell, decimal_comma, -math.inf, place, file, line)
    if fault:
        return fault
    value, kind = column.factor * number(cell, decimal_comma) + column.offset, NUMBERS[column.role]
    low, high = kind.at_least or kind.above or 0.0, kind.at_most or kind.below or math.inf
    strictly = (kind.above is not None and value <= kind.above) or (kind.below is not None and value >= kind.below)
    if low * (1 - 1e-9) <= value <= high * (1 + 1e-9) and not strictly:
        return None
    allowed = f"{show(low, kind.dimension)} to {show(high, kind.dimension)}"
    return Fault(place, "the number is out of its range", shown(cell), allowed, "check the head's unit", file, line)


Told = tuple[str, str | None, str]  # message, value, allowed


def _text_faults(texts: dict[str, str], found: Mapping[str, Candidate]) -> Iterator[Told]:
    name = texts["name"]
    if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
        yield "a candidate needs a name", shown(name) or None, f"{LONGEST_NAME} characters that can be printed, at most"
    owner = (
        "the shipped table" if name_key(name) in _shipped_keys() else "a row above" if name_key(name) in found else ""
    )
    if owner:
        yield f"{owner} has a candidate of this name", shown(name), "a name of its own"
    if texts.get("kind") and texts["kind"].lower() not in KINDS:
        yield "no such kind", shown(texts["kind"]), ", ".join(KINDS)
    for role in ANSWERS:
        if texts.get(role) and texts[role].lower() not in (*YES, *NO):
            yield f"{role} is answered by yes or no", shown(texts[role]), "yes, no, or an empty cell"


@cache
def _shipped_keys() -> frozenset[str]:
    return frozenset(name_key(each) for each in shipped_candidates())


def _value_faults(values: dict[str, float]) -> Iterator[Told]:
    if "aged impedance" not in values:
        yield "the impedance at the end of life must be given", None, "a number under aged impedance"
    if "impedance" not in values and math.isnan(_bond_line(values)):
        allowed = "impedance, or bond line (or yield stress and pressure) and conductivity"
        yield "neither an impedance nor bond line and conductivity is given", None, allowed
    if "impedance" not in values and "conductivity" not in values and not math.isnan(_bond_line(values)):
        yield "a bond line needs its conductivity", None, "a number under conductivity"
    for low, high in PAIRS:
        if (low in values) != (high in values):
            yield f"{low} and {high} belong together", None, "both, or neither"
    for off, value in OFFS.items():
        if off in values and values[off] >= values.get(value, math.inf):
            yield f"the {off} is as large as the {value}", None, "less"


def _bond_line(values: dict[str, float]) -> float:
    """Bond line [m]: given, or by yield stress and pressure; NaN where neither is."""
    if "bond line" in values:
        return values["bond line"]
    if "yield stress" in values and "pressure" in values:
        return filled_polymer_bond_line(values["yield stress"], values["pressure"])
    return math.nan


def _candidate(texts: dict[str, str], values: dict[str, float]) -> Candidate | str:
    """The candidate of a row, or what contradicts itself in it."""
    bond_line, nan = _bond_line(values), math.nan
    by_law = "yield stress" in values and "bond line" not in values
    new = _new(values, bond_line)
    try:
        return Candidate(
            name=texts["name"],
            kind=texts.get("kind", "").lower() or "other",
            impedance_new=new,
            impedance_aged=_aged(values, new),
            bond_line=_around(bond_line, values.get("bond line tolerance", 0.0)),
            conductivity=_around(values.get("conductivity", nan), values.get("conductivity tolerance", 0.0)),
            contact=values.get("contact", 0.0),
            pressure_exponent=values.get("pressure exponent", PRASHER_EXPONENT if by_law else 0.0),
            pressure_reference=values.get("pressure", nan),
            pressure_range=_pair(values, "lowest pressure", "highest pressure"),
            thickness=values.get("thickness", nan),
            compression=_pair(values, "lowest compression", "highest compression"),
            conducts=_answer(texts.get("conducts electricity", "")),
            temperature_most=values.get("highest temperature", nan),
            reworkable=_answer(texts.get("reworkable", "")),
            source=texts.get("source", "") or OWN_SOURCE,
            note=texts.get("note", ""),
        )
    except ValueError as error:
        return str(error).removeprefix(f"{texts['name']}: ")


def _new(values: dict[str, float], bond_line: float) -> Triple:
    """Low, typical and high impedance when new."""
    if "impedance" in values:
        typical = values["impedance"]
        return values.get("impedance low", typical), typical, values.get("impedance high", typical)
    k, contact = values["conductivity"], values.get("contact", 0.0)
    offs = values.get("bond line tolerance", 0.0), values.get("conductivity tolerance", 0.0)
    bulk = bond_line / k
    low, high = spread_around(bulk, bulk_uncertainty(bond_line, offs[0], k, offs[1]))
    return values.get("impedance low", low + contact), bulk + contact, values.get("impedance high", high + contact)


def _aged(values: dict[str, float], new: Triple) -> Triple:
    """Low, typical and high impedance at the end of life; where low or high is not given, as far from typical as when new."""
    low, high = (values["aged impedance"] * (new[end] / new[1]) for end in (0, 2))
    return values.get("aged impedance low", low), values["aged impedance"], values.get("aged impedance high", high)


def _pair(values: dict[str, float], low: str, high: str) -> tuple[float, float]:
    return values.get(low, math.nan), values.get(high, math.nan)


def _around(value: float, off: float) -> Triple:
    return value - off, value, value + off


def _answer(text: str) -> bool | None:
    return None if not text else text.lower() in YES
