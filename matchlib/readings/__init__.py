"""Files → readings: tables (CSV, XLSX), CGATS text (ISO 28178) and CxF (ISO 17972).

`read_file` takes past panels in with a report of every row; `read_recipes` a table of recipes
without readings; `read_target` the readings of one target. `write_table` and `write_cgats` give
panels back, so that importing what was written gives the same panels. Units are declared, never
guessed: a file whose numbers contradict what it declares is refused with the reason.
"""

from __future__ import annotations

from matchlib.readings.cgats_writing import write_cgats
from matchlib.readings.files import RecipeRow, read_file, read_recipes, read_target
from matchlib.readings.report import ImportReport, RefusedRow, TakenRow, TileReading
from matchlib.readings.writing import write_table

__all__ = [
    "ImportReport",
    "RecipeRow",
    "RefusedRow",
    "TakenRow",
    "TileReading",
    "read_file",
    "read_recipes",
    "read_target",
    "write_cgats",
    "write_table",
]
