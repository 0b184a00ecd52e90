"""How far one reading of a card lies from the next, by the cards that were read more than once."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from matchlib.colorimetry.difference import squares_about_mean
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Lab, Panel
from matchlib.domain.panel import readings_in
from matchlib.plural import counted
from matchlib.trade.protocol import readings_needed

__all__ = ["Rereading", "rereading"]

WITHIN = 0.3
"""How good a mean of readings should be [ΔE00] (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Rereading:
    """The spread of readings of one card."""

    sd: float  # standard deviation of one reading from its card's mean, along one axis [ΔE00]
    panels: int  # what it rests on: panels, and their readings
    readings: int

    @property
    def words(self) -> str:
        """Say how many readings are enough."""
        enough = readings_needed(self.sd, within=WITHIN)
        three = NormalDist().inv_cdf(0.975) * self.sd / math.sqrt(3)
        cards = counted(self.panels, "card")
        basis = (
            f"By {cards} of this archive that were read more than once, one reading is off by "
            f"{self.sd:.2f} ΔE00 along an axis (standard deviation). The mean of three is good to "
            f"±{three:.2f} ΔE00 (95%)"
        )
        if enough == 3:
            return f"{basis}: three are enough."
        return f"{basis}; to be good to ±{WITHIN:g} ΔE00, take {enough} readings."


def rereading(panels: Sequence[Panel]) -> Rereading | None:
    """Pool the spread of cards read more than once in the same way.

    Parameters
    ----------
    panels : sequence of Panel
        The archive.

    Returns
    -------
    Rereading or None
        None where no card was read twice alike by an instrument.

    Examples
    --------
    >>> from matchlib import Panel, Reading, Recipe
    >>> read = [Reading(lab=(36.6 + more, 36.7, 8.7)) for more in (0.0, 0.2)]
    >>> found = rereading([Panel.of("T001", Recipe.of("silver", "cherry", "3@6:1"), read)])
    >>> found.panels, round(found.sd, 2)
    (1, 0.07)
    """
    alike: dict[tuple[object, ...], list[Lab]] = defaultdict(list)
    for panel, stage, _, r in readings_in(panels):
        if r.source == "photo":  # an estimate, which tells nothing of what an instrument repeats
            continue
        way = (r.viewing, r.source, r.instrument, r.state, r.date)
        alike[(panel.code, stage, *way)].append(lab_of_reading(r))
    several = {key: labs for key, labs in alike.items() if len(labs) > 1}
    if not several:
        return None
    square = sum(map(squares_about_mean, several.values()))
    count = sum(len(labs) for labs in several.values())
    sd = math.sqrt(square / (3 * (count - len(several))))
    return Rereading(sd, len({code for code, *_ in several}), count)
