"""What is known of a recipe, put on one job sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Panel, Recipe
    from matchlib.mixing import Pot
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target
    from workbook.jobsheet import JobSheet

__all__ = ["sheet_of"]


def sheet_of(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    target: Target | None = None,
    target_name: str = "",
    tolerance: Tolerance | None = None,
    pot: Pot | None = None,
    panels: Sequence[Panel] = (),
    title: str = "Job",
    customer: str = "",
    panel_code: str = "",
    unit: str = "ml",
) -> JobSheet:
    """Return a job sheet's content.

    `tolerance`: what passes where there is no target; ΔE00 1 if None.
    """
    from matchlib.colorimetry import Tolerance
    from matchlib.explain import coat_readings
    from workbook.jobsheet import JobSheet

    view = None if target is None else target.aims[0].viewing
    sheet = JobSheet(
        title=title,
        recipe=recipe,
        target_name=target_name,
        pot=pot,
        unit=unit,
        panel_code=panel_code,
        customer=customer,
        coats=coat_readings(model, recipe, archive=panels, viewing=view),
        tolerance=tolerance or Tolerance(),
    )
    if target is None:
        return _alone(sheet, model, recipe)
    return _against(sheet, model, recipe, target)


def _alone(sheet: JobSheet, model: FilmPredictor, recipe: Recipe) -> JobSheet:
    """The sheet with what the recipe reads, where nothing is to be matched."""
    from matchlib.colorimetry import Tolerance
    from matchlib.forecast import forecast

    view = model.usual_view
    (expected,) = forecast(model, [recipe], viewings=[view])
    # It is said in the unit of the tolerance, and this one is ΔE00.
    sd = expected.sd_delta_e00 if sheet.tolerance.unit == Tolerance().unit else None
    return replace(sheet, predicted_lab=expected.lab, viewing=str(view), sd=sd)


def _against(sheet: JobSheet, model: FilmPredictor, recipe: Recipe, aim: Target) -> JobSheet:
    """The sheet with the recipe beside what is to be matched."""
    from matchlib.forecast import forecast

    (found,) = forecast(model, [recipe], aim)
    several = len(found.angles) > 1
    return replace(
        sheet,
        target_lab=aim.aims[0].lab,
        predicted_lab=found.lab,
        viewing=str(found.viewing),
        difference=aim.tolerance.with_unit(found.difference)
        + (", at the worst angle" if several else ""),
        sd=found.sd,
        chance=found.probability,
        tolerance=aim.tolerance,
        angles=found.angles if several else (),
    )
