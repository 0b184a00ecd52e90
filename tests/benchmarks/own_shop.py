"""A shop such as the fit itself believes in: one of the laws that its archive leaves possible.

What is stated of its cards and what comes of them differ by nothing but arithmetic and counting,
and by what a target tells where nobody told the fit: that is the floor of a stated chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from matchlib.correction import Belief, Card
from matchlib.domain import Panel, Reading, Recipe, Viewing
from matchlib.errors import TargetError
from matchlib.target import Target
from tests.benchmarks.lightlab import Array

__all__ = ["Laid", "OwnShop"]

VIEW = Viewing(geometry="45:0")


@dataclass(frozen=True)
class Laid:
    """A card of it: the log film of every coat, its ground's log level, its mottle."""

    recipe: Recipe
    film: Array
    gun: float
    level: float
    mottle: Array


@dataclass(frozen=True)
class OwnShop:
    """Sprays and reads as `Layouts` does, by one law for all its cards."""

    card: Card
    values: Array

    @classmethod
    def drawn(cls, belief: Belief, about: Recipe, rng: np.random.Generator) -> OwnShop:
        """One of the shops that the fit believes in, where a recipe has a surface's colour."""
        card = Card.of(belief, about=about, viewings=[VIEW])
        while True:
            shop = cls(card, rng.multivariate_normal(belief.mean, belief.covariance))
            try:
                Target.lab(*shop.truth(about))
            except TargetError:  # taken as linear, the law goes on beyond black
                continue
            return shop

    def today(self, _: np.random.Generator) -> dict[str, Any]:
        """Nothing that its law does not hold already."""
        return {}

    def lay(self, recipe: Recipe, rng: np.random.Generator, *, heavy: float = 1.0) -> Laid:
        """Spray a card and do not read it yet."""
        k = len(self.values)
        gun, level, *mottle = rng.multivariate_normal(
            self.card.mean[k:], self.card.covariance[k:, k:]
        )
        bare = replace(recipe, schedule=None, colour=None)
        laid = Laid(bare, np.zeros(0), gun + float(np.log(heavy)), level, np.array(mottle))
        return self.build_on(laid, recipe, rng)

    def build_on(self, laid: Laid, recipe: Recipe, rng: np.random.Generator) -> Laid:
        """Spray the rest of a longer recipe."""
        coats = 0 if recipe.schedule is None else recipe.schedule.coats
        more = laid.gun + rng.normal(0.0, self.card.coat_sd, coats - len(laid.film))
        return replace(laid, recipe=recipe, film=np.append(laid.film, more))

    def spray(self, recipe: Recipe, rng: np.random.Generator) -> Panel:
        """Spray a card and read it once."""
        return self.read(self.lay(recipe, rng), rng)

    def read(self, laid: Laid, rng: np.random.Generator, *, reading: str = "lab") -> Panel:
        """Read a card once."""
        source = "photo" if reading == "photo" else "spectrophotometer"
        _, noise = self.card.before.model.noise_split_
        spread = self.card.placing + noise[source] * np.eye(3)
        lab = self._lab(laid) + rng.multivariate_normal(np.zeros(3), spread)
        at = Reading(
            VIEW, source=source, lab=(max(float(lab[0]), 0.0), float(lab[1]), float(lab[2]))
        )
        return Panel.of("card", laid.recipe, (at,))

    def truth(self, recipe: Recipe) -> Array:
        """Lab (3,) of a recipe without what differs from card to card."""
        return self.card.before.linear([recipe], VIEW, mean=self.values, slopes=False).lab[0]

    def _lab(self, laid: Laid) -> Array:
        film = 0.0
        if laid.recipe.schedule is not None:
            steps = laid.recipe.schedule.steps
            strength = np.repeat([float(s.ratio.fraction) for s in steps], [s.coats for s in steps])
            film = float(np.log(strength @ np.exp(laid.film) / strength.sum()))
        near = self.card.before.linear([laid.recipe], VIEW, mean=self.values, film=film)
        return np.asarray(near.lab[0] + near.ground[0] * laid.level + laid.mottle, float)
