"""Tables of recipes and readings: from panels, and to the nouns of the trade."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from matchlib.domain import Conditions, MixRatio, Panel, Reading, Recipe, Stage, Viewing
from matchlib.domain.reading import SOURCES
from matchlib.errors import DomainError, FitError
from matchlib.readings.frame import frame_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "conditions_of",
    "day_of",
    "frames_of",
    "is_empty",
    "recipes_of",
    "rows_of",
    "spectral_columns",
]

_SAID = ("sprayer", "lot", "batch", "instrument")
_WAVELENGTH = re.compile(r"[1-9]\d{2,3}(\.\d+)?")


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
    """Return X and y of a fit: the table of `matchlib.readings.frame_of`, and its readings.

    Parameters
    ----------
    panels : iterable of Panel
        Panels with at least one reading among them.

    Returns
    -------
    X : DataFrame
        That table: recipes, how they were sprayed and how they were read.
    y : DataFrame
        Of its columns ``L``, ``a``, ``b`` and those of wavelengths [nm].

    Raises
    ------
    FitError
        If there is no reading.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> X, y = frames_of(demo_panels())
    >>> X.shape[0] == len(y), y.columns.tolist()[:4]
    (True, ['L', 'a', 'b', '400'])
    """
    X = frame_of(panels)
    if X.empty:
        raise FitError(
            "The archive holds no reading.",
            expected="panels with readings",
            got="none",
            remedy="import a table of readings first.",
        )
    return X, X[["L", "a", "b", *spectral_columns(X)]]


def spectral_columns(frame: pd.DataFrame) -> list[Any]:
    """Return the columns of a table that are named by a wavelength [nm]."""
    return [c for c in frame.columns if _WAVELENGTH.fullmatch(str(c))]


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
        key = tuple(None if is_empty(v) else str(v) for v in row)
        if key not in known:
            try:
                known[key] = _recipe(key)
            except DomainError as error:
                raise error.at(f"row {number + 1} of the table") from None
        recipes.append(known[key])
    return recipes


def is_empty(value: object) -> bool:
    """Return whether a cell of a table holds nothing."""
    return value is None or str(value).strip() in ("", "nan", "NaT", "<NA>")


def _recipe(key: tuple[str | None, ...]) -> Recipe:
    ground, colour, schedule, ratio, coats, clear = key
    if not schedule and ratio and coats:
        schedule = f"{coats.removesuffix('.0')}@{MixRatio.parse(ratio)}"
    return Recipe.of(ground or "", colour, schedule, clear)


def rows_of(X: pd.DataFrame) -> tuple[list[Recipe], list[Viewing], list[str], list[Conditions]]:
    """Read a table of recipes with how they were viewed, by what, who sprayed, and from what."""
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
        return [usual if is_empty(v) else str(v) for v in X[name]]

    usual = {"illuminant": "D65", "observer": "10", "geometry": "45:0"}
    lights = list(zip(*(texts(*each) for each in usual.items()), strict=True))
    known = {light: Viewing(*light) for light in set(lights)}
    said = list(zip(recipes, *map(texts, (*_SAID, "date")), strict=True))
    under = {row: _under(*row) for row in set(said)}
    views, conditions = [known[light] for light in lights], [under[row] for row in said]
    sources = texts("source", SOURCES[0])
    for source in set(sources) - set(SOURCES):
        Reading(source=source, lab=(50.0, 0.0, 0.0))  # says what is wrong with it
    return recipes, views, sources, conditions


def day_of(text: str) -> dt.date:
    """Read a day."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise DomainError(
            "This is not a day.",
            expected="year, month and day, such as 2026-05-31",
            got=repr(text),
            remedy="write it so.",
        ) from None


def _under(recipe: Recipe, *said: str) -> Conditions:
    *names, date = said
    day = day_of(date[:10]) if date else None
    return Conditions.of(recipe, **dict(zip(_SAID, names, strict=True)), date=day)
