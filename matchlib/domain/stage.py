"""One stage of a panel's life: coats laid at one go, and the readings taken after them."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from itertools import pairwise

from matchlib.domain.parts import clean_text
from matchlib.domain.ratio import MixRatio
from matchlib.domain.reading import BEFORE_CLEAR, Reading
from matchlib.domain.recipe import Recipe
from matchlib.domain.setup import NO_SETUP, GunSetup, lots_text, read_lots
from matchlib.errors import DomainError

__all__ = ["LoggedCoat", "Stage"]

_REPEAT_DAYS = 90  # colours fade; readings further apart are not repeats (common practice)


@dataclass(frozen=True, slots=True)
class LoggedCoat:
    """What was noted of one coat as it was sprayed.

    Parameters
    ----------
    coat : int
        Its number on the panel, the first colour coat being 1.
    at : datetime.datetime, optional
        When.
    ratio : MixRatio, optional
        What was in the cup, where that was noted.
    sprayer, lot : str
        By whom, and from which lot of the colour; empty where not noted.
    temperature : float, optional
        Booth air [°C].
    humidity : float, optional
        Booth relative humidity [%].
    setup : GunSetup
        How the gun was set, where that was noted of this coat.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> LoggedCoat(2, ratio=MixRatio.parse("6:1"), temperature=21.0).coat
    2
    """

    coat: int
    at: dt.datetime | None = None
    ratio: MixRatio | None = None
    sprayer: str = ""
    lot: str = ""
    temperature: float | None = None
    humidity: float | None = None
    setup: GunSetup = NO_SETUP

    def __post_init__(self) -> None:
        for what in ("sprayer", "lot"):
            object.__setattr__(self, what, clean_text(getattr(self, what), what))
        check_booth(self.temperature, self.humidity)


@dataclass(frozen=True, slots=True)
class Stage:
    """Coats laid at one go on what was there, and the readings taken after them.

    Parameters
    ----------
    recipe : Recipe
        All that is on the panel after this stage: the coats of earlier stages first.
    readings : tuple of Reading
        Repeat readings stay repeats. One whose date is the stage's own has none of its own.
    date : datetime.date, optional
        Sprayed on.
    sprayer, lot : str
        As written on the back, the lot being that of the colour; empty where not.
    temperature : float, optional
        Booth air [°C].
    humidity : float, optional
        Booth relative humidity [%].
    log : tuple of LoggedCoat
        What was noted coat by coat, in the order sprayed.
    setup : GunSetup
        How the gun was set and led.
    lots : tuple of (str, str)
        Lots of the pot's other bottles: carrier, second colour, hardener; bottle and lot.
    clear_coats : int, optional
        Coats of clear laid in this stage, 0 to 10.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> stage = Stage(Recipe.of("silver", "cherry", "3@6:1"), (Reading(lab=(36.6, 36.7, 8.7)),))
    >>> [reading.lab for reading in stage.last_read]
    [(36.6, 36.7, 8.7)]
    """

    recipe: Recipe
    readings: tuple[Reading, ...] = ()
    date: dt.date | None = None
    sprayer: str = ""
    lot: str = ""
    temperature: float | None = None
    humidity: float | None = None
    log: tuple[LoggedCoat, ...] = ()
    setup: GunSetup = NO_SETUP
    lots: tuple[tuple[str, str], ...] = ()
    clear_coats: int | None = None

    def __post_init__(self) -> None:
        for what in ("sprayer", "lot"):
            object.__setattr__(self, what, clean_text(getattr(self, what), what))
        check_booth(self.temperature, self.humidity)
        object.__setattr__(self, "lots", read_lots(lots_text(self.lots)))
        most = 0 if self.recipe.clear is None else 10
        if self.clear_coats is not None and not 0 <= self.clear_coats <= most:
            raise DomainError(
                "This is not a number of coats of clear.",
                expected="0 to 10" if most else "none, for the recipe has no clear coat",
                got=f"{self.clear_coats}",
                remedy="count the coats of clear alone, or leave it empty.",
            )
        own = tuple(
            replace(r, date=None) if r.date is not None and r.date == self.date else r
            for r in self.readings
        )
        object.__setattr__(self, "readings", own)
        for reading in own:
            if self.recipe.clear is None and reading.state not in ("", BEFORE_CLEAR):
                raise DomainError(
                    f"A panel without a clear coat cannot be read {reading.state}.",
                    expected="a clear coat in the recipe, or a reading before clear",
                    got=f"clear no, {reading.state}",
                    remedy="write the clear coat into the recipe.",
                )
        self._check_log()

    def _check_log(self) -> None:
        for before, then in pairwise(self.log):
            late = before.at is not None and then.at is not None and _later(before.at, then.at)
            if then.coat <= before.coat or late:
                raise DomainError(
                    "This log of coats is out of order.",
                    expected="each coat once, in the order and at the times sprayed",
                    got=f"coat {before.coat}{_at(before)}, then coat {then.coat}{_at(then)}",
                    remedy="set the numbers and times right, or leave a time empty.",
                )

    @property
    def last_read(self) -> tuple[Reading, ...]:
        """Readings of the state read last, and of about the same day: what are repeats."""
        if not self.readings:
            return ()
        last = self.readings[-1]
        day = last.date or self.date

        def near(reading: Reading) -> bool:
            own = reading.date or self.date
            return own is None or day is None or abs((own - day).days) <= _REPEAT_DAYS

        return tuple(r for r in self.readings if r.state == last.state and near(r))

    def recipe_at(self, reading: Reading) -> Recipe:
        """Return what was on the panel when it was read.

        Parameters
        ----------
        reading : Reading
            One of this stage's.

        Returns
        -------
        Recipe
            Without the clear coat for a reading before clear.
        """
        return replace(self.recipe, clear=None) if reading.state == BEFORE_CLEAR else self.recipe


def check_booth(temperature: float | None, humidity: float | None) -> None:
    """Refuse a climate that no booth has."""
    for what, value, low, high in (
        ("temperature", temperature, -20.0, 70.0),
        ("humidity", humidity, 0.0, 100.0),
    ):
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise DomainError(
                f"This booth {what} is not possible.",
                expected=f"{low:g} to {high:g}",
                got=f"{value:g}",
                remedy="leave it empty if it was not read.",
            )


def _later(one: dt.datetime, other: dt.datetime) -> bool:
    # A time with a zone and one without cannot be compared.
    return (one.tzinfo is None) == (other.tzinfo is None) and one > other


def _at(entry: LoggedCoat) -> str:
    return "" if entry.at is None else f" at {entry.at.isoformat(sep=' ', timespec='minutes')}"
