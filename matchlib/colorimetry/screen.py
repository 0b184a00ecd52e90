"""Lab to the colours of a screen, for swatches beside which the numbers stand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.lab import lab_to_xyz

__all__ = ["to_srgb"]

Array = NDArray[np.float64]

# IEC 61966-2-1:1999: white D65 of the 2 degree observer as the standard gives it (x 0.3127,
# y 0.3290), and its matrix from XYZ; each row's sum over the white is 1.
_WHITE: Array = np.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])
_PRIMARIES: Array = np.array([[0.64, 0.33, 0.03], [0.30, 0.60, 0.10], [0.15, 0.06, 0.79]]).T
_TO_RGB: Array = np.linalg.inv(_PRIMARIES * np.linalg.solve(_PRIMARIES, _WHITE))
_ROUNDING = 1e-4  # a 40th of a step of 8 bits: white must not count as out of the screen's reach


def to_srgb(lab: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """Return sRGB of Lab, and whether a screen can show it.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b* under D65/10°.

    Returns
    -------
    rgb : ndarray, shape (..., 3)
        Encoded sRGB [-], 0 to 1, clipped (IEC 61966-2-1).
    in_gamut : ndarray of bool, shape (...)
        False where it had to be clipped: the swatch is then only the nearest by channel.

    Notes
    -----
    A screen is defined for the 2° observer and the Lab is of the 10°. Without the spectrum there
    is no exact way from one to the other. The Lab is kept and read with the screen's own white:
    that scales XYZ by the ratio of the two whites. Greys stay grey, and differences between
    swatches stay those of the Lab; a chromatic adaptation between two whites of the same light
    would rotate hues for no gain, since it is the observers that differ and not the light.

    Examples
    --------
    >>> rgb, inside = to_srgb((50.0, 0.0, 0.0))
    >>> rgb.round(3).tolist(), bool(inside)
    ([0.466, 0.466, 0.466], True)
    """
    linear = lab_to_xyz(lab, _WHITE) @ _TO_RGB.T
    inside = np.all((linear >= -_ROUNDING) & (linear <= 1.0 + _ROUNDING), axis=-1)
    linear = np.clip(linear, 0.0, 1.0)
    rgb: Array = np.where(
        linear <= 0.0031308,
        12.92 * linear,
        1.055 * np.maximum(linear, 0.0031308) ** (1.0 / 2.4) - 0.055,
    )
    return np.clip(rgb, 0.0, 1.0), np.asarray(inside)
