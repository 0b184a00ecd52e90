"""From the readings of a card in progress to what to lay on it next, or to leave it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import lch
from matchlib.correction import Belief, Card, Sprayed, film_words
from matchlib.correction.moves import continuations
from matchlib.correction.weighing import DOUBTED, unfitting_words, weigh
from matchlib.domain import CoatSchedule, MixRatio, Recipe
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.outcome import Outcome, outcomes
from matchlib.plural import counted
from matchlib.steering.checks import check_stages
from matchlib.steering.lookahead import Lookahead
from matchlib.steering.topup import SANDING, TopUp, pot_of
from matchlib.tails import chance_words
from matchlib.target import Target

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["WORTH_A_READING", "Steering", "steer"]

Array = NDArray[np.float64]

WORTH_TRYING = 0.1
"""Least chance for which a card is gone on with, of what a card expected right on the target would
have: another card of what is not known well would pass no more often [-]."""

WORTH_A_COAT = 0.02
"""Chance that further coats must add to a card that may be there already, of the same [-]."""

WORTH_A_READING = 0.02
"""Chance that one more reading must add to be worth its time [-]."""

LIKELY = 0.5
"""Chance from which a card is said to be there [-]."""

SHOWN = 6
"""Top-ups shown."""


@dataclass(frozen=True)
class Steering:
    """What to do with a card that was just read.

    Parameters
    ----------
    state : str
        ``there``: stop; ``go on``: lay the first of the options; ``lost``: clear it for the
        archive, and spray another.
    options : tuple of TopUp
        Coats on top, the best first; none where the stock has no colour left for any.
    as_is : Outcome
        What to expect of the card as it is, finished.
    readings_left : int
        Readings still allowed after further coats.
    goal : Target
        What is to be met.
    card : Card
        What is believed of the card.
    lost : str
        What fails of a lost card: lightness, chroma or hue, with what is wanted; else empty.
    unfitting : str
        What to look at first, where its reading is likelier a slip or a misreading than its own
        recipe with more or less film; else empty.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> two, three = (Recipe.of("pale gold", "cherry", coats) for coats in ("2@3:1", "3@3:1"))
    >>> read, aim = demo_model().predict_recipes([two, three])
    >>> now = steer(demo_model(), [(two, read)], Target.lab(*aim))
    >>> now.chance >= now.as_is.probability
    True
    """

    SHOWN: ClassVar = (
        *("state", ("now", "as_is.probability"), "chance"),
        ("", lambda found: dict(zip("Lab", found.as_is.lab, strict=True))),
        *(("covariance", "as_is.covariance"), ("expected_difference", "as_is.expected")),
        ("film_percent", lambda found: 100.0 * float(np.expm1(found.film[0]))),
        ("film_sd_percent", lambda found: 100.0 * found.film[1]),
        ("fits", lambda found: not found.unfitting),
        *(("looks", "readings_left"), ("doubt", "unfitting"), "options", "words"),
    )

    state: str
    options: tuple[TopUp, ...]
    as_is: Outcome
    readings_left: int
    goal: Target
    card: Card = field(compare=False, repr=False)
    lost: str = ""
    unfitting: str = ""

    @property
    def learnt(self) -> Belief:
        """What the next card begins with: nothing is learnt from what does not fit."""
        return self.card.before if self.unfitting else self.card.learnt

    @property
    def film(self) -> tuple[float, float]:
        """Log film of the card against the archive's, and its sd; the day's where it is unfit."""
        return self.learnt.film if self.unfitting else self.card.film

    @property
    def best(self) -> TopUp | None:
        """What to lay next; None for a card that is there, or lost."""
        return self.options[0] if self.state == "go on" else None

    @property
    def reads_again(self) -> bool:
        """Whether one more reading after what is laid next is worth its time."""
        best = self.best
        if best is None or not self.readings_left:
            return False
        return best.steered > best.probability + WORTH_A_READING

    @property
    def chance(self) -> float:
        """That the card passes if this is followed [-]."""
        best = self.best
        return max((best.steered, best.probability) if best else (self.as_is.probability,))

    @property
    def verdict(self) -> str:
        """What to do, in a sentence or two."""
        likely, best = self.as_is.probability, self.best
        now = chance_words(likely)
        if self.state == "there":
            stop = "Stop, it is there" if likely >= LIKELY else "Stop, no coats make it likelier"
            return (
                f"{stop}: as it is, the finished card passes with a chance of {now}, "
                f"expected {self.goal.tolerance.with_unit(self.as_is.expected, 1)} from the target"
                f"{self.goal.worst}."
            )
        if best is not None:
            sand = f" {SANDING}" if self.cleared else ""
            again = ", then read it again" * self.reads_again
            return (
                f"Lay {best.words}{again}. The chance that the card passes is "
                f"{chance_words(self.chance)}; as it is, {now}.{sand}"
            )
        keep = "Keep" if self.cleared else "Clear"
        return f"This card is lost: {self.lost}. {keep} it for the archive, and spray the next."

    @property
    def cleared(self) -> bool:
        """Whether the card was read under its clear coat."""
        last = self.card.stages[-1]
        return last.recipe.clear is not None and not last.clear_to_come

    @property
    def words(self) -> str:
        """All of it, a sentence a line."""
        if self.unfitting:
            return f"{self.unfitting}\nIf it reads so all the same: {self.verdict}"
        film = film_words(*self.card.film)
        film = film.replace("This sprayer lays", "This card has")
        return f"{self.verdict}\n{film.replace('Film is laid', 'Its film is')}"


def steer(
    model: FilmPredictor | Belief,
    stages: Sequence[Sprayed | tuple[Any, ...]],
    target: Target,
    limits: Limits | None = None,
    *,
    readings_left: int = 1,
    cup_ml: float | None = None,
    sure: bool = False,
) -> Steering:
    """Say what to lay next on a card that was just read.

    Parameters
    ----------
    model : FilmPredictor or Belief
        The archive's fit, or what is believed after today's other cards.
    stages : sequence
        The card's readings so far, one a stage in the order sprayed: each as
        `correct` takes a panel, its recipe all that was on the card then, with
        the clear coat that it is to have.
    target : Target
        What is to be matched, and what counts as a match.
    limits : Limits, optional
        The shop's.
    readings_left : int
        Readings still allowed after further coats, 0 to 3.
    cup_ml : float, optional
        How much is left in the cup of the last coats [mL].
    sure : bool
        Whether readings that cannot be, or do not fit, were taken again and are so.

    Returns
    -------
    Steering
        Coats on top, each with its chance; or to stop; or that the card is lost.

    Raises
    ------
    DomainError
        If the stages do not follow each other, two readings of one stage disagree, or a reading
        is none that such a card can have.
    TargetError
        If the card was not read as the target was.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> two, three = (Recipe.of("pale gold", "cherry", coats) for coats in ("2@3:1", "3@3:1"))
    >>> read, aim = demo_model().predict_recipes([two, three])
    >>> now = steer(demo_model(), [(two, read)], Target.lab(*aim))
    >>> now.state, str(now.best.recipe.schedule)
    ('go on', '3@3:1')
    """
    rows = [Sprayed.of(s) for s in stages]
    bounds = limits or Limits()
    belief = Belief.of(model, recipes=[r.recipe for r in rows])
    rows = check_stages(belief, rows, sure=sure)
    last = rows[-1]
    if last.recipe.schedule is None:
        raise DomainError(
            "This card has no colour coats yet.",
            expected="at least one coat of colour",
            got=str(last.recipe),
            remedy="search for a recipe; a bare reading is worth keeping with the archive.",
        )
    with threadpool_limits(1):  # the blocks are small: threads of the algebra would only wait
        found = advise(
            Card.of(belief, rows), target, bounds, readings_left=readings_left, cup_ml=cup_ml
        )
        verdict = weigh(belief, last, bounds)
    if verdict.wrong <= DOUBTED:
        return found
    words = unfitting_words(verdict)
    return replace(found, unfitting=words.replace("read it again and ", "") if sure else words)


def advise(
    card: Card,
    goal: Target,
    limits: Limits,
    *,
    readings_left: int,
    cup_ml: float | None = None,
    shown: int = SHOWN,
) -> Steering:
    """Say what to lay next on a card of which something is believed."""
    last = card.stages[-1]
    have, views = last.recipe, card.viewed(goal)
    recipes = [have, *continuations(have, limits)]
    # Whatever looks at it on the way, a card is judged by an instrument, as one sprayed blind is.
    judged = card.together(recipes, views)
    outlook = judged.prediction
    hope = goal.hope(outlook)
    chance = np.asarray(hope.probability, float)
    worth = chance
    if readings_left:
        seen = [replace(r, clear=None) if last.clear_to_come else r for r in recipes]
        read = card.together(seen, views, source=last.source)
        ahead = Lookahead.of(card, recipes, goal, judged=judged, read=read)
        rough, last_coats = ahead.value(0, readings_left, ahead.begun)
        # The law as it is counts the last step; how much a reading adds is by the law in brief.
        worth = np.clip(chance + np.maximum(rough[0] - last_coats[0], 0.0), 0.0, 1.0)
        worth[0] = chance[0]
    options, every, coats = [], outcomes(recipes, outlook, hope), _coats(recipes)
    order = 1 + np.lexsort((hope.mean[1:], coats[1:], -worth[1:].round(2)))
    filled = _last_ratio(have)
    # Whoever holds the cup asks first what one more coat of it would do.
    of_cup = [i for i in order if _last_ratio(recipes[i]) == filled][: shown > 1]
    for i in dict.fromkeys([*order[:shown], *of_cup]):
        ratio = _last_ratio(recipes[i])
        added = CoatSchedule.of(int(coats[i] - coats[0]), ratio)
        pot, pot_words = pot_of(ratio, filled, recipes[i], cup_ml=cup_ml)
        fresh = None
        if ratio < filled:
            fresh, otherwise = pot_of(ratio, None, recipes[i])
            pot_words = f"{pot_words}; or {otherwise}"
        options.append(
            TopUp(
                **vars(every[i]),
                added=added,
                steered=float(worth[i]),
                pour=pot,
                words=f"{counted(added.coats, 'coat')} {pot_words}",
                fresh=fresh,
            )
        )
    ends = [0, order[0] if len(order) else 0]
    now, best = float(chance[0]), float(worth[ends[1]])
    right = np.broadcast_to(goal.labs[:, None], (len(views), 2, 3))
    sure = goal.expected(right, outlook.covariance[ends], outlook.dof[ends]).probability
    if now >= WORTH_TRYING * sure[0] and now >= best - WORTH_A_COAT * sure[1]:
        state = "there"
    elif best >= WORTH_TRYING * sure[1]:
        state = "go on"
    else:
        state = "lost"
    return Steering(
        state,
        tuple(options),
        every[0],
        readings_left,
        goal,
        card,
        _failing(goal, outlook.labs, hope.mean, recipes) if state == "lost" else "",
    )


def _failing(goal: Target, labs: Array, away: Array, recipes: Sequence[Recipe]) -> str:
    """Say what of lightness, chroma and hue fails of the recipe that comes nearest."""
    nearest = int(np.argmin(away))
    worst = int(np.argmax(goal.differences(labs[:, nearest])))
    aim, trial = goal.aims[worst], labs[worst][nearest]
    wanted, read = lch(aim.lab), lch(trial)
    alone = np.tile(wanted, (3, 1))  # the target, with one of the three as it is read
    np.fill_diagonal(alone, read)
    hue = np.radians(alone[:, 2])
    across = np.column_stack([alone[:, 1] * np.cos(hue), alone[:, 1] * np.sin(hue)])
    gaps = aim.weight * goal.tolerance.difference(aim.lab, np.column_stack([alone[:, 0], across]))
    failing = [i for i in np.argsort(-gaps) if gaps[i] > goal.tolerance.value]
    failing = failing or [int(np.argmax(gaps))]
    dark, dull = read[0] < wanted[0], read[1] < wanted[1]
    words = (
        f"too {'dark' if dark else 'light'} (L* {read[0]:.1f}, wanted {wanted[0]:.1f})",
        f"too {'dull' if dull else 'vivid'} (chroma {read[1]:.1f}, wanted {wanted[1]:.1f})",
        f"off in hue ({read[2]:.0f}°, wanted {wanted[2]:.0f}°)",
    )
    where = f" at {aim.viewing}" if len(goal.aims) > 1 else ""
    why = f"{' and '.join(words[i] for i in failing)}{where}"
    if len(recipes) == 1:
        return f"{why}, and of its colour there is too little left for coats on top"
    if nearest:
        coats = _coats(recipes)
        more = int(coats[nearest] - coats[0])
        why = f"with {counted(more, 'coat')} on top, where it comes nearest, {why}"
    if 0 in failing and dark and not nearest:
        return f"{why}, and coats only take light away"
    return f"{why}, and no coats on top mend that: it needs another ground or pot"


def _last_ratio(recipe: Recipe) -> MixRatio:
    return recipe.layers[-1][1].steps[-1].ratio


def _coats(recipes: Sequence[Recipe]) -> Array:
    return np.array([r.coats for r in recipes], float)
