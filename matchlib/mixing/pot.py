"""From a recipe and a job to the pots that are mixed for it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from matchlib.domain import CoatSchedule, Colour, Recipe
from matchlib.errors import DomainError
from matchlib.mixing.area import JobArea
from matchlib.mixing.coverage import CoatUse
from matchlib.mixing.cup import CupMarks, cup_marks
from matchlib.mixing.pour import Pour, pour
from matchlib.mixing.stated import Question, question_ratio, ratio_dict
from matchlib.mixing.units import format_volume, positive

__all__ = ["CoatGroup", "Pot", "pot"]


@dataclass(frozen=True, slots=True)
class CoatGroup:
    """The coats sprayed at one ratio, and the pot mixed for them.

    Parameters
    ----------
    coats : int
        Coats at this ratio.
    pour : Pour
        The pot that is enough with the chosen chance, residue included.
    expected_ml : float
        What the gun is expected to spray [mL], without residue.
    residue_ml : float
        What stays in cup, strainer and gun [mL].
    overspray_ml : float, optional
        Part of `expected_ml` that misses the work [mL]; None where use was measured at the cup.
    fills : int
        Times the gun's cup is filled.
    per_fill : Pour
        One filling, all alike.
    marks : CupMarks, optional
        The pot by whole marks of a measuring cup.
    """

    coats: int
    pour: Pour
    expected_ml: float
    residue_ml: float
    overspray_ml: float | None
    fills: int
    per_fill: Pour
    marks: CupMarks | None = None

    @property
    def leftover_ml(self) -> float:
        """What is expected to be left in the pot beyond the residue [mL]."""
        return self.pour.total_ml - self.expected_ml - self.residue_ml

    def words(self, unit: str = "ml") -> str:
        """Say what to mix for these coats.

        Parameters
        ----------
        unit : str
            Unit of volume.

        Returns
        -------
        str
            One or two sentences.
        """
        ratio = self.pour.ratio
        text = (
            f"{self.coats} coat{'s' * (self.coats != 1)} at {ratio} ({ratio.words}): "
            f"{self.pour.words(unit)}; about {format_volume(self.expected_ml, unit)} will be "
            f"sprayed, {format_volume(self.residue_ml, unit)} stays in cup and gun, "
            f"{format_volume(max(0.0, self.leftover_ml), unit)} is likely left over."
        )
        if self.fills > 1:
            text += f" {self.fills} fillings of {self.per_fill.words(unit)}."
        if self.marks is not None:
            text += f" By the cup: {self.marks.text}."
        return text

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; carrier and colour named.
        """
        return {
            "coats": self.coats,
            "ratio": ratio_dict(self.pour.ratio),
            "pour": self.pour.as_dict(),
            "expected_ml": self.expected_ml,
            "residue_ml": self.residue_ml,
            "overspray_ml": self.overspray_ml,
            "leftover_ml": self.leftover_ml,
            "fills": self.fills,
            "per_fill": self.per_fill.as_dict(),
            "marks": None if self.marks is None else self.marks.as_dict(),
        }


