"""What the columns of a table mean, by their names, their groups and their units."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field

from matchlib.errors import FileError
from matchlib.readings._backs import order_of_words
from matchlib.readings._cells import read_text
from matchlib.readings._grid import CellFault
from matchlib.readings._header import Table, coordinate_name
from matchlib.readings._words import (
    known_name,
    meaning_of,
    near_meaning,
    plain,
    scale_of,
    viewing_words,
    wavelength,
)
from matchlib.readings.questions import Asking, Choice, Question, Undecided
from matchlib.readings.report import OURS

__all__ = ["Columns", "Group", "ask_column", "columns_of"]

_COORDINATES = set("LabXYZ")
_BACK = ("ground", "colour", "ratio", "coats", "schedule")
# A wrong meaning of these changes a colour or joins panels; of the others it is a note misplaced.
_HEAVY = {"panel", *_BACK, "illuminant", "observer", "geometry", "clear", "source"}
_POLAR = {
    **dict.fromkeys(("c", "c*", "c*ab", "cab", "chroma"), "C"),
    **dict.fromkeys(("h", "h°", "hab", "hue", "hue angle", "h ab"), "h"),
}
_MISSING = {
    "panel": "the panel's code. Which one holds it",
    "ground": "the ground. Which one says what was sprayed under the colour",
    "colour": "the transparent colour. Which one names it",
    "ratio": "the mix ratio. Which one holds it",
    "coats": "the number of coats. Which one holds it",
}
_REPEAT = re.compile(r"(?:reading|measurement|repeat|no\.?|#)?\s*(\d{1,2})", re.IGNORECASE)


@dataclass(slots=True)
class Group:
    """The columns of one reading of each row: its three coordinates, or its spectrum, or both."""

    viewing: dict[str, str]
    places: dict[str, int] = field(default_factory=dict)
    spectral: list[tuple[float, int]] = field(default_factory=list)


@dataclass(slots=True)
class Columns:
    """Which cell of a row holds what, and how sure that is.

    `scales` are the reflectance scales that names and units declare, `order` which comes first in
    a ratio by the column's own name, `own` the meanings that our own table's names gave. `meanings`
    lists for each column its name, its meaning and, where it is not sure, why.
    """

    known: dict[str, int] = field(default_factory=dict)
    groups: list[Group] = field(default_factory=list)
    extra: dict[str, int] = field(default_factory=dict)
    scales: set[str] = field(default_factory=set)
    order: str | None = None
    own: set[str] = field(default_factory=set)
    units: dict[str, str] = field(default_factory=dict)
    meanings: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def ours(self) -> bool:
        """Whether every column that means something has the name of our own table."""
        return set(self.known) == self.own

    @property
    def recipes(self) -> bool:
        """Whether the table says what was sprayed."""
        return not self.known.keys().isdisjoint(_BACK)


def columns_of(table: Table, asking: Asking) -> Columns:
    """Return what each column means; questions are asked of those in doubt."""
    reader = _Reader(table, asking)
    for i, name in enumerate(table.header):
        if name:
            reader.read(i, name)
    return reader.done()


class _Reader:
    """Columns one by one, and what can only be said when all were seen."""

    def __init__(self, table: Table, asking: Asking) -> None:
        self.table, self.asking = table, asking
        self.columns = Columns()
        self.groups: dict[str, Group] = {}
        self.claims: dict[str, list[int]] = {}
        self.outside: list[str] = []

    def read(self, i: int, name: str) -> None:
        table, columns = self.table, self.columns
        over = table.over[i] if i < len(table.over) else ""
        unit = table.units[i] if i < len(table.units) else ""
        meaning = known_name(name) if table.strict else meaning_of(name)
        letter = meaning if meaning in _COORDINATES else None
        if meaning is None and (wave := wavelength(name)):
            self._spectral(i, name, wave, (over, unit))
            return
        if meaning is None and not table.strict:
            letter = coordinate_name(name)
        if letter:
            label = _label(name, over)
            group = _group(self.groups, label)
            if letter in group.places:
                _twice(table, group.places[letter], i)
            group.places[letter] = i
            columns.meanings.append((name, f"{letter}{f' ({label})' if label else ''}", ""))
            return
        if meaning is None and not table.strict and (near := near_meaning(name)):
            meaning = self._near(near, i, name)
        if meaning is None:
            if name in columns.extra:
                if not any(table.over):
                    _twice(table, columns.extra[name], i)
                name = f"{over} {name}".strip()
            if name.casefold() not in OURS:
                columns.extra.setdefault(name, i)
            columns.meanings.append((name, "a note", ""))
            return
        self.claims.setdefault(meaning, []).append(i)
        if inner := _inner(name) or unit:
            columns.units.setdefault(meaning, inner)

    def done(self) -> Columns:
        columns, table = self.columns, self.table
        if self.outside:
            raise FileError(
                "These columns look like wavelengths, but not in nm.",
                expected="wavelengths from 300 to 900 nm, such as 400 … 700",
                got=", ".join(self.outside[:4]) + (" …" if len(self.outside) > 4 else ""),
                remedy="name spectral columns by their wavelength in nanometres, and give any "
                "other column a name in words.",
            )
        for meaning, places in self.claims.items():
            self._claim(meaning, places)
        columns.groups = [g for g in self.groups.values() if g.places or g.spectral]
        for group in columns.groups:
            group.spectral.sort()
            self._polar(group)
            letters = [n for n in "XYZ" if n in group.places]
            for letter in letters if len(letters) < 3 else ():
                i = group.places.pop(letter)  # a place on a chart, not a colour
                columns.extra[table.header[i]] = i
        known = columns.known.keys()
        if {"colour", "ratio", "coats", "schedule"} & known:
            with suppress(Undecided):
                ask_column("ground", table, columns, self.asking)
        if {"ratio", "coats"} & known:  # a schedule may name its colours itself
            with suppress(Undecided):
                ask_column("colour", table, columns, self.asking)
        for meaning in ("ratio", "schedule"):
            if meaning in columns.known:
                names = (table.header[columns.known[meaning]], columns.units.get(meaning, ""))
                columns.order = columns.order or next(
                    filter(None, map(order_of_words, names)), None
                )
        return columns

    def _polar(self, group: Group) -> None:
        """Take chroma and hue angle where a lightness stands without a and b."""
        if group.places.keys() != {"L"}:
            return
        named = {letter: n for n in self.columns.extra if (letter := _POLAR.get(plain(n)))}
        if set(named) == {"C", "h"}:
            for letter, name in named.items():
                group.places[letter] = self.columns.extra.pop(name)
                meanings = self.columns.meanings
                meanings[meanings.index((name, "a note", ""))] = (name, letter, "")

    def _spectral(
        self, i: int, name: str, wave: tuple[float, str | None, bool], meanings: tuple[str, str]
    ) -> None:
        nm, scale, in_nm = wave
        over, unit = meanings
        if not in_nm:
            self.outside.append(name)
            return
        group = _group(self.groups, over)
        if nm in dict(group.spectral):
            _twice(self.table, dict(group.spectral)[nm], i)
        group.spectral.append((nm, i))
        self.columns.scales |= {s for s in (scale, scale_of(unit), scale_of(_inner(over))) if s}
        self.columns.meanings.append((name, f"reflectance at {nm:g} nm", ""))

    def _near(self, near: str, i: int, name: str) -> str | None:
        known = {meaning_of(h) for h in self.table.header}
        if near in known or (near in ("ratio", "coats") and "schedule" in known):
            return None

        question = Question(
            f"column:{name}",
            f"Is the column {name!r} the {near}?",
            [
                Choice(near, f"yes, it holds the {near}", _first(self.table, i)),
                Choice("note", "no, keep it as a note"),
            ],
            None if near in _HEAVY else "note",
        )
        return near if self.asking.answer(question) == near else None

    def _claim(self, meaning: str, places: list[int]) -> None:
        columns, table = self.columns, self.table
        named = [i for i in places if known_name(table.header[i]) == meaning]
        if len(named) > 1:
            _twice(table, named[0], named[1])
        chosen = named[0] if named else places[0]
        if len(places) > 1 and not named and meaning in _HEAVY:
            options = {table.header[i]: i for i in places}
            if len(options) < len(places):
                _twice(table, places[0], places[1])
            question = Question(
                f"column:{meaning}",
                f"Several columns could hold the {meaning}. Which does?",
                _offered(table, options),
            )
            chosen = options[self.asking.answer(question)]
        for i in places:
            name = table.header[i]
            if i == chosen:
                columns.known[meaning] = i
                columns.meanings.append((name, meaning, ""))
                if named:
                    columns.own.add(meaning)
            else:
                columns.extra.setdefault(name, i)
                why = f"{table.header[chosen]!r} holds the {meaning}"
                columns.meanings.append((name, "a note", why))


def ask_column(meaning: str, table: Table, columns: Columns, asking: Asking) -> None:
    """Ask which of the columns that mean nothing to us holds what none is named as."""
    options = {name: i for name, i in columns.extra.items() if _could(meaning, table, i)}
    if meaning in columns.known or meaning in table.facts or not options:
        return
    question = Question(
        f"column:{meaning}",
        f"No column is named as {_MISSING[meaning]}?",
        [*_offered(table, options)[:20], Choice("none", "none of them")],
    )
    chosen = asking.answer(question)
    if chosen in options:
        columns.known[meaning] = columns.extra.pop(chosen)
        columns.meanings = [(n, meaning if n == chosen else m, w) for n, m, w in columns.meanings]


def _offered(table: Table, options: dict[str, int]) -> list[Choice]:
    return [Choice(n, f"the column {n!r}", _first(table, i)) for n, i in options.items()]


def _could(meaning: str, table: Table, i: int) -> bool:
    """Whether the cells of a column can be names, where names are looked for."""
    cells = [c for row in table.rows[:50] if (c := row.at(i)) is not None]
    if meaning not in ("ground", "colour"):
        return bool(cells)
    return any(isinstance(c, str) and not re.fullmatch(r"[\d\s.,:/-]+", c) for c in cells)


def _group(groups: dict[str, Group], label: str) -> Group:
    viewing = viewing_words(label)
    key = label.casefold() if viewing or _REPEAT.fullmatch(label.strip()) else ""
    return groups.setdefault(key, Group(viewing))


def _label(name: str, over: str) -> str:
    """What stands beside the letter of a coordinate, in its name or above it."""
    bare = re.sub(
        r"(?:CIE[\s_-]?)?(?:LAB[\s_-])?(?<![A-Za-z\d])[LabXYZ]\*?(?![A-Za-z])", " ", name, count=1
    )
    own = bare.strip(" _:()/-[]")
    if viewing_words(own) or re.fullmatch(r"\d", own):
        return f"{over} {own}".strip() if viewing_words(over) else own
    return over if viewing_words(over) or _REPEAT.fullmatch(over.strip()) else ""


def _inner(name: str) -> str:
    match = re.search(r"[(\[]([^)\]]*)[)\]]", name)
    return match[1].strip() if match else ""


def _first(table: Table, i: int) -> str:
    for row in table.rows:
        cell = row.at(i)
        if cell is not None and not isinstance(cell, CellFault):
            return f"{table.row_word} {row.number}: {read_text(cell, '')[:40]!r}"
    return ""


def _twice(table: Table, first: int, second: int) -> None:
    raise FileError(
        "Two columns have one name.",
        expected="each column once",
        got=f"{table.header[first]!r} (column {first + 1}) and {table.header[second]!r} "
        f"(column {second + 1})",
        remedy="delete or rename one of them.",
    )
