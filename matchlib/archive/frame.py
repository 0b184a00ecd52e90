"""Panels as a table of readings, for regressions and figures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple
from typing import Any

import pandas as pd

from matchlib.domain import Panel, lots_text, readings_in

__all__ = ["frame_of"]

_COLUMNS = (
    "panel",
    "stage",
    "ground",
    "colour",
    "schedule",
    "clear",
    "source",
    "instrument",
    "state",
    "illuminant",
    "observer",
    "geometry",
    "date",
    "sprayer",
    "lot",
    "batch",
    "temperature",
    "humidity",
    *("gun", "tip", "pressure", "fan", "distance", "overlap", "lots", "clear_coats", "drawer"),
)


def frame_of(panels: Iterable[Panel]) -> pd.DataFrame:
    """Return one row a reading."""
    rows: list[tuple[Any, ...]] = []
    labs: list[tuple[float, ...]] = []
    spectra: list[dict[float, float]] = []
    for panel, number, stage, reading in readings_in(panels):
        recipe = stage.recipe_at(reading)
        viewing = reading.viewing
        rows.append(
            (
                panel.code,
                number,
                str(recipe.ground),
                "" if recipe.colour is None else str(recipe.colour),
                "" if recipe.schedule is None else str(recipe.schedule),
                recipe.clear or "no",
                reading.source,
                reading.instrument,
                reading.state,
                viewing.illuminant,
                viewing.observer,
                viewing.geometry,
                reading.date or stage.date,
                stage.sprayer,
                stage.lot,
                panel.batch,
                stage.temperature,
                stage.humidity,
                *astuple(stage.setup),
                lots_text(stage.lots),
                stage.clear_coats,
                panel.drawer,
            )
        )
        labs.append(reading.lab or (float("nan"),) * 3)
        spectra.append(dict(zip(reading.wavelengths, reading.reflectance, strict=True)))
    frame = pd.DataFrame.from_records(rows, columns=list(_COLUMNS))
    frame["date"] = pd.to_datetime(frame["date"])
    lab = pd.DataFrame(labs, columns=["L", "a", "b"], dtype=float)
    wavelengths = sorted({w for spectrum in spectra for w in spectrum})
    spectral = pd.DataFrame(spectra, columns=wavelengths, dtype=float)
    spectral.columns = [f"{w:g}" for w in wavelengths]
    return pd.concat([frame, lab, spectral], axis=1)
