"""One cell at a time: numbers and words, read strictly or refused with the reason."""

from __future__ import annotations

import datetime as dt
import math
import re

from matchlib.errors import FileError
from matchlib.readings._grid import Cell, CellFault, is_blank

__all__ = ["guard", "heading", "is_number", "read_number", "read_text"]

_NUMBER = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d{0,30},\d{1,30}(?:[eE][+-]?\d{1,3})?", re.ASCII)
# A spreadsheet runs a cell that begins with one of these; see `guard`.
_FORMULA_SIGNS = "=+-@\t\r\n '"


def guard(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula (OWASP); `read_text` undoes it."""
    begins = text[:1]
    if begins == "'":
        return "'" + text if text[1:2] and text[1] in _FORMULA_SIGNS else text
    return "'" + text if begins and begins in _FORMULA_SIGNS else text


def read_text(cell: Cell, what: str) -> str:
    """Read a cell as words; numbers become their shortest digits, dates ISO."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        text = cell.strip()
        if text[:1] == "'" and text[1:2] and text[1] in _FORMULA_SIGNS:
            text = text[1:]
        return text.strip()
    if isinstance(cell, CellFault):
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


def is_number(text: str) -> bool:
    """Whether a text is a number, by a decimal point or a comma."""
    return bool(_NUMBER.fullmatch(text) or _DECIMAL_COMMA.fullmatch(text))


def read_number(cell: Cell, what: str, *, decimal: str = ".") -> float:
    """Read a cell as a finite number; `decimal` is ``.``, ``,`` or ``both``."""
    if isinstance(cell, CellFault):
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
    comma = _DECIMAL_COMMA.fullmatch(text)
    if comma and decimal in (",", "both"):
        text = text.replace(",", ".")
    elif comma:
        raise FileError(
            f"{what} has a decimal comma.",
            expected="a number such as 45.3",
            got=repr(text[:40]),
            remedy="declare decimal commas (--decimal ,) if the whole file has them, or save the "
            "table with decimal points.",
        )
    elif decimal == "," and "." in text and isinstance(cell, str) and _NUMBER.fullmatch(text):
        raise FileError(
            f"{what} has a decimal point, but the file has decimal commas.",
            expected="a number such as 45,3",
            got=repr(text[:40]),
            remedy="write all numbers of the file in one way.",
        )
    if isinstance(cell, str) and _NUMBER.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    raise FileError(
        f"{what} is not a number.",
        expected="a finite number",
        got=repr(text[:40]),
        remedy="correct the cell, or leave the row out.",
    )


def heading(cell: Cell) -> str:
    """Return a cell as the name of a column; 400.0 is ``400``."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if isinstance(cell, CellFault) else " ".join(read_text(cell, "header").split())
