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
from sklearn.utils.validation import check_is_fitted
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import GRID, delta_e00
from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError, FitError
from matchlib.regression.doubt import overconfidence
from matchlib.regression.law import FilmLaw
from matchlib.regression.misses import THIRDS, Rows
from matchlib.regression.observe import PHOTO, SPECTRO, Observations, lab_of
from matchlib.regression.priors import Priors
from matchlib.regression.repeats import average_repeats
from matchlib.regression.residual import Residual
from matchlib.regression.solve import fit_law
from matchlib.regression.table import RecipeTable, Vocabulary, empty, recipes_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FilmRegressor"]

Array = NDArray[np.float64]

MANY = 2000
"""Panels above which linear algebra is worth more than one thread."""


class FilmRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # sklearn has no types
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
        Decides every draw; draws are made only in archives of more than 1,200 panels.

    Attributes
    ----------
    fitted_ : FittedLaw
        The law with its values, their covariance and the sizes of noise.
    words_ : Vocabulary
        Grounds and colours seen.
    doubt_ : float
        Factor by which the covariance of the law's values is widened, from panels left out.
    trust_ : ndarray
        Probability that each panel is what its back says, in the order of `panels_`.
    panels_ : ndarray of str
        Panel codes.
    reading_noise_ : dict
        Noise of a reading an axis by family, from repeats [ΔE*ab].
    n_features_in_ : int
        Columns of X.
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

    def fit(self, X: pd.DataFrame, y: ArrayLike | pd.DataFrame) -> Self:
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
        recipes, viewings, sources, sprayers = self._read(X)
        _check_archive(recipes)
        count = len(recipes)
        codes = (
            X["panel"].astype(str).to_numpy()
            if "panel" in X.columns
            else np.array([f"row {i + 1}" for i in range(count)])
        )
        stated = X["sd"].to_numpy(np.float64) if "sd" in X.columns else np.full(count, np.nan)
        panels, panel = np.unique(codes, return_inverse=True)
        seen = Observations.of(y, viewings, sources, stated)
        self.words_ = Vocabulary.of(recipes, [v.geometry for v in viewings], sprayers)
        table = RecipeTable.of(recipes, viewings, self.words_, sprayers)
        table, seen, panel, self.reading_noise_ = average_repeats(table, seen, panel)
        rows = Rows(table, seen, panel)
        priors = self.priors or Priors()
        options: dict[str, Any] = {"robust": self.robust, "random_state": self.random_state}
        # The matrices of a usual archive are small: threads would wait for each other.
        with threadpool_limits(1 if rows.panels < MANY else None):
            fitted = fit_law(
                FilmLaw(self.words_, priors, Residual.none()), rows, rounds=self.rounds, **options
            )
            if self.residual:
                law = FilmLaw(self.words_, priors, Residual.of(table))
                fitted = fit_law(law, rows, start=fitted, rounds=2, **options)
            self.doubt_ = overconfidence(fitted, rows)
        self.fitted_ = fitted
        self.panels_ = panels
        self.trust_ = fitted.trust
        self.spectral_grounds_ = _spectral_names(table.ground_share, seen, self.words_.grounds)
        self.spectral_colours_ = _spectral_names(table.colour_share, seen, self.words_.colours)
        self.n_features_in_ = X.shape[1]
        return self

    @staticmethod
    def _read(
        X: pd.DataFrame,
    ) -> tuple[list[Recipe], list[Viewing], list[str], list[str]]:
        if not hasattr(X, "columns"):
            raise DomainError(
                "The recipes are not a table.",
                expected="a DataFrame with columns ground, colour and schedule",
                got=type(X).__name__,
                remedy="give a DataFrame, one row a reading.",
            )
        recipes = recipes_of(X)

        def texts(name: str, usual: str) -> list[str]:
            if name not in X.columns:
                return [usual] * len(X)
            return [usual if empty(v) else str(v) for v in X[name]]

        lights = list(
            zip(
                texts("illuminant", "D65"),
                texts("observer", "10"),
                texts("geometry", "45:0"),
                strict=True,
            )
        )
        known = {light: Viewing(*light) for light in set(lights)}
        return (
            recipes,
            [known[light] for light in lights],
            texts("source", "spectrophotometer"),
            texts("sprayer", ""),
        )

    def predict(self, X: pd.DataFrame, *, return_cov: bool = False) -> Array | tuple[Array, Array]:
        """Predict Lab.

        Parameters
        ----------
        X : DataFrame
            As for `fit`; a row's ``source`` decides the reading noise.
        return_cov : bool
            Whether to return the covariance too.

        Returns
        -------
        lab : ndarray, shape (n, 3)
            CIELAB under each row's viewing.
        covariance : ndarray, shape (n, 3, 3)
            Of the reading of the *next panel sprayed*: what is not known of the law, what varies
            from panel to panel, and the reading's own noise.
        """
        check_is_fitted(self, "fitted_")
        recipes, viewings, sources, sprayers = self._read(X)
        if not return_cov:
            return self.predict_recipes(recipes, viewings)
        lab, known, spray, reading = self.predict_parts(
            recipes, viewings, sources=sources, sprayers=sprayers
        )
        return lab, known + spray + reading

    def predict_recipes(
        self, recipes: Sequence[Recipe], viewings: Sequence[Viewing] | Viewing | None = None
    ) -> Array:
        """Predict Lab of recipes.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each; the archive's own geometry under D65/10° if None.

        Returns
        -------
        ndarray, shape (n, 3)
            CIELAB.
        """
        views = self._views(recipes, viewings)
        reflectance = self._reflectance(recipes, views)
        lab = np.empty((len(recipes), 3))
        lights = [(v.illuminant, v.observer) for v in views]
        for light in set(lights):
            rows = np.array([x == light for x in lights])
            lab[rows], _ = lab_of(reflectance[rows], *light)
        return lab

    def predict_parts(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing] | Viewing | None = None,
        *,
        sources: Sequence[str] | str = "spectrophotometer",
        sprayers: Sequence[str] = (),
    ) -> tuple[Array, Array, Array, Array]:
        """Predict Lab of recipes, and where its uncertainty comes from.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each.
        sources : str or sequence of str
            How the next panel would be read.
        sprayers : sequence of str
            Who would spray; nobody known if empty.

        Returns
        -------
        lab : ndarray, shape (n, 3)
            CIELAB.
        known, spray, reading : ndarray, shape (n, 3, 3)
            Covariance by what more panels would remove, by the spread from panel to panel, by the
            reading's noise.
        """
        check_is_fitted(self, "fitted_")
        views = self._views(recipes, viewings)
        fit = self.fitted_
        table = RecipeTable.of(recipes, views, self.words_, sprayers)
        lab = np.empty((len(recipes), 3))
        known = np.empty((len(recipes), 3, 3))
        spray = np.empty((len(recipes), 3, 3))
        lights = [(v.illuminant, v.observer) for v in views]
        place = {light: i for i, light in enumerate(sorted(set(lights)))}
        view = np.array([place[light] for light in lights], np.intp)
        for light, i in place.items():
            for rows in np.array_split(np.flatnonzero(view == i), 1 + (view == i).sum() // 2000):
                if not len(rows):
                    continue
                part = table.take(rows)
                state = fit.law.evaluate(fit.z, part)
                lab[rows], by_r = lab_of(state.reflectance, *light)
                jacobian, effects = fit.law.jacobian(state, fit.z, part, by_r)
                known[rows] = jacobian @ fit.covariance @ jacobian.transpose(0, 2, 1)
                known[rows] *= self.doubt_
                spread = self._effect_spread(part)
                spray[rows] = np.einsum("nie,ne,nje->nij", effects, spread, effects)
                stray = by_r @ THIRDS * fit.sizes.effects[2]
                spray[rows] += stray @ stray.transpose(0, 2, 1)
        mottle, reading = self.noise_split_
        spray += np.eye(3) * mottle
        noise = np.array([reading[s] for s in _each(sources, lab)])
        return lab, known, spray, noise[:, None, None] * np.eye(3)

    @property
    def noise_split_(self) -> tuple[float, dict[str, float]]:
        """Variance a Lab axis of what no number explains on a panel, and of a reading by source."""
        noise = self.fitted_.sizes.noise
        mottle = max(noise[SPECTRO] ** 2 - self.reading_noise_[SPECTRO] ** 2, 1e-6)
        instrument = min(self.reading_noise_[SPECTRO] ** 2, noise[SPECTRO] ** 2)
        photo = max(noise[PHOTO] ** 2 - mottle, instrument)
        return mottle, {"spectrophotometer": instrument, "photo": photo}

    def _effect_spread(self, table: RecipeTable) -> Array:
        fit = self.fitted_
        spread = np.tile(fit.sizes.effects[:2] ** 2, (len(table), 1))
        if self.words_.sprayers:
            stranger = table.sprayer < 0
            spread[stranger, 0] += fit.sizes.groups[fit.law.groups.index("sprayer")] ** 2
        return spread

    def predict_spectrum(
        self, X: pd.DataFrame, *, return_flag: bool = False
    ) -> Array | tuple[Array, NDArray[np.bool_]]:
        """Predict reflectance.

        Parameters
        ----------
        X : DataFrame
            As for `fit`.
        return_flag : bool
            Whether to say which rows rest on Lab alone.

        Returns
        -------
        reflectance : ndarray, shape (n, 31)
            Reflectance 400-700 nm [-].
        lab_alone : ndarray of bool, shape (n,)
            True where the ground or the colour has no spectral reading: then many spectra would
            do, and this is the smoothest probable one.
        """
        check_is_fitted(self, "fitted_")
        recipes, viewings, *_ = self._read(X)
        spectrum = self._reflectance(recipes, viewings)
        if not return_flag:
            return spectrum
        return spectrum, self.rests_on_lab(recipes)

    def rests_on_lab(self, recipes: Sequence[Recipe]) -> NDArray[np.bool_]:
        """Return which recipes' spectra rest on Lab readings alone.

        Parameters
        ----------
        recipes : sequence of Recipe
            Of known names.

        Returns
        -------
        ndarray of bool, shape (n,)
            True where a part of it has no spectral reading.
        """
        flags = []
        for r in recipes:
            grounds = set(r.ground.shares) <= self.spectral_grounds_
            colours = r.colour is None or set(r.colour.shares) <= self.spectral_colours_
            flags.append(not (grounds and colours))
        return np.array(flags, bool)

    def _reflectance(self, recipes: Sequence[Recipe], views: Sequence[Viewing]) -> Array:
        check_is_fitted(self, "fitted_")
        table = RecipeTable.of(recipes, views, self.words_)
        fit = self.fitted_
        parts = [
            fit.law.evaluate(fit.z, table.take(slice(i, i + 4000))).reflectance
            for i in range(0, len(recipes), 4000)
        ]
        return np.concatenate(parts) if parts else np.zeros((0, len(GRID)))

    def _views(
        self, recipes: Sequence[Recipe], viewings: Sequence[Viewing] | Viewing | None
    ) -> Sequence[Viewing]:
        if viewings is None:
            viewings = Viewing(geometry=self.words_.geometries[0])
        return [viewings] * len(recipes) if isinstance(viewings, Viewing) else viewings

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
        _, viewings, sources, _ = self._read(X)
        seen = Observations.of(y, viewings, sources, np.full(len(X), np.nan))
        errors = delta_e00(seen.lab, np.asarray(self.predict(X)))
        return -float(
            np.average(errors, weights=None if sample_weight is None else np.asarray(sample_weight))
        )


def _each(sources: Sequence[str] | str, rows: Array) -> Sequence[str]:
    return [sources] * len(rows) if isinstance(sources, str) else sources


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
