"""Recipes → what the next panel sprayed by each would read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError, MatchlibError
from workbook.session.back import recipe_dict
from workbook.session.order import Angle, angles_of

if TYPE_CHECKING:
    from matchlib.regression import FilmRegressor
    from matchlib.suggest import Target, Tolerance

__all__ = ["Prediction", "judged", "predict"]


@dataclass(frozen=True, slots=True)
class Prediction:
    """The next panel of one recipe.

    Parameters
    ----------
    panel : str or None
        Code in the table of recipes, where it had one.
    recipe : Recipe
        What would be sprayed.
    viewing : Viewing
        How it would be read.
    lab : tuple of 3 float
        Predicted CIELAB, at the first angle of several.
    sd_lab : tuple of 3 float
        Standard deviation of the next panel's reading there, per axis.
    delta_e00, sd_delta_e00 : float
        Expected difference of that reading from the target, or, without a target, from the
        prediction itself; and its standard deviation [ΔE00].
    difference, sd_difference : float
        The same by what the order names, in the unit of its tolerance; at several angles the worst
        of weight times difference.
    probability : float
        That this is within the tolerance, at every angle [-].
    against : str
        ``target`` or ``prediction``: what the difference is from.
    tolerance : Tolerance
        What passes.
    angles : tuple of Angle
        Predicted against wanted at each angle of the target; none without a target.
    """

    panel: str | None
    recipe: Recipe
    viewing: Viewing
    lab: tuple[float, float, float]
    sd_lab: tuple[float, float, float]
    delta_e00: float
    sd_delta_e00: float
    difference: float
    sd_difference: float
    probability: float
    against: str
    tolerance: Tolerance
    angles: tuple[Angle, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; a bare ground has null for colour and schedule.
        """
        recipe = self.recipe
        return {
            "panel": self.panel,
            **recipe_dict(recipe),
            "illuminant": self.viewing.illuminant,
            "observer": self.viewing.observer,
            "geometry": self.viewing.geometry,
            **dict(zip("Lab", self.lab, strict=True)),
            **dict(zip(("sd_L", "sd_a", "sd_b"), self.sd_lab, strict=True)),
            "delta_e00": self.delta_e00,
            "sd_delta_e00": self.sd_delta_e00,
            "probability": self.probability,
            "against": self.against,
            "difference_kind": self.tolerance.unit,
            "tolerance": self.tolerance.value,
            "tolerance_words": self.tolerance.words,
            "expected_difference": self.difference,
            "sd_difference": self.sd_difference,
            "angles": [angle.as_dict() for angle in self.angles],
            "words": recipe.words,
        }


def predict(
    model: FilmRegressor,
    recipes: Sequence[Recipe],
    *,
    viewings: Sequence[Viewing],
    codes: Sequence[str | None],
    places: Sequence[str],
    aim: Target | None = None,
    tolerance: Tolerance | float = 1.0,
) -> tuple[Prediction, ...]:
    """Predict the next panel of each recipe.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    recipes : sequence of Recipe
        In the order wanted.
    viewings : sequence of Viewing
        One each; of no account where there is an aim.
    codes : sequence of str or None
        Panel codes, one each.
    places : sequence of str
        Where each comes from, for errors.
    aim : Target, optional
        What is wanted, at one angle or several, and what passes.
    tolerance : Tolerance or float
        What passes where there is no aim; a number is ΔE00.

    Returns
    -------
    tuple of Prediction
        One a recipe, in their order.

    Raises
    ------
    UnknownName
        If a ground or colour is on no panel, with the place of the first such recipe.
    DomainError
        If the tolerance is no tolerance.
    """
    if aim is None:
        passes = judged(tolerance)
        spread = _asked(model, recipes, viewings, places, model.predict_parts)
        return _by_itself(recipes, viewings, codes, passes, spread)
    usual = Viewing(geometry=model.words_.geometries[0])
    views = [a.viewing or usual for a in aim.aims]
    spread = _asked(model, recipes, views[:1] * len(recipes), places,
                    lambda some, _: model.predict_together(some, views))  # fmt: skip
    return _against(recipes, views, codes, aim, spread)


