"""Tables of recipes and readings: from panels, and to the nouns of the trade."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

from matchlib.domain import (
    BEFORE_CLEAR,
    Conditions,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Stage,
    Viewing,
    day_of,
)
from matchlib.domain.conditions import NO_DAY
from matchlib.domain.reading import SOURCES
from matchlib.errors import DomainError, FitError
from matchlib.readings.frame import frame_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "conditions_of",
    "frames_of",
    "is_empty",
    "panels_of",
    "rows_of",
    "spectral_columns",
]

_T = TypeVar("_T")
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


def panels_of(X: pd.DataFrame) -> list[str]:
    """Return each row's panel by its code; a row without one is a panel of its own."""
    codes = X["panel"] if "panel" in X.columns else [None] * len(X)
    return [
        f"row {number}" if is_empty(code) else _text(code).strip()
        for number, code in enumerate(codes, 1)
    ]


def rows_of(X: pd.DataFrame) -> tuple[list[Recipe], list[Viewing], list[str], list[Conditions]]:
    """Read a table of recipes with how they were viewed, by what, who sprayed, and from what."""
    if not hasattr(X, "columns"):
        raise DomainError(
            "The recipes are not a table.",
            expected="a DataFrame with columns ground, colour and schedule",
            got=type(X).__name__,
            remedy="give a DataFrame, one row a reading.",
        )
    names = set(X.columns)
    if "ground" not in names or not ("schedule" in names or {"ratio", "coats"} <= names):
        raise DomainError(
            "This table is not one of recipes.",
            expected="columns ground, colour, and schedule (or ratio and coats)",
            got=", ".join(map(str, X.columns[:12])) or "no columns",
            remedy="name the columns so.",
        )

    def texts(name: str, usual: str = "") -> list[str]:
        if name not in names:
            return [usual] * len(X)
        return [usual if is_empty(v) else _text(v) for v in X[name]]

    recipe = map(texts, ("ground", "colour", "schedule", "ratio", "coats", "clear", "state"))
    recipes = _each(zip(*recipe, strict=True), _recipe)
    light = texts("illuminant", "D65"), texts("observer", "10"), texts("geometry", "45:0")
    views = _each(zip(*light, strict=True), Viewing)
    sources = texts("source", SOURCES[0])
    _each(zip(sources, strict=True), lambda source: source in SOURCES or Reading(source=source))
    said = map(texts, (*_SAID, "date", "sprayed"))
    return recipes, views, sources, _each(zip(recipes, *said, strict=True), _under)


def _each(rows: Iterable[tuple[Any, ...]], read: Callable[..., _T]) -> list[_T]:
    """What each row of cells says, rows alike read once."""
    every, known = list(rows), dict[tuple[Any, ...], _T]()
    for number, row in enumerate(every, 1):
        if row not in known:
            try:
                known[row] = read(*row)
            except DomainError as error:
                raise error.at(f"row {number} of the table") from None
    return [known[row] for row in every]


def is_empty(value: object) -> bool:
    """Return whether a cell of a table holds nothing."""
    return value is None or str(value).strip() in ("", "nan", "NaT", "<NA>")


def _text(value: object) -> str:
    """A cell as it was written: beside empty ones pandas makes a 10 a 10.0."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def _recipe(*cells: str) -> Recipe:
    ground, colour, schedule, ratio, coats, clear, state = cells
    if not schedule and ratio and coats:
        schedule = f"{coats}@{MixRatio.parse(ratio)}"
    # A file says of such a reading the clear coat that was to come.
    return Recipe.of(ground, colour, schedule, "no" if state == BEFORE_CLEAR else clear)


def _under(recipe: Recipe, *said: str) -> Conditions:
    *names, date, sprayed = said
    # A file that says the day of spraying by itself has the day of reading as its date.
    date = sprayed or date
    day = day_of(date) if date not in ("", NO_DAY) else None
    return Conditions.of(recipe, **dict(zip(_SAID, names, strict=True)), date=day)
