"""After a test panel: what to change, in the words of the booth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.correction.belief import Belief
from matchlib.correction.moves import fresh_recipes, grounds_at_hand, moves
from matchlib.correction.rescue import Rescue, rescue
from matchlib.correction.scoring import Scored, best_of, places_of, scored
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import Today
from matchlib.correction.weighing import DOUBTED, LOOK, aside_words, unfitting_words, weigh
from matchlib.domain import Reading
from matchlib.errors import TargetError
from matchlib.listing import items_frame
from matchlib.mixing import Limits
from matchlib.tails import chance_words
from matchlib.target import Target

if TYPE_CHECKING:
    import pandas as pd

    from matchlib.regression import FilmPredictor

__all__ = ["Advice", "correct", "film_words", "learn"]

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
    difference : float
        Of the last panel, finished, to the target, in the tolerance's unit (ΔE00 unless the order
        names another).
    difference_as_read : float
        Of the last panel as it was read: the same, unless its clear coat is still to come.
    finished : tuple of ndarray, shape (3,)
        CIELAB of the last panel, finished, under each of its viewings.
    best : Scored
        What to spray next.
    changes : tuple of Scored
        Small changes to the last panel, the likeliest first.
    fresh : tuple of Scored
        Other recipes, the likeliest first.
    rescue : Rescue
        Whether the panel in hand can still be built on.
    film : tuple of 2 float
        Today's log film against the archive's, and its standard deviation [-].
    film_words : str
        The same in a sentence.
    tolerance : float
        Greatest difference that passes.
    goal : Target
        What was to be met.
    last : Sprayed
        The panel just sprayed, with its readings.
    fits : bool
        Whether the last panel's reading is likelier its own recipe, with more or less film, than a
        slip of the back or a misreading. If not, nothing was learnt from it: there are no changes
        to it, no coats on top, and what else is said is as if it had not been sprayed.
    fits_words : str
        If not, what it may be instead.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> from matchlib.demo import demo_model
    >>> sprayed = Recipe.of("pale gold", "cherry", "3@3:1", "yes")
    >>> read = Reading(lab=(27.0, 45.9, 28.3))
    >>> advice = correct(demo_model(), [(sprayed, read)], (27.1, 45.9, 28.5))
    >>> advice.rescue.state, advice.difference < 1
    ('passes', True)
    """

    belief: Belief
    difference: float
    difference_as_read: float
    finished: tuple[Array, ...]
    best: Scored
    changes: tuple[Scored, ...]
    fresh: tuple[Scored, ...]
    rescue: Rescue
    film: tuple[float, float]
    film_words: str
    tolerance: float
    goal: Target
    last: Sprayed
    fits: bool = True
    fits_words: str = ""

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a recipe that may be sprayed next.

        Returns
        -------
        DataFrame
            Small changes first, ``changes`` saying how many things they change, then other recipes.
        """
        return items_frame([*self.changes, *self.fresh])

    @property
    def words(self) -> str:
        """All of it, a sentence a line."""
        if not self.fits:
            return self._unfitting
        if self.rescue.state == "passes":
            return f"{self.rescue.words}\n{self.film_words}"
        chance = chance_words(self.best.probability)
        clear, far = "", self.goal.tolerance.with_unit
        if self.last.clear_to_come:
            clear = f" under its clear coat ({far(self.difference_as_read)} before it)"
        lines = [
            f"The last panel is {far(self.difference)} from the target{clear}"
            f"{self.goal.worst}, {self.tolerance:g} allowed.",
            self.film_words,
            f"Next: {self.best.words}. Expected "
            f"{far(self.best.expected, 1)}; "
            f"the chance that it passes is {chance}.",
            self.rescue.words,
        ]
        return "\n".join(lines)

    @property
    def _unfitting(self) -> str:
        if self.rescue.state == "passes":
            return f"{self.rescue.words}\n{self.fits_words}"
        away = self.goal.tolerance.with_unit(self.difference)
        away = f"As read, the last panel is {away} from the target"
        return f"{away}{self.goal.worst}, {self.tolerance:g} allowed.\n{self.fits_words}"


def film_words(film: float, sd: float) -> str:
    """Say how heavily today's sprayer lays.

    Parameters
    ----------
    film : float
        Log film against the archive [-].
    sd : float
        Its standard deviation [-].

    Returns
    -------
    str
        A sentence.

    Examples
    --------
    >>> film_words(0.06, 0.02)
    'This sprayer lays about 6%...'
    """
    percent, give = 100.0 * float(np.expm1(film)), 100.0 * sd
    if abs(film) < max(0.5 * sd, 0.01):
        return f"Film is laid as in the archive, give or take {give:.0f}%."
    word = "more" if film > 0 else "less"
    sure = "about" if abs(film) > 2.0 * sd else "perhaps"
    return (
        f"This sprayer lays {sure} {abs(percent):.0f}% {word} film than the archive "
        f"(give or take {give:.0f}%)."
    )


def correct(
    model: FilmPredictor | Belief,
    tried: Sequence[Sprayed | tuple[Any, ...]],
    target: ArrayLike | Reading | Target,
    limits: Limits | None = None,
    *,
    tolerance: float = 1.0,
    today: Today | None = None,
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
    target : array_like, shape (3,), or Reading or Target
        Lab to match, viewed as the last panel was; or what brings its own viewings and tolerance,
        such as a `matchlib.target.Target`.
    limits : Limits, optional
        What can be mixed and sprayed; the usual ratios and everything the archive knows if None.
        A fresh recipe's ``usual`` clear coat is the last panel's.
    tolerance : float
        ΔE00 that passes, where the target does not say.
    today : Today, optional
        Spreads believed beforehand; `Today.learnt` if None. Not used with a Belief.

    Returns
    -------
    Advice
        Small changes and fresh recipes, each with its chance.

    Raises
    ------
    TargetError
        If nothing was sprayed yet, the target is no Lab, or the last panel was not read under
        every viewing of the target.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> from matchlib.demo import demo_model
    >>> sprayed = Recipe.of("pale gold", "cherry", "4@4.5:1", "yes")
    >>> read = Reading(lab=(28.6, 46.3, 30.1))
    >>> advice = correct(demo_model(), [(sprayed, read)], (27.1, 45.9, 28.5))
    >>> print(advice.words.splitlines()[0])
    The last panel is ΔE00 1.37 from the target, 1 allowed.
    """
    rows = [Sprayed.of(t) for t in tried]
    goal = _goal(target, rows, tolerance)
    limits = limits or Limits()
    before = (
        model if isinstance(model, Belief) else Belief.of(model, today, recipes=[rows[-1].recipe])
    )
    last = rows[-1]
    believed = _believed(before, rows[:-1], limits)
    earlier = before.after(believed)
    verdict = weigh(earlier, last, limits)
    fits = verdict.wrong <= DOUBTED
    after = before.after([*believed, last]) if fits else earlier
    finished = tuple(earlier.finished(last))
    near = moves(last.recipe, limits, grounds_at_hand(after.model, limits))
    small = scored(
        after,
        [m.recipe for m in near],
        goal,
        tolerance=goal.tolerance.value,
        words=[m.words for m in near],
        changes=[m.changes for m in near],
    )
    close = {m.recipe for m in near}
    other = fresh_recipes(after.model, limits, usual=last.recipe.clear)
    wide = [r for r in other if r not in close]
    fresh = scored(after, wide, goal, tolerance=goal.tolerance.value)
    hand = rescue(earlier, last, goal, limits)
    if not fits:
        # What is on the panel is not known, so nothing is built on it or changed about it.
        fresh, small = sorted([*small, *fresh], key=lambda s: -s.probability), []
        fresh = [replace(s, words=str(s.recipe)) for s in fresh[:SHOWN]]
        if hand.state != "passes":
            hand = Rescue("another way", (), LOOK)
    # Beginning again with another recipe counts as two things changed.
    best = best_of([*small, *(replace(s, changes=2) for s in fresh[:1])])
    if best is None:
        raise TargetError(
            "There is nothing that could be sprayed.",
            expected="at least one ratio, coat and ground",
            got="none",
            remedy="widen the limits.",
        )
    mean, sd = after.film
    aside = aside_words([r.recipe for r in rows[:-1] if r not in believed])
    return Advice(
        belief=after,
        difference=float(goal.difference([finished[i] for i in places_of(goal, last)])),
        difference_as_read=float(
            goal.difference([np.array(last.views[i].lab) for i in places_of(goal, last)])
        ),
        finished=finished,
        best=best,
        changes=tuple(small[:SHOWN]),
        fresh=tuple(fresh[:SHOWN]),
        rescue=hand,
        film=(mean, sd),
        film_words=f"{film_words(mean, sd)} {aside}".rstrip(),
        tolerance=goal.tolerance.value,
        goal=goal,
        last=last,
        fits=fits,
        fits_words=""
        if fits
        else f"{unfitting_words(verdict)} No correction of the film is given.",
    )


