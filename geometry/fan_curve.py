"""A fan's curve: static pressure over flow, as a maker measured it, from a table."""

import os
import re
from dataclasses import dataclass

import numpy as np

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
from plancha.geometry.headed_columns import HEAD, Column, columns_of
from plancha.geometry.units import UnitFault, show, to_si

ROLES = {
    "flow": "flow", "volume flow": "flow", "flow rate": "flow", "air flow": "flow", "airflow": "flow",
    "static pressure": "pressure", "pressure": "pressure",
}  # fmt: skip
DIMENSION = {"flow": "volume flow", "pressure": "pressure"}
EXAMPLE = {"flow": "CFM", "pressure": "Pa"}
HEADS = "flow and static pressure, with units, as in flow [CFM], static pressure [Pa]"
FEWEST = 3
FALLS = "pressure that falls to free delivery, the point of greatest flow being the lowest of all"
EXCHANGED = "are the columns exchanged, or is this the curve of a system?"


@dataclass(frozen=True, eq=False)
class FanCurve:
    """Static pressure [Pa] (n,) of a fan at its flows [m^3/s] (n,), from shut-off to free delivery, at one speed and density.

    Flow rises strictly, the last pressure is lower than all others, and nothing is negative; else ValueError. A dip or rise at the
    left is kept: see ``stall_flow``.
    """

    flow: np.ndarray
    pressure: np.ndarray

    def __post_init__(self) -> None:
        for name in ("flow", "pressure"):
            values = np.array(getattr(self, name), dtype=float)
            values.setflags(write=False)
            object.__setattr__(self, name, values)
        if self.flow.ndim != 1 or self.flow.shape != self.pressure.shape or self.flow.size < FEWEST:
            raise ValueError(
                f"a fan curve needs {FEWEST} points or more, not {self.flow.shape} and {self.pressure.shape}"
            )
        if not (np.isfinite(self.flow).all() and np.isfinite(self.pressure).all()):
            raise ValueError("the points of a fan curve are finite")
        if self.flow[0] < 0 or self.pressure.min() < 0 or not (np.diff(self.flow) > 0).all():
            raise ValueError("the flows of a fan curve rise strictly, and neither flow nor pressure is negative")
        if not _falls(self.pressure):
            raise ValueError(f"a fan curve has {FALLS}")

    @property
    def falling_from(self) -> int:
        """Index of the last local maximum: right of it the pressure falls strictly to free delivery."""
        rises = np.flatnonzero(np.diff(self.pressure) >= 0)
        return int(rises[-1]) + 1 if rises.size else 0

    @property
    def stall_flow(self) -> float | None:
        """Flow [m^3/s] at the last local maximum, None where the whole curve falls. Left of it the fan hunts and is loud."""
        return float(self.flow[self.falling_from]) if self.falling_from else None

    def __repr__(self) -> str:
        flows = f"{show(float(self.flow[0]), 'volume flow')} to {show(float(self.flow[-1]), 'volume flow')}"
        return f"FanCurve({self.flow.size} points, {flows}, at most {show(float(self.pressure.max()), 'pressure')})"


def _falls(pressure: np.ndarray) -> bool:
    return bool(pressure[-1] < pressure[:-1].min())


