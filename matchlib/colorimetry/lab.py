"""Reflectance to XYZ to CIELAB and back, with derivatives.

CIELAB is that of CIE 15:2018, 8.2.1 (ISO/CIE 11664-4), with its straight line near black, so
that slightly negative readings of very dark panels still have a Lab.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.interpolate import interpolate_reflectance
from matchlib.colorimetry.tables import GRID, weights, white_point
from matchlib.domain import Lab, Reading, Viewing, three
from matchlib.errors import DomainError

__all__ = [
    "LAB_OF_CURVE",
    "curve_slope",
    "lab_curve",
    "lab_jacobian",
    "lab_of_reading",
    "lab_to_xyz",
    "reflectance_to_lab",
    "reflectance_to_xyz",
    "xyz_to_lab",
    "xyz_to_lab_with_jacobian",
]

Array = NDArray[np.float64]
Float = TypeVar("Float", bound=np.floating)

_ROOT = 6.0 / 29.0
_KNEE = _ROOT**3
_SLOPE = 1.0 / (3.0 * _ROOT**2)
LAB_OF_CURVE: Array = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
"""Rows L*, a*, b* from `lab_curve` of X/Xn, Y/Yn and Z/Zn; of L* without its -16."""


def lab_curve(ratio: NDArray[Float]) -> NDArray[Float]:
    """Return what Lab is made of: a cube root, near black a straight line (CIE 15:2018, 8.2.1)."""
    return np.asarray(np.where(ratio > _KNEE, np.cbrt(ratio), _SLOPE * ratio + 4.0 / 29.0))


def curve_slope(curve: Array) -> Array:
    """Return the derivative of `lab_curve` where it has some values."""
    return np.asarray(1.0 / (3.0 * np.maximum(curve, _ROOT) ** 2))


def reflectance_to_xyz(
    reflectance: ArrayLike,
    viewing: Viewing | None = None,
    *,
    wavelengths: ArrayLike | None = None,
) -> Array:
    """Return XYZ of reflectance by ASTM E308.

    Parameters
    ----------
    reflectance : array_like, shape (..., n)
        Reflectance factor [-].
    viewing : Viewing, optional
        Illuminant and observer; D65/10° where not given.
    wavelengths : array_like, shape (n,), optional
        As for `interpolate_reflectance` [nm]; `GRID` where not given.

    Returns
    -------
    ndarray, shape (..., 3)
        XYZ; Y of the perfect diffuser is 100.

    Raises
    ------
    DomainError
        If there are not as many reflectances as wavelengths.

    Examples
    --------
    >>> import numpy as np
    >>> reflectance_to_xyz(np.ones(31)).round(2).tolist()
    [94.81, 100.0, 107.3]
    """
    view = Viewing() if viewing is None else viewing
    values = np.asarray(reflectance, dtype=np.float64)
    if wavelengths is not None:
        values = interpolate_reflectance(wavelengths, values)
    elif values.shape[-1:] != GRID.shape:
        raise DomainError(
            "These reflectances do not say their wavelengths.",
            expected=f"{GRID.size} reflectances, every 10 nm from 400 to 700 nm",
            got=f"{values.shape[-1]}" if values.ndim else "one number",
            remedy="give the wavelengths that they were measured at as well.",
        )
    xyz: Array = values @ weights(view.illuminant, view.observer)
    return xyz


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike) -> Array:
    """Return CIELAB of XYZ.

    Parameters
    ----------
    xyz : array_like, shape (..., 3)
        Tristimulus values, on the scale of the white.
    white : array_like, shape (3,)
        XYZ of the perfect diffuser.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, a*, b* (CIE 15:2018, 8.2.1).

    Examples
    --------
    >>> xyz_to_lab((20.0, 18.42, 15.0), (94.81, 100.0, 107.32)).round(1).tolist()
    [50.0, 13.2, 10.0]
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    return _lab_of_curve(lab_curve(ratio))


def xyz_to_lab_with_jacobian(xyz: ArrayLike, white: ArrayLike) -> tuple[Array, Array]:
    """Return CIELAB of XYZ and its derivative."""
    scale = np.asarray(white, dtype=np.float64)
    curve = lab_curve(np.asarray(xyz, dtype=np.float64) / scale)
    return _lab_of_curve(curve), LAB_OF_CURVE * (curve_slope(curve) / scale)[..., None, :]


def lab_to_xyz(lab: ArrayLike, white: ArrayLike) -> Array:
    """Return XYZ of CIELAB.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*.
    white : array_like, shape (3,)
        XYZ of the perfect diffuser under which the Lab holds.

    Returns
    -------
    ndarray, shape (..., 3)
        Tristimulus values, on the scale of the white.

    Examples
    --------
    >>> lab_to_xyz((50.0, 0.0, 0.0), (94.81, 100.0, 107.32)).round(2).tolist()
    [17.46, 18.42, 19.77]
    """
    values = np.asarray(lab, dtype=np.float64)
    y = (values[..., 0] + 16.0) / 116.0
    curve = np.stack([y + values[..., 1] / 500.0, y, y - values[..., 2] / 200.0], axis=-1)
    ratio = np.where(curve > _ROOT, curve**3, (curve - 4.0 / 29.0) / _SLOPE)
    xyz: Array = ratio * np.asarray(white, dtype=np.float64)
    return xyz


def reflectance_to_lab(
    reflectance: ArrayLike,
    viewing: Viewing | None = None,
    *,
    wavelengths: ArrayLike | None = None,
) -> Array:
    """Return CIELAB of reflectance by ASTM E308.

    Parameters
    ----------
    reflectance : array_like, shape (..., n)
        Reflectance factor [-].
    viewing : Viewing, optional
        Illuminant and observer; D65/10° where not given.
    wavelengths : array_like, shape (n,), optional
        As for `interpolate_reflectance` [nm]; `GRID` where not given.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, a*, b* under the viewing.

    Raises
    ------
    DomainError
        If there are not as many reflectances as wavelengths.

    Examples
    --------
    >>> import numpy as np
    >>> reflectance_to_lab(np.full(31, 0.18)).round(2).tolist()
    [49.5, 0.0, 0.0]
    """
    view = Viewing() if viewing is None else viewing
    xyz = reflectance_to_xyz(reflectance, view, wavelengths=wavelengths)
    return xyz_to_lab(xyz, white_point(view.illuminant, view.observer))


def lab_jacobian(reflectance: Array, illuminant: str, observer: str) -> tuple[Array, Array]:
    """Return CIELAB (..., 3) of reflectance (..., 31), and its derivative by it (..., 3, 31)."""
    w = weights(illuminant, observer)
    lab, by_xyz = xyz_to_lab_with_jacobian(reflectance @ w, white_point(illuminant, observer))
    return lab, by_xyz @ w.T


def lab_of_reading(reading: Reading, viewing: Viewing | None = None) -> Lab:
    """Return a reading's CIELAB under its own viewing; of a spectrum, under another if given."""
    if reading.lab is not None:
        return reading.lab
    view = viewing or reading.viewing
    return three(reflectance_to_lab(reading.reflectance, view, wavelengths=reading.wavelengths))


def _lab_of_curve(curve: Array) -> Array:
    x, y, z = curve[..., 0], curve[..., 1], curve[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)
