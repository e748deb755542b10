"""What a test measured: probe temperatures from a table, or an infrared map from a grid."""

import difflib
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plancha.geometry.delimited_text import (
    SEPARATORS,
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
from plancha.geometry.units import UnitFault

ROLES = {"probe": "probe", "name": "probe", "temperature": "temperature", "uncertainty": "uncertainty"}
DIMENSIONS = {"temperature": "temperature", "uncertainty": "temperature difference"}
HEADS = "probe, temperature [degC], uncertainty [K]"
COLDEST, HOTTEST = 150.0, 2000.0  # K: what lies outside is a slip of the unit
FINEST, COARSEST = 1e-6, 1e3  # K, of an uncertainty: what lies outside is a slip too
MAX_CELLS = 4_000_000  # of an infrared map


@dataclass(frozen=True)
class Readings:
    """Temperatures [K] of named probes, each with its standard uncertainty [K] (one standard deviation), or None for all."""

    probes: tuple[str, ...]
    temperatures: np.ndarray
    uncertainties: np.ndarray | None


def read_readings(path: str | os.PathLike[str], probes: Sequence[str], shown_as: str | None = None) -> Readings:
    """Readings of a test from a table of probes.

    Parameters
    ----------
    path : path
        Cells parted by commas, semicolons or tabs; decimal commas where the separator leaves no doubt; lines that begin
        with # are comments. First row: the heads probe, temperature and, if wanted, uncertainty, in any order, with
        units: "temperature [degC]", "uncertainty [K]" (one standard deviation). Then one probe per row.
    probes : sequence of str
        The study's probes: those that a row may name.
    shown_as : str, optional
        The file's name in messages.

    Raises
    ------
    StudyError
        With all that is wrong: heads, unknown probes (with the nearest), probes named twice, cells that are no numbers,
        temperatures outside 150 K to 2000 K, uncertainties that are not above 0, or outside 1e-6 K to 1000 K.
    """
    sheet = read_sheet(path, os.fspath(path) if shown_as is None else shown_as)
    columns = _columns(sheet)
    numeric = {column.place for column in columns.values() if column.role != "probe"}
    rows = [(line, sheet.cells(text)) for line, text in sheet.rows[1:]]
    decimal_comma = uses_decimal_comma(cell for _, cells in rows for n, cell in enumerate(cells) if n in numeric)
    faults: list[Fault] = []
    seen: dict[str, int] = {}
    for row, (line, cells) in enumerate(rows, 1):
        faults += _row_faults(sheet, columns, decimal_comma, probes, seen, row, line, cells)
    if not rows:
        faults.append(
            Fault("", "the table has no readings", allowed="one probe per row below the heads", file=sheet.file)
        )
    if faults:
        raise StudyError(first_faults(iter(faults), sheet.file))
    return _readings(columns, [cells for _, cells in rows], decimal_comma)


def _readings(columns: dict[str, Column], rows: list[list[str]], decimal_comma: bool) -> Readings:
    def values(role: str) -> np.ndarray:
        """One column as numbers in SI."""
        column = columns[role]
        return np.array([_value(column, cells, decimal_comma) for cells in rows])

    names = tuple(cells[columns["probe"].place] for cells in rows)
    return Readings(names, values("temperature"), values("uncertainty") if "uncertainty" in columns else None)


def _value(column: Column, cells: list[str], decimal_comma: bool) -> float:
    return column.factor * number(cells[column.place], decimal_comma) + column.offset


def _columns(sheet: Sheet) -> dict[str, Column]:
    line = sheet.rows[0][0]
    columns, faults = columns_of(sheet, _column, _word)
    for role in ("probe", "temperature"):
        if role not in columns:
            faults.append(Fault("heads", f"there is no column {role}", allowed=HEADS, file=sheet.file, line=line))
    if faults:
        raise StudyError(faults)
    return columns


def _word(head: str) -> str | None:
    found = HEAD.fullmatch(head)
    return ROLES.get(found["word"].strip().lower()) if found else None


def _column(place: int, head: str) -> Column:
    found, role = HEAD.fullmatch(head), _word(head)
    if found is None or role is None:
        raise UnitFault("unknown column", HEADS)
    if role == "probe":
        return Column(role, place, head)
    if not found["unit"]:
        example = {"temperature": "degC", "uncertainty": "K"}[role]
        raise UnitFault("the head has no unit", f'a unit in brackets, as in "{found["word"]} [{example}]"')
    return Column(role, place, head, *scale(found["unit"], DIMENSIONS[role]))


def _row_faults(
    sheet: Sheet,
    columns: dict[str, Column],
    decimal_comma: bool,
    probes: Sequence[str],
    seen: dict[str, int],
    row: int,
    line: int,
    cells: list[str],
) -> list[Fault]:
    if len(cells) != len(columns):
        allowed = f"{len(columns)} cells, as many as heads"
        hint = "quote a name that holds the separator" if len(cells) > len(columns) else ""
        return [Fault(f"row {row}", "wrong number of cells", len(cells), allowed, hint, sheet.file, line)]
    faults = _name_faults(sheet, columns["probe"], probes, seen, row, line, cells)
    for column in columns.values():
        if column.role != "probe":
            place = f'row {row}, column "{column.head}"'
            fault = cell_fault(cells[column.place], decimal_comma, -math.inf, place, sheet.file, line)
            fault = fault or _bound_fault(column, _value(column, cells, decimal_comma), cells, place, sheet.file, line)
            faults += [fault] if fault else []
    return faults


def _name_faults(
    sheet: Sheet, column: Column, probes: Sequence[str], seen: dict[str, int], row: int, line: int, cells: list[str]
) -> list[Fault]:
    name, place = cells[column.place], f'row {row}, column "{column.head}"'
    if name not in probes:
        near = difflib.get_close_matches(name[:80], probes, 1)
        allowed = ", ".join(list(probes)[:20]) or "none: the study has no probes"
        hint = f'did you mean "{near[0]}"?' if near else ""
        return [Fault(place, "no probe of the study has this name", shown(name), allowed, hint, sheet.file, line)]
    if name in seen:
        message, hint = f"row {seen[name]} has this probe already", "keep one reading of each probe, such as the mean"
        return [Fault(place, message, shown(name), "each probe once", hint, sheet.file, line)]
    seen[name] = row
    return []


def _bound_fault(column: Column, value: float, cells: list[str], place: str, file: str, line: int) -> Fault | None:
    cell = shown(cells[column.place])
    if column.role == "uncertainty" and not value > 0:
        hint = "leave the column out if no uncertainty is known"
        return Fault(place, "an uncertainty is above 0", cell, "one standard deviation", hint, file, line)
    if column.role == "uncertainty" and not FINEST <= value <= COARSEST:
        allowed = f"{FINEST:g} K to {COARSEST:g} K"
        return Fault(place, "this is no plausible uncertainty", cell, allowed, "check the unit in the head", file, line)
    if column.role == "temperature" and not COLDEST <= value <= HOTTEST:
        allowed = f"{COLDEST:g} K to {HOTTEST:g} K"
        return Fault(place, "this is no plausible temperature", cell, allowed, "check the unit in the head", file, line)
    return None


def read_infrared(
    path: str | os.PathLike[str], unit: str = "degC", max_cells: int = MAX_CELLS, shown_as: str | None = None
) -> np.ndarray:
    """Temperatures of an infrared map from a grid that reads like the picture, as seen from the cooled side.

    Parameters
    ----------
    path : path
        As for `read_readings`, without heads: numbers alone, as many in each row.
    unit : str
        Of the cells: degC, K or degF.
    max_cells : int
        Most cells.
    shown_as : str, optional
        The file's name in messages.

    Returns
    -------
    array (ny, nx), [K]
        Row 0 is the BOTTOM row, that is the file's last.

    Raises
    ------
    StudyError
        With all that is wrong, by row and column.
    """
    sheet = read_sheet(path, os.fspath(path) if shown_as is None else shown_as)
    try:
        factor, offset = scale(unit, "temperature")
    except UnitFault as error:
        raise StudyError([Fault("unit", error.message, unit, "degC, K or degF", error.hint, sheet.file)]) from None
    rows = [(line, sheet.cells(text)) for line, text in sheet.rows]
    count = len(rows[0][1])
    if count * len(rows) > max_cells:
        found, allowed = f"{count} x {len(rows)} cells", f"{max_cells} cells at most"
        raise StudyError([Fault("", "the map is too fine", found, allowed, "average over groups of cells", sheet.file)])
    decimal_comma = sheet.separator != "," and uses_decimal_comma(cell for _, cells in rows for cell in cells)
    column = Column("temperature", 0, "", factor, offset)
    faults = (
        fault
        for row, (line, cells) in enumerate(rows, 1)
        for fault in _map_row_faults(sheet, column, decimal_comma, count, row, line, cells)
    )
    found_faults = first_faults(faults, sheet.file)
    if found_faults:
        raise StudyError(found_faults)
    values = np.array([[number(cell, decimal_comma) for cell in cells] for _, cells in rows])
    return (factor * values + offset)[::-1]


def _map_row_faults(
    sheet: Sheet, column: Column, decimal_comma: bool, count: int, row: int, line: int, cells: list[str]
) -> list[Fault]:
    if len(cells) != count:
        allowed, separator = f"{count} cells, as in the first row", SEPARATORS.get(sheet.separator, "space")
        hint = f"a {separator} too many at the end" if len(cells) == count + 1 and not cells[-1] else ""
        return [Fault(f"row {row}", "wrong number of cells", len(cells), allowed, hint, sheet.file, line)]
    faults = []
    for place, cell in enumerate(cells, 1):
        at = f"row {row}, column {place}"
        fault = cell_fault(cell, decimal_comma, -math.inf, at, sheet.file, line)
        fault = fault or _bound_fault(column, _value(column, [cell], decimal_comma), [cell], at, sheet.file, line)
        faults += [fault] if fault else []
    return faults
