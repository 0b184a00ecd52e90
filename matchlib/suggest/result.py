"""What is suggested, as data that says itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.listing import Ranked, html_of
from matchlib.outcome import Outcome
from matchlib.sample import own_words
from matchlib.suggest.reach import OUT_OF_REACH
from matchlib.tails import chance_words
from matchlib.target import Target

__all__ = ["Suggestion", "Suggestions", "with_ties"]

Array = NDArray[np.float64]


@dataclass(frozen=True, repr=False)
class Suggestion(Outcome):
    """One recipe, and what to expect of it, beside what `Outcome` holds.

    Parameters
    ----------
    delta_e00 : float
        ΔE00 of the predicted colour to the target under its first viewing.
    known_share : float
        Share of the variance that more panels would remove [-].
    why : str
        One sentence.
    combination : str
        Ground and colour, whatever the coats.
    never_sprayed : tuple of str
        What about it no panel of the archive shows.
    rounding_loss : float
        What rounding to measurable parts costs in the tolerance's unit; 0 or more.
    note : str
        Ties with other suggestions, in words; empty for none.
    labs : tuple of tuple of 3 float
        Predicted CIELAB under every viewing of the target.
    own : float, optional
        Chance that it passes if the sample itself was sprayed from the archive's grounds and
        colours, so that its hue is one that they make [-]; None if it cannot have been.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> from matchlib.suggest import suggest
    >>> found = suggest(demo_model(), Target.lab(27.1, 45.9, 28.5), Limits(blends=False), top=1)[0]
    >>> print(found.recipe)
    cherry over pale gold, 3@3:1
    >>> 0.5 < found.probability < 1
    True
    """

    delta_e00: float
    known_share: float
    why: str
    combination: str
    never_sprayed: tuple[str, ...] = ()
    rounding_loss: float = 0.0
    note: str = ""
    labs: tuple[tuple[float, float, float], ...] = ()
    own: float | None = None

    @property
    def own_words(self) -> str:
        """What the chance is of a sample sprayed here; empty where it is no other."""
        return own_words(self.probability, self.own)

    def __repr__(self) -> str:
        return (
            f"<{self.recipe}: next panel {self.expected:.2f} ± "
            f"{self.sd:.2f}, passes with a chance of {chance_words(self.probability)}>"
        )


@dataclass(frozen=True, repr=False)
class Suggestions(Ranked[Suggestion]):
    """Suggestions, best first.

    Parameters
    ----------
    items : tuple of Suggestion
        At least one.
    target : Target
        What was to be matched.
    reach : float
        Chance that some recipe within the limits, as it is on average, is within the tolerance [-].
    why_not : str
        How the nearest misses, or which panel would tell, in words; empty for a target that can be
        reached.
    searched : int
        Recipes that were looked at.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> from matchlib.suggest import suggest
    >>> found = suggest(demo_model(), Target.lab(66.0, 68.0, 72.0), Limits(blends=False), top=2)
    >>> len(found), found.reachable, found.why_not.startswith("Out of reach")
    (2, False, True)
    """

    items: tuple[Suggestion, ...]
    target: Target
    reach: float
    why_not: str
    searched: int

    @property
    def reachable(self) -> bool:
        """Whether the target is not out of reach; it may be doubtful."""
        return self.reach >= OUT_OF_REACH

    def __repr__(self) -> str:
        lines = [f"Suggestions for {self.target}:", *(f"  {item!r}" for item in self.items)]
        return "\n".join([*lines, *([self.why_not] if self.why_not else [])])

    def _repr_html_(self) -> str:
        table = self.to_frame()
        shown = ["ground", "colour", "schedule", "L", "a", "b"]
        numbers = ["expected", "sd", "probability", "never_sprayed"]
        first = self.target.aims[0].lab
        caption = f"Target, left in each swatch: {self.target}. {self.why_not}".rstrip()
        return html_of(table[shown + numbers], caption=caption, beside=first)


def with_ties(made: list[Suggestion], floors: Array) -> list[Suggestion]:
    """Say which suggestions one panel each could not tell apart."""
    result = []
    for i, one in enumerate(made):
        alike = [
            str(j + 1)
            for j, other in enumerate(made)
            if j != i and abs(other.expected - one.expected) < 0.15 * floors[i]
        ]
        note = ""
        if alike:
            number = "number" if len(alike) == 1 else "numbers"
            note = (
                f"As good as {number} {', '.join(alike)}, as far as the spread of spraying lets "
                "anyone tell; the order is by less trouble."
            )
        result.append(replace(one, note=note))
    return result
