"""What is believed of one card: the law, today, and what the card got for itself.

A card is sprayed in stages and may be read after each. Its film as the gun was set, its ground, its
haze and half of its mottle are its own and stay with it; every stage has a little more or less film
of its own coats. All of them and the law are one Gaussian, which each reading moves by Bayes' rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from matchlib.correction.belief import Belief
from matchlib.correction.posterior import posterior
from matchlib.correction.scoring import places_of
from matchlib.correction.sprayed import Sprayed
from matchlib.domain import Recipe, Viewing
from matchlib.linear import Together, panel_spread
from matchlib.regression import Prediction
from matchlib.tails import block_diagonal, spread_by
from matchlib.target import Target

__all__ = ["Card"]

Array = NDArray[np.float64]

PLACED = 0.5
"""Share of a panel's mottle that is another wherever the instrument is put down again (common
practice, no source)."""

USUAL = 4
"""Coats of the panels from which the spread of film was learnt (common practice, no source)."""


@dataclass(frozen=True)
class Card:
    """One card and what is believed of it.

    Parameters
    ----------
    before : Belief
        Before this card, after the others of today.
    stages : tuple of Sprayed
        As read so far, in order; none for a card not begun.
    viewings : tuple of Viewing
        Under which it is read, v of them.
    mean : ndarray, shape (k,)
        The belief's values, the card's own log film as the gun is set, its ground's log level, its
        mottle at each viewing (3 v), and the log film of each stage's coats about that.
    covariance : ndarray, shape (k, k)
        Of these.
    known : ndarray, shape (k, k)
        The part of it by errors that the belief had before the card was read.
    placing : ndarray, shape (3 v, 3 v)
        Covariance of mottle that is another at every reading.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "2@6:1")
    >>> belief = Belief.of(demo_model())
    >>> card = Card.of(belief, [Sprayed.of((recipe, belief.predict_recipes([recipe])[0]))])
    >>> print(card.stages[-1].recipe)
    cherry over silver, 2@6:1
    """

    before: Belief
    stages: tuple[Sprayed, ...]
    viewings: tuple[Viewing, ...]
    mean: Array
    covariance: Array
    known: Array
    placing: Array

    @classmethod
    def of(
        cls,
        before: Belief,
        stages: Sequence[Sprayed] = (),
        *,
        about: Recipe | None = None,
        viewings: Sequence[Viewing] = (),
    ) -> Card:
        """Return what is believed of a card.

        Parameters
        ----------
        before : Belief
            Before this card.
        stages : sequence of Sprayed
            Its readings, one a stage, in order.
        about : Recipe, optional
            What it is to become; needed for a card not begun, else the last stage's.
        viewings : sequence of Viewing
            Under which it will be read, besides those under which it was.

        Returns
        -------
        Card
            After all its readings.
        """
        seen = [view.viewing for stage in stages for view in stage.views]
        views = tuple(dict.fromkeys([*seen, *viewings]))
        recipe = about if about is not None else stages[-1].read_as
        _, ground = panel_spread(before.model)
        k, wide = len(before.mean), 3 * len(views)
        covariance = np.zeros((k + 2 + wide, k + 2 + wide))
        covariance[:k, :k] = before.covariance
        known = covariance.copy()
        covariance[k, k], covariance[k + 1, k + 1] = _coat_sd(before) ** 2, ground**2
        # What is another wherever the card is read is mottle; haze and the like stay with it.
        placed = PLACED * before.model.noise_split_[0]
        covariance[k + 2 :, k + 2 :] = _own(before, recipe, views, placed=placed)
        mean = np.append(before.mean, np.zeros(2 + wide))
        begun = cls(before, (), views, mean, covariance, known, placed * np.eye(wide))
        return begun.read(stages) if stages else begun

    @cached_property
    def laid(self) -> Array:
        """Strength and coats that each stage added, shape (2, s)."""
        return _added(self.stages)

    @property
    def learnt(self) -> Belief:
        """What is believed of the law and of today after this card."""
        k = len(self.before.mean)
        mean, covariance = self.mean[:k], self.covariance[:k, :k]
        panels = self.before.panels + bool(self.stages)
        return replace(self.before, mean=mean, covariance=covariance, panels=panels)

    @property
    def film(self) -> tuple[float, float]:
        """Log film of this card against the archive's, and its standard deviation [-]."""
        p, k = self.before.size, len(self.before.mean)
        pick = np.zeros(len(self.mean))
        pick[[p, k]] = 1.0
        laid, _ = self.laid
        if len(laid) and laid.sum() > 0:
            pick[len(pick) - len(laid) :] = laid / laid.sum()
        return float(pick @ self.mean), float(np.sqrt(pick @ self.covariance @ pick))

    def together(
        self,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing],
        *,
        source: str = "spectrophotometer",
    ) -> Together:
        """Return what recipes would read on this card, and what of it is believed of the card.

        Parameters
        ----------
        recipes : sequence of Recipe
            All that would be on it, n of them.
        viewings : sequence of Viewing
            m of the card's own.
        source : str
            What would read it.

        Returns
        -------
        Together
            Of the card's values; in `spray` what it has for itself, and the film of the coats that
            are still to be laid, in `reading` also the mottle that is another at every reading.
        """
        k, wide = len(self.before.mean), 3 * len(self.viewings)
        n, m = len(recipes), len(viewings)
        laid, sprayed = self.laid
        strength = np.array([r.strength for r in recipes])
        coats = np.array([r.coats for r in recipes])
        more = np.maximum(strength - laid.sum(), 0.0)
        gun, own = self.mean[k], self.mean[k + 2 + wide :]
        old = laid * np.exp(own)
        whole = np.maximum(old.sum() + more, 1e-12)
        film = np.where(
            strength > 0, gun + np.log(whole / np.maximum(laid.sum() + more, 1e-12)), gun
        )
        each = self._linear(
            list(recipes) * m,
            [v for v in viewings for _ in recipes],
            [source] * (n * m),
            mean=self.mean,
            film=np.tile(film, m),
            part=np.tile(old[None, :] / whole[:, None], (m, 1)),
        )
        labs, *rest = (x.reshape(m, n, *x.shape[1:]) for x in each)
        slope, by_film = (np.concatenate(list(x), axis=1) for x in rest)
        known = spread_by(slope, self.known)
        fresh = self.coat_sd / np.sqrt(np.maximum(coats - sprayed.sum(), 1.0)) * more / whole
        new = by_film * fresh[:, None]
        spray = spread_by(slope, self.covariance) - known + new[:, :, None] * new[:, None, :]
        model = self.before.model
        places = np.concatenate([3 * self.viewings.index(v) + np.arange(3) for v in viewings])
        reading = model.noise_together(viewings, source=source)[1]
        reading = np.broadcast_to(reading + self.placing[np.ix_(places, places)], spray.shape)
        known_dof = model.stack_.dof[model.reach(recipes)]
        there = Prediction(labs, known, spray, reading, known_dof)
        return Together(there, slope, self.covariance, by_film)

    def viewed(self, goal: Target) -> list[Viewing]:
        """Return those of the card's own viewings that answer each aim of a target.

        Parameters
        ----------
        goal : Target
            What is to be matched.

        Returns
        -------
        list of Viewing
            One an aim.

        Raises
        ------
        TargetError
            If the card was not read as the target was.
        """
        last = self.stages[-1]
        places = places_of(goal, last, self.before.model.usual_view)
        return [last.views[place].viewing for place in places]

    @property
    def coat_sd(self) -> float:
        """Standard deviation of the log film as the gun is set, and of one coat about it [-]."""
        return _coat_sd(self.before)

    def _linear(
        self,
        recipes: Sequence[Recipe],
        views: Sequence[Viewing],
        sources: Sequence[str],
        *,
        mean: Array,
        film: Array,
        part: Array,
    ) -> tuple[Array, Array, Array]:
        """Lab on this card (r, 3), by its values (r, 3, k), and by the log film of the whole."""
        # film (r,): log by which it is more than is meant; part (r, s): of it by each stage.
        k, wide = len(self.before.mean), 3 * len(self.viewings)
        near = self.before.linear(recipes, views, sources=sources, mean=mean[:k], film=film)
        place = np.array([[k + 2 + 3 * self.viewings.index(view)] for view in views]) + np.arange(3)
        slope = np.zeros((len(recipes), 3, len(mean)))
        slope[:, :, :k] = near.jacobian
        slope[:, :, k], slope[:, :, k + 1] = near.film, near.ground
        slope[np.arange(len(recipes))[:, None], np.arange(3), place] = 1.0
        slope[:, :, k + 2 + wide :] = near.film[:, :, None] * part[:, None, :]
        # The card's own ground is so near 1 that its slope is its law.
        return near.lab + near.ground * mean[k + 1] + mean[place], slope, near.film

    def read(self, stages: Sequence[Sprayed]) -> Card:
        """Return a card not read yet as it is after its readings, one a stage, in order."""
        k, wide, size = len(self.before.mean), 3 * len(self.viewings), len(self.mean)
        laid, coats = _added(stages)
        mean = np.append(self.mean, np.zeros(len(stages)))
        covariance = np.diag(np.append(np.zeros(size), self.coat_sd**2 / np.maximum(coats, 1.0)))
        covariance[:size, :size] = self.covariance
        rows = [(i, view) for i, stage in enumerate(stages) for view in stage.views]
        recipes, views = [v.read_as for _, v in rows], [v.viewing for _, v in rows]
        _, usual = self.before.model.noise_split_
        each = [
            usual[v.source] * np.eye(3) if v.covariance is None else v.covariance for _, v in rows
        ]
        noise = block_diagonal(each)
        under = np.array([[j <= i for j in range(len(laid))] for i, _ in rows], float)
        for i, view in enumerate(views):
            at = 3 * self.viewings.index(view)
            own = slice(3 * i, 3 * i + 3)
            noise[own, own] += self.placing[at : at + 3, at : at + 3]
        seen = np.array([v.lab for _, v in rows]).ravel()

        def law(x: Array) -> tuple[Array, Array]:
            film = under * laid * np.exp(x[k + 2 + wide :])
            whole = np.maximum(film.sum(axis=1), 1e-12)
            meant = np.maximum(under @ laid, 1e-12)
            lab, slope, _ = self._linear(
                recipes,
                views,
                [v.source for _, v in rows],
                mean=x,
                film=x[k] + np.log(whole / meant),
                part=film / whole[:, None],
            )
            return lab.ravel(), slope.reshape(len(seen), -1)

        found = posterior(mean, covariance, law, seen, noise)
        left = found.left[:, :k]
        known = left @ self.before.covariance @ left.T
        stages = tuple(stages)
        return replace(
            self, stages=stages, mean=found.mean, covariance=found.covariance, known=known
        )


def _coat_sd(before: Belief) -> float:
    return float(panel_spread(before.model)[0] / np.sqrt(1.0 + 1.0 / USUAL))


def _added(stages: Sequence[Sprayed]) -> Array:
    """Strength and coats (2, s) that each stage added."""
    total = [(stage.recipe.strength, stage.recipe.coats) for stage in stages]
    return np.diff(np.array(total, float).reshape(-1, 2).T, prepend=0.0)


def _own(before: Belief, recipe: Recipe, views: Sequence[Viewing], *, placed: float) -> Array:
    """Covariance of what film, ground and the place that is read do not explain of a card."""
    recipes = [recipe] * len(views)
    spray, effects = before.model.predict_each(recipes, views).spray, before.own(recipes, views)
    rest = spray - effects @ effects.transpose(0, 2, 1) - placed * np.eye(3)
    size, axes = np.linalg.eigh(rest)
    rest = (axes * np.maximum(size, 1e-6)[:, None, :]) @ axes.transpose(0, 2, 1)
    return block_diagonal(rest)
