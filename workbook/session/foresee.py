"""What the next panel of one recipe would read at every angle, and whether it passes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from workbook.session.order import Angle, angles_of

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.regression import FilmPredictor
    from matchlib.suggest import Target, Tolerance

__all__ = ["Forecast", "foresee"]


@dataclass(frozen=True, slots=True)
class Forecast:
    """The next panel of one recipe against a target.

    Parameters
    ----------
    recipe : Recipe
        What would be sprayed.
    tolerance : Tolerance
        What passes.
    angles : tuple of Angle
        Predicted against wanted at each angle; the first is the one reported.
    sd_lab : tuple of 3 float
        Standard deviation of the next panel's reading at the first angle, per axis.
    difference : float
        Of the prediction itself, in the unit of the tolerance; the worst, weighted.
    expected, sd : float
        Mean and standard deviation of the next panel's difference, in the same unit.
    probability : float
        That it passes at every angle [-].
    """

    recipe: Recipe
    tolerance: Tolerance
    angles: tuple[Angle, ...]
    sd_lab: tuple[float, float, float]
    difference: float
    expected: float
    sd: float
    probability: float

    @property
    def lab(self) -> tuple[float, float, float]:
        """Predicted CIELAB at the first angle."""
        return self.angles[0].lab

    @property
    def words(self) -> str:
        """What to expect of the next panel, without its chance."""
        where = " at the worst angle" if len(self.angles) > 1 else ""
        return f"{self.tolerance.said(self.expected)} ± {self.sd:.2f} from the target{where}"


def foresee(model: FilmPredictor, recipe: Recipe, aim: Target) -> Forecast:
    """Predict the next panel of a recipe at every angle of a target.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe
        What would be sprayed.
    aim : Target
        What is wanted.

    Returns
    -------
    Forecast
        The numbers that a search for the same target gives this recipe.

    Raises
    ------
    UnknownName
        If a ground or colour is on no panel.
    """
    import numpy as np

    from matchlib.domain import Viewing
    from matchlib.suggest.score import outlook

    usual = Viewing(geometry=model.words_.geometries[0])
    view = outlook(model, [recipe], aim, [a.viewing or usual for a in aim.aims])
    whole = view.known[0, 0] + view.spray[0, 0] + view.reading[0, 0]
    light, red, yellow = (float(v) for v in np.sqrt(np.diag(whole)))
    labs = view.labs[:, 0]
    return Forecast(
        recipe=recipe,
        tolerance=aim.tolerance,
        angles=angles_of(aim, labs),
        sd_lab=(light, red, yellow),
        difference=float(aim.difference(list(labs))),
        expected=float(view.expected[0]),
        sd=float(view.sd[0]),
        probability=float(view.probability[0]),
    )
