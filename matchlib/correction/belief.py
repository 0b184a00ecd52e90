"""What is believed of the law and of today together, before and after panels were sprayed.

A joint Gaussian over the law's free values, today's film, each ground's level today, and today's
bias of reading. A panel's reading moves it by Bayes' rule; because the law is not linear, the step
is taken from the point it leads to, and again (the iterated extended Kalman filter: Bell and
Cathey 1993, which is Gauss and Newton's step for the most probable values). What one panel has for
itself (its film, its ground, its mottle) is noise beside the offset of the day. Whether the day is
an odd one is weighed by how likely the panels are on either kind; what is believed then is the
mixture of the two by its mean and covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.correction.posterior import posterior
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import Today
from matchlib.domain import Recipe, Viewing
from matchlib.linear import (
    Together,
    level_columns,
    linearise,
    panel_spread,
    values_covariance,
)
from matchlib.tails import block_diagonal, spread_by

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor, Prediction
    from matchlib.regression.parts import Linear

__all__ = ["Belief"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Belief:
    """Law and today, jointly. Predicts like the regression it came from.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    today : Today
        Spreads believed beforehand.
    mean : ndarray, shape (k,)
        Free values of the law (p), log film today, log level of each ground (g), Lab bias of
        today's instrument (3) and of today's photographs (3), and what no panel has told: how each
        ground scatters that was never sprayed on (g), what it throws at angles never read, towards
        the gloss, away from it and to all sides (3 g), and how far up and down between their parts
        grounds lie that were never blended (2) [standard deviations].
    covariance : ndarray, shape (k, k)
        Of these.
    panels : int
        Test panels learnt from.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> belief = Belief.of(demo_model())
    >>> after = belief.after([(recipe, belief.predict_recipes([recipe])[0])])
    >>> after.panels, after.film[1] < belief.film[1]
    (1, True)
    """

    model: FilmPredictor
    today: Today
    mean: Array
    covariance: Array
    panels: int = 0

    @classmethod
    def of(
        cls,
        model: FilmPredictor | Belief,
        today: Today | None = None,
        *,
        recipes: Sequence[Recipe] = (),
    ) -> Belief:
        """Return the belief before any test panel.

        Parameters
        ----------
        model : FilmPredictor or Belief
            Fitted; what is believed already stays as it is.
        today : Today, optional
            `Today.learnt` if None.
        recipes : sequence of Recipe
            What it will be asked about: how far that reaches decides how sure the law is.

        Returns
        -------
        Belief
            Today as the archive, give or take.
        """
        if isinstance(model, Belief):
            return model
        today = today or Today.learnt(model)
        p, g = len(model.fitted_.z), len(model.words_.grounds)
        mean = np.zeros(p + 1 + g + 6 + 4 * g + 2)
        mean[:p] = model.fitted_.z
        film = np.sqrt(today.film_variance)
        own = np.repeat([today.ground, today.bias, today.photo_bias, 1.0], [g, 3, 3, 4 * g + 2])
        sds = np.concatenate([[film], own])
        covariance = np.zeros((len(mean), len(mean)))
        covariance[:p, :p] = values_covariance(model, recipes)
        covariance[range(p, len(mean)), range(p, len(mean))] = sds**2
        return cls(model, today, mean, covariance)

    @property
    def size(self) -> int:
        """Free values of the law."""
        return len(self.model.fitted_.z)

    @property
    def usual_view(self) -> Viewing:
        """How the archive was read."""
        return self.model.usual_view

    @property
    def film(self) -> tuple[float, float]:
        """Today's log film against the archive's, and its standard deviation [-]."""
        p = self.size
        return float(self.mean[p]), float(np.sqrt(self.covariance[p, p]))

    def linear(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing] | Viewing | None = None,
        *,
        sources: Sequence[str] | str = "spectrophotometer",
        mean: Array | None = None,
        film: ArrayLike = 0.0,
        slopes: bool = True,
    ) -> Linear:
        """Return Lab as it would be read today, and its derivatives, about some values.

        Parameters
        ----------
        recipes : sequence of Recipe
            n recipes.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each.
        sources : str or sequence of str
            What reads them; photographs share a bias of their own.
        mean : ndarray, shape (k,), optional
            Values; the believed ones if None.
        film : array_like, shape () or (n,)
            Log film on top of today's [-].
        slopes : bool
            Whether derivatives are wanted.

        Returns
        -------
        Linear
            As `matchlib.linear.linearise`, but for `jacobian` (n, 3, k), which is by all values of
            this belief, those of `unseen` among them; empty without slopes.
        """
        x = self.mean if mean is None else mean
        p, g = self.size, len(self.model.words_.grounds)
        columns, sd = level_columns(self.model)
        z = x[:p].copy()
        z[columns] += x[p + 1 : p + 1 + g] / sd
        near = linearise(
            self.model,
            recipes,
            viewings,
            z=z,
            film=x[p] + np.asarray(film, float),
            slopes=slopes,
        )
        read_by = [sources] * len(recipes) if isinstance(sources, str) else sources
        photo = np.array([source == "photo" for source in read_by], np.intp)
        bias = p + 1 + g
        unseen = bias + 6
        lab = near.lab + x[bias:unseen].reshape(2, 3)[photo] + near.unseen @ x[unseen:]
        if not slopes:
            return near._replace(lab=lab)
        jacobian = np.zeros((len(recipes), 3, len(x)))
        jacobian[:, :, :p] = near.jacobian
        jacobian[:, :, p] = near.film
        jacobian[:, :, p + 1 : p + 1 + g] = near.jacobian[:, :, columns] / sd
        for axis in range(3):
            jacobian[np.arange(len(recipes)), axis, bias + 3 * photo + axis] = 1.0
        jacobian[:, :, unseen:] = near.unseen
        return near._replace(lab=lab, jacobian=jacobian)

    def own(self, recipes: Sequence[Recipe], views: Sequence[Viewing]) -> Array:
        """Return what a panel's own film and ground do to Lab (n, 3, 2), a standard deviation."""
        film, ground = panel_spread(self.model)
        near = self.linear(recipes, views)
        return np.stack([film * near.film, ground * near.ground], axis=2)

    def predict_recipes(
        self, recipes: Sequence[Recipe], viewings: Sequence[Viewing] | Viewing | None = None
    ) -> Array:
        """Predict Lab of recipes as they would be sprayed and read today.

        Parameters
        ----------
        recipes : sequence of Recipe
            n recipes.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each.

        Returns
        -------
        ndarray, shape (n, 3)
            CIELAB.
        """
        return self.linear(recipes, viewings, slopes=False).lab

    def predict_each(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing] | Viewing | None = None,
        *,
        sources: Sequence[str] | str = "spectrophotometer",
    ) -> Prediction:
        """Predict the reading of each recipe's next panel today, one viewing each.

        Parameters
        ----------
        recipes : sequence of Recipe
            n recipes.
        viewings : Viewing or sequence of Viewing, optional
            One for all, or one each.
        sources : str or sequence of str
            How the next panel would be read.

        Returns
        -------
        Prediction
            As `FilmPredictor.predict_each`; what is not known of today is in `known`. Test panels
            make that less, and do not tell anew how far the law may be off: its degrees of
            freedom stay.
        """
        near = self.linear(recipes, viewings, sources=sources)
        usual = self.model.predict_each(recipes, viewings, sources=sources)
        known = spread_by(near.jacobian, self.covariance)
        return replace(usual, labs=near.lab[None], known=known)

    def predict_together(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing | None],
        *,
        source: str = "spectrophotometer",
    ) -> Prediction:
        """Predict each recipe's next panel today, under several viewings at once.

        Parameters
        ----------
        recipes : sequence of Recipe
            n recipes.
        viewings : sequence of Viewing or None
            m of them, each recipe under all; None for D65/10° in the archive's own geometry.
        source : str
            How the next panel would be read.

        Returns
        -------
        Prediction
            As `FilmPredictor.predict_together`, of today.
        """
        return self.together(recipes, viewings, source=source).prediction

    def together(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing | None],
        *,
        source: str = "spectrophotometer",
    ) -> Together:
        """Return what is not known of recipes, and what of it they share."""
        found = [self.linear(recipes, view, sources=source) for view in viewings]
        jacobian = np.concatenate([near.jacobian for near in found], axis=1)
        film = np.concatenate([near.film for near in found], axis=1)
        usual = self.model.predict_together(recipes, viewings, source=source)
        labs = np.stack([near.lab for near in found])
        there = replace(usual, labs=labs, known=spread_by(jacobian, self.covariance))
        return Together(there, jacobian, self.covariance, film)

    def finished(self, panel: Sprayed) -> list[Array]:
        """Return what a panel's readings come to once its clear coat is on.

        Parameters
        ----------
        panel : Sprayed
            As it was read.

        Returns
        -------
        list of ndarray, shape (3,)
            CIELAB under each of its viewings: as read, and what the clear coat does on top.
        """
        labs = [np.array(view.lab) for view in panel.views]
        if not panel.clear_to_come:
            return labs
        views = [view.viewing for view in panel.views]
        under = self.predict_recipes([panel.recipe] * len(views), views)
        bare = self.predict_recipes([panel.read_as] * len(views), views)
        return [lab + shift for lab, shift in zip(labs, under - bare, strict=True)]

    def after(self, tried: Sequence[Sprayed | tuple[Any, ...]]) -> Belief:
        """Return the belief after test panels of today.

        Parameters
        ----------
        tried : sequence
            ``(recipe, reading)``, ``(recipe, readings)`` of one panel under several viewings, or
            ``(recipe, Lab[, viewing])`` each.

        Returns
        -------
        Belief
            Sharper.
        """
        panels = [Sprayed.of(t) for t in tried]
        if not panels:
            return self
        rows = [view for panel in panels for view in panel.views]
        recipes, views = [r.read_as for r in rows], [r.viewing for r in rows]
        sources = [r.source for r in rows]
        usual = self.model.predict_each(recipes, views, sources=sources)
        read = [
            usual.reading[i] if row.covariance is None else row.covariance
            for i, row in enumerate(rows)
        ]
        noise = block_diagonal(usual.spray + read)
        if len(rows) > len(panels):
            noise += self._shared([len(p.views) for p in panels], recipes, views)
        seen = np.array([r.lab for r in rows]).ravel()

        def law(x: Array) -> tuple[Array, Array]:
            near = self.linear(recipes, views, sources=sources, mean=x)
            return near.lab.ravel(), near.jacobian.reshape(len(seen), -1)

        kinds = []
        for share, start in self.days():
            found = posterior(self.mean, start, law, seen, noise)
            kinds.append((np.log(share) + found.evidence, found))
        weight = np.exp(np.array([w for w, _ in kinds]) - max(w for w, _ in kinds))
        weight /= weight.sum()
        mean = np.sum([w * f.mean for w, (_, f) in zip(weight, kinds, strict=True)], axis=0)
        covariance = np.zeros_like(self.covariance)
        for w, (_, found) in zip(weight, kinds, strict=True):
            away = found.mean - mean
            covariance += w * (found.covariance + np.outer(away, away))
        return replace(self, mean=mean, covariance=covariance, panels=self.panels + len(panels))

    def days(self) -> list[tuple[float, Array]]:
        """Return each kind of day that today may be.

        Returns
        -------
        list of (float, ndarray)
            Probability, and the covariance beforehand; one once a panel was learnt from.
        """
        if self.panels:
            return [(1.0, self.covariance)]
        result = []
        for share, sd in self.today.days:
            if share > 0:
                start = self.covariance.copy()
                start[self.size, self.size] = sd**2
                result.append((share, start))
        return result

    def _shared(
        self, counts: Sequence[int], recipes: Sequence[Recipe], views: Sequence[Viewing]
    ) -> Array:
        """What a panel's own film and ground do to its readings together, off the diagonal."""
        effects = self.own(recipes, views).reshape(-1, 2)
        owner = np.repeat(np.repeat(np.arange(len(counts)), counts), 3)
        reading = np.repeat(np.arange(len(views)), 3)
        same = (owner[:, None] == owner) & (reading[:, None] != reading)
        return np.asarray((effects @ effects.T) * same)
