"""Recipes as arrays: who is in them, how many coats, how strong, how viewed.

A `Vocabulary` is what a fit has seen; a `RecipeTable` is a table of recipes written in it, one row
a reading, ready for the film law. Text is read once for each distinct recipe, not once a row.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import CoatSchedule, Colour, Ground, MixRatio, Recipe, Viewing
from matchlib.errors import DomainError, UnknownName
from matchlib.film import path_factor

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "REFERENCE_FRACTION",
    "RecipeTable",
    "Vocabulary",
    "empty",
    "geometry_group",
    "recipes_of",
]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

REFERENCE_FRACTION = 1.0 / 7.0
"""Colour fraction of 6:1, at which one coat counts as dose 1 [-]."""

_GROUPS = {"0:45": "45:0", "8:di": "di:8", "8:de": "de:8", "8:d": "d:8", "0:d": "d:0"}


def geometry_group(geometry: str) -> str:
    """Return the geometry's one name: light and eye may change places (Helmholtz).

    Parameters
    ----------
    geometry : str
        As in `matchlib.domain.Viewing`.

    Returns
    -------
    str
        The same, or its reciprocal's name.
    """
    return _GROUPS.get(geometry, geometry)


def recipes_of(frame: pd.DataFrame) -> list[Recipe]:
    """Read the recipe of each row.

    Parameters
    ----------
    frame : DataFrame
        Columns ``ground``, ``colour`` and ``schedule`` (or ``ratio`` and ``coats``), and
        ``clear``; colour and coats empty for a bare ground.

    Returns
    -------
    list of Recipe
        One a row.

    Raises
    ------
    DomainError
        Naming the row, if a recipe is not legal.
    """
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
        key = tuple(None if empty(v) else str(v) for v in row)
        if key not in known:
            try:
                known[key] = _recipe(key)
            except DomainError as error:
                raise error.at(f"row {number + 1} of the table") from None
        recipes.append(known[key])
    return recipes


def empty(value: object) -> bool:
    """Return whether a cell of a table holds nothing.

    Parameters
    ----------
    value : object
        None, NaN, blank text, or something.

    Returns
    -------
    bool
        True for the first three.
    """
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


@dataclass(frozen=True)
class Vocabulary:
    """Names that a fit has seen, each with its place.

    Parameters
    ----------
    grounds, colours : tuple of str
        Casefolded base names.
    pairs : tuple of (int, int)
        Grounds that were blended with each other.
    geometries : tuple of str
        Geometry groups; the first is the reference.
    sprayers : tuple of str
        Sprayers, when there are at least two.
    """

    grounds: tuple[str, ...]
    colours: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]
    geometries: tuple[str, ...]
    sprayers: tuple[str, ...] = ()

    @classmethod
    def of(
        cls, recipes: Iterable[Recipe], geometries: Iterable[str], sprayers: Iterable[str]
    ) -> Vocabulary:
        """Collect the names in use.

        Parameters
        ----------
        recipes : iterable of Recipe
            What was sprayed.
        geometries, sprayers : iterable of str
            Of the same readings.

        Returns
        -------
        Vocabulary
            Sorted, so that the order of the readings does not matter.
        """
        distinct = set(recipes)
        grounds = sorted({n for r in distinct for n in r.ground.shares})
        colours = sorted({n for r in distinct for c, _ in r.layers for n in c.shares})
        place = {n: i for i, n in enumerate(grounds)}
        pairs = {
            (place[a], place[b])
            for r in distinct
            for a in r.ground.shares
            for b in r.ground.shares
            if place[a] < place[b]
        }
        seen = [geometry_group(g) for g in geometries]
        ranked = sorted(set(seen), key=lambda g: (-seen.count(g), g))
        people = sorted({s for s in sprayers if s})
        return cls(
            tuple(grounds),
            tuple(colours),
            tuple(sorted(pairs)),
            tuple(ranked),
            tuple(people) if len(people) > 1 else (),
        )

    def shares(self, blend: Ground | Colour) -> Array:
        """Return a blend's shares over the vocabulary.

        Parameters
        ----------
        blend : Ground or Colour
            Of known names.

        Returns
        -------
        ndarray
            Shares [-], summing to 1.

        Raises
        ------
        UnknownName
            If no panel shows one of the names.
        """
        names = self.grounds if isinstance(blend, Ground) else self.colours
        result = np.zeros(len(names))
        for name, share in blend.shares.items():
            if name not in names:
                raise UnknownName(
                    f"No panel in the archive shows the {blend.kind} {name!r}.",
                    expected=f"one of {', '.join(names) or 'none yet'}",
                    got=repr(name),
                    remedy="check the spelling, or add a reading of the bare ground."
                    if isinstance(blend, Ground)
                    else "check the spelling, or add at least one panel of this colour.",
                )
            result[names.index(name)] = share
        return result


@dataclass(frozen=True)
class RecipeTable:
    """Rows of recipes as arrays; n rows, g grounds, c colours, s steps at most.

    Parameters
    ----------
    ground_share : ndarray, shape (n, g)
        Shares by volume [-].
    colour_share : ndarray, shape (n, c)
        Shares of the colour by volume [-]; all 0 for a bare ground.
    coats, first, logk, bend : ndarray, shape (n, s)
        Coats of each step; 1 where the step holds the first coat; sum of the logarithms of the
        coats' numbers; logarithm of the colour fraction over that of 6:1.
    cleared : ndarray of bool, shape (n,)
        Under clear coat.
    geometry : ndarray of int, shape (n,)
        Place in the vocabulary's geometries, -1 for one never read.
    path, aspecular, glossy : ndarray, shape (n,)
        Way through the film relative to 45:0 [-]; whether the geometry is aspecular; whether the
        gloss is included.
    sprayer : ndarray of int, shape (n,)
        Place in the vocabulary's sprayers, -1 for none or another.
    """

    ground_share: Array
    colour_share: Array
    coats: Array
    first: Array
    logk: Array
    bend: Array
    cleared: NDArray[np.bool_]
    geometry: Ints
    path: Array
    aspecular: NDArray[np.bool_]
    glossy: NDArray[np.bool_]
    sprayer: Ints

    def __len__(self) -> int:
        return len(self.path)

    def take(self, rows: Ints | NDArray[np.bool_] | slice) -> RecipeTable:
        """Return some of the rows.

        Parameters
        ----------
        rows : index
            Integers, mask or slice.

        Returns
        -------
        RecipeTable
            Those rows.
        """
        return RecipeTable(**{k: v[rows] for k, v in self.__dict__.items()})

    @property
    def total_coats(self) -> Array:
        """Coats of colour in each row, shape (n,)."""
        return np.asarray(self.coats.sum(axis=1), float)

    @classmethod
    def of(
        cls,
        recipes: Sequence[Recipe],
        viewings: Sequence[Viewing],
        words: Vocabulary,
        sprayers: Sequence[str] = (),
    ) -> RecipeTable:
        """Write recipes in a vocabulary.

        Parameters
        ----------
        recipes : sequence of Recipe
            One a row.
        viewings : sequence of Viewing
            One a row.
        words : Vocabulary
            Names and places.
        sprayers : sequence of str
            One a row, or none at all.

        Returns
        -------
        RecipeTable
            The arrays.

        Raises
        ------
        UnknownName
            If a ground or colour is not in the vocabulary.
        """
        distinct: dict[Recipe, int] = {}
        index = np.array([distinct.setdefault(r, len(distinct)) for r in recipes], np.intp)
        depth = max([len(r.schedule.steps) for r in distinct if r.schedule] or [1])
        count = len(distinct)
        ground = np.zeros((count, len(words.grounds)))
        colour = np.zeros((count, len(words.colours)))
        coats, first, logk, bend = (np.zeros((count, depth)) for _ in range(4))
        for recipe, i in distinct.items():
            ground[i] = words.shares(recipe.ground)
            if recipe.colour is None or recipe.schedule is None:
                continue
            for layer, own in recipe.layers:
                # Layers count by their colour in all, as if mixed: their order is not known here.
                share = own.strength / recipe.schedule.strength
                colour[i] += share * words.shares(layer)
            before = 0
            for j, step in enumerate(recipe.schedule.steps):
                numbers = np.arange(before + 1, before + step.coats + 1)
                coats[i, j], first[i, j] = step.coats, before == 0
                logk[i, j] = np.log(numbers).sum()
                bend[i, j] = np.log(step.ratio.fraction / REFERENCE_FRACTION)
                before += step.coats
        groups = [geometry_group(v.geometry) for v in viewings]
        place = {g: i for i, g in enumerate(words.geometries)}
        length = {g: path_factor(g) / path_factor("45:0") for g in set(groups)}
        person = {s: i for i, s in enumerate(words.sprayers)}
        return cls(
            ground[index],
            colour[index],
            coats[index],
            first[index],
            logk[index],
            bend[index],
            np.array([r.clear is not None for r in recipes], bool),
            np.array([place.get(g, -1) for g in groups], np.intp),
            np.array([length[g] for g in groups], float),
            np.array([v.aspecular is not None for v in viewings], bool),
            np.array([v.specular_included for v in viewings], bool),
            np.array([person.get(s, -1) for s in sprayers or [""] * len(recipes)], np.intp),
        )


def rows_of(
    X: pd.DataFrame,
) -> tuple[list[Recipe], list[Viewing], list[str], list[str]]:
    """Read a table of recipes with how they were viewed, by what, and who sprayed.

    Parameters
    ----------
    X : DataFrame
        Columns as for `FilmRegressor.fit`.

    Returns
    -------
    recipes, viewings, sources, sprayers : list
        One a row; what is missing is the usual: a spectrophotometer at D65/10°, 45:0.

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

    def texts(name: str, usual: str) -> list[str]:
        if name not in X.columns:
            return [usual] * len(X)
        return [usual if empty(v) else str(v) for v in X[name]]

    lights = list(
        zip(
            texts("illuminant", "D65"),
            texts("observer", "10"),
            texts("geometry", "45:0"),
            strict=True,
        )
    )
    known = {light: Viewing(*light) for light in set(lights)}
    return (
        recipes,
        [known[light] for light in lights],
        texts("source", "spectrophotometer"),
        texts("sprayer", ""),
    )
