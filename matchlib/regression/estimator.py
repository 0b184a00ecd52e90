"""`FilmRegressor`: the film law as a scikit-learn estimator.

Readings in, predictions of the next panel out. What it is fitted to is the film (see
`matchlib.regression.law` for the equations and their sources), not Lab: so a ground known by one
bare reading is predicted like any other, and Lab-only, spectral and photographed readings go into
one fit, each with its own noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import delta_e00
from matchlib.domain import Recipe
from matchlib.errors import FitError
from matchlib.regression.doubt import freedom_of_scale, overconfidence
from matchlib.regression.law import FilmLaw
from matchlib.regression.lengths import WAYS
from matchlib.regression.looks import places_of
from matchlib.regression.misses import Rows
from matchlib.regression.observe import Observations
from matchlib.regression.predictor import FilmPredictor
from matchlib.regression.priors import Priors
from matchlib.regression.repeats import average_repeats
from matchlib.regression.residual import Residual
from matchlib.regression.solve import FittedLaw, evidence_with, fit_law
from matchlib.regression.table import RecipeTable, Vocabulary, rows_of
from matchlib.stepping import Step, part_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FilmRegressor"]

Array = NDArray[np.float64]

MANY = 2000
"""Panels above which linear algebra is worth more than one thread."""

TRIED_ON = 120
"""Panels from which it is learnt how what the law leaves goes, at most."""

WORTH = 3.0
"""Evidence that the residual must bring to be kept, beyond the price of the sizes that are learnt
for it [nat]: 20 to 1, strong by Kass and Raftery (1995)."""


class FilmRegressor(
    RegressorMixin,  # type: ignore[misc]  # sklearn has no types
    FilmPredictor,
    BaseEstimator,  # type: ignore[misc]  # nor here
):
    """Regression over ground, mix ratio and coats through the optics of the film.

    Parameters
    ----------
    priors : Priors, optional
        Beliefs before any panel; None for the published and usual ones.
    residual : bool
        Whether a Gaussian-process field takes what the film law leaves. It is kept only where the
        readings' evidence is for it.
    robust : bool
        Whether panels may be found to carry a wrong back and lose their say.
    rounds : int
        Rounds of choosing sizes and descending.
    random_state : int, optional
        Decides every draw; draws are made only in archives of more than 800 panels.

    Notes
    -----
    What is learned is listed with `FilmPredictor`, which predicts.
    """

    def __init__(
        self,
        *,
        priors: Priors | None = None,
        residual: bool = True,
        robust: bool = True,
        rounds: int = 3,
        random_state: int | None = 0,
    ) -> None:
        self.priors = priors
        self.residual = residual
        self.robust = robust
        self.rounds = rounds
        self.random_state = random_state

    def fit(
        self, X: pd.DataFrame, y: ArrayLike | pd.DataFrame, *, step: Step | None = None
    ) -> Self:
        """Fit the law to readings.

        Parameters
        ----------
        X : DataFrame
            One row a reading: ``ground``, ``colour``, ``schedule`` (or ``ratio`` and ``coats``),
            ``clear``, ``source``, ``illuminant``, ``observer``, ``geometry``, and, where known,
            ``panel`` (rows of one panel are repeats), ``sprayer`` and ``sd`` (the reading's own
            uncertainty, [ΔE*ab]). Missing columns take the usual: a spectrophotometer at
            D65/10°, 45:0, each row its own panel.
        y : array_like or DataFrame
            (n, 3) Lab; (n, 31) reflectance 400-700 nm; or a DataFrame with columns ``L``, ``a``,
            ``b`` and wavelengths as numbers, empty where a row has none.
        step : callable, optional
            Called between pieces of work with the share done and what is being done. What it
            raises ends the fit and leaves the estimator as it was.

        Returns
        -------
        FilmRegressor
            Itself.

        Raises
        ------
        FitError
            If there is no panel with colour, or nothing to learn from.
        DomainError
            If a recipe is not legal.
        """
        recipes, viewings, sources, sprayers = rows_of(X)
        _check_archive(recipes)
        count = len(recipes)
        codes = _codes(X)
        stated = X["sd"].to_numpy(np.float64) if "sd" in X.columns else np.full(count, np.nan)
        panels, panel = np.unique(codes, return_inverse=True)
        seen = Observations.of(y, viewings, sources, stated)
        words = Vocabulary.of(recipes, [v.geometry for v in viewings], sprayers)
        table = RecipeTable.of(recipes, viewings, words, sprayers)
        table, seen, panel, reading_noise = average_repeats(table, seen, panel)
        rows = Rows(table, seen, panel)
        priors = self.priors or Priors()
        options: dict[str, Any] = {"robust": self.robust, "random_state": self.random_state}
        # The matrices of a usual archive are small: threads would wait for each other.
        with threadpool_limits(1 if rows.panels < MANY else None):
            fitted = fit_law(
                FilmLaw(words, priors, Residual()),
                rows,
                rounds=self.rounds,
                step=part_of(step, 0.0, 0.4),
                **options,
            )
            if self.residual:
                fitted = _with_fields(fitted, rows, step=part_of(step, 0.4, 0.9), **options)
            doubt = overconfidence(fitted, rows, step=part_of(step, 0.9, 1.0))
        # Nothing is kept before all of it is there: a fit that was stopped leaves no mixture.
        self.words_, self.reading_noise_, self.doubt_ = words, reading_noise, doubt
        self.freedom_ = freedom_of_scale(fitted, rows)
        self.fitted_ = fitted
        self.panels_ = panels
        self.trust_ = fitted.trust
        self.spectral_grounds_ = _spectral_names(table.ground_share, seen, self.words_.grounds)
        self.spectral_colours_ = _spectral_names(table.colour_share, seen, self.words_.colours)
        self.n_features_in_ = X.shape[1]
        return self

    def score(self, X: pd.DataFrame, y: ArrayLike, sample_weight: ArrayLike | None = None) -> float:
        """Return minus the mean ΔE00, so that more is better.

        Parameters
        ----------
        X : DataFrame
            As for `fit`.
        y : array_like
            As for `fit`.
        sample_weight : array_like, optional
            Weight of each row.

        Returns
        -------
        float
            [ΔE00]; R squared says nothing about whether a match passes.
        """
        _, viewings, sources, _ = rows_of(X)
        seen = Observations.of(y, viewings, sources, np.full(len(X), np.nan))
        errors = delta_e00(seen.lab, np.asarray(self.predict(X)))
        return -float(
            np.average(errors, weights=None if sample_weight is None else np.asarray(sample_weight))
        )


def _codes(X: pd.DataFrame) -> NDArray[np.str_]:
    """What readings are repeats of: a panel, in one stage and state."""
    if "panel" not in X.columns:
        return np.array([f"row {i + 1}" for i in range(len(X))])
    stages = X["stage"] if "stage" in X.columns else [1] * len(X)
    states = X["state"] if "state" in X.columns else [""] * len(X)
    return np.array(
        [
            str(code) + f" stage {stage}" * (stage > 1) + f" {state}" * bool(state)
            for code, stage, state in zip(X["panel"], stages, states, strict=True)
        ]
    )


def _with_fields(
    fitted: FittedLaw, rows: Rows, *, step: Step, robust: bool, random_state: int | None
) -> FittedLaw:
    """Return the fit with residual fields that has most evidence; `fitted` if none is worth it."""
    words, priors = fitted.law.words, fitted.law.priors
    options: dict[str, Any] = {"robust": robust, "random_state": random_state}
    grounds = places_of(fitted.law, fitted.z, rows)
    few = FilmLaw(words, priors, Residual.of(rows.table, grounds, few=True))
    first = evidence_with(few, rows, fitted, step=part_of(step, 0.0, 0.1), **options)
    if first <= fitted.evidence:
        return fitted
    some = rows
    if rows.panels > TRIED_ON:
        draw = np.random.default_rng(random_state).choice(rows.panels, TRIED_ON, replace=False)
        some = rows.of_panels(np.sort(draw))
    tried = {}
    # A part of the panels, and few features there, are enough to choose by.
    for number, way in enumerate(WAYS):
        fields = Residual.of(some.table, grounds, few=some is not rows, lengths=way)
        law = FilmLaw(words, priors, fields)
        share = 0.4 / len(WAYS)
        told = part_of(step, 0.1 + share * number, 0.1 + share * (number + 1))
        tried[way] = fit_law(law, some, start=fitted, rounds=3, step=told, **options)
    way = max(WAYS, key=lambda way: tried[way].evidence)
    best = tried[way]
    if some is not rows:
        law = FilmLaw(words, priors, Residual.of(rows.table, grounds, lengths=way))
        told = part_of(step, 0.5, 1.0)
        best = fit_law(law, rows, start=fitted, rounds=3, step=told, **options)
    return best if best.evidence > fitted.evidence + _price_of_fields(best.law, rows) else fitted


def _price_of_fields(law: FilmLaw, rows: Rows) -> float:
    # Each size is chosen by the very readings that speak for it: half the logarithm of their
    # number (Schwarz 1978). So a handful of panels is never enough.
    return WORTH + 0.5 * len(law.residual.parts) * float(np.log(3.0 * rows.panels))


def _check_archive(recipes: Sequence[Recipe]) -> None:
    distinct = set(recipes)
    if len(distinct) < 2 or all(r.bare for r in distinct):
        raise FitError(
            "There is nothing to learn a colour from.",
            expected="at least two different recipes, one of them with colour",
            got=f"{len(recipes)} readings of {len(distinct)} recipe{'s' * (len(distinct) != 1)}",
            remedy="add the bare ground and one or two panels of the colour, with different coats.",
        )


def _spectral_names(share: Array, seen: Observations, names: tuple[str, ...]) -> set[str]:
    shown = share[seen.spectral].sum(axis=0) > 0
    return {n for n, s in zip(names, shown, strict=True) if s}
