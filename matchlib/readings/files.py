"""The doors: a path in, panels, recipes or a target out.

What a file is, its content decides, not its name: a zip archive is XLSX, XML is CxF, a text whose
first word is a CGATS identifier or that has BEGIN_DATA_FORMAT is CGATS, other text is a table.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

from matchlib.domain import Panel, Reading, Recipe, Viewing
from matchlib.errors import FileError, ImportRefused, MatchlibError, TargetError
from matchlib.readings.columns import is_wavelength_column
from matchlib.readings.grid import MAX_BYTES, Grid
from matchlib.readings.report import ImportReport, RefusedRow, TakenRow
from matchlib.readings.rows import Row
from matchlib.readings.table import Declarations, panels_from_grids

__all__ = ["RecipeRow", "grids_of", "read_file", "read_recipes", "read_target"]


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """One row of a table of recipes.

    Parameters
    ----------
    row : int
        Number of the row as its user sees it.
    panel : str or None
        Panel code, where the table has one.
    recipe : Recipe
        The recipe.
    viewing : Viewing
        How the panel would be viewed.
    reading : Reading or None
        The reading, where the row has one all the same.
    stated : frozenset of str
        Which of ``clear`` and ``geometry`` the row states; what it does not, it leaves to the
        archive's habit.
    """

    row: int
    panel: str | None
    recipe: Recipe
    viewing: Viewing
    reading: Reading | None
    stated: frozenset[str] = frozenset()


def read_file(
    path: str | os.PathLike[str],
    *,
    keep_good: bool = False,
    scale: str | None = None,
    decimal: str = ".",
    viewing: Viewing | None = None,
    sheet: str | None = None,
) -> ImportReport:
    """Read past panels from a table, CGATS or CxF file.

    Parameters
    ----------
    path : path-like
        The file, at most 64 MiB.
    keep_good : bool
        Take the good rows though others are refused.
    scale : str, optional
        Reflectance scale that the file is declared to have, ``unit`` (0-1) or ``percent``.
    decimal : str
        Decimal sign that the file is declared to have, ``.`` or ``,``.
    viewing : Viewing, optional
        What holds where the file names no illuminant, observer or geometry; D65/10° 45:0.
    sheet : str, optional
        Sheet of a spreadsheet; its first by default.

    Returns
    -------
    ImportReport
        The panels, and what became of each row.

    Raises
    ------
    ImportRefused
        If rows are refused (see `keep_good`); the report is in its `report`.
    FileError
        If the file as a whole cannot be read or trusted.
    """
    declared = Declarations(scale, decimal, viewing or Viewing())
    data, name = _load(path)
    try:
        return panels_from_grids(
            grids_of(data, sheet=sheet),
            file=name,
            sha256=hashlib.sha256(data).hexdigest(),
            declared=declared,
            keep_good=keep_good,
        )
    except MatchlibError as error:
        raise _placed(error, name) from error


def read_recipes(
    path: str | os.PathLike[str],
    *,
    decimal: str = ".",
    scale: str | None = None,
    viewing: Viewing | None = None,
    sheet: str | None = None,
) -> list[RecipeRow]:
    """Read a table of recipes, which needs no readings.

    Parameters
    ----------
    path : path-like
        The file; columns `ground`, `colour`, and `schedule` or `ratio` and `coats`.
    decimal, scale, viewing, sheet
        As for `read_file`.

    Returns
    -------
    list of RecipeRow
        One a row, in the file's order.

    Raises
    ------
    ImportRefused
        If any row is refused; the report is in its `report`.
    FileError
        If the file as a whole cannot be read.
    """
    declared = Declarations(scale, decimal, viewing or Viewing())
    data, name = _load(path)
    rows: list[RecipeRow] = []
    refused: list[RefusedRow] = []
    word = "row"
    try:
        for grid in grids_of(data, sheet=sheet):
            reader = declared.reader(grid)
            word = grid.row_word
            if "ground" not in reader.columns.known and "ground" not in reader.defaults:
                raise FileError(
                    "This table has no column ground.",
                    expected="ground, colour, and schedule or ratio and coats",
                    got=", ".join(n for n in grid.header if n)[:200],
                    remedy="name the columns as in the table of readings.",
                )
            for number, cells in grid.rows:
                row = Row(number, cells)
                try:
                    reader.check_width(row)
                    code = reader.text(row, "panel") or None
                    recipe = reader.recipe(row)
                    if code is not None:
                        code = Panel.of(code, recipe).code
                    view, reading = reader.view(row), reader.reading(row)
                    told = frozenset(n for n in ("clear", "geometry") if reader.text(row, n))
                    rows.append(RecipeRow(number, code, recipe, view, reading, told))
                except MatchlibError as error:
                    refused.append(RefusedRow(number, str(error)))
        if not refused and not rows:
            raise FileError("This file has a header but no rows.", remedy="add one row a recipe.")
    except MatchlibError as error:
        raise _placed(error, name) from error
    if refused:
        taken = tuple(TakenRow(r.panel or "", r.row) for r in rows)
        digest = hashlib.sha256(data).hexdigest()
        report = ImportReport(name, digest, (), taken, tuple(refused), row_word=word)
        raise report.refusal(option=False)
    return rows


def read_target(
    path: str | os.PathLike[str],
    *,
    panel: str | None = None,
    decimal: str = ".",
    scale: str | None = None,
    viewing: Viewing | None = None,
    sheet: str | None = None,
) -> tuple[Reading, ...]:
    """Read a target: one reading, or repeat readings of one thing.

    Parameters
    ----------
    path : path-like
        The file; needs no recipe columns.
    panel : str, optional
        Code of the panel (or name of the sample) wanted, where the file holds several.
    decimal, scale, viewing, sheet
        As for `read_file`.

    Returns
    -------
    tuple of Reading
        At least one.

    Raises
    ------
    TargetError
        If the file holds no reading, or those of several things.
    FileError
        If the file cannot be read, or a row of it is wrong.
    """
    declared = Declarations(scale, decimal, viewing or Viewing())
    data, name = _load(path)
    found: dict[str, list[Reading]] = {}
    try:
        for grid in grids_of(data, sheet=sheet):
            reader = declared.reader(grid)
            good: list[tuple[Row, Reading]] = []
            for number, cells in grid.rows:
                row = Row(number, cells)
                try:
                    reader.check_width(row)
                    code = reader.text(row, "panel")
                    if panel is not None and code != panel:
                        continue
                    reading = reader.reading(row)
                except MatchlibError as error:
                    raise error.at(f"{grid.row_word} {number}") from error
                if reading is not None:
                    good.append((row, reading))
                    found.setdefault(code, []).append(reading)
            reader.check_scale(good)
        if not found:
            raise TargetError(
                "This file holds no reading" + (f" of {panel!r}." if panel else "."),
                expected="columns L, a, b, or spectral columns",
                remedy="export the reading again.",
            )
        if len(found) > 1:
            raise TargetError(
                "This file holds readings of several things.",
                expected="one reading, or repeat readings with one panel code",
                got=", ".join(list(found)[:8]) + (" …" if len(found) > 8 else ""),
                remedy="leave only the target's rows in the file, or name its panel.",
            )
    except MatchlibError as error:
        raise _placed(error, name) from error
    return tuple(next(iter(found.values())))


def grids_of(data: bytes, *, sheet: str | None = None) -> list[Grid]:
    """Return the tables of a file, whatever kind of file it is.

    Parameters
    ----------
    data : bytes
        The whole file.
    sheet : str, optional
        Sheet of a spreadsheet.

    Returns
    -------
    list of Grid
        At least one.

    Raises
    ------
    FileError
        If it is no readable table.
    """
    from matchlib.readings import cgats, cxf, delimited, spreadsheet

    if data.startswith(b"PK\x03\x04"):
        grids = [spreadsheet.read_spreadsheet(data, sheet=sheet)]
    elif re.match(rb"(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?[\s\x00]*<", data[:64]):
        return [cxf.read_cxf(data)]
    elif data.startswith((b"\xd0\xcf\x11\xe0", b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"II*\x00")):
        raise FileError(
            "This is no table: an old spreadsheet, a document or a picture.",
            expected="CSV, XLSX, CGATS text or CxF",
            remedy="save it as CSV or XLSX.",
        )
    elif cgats.looks_like_cgats(data):
        return cgats.read_cgats(data)
    else:
        grids = [delimited.read_delimited(data)]
    return [g.transposed() if is_wavelength_column((*g.header, "")[0]) else g for g in grids]


def _load(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    file = Path(path)
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FileError(
                "This is not a file.",
                got="a folder" if file.is_dir() else "a device",
                remedy="name the table's file.",
                where=str(path),
            )
        if status.st_size > MAX_BYTES:
            raise FileError(
                "This file is too large.",
                expected=f"at most {MAX_BYTES // 2**20} MiB",
                got=f"{status.st_size / 2**20:,.0f} MiB",
                remedy="export only the columns and rows that are needed.",
                where=file.name,
            )
        with file.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, MatchlibError):
            raise
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FileError(
            f"This file cannot be read: {why}.",
            remedy="check the name and the folder, and that you may read it.",
            where=str(path),
        ) from error
    if not data.strip():
        raise FileError(
            "This file is empty.",
            expected="a header and at least one row",
            remedy="export the table again.",
            where=file.name,
        )
    return data, file.name


def _placed(error: MatchlibError, name: str) -> MatchlibError:
    already = isinstance(error, ImportRefused) or (error.where or "").startswith(name)
    return error if already else error.at(name)
