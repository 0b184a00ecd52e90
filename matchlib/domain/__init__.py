"""The words of the trade as types: grounds, colours, mix ratios, coats, recipes, panels.

This is their only home. Every type is frozen and checks itself, so that an illegal value cannot be
built: what holds a `Recipe` may trust it. A mix ratio is always *carrier : colour* by volume,
carrier first; `MixRatio` keeps that order and says it in words wherever it is shown.
"""

from __future__ import annotations

from matchlib.domain.blend import Blend, Colour, Ground
from matchlib.domain.panel import Panel, Recipe
from matchlib.domain.parts import clean_name, format_parts
from matchlib.domain.ratio import MixRatio
from matchlib.domain.reading import Reading, Viewing
from matchlib.domain.schedule import CoatSchedule, CoatStep

__all__ = [
    "Blend",
    "CoatSchedule",
    "CoatStep",
    "Colour",
    "Ground",
    "MixRatio",
    "Panel",
    "Reading",
    "Recipe",
    "Viewing",
    "clean_name",
    "format_parts",
]
