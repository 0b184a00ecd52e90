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
    """The next panel of a recipe, as it will be read.

    Parameters
    ----------
    recipe : Recipe
        All that is on the panel.
    lab : tuple of 3 float
        CIELAB expected under the target's first viewing.
    covariance : ndarray, shape (3, 3)
        Of that reading [ΔE*ab²].
    dof : float
        Degrees of freedom of that covariance, for `matchlib.tails.region`.
    expected, sd : float
        Mean and standard deviation of the panel's difference from the target, in the tolerance's
        unit: ΔE00 unless the order names another.
    probability : float
        That it is within the tolerance, under every viewing of the target [-].

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> could = [Recipe.of("pale gold", "cherry", "3@3:1", "yes")]
    >>> target = Target.lab(27.1, 45.9, 28.5)
    >>> (one,) = outcomes(could, demo_model().predict_together(could, target.viewings), target)
    >>> 0 < one.expected < 1
    True
    """

    recipe: Recipe
    lab: Lab
    covariance: Array = field(compare=False, repr=False)
    dof: float
    expected: float
    sd: float
    probability: float

    @property
    def sd_lab(self) -> Lab:
        """Standard deviation of the reading, per axis."""
        return three(np.sqrt(np.diag(self.covariance)))


def outcomes(recipes: Sequence[Recipe], there: Prediction, target: Target) -> list[Outcome]:
    """Return what to expect of the next panels.

    Parameters
    ----------
    recipes : sequence of Recipe
        n of them.
    there : Prediction
        What they will read, under each of the target's viewings.
    target : Target
        What is to be matched, and what counts as a match.

    Returns
    -------
    list of Outcome
        One a recipe, in their order.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> could = [Recipe.of("pale gold", "cherry", each, "yes") for each in ("2@3:1", "3@3:1")]
    >>> target = Target.lab(27.1, 45.9, 28.5)
    >>> there = demo_model().predict_together(could, target.viewings)
    >>> [one.probability > 0.5 for one in outcomes(could, there, target)]
    [False, True]
    """
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
