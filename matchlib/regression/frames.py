"""Panels as the tables that `FilmRegressor` takes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from matchlib.domain import Panel, readings_in
from matchlib.errors import FitError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["frames_of"]


def frames_of(panels: Iterable[Panel]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return recipes and readings of panels, one row a reading.

    Parameters
    ----------
    panels : iterable of Panel
        Panels with at least one reading among them.

    Returns
    -------
    X : DataFrame
        Recipe, viewing, source and what is known of the spraying.
    y : DataFrame
        Columns ``L``, ``a``, ``b`` and the wavelengths in use [nm], empty where a row has none.

    Raises
    ------
    FitError
        If there is no reading.
    """
    import pandas as pd

    recipes: list[dict[str, object]] = []
    readings: list[dict[str | float, float]] = []
    for panel, number, stage, reading in readings_in(panels):
        recipe, view = stage.recipe_at(reading), reading.viewing
        recipes.append(
            {
                "panel": panel.code,
                "stage": number,
                "state": reading.state,
                "instrument": reading.instrument,
                "date": reading.date or stage.date,
                "batch": panel.batch,
                "lot": stage.lot,
                "ground": str(recipe.ground),
                "colour": None if recipe.colour is None else str(recipe.colour),
                "schedule": None if recipe.schedule is None else str(recipe.schedule),
                "clear": recipe.clear,
                "source": reading.source,
                "illuminant": view.illuminant,
                "observer": view.observer,
                "geometry": view.geometry,
                "sprayer": stage.sprayer,
                "sd": reading.sd,
            }
        )
        if reading.lab is not None:
            readings.append(dict(zip("Lab", reading.lab, strict=True)))
        else:
            readings.append(dict(zip(reading.wavelengths, reading.reflectance, strict=True)))
    if not readings:
        raise FitError(
            "The archive holds no reading.",
            expected="panels with readings",
            got="none",
            remedy="import a table of readings first.",
        )
    y = pd.DataFrame(readings)
    for name in "Lab":
        if name not in y:
            y[name] = float("nan")
    spectral = sorted(c for c in y.columns if not isinstance(c, str))
    return pd.DataFrame(recipes), y[["L", "a", "b", *spectral]]
