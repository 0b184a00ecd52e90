"""Reflectance to Lab for the simulator, straight from colour-science.

Kept apart from the package's own colorimetry, so that a mistake there shows up here.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["NM", "delta_e", "spectrum_to_lab"]

Array = NDArray[np.float64]

NM = np.arange(400.0, 701.0, 10.0)


@cache
def _weights() -> Array:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science says that matplotlib is not there
        import colour

        # The identity through its ASTM E308 method is the weight table itself.
        unit = colour.MultiSpectralDistributions(np.eye(NM.size), NM)
        weights = colour.msds_to_XYZ(
            unit,
            cmfs=colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"],
            illuminant=colour.SDS_ILLUMINANTS["D65"],
            method="ASTM E308",
        )
    return np.asarray(weights)


def spectrum_to_lab(reflectance: Array) -> Array:
    """Lab, D65/10 degree, of reflectance (..., 31)."""
    weights = _weights()
    ratio = np.maximum(reflectance @ weights, 0.0) / weights.sum(axis=0)
    curve = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = curve[..., 0], curve[..., 1], curve[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def delta_e(first: Array, second: Array) -> Array:
    """CIEDE2000 by colour-science."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return np.asarray(colour.delta_E(first, second, method="CIE 2000"), dtype=float)
