"""Looks up the cells of a table by what their columns mean, in the table's own habits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from matchlib.domain.conditions import NO_DAY
from matchlib.errors import FileError
from matchlib.readings._cells import read_number, read_text
from matchlib.readings._columns import Columns, columns_of
from matchlib.readings._grid import Cell, Row
from matchlib.readings._header import Table
from matchlib.readings._styles import decimal_of, read_date, style_of_dates
from matchlib.readings.questions import Asking, Choice, Question, Stated

__all__ = ["Lookup"]

_NUMBERS = (
    "coats",
    "stage",
    "sd",
    "temperature",
    "humidity",
    "tip",
    "pressure",
    "fan",
    "carrier parts",
    "colour parts",
)


class Lookup:
    """The cells of one table by meaning."""

    def __init__(self, table: Table, asking: Asking, stated: Stated) -> None:
        self.table, self.asking, self.stated = table, asking, stated
        self.columns: Columns = columns_of(table, asking)
        self.facts = {**stated.facts, **table.facts}
        self.decimal = stated.decimal or decimal_of(self._number_texts(), table.row_word, asking)
        self._last: dict[str, str] = {}
        self._shares: dict[str, bool] = {}
        self._unnamed = [i for i, name in enumerate(table.header) if not name]

    def style_of_dates(self, asking: Asking) -> str | None:
        """Return ``dmy`` or ``mdy`` for the table's dates; None where the question stays open."""
        places = [i for n in ("date", "sprayed") if (i := self.columns.known.get(n)) is not None]
        dates = [(row.number, row.at(i)) for row in self.table.rows for i in places]
        hint = self.columns.units.get("date", "") or self.columns.units.get("sprayed", "")
        return style_of_dates(dates, hint, self.table.row_word, asking)

    def sprayed(self, row: Row, style: str | None) -> dt.date | None:
        """Return the day of spraying; where a row does not say it by itself, its only day."""
        own = self.cell(row, "sprayed")
        if own is not None and read_text(own, "sprayed") == NO_DAY:
            return None
        return read_date(self.cell(row, "date") if own is None else own, style)

    def where(self, row: Row) -> str:
        """Return which row it is, as its user counts: ``row 7``, ``line 31``."""
        return f"{self.table.row_word} {row.number}"

    def own(self, row: Row, name: str) -> Cell:
        """Return a row's own cell by its meaning, None where blank."""
        i = self.columns.known.get(name)
        return None if i is None else row.at(i)

    def cell(self, row: Row, name: str) -> Cell:
        """Return a cell by its meaning, what holds for all rows where it is blank, or None."""
        value = self.own(row, name)
        return (self.facts.get(name, "").strip() or None) if value is None else value

    def text(self, row: Row, name: str) -> str:
        """Return a cell as words, empty where blank."""
        return read_text(self.cell(row, name), name)

    def number(self, cell: Cell, name: str) -> float:
        """Return a cell as a number by the file's decimal sign."""
        return read_number(cell, name, decimal=self.decimal)

    def optional(self, row: Row, name: str) -> float | None:
        """Return a number, None where blank."""
        cell = self.cell(row, name)
        return None if cell is None else self.number(cell, name)

    def whole(self, row: Row, name: str) -> int | None:
        """Return a whole number, None where blank."""
        value = self.optional(row, name)
        if value is None:
            return None
        if not value.is_integer() or abs(value) > 1e6:
            raise FileError(
                f"{name} is not a whole number.",
                expected="a whole number such as 4",
                got=f"{value:g}",
                remedy="count them; write half-strength coats as a weaker ratio.",
            )
        return int(value)

    def or_above(self, row: Row, name: str) -> str:
        """Return a text; where it is blank but stood in a row above, what that means is asked."""
        text = self.text(row, name)
        if text:
            self._last[name] = text
            return text
        last = self._last.get(name)
        if last is None or name not in self.columns.known or self.columns.ours:
            return ""
        means = f"{self.where(row)}: {last[:40]}"
        question = Question(
            f"above:{name}",
            f"The {name} is blank in some rows under a row that has one. What does that mean?",
            [
                Choice("same", f"the same {name} as above", means),
                Choice("missing", "it is missing: leave these rows out"),
            ],
        )
        return last if self.asking.answer(question, row.number) == "same" else ""

    def as_share(self, name: str) -> bool:
        """Whether a spreadsheet keeps this column's per cent as parts of 1."""
        if name not in self._shares:
            rows = () if self.columns.ours else self.table.rows
            numbers = [c for row in rows if isinstance(c := self.own(row, name), float)]
            self._shares[name] = bool(numbers) and all(0 < n <= 1 for n in numbers)
        return self._shares[name]

    def check_width(self, row: Row) -> None:
        """Refuse a row that holds something under no name."""
        names = self.table.header
        for i in (*self._unnamed, *range(len(names), len(row.cells))):
            cell = row.at(i)
            if cell is not None:
                raise FileError(
                    f"Cell {i + 1} stands under no column name.",
                    expected=f"at most {len(names)} cells, each under a name",
                    got=repr(read_text(cell, f"{i + 1}")[:40]),
                    remedy="name the column; or look for decimal commas or commas in names "
                    "(without quotation marks) in a table parted by commas.",
                )

    def _number_texts(self) -> Iterator[tuple[int, str]]:
        places = [self.columns.known[n] for n in _NUMBERS if n in self.columns.known]
        for group in self.columns.groups:
            places += [*group.places.values(), *(i for _, i in group.spectral)]
        for row in self.table.rows:
            for i in places:
                if isinstance(cell := row.at(i), str):
                    yield row.number, cell.strip().replace("−", "-")
