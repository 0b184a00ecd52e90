"""Who sprays, from which lots and batches, when, and what reads it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

__all__ = ["Conditions"]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a panel shares with others besides its recipe; empty where it is not known.

    Parameters
    ----------
    sprayer : str
        Who sprays.
    lots : tuple of (str, str)
        Colour and its lot.
    batches : tuple of (str, str)
        Ground and its batch.
    instrument : str
        What reads it.
    date : datetime.date, optional
        When it is sprayed.
    """

    sprayer: str = ""
    lots: tuple[tuple[str, str], ...] = ()
    batches: tuple[tuple[str, str], ...] = ()
    instrument: str = ""
    date: dt.date | None = None

    def over(self, usual: Conditions) -> Conditions:
        """Return these conditions, filled up from others where something is not known.

        Parameters
        ----------
        usual : Conditions
            What holds where nothing is said.

        Returns
        -------
        Conditions
            A lot or batch that is said replaces that of its own colour or ground alone.
        """
        return replace(
            self,
            sprayer=self.sprayer or usual.sprayer,
            lots=tuple(sorted((dict(usual.lots) | dict(self.lots)).items())),
            batches=tuple(sorted((dict(usual.batches) | dict(self.batches)).items())),
            instrument=self.instrument or usual.instrument,
            date=self.date or usual.date,
        )
