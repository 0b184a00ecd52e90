"""The words of the trade as types: grounds, colours, ratios, coats, recipes, panels, names.

This is their only home. Every type is frozen and checks itself, so that an illegal value cannot be
built: what holds a `Recipe` may trust it. A mix ratio is always *carrier : colour* by volume,
carrier first; `MixRatio` keeps that order and says it in words wherever it is shown.
"""

from __future__ import annotations

from matchlib.domain.blend import Blend, Colour, Ground, check_one_pot
from matchlib.domain.conditions import Conditions
from matchlib.domain.name import NAME_KINDS, Lot, Name, near_names
from matchlib.domain.panel import Panel, readings_in
from matchlib.domain.parts import clean_name, format_parts, name_key
from matchlib.domain.ratio import MixRatio
from matchlib.domain.reading import Lab, Reading, Viewing, three
from matchlib.domain.recipe import Recipe
from matchlib.domain.schedule import CoatSchedule, CoatStep
from matchlib.domain.setup import (
    NO_SETUP,
    USUAL_OVERLAP,
    GunSetup,
    lot_words,
    lots_text,
    read_lots,
)
from matchlib.domain.stage import LoggedCoat, Stage

__all__ = [
    "NAME_KINDS",
    "NO_SETUP",
    "USUAL_OVERLAP",
    "Blend",
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
    "check_one_pot",
    "clean_name",
    "format_parts",
    "lot_words",
    "lots_text",
    "name_key",
    "near_names",
    "read_lots",
    "readings_in",
    "three",
]
