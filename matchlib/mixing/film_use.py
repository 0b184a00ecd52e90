"""How much paint a surface takes: film builds, spreading rates, transfer, and their uncertainty.

Terms are those of ASTM D1212 and ISO 2808: the *wet film* is what the gun lays down, the *dry
film* what is left when the volatile part has gone, and the volume solids are their quotient. The
theoretical spreading rate follows from volume alone: a litre of solids 1 µm thick covers 1000 m².
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Self

from matchlib.errors import DomainError
from matchlib.mixing.units import AREA_UNITS, MICROMETRES_PER_MIL, VOLUME_UNITS, positive
from matchlib.plural import counted

__all__ = ["CoatUse", "TransferRange", "spreading_rate", "wet_film"]

_NORMAL = NormalDist()
# Relative standard uncertainties: of a film by its data sheet, and of carrying what a panel used
# over to a job; common practice, no source.
_FILM_SD, _PANEL_SD = 0.2, 0.25


def spreading_rate(dry_um: float, *, volume_solids: float) -> float:
    """Return the theoretical spreading rate, with nothing lost.

    Parameters
    ----------
    dry_um : float
        Dry film [µm], more than 0.
    volume_solids : float
        Volume solids of the paint as sprayed [-], 0 < vs <= 1.

    Returns
    -------
    float
        Area a litre covers [m²/L]: 1000 vs / µm, the handbooks' 10 x percent / µm.

    Raises
    ------
    DomainError
        If a number is out of its range.

    Examples
    --------
    >>> spreading_rate(50.0, volume_solids=0.5)
    10.0
    """
    return 1000.0 * _solids(volume_solids) / positive(dry_um, "dry film [µm]", top=1000)


def wet_film(dry_um: float, *, volume_solids: float, thinner: float = 0.0) -> float:
    """Return the wet film that dries to a dry film.

    Parameters
    ----------
    dry_um : float
        Dry film [µm].
    volume_solids : float
        Volume solids before thinning [-], 0 < vs <= 1.
    thinner : float
        Parts of thinner added to one part of paint, by volume [-], 0 or more.

    Returns
    -------
    float
        Wet film [µm], as a comb gauge reads it: dry (1 + thinner) / vs.

    Raises
    ------
    DomainError
        If a number is out of its range.

    Examples
    --------
    >>> wet_film(50.0, volume_solids=0.5, thinner=0.1)
    110.0
    """
    share = 1.0 + positive(thinner, "share of thinner", top=20, zero=True)
    return 1000.0 * share / spreading_rate(dry_um, volume_solids=volume_solids)


@dataclass(frozen=True, slots=True)
class TransferRange:
    """Share of the sprayed solids that lands on the work, always a range.

    A single number would hide the largest unknown of the pot. 0.65 is the usual benchmark of rule
    makers for low pressure guns; large surfaces run near 0.60 to 0.70, small parts 0.20 to 0.50.

    Parameters
    ----------
    low, high : float
        Range [-], 0 < low < high <= 1; every value in it is held as likely.

    Examples
    --------
    >>> TransferRange.of_surface(small=True).low < TransferRange.of_surface().low
    True
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

    Examples
    --------
    >>> used = CoatUse.of_panel(45.0, area_m2=0.25, coats=2)
    >>> used.laid_ml, round(used.expected_ml, 1)
    (90.0, 92.9)
    >>> round(used.enough_ml(0.95))
    136
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
        thinner: float = 0.0,
    ) -> Self:
        """Return the use of a coat from the film it should build.

        Parameters
        ----------
        dry_um : float
            Dry film of one coat [µm].
        volume_solids : float
            Volume solids of carrier and colour [-].
        transfer : TransferRange
            The gun's.
        thinner : float
            Parts of reducer added to one part of carrier and colour [-], 0 or more.

        Returns
        -------
        CoatUse
            With losses still to come; the film is known within a fifth.
        """
        wet = wet_film(dry_um, volume_solids=volume_solids, thinner=thinner)
        rate = 1000.0 / wet
        us = rate * VOLUME_UNITS["us gal"] / 1000.0 / AREA_UNITS["ft2"]
        words = (
            f"{dry_um:g} µm dry a coat, {wet:.3g} µm ({wet / MICROMETRES_PER_MIL:.2g} mil) wet by "
            f"the comb gauge; {rate:.3g} m²/L ({us:.0f} ft²/gal) with nothing lost, "
            f"{transfer.low:.0%} to {transfer.high:.0%} of it lands"
        )
        # A litre on a square metre is a film of a millimetre: µm wet are ml on a square metre.
        return cls(wet, _FILM_SD, transfer, words)

    @classmethod
    def of_panel(cls, used_ml: float, *, area_m2: float, coats: int) -> Self:
        """Return the use of a coat from what a sprayed panel took out of the cup.

        Parameters
        ----------
        used_ml : float
            Paint that left the cup, overspray and all [mL].
        area_m2 : float
            Area sprayed [m²], the edges the fan ran over not counted.
        coats : int
            Coats sprayed.

        Returns
        -------
        CoatUse
            Losses included as they were, none are added; carried over within a quarter.

        Raises
        ------
        DomainError
            If a number is out of its range.
        """
        used = positive(used_ml, "volume used [mL]")
        area = positive(area_m2, "panel area [m²]", top=1000)
        if not isinstance(coats, int) or coats < 1:
            positive(0, "number of coats", remedy="count the coats sprayed on the panel.")
        count = counted(coats, "coat")
        words = f"measured: {used:g} ml for {count} on {area:g} m²"
        return cls(used / area / coats, _PANEL_SD, None, words)

    def widened(self, sd: float) -> CoatUse:
        """Return the same use, less surely known by a further relative uncertainty [-]."""
        return CoatUse(self.laid_ml, math.hypot(self.sd, sd), self.transfer, self.how)

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

        Raises
        ------
        DomainError
            If the volume is not more than 0.
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


def _solids(volume_solids: float) -> float:
    return positive(
        volume_solids,
        "share of volume solids",
        top=1.0,
        remedy="give the data sheet's percent by volume, not by weight, as a share: 35% is 0.35.",
    )
