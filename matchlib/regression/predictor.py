"""What a fitted film regression can say: Lab, spectra, and how sure it is.

Apart from the estimator, so that a fit that was kept can be used without loading what fitting
needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.lab import lab_jacobian
from matchlib.domain import Conditions, Recipe, Viewing
from matchlib.domain.reading import SOURCES
from matchlib.errors import DomainError
from matchlib.regression.frames import rows_of
from matchlib.regression.observe import PHOTO, SPECTRO
from matchlib.regression.parts import Linear, library_part, linear_at
from matchlib.regression.prediction import Prediction
from matchlib.regression.report import FitReport, report_of
from matchlib.regression.table import RecipeTable
from matchlib.tails import spread_by

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression.library import Process
    from matchlib.regression.reach import Experience
    from matchlib.regression.solve import FittedLaw
    from matchlib.regression.stacking import Stack
    from matchlib.regression.vocabulary import Vocabulary

__all__ = ["FilmPredictor"]

Array = NDArray[np.float64]

CHUNK = 2000
"""Recipes worked on at a time: bounds memory, not the result."""


class FilmPredictor:
    """A fitted film regression.

    Made by `FilmRegressor.fit` or `load_fit`, never by hand.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> demo_model().predict_recipes([recipe]).shape
    (1, 3)
    """

    fitted_: FittedLaw  # the law with its values, their covariance and the sizes of noise
    stack_: Stack  # what panels left out told, by kind of reach
    library_: Process | None  # the library's regression, where it has a share
    experience_: Experience  # what was sprayed, so that a recipe's reach is known
    conditions_: Conditions  # the latest sprayer, lots, batches, instrument and day
    trust_: dict[str, float]  # of each panel's back, the chance that it is right; 0 if left out
    unusual_: dict[tuple[str, str], str]  # names that the law cannot hold for, and why
    reading_noise_: float  # of an instrument's reading an axis, from repeats [ΔE*ab]
    photographed_: bool  # whether most of its readings are photographs
    spectral_: NDArray[np.bool_]  # (g + c,), names with spectral readings
    archive_hash_: str  # hash of the archive's content, for a fit that was loaded
    versions_: dict[str, str]  # and of the libraries that made it

    def check_fitted(self) -> None:
        """Refuse a regression that was never fitted, with scikit-learn's `NotFittedError`."""
        if not hasattr(self, "fitted_"):
            from matchlib.regression.unfitted import UnfittedError  # scikit-learn is slow

            raise UnfittedError

    @property
    def words_(self) -> Vocabulary:
        """Names seen."""
        return self.fitted_.law.words

    @property
    def usual_view(self) -> Viewing:
        """How the archive's panels are usually read: D65/10° in its first geometry."""
        self.check_fitted()
        return Viewing(geometry=self.words_.geometries[0])

    def under(self, conditions: Conditions) -> FilmPredictor:
        """Return the same fit, asked about other conditions.

        Parameters
        ----------
        conditions : Conditions
            Who sprays, from what, when; what is not said is the archive's latest.

        Returns
        -------
        FilmPredictor
            Whose predictions are of panels sprayed and read so.
        """
        self.check_fitted()
        other = copy(self)
        other.conditions_ = conditions.over(self.conditions_)
        return other

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
            from panel to panel, and the reading's own noise [ΔE*ab²].

        Raises
        ------
        NotFittedError
            If it was never fitted.
        UnknownName
            If a ground or colour is on no panel.
        DomainError
            If a row is no recipe, or is viewed or read as nothing can be.
        """
        if return_cov:
            found = self.predict_readings(X)
            return found.lab, found.covariance
        return self.predict_rows(*self._table_of(X))

    def predict_readings(self, X: pd.DataFrame) -> Prediction:
        """Predict the reading of the next panel sprayed of each row.

        Parameters
        ----------
        X : DataFrame
            As for `predict`.

        Returns
        -------
        Prediction
            n rows, each under its own viewing and conditions.
        """
        self.check_fitted()
        recipes, viewings, sources, said = rows_of(X)
        under = [c.over(self.conditions_) for c in said]
        return self.predict_each(recipes, viewings, sources=sources, conditions=under)

    def reach(self, recipes: Sequence[Recipe]) -> NDArray[np.intp]:
        """Return how far recipes reach beyond what was sprayed.

        Parameters
        ----------
        recipes : sequence of Recipe
            n of them.

        Returns
        -------
        ndarray of int, shape (n,)
            Place in `matchlib.regression.reach.KINDS`.
        """
        views = self.views(len(recipes), None)
        return self.experience_.kinds(RecipeTable.of(recipes, views, self.words_))

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

        Raises
        ------
        NotFittedError
            If it was never fitted.
        UnknownName
            If a ground or colour is on no panel.
        DomainError
            If there are not as many viewings as recipes.
        """
        views = self.views(len(recipes), viewings)
        table = RecipeTable.of(recipes, views, self.words_, self.conditions_)
        return self.predict_rows(table, views)

    def predict_rows(self, table: RecipeTable, views: Sequence[Viewing] | Viewing) -> Array:
        """Predict CIELAB (n, 3) of the rows of a table in the fit's vocabulary."""
        fit, lab = self.fitted_, np.empty((len(table), 3))
        lights = [(v.illuminant, v.observer) for v in self.views(len(table), views)]
        for light in set(lights):
            own = np.flatnonzero([x == light for x in lights])
            for rows in np.array_split(own, 1 + len(own) // CHUNK):
                some = table.take(rows)
                seen, _ = lab_jacobian(fit.law.evaluate(fit.z, some).reflectance, *light)
                share, gap, _ = library_part(self, some, seen, *light)
                lab[rows] = seen + share[:, None] * gap
        return lab

    def _table_of(self, X: pd.DataFrame) -> tuple[RecipeTable, list[Viewing]]:
        """A table of recipes under their own conditions, and how each is viewed."""
        self.check_fitted()
        recipes, views, _, said = rows_of(X)
        under = [c.over(self.conditions_) for c in said]
        return RecipeTable.of(recipes, views, self.words_, under), views

    def predict_each(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing] | Viewing | None = None,
        *,
        sources: Sequence[str] | str = "spectrophotometer",
        conditions: Conditions | Sequence[Conditions] | None = None,
    ) -> Prediction:
        """Predict the reading of the next panel of each recipe, one viewing each.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed, n of them.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each.
        sources : str or sequence of str
            How the next panel would be read.
        conditions : Conditions or sequence of Conditions, optional
            Who would spray, from what, when; the archive's latest if None.

        Returns
        -------
        Prediction
            With m = 1.
        """
        count = len(recipes)
        views = self.views(count, viewings)
        said = [sources] * count if isinstance(sources, str) else sources
        if conditions is None or isinstance(conditions, Conditions):
            conditions = [conditions or self.conditions_] * count
        each = list(zip(views, said, strict=True))
        parts, order = [], []
        for view, source in set(each) or {(self.usual_view, SOURCES[0])}:
            rows = [i for i, asked in enumerate(each) if asked == (view, source)]
            some, under = [recipes[i] for i in rows], [conditions[i] for i in rows]
            parts.append(self.predict_together(some, [view], source=source, conditions=under))
            order += rows
        return Prediction.joined(parts).take(np.argsort(order))

    def predict_together(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing | None],
        *,
        source: str = "spectrophotometer",
        conditions: Conditions | Sequence[Conditions] | None = None,
    ) -> Prediction:
        """Predict the readings of the next panel of each recipe, under several viewings at once.

        Parameters
        ----------
        recipes : sequence of Recipe
            What would be sprayed, n of them.
        viewings : sequence of Viewing or None
            m of them, each recipe under all; None for D65/10° in the archive's own geometry.
        source : str
            How the next panel would be read.
        conditions : Conditions or sequence of Conditions, optional
            Who would spray, from what, when; the archive's latest if None.

        Returns
        -------
        Prediction
            Joint: one law and one panel's film and ground are seen at every angle, so that what is
            wrong with them is wrong at all of them; its mottle and the reading's noise are each
            angle's own, and shared by lights under which one reading is judged.
        """
        self.check_fitted()
        views = [v or self.usual_view for v in viewings]
        under = conditions or self.conditions_
        tables = [RecipeTable.of(recipes, [v] * len(recipes), self.words_, under) for v in views]
        lights = [(v.illuminant, v.observer) for v in views]
        kinds = self.experience_.kinds(tables[0])
        parts = []
        for rows in np.array_split(np.arange(len(kinds)), 1 + len(kinds) * len(views) // CHUNK):
            each = [
                linear_at(self, t.take(rows), *light, own=True)
                for t, light in zip(tables, lights, strict=True)
            ]
            parts.append(self.told(each, kinds[rows], views, source=source))
        return Prediction.joined(parts)

    def noise_together(
        self, viewings: Sequence[Viewing], *, source: str = "spectrophotometer"
    ) -> tuple[Array, Array]:
        """Return the covariances (3 m, 3 m) of mottle and of the reading under m viewings."""
        mottle, reading = self.noise_split_
        geometry = np.array([v.geometry for v in viewings])
        alike = np.kron(geometry[:, None] == geometry[None, :], np.eye(3))
        return mottle * alike, reading[source] * alike

    def told(
        self,
        each: Sequence[Linear],
        kinds: NDArray[np.intp],
        views: Sequence[Viewing],
        *,
        source: str = "spectrophotometer",
    ) -> Prediction:
        """Return what linear views of some recipes, one a viewing, tell of their next panels."""
        own, jacobian, unseen, gap, variance = (
            np.concatenate([getattr(one, name) for one in each], axis=1)
            for name in ("own", "jacobian", "unseen", "gap", "variance")
        )
        share = np.repeat(np.stack([one.share for one in each], axis=1), 3, axis=1)
        known = spread_by(jacobian, self.fitted_.covariance)
        known *= self.stack_.inflation[kinds, None, None]
        known += unseen @ unseen.transpose(0, 2, 1)
        # Two that disagree: each one's own doubt by its share, and how far they are apart.
        law, apart = np.sqrt(1.0 - share), np.sqrt(share * (1.0 - share)) * gap
        known *= law[:, :, None] * law[:, None, :]
        known += apart[:, :, None] * apart[:, None, :]
        known += (share * variance)[:, :, None] * np.eye(share.shape[1])
        mottle, reading = self.noise_together(views, source=source)
        spray = self.stack_.spread[kinds, None, None] * (own @ own.transpose(0, 2, 1) + mottle)
        labs = np.stack([one.lab for one in each])
        noise = np.tile(reading, (len(kinds), 1, 1))
        return Prediction(labs, known, spray, noise, self.stack_.dof[kinds])

    @property
    def noise_split_(self) -> tuple[float, dict[str, float]]:
        """Variance a Lab axis of what no number explains on a panel, and of a reading by source."""
        noise, reading = self.fitted_.sizes.noise, self.reading_noise_
        mottle = max(noise[SPECTRO] ** 2 - reading**2, 1e-6)
        instrument = min(reading**2, noise[SPECTRO] ** 2)
        photo = max(noise[PHOTO] ** 2 - mottle, instrument)
        return mottle, {"spectrophotometer": instrument, "photo": photo}

    def report(self) -> FitReport:
        """Return what was learnt, and how far the fit is trusted.

        Returns
        -------
        FitReport
            In units, and the errors of panels left out by kind of reach [ΔE00].
        """
        return report_of(self)

    def predict_spectrum(self, X: pd.DataFrame) -> Array:
        """Predict reflectance; `rests_on_lab` says which spectra are but the smoothest probable.

        Parameters
        ----------
        X : DataFrame
            As for `fit`.

        Returns
        -------
        ndarray, shape (n, 31)
            Reflectance 400-700 nm [-].
        """
        table, _ = self._table_of(X)
        fit, every = self.fitted_, np.arange(len(table))
        parts = (table.take(rows) for rows in np.array_split(every, 1 + len(every) // CHUNK))
        return np.concatenate([fit.law.evaluate(fit.z, part).reflectance for part in parts])

    def rests_on_lab(self, recipes: Sequence[Recipe]) -> NDArray[np.bool_]:
        """Return which recipes' spectra rest on Lab readings alone.

        Parameters
        ----------
        recipes : sequence of Recipe
            n of them.

        Returns
        -------
        ndarray of bool, shape (n,)
            Whether a ground or colour of it was never read as a spectrum.
        """
        shown = RecipeTable.of(recipes, self.views(len(recipes), None), self.words_).shown
        return np.asarray((shown & ~self.spectral_).any(axis=1), np.bool_)

    def views(self, count: int, viewings: Sequence[Viewing] | Viewing | None) -> list[Viewing]:
        """Return one viewing a recipe, of one for all, one each, or None for the usual."""
        self.check_fitted()
        if viewings is None or isinstance(viewings, Viewing):
            return [viewings or self.usual_view] * count
        if len(viewings) != count:
            raise DomainError(
                "There are not as many viewings as recipes.",
                expected=f"{count}",
                got=f"{len(viewings)}",
                remedy="give one viewing for all, or one each.",
            )
        return list(viewings)
