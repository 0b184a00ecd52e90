"""Two simple regressors beside which the film regression is printed: cheap, and known to all."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.linear_model import RidgeCV
from sklearn.neighbors import KNeighborsRegressor
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import PolynomialFeatures, StandardScaler

from matchlib.regression.frames import rows_of
from matchlib.regression.observe import readings_as_lab

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.domain import Ground, Recipe

__all__ = ["NearestPanel", "QuadraticRidge"]

Array = NDArray[np.float64]


class _Simple(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # sklearn has no types
    """Lab from the bare ground's Lab, the colours' shares and the log strength, by scikit-learn."""

    def fit(self, X: pd.DataFrame, y: ArrayLike | pd.DataFrame) -> Self:
        """Fit to readings."""
        lab = readings_as_lab(X, y)
        recipes = rows_of(X)[0]
        bare: dict[Ground, list[Array]] = {}
        for recipe, value in zip(recipes, lab, strict=True):
            if recipe.bare:
                bare.setdefault(recipe.ground, []).append(value)
        self.bare_ = {g: np.mean(v, axis=0) for g, v in bare.items()}
        self.middle_ = lab.mean(axis=0)
        self.colours_ = sorted({n for r in recipes for c in r.colours for n in c.shares})
        self.n_features_in_ = X.shape[1]
        self.model_ = make_pipeline(StandardScaler(), *self._steps()).fit(
            self._numbers(recipes), lab
        )
        return self

    def predict(self, X: pd.DataFrame) -> Array:
        """Predict Lab; shape (n, 3)."""
        numbers = self._numbers(rows_of(X)[0])
        return np.asarray(self.model_.predict(numbers), float)

    def _steps(self) -> tuple[Any, ...]:
        raise NotImplementedError

    def _numbers(self, recipes: list[Recipe]) -> Array:
        rows = []
        for r in recipes:
            shares: dict[str, float] = defaultdict(float)
            for colour, laid in r.layers:
                for name, share in colour.shares.items():
                    shares[name] += share * (laid.strength / r.strength)
            log = np.log1p(r.strength / 0.1)
            own = [log * shares[c] for c in self.colours_]
            rows.append(
                [*self.bare_.get(r.ground, self.middle_), float(r.clear is None), log, *own]
            )
        return np.array(rows, float)


class NearestPanel(_Simple):
    """The archive's nearest panel in ground, colour and strength."""

    def _steps(self) -> tuple[Any, ...]:
        return (KNeighborsRegressor(1),)


class QuadraticRidge(_Simple):
    """A quadratic in the same numbers, its penalty chosen inside the training rows."""

    def _steps(self) -> tuple[Any, ...]:
        quadratic = PolynomialFeatures(2, include_bias=False)
        return quadratic, StandardScaler(), RidgeCV(np.logspace(-4, 3, 15))