def read_fan_curve(path: str | os.PathLike[str], shown_as: str | None = None) -> FanCurve:
    """A fan's curve from a table of points.

    Parameters
    ----------
    path : path
        Cells parted by commas, semicolons or tabs; decimal commas where the separator leaves no doubt; lines that begin with # are
        comments. First row: the heads flow and static pressure in any order, with units: "flow [CFM]", "static pressure [Pa]".
        Then one point per row, in any order. Static pressure, not total: the velocity head at the outlet is lost.
    shown_as : str, optional
        The file's name in messages.

    Returns
    -------
    FanCurve
        Points sorted by flow, SI. A dip left of the last local maximum is kept, and its flow is ``stall_flow``.

    Raises
    ------
    StudyError
        With all that is wrong: heads, units, cells that are no numbers or negative, a flow twice, fewer than 3 points, a curve whose
        point of greatest flow is not the lowest.
    """
    sheet = read_sheet(path, os.fspath(path) if shown_as is None else shown_as)
    columns = _columns(sheet)
    rows = [(line, sheet.cells(text)) for line, text in sheet.rows[1:]]
    decimal_comma = uses_decimal_comma(cell for _, cells in rows for cell in cells)
    faults = [] if len(rows) >= FEWEST else [_too_few(sheet, len(rows))]
    points: dict[int, tuple[float, float]] = {}
    seen: dict[float, int] = {}
    for row, (line, cells) in enumerate(rows, 1):
        found = _row_faults(sheet, columns, decimal_comma, row, line, cells)
        if not found:
            flow, pressure = (_value(columns[role], cells, decimal_comma) for role in ("flow", "pressure"))
            found = _repeated(sheet, columns["flow"], seen, flow, row, line, cells)
            points[row] = (flow, pressure)
        faults += found
    faults = faults or _shape_faults(sheet, points)
    if faults:
        raise StudyError(first_faults(iter(faults), sheet.file))
    return FanCurve(*np.array(sorted(points.values())).T)


def _too_few(sheet: Sheet, count: int) -> Fault:
    hint = "take more points from the fan's curve, from shut-off to free delivery"
    return Fault("", "the curve has too few points", count, f"{FEWEST} or more", hint, sheet.file)


def _value(column: Column, cells: list[str], decimal_comma: bool) -> float:
    return column.factor * number(cells[column.place], decimal_comma)


def _role(head: str) -> str | None:
    found = HEAD.fullmatch(head)
    return ROLES.get(re.sub(r"[\s_]+", " ", found["word"]).strip().lower()) if found else None


def _columns(sheet: Sheet) -> dict[str, Column]:
    line = sheet.rows[0][0]
    columns, faults = columns_of(sheet, _column, _role)
    for role, name in (("flow", "flow"), ("pressure", "static pressure")):
        if role not in columns:
            faults.append(Fault("heads", f"there is no column {name}", allowed=HEADS, file=sheet.file, line=line))
    if faults:
        raise StudyError(first_faults(iter(faults), sheet.file))
    return columns


def _column(place: int, head: str) -> Column:
    found, role = HEAD.fullmatch(head), _role(head)
    if found is None or role is None:
        hint = "static pressure is due" if "total" in head.lower() else ""
        raise UnitFault("unknown column", HEADS, hint)
    if not found["unit"]:
        allowed = f'a unit in brackets, as in "{found["word"]} [{EXAMPLE[role]}]"'
        raise UnitFault("the head has no unit", allowed)
    return Column(role, place, head, to_si(f"1 {found['unit']}", DIMENSION[role]))


def _row_faults(
    sheet: Sheet, columns: dict[str, Column], decimal_comma: bool, row: int, line: int, cells: list[str]
) -> list[Fault]:
    if len(cells) != len(columns):
        allowed = f"{len(columns)} cells, as many as heads"
        return [Fault(f"row {row}", "wrong number of cells", len(cells), allowed, file=sheet.file, line=line)]
    told = (
        cell_fault(cells[each.place], decimal_comma, 0.0, f'row {row}, column "{each.head}"', sheet.file, line)
        for each in columns.values()
    )
    return [fault for fault in told if fault]


def _repeated(
    sheet: Sheet,
    column: Column,
    seen: dict[float, int],
    flow: float,
    row: int,
    line: int,
    cells: list[str],
) -> list[Fault]:
    same = seen.setdefault(flow, row)
    if same == row:
        return []
    message, place = f"row {same} has this flow already", f'row {row}, column "{column.head}"'
    cell, hint = shown(cells[column.place]), "keep one pressure at each flow"
    return [Fault(place, message, cell, "each flow once", hint, sheet.file, line)]


def _shape_faults(sheet: Sheet, points: dict[int, tuple[float, float]]) -> list[Fault]:
    row = max(points, key=lambda each: points[each][0])
    flow, pressure = points[row]
    if _falls(np.array([each for _, each in sorted(points.values())])):
        return []
    found = f"{show(pressure, 'pressure')} at {show(flow, 'volume flow')}"
    message = "the curve does not fall to free delivery"
    return [Fault(f"row {row}", message, found, FALLS, EXCHANGED, sheet.file, sheet.rows[row][0])]
