"""What is known of a recipe, put on one job sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Panel, Recipe
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target
    from workbook.jobsheet import JobSheet

__all__ = ["sheet_of"]


def sheet_of(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    target: Target | None = None,
    tolerance: Tolerance | None = None,
    panels: Sequence[Panel] = (),
    **written: Any,
) -> JobSheet:
    """Return a job sheet's content.

    `tolerance`: what passes where there is no target; ΔE00 1 if None. `**written`: what stands on
    it as it is, by field of `JobSheet`: ``title``, ``customer``, ``pot`` and the like.
    """
    from matchlib.colorimetry import Tolerance
    from matchlib.explain import coat_readings
    from matchlib.forecast import forecast
    from workbook.jobsheet import JobSheet

    view = None if target is None else target.aims[0].viewing
    written |= {"coats": coat_readings(model, recipe, archive=panels, viewing=view)}
    if target is None:
        passes, view = tolerance or Tolerance(), model.usual_view
        (found,) = forecast(model, [recipe], viewings=[view])
        return JobSheet(
            recipe=recipe,
            predicted_lab=found.lab,
            viewing=str(view),
            # It is said in the unit of the tolerance, and this one is ΔE00.
            sd=found.sd_delta_e00 if passes.unit == Tolerance().unit else None,
            tolerance=passes,
            **written,
        )
    (found,) = forecast(model, [recipe], target)
    several = len(found.angles) > 1
    worst = ", at the worst angle" if several else ""
    return JobSheet(
        recipe=recipe,
        target_lab=target.aims[0].lab,
        predicted_lab=found.lab,
        viewing=str(found.viewing),
        difference=target.tolerance.with_unit(found.difference) + worst,
        sd=found.sd,
        chance=found.probability,
        tolerance=target.tolerance,
        angles=found.angles if several else (),
        **written,
    )
