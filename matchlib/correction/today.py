"""What today may differ in from the archive, and how much of that is believed beforehand.

Most days are like the archive's own, whose panels were sprayed on many days by several hands: so
what its panels differ by bounds what such a day can do. Now and then a day is odd, with another
sprayer, gun or batch, and the film is a coat in seven more or less. The first test panels tell
which.

A batch of colour, a pair of hands, the air in the booth: all of them show as more or less film, so
that one number, the logarithm of the film, stands for the three. The ground coat has a level of
its own, a batch each. And what reads the panels today may read a little differently from what
read the archive, above all when the archive was photographed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from matchlib.linear import panel_spread

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["Today", "film_words"]

SHARE_OF_A_DAY = 0.5
"""Spread of log film from day to day by that from panel to panel of the archive, in which the days
are contained (common practice, no source)."""

ODD_FILM = 0.15
"""Spread of log film on an odd day [-] (common practice, no source)."""

ODD_DAYS = 0.2
"""Share of days that are odd (common practice, no source)."""

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
        Of the logarithm of the film on a usual day [-].
    ground : float
        Of the logarithm of each base ground's level [-].
    bias : float
        Of today's instrument against what read the archive, each Lab axis [ΔE*ab].
    photo_bias : float
        The same of today's photographs, which share it [ΔE*ab].
    odd : float
        Of the logarithm of the film on an odd day [-].
    odd_days : float
        How many days are odd [-], 0 to 1.

    Examples
    --------
    >>> from matchlib.demo import demo_model
    >>> 0 < Today.learnt(demo_model()).film < 0.2
    True
    """

    film: float
    ground: float
    bias: float
    photo_bias: float = BIAS_PHOTO
    odd: float = ODD_FILM
    odd_days: float = ODD_DAYS

    @property
    def days(self) -> tuple[tuple[float, float], ...]:
        """Each kind of day: its share, and the standard deviation of its log film."""
        return (1.0 - self.odd_days, self.film), (self.odd_days, max(self.odd, self.film))

    @property
    def film_variance(self) -> float:
        """Variance of log film over all days [-]."""
        return float(sum(share * sd**2 for share, sd in self.days))

    @classmethod
    def learnt(cls, model: FilmPredictor) -> Today:
        """Learn it from a fitted archive.

        Parameters
        ----------
        model : FilmPredictor
            Fitted.

        Returns
        -------
        Today
            The spreads.
        """
        film, ground = panel_spread(model)
        bias, photo = BIAS_INSTRUMENT, BIAS_PHOTO
        if model.photographed_:
            bias, photo = photo, bias
        return cls(film=SHARE_OF_A_DAY * film, ground=ground, bias=bias, photo_bias=photo)


def film_words(film: float, sd: float) -> str:
    """Say how heavily today's sprayer lays.

    Parameters
    ----------
    film : float
        Log film against the archive [-].
    sd : float
        Its standard deviation [-].

    Returns
    -------
    str
        A sentence.

    Examples
    --------
    >>> film_words(0.06, 0.02)
    'This sprayer lays about 6%...'
    """
    percent, give = 100.0 * float(np.expm1(film)), 100.0 * sd
    if abs(film) < max(0.5 * sd, 0.01):
        return f"Film is laid as in the archive, give or take {give:.0f}%."
    word = "more" if film > 0 else "less"
    sure = "about" if abs(film) > 2.0 * sd else "perhaps"
    return (
        f"This sprayer lays {sure} {abs(percent):.0f}% {word} film than the archive "
        f"(give or take {give:.0f}%)."
    )
