"""Power maps from CSV files: a plain grid, or a table of rectangular blocks."""

import math
import os
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np

from plancha.geometry.delimited_text import (
    LARGEST,
    SEPARATORS,
    SPACES,
    Sheet,
    cell_fault,
    first_faults,
    number,
    read_sheet,
    uses_decimal_comma,
)
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.power_map import Floats, PowerMap, mirrored, scaled, total_power, turned
from plancha.geometry.power_table import is_table, read_table
from plancha.geometry.units import UnitFault, to_si

MAX_CELLS = 5000 * 5000
TOTAL_TOLERANCE = 0.01
VIEWS = ("cooled side", "active side")
GRID_UNITS = "W, W/cm^2, W/mm^2 or W/m^2"


def read_power_map(
    path: str | os.PathLike[str],
    *,
    width: float,
    height: float,
    seen_from: str | None,
    power: float | None = None,
    unit: str | None = None,
    quarter_turns: int = 0,
    mirror: bool = False,
    scale: bool = False,
    max_cells: int = MAX_CELLS,
    shown_as: str | None = None,
) -> PowerMap:
    """Power map of a component from a CSV file.

    The order of operations is fixed: the grid is laid down like the picture, first row at the top (a table's blocks
    by their coordinates, from the lower left corner); a map seen from the active side is mirrored left-right; then
    `mirror` mirrors left-right; then come the quarter turns, counter-clockwise. The outcome is seen from the cooled
    side.

    Parameters
    ----------
    path : path
        Cells parted by commas, semicolons, tabs or spaces; decimal commas where the separator leaves no doubt. Lines
        that begin with # are comments. Either numbers alone: a grid of equal cells over the whole footprint; or, below
        heads with units, a table of blocks (see `power_table.read_table`).
    width, height : float, [m]
        The component's footprint in plan, that is after all turning.
    seen_from : "cooled side" or "active side"
        Whose view the file's rows and columns are.
    power : float, [W], optional
        The component's stated power; without it the map's own total is the power.
    unit : str, optional
        Of a grid's cells: W (per cell), W/cm^2, W/mm^2 or W/m^2. A table has its units in its heads.
    quarter_turns : int
        Counter-clockwise.
    mirror : bool
        Left-right, before the turns.
    scale : bool
        Scale the map to the stated power, however far it is off. If not, the map's own total stays, within 1 %.
    max_cells : int
        Most cells of a grid, [-].
    shown_as : str, optional
        The file's name in messages, as the user wrote it; the path as given if left out.

    Raises
    ------
    StudyError
        With all that is wrong: file, separator, cells, units, blocks, total.
    ValueError
        If width or height is not above 0, or power is negative.
    """
    if not (width > 0.0 and height > 0.0) or (power is not None and not 0.0 <= power < math.inf):
        raise ValueError(f"width, height and power must be above 0, got {width}, {height}, {power}")
    file = os.fspath(path) if shown_as is None else shown_as
    faults = _view_faults(seen_from, scale, power, file)
    size = (width, height) if quarter_turns % 2 == 0 else (height, width)
    try:
        sheet = read_sheet(path, file)
        table = is_table(sheet)
        power_map = read_table(sheet, *size, max_cells) if table else _grid_map(sheet, *size, unit, max_cells)
    except StudyError as error:
        raise StudyError([*faults, *error.faults]) from None
    faults += _total_faults(total_power(power_map), power, scale, file)
    if faults:
        raise StudyError(faults)
    if (seen_from == "active side") != mirror:  # mirrored twice is not mirrored
        power_map = mirrored(power_map)
    power_map = turned(power_map, quarter_turns)
    return scaled(power_map, power) if scale and power is not None else power_map


def read_grid(
    path: str | os.PathLike[str],
    *,
    unit: str,
    dimension: str,
    max_cells: int = MAX_CELLS,
    shown_as: str | None = None,
) -> Floats:
    """Grid of numbers, 0 or more, from a CSV file that reads like the picture.

    Parameters
    ----------
    path : path
        As for `read_power_map`, but a grid only.
    unit : str
        Of the cells, such as "W/m^2/K".
    dimension : str
        What the cells are: a key of `units.DIMENSIONS`, such as "coefficient".
    max_cells : int
        Most cells, [-].
    shown_as : str, optional
        The file's name in messages.

    Returns
    -------
    array (ny, nx), [SI unit of the dimension]
        Row 0 is the BOTTOM row, that is the file's last.

    Raises
    ------
    StudyError
        With all that is wrong.
    """
    sheet = read_sheet(path, os.fspath(path) if shown_as is None else shown_as)
    factor, faults = _factor(unit, dimension, sheet.file)
    values = _numbers(sheet, max_cells, faults)
    values *= factor
    return values[::-1]


def _view_faults(seen_from: str | None, scale: bool, power: float | None, file: str) -> list[Fault]:
    faults = []
    if seen_from not in VIEWS:
        message = "it must be said from which side the map is seen"
        allowed, hint = " or ".join(VIEWS), "a flip chip's layout is drawn from its active side"
        faults.append(Fault("seen_from", message, seen_from, allowed, hint, file))
    if scale and power is None:
        faults.append(Fault("scale", "there is no power to scale the map to", hint="state the power", file=file))
    return faults


