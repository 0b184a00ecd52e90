"""One ground and pot: the coats up to a first look, the chance, and what follows from a reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.correction import Belief, Card, Sprayed
from matchlib.correction.scoring import nearest
from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Recipe, Viewing, three
from matchlib.mixing import Limits
from matchlib.outcome import Outcome
from matchlib.sample import ANY_FILM, ONE_POT, chances_of_own, more_pots, origins
from matchlib.steering.lookahead import LEAST, Lookahead
from matchlib.steering.planned import CardPlan, Likely, PlannedReading
from matchlib.steering.steer import Steering, advise
from matchlib.suggest import Suggestion
from matchlib.target import Target

__all__ = ["HOPELESS", "Approach", "Task", "chance_of_own"]

Array = NDArray[np.float64]

HOPELESS = 0.05
"""Chance below which it is not said what follows from readings, nor what one is worth."""

SHARES = (0.5, 0.6, 0.68, 0.76, 0.83, 0.89, 0.94)
"""Of the strength of the whole, at which a card may be read first."""

GRID = 14
"""Strengths about that of the whole that may come to lie on a card."""

ABOUT = 0.75, 1.3
"""The least and the most of them, as shares of the whole's."""

LIKELY_POT = 0.1
"""Share from which it is thought of that the sample is of a pot [-]."""

THOUGHT_ON = 2
"""Starts that are thought of with one reading more: the likeliest with one less."""

NO_WORSE = 0.01
"""Chance that readings may lose by what is neglected in counting them [-]."""


class Task(NamedTuple):
    """What a card is to match, what is believed of it, and how it is read on its way."""

    belief: Belief
    goal: Target
    views: Sequence[Viewing]
    limits: Limits
    before_clear: bool
    source: str

    def seen(self, recipe: Recipe) -> Recipe:
        """What is on the card at a look."""
        return replace(recipe, clear=None) if self.before_clear else recipe

    def likely(
        self, begun: Card, now: Recipe, labs: Array, spread: Array, expected: Steering
    ) -> list[Likely]:
        """Cards of one standard deviation less film, of as much as expected, and of more."""
        size, axes = np.linalg.eigh(spread)
        way = axes[:, -1] * np.sqrt(size[-1])
        way *= np.sign(way[0]) or 1.0
        found = []
        for case, times in (("light", 1.0), ("as expected", 0.0), ("dark", -1.0)):
            read, advice = labs + times * way.reshape(-1, 3), expected
            if times:
                card = begun.read([self.read(now, read)])
                advice = self.advice(card, expected.readings_left)
            found.append(Likely(case, three(read[0]), advice.state, advice.verdict, advice.chance))
        return found

    def advice(self, card: Card, readings_left: int) -> Steering:
        """What to lay next on a card that was read."""
        return advise(card, self.goal, self.limits, readings_left=readings_left, shown=1)

    def read(self, recipe: Recipe, labs: Array) -> Sprayed:
        """A look at a recipe, as it may be read."""
        early = self.before_clear and recipe.clear is not None
        each = [
            Sprayed(recipe, three(lab), view, self.source, clear_to_come=early)
            for lab, view in zip(labs, self.views, strict=True)
        ]
        return replace(each[0], also=tuple(each[1:]))

    def meeting(self, recipe: Recipe) -> Recipe:
        """So much of a recipe's pot as is believed to come nearest to the target."""
        films = _films(recipe, np.geomspace(0.4, 2.5, 2 * GRID)) or [recipe]
        return nearest(self.belief, films, self.goal)[0]

    def made_of(self, recipe: Recipe) -> Task:
        """The same, told that the target is some film of a recipe's ground and pot."""
        rows = []
        recipe = self.meeting(recipe)  # about another film the law as linear would bend the hue
        for aim, view in zip(self.goal.aims, self.views, strict=True):
            slope = self.belief.linear([recipe], view).film[0]
            spread = ANY_FILM**2 * np.outer(slope, slope)
            own = np.zeros((3, 3)) if aim.covariance is None else aim.covariance
            rows.append(Sprayed(recipe, aim.lab, view, covariance=spread + own))
        first, *rest = rows
        # Of today's film a sample tells nothing: only what is known given that film learns.
        belief, film = self.belief, self.belief.covariance[:, self.belief.size]
        by_film = np.outer(film, film) / film[belief.size]
        held = replace(belief, covariance=belief.covariance - by_film, panels=belief.panels + 1)
        told = held.after([replace(first, also=tuple(rest))])
        told = replace(told, covariance=told.covariance + by_film, panels=held.panels)
        return self._replace(belief=told)


