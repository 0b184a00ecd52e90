"""Coats that may be laid on top of a card, and the pot that each comes out of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from matchlib.correction.moves import ratio_words
from matchlib.domain import CoatSchedule, Colour, MixRatio, Recipe
from matchlib.errors import DomainError
from matchlib.mixing.pour import Pour, Remainder, most_kept, pour
from matchlib.outcome import Outcome

__all__ = ["SANDING", "TopUp", "let_down", "pot_of"]

Array = NDArray[np.float64]

SANDING = (
    "It is under its clear coat: sand it before these coats, and clear it a second time after them."
)
"""What coats on top of a cleared card cost."""

POT_ML = 100.0
"""Pot that is told of where nobody said how much is wanted [mL]."""


@dataclass(frozen=True)
class TopUp(Outcome):
    """Coats on top of a card, and what `Outcome` says of it if they are its last, finished.

    Parameters
    ----------
    added : CoatSchedule
        The coats on top.
    steered : float
        That it passes if it is read and built on after them, as often as is still allowed [-].
    pour : Pour
        What is mixed for them, from what is in the cup or fresh.
    words : str
        What to do.
    fresh : Pour, optional
        The same ratio mixed fresh, where the pour lets the cup down: the cup stays as it is.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> from matchlib.steering import steer
    >>> two, three = (Recipe.of("pale gold", "cherry", coats) for coats in ("2@3:1", "3@3:1"))
    >>> read, aim = demo_model().predict_recipes([two, three])
    >>> now = steer(demo_model(), [(two, read)], Target.lab(*aim))
    >>> now.best.added.coats
    1
    """

    SHOWN: ClassVar = (
        *(("schedule", "recipe.schedule"), "added"),
        ("", lambda one: dict(zip("Lab", one.lab, strict=True))),
        *("covariance", ("expected_difference", "expected"), "probability", "steered"),
        *(("pot", "pour"), ("fresh_pot", "fresh"), "words"),
    )

    added: CoatSchedule
    steered: float
    pour: Pour
    words: str
    fresh: Pour | None = None

    @property
    def brief(self) -> str:
        """The coats and the pot that they come of, without what is poured."""
        return self.words.partition(": ")[0]


def pot_of(
    ratio: MixRatio, cup: MixRatio | None, recipe: Recipe, *, cup_ml: float | None = None
) -> tuple[Pour, str]:
    """Return the pot of coats on top, from what is in the cup where that can be."""
    if recipe.schedule is None:
        raise DomainError("A bare ground has no pot.", expected="coats of colour", got=str(recipe))
    colour = recipe.schedule.steps[-1].colour or recipe.colour
    if cup == ratio:
        made = Pour(ratio, cup_ml or POT_ML, (), Remainder(cup_ml or POT_ML, ratio))
        return made, "of what is in the cup"
    if cup is not None and ratio < cup:
        kept = cup_ml or POT_ML
        made = let_down(cup, ratio, kept, colour=colour)
        more = made.ml("carrier")
        return made, f"of the cup let down to {ratio}: {more:.0f} ml carrier to {kept:.0f} ml of it"
    made = pour(POT_ML, ratio, colour=colour)
    richer = "" if cup is None else ", for the cup is weaker"
    return made, f"of a fresh pot of {ratio_words(ratio)}{richer}: {made.words()}"


def let_down(cup: MixRatio, to: MixRatio, cup_ml: float, *, colour: Colour | None = None) -> Pour:
    """Return the cup let down to a weaker ratio."""
    if to > cup:
        raise DomainError(
            "A cup cannot be let down to a richer mix.",
            expected=f"{cup} or weaker",
            got=str(to),
            remedy=f"mix a fresh pot of {to}, or lay more coats of {cup}.",
        )
    total = cup_ml * cup.fraction / to.fraction
    kept = Remainder(min(cup_ml, most_kept(total, to, cup)), cup)
    return pour(total, to, colour=colour, kept=kept)
