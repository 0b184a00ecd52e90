"""What would you change? A real card, a real colour that is wanted, and the model as judge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, Ground, MixRatio, Recipe
from matchlib.plural import counted

__all__ = ["changes_of", "wanted_near"]

Array = NDArray[np.float64]

APART = (2.0, 12.0)
"""How far the wanted colour lies from the card [ΔE00]: to be seen, and not another colour."""

CLOSER = 0.4
"""The best change leaves at most this share of it [-]."""


def changes_of(recipe: Recipe, grounds: Sequence[Ground]) -> list[tuple[str, Recipe]]:
    """Return what one might change of a card, one thing at a time."""
    if recipe.schedule is None or len(recipe.schedule.steps) != 1:
        return []
    (step,) = recipe.schedule.steps
    carrier = step.ratio.carrier / step.ratio.colour
    found: list[tuple[str, Recipe]] = []
    for more in (-2, -1, 1, 2):
        coats = step.coats + more
        if coats >= 1:
            count = f"{counted(abs(more), 'coat')} {'more' if more > 0 else 'fewer'}"
            schedule = CoatSchedule.of(coats, step.ratio)
            found.append((count, replace(recipe, schedule=schedule)))
    for factor in (Fraction(3, 2), Fraction(2)):
        for word, parts in (("weaker", carrier * factor), ("stronger", carrier / factor)):
            # To half a part, as a cup shows it.
            ratio = MixRatio(Fraction(round(2 * parts), 2), Fraction(1))
            if 1 <= ratio.carrier / ratio.colour <= 16 and ratio != step.ratio:
                change = f"the same coats {word}, at {ratio}"
                schedule = CoatSchedule.of(step.coats, ratio)
                one = (change, replace(recipe, schedule=schedule))
                if one not in found:  # of 3:2 both rounded to the same cup
                    found.append(one)
    found += [
        (f"the same coats over {g}", replace(recipe, ground=g))
        for g in grounds
        if g != recipe.ground
    ]
    return found


def wanted_near(card: Array, after: Array, wanted: Array) -> int | None:
    """Return a colour that one of the changes brings near, and the card is not."""
    from_card = np.asarray(delta_e00(card, wanted))
    left = np.asarray(delta_e00(after[:, None, :], wanted[None, :, :])).min(axis=0)
    fits = (from_card >= APART[0]) & (from_card <= APART[1]) & (left <= CLOSER * from_card)
    return int(np.argmax(fits)) if bool(fits.any()) else None
