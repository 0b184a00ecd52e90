"""A sample that may itself have been sprayed from the shelf: by which pot, and what that tells.

A chance that supposes nothing of where a sample comes from counts all that is not known of the law.
Of a sample sprayed from the shelf it is known besides that one of its pots over one of its grounds
reads as the sample does, at some film. How likely each of them would have read so makes it, by
Bayes' rule, more or less likely to be the sample's own; and if it is, the sample tells of every
recipe what a test panel of that pot would. A recipe's chance is the mean over the pots.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Recipe, Viewing
from matchlib.linear import Together, together
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor
from matchlib.tails import chance_words, dof_of_panel, ninety_nine
from matchlib.target import Target

__all__ = ["ANY_FILM", "ONE_POT", "chances_of_own", "more_pots", "origins", "own_words", "shelf_of"]

Array = NDArray[np.float64]

ONE_POT = 3.0
"""Odds that a sample is of one pot, against a blend or two layers by which it is met as well: where
little is known, what a blend seems to mend is as often the law's own error (common practice, no
source)."""

ANY_FILM = 1.0
"""Spread of the log film of a sample about a recipe, where nobody knows its coats [-]."""

FILMS = 9
"""Films by which what a neat pot can make is followed from the weakest to the strongest."""

NEAREST = 60
"""Pots at one film that are thought of; those farther away made no such sample."""

WORTH = 0.002
"""Share of a pot below which it is left out [-]."""

WORTH_SAYING = 0.02
"""Chance that it must make that a sample is of the shelf [-]."""

Knows = Callable[[Sequence[Recipe], Sequence[Viewing]], Together]
"""What is known of recipes together under some viewings."""


def chances_of_own(
    model: FilmPredictor,
    recipes: Sequence[Recipe],
    target: Target,
    limits: Limits,
    *,
    knows: Knows | None = None,
) -> Array | None:
    """Return the chance of each recipe (n,) if the sample is of the shelf; None if it cannot be."""
    # knows: by what is believed today; by the fit alone if None.
    pots, n = _Pots.near(model, recipes, target, limits), len(recipes)
    there = (knows or partial(together, model))(
        [*recipes, *pots.recipes], target.views(model.usual_view)
    )
    some, made = there.take(slice(n)), there.take(slice(n, None))
    told = pots.told(made, target)
    if told is None:
        return None
    share, away, spread = told
    found, counted = np.zeros(n), 0.0
    for i in np.flatnonzero(share > WORTH):
        across = some.slope @ (some.covariance @ made.slope[i].T)
        gain = across @ np.linalg.inv(spread[i])
        moved = (gain @ away[i]).reshape(n, -1, 3).transpose(1, 0, 2)
        known = some.prediction.known - gain @ across.transpose(0, 2, 1)
        whole = known + some.prediction.own
        dof = dof_of_panel(known, whole, known_dof=some.prediction.known_dof)
        hope = target.expected(some.prediction.labs + moved, whole, dof)
        found += share[i] * hope.probability
        counted += share[i]
    return np.asarray(found / counted, float)


def origins(
    model: FilmPredictor,
    recipes: Sequence[Recipe],
    target: Target,
    limits: Limits,
    *,
    knows: Knows | None = None,
) -> dict[Recipe, float]:
    """Return how likely the sample is of each ground and pot, by its likeliest film; best first."""
    pots = _Pots.near(model, recipes, target, limits)
    there = (knows or partial(together, model))(pots.recipes, target.views(model.usual_view))
    told = pots.told(there, target)
    kinds: dict[object, Recipe] = {}
    found: dict[Recipe, float] = {}
    share = np.zeros(0) if told is None else told[0]
    for i in np.argsort(-share, kind="stable"):
        recipe = pots.recipes[i]
        pot = recipe.ground, recipe.colours
        likeliest = kinds.setdefault(pot, recipe)
        found[likeliest] = found.get(likeliest, 0.0) + float(share[i])
    return dict(sorted(found.items(), key=lambda one: -one[1]))


def own_words(stated: float, own: float | None) -> str:
    """Say what the chance is of a sample sprayed here; empty where it is none better."""
    if own is None or own <= stated + WORTH_SAYING:
        return ""
    return (
        "If the sample was itself sprayed from these grounds and colours, the chance is "
        f"{chance_words(own)}."
    )


class _Pots(NamedTuple):
    """What may have made a sample, k recipes: each stands for more or less film of it."""

    recipes: tuple[Recipe, ...]
    film: Array  # (k,), standard deviation of the log film about each [-]
    odds: Array  # (k,), how often each is sprayed against the others [-]

    @classmethod
    def near(
        cls, model: FilmPredictor, recipes: Sequence[Recipe], target: Target, limits: Limits
    ) -> _Pots:
        """The neat pots of the shelf at films that come near, and blends that are suggested."""
        neat = [(g, c) for g, c in product(*shelf_of(model, limits)) if g.neat and c.neat]
        schedules, apart = _films(limits)
        every = [Recipe(g, c, s, recipes[0].clear) for g, c in neat for s in schedules]
        near = np.zeros(0, np.intp)
        if every:
            labs = [model.predict_recipes(every, view) for view in target.viewings]
            near = np.argsort(target.difference(labs), kind="stable")[:NEAREST]
        kinds: dict[object, Recipe] = {}
        for r in recipes:
            if r.schedule is not None and more_pots(r):
                kinds.setdefault((r.ground.names, tuple(c.names for c in r.colours)), r)
        mixed = list(kinds.values())
        return cls(
            (*(every[i] for i in near), *mixed),
            np.repeat([apart, ANY_FILM], [len(near), len(mixed)]),
            np.append(np.ones(len(near)), [FILMS / ONE_POT ** more_pots(r) for r in mixed]),
        )

    def told(self, there: Together, target: Target) -> tuple[Array, Array, Array] | None:
        """How likely each is (k,), the sample's way from it (k, 3m), and of what spread that is."""
        by_film = there.film * self.film[:, None]
        spread = there.prediction.covariance + by_film[:, :, None] * by_film[:, None, :]
        spread = spread + target.covariance
        away = np.swapaxes(target.labs[:, None, :] - there.prediction.labs, 0, 1)
        away = away.reshape(len(self.recipes), -1)
        far = (away * np.linalg.solve(spread, away[:, :, None])[:, :, 0]).sum(axis=1)
        dof = dof_of_panel(there.prediction.known, spread, known_dof=there.prediction.known_dof)
        if not (far <= ninety_nine(away.shape[1], dof)).any():
            return None
        log = np.log(self.odds) - 0.5 * (far + np.linalg.slogdet(spread)[1])
        share = np.exp(log - log.max())
        return share / share.sum(), away, spread


