"""Results as pictures and tables: pure functions from data to HTML and SVG strings.

Every name is escaped, every picture says in words what it shows, numbers stand beside every swatch
and shapes beside every colour.
"""

from __future__ import annotations

from workbook.figures.charts import Mark, bars, lab_chart, timeline
from workbook.figures.craft import glossary_list, linked, protocol_list, trouble_list
from workbook.figures.library import (
    card_grid,
    coverage_picture,
    repeats_picture,
)
from workbook.figures.svg import Raw, esc, minus, number
from workbook.figures.swatches import areas, numbers
from workbook.figures.tables import table
from workbook.figures.value import value_chart, value_words

__all__ = [
    "Mark",
    "Raw",
    "areas",
    "bars",
    "card_grid",
    "coverage_picture",
    "esc",
    "glossary_list",
    "lab_chart",
    "linked",
    "minus",
    "number",
    "numbers",
    "protocol_list",
    "repeats_picture",
    "table",
    "timeline",
    "trouble_list",
    "value_chart",
    "value_words",
]
