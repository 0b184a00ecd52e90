"""Tristimulus weights of ASTM E308, for the lights and observers of `matchlib.domain.Viewing`.

The full tables, 360 to 780 nm by 10 nm, lie in a file made by `matchlib.colorimetry.make_tables`
from colour-science. Shorter ranges and 20 nm intervals follow from them by the standard's own
rules: weights of unmeasured wavelengths go to the nearest measured one (ASTM E308-15, 7.3.2.2),
and 20 nm readings are first brought to 10 nm by a cubic through four neighbours (as
colour-science's default does).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.domain.reading import ILLUMINANTS, OBSERVERS
from matchlib.errors import DomainError
from matchlib.shipped import table

__all__ = ["FIRST", "GRID", "LAST", "weights", "white_point"]

Array = NDArray[np.float64]

GRID: Array = np.arange(400.0, 701.0, 10.0)
"""The house's wavelengths inside, 400 to 700 nm by 10 nm."""
GRID.setflags(write=False)

FIRST, LAST = 360, 780
"""Range of the full weight tables [nm]."""


def weights(illuminant: str, observer: str | int, wavelengths: ArrayLike | None = None) -> Array:
    """Return the weights that turn reflectance into XYZ, ``xyz = reflectance @ weights``.

    Parameters
    ----------
    illuminant : str
        One of `matchlib.domain.reading.ILLUMINANTS`.
    observer : str or int
        Field of the CIE standard observer [degree], 2 or 10.
    wavelengths : array_like, shape (n,), optional
        Rising by 10 or 20 nm, on tens, within 360 to 780 nm, covering at least 400 to 700 nm.
        `GRID` where not given.

    Returns
    -------
    ndarray, shape (n, 3)
        Read-only; Y of the perfect diffuser is 100.

    Raises
    ------
    DomainError
        If light, observer or wavelengths are not among these.

    Notes
    -----
    ASTM E308-15. A plain sum over 10 nm would be further off.

    Examples
    --------
    >>> weights("D65", 10).shape
    (31, 3)
    """
    observer = str(observer)
    _check_light(illuminant, observer)
    if wavelengths is None:
        return _weights(illuminant, observer, 400, 700, 10)
    nm = np.asarray(wavelengths, dtype=np.float64)
    steps = np.diff(nm) if nm.ndim == 1 and nm.size > 1 else np.zeros(1)
    step = float(steps[0])
    if (
        step not in (10.0, 20.0)
        or np.any(steps != step)
        or nm[0] % 10
        or not FIRST <= nm[0] <= 400
        or not 700 <= nm[-1] <= LAST
    ):
        got = f"{nm[0]:g} … {nm[-1]:g} nm" if nm.ndim == 1 and nm.size else f"shape {nm.shape}"
        raise DomainError(
            "ASTM E308 has no weights for these wavelengths.",
            expected="wavelengths on tens, rising evenly by 10 or 20 nm, from at most 400 to at "
            "least 700 and within 360 to 780 nm",
            got=f"{got}, first step {step:g} nm",
            remedy="interpolate the spectrum to 400 … 700 nm by 10 nm first.",
        )
    return _weights(illuminant, observer, int(nm[0]), int(nm[-1]), int(step))


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
        Read-only; Y is 100. The sum of the weights, so that the perfect diffuser is L* 100, a* 0
        and b* 0 exactly. It differs from the values printed in ASTM E308 in the last digit for D65
        and A, and by more for F2 and F11, whose spectra are known every 5 nm only, and for D50,
        whose spectrum CIE has published anew since: by how much is in
        tests/published/test_published_colorimetry.py.

    Examples
    --------
    >>> white_point("D65", 10).round(2).tolist()
    [94.81, 100.0, 107.3]
    """
    observer = str(observer)
    _check_light(illuminant, observer)
    return _white(illuminant, observer)


def _check_light(illuminant: str, observer: str) -> None:
    if illuminant not in ILLUMINANTS or observer not in OBSERVERS:
        raise DomainError(
            "There are no weights for this light and observer.",
            expected=f"illuminant {', '.join(ILLUMINANTS)}; observer 2 or 10",
            got=f"{illuminant!r} and {observer!r}",
            remedy="write what the instrument was set to.",
        )


@cache
def _white(illuminant: str, observer: str) -> Array:
    white: Array = _weights(illuminant, observer, 400, 700, 10).sum(axis=0)
    white.setflags(write=False)
    return white


@cache
def _weights(illuminant: str, observer: str, first: int, last: int, step: int) -> Array:
    full = table(f"{illuminant}/{observer}")
    start, end = (first - FIRST) // 10, (last - FIRST) // 10
    result = full[start : end + 1].copy()
    # Summed one by one from the outside in, in the order in which colour-science does, so that
    # the two agree to the last digit.
    for row in full[:start]:
        result[0] += row
    for row in full[:end:-1]:
        result[-1] += row
    if step == 20:
        result = _halving(result.shape[0] // 2 + 1).T @ result
    result.setflags(write=False)
    return result


def _halving(n: int) -> Array:
    # Readings every 20 nm to every 10 nm: a cubic through four neighbours; beyond the ends a
    # parabola through the last three (ASTM E308-15, 7.3.2.1 as colour-science reads it).
    padded = np.zeros((n + 2, n))
    padded[1:-1] = np.eye(n)
    padded[0, :3] = padded[-1, :-4:-1] = 3.0, -3.0, 1.0
    fine = np.zeros((2 * n - 1, n))
    fine[::2] = padded[1:-1]
    middle = 9.0 * (padded[1:-2] + padded[2:-1]) - padded[:-3] - padded[3:]
    fine[1::2] = middle / 16.0
    return fine
