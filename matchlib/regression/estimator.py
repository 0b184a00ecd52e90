"""`FilmRegressor`: the film law as a scikit-learn estimator.

Readings in, predictions of the next panel out. What it is fitted to is the film (see
`matchlib.regression.law` for the equations and their sources), not Lab: so a ground known by one
bare reading is predicted like any other, and Lab-only, spectral and photographed readings go into
one fit, each with its own noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import delta_e00
from matchlib.domain import Conditions, Recipe
from matchlib.errors import FitError
from matchlib.plural import counted
from matchlib.progress import Callback, part_of
from matchlib.regression.frames import panels_of, rows_of
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import Observations, readings_as_lab
from matchlib.regression.predictor import FilmPredictor
from matchlib.regression.priors import Priors
from matchlib.regression.reach import Experience
from matchlib.regression.repeats import average_repeats
from matchlib.regression.residuals import Rows
from matchlib.regression.solve import extend, fit_law, learnt_from
from matchlib.regression.stacking import stack
from matchlib.regression.table import RecipeTable
from matchlib.regression.unusual import unusual_names, unusual_rows
from matchlib.regression.vocabulary import Vocabulary

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FilmRegressor"]

Array = NDArray[np.float64]

MANY = 2000
"""Panels above which linear algebra is worth more than one thread."""


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
    library : bool
        Whether a regression from a library stands beside the law; how much of it is taken is
        decided by panels left out.
    robust : bool
        Whether panels may be found to carry a wrong back and lose their say.
    rounds : int
        Rounds of choosing sizes and descending.
    random_state : int, optional
        Decides every draw.

    Attributes
    ----------
    n_features_in_ : int
        Columns of X.
    feature_names_in_ : ndarray of str
        Their names, where all are text.

    Notes
    -----
    What is learned is listed with `FilmPredictor`, which predicts.

    A ground or colour that the fit never saw is refused with `UnknownName`. In scikit-learn's
    `cross_val_score` and `GridSearchCV` a fold that tests one therefore scores nan: keep the bare
    grounds, and a name that stands on one panel only, in what is fitted, or leave them out.
    `matchlib.cross_validate` does so by itself, and says which rows it skipped.

    Examples
    --------
    >>> import pandas as pd
    >>> panels = pd.DataFrame(
    ...     [
    ...         ["silver", "", "", 58.4, -0.3, -0.2],
    ...         ["silver", "cherry", "2@6:1", 41.9, 29.9, 4.8],
    ...         ["silver", "cherry", "4@6:1", 32.3, 42.3, 12.1],
    ...         ["pale gold", "", "", 72.0, 6.5, 31.7],
    ...     ],
    ...     columns=["ground", "colour", "schedule", "L", "a", "b"],
    ... )
    >>> model = FilmRegressor().fit(panels, panels[["L", "a", "b"]])
    >>> asked = pd.DataFrame({"ground": ["silver"], "colour": "cherry", "schedule": "3@6:1"})
    >>> model.predict(asked).round(0)
    array([[36., 38.,  8.]])
    """

    def __init__(
        self,
        *,
        priors: Priors | None = None,
        library: bool = True,
        robust: bool = True,
        rounds: int = 3,
        random_state: int | None = 0,
    ) -> None:
        self.priors = priors
        self.library = library
        self.robust = robust
        self.rounds = rounds
        self.random_state = random_state

    def fit(
        self, X: pd.DataFrame, y: ArrayLike | pd.DataFrame, *, callback: Callback | None = None
    ) -> Self:
        """Fit the law to readings.

        Parameters
        ----------
        X : DataFrame
            One row a reading: ``ground``, ``colour``, ``schedule`` (or ``ratio`` and ``coats``),
            ``clear``, ``source``, ``illuminant``, ``observer``, ``geometry``, and, where known,
            ``panel`` (rows of one panel share its film; those of one ``stage``, ``state``, which
            is empty or ``before clear``, and day ``read`` are repeats), ``sprayer``, ``lot``,
            ``batch``, ``instrument``, ``date`` (or ``sprayed``, as an export has it) and ``sd`` or
            ``covariance`` (the reading's own uncertainty, [ΔE*ab] or 3 × 3 [ΔE*ab²], None where
            unknown). Missing columns and empty cells take the usual: no clear coat, a
            spectrophotometer at D65/10°, 45:0, each row its own panel.
        y : array_like or DataFrame
            (n, 3) Lab; (n, 31) reflectance 400-700 nm; or a DataFrame with columns ``L``, ``a``,
            ``b`` and one a wavelength [nm], empty where a row has none. A row without a reading
            in y is learnt from its spectrum in X, where X has columns of wavelengths.
        callback : callable, optional
            Called between pieces of work with the share done and what is being done. What it
            raises ends the fit and leaves the estimator as it was.

        Returns
        -------
        FilmRegressor
            Itself.

        Raises
        ------
        FitError
            If there is no panel with colour, or nothing to learn from; if a parameter is not
            possible, or X and y are not of one length.
        DomainError
            If a recipe is not legal.
        """
        self._check_parameters()
        recipes, viewings, sources, conditions = rows_of(X)
        seen = Observations.of(X, y, viewings, sources)
        _check_archive(recipes)
        panels, panel = np.unique(np.asarray(panels_of(X), np.str_), return_inverse=True)
        words = Vocabulary.of(recipes, viewings, conditions)
        table = RecipeTable.of(recipes, viewings, words, conditions)
        photographed = bool(seen.photo.mean() > 0.5)
        table, seen, panel, noise = average_repeats(table, seen, panel, _occasions(X))
        rows = Rows(table, seen, panel)
        unusual = unusual_names(table, seen, panel, words)
        some = learnt_from(rows.panels, self.random_state)
        part = rows.of_panels(some)
        # The matrices of a usual archive are small: threads would wait for each other.
        with threadpool_limits(1 if rows.panels < MANY else None):
            fitted = fit_law(
                FilmLaw(words, self.priors or Priors()),
                part,
                rounds=self.rounds,
                robust=self.robust,
                callback=part_of(callback, 0.0, 0.6),
            )
            learnt, process = stack(
                fitted,
                part,
                seed=self.random_state,
                library=self.library,
                beyond=unusual_rows(unusual, part.table, words),
                callback=part_of(callback, 0.6, 1.0),
            )
            fitted = extend(fitted, rows, some, robust=self.robust)
        # Nothing is kept before all of it is there: a fit that was stopped leaves no mixture.
        self.fitted_, self.reading_noise_, self.photographed_ = fitted, noise, photographed
        self.stack_, self.library_, self.unusual_ = learnt, process, unusual
        self.experience_ = Experience.of(table.take(fitted.trust[panel] > 0.5))
        self.conditions_ = _latest(conditions)
        self.trust_ = dict(zip(panels.tolist(), fitted.trust.tolist(), strict=True))
        self.spectral_ = np.asarray(table.shown[seen.spectral].any(axis=0))
        self.n_features_in_ = X.shape[1]
        if all(isinstance(name, str) for name in X.columns):
            self.feature_names_in_ = np.asarray(X.columns, object)
        elif hasattr(self, "feature_names_in_"):
            del self.feature_names_in_
        return self

    def _check_parameters(self) -> None:
        drawn, truths = self.random_state, (bool, np.bool_)
        seed = drawn is None or _whole(drawn, least=0)
        for name, good, expected in (
            ("rounds", _whole(self.rounds, least=1), "a whole number from 1"),
            ("library", isinstance(self.library, truths), "True or False"),
            ("robust", isinstance(self.robust, truths), "True or False"),
            ("priors", self.priors is None or isinstance(self.priors, Priors), "Priors or None"),
            ("random_state", seed, "a whole number from 0, or None"),
        ):
            if not good:
                raise FitError(
                    f"The parameter {name} cannot be this.",
                    expected=expected,
                    got=repr(getattr(self, name)),
                    remedy="leave it out for the usual.",
                )

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
        errors = delta_e00(readings_as_lab(X, y), np.asarray(self.predict(X)))
        weights = None if sample_weight is None else np.asarray(sample_weight)
        return -float(np.average(errors, weights=weights))


