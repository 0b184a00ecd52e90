"""Small changes to a recipe, as a sprayer would make them, each in words.

One coat more or fewer, the next ratio, the last coats weaker or stronger, another ground, a little
more of one part of a blend. Not a search: what can be done to the next panel without beginning
again. And what may be laid on a card that is begun.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, product
from typing import TYPE_CHECKING, NamedTuple

from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Recipe
from matchlib.domain.blend import Blend
from matchlib.mixing import Limits
from matchlib.sample import shelf_of

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = [
    "Move",
    "continuations",
    "fresh_recipes",
    "moves",
    "ratio_words",
]

WEAKEST = 30
"""Parts of carrier to one of colour in the weakest pot (common practice, no source)."""

_WEAK = (8, 9, 10, 12, 14, 16, 20, 25, WEAKEST)
_COATS = 3
"""Coats on top of a card, at most."""


class Move(NamedTuple):
    """A change to a recipe."""

    recipe: Recipe  # the recipe after it
    words: str  # what to do differently
    changes: int = 1  # things changed, 1 or 2; 0 for the same again


def ratio_words(ratio: MixRatio) -> str:
    """Return a ratio in digits and words."""
    return f"{ratio} ({ratio.words})"


def _coats(steps: tuple[CoatStep, ...], by: int) -> tuple[CoatStep, ...] | None:
    """The last step longer or shorter; None if nothing would be left."""
    last = steps[-1]
    if last.coats + by >= 1:
        return (*steps[:-1], replace(last, coats=last.coats + by))
    if last.coats + by == 0 and len(steps) > 1:
        return steps[:-1]
    return None


def _neighbours(ratio: MixRatio, ratios: Sequence[MixRatio]) -> Iterator[tuple[int, MixRatio]]:
    weaker = sorted((r for r in ratios if r < ratio), reverse=True)
    stronger = sorted(r for r in ratios if r > ratio)
    for found, way in ((weaker, -1), (stronger, 1)):
        for size, other in enumerate(found[:3], 1):
            yield way * size, other


def _of_schedule(
    schedule: CoatSchedule, ratios: Sequence[MixRatio]
) -> Iterator[tuple[CoatSchedule, str, int]]:
    steps = schedule.steps
    last, own = steps[-1].ratio, steps[-1].colour
    fresh = len(steps) == 1
    for by in (1, -1, 2, -2):
        made = _coats(steps, by)
        if made is not None:
            what = "one coat" if abs(by) == 1 else "two coats"
            what += f" {'more' if by > 0 else 'fewer'} at {ratio_words(last)}"
            yield CoatSchedule(made), what, 1
    for size, other in _neighbours(last, ratios):
        word = "stronger" if size > 0 else "weaker"
        whole = "the same coats" if fresh else "the last coats"
        what = f"{whole} {word}, at {ratio_words(other)} instead of {last}"
        yield CoatSchedule((*steps[:-1], replace(steps[-1], ratio=other))), what, 1
        for by in (1, -1):
            made = _coats(steps, by)
            if made is None or len(made) != len(steps):
                continue
            both = f"one coat {'more' if by > 0 else 'fewer'}, and {whole} at "
            both += f"{ratio_words(other)} instead of {last}"
            yield CoatSchedule((*made[:-1], replace(made[-1], ratio=other))), both, 2
    for many, other in product((1, 2), ratios):
        if other == last or not 0 < many <= steps[-1].coats or schedule.coats == many:
            continue
        rest = _coats(steps, -many)
        if rest is None:
            continue
        word = "cut" if other < last else "strengthen"
        coat = "the last coat" if many == 1 else "the last two coats"
        what = f"{word} {coat} to {ratio_words(other)}"
        yield CoatSchedule((*rest, CoatStep(many, other, own))), what, 1
    for other in ratios:
        if other < last:
            what = f"one coat more, at {ratio_words(other)}"
            yield CoatSchedule((*steps, CoatStep(1, other, own))), what, 1


def _steps_up(schedule: CoatSchedule) -> bool:
    """Whether a pot is sprayed at one ratio and then at a stronger one."""
    return any(a.colour == b.colour and a.ratio < b.ratio for a, b in pairwise(schedule.steps))


def _shares(blend: Blend, most: int) -> Iterator[tuple[Blend, str]]:
    """A blend a twentieth or two more of one than of the other, of at most so many parts."""
    if len(blend.parts) != 2:  # of three there is no one way of shifting
        return
    (first, one), (second, two) = blend.parts
    share = one / (one + two)
    for by in (1, -1, 2, -2):
        now = (share + Fraction(by, 20)).limit_denominator(most)
        if 0 < now < 1 and (now - share) * by > 0:
            made = type(blend)(((first, now), (second, 1 - now)))
            more, less = (first, second) if by > 0 else (second, first)
            yield made, f"mix {made} (a little more {more}, a little less {less})"


def moves(recipe: Recipe, limits: Limits, grounds: Sequence[Ground]) -> list[Move]:
    """Return the small changes that can be made to a recipe."""
    found = [Move(recipe, "spray the same again", 0)]
    if recipe.colour is not None and recipe.schedule is not None:
        stronger = limits.step_ups or _steps_up(recipe.schedule)
        for schedule, words, changes in _of_schedule(recipe.schedule, limits.ratios()):
            within = limits.min_coats <= schedule.coats <= limits.max_coats
            if within and (stronger or not _steps_up(schedule)):
                found.append(Move(replace(recipe, schedule=schedule), words, changes))
        for own in dict.fromkeys(recipe.colours):
            for blend, words in _shares(own, limits.blend_parts):
                changed = recipe.recoloured(own, Colour(blend.parts))
                found.append(Move(changed, f"in the pot, {words}"))
    for other in grounds:
        if other != recipe.ground:
            words = f"the same coats over {other} instead of {recipe.ground}"
            found.append(Move(replace(recipe, ground=other), words))
    for blend, words in _shares(recipe.ground, limits.ground_parts):
        ground = Ground(blend.parts)
        found.append(Move(replace(recipe, ground=ground), f"for the ground, {words}"))
    first = {m.recipe: m for m in reversed(found)}  # of two ways to one recipe
    return [m for m in found if m is first[m.recipe] and limits.enough_for(m.recipe)]


def fresh_recipes(model: FilmPredictor, limits: Limits, *, usual: str | None) -> list[Recipe]:
    """Return every recipe of one pot at one ratio.

    Parameters
    ----------
    model : FilmPredictor
        Knows the archive's grounds and colours.
    limits : Limits
        What may be used; blends and step-ups are not thought of.
    usual : str, optional
        The clear coat where the limits say ``usual``.

    Returns
    -------
    list of Recipe
        Grounds times colours times coats times ratios.

    Examples
    --------
    >>> from matchlib import Limits
    >>> from matchlib.demo import demo_model
    >>> neat = Limits(grounds=("silver",), colours=("cherry",), max_ratio=4, max_coats=2)
    >>> {str(recipe.colour) for recipe in fresh_recipes(demo_model(), neat, usual="yes")}
    {'cherry'}
    """
    clear = usual if limits.clear == "usual" else limits.clear
    made = [
        CoatSchedule((CoatStep(n, r),))
        for n, r in product(range(limits.min_coats, limits.max_coats + 1), limits.ratios())
    ]
    every = (Recipe(g, c, s, clear) for g, c, s in product(*shelf_of(model, limits), made))
    return [recipe for recipe in every if limits.enough_for(recipe)]


@lru_cache(maxsize=16)  # readings imagined of one card have the same before them
def continuations(recipe: Recipe, limits: Limits) -> tuple[Recipe, ...]:
    """Return what may be laid on a card next: coats of the cup, let down, or of a fresh pot."""
    if recipe.schedule is None:
        return ()
    steps = recipe.schedule.steps
    own = steps[-1].colour
    left = max(limits.max_coats - recipe.schedule.coats, 1)
    weak = [MixRatio(Fraction(c), Fraction(1)) for c in _WEAK]
    ratios = sorted({*limits.ratios(), *weak, steps[-1].ratio})
    made = (
        replace(recipe, schedule=CoatSchedule((*steps, CoatStep(n, r, own))))
        for r in ratios
        for n in range(1, min(_COATS, left) + 1)
    )
    return tuple(r for r in made if limits.enough_for(r))
