"""Bayes' rule for readings that are not linear in what they tell of.

The step is taken from the point it leads to, and again: the iterated extended Kalman filter (Bell
and Cathey 1993), which is Gauss and Newton's step for the most probable values.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Posterior", "posterior"]

Array = NDArray[np.float64]

STEPS = 3
"""Times the law is taken as linear anew, at most."""

STILL = 0.001
"""Standard deviations; values that a step moves by less are there."""


class Posterior(NamedTuple):
    """A Gaussian belief after observations, k values."""

    mean: Array  # (k,), most probable values
    covariance: Array  # (k, k), symmetric
    left: Array  # (k, k), what remains of an error from before: 1 - gain times slope
    evidence: float  # log of how likely the observations were before, but for a constant [nat]


def posterior(
    mean: Array,
    covariance: Array,
    law: Callable[[Array], tuple[Array, Array]],
    seen: Array,
    noise: Array,
) -> Posterior:
    """Move a Gaussian belief by observations of a law that is nearly linear."""
    x: Array = mean
    gain: Array = np.zeros((0, 0))
    slope: Array = gain
    evidence = 0.0
    sd = np.sqrt(np.diag(covariance))
    for _ in range(STEPS):
        value, slope = law(x)
        across = slope @ covariance
        spread = across @ slope.T + noise
        gain = np.asarray(np.linalg.solve(spread, across).T, float)
        away = seen - value - slope @ (mean - x)
        step = mean + gain @ away - x
        x = x + step
        evidence = -0.5 * float(away @ np.linalg.solve(spread, away))
        evidence -= 0.5 * float(np.linalg.slogdet(spread)[1])
        if np.all(np.abs(step) <= STILL * sd):
            break
    left = np.eye(len(mean)) - gain @ slope
    after = covariance - gain @ (slope @ covariance)
    return Posterior(x, 0.5 * (after + after.T), left, evidence)
