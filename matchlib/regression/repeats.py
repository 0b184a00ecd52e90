"""Repeat readings of a panel, averaged for the fit, their spread kept.

What varies between repeats is the reading; what varies between panels of a recipe is the spraying
too. Only repeats can tell them apart, so their pooled spread is worked out here, before the fit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.observe import KNOWN, SPECTRO, Observations
from matchlib.regression.table import RecipeTable

__all__ = ["average_repeats"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

USUAL_READING = 0.08
"""An instrument's noise believed where there are no repeats [ΔE*ab an axis] (common practice, no
source)."""

_PRIOR_DEGREES = 6.0


def average_repeats(
    table: RecipeTable, seen: Observations, panel: Ints, occasion: Ints
) -> tuple[RecipeTable, Observations, Ints, float]:
    """Average the readings of one panel that were taken alike; last, an instrument's noise."""
    # A panel read after one coat and after two was not read twice.
    state = (table.strength, table.cleared, panel, occasion)
    alike = np.column_stack([*state, seen.view, table.geometry, seen.family, seen.spectral])
    _, first, group = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    size = np.bincount(group)

    def mean(values: Array) -> Array:
        total = np.zeros((len(size), values.shape[1]))
        np.add.at(total, group, values)
        return np.asarray(total / size[:, None], float)

    averaged = seen.take(first)
    lab = mean(seen.lab)
    read = seen.family == SPECTRO
    degrees = 3.0 * (read.sum() - len(np.unique(group[read])))
    pooled = _PRIOR_DEGREES * USUAL_READING**2 + ((seen.lab - lab[group])[read] ** 2).sum()
    reading = float(np.sqrt(pooled / (_PRIOR_DEGREES + degrees)))
    # A stated uncertainty is of one reading; the mean of several is surer, but not of photographs,
    # whose errors by camera, chart and light are the same each time.
    alone = np.where(averaged.photo, 1, size)[:, None, None]
    surer = mean(seen.covariance.reshape(-1, 9)).reshape(-1, 3, 3) / alone
    stated = np.where((averaged.family == KNOWN)[:, None, None], surer, np.eye(3))
    averaged = averaged._replace(lab=lab, tone=mean(seen.tone), covariance=stated)
    return table.take(first), averaged, panel[first], reading
