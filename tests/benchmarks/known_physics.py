"""The floor of cards read on their way: the physics known, the noise of coats and readings not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from matchlib.correction import Belief
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Recipe
from tests.benchmarks.lightlab import Array, delta_e, spectrum_to_lab
from tests.benchmarks.one_card import UNSAID, Card, Way
from tests.benchmarks.strategies import shelf_recipes

__all__ = ["Floor"]

CARRIERS = (2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 20, 25, 30)
"""Parts of carrier to one of colour in the pots of coats on top, where the physics is known."""

POTS = 2
"""Pairs of ground and pot among which the floor chooses, the nearest ones."""

LEAST_SHARE, MOST_SHARE = 0.68, 0.82
"""Strength at the floor's first look, of the whole."""


@dataclass
class Floor(Way):
    """The booth's physics and today's pots are known; this card's film is read off its colour."""

    def __post_init__(self) -> None:
        self.shelf = shelf_recipes(self.archive)

    def card(
        self, card: Card, target: Array, learnt: Belief | None
    ) -> tuple[tuple[float, float], Belief | None, bool]:
        labs = self.shop.truth_labs(self.shelf, **card.today)  # type: ignore[arg-type]  # its words
        order = np.argsort(delta_e(labs, target))
        card.spray(self._start(order, card, target) if self.looks else self.shelf[order[0]])
        for left in range(self.looks - 1, -1, -1):
            read = np.array(card.look().lab)
            assert card.laid is not None
            film = self._film(card, read)
            keep = 0.93 if left else 1.0
            best = self._top_up(card, film, target, keep)
            if best is None:
                break
            card.spray(best)
        card.judged()
        return UNSAID, None, True

    def _start(self, order: Array, card: Card, target: Array) -> Recipe:
        """Coats up to the first look from which the best coats on top come nearest.

        Of those that come as near within a tenth, the one of about three quarters of the whole;
        other coats of the same strength may be of another hue.
        """
        wholes: dict[tuple[object, object], Recipe] = {}
        for i in order:
            wholes.setdefault((self.shelf[i].ground, self.shelf[i].colour), self.shelf[i])
        starts, shares = [], []
        for pot, whole in list(wholes.items())[:POTS]:
            for recipe in self.shelf:
                share = recipe.schedule.strength / whole.schedule.strength
                if (recipe.ground, recipe.colour) == pot and LEAST_SHARE <= share <= MOST_SHARE:
                    starts.append(recipe)
                    shares.append(share)
        made = [r for start in starts for r in self._longer(start)]
        labs = self.shop.truth_labs(made, **card.today)  # type: ignore[arg-type]  # its words
        away = delta_e(labs, target).reshape(len(starts), -1).min(axis=1)
        near = np.flatnonzero(away <= away.min() + 0.1)
        return starts[min(near, key=lambda i: abs(np.log(shares[i] / 0.75)))]

    def _film(self, card: Card, read: Array) -> Array:
        """Film of the coats so far, all alike, that is likeliest by what was read."""
        assert card.laid is not None
        tried = np.geomspace(0.7, 1.5, 81)
        clear = None if self.variant.uncleared else card.laid.recipe.clear
        recipe = replace(card.laid.recipe, clear=clear)
        noise, coats = self.shop.noise, max(len(card.laid.film), 1)
        instruments = self.shop.instruments
        usual = np.hypot(noise.film, noise.coat / np.sqrt(coats))
        photo = self.variant.looks_by == "photo"
        reading = np.hypot(noise.photo, noise.photo_bias) if photo else noise.lab
        lights = self._lights(card, [(recipe, f, 1.0) for f in tried])
        away = spectrum_to_lab(lights) - read
        # Which instrument reads is drawn anew, and the noise of its light; of dark cards that
        # leaves much open.
        draws = np.random.default_rng(0).normal(0.0, noise.reflectance, (50, lights.shape[1]))
        light = lights[len(tried) // 2]
        every = [gain * light + off + draws for gain, off in instruments.values()]
        # The ground's level shows in the reading as well: a hundredth of it is a third of an L*.
        variance = spectrum_to_lab(np.concatenate(every)).var(axis=0) + reading**2 + 0.3**2
        cost = (away**2 / variance).sum(axis=1) + (np.log(tried) / usual) ** 2
        return np.asarray(tried[int(np.argmin(cost))])

    def _top_up(self, card: Card, film: Array, target: Array, keep: float) -> Recipe | None:
        assert card.laid is not None
        have, more = card.laid.recipe, self._longer(card.laid.recipe)
        every = [(have, float(film), 1.0)] + [(r, float(film), 1.0 / keep) for r in more]
        at = int(np.argmin(delta_e(spectrum_to_lab(self._lights(card, every)), target)))
        return more[at - 1] if at else None

    def _longer(self, have: Recipe) -> list[Recipe]:
        """The same with coats on top."""
        assert have.schedule is not None
        steps = have.schedule.steps
        return [
            replace(have, schedule=CoatSchedule((*steps, CoatStep(n, MixRatio(c, 1)))))
            for n, c in product((1, 2, 3), CARRIERS)
        ]

    def _lights(self, card: Card, rows: Sequence[tuple[Recipe, float, float]]) -> Array:
        """Light of recipes whose coats are so much thicker, those to come once more, no noise."""
        assert card.laid is not None
        assert card.laid.recipe.schedule is not None
        laid = card.laid.recipe.schedule.coats
        ideal = []
        for recipe, film, extra in rows:
            coats = 0 if recipe.schedule is None else recipe.schedule.coats
            each = np.full(coats, film)
            each[laid:] *= extra
            ideal.append(
                replace(card.laid, recipe=recipe, film=each, dose=np.ones(coats), level=1.0)
            )
        return self.shop._light(ideal, "45:0")
