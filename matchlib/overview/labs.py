"""What a panel reads under one viewing."""

from __future__ import annotations

import numpy as np

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Lab, Panel, Viewing, three
from matchlib.regression.vocabulary import geometry_group

__all__ = ["panel_lab"]


def panel_lab(panel: Panel, viewing: Viewing) -> Lab | None:
    """Return the mean of a panel's readings under a viewing.

    Parameters
    ----------
    panel : Panel
        With its readings.
    viewing : Viewing
        Wanted.

    Returns
    -------
    tuple of 3 float or None
        CIELAB; spectra are worked out for the light wanted, Lab readings count only where they
        were taken under it; photographs never count. None where no reading serves.

    Examples
    --------
    >>> from matchlib import Viewing
    >>> from matchlib.demo import demo_panels
    >>> panel_lab(demo_panels()[0], Viewing(geometry="45as15")) is None
    True
    """
    labs, place = [], geometry_group(viewing.geometry)
    light = (viewing.illuminant, viewing.observer)
    for reading in panel.readings:
        if reading.source == "photo" or geometry_group(reading.viewing.geometry) != place:
            continue
        if reading.spectral or (reading.viewing.illuminant, reading.viewing.observer) == light:
            labs.append(lab_of_reading(reading, viewing))
    return three(np.mean(labs, axis=0)) if labs else None
