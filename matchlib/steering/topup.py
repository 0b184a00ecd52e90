"""Coats that may be laid on top of a card, and the pot that each comes out of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from matchlib.correction.moves import ratio_words
from matchlib.domain import CoatSchedule, MixRatio, Recipe
from matchlib.mixing import format_volume
from matchlib.mixing.pour import Pour, Remainder, most_kept, pour
from matchlib.outcome import Outcome

__all__ = ["SANDING", "TopUp", "pot_of"]

SANDING = (
    "It is under its clear coat: sand it before these coats, and clear it a second time after "
    "them. Extract the dust, which may still hold isocyanate, and wear what the data sheet names."
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
    colour, kept = recipe.layers[-1][0], cup_ml or POT_ML
    if cup == ratio:
        return Pour(ratio, kept, (), Remainder(kept, ratio)), "of what is in the cup"
    if cup is not None and ratio < cup:
        total = kept * cup.fraction / ratio.fraction
        held = Remainder(min(kept, most_kept(total, ratio, cup)), cup)
        made = pour(total, ratio, colour=colour, kept=held)
        more = format_volume(made.ml("carrier"))
        have = format_volume(kept)
        return made, f"of the cup let down to {ratio}: {more} carrier to {have} of it"
    made = pour(POT_ML, ratio, colour=colour)
    richer = "" if cup is None else ", for the cup is weaker"
    return made, f"of a fresh pot of {ratio_words(ratio)}{richer}: {made.words()}"
