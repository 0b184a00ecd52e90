"""Recipes → what the next panel sprayed by each would read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError, MatchlibError
from workbook.session.back import recipe_dict

if TYPE_CHECKING:
    from matchlib.regression import FilmRegressor

__all__ = ["Prediction", "predict"]


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
        Predicted CIELAB.
    sd_lab : tuple of 3 float
        Standard deviation of the next panel's reading, per axis.
    delta_e00, sd_delta_e00 : float
        Expected difference of that reading from the target, or, without a target, from the
        prediction itself; and its standard deviation [ΔE00].
    probability : float
        That the difference is within the tolerance [-].
    against : str
        ``target`` or ``prediction``: what the difference is from.
    """

    panel: str | None
    recipe: Recipe
    viewing: Viewing
    lab: tuple[float, float, float]
    sd_lab: tuple[float, float, float]
    delta_e00: float
    sd_delta_e00: float
    probability: float
    against: str

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
            "words": recipe.words,
        }


def predict(
    model: FilmRegressor,
    recipes: Sequence[Recipe],
    *,
    viewings: Sequence[Viewing],
    codes: Sequence[str | None],
    places: Sequence[str],
    target: tuple[float, float, float] | None = None,
    tolerance: float = 1.0,
) -> tuple[Prediction, ...]:
    """Predict the next panel of each recipe.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    recipes : sequence of Recipe
        In the order wanted.
    viewings : sequence of Viewing
        One each.
    codes : sequence of str or None
        Panel codes, one each.
    places : sequence of str
        Where each comes from, for errors.
    target : tuple of 3 float, optional
        CIELAB that is wanted, under the viewings.
    tolerance : float
        Difference that passes [ΔE00].

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
    import numpy as np

    from matchlib.colorimetry import expected_delta_e00

    check_tolerance(tolerance)
    try:
        lab, known, spray, reading = model.predict_parts(recipes, viewings)
    except MatchlibError:
        # Only now, since one by one is slow: which of them was it?
        for recipe, view, place in zip(recipes, viewings, places, strict=True):
            try:
                model.predict_recipes([recipe], view)
            except MatchlibError as error:
                raise error.at(place) from None
        raise
    covariance = known + spray + reading
    wanted = lab if target is None else np.asarray(target, float)
    away = expected_delta_e00(wanted, lab, covariance, tolerance=tolerance)
    sd = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    return tuple(
        Prediction(
            panel=codes[i],
            recipe=recipe,
            viewing=viewings[i],
            lab=_three(lab[i]),
            sd_lab=_three(sd[i]),
            delta_e00=float(away.mean[i]),
            sd_delta_e00=float(away.sd[i]),
            probability=float(away.probability[i]),
            against="prediction" if target is None else "target",
        )
        for i, recipe in enumerate(recipes)
    )


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
