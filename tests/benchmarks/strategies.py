"""Ways to choose the next test panel for a target: what a person or a program would spray.

A strategy is asked ``propose(archive, target, tried)`` before every panel: the archive's panels,
the target's Lab, and what was sprayed for it so far as (recipe, Lab as read). It may keep what it
learnt of an archive, and must not look at the simulator.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import product
from typing import Protocol

import numpy as np
import pandas as pd
from sklearn.gaussian_process import GaussianProcessRegressor

from matchlib.correction import Belief, learn
from matchlib.correction.scoring import likeliest
from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Panel, Recipe
from matchlib.regression import FilmRegressor
from matchlib.target import Target
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import Array, delta_e
from tests.benchmarks.panels import labs, to_frame
from tests.benchmarks.rivals import gaussian_process

__all__ = ["STRATEGIES", "Oracle", "Strategy", "Tried", "fitted", "shelf_recipes"]

Tried = list[tuple[Recipe, Array]]

CARRIER = tuple(Fraction(n, 2) for n in range(4, 21))  # 2:1 to 10:1 by half parts, as a cup shows
COATS = range(1, 9)


@lru_cache(maxsize=8)  # several ways are tried on one archive
def fitted(archive: tuple[Panel, ...]) -> FilmRegressor:
    """The film regression of an archive."""
    return FilmRegressor().fit(*to_frame(archive))


class Strategy(Protocol):
    """Chooses the next panel."""

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        """Return the recipe to spray next."""
        ...


def shelf_recipes(archive: Sequence[Panel]) -> list[Recipe]:
    """Every neat one-step recipe of the archive's neat grounds and colours."""
    grounds = sorted({p.recipe.ground for p in archive if p.recipe.ground.neat}, key=str)
    found = {p.recipe.colour for p in archive if p.recipe.colour is not None}
    colours = sorted((c for c in found if c.neat), key=str)
    made = [CoatSchedule.of(n, MixRatio(c, Fraction(1))) for n, c in product(COATS, CARRIER)]
    return [Recipe(g, c, s, "yes") for g, c, s in product(grounds, colours, made)]


class _PerArchive:
    """Keeps what was learnt of the archive last seen."""

    _archive: Sequence[Panel] | None = None

    def _learn(self, archive: Sequence[Panel]) -> None:
        raise NotImplementedError

    def _see(self, archive: Sequence[Panel]) -> None:
        if archive is not self._archive:
            self._learn(archive)
            self._archive = archive


class Nearest(_PerArchive):
    """The archive's nearest panel, then one factor at a time from the best so far."""

    def _learn(self, archive: Sequence[Panel]) -> None:
        self.panels = [p for p in archive if not p.recipe.bare]
        self.labs = labs(self.panels)
        bare = [p for p in archive if p.recipe.bare]
        light = dict(zip([p.recipe.ground for p in bare], labs(bare)[:, 0], strict=True))
        self.grounds = sorted(light, key=lambda g: float(light[g]))

    def _moves(self, recipe: Recipe, lighter: bool) -> list[Recipe]:
        """One coat, one ratio step, then the next ground, towards lighter or darker first."""
        assert recipe.schedule is not None
        step = recipe.schedule.steps[0]
        carrier = step.ratio.carrier / step.ratio.colour
        at = self.grounds.index(recipe.ground)
        ways = (-1, 1) if lighter else (1, -1)
        made = []
        for way in ways:
            made += [(recipe.ground, step.coats + way, carrier)]
            made += [(recipe.ground, step.coats, carrier - way)]
            if 0 <= at - way < len(self.grounds):
                made += [(self.grounds[at - way], step.coats, carrier)]
        return [
            Recipe(g, recipe.colour, CoatSchedule.of(n, MixRatio(c, Fraction(1))), recipe.clear)
            for g, n, c in made
            if n in COATS and Fraction(1) <= c <= 12
        ]

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        self._see(archive)
        order = np.argsort(delta_e(self.labs, target))
        if not tried:
            return self.panels[order[0]].recipe
        done = {recipe for recipe, _ in tried}
        for recipe, lab in sorted(tried, key=lambda t: float(delta_e(t[1], target))):
            for move in self._moves(recipe, lighter=bool(lab[0] < target[0])):
                if move not in done:
                    return move
        return next(self.panels[i].recipe for i in order if self.panels[i].recipe not in done)


