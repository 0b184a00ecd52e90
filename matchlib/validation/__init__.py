"""How far the regression can be trusted: left-out errors, honest regions, the shop's own floor.

All of it as data; printing and drawing is for others.
"""

from __future__ import annotations

from matchlib.validation.folds import Validation, cross_validate, left_out_words
from matchlib.validation.repeats import PART_WORDS, Repeatability, repeatability
from matchlib.validation.table import TableRow, validation_table

__all__ = [
    "PART_WORDS",
    "Repeatability",
    "TableRow",
    "Validation",
    "cross_validate",
    "left_out_words",
    "repeatability",
    "validation_table",
]
