"""What today may differ in from the archive, and how much of that is believed beforehand.

A batch of colour, a pair of hands, the air in the booth: all of them show as more or less film, so
that one number, the logarithm of the film, stands for the three. The ground coat has a level of
its own, a batch each. And what reads the panels today may read a little differently from what
read the archive, above all when the archive was photographed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from matchlib.linear import panel_spread

if TYPE_CHECKING:
    from matchlib.domain import Panel
    from matchlib.regression import FilmPredictor

__all__ = ["Today"]

FILM_OF_A_DAY = 0.05
"""Spread of log film from day to day and batch to batch [-] (common practice, no source)."""

FILM_OF_A_SPRAYER = 0.0625
"""Spread of log film from one sprayer to another [-], where the archive knows only one; with
`FILM_OF_A_DAY` it makes 0.08 (common practice, no source)."""

BIAS_INSTRUMENT = 0.15
"""Spread of the difference between two instruments' readings an axis [ΔE*ab] (from memory: what
instruments of one make usually agree to)."""

BIAS_PHOTO = 1.0
"""Spread of what all photographs of one camera and light share an axis [ΔE*ab] (common practice,
no source)."""


@dataclass(frozen=True)
class Today:
    """How much today may differ, as standard deviations.

    Parameters
    ----------
    film : float
        Of the logarithm of the film [-].
    ground : float
        Of the logarithm of each base ground's level [-].
    bias : float
        Of today's readings against the archive's, each Lab axis [ΔE*ab].
    """

    film: float
    ground: float
    bias: float

    @classmethod
    def learnt(
        cls,
        model: FilmPredictor,
        panels: Iterable[Panel] = (),
        *,
        source: str = "spectrophotometer",
    ) -> Today:
        """Learn it from a fitted archive.

        Parameters
        ----------
        model : FilmPredictor
            Fitted. Where it knows several sprayers, their own spread is taken.
        panels : iterable of Panel
            The archive, to see how it was read; none if not at hand.
        source : str
            What reads today's panels: ``spectrophotometer`` or ``photo``.

        Returns
        -------
        Today
            The spreads.
        """
        fit = model.fitted_
        sprayer = FILM_OF_A_SPRAYER
        if model.words_.sprayers:
            sprayer = float(fit.sizes.groups[fit.law.groups.index("sprayer")])
        _, ground = panel_spread(model)
        readings = [r.source == "photo" for p in panels for r in p.readings]
        photo = bool(readings) and float(np.mean(readings)) > 0.5
        mixed = photo != (source == "photo")
        return cls(
            film=float(np.hypot(sprayer, FILM_OF_A_DAY)),
            ground=ground,
            bias=BIAS_PHOTO if mixed else BIAS_INSTRUMENT,
        )