def learn(
    before: Belief, tried: Sequence[Sprayed | tuple[Any, ...]], limits: Limits | None = None
) -> tuple[Belief, tuple[Sprayed, ...]]:
    """Learn from those of the panels just sprayed that are what their backs say.

    Parameters
    ----------
    before : Belief
        Before these panels.
    tried : sequence
        As for `correct`; none is allowed.
    limits : Limits, optional
        What can be mixed and sprayed.

    Returns
    -------
    belief : Belief
        After them.
    unfitting : tuple of Sprayed
        Those that are likelier something else, of which nothing was learnt.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> belief = Belief.of(demo_model())
    >>> after, aside = learn(belief, [(recipe, belief.predict_recipes([recipe])[0])])
    >>> after.panels, aside
    (1, ())
    """
    rows = [Sprayed.of(t) for t in tried]
    believed = _believed(before, rows, limits or Limits())
    return before.after(believed), tuple(r for r in rows if r not in believed)


def _believed(before: Belief, rows: Sequence[Sprayed], limits: Limits) -> list[Sprayed]:
    believed: list[Sprayed] = []
    for row in rows:
        if weigh(before.after(believed), row, limits).wrong <= DOUBTED:
            believed.append(row)
    return believed


def _goal(
    target: ArrayLike | Reading | Target, rows: Sequence[Sprayed], tolerance: float
) -> Target:
    if not rows:
        raise TargetError(
            "No panel was sprayed yet.",
            expected="at least one panel with its reading",
            got="none",
            remedy="search for a recipe first, spray it, and read it.",
        )
    if isinstance(target, Target):
        places_of(target, rows[-1])
        return target
    viewing = rows[-1].viewing
    if isinstance(target, Reading):
        if target.lab is not None and target.viewing != viewing:
            raise TargetError(
                "The target and the panel were not viewed alike.",
                expected=str(viewing),
                got=str(target.viewing),
                remedy="read both under one light, observer and geometry.",
            )
        lab = Sprayed.of((rows[-1].recipe, target)).lab
    else:
        lab = target  # type: ignore[assignment]  # checked below
    aim = np.asarray(lab, float)
    if aim.shape != (3,) or not np.isfinite(aim).all():
        raise TargetError(
            "This target is not a Lab.",
            expected="L, a and b",
            got=repr(target)[:80],
            remedy="read the target again.",
        )
    return Target.of(aim, tolerance=tolerance, viewing=viewing)