@dataclass(frozen=True, slots=True)
class Pot:
    """All pots of a job.

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
    questions : tuple of Question
        What to ask before pouring.
    """

    groups: tuple[CoatGroup, ...]
    area: JobArea
    use: CoatUse
    chance: float
    questions: tuple[Question, ...] = ()

    @property
    def carrier_ml(self) -> float:
        """Carrier in all [mL]."""
        return math.fsum(g.pour.carrier_ml for g in self.groups)

    @property
    def colours(self) -> tuple[tuple[str, float], ...]:
        """Each colour in all [mL]."""
        sums: dict[str, float] = {}
        for group in self.groups:
            for name, volume in group.pour.colours:
                sums[name] = sums.get(name, 0.0) + volume
        return tuple(sums.items())

    @property
    def colour_ml(self) -> float:
        """All colours in all [mL]."""
        return math.fsum(v for _, v in self.colours)

    @property
    def total_ml(self) -> float:
        """Everything mixed [mL]."""
        return math.fsum(g.pour.total_ml for g in self.groups)

    @property
    def leftover_ml(self) -> float:
        """What is likely left over in all, beyond the residue [mL]."""
        return math.fsum(g.leftover_ml for g in self.groups)

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
        colours = " and ".join(
            f"{format_volume(v, unit)} colour" + ("" if n == "colour" else f" ({n})")
            for n, v in self.colours
        )
        lines = [f"Area: {self.area.text}.", f"Use: {self.use.text}."]
        lines += [g.words(unit) for g in self.groups]
        lines.append(
            f"In all: {format_volume(self.carrier_ml, unit)} carrier and {colours}; enough with a "
            f"chance of {100 * self.chance:.3g}%, as far as the use above is known. Likely left "
            f"over: {format_volume(max(0.0, self.leftover_ml), unit)}."
        )
        lines += [f"To ask: {q.text}" for q in self.questions]
        return "\n".join(lines)

    @property
    def text(self) -> str:
        """What to mix, in millilitres."""
        return self.words()

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; carrier and colour named.
        """
        return {
            "area_m2": self.area.sprayed_m2,
            "area": self.area.text,
            "use": self.use.text,
            "chance": self.chance,
            "groups": [g.as_dict() for g in self.groups],
            "carrier_ml": self.carrier_ml,
            "colour_ml": self.colour_ml,
            "colours": [{"colour": n, "colour_ml": v} for n, v in self.colours],
            "total_ml": self.total_ml,
            "leftover_ml": self.leftover_ml,
            "questions": [q.as_dict() for q in self.questions],
        }


def pot(
    recipe: Recipe | CoatSchedule,
    *,
    area: JobArea,
    use: CoatUse,
    chance: float = 0.95,
    residue_ml: float = 15.0,
    gun_cup_ml: float | None = None,
    mark_ml: float | None = None,
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
        What stays in cup, strainer and gun at each ratio [mL]; 15 is common practice, no source.
    gun_cup_ml : float, optional
        What the gun's cup holds [mL]; a larger pot is sprayed in equal fillings.
    mark_ml : float, optional
        A measuring cup's mark [mL], to get the pots in whole marks too.
    densities : mapping of str to float, optional
        Density [g/mL] by colour name and under ``carrier``, to get weights too.

    Returns
    -------
    Pot
        One pot for each ratio, in the order sprayed. As one uncertainty runs through all coats,
        the chance holds for the whole job.

    Raises
    ------
    DomainError
        If the recipe is a bare ground or a number is impossible.
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
    cup = None if gun_cup_ml is None else positive(gun_cup_ml, "gun cup [mL]", top=1e5)
    enough, expected = use.enough_ml(chance), use.expected_ml
    lost = 0.0 if use.transfer is None else expected - use.laid_ml * math.exp(use.sd**2 / 2)
    groups, questions = [], []
    for step in schedule.steps:
        coated = area.sprayed_m2 * step.coats
        total = coated * enough + residue
        fills = 1 if cup is None else max(1, math.ceil(total / cup - 1e-9))
        groups.append(
            CoatGroup(
                coats=step.coats,
                pour=pour(total, step.ratio, colour=colour, densities=densities),
                expected_ml=coated * expected,
                residue_ml=residue,
                overspray_ml=None if use.transfer is None else coated * lost,
                fills=fills,
                per_fill=pour(total / fills, step.ratio, colour=colour, densities=densities),
                marks=None
                if mark_ml is None
                else cup_marks(step.ratio, volume_ml=total, mark_ml=mark_ml, colour=colour),
            )
        )
        question = question_ratio(step.ratio)
        if question is not None and question not in questions:
            questions.append(question)
    return Pot(tuple(groups), area, use, chance, tuple(questions))
