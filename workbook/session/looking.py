"""A closer look at recipes: what the shelf reaches, how even a recipe lays, how its match holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.domain import CoatSchedule, Recipe, Viewing

if TYPE_CHECKING:
    from matchlib.domain import Panel, Reading
    from matchlib.evenness import Unevenness
    from matchlib.regression import FilmRegressor
    from matchlib.suggest import Limits

__all__ = ["LIGHTS", "Look", "look_at", "miss_words", "reachable_labs"]

LIGHTS = (
    ("A", "10", "lamp light (A)"),
    ("F11", "10", "shop fluorescent (F11)"),
    ("LED-B3", "10", "white LED (LED-B3)"),
    ("D65", "2", "a small field of view (2°)"),
)
"""Illuminant, observer and what it is called."""

_MOST_REACH = 1500


@dataclass(frozen=True, slots=True)
class Look:
    """What a closer look at a recipe shows.

    Parameters
    ----------
    uneven : Unevenness
        A simulated panel.
    by_film : tuple of (float, float)
        Share of film more or less [-], and the ΔE00 it shows.
    lights : tuple of (str, float)
        Light in words, and the ΔE00 that the change of light alone adds to the match; empty
        where the target has no spectrum.
    smooth : bool
        Whether the recipe's spectrum rests on Lab readings alone.
    """

    uneven: Unevenness
    by_film: tuple[tuple[float, float], ...]
    lights: tuple[tuple[str, float], ...]
    smooth: bool

    @property
    def evenness(self) -> str:
        """How even it lays, in words."""
        steps = ", ".join(f"±{share:.0%} shows ΔE00 {value:.1f}" for share, value in self.by_film)
        return f"{self.uneven.words} Film {steps}."

    @property
    def metamerism(self) -> str:
        """How the match holds under other lights, in words."""
        if not self.lights:
            return (
                "The target is known as Lab alone, so nobody can tell how the match holds under "
                "another light; read the sample as a spectrum to know."
            )
        parts = ", ".join(f"{value:.1f} under {name}" for name, value in self.lights)
        worst = max(value for _, value in self.lights)
        seen = "the match holds" if worst < 1.0 else "the match parts company there"
        text = f"The change of light alone adds ΔE00 {parts}: {seen}."
        if self.smooth:
            text += (
                " The recipe's own spectrum rests on Lab readings alone, so this is one probable "
                "answer of many."
            )
        return text


def look_at(
    model: FilmRegressor,
    recipe: Recipe,
    *,
    target: Reading | None = None,
    viewing: Viewing | None = None,
) -> Look:
    """Look closer at a recipe.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    recipe : Recipe
        What would be sprayed.
    target : Reading, optional
        What is matched.
    viewing : Viewing, optional
        How it is viewed; D65/10° in the archive's own geometry where not given.

    Returns
    -------
    Look
        The same each time.
    """
    from matchlib.evenness import CHANGES, film_tolerance, spray_panel

    view = viewing or Viewing(geometry=model.words_.geometries[0])
    shown = film_tolerance(model, recipe, viewing=view)
    lights = () if target is None or not target.spectral else _lights(model, recipe, target)
    return Look(
        uneven=spray_panel(model, recipe, viewing=view),
        by_film=tuple((c, float(v)) for c, v in zip(CHANGES, shown, strict=True)),
        lights=lights,
        smooth=bool(model.rests_on_lab([recipe])[0]),
    )


def _lights(model: FilmRegressor, recipe: Recipe, target: Reading) -> tuple[tuple[str, float], ...]:
    from matchlib.colorimetry import interpolate_reflectance, metamerism_index
    from matchlib.regression import frames_of

    from_panel, _ = frames_of([_bare_panel(recipe, target)])
    trial = model.predict_spectrum(from_panel)[0]
    standard = interpolate_reflectance(target.wavelengths, target.reflectance)
    base = target.viewing
    return tuple(
        (name, float(metamerism_index(standard, trial, Viewing(light, eye), base)))
        for light, eye, name in LIGHTS
    )


def _bare_panel(recipe: Recipe, target: Reading) -> Panel:
    from matchlib.domain import Panel as Sprayed

    return Sprayed("looked at", recipe, (target,))


def reachable_labs(
    model: FilmRegressor,
    limits: Limits,
    panels: Sequence[Panel],
    *,
    viewing: Viewing | None = None,
) -> Any:
    """Predict the colours that the shelf reaches.

    Parameters
    ----------
    model : FilmRegressor
        Fitted.
    limits : Limits
        The shop's.
    panels : sequence of Panel
        The archive's, for the usual clear coat and the spelling.
    viewing : Viewing, optional
        How they are viewed; D65/10° in the archive's own geometry where not given.

    Returns
    -------
    ndarray, shape (n, 3)
        CIELAB of colours of the shelf, neat and blended, over its grounds, from the weakest film
        to the strongest and between; at most some 1500 of them.
    """
    from matchlib.suggest.limits import Shelf

    view = viewing or Viewing(geometry=model.words_.geometries[0])
    shelf = Shelf.of(
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


def miss_words(target: Sequence[float], lab: Sequence[float]) -> str:
    """Say how a colour differs from the target.

    Parameters
    ----------
    target, lab : sequence of 3 float
        CIELAB.

    Returns
    -------
    str
        Such as ``lighter (ΔL* +3.1) and duller (ΔC* -2.0) than the target``.
    """
    from matchlib.suggest.words import direction

    ways = direction(target, lab)
    if not ways:
        return "hardly different from the target"
    joined = " and ".join([", ".join(ways[:-1]), ways[-1]] if len(ways) > 1 else ways)
    return f"{joined} than the target"
