"""How much paint a surface takes: film builds, spreading rates, transfer, and their uncertainty.

Terms are those of ASTM D1212 and ISO 2808: the *wet film* is what the gun lays down, the *dry
film* what is left when the volatile part has gone, and the volume solids are their quotient. The
theoretical spreading rate follows from volume alone: a litre of solids 1 µm thick covers 1000 m².
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.errors import DomainError
from matchlib.mixing.units import MICROMETRES_PER_MIL, positive

__all__ = [
    "CoatUse",
    "TransferRange",
    "dry_film",
    "film_of_passes",
    "mils",
    "spreading_rate",
    "spreading_rate_us",
    "wet_film",
]

# A US gallon of 231 in3 spread a mil (0.001 in) thick, in square feet of 144 in2.
_FT2_MIL_PER_GALLON = 231 / 0.001 / 144
_NORMAL = NormalDist()


def spreading_rate(dry_um: ArrayLike, *, volume_solids: float) -> NDArray[np.float64] | Any:
    """Return the theoretical spreading rate, with nothing lost.

    Parameters
    ----------
    dry_um : array_like
        Dry film [µm], more than 0.
    volume_solids : float
        Volume solids of the paint as sprayed [-], 0 < vs <= 1.

    Returns
    -------
    ndarray or float
        Area a litre covers [m²/L]: 1000 vs / µm, the handbooks' 10 x percent / µm.
    """
    return 1000.0 * _solids(volume_solids) / np.asarray(dry_um, dtype=float)[()]


def spreading_rate_us(dry_mil: ArrayLike, *, volume_solids: float) -> NDArray[np.float64] | Any:
    """Return the theoretical spreading rate in US units.

    Parameters
    ----------
    dry_mil : array_like
        Dry film [mil], more than 0.
    volume_solids : float
        Volume solids of the paint as sprayed [-], 0 < vs <= 1.

    Returns
    -------
    ndarray or float
        Area a US gallon covers [ft²/gal]: 1604.17 vs / mil.
    """
    return _FT2_MIL_PER_GALLON * _solids(volume_solids) / np.asarray(dry_mil, dtype=float)[()]


def wet_film(
    dry: ArrayLike, *, volume_solids: float, thinner: float = 0.0
) -> NDArray[np.float64] | Any:
    """Return the wet film that dries to a dry film.

    Parameters
    ----------
    dry : array_like
        Dry film, in any unit.
    volume_solids : float
        Volume solids before thinning [-], 0 < vs <= 1.
    thinner : float
        Parts of thinner added to one part of paint, by volume [-], 0 or more.

    Returns
    -------
    ndarray or float
        Wet film in the same unit: dry (1 + thinner) / vs.
    """
    share = 1.0 + positive(thinner, "share of thinner", top=20, zero=True)
    return np.asarray(dry, dtype=float)[()] * share / _solids(volume_solids)


def dry_film(
    wet: ArrayLike, *, volume_solids: float, thinner: float = 0.0
) -> NDArray[np.float64] | Any:
    """Return what a wet film dries to.

    Parameters
    ----------
    wet : array_like
        Wet film, as a comb gauge reads it, in any unit.
    volume_solids : float
        Volume solids before thinning [-], 0 < vs <= 1.
    thinner : float
        Parts of thinner added to one part of paint, by volume [-], 0 or more.

    Returns
    -------
    ndarray or float
        Dry film in the same unit.
    """
    share = 1.0 + positive(thinner, "share of thinner", top=20, zero=True)
    return np.asarray(wet, dtype=float)[()] * _solids(volume_solids) / share


def film_of_passes(film: ArrayLike, *, overlap: float) -> NDArray[np.float64] | Any:
    """Return a coat's film from the film of one pass.

    Parameters
    ----------
    film : array_like
        Film one stroke leaves under the gun, in any unit.
    overlap : float
        Share of the fan laid over the stroke before [-], 0 <= overlap < 1. 0.5 is usually taught;
        0.75 is common practice, no source.

    Returns
    -------
    ndarray or float
        Mean film of the coat: with overlap o each point is passed 1/(1 - o) times.
    """
    return np.asarray(film, dtype=float)[()] / (1.0 - _overlap(overlap))


@dataclass(frozen=True, slots=True)
class TransferRange:
    """Share of the sprayed solids that lands on the work, always a range.

    A single number would hide the largest unknown of the pot. 0.65 is the usual benchmark of rule
    makers for low pressure guns; large surfaces run near 0.60 to 0.70, small parts 0.20 to 0.50.

    Parameters
    ----------
    low, high : float
        Range [-], 0 < low < high <= 1; every value in it is held as likely.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        ok = all(isinstance(v, int | float) and math.isfinite(v) for v in (self.low, self.high))
        if not ok or not 0.02 <= self.low < self.high <= 1.0:
            raise DomainError(
                "This is not a range of transfer efficiency.",
                expected="two shares from 0.02 to 1, the lower first, such as 0.6 and 0.7",
                got=f"{self.low} and {self.high}",
                remedy="give a range; one number is never known. Large surfaces run near 0.60 to "
                "0.70, small parts 0.20 to 0.50.",
            )

    @classmethod
    def of_surface(cls, *, small: bool = False) -> Self:
        """Return the stated range for large surfaces, or for small parts.

        Parameters
        ----------
        small : bool
            Whether the fan is wider than the work for much of the time.

        Returns
        -------
        TransferRange
            0.60 to 0.70, or 0.20 to 0.50 for small work.
        """
        return cls(0.20, 0.50) if small else cls(0.60, 0.70)


