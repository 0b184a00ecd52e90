"""The table of readings: its columns, and what one row holds, for files and for pandas."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from matchlib.domain import Panel, Reading, Stage, lots_text

__all__ = [
    "ALWAYS",
    "OF_GUN",
    "OF_PANEL",
    "OF_STAGE",
    "RARE",
    "VIEWING",
    "ReadingRow",
    "reading_rows",
]

VIEWING = ("illuminant", "observer", "geometry")
_OF_READING = ("source", "instrument", "state", "picture", "sd", "covariance")
OF_STAGE = ("sprayer", "lot", "temperature", "humidity", "clear_coats")
OF_GUN = ("gun", "tip", "pressure", "fan", "distance", "overlap")
OF_PANEL = ("batch", "note", "customer", "drawer")
ALWAYS = ("panel", "ground", "colour", "schedule", "clear", "source", *VIEWING)
"""Columns that a written table has in any case."""
RARE = (
    *("stage", "covariance", "state", "instrument", "picture", "sprayed", "date", "sprayer"),
    *("lot", "batch", "temperature", "humidity", "log", *OF_GUN),
    *("lots", "clear_coats", "drawer", "note", "customer"),
)
"""Columns that a written table has where a row says something in them."""


class ReadingRow(NamedTuple):
    """One row of the table of readings."""

    panel: Panel
    number: int  # of the stage, from 1
    stage: Stage
    reading: Reading | None  # None for a stage that was never read

    @property
    def cells(self) -> dict[str, Any]:
        """What is stated, by column; days, Lab, spectrum and notes apart."""
        stage, reading = self.stage, self.reading
        viewing = None if reading is None else reading.viewing
        return {
            "panel": self.panel.code,
            "stage": self.number,
            **stage.recipe.cells,
            **{name: getattr(reading, name, None) for name in _OF_READING},
            **{name: getattr(viewing, name, None) for name in VIEWING},
            **{name: getattr(stage, name) for name in (*OF_STAGE, "log")},
            **{name: getattr(stage.setup, name) for name in OF_GUN},
            **{name: getattr(self.panel, name) for name in OF_PANEL},
            "lots": lots_text(stage.lots),
            "source": "none" if reading is None else reading.source,
        }


def reading_rows(panels: Iterable[Panel]) -> Iterator[ReadingRow]:
    """Yield the rows of the table of readings: one a reading, one for a stage without any."""
    for panel in panels:
        for number, stage in enumerate(panel.stages, 1):
            for reading in stage.readings or (None,):
                yield ReadingRow(panel, number, stage, reading)
