"""A row → what was sprayed. What changes a colour and is not stated is asked, once for the file."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
from fractions import Fraction
from typing import TypeVar

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Recipe, name_key
from matchlib.domain.blend import check_one_pot
from matchlib.errors import FileError, MatchlibError
from matchlib.readings._backs import Step, colour_apart, read_back, schedule_of, units_in
from matchlib.readings._cells import read_text
from matchlib.readings._grid import Cell, Row
from matchlib.readings._lookup import Lookup
from matchlib.readings.questions import Choice, Question

__all__ = ["RecipeReader"]

_BlendT = TypeVar("_BlendT", Ground, Colour)
_NO_NAME = {"nan", "null", "n/a", "na", "?", "#n/a", "tbd", "none", "-", "--"}
_BARE = {"none", "-", "--", "—", "–", "bare", "no", "nil", "no colour", "no color"}
_CLEARED = {"cleared", "clear coated", "x", "✓", "✔", "ja", "oui"}
_UNCLEARED = {"-", "--", "—", "–", "nil", "uncleared", "not cleared", "not clear coated"}
_UNCLEARED |= {"no clear", "no clear coat", "no clearcoat", "without", "not yet", "nein", "non"}
_MIXES = ("schedule", "ratio")
_CLOCK = re.compile(r"\s*(\d{1,3}):(\d{2}):\d{2}(?:\.\d+)?\s*|\s*(\d{1,3}):(0\d)\s*", re.ASCII)
_CALENDAR = re.compile(r"\s*(?:(\d{1,2})[- ]([A-Z][a-z]{2})|([A-Z][a-z]{2})[- ](\d{1,2}))\s*")
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
_NEAR = 0.84
_MOST_NAMES = 500  # no shop has so many grounds; beyond, nothing is compared


class RecipeReader:
    """Reads recipes out of the rows of one table.

    `reversed` gathers rows with more colour than carrier, `assumed` those read in other words than
    written.
    """

    def __init__(self, lookup: Lookup) -> None:
        self.lookup = lookup
        self.reversed: list[int] = []
        self.assumed: dict[str, list[int]] = {}
        self._names = {k: {name_key(n): n for n in v} for k, v in lookup.stated.names.items()}
        self._counts: dict[str, Counter[str]] = {}
        self._carrier_first: dict[str, bool] = {}
        self._nearest: dict[tuple[str, str], str | None] = {}

    def recipe(self, row: Row) -> Recipe:
        """Return the recipe of a row; bare where it has no colour and no coats."""
        lookup = self.lookup
        ground = self._blend(Ground, lookup.or_above(row, "ground"), row)
        if ground is None:
            raise FileError(
                "The ground is blank.",
                expected="the name of the ground coat, or a blend such as silver 3 + black 1",
                remedy="write what the panel was sprayed on.",
            )
        written = lookup.text(row, "colour") or self._in_the_mix(row)
        plain = any(self._cell(row, n) is not None for n in (*_MIXES, "carrier parts"))
        bare = not written or (written.casefold() in _BARE and not plain)
        colour = None if bare else self._blend(Colour, written, row)
        schedule = self._schedule(row, bare=colour is None)
        recipe = Recipe(ground, colour, schedule, self._clear(row))
        if schedule and any(s.ratio.looks_reversed for s in schedule.steps):
            self.reversed.append(row.number)
        return recipe

    def _in_the_mix(self, row: Row) -> str:
        """The colour, where a table has no column of it and its mixes begin or end with it."""
        if "colour" in self.lookup.columns.known:
            return ""
        texts = (
            self.lookup.text(row, what) for what in _MIXES if what in self.lookup.columns.known
        )
        name = next(filter(None, (colour_apart(t)[0] for t in texts)), "")
        if name and name.casefold() not in _BARE:
            self._note(f"{name!r} beside a mix is its colour", row)
        return name

    def _cell(self, row: Row, what: str) -> Cell:
        """A cell of the mix, without the colour's name."""
        cell = self.lookup.cell(row, what)
        if "colour" in self.lookup.columns.known or not isinstance(cell, str):
            return cell
        if cell.strip().casefold() in _BARE:
            return None
        return colour_apart(cell)[1] or None

    def _clear(self, row: Row) -> str:
        text = self.lookup.text(row, "clear")
        folded = " ".join(text.casefold().split()).replace("un-", "un")
        return "no" if folded in _UNCLEARED else "yes" if folded in _CLEARED else text

    def _blend(self, kind: type[_BlendT], text: str, row: Row) -> _BlendT | None:
        if not text:
            return None
        if text.casefold() in _NO_NAME:
            raise FileError(
                f"The {kind.kind} is {text!r}, which is no name.",
                expected=f"the name of the {kind.kind}"
                + (", or a blank cell for a bare ground" if kind is Colour else ""),
                remedy="write the name, or empty the cell.",
            )
        blend = kind.parse(text)
        parts = tuple((self._name(kind.kind, n, row), p) for n, p in blend.parts)
        return blend if parts == blend.parts else kind(parts)

    def _name(self, what: str, name: str, row: Row) -> str:
        known = self._names.get(what, {})
        folded = name_key(name)
        if folded in known:
            return name
        if what == "colour":
            check_one_pot(name)
        if (what, folded) not in self._nearest:
            self._nearest[what, folded] = self._near(what, folded)
        near = self._nearest[what, folded]
        if near is None:
            return name
        other = known.get(near, near)
        means = f"{self.lookup.where(row)} goes to {other}"
        question = Question(
            f"name:{what}:{name}",
            f"The {what} {name!r} is new, and much like {other!r}. Is it the same?",
            [
                Choice(other, f"the same {what}, misspelt", means),
                Choice("new", f"another {what}, of its own"),
                Choice("leave", "leave its rows out"),
            ],
            None if near in known else "new",
        )
        chosen = self.lookup.asking.answer(question, row.number)
        if chosen == "leave":
            raise FileError(f"The {what} {name!r} was left out, as answered.")
        return name if chosen == "new" else chosen

    def _near(self, what: str, folded: str) -> str | None:
        if len(self._nearest) > _MOST_NAMES:
            return None
        counts = self._counts.get(what)
        if counts is None:
            counts = self._counts[what] = self._count(what)
        often = [n for n, k in counts.items() if k >= 3 * counts[folded] and k >= 3]
        return _near(folded, self._names.get(what, {})) or _near(folded, often)

    def _count(self, what: str) -> Counter[str]:
        kind = Ground if what == "ground" else Colour
        counts: Counter[str] = Counter()
        for row in self.lookup.table.rows:
            try:
                text = self.lookup.text(row, what)
                counts.update(name_key(n) for n in kind.parse(text).names if text)
            except MatchlibError:
                continue
            if len(counts) > _MOST_NAMES:
                return Counter()
        return counts

    def _schedule(self, row: Row, *, bare: bool) -> CoatSchedule | None:
        lookup = self.lookup
        ratio, coats = self._steps(row, "ratio"), self._coats(row)
        column = coats
        text = lookup.text(row, "schedule")
        if "@" in text and self._documented("schedule"):
            text = re.sub(r"(@\s*\d+),(\d+\s*:)", r"\1.\2", text)  # a decimal comma for sure
            return self._agreeing(CoatSchedule.parse(text), ratio, coats, row)
        if layered := self._layered(text, row):
            return self._agreeing(layered, ratio, coats, row)
        written = self._steps(row, "schedule")
        parts = [lookup.cell(row, n) for n in ("carrier parts", "colour parts")]
        if None not in parts:
            self._check_units()
            carrier, colour = (
                Fraction(str(lookup.number(c, n)))
                for c, n in zip(parts, ("carrier", "colour"), strict=True)
            )
            ratio = ratio or (Step(None, carrier, colour, "carrier", "ratio"),)
        mixes = [s for s in written if s.kind != "none"]
        if written and not mixes:  # coats alone, their ratio in a column of its own
            coats, written = sum(s.coats or 0 for s in written), ()
        if not written:
            if bare and not ratio and coats in (None, 0):
                return None
            if not ratio or (coats is None and any(s.coats is None for s in ratio)):
                missing = ["ratio"] * (not ratio) + ["coats"] * (coats is None)
                raise FileError(
                    f"The recipe has no {' and no '.join(missing)}.",
                    expected="a schedule such as 4@6:1, or a ratio and a number of coats; for a "
                    "bare ground neither colour nor coats",
                    remedy="fill in what was sprayed.",
                )
            schedule = schedule_of(ratio, [self._mix(s, row, "ratio") for s in ratio], coats)
            for stated in (coats, column):
                self._agreeing(schedule, (), stated, row)
            return schedule
        mixes_of = [self._mix(s, row, "schedule") for s in written]
        return self._agreeing(schedule_of(written, mixes_of, coats), ratio, coats, row)

    def _layered(self, text: str, row: Row) -> CoatSchedule | None:
        """Coats of several colours, each named behind its mix: ``2@6:1 cherry, 1@8:1 violet``."""
        try:
            found = CoatSchedule.parse(text) if "@" in text else None
        except MatchlibError:
            return None
        if found is None or not any(s.colour for s in found.steps):
            return None
        first = found.steps[0].ratio
        order = self.lookup.columns.order or self._order(
            Step(None, first.carrier, first.colour, None, "ratio"), row
        )
        if order == "carrier":
            return found
        turned = (replace(s, ratio=MixRatio(s.ratio.colour, s.ratio.carrier)) for s in found.steps)
        return CoatSchedule(tuple(turned))

    def _check_units(self) -> None:
        columns, header = self.lookup.columns, self.lookup.table.header
        names = [n for n in ("carrier parts", "colour parts") if n in columns.known]
        said = [f"{header[columns.known[n]]} {columns.units.get(n, '')}" for n in names]
        units = [u for u in map(units_in, said) if u - {"parts"}]
        if len({frozenset(u) for u in units}) > 1:
            raise FileError(
                "The carrier and the colour are not measured in one unit.",
                expected="both in ml, or both in oz",
                got=" and ".join(header[columns.known[n]] for n in names),
                remedy="write both in the same unit, or write the ratio, such as 6:1.",
            )

    def _agreeing(
        self, schedule: CoatSchedule, ratio: tuple[Step, ...], coats: int | None, row: Row
    ) -> CoatSchedule:
        own = {self._mix(s, row, "ratio") for s in ratio}
        if (own and own != {s.ratio for s in schedule.steps}) or coats not in (
            None,
            schedule.coats,
        ):
            others = [f"coats {coats}"] * (coats is not None)
            raise _contradiction(schedule, others + [f"ratio {r}" for r in own])
        return schedule

    def _coats(self, row: Row) -> int | None:
        cell = self.lookup.cell(row, "coats")
        if cell is None:
            return None
        if isinstance(cell, str) and re.search(r"[a-z+x×]", cell, re.IGNORECASE):
            steps = read_back(cell.strip(), self.lookup.decimal)
            if all(s.kind in ("none", "bare") and s.first.denominator == 1 for s in steps):
                return sum(s.coats if s.coats is not None else int(s.first) for s in steps)
        return self.lookup.whole(row, "coats")

    def _steps(self, row: Row, what: str) -> tuple[Step, ...]:
        cell = self._cell(row, what)
        if cell is None:
            return ()
        text = self._unclocked(cell, what, row)
        steps = read_back(text, self.lookup.decimal)
        if any(s.order == "colour" and s.kind == "ratio" for s in steps):
            mixes = ", ".join(str(MixRatio(s.second, s.first)) for s in steps if s.second)
            self._note(f"{text!r} is {mixes}, carrier first", row)
        return steps

    def _note(self, words: str, row: Row) -> None:
        self.assumed.setdefault(words, []).append(row.number)

    def _unclocked(self, cell: Cell, what: str, row: Row) -> str:
        """The text that a spreadsheet has turned into a clock time or a day of the year."""
        pairs: dict[str, str] = {}
        if isinstance(cell, dt.time):
            pairs = {"clock": f"{cell.hour}:{cell.minute}"}
        elif isinstance(cell, dt.timedelta):
            minutes = round(cell.total_seconds() / 60)
            pairs = {"clock": f"{minutes // 60}:{minutes % 60}"}
        elif isinstance(cell, dt.datetime) and cell.year <= 1900:
            hours = 24 * (cell.date() - dt.date(1899, 12, 31)).days if cell.year == 1900 else 0
            pairs = {"clock": f"{hours + cell.hour}:{cell.minute}"}
        elif isinstance(cell, dt.date):
            pairs = {"day": f"{cell.day}:{cell.month}", "month": f"{cell.month}:{cell.day}"}
        else:
            text = read_text(cell, what)
            if match := _CLOCK.fullmatch(text):
                pairs = {"clock": f"{int(match[1] or match[3])}:{int(match[2] or match[4])}"}
            elif (match := _CALENDAR.fullmatch(text)) and (match[2] or match[3]) in _MONTHS:
                day = match[1] or match[4]
                month = _MONTHS.index(match[2] or match[3]) + 1
                pairs = {"day": f"{int(day)}:{month}", "month": f"{month}:{int(day)}"}
            if not pairs:
                return text
        shown = read_text(cell, what)
        clock = "clock" in pairs
        kind = "a clock time" if clock else "a day of the year"
        where = f"{self.lookup.where(row)}: {shown!r} is"
        choices = [
            Choice(k, f"{v} was typed" + f", {k} first" * (not clock), f"{where} {v}")
            for k, v in pairs.items()
        ]
        question = Question(
            "clock" if clock else "calendar",
            f"The spreadsheet has turned cells of the {what} into {kind}. What was typed?",
            [*choices, Choice("leave", "not known: leave these rows out")],
        )
        chosen = self.lookup.asking.answer(question, row.number)
        if chosen == "leave":
            raise FileError(
                f"The {what} has become {kind} in the spreadsheet.",
                expected="text such as 6:1",
                got=repr(shown),
                remedy=f"format the column {what} as text, type the values again as they are "
                "written on the panel (such as 6:1), and save the file again.",
            )
        return pairs[chosen]

    def _mix(self, step: Step, row: Row, what: str) -> MixRatio:
        if step.kind == "none":
            raise FileError("A step has coats but no ratio.", remedy="write such as 4@6:1.")
        if step.kind == "percent":
            return self._percent(step, row)
        if step.kind == "bare":
            return self._bare(step, row, what)
        order = step.order or self.lookup.columns.order
        if order is None and step.first != step.second and not self._documented(what):
            order = self._order(step, row)
        if order == "colour":
            return MixRatio(step.second, step.first)
        return MixRatio(step.first, step.second)

    def _documented(self, what: str) -> bool:
        """Whether our own table's rule, carrier first, holds: all its names, its sign, no 1:6."""
        if what not in self._carrier_first:
            found = self.lookup.columns.ours
            for row in self.lookup.table.rows if found else ():
                text = self.lookup.cell(row, what)
                if not isinstance(text, str) or "@" in text or not text.strip():
                    continue
                try:
                    steps = read_back(text, self.lookup.decimal)
                except FileError:
                    continue
                found = found and ":" in text and all(s.first >= s.second for s in steps)
            self._carrier_first[what] = found
        return self._carrier_first[what]

    def _order(self, step: Step, row: Row) -> str:
        a, b = _plain(step.first), _plain(step.second)
        where = f"{self.lookup.where(row)}: {a} parts"
        share, other = _share(step.second, step.first), _share(step.first, step.second)
        question = Question(
            "order",
            f"Which comes first in this file's mix ratios, such as {a}:{b}?",
            [
                Choice("carrier", "the carrier", f"{where} carrier to {b} colour, {share} colour"),
                Choice("colour", "the colour", f"{where} colour to {b} carrier, {other} colour"),
            ],
        )
        return self.lookup.asking.answer(question, row.number)

    def _bare(self, step: Step, row: Row, what: str) -> MixRatio:
        n = step.first
        columns = self.lookup.columns
        name = self.lookup.table.header[columns.known[what]] if what in columns.known else ""
        heading = f"{name} {columns.units.get(what, '')}"
        if re.search(r"%|\bpercent\b", heading, re.IGNORECASE):
            if self.lookup.as_share(what):
                self._note(f"the {what} was taken as a part of 1", row)
                step = step._replace(first=100 * n)
            return self._percent(step, row)
        if not re.search(r"\bx ?: ?1\b|: ?1\b", heading):
            to_one = "so many parts of carrier to one of colour"
            question = Question(
                "bare",
                f"Some mix ratios are one number, such as {_plain(n)}. What does it mean?",
                [
                    Choice("to one", to_one, f"{self.lookup.where(row)}: {_plain(n)}:1"),
                    Choice("leave", "not known: leave these rows out"),
                ],
            )
            if self.lookup.asking.answer(question, row.number) == "leave":
                raise FileError(
                    "This is not a mix ratio.",
                    got=repr(_plain(n)),
                    expected="carrier : colour by volume, such as 6:1",
                    remedy="write six parts of carrier to one of colour as 6:1.",
                )
        return MixRatio(n, Fraction(1))

    def _percent(self, step: Step, row: Row) -> MixRatio:
        p = step.first
        pot = f"{_plain(100 - p)}:{_plain(p)}" if p < 100 else "no carrier"
        where = self.lookup.where(row)
        question = Question(
            "percent",
            f"Some mixes are a percentage, such as {_plain(p)}%. Of what?",
            [
                Choice("pot", "colour as a share of the whole pot", f"{where}: {pot}"),
                Choice("carrier", "colour added to 100 of carrier", f"{where}: 100:{_plain(p)}"),
            ],
        )
        chosen = self.lookup.asking.answer(question, row.number)
        return MixRatio(100 - p if chosen == "pot" else Fraction(100), p)


def _near(name: str, known: Iterable[str]) -> str | None:
    if len(name) < 4:
        return None
    digits = re.findall(r"\d+", name)
    alike = [n for n in known if n != name and re.findall(r"\d+", n) == digits]
    return next(iter(get_close_matches(name, alike, 1, cutoff=_NEAR)), None)


def _contradiction(schedule: CoatSchedule, others: list[str]) -> FileError:
    return FileError(
        "The ratio and coats do not suit the schedule.",
        expected=f"what {schedule} says: {schedule.words}",
        got=" and ".join(others),
        remedy="find out which of them was sprayed, and empty the other.",
    )


def _plain(value: Fraction) -> str:
    return f"{float(value):g}"


def _share(part: Fraction, other: Fraction) -> str:
    total = part + other
    return f"{float(part / total):.0%}" if total else "no"
