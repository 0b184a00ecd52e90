"""After a test panel: what to lay on it, what to change, or what to spray instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matchlib.correction.belief import Belief
from matchlib.correction.card import Card
from matchlib.correction.moves import fresh_recipes, moves
from matchlib.correction.scoring import Scored, best_of, likeliest, places_of, with_own
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import film_words
from matchlib.correction.weighing import (
    DOUBTED,
    LOOK,
    aside_words,
    learn,
    unfitting_words,
    weigh,
)
from matchlib.errors import TargetError
from matchlib.listing import items_frame
from matchlib.mixing import Limits
from matchlib.sample import own_words, shelf_of
from matchlib.steering.steer import Steering, advise
from matchlib.steering.topup import TopUp
from matchlib.tails import chance_words
from matchlib.target import Target

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression import FilmPredictor

__all__ = ["Advice", "correct"]

Array = NDArray[np.float64]

SHOWN = 6
"""Changes and fresh recipes shown."""


@dataclass(frozen=True)
class Advice:
    """What to do after the panels just sprayed.

    Parameters
    ----------
    belief : Belief
        The model with today in it; predicts like the regression.
    finished : tuple of ndarray, shape (3,)
        CIELAB of the last panel, finished, under each of its viewings.
    best : Scored
        What to spray next.
    changes : tuple of Scored
        Small changes to the last panel, the likeliest first.
    fresh : tuple of Scored
        Other recipes, the likeliest first.
    now : float
        Chance that an instrument passes the last panel, where it passes by a photograph; 1 where
        it passes by an instrument [-].
    card : Steering, optional
        What may be laid on the last panel; None where it passes, is bare, or does not fit.
    goal : Target
        What was to be met.
    last : Sprayed
        The panel just sprayed, with its readings.
    film_words : str
        How today's film differs from the archive's, and of which panels nothing was learnt.
    unfitting : str
        What the last panel may be instead, where its reading is likelier a slip of the back or a
        misreading than its own recipe with more or less film; else empty. Then nothing was learnt
        from it: there are no changes to it, no coats on top, and what else is said is as if it had
        not been sprayed.

    Examples
    --------
    >>> from matchlib import Reading, Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> sprayed = Recipe.of("pale gold", "cherry", "3@3:1", "yes")
    >>> read = Reading(lab=(27.0, 45.9, 28.3))
    >>> advice = correct(demo_model(), [(sprayed, read)], Target.lab(27.1, 45.9, 28.5))
    >>> advice.state, advice.difference < 1
    ('there', True)
    """

    belief: Belief
    finished: tuple[Array, ...]
    best: Scored
    changes: tuple[Scored, ...]
    fresh: tuple[Scored, ...]
    now: float
    card: Steering | None
    goal: Target
    last: Sprayed
    film_words: str
    unfitting: str

    @property
    def difference(self) -> float:
        """Of the last panel, finished, to the target, in the tolerance's unit."""
        return self._away(self.finished)

    @property
    def difference_as_read(self) -> float:
        """The same of it as it was read: another where its clear coat is still to come."""
        return self._away([np.array(view.lab) for view in self.last.views])

    @property
    def places(self) -> list[int]:
        """Which of the last panel's viewings answers each aim."""
        return places_of(self.goal, self.last, self.belief.model.usual_view)

    def _away(self, labs: Sequence[Array]) -> float:
        return float(self.goal.difference([labs[place] for place in self.places]))

    @property
    def passes(self) -> bool:
        """Whether the last panel is within the tolerance."""
        return self.difference <= self.goal.tolerance.value

    @property
    def state(self) -> str:
        """Of the last panel: ``there``, ``go on`` or ``lost``, as of `Steering`."""
        if self.passes:
            return "there"
        return "go on" if self.options else "lost"

    @property
    def options(self) -> tuple[TopUp, ...]:
        """Coats on top of the last panel, the likeliest first; none where it is there or lost."""
        return () if self.card is None or self.card.best is None else self.card.options

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a recipe that may be sprayed next.

        Returns
        -------
        DataFrame
            Small changes first, ``changes`` saying how many things they change, then other recipes.
        """
        return items_frame([*self.changes, *self.fresh])

    @property
    def panel_words(self) -> str:
        """What to do with the last panel."""
        allowed = self.goal.tolerance
        if self.passes:
            words = (
                f"This panel passes: {allowed.with_unit(self.difference)} to the target"
                f"{self.goal.worst}, {allowed.value:g} allowed."
            )
            if self.last.source == "photo":
                words += (
                    " That is by a photograph: an instrument passes it with a chance of "
                    f"{chance_words(self.now)}."
                )
            return words
        if self.card is not None and self.card.state == "there":
            now = chance_words(self.card.as_is.probability)
            return (
                "No coats on top make this panel likelier to pass than it is "
                f"({now}, were it read again). Spray a fresh one."
            )
        if self.card is not None:
            return self.card.verdict
        return LOOK if self.unfitting else "This panel has no colour coats yet: choose a recipe."

    @property
    def words(self) -> str:
        """All of it, a sentence a line."""
        if self.passes:
            return f"{self.panel_words}\n{self.unfitting or self.film_words}"
        far, read = self.goal.tolerance.with_unit, "The"
        clear = ""
        if self.unfitting:
            read = "As read, the"
        elif self.last.clear_to_come:
            clear = f" under its clear coat ({far(self.difference_as_read)} before it)"
        away = (
            f"{read} last panel is {far(self.difference)} from the target{clear}"
            f"{self.goal.worst}, {self.goal.tolerance.value:g} allowed."
        )
        if self.unfitting:
            return f"{away}\n{self.unfitting}"
        best = self.best
        following = (
            f"Next: {best.words}. Expected {far(best.expected, 1)}; the chance that it passes is "
            f"{chance_words(best.probability)}. {own_words(best.probability, best.own)}".rstrip()
        )
        return "\n".join([away, self.film_words, following, self.panel_words])


def correct(
    model: FilmPredictor | Belief,
    tried: Sequence[Sprayed | tuple[Any, ...]],
    target: Target,
    limits: Limits | None = None,
) -> Advice:
    """Learn from the panels just sprayed, and say what to change.

    Parameters
    ----------
    model : FilmPredictor or Belief
        The archive's fit, or what was believed before these panels.
    tried : sequence
        ``(recipe, reading)``, ``(recipe, readings)`` of one panel under several viewings, or
        ``(recipe, Lab[, viewing])`` of every panel sprayed for this target today, the last one
        last; at least one.
    target : Target
        What is to be matched, and what counts as a match.
    limits : Limits, optional
        What can be mixed and sprayed; the usual ratios and everything the archive knows if None.
        A fresh recipe's ``usual`` clear coat is the last panel's.

    Returns
    -------
    Advice
        Small changes and fresh recipes, each with its chance.

    Raises
    ------
    TargetError
        If nothing was sprayed yet, or the last panel was not read under every viewing of the
        target.

    Examples
    --------
    >>> from matchlib import Reading, Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> sprayed = Recipe.of("pale gold", "cherry", "4@4.5:1", "yes")
    >>> read = Reading(lab=(28.6, 46.3, 30.1))
    >>> advice = correct(demo_model(), [(sprayed, read)], Target.lab(27.1, 45.9, 28.5))
    >>> print(advice.words.splitlines()[0])
    The last panel is ΔE00 1.37 from the target, 1 allowed.
    """
    rows = [Sprayed.of(t) for t in tried]
    if not rows:
        raise TargetError(
            "No panel was sprayed yet.",
            expected="at least one panel with its reading",
            got="none",
            remedy="search for a recipe first, spray it, and read it.",
        )
    limits, last = limits or Limits(), rows[-1]
    before = Belief.of(model, recipes=[last.recipe])
    places_of(target, last, before.model.usual_view)  # refused before anything is learnt
    earlier, aside = learn(before, rows[:-1], limits)
    verdict = weigh(earlier, last, limits)
    fits = verdict.wrong <= DOUBTED
    after = before.after([*(r for r in rows[:-1] if r not in aside), last]) if fits else earlier
    near = {m.recipe: m for m in moves(last.recipe, limits, shelf_of(after.model, limits)[0])}
    wide = fresh_recipes(after.model, limits, usual=last.recipe.clear)
    changes = [
        Scored(**vars(one), words=near[one.recipe].words, changes=near[one.recipe].changes)
        for one in likeliest(after, list(near), target)
    ]
    fresh = [
        Scored(**vars(one), words=one.recipe.words)
        for one in likeliest(after, [r for r in wide if r not in near], target)
    ]
    if not fits:
        # What is on the panel is not known, so nothing is built on it or changed about it.
        fresh = sorted([*changes, *fresh], key=lambda s: -s.probability)[:SHOWN]
        fresh, changes = [replace(s, words=str(s.recipe)) for s in fresh], []
    # Beginning again with another recipe counts as two things changed.
    best = best_of([*changes, *(replace(s, changes=2) for s in fresh[:1])])
    if best is None:
        raise TargetError(
            "There is nothing that could be sprayed.",
            expected="at least one ratio, coat and ground",
            got="none",
            remedy="widen the limits.",
        )
    left_out = aside_words([r.recipe for r in aside])
    shown = [best, *changes[:SHOWN], *fresh[:SHOWN]]
    best, *shown = with_own(after, shown, target, limits)
    advice = Advice(
        belief=after,
        finished=tuple(earlier.finished(last)),
        best=best,
        changes=tuple(shown[: len(changes[:SHOWN])]),
        fresh=tuple(shown[len(changes[:SHOWN]) :]),
        now=1.0,
        card=None,
        goal=target,
        last=last,
        film_words=f"{film_words(*after.film)} {left_out}".rstrip(),
        unfitting="" if fits else f"{unfitting_words(verdict)} No correction of the film is given.",
    )
    card = Card.of(earlier, [last])
    if advice.passes:
        if last.source != "photo":
            return advice
        again = card.together([last.recipe], card.viewed(target)).prediction
        return replace(advice, now=float(target.hope(again).probability[0]))
    if not fits or last.recipe.schedule is None:
        return advice
    return replace(advice, card=advise(card, target, limits, readings_left=0))
