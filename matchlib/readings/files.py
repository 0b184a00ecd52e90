"""Files read: from paths to panels, or to recipes.

What a file is, its content decides, not its name: a zip archive is XLSX or ODS, XML is CxF, a
text whose first word is a CGATS identifier or that has BEGIN_DATA_FORMAT is CGATS, other text is a
table.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace

from matchlib.domain import Conditions, Panel, Recipe, Viewing
from matchlib.errors import FileError, ImportRefused, MatchlibError
from matchlib.readings._entries import Entry
from matchlib.readings._grid import Row
from matchlib.readings._header import Table, no_table, tables_of
from matchlib.readings._lookup import Lookup
from matchlib.readings._measured import MeasuredReader
from matchlib.readings._recipes import RecipeReader
from matchlib.readings._rows import VIEWING
from matchlib.readings.panels import read_tables
from matchlib.readings.questions import Asking, Stated, Undecided
from matchlib.readings.report import ImportReport, RowReport
from matchlib.readings.whole import file_bytes

__all__ = [
    "RecipeRow",
    "accepted",
    "asked",
    "placing",
    "read_file",
    "read_recipes",
    "tables_in",
    "understand",
]

Path_ = str | os.PathLike[str]


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
    stated : frozenset of str
        Which of ``clear`` and ``geometry`` the row states; what it does not, it leaves to the
        archive's habit.
    conditions : Conditions
        Who sprays it, from what, when, and what reads it, as far as the row says.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     rows = read_recipes(table)
    >>> rows[0].panel, str(rows[0].recipe)
    ('T001', 'silver, bare')
    """

    row: int
    panel: str | None
    recipe: Recipe
    viewing: Viewing
    stated: frozenset[str] = frozenset()
    conditions: Conditions = field(default_factory=Conditions)


def understand(
    paths: Path_ | Sequence[Path_],
    *,
    answers: Mapping[str, str] | None = None,
    stated: Stated | None = None,
    sheet: str | None = None,
) -> ImportReport:
    """Read past panels from one or several files, and say what became of every row.

    Parameters
    ----------
    paths : path-like or sequence of path-like
        Files of at most 32 MiB each: CSV and other delimited text, XLSX, ODS, CGATS or CxF.
        Readings in one and backs in another meet by code.
    answers : mapping of str to str, optional
        Answer by key of question.
    stated : Stated, optional
        What the caller says of the files.
    sheet : str, optional
        Sheet of a spreadsheet; all that hold readings or backs by default.

    Returns
    -------
    ImportReport
        Its `questions` are what is left open; refused rows are in it and not in its panels.

    Raises
    ------
    FileError
        If a file as a whole cannot be read or trusted.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     report = understand(table)
    >>> len(report.panels), report.open
    (133, ())
    """
    listed = [paths] if isinstance(paths, str | os.PathLike) else list(paths)
    asking, tables, digest, names = Asking(answers), [], hashlib.sha256(), []
    name = ""
    try:
        for path in listed:
            data, name = file_bytes(path)
            digest = hashlib.sha256(data if len(listed) == 1 else digest.digest() + data)
            names.append(name)
            with placing(name):
                found = tables_in(data, asking, sheet=sheet)
            tables += found if len(listed) == 1 else [_named(t, name) for t in found]
        name, sha256 = ", ".join(names), digest.hexdigest()
        with placing(name):
            return read_tables(tables, asking, stated or Stated(), file=name, sha256=sha256)
    except Undecided:
        return asked(asking, name, digest.hexdigest())


def read_file(
    path: Path_,
    *,
    keep_good: bool = False,
    scale: str | None = None,
    decimal: str | None = None,
    viewing: Viewing | None = None,
    sheet: str | None = None,
    answers: Mapping[str, str] | None = None,
) -> ImportReport:
    """Read past panels from a file, all rows or none.

    Parameters
    ----------
    path : path-like
        The file.
    keep_good : bool
        Take the good rows though others are refused.
    scale : str, optional
        Reflectance scale that the file is declared to have, ``unit`` (0-1) or ``percent``.
    decimal : str, optional
        Decimal sign that the file is declared to have, ``.`` or ``,``.
    viewing : Viewing, optional
        What holds where the file names no illuminant, observer or geometry; asked by default.
    sheet, answers
        As for `understand`.

    Returns
    -------
    ImportReport
        With at least one panel or tile reading.

    Raises
    ------
    ImportRefused
        If a question is open, or rows are refused (see `keep_good`); the report is in its
        `report`.
    FileError
        If the file as a whole cannot be read or trusted.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     report = read_file(table)
    >>> len(report.panels)
    133
    """
    stated = Stated(_facts(viewing), decimal, scale)
    return accepted(
        understand(path, answers=answers, stated=stated, sheet=sheet), keep_good=keep_good
    )


def accepted(report: ImportReport, *, keep_good: bool = False) -> ImportReport:
    """Return a report whose panels may be kept, or refuse it.

    Parameters
    ----------
    report : ImportReport
        Of `understand`.
    keep_good : bool
        Whether the good rows may be kept though others are refused.

    Returns
    -------
    ImportReport
        The same.

    Raises
    ------
    ImportRefused
        If a question is open, or rows are refused and the good ones alone are not wanted.
    FileError
        If there is nothing to keep.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     report = understand(table)
    >>> accepted(report) is report
    True
    """
    nothing = not report.panels and not report.tiles
    if report.open or (report.refused and (nothing or not keep_good)):
        raise report.refusal()
    if nothing:
        raise FileError(
            "This file has a header but no rows.",
            expected="one row a reading",
            remedy="export the table again.",
            where=report.file,
        )
    return report


