"""A sheet of backs to type into, with the shop's own names to choose from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matchlib.readings._cells import guard

__all__ = ["add_backs"]

_HEADER = (
    *("panel", "ground", "colour", "ratio", "coats", "clear", "date", "sprayer", "lot"),
    *("temperature", "humidity", "customer", "note"),
)
_CHOSEN = ("ground", "colour", "clear", "sprayer")
_ROWS = 1_000


def add_backs(book: Any, names: Mapping[str, Sequence[str]]) -> None:
    """Add a sheet ``backs`` and the hidden sheet ``names`` that its drop-downs choose from.

    `names` are by column: ground, colour, clear, sprayer. Other names can be typed all the same.
    A ratio's column is text, since ``6:1`` would else become a clock time.
    """
    from openpyxl.worksheet.datavalidation import DataValidation

    backs, listed = book.create_sheet("backs"), book.create_sheet("names")
    listed.sheet_state = "hidden"
    backs.column_dimensions["D"].number_format = "@"
    backs.append(list(_HEADER))
    columns = [[guard(n) for n in names.get(what, ())] for what in _CHOSEN]
    listed.append(list(_CHOSEN))
    for i in range(max(map(len, columns))):
        listed.append([column[i] if i < len(column) else None for column in columns])
    for letter, what, column in zip("ABCD", _CHOSEN, columns, strict=True):
        if column:
            end = len(column) + 1
            choice = DataValidation("list", formula1=f"names!${letter}$2:${letter}${end}")
            choice.showErrorMessage = False
            at = "ABCDEFGHIJKLM"[_HEADER.index(what)]
            choice.add(f"{at}2:{at}{_ROWS}")
            backs.data_validations.append(choice)
