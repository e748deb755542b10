"""A power map written as a table of rectangular blocks, one per row, under heads that carry their unit."""

import re
from collections.abc import Iterator
from itertools import chain

import numpy as np

from plancha.geometry.delimited_text import Sheet, cell_fault, first_faults, number, shown, uses_decimal_comma
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.headed_columns import HEAD, Column, columns_of
from plancha.geometry.power_blocks import Block, block_edges, block_map, edge_tolerance, overlapping_pairs
from plancha.geometry.power_map import PowerMap
from plancha.geometry.units import UnitFault, show, to_si

ROLES = {
    "x": "x0", "x0": "x0", "x1": "x1", "width": "width",
    "y": "y0", "y0": "y0", "y1": "y1", "height": "height",
    "power": "power", "flux": "flux", "name": "name",
}  # fmt: skip
DIMENSION = {"power": "power", "flux": "flux"}  # all others but the name are lengths
NEEDED = (("x0",), ("y0",), ("width", "x1"), ("height", "y1"), ("power", "flux"))
HEADS = "x, y, width (or x1), height (or y1), power or flux, name; with units, as in x [mm], power [W]"


def is_table(sheet: Sheet) -> bool:
    """True if the first row holds at least one head of a table of blocks."""
    return any(_role(head) for head in sheet.cells(sheet.rows[0][1]))


def read_table(sheet: Sheet, width: float, height: float, max_cells: int) -> PowerMap:
    """Map of a table of rectangular blocks.

    Parameters
    ----------
    sheet : Sheet
        First row: heads in any order, in capitals or not: x (or x0) and width or x1, y (or y0) and height or y1, power
        or flux, each with its unit ("x [mm]", "power (W)"); name if wanted. Then one block per row, in coordinates
        from the footprint's lower left corner. Area that no block covers gives off 0 W.
    width, height : float, [m]
        The footprint on which the blocks lie, as it stands in the table's own view.
    max_cells : int
        Most cells that the grid of all the blocks' edges may have.

    Raises
    ------
    StudyError
        If columns are missing, twice there or unknown, cells are no numbers or negative, blocks have no extent, reach
        outside the footprint or overlap, or there are too many. All faults of a kind come at once, up to twenty.
    """
    columns = _columns(sheet)
    decimal_comma = _decimal_comma(sheet, columns)
    blocks, faults = _blocks(sheet, columns, decimal_comma, edge_tolerance(width, height))
    found = first_faults(chain(faults, _placing_faults(sheet, blocks, width, height)), sheet.file)
    if not blocks and not found:
        found.append(Fault("", "the table has no blocks", file=sheet.file, allowed="one block per row below the heads"))
    if not found:
        found = _size_faults(sheet, list(blocks.values()), width, height, max_cells)
    if found:
        raise StudyError(found)
    return block_map(width, height, list(blocks.values()))


def _role(head: str) -> str | None:
    found = HEAD.fullmatch(head)
    return ROLES.get(re.sub(r"[\s_]", "", found["word"]).lower()) if found else None


def _columns(sheet: Sheet) -> dict[str, Column]:
    line = sheet.rows[0][0]
    columns, faults = columns_of(sheet, _column, _role)
    faults += [Fault("heads", *_choice(columns, choice), file=sheet.file, line=line) for choice in NEEDED
               if sum(role in columns for role in choice) != 1]  # fmt: skip
    if faults:
        raise StudyError(faults)
    return columns


def _column(place: int, head: str) -> Column:
    found, role = HEAD.fullmatch(head), _role(head)
    if found is None or role is None:
        raise UnitFault("unknown column", HEADS)
    if role == "name":
        return Column(role, place, head, 1.0)
    dimension = DIMENSION.get(role, "length")
    if not found["unit"]:
        example = {"length": "mm", "power": "W", "flux": "W/cm^2"}[dimension]
        raise UnitFault("the head has no unit", f'a unit in brackets, as in "{found["word"]} [{example}]"')
    return Column(role, place, head, to_si(f"1 {found['unit']}", dimension))


def _choice(columns: dict[str, Column], choice: tuple[str, ...]) -> tuple[str, None, str]:
    both = " and ".join(f'"{columns[role].head}"' for role in choice if role in columns)
    if both:
        return f"{both} say the same", None, "one of them"
    return f"there is no column {' or '.join(role.removesuffix('0') for role in choice)}", None, HEADS


def _decimal_comma(sheet: Sheet, columns: dict[str, Column]) -> bool:
    places = {column.place for column in columns.values() if column.role != "name"}
    rows = (sheet.cells(text) for _, text in sheet.rows[1:])
    return uses_decimal_comma(cell for cells in rows for place, cell in enumerate(cells) if place in places)


