"""A closer look at recipes: what the shelf reaches, how even a recipe lays, how its match holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.domain import CoatSchedule, Recipe, Viewing
from matchlib.errors import MatchlibError

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Panel, Reading
    from matchlib.evenness import Unevenness
    from matchlib.explain import Explanation
    from matchlib.metamerism import Metamerism
    from matchlib.mixing import Limits
    from matchlib.regression import FilmPredictor
    from matchlib.target import Target

__all__ = ["RecipeReport", "reachable_labs", "report_on"]

_MOST_REACH = 1500


@dataclass(frozen=True, slots=True)
class RecipeReport:
    """What a closer look at a recipe shows.

    `uneven`: a simulated panel, at each angle of the order. `alternatives`: which schedule that
    comes to the same colour forgives most. `by_film`: share of film more or less [-], and what it
    shows: the order's own figure. `film_angles`: what each of these shares shows at each angle, in
    the unit of the order's difference, not weighted. `held`: how the match holds under other
    lights; None without a target, or where that cannot be told. `not_held`: why it cannot be told;
    empty where it can. `why`: what each change would do, what is near in the archive, where the
    doubt comes from.
    """

    uneven: Unevenness
    alternatives: str
    by_film: tuple[tuple[float, float], ...]
    film_angles: tuple[tuple[float, ...], ...]
    held: Metamerism | None
    not_held: str
    why: Explanation

    @property
    def tolerance(self) -> Tolerance:
        """The order's difference, in whose unit evenness and changes are."""
        return self.why.tolerance

    @property
    def evenness(self) -> str:
        """How even it lays, in words."""
        digits = 2 if self.tolerance.boxed else 1
        steps = ", ".join(
            f"±{share:.0%} shows {self.tolerance.with_unit(value, digits)}"
            for share, value in self.by_film
        )
        where = " at the worst angle" if len(self.film_angles) > 1 else ""
        return f"{self.uneven.words} Film {steps}{where}. {self.alternatives}".rstrip()

    @property
    def metamerism(self) -> str:
        """How the match holds under other lights, in words."""
        return self.not_held if self.held is None else self.held.words


def report_on(
    model: FilmPredictor,
    recipe: Recipe,
    *,
    target: Sequence[Reading],
    aim: Target,
    panels: Sequence[Panel],
) -> RecipeReport:
    """Look closer at a recipe.

    `aim`: what it is judged by: angles, weights, difference.
    """
    from matchlib.evenness import (
        CHANGES,
        alternative_words,
        alternatives,
        film_tolerance,
        film_tolerance_by_angle,
        spray_panel,
    )
    from matchlib.explain import explain
    from matchlib.metamerism import metamerism
    from matchlib.target import Target

    shown = film_tolerance(model, recipe, order=aim)
    held, why_not = None, ""
    try:
        held = metamerism(model, recipe, Target.of_readings(_diffuse(target)))
    except MatchlibError as error:
        why_not = str(error)
    each = film_tolerance_by_angle(model, [recipe], order=aim)[:, 0]
    return RecipeReport(
        uneven=spray_panel(model, recipe, order=aim),
        alternatives=alternative_words(alternatives(model, recipe, order=aim), recipe),
        by_film=tuple((c, float(v)) for c, v in zip(CHANGES, shown, strict=True)),
        film_angles=tuple(tuple(float(v) for v in angle) for angle in each),
        held=held,
        not_held=why_not,
        why=explain(model, recipe, archive=panels, target=aim),
    )


def _diffuse(readings: Sequence[Reading]) -> Reading:
    """The reading at which a change of light can be told: not at an aspecular angle."""
    return next((r for r in readings if r.viewing.aspecular is None), readings[0])


def reachable_labs(
    model: FilmPredictor,
    limits: Limits,
    panels: Sequence[Panel],
    *,
    viewing: Viewing | None,
) -> Any:
    """Predict the colours that the shelf reaches.

    `viewing`: how they are viewed; D65/10° in the archive's own geometry where None. Returned:
    CIELAB of colours of the shelf, neat and blended, over its grounds, from the weakest film to the
    strongest and between; at most some 1500 of them.
    """
    from matchlib.suggest.ingredients import Ingredients

    view = viewing or model.usual_view
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
    return model.predict_recipes(recipes, view)
