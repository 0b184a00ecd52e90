"""Files → readings: tables (CSV, XLSX, ODS), CGATS text (ISO 28178) and CxF (ISO 17972).

Every file goes one way: its bytes become rows of cells (`_text`, `_spreadsheet`) and the rows a
table (`_header`), or at once a table whose fields are named (`cgats`, `cxf`); its columns get their
meaning (`_columns`), its rows become recipes and readings (`_recipes`, `_measured`), and these
panels with a report of every row (`panels`, `report`). What
would change a colour and is not said is never guessed: it is asked, once for the file
(`questions`). `write_table` gives panels back in each of these formats but ODS, so that importing
what was written gives the same panels.
"""

from __future__ import annotations

from matchlib.readings.files import RecipeRow, accepted, read_file, read_recipes, understand
from matchlib.readings.frame import frame_of
from matchlib.readings.questions import Question, Stated, read_answers
from matchlib.readings.report import ImportReport
from matchlib.readings.targets import read_target, read_targets
from matchlib.readings.whole import file_text
from matchlib.readings.writing import write_table

__all__ = [
    "ImportReport",
    "Question",
    "RecipeRow",
    "Stated",
    "accepted",
    "file_text",
    "frame_of",
    "read_answers",
    "read_file",
    "read_recipes",
    "read_target",
    "read_targets",
    "understand",
    "write_table",
]