class Approach(NamedTuple):
    """A ground and pot, its coats up to the first look, and the chance by how often it is read."""

    task: Task
    candidate: Outcome  # the nearest recipe of the ground and the pot, if it is sprayed blind
    starts: Sequence[Recipe]
    begun: Card | None  # None where it cannot be approached, as the next
    ahead: Lookahead | None
    tried: tuple[int, ...]  # places of the starts that are thought of, the likeliest first
    by_readings: tuple[float, ...]

    @classmethod
    def of(
        cls,
        task: Task,
        candidate: Outcome,
        *,
        starts: Sequence[Recipe] | None = None,
        about: Recipe | None = None,
    ) -> Approach:
        """Before any reading is thought of; what may come to lie is about the candidate's film."""
        starts = _starts(candidate.recipe, task.limits) if starts is None else starts
        blind = (candidate.probability,)
        if not starts:
            return cls(task, candidate, starts, None, None, (), blind)
        # How a film looks depends on the ratios that it was sprayed at, not on its strength alone.
        built = [_built(start, about or candidate.recipe, task.limits) for start in starts]
        recipes, views = [*starts, *(film for each in built for film in each)], task.views
        begins = [*range(len(starts)), *(i for i, each in enumerate(built) for _ in each)]
        card = Card.of(task.belief, about=task.seen(candidate.recipe), viewings=views)
        seen = [task.seen(r) for r in recipes]
        judged, read = card.together(recipes, views), card.together(seen, views, source=task.source)
        ahead = Lookahead.of(card, recipes, task.goal, judged=judged, read=read, begins=begins)
        return cls(task, candidate, starts, card, ahead, tuple(range(len(starts))), blind)

    def with_readings(self, readings: int) -> Approach:
        """The same with so many readings thought of."""
        ahead, tried, by_readings = self.ahead, self.tried, list(self.by_readings)
        if ahead is None:
            return self
        for count in range(len(by_readings), readings + 1):
            chances = {}
            for at in tried:
                laid = ahead.begun.laying(float(ahead.added_sd(at)))
                chance = ahead.after_reading(at, count - 1, laid)
                chances[at] = float(chance.mean())
            tried = tuple(sorted(tried, key=lambda at: -chances[at])[:THOUGHT_ON])
            by_readings.append(chances[tried[0]])
        return self._replace(tried=tried, by_readings=tuple(by_readings))

    @property
    def first(self) -> Recipe | None:
        """The coats up to the first look; None where none was thought of."""
        return self.starts[self.tried[0]] if self.tried and len(self.by_readings) > 1 else None

    @property
    def steers(self) -> bool:
        """Whether it is read on its way: not where it passes as often if it is sprayed blind."""
        return self.first is not None and self.by_readings[-1] > self.by_readings[0] - NO_WORSE

    @property
    def chance(self) -> float:
        """That the card passes in the better way."""
        return self.by_readings[-1 if self.steers else 0]

    @property
    def place(self) -> tuple[float, float]:
        """The likeliest first, those of one pot and one ground before their like; then blind."""
        odds = self.chance / max(1.0 - self.chance, 1e-3)
        odds /= ONE_POT ** more_pots(self.candidate.recipe)
        return -round(odds / (1.0 + odds), 2), -self.candidate.probability

    def plan(self, *, what_follows: bool = True) -> CardPlan:
        """The plan, with what is expected on the way and what follows; blind where that is best."""
        task, whole, now = self.task, self.candidate.recipe, self.first
        planned: list[PlannedReading] = []
        stages: list[Sprayed] = []
        likely: list[Likely] = []
        if not self.steers:
            now = None
        first = whole = whole if now is None else now
        card = self.begun
        for left in range(len(self.by_readings) - 2, -1, -1):
            if now is None or card is None or self.begun is None:
                break
            look = card.together([task.seen(now)], task.views, source=task.source).prediction
            labs, spread = look.labs[:, 0], look.covariance[0]
            sd = three(np.sqrt(np.diag(spread))[:3])
            planned.append(PlannedReading(task.seen(now), three(labs[0]), sd))
            if self.chance < HOPELESS:
                break
            stages.append(task.read(now, labs))
            expected = task.advice(self.begun.read(stages), left)
            if what_follows and len(planned) == 1:
                likely = task.likely(self.begun, now, labs, spread, expected)
            card, best = expected.card, expected.best
            whole = whole if best is None else best.recipe
            now = whole if expected.reads_again else None
        return CardPlan(
            first,
            whole,
            tuple(planned),
            self.chance,
            self.candidate.probability,
            self.by_readings,
            tuple(likely),
            self.candidate if isinstance(self.candidate, Suggestion) else None,
        )


