"""The words of the trade as types: grounds, colours, ratios, coats, recipes, panels, names.

This is their only home. Every type is frozen and checks itself, so that an illegal value cannot be
built: what holds a `Recipe` may trust it. A mix ratio is always *carrier : colour* by volume,
carrier first; `MixRatio` keeps that order and says it in words wherever it is shown.
"""

from __future__ import annotations

from matchlib.domain.blend import Colour, Ground
from matchlib.domain.conditions import Conditions, day_of
from matchlib.domain.name import NAME_KINDS, Lot, Name
from matchlib.domain.panel import Panel
from matchlib.domain.parts import clean_name, format_parts, name_key
from matchlib.domain.ratio import MixRatio
from matchlib.domain.reading import BEFORE_CLEAR, Lab, Reading, Viewing, three
from matchlib.domain.recipe import Recipe
from matchlib.domain.schedule import CoatSchedule, CoatStep
from matchlib.domain.setup import USUAL_OVERLAP, GunSetup, lot_words, lots_text, read_lots
from matchlib.domain.stage import LoggedCoat, Stage

__all__ = [
    "BEFORE_CLEAR",
    "NAME_KINDS",
    "USUAL_OVERLAP",
    "CoatSchedule",
    "CoatStep",
    "Colour",
    "Conditions",
    "Ground",
    "GunSetup",
    "Lab",
    "LoggedCoat",
    "Lot",
    "MixRatio",
    "Name",
    "Panel",
    "Reading",
    "Recipe",
    "Stage",
    "Viewing",
    "clean_name",
    "day_of",
    "format_parts",
    "lot_words",
    "lots_text",
    "name_key",
    "read_lots",
    "three",
]
