"""What a panel reads under one viewing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from matchlib.colorimetry import reflectance_to_lab
from matchlib.domain import Panel, Viewing
from matchlib.regression.vocabulary import geometry_group

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["Lab", "panel_lab", "three", "usual_view"]

Lab = tuple[float, float, float]


def three(lab: Sequence[float] | np.ndarray) -> Lab:
    """Return CIELAB as plain numbers.

    Parameters
    ----------
    lab : array_like, shape (3,)
        CIELAB.

    Returns
    -------
    tuple of 3 float
        The same.

    Examples
    --------
    >>> import numpy as np
    >>> three(np.array([50.0, 1.0, 2.0]))
    (50.0, 1.0, 2.0)
    """
    light, red, yellow = (float(v) for v in lab)
    return light, red, yellow


def usual_view(model: FilmPredictor) -> Viewing:
    """Return how the archive's panels are usually read: D65/10° in its first geometry.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.

    Returns
    -------
    Viewing
        That.

    Examples
    --------
    >>> from matchlib.demo import demo_model
    >>> print(usual_view(demo_model()))
    D65/10° 45:0
    """
    return Viewing(geometry=model.words_.geometries[0])


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
        if reading.spectral:
            labs.append(
                reflectance_to_lab(reading.reflectance, viewing, wavelengths=reading.wavelengths)
            )
        elif (reading.viewing.illuminant, reading.viewing.observer) == light:
            labs.append(np.asarray(reading.lab, float))
    return three(np.mean(labs, axis=0)) if labs else None
