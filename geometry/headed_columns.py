"""Columns of a table whose first row are heads with units: "bond line [um]"."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from plancha.geometry.delimited_text import Sheet, shown
from plancha.geometry.faults import Fault
from plancha.geometry.units import UnitFault, to_si

HEAD = re.compile(r"(?P<word>[^\[(]*?)\s*(?:[\[(]\s*(?P<unit>.*?)\s*[\])])?")


@dataclass(frozen=True)
class Column:
    """A column: what it holds, where, its head, and value = factor * cell + offset in SI."""

    role: str
    place: int
    head: str
    factor: float = 1.0
    offset: float = 0.0


def columns_of(
    sheet: Sheet, column: Callable[[int, str], Column], role: Callable[[str], str | None]
) -> tuple[dict[str, Column], list[Fault]]:
    """Columns of a sheet by role, and the faults of its heads.

    Parameters
    ----------
    sheet : Sheet
        First row: the heads.
    column : callable
        The column at a place (from 0) under a head; a UnitFault where the head is wrong.
    role : callable
        What the word of a head tells that the column holds; None where unknown. Stands in where ``column`` fails.
    """
    line, text = sheet.rows[0]
    columns: dict[str, Column] = {}
    faults: list[Fault] = []
    for place, head in enumerate(sheet.cells(text)):
        at = f'column "{shown(head)}"'
        try:
            found = column(place, head)
        except UnitFault as error:
            faults.append(Fault(at, error.message, None, error.allowed, error.hint, sheet.file, line))
            found = Column(role(head) or f"column {place}", place, head)
        if found.role in columns:
            message = f'"{shown(columns[found.role].head)}" and "{shown(head)}" say the same'
            faults.append(Fault(at, message, hint="keep one of them", file=sheet.file, line=line))
        columns[found.role] = found
    return columns, faults


def scale(unit: str, dimension: str) -> tuple[float, float]:
    """Factor and offset from a unit to SI; an offset for temperatures alone.

    Raises
    ------
    UnitFault
        If it is no unit of the dimension.
    """
    if dimension != "temperature":
        return to_si(f"1 {unit}", dimension), 0.0
    low, high = to_si(f"300 {unit}", dimension), to_si(f"400 {unit}", dimension)
    factor = (high - low) / 100
    return factor, float(f"{low - 300 * factor:.13g}")
