"""One cell at a time: numbers, dates and words, read strictly or refused with the reason.

Nothing is guessed: a decimal comma is a number only where the caller declared it, and a ratio that
a spreadsheet has turned into a clock time is refused, since ``6:1`` and ``6:10`` both may stand
behind a time that was formatted twice.
"""

from __future__ import annotations

import datetime as dt
import math
import re

from matchlib.errors import FileError
from matchlib.readings.grid import Cell, Trouble, is_blank

__all__ = ["guard", "read_coats", "read_date", "read_number", "read_ratio_text", "read_text"]

_NUMBER = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d{1,30},\d{1,30}(?:[eE][+-]?\d{1,3})?", re.ASCII)
_CLOCK = re.compile(r"\s*\d{1,3}:\d{2}:\d{2}(?:\.\d+)?\s*|\s*\d{1,3}:0\d\s*", re.ASCII)
# A spreadsheet runs a cell that begins with one of these; see `guard`.
_FORMULA_SIGNS = "=+-@\t\r\n '"


def guard(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    Parameters
    ----------
    text : str
        A name or note to be written to a file.

    Returns
    -------
    str
        The text, behind an apostrophe where it begins like a formula; `read_text` takes the
        apostrophe away again. (CSV injection: OWASP, "CSV Injection", common practice.)
    """
    begins = text[:1]
    if begins == "'":
        return "'" + text if text[1:2] and text[1] in _FORMULA_SIGNS else text
    return "'" + text if begins and begins in _FORMULA_SIGNS else text


def read_text(cell: Cell, what: str) -> str:
    """Read a cell as words.

    Parameters
    ----------
    cell : Cell
        As it came; numbers become their shortest digits, dates ISO.
    what : str
        Name of the column, for the error.

    Returns
    -------
    str
        Without outer white space; empty for a blank cell.

    Raises
    ------
    FileError
        If the cell is a formula without a stored value.
    """
    if cell is None:
        return ""
    if isinstance(cell, str):
        text = cell.strip()
        if text[:1] == "'" and text[1:2] and text[1] in _FORMULA_SIGNS:
            text = text[1:]
        return text.strip()
    if isinstance(cell, Trouble):
        raise FileError(f"The cell {what} holds {cell.reason}.", remedy=cell.remedy)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime) and cell.time() == dt.time(0):
        return cell.date().isoformat()
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return str(cell)


def read_number(cell: Cell, what: str, *, decimal: str = ".") -> float:
    """Read a cell as a number.

    Parameters
    ----------
    cell : Cell
        As it came.
    what : str
        Name of the column, for the error.
    decimal : str
        The decimal sign that was declared, ``.`` or ``,``.

    Returns
    -------
    float
        A finite number.

    Raises
    ------
    FileError
        If it is blank, no number, not finite, or has the other decimal sign.
    """
    if isinstance(cell, Trouble):
        raise FileError(f"The cell {what} holds {cell.reason}.", remedy=cell.remedy)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        try:
            value = float(cell)
        except OverflowError:
            value = math.inf
        if math.isfinite(value):
            return value
    if is_blank(cell):
        raise FileError(f"{what} is blank.", expected="a number", remedy="fill it in.")
    text = str(cell).strip().replace("−", "-") if isinstance(cell, str) else repr(cell)
    if decimal == "," and "." not in text:
        text = text.replace(",", ".") if _DECIMAL_COMMA.fullmatch(text) else text
    elif decimal == "," and isinstance(cell, str) and _NUMBER.fullmatch(text):
        raise FileError(
            f"{what} has a decimal point, but decimal commas were declared.",
            expected="a number such as 45,3",
            got=repr(text[:40]),
            remedy="write all numbers of the file in one way, and declare that.",
        )
    elif decimal == "." and _DECIMAL_COMMA.fullmatch(text):
        raise FileError(
            f"{what} has a decimal comma.",
            expected="a number such as 45.3",
            got=repr(text[:40]),
            remedy="declare decimal commas (--decimal ,) if the whole file has them, or save the "
            "table with decimal points.",
        )
    if isinstance(cell, str) and _NUMBER.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    raise FileError(
        f"{what} is not a number.",
        expected="a finite number",
        got=repr(text[:40]),
        remedy="correct the cell, or leave the row out.",
    )


def read_coats(cell: Cell, what: str = "coats", *, decimal: str = ".") -> int:
    """Read a number of coats, or another whole number.

    Parameters
    ----------
    cell : Cell
        As it came.
    what : str
        Name of the column, for the error.
    decimal : str
        The decimal sign that was declared.

    Returns
    -------
    int
        Any whole number; whether so many coats can be is the schedule's question.

    Raises
    ------
    FileError
        If it is not a whole number.
    """
    value = read_number(cell, what, decimal=decimal)
    if not value.is_integer() or abs(value) > 1e6:
        raise FileError(
            f"{what} is not a whole number.",
            expected="a whole number such as 4",
            got=f"{value:g}",
            remedy="count them; write half-strength coats as a weaker ratio.",
        )
    return int(value)


def read_ratio_text(cell: Cell, what: str, *, decimal: str = ".") -> str:
    """Read the words of a ratio, a schedule or a geometry, which spreadsheets take for times.

    Parameters
    ----------
    cell : Cell
        As it came.
    what : str
        Name of the column, for the error.
    decimal : str
        The decimal sign that was declared.

    Returns
    -------
    str
        The text, decimal points in it.

    Raises
    ------
    FileError
        If a spreadsheet has turned it into a clock time.
    """
    clock = isinstance(cell, dt.time | dt.timedelta | dt.datetime | dt.date)
    if clock or (isinstance(cell, str) and _CLOCK.fullmatch(cell)):
        example = "45:0" if what == "geometry" else "6:1"
        raise FileError(
            f"The {what} has become a clock time in the spreadsheet.",
            expected=f"text such as {example}",
            got=repr(read_text(cell, what)),
            remedy=f"format the column {what} as text, type the values again as they are written "
            f"on the panel (such as {example}), and save the file again.",
        )
    text = read_text(cell, what)
    return re.sub(r"(\d),(\d)", r"\1.\2", text) if decimal == "," and "@" not in text else text


def read_date(cell: Cell) -> dt.date | None:
    """Read a date, ISO or a spreadsheet's own.

    Parameters
    ----------
    cell : Cell
        As it came.

    Returns
    -------
    datetime.date or None
        None for a blank cell.

    Raises
    ------
    FileError
        If it is written any other way: 03/04/2025 is two different days in two countries.
    """
    if isinstance(cell, dt.datetime):
        return cell.date()
    if isinstance(cell, dt.date):
        return cell
    text = read_text(cell, "date")
    if not text:
        return None
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}(?:[T ][\d:.+Z-]{0,30})?", text, re.ASCII):
            return dt.date.fromisoformat(text[:10])
    except ValueError:
        pass
    raise FileError(
        "This date cannot be read without guessing.",
        expected="year-month-day, such as 2025-04-03",
        got=repr(text[:40]),
        remedy="write dates as year-month-day, or format the cells as dates in the spreadsheet.",
    )
