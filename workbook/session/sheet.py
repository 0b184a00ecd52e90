"""What is known of a recipe, put on one job sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from workbook.session.job import steps_of
from workbook.session.predicting import predict
from workbook.session.targets import lab_of

if TYPE_CHECKING:
    from matchlib.domain import Reading, Recipe
    from matchlib.mixing import Pot
    from matchlib.regression import FilmRegressor
    from workbook.jobsheet import JobSheet

__all__ = ["sheet_of"]


def sheet_of(
    model: FilmRegressor,
    recipe: Recipe,
    *,
    target: Reading | None = None,
    target_name: str = "",
    tolerance: float = 1.0,
    pot: Pot | None = None,
    title: str = "Job",
    customer: str = "",
    panel_code: str = "",
    unit: str = "ml",
) -> JobSheet:
    """Return a job sheet's content.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    recipe : Recipe
        What is sprayed.
    target : Reading, optional
        What is matched.
    target_name : str
        What it is called.
    tolerance : float
        Difference that passes [ΔE00].
    pot : Pot, optional
        Quantities.
    title, customer, panel_code : str
        As printed.
    unit : str
        Unit of volume.

    Returns
    -------
    JobSheet
        With prediction, and step-ups where the schedule has them.
    """
    from matchlib.domain import Viewing
    from workbook.jobsheet import JobSheet

    view = Viewing(geometry=model.words_.geometries[0]) if target is None else target.viewing
    wanted = None if target is None else lab_of(target)
    (expected,) = predict(
        model,
        [recipe],
        viewings=[view],
        codes=[None],
        places=[str(recipe)],
        target=wanted,
        tolerance=tolerance,
    )
    difference = None
    if wanted is not None:
        from matchlib.colorimetry import delta_e00

        difference = float(delta_e00(wanted, expected.lab))
    return JobSheet(
        title=title,
        recipe=recipe,
        target_name=target_name,
        target_lab=wanted,
        predicted_lab=expected.lab,
        viewing=str(view),
        delta_e=difference,
        sd=expected.sd_delta_e00,
        chance=None if wanted is None else expected.probability,
        tolerance=tolerance,
        pot=pot,
        step_ups=steps_of(recipe, pot),
        unit=unit,
        panel_code=panel_code,
        customer=customer,
    )
