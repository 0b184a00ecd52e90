"""The slips of the pen that put a wrong recipe on the back of a panel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product
from typing import NamedTuple

from matchlib.audit.finding import PRIORS, REVERSED_WHEN_RICH
from matchlib.domain import Colour, Ground, MixRatio, Panel, Recipe
from matchlib.domain.blend import Blend

__all__ = ["Materials", "slips"]


class Materials(NamedTuple):
    """What the shop has: grounds, colours and ratios in use."""

    grounds: Sequence[Ground]  # any of which may be under a panel
    colours: Sequence[Colour]  # any of which may be in the gun
    ratios: Sequence[MixRatio]  # any of which may be in the pot

    @classmethod
    def of(cls, panels: Sequence[Panel]) -> Materials:
        """Return what is in use in an archive."""
        recipes = [p.recipe for p in panels]
        used = [s.ratio for r in recipes for s in r.steps]
        return cls(
            sorted({r.ground for r in recipes}, key=str),
            sorted({colour for r in recipes for colour in r.colours}, key=str),
            sorted({r for r in used if not r.looks_reversed}),
        )


def slips(recipe: Recipe, shelf: Materials) -> list[tuple[str, Recipe, float]]:
    """Return the recipes that may have been sprayed when this one was written."""
    found: list[tuple[str, Recipe, float]] = []
    for kind, recipes in (
        ("reversed ratio", list(_reversed(recipe))),
        ("coats miscounted", list(_miscounted(recipe))),
        ("another ratio", list(_other_ratios(recipe, shelf))),
        ("wrong ground", [replace(recipe, ground=g) for g in shelf.grounds]),
        ("wrong colour", list(_other_colours(recipe, shelf))),
        ("blend parts swapped", list(_swapped(recipe))),
    ):
        other = [r for r in dict.fromkeys(recipes) if r != recipe]
        prior = PRIORS[kind]
        if kind == "reversed ratio" and recipe.schedule is not None:
            rich = any(s.ratio.looks_reversed for s in recipe.schedule.steps)
            prior = REVERSED_WHEN_RICH if rich else prior / 10
        found += [(kind, r, prior / len(other)) for r in other]
    return found


def _reversed(recipe: Recipe) -> Iterator[Recipe]:
    steps = recipe.steps
    turned = [
        s if s.ratio.carrier == 0 else replace(s, ratio=MixRatio(s.ratio.colour, s.ratio.carrier))
        for s in steps
    ]
    if turned:
        yield recipe.with_steps(turned)
    if len(steps) > 1:
        for i, step in enumerate(turned):
            yield recipe.with_steps([*steps[:i], step, *steps[i + 1 :]])


def _miscounted(recipe: Recipe) -> Iterator[Recipe]:
    steps = recipe.steps
    for i, step in enumerate(steps):
        for by in (1, -1, 2, -2):
            if step.coats + by >= 1 and recipe.coats + by <= 60:
                changed = replace(step, coats=step.coats + by)
                yield recipe.with_steps([*steps[:i], changed, *steps[i + 1 :]])
            elif step.coats + by == 0 and len(steps) > 1:
                yield recipe.with_steps([*steps[:i], *steps[i + 1 :]])


def _other_ratios(recipe: Recipe, shelf: Materials) -> Iterator[Recipe]:
    steps = recipe.steps
    for i, step in enumerate(steps):
        for ratio in shelf.ratios:
            yield recipe.with_steps([*steps[:i], replace(step, ratio=ratio), *steps[i + 1 :]])


def _other_colours(recipe: Recipe, shelf: Materials) -> Iterator[Recipe]:
    for own, colour in product(dict.fromkeys(recipe.colours), shelf.colours):
        yield recipe.recoloured(own, colour)


def _swapped(recipe: Recipe) -> Iterator[Recipe]:
    for own in dict.fromkeys(recipe.colours):
        if len(own.parts) == 2:
            yield recipe.recoloured(own, Colour(_exchanged(own)))
    if len(recipe.ground.parts) == 2:
        yield replace(recipe, ground=Ground(_exchanged(recipe.ground)))


def _exchanged(blend: Blend) -> tuple[tuple[str, Fraction], ...]:
    (one, first), (two, second) = blend.parts
    return (one, second), (two, first)