def _blocks(
    sheet: Sheet, columns: dict[str, Column], decimal_comma: bool, thinnest: float
) -> tuple[dict[int, Block], list[Fault]]:
    """Good blocks by row number (1 = first below the heads), and the faults of the others."""
    blocks: dict[int, Block] = {}
    faults: list[Fault] = []
    for row, (line, text) in enumerate(sheet.rows[1:], 1):
        cells = sheet.cells(text)
        found = list(_row_faults(sheet, columns, decimal_comma, row, line, cells))
        if not found:
            block = _block(cells, columns, decimal_comma)
            if min(block.right - block.left, block.top - block.bottom) > thinnest:
                blocks[row] = block
            else:
                found = [Fault(f"row {row}", "the block has no extent", _extent(block), file=sheet.file, line=line,
                               allowed="right of left and top above bottom")]  # fmt: skip
        faults += found
    return blocks, faults


def _row_faults(
    sheet: Sheet, columns: dict[str, Column], decimal_comma: bool, row: int, line: int, cells: list[str]
) -> Iterator[Fault]:
    if len(cells) != len(columns):
        allowed = f"{len(columns)} cells, as many as heads"
        hint = "quote a name that holds the separator" if len(cells) > len(columns) else ""
        yield Fault(f"row {row}", "wrong number of cells", len(cells), allowed, hint, sheet.file, line)
        return
    for column in columns.values():
        if column.role != "name":
            place = f'row {row}, column "{column.head}"'
            lowest = 0.0 if column.role in ("power", "flux", "width", "height") else -np.inf
            fault = cell_fault(cells[column.place], decimal_comma, lowest, place, sheet.file, line)
            if fault:
                yield fault


def _block(cells: list[str], columns: dict[str, Column], decimal_comma: bool) -> Block:
    si = {c.role: number(cells[c.place], decimal_comma) * c.factor for c in columns.values() if c.role != "name"}
    right = si["x1"] if "x1" in si else si["x0"] + si["width"]
    top = si["y1"] if "y1" in si else si["y0"] + si["height"]
    watts = si["power"] if "power" in si else si["flux"] * (right - si["x0"]) * (top - si["y0"])
    return Block(si["x0"], right, si["y0"], top, watts, cells[columns["name"].place] if "name" in columns else "")


def _extent(block: Block) -> str:
    x0, x1, y0, y1 = (show(value, "length") for value in (block.left, block.right, block.bottom, block.top))
    return f"x {x0} to {x1}, y {y0} to {y1}"


def _placing_faults(sheet: Sheet, blocks: dict[int, Block], width: float, height: float) -> Iterator[Fault]:
    tolerance = edge_tolerance(width, height)
    allowed = f"x 0 to {show(width, 'length')}, y 0 to {show(height, 'length')}"
    for row, block in blocks.items():
        if min(block.left, block.bottom, width - block.right, height - block.top) < -tolerance:
            message = f"the block{_called(block)} reaches outside the footprint"
            hint = "coordinates start at the footprint's lower left corner"
            yield Fault(f"row {row}", message, _extent(block), allowed, hint, sheet.file, sheet.rows[row][0])
    rows = list(blocks)
    for pair in overlapping_pairs(list(blocks.values()), tolerance):
        one, other = (rows[place] for place in pair)
        first, second = blocks[one], blocks[other]
        common = Block(max(first.left, second.left), min(first.right, second.right),
                       max(first.bottom, second.bottom), min(first.top, second.top), 0.0)  # fmt: skip
        message = f"the blocks{_called(first)}{' and' if first.name else ''}{_called(second)} overlap"
        yield Fault(f"rows {one} and {other}", message, _extent(common), file=sheet.file, line=sheet.rows[other][0],
                    allowed="blocks that do not cover common area")  # fmt: skip


def _called(block: Block) -> str:
    return f' "{shown(block.name)}"' if block.name else ""


def _size_faults(sheet: Sheet, blocks: list[Block], width: float, height: float, max_cells: int) -> list[Fault]:
    tolerance = edge_tolerance(width, height)
    x, _ = block_edges(width, np.array([(b.left, b.right) for b in blocks]).ravel(), tolerance)
    y, _ = block_edges(height, np.array([(b.bottom, b.top) for b in blocks]).ravel(), tolerance)
    columns, rows = x.size - 1, y.size - 1
    if columns * rows <= max_cells:
        return []
    found, allowed = f"{columns} x {rows}", f"{max_cells} cells at most"
    return [Fault("", "the blocks' edges make too many cells", found, allowed, "align the edges", sheet.file)]
