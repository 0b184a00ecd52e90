"""What is believed of a spectrum before any reading: smooth, positive, about so strong.

A logarithm of a reflectance or absorption is written as a level plus a weighted sum of smooth
curves, the leading eigenvectors of a squared-exponential covariance over wavelength (Karhunen and
Loève). Weights have independent normal priors, so that the number of free values follows from the
smoothness and not from the number of wavelengths: three numbers of Lab then pin a spectrum as far
as they can, and the posterior keeps what they leave open.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["constant_curve", "ramp_curve", "smooth_curves"]

Array = NDArray[np.float64]


def smooth_curves(wavelengths: Array, *, length: float, sd: float, keep: float = 1e-4) -> Array:
    """Return smooth curves whose random sum has a given spread.

    Parameters
    ----------
    wavelengths : ndarray, shape (b,)
        Grid [nm].
    length : float
        Correlation length [nm]; dyes and pigments have bands of some 40 to 100 nm.
    sd : float
        Standard deviation of the sum at one wavelength [-].
    keep : float
        Curves with less than this share of the greatest variance are left out [-].

    Returns
    -------
    ndarray, shape (b, k)
        Columns scaled so that weights with unit variance give the covariance.
    """
    gap = (wavelengths[:, None] - wavelengths[None, :]) / length
    values, vectors = np.linalg.eigh(sd**2 * np.exp(-0.5 * gap**2))
    kept = values > keep * values[-1]
    scaled: Array = vectors[:, kept] * np.sqrt(values[kept])
    # The sign of an eigenvector is arbitrary; fixing it keeps fits the same on every machine.
    signs = np.sign(scaled[np.argmax(np.abs(scaled), axis=0), np.arange(scaled.shape[1])])
    result: Array = (scaled * signs)[:, ::-1]
    return result


def constant_curve(wavelengths: Array, *, sd: float) -> Array:
    """Return the level: one flat curve.

    Parameters
    ----------
    wavelengths : ndarray, shape (b,)
        Grid [nm].
    sd : float
        Standard deviation of the level [-].

    Returns
    -------
    ndarray, shape (b, 1)
        A column of `sd`.
    """
    return np.full((len(wavelengths), 1), sd)


def ramp_curve(wavelengths: Array, *, sd: float) -> Array:
    """Return the tilt: one straight curve from -1 to 1 across the grid.

    Parameters
    ----------
    wavelengths : ndarray, shape (b,)
        Grid [nm].
    sd : float
        Standard deviation at the ends [-].

    Returns
    -------
    ndarray, shape (b, 1)
        A column from ``-sd`` to ``sd``.
    """
    return (sd * np.linspace(-1.0, 1.0, len(wavelengths)))[:, None]