class ProcessOnLab(_PerArchive):
    """A Gaussian process on Lab, kernel learnt on the archive, with expected improvement of ΔE00.

    Stronger than a process on ΔE00 itself, since what it learns does not depend on the target.
    """

    def _learn(self, archive: Sequence[Panel]) -> None:
        self.recipes = shelf_recipes(archive)
        X, y = to_frame(archive)
        self.rival = gaussian_process().fit(X, y)
        self.known = self.rival.features_(X), y
        self.numbers = self.rival.features_(_table(self.recipes))
        self.draws = np.random.default_rng(0).normal(size=(32, 1, 3))
        self.models = self.rival.model_.models_

    def _predict(self, tried: Tried) -> tuple[Array, Array]:
        scale = self.rival.model_.scale_
        inputs, y = self.known
        if tried:
            inputs = np.vstack([inputs, self.rival.features_(_table(r for r, _ in tried))])
            y = np.vstack([y, [lab for _, lab in tried]])
        means, sds = [], []
        for axis, learnt in enumerate(self.models):
            model = learnt
            if tried:
                model = GaussianProcessRegressor(learnt.kernel_, optimizer=None, normalize_y=True)
                model.fit(scale.transform(inputs), y[:, axis])
            mean, sd = model.predict(scale.transform(self.numbers), return_std=True)
            means.append(mean)
            sds.append(sd)
        return np.stack(means, axis=1), np.stack(sds, axis=1)

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        self._see(archive)
        mean, sd = self._predict(tried)
        errors = delta_e(mean + self.draws * sd, target)
        readings = [lab for _, lab in tried] or list(self.known[1])
        best = float(np.min(delta_e(np.array(readings), target)))
        gain = np.maximum(best - errors, 0.0).mean(axis=0)
        return self.recipes[int(np.argmax(gain))]


class FilmOnly(_PerArchive):
    """The film regression's best, then its next best by other coats, ground or colour."""

    def _learn(self, archive: Sequence[Panel]) -> None:
        self.recipes = shelf_recipes(archive)
        self.lab = fitted(tuple(archive)).predict_recipes(self.recipes)

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        self._see(archive)
        used = {_family(recipe) for recipe, _ in tried}
        for i in np.argsort(delta_e(self.lab, target)):
            if _family(self.recipes[i]) not in used:
                return self.recipes[i]
        raise RuntimeError("every family of recipes was tried")


class Corrected(_PerArchive):
    """Sprays what is likeliest to pass, and corrects by every panel's reading.

    As at the bench: what comes first is the search's, by the archive alone; what today is like is
    asked only once a panel of today has been read.
    """

    def _learn(self, archive: Sequence[Panel]) -> None:
        self.recipes = shelf_recipes(archive)
        self.belief = Belief.of(fitted(tuple(archive)))

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        self._see(archive)
        seen = [(recipe, tuple(lab)) for recipe, lab in tried]
        knows = learn(self.belief, seen)[0] if seen else self.belief.model
        found = likeliest(knows, self.recipes, Target.lab(*target))
        return max(found, key=lambda one: (one.probability, -one.expected)).recipe


class Oracle(_PerArchive):
    """Knows the booth's physics but not its noise: the floor that nobody gets below."""

    def __init__(self, shop: Layouts) -> None:
        self.shop = shop

    def _learn(self, archive: Sequence[Panel]) -> None:
        self.recipes = shelf_recipes(archive)
        self.lab = self.shop.truth_labs(self.recipes)

    def propose(self, archive: Sequence[Panel], target: Array, tried: Tried) -> Recipe:
        self._see(archive)
        return self.recipes[int(np.argmin(delta_e(self.lab, target)))]


def _table(recipes: Iterable[Recipe]) -> pd.DataFrame:
    return pd.DataFrame([recipe.cells for recipe in recipes])


def _family(recipe: Recipe) -> tuple[Ground, Colour | None, int]:
    return recipe.ground, recipe.colour, 0 if recipe.schedule is None else recipe.schedule.coats


STRATEGIES: dict[str, Callable[[], Strategy]] = {
    "corrected": Corrected,
    "nearest": Nearest,
    "gp": ProcessOnLab,
    "film": FilmOnly,
}
