"""Panels as a table of readings, for regressions and figures."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from matchlib.domain import Panel

__all__ = ["frame_of"]

_COLUMNS = (
    "panel",
    "ground",
    "colour",
    "schedule",
    "clear",
    "source",
    "illuminant",
    "observer",
    "geometry",
    "date",
    "sprayer",
    "lot",
)


def frame_of(panels: Iterable[Panel]) -> pd.DataFrame:
    """Return one row a reading.

    Parameters
    ----------
    panels : iterable of Panel
        Those without a reading give no row.

    Returns
    -------
    pandas.DataFrame
        Texts empty where there is nothing; ``date`` as datetime; ``L``, ``a``, ``b``, then
        reflectances [-] in a column a wavelength [nm], NaN where a reading has none.
    """
    rows: list[tuple[Any, ...]] = []
    labs: list[tuple[float, ...]] = []
    spectra: list[dict[float, float]] = []
    for panel in panels:
        recipe = panel.recipe
        back = (
            panel.code,
            str(recipe.ground),
            "" if recipe.colour is None else str(recipe.colour),
            "" if recipe.schedule is None else str(recipe.schedule),
            recipe.clear or "no",
        )
        for reading in panel.readings:
            viewing = reading.viewing
            rows.append(
                (
                    *back,
                    reading.source,
                    viewing.illuminant,
                    viewing.observer,
                    viewing.geometry,
                    panel.date,
                    panel.sprayer,
                    panel.lot,
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
