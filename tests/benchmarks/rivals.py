"""General-purpose regressors on the same table as the film regression, as strong as is honest.

Each takes the same X and y, sees the bare ground's Lab (so that a ground left out is not a name it
never saw), the colours as shares, colour fraction and coats, and the process and the boosting log
strength too; each is tuned inside the training rows only. Beside them stands the process that the
film regression stacks with its law, by itself. Spectra are turned to Lab first, which is what they
are asked for.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.compose import TransformedTargetRegressor
from sklearn.ensemble import GradientBoostingRegressor
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel
from sklearn.linear_model import RidgeCV
from sklearn.model_selection import GridSearchCV, KFold
from sklearn.multioutput import MultiOutputRegressor
from sklearn.neighbors import KNeighborsRegressor
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import PolynomialFeatures, StandardScaler

from matchlib.domain import CoatSchedule, Colour, Ground
from matchlib.regression.library import Process, features
from tests.benchmarks.lightlab import Array, spectrum_to_lab

__all__ = [
    "RIVALS",
    "Rival",
    "boosting",
    "gaussian_process",
    "nearest",
    "process_alone",
    "ridge",
]

_SMALL = 0.02  # keeps the logarithm of a bare ground's strength finite, below any strength used


class _Features:
    """Rows of the table as numbers: bare ground Lab, fraction, coats, colour shares, and more.

    ``more`` is "" for that alone, "log" for log strength too, "laid" for strength by colour and
    nothing else beside the ground.
    """

    def __init__(self, X: pd.DataFrame, lab: Array, *, more: str) -> None:
        self.more = more
        bare = X["colour"].fillna("") == ""
        self.ground = {
            (g, c): lab[rows].mean(axis=0)
            for (g, c), rows in X[bare].groupby(["ground", "clear"]).indices.items()
            for rows in [np.flatnonzero(bare)[rows]]
        }
        self.mean = lab[bare].mean(axis=0) if bare.any() else lab.mean(axis=0)
        shares = [Colour.parse(c).shares for c in X.loc[~bare, "colour"].unique()]
        self.colours = sorted({name for each in shares for name in each})

    def _ground_lab(self, ground: str, clear: str) -> Array:
        for key in ((ground, clear), *((ground, c) for c in ("yes", "no"))):
            if key in self.ground:
                return self.ground[key]
        shares = Ground.parse(ground).shares
        known = {g.casefold(): v for (g, _), v in self.ground.items()}
        if len(shares) > 1 and set(shares) <= set(known):
            return np.sum([s * known[n] for n, s in shares.items()], axis=0)
        return self.mean

    def __call__(self, X: pd.DataFrame) -> Array:
        rows = []
        for ground, colour, schedule, clear in zip(
            X["ground"], X["colour"].fillna(""), X["schedule"].fillna(""), X["clear"], strict=True
        ):
            base = [*self._ground_lab(ground, clear), float(clear != "no")]
            share = np.zeros(len(self.colours))
            strength, coats = 0.0, 0
            if colour:
                made = CoatSchedule.parse(schedule)
                strength, coats = made.strength, made.coats
                for name, part in Colour.parse(colour).shares.items():
                    if name in self.colours:
                        share[self.colours.index(name)] = part
            log = np.log(strength + _SMALL) - np.log(_SMALL)
            fraction = strength / coats if coats else 0.0
            if self.more == "laid":
                base += [*(share * strength)]
            else:
                base += [fraction, coats, *share, *([log] if self.more == "log" else [])]
            rows.append(base)
        return np.array(rows)


class Rival(RegressorMixin, BaseEstimator):
    """A scikit-learn regressor behind the table's interface."""

    def __init__(self, make: Callable[[], BaseEstimator], more: str = "") -> None:
        self.make = make
        self.more = more

    def fit(self, X: pd.DataFrame, y: Array) -> Rival:
        lab = np.asarray(y, dtype=float)
        lab = lab if lab.shape[1] == 3 else spectrum_to_lab(lab)
        X = X.reset_index(drop=True)
        self.features_ = _Features(X, lab, more=self.more)
        self.model_ = self.make()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)  # a length at its bound is fine
            self.model_.fit(self.features_(X), lab)
        return self

    def predict(self, X: pd.DataFrame, return_cov: bool = False) -> Array | tuple[Array, Array]:
        numbers = self.features_(X)
        if not return_cov:
            return np.asarray(self.model_.predict(numbers))
        if not isinstance(self.model_, _Process):
            raise NotImplementedError("this rival says nothing of its uncertainty")
        lab, sd = self.model_.predict(numbers, return_std=True)
        return lab, np.eye(3) * (sd**2)[:, None, :]


