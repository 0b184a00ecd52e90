"""Tristimulus weights of ASTM E308, for the lights and observers of `matchlib.domain.Viewing`.

They lie in a file made by `matchlib.colorimetry.make_tables` from colour-science, whose weights of
wavelengths beyond 400 to 700 nm go to the nearest of these (ASTM E308-15, 7.3.2.2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.domain.reading import ILLUMINANTS, OBSERVERS
from matchlib.errors import DomainError
from matchlib.shipped import table

__all__ = ["GRID", "weights", "white_point"]

Array = NDArray[np.float64]

GRID: Array = np.arange(400.0, 701.0, 10.0)
"""Wavelengths that all arithmetic inside is done at, 400 to 700 nm by 10 nm."""
GRID.setflags(write=False)


def weights(illuminant: str, observer: str | int) -> Array:
    """Return the weights that turn reflectance into XYZ, ``xyz = reflectance @ weights``.

    Parameters
    ----------
    illuminant : str
        One of `matchlib.domain.reading.ILLUMINANTS`.
    observer : str or int
        Field of the CIE standard observer [degree], 2 or 10.

    Returns
    -------
    ndarray, shape (31, 3)
        By the wavelengths of `GRID`; read-only. Y of the perfect diffuser is 100.

    Raises
    ------
    DomainError
        If light or observer is not among these.

    Notes
    -----
    ASTM E308-15. A plain sum over 10 nm would be further off.

    Examples
    --------
    >>> weights("D65", 10).shape
    (31, 3)
    """
    if illuminant not in ILLUMINANTS or str(observer) not in OBSERVERS:
        raise DomainError(
            "There are no weights for this light and observer.",
            expected=f"illuminant {', '.join(ILLUMINANTS)}; observer 2 or 10",
            got=f"{illuminant!r} and {str(observer)!r}",
            remedy="write what the instrument was set to.",
        )
    return table(f"{illuminant}/{observer}")


def white_point(illuminant: str, observer: str | int) -> Array:
    """Return XYZ of the perfect diffuser, the white of Lab.

    Parameters
    ----------
    illuminant : str
        One of `matchlib.domain.reading.ILLUMINANTS`.
    observer : str or int
        Field of the CIE standard observer [degree], 2 or 10.

    Returns
    -------
    ndarray, shape (3,)
        Y is 100. The sum of the weights, so that the perfect diffuser is L* 100, a* 0
        and b* 0 exactly. It differs from the values printed in ASTM E308 in the last digit for D65
        and A, and by more for F2 and F11, whose spectra are known every 5 nm only, and for D50,
        whose spectrum CIE has published anew since: by how much is in
        tests/published/test_published_colorimetry.py.

    Examples
    --------
    >>> white_point("D65", 10).round(2).tolist()
    [94.81, 100.0, 107.3]
    """
    return np.asarray(weights(illuminant, observer).sum(axis=0))
