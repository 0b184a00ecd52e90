"""What a fitted film regression can say: Lab, spectra, and how sure it is.

Apart from the estimator, so that a fit that was kept can be used without loading what fitting
needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.domain import Recipe, Viewing
from matchlib.errors import FitError
from matchlib.regression.misses import THIRDS
from matchlib.regression.observe import PHOTO, SPECTRO, lab_of
from matchlib.regression.table import RecipeTable, Vocabulary, rows_of
from matchlib.tails import freedom_of

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression.solve import FittedLaw

__all__ = ["FilmPredictor"]

Array = NDArray[np.float64]


class FilmPredictor:
    """A fitted film regression.

    Made by `FilmRegressor.fit` or `load_fit`, never by hand.

    Attributes
    ----------
    fitted_ : FittedLaw
        The law with its values, their covariance and the sizes of noise.
    words_ : Vocabulary
        Grounds and colours seen.
    doubt_ : float
        Factor by which the covariance of the law's values is widened, from panels left out.
    freedom_ : float
        Degrees of freedom of that factor: from how many grounds it was learnt, less one.
    trust_ : ndarray
        Probability that each panel is what its back says, in the order of `panels_`.
    panels_ : ndarray of str
        Panel codes.
    reading_noise_ : dict
        Noise of a reading an axis by family, from repeats [ΔE*ab].
    spectral_grounds_, spectral_colours_ : set of str
        Names with spectral readings.
    n_features_in_ : int
        Columns of X.
    archive_hash_ : str
        Hash of the archive's content, for a fit that was loaded.
    versions_ : dict
        Versions of the libraries that made a fit that was loaded.
    """

    fitted_: FittedLaw
    words_: Vocabulary
    doubt_: float
    freedom_: float
    trust_: Array
    panels_: NDArray[np.str_]
    reading_noise_: dict[int, float]
    spectral_grounds_: set[str]
    spectral_colours_: set[str]
    n_features_in_: int
    archive_hash_: str
    versions_: dict[str, str]

    def check_fitted(self) -> None:
        """Refuse a regression that was never fitted.

        Raises
        ------
        FitError
            If it was not.
        """
        if not hasattr(self, "fitted_"):
            raise FitError(
                "This regression has not been fitted.",
                expected="a fit to readings first",
                got="a prediction before it",
                remedy="call fit, or load a fit that was kept.",
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
        if return_cov:
            return self.predict_readings(X)[:2]
        self.check_fitted()
        recipes, viewings, *_ = rows_of(X)
        return self.predict_recipes(recipes, viewings)

    def predict_readings(self, X: pd.DataFrame) -> tuple[Array, Array, Array]:
        """Predict the reading of the next panel sprayed: a Student's t.

        Parameters
        ----------
        X : DataFrame
            As for `predict`.

        Returns
        -------
        lab : ndarray, shape (n, 3)
            CIELAB under each row's viewing.
        covariance : ndarray, shape (n, 3, 3)
            As of `predict`.
        freedom : ndarray, shape (n,)
            Degrees of freedom, for `matchlib.tails.region`.
        """
        self.check_fitted()
        recipes, viewings, sources, sprayers = rows_of(X)
        lab, known, spray, reading = self.predict_parts(
            recipes, viewings, sources=sources, sprayers=sprayers
        )
        total = known + spray + reading
        return lab, total, self.freedom(known, total)

    def freedom(self, known: Array, total: Array) -> Array:
        """Return the degrees of freedom of predicted readings.

        Parameters
        ----------
        known : ndarray, shape (n, d, d)
            Covariance by what more panels would remove, as from `predict_parts`.
        total : ndarray, shape (n, d, d)
            Covariance of the reading.

        Returns
        -------
        ndarray, shape (n,)
            The fewer, the more of the spread is the law's own and the fewer grounds taught it.
        """
        self.check_fitted()
        return freedom_of(known, total, groups=self.freedom_)

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
        self.check_fitted()
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
                lab[rows], jacobian, own = self._slopes(table.take(rows), *light)
                known[rows] = jacobian @ fit.covariance @ jacobian.transpose(0, 2, 1)
                known[rows] *= self.doubt_
                spray[rows] = own @ own.transpose(0, 2, 1)
        mottle, reading = self.noise_split_
        spray += np.eye(3) * mottle
        noise = np.array([reading[s] for s in _each(sources, lab)])
        return lab, known, spray, noise[:, None, None] * np.eye(3)

    def predict_together(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing | None],
        *,
        source: str = "spectrophotometer",
        sprayers: Sequence[str] = (),
    ) -> tuple[Array, Array, Array, Array]:
        """Predict the readings of one panel under several viewings at once.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed, n of them.
        viewings : sequence of Viewing or None
            m of them, each recipe under all; None for D65/10° in the archive's own geometry.
        source : str
            How the next panel would be read.
        sprayers : sequence of str
            Who would spray, one a recipe; nobody known if empty.

        Returns
        -------
        labs : ndarray, shape (m, n, 3)
            CIELAB.
        known, spray, reading : ndarray, shape (n, 3 m, 3 m)
            Joint covariance: one law and one panel's film and ground are seen at every angle, so
            that what is wrong with them is wrong at all of them; its mottle and the reading's
            noise are each angle's own, and shared by lights under which one reading is judged.
        """
        self.check_fitted()
        fit, n, wide = self.fitted_, len(recipes), 3 * len(viewings)
        views = [v or Viewing(geometry=self.words_.geometries[0]) for v in viewings]
        tables = [RecipeTable.of(recipes, [v] * n, self.words_, sprayers) for v in views]
        labs = np.empty((len(viewings), n, 3))
        known, spray = np.empty((n, wide, wide)), np.empty((n, wide, wide))
        for rows in np.array_split(np.arange(n), 1 + n * len(viewings) // 2000):
            found = [
                self._slopes(t.take(rows), v.illuminant, v.observer)
                for t, v in zip(tables, views, strict=True)
            ]
            labs[:, rows] = [lab for lab, _, _ in found]
            jacobian = np.concatenate([j for _, j, _ in found], axis=1)
            own = np.concatenate([o for _, _, o in found], axis=1)
            known[rows] = self.doubt_ * (jacobian @ fit.covariance @ jacobian.transpose(0, 2, 1))
            spray[rows] = own @ own.transpose(0, 2, 1)
        mottle, reading = self.noise_split_
        geometry = np.array([v.geometry for v in views])
        alike = np.kron(geometry[:, None] == geometry[None, :], np.eye(3))
        spray += mottle * alike
        return labs, known, spray, np.tile(reading[source] * alike, (n, 1, 1))

    def _slopes(self, part: RecipeTable, *light: str) -> tuple[Array, Array, Array]:
        """Lab, its derivative by the law's values, and by each thing of a panel's own times sd."""
        fit = self.fitted_
        state = fit.law.evaluate(fit.z, part)
        lab, by_r = lab_of(state.reflectance, *light)
        jacobian, effects = fit.law.jacobian(state, fit.z, part, by_r)
        own = effects * np.sqrt(self._effect_spread(part))[:, None, :]
        stray = by_r @ THIRDS * fit.sizes.effects[2]
        return lab, jacobian, np.concatenate([own, stray], axis=2)

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
        self.check_fitted()
        recipes, viewings, *_ = rows_of(X)
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
        self.check_fitted()
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
        self.check_fitted()
        if viewings is None:
            viewings = Viewing(geometry=self.words_.geometries[0])
        return [viewings] * len(recipes) if isinstance(viewings, Viewing) else viewings


def _each(sources: Sequence[str] | str, rows: Array) -> Sequence[str]:
    return [sources] * len(rows) if isinstance(sources, str) else sources
