"""XLSX → grid, through openpyxl, behind checks that make a hostile file harmless.

Sizes are checked in the archive's directory before anything is unpacked (the unpacker stops at the
size stated there), and a document type declaration, without which no entity can be expanded, is
refused wherever it stands (see OWASP, "XML External Entity Prevention").
"""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from typing import Any

from matchlib.errors import FileError, MatchlibError
from matchlib.readings.delimited import refuse_too_many_rows
from matchlib.readings.grid import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Cell, Grid, Trouble, is_blank

__all__ = ["MAX_UNPACKED", "has_doctype", "read_spreadsheet"]

MAX_UNPACKED = 256 * 2**20
_MAX_PARTS = 2_000
_NO_VALUE = Trouble(
    "a formula without a stored value",
    "open the file in a spreadsheet program, save it, and import it again; or paste the values.",
)


def has_doctype(data: bytes) -> bool:
    """Whether XML text declares a document type, and with it perhaps entities.

    Parameters
    ----------
    data : bytes
        XML in any encoding that XML parsers know.

    Returns
    -------
    bool
        True if a DOCTYPE or ENTITY declaration stands anywhere.
    """
    plain = data.replace(b"\x00", b"").upper()  # UTF-16 becomes ASCII
    return b"<!DOCTYPE" in plain or b"<!ENTITY" in plain


def read_spreadsheet(data: bytes, *, sheet: str | None = None) -> Grid:
    """Read one sheet of an XLSX file.

    Parameters
    ----------
    data : bytes
        The whole file.
    sheet : str, optional
        Name of the sheet; the only one, or the first, by default.

    Returns
    -------
    Grid
        Its cells, formulas by their stored values.

    Raises
    ------
    FileError
        If it is no XLSX file, too large, or hostile.
    """
    formulas = _check_parts(data)
    try:
        grid, troubled = _read(data, sheet, values=True), None
        if formulas:
            troubled = _read(data, sheet, values=False)
    except MatchlibError:
        raise
    except Exception as error:
        # openpyxl raises whatever the broken part happens to trip over.
        raise FileError(
            f"This spreadsheet is damaged ({type(error).__name__}).",
            expected="an XLSX file",
            remedy="open it in a spreadsheet program and save it again.",
        ) from error
    return grid if troubled is None else _mark_formulas(grid, troubled)


def _check_parts(data: bytes) -> bool:
    formulas = False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            total = sum(p.file_size for p in parts)
            if len(parts) > _MAX_PARTS or total > MAX_UNPACKED:
                raise FileError(
                    "This spreadsheet unpacks to too much.",
                    expected=f"at most {_MAX_PARTS:,} parts and {MAX_UNPACKED // 2**20} MiB",
                    got=f"{len(parts):,} parts and {total / 2**20:,.0f} MiB",
                    remedy="save only the table of readings in a new file.",
                )
            for part in parts:
                if part.filename.endswith((".xml", ".rels", ".vml")):
                    xml = archive.read(part)
                    if has_doctype(xml):
                        raise FileError(
                            "This spreadsheet declares XML entities, as no spreadsheet program "
                            "does.",
                            got=f"a document type declaration in {part.filename[:80]!r}",
                            remedy="do not trust the file; ask for it as CSV.",
                        )
                    formulas = formulas or b"<f>" in xml or b"<f " in xml
    except FileError:
        raise
    except (
        *(zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError),
        *(NotImplementedError, RuntimeError, OverflowError),
    ) as error:
        raise FileError(
            "This is not a whole XLSX file.",
            got=str(error)[:100] or type(error).__name__,
            remedy="copy or export it again; an old .xls file must be saved as .xlsx, and a "
            "password must be taken off.",
        ) from error
    return formulas


def _read(data: bytes, sheet: str | None, *, values: bool) -> Grid:
    from openpyxl import load_workbook  # heavy; CSV users do not pay for it

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that openpyxl does not keep
        book: Any = load_workbook(io.BytesIO(data), read_only=True, data_only=values)
        try:
            names = [s.title for s in book.worksheets]
            if not names or (sheet is not None and sheet not in names):
                raise FileError(
                    "This spreadsheet has no such sheet." if names else "No sheet was found.",
                    expected=", ".join(names)[:200] or None,
                    got=repr(sheet) if sheet else None,
                    remedy="name one of its sheets.",
                )
            chosen = book.worksheets[names.index(sheet) if sheet else 0]
            grid = _read_sheet(chosen)
        finally:
            book.close()
    if len(names) > 1 and sheet is None:
        note = f"Of {len(names)} sheets only the first, {names[0]!r}, was read."
        return Grid(grid.header, grid.rows, warnings=(note,))
    return grid


def _read_sheet(sheet: Any) -> Grid:
    sheet.reset_dimensions()  # what a file says of its own size may be wrong
    header: tuple[str, ...] | None = None
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    number = kept = 0
    for number, cells in enumerate(sheet.iter_rows(max_row=MAX_ROWS + 2, values_only=True), 1):
        if len(cells) > MAX_COLUMNS:
            raise FileError(
                "This sheet is too wide.",
                expected=f"at most {MAX_COLUMNS:,} columns",
                got=f"{len(cells):,} in row {number}",
                remedy="save only the table of readings in a new file.",
            )
        if header is None:
            if not all(map(is_blank, cells)):
                header = tuple(_heading(c) for c in cells)
        elif not all(map(is_blank, cells)):
            rows.append((number, tuple(cells)))
            kept += len(cells)
            if kept > MAX_CELLS:
                raise refuse_too_many_rows()
    if number > MAX_ROWS + 1:
        raise refuse_too_many_rows()
    if header is None:
        raise FileError(
            "This sheet is empty.",
            expected="a header and at least one row",
            remedy="name the sheet that holds the table, or export it again.",
        )
    while header and not header[-1]:
        header = header[:-1]
    return Grid(header, tuple(rows))


def _heading(cell: Cell) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else " ".join(str(cell).split())


def _mark_formulas(grid: Grid, formulas: Grid) -> Grid:
    where = dict(formulas.rows)
    values = dict(grid.rows)
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    for number in sorted(values.keys() | where.keys()):
        cells, others = values.get(number, ()), where.get(number, ())
        width = max(len(cells), len(others))
        cells += (None,) * (width - len(cells))
        others += (None,) * (width - len(others))
        rows.append(
            (
                number,
                tuple(
                    _NO_VALUE if c is None and not is_blank(o) else c
                    for c, o in zip(cells, others, strict=True)
                ),
            )
        )
    return Grid(grid.header, tuple(rows), warnings=grid.warnings)
