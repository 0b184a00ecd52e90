"""From a target to cards worth beginning: up to where to spray, what to read there, and the chance.

Grounds and pots come from the search; for each, the coats up to the first look are those that leave
the best chance after the best coats on top, over all that may be read. Too dark cannot be taken
back, so the best approach is from the light side, by as much as the spread of film is worth.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from matchlib.colorimetry import delta_e00
from matchlib.correction import Belief
from matchlib.correction.scoring import likeliest
from matchlib.domain import CoatSchedule, Panel, Recipe, three
from matchlib.domain.panel import readings_in
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.outcome import Outcome, outcomes
from matchlib.steering.approach import HOPELESS, Approach, Task, chance_of_own
from matchlib.steering.planned import CardPlan, CardPlans
from matchlib.steering.steer import WORTH_A_READING
from matchlib.suggest import Suggestion, Suggestions, suggest
from matchlib.target import Target

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["MOST_READINGS", "as_believed", "plan"]

MOST_READINGS = 3
"""Looks at one card that are thought of."""

THOUGHT_ON = 3
"""Pairs for which more than one look is worked out."""

CANDIDATES = 8
"""Pairs of ground and pot looked at."""

NEAR = 3.0
"""Pairs whose recipe is expected this many tolerances farther than the nearest are not thought of:
no steering mends their hue."""

SLIGHT = 0.005
"""Chance of a card sprayed blind below which it is not asked what readings add, while any other
has more [-]."""


def plan(
    model: FilmPredictor | Belief,
    target: Target,
    limits: Limits | None = None,
    *,
    readings: int = 2,
    top: int = 5,
    archive: Iterable[Recipe | Panel] = (),
    before_clear: bool = True,
    source: str = "spectrophotometer",
) -> CardPlans:
    """Plan cards that are read on the way.

    Parameters
    ----------
    model : FilmPredictor or Belief
        The archive's fit, or what is believed after today's cards.
    target : Target
        What is to be matched, and what counts as a match.
    limits : Limits, optional
        The shop's; everything the archive knows if None.
    readings : int
        Of the card on its way, 0 to `MOST_READINGS`; 0 for a card sprayed blind.
    top : int
        Plans wanted.
    archive : iterable of Recipe or Panel, optional
        As for `matchlib.suggest.suggest`; panels with their readings tell what the clear coat does.
    before_clear : bool
        Whether these are of the uncleared card.
    source : str
        What reads it on the way: ``spectrophotometer`` or ``photo``. It is judged by an instrument.

    Returns
    -------
    CardPlans
        Ranked by the chance that the card passes.

    Raises
    ------
    DomainError
        If so many readings cannot be thought of, or nothing can be sprayed within the limits.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> aim, neat = Target.lab(27.1, 45.9, 28.5), Limits(blends=False)
    >>> plans = plan(demo_model(), aim, neat, readings=1, top=1)
    >>> print(plans[0].first)
    cherry over pale gold, 2@2.5:1
    """
    if not (isinstance(readings, int) and 0 <= readings <= MOST_READINGS):
        raise DomainError(
            "This is not a number of looks at one card.",
            expected=f"0 to {MOST_READINGS}",
            got=repr(readings),
            remedy="two are usual; 0 sprays the card blind.",
        )
    bounds, past = limits or Limits(), list(archive)
    fit = model.model if isinstance(model, Belief) else model
    if readings == 0 and fit is model:
        found = suggest(fit, target, bounds, top=top, archive=past)
        return CardPlans(tuple(map(_blind, found)), target, 0, found)
    many = max(2 * CANDIDATES, top)
    found = suggest(fit, target, bounds, top=many, archive=past)
    if isinstance(model, Belief):
        found = as_believed(found, model)
    views = target.views(fit.usual_view)
    worked = []
    with threadpool_limits(1):  # the blocks are small: threads of the algebra would only wait
        # A look tells what more of one pot would do: cards of two layers are sprayed blind.
        single = replace(bounds, layers=False)
        near = found if single == bounds else suggest(fit, target, single, top=many, archive=past)
        chosen = _candidates(model, near, target, single)
        least = min(SLIGHT, max(candidate.probability for candidate in chosen))
        for candidate in chosen:
            belief = Belief.of(model, recipes=[candidate.recipe])
            task = Task(belief, target, views, bounds, before_clear=before_clear, source=source)
            starts = None if candidate.probability >= least else ()
            approach = Approach.of(task, candidate, starts=starts)
            worked.append(approach.with_readings(min(readings, 1)))
        worked.sort(key=lambda one: one.place)
        if readings > 1:  # more looks mend no hue: only the likeliest are thought on
            worked[:THOUGHT_ON] = [one.with_readings(readings) for one in worked[:THOUGHT_ON]]
            worked.sort(key=lambda one: one.place)
        plans = [one.plan(what_follows=not rank) for rank, one in enumerate(worked[:top])]
        plans[0] = replace(plans[0], own=chance_of_own(worked))
    notes = (*_pairs(plans[0], past, before_clear), *_notes(plans[0], source)) if readings else ()
    if near is not found:
        plans += [_blind(s) for s in found if len(s.recipe.layers) > 1]
        plans = sorted(plans, key=lambda p: -p.steered)[:top]
    return CardPlans(tuple(plans), target, readings, found, notes)


def as_believed(found: Suggestions, belief: FilmPredictor | Belief) -> Suggestions:
    """What the search found, with what is believed of it today, the likeliest first."""
    recipes, target = [one.recipe for one in found], found.target
    there = belief.predict_together(recipes, target.viewings)
    told = outcomes(recipes, there, target.hope(there))
    items = [
        replace(
            one,
            **vars(now),
            delta_e00=float(delta_e00(target.aims[0].lab, now.lab)),
            labs=tuple(map(three, labs)),
            # Ties, and what it is worth that the sample is of the shelf, the fit alone told.
            note="",
            own=None,
        )
        for one, now, labs in zip(found, told, there.labs.swapaxes(0, 1), strict=True)
    ]
    return replace(found, items=tuple(sorted(items, key=lambda one: -one.probability)))


def _candidates(
    model: FilmPredictor | Belief, found: Suggestions, goal: Target, limits: Limits
) -> list[Outcome]:
    """The nearest recipe of every pair of ground and pot that comes near."""
    candidates: list[Outcome] = list(found)
    if isinstance(model, Belief):
        # What today's cards taught, the search has not heard of.
        pots = {(s.recipe.ground, s.recipe.colour): s.recipe for s in found}
        made = [
            replace(recipe, schedule=CoatSchedule.of(n, ratio))
            for recipe in pots.values()
            for ratio in limits.ratios()
            for n in range(limits.min_coats, limits.max_coats + 1)
        ]
        every = [*(s.recipe for s in found), *filter(limits.enough_for, made)]
        candidates = likeliest(model, every, goal, shortlist=240)
    candidates.sort(key=lambda one: one.expected)
    kept: dict[tuple[object, object], Outcome] = {}
    for candidate in candidates:
        if candidate.expected <= candidates[0].expected + NEAR * goal.tolerance.value:
            kept.setdefault((candidate.recipe.ground, candidate.recipe.colour), candidate)
    return list(kept.values())[:CANDIDATES]


def _blind(one: Suggestion) -> CardPlan:
    chance = one.probability
    return CardPlan(one.recipe, one.recipe, (), chance, chance, (chance,), (), one, one.own)


def _notes(best: CardPlan, source: str) -> tuple[str, ...]:
    notes = []
    if len(best.by_readings) == 1:
        notes.append(
            "No card of this target can be approached from the light side within these limits: "
            "allow one coat more or a weaker ratio, or spray it blind."
        )
    elif best.steered >= HOPELESS:
        worth = [chance >= max(best.by_readings) - WORTH_A_READING for chance in best.by_readings]
        enough = worth.index(True)
        if not enough:
            notes.append("Looking at this card would add less than 2 in 100: spray it blind.")
        elif enough < len(best.by_readings) - 1:
            which = ("A second look", "A third look")[enough - 1]
            notes.append(f"{which} at this card would add less than 2 in 100: leave it out.")
    if source == "photo" and best.planned_readings:
        notes.append(
            "Photographs tell a card's colour less surely than an instrument: the chance above "
            "counts that. Judge the finished card by an instrument where there is one."
        )
    return tuple(notes)


def _pairs(best: CardPlan, past: Iterable[Recipe | Panel], before_clear: bool) -> list[str]:
    """Ask for cards read before and after their clear coat, where there are none."""
    clear = best.first.clear
    panels = [p for p in past if isinstance(p, Panel)]
    if not (before_clear and best.planned_readings and clear and panels):
        return []
    for panel in panels:
        read = {s.recipe_at(r).clear for _, _, s, r in readings_in([panel]) if s.recipe.schedule}
        if {None, clear} <= read:
            return []
    name = "its clear coat" if clear == "yes" else f"the clear coat {clear}"
    return [
        f"No card of this archive was read both before {name} and after it, so what the clear does "
        "to a reading is taken as usual, with a wide margin. Read the next cards both times; three "
        "cards would do."
    ]
