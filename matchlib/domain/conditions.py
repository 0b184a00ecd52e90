"""Who sprays, from which lots and batches, when, and what reads it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from matchlib.domain.parts import name_key
from matchlib.domain.recipe import Recipe
from matchlib.errors import DomainError

__all__ = ["NO_DAY", "Conditions", "day_of"]

NO_DAY = "unknown"
"""Written as the day of spraying where a reading has a day and the spraying has none."""


def day_of(text: str) -> dt.date:
    """Return the day that is written as year-month-day.

    Parameters
    ----------
    text : str
        Such as ``2026-05-31``; a time of day may follow.

    Returns
    -------
    datetime.date
        That day.

    Raises
    ------
    DomainError
        If it is no day, or not written so.

    Examples
    --------
    >>> day_of("2026-05-31").year
    2026
    """
    try:
        return dt.datetime.fromisoformat(text.strip()).date()
    except ValueError:
        raise DomainError(
            "This is not a date.",
            expected="year-month-day, such as 2026-05-31",
            got=repr(text[:40]),
            remedy="write it so.",
        ) from None


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a panel shares with others besides its recipe; empty where it is not known.

    Parameters
    ----------
    sprayer : str
        Who sprays.
    lots : tuple of (str, str)
        Colour, by its `name_key`, and its lot.
    batches : tuple of (str, str)
        Ground, likewise, and its batch.
    instrument : str
        What reads it.
    date : datetime.date, optional
        When it is sprayed.

    Examples
    --------
    >>> Conditions(sprayer="Ada", instrument="bench").sprayer
    'Ada'
    """

    sprayer: str = ""
    lots: tuple[tuple[str, str], ...] = ()
    batches: tuple[tuple[str, str], ...] = ()
    instrument: str = ""
    date: dt.date | None = None

    @classmethod
    def of(
        cls,
        recipe: Recipe,
        *,
        sprayer: str = "",
        lot: str = "",
        batch: str = "",
        instrument: str = "",
        date: dt.date | None = None,
    ) -> Conditions:
        """Read them as they stand on the back of a panel.

        Parameters
        ----------
        recipe : Recipe
            Of the panel.
        sprayer : str
            Who sprayed it.
        lot, batch : str
            Of its colours and of its grounds: one for all of them, or as many as there are, joined
            by +, in the order in which the back names them.
        instrument : str
            What read it.
        date : datetime.date, optional
            When it was sprayed.

        Returns
        -------
        Conditions
            Each colour with its lot, each ground with its batch.
        """
        colours = [name for colour in recipe.colours for name, _ in colour.parts]
        return cls(
            sprayer,
            _each(colours, lot),
            _each((name for name, _ in recipe.ground.parts), batch),
            instrument,
            date,
        )

    def over(self, usual: Conditions) -> Conditions:
        """Return these conditions, filled up from others where something is not known.

        Parameters
        ----------
        usual : Conditions
            What holds where these say nothing.

        Returns
        -------
        Conditions
            Lots and batches colour by colour and ground by ground, in the order of their names.
        """
        return replace(
            self,
            sprayer=self.sprayer or usual.sprayer,
            lots=tuple(sorted((dict(usual.lots) | dict(self.lots)).items())),
            batches=tuple(sorted((dict(usual.batches) | dict(self.batches)).items())),
            instrument=self.instrument or usual.instrument,
            date=self.date or usual.date,
        )


def _each(names: Iterable[str], text: str) -> tuple[tuple[str, str], ...]:
    """Keys of names, sorted, each with its own part of a text, or with all of it."""
    known = list(dict.fromkeys(map(name_key, names)))
    if not text:
        return ()
    parts = re.split(r"\s*\+\s*", text)
    own = parts if len(parts) == len(known) and all(parts) else [text] * len(known)
    return tuple(sorted(zip(known, own, strict=True)))
