"""Panels → a table, such that importing it gives the same panels again.

Text that a spreadsheet would run as a formula goes out behind an apostrophe, which the import
takes away again; numbers go out with every digit that they hold.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Any

from matchlib.atomic import written_whole
from matchlib.domain import Panel
from matchlib.domain.conditions import NO_DAY
from matchlib.errors import FileError
from matchlib.plain import dump, to_plain
from matchlib.readings._cells import guard
from matchlib.readings._rows import ALWAYS, RARE, ReadingRow, reading_rows
from matchlib.readings._words import is_note, known_name

__all__ = ["save_bytes", "table_of", "write_table"]

_BACKS = (
    *("panel", "ground", "colour", "ratio", "coats", "clear", "date", "sprayer", "lot"),
    *("temperature", "humidity", "customer", "note"),
)
_CHOSEN = ("ground", "colour", "clear", "sprayer")
_BACKS_ROWS = 1_000


def write_table(panels: Iterable[Panel], path: str | os.PathLike[str]) -> Path:
    """Write panels as a table of readings.

    Parameters
    ----------
    panels : iterable of Panel
        One row a reading; a panel without readings has one row, its source ``none``.
    path : path-like
        Where to: by its ending ``.csv`` text, ``.xlsx`` a spreadsheet, ``.cgats`` or ``.cxf``.
        Replaced whole or not at all.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    FileError
        If the name ends in neither, a note's column has a name of the table's own, or the folder
        cannot be written to; for CxF, if a spectrum does not lie at even steps of whole
        nanometres, or the optional package is not installed.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     print(write_table(demo_panels(), f"{folder}/panels.csv").name)
    panels.csv
    """
    target, listed = Path(path), list(panels)
    kind = target.suffix.casefold()
    if kind in (".csv", ".xlsx"):
        header, rows = table_of(reading_rows(listed))
        data = _csv(header, rows) if kind == ".csv" else _xlsx(header, rows, _names(listed))
    elif kind == ".cgats":
        from matchlib.readings.cgats_writing import cgats_of

        data = cgats_of(listed)
    elif kind == ".cxf":
        from matchlib.readings.cxf_writing import cxf_of

        data = cxf_of(listed)
    else:
        raise FileError(
            "This kind of table is not known.",
            expected="a name that ends in .csv, .xlsx, .cgats or .cxf",
            got=repr(target.name),
            remedy="give the file one of these endings.",
        )
    save_bytes(data, target)
    return target


def table_of(
    listed: Iterable[ReadingRow],
) -> tuple[list[str], list[list[str | float | None]]]:
    """Return the header and rows that `write_table` writes."""
    own_rows = list(listed)
    readings = [r.reading for r in own_rows if r.reading is not None]
    extras = list(dict.fromkeys(name for r in own_rows for name, _ in r.panel.extra))
    nm = sorted({w for r in readings for w in r.wavelengths})
    header = [*ALWAYS]
    header += ["sd"] * any(r.sd is not None for r in readings)
    header += ["L", "a", "b"] * (not nm or any(r.lab for r in readings))
    header += ["scale"] * bool(nm)
    names = [repr(float(w)).removesuffix(".0") for w in nm]
    header += names
    fixed = [_fixed(row) for row in own_rows]
    if all(r.date is None for r in readings):
        # The day of spraying is said by itself only where a reading was taken on another.
        fixed = [{**cells, "sprayed": None} for cells in fixed]
    header += [n for n in RARE if any(cells[n] not in (None, "") for cells in fixed)]
    # A note may be older than the column that has its name now.
    safe = [guard(f"{name} (note)" if known_name(name) in RARE else name) for name in extras]
    header += safe
    clash = [e for e in safe if not is_note(e)]
    if clash:
        raise FileError(
            "A note of these panels has the name of a column of the table itself.",
            got=", ".join(clash)[:200],
            remedy="rename the note.",
        )
    rows: list[list[str | float | None]] = []
    for row, known in zip(own_rows, fixed, strict=True):
        own, reading = dict(row.panel.extra), row.reading
        spectrum = (
            dict(zip(reading.wavelengths, reading.reflectance, strict=True)) if reading else {}
        )
        cells = known | {
            n: float(spectrum[w]) if w in spectrum else None for n, w in zip(names, nm, strict=True)
        }
        cells |= {s: guard(own[e]) if e in own else None for s, e in zip(safe, extras, strict=True)}
        rows.append([cells.get(name) for name in header])
    return header, rows


def save_bytes(data: bytes, target: Path) -> None:
    """Write a file whole or not at all."""
    with written_whole(target) as part:
        part.write_bytes(data)


def _fixed(row: ReadingRow) -> dict[str, str | float | None]:
    """What a row holds beside its spectrum and the notes of its panel, as it is written."""
    reading, sprayed = row.reading, row.stage.date
    cells = row.cells
    read = sprayed if reading is None or reading.date is None else reading.date
    own = {n: guard(v) or None if isinstance(v, str) else v for n, v in cells.items()}
    own |= {n: None if cells[n] is None else str(cells[n]) for n in ("stage", "clear_coats")}
    own |= {n: dump(to_plain(cells[n])) if cells[n] else None for n in ("log", "covariance")}
    if len(row.panel.stages) == 1:
        own["stage"] = None
    if reading is not None and reading.lab is not None:
        own |= dict(zip("Lab", map(float, reading.lab), strict=True))
    elif reading is not None:
        own["scale"] = "0-1"
    return {
        **own,
        "date": read.isoformat() if read else None,
        "sprayed": sprayed.isoformat() if sprayed else NO_DAY,
    }


def _csv(header: Sequence[str], rows: Sequence[Sequence[str | float | None]]) -> bytes:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    text = stream.getvalue()
    # Spreadsheets take a text without a mark for the system's own encoding.
    return text.encode("ascii") if text.isascii() else text.encode("utf-8-sig")


def _names(panels: Sequence[Panel]) -> dict[str, list[str]]:
    """The shop's own names, for the drop-downs of the sheet of backs."""
    found: dict[str, dict[str, None]] = {n: {} for n in _CHOSEN}
    for panel in panels:
        for stage in panel.stages:
            recipe = stage.recipe
            found["ground"] |= dict.fromkeys(recipe.ground.names)
            for colour in recipe.colours:
                found["colour"] |= dict.fromkeys(colour.names)
            found["clear"] |= dict.fromkeys(("no", recipe.clear) if recipe.clear else ("no",))
            found["sprayer"] |= dict.fromkeys([stage.sprayer] if stage.sprayer else [])
    return {what: sorted(names, key=str.casefold) for what, names in found.items()}


