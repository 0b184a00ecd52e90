"""What to expect of the next panel of one recipe, held against a target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.expected import ExpectedDifference
from matchlib.domain import Lab, Recipe, three
from matchlib.regression import Prediction

__all__ = ["Outcome", "outcomes"]

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


def outcomes(
    recipes: Sequence[Recipe], there: Prediction, hope: ExpectedDifference
) -> list[Outcome]:
    """Return what to expect of the next panels, one a recipe."""
    # hope: of their differences, as of `Target.hope`.
    first = there.first
    rows = zip(recipes, first.lab, first.covariance, first.dof.tolist(), strict=True)
    expected = zip(hope.mean.tolist(), hope.sd.tolist(), hope.probability.tolist(), strict=True)
    return [
        Outcome(recipe, three(lab), covariance, dof, *away)
        for (recipe, lab, covariance, dof), away in zip(rows, expected, strict=True)
    ]
