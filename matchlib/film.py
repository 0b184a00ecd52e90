r"""The optics of a transparent film over a ground, as pure functions on arrays.

Light enters through the surface, passes the film, returns from the ground and passes the film
again. With the internal reflectance :math:`\rho` of the ground and the absorbance *A* of the way
down and up together (natural logarithm), what returns to the surface is

.. math:: R = \rho e^{-A} + S \frac{1 - e^{-A}}{A}

whose first term is Bouguer, Lambert and Beer's law and whose second is light that the film itself
scatters once on the way (*S* its scattering over the same way). The second term is the limit of
Kubelka's layer (Kubelka 1948) for weak scattering over a black backing; it is what a colour that
hides a little shows over a dark ground. The surface then does to *R* what Saunderson (1942)
wrote: part of the light is sent back inside before it can leave.

Everything here takes and returns reflectance 0-1 [-] and knows neither names nor files.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "DIFFUSE_K2",
    "EXTERNAL_K1",
    "INTERNAL_K2",
    "KEPT_WAY",
    "REFRACTIVE_INDEX",
    "film_reflectance",
    "kubelka_layer",
    "path_factor",
    "saunderson",
    "single_scatter",
]

Array = NDArray[np.float64]

REFRACTIVE_INDEX = 1.5
"""Refractive index of cured clear coat and binder [-] (Saunderson 1942; common practice)."""

EXTERNAL_K1 = 0.04
"""Reflectance of the surface at normal incidence [-], ((n - 1) / (n + 1))² (Fresnel 1823)."""

DIFFUSE_K2 = 0.596
"""Internal reflectance of the surface for ideal diffuse light inside n = 1.5 [-] (Saunderson 1942;
Centore)."""

INTERNAL_K2 = 0.5
"""Centre of the internal reflectance's prior [-].

