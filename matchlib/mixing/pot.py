"""From a recipe and a job to the pots that are mixed for it, each from what is left of the last."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import ClassVar

from matchlib.domain import CoatSchedule, Colour, MixRatio, Recipe
from matchlib.errors import DomainError
from matchlib.mixing.area import JobArea
from matchlib.mixing.film_use import CoatUse
from matchlib.mixing.mix import Third
from matchlib.mixing.pour import Portion, Pour, Remainder, by_marks, most_kept, pour
from matchlib.mixing.stated import RatioQuestion, ratio_questions
from matchlib.mixing.units import format_volume, positive
from matchlib.plural import counted

__all__ = ["ACTIVATED", "LEAST_ML", "RESIDUE_ML", "CoatGroup", "Pot", "pot"]

LEAST_ML = 50.0
"""Least mix worth making [mL]: less is measured badly and the gun spits on it. Common practice, no
source."""

RESIDUE_ML = 15.0
"""What stays in cup, strainer and gun at each ratio [mL]. Common practice, no source."""

ACTIVATED = (
    "What is left over is activated: it warms up, may give off gas and goes on curing. Do not seal "
    "it tight or pour it back into a bottle; let it cure as its data sheet says, away from the "
    "work and from anything that burns."
)


@dataclass(frozen=True, slots=True)
class CoatGroup:
    """The coats sprayed at one ratio, and the pot made ready for them."""

    coats: int  # coats at this ratio
    pour: Pour  # the pot that is enough with the chosen chance, residue included
    expected_ml: float  # what the gun is expected to spray [mL], without residue
    residue_ml: float  # what stays in cup, strainer and gun [mL]
    fills: int  # times the gun's cup is filled from it
    SHOWN: ClassVar = ("coats", "pour", "expected_ml", "residue_ml", "left_ml", "fills")

    @property
    def left_ml(self) -> float:
        """What is expected to be left in the pot beyond the residue [mL]."""
        return max(0.0, self.pour.total_ml - self.expected_ml - self.residue_ml)

    def words(self, unit: str = "ml") -> str:
        """Say what to mix for these coats."""
        made, ratio = self.pour, self.pour.ratio
        text = (
            f"{counted(self.coats, 'coat')} at {ratio} ({ratio.words}): "
            f"{made.words(unit)}; about {format_volume(self.expected_ml, unit)} will be sprayed."
        )
        if made.marks:
            text += f" By the cup: {made.marks}."
        if made.scale:
            text += f" By weight: {made.scale}."
        if self.fills > 1:
            each = format_volume(made.total_ml / self.fills, unit)
            text += f" {self.fills} fillings of the gun's cup, {each} each."
        return text


@dataclass(frozen=True, slots=True)
class Pot:
    """All pots of a job; what comes out of the bottles is counted once.

    Parameters
    ----------
    groups : tuple of CoatGroup
        In the order sprayed.
    area : JobArea
        What is sprayed.
    use : CoatUse
        What a coat takes.
    chance : float
        Chance that no pot runs out [-].
    third : Third, optional
        Reducer or hardener.
    pot_life_min : float, optional
        From the data sheet [min].
    questions : tuple of RatioQuestion
        What to ask before pouring.

    Examples
    --------
    >>> from matchlib import CoatSchedule
    >>> from matchlib.mixing import CoatUse, JobArea
    >>> use = CoatUse.of_panel(45.0, area_m2=0.25, coats=2)
    >>> made = pot(CoatSchedule.parse("3@6:1"), area=JobArea.flat(0.5), use=use)
    >>> [(need.name, round(need.ml)) for need in made.needs]
    [('carrier', 187), ('colour', 31)]
    """

    groups: tuple[CoatGroup, ...]
    area: JobArea
    use: CoatUse
    chance: float
    third: Third | None = None
    pot_life_min: float | None = None
    questions: tuple[RatioQuestion, ...] = ()
    SHOWN: ClassVar = (
        *(("area_m2", "area.sprayed_m2"), ("area", "area.text"), ("use", "use.text")),
        *("chance", "groups", "needs", "total_ml", "left_ml", "pot_life_min", "activated"),
        "questions",
    )

    @property
    def needs(self) -> tuple[Portion, ...]:
        """What comes out of each bottle in all."""
        sums: dict[tuple[str, str], Portion] = {}
        for portion in (p for g in self.groups for p in g.pour.portions):
            key = (portion.kind, portion.name)
            so_far = sums[key].ml if key in sums else 0.0
            sums[key] = Portion(*key, so_far + portion.ml, portion.density)
        return tuple(p for p in sums.values() if p.ml > 0)

    @property
    def total_ml(self) -> float:
        """All that comes out of the bottles [mL]."""
        return math.fsum(p.ml for p in self.needs)

    @property
    def left_ml(self) -> float:
        """What is likely left over in all, beyond the residue and what the next pot took [mL]."""
        return math.fsum(g.left_ml for g in self.groups) - math.fsum(
            g.pour.kept_ml for g in self.groups
        )

    @property
    def activated(self) -> bool:
        """Whether a pot life runs."""
        return self.third is not None and self.third.hardens

    @property
    def pot_life(self) -> str:
        """The pot life in words; empty where there is none."""
        if self.pot_life_min is None:
            return ""
        return (
            f"Pot life {self.pot_life_min:g} min by the data sheet, from when the first hardener "
            "goes in. Adding to the pot does not start it afresh; a warm shop shortens it."
        )

    def words(self, unit: str = "ml") -> str:
        """Say what to mix, step by step and in all.

        Parameters
        ----------
        unit : str
            Unit of volume.

        Returns
        -------
        str
            Lines parted by newlines.
        """
        needs = ", ".join(f"{format_volume(p.ml, unit)} {p.words}" for p in self.needs)
        lines = [f"Area: {self.area.text}.", f"Use: {self.use.text}."]
        lines += [g.words(unit) for g in self.groups]
        if any(g.pour.kept for g in self.groups):
            lines.append(
                "Measure what is left before you add to it; if there is less, make up the "
                "difference at the ratio it has."
            )
        stays = format_volume(self.groups[0].residue_ml, unit)
        lines += [
            f"From the bottles in all: {needs}.",
            f"That is enough with a chance of {100 * self.chance:.3g}%, as far as the use above is "
            f"known. {stays} a pot is allowed for cup, strainer and gun; about "
            f"{format_volume(self.left_ml, unit)} is likely to be left over.",
        ]
        lines += [self.pot_life] if self.pot_life else []
        lines += [ACTIVATED] if self.activated else []
        lines += [f"Ask first: {q.text}" for q in self.questions]
        return "\n".join(lines)

    @property
    def text(self) -> str:
        """What to mix, in millilitres."""
        return self.words()


def pot(
    recipe: Recipe | CoatSchedule,
    *,
    area: JobArea,
    use: CoatUse,
    chance: float = 0.95,
    residue_ml: float = RESIDUE_ML,
    least_ml: float = LEAST_ML,
    gun_cup_ml: float | None = None,
    mark_ml: float | None = None,
    third: Third | None = None,
    pot_life_min: float | None = None,
    densities: Mapping[str, float] | None = None,
) -> Pot:
    """Work out the pots of a job.

    Parameters
    ----------
    recipe : Recipe or CoatSchedule
        What is sprayed.
    area : JobArea
        On how much.
    use : CoatUse
        What a coat takes out of the cup.
    chance : float
        Chance of not running out [-], 0.5 to 0.999.
    residue_ml : float
        What stays in cup, strainer and gun at each ratio [mL].
    least_ml : float
        Least mix worth making [mL].
    gun_cup_ml : float, optional
        What the gun's cup holds [mL]; a larger pot is sprayed in equal fillings.
    mark_ml : float, optional
        A measuring cup's mark [mL]: every pot is then whole marks of it.
    third : Third, optional
        Reducer or hardener in every pot.
    pot_life_min : float, optional
        From the data sheet [min].
    densities : mapping of str to float, optional
        Density [g/mL] by colour name, under ``carrier`` and the third's name, to get weights too.

    Returns
    -------
    Pot
        One pot for each ratio, in the order sprayed, each but the first begun with what is expected
        to be left of the one before, as far as adding alone can turn it. As one uncertainty runs
        through all coats, the chance holds for the whole job.

    Raises
    ------
    DomainError
        If the recipe is a bare ground or a number is impossible.

    Examples
    --------
    >>> from matchlib import CoatSchedule
    >>> from matchlib.mixing import CoatUse, JobArea
    >>> use = CoatUse.of_panel(45.0, area_m2=0.25, coats=2)
    >>> made = pot(CoatSchedule.parse("2@6:1 2@3:1"), area=JobArea.flat(0.5), use=use)
    >>> [(str(group.pour.ratio), round(group.pour.total_ml)) for group in made.groups]
    [('6:1', 151), ('3:1', 151)]
    """
    colour: Colour | None = None
    if isinstance(recipe, Recipe):
        if recipe.schedule is None:
            raise DomainError(
                "A bare ground has no pot of colour.",
                expected="a recipe with a colour and coats",
                got=str(recipe),
                remedy="choose a recipe with colour coats.",
            )
        colour, schedule = recipe.colour, recipe.schedule
    else:
        schedule = recipe
    residue = positive(residue_ml, "residue [mL]", top=5000, zero=True)
    least = positive(least_ml, "least mix [mL]", top=5000, zero=True)
    cup = None if gun_cup_ml is None else positive(gun_cup_ml, "gun cup [mL]", top=1e5)
    if pot_life_min is not None:
        positive(pot_life_min, "pot life [min]", top=10_000)
    known = use.widened(area.sd)
    enough, expected = known.enough_ml(chance), known.expected_ml
    poured = pour if mark_ml is None else partial(by_marks, mark_ml=mark_ml)
    groups: list[CoatGroup] = []
    before: Colour | None = None
    blends = [step.colour or colour for step in schedule.steps]
    names = {name for blend in blends if blend is not None for name in blend.shares}
    for step, blend in zip(schedule.steps, blends, strict=True):
        coated = area.sprayed_m2 * step.coats
        total = max(coated * enough + residue, least)
        # A pot of another colour is begun fresh.
        kept = _kept(groups, total, step.ratio) if blend == before else None
        before = blend
        # Of several colours each pot takes its own densities; a name of none of them is refused.
        others = names - {*(blend.shares if blend is not None else ())}
        own = {k: v for k, v in (densities or {}).items() if k.casefold() not in others}
        made = poured(total, step.ratio, colour=blend, third=third, densities=own, kept=kept)
        groups.append(
            CoatGroup(
                coats=step.coats,
                pour=made,
                expected_ml=coated * expected,
                residue_ml=residue,
                fills=1 if cup is None else max(1, math.ceil(made.total_ml / cup - 1e-9)),
            )
        )
    questions = [*ratio_questions(step.ratio for step in schedule.steps)]
    if third is not None and third.hardens and pot_life_min is None:
        asked_life = "How long is the pot life? The data sheet says."
        questions.append(RatioQuestion("pot-life", asked_life, groups[0].pour.ratio))
    return Pot(tuple(groups), area, use, chance, third, pot_life_min, tuple(questions))


def _kept(groups: list[CoatGroup], total: float, ratio: MixRatio) -> Remainder | None:
    """What of the pot before can go into the next."""
    if not groups:
        return None
    before = groups[-1].pour.ratio
    volume = min(groups[-1].left_ml, most_kept(total, ratio, before))
    return Remainder(volume, before) if volume > 0 else None
