"""Whether the panel in hand can still be built on.

More coats only take light away. So a panel that is too light or too weak may be saved by coats on
top of it, and one that is too dark cannot. What the panel got for itself (its film, its ground,
its mottle) is learnt from its own reading and carried into the prediction of the coats that follow;
only those coats' film is new.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.correction.belief import Belief
from matchlib.correction.card import Card
from matchlib.correction.moves import continuations, ratio_words
from matchlib.correction.scoring import Scored, places_of
from matchlib.correction.sprayed import Sprayed
from matchlib.domain import Recipe
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.outcome import outcomes
from matchlib.tails import chance_words
from matchlib.target import Target

__all__ = ["SANDING", "Rescue", "on_top", "rescue"]

Array = NDArray[np.float64]

WORTH_TRYING = 0.2
"""Least probability of success for which coats on top are advised [-]."""

SANDING = (
    "It is under its clear coat: sand it before these coats, and clear it a second time after them."
)


@dataclass(frozen=True)
class Rescue:
    """What can be done with the panel in hand."""

    state: str  # ``passes``, ``build on``, ``too dark`` or ``another way``
    # further coats, the likeliest first; the recipe is the whole of it. Empty unless it can be
    # built on
    options: tuple[Scored, ...]
    words: str  # the same in a sentence


def _coats(recipe: Recipe) -> int:
    return 0 if recipe.schedule is None else recipe.schedule.coats


def _cleared(panel: Sprayed) -> bool:
    return panel.recipe.clear is not None and not panel.clear_to_come


def rescue(
    before: Belief,
    panel: Sprayed,
    target: ArrayLike | Target,
    limits: Limits,
    *,
    tolerance: float = 1.0,
) -> Rescue:
    """Say whether further coats would save a panel."""
    goal = Target.of(target, tolerance=tolerance, viewing=panel.viewing)
    whole = before.finished(panel)
    read = np.array([whole[i] for i in places_of(goal, panel)])
    now = float(goal.difference(list(read)))
    far = goal.tolerance.with_unit
    if now <= goal.tolerance.value:
        words = (
            f"This panel passes: {far(now)} to the target{goal.worst}, "
            f"{goal.tolerance.value:g} allowed."
        )
        if panel.source == "photo":
            views = [panel.views[place].viewing for place in places_of(goal, panel)]
            card, same = Card.of(before, [panel]), [panel.recipe]
            (one,) = outcomes(same, card.outlook(same, card.ahead(same, views)), goal)
            chance = chance_words(one.probability)
            words += f" That is by a photograph: an instrument passes it with a chance of {chance}."
        return Rescue("passes", (), words)
    options = sorted(
        on_top(before, panel, goal, continuations(panel.recipe, limits)),
        key=lambda s: (-round(s.probability, 2), _coats(s.recipe), s.expected),
    )
    if options and options[0].probability >= WORTH_TRYING and options[0].expected < now:
        best = options[0]
        words = (
            f"This panel can still be built on: {best.words}; the chance that it then passes is "
            f"{chance_words(best.probability)}, expected {far(best.expected, 1)} "
            f"(now {now:.1f})."
        )
        if _cleared(panel):
            words += f" {SANDING}"
        kept = tuple(o for o in options[:5] if o.probability >= WORTH_TRYING / 2)
        return Rescue("build on", kept, words)
    light, wished = float(read[:, 0].mean()), float(goal.labs[:, 0].mean())
    if light < wished:
        mean = ", the mean of its angles" if len(read) > 1 else ""
        words = (
            f"This panel is too dark (L* {light:.1f}, wanted {wished:.1f}{mean}) and cannot be "
            "saved: further coats only take light away. Spray a fresh panel."
        )
        return Rescue("too dark", (), words)
    if panel.recipe.bare:
        words = "This panel has no colour coats yet; choose a recipe for it."
        return Rescue("another way", (), words)
    within = "the box" if goal.tolerance.boxed else f"{goal.tolerance.value:g}"
    words = (
        f"No further coats of {panel.recipe.colour} bring this panel within {within}: it "
        "needs another mix, not more of this one. Spray a fresh panel."
    )
    return Rescue("another way", (), words)


def on_top(
    before: Belief,
    panel: Sprayed,
    target: ArrayLike | Target,
    recipes: Sequence[Recipe],
    *,
    tolerance: float = 1.0,
) -> list[Scored]:
    """Say what building on a panel is expected to give, from the panel's own reading.

    Parameters
    ----------
    before : Belief
        Before this panel, after the others of today.
    panel : Sprayed
        The panel in hand.
    target : array_like, shape (3,), or Target
        As for `rescue`.
    recipes : sequence of Recipe
        All that would be on the panel, each going on from what is on it.
    tolerance : float
        ΔE00 that passes, for a Lab.

    Returns
    -------
    list of Scored
        One a recipe, in their order; none for a bare ground.

    Raises
    ------
    DomainError
        If a recipe does not go on from the panel's.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> model, recipe = demo_model(), Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> more = Recipe.of("silver", "cherry", "4@6:1", "yes")
    >>> light, goal = model.predict_recipes([recipe, more])
    >>> (found,) = on_top(Belief.of(model), Sprayed.of((recipe, light)), goal, [more])
    >>> found.expected < 1
    True
    """
    goal = Target.of(target, tolerance=tolerance, viewing=panel.viewing)
    if not recipes or panel.recipe.schedule is None:
        return []
    fresh = [r.after(panel.recipe) for r in recipes]
    added = [r.schedule for r in fresh if r is not None and r.schedule is not None]
    if len(added) < len(recipes):
        raise DomainError(
            "Nothing is laid on this panel.",
            expected="at least one coat more than is on it",
            got=str(panel.recipe),
            remedy="add coats to the schedule.",
        )
    views = [panel.views[place].viewing for place in places_of(goal, panel)]
    # The gun may have been set otherwise since the panel was read; an instrument will judge it.
    card = Card.of(before, [panel])
    ahead = card.ahead(recipes, views, afresh=True)
    found = outcomes(recipes, card.outlook(recipes, ahead), goal)
    result = []
    for one, coats_added in zip(found, added, strict=True):
        coats = ", then ".join(
            f"{s.coats} more coat{'s' * (s.coats != 1)} of {ratio_words(s.ratio)} on top"
            for s in coats_added.steps
        )
        changed = 3 if _cleared(panel) else 1  # sanding, and a second clear coat
        result.append(Scored(**vars(one), words=coats, changes=changed))
    return result
