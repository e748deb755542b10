"""A titled table of the terminal's output."""

from collections.abc import Sequence

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text


def section(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], *remarks: str, bold: int = -1) -> Group:
    """A titled table, first column left, the others right, one row in bold, with remarks below.

    Cells are taken as they stand: brackets in a user's names are no markup.
    """
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for number, column in enumerate(columns):
        table.add_column(Text(column), justify="left" if number == 0 else "right", overflow="fold")
    for number, row in enumerate(rows):
        table.add_row(*(Text(cell) for cell in row), style="bold" if number == bold else None)
    return Group(Text(f"\n{title}", style="bold"), table, *(Text(remark) for remark in remarks if remark))


def value_text(value: float | None, form: str, absent: str = "-") -> str:
    """A number by a format, or what stands where there is none."""
    return absent if value is None else format(value, form)
