"""What more or less film of a recipe shows, at each angle and by the order's difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import reflectance_to_lab
from matchlib.domain import Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.regression import FilmPredictor
from matchlib.regression.table import RecipeTable
from matchlib.target import Target

__all__ = [
    "CHANGES",
    "coat_shares",
    "film_tolerance",
    "film_tolerance_by_angle",
    "lab_by_film",
    "ordered",
]

Array = NDArray[np.float64]

CHANGES = (0.05, 0.10, 0.20)
"""Changes of film looked at by default [-]."""


def ordered(order: Target | None) -> Target:
    """Return the order; without one ΔE00 in the archive's own geometry, of no colour."""
    return order or Target.lab(50.0, 0.0, 0.0)


def lab_by_film(
    model: FilmPredictor, recipes: Sequence[Recipe], factors: ArrayLike, *, viewing: Viewing
) -> Array:
    """Predict Lab of recipes whose colour film is more or less than usual."""
    model.check_fitted()
    film = np.asarray(factors, float)
    table = RecipeTable.of(recipes, [viewing] * len(recipes), model.words_, model.conditions_)
    each = table.take(np.repeat(np.arange(len(recipes)), film.size))
    # More film is a longer way through it: absorption and scattering both grow by it.
    each = replace(each, path=each.path * np.tile(film, len(recipes)))
    fit = model.fitted_
    parts = [
        fit.law.evaluate(fit.z, each.take(slice(i, i + 2000))).reflectance
        for i in range(0, len(each), 2000)
    ]
    return reflectance_to_lab(np.concatenate(parts), viewing).reshape(len(recipes), film.size, 3)


def film_tolerance_by_angle(
    model: FilmPredictor,
    recipes: Sequence[Recipe],
    *,
    changes: Sequence[float] = CHANGES,
    order: Target | None = None,
) -> Array:
    """Return how much k changes of film show at each of m angles, unweighted; (m, n, k)."""
    steps = np.asarray(changes, float)
    if steps.ndim != 1 or not steps.size or not np.all((steps > 0) & (steps < 1)):
        raise DomainError(
            "This is not a change of film.",
            expected="shares above 0 and below 1, such as 0.1 for 10 percent",
            got=", ".join(f"{c:g}" for c in np.atleast_1d(steps).ravel()[:6]) or "none",
            remedy="write 10 percent as 0.1.",
        )
    by, k = ordered(order), steps.size
    factors = np.concatenate([[1.0], 1.0 + steps, 1.0 - steps])
    model.check_fitted()
    found = []
    for view in by.views(model.usual_view):
        labs = lab_by_film(model, recipes, factors, viewing=view)
        shown = by.tolerance.difference(labs[:, :1], labs[:, 1:])
        found.append(np.maximum(shown[:, :k], shown[:, k:]))
    return np.stack(found)


def film_tolerance(
    model: FilmPredictor,
    recipe: Recipe | Sequence[Recipe],
    *,
    changes: Sequence[float] = CHANGES,
    order: Target | None = None,
) -> Array:
    """Return how much a change of film shows.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    recipe : Recipe or sequence of Recipe
        One, or n of them.
    changes : sequence of float
        k shares of the film [-], above 0 and below 1.
    order : Target, optional
        What it is judged by; ΔE00 in the archive's own geometry if None.

    Returns
    -------
    ndarray, shape (k,) or (n, k)
        Difference to the recipe as meant, the greater of so much more and so much less film; the
        worst over the order's angles of weight times difference, in its unit.

    Raises
    ------
    DomainError
        If a change is none.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> thin, full = (Recipe.of("silver", "cherry", s, "yes") for s in ("2@6:1", "5@4:1"))
    >>> shown = film_tolerance(demo_model(), [thin, full], changes=(0.1,))
    >>> shown.round(1).tolist()
    [[1.5], [0.7]]
    """
    recipes = [recipe] if isinstance(recipe, Recipe) else list(recipe)
    each = film_tolerance_by_angle(model, recipes, changes=changes, order=order)
    result = ordered(order).greatest(list(each))
    return np.asarray(result[0]) if isinstance(recipe, Recipe) else result


def coat_shares(model: FilmPredictor, recipe: Recipe) -> Array:
    """Return what each coat brings of the whole film's strength, by the law."""
    if recipe.schedule is None:
        return np.zeros(0)
    prefixes = recipe.coat_by_coat()[1:]
    view = model.usual_view
    table = RecipeTable.of(prefixes, [view] * len(prefixes), model.words_)
    fit = model.fitted_
    state = fit.law.evaluate(fit.z, table)
    strength = (state.dose @ state.absorption).mean(axis=1)
    return np.asarray(np.diff(strength, prepend=0.0) / strength[-1])