def shelf_of(model: FilmPredictor, limits: Limits) -> tuple[tuple[Ground, ...], tuple[Colour, ...]]:
    """Return the grounds and colours at hand: the archive's where the limits name none."""
    grounds = limits.grounds or tuple(map(Ground.parse, model.words_.grounds))
    return grounds, limits.colours or tuple(map(Colour.parse, model.words_.colours))


def more_pots(recipe: Recipe) -> int:
    """Return how many more pots than one a recipe takes."""
    mixed = [recipe.ground, *recipe.colours]
    return sum(len(x.parts) > 1 for x in mixed) + len(recipe.layers) - 1


def _films(limits: Limits) -> tuple[list[CoatSchedule], float]:
    """Schedules from the weakest to the strongest, and the spread of film that each stands for."""
    ratios, coats = limits.ratios(), (limits.min_coats, limits.max_coats)
    low, high = float(ratios[0].fraction), float(ratios[-1].fraction)
    steps = np.linspace(np.log(low * coats[0]), np.log(high * coats[1]), FILMS)
    found = []
    for strength in np.exp(steps).tolist():
        count = int(np.clip(round(strength / np.sqrt(low * high)), *coats))
        ratio = MixRatio.of_fraction(float(np.clip(strength / count, low, high)), step=0.01)
        found.append(CoatSchedule.of(count, ratio))
    # So wide, the films overlap to an even density.
    return found, max(0.6 * float(steps[1] - steps[0]), 0.05)
