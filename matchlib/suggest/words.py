"""Sentences for the booth: why a recipe, what is new about it, how the nearest misses."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from matchlib.colorimetry import delta_lch, lch
from matchlib.domain import CoatSchedule, Ground, MixRatio, Panel, Recipe
from matchlib.plural import counted
from matchlib.tails import chance_words

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["PastRecipes", "believed", "direction", "doubtful", "why", "why_not"]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_TOWARDS = ("yellower", "greener", "bluer", "redder")
_LEAST = 0.5  # smaller differences are not spoken of [ΔE*ab]


def _count(n: float) -> str:
    return _NUMBERS[int(n)] if float(n).is_integer() and n < len(_NUMBERS) else f"{n:g}"


def _coats(recipe: Recipe) -> str:
    if recipe.schedule is None:
        return "no colour coats"
    parts = []
    for step in recipe.schedule.steps:
        carrier, colour = float(step.ratio.carrier), float(step.ratio.colour)
        parts.append(
            counted(step.coats, "coat")
            + (f" of {step.colour}" if step.colour else "")
            + f" at {step.ratio} ({_count(carrier)} "
            f"part{'s' * (carrier != 1)} carrier to {_count(colour)} "
            f"part{'s' * (colour != 1)} colour)"
        )
    return ", then ".join(parts)


def direction(standard: ArrayLike, trial: ArrayLike) -> list[str]:
    """Return how a trial differs from a standard, the greatest difference first."""
    one, two = np.asarray(standard, float), np.asarray(trial, float)
    shift = delta_lch(one, two)
    light, chroma, hue = (float(v) for v in shift[:3])
    found = [
        (abs(light), f"{'lighter' if light > 0 else 'darker'} (ΔL* {light:+.1f})"),
        (abs(chroma), f"{'more vivid' if chroma > 0 else 'duller'} (ΔC* {chroma:+.1f})"),
    ]
    if min(lch(one)[1], lch(two)[1]) > 2.0:
        # Named by the axis that the hue comes nearer to (common practice, no source): midway it
        # is in the quarter of that axis, also where it passes another.
        quarter = int((float(lch(one)[2]) + 0.5 * float(shift[3])) // 90.0) % 4
        word = _TOWARDS[quarter if hue > 0 else (quarter - 1) % 4]
        found.append((abs(hue), f"{word} (Δh {float(shift[3]):+.1f}°)"))
    return [text for size, text in sorted(found, key=lambda f: -f[0]) if size >= _LEAST]


def why_not(
    target: ArrayLike, nearest: ArrayLike, difference: float, *, tolerance: str, where: str = ""
) -> str:
    """Return how the nearest misses."""
    ways = direction(target, nearest)
    way = " and ".join([", ".join(ways[:-1]), ways[-1]] if len(ways) > 1 else ways)
    text = f"Out of reach within these limits ({tolerance}): the nearest is {difference:.1f} away"
    text += f" at {where}, where it misses most" if where else ""
    return f"{text}, {way} than the sample." if way else f"{text}."


def doubtful(chance: float, telling: Recipe, *, tolerance: str) -> str:
    """Return that a target may not be reached, and what would tell."""
    return (
        f"Doubtful: the chance that any recipe within these limits reaches it ({tolerance}) is "
        f"{chance_words(chance)}. The panel that would tell most: {telling.words}."
    )


def _gift(ground: ArrayLike) -> str:
    light, chroma, hue = (float(v) for v in lch(ground))
    if chroma >= 6.0:
        if 20.0 <= hue < 110.0:
            return "the ground supplies the warmth that a blend would"
        if 110.0 <= hue < 200.0:
            return "the ground supplies the green that a blend would"
        if 200.0 <= hue < 300.0:
            return "the ground supplies the coolness that a blend would"
        return "the ground supplies the red that a blend would"
    if light >= 75.0:
        return "the light ground keeps it bright"
    if light <= 35.0:
        return "the dark ground gives the depth without more coats"
    return "the neutral ground leaves the hue to the colour"


def why(recipe: Recipe, *, ground_lab: ArrayLike, rival: float | None, own: float) -> str:
    """Return why this recipe, in one sentence."""
    # rival: what is expected of the best neat colour; None where the shelf has none.
    colour, ground = recipe.colour, recipe.ground
    if colour is None:
        return f"Bare {ground}: the ground alone is nearest."
    gift = _gift(ground_lab)
    layers = list(map(str, recipe.colours))
    if len(layers) == 1 and colour.neat:
        kind = f"Neat {colour} over {ground}"
        return f"{kind}: {gift}; {_coats(recipe)}."
    if rival is None:
        gain = gift
    elif rival - own > 0.05:
        nearer = f"{rival - own:.1f} nearer" if np.isfinite(rival) else "nearer"
        gain = f"the second colour brings it {nearer} than any neat one"
    else:
        gain = "no nearer than a neat colour, but another way to it"
    pots = f"{colour} in one pot" if len(layers) == 1 else " over ".join(reversed(layers))
    return f"{pots} over {ground}: {gain}; {_coats(recipe)}."


class _Uses(NamedTuple):
    """What an archive shows of a set of colours."""

    over: frozenset[Ground]  # grounds under exactly these colours
    coats: int | None  # most of any of them
    richest: MixRatio | None  # of a pot with any of them


def believed(model: FilmPredictor, archive: Iterable[Recipe | Panel]) -> list[Recipe]:
    """Return the recipes of an archive, without backs that the fit takes for wrong."""
    right = (a for a in archive if isinstance(a, Recipe) or model.trust_.get(a.code, 1.0) > 0.5)
    return [a.recipe if isinstance(a, Panel) else a for a in right]


class PastRecipes:
    """What an archive shows, looked up quickly.

    Parameters
    ----------
    archive : iterable of Recipe
        What was sprayed; nothing is said to be new when there is none.
    """

    def __init__(self, archive: Iterable[Recipe]) -> None:
        past = set(archive)
        self._layered = {tuple(frozenset(c.shares) for c in r.colours) for r in past}
        self.past = [
            (frozenset(colour.shares), r.ground, schedule.coats, _richest(schedule))
            for r in past
            for colour, schedule in r.layers
        ]
        self._sprayed: dict[frozenset[str], _Uses] = {}

    def _of(self, names: frozenset[str]) -> _Uses:
        if names not in self._sprayed:
            used = [row for row in self.past if names & row[0]]
            self._sprayed[names] = _Uses(
                frozenset(ground for mixed, ground, _, _ in used if names == mixed),
                max((coats for _, _, coats, _ in used), default=None),
                max((r for *_, r in used), key=lambda r: r.fraction, default=None),
            )
        return self._sprayed[names]

    def new(self, recipe: Recipe, *, never_mixed: bool = False) -> list[str]:
        """Return what about a recipe no panel shows."""
        found = []
        if never_mixed:
            found.append(f"ground never mixed at these parts: {recipe.ground}")
        if not self.past:
            return found
        layers = tuple(frozenset(colour.shares) for colour in recipe.colours)
        if len(layers) > 1 and layers not in self._layered:
            (below, _), (above, _) = recipe.layers[-2:]
            found.append(f"{above} never sprayed over {below}")
        for names, (colour, schedule) in zip(layers, recipe.layers, strict=True):
            known = self._of(names)
            if not known.over and len(names) > 1:
                found.append(f"these colours never mixed: {' and '.join(colour.names)}")
            elif known.over and not never_mixed and recipe.ground not in known.over:
                found.append(f"{colour} never sprayed over {recipe.ground}")
            if known.coats and schedule.coats > known.coats:
                most = f"{schedule.coats}, so far {known.coats}"
                found.append(f"more coats than ever sprayed ({most})")
            own = _richest(schedule)
            if known.richest and own.fraction > known.richest.fraction + 1e-9:
                found.append(f"richer ratio than ever sprayed ({own}, so far {known.richest})")
        return found


def _richest(schedule: CoatSchedule) -> MixRatio:
    return max((step.ratio for step in schedule.steps), key=lambda ratio: ratio.fraction)
