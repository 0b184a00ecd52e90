"""One row of a table on its way into a panel, with all that is the matter with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from matchlib.domain import GunSetup, LoggedCoat, Panel, Reading, Recipe, Stage, read_lots
from matchlib.errors import FileError, MatchlibError
from matchlib.plain import from_plain, load
from matchlib.readings._cells import read_text
from matchlib.readings._conditions import ConditionReader
from matchlib.readings._grid import CellFault, Row
from matchlib.readings._lookup import Lookup
from matchlib.readings._measured import MeasuredReader
from matchlib.readings._recipes import RecipeReader
from matchlib.readings._rows import OF_GUN, OF_PANEL, OF_STAGE
from matchlib.readings._styles import read_date
from matchlib.readings.questions import Undecided
from matchlib.readings.report import REFUSED, TAKEN, WAITS, RowReport, listed_rows

__all__ = ["Entry", "TableReader", "as_shown", "role_of"]

_Covariance = tuple[tuple[float, float, float], ...]
_T = TypeVar("_T")


@dataclass(slots=True)
class Entry:
    """A row as far as it could be read; `reasons` against it, and questions it is `waiting` for."""

    row: int
    code: str = ""
    tile: str = ""
    recipe: Recipe | None = None
    readings: list[Reading] = field(default_factory=list)
    unread: bool = False
    stage: int = 1
    sprayed: dt.date | None = None
    log: tuple[LoggedCoat, ...] = ()
    back: dict[str, Any] = field(default_factory=dict)
    extra: tuple[tuple[str, str], ...] = ()
    reasons: list[str] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    place: int = -1
    known: Panel | None = None

    @property
    def good(self) -> bool:
        """Whether nothing is against it."""
        return not self.reasons and not self.waiting

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Note what is the matter, and go on: the other cells may be wrong as well."""
        try:
            yield
        except Undecided as key:
            self.waiting.append(str(key))
        except MatchlibError as error:
            self.reasons.append(str(error))

    def report(self, sheet: str = "", cells: tuple[tuple[str, str], ...] = ()) -> RowReport:
        """Return what became of the row."""
        outcome = REFUSED if self.reasons else WAITS if self.waiting else TAKEN
        waits = [f"waits for the answer to {key!r}" for key in self.waiting]
        reasons = tuple(dict.fromkeys(self.reasons or waits))
        return RowReport(self.row, outcome, self.code, reasons, sheet, cells)

    def sprayed_stage(self, readings: tuple[Reading, ...]) -> Stage:
        """Return the stage that the row is of."""
        if self.recipe is None:
            raise FileError("This reading has no back.", remedy="give the file of backs with it.")
        return Stage(
            self.recipe,
            readings,
            date=self.sprayed,
            log=self.log,
            setup=GunSetup(**self._stated(OF_GUN)),
            lots=read_lots(self.back.get("lots", "")),
            **self._stated(OF_STAGE),
        )

    def panel(self, stages: tuple[Stage, ...]) -> Panel:
        """Return the panel that the row is of; refuses an unusable code or note."""
        return Panel(self.code, stages, extra=self.extra, **self._stated(OF_PANEL))

    def _stated(self, names: tuple[str, ...]) -> dict[str, Any]:
        return {name: self.back[name] for name in names if name in self.back}


def role_of(lookup: Lookup) -> str:
    """Return ``both``, ``readings``, ``backs``, or nothing for a table that holds neither."""
    ground = "ground" in lookup.columns.known or "ground" in lookup.facts
    if "tile" in lookup.columns.known or (lookup.columns.groups and ground):
        return "both"
    if lookup.columns.groups:
        return "readings"
    return "backs" if ground and lookup.columns.recipes and "panel" in lookup.columns.known else ""


