"""XYZ in a file → Lab under the file's own white, and whether Lab and spectrum agree."""

from __future__ import annotations

from matchlib.domain import Reading, Viewing
from matchlib.errors import FileError, MatchlibError

__all__ = ["lab_disagreement", "lab_from_xyz"]


def lab_from_xyz(xyz: tuple[float, float, float], viewing: Viewing) -> tuple[float, float, float]:
    """Return the Lab of tristimulus values.

    Parameters
    ----------
    xyz : tuple of 3 float
        Tristimulus values, Y of the perfect white 100.
    viewing : Viewing
        Illuminant and observer that they were computed for.

    Returns
    -------
    tuple of 3 float
        CIELAB (CIE 15:2018, 8.2.1) against the white of ASTM E308.

    Raises
    ------
    FileError
        If they are negative or far above a white.
    """
    if not all(-0.5 <= v <= 250 for v in xyz):
        raise FileError(
            "These are not possible tristimulus values.",
            expected="0 to about 110, Y of white being 100",
            got="X {:g}, Y {:g}, Z {:g}".format(*xyz),
            remedy="export XYZ on the scale of 100.",
        )
    from matchlib.colorimetry import white_point, xyz_to_lab  # numpy: only such files pay

    white = white_point(viewing.illuminant, viewing.observer)
    lab = xyz_to_lab([max(v, 0.0) for v in xyz], white)
    return float(lab[0]), float(lab[1]), float(lab[2])


def lab_disagreement(reading: Reading, lab: tuple[float, float, float]) -> float | None:
    """Return how far a file's Lab is from the Lab of its own spectrum.

    Parameters
    ----------
    reading : Reading
        The spectrum.
    lab : tuple of 3 float
        What the file gives beside it.

    Returns
    -------
    float or None
        CIEDE2000 under the reading's viewing; None where the spectrum gives no Lab.
    """
    from matchlib.colorimetry import delta_e00, reflectance_to_lab

    try:
        own = reflectance_to_lab(
            reading.reflectance, reading.viewing, wavelengths=reading.wavelengths
        )
    except MatchlibError:
        return None
    return float(delta_e00(own, lab))
