"""What the shop can spray: its shelf, its cups, its habits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.domain import Colour, Ground, MixRatio, Recipe, name_key
from matchlib.domain.schedule import MAX_COATS
from matchlib.errors import DomainError
from matchlib.mixing.area import JobArea
from matchlib.mixing.film_use import CoatUse
from matchlib.mixing.pot import LEAST_ML, RESIDUE_ML

__all__ = ["Limits"]

Parts = MixRatio | str | float | int

_T = TypeVar("_T", Ground, Colour)


@dataclass(frozen=True)
class Limits:
    """Limits within which recipes are sought.

    Parameters
    ----------
    grounds, colours : iterable of str or Ground or Colour, optional
        What is on the shelf; a ground may be a blend, which then stands ready mixed. None for
        everything the archive knows.
    min_ratio, max_ratio : MixRatio or str or float, optional
        The two ends of the mix ratio, whichever way round: a ratio, or its parts of carrier to
        one of colour. 2:1 and 10:1 where not given (common practice, no source).
    min_coats, max_coats : int
        Fewest and most coats of colour; a card that has the most may still get one on top.
    ratio_step : float
        Smallest difference of carrier parts that the cup shows [parts].
    blends : bool
        Whether two colours may be mixed in one pot.
    blend_parts : int
        Most parts of both colours together; 5 allows 1+1, 2+1, 3+1, 3+2, 4+1 and the reverse,
        8 the shares between them too.
    step_ups : bool
        Whether a pot may be sprayed at one ratio and then at a stronger one.
    ground_blends : bool
        Whether a ground may be a blend of two that the archive shows blended, at shares that may
        never have been mixed (they are marked).
    ground_parts : int
        Most parts of both grounds together.
    layers : bool
        Whether one neat colour may be sprayed over another, each from a pot of its own.
    clear : str, optional
        The clear coat: ``yes``, its name, None for none; ``usual`` for what the archive mostly
        has.
    stock : mapping of str to float, optional
        Colour left on the shelf by name [mL]; a colour not named is not limited.
    area : JobArea, optional
        The job; without it stock cannot be held to.
    use : CoatUse, optional
        What a coat takes out of the cup.
    max_unevenness : float, optional
        Greatest difference that 10 percent more or less film may show, by the target's own
        difference, in its unit, and weighted over its angles as a match is.

    Examples
    --------
    >>> bounds = Limits(grounds=("silver", "pale gold"), min_ratio=3, max_ratio=6, ratio_step=1)
    >>> [str(ratio) for ratio in bounds.ratios()]
    ['6:1', '5:1', '4:1', '3:1']
    """

    grounds: tuple[Ground, ...] | None = None
    colours: tuple[Colour, ...] | None = None
    min_ratio: Parts = 2.0
    max_ratio: Parts = 10.0
    min_coats: int = 1
    max_coats: int = 6
    ratio_step: float = 0.5
    blends: bool = True
    blend_parts: int = 8
    step_ups: bool = True
    ground_blends: bool = True
    ground_parts: int = 8
    layers: bool = False
    clear: str | None = "usual"
    stock: Mapping[str, float] | None = field(default=None, hash=False)  # no mapping has a hash
    area: JobArea | None = None
    use: CoatUse | None = None
    max_unevenness: float | None = None
    carrier: tuple[float, float] = field(init=False)

    def __post_init__(self) -> None:
        for name, kind in (("grounds", Ground), ("colours", Colour)):
            given = getattr(self, name)
            if given is not None:
                object.__setattr__(self, name, _things(given, kind))
        ends = sorted((_carrier(self.min_ratio), _carrier(self.max_ratio)))
        object.__setattr__(self, "carrier", (ends[0], ends[1]))
        object.__setattr__(self, "min_ratio", ends[0])
        object.__setattr__(self, "max_ratio", ends[1])
        whole = all(isinstance(c, int) for c in (self.min_coats, self.max_coats))
        if not whole or not 1 <= self.min_coats <= self.max_coats <= MAX_COATS:
            raise DomainError(
                "These are not limits of coats.",
                expected=f"whole numbers from 1 to {MAX_COATS}, the fewest first",
                got=f"{self.min_coats} to {self.max_coats}",
                remedy="three to five coats are usual.",
            )
        if not (math.isfinite(self.ratio_step) and 0.05 <= self.ratio_step <= 10):
            raise DomainError(
                "No cup measures in such steps.",
                expected="0.05 to 10 parts of carrier",
                got=f"{self.ratio_step:g}",
                remedy="half parts, 0.5, are usual.",
            )
        for name in ("blend_parts", "ground_parts"):
            if not 2 <= getattr(self, name) <= 20:
                raise DomainError(
                    "These are not parts of a blend.",
                    expected="2 to 20 parts of both together",
                    got=f"{getattr(self, name)}",
                    remedy="4 allows one to one, two to one and three to one.",
                )
        if self.stock and (self.area is None or self.use is None):
            raise DomainError(
                "Stock cannot be held to without a job.",
                expected="the area to be sprayed and what a coat takes",
                got="a stock alone",
                remedy="give the area and the use of a coat as well.",
            )
        if self.max_unevenness is not None and not 0 < self.max_unevenness < math.inf:
            raise DomainError(
                "This is no limit of unevenness.",
                expected="a difference above 0",
                got=f"{self.max_unevenness:g}",
                remedy="1 is a difference just seen side by side.",
            )

    def ratios(self) -> list[MixRatio]:
        """Return every ratio the cup can show within the limits, weakest first.

        Returns
        -------
        list of MixRatio
            At least one: the end itself where no whole step fits between the two.
        """
        return list(_ratios(self.ratio_step, *self.carrier))

    @property
    def left(self) -> dict[str, float]:
        """The stock by `name_key` of each colour that it names [mL]."""
        return {name_key(name): ml for name, ml in (self.stock or {}).items()}

    def enough_for(self, recipe: Recipe) -> bool:
        """Return whether the stock has all that the whole job takes of a recipe.

        Parameters
        ----------
        recipe : Recipe
            What would be sprayed.

        Returns
        -------
        bool
            True where no stock is said.
        """
        left = self.left
        for colour, schedule in recipe.layers if left else ():
            mixed = sum(s.ratio.fraction * float(self.mixed_ml(s.coats)) for s in schedule.steps)
            for name, share in colour.shares.items():
                left[name] = left.get(name, math.inf) - share * mixed
        return all(ml >= 0.0 for ml in left.values())

    def mixed_ml(self, coats: ArrayLike) -> NDArray[np.float64]:
        """Return what is mixed for the whole job's coats at one ratio [mL]; 0 without a job.

        Parameters
        ----------
        coats : array_like
            How many; 0 for none.

        Returns
        -------
        ndarray
            With what stays in cup and gun, and never less than is worth mixing, as `pot` has it.
            What one pot of a recipe may begin with of the one before is not counted on.
        """
        sprayed = np.asarray(coats) * self.ml_per_coat()
        return np.where(sprayed > 0, np.maximum(sprayed + RESIDUE_ML, LEAST_ML), 0.0)

    def ml_per_coat(self) -> float:
        """Return what one coat of the whole job takes out of the cup [mL]; 0 without a job.

        Returns
        -------
        float
            With a chance of 95 percent that it is enough.
        """
        if self.area is None or self.use is None:
            return 0.0
        return self.area.sprayed_m2 * self.use.widened(self.area.sd).enough_ml(0.95)


@lru_cache(maxsize=16)  # asked for again and again in one search
def _ratios(apart: float, *ends: float) -> tuple[MixRatio, ...]:
    """Ratios so many parts of carrier apart between two ends, weakest first."""
    step = Fraction(str(apart))
    # A ratio is written with parts to a thousandth at most; no cup shows more.
    low, high = (Fraction(str(round(c, 3))) for c in ends)
    first, last = math.ceil(low / step), math.floor(high / step)
    parts = [n * step for n in range(max(first, 0), last + 1)] or [high]
    return tuple(MixRatio(p, Fraction(1)) for p in reversed(parts))


def _things(given: Iterable[object], kind: type[_T]) -> tuple[_T, ...]:
    items = [given] if isinstance(given, str) else list(given)
    made = [t if isinstance(t, kind) else kind.parse(t) for t in items]
    return tuple(dict.fromkeys(made))


def _carrier(given: Parts) -> float:
    value = given
    if isinstance(value, str):
        text = value.strip()
        value = MixRatio.parse(text) if ":" in text else _number(text)
    if isinstance(value, MixRatio):
        return float(value.carrier / value.colour)
    if not (math.isfinite(value) and 0 <= value <= 100):
        raise DomainError(
            "This is not a limit of the mix ratio.",
            expected="a ratio such as 6:1, or 0 to 100 parts of carrier to one of colour",
            got=repr(given[:60]) if isinstance(given, str) else f"{value:g}",
            remedy="write carrier first: 6:1.",
        )
    return float(value)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
