"""What to expect of the next panel: its difference from the target, and the chance that it passes.

The chance is that of the *next panel sprayed, as it will be read*: what is not known of the law,
the spread from panel to panel and the reading's noise all count. At several viewings they are
taken together: one law, film and ground are seen at every angle, and each angle has its own noise.
The reading is a Student's t, for how far the law may be off was learnt from few grounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.expected import ExpectedDifference
from matchlib.domain import Recipe, Viewing
from matchlib.regression import FilmPredictor, Prediction
from matchlib.target import Target

__all__ = ["Scores", "scores"]

Array = NDArray[np.float64]


class Scores(NamedTuple):
    """What to expect of recipes, n of them."""

    prediction: Prediction  # under each aim's viewing
    hope: ExpectedDifference  # of the difference, in the unit of the tolerance
    floor: Array  # (n,), its mean, were the prediction on the target and only spraying in doubt


def scores(
    model: FilmPredictor, recipes: Sequence[Recipe], target: Target, viewings: Sequence[Viewing]
) -> Scores:
    """Work out what to expect, one viewing an aim; the points of the cloud are fixed."""
    there = model.predict_together(recipes, viewings)
    hope = target.expected(there.labs, there.covariance, there.dof)
    centred = np.broadcast_to(target.labs[:, None, :], there.labs.shape)
    floor = target.expected(centred, there.own).mean
    return Scores(there, hope, floor)