class TableReader:
    """Reads the rows of one table."""

    def __init__(self, lookup: Lookup) -> None:
        self.lookup, self.role = lookup, role_of(lookup)
        self.dates = lookup.style_of_dates(lookup.asking)
        self.measured = MeasuredReader(lookup)
        self.recipes = RecipeReader(lookup)
        self.conditions = ConditionReader(lookup)

    def entry(self, row: Row) -> Entry:
        """Return a row with every reason against it."""
        lookup, entry = self.lookup, Entry(row.number)
        with entry.noting():
            lookup.check_width(row)
        with entry.noting():
            self._code(row, entry)
        if self.role != "backs":
            with entry.noting():
                entry.readings = self.measured.readings(row)
        with entry.noting():
            self._days(row, entry)
        if entry.tile:
            if not entry.readings and entry.good:
                entry.reasons.append(
                    "This row of a tile holds no reading. What to do: fill in L, a, b."
                )
            return entry
        if self.role != "readings":
            with entry.noting():
                entry.recipe = self.recipes.recipe(row)
        with entry.noting():
            self._check_read(row, entry)
        for name in (*OF_PANEL, *OF_STAGE, *OF_GUN, "lots"):
            with entry.noting():
                entry.back[name] = self._back(row, name)
        with entry.noting():
            number = lookup.whole(row, "stage")
            # Of readings alone, it is the last where the file does not say.
            entry.stage = int(self.role != "readings") if number is None else number
        with entry.noting():
            if text := lookup.text(row, "log"):
                entry.log = _as_exported(text, tuple[LoggedCoat, ...], "log of coats")
        with entry.noting():
            entry.extra = tuple(
                (name, read_text(cell, name))
                for name, i in lookup.columns.extra.items()
                if (cell := row.at(i)) is not None
            )
        if entry.good and entry.recipe is not None:
            with entry.noting():
                stage = replace(entry, log=()).sprayed_stage(tuple(entry.readings))
                entry.code = entry.panel((stage,)).code
        return entry

    def shown(self, row: Row, entry: Entry) -> dict[str, Any]:
        """Return a row as it was understood, for a preview."""
        lookup = self.lookup
        seen: dict[str, Any] = {lookup.table.row_word: row.number}
        for name, i in lookup.columns.known.items():
            if row.at(i) is not None:
                seen[name] = as_shown(row, i)
        if entry.recipe:
            seen["recipe"] = str(entry.recipe)
            if entry.recipe.schedule:
                seen["coats"] = entry.recipe.schedule.words
        if entry.sprayed:
            seen["sprayed"] = entry.sprayed.isoformat()
        seen["readings"] = [_in_words(r) for r in entry.readings] or [
            ", ".join(f"{n} {as_shown(row, i)}" for n, i in g.places.items() if i < len(row.cells))
            for g in lookup.columns.groups
            if g.places
        ]
        return seen

    def remarks(self) -> tuple[list[str], list[str]]:
        """Return what should be looked at in the table, and what was assumed of it."""
        measured, recipes, word = self.measured, self.recipes, self.lookup.table.row_word
        found = {
            "the ratio has more colour than carrier and looks reversed; carrier comes first, 6:1 "
            "is six parts of carrier to one of colour": recipes.reversed,
            "both a spectrum and L, a, b (or X, Y, Z); the spectrum was taken": measured.both,
            "the Lab in the file is more than ΔE00 1 from the Lab of its own spectrum; it may be "
            "for another light": measured.disagreeing(),
            **measured.gaps,
        }
        warnings = [*self.lookup.table.warnings]
        warnings += [f"{listed_rows(word, rows)}: {t}." for t, rows in found.items() if rows]
        assumptions = {**recipes.assumed, **self.conditions.assumed}
        assumed = [f"{listed_rows(word, rows)}: {t}." for t, rows in assumptions.items()]
        if measured.scale.note:
            assumed.append(measured.scale.note + ".")
        if measured.source_unstated:
            assumed.append("read by a spectrophotometer, since the file does not say.")
        said = self.lookup.columns.known.keys() | self.lookup.facts.keys()
        known = self.role == "readings" or self.lookup.columns.ours or self.lookup.table.strict
        if not known and not {"clear", "tile"} & said:
            assumed.append("under no clear coat, since the file does not say.")
        return warnings, assumed

    def _back(self, row: Row, name: str) -> Any:
        if name == "temperature":
            return self.conditions.temperature(row)
        if name == "clear_coats":
            return self.lookup.whole(row, name)
        if name in self.conditions.measured:
            return self.conditions.quantity(row, name)
        return self.lookup.text(row, name)

    def _days(self, row: Row, entry: Entry) -> None:
        lookup = self.lookup
        day = read_date(lookup.cell(row, "date"), self.dates)
        entry.sprayed = lookup.sprayed(row, self.dates)
        details: dict[str, Any] = {
            n: lookup.text(row, n) for n in ("instrument", "state", "picture")
        }
        if text := lookup.text(row, "covariance"):
            details["covariance"] = _as_exported(text, _Covariance, "covariance of a reading")
        entry.readings = [replace(r, date=day, **details) for r in entry.readings]

    def _code(self, row: Row, entry: Entry) -> None:
        tile = self.lookup.text(row, "tile").casefold()
        tile = "" if tile in ("no", "none") else tile
        code = "" if tile else self.lookup.or_above(row, "panel")
        if code.casefold().startswith("tile:"):
            tile = code[5:].strip().casefold()
        entry.tile, entry.code = tile, f"tile:{tile}" if tile else code

    def _check_read(self, row: Row, entry: Entry) -> None:
        if entry.readings:
            return
        entry.unread = self.measured.source(row) == "none"
        if self.role == "both" and not entry.unread and entry.good:
            raise FileError(
                "This row holds no reading.",
                expected="L, a and b, or reflectances by wavelength",
                remedy="fill in the reading; or write none as its source, if the panel was never "
                "read.",
            )


def _as_exported(text: str, kind: type[_T], what: str) -> _T:
    try:
        return from_plain(kind, load(text))
    except MatchlibError as error:
        raise FileError(
            f"This {what} cannot be read.",
            expected="one as the export writes it",
            got=f"{text[:60]} ({error})",
            remedy="empty the cell.",
        ) from None


def as_shown(row: Row, i: int) -> str:
    """Return a cell as text, whatever is the matter with it."""
    cell = row.at(i)
    return cell.reason if isinstance(cell, CellFault) else read_text(cell, "")


def _in_words(reading: Reading) -> str:
    if reading.lab is None:
        peak = max(reading.reflectance)
        return f"{len(reading.wavelengths)} reflectances to {peak:.1%}, {reading.viewing}"
    return "L {:g}, a {:g}, b {:g}, ".format(*reading.lab) + str(reading.viewing)