def read_recipes(
    path: Path_,
    *,
    decimal: str | None = None,
    scale: str | None = None,
    answers: Mapping[str, str] | None = None,
) -> list[RecipeRow]:
    """Read a table of recipes, which needs no readings, as seen under D65/10° 45:0 if not stated.

    Parameters
    ----------
    path : path-like
        The file; columns `ground`, `colour`, and `schedule` or `ratio` and `coats`.
    decimal, scale, answers
        As for `read_file`.

    Returns
    -------
    list of RecipeRow
        One a row, in the file's order.

    Raises
    ------
    ImportRefused
        If a question is open or any row is refused; the report is in its `report`.
    FileError
        If the file as a whole cannot be read.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     rows = read_recipes(table)
    >>> len({row.panel for row in rows})
    133
    """
    stated = Stated(_facts(Viewing()), decimal, scale)
    data, name = file_bytes(path)
    asking = Asking(answers)
    rows: list[RecipeRow] = []
    reports: list[RowReport] = []
    word = "row"
    with suppress(Undecided), placing(name):
        for table in tables_in(data, asking):
            lookup = Lookup(table, asking, stated)
            word = table.row_word
            if "ground" not in lookup.columns.known and "ground" not in lookup.facts:
                raise FileError(
                    "This table has no column ground.",
                    expected="ground, colour, and schedule or ratio and coats",
                    got=", ".join(n for n in table.header if n)[:200],
                    remedy="name the columns as in the table of readings.",
                )
            recipes, measured = RecipeReader(lookup), MeasuredReader(lookup, usual=Viewing())
            dates = lookup.style_of_dates(Asking(answers))  # a recipe can do without its day
            for row in table.rows:
                entry = Entry(row.number)
                with entry.noting():
                    lookup.check_width(row)
                    entry.code = lookup.text(row, "panel")
                    recipe = recipes.recipe(row)
                    if entry.code:
                        entry.code = Panel.of(entry.code, recipe).code
                    readings = measured.readings(row)
                    view = readings[0].viewing if readings else measured.viewing(row)
                    own = frozenset(n for n in ("clear", "geometry") if _states(lookup, row, n))
                    under = _conditions(lookup, row, recipe, dates)
                    rows.append(RecipeRow(row.number, entry.code or None, recipe, view, own, under))
                reports.append(entry.report())
        if not reports:
            raise FileError("This file has a header but no rows.", remedy="add one row a recipe.")
    digest = hashlib.sha256(data).hexdigest()
    report = ImportReport(name, digest, (), tuple(reports), asking.questions, row_word=word)
    if report.open or report.refused:
        raise report.refusal(option=False)
    return rows


def _facts(viewing: Viewing | None) -> dict[str, str]:
    if viewing is None:
        return {}
    return {n: getattr(viewing, n) for n in VIEWING}


def _conditions(lookup: Lookup, row: Row, recipe: Recipe, dates: str | None) -> Conditions:
    day = None
    with suppress(Undecided):
        day = lookup.sprayed(row, dates)
    names = {n: lookup.text(row, n) for n in ("sprayer", "lot", "batch", "instrument")}
    return Conditions.of(recipe, **names, date=day)


def _states(lookup: Lookup, row: Row, name: str) -> bool:
    return name in lookup.table.facts or lookup.own(row, name) is not None


def tables_in(data: bytes, asking: Asking, *, sheet: str | None = None) -> list[Table]:
    """Return the tables of a file, whatever its format."""
    from matchlib.readings import _spreadsheet, _text, cgats, cxf

    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        sheets = _spreadsheet.read_spreadsheet(data, sheet=sheet)
    elif re.match(rb"(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?[\s\x00]*<", data[:64]):
        return [cxf.read_cxf(data)]
    elif data.startswith((b"\xd0\xcf\x11\xe0", b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"II*\x00")):
        raise FileError(
            "This is no table: an old spreadsheet, a document or a picture.",
            expected="CSV, XLSX, ODS, CGATS text or CxF",
            remedy="save it as CSV or XLSX.",
        )
    elif cgats.looks_like_cgats(data):
        return cgats.read_cgats(data, asking)
    else:
        sheets = [_text.read_delimited(data, asking)]
    tables = [t for s in sheets for t in tables_of(s, asking)]
    if not tables:
        raise no_table(sheets)
    return tables


def _named(table: Table, name: str) -> Table:
    return replace(table, sheet=f"{name}, {table.sheet}" if table.sheet else name)


def asked(asking: Asking, file: str, sha256: str) -> ImportReport:
    """Return the report of a file of which nothing is understood before it is answered."""
    return ImportReport(file, sha256, (), questions=asking.questions)


@contextmanager
def placing(name: str) -> Iterator[None]:
    """Say of what cannot be read in which file it is, where the error does not."""
    try:
        yield
    except MatchlibError as error:
        if isinstance(error, ImportRefused) or (error.where or "").startswith(name):
            raise
        raise error.at(name) from error
