"""Spectra as instruments give them, brought to other wavelengths.

Even intervals by Sprague's fifth-order polynomial, as CIE 167:2005 recommends (Sprague 1880),
uneven ones by monotone cubics (Fritsch, Carlson 1980). Never beyond one interval outside what was
measured.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.tables import GRID
from matchlib.domain.reading import COARSEST
from matchlib.errors import DomainError

__all__ = ["interpolate_reflectance"]

Array = NDArray[np.float64]

_SAME = 1e-6  # wavelengths nearer than this are the same [nm]

# Columns: powers 1 to 5 of the place within the interval; rows: values at -2 … 3 (CIE 167:2005).
_SPRAGUE: Array = (
    np.array(
        [
            [2, -16, 0, 16, -2, 0],
            [-1, 16, -30, 16, -1, 0],
            [-9, 39, -70, 66, -33, 7],
            [13, -64, 126, -124, 61, -12],
            [-5, 25, -50, 50, -25, 5],
        ]
    )
    / 24.0
)
# Two more values before the first and after the last, from the nearest six.
_ENDS: Array = (
    np.array([[884, -1960, 3033, -2648, 1080, -180], [508, -540, 488, -367, 144, -24]]) / 209.0
)


def interpolate_reflectance(
    wavelengths: ArrayLike, reflectance: ArrayLike, grid: ArrayLike = GRID
) -> Array:
    """Return reflectance on other wavelengths.

    Parameters
    ----------
    wavelengths : array_like, shape (n,)
        Rising [nm], at most `matchlib.domain.reading.COARSEST` apart.
    reflectance : array_like, shape (..., n)
        Reflectance factor [-].
    grid : array_like, shape (m,)
        Wavelengths wanted [nm].

    Returns
    -------
    ndarray, shape (..., m)
        Measured values where the grid meets a measured wavelength; between them Sprague's
        polynomial, or for uneven or fewer than six wavelengths a monotone cubic; up to one
        interval outside, the end value, which is what the weights of ASTM E308 assume.

    Raises
    ------
    DomainError
        If the spectrum has gaps, or leaves more than one interval of the grid uncovered.

    Notes
    -----
    Finer spectra are not averaged: the value at the wavelength is taken. Sprague's polynomial is
    exact for curves up to the fourth power; in the first two and last two intervals, where the
    recommendation extends the series by six fixed numbers, for straight lines only.

    Examples
    --------
    >>> import numpy as np
    >>> coarse = np.arange(400.0, 701.0, 20.0)
    >>> interpolate_reflectance(coarse, coarse / 1000.0)[:3].round(3).tolist()
    [0.4, 0.41, 0.42]
    """
    nm, wanted = np.asarray(wavelengths, dtype=np.float64), np.asarray(grid, dtype=np.float64)
    values = np.asarray(reflectance, dtype=np.float64)
    steps = _steps(nm, values)
    first, last = nm[0] - steps[0] - _SAME, nm[-1] + steps[-1] + _SAME
    if np.any(wanted < first) or np.any(wanted > last):
        raise DomainError(
            "This spectrum does not reach far enough.",
            expected=f"{wanted[0]:g} to {wanted[-1]:g} nm, missing at most one interval at an end",
            got=f"{nm[0]:g} to {nm[-1]:g} nm",
            remedy="export the reading over the whole range; what was not measured is not guessed.",
        )
    measured = np.any(np.abs(wanted[:, None] - nm) < _SAME, axis=1)
    inside = np.clip(wanted, nm[0], nm[-1])
    even = np.allclose(steps, steps.mean(), rtol=0.0, atol=1e-3)
    if even and nm.size >= _ENDS.shape[1]:
        result = values @ _sprague(tuple(nm), tuple(inside)).T
    elif np.all(measured):
        result = values[..., np.argmin(np.abs(wanted[:, None] - nm), axis=1)]
    else:
        from scipy.interpolate import PchipInterpolator

        result = PchipInterpolator(nm, values, axis=-1)(inside)
    return np.asarray(result, dtype=np.float64)


def _steps(nm: Array, values: Array) -> Array:
    whole = nm.ndim == 1 and nm.size >= 2 and values.ndim >= 1 and values.shape[-1] == nm.size
    steps = np.diff(nm) if whole else np.zeros(1)
    if not whole or not np.all(np.isfinite(values)) or not np.all(steps > 0.0):
        raise DomainError(
            "This spectrum is not whole.",
            expected="as many reflectances as wavelengths, wavelengths rising, no number missing",
            got=f"{nm.size} wavelengths and {values.shape[-1] if values.ndim else 1} reflectances",
            remedy="export the reading again with every wavelength.",
        )
    if np.max(steps) > COARSEST + _SAME:
        raise DomainError(
            "This spectrum has wavelengths too far apart to compute colour from.",
            expected=f"at most {COARSEST:g} nm from one to the next",
            got=f"{np.max(steps):g} nm after {nm[int(np.argmax(steps))]:g} nm",
            remedy="export the reading every 10 nm, or give its Lab.",
        )
    return np.asarray(steps)


@lru_cache(maxsize=64)
def _sprague(wavelengths: tuple[float, ...], wanted: tuple[float, ...]) -> Array:
    nm, x = np.array(wavelengths), np.array(wanted)
    n = nm.size
    padded = np.zeros((n + 4, n))
    padded[2:-2] = np.eye(n)
    padded[:2, :6] = _ENDS
    padded[-2:, -6:] = _ENDS[::-1, ::-1]
    place = (x - nm[0]) / ((nm[-1] - nm[0]) / (n - 1))
    left = np.clip(place.astype(np.intp), 0, n - 2)
    powers = (place - left)[:, None] ** np.arange(1, 6)
    matrix = padded[left + 2]
    for k in range(6):
        matrix = matrix + (powers @ _SPRAGUE[:, k])[:, None] * padded[left + k]
    # A measured value stays as measured, to the last digit.
    nearest = np.round(place).astype(np.intp)
    met = np.abs(x - nm[nearest]) < _SAME
    matrix[met] = np.eye(n)[nearest[met]]
    matrix.setflags(write=False)
    return np.asarray(matrix)