class _Process(BaseEstimator):
    """One Gaussian process an axis, by marginal likelihood, on standardised features and Lab."""

    def fit(self, numbers: Array, lab: Array) -> _Process:
        self.scale_ = StandardScaler().fit(numbers)
        scaled = self.scale_.transform(numbers)
        # Above some hundred rows the kernel is learnt on a part; the process still holds them all.
        part = np.random.default_rng(0).permutation(len(scaled))[:400]
        self.models_ = []
        for axis in lab.T:
            kernel = ConstantKernel(4.0, (0.05, 1e4)) * RBF(
                np.full(scaled.shape[1], 3.0), (0.2, 1e3)
            ) + WhiteKernel(1e-3, (1e-6, 1.0))
            learnt = GaussianProcessRegressor(kernel, normalize_y=True, random_state=0)
            learnt.fit(scaled[part], axis[part])
            if len(part) < len(scaled):
                learnt = GaussianProcessRegressor(learnt.kernel_, optimizer=None, normalize_y=True)
                learnt.fit(scaled, axis)
            self.models_.append(learnt)
        return self

    def predict(self, numbers: Array, return_std: bool = False) -> Array | tuple[Array, Array]:
        scaled = self.scale_.transform(numbers)
        both = [m.predict(scaled, return_std=True) for m in self.models_]
        lab = np.stack([mean for mean, _ in both], axis=1)
        return (lab, np.stack([sd for _, sd in both], axis=1)) if return_std else lab


class _Change(BaseEstimator):
    """The film regression's own process on the change from the bare ground."""

    def fit(self, numbers: Array, lab: Array) -> _Change:
        self.process_ = Process.shaped(self._known(numbers), lab - numbers[:, :3], seed=0)
        return self

    def predict(self, numbers: Array) -> Array:
        return numbers[:, :3] + self.process_.predict(self._known(numbers))[0]

    @staticmethod
    def _known(numbers: Array) -> Array:
        return features(numbers[:, :3], numbers[:, 4:])  # between them, whether it is cleared


def _inner(splits: int = 4) -> KFold:
    return KFold(splits, shuffle=True, random_state=0)


def nearest() -> Rival:
    """Nearest panels by standardised features, their number and weights by inner folds."""
    model = make_pipeline(StandardScaler(), KNeighborsRegressor(weights="distance"))
    grid = {"kneighborsregressor__n_neighbors": [1, 2, 3]}
    return Rival(lambda: GridSearchCV(model, grid, cv=_inner(), scoring="neg_mean_squared_error"))


def _ridge() -> BaseEstimator:
    return make_pipeline(
        StandardScaler(),
        PolynomialFeatures(2, include_bias=False),
        StandardScaler(),
        TransformedTargetRegressor(
            MultiOutputRegressor(RidgeCV(np.logspace(-5, 3, 17))), transformer=StandardScaler()
        ),
    )


def ridge() -> Rival:
    """Quadratic ridge, its penalty by generalised cross-validation, an axis each."""
    return Rival(_ridge)


def gaussian_process() -> Rival:
    """Anisotropic Gaussian process with white noise, log strength among its features."""
    return Rival(_Process, more="log")


def process_alone() -> Rival:
    """What stands beside the law in the film regression, without the law."""
    return Rival(_Change, more="laid")


def boosting() -> Rival:
    """Gradient boosting, its depth by inner folds."""
    model = MultiOutputRegressor(
        GradientBoostingRegressor(learning_rate=0.06, subsample=0.8, random_state=0)
    )
    grid = {"estimator__max_depth": [2, 4], "estimator__n_estimators": [200]}
    return Rival(
        lambda: GridSearchCV(model, grid, cv=_inner(2), scoring="neg_mean_squared_error"),
        more="log",
    )


RIVALS: dict[str, Callable[[], Rival]] = {
    "nearest": nearest,
    "ridge": ridge,
    "gp": gaussian_process,
    "boosting": boosting,
}
