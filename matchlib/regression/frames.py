"""Tables of recipes and readings: from panels, and to the nouns of the trade."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from matchlib.domain import (
    CoatSchedule,
    Colour,
    Conditions,
    Ground,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Stage,
    Viewing,
    readings_in,
)
from matchlib.errors import DomainError, FitError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["conditions_of", "frames_of", "recipes_of", "rows_of"]


def conditions_of(panel: Panel, stage: Stage, reading: Reading) -> Conditions:
    """Return what a reading shares with others beside its recipe."""
    return Conditions.of(
        stage.recipe,
        sprayer=stage.sprayer,
        lot=stage.lot,
        batch=panel.batch,
        instrument=reading.instrument,
        date=stage.date,
    )


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
                "date": stage.date,
                "read": reading.date,
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


def recipes_of(frame: pd.DataFrame) -> list[Recipe]:
    """Read the recipe of each row."""
    count = len(frame)
    missing = "ground" not in frame.columns
    if missing or not ({"schedule"} & set(frame.columns) or {"ratio", "coats"} <= set(frame)):
        raise DomainError(
            "This table is not one of recipes.",
            expected="columns ground, colour, and schedule (or ratio and coats)",
            got=", ".join(map(str, frame.columns[:12])) or "no columns",
            remedy="name the columns so.",
        )

    def column(name: str) -> Sequence[Any]:
        return frame[name].tolist() if name in frame.columns else [None] * count

    rows = zip(
        *map(column, ("ground", "colour", "schedule", "ratio", "coats", "clear")), strict=True
    )
    known: dict[tuple[Any, ...], Recipe] = {}
    recipes = []
    for number, row in enumerate(rows):
        key = tuple(None if _empty(v) else str(v) for v in row)
        if key not in known:
            try:
                known[key] = _recipe(key)
            except DomainError as error:
                raise error.at(f"row {number + 1} of the table") from None
        recipes.append(known[key])
    return recipes


def _empty(value: object) -> bool:
    """Return whether a cell of a table holds nothing."""
    if isinstance(value, float):
        return math.isnan(value)
    return value is None or not str(value).strip()


def _recipe(key: tuple[str | None, ...]) -> Recipe:
    ground, colour, schedule, ratio, coats, clear = key
    steps = CoatSchedule.parse(schedule) if schedule else None
    if steps is None and ratio and coats:
        whole = coats.removesuffix(".0")
        steps = CoatSchedule.parse(f"{whole}@{MixRatio.parse(ratio)}")
    return Recipe(
        Ground.parse(ground or ""), Colour.parse(colour) if colour else None, steps, clear
    )


def rows_of(
    X: pd.DataFrame,
) -> tuple[list[Recipe], list[Viewing], list[str], list[Conditions]]:
    """Read a table of recipes with how they were viewed, by what, who sprayed, and from what.

    Parameters
    ----------
    X : DataFrame
        Columns as for `FilmRegressor.fit`.

    Returns
    -------
    recipes, viewings, sources, conditions : list
        One a row; what is missing is the usual: a spectrophotometer at D65/10°, 45:0, and nothing
        known of the conditions. Lots and batches are read as by `Conditions.of`.

    Raises
    ------
    DomainError
        If it is no table of recipes.
    """
    if not hasattr(X, "columns"):
        raise DomainError(
            "The recipes are not a table.",
            expected="a DataFrame with columns ground, colour and schedule",
            got=type(X).__name__,
            remedy="give a DataFrame, one row a reading.",
        )
    recipes = recipes_of(X)

    def texts(name: str, usual: str = "") -> list[str]:
        if name not in X.columns:
            return [usual] * len(X)
        return [usual if _empty(v) else str(v) for v in X[name]]

    lights = list(
        zip(
            texts("illuminant", "D65"),
            texts("observer", "10"),
            texts("geometry", "45:0"),
            strict=True,
        )
    )
    known = {light: Viewing(*light) for light in set(lights)}
    asked = (texts(n) for n in ("sprayer", "lot", "batch", "instrument", "date"))
    said = list(zip(recipes, zip(*asked, strict=True), strict=True))
    under = {row: _under(*row) for row in set(said)}
    return (
        recipes,
        [known[light] for light in lights],
        texts("source", "spectrophotometer"),
        [under[row] for row in said],
    )


def _under(recipe: Recipe, said: Sequence[str]) -> Conditions:
    sprayer, lot, batch, instrument, date = said
    return Conditions.of(
        recipe,
        sprayer=sprayer,
        lot=lot,
        batch=batch,
        instrument=instrument,
        date=dt.date.fromisoformat(date[:10]) if date else None,
    )
