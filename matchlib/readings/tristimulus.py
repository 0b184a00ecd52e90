"""XYZ in a file → Lab under the file's own white, by the standard's own formula."""

from __future__ import annotations

from functools import lru_cache

from matchlib.domain import Viewing
from matchlib.errors import FileError

__all__ = ["lab_from_xyz"]


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
    import colour  # heavy; only files with XYZ pay for it

    lab = colour.XYZ_to_Lab([max(v, 0.0) / 100 for v in xyz], _white(viewing))
    return float(lab[0]), float(lab[1]), float(lab[2])


@lru_cache(maxsize=32)
def _white(viewing: Viewing) -> tuple[float, float]:
    import colour

    observer = {
        "2": "CIE 1931 2 Degree Standard Observer",
        "10": "CIE 1964 10 Degree Standard Observer",
    }[viewing.observer]
    names = {"F2": "FL2", "F11": "FL11"}
    x, y = colour.CCS_ILLUMINANTS[observer][names.get(viewing.illuminant, viewing.illuminant)]
    return float(x), float(y)
