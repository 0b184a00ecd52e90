"""From a target to cards worth beginning: up to where to spray, what to read there, and the chance.

Grounds and pots come from the search; for each, the coats up to the first look are those that leave
the best chance after the best coats on top, over all that may be read. Too dark cannot be taken
back, so the best approach is from the light side, by as much as the spread of film is worth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from matchlib.correction import Belief, Card, Sprayed, Today, scored
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Panel, Recipe, Viewing, readings_in
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.progress import Callback, part_of
from matchlib.steering.lookahead import CoatsSprayed, Lookahead
from matchlib.steering.planned import CardPlan, CardPlans, Likely, PlannedReading
from matchlib.steering.steer import Steering, advise
from matchlib.suggest import Suggestion, Suggestions, Target, suggest

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["MOST_READINGS", "WORTH_A_LOOK", "plan"]

Array = NDArray[np.float64]

MOST_READINGS = 3
"""Looks at one card that are thought of."""

THOUGHT_ON = 3
"""Pairs for which more than one look is worked out."""

HOPELESS = 0.05
"""Chance below which it is not said what follows from likely readings."""

CANDIDATES = 8
"""Pairs of ground and pot looked at."""

SHARES = (0.5, 0.6, 0.68, 0.76, 0.83, 0.89, 0.94)
"""Of the strength of the whole, at which a card may be read first."""

GRID = 20
"""Strengths between half and one and a quarter of the whole that may come to lie on the card."""

NEAR = 3.0
"""Pairs whose recipe is expected this many tolerances farther than the nearest are not thought of:
no steering mends their hue."""

WORTH_A_LOOK = 0.02
"""Chance that one more look must add to be worth its time."""


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
    today: Today | None = None,
    callback: Callback | None = None,
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
        Looks at the card on the way, 0 to `MOST_READINGS`; 0 for a card sprayed blind.
    top : int
        Plans wanted.
    archive : iterable of Recipe or Panel, optional
        As for `matchlib.suggest.suggest`; panels with their readings tell what the clear coat does.
    before_clear : bool
        Whether the looks are at the uncleared card.
    source : str
        What reads it on the way: ``spectrophotometer`` or ``photo``. It is judged by an instrument.
    today : Today, optional
        Spreads believed beforehand; not used with a Belief.
    callback : callable, optional
        Called with the share done and what is being done; what it raises ends the work.

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
    report = part_of(callback)
    fit = model.model if isinstance(model, Belief) else model
    report(0.0, "looking through every recipe")
    if readings == 0:
        found = suggest(fit, target, bounds, top=top, archive=past, callback=callback)
        return CardPlans(tuple(map(_blind, found)), target, 0, found)
    found = suggest(
        fit, target, bounds, top=max(2 * CANDIDATES, top), archive=past, callback=callback
    )
    usual = Viewing(geometry=fit.words_.geometries[0])
    views = [v or usual for v in target.viewings]
    worked = []
    with threadpool_limits(1):  # the blocks are small: threads of the algebra would only wait
        chosen = _candidates(model, found, target, bounds, source=source)
        for number, candidate in enumerate(chosen):
            report(0.5 + 0.4 * number / len(chosen), "thinking of what may be read")
            belief = (
                model
                if isinstance(model, Belief)
                else Belief.of(model, today, recipes=[candidate.recipe])
            )
            shop = _Shop(belief, target, views, bounds, before_clear=before_clear, source=source)
            worked.append((shop, candidate, *shop.first(candidate, 1)))
        worked.sort(key=lambda w: (-round(w[3][-1], 2), -w[1].blind))
        if readings > 1:  # more looks mend no hue: only the likeliest are thought on
            for place, (shop, candidate, *_) in enumerate(worked[:THOUGHT_ON]):
                worked[place] = (shop, candidate, *shop.first(candidate, readings))
            worked.sort(key=lambda w: (-round(w[3][-1], 2), -w[1].blind))
        report(0.9, "working out what follows")
        plans = [
            shop.plan(candidate, first, chances) for shop, candidate, first, chances in worked[:top]
        ]
    return CardPlans(
        tuple(plans),
        target,
        readings,
        found,
        (*_pairs(plans[0], past, before_clear), *_notes(plans, source)),
    )


@dataclass(frozen=True)
class _Candidate:
    """The nearest recipe of a ground and a pot, and its chance if it is sprayed blind."""

    recipe: Recipe
    difference: float
    blind: float
    suggestion: Suggestion | None = None


def _candidates(
    model: FilmPredictor | Belief, found: Suggestions, goal: Target, limits: Limits, *, source: str
) -> list[_Candidate]:
    """The nearest recipe of every pair of ground and pot that comes near."""
    candidates = [_Candidate(s.recipe, s.expected_delta_e00, s.probability, s) for s in found]
    if isinstance(model, Belief):
        # What today's cards taught, the search has not heard of.
        pots = {(s.recipe.ground, s.recipe.colour): s.recipe for s in found}
        made = [
            replace(recipe, schedule=CoatSchedule.of(n, ratio))
            for recipe in pots.values()
            for ratio in limits.ratios()
            for n in range(limits.min_coats, limits.max_coats + 1)
        ]
        every = [*(s.recipe for s in found), *made]
        near = scored(
            model, every, goal, tolerance=goal.tolerance.value, source=source, shortlist=240
        )
        candidates = [_Candidate(s.recipe, s.difference, s.probability) for s in near]
    candidates.sort(key=lambda r: r.difference)
    kept: dict[tuple[object, object], _Candidate] = {}
    for candidate in candidates:
        if candidate.difference <= candidates[0].difference + NEAR * goal.tolerance.value:
            kept.setdefault((candidate.recipe.ground, candidate.recipe.colour), candidate)
    return list(kept.values())[:CANDIDATES]


def _blind(one: Suggestion) -> CardPlan:
    return CardPlan(
        one.recipe, one.recipe, (), one.probability, one.probability, (one.probability,), (), one
    )


def _notes(plans: Sequence[CardPlan], source: str) -> tuple[str, ...]:
    notes = []
    best = plans[0]
    if not best.looks:
        notes.append(
            "No card of this target can be approached from the light side within these limits: "
            "allow one coat more or a weaker ratio, or spray it blind."
        )
    for looks in range(1, len(best.by_looks)):
        if best.by_looks[looks] < best.by_looks[looks - 1] + WORTH_A_LOOK:
            which = ("The first", "A second", "A third")[looks - 1]
            notes.append(f"{which} look at this card would add less than 2 in 100: leave it out.")
            break
    if source == "photo" and best.looks:
        notes.append(
            "Photographs tell a card's colour less surely than an instrument: the chance above "
            "counts that. Judge the finished card by an instrument where there is one."
        )
    return tuple(notes)


def _pairs(best: CardPlan, past: Iterable[Recipe | Panel], before_clear: bool) -> list[str]:
    """Ask for cards read before and after their clear coat, where there are none."""
    clear = best.first.clear
    panels = [p for p in past if isinstance(p, Panel)]
    if not (before_clear and best.looks and clear and panels):
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


@dataclass(frozen=True)
class _Shop:
    """What is believed, and how it is looked at."""

    belief: Belief
    goal: Target
    views: Sequence[Viewing]
    limits: Limits
    before_clear: bool
    source: str

    def first(self, candidate: _Candidate, readings: int) -> tuple[Recipe | None, list[float]]:
        """Coats up to the first look, and the chance by the number of looks.

        None where the ground and pot cannot be approached.
        """
        starts = _starts(candidate.recipe, self.limits)
        if not starts:
            return None, [candidate.blind]
        grid = _grid(candidate.recipe)
        recipes = [*starts, *grid]
        card = Card.of(self.belief, about=self.seen(candidate.recipe), viewings=self.views)
        judged = card.ahead(recipes, self.views)
        read = card.ahead([self.seen(r) for r in recipes], self.views, source=self.source)
        ahead = Lookahead.of(card, recipes, self.goal, judged=judged, read=read)
        stages = [CoatsSprayed(r.schedule.strength, r.schedule.coats) for r in starts if r.schedule]
        by_looks, first = [candidate.blind], 0
        for looks in range(1, readings + 1):
            chances = [
                float(ahead.look(i, looks - 1, ahead.begun.laying(stage)).mean())
                for i, stage in enumerate(stages)
            ]
            first = int(np.argmax(chances))
            by_looks.append(max(chances))
        return starts[first], by_looks

    def seen(self, recipe: Recipe) -> Recipe:
        """What is on the card at a look."""
        return replace(recipe, clear=None) if self.before_clear else recipe

    def plan(self, candidate: _Candidate, first: Recipe | None, by_looks: list[float]) -> CardPlan:
        """The plan, with what is expected on the way and what follows."""
        if first is None:
            blind = candidate.blind
            return CardPlan(
                candidate.recipe,
                candidate.recipe,
                (),
                blind,
                blind,
                (blind,),
                (),
                candidate.suggestion,
            )
        card = Card.of(self.belief, about=self.seen(first), viewings=self.views)
        looks: list[PlannedReading] = []
        stages: list[Sprayed] = []
        likely: list[Likely] = []
        now = first
        for left in range(len(by_looks) - 2, -1, -1):
            labs, spread = self._expected(card, self.seen(now))
            looks.append(
                PlannedReading(
                    self.seen(now), _three(labs[0]), _three(np.sqrt(np.diag(spread))[:3])
                )
            )
            if not stages and by_looks[-1] >= HOPELESS:
                likely = self._likely(now, labs, spread, left)
            stages.append(self._read(now, labs))
            card = Card.of(self.belief, stages)
            advice = self._advice(card, left)
            if advice.best is None:
                break
            now = advice.best.recipe
        return CardPlan(
            first,
            now,
            tuple(looks),
            by_looks[-1],
            candidate.blind,
            tuple(by_looks),
            tuple(likely),
            candidate.suggestion,
        )

    def _expected(self, card: Card, recipe: Recipe) -> tuple[Array, Array]:
        ahead = card.ahead([recipe], self.views, source=self.source)
        by, new = ahead.slope[0], ahead.new[0]
        spread = by @ card.covariance @ by.T + ahead.reading + np.outer(new, new)
        return ahead.labs[:, 0], spread

    def _likely(self, now: Recipe, labs: Array, spread: Array, left: int) -> list[Likely]:
        """Cards of one standard deviation less film, of as much as expected, and of more."""
        size, axes = np.linalg.eigh(spread)
        way = axes[:, -1] * np.sqrt(size[-1])
        way *= np.sign(way[0]) or 1.0
        found = []
        for case, times in (("light", 1.0), ("as expected", 0.0), ("dark", -1.0)):
            read = labs + times * way.reshape(-1, 3)
            advice = self._advice(Card.of(self.belief, [self._read(now, read)]), left)
            found.append(Likely(case, _three(read[0]), advice.state, advice.verdict, advice.chance))
        return found

    def _advice(self, card: Card, looks: int) -> Steering:
        return advise(card, self.goal, self.views, self.limits, looks=looks)

    def _read(self, recipe: Recipe, labs: Array) -> Sprayed:
        early = self.before_clear and recipe.clear is not None
        each = [
            Sprayed(recipe, _three(lab), view, self.source, clear_to_come=early)
            for lab, view in zip(labs, self.views, strict=True)
        ]
        return replace(each[0], also=tuple(each[1:]))


def _starts(whole: Recipe, limits: Limits) -> list[Recipe]:
    """Coats up to a first look, lighter than the whole and by the cup, the usual ratio first."""
    if whole.schedule is None or limits.max_coats < 2:
        return []
    strength, steps = whole.schedule.strength, whole.schedule.steps
    own = steps[0].ratio
    found: dict[CoatSchedule, None] = {}
    if len(steps) > 1 and steps[0].coats + 1 <= limits.max_coats:
        found[CoatSchedule(steps[:-1])] = None
    made = [
        CoatSchedule((CoatStep(n, ratio),))
        for ratio in dict.fromkeys((*limits.ratios(), own))
        for n in range(1, limits.max_coats)
    ]
    strengths = np.array([s.strength for s in made])
    trouble = [0.03 * (s.steps[0].ratio != own) + 0.01 * s.coats for s in made]
    for share in SHARES:
        best = int(np.argmin(np.abs(np.log(strengths / (share * strength))) + trouble))
        if strengths[best] < strength:
            found[made[best]] = None
    return [replace(whole, schedule=s) for s in found]


def _grid(whole: Recipe) -> list[Recipe]:
    """The same coats at ratios that make it from lighter to darker than wanted."""
    if whole.schedule is None:
        return []
    coats = max(whole.schedule.coats, 2)
    made = []
    for share in np.geomspace(0.55, 1.3, GRID):
        fraction = min(whole.schedule.strength * share / coats, 0.95)
        carrier = Fraction(round(100 * (1.0 / fraction - 1.0)), 100)
        made.append(
            replace(
                whole,
                schedule=CoatSchedule.of(
                    coats, MixRatio(max(carrier, Fraction(1, 20)), Fraction(1))
                ),
            )
        )
    return made


def _three(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