def _whole(x: object, *, least: int) -> bool:
    return isinstance(x, int | np.integer) and not isinstance(x, bool) and int(x) >= least


def _occasions(X: pd.DataFrame) -> NDArray[np.intp]:
    """Which rows are repeats of one another, as far as stage, state, day and instrument tell."""
    known = [c for c in ("stage", "state", "read", "date", "instrument") if c in X.columns]
    rows = list(map(str, zip(*(X[c] for c in known), strict=True))) or [""] * len(X)
    return np.unique(rows, return_inverse=True)[1]


def _latest(conditions: Sequence[Conditions]) -> Conditions:
    """What holds today as far as the archive tells: the last of each, by date and then by row."""
    latest = Conditions()
    for said in sorted(conditions, key=lambda each: str(each.date or "")):
        latest = said.over(latest)
    return latest


def _check_archive(recipes: Sequence[Recipe]) -> None:
    distinct = set(recipes)
    if len(distinct) < 2 or all(r.bare for r in distinct):
        raise FitError(
            "There is nothing to learn a colour from.",
            expected="at least two different recipes, one of them with colour",
            got=f"{counted(len(recipes), 'reading')} of {counted(len(distinct), 'recipe')}",
            remedy="add the bare ground and one or two panels of the colour, with different coats.",
        )
