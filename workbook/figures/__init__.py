"""Results as pictures and tables: pure functions from data to HTML and SVG strings.

Every name is escaped, every picture says in words what it shows, numbers stand beside every swatch
and shapes beside every colour.
"""

from __future__ import annotations

from workbook.figures.charts import Mark, bars, lab_chart, legend, timeline
from workbook.figures.craft import glossary_list, linked, protocol_list, trouble_list
from workbook.figures.library import (
    card_grid,
    card_picture,
    coverage_picture,
    twins_picture,
)
from workbook.figures.svg import Raw, esc, lab_text, number
from workbook.figures.swatches import ORIENTATION, chip, ladder, panel_picture, swatch, swatch_pair
from workbook.figures.tables import table
from workbook.figures.value import value_chart, value_words

__all__ = [
    "ORIENTATION",
    "Mark",
    "Raw",
    "bars",
    "card_grid",
    "card_picture",
    "chip",
    "coverage_picture",
    "esc",
    "glossary_list",
    "lab_chart",
    "lab_text",
    "ladder",
    "legend",
    "linked",
    "number",
    "panel_picture",
    "protocol_list",
    "swatch",
    "swatch_pair",
    "table",
    "timeline",
    "trouble_list",
    "twins_picture",
    "value_chart",
    "value_words",
]
