"""What is suggested, as data that says itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import overload

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Recipe
from matchlib.suggest.reach import OUT_OF_REACH
from matchlib.suggest.target import Target

__all__ = ["Suggestion", "Suggestions"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Suggestion:
    """One recipe, and what to expect of it.

    Parameters
    ----------
    recipe : Recipe
        What to spray.
    lab : tuple of 3 float
        Predicted CIELAB under the first viewing of the target.
    covariance : ndarray, shape (3, 3)
        Of the next panel sprayed, as read.
    freedom : float
        Degrees of freedom of that covariance, for `matchlib.tails.region`.
    delta_e00 : float
        ΔE00 of the predicted colour to the target.
    expected_delta_e00, sd_delta_e00 : float
        Mean and standard deviation of the next panel's difference, in the tolerance's unit
        (ΔE00 unless the order names another).
    probability : float
        That the next panel sprayed, as read, is within the tolerance [-].
    known_share : float
        Share of the variance that more panels would remove [-].
    why : str
        One sentence.
    road : str
        Ground and colour, whatever the coats.
    never_sprayed : tuple of str
        What about it no panel of the archive shows.
    rounding_loss : float
        What rounding to measurable parts costs in the tolerance's unit; 0 or more.
    note : str
        Ties with other suggestions, in words; empty for none.
    labs : tuple of tuple of 3 float
        Predicted CIELAB under every viewing of the target.
    """

    recipe: Recipe
    lab: tuple[float, float, float]
    covariance: Array = field(compare=False, repr=False)
    freedom: float
    delta_e00: float
    expected_delta_e00: float
    sd_delta_e00: float
    probability: float
    known_share: float
    why: str
    road: str
    never_sprayed: tuple[str, ...] = ()
    rounding_loss: float = 0.0
    note: str = ""
    labs: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Suggestions(Sequence[Suggestion]):
    """Suggestions, best first.

    Parameters
    ----------
    items : tuple of Suggestion
        At least one.
    target : Target
        What was to be matched.
    reach : float
        Chance that some recipe within the limits, as it is on average, is within the tolerance [-].
    miss : str
        How the nearest misses, or which panel would tell, in words; empty for a target that can be
        reached.
    searched : int
        Recipes that were looked at.
    """

    items: tuple[Suggestion, ...]
    target: Target
    reach: float
    miss: str
    searched: int

    @property
    def reachable(self) -> bool:
        """Whether the target is not out of reach; it may be doubtful."""
        return self.reach >= OUT_OF_REACH

    @overload
    def __getitem__(self, index: int) -> Suggestion: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Suggestion]: ...
    def __getitem__(self, index: int | slice) -> Suggestion | Sequence[Suggestion]:
        return self.items[index]

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Iterator[Suggestion]:
        return iter(self.items)
