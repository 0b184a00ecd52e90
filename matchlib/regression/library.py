"""The regression from a library that stands beside the law: a Gaussian process on what colour does.

It knows no physics: from the Lab of the bare ground and how strongly each colour was laid it
learns the *change* from the bare ground (scikit-learn's `GaussianProcessRegressor`). Where films
behave as the law says it has little to add; where they do not it is the better guess, and how much
of it is taken is decided by panels left out (`matchlib.regression.stacking`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.table import RecipeTable

__all__ = ["Process", "bare_rows", "features", "library_share"]

Array = NDArray[np.float64]

MOST = 400
"""Readings learnt from, at most: the cost grows with their cube."""

SHAPED_ON = 150
"""Readings from which lengths are learnt, at most."""


def features(bare: Array, strength: Array) -> Array:
    """Return what the process knows of a recipe; shape (n, 3 + c)."""
    return np.hstack([bare / 25.0, np.log1p(strength)])


def bare_rows(table: RecipeTable) -> RecipeTable:
    """Return the grounds of recipes, bare and otherwise seen alike."""
    return replace(table, colour_share=np.zeros_like(table.colour_share))


def library_share(law: Array, library: Array, doubt: Array) -> Array:
    """Return the library's share by precision, of the variances of both (arrays of one shape)."""
    sure = np.isfinite(doubt)
    return np.asarray(np.where(sure, law / (law + np.where(sure, doubt, 0.0) * library), 0.0))


@dataclass(frozen=True)
class Process:
    """A Gaussian process that was given readings; what it learnt is `theta`."""

    known: Array  # (n, d), features of the readings
    change: Array  # (n, 3), Lab less that of the bare ground
    theta: Array  # (d + 2,), logarithms of variance, lengths and noise

    @classmethod
    def shaped(cls, known: Array, change: Array, seed: int | None) -> Process:
        """Learn the lengths by marginal likelihood."""
        import warnings

        from sklearn.exceptions import ConvergenceWarning
        from sklearn.gaussian_process import GaussianProcessRegressor

        shape = np.random.default_rng(seed).permutation(len(known))[:SHAPED_ON]
        process = GaussianProcessRegressor(_kernel(known.shape[1]), normalize_y=True)
        with warnings.catch_warnings():
            # A length at its bound is a feature that tells nothing.
            warnings.simplefilter("ignore", ConvergenceWarning)
            process.fit(known[shape], change[shape])
        theta = np.asarray(process.kernel_.theta, float)
        return cls(known, change, theta).given(known, change)

    def given(self, known: Array, change: Array) -> Process:
        """Return the process with the same lengths and other readings."""
        some = np.linspace(0, len(known) - 1, min(len(known), MOST)).round().astype(np.intp)
        return Process(known[some], change[some], self.theta)

    @cached_property
    def _fitted(self) -> Any:
        from sklearn.gaussian_process import GaussianProcessRegressor

        kernel = _kernel(self.known.shape[1])
        kernel.theta = self.theta
        process = GaussianProcessRegressor(kernel, normalize_y=True, optimizer=None)
        return process.fit(self.known, self.change)

    def predict(self, at: Array) -> tuple[Array, Array]:
        """Return the change to expect: change, variance (n, 3)."""
        change, sd = self._fitted.predict(at, return_std=True)
        noise = np.exp(self.theta[-1]) * self._fitted._y_train_std**2
        return change, np.maximum(sd**2 - noise, 1e-6)


def _kernel(width: int) -> Any:
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    smooth = ConstantKernel(4.0, (0.1, 100.0)) * RBF(np.ones(width), (0.1, 30.0))
    return smooth + WhiteKernel(1e-3, (1e-5, 1.0))
