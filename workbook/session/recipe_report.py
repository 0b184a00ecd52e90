"""A closer look at recipes: what the shelf reaches, how even a recipe lays, how its match holds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matchlib.domain import CoatSchedule, Recipe, Viewing
from matchlib.errors import MatchlibError

if TYPE_CHECKING:
    from matchlib.domain import Panel, Reading
    from matchlib.mixing import Limits
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target

__all__ = ["closer_look", "reachable_labs"]

_MOST_REACH = 1500


def closer_look(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    target: Sequence[Reading],
    aim: Target,
    panels: Sequence[Panel],
) -> list[str]:
    """Say how even a recipe lays, how its match holds under other lights, and why it is said so.

    `aim`: what it is judged by: angles, weights, difference.
    """
    from matchlib.evenness import (
        CHANGES,
        alternative_words,
        alternatives,
        film_tolerance,
        spray_panel,
    )
    from matchlib.explain import explain
    from matchlib.metamerism import metamerism
    from matchlib.target import Target

    tolerance = aim.tolerance
    shown = zip(CHANGES, film_tolerance(model, recipe, order=aim), strict=True)
    film = ", ".join(
        f"±{share:.0%} shows {tolerance.with_unit(float(value), tolerance.digits)}"
        for share, value in shown
    )
    where = " at the worst angle" if len(aim.aims) > 1 else ""
    other = alternative_words(alternatives(model, recipe, order=aim), recipe)
    even = spray_panel(model, recipe, order=aim).words
    try:
        held = metamerism(model, recipe, Target.of_readings(_diffuse(target))).words
    except MatchlibError as error:
        held = str(error)
    why = explain(model, recipe, archive=panels, target=aim).words
    return [f"{even} Film {film}{where}. {other}".rstrip(), held, *why.splitlines()]


def _diffuse(readings: Sequence[Reading]) -> Reading:
    """The reading at which a change of light can be told: not at an aspecular angle."""
    return next((r for r in readings if r.viewing.aspecular is None), readings[0])


def reachable_labs(
    model: FilmPredictor,
    limits: Limits,
    panels: Sequence[Panel],
    *,
    viewing: Viewing,
) -> Any:
    """Predict the colours that the shelf reaches.

    `viewing`: how they are viewed. Returned: CIELAB of colours of the shelf, neat and blended, over
    its grounds, from the weakest film to the strongest and between; at most some 1500 of them.
    """
    from matchlib.suggest.ingredients import Ingredients

    shelf = Ingredients.of(
        limits, model.words_.grounds, model.words_.colours, (), [p.recipe for p in panels]
    )
    ratios = limits.ratios()
    some = list(dict.fromkeys([ratios[0], ratios[len(ratios) // 2], ratios[-1]]))
    coats = sorted({limits.min_coats, (limits.min_coats + limits.max_coats) // 2, limits.max_coats})
    steps = [CoatSchedule.of(n, r) for n in coats for r in some]
    pots = sorted(shelf.colours, key=lambda c: len(c.names))
    most = max(1, _MOST_REACH // (len(steps) * len(shelf.grounds)))
    recipes = [
        Recipe(ground, colour, schedule, shelf.clear)
        for ground in shelf.grounds
        for colour in pots[:most]
        for schedule in steps
    ]
    return model.predict_recipes(recipes, viewing)
