"""Predictions of a table of recipes as the command line gives them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from workbook.session.back import recipe_dict
from workbook.session.order import angle_dict

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.forecast import Forecast
    from matchlib.readings import RecipeRow
    from matchlib.target import Target
    from workbook.session.session import Session

__all__ = ["forecast_dict", "predict_rows"]


def predict_rows(
    session: Session,
    rows: Sequence[RecipeRow],
    name: str,
    *,
    target: Target | None = None,
    tolerance: Tolerance | float = 1.0,
) -> list[tuple[str | None, Forecast]]:
    """Predict the next panel of every row of a table of recipes.

    A row that does not say whether it is under clear coat, or in which geometry it would be
    read, is taken as the archive mostly is.

    `rows`: of the table, which needs no readings. `name`: of its file. `target`: what is wanted,
    and what passes; the predictions are then under its viewings. `tolerance`: what passes where
    there is no target; a number is ΔE00. Returned: one a row, in the file's order, with its
    panel's code where it has one.
    """
    from matchlib.forecast import forecast

    clear, geometry = session.clear, session.geometry
    recipes, viewings = [], []
    for r in rows:
        usual = "clear" not in r.stated
        recipes.append(replace(r.recipe, clear=clear) if usual else r.recipe)
        own = "geometry" not in r.stated
        viewings.append(replace(r.viewing, geometry=geometry) if own else r.viewing)
    found = forecast(
        session.model,
        recipes,
        target,
        viewings=viewings,
        tolerance=tolerance,
        places=[f"{name}, row {r.row}" for r in rows],
    )
    return [(r.panel, each) for r, each in zip(rows, found, strict=True)]


def forecast_dict(panel: str | None, found: Forecast) -> dict[str, Any]:
    """Return a forecast as plain data.

    `panel`: code in the table of recipes, where it had one. Returned: for JSON; a bare ground has
    null for colour and schedule, and a spread that is known as if from endless panels null degrees
    of freedom.
    """
    recipe = found.recipe
    return {
        "panel": panel,
        **recipe_dict(recipe),
        "illuminant": found.viewing.illuminant,
        "observer": found.viewing.observer,
        "geometry": found.viewing.geometry,
        **dict(zip("Lab", found.lab, strict=True)),
        **dict(zip(("sd_L", "sd_a", "sd_b"), found.sd_lab, strict=True)),
        "cov": found.covariance.tolist(),
        "degrees_of_freedom": found.dof if math.isfinite(found.dof) else None,
        "delta_e00": found.delta_e00,
        "sd_delta_e00": found.sd_delta_e00,
        "probability": found.probability,
        "against": found.against,
        "difference_kind": found.tolerance.unit,
        "tolerance": found.tolerance.value,
        "tolerance_words": found.tolerance.words,
        "expected_difference": found.expected,
        "sd_difference": found.sd,
        "angles": [angle_dict(angle) for angle in found.angles],
        "words": recipe.words,
    }
