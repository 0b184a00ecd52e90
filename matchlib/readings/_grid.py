"""A file's cells before they mean anything, and how many there may be."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from matchlib.errors import FileError

__all__ = [
    "MAX_CELLS",
    "MAX_COLUMNS",
    "MAX_ROWS",
    "Cell",
    "CellFault",
    "Collector",
    "Row",
    "Sheet",
    "is_blank",
    "too_many_rows",
]

MAX_ROWS = 100_000
MAX_COLUMNS = 2_000
MAX_CELLS = 4_000_000  # of small texts, which fit in memory


class CellFault(NamedTuple):
    """A cell that the file itself could give no value for: why, and what to do."""

    reason: str
    remedy: str


Cell = str | float | int | bool | dt.datetime | dt.date | dt.time | dt.timedelta | CellFault | None


class Row(NamedTuple):
    """The cells of one row, and its number as its user counts."""

    number: int
    cells: tuple[Cell, ...]

    def at(self, i: int) -> Cell:
        """Return a cell; None where it is blank, or the row ends before it."""
        cell = self.cells[i] if i < len(self.cells) else None
        return None if is_blank(cell) else cell


class Sheet(NamedTuple):
    """The rows of a text or of one sheet, blank ones left out, numbered as their user counts."""

    rows: tuple[Row, ...]
    name: str = ""
    warnings: tuple[str, ...] = ()


class Collector:
    """Gathers rows, and refuses a file before it fills the memory."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self._cells = 0

    def add(self, number: int, cells: tuple[Cell, ...]) -> None:
        """Keep a row, unless it is blank."""
        end = len(cells)
        while end and is_blank(cells[end - 1]):
            end -= 1
        cells = cells[:end]
        if not cells:
            return
        if len(cells) > MAX_COLUMNS:
            raise FileError(
                "This table has too many columns.",
                expected=f"at most {MAX_COLUMNS:,}",
                got=f"{len(cells):,} in row {number}",
                remedy="export only the columns of the table of readings.",
            )
        self.rows.append(Row(number, cells))
        self._cells += len(cells)
        if len(self.rows) > MAX_ROWS + 1 or self._cells > MAX_CELLS:
            raise too_many_rows()

    def next_sheet(self) -> tuple[Row, ...]:
        """Hand over the rows of one sheet and begin another; the cells are counted over all."""
        rows, self.rows = tuple(self.rows), []
        return rows


def too_many_rows() -> FileError:
    """Return the error for a table that is too long."""
    return FileError(
        "This table has too many rows.",
        expected=f"at most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells",
        remedy="split it into several files.",
    )


def is_blank(cell: Cell) -> bool:
    """Whether a cell holds nothing but white space."""
    return cell is None or (isinstance(cell, str) and not cell.strip())
