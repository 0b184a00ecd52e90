"""A fitted law near its values, as a linear law with Gaussian spreads.

What corrects, plans and audits needs more of a fit than a prediction: how a recipe's Lab moves
with every free value of the law, with the film and with the ground. This is that, in one place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Conditions, Lab, Panel, Reading, Recipe, Viewing
from matchlib.progress import Callback, part_of
from matchlib.regression import Prediction
from matchlib.regression.parts import Linear, linear_at
from matchlib.regression.predictor import CHUNK
from matchlib.regression.table import RecipeTable
from matchlib.tails import spread_by, symmetric_root

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = [
    "Together",
    "covariance_of_reading",
    "fit_panels",
    "lab_under",
    "level_columns",
    "linearise",
    "panel_spread",
    "together",
    "values_covariance",
]

Array = NDArray[np.float64]


class Together(NamedTuple):
    """What is not known of n recipes under m viewings, and what of it they share."""

    prediction: Prediction
    # (n, 3m, q), derivative of Lab by q unknowns; `prediction.known` is its spread, but for what of
    # them is a card's own
    slope: Array
    covariance: Array  # (q, q), of these
    film: Array  # (n, 3m), derivative by the logarithm of the whole film

    def take(self, rows: slice) -> Together:
        """Return some of the recipes."""
        some = self.prediction.take(rows)
        return Together(some, self.slope[rows], self.covariance, self.film[rows])


def fit_panels(panels: Sequence[Panel], *, callback: Callback | None = None) -> FilmPredictor:
    """Fit the regression to panels, without telling it who sprayed."""
    from matchlib.regression import FilmRegressor, frames_of

    X, y = frames_of(panels)
    back = ["panel", "ground", "colour", "schedule", "clear"]
    view = ["source", "illuminant", "observer", "geometry"]
    return FilmRegressor().fit(X[back + view], y, callback=callback)


def lab_under(reading: Reading, viewing: Viewing) -> Lab | None:
    """Return a reading's Lab under a viewing; None where it was read another way."""
    have, viewing = reading.viewing.canonical, viewing.canonical
    light = (have.illuminant, have.observer) == (viewing.illuminant, viewing.observer)
    place = have.geometry == viewing.geometry
    return lab_of_reading(reading, viewing) if place and (light or reading.spectral) else None


def covariance_of_reading(reading: Reading) -> Array | None:
    """Return how far a reading's Lab is known, as far as its source says."""
    if reading.covariance is not None:
        return np.array(reading.covariance, float)
    return None if reading.sd is None else reading.sd**2 * np.eye(3)


def level_columns(model: FilmPredictor) -> tuple[NDArray[np.intp], float]:
    """Return where the grounds' levels stand among the free values."""
    law = model.fitted_.law
    span, grounds = law.slices["ground"], len(law.words.grounds)
    each = (span.stop - span.start) // max(grounds, 1)
    return span.start + each * np.arange(grounds), law.priors.ground_level_sd


def linearise(
    model: FilmPredictor,
    recipes: Sequence[Recipe],
    viewings: Sequence[Viewing] | Viewing | None = None,
    *,
    conditions: Sequence[Conditions] | None = None,
    z: Array | None = None,
    film: ArrayLike = 0.0,
    slopes: bool = True,
    own: bool = False,
    callback: Callback | None = None,
) -> Linear:
    """Return the law about some values."""
    # z: the free values, the fitted ones if None; film: log by which it is more than the law says.
    views = model.views(len(recipes), viewings)
    table = RecipeTable.of(recipes, views, model.words_, conditions or model.conditions_)
    table = replace(table, path=table.path * np.exp(np.asarray(film, float)))
    lights = [(v.illuminant, v.observer) for v in views]
    report, done = part_of(callback), 0
    parts: list[Linear] = []
    order: list[NDArray[np.intp]] = []
    for light in sorted(set(lights)):
        rows = np.flatnonzero([x == light for x in lights])
        for some in np.array_split(rows, 1 + len(rows) // CHUNK):
            report(done / len(recipes), "working out the law")
            done += len(some)
            parts.append(linear_at(model, table.take(some), *light, z=z, slopes=slopes, own=own))
            order.append(some)
    place = np.argsort(np.concatenate(order))
    return Linear(*(np.concatenate(each)[place] for each in zip(*parts, strict=True)))


def together(
    model: FilmPredictor, recipes: Sequence[Recipe], viewings: Sequence[Viewing]
) -> Together:
    """Return what is not known of recipes, and what of it they share."""
    near = [linearise(model, recipes, viewing, own=True) for viewing in viewings]
    there = model.told(near, model.reach(recipes), viewings)
    by_value, unseen, film = (
        np.concatenate([getattr(one, name) for one in near], axis=1)
        for name in ("jacobian", "unseen", "film")
    )
    slope = np.concatenate([by_value, unseen], axis=2)
    p, q = by_value.shape[2], slope.shape[2]
    covariance = np.eye(q)
    covariance[:p, :p] = model.fitted_.covariance
    # By the model's own word, which grows it as panels left out ask for.
    plain = spread_by(slope, covariance)
    grown = symmetric_root(there.known) @ symmetric_root(plain, inverse=True)
    return Together(there, grown @ slope, covariance, film)


def panel_spread(model: FilmPredictor) -> tuple[float, float]:
    """Return how much film and ground level vary from panel to panel."""
    film, ground = model.fitted_.sizes.effects[:2]
    return float(film), float(ground)


def values_covariance(model: FilmPredictor, recipes: Sequence[Recipe] = ()) -> Array:
    """Return the covariance of the law's free values, widened as panels left out ask for."""
    kinds = model.reach(recipes) if len(recipes) else np.zeros(1, np.intp)
    grow = float(model.stack_.inflation[kinds].max())
    return np.asarray(grow * model.fitted_.covariance, float)
