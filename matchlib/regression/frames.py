"""Tables of recipes and readings: from panels, and to the nouns of the trade."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from matchlib.domain import Conditions, MixRatio, Panel, Reading, Recipe, Stage, Viewing, three
from matchlib.domain.reading import SOURCES
from matchlib.errors import DomainError, FitError
from matchlib.plural import counted
from matchlib.readings.frame import frame_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "conditions_of",
    "day_of",
    "frames_of",
    "recipes_of",
    "rows_of",
    "spectral_columns",
    "stated_of",
    "with_spectra",
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


def stated_of(X: pd.DataFrame) -> Any:
    """Return the covariance that each reading states, (n, 3, 3), NaN where it states none."""
    import numpy as np
    import pandas as pd

    stated, some = np.full((len(X), 3, 3), np.nan), (50.0, 0.0, 0.0)
    if "sd" in X.columns:
        read = pd.to_numeric(X["sd"], errors="coerce")
        for sd in read[~X["sd"].map(_empty)].unique():
            Reading(lab=some, sd=float(sd))  # refuses what no reading can state
        stated[:] = read.to_numpy(np.float64)[:, None, None] ** 2 * np.eye(3)
    for i, own in enumerate(X["covariance"] if "covariance" in X.columns else ()):
        if own is not None and np.shape(own) == (3, 3):
            first, second, third = map(three, own)
            stated[i] = Reading(lab=some, covariance=(first, second, third)).covariance
    return stated


def with_spectra(X: pd.DataFrame, y: Any) -> Any:
    """Return readings, those that are empty filled from the wavelength columns of X."""
    import numpy as np
    import pandas as pd

    expected = f"y with L, a and b, or reflectances, for each of the {len(X)} rows of X"
    remedy = "take both from one table, such as table and table[['L', 'a', 'b']]."
    if y is None:
        problem = "This regressor requires y to be passed, but the target y is None."
        raise FitError(problem, expected=expected, remedy=remedy)
    count = len(y) if np.ndim(y) else 1
    if count != len(X):
        raise FitError(
            "There are not as many readings as recipes.",
            expected=expected,
            got=counted(count, "row"),
            remedy=remedy,
        )
    try:
        lab = np.asarray(y, float)
    except (TypeError, ValueError):
        raise FitError(
            "These readings are not numbers.",
            expected="y of L, a and b, or of reflectances from 0 to 1, and nothing else",
            got=f"columns {', '.join(map(str, getattr(y, 'columns', ['of text'])))}",
            remedy="take the columns of readings alone, such as table[['L', 'a', 'b']].",
        ) from None
    names, empty = spectral_columns(X), np.isnan(np.atleast_2d(lab)).all(axis=1)
    if not names or lab.ndim != 2 or lab.shape[1] != 3 or not empty.any():
        return y
    spectra = X[names].astype(float).mask(~empty[:, None] | np.zeros((1, len(names)), bool))
    return pd.concat([pd.DataFrame(lab, X.index, ["L", "a", "b"]), spectra], axis=1)


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
        return [usual if _empty(v) else str(v) for v in X[name]]

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