def _asked(
    model: FilmRegressor,
    recipes: Sequence[Recipe],
    viewings: Sequence[Viewing],
    places: Sequence[str],
    ask: Callable[[Sequence[Recipe], Sequence[Viewing]], tuple[Any, ...]],
) -> tuple[Any, Any, Any]:
    """Predicted Lab, the whole covariance of the next panel's reading, and its freedom.

    The freedom is that of the whole, and that of the first viewing alone.
    """
    try:
        lab, known, spray, reading = ask(recipes, viewings)
    except MatchlibError:
        # Only now, since one by one is slow: which of them was it?
        for recipe, view, place in zip(recipes, viewings, places, strict=True):
            try:
                model.predict_recipes([recipe], view)
            except MatchlibError as error:
                raise error.at(place) from None
        raise
    total = known + spray + reading
    first = model.freedom(recipes, known[:, :3, :3], total[:, :3, :3])
    return lab, total, (model.freedom(recipes, known, total), first)


def _by_itself(
    recipes: Sequence[Recipe],
    viewings: Sequence[Viewing],
    codes: Sequence[str | None],
    tolerance: Tolerance,
    spread: tuple[Any, Any, Any],
) -> tuple[Prediction, ...]:
    """How far from its own prediction each panel is expected to come out."""
    import numpy as np

    from matchlib.colorimetry import expected_delta_e00
    from matchlib.suggest import Aim, Target

    lab, covariance, (freedom, _) = spread
    most = tolerance.value if tolerance.kind == "ΔE00" else 1.0
    plain = expected_delta_e00(lab, lab, covariance, tolerance=most, freedom=freedom)
    sd = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    found = []
    for i, recipe in enumerate(recipes):
        away = (plain.mean[i], plain.sd[i], plain.probability[i])
        if tolerance.kind != "ΔE00":
            own = Target((Aim(_three(lab[i]), viewings[i]),), tolerance)
            one = slice(i, i + 1)
            away = tuple(v[0] for v in own.expected(lab[None, one], covariance[one], freedom[one]))
        found.append(
            Prediction(
                panel=codes[i],
                recipe=recipe,
                viewing=viewings[i],
                lab=_three(lab[i]),
                sd_lab=_three(sd[i]),
                delta_e00=float(plain.mean[i]),
                sd_delta_e00=float(plain.sd[i]),
                difference=float(away[0]),
                sd_difference=float(away[1]),
                probability=float(away[2]),
                against="prediction",
                tolerance=tolerance,
            )
        )
    return tuple(found)


def _against(
    recipes: Sequence[Recipe],
    views: Sequence[Viewing],
    codes: Sequence[str | None],
    aim: Target,
    spread: tuple[Any, Any, Any],
) -> tuple[Prediction, ...]:
    """How far from a target each panel is expected to come out, at every angle."""
    import numpy as np

    from matchlib.colorimetry import expected_delta_e00

    labs, covariance, (freedom, alone) = spread
    away = aim.expected(labs, covariance, freedom)
    first = covariance[:, :3, :3]
    plain = expected_delta_e00(
        np.array(aim.aims[0].lab), labs[0], first, tolerance=1.0, freedom=alone
    )
    sd = np.sqrt(np.diagonal(first, axis1=1, axis2=2))
    return tuple(
        Prediction(
            panel=codes[i],
            recipe=recipe,
            viewing=views[0],
            lab=_three(labs[0, i]),
            sd_lab=_three(sd[i]),
            delta_e00=float(plain.mean[i]),
            sd_delta_e00=float(plain.sd[i]),
            difference=float(away.mean[i]),
            sd_difference=float(away.sd[i]),
            probability=float(away.probability[i]),
            against="target",
            tolerance=aim.tolerance,
            angles=angles_of(aim, labs[:, i]),
        )
        for i, recipe in enumerate(recipes)
    )


def judged(tolerance: Tolerance | float) -> Tolerance:
    """Return what passes.

    Parameters
    ----------
    tolerance : Tolerance or float
        A number is ΔE00.

    Returns
    -------
    Tolerance
        Checked.

    Raises
    ------
    DomainError
        If the number is no tolerance.
    """
    from matchlib.suggest import Tolerance as Passing

    if isinstance(tolerance, Passing):
        return tolerance
    check_tolerance(float(tolerance))
    return Passing(value=float(tolerance))


def check_tolerance(tolerance: float) -> None:
    """Refuse what is no tolerance.

    Parameters
    ----------
    tolerance : float
        Difference that passes [ΔE00].

    Raises
    ------
    DomainError
        If it is not above 0 and at most 50.
    """
    if not 0 < tolerance <= 50:
        raise DomainError(
            "This is not a tolerance.",
            expected="a difference above 0 and at most 50 (ΔE00)",
            got=f"{tolerance:g}",
            remedy="1 is a usual tolerance for a match.",
        )


def _three(values: Sequence[float]) -> tuple[float, float, float]:
    first, second, third = (float(v) for v in values)
    return first, second, third
