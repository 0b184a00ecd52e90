"""Predictions of a table of recipes as the command line gives them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from workbook.session.back import recipe_dict
from workbook.session.order import angle_dict

if TYPE_CHECKING:
    from matchlib.forecast import Forecast

__all__ = ["forecast_dict"]


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
