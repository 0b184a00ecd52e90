"""Pot arithmetic: from a recipe and a job to what is poured, bought and left.

Pure functions on numbers, and frozen results that say themselves in words (``text``) and as plain
data (`matchlib.plain.shown`). Every ratio is carrier to colour, carrier first; every key and
sentence names which is which. Nothing here says that an exposure is safe: see `matchlib.cautions`.
"""

from __future__ import annotations

from matchlib.mixing.area import USUAL_AREAS, JobArea
from matchlib.mixing.buying import Bill, Labour, Supply, bill, bottle_makes
from matchlib.mixing.cups import drain_words, viscosity
from matchlib.mixing.film_use import CoatUse, TransferRange, spreading_rate, wet_film
from matchlib.mixing.limits import Limits
from matchlib.mixing.mix import THIRDS, Third, read_mix
from matchlib.mixing.pot import ACTIVATED, LEAST_ML, Pot, pot
from matchlib.mixing.stated import RatioQuestion, StatedCheck, check_stated, ratio_questions
from matchlib.mixing.units import format_volume, parse_area, parse_length, parse_volume

__all__ = [
    "ACTIVATED",
    "LEAST_ML",
    "THIRDS",
    "USUAL_AREAS",
    "Bill",
    "CoatUse",
    "JobArea",
    "Labour",
    "Limits",
    "Pot",
    "RatioQuestion",
    "StatedCheck",
    "Supply",
    "Third",
    "TransferRange",
    "bill",
    "bottle_makes",
    "check_stated",
    "drain_words",
    "format_volume",
    "parse_area",
    "parse_length",
    "parse_volume",
    "pot",
    "ratio_questions",
    "read_mix",
    "spreading_rate",
    "viscosity",
    "wet_film",
]