Ideal diffuse light inside gives `DIFFUSE_K2`; practice takes 0.4 to 0.6 (Centore, after Allen
1980). Over flake the light is directional, and less of it meets the critical angle.
"""


def saunderson(
    reflectance: ArrayLike,
    *,
    kept: ArrayLike | None = None,
    k1: float = EXTERNAL_K1,
    k2: ArrayLike = INTERNAL_K2,
    specular_included: bool = False,
) -> Array:
    """Return the measured reflectance of what lies under a surface.

    Parameters
    ----------
    reflectance : array_like
        Internal reflectance [-], any shape, below ``1 / k2``.
    kept : array_like, optional
        The same for the light that the surface keeps inside, whose way is another [-];
        `reflectance` if None.
    k1 : float
        External reflectance of the surface [-].
    k2 : array_like
        Internal reflectance of the surface [-].
    specular_included : bool
        Whether the instrument takes in the gloss (di:8) or not (de:8, 45:0).

    Returns
    -------
    ndarray
        Measured reflectance [-], the same shape (Saunderson 1942).

    Examples
    --------
    >>> float(saunderson(0.5).round(3))
    0.32
    """
    r, back = np.asarray(reflectance, float), np.asarray(k2, float)
    again = r if kept is None else np.asarray(kept, float)
    inside: Array = (1.0 - k1) * (1.0 - back) * r / (1.0 - back * again)
    return inside + k1 if specular_included else inside


def single_scatter(absorbance: ArrayLike) -> tuple[Array, Array]:
    """Return (1 - exp(-A)) / A and its derivative.

    Parameters
    ----------
    absorbance : array_like
        Absorbance of the way down and up [-], at least 0, any shape.

    Returns
    -------
    value, derivative : ndarray
        Both of the same shape; 1 and -1/2 at A = 0, by series near it.

    Examples
    --------
    >>> value, slope = single_scatter(1.0)
    >>> float(value.round(3)), float(slope.round(3))
    (0.632, -0.264)
    """
    a = np.asarray(absorbance, float)
    small = a < 1e-3
    safe = np.where(small, 1.0, a)
    decay = np.exp(-safe)
    value = np.where(small, 1.0 - a / 2.0 + a**2 / 6.0, (1.0 - decay) / safe)
    slope = np.where(small, -0.5 + a / 3.0, (decay * (safe + 1.0) - 1.0) / safe**2)
    return value, slope


def film_reflectance(
    ground: ArrayLike, absorbance: ArrayLike, scattering: ArrayLike = 0.0
) -> Array:
    """Return the internal reflectance of a ground seen through a film.

    Parameters
    ----------
    ground : array_like
        Internal reflectance of the ground [-].
    absorbance : array_like
        Absorbance of the way down and up [-], natural logarithm, at least 0.
    scattering : array_like
        Scattering over the same way [-], at least 0.

    Returns
    -------
    ndarray
        Internal reflectance [-], broadcast of the three (Beer 1852; Kubelka 1948, weak
        scattering).

    Examples
    --------
    >>> film_reflectance(0.5, [0.0, 1.0, 2.0]).round(3).tolist()
    [0.5, 0.184, 0.068]
    """
    a = np.asarray(absorbance, float)
    value, _ = single_scatter(a)
    result: Array = np.asarray(ground, float) * np.exp(-a) + np.asarray(scattering, float) * value
    return result


def kubelka_layer(
    absorption: ArrayLike, scattering: ArrayLike, thickness: ArrayLike, backing: ArrayLike
) -> Array:
    """Return the reflectance of a scattering layer over a backing.

    Parameters
    ----------
    absorption, scattering : array_like
        Kubelka and Munk's K and S [1/unit of thickness], at least 0.
    thickness : array_like
        Thickness X [unit], at least 0.
    backing : array_like
        Reflectance of the backing Rg [-].

    Returns
    -------
    ndarray
        Reflectance [-] (Kubelka 1948, hyperbolic solution); for S towards 0 it becomes
        ``Rg exp(-2 K X)``.

    Examples
    --------
    >>> float(kubelka_layer(0.2, 0.1, 1.0, 0.5).round(3))
    0.363
    """
    k, s, x, rg = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (absorption, scattering, thickness, backing))
    )
    clear = s * x < 1e-9
    s_safe = np.where(clear, 1.0, s)
    a = 1.0 + k / s_safe
    b = np.sqrt(np.maximum(a**2 - 1.0, 1e-18))
    depth = np.where(clear, 1.0, b * s_safe * x)
    coth = b / np.tanh(depth)
    layer = (1.0 - rg * (a - coth)) / (a - rg + coth)
    result: Array = np.where(clear, rg * np.exp(-2.0 * k * x), layer)
    return result


def path_factor(geometry: str, *, n: float = REFRACTIVE_INDEX) -> float:
    """Return how long the way down and up through the film is, in film thicknesses.

    Parameters
    ----------
    geometry : str
        ``45:0``, ``di:8`` and their kin, or an aspecular angle such as ``45as15``: illumination
        at 45 degrees, viewing that far from the mirror direction towards the light (ASTM E2539).
        A ``photo`` is lit from all sides, as a booth or an overcast sky does it.
    n : float
        Refractive index of the film [-], above 1.

    Returns
    -------
    float
        1/cos of the refracted angle in, plus the same out [-] (Snell). For diffuse illumination
        the mean over Lambert's law refracted into the film.

    Examples
    --------
    >>> round(path_factor("45:0"), 2)
    2.13
    >>> round(path_factor("di:8"), 2)
    2.15
    """
    if geometry.startswith("45as"):
        return _slant(45.0, n) + _slant(45.0 - float(geometry[4:]), n)
    if geometry in ("45:0", "0:45"):
        return _slant(45.0, n) + 1.0
    nodes, gains = np.polynomial.legendre.leggauss(200)
    mu = 0.5 * (nodes + 1.0)
    diffuse = float(np.sum(gains * mu / np.sqrt(1.0 - (1.0 - mu**2) / n**2)))
    return diffuse + _slant(8.0 if "8" in geometry else 0.0, n)


def _slant(degrees: float, n: float) -> float:
    return 1.0 / math.sqrt(1.0 - (math.sin(math.radians(degrees)) / n) ** 2)


KEPT_WAY = 4.0 / math.sqrt(1.0 - REFRACTIVE_INDEX**-2) / path_factor("45:0")
"""Mean way through the film, down and up, of Lambert's light kept under the surface, at angles
beyond the critical one, in ways of the light that is read at 45:0 [-] (Williams and Clapper 1953).
"""