def chance_of_own(worked: Sequence[Approach]) -> float | None:
    """Chance that the first passes if the sample is of the shelf; None if it cannot be."""
    best = worked[0]
    task, recipes = best.task, [one.candidate.recipe for one in worked]
    belief = task.belief
    if not best.steers:
        if isinstance(best.candidate, Suggestion):
            return best.candidate.own
        blind = chances_of_own(belief.model, recipes, task.goal, task.limits, knows=belief.together)
        return None if blind is None else float(blind[0])
    pots = origins(belief.model, recipes, task.goal, task.limits, knows=belief.together)
    least = max(LIKELY_POT, 0.2 * max(pots.values(), default=0.0))
    likely = {pot: share for pot, share in pots.items() if share >= least}
    starts = [best.starts[at] for at in best.tried[:1]]
    chances = []
    for made in map(task.made_of, likely):
        # The same first coats; told so much of the pot, more or less of it may have to follow.
        about = made.meeting(best.candidate.recipe)
        same = Approach.of(made, best.candidate, starts=starts, about=about)
        chances.append(same.with_readings(len(best.by_readings) - 1).by_readings[-1])
    found = [share * chance for share, chance in zip(likely.values(), chances, strict=True)]
    return sum(found) / sum(likely.values()) if likely else None


def _starts(whole: Recipe, limits: Limits) -> list[Recipe]:
    """Coats up to a first look: lighter than the whole, of the usual ratio first, or all of it."""
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
    # A reading that tells little is not worth coming from far: then the whole is read.
    found[whole.schedule] = None
    return [replace(whole, schedule=s) for s in found]


def _built(start: Recipe, whole: Recipe, limits: Limits) -> list[Recipe]:
    """What a start may become: the coats that the whole has more, at ratios to be chosen then."""
    if start.schedule is None or whole.schedule is None:
        return []
    begun, wanted = start.schedule, whole.schedule
    richest = max(float(ratio.fraction) for ratio in (*limits.ratios(), wanted.steps[0].ratio))
    made = []
    for strength in wanted.strength * np.geomspace(*ABOUT, GRID):
        more = strength - begun.strength
        coats = max(wanted.coats - begun.coats, math.ceil(more / richest), 1)
        if more >= LEAST * coats:
            ratio = MixRatio.of_fraction(more / coats, step=0.01)
            steps = (*begun.steps, CoatStep(coats, ratio))
            made.append(replace(whole, schedule=CoatSchedule(steps)))
    return made


def _films(whole: Recipe, shares: Array) -> list[Recipe]:
    """The same coats at ratios that make such shares of its strength."""
    if whole.schedule is None:
        return []
    coats = max(whole.schedule.coats, 2)
    made = []
    for share in shares:
        fraction = min(whole.schedule.strength * share / coats, 0.95)
        ratio = MixRatio.of_fraction(fraction, step=0.01)
        made.append(replace(whole, schedule=CoatSchedule.of(coats, ratio)))
    return made
