"""Pot arithmetic: from a recipe and a job to what is poured, and from one pot to the next.

Pure functions on numbers, and frozen results that say themselves in words (``text``) and as plain
data (``as_dict``). Every ratio is carrier to colour, carrier first; every key and sentence names
which is which. Nothing here says that an exposure is safe: see `matchlib.cautions`.
"""

from __future__ import annotations

from matchlib.mixing.area import JobArea
from matchlib.mixing.coverage import (
    CoatUse,
    TransferRange,
    dry_film,
    film_of_passes,
    mils,
    spreading_rate,
    spreading_rate_us,
    wet_film,
)
from matchlib.mixing.cup import CupMarks, cup_marks
from matchlib.mixing.pot import CoatGroup, Pot, pot
from matchlib.mixing.pour import Pour, pour
from matchlib.mixing.stated import (
    BottleReach,
    Question,
    StatedCheck,
    bottle_reach,
    check_stated,
    question_ratio,
    ratio_dict,
    ratio_of,
)
from matchlib.mixing.stepup import StepUp, step_pot, top_up
from matchlib.mixing.strain import MESHES, VISCOSITY_CUPS, Mesh, ViscosityCup, mesh_for, viscosity
from matchlib.mixing.units import (
    AREA_UNITS,
    LENGTH_UNITS,
    VOLUME_UNITS,
    convert,
    format_volume,
    mass_of,
    parse_area,
    parse_length,
    parse_volume,
    volume_of,
)

__all__ = [
    "AREA_UNITS",
    "LENGTH_UNITS",
    "MESHES",
    "VISCOSITY_CUPS",
    "VOLUME_UNITS",
    "BottleReach",
    "CoatGroup",
    "CoatUse",
    "CupMarks",
    "JobArea",
    "Mesh",
    "Pot",
    "Pour",
    "Question",
    "StatedCheck",
    "StepUp",
    "TransferRange",
    "ViscosityCup",
    "bottle_reach",
    "check_stated",
    "convert",
    "cup_marks",
    "dry_film",
    "film_of_passes",
    "format_volume",
    "mass_of",
    "mesh_for",
    "mils",
    "parse_area",
    "parse_length",
    "parse_volume",
    "pot",
    "pour",
    "question_ratio",
    "ratio_dict",
    "ratio_of",
    "spreading_rate",
    "spreading_rate_us",
    "step_pot",
    "top_up",
    "viscosity",
    "volume_of",
    "wet_film",
]
