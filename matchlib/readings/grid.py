"""A file's cells before they mean anything: header, rows, and where each row stands.

Tables, spreadsheets, CGATS and CxF files all become a `Grid`, so that one place
(`matchlib.readings.rows`) decides what a row means and why it is refused.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

__all__ = [
    "MAX_BYTES",
    "MAX_CELLS",
    "MAX_COLUMNS",
    "MAX_ROWS",
    "Cell",
    "Grid",
    "Trouble",
    "is_blank",
]

MAX_BYTES = 64 * 2**20
MAX_ROWS = 100_000
MAX_COLUMNS = 10_000
MAX_CELLS = 10_000_000  # some 600 MB of small texts


@dataclass(frozen=True, slots=True)
class Trouble:
    """A cell that the file itself could not give a value for.

    Parameters
    ----------
    reason : str
        Why, in the user's words.
    remedy : str
        What to do.
    """

    reason: str
    remedy: str


Cell = str | float | int | bool | dt.datetime | dt.date | dt.time | dt.timedelta | Trouble | None


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of one table.

    Parameters
    ----------
    header : tuple of str
        Column names as written.
    rows : tuple of (int, tuple)
        Row number as its user counts, and the cells; blank rows left out.
    row_word : str
        What the number counts: ``row``, ``line``, ``column`` or ``object``.
    defaults : tuple of (str, str)
        Known columns that the file states once for all rows.
    scale : str, optional
        ``unit`` or ``percent`` where the format itself declares the reflectance scale.
    warnings : tuple of str
        What was noticed while reading.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    row_word: str = "row"
    defaults: tuple[tuple[str, str], ...] = ()
    scale: str | None = None
    warnings: tuple[str, ...] = ()

    def transposed(self) -> Grid:
        """Return the grid with wavelengths, which stood in rows, as columns.

        Returns
        -------
        Grid
            One row a column of the original, numbered as the columns were.
        """
        width = len(self.header)
        names = ("panel", *(_label(cells[0] if cells else None) for _, cells in self.rows))
        rows: list[tuple[int, tuple[Cell, ...]]] = []
        for i in range(1, width):
            cells = tuple(c[i] if i < len(c) else None for _, c in self.rows)
            if self.header[i].strip() or not all(map(is_blank, cells)):
                rows.append((i + 1, (self.header[i], *cells)))
        return replace(self, header=names, rows=tuple(rows), row_word="column")


def is_blank(cell: Cell) -> bool:
    """Whether a cell holds nothing.

    Parameters
    ----------
    cell : Cell
        Any cell.

    Returns
    -------
    bool
        True for None and for white space.
    """
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _label(cell: Cell) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None or isinstance(cell, Trouble) else str(cell).strip()
