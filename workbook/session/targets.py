"""What is to be matched: typed Lab, a file, or a panel's own readings → one reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from matchlib.errors import MatchlibError, TargetError

if TYPE_CHECKING:
    from matchlib.domain import Reading, Viewing

__all__ = ["lab_of", "reading_of_lab", "single_reading"]


def reading_of_lab(lab: Sequence[float], viewing: Viewing | None = None) -> Reading:
    """Return typed Lab as a reading.

    Parameters
    ----------
    lab : sequence of 3 float
        CIELAB.
    viewing : Viewing, optional
        D65/10° 45:0 where not given.

    Returns
    -------
    Reading
        By a spectrophotometer, as typed Lab is taken to be.

    Raises
    ------
    TargetError
        If no surface can have this Lab under this light.
    """
    from matchlib.colorimetry import lab_to_xyz, white_point
    from matchlib.domain import Reading
    from matchlib.domain import Viewing as View

    view = viewing or View()
    if len(lab) != 3 or not all(math.isfinite(v) for v in lab):
        raise TargetError(
            "This target is not a colour.",
            expected="three numbers: L, a and b",
            got=", ".join(f"{v:g}" for v in lab),
            remedy="give the reading's L, a and b.",
        )
    three = (float(lab[0]), float(lab[1]), float(lab[2]))
    try:
        reading = Reading(view, "spectrophotometer", three)
    except MatchlibError as error:
        raise TargetError(
            "This target is no physical colour.",
            expected=error.expected,
            got=error.got,
            remedy="check the signs, the decimal point and the order L, a, b.",
        ) from None
    white = white_point(view.illuminant, view.observer)
    xyz = lab_to_xyz(three, white)
    # Each of X, Y and Z is a share of the light, so none can be below 0, nor above the white's.
    if view.aspecular is None and not all(
        -1e-9 <= v <= w * 1.0005 for v, w in zip(xyz, white, strict=True)
    ):
        raise TargetError(
            "This target is no physical colour: no surface can reflect such light.",
            expected="X, Y and Z from 0 to those of the white",
            got="L {:g}, a {:g}, b {:g}, which is X {:.1f}, Y {:.1f}, Z {:.1f}".format(
                *three, *xyz
            ),
            remedy="check the signs, the decimal point and the order L, a, b.",
        )
    return reading


def single_reading(readings: Sequence[Reading], *, where: str) -> Reading:
    """Return one reading for the readings of one thing.

    Parameters
    ----------
    readings : sequence of Reading
        Repeats; where some are spectra, only those count, for a spectrum says more than Lab.
    where : str
        What was read, for errors.

    Returns
    -------
    Reading
        Their mean, strays left out.

    Raises
    ------
    TargetError
        If there is none.
    MatchlibError
        If they differ in viewing or source.
    """
    from matchlib.readings.repeats import combine_repeats

    if not readings:
        raise TargetError(
            "There is no reading to match.", where=where, remedy="read the sample first."
        )
    chosen = [r for r in readings if r.spectral] or list(readings)
    if len(chosen) == 1:
        return chosen[0]
    try:
        return combine_repeats(chosen).mean
    except MatchlibError as error:
        raise error.at(where) from None


def lab_of(reading: Reading) -> tuple[float, float, float]:
    """Return a reading's CIELAB under its own viewing.

    Parameters
    ----------
    reading : Reading
        Lab or spectrum.

    Returns
    -------
    tuple of 3 float
        L*, a*, b*.
    """
    if reading.lab is not None:
        return reading.lab
    from matchlib.colorimetry import reflectance_to_lab

    lab = reflectance_to_lab(reading.reflectance, reading.viewing, wavelengths=reading.wavelengths)
    return (float(lab[0]), float(lab[1]), float(lab[2]))
