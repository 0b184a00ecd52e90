"""Panels as a table of readings, for regressions and for whoever works with pandas."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from matchlib.domain import Panel, Reading, Viewing
from matchlib.readings._rows import OF_GUN, VIEWING, reading_rows

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

__all__ = ["frame_of"]

_COLUMNS = [
    *("panel", "stage", "ground", "colour", "schedule", "clear", "source", "instrument", "state"),
    *(*VIEWING, "date", "read", "sprayer", "lot", "batch", "temperature", "humidity", *OF_GUN),
    *("lots", "clear_coats", "drawer", "sd", "covariance"),
]


def frame_of(panels: Iterable[Panel]) -> pd.DataFrame:
    """Return panels as a table, one row a reading.

    Parameters
    ----------
    panels : iterable of Panel
        In order; those without a reading have no row.

    Returns
    -------
    DataFrame
        The recipe (``ground``, ``colour``, ``schedule``, ``clear``), ``panel`` and ``stage``, how
        it was viewed and read (``source``, ``instrument``, ``state``, ``illuminant``,
        ``observer``, ``geometry``, ``read``, ``sd``, ``covariance``), how it was sprayed
        (``date``, ``sprayer``, ``lot``, ``batch``, …), ``L``, ``a``, ``b``, and reflectances [-]
        in one column a wavelength [nm], such as ``400``, NaN where a reading has none. The Lab of
        a spectrum is computed under the row's light.

    Examples
    --------
    >>> from matchlib.demo import demo_panels
    >>> frame_of(demo_panels())[["panel", "ground", "L", "a", "b"]].head(2).round(1)
      panel         ground     L    a    b
    0  T001         silver  60.1 -0.1  0.4
    1  T002  coarse silver  74.4  0.4  2.1
    """
    import pandas as pd

    rows, readings = [], []
    for row in reading_rows(panels):
        if row.reading is not None:
            own = row.cells | row.stage.recipe_at(row.reading).cells
            own |= {"date": row.stage.date, "read": row.reading.date}
            rows.append([own[name] for name in _COLUMNS])
            readings.append(row.reading)
    frame = pd.DataFrame.from_records(rows, columns=_COLUMNS)
    frame["date"], frame["read"] = pd.to_datetime(frame["date"]), pd.to_datetime(frame["read"])
    frame["sd"] = frame["sd"].astype(float)
    lab, spectra = _numbers(readings)
    wavelengths = sorted({w for r in readings for w in r.wavelengths})
    names = [f"{w:g}" for w in wavelengths]
    spectral = pd.DataFrame(spectra, columns=wavelengths, dtype=float).set_axis(names, axis=1)
    return pd.concat([frame, pd.DataFrame(lab, columns=["L", "a", "b"]), spectral], axis=1)


def _numbers(readings: list[Reading]) -> tuple[np.ndarray, list[dict[float, float]]]:
    """Lab of every reading, and reflectance by wavelength of those that are spectra."""
    import numpy as np

    from matchlib.colorimetry import reflectance_to_lab

    lab = np.array([r.lab or (np.nan,) * 3 for r in readings], float).reshape(-1, 3)
    alike: dict[tuple[tuple[float, ...], Viewing], list[int]] = {}
    for i, reading in enumerate(readings):
        if reading.lab is None:
            alike.setdefault((reading.wavelengths, reading.viewing), []).append(i)
    for (wavelengths, viewing), at in alike.items():
        values = np.array([readings[i].reflectance for i in at])
        lab[at] = reflectance_to_lab(values, viewing, wavelengths=wavelengths)
    return lab, [dict(zip(r.wavelengths, r.reflectance, strict=True)) for r in readings]
