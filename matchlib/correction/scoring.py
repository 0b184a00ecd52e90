"""Which recipe is most likely to be within tolerance on the next panel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from matchlib.correction.sprayed import Sprayed
from matchlib.domain import Recipe, Viewing
from matchlib.errors import TargetError
from matchlib.mixing import Limits
from matchlib.outcome import Outcome, outcomes
from matchlib.sample import chances_of_own
from matchlib.target import Target

if TYPE_CHECKING:
    from matchlib.correction.belief import Belief
    from matchlib.regression import FilmPredictor

__all__ = ["Scored", "best_of", "likeliest", "nearest", "places_of", "with_own"]

WORTH_A_CHANGE = 0.02
"""Probability that one thing changed less is worth [-]."""

SHORTLIST = 120
"""Recipes looked at closely: those whose expected colour is nearest."""


@dataclass(frozen=True)
class Scored(Outcome):
    """A recipe that may be sprayed next, beside what `Outcome` holds."""

    words: str  # what to do
    # things changed against the panel just sprayed; 0 for the same again or where there is none
    changes: int = 0
    own: float | None = None  # chance if the sample itself was sprayed from the shelf [-]


def likeliest(
    predictor: FilmPredictor | Belief,
    recipes: Sequence[Recipe],
    target: Target,
    *,
    shortlist: int = SHORTLIST,
) -> list[Outcome]:
    """Return what to expect of the nearest recipes, the likeliest to pass an instrument first."""
    if not len(recipes):
        return []
    some = nearest(predictor, recipes, target)[:shortlist]
    there = predictor.predict_together(some, target.viewings)
    found = outcomes(some, there, target.hope(there))
    return sorted(found, key=lambda one: (-round(one.probability, 2), one.expected))


def with_own(
    belief: Belief, found: Sequence[Scored], target: Target, limits: Limits
) -> list[Scored]:
    """Add what the chances are if the sample itself was sprayed from the shelf."""
    recipes = [one.recipe for one in found]
    chances = chances_of_own(belief.model, recipes, target, limits, knows=belief.together)
    if chances is None:
        return list(found)
    return [replace(one, own=float(own)) for one, own in zip(found, chances, strict=True)]


def nearest(
    predictor: FilmPredictor | Belief, recipes: Sequence[Recipe], target: Target
) -> list[Recipe]:
    """Return recipes by how far they are expected to be, the nearest first."""
    away = target.difference([predictor.predict_recipes(recipes, v) for v in target.viewings])
    return [recipes[i] for i in np.argsort(away, kind="stable")]


def places_of(target: Target, panel: Sprayed, usual: Viewing) -> list[int]:
    """Return which of a panel's `views` answers each aim; each must have been read."""
    have = [view.viewing.canonical for view in panel.views]
    # Of an aim without a viewing the light is known; the geometry is the panel's, if not the usual.
    lit = [v for v in have if (v.illuminant, v.observer) == (usual.illuminant, usual.observer)]
    own = usual if usual in have or not lit else lit[0]
    wanted = [view.canonical for view in target.views(own)]
    if not set(wanted) <= set(have):
        raise TargetError(
            "The target and the panel were not viewed alike.",
            expected=", ".join(map(str, wanted)),
            got=", ".join(map(str, have)),
            remedy="read the panel at every angle, light and observer of the target.",
        )
    return [have.index(v) for v in wanted]


def best_of(found: Sequence[Scored]) -> Scored | None:
    """Return the likeliest, or one of fewer changes if it is nearly as likely."""

    def worth(one: Scored) -> tuple[float, float]:
        # Where hardly anything passes, what does not at all is not nearly as likely.
        least = one.probability / 2.0
        return max(one.probability - WORTH_A_CHANGE * one.changes, least), -one.expected

    return max(found, key=worth, default=None)