@dataclass(frozen=True, slots=True)
class CoatUse:
    """What one coat takes out of the cup, and how well that is known.

    The amount is lognormal, times one over a transfer efficiency that is uniform in its range.
    The same uncertainty is in every coat and every pot of a job (one sprayer, one gun), so it is
    not averaged down by spraying more coats: that keeps the recommendation on the safe side.

    Parameters
    ----------
    laid_ml : float
        Wet paint that must land on a square metre for one coat [mL/m²].
    sd : float
        Relative standard uncertainty of it [-], 0 or more.
    transfer : TransferRange, optional
        None when `laid_ml` was measured at the cup and already holds the losses.
    how : str
        Where it comes from, in words.
    """

    laid_ml: float
    sd: float
    transfer: TransferRange | None
    how: str

    def __post_init__(self) -> None:
        positive(self.laid_ml, "amount of paint on a square metre [mL]", top=5000)
        positive(self.sd, "relative uncertainty", top=1.0, zero=True)

    @classmethod
    def of_film(
        cls,
        dry_um: float,
        *,
        volume_solids: float,
        transfer: TransferRange,
        sd: float = 0.2,
        overlap: float | None = None,
    ) -> Self:
        """Return the use of a coat from the film it should build.

        Parameters
        ----------
        dry_um : float
            Dry film of one coat [µm]; of one pass where `overlap` is given.
        volume_solids : float
            Volume solids of the mix as sprayed [-].
        transfer : TransferRange
            The gun's.
        sd : float
            Relative standard uncertainty of film and area together [-].
        overlap : float, optional
            Overlap of the strokes [-]; leave out when the film is a whole coat's.

        Returns
        -------
        CoatUse
            With losses still to come.
        """
        film = positive(dry_um, "dry film [µm]", top=1000)
        words = f"{film:g} µm dry a coat"
        if overlap is not None:
            film = float(film_of_passes(film, overlap=overlap))
            words = f"{dry_um:g} µm dry a pass, {overlap:.0%} overlap, so {film:.3g} µm a coat"
        words += (
            f", {volume_solids:.0%} volume solids, transfer {transfer.low:.0%} to "
            f"{transfer.high:.0%}"
        )
        return cls(1000.0 / float(spreading_rate(film, volume_solids=volume_solids)), sd, transfer,
                   words)  # fmt: skip

    @classmethod
    def of_panel(cls, used_ml: float, *, area_m2: float, coats: int, sd: float = 0.25) -> Self:
        """Return the use of a coat from what a sprayed panel took out of the cup.

        Parameters
        ----------
        used_ml : float
            Paint that left the cup, overspray and all [mL].
        area_m2 : float
            Area sprayed [m²], the edges the fan ran over not counted.
        coats : int
            Coats sprayed.
        sd : float
            Relative standard uncertainty of carrying it over to the job [-].

        Returns
        -------
        CoatUse
            Losses included as they were; none are added.
        """
        used = positive(used_ml, "volume used [mL]")
        area = positive(area_m2, "panel area [m²]", top=1000)
        if not isinstance(coats, int) or coats < 1:
            positive(0, "number of coats", remedy="count the coats sprayed on the panel.")
        words = f"measured: {used:g} ml for {coats} coats on {area:g} m²"
        return cls(used / area / coats, sd, None, words)

    @property
    def expected_ml(self) -> float:
        """Mean out of the cup for a square metre and coat [mL]."""
        return self.laid_ml * math.exp(self.sd**2 / 2.0) * self._mean_loss

    @property
    def _mean_loss(self) -> float:
        if self.transfer is None:
            return 1.0
        low, high = self.transfer.low, self.transfer.high
        return math.log(high / low) / (high - low)

    def enough_ml(self, chance: float) -> float:
        """Return what suffices for a square metre and coat with a chosen chance.

        Parameters
        ----------
        chance : float
            Chance of not running out [-], 0.5 to 0.999.

        Returns
        -------
        float
            Volume out of the cup [mL].

        Raises
        ------
        DomainError
            If the chance is outside its range.
        """
        if not 0.5 <= positive(chance, "chance", top=0.999) <= 0.999:
            raise DomainError(
                "This chance is not one to plan by.",
                expected="0.5 to 0.999",
                got=f"{chance:g}",
                remedy="0.95 runs out once in twenty jobs.",
            )
        if self.transfer is None:
            return self.laid_ml * math.exp(self.sd * _NORMAL.inv_cdf(chance))
        low, high = self.transfer.low, self.transfer.high
        if self.sd < 1e-6:
            return self.laid_ml / (high - chance * (high - low))
        # Only this needs scipy; commands that never size a pot should not pay for loading it.
        from scipy.optimize import brentq

        reach = math.exp(6.0 * self.sd)
        return float(
            brentq(
                lambda v: self.chance_enough(v) - chance,
                self.laid_ml / high / reach,
                self.laid_ml / low * reach,
                xtol=1e-9 * self.laid_ml,
            )
        )

    def chance_enough(self, cup_ml: float) -> float:
        """Return the chance that a volume suffices for a square metre and coat.

        Parameters
        ----------
        cup_ml : float
            Volume in the cup [mL], more than 0.

        Returns
        -------
        float
            Chance [-]. With transfer t uniform in (l, h) it is the mean over t of
            Phi((ln t + a) / s), a = ln(cup / laid), whose antiderivative is
            t Phi(z) - exp(s²/2 - a) Phi(z - s), z = (ln t + a) / s.
        """
        volume = positive(cup_ml, "volume in the cup [mL]")
        spread = max(self.sd, 1e-6)
        a = math.log(volume / self.laid_ml)
        if self.transfer is None:
            return _NORMAL.cdf(a / spread)

        def antiderivative(t: float) -> float:
            z = (math.log(t) + a) / spread
            return t * _NORMAL.cdf(z) - math.exp(spread**2 / 2.0 - a) * _NORMAL.cdf(z - spread)

        low, high = self.transfer.low, self.transfer.high
        return min(1.0, max(0.0, (antiderivative(high) - antiderivative(low)) / (high - low)))

    @property
    def text(self) -> str:
        """Where it comes from and what it comes to, in words."""
        return f"{self.how}: about {self.expected_ml:.3g} ml out of the cup for 1 m² and coat"


def mils(um: ArrayLike) -> NDArray[np.float64] | Any:
    """Return micrometres as mils.

    Parameters
    ----------
    um : array_like
        Thickness [µm].

    Returns
    -------
    ndarray or float
        Thickness [mil].
    """
    return np.asarray(um, dtype=float)[()] / MICROMETRES_PER_MIL


def _solids(volume_solids: float) -> float:
    return positive(
        volume_solids,
        "share of volume solids",
        top=1.0,
        remedy="give the data sheet's percent by volume, not by weight, as a share: 35% is 0.35.",
    )


def _overlap(overlap: float) -> float:
    return positive(overlap, "overlap", top=0.95, zero=True, remedy="50% overlap is 0.5.")
