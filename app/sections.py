"""A titled table, as data: the terminal draws it, and the report lays the same out as a page."""

from collections.abc import Sequence
from dataclasses import dataclass

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text


@dataclass(frozen=True)
class Section:
    """A title, a table with its first column left and the others right, one row of it in bold, remarks below.

    Without rows and columns it is its title and remarks alone; without these as well it is nothing.
    """

    title: str
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    remarks: tuple[str, ...] = ()
    bold: int = -1

    def __rich__(self) -> Group:
        """As the terminal shows it; cells are taken as they stand: brackets in a user's names are no markup."""
        title = [Text(f"\n{self.title}", style="bold")] if self.title else []
        table = [self._table()] if self.columns else []
        return Group(*title, *table, *(Text(remark) for remark in self.remarks))

    def _table(self) -> Table:
        table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
        for number, column in enumerate(self.columns):
            table.add_column(Text(column), justify="left" if number == 0 else "right", overflow="fold")
        for number, row in enumerate(self.rows):
            table.add_row(*(Text(cell) for cell in row), style="bold" if number == self.bold else None)
        return table


NOTHING = Section("")


def section(
    title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], *remarks: str, bold: int = -1
) -> Section:
    """A section; remarks that are empty are left out."""
    kept = tuple(remark for remark in remarks if remark)
    return Section(title, tuple(columns), tuple(tuple(row) for row in rows), kept, bold)


def value_text(value: float | None, form: str, absent: str = "-") -> str:
    """A number by a format, or what stands where there is none."""
    return absent if value is None else format(value, form)
