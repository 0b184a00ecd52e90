"""What the next panel of a recipe would read, how far that is from what is wanted, and the chance.

The panel is the next one sprayed, as it will be read: what is not known of the law, the spread from
panel to panel and the reading's noise all count. Without a target the difference is from the
prediction itself: how well such a panel comes out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance, delta_e00, expected_delta_e00
from matchlib.colorimetry.expected import ExpectedDifference
from matchlib.domain import Lab, Recipe, Viewing, three
from matchlib.errors import MatchlibError
from matchlib.outcome import Outcome, outcomes
from matchlib.plain import recipe_cells, rounded_lab
from matchlib.regression import FilmPredictor, Prediction
from matchlib.target import Aim, Target

if TYPE_CHECKING:
    from matchlib.correction import Belief, Card

__all__ = ["Forecast", "ForecastAngle", "angles_of", "forecast", "forecast_on"]

Array = NDArray[np.float64]

_VIEWED = tuple((name, f"viewing.{name}") for name in ("illuminant", "observer", "geometry"))


@dataclass(frozen=True, slots=True)
class ForecastAngle:
    """A colour against the target at one angle.

    Parameters
    ----------
    viewing : Viewing
        Light, observer and geometry.
    weight : float
        How much a difference counts here [-].
    wanted, lab : tuple of 3 float
        CIELAB of the target, and predicted or read.
    delta_e00 : float
        Between them.
    difference : float
        Between them, in the unit of the tolerance, not weighted.

    Examples
    --------
    >>> from matchlib import Target
    >>> (face,) = angles_of(Target.lab(27.1, 45.9, 28.5), [(27.1, 45.9, 28.5)])
    >>> face.weight, face.difference
    (1.0, 0.0)
    """

    SHOWN: ClassVar = (
        *_VIEWED,
        "weight",
        ("", lambda one: dict(zip(("target_L", "target_a", "target_b"), one.wanted, strict=True))),
        ("", lambda one: rounded_lab(one.lab)),
        ("delta_e00", lambda one: round(one.delta_e00, 4)),
        ("difference", lambda one: round(one.difference, 4)),
    )

    viewing: Viewing
    weight: float
    wanted: Lab
    lab: Lab
    delta_e00: float
    difference: float


@dataclass(frozen=True)
class Forecast(Outcome):
    """The next panel of one recipe, beside what `Outcome` holds.

    Parameters
    ----------
    viewing : Viewing
        How it would be read; at several angles the first, which is the one reported.
    delta_e00, sd_delta_e00 : float
        Expected difference of that reading from the target, or without one from the prediction;
        and its standard deviation [ΔE00].
    difference : float
        Of the prediction itself from the target, in the unit of the tolerance; the worst over the
        angles, weighted; 0 without a target.
    tolerance : Tolerance
        What passes.
    angles : tuple of ForecastAngle
        Predicted against wanted at each angle of the target; none without a target.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> (found,) = forecast(demo_model(), [Recipe.of("pale gold", "cherry", "3@3:1", "yes")])
    >>> len(found.sd_lab), found.expected >= 0
    (3, True)
    """

    SHOWN: ClassVar = (
        ("", lambda one: recipe_cells(one.recipe)),
        *_VIEWED,
        ("", lambda one: dict(zip("Lab", one.lab, strict=True))),
        ("", lambda one: dict(zip(("sd_L", "sd_a", "sd_b"), one.sd_lab, strict=True))),
        ("cov", "covariance"),
        # Of a spread that is known as if from endless panels there are none.
        ("degrees_of_freedom", lambda one: one.dof if math.isfinite(one.dof) else None),
        *("delta_e00", "sd_delta_e00", "probability", "against"),
        ("difference_kind", "tolerance.unit"),
        ("tolerance", "tolerance.value"),
        ("tolerance_words", "tolerance.words"),
        *(("expected_difference", "expected"), ("sd_difference", "sd"), "angles"),
        ("words", "recipe.words"),
    )

    viewing: Viewing
    delta_e00: float
    sd_delta_e00: float
    difference: float
    tolerance: Tolerance
    angles: tuple[ForecastAngle, ...] = ()

    @property
    def against(self) -> str:
        """What the difference is from: ``target`` or ``prediction``."""
        return "target" if self.angles else "prediction"

    @property
    def words(self) -> str:
        """What to expect of the next panel, without its chance."""
        where = " at the worst angle" if len(self.angles) > 1 else ""
        away = self.tolerance.with_unit(self.expected)
        return f"{away} ± {self.sd:.2f} from the {self.against}{where}"


def angles_of(aim: Target, labs: Sequence[Sequence[float]] | Array) -> tuple[ForecastAngle, ...]:
    """Return how a colour compares at each angle.

    Parameters
    ----------
    aim : Target
        What is wanted.
    labs : sequence of (sequence of 3 float)
        CIELAB, one an aim.

    Returns
    -------
    tuple of ForecastAngle
        In the target's order.

    Examples
    --------
    >>> from matchlib import Target
    >>> (face,) = angles_of(Target.lab(27.1, 45.9, 28.5), [(28.1, 45.9, 28.5)])
    >>> round(face.delta_e00, 2)
    0.75
    """
    return tuple(
        ForecastAngle(
            one.viewing or Viewing(),
            one.weight,
            one.lab,
            three(lab),
            float(delta_e00(one.lab, lab)),
            float(aim.tolerance.difference(one.lab, lab)),
        )
        for one, lab in zip(aim.aims, labs, strict=True)
    )


def forecast(
    model: FilmPredictor | Belief,
    recipes: Sequence[Recipe],
    aim: Target | None = None,
    *,
    viewings: Sequence[Viewing] = (),
    tolerance: Tolerance | float = 1.0,
    places: Sequence[str] = (),
) -> tuple[Forecast, ...]:
    """Say what the next panel of each recipe would read.

    Parameters
    ----------
    model : FilmPredictor or Belief
        Fitted; or what is believed of today.
    recipes : sequence of Recipe
        In the order wanted.
    aim : Target, optional
        What is wanted, at one angle or several, and what passes.
    viewings : sequence of Viewing, optional
        One a recipe, where there is no aim; D65/10° in the archive's own geometry if none.
    tolerance : Tolerance or float
        What passes where there is no aim; a number is ΔE00.
    places : sequence of str, optional
        Where each recipe comes from, for errors.

    Returns
    -------
    tuple of Forecast
        One a recipe, in their order; for an aim the numbers that a search for it gives.

    Raises
    ------
    UnknownName
        If a ground or colour is on no panel, with the place of the first such recipe.
    TargetError
        If the tolerance is none.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.demo import demo_model
    >>> recipe = Recipe.of("pale gold", "cherry", "3@3:1", "yes")
    >>> (found,) = forecast(demo_model(), [recipe], Target.lab(27.1, 45.9, 28.5))
    >>> 0.5 < found.probability < 1
    True
    """
    usual = model.usual_view
    try:
        passes = tolerance if isinstance(tolerance, Tolerance) else Tolerance(value=tolerance)
        if aim is None:
            views = list(viewings) or [usual] * len(recipes)
            return _told(model.predict_each(recipes, views), recipes, views, passes)
        views = aim.views(usual)
        return _told(model.predict_together(recipes, views), recipes, views, aim.tolerance, aim)
    except MatchlibError:
        # Only now, since one by one is slow: which of them was it?
        for recipe, place in zip(recipes, places, strict=False):
            try:
                model.predict_recipes([recipe], usual)
            except MatchlibError as error:
                raise error.at(place) from None
        raise


def forecast_on(card: Card, recipes: Sequence[Recipe], aim: Target) -> tuple[Forecast, ...]:
    """Say what a card that was read would read with further coats on it.

    Parameters
    ----------
    card : Card
        As it was read.
    recipes : sequence of Recipe
        All that would be on it, each going on from what is on it.
    aim : Target
        What is wanted; the card was read as it was.

    Returns
    -------
    tuple of Forecast
        One a recipe, in their order.

    Raises
    ------
    DomainError
        If a recipe does not go on from the card's.
    TargetError
        If the card was not read as the target was.

    Examples
    --------
    >>> from matchlib import Recipe, Target
    >>> from matchlib.correction import Belief, Card, Sprayed
    >>> from matchlib.demo import demo_model
    >>> begun, whole = (Recipe.of("silver", "cherry", coats) for coats in ("2@6:1", "3@6:1"))
    >>> card = Card.of(Belief.of(demo_model()), [Sprayed.of((begun, (40.0, 33.0, 8.0)))])
    >>> (found,) = forecast_on(card, [whole], Target.lab(34.0, 36.0, 9.0))
    >>> found.lab[0] < 40.0, found.against
    (True, 'target')
    """
    for recipe in recipes:
        recipe.after(card.stages[-1].recipe)
    views = card.viewed(aim)
    there = card.together(recipes, views).prediction
    return _told(there, recipes, aim.views(views[0]), aim.tolerance, aim)


def _told(
    there: Prediction,
    recipes: Sequence[Recipe],
    views: Sequence[Viewing],
    passes: Tolerance,
    aim: Target | None = None,
) -> tuple[Forecast, ...]:
    """How far from a target at every angle, or from its own prediction, each is to come out."""
    # views: one an aim; without one each recipe's own.
    if aim is None:
        wanted, itself = there.lab, np.zeros(len(recipes))
    else:
        wanted, itself = aim.labs[0], aim.difference(list(there.labs))
    first, usual = there.first, passes.kind == "ΔE00"
    most = passes.value if usual else 1.0
    plain = expected_delta_e00(wanted, first.lab, first.covariance, tolerance=most, dof=first.dof)
    if aim is not None:
        hope = aim.hope(there)
    elif usual or not len(recipes):
        hope = plain
    else:
        goals = (
            Target((Aim(three(v), view),), passes) for v, view in zip(wanted, views, strict=True)
        )
        own = [goal.hope(there.take(slice(i, i + 1))) for i, goal in enumerate(goals)]
        hope = ExpectedDifference(*np.concatenate(own, axis=1))
    return tuple(
        Forecast(
            **vars(one),
            viewing=views[i if aim is None else 0],
            delta_e00=float(plain.mean[i]),
            sd_delta_e00=float(plain.sd[i]),
            difference=float(itself[i]),
            tolerance=passes,
            angles=() if aim is None else angles_of(aim, there.labs[:, i]),
        )
        for i, one in enumerate(outcomes(recipes, there, hope))
    )
