"""Other schedules that come to the same colour, the most forgiving first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Recipe
from matchlib.evenness.film import coat_shares, ordered
from matchlib.evenness.panel import spray_panel
from matchlib.regression import FilmPredictor
from matchlib.target import Target

__all__ = ["Alternative", "alternative_words", "alternatives"]

Array = NDArray[np.float64]

_PARTS = tuple(Fraction(n, 2) for n in range(4, 21))
_MOST = 8  # coats, as `alternative_words` says
_SPRAYED = 3
_PANELS = 4
_WITHIN = 0.5  # how far a schedule may lie from the recipe, in the order's unit


@dataclass(frozen=True, slots=True)
class Alternative:
    """A schedule that comes to the same colour."""

    recipe: Recipe  # with that schedule
    off: float  # how far it lies from the recipe asked about, by the law; in the order's unit
    # what 95 percent of pairs of patches of a panel stay within, in the order's unit
    side_to_side: float
    tolerance: Tolerance  # the order's difference

    @property
    def words(self) -> str:
        """What is sprayed, and how even it comes out."""
        coats = "" if self.recipe.schedule is None else self.recipe.schedule.words
        return f"{coats}: from side to side {self.said}"

    @property
    def said(self) -> str:
        """Its difference from side to side, with its unit."""
        return self.tolerance.with_unit(self.side_to_side, self.tolerance.digits)


def alternatives(
    model: FilmPredictor, recipe: Recipe, *, order: Target | None = None
) -> tuple[Alternative, ...]:
    """Compare the schedules that come to a recipe's colour by how even they are sprayed.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        Whose colour is meant; ground, colour and clear stay.
    order : Target, optional
        What it is judged by; ΔE00 in the archive's own geometry if None.

    Returns
    -------
    tuple of Alternative
        The most forgiving first, the recipe's own among them; at most a handful. Empty for a bare
        ground. One ratio throughout, or one with two weaker coats last, up to eight coats; the
        best of each number of coats.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> found = alternatives(demo_model(), recipe)
    >>> all(other.off <= 0.5 for other in found)
    True
    """
    own = recipe.schedule
    if own is None:
        return ()
    by = ordered(order)
    tried = [replace(recipe, schedule=s) for s in _schedules() if s != own]
    off: list[Array] = []
    for view in by.views(model.usual_view):
        labs = model.predict_recipes([recipe, *tried], view)
        off.append(np.asarray(by.tolerance.difference(labs[:1], labs[1:]), float))
    away = by.greatest(off)
    near = [(tried[int(i)], float(away[i])) for i in np.flatnonzero(away <= _WITHIN)]
    # Errors of the hand are other ones in every coat: what adds up is the square of each share.
    near.sort(key=lambda pair: float(np.sum(coat_shares(model, pair[0]) ** 2)))
    best = {r.schedule.coats: (r, d) for r, d in reversed(near) if r.schedule is not None}
    more = sorted(best.items(), reverse=True)[:_SPRAYED]
    found = []
    for each, distance in [(recipe, 0.0), *(pair for _, pair in more)]:
        panel = spray_panel(model, each, panels=_PANELS, order=order)
        found.append(Alternative(each, distance, panel.side_to_side, by.tolerance))
    return tuple(sorted(found, key=lambda one: one.side_to_side))


def alternative_words(found: Sequence[Alternative], recipe: Recipe) -> str:
    """Say which schedule forgives most, beside the recipe asked about.

    Parameters
    ----------
    found : sequence of Alternative
        From `alternatives`.
    recipe : Recipe
        As asked about.

    Returns
    -------
    str
        One sentence; empty where there is one only.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> words = alternative_words(alternatives(demo_model(), recipe), recipe)
    >>> words.partition(" is ")[0]
    'The most forgiving way to this colour'
    """
    own = next((one for one in found if one.recipe == recipe), None)
    if own is None or len(found) < 2:
        return ""
    best = found[0]
    if best.side_to_side > 0.9 * own.side_to_side:
        return "No other way to this colour, up to eight coats, forgives more."
    return f"The most forgiving way to this colour is {best.words}, against {own.said}."


def _schedules() -> list[CoatSchedule]:
    one = Fraction(1)
    ratios = [MixRatio(parts, one) for parts in _PARTS]
    found = [CoatSchedule.of(n, r) for r in ratios for n in range(1, _MOST + 1)]
    found += [
        CoatSchedule((CoatStep(n, strong), CoatStep(2, weak)))
        for strong in ratios
        for weak in ratios
        if weak.carrier >= Fraction(3, 2) * strong.carrier
        for n in range(1, _MOST - 1)
    ]
    return found
