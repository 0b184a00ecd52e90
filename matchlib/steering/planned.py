"""How one card is to be sprayed and read, and what to expect of it: data that says itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, ClassVar

from matchlib.domain import Lab, Recipe
from matchlib.job import Plan
from matchlib.listing import Ranked
from matchlib.plain import rounded_lab, shown
from matchlib.sample import own_words
from matchlib.tails import chance_words

if TYPE_CHECKING:
    from matchlib.suggest import Suggestion, Suggestions
    from matchlib.target import Target

__all__ = ["CardPlan", "CardPlans", "Likely", "PlannedReading"]


@dataclass(frozen=True)
class PlannedReading:
    """A reading on the way."""

    SHOWN: ClassVar = (
        "after",
        ("schedule", lambda one: one.recipe.cells["schedule"]),
        ("", lambda one: rounded_lab(one.lab)),
        ("sd", lambda one: [round(v, 3) for v in one.sd]),
    )

    recipe: Recipe  # all that is on the card then, without its clear coat if it is read before that
    lab: Lab  # CIELAB expected under the target's first viewing
    sd: Lab  # and its standard deviation

    @property
    def after(self) -> int:
        """Coats on the card."""
        return self.recipe.coats


@dataclass(frozen=True)
class Likely:
    """What follows from a reading that may come."""

    SHOWN: ClassVar = (
        *("case", ("", lambda one: rounded_lab(one.lab)), "state", "words"),
        ("chance", lambda one: round(one.chance, 4)),
    )

    case: str  # ``light``, ``as expected`` or ``dark``
    lab: Lab  # the reading at the first look
    state: str  # as of `matchlib.steering.Steering`
    words: str  # what to do then
    chance: float  # that the card passes then [-]


@dataclass(frozen=True)
class CardPlan:
    """A card sprayed up to a first look and steered from there.

    Parameters
    ----------
    first : Recipe
        The coats up to the first look, with the clear coat that the card is to have; the whole
        recipe where it is sprayed blind.
    whole : Recipe
        All coats, if everything reads as expected.
    planned_readings : tuple of PlannedReading
        The readings on the way, if everything reads as expected; none for a card sprayed blind.
    steered : float
        Chance that this card passes, read and built on so [-].
    blind : float
        Chance that it passes if the nearest recipe of this ground and pot is sprayed blind [-].
    by_readings : tuple of float
        Chance that it passes with no reading, with one, and so on, each in its best way [-].
    likely : tuple of Likely
        What follows from readings at the first look: a card that came out light, as expected, and
        dark; worked out for the first of many alone.
    suggestion : Suggestion, optional
        The recipe of this ground and pot to spray blind; None where a card of today has taught
        what the archive did not know.
    own : float, optional
        Chance that this card passes if the sample itself was sprayed from the archive's grounds and
        colours, so that its hue is one that they make [-]; worked out for the first of many alone.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> from matchlib.steering import plan
    >>> aim, neat = Target.lab(27.1, 45.9, 28.5), Limits(blends=False)
    >>> one = plan(demo_model(), aim, neat, readings=1, top=1)[0]
    >>> one.blind <= one.steered
    True
    """

    SHOWN: ClassVar = (
        ("ground", "first.ground"),
        ("colour", lambda p: p.first.cells["colour"]),
        ("first", lambda p: p.first.cells["schedule"]),
        ("whole", lambda p: p.whole.cells["schedule"]),
        ("clear", lambda p: p.first.cells["clear"]),
        (
            "looks",
            lambda p: [shown(one) | {"before_clear": p.bare_at(one)} for one in p.planned_readings],
        ),
        "likely",
        ("steered", lambda p: round(p.steered, 4)),
        ("blind", lambda p: round(p.blind, 4)),
        ("own", lambda p: None if p.own is None else round(p.own, 4)),
        ("by_looks", lambda p: [round(v, 4) for v in p.by_readings]),
        "words",
    )

    first: Recipe
    whole: Recipe
    planned_readings: tuple[PlannedReading, ...]
    steered: float
    blind: float
    by_readings: tuple[float, ...]
    likely: tuple[Likely, ...] = ()
    suggestion: Suggestion | None = field(default=None, compare=False)
    own: float | None = None

    def bare_at(self, reading: PlannedReading) -> bool:
        """Return whether a reading is before the clear coat that the card is to have."""
        return bool(self.first.clear) and reading.recipe.clear is None

    @property
    def plan(self) -> Plan:
        """The same as a job keeps it."""
        return Plan(self.whole, read_after=(self.first.coats,) if self.planned_readings else ())

    @property
    def words(self) -> str:
        """What to do, a sentence a line."""
        own = f" {self.own_words}" * bool(self.own_words)
        if not self.planned_readings:
            return (
                f"Spray {self.whole.words}. The chance that the card passes is "
                f"{chance_words(self.blind)}.{own}"
            )
        reading = self.planned_readings[0]
        light, red, yellow = reading.lab
        clear = " before its clear coat" if self.bare_at(reading) else ""
        lines = [
            f"Spray {self.first.words}; let it dry, and read it{clear}: about L {light:.1f}, "
            f"a {red:.1f}, b {yellow:.1f}.",
            *(f"If it reads {one.case}: {one.words}" for one in self.likely),
            f"This card passes with a chance of {chance_words(self.steered)}; sprayed blind, "
            f"{chance_words(self.blind)}.{own}",
        ]
        return "\n".join(lines)

    @property
    def own_words(self) -> str:
        """What the chance is of a sample sprayed here; empty where it is no other."""
        return own_words(self.steered, self.own)


@dataclass(frozen=True)
class CardPlans(Ranked[CardPlan]):
    """Plans, best first.

    Parameters
    ----------
    items : tuple of CardPlan
        At least one.
    target : Target
        What is to be matched.
    readings : int
        Looks allowed on the way.
    suggestions : Suggestions
        The search by which grounds and pots were found.
    notes : tuple of str
        What to know of all of them.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> from matchlib.steering import plan
    >>> aim, neat = Target.lab(27.1, 45.9, 28.5), Limits(blends=False)
    >>> plan(demo_model(), aim, neat, readings=1, top=2).to_frame().shape[0]
    2
    """

    items: tuple[CardPlan, ...]
    target: Target
    readings: int
    suggestions: Suggestions
    notes: tuple[str, ...] = ()

    def ranked(self, top: int) -> Suggestions:
        """Return the recipes to spray blind, those of the plans first and in their order.

        Parameters
        ----------
        top : int
            How many, at most.

        Returns
        -------
        Suggestions
            After them other recipes of the search.
        """
        own = [p.suggestion for p in self.items if p.suggestion is not None]
        planned = {s.recipe for s in own}
        more = [s for s in self.suggestions if s.recipe not in planned]
        # Which of them are as good as others blind was said of another order.
        kept = [replace(s, note="") if self.readings else s for s in [*own, *more][:top]]
        return replace(self.suggestions, items=tuple(kept))
