"""Repairs and fades: an aged finish as a target, blending in, one colour led into another.

What shows is told in ΔE00 by the law; how a fade is led is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.colorimetry.difference import squares_about_mean
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import (
    CoatSchedule,
    Lab,
    MixRatio,
    Reading,
    Recipe,
    three,
)
from matchlib.errors import DomainError
from matchlib.plain import recipe_cells
from matchlib.plural import counted
from matchlib.regression import FilmPredictor

__all__ = ["EDGES", "AgedFinish", "Zone", "aged_finish", "blend_in", "fade"]

Array = NDArray[np.float64]

SEEN = 1.0
"""A step between two neighbours that is seen [ΔE00] (common practice, no source)."""

LEAST = 0.1
"""Least tolerance of a finish whose places read alike: no instrument repeats itself nearer [ΔE00]
(common practice, no source)."""

EDGES = (
    "Fade every edge out over a hand's width or more, rolling the gun away before the trigger is "
    "let go; where a step shows, fade it out longer. Common practice, no source."
)
"""How the edges of coats are led out."""


@dataclass(frozen=True, slots=True)
class AgedFinish:
    """A finish read at several places.

    Parameters
    ----------
    lab : tuple of 3 float
        Mean of the places.
    tolerance : float
        What 95 percent of the finish's own places stay within of it, at least 0.1 [ΔE00].
    places : int
        Readings it rests on.
    farthest : tuple of 3 float
        The place that lies farthest from the mean.

    Examples
    --------
    >>> from matchlib import Reading
    >>> finish = aged_finish([Reading(lab=(30.0 + more, 40.0, 20.0)) for more in (-0.5, 0.0, 0.5)])
    >>> finish.tolerance > 0
    True
    """

    lab: Lab
    tolerance: float
    places: int
    farthest: Lab

    @property
    def words(self) -> str:
        """What to match, and how near."""
        off = float(delta_e00(self.lab, self.farthest))
        return (
            f"{self.places} places of the finish: their mean is L {self.lab[0]:.1f}, "
            f"a {self.lab[1]:.1f}, b {self.lab[2]:.1f}, and the farthest is ΔE00 {off:.1f} from "
            f"it. A match within {self.tolerance:.1f} is as near as the finish is to itself. Clean "
            "and polish before reading, and read where the repair will meet the old finish."
        )


@dataclass(frozen=True, slots=True)
class Zone:
    """A strip of the work in a fade.

    Parameters
    ----------
    recipe : Recipe
        What lies there in the end.
    lab : tuple of 3 float
        What it reads by the law.
    step : float
        ΔE00 from the zone before; 0 for the first.
    off : float
        ΔE00 from the finish that is blended into, or from the first end of a fade.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> one, two = (Recipe.of("silver", colour, "4@6:1", "yes") for colour in ("cherry", "honey"))
    >>> first = fade(demo_model(), one, two, zones=5)[0]
    >>> print(first.recipe)
    cherry over silver, 4@6:1
    """

    SHOWN: ClassVar = (("", lambda zone: recipe_cells(zone.recipe)), "lab", "step", "off")

    recipe: Recipe
    lab: Lab
    step: float
    off: float

    @property
    def shows(self) -> bool:
        """Whether a sharp edge to the zone before would be seen."""
        return self.step >= SEEN


def aged_finish(readings: Sequence[Reading]) -> AgedFinish:
    """Take a finish read on the car, at several places, for a target with its own tolerance.

    Parameters
    ----------
    readings : sequence of Reading
        Under one viewing, at least three places.

    Returns
    -------
    AgedFinish
        Mean and spread.

    Raises
    ------
    DomainError
        If there are fewer than three, or they were viewed differently.

    Examples
    --------
    >>> from matchlib import Reading
    >>> read = [Reading(lab=(30.0 + more, 40.0, 20.0)) for more in (-0.5, 0.0, 0.5)]
    >>> finish = aged_finish(read)
    >>> finish.places, [round(value, 1) for value in finish.lab]
    (3, [30.0, 40.0, 20.0])
    """
    ways = len({r.viewing for r in readings})
    if len(readings) < 3 or ways > 1:
        raise DomainError(
            "An aged finish is read at several places in the same way.",
            expected="three readings or more, of one light, observer and geometry",
            got=counted(len(readings), "reading") + f", in {ways} different ways" * (ways > 1),
            remedy="read three places or more around the repair.",
        )
    labs = np.array([lab_of_reading(r) for r in readings], float)
    mean = labs.mean(axis=0)
    # A place as likely as those read lies off the mean by the spread and by the mean's own doubt.
    n = len(labs)
    variance = squares_about_mean(labs) / (3 * (n - 1)) * (1 + 1 / n)
    from scipy.stats import f as ratio_of_variances  # only this needs it

    within = math.sqrt(3 * variance * float(ratio_of_variances.ppf(0.95, 3, 3 * (n - 1))))
    away = np.asarray(delta_e00(mean, labs))
    return AgedFinish(three(mean), max(within, LEAST), n, three(labs[int(np.argmax(away))]))


def blend_in(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    over: int = 2,
    weaker: int = 1,
) -> tuple[Zone, ...]:
    """Say what more or fewer coats show beside a finish, coat by coat.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        Of the finish; its last coats end first.
    over : int
        Coats that come on top of the finish where the repair runs out over it, 0 to 6.
    weaker : int
        Into how many weaker coats each coat is let down for the blend, 1 to 4: more of them make
        smaller steps.

    Returns
    -------
    tuple of Zone
        From so many coats too many down to the bare ground, under the same clear.

    Raises
    ------
    DomainError
        If there are no coats to end, or they cannot be let down so far.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("silver", "cherry", "4@6:1", "yes")
    >>> [str(zone.recipe.schedule) for zone in blend_in(demo_model(), recipe, over=1, weaker=1)]
    ['5@6:1', '4@6:1', '3@6:1', '2@6:1', '1@6:1', 'None']
    """
    if recipe.schedule is None or not (1 <= weaker <= 4 and 0 <= over <= 6):
        raise DomainError(
            "There is nothing to blend in.",
            expected="a recipe with coats, each let down into 1 to 4 weaker ones, and 0 to 6 over",
            got="a bare ground" if recipe.schedule is None else f"{weaker} weaker, {over} over",
            remedy="choose the recipe of the repair.",
        )
    coats = [  # a mid-coat lies under the first of them alone
        replace(coat, ratio=_let_down(coat.ratio, weaker), over=None if number else coat.over)
        for coat in CoatSchedule(recipe.steps).each
        for number in range(weaker)
    ]
    coats += [replace(coats[-1], over=None)] * over
    return _zones(model, recipe.with_steps(coats).coat_by_coat()[::-1], beside=over)


def fade(
    model: FilmPredictor,
    one: Recipe,
    two: Recipe,
    *,
    zones: int = 5,
) -> tuple[Zone, ...]:
    """Lead one colour into another over one ground, coat by coat.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    one, two : Recipe
        The two ends, over one ground and under one clear.
    zones : int
        Strips from end to end, 3 to 12.

    Returns
    -------
    tuple of Zone
        From the one to the other; in each strip the coats of the first are laid, then those of the
        second.

    Raises
    ------
    DomainError
        If the ends have another ground or clear, or one is bare.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> one, two = (Recipe.of("silver", colour, "4@6:1", "yes") for colour in ("cherry", "honey"))
    >>> len(fade(demo_model(), one, two, zones=5))
    5
    """
    if one.schedule is None or two.schedule is None or not 3 <= zones <= 12:
        raise DomainError(
            "A fade needs two colours and some strips.",
            expected="two recipes with coats, and 3 to 12 strips",
            got=f"{one} and {two}, {zones} strips",
            remedy="to fade to the bare ground, blend in instead.",
        )
    if (one.ground, one.clear) != (two.ground, two.clear):
        raise DomainError(
            "A fade lies over one ground and under one clear.",
            expected=f"{one.ground}, clear coat: {one.clear or 'no'}",
            got=f"{two.ground}, clear coat: {two.clear or 'no'}",
            remedy="choose both ends over the same ground and under the same clear.",
        )
    first, second = (CoatSchedule(end.steps).each for end in (one, two))
    plan = []
    for i in range(zones):
        part, half = Fraction(i, zones - 1), Fraction(1, 2)
        # Half a coat is rounded to one end's favour, never to both: it would be a coat too many.
        ending = first[: math.floor(len(first) * (1 - part) + half)]
        coming = second[: math.ceil(len(second) * part - half)]
        plan.append(one.with_steps(ending + coming))
    return _zones(model, plan)


def _let_down(ratio: MixRatio, by: int) -> MixRatio:
    """The ratio with that part of the colour fraction."""
    return MixRatio((ratio.carrier + ratio.colour) * by - ratio.colour, ratio.colour)


def _zones(model: FilmPredictor, plan: Sequence[Recipe], *, beside: int = 0) -> tuple[Zone, ...]:
    labs = model.predict_recipes(list(plan), model.usual_view)
    steps = [0.0, *np.asarray(delta_e00(labs[:-1], labs[1:]), float).tolist()]
    off = np.asarray(delta_e00(labs[beside], labs), float).tolist()
    return tuple(
        Zone(recipe, three(lab), step, away)
        for recipe, lab, step, away in zip(plan, labs, steps, off, strict=True)
    )
