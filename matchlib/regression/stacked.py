"""The library's part in a prediction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.library import features
from matchlib.regression.observe import lab_of
from matchlib.regression.stacking import bare_rows
from matchlib.regression.table import RecipeTable
from matchlib.regression.unusual import unusual_rows

if TYPE_CHECKING:
    from matchlib.regression.predictor import FilmPredictor

__all__ = ["library_gap", "library_share"]

Array = NDArray[np.float64]


def library_share(
    model: FilmPredictor, table: RecipeTable, *light: str
) -> tuple[Array, Array, Array]:
    """The library's share in each row (n,), and its Lab and variance there (n, 3)."""
    weight = model.stack_.weight[model.experience_.kinds(table)]
    weight = np.where(unusual_rows(model.unusual_, table, model.words_), 1.0, weight)
    guess, variance = np.zeros((len(table), 3)), np.zeros((len(table), 3))
    rows = np.flatnonzero(weight)
    if model.library_ is None or not len(rows):
        return np.zeros(len(table)), guess, variance
    fit, some = model.fitted_, table.take(rows)
    bare, _ = lab_of(fit.law.evaluate(fit.z, bare_rows(some)).reflectance, *light)
    change, variance[rows] = model.library_.predict(features(bare, some.strength))
    guess[rows] = bare + change
    return weight, guess, variance


def library_gap(model: FilmPredictor, table: RecipeTable, *light: str) -> Array:
    """What the library's share adds to the law's Lab (n, 3)."""
    weight, guess, _ = library_share(model, table, *light)
    if not weight.any():
        return np.zeros((len(table), 3))
    reflectance = model.fitted_.law.evaluate(model.fitted_.z, table).reflectance
    lab, _ = lab_of(reflectance, *light)
    return np.where(weight[:, None] > 0, weight[:, None] * (guess - lab), 0.0)