def _xlsx(
    header: Sequence[str],
    rows: Sequence[Sequence[str | float | None]],
    names: dict[str, list[str]],
) -> bytes:
    from openpyxl import Workbook  # heavy; CSV users do not pay for it
    from openpyxl.cell import WriteOnlyCell

    def exact(cell: str | float | None) -> Any:
        if not isinstance(cell, float):
            return cell
        # openpyxl writes 16 digits, and one in ten numbers needs 17 to come back the same
        number = WriteOnlyCell(sheet, value=repr(cell))
        number.data_type = "n"
        return number

    book = Workbook(write_only=True)
    sheet = book.create_sheet("readings")
    sheet.append(list(header))
    for row in rows:
        sheet.append([exact(cell) for cell in row])
    _add_backs(book, names)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _add_backs(book: Any, names: Mapping[str, Sequence[str]]) -> None:
    """Add a sheet of backs to type into, its drop-downs choosing from a hidden sheet of names."""
    from openpyxl.worksheet.datavalidation import DataValidation

    backs, listed = book.create_sheet("backs"), book.create_sheet("names")
    listed.sheet_state = "hidden"
    backs.column_dimensions["D"].number_format = "@"  # else 6:1 would become a clock time
    backs.append(list(_BACKS))
    columns = [[guard(n) for n in names[what]] for what in _CHOSEN]
    listed.append(list(_CHOSEN))
    for line in zip_longest(*columns):
        listed.append(line)
    for letter, what, column in zip("ABCD", _CHOSEN, columns, strict=True):
        if column:
            end = len(column) + 1
            choice = DataValidation("list", formula1=f"names!${letter}$2:${letter}${end}")
            choice.showErrorMessage = False
            at = "ABCDEFGHIJKLM"[_BACKS.index(what)]
            choice.add(f"{at}2:{at}{_BACKS_ROWS}")
            backs.data_validations.append(choice)
