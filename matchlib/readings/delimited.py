"""CSV text → grid: encoding and delimiter where the file leaves no doubt of them, else refused."""

from __future__ import annotations

import csv
import io
from itertools import islice

from matchlib.errors import FileError
from matchlib.readings.columns import is_wavelength_column, known_name
from matchlib.readings.grid import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Cell, Grid, is_blank

__all__ = ["decode", "read_delimited", "refuse_too_many_rows"]

_MAX_CELL = 131_072  # csv's own limit on one field, which it raises as csv.Error


def decode(data: bytes) -> tuple[str, str | None]:
    """Turn a text file's bytes into text.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    text : str
        Without byte order mark.
    warning : str or None
        What had to be assumed.

    Raises
    ------
    FileError
        If it is not text, or in no encoding that can be known.
    """
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        raise FileError(
            "This text is in UTF-32.", remedy="save it as UTF-8, the usual choice for CSV."
        )
    head = data[:4096]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        if marked:
            return data.decode("utf-16"), None
        if max(odd, even) * 4 > len(head) > 1 and min(odd, even) * 20 < len(head):
            return data.decode("utf-16-le" if odd > even else "utf-16-be"), None
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        if marked or 0 in head:
            raise _not_text() from None
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            raise _not_text() from None
        odd_word = next((w for w in text.split() if not w.isascii()), "")[:40]
        return text, (
            f"The text is not UTF-8; it was read as Windows-1252. Check a name such as "
            f"{odd_word!r}, and save as UTF-8 if it looks wrong."
        )
    if "\x00" in text:
        raise _not_text()
    return text, None


def read_delimited(data: bytes) -> Grid:
    """Read CSV, semicolon- or tab-separated text.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Grid
        Its cells; rows numbered as a spreadsheet shows them, the header being row 1.

    Raises
    ------
    FileError
        If there is no table, or no delimiter that the header leaves no doubt about.
    """
    text, warning = decode(data)
    if not text.strip():
        raise FileError(
            "This file is empty.",
            expected="a header and at least one row",
            remedy="export the table again.",
        )
    first, _, rest = text.lstrip("\n\r").partition("\n")
    if first.strip().casefold() in ("sep=,", "sep=;", "sep=\\t", "sep=\t"):
        text = rest  # a spreadsheet's own mark, which it does not show as a row
        delimiter = "\t" if "t" in first[4:].casefold() or "\t" in first else first.strip()[4]
    else:
        delimiter = _delimiter(text)
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    header: tuple[str, ...] | None = None
    number = kept = 0
    try:
        for number, cells in enumerate(
            csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), 1
        ):
            if header is None:
                if any(c.strip() for c in cells):
                    header = tuple(c.strip() for c in cells)
                continue
            if not all(map(is_blank, cells)):
                rows.append((number, tuple(cells)))
            kept += len(cells)
            if len(rows) > MAX_ROWS or kept > MAX_CELLS:
                raise refuse_too_many_rows()
    except csv.Error as error:
        raise FileError(
            f"The table breaks off: {error}.",
            where=f"row {number + 1}",
            remedy="look for a quotation mark that is never closed.",
        ) from error
    if header is None:
        raise FileError("This file is empty.", remedy="export the table again.")
    while header and not header[-1]:
        header = header[:-1]
    return Grid(header, tuple(rows), warnings=(warning,) if warning else ())


def refuse_too_many_rows() -> FileError:
    """Return the error for a table that is too long.

    Returns
    -------
    FileError
        To be raised.
    """
    return FileError(
        "This table has too many rows.",
        expected=f"at most {MAX_ROWS:,} rows and {MAX_CELLS:,} cells",
        remedy="split it into several files.",
    )


def _not_text() -> FileError:
    return FileError(
        "This is not a text table.",
        expected="CSV text in UTF-8, or an XLSX, CGATS or CxF file",
        remedy="export the table as CSV (UTF-8) or XLSX.",
    )


def _delimiter(text: str) -> str:
    # The header alone decides: a comma in a later cell may be a decimal comma.
    found: dict[str, int] = {}
    line = next(line for line in islice(io.StringIO(text), MAX_ROWS) if line.strip())
    if len(line) > MAX_COLUMNS * 100:
        raise FileError(
            "The header of this table is too long.",
            expected=f"at most {MAX_COLUMNS:,} columns",
            remedy="export only the columns of the table of readings.",
        )
    for delimiter in ",;\t":
        if delimiter in line:
            try:
                cells = next(csv.reader([line], delimiter=delimiter))
            except (csv.Error, StopIteration):
                continue
            if len(cells) > 1:
                named = sum(known_name(c) is not None or is_wavelength_column(c) for c in cells)
                found[delimiter] = named
    if len(found) > 1:
        best = max(found, key=lambda d: found[d])
        if all(n == 0 for d, n in found.items() if d != best) and found[best]:
            return best
        raise FileError(
            "The delimiter of this table is in doubt: its header holds more than one.",
            expected="commas, semicolons or tabs, one kind between the column names",
            got=repr(line.strip()[:60]),
            remedy="put names that hold such a sign into quotation marks, or rename them.",
        )
    if not found and known_name(line.strip().strip('"')) is None:
        raise FileError(
            "No delimiter was found in the header of this table.",
            expected="column names parted by commas, semicolons or tabs",
            got=repr(line.strip()[:60]),
            remedy="export the table as CSV.",
        )
    return next(iter(found), ",")
