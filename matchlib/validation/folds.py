"""Cross-validation by what is left out, and how honest the spread is.

Readings of one panel are never parted, or the panel would be known to the fit that is tested on
it. Bare grounds stay: a shop always has them. What is tested is the next panel's reading, so that
the regions are those of the reading, noise included.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import ArrayLike, NDArray
from sklearn.base import clone
from sklearn.model_selection import GroupKFold

from matchlib.colorimetry import delta_e00
from matchlib.domain import day_of
from matchlib.errors import DomainError, FitError
from matchlib.plural import counted
from matchlib.progress import Callback, part_of
from matchlib.regression import FilmPredictor, FilmRegressor
from matchlib.regression.frames import panels_of, rows_of
from matchlib.regression.observe import readings_as_lab
from matchlib.tails import region, squared_distance

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "BY",
    "LEVELS",
    "Validation",
    "cross_validate",
    "left_out_words",
    "split_rows",
]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

LEVELS = (0.5, 0.8, 0.9, 0.95)
"""Regions whose coverage is reported [-]."""

BY = ("panel", "recipe", "ground", "lot")
"""What may be left out; and what came after a day, as ``after 2026-05-31``."""

AFTER = "after "

FEWEST = 5
"""Panels with colour from which a cross-validation says anything."""


@dataclass(frozen=True)
class Validation:
    """Errors on what was left out.

    Parameters
    ----------
    by : str
        What was left out, as in `BY`.
    rows : ndarray of int, shape (n,)
        Rows of the table that were predicted.
    errors : ndarray, shape (n,)
        ΔE00 of prediction to reading.
    squared : ndarray, shape (n,)
        Squared Mahalanobis distance of the reading; NaN where the regressor gives no spread.
    dof : ndarray, shape (n,)
        Degrees of freedom of the spread; infinite where the regressor gives only a covariance.
    folds : int
        Fits made.
    skipped : ndarray of int
        Rows that could not be predicted, since nothing left in showed their ground or colour.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.regression import frames_of
    >>> from matchlib.validation import cross_validate
    >>> from matchlib.validation.simple import NearestPanel
    >>> found = cross_validate(*frames_of(demo_panels()), "panel", model=NearestPanel())
    >>> found.folds, found.median < found.mean < found.high
    (10, True)
    """

    by: str
    rows: Ints
    errors: Array
    squared: Array
    dof: Array
    folds: int
    skipped: Ints

    @property
    def median(self) -> float:
        """Median ΔE00."""
        return float(np.median(self.errors))

    @property
    def mean(self) -> float:
        """Mean ΔE00."""
        return float(np.mean(self.errors))

    @property
    def high(self) -> float:
        """95th percentile of ΔE00."""
        return float(np.quantile(self.errors, 0.95))

    @property
    def coverage(self) -> dict[float, float]:
        """Share of readings inside each region of `LEVELS`; empty without spreads.

        A region is an ellipsoid of Lab, `matchlib.tails.region`: that of a Student's t where the
        regressor gives its degrees of freedom, else of a normal.
        """
        if not np.isfinite(self.squared).all():
            return {}
        return {p: float(np.mean(self.squared <= region(p, self.dof))) for p in LEVELS}


def _take(y: Any, rows: Ints) -> Any:
    return y.iloc[rows] if hasattr(y, "iloc") else np.asarray(y)[rows]


def split_rows(
    X: pd.DataFrame, by: str, *, folds: int, random_state: int | None
) -> Iterator[tuple[Ints, Ints]]:
    """Split a table of readings, bare grounds always in training."""
    panels = np.array(panels_of(X))
    recipes, *_, conditions = rows_of(X)
    rows = np.flatnonzero([not recipe.bare for recipe in recipes])
    if by.startswith(AFTER):
        day = day_of(by.removeprefix(AFTER))
        later = [i for i in rows if (c := conditions[i].date) is not None and c > day]
        parts = [np.array(later, np.intp)] if later else []
        count, needed = len(parts), 1
    elif by == "lot":
        lots = sorted({pair for i in rows for pair in conditions[i].lots})
        parts = [np.array([i for i in rows if lot in conditions[i].lots]) for lot in lots]
        count, needed = len(parts), 2
    elif by in BY:
        keys: list[Any] = list(panels)
        if by != "panel":
            # Equal recipes may be spelt in more ways than one.
            keys = recipes if by == "recipe" else [r.ground for r in recipes]
        places = {key: n for n, key in enumerate(dict.fromkeys(keys[i] for i in rows))}
        groups = np.array([places[keys[i]] for i in rows], np.intp)
        count, needed = len(places), 2
        parts = [rows[groups == n] for n in range(count)]
        if by != "ground" and count >= needed:
            cut = GroupKFold(min(folds, count), shuffle=True, random_state=random_state)
            parts = [rows[test] for _, test in cut.split(rows, groups=groups)]
    else:
        raise DomainError(
            "This cannot be left out.",
            expected=f"{', '.join(BY)}, or 'after' and a day",
            got=repr(by),
            remedy="choose what the regression is to be tested on.",
        )
    there = len(set(panels[rows]))
    if there < FEWEST or count < needed:
        raise FitError(
            f"There are too few panels to leave {left_out_words(by)} out.",
            expected=f"{FEWEST} panels with colour"
            + (" and a panel of a later day" if needed == 1 else f", and two {by}s"),
            got=counted(there, "panel")
            + ("" if needed == 1 or by == "panel" else f" of {counted(count, by)}"),
            remedy="spray more panels, or leave out something smaller.",
        )
    for test in parts:
        yield np.setdiff1d(np.arange(len(X)), test), test


def left_out_words(by: str) -> str:
    """Say what is left out.

    Parameters
    ----------
    by : str
        As in `BY`.

    Returns
    -------
    str
        A few words.

    Examples
    --------
    >>> left_out_words("recipe")
    'recipes'
    """
    return f"what came {by}" if by.startswith(AFTER) else f"{by}s"


def _predict(model: Any, X: pd.DataFrame) -> tuple[Array, Array | None, Array]:
    if isinstance(model, FilmPredictor):
        found = model.predict_readings(X)
        return found.lab, found.covariance, found.dof
    normal = np.full(len(X), np.inf)
    try:
        lab, covariance = model.predict(X, return_cov=True)
    except TypeError:
        return np.asarray(model.predict(X), float), None, normal
    return np.asarray(lab, float), np.asarray(covariance, float), normal


def cross_validate(
    X: pd.DataFrame,
    y: ArrayLike | pd.DataFrame,
    by: str = "panel",
    *,
    model: Any = None,
    folds: int = 10,
    random_state: int | None = 0,
    n_jobs: int | None = None,
    callback: Callback | None = None,
) -> Validation:
    """Predict every panel with colour from a fit that has not seen it.

    Parameters
    ----------
    X : DataFrame
        As for `FilmRegressor.fit`.
    y : array_like or DataFrame
        Readings.
    by : str
        What is left out whole, as in `split_rows`. Bare grounds stay.
    model : estimator, optional
        Cloned for every fold; a `FilmRegressor` if None. Without ``return_cov`` in its ``predict``
        there is no coverage.
    folds : int
        Parts for panels and recipes.
    random_state : int, optional
        Decides who is left out with whom.
    n_jobs : int, optional
        Fits at once, by joblib; -1 for all cores, or all workers of a Dask cluster inside
        ``joblib.parallel_config("dask")``. One after the other, in this process, if None.
    callback : callable, optional
        Called between pieces of work with the share done and which fold is being fitted; what it
        raises ends the validation. Of fits at once it hears when all are done.

    Returns
    -------
    Validation
        Errors, distances, coverage.

    Raises
    ------
    DomainError
        If `by` is not known.
    FitError
        If there are too few panels, or none could be predicted.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.regression import frames_of
    >>> from matchlib.validation.simple import QuadraticRidge
    >>> X, y = frames_of(demo_panels())
    >>> ridge = cross_validate(X, y, "recipe", model=QuadraticRidge())
    >>> round(ridge.median, 1)
    1.8
    """
    maker = FilmRegressor() if model is None else model
    seen = readings_as_lab(X, y)
    pairs = list(split_rows(X, by, folds=folds, random_state=random_state))
    rows, errors, squared, dof, skipped = [], [], [], [], []
    report = part_of(callback)
    parts = [(maker, X.iloc[train], _take(y, train), X.iloc[test]) for train, test in pairs]
    if n_jobs is None:
        found = [
            _refit(*part, callback=_fold(report, number, len(parts)))
            for number, part in enumerate(parts)
        ]
    else:
        report(0.0, f"fitting {len(parts)} folds")
        found = Parallel(n_jobs=n_jobs)(delayed(_refit)(*part) for part in parts)
    for (_, test), (known, predicted) in zip(pairs, found, strict=True):
        skipped.append(test[~known])
        some = test[known]
        if predicted is not None:
            lab, covariance, nu = predicted
            rows.append(some)
            errors.append(delta_e00(seen[some], lab))
            dof.append(nu)
            if covariance is None:
                squared.append(np.full(len(some), np.nan))
            else:
                squared.append(squared_distance(seen[some] - lab, covariance))
    report(1.0, "all folds are done")
    if not rows:
        raise FitError(
            f"Of {left_out_words(by)} nothing could be predicted from the rest.",
            expected="grounds and colours that more than one panel shows",
            got="each of them only in what was left out",
            remedy="add bare grounds and panels.",
        )
    return Validation(
        by,
        np.concatenate(rows),
        np.concatenate(errors),
        np.concatenate(squared),
        np.concatenate(dof),
        len(pairs),
        np.concatenate(skipped),
    )


def _fold(callback: Callback, number: int, of: int) -> Callback:
    part, words = part_of(callback, number / of, (number + 1) / of), f"fold {number + 1} of {of}"
    part(0.0, words)
    return lambda share, _: part(share, words)


def _refit(
    maker: Any, X: pd.DataFrame, y: Any, test: pd.DataFrame, *, callback: Callback | None = None
) -> tuple[NDArray[np.bool_], tuple[Array, Array | None, Array] | None]:
    """Which rows left out a fit to the others knows, and what it predicts of them."""
    fitted = clone(maker)
    # Other people's regressors know nothing of a callback.
    fitted.fit(X, y, **({"callback": callback} if isinstance(fitted, FilmRegressor) else {}))
    known = _known(fitted, test)
    return known, _predict(fitted, test[known]) if known.any() else None


def _known(fitted: Any, test: pd.DataFrame) -> NDArray[np.bool_]:
    words = getattr(fitted, "words_", None)
    if words is None:
        return np.ones(len(test), bool)
    return np.array([words.knows(recipe) for recipe in rows_of(test)[0]], bool)
