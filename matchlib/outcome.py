"""What to expect of the next panel of one recipe, held against a target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.expected import ExpectedDifference
from matchlib.domain import Lab, Recipe, three
from matchlib.regression import Prediction
from matchlib.target import Target

__all__ = ["Outcome", "outcome_at", "outcomes"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """The next panel of a recipe, as it will be read."""

    recipe: Recipe  # all that is on the panel
    lab: Lab  # CIELAB expected under the target's first viewing
    covariance: Array = field(compare=False, repr=False)  # (3, 3), of that reading [ΔE*ab²]
    dof: float  # degrees of freedom of that covariance, for `matchlib.tails.region`
    expected: float  # mean difference from the target, in the tolerance's unit
    sd: float  # and its standard deviation
    probability: float  # that it is within the tolerance, under every viewing of the target [-]

    @property
    def sd_lab(self) -> Lab:
        """Standard deviation of the reading, per axis."""
        return three(np.sqrt(np.diag(self.covariance)))


def outcomes(recipes: Sequence[Recipe], there: Prediction, target: Target) -> list[Outcome]:
    """Return what to expect of the next panels."""
    hope = target.expected(there.labs, there.covariance, there.dof)
    first = there.first
    return [outcome_at(i, recipe, first, hope) for i, recipe in enumerate(recipes)]


def outcome_at(i: int, recipe: Recipe, first: Prediction, hope: ExpectedDifference) -> Outcome:
    """Return one of many, by the prediction under the first viewing and what all come to."""
    return Outcome(
        recipe,
        three(first.lab[i]),
        first.covariance[i],
        float(first.dof[i]),
        float(hope.mean[i]),
        float(hope.sd[i]),
        float(hope.probability[i]),
    )