def _total_faults(total: float, power: float | None, scale: bool, file: str) -> list[Fault]:
    if total < 1 / LARGEST and power != 0.0:
        stated = "a power above 0 W" if power is None else f"{power:g} W"
        return [Fault("total", "the map gives off no power at all", f"{total:g} W", stated, file=file)]
    if scale or power is None or abs(total - power) <= TOTAL_TOLERANCE * power:
        return []
    ratio = f", {total / power:.4g} times it" if power else ""
    message = f"the map's total is not the stated power{ratio}"
    allowed = f"{power:g} W within {100 * TOTAL_TOLERANCE:g} %"
    hint = "check unit and size, or write scale = true to scale the map"
    return [Fault("total", message, f"{total:.6g} W", allowed, hint, file)]


def _grid_map(sheet: Sheet, width: float, height: float, unit: str | None, max_cells: int) -> PowerMap:
    if unit is None:
        factor, faults = 1.0, [Fault("unit", "a grid needs the unit of its cells", allowed=GRID_UNITS, file=sheet.file)]
    else:
        factor, faults = _factor(unit, "flux" if "/" in unit else "power", sheet.file)
    values = _numbers(sheet, max_cells, faults)
    rows, columns = values.shape
    if unit is not None and "/" in unit:
        factor *= width * height / values.size
    values *= factor
    upright = values[::-1].copy()
    upright.setflags(write=False)
    return PowerMap(np.linspace(0.0, width, columns + 1), np.linspace(0.0, height, rows + 1), upright)


def _factor(unit: str, dimension: str, file: str) -> tuple[float, list[Fault]]:
    try:
        return to_si(f"1 {unit}", dimension), []
    except UnitFault as error:
        allowed = GRID_UNITS if dimension in ("power", "flux") else error.allowed
        return 1.0, [Fault("unit", "the unit of the cells cannot be used", unit, allowed, error.hint, file)]


def _numbers(sheet: Sheet, max_cells: int, faults: list[Fault]) -> Floats:
    """The grid's numbers as they stand, first row first; raises with `faults` and those of the cells."""
    columns = len(sheet.cells(sheet.rows[0][1]))
    if columns * len(sheet.rows) > max_cells:
        found, allowed = f"{columns} x {len(sheet.rows)} cells", f"{max_cells} cells at most"
        hint = "average over groups of cells"
        raise StudyError([*faults, Fault("", "the grid is too fine", found, allowed, hint, sheet.file)])
    texts = [text for _, text in sheet.rows]
    quoted_commas = sheet.separator == "," and any('"' in text for text in texts)
    if quoted_commas:
        decimal_comma = uses_decimal_comma(cell for text in texts for cell in sheet.cells(text))
    else:
        decimal_comma = sheet.separator != "," and uses_decimal_comma(texts)
    values = None if quoted_commas else _read_at_once(texts, sheet.separator, decimal_comma)
    if values is None or not (values.min() >= 0.0 and values.max() <= LARGEST):
        cell_faults = first_faults(_cell_faults(sheet, decimal_comma), sheet.file)
        if not cell_faults and not faults:
            return np.array([[number(cell, decimal_comma) for cell in sheet.cells(text)] for text in texts])
        faults = [*faults, *cell_faults]
    if faults:
        raise StudyError(faults)
    assert values is not None
    return values


def _read_at_once(texts: list[str], separator: str, decimal_comma: bool) -> Floats | None:
    """All numbers by numpy's compiled reader; None if it stumbles, whatever over."""
    options: dict[str, Any] = {"delimiter": None if separator == SPACES else separator, "quotechar": '"'}
    plain = (text.replace(",", ".") for text in texts) if decimal_comma else texts
    try:
        return np.loadtxt(plain, comments=None, ndmin=2, **options)
    except ValueError:
        return None


def _cell_faults(sheet: Sheet, decimal_comma: bool) -> Iterator[Fault]:
    """What is wrong, row by row and cell by cell: slow, for files that the compiled reader refused."""
    sizes = Counter(len(sheet.cells(text)) for _, text in sheet.rows)
    usual = sizes.most_common(1)[0][0]
    for row, (line, text) in enumerate(sheet.rows, 1):
        cells = sheet.cells(text)
        if len(cells) != usual:
            allowed = f"{usual} cells, as in most rows"
            separator = SEPARATORS.get(sheet.separator, "space")
            hint = f"a {separator} too many at the end" if len(cells) == usual + 1 and not cells[-1] else ""
            yield Fault(f"row {row}", "wrong number of cells", len(cells), allowed, hint, sheet.file, line)
        elif not _all_good(cells, decimal_comma):
            places = ((f"row {row}, column {column}", cell) for column, cell in enumerate(cells, 1))
            faults = (cell_fault(cell, decimal_comma, 0.0, place, sheet.file, line) for place, cell in places)
            yield from (fault for fault in faults if fault)


def _all_good(cells: list[str], decimal_comma: bool) -> bool:
    try:
        return all(0.0 <= number(cell, decimal_comma) <= LARGEST for cell in cells)
    except ValueError:
        return False
