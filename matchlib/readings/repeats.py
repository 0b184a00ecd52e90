"""Repeat readings of one thing: their mean, their spread, and the stray among them.

Spectra are averaged in reflectance and Lab through XYZ, since light adds up and Lab does not. How
many readings are enough follows ASTM E1345: n >= (z s / e)² for a wanted standard error e.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import (
    delta_e00,
    lab_to_xyz,
    reflectance_to_lab,
    white_point,
    xyz_to_lab,
)
from matchlib.domain import Reading
from matchlib.errors import FileError

__all__ = ["RepeatSummary", "combine_repeats"]

_FEWEST_FOR_STRAY = 5
# Iglewicz, Hoaglin (1993), "How to Detect and Handle Outliers": modified z-score above 3.5.
_STRAY_SCORE = 3.5
_NORMAL_MAD = 0.6745
# Repeatability of a good instrument on even panels, common practice, no source: without a floor,
# five readings that agree to the last digit would make a stray of the sixth.
_QUIET = 0.1


@dataclass(frozen=True, slots=True)
class RepeatSummary:
    """What repeat readings say together.

    Parameters
    ----------
    mean : Reading
        The mean, its `sd` being the standard error of its Lab.
    n : int
        Readings that went into it.
    spread : float
        Median ΔE00 of a reading from the mean.
    sd : float
        Standard deviation of one reading [ΔE*ab per Lab axis]; NaN for a single reading.
    outliers : tuple of int
        Places of readings that stand apart from the others, first is 0; not in the mean.
    """

    mean: Reading
    n: int
    spread: float
    sd: float
    outliers: tuple[int, ...]


def combine_repeats(readings: Sequence[Reading], *, drop_outliers: bool = True) -> RepeatSummary:
    """Return the mean of repeat readings, their spread, and strays among five or more."""
    _check_alike(readings)
    first = readings[0]
    labs = _labs(readings)
    outliers = _outliers(labs)
    kept = [i for i in range(len(readings)) if not (drop_outliers and i in outliers)]
    values: tuple[float, ...]
    if first.spectral:
        values = tuple(np.mean([readings[i].reflectance for i in kept], axis=0).tolist())
        lab = _labs([Reading(first.viewing, first.source, None, first.wavelengths, values)])[0]
    else:
        white = white_point(first.viewing.illuminant, first.viewing.observer)
        lab = xyz_to_lab(lab_to_xyz(labs[kept], white).mean(axis=0), white)
        values = tuple(float(v) for v in lab)
    spread = float(np.median(delta_e00(labs[kept], lab)))
    sd = math.nan
    stated = [r.sd for r in readings if r.sd is not None]
    error = max(stated) if stated else None
    if len(kept) > 1:
        sd = float(np.sqrt(np.var(labs[kept], axis=0, ddof=1).mean()))
        error = max(sd / math.sqrt(len(kept)), 1e-6)
    mean = (
        replace(first, reflectance=values, sd=error, covariance=None)
        if first.spectral
        else replace(first, lab=(values[0], values[1], values[2]), sd=error, covariance=None)
    )
    return RepeatSummary(mean, len(kept), spread, sd, outliers)


def _check_alike(readings: Sequence[Reading]) -> None:
    if not readings:
        raise FileError("There is no reading to average.", remedy="read the panel.")
    for name, same in (
        ("viewing", {r.viewing for r in readings}),
        ("source", {r.source for r in readings}),
        ("kind (Lab or spectrum)", {r.spectral for r in readings}),
        ("wavelengths", {r.wavelengths for r in readings}),
    ):
        if len(same) > 1:
            raise FileError(
                f"Readings that differ in {name} cannot be averaged.",
                expected="repeat readings by one instrument in one setting",
                got=" and ".join(sorted(map(str, same)))[:100],
                remedy="average each kind by itself.",
            )


def _labs(readings: Sequence[Reading]) -> NDArray[np.float64]:
    if readings[0].spectral:
        return np.asarray(
            reflectance_to_lab(
                np.array([r.reflectance for r in readings]),
                readings[0].viewing,
                wavelengths=readings[0].wavelengths,
            ),
            dtype=np.float64,
        )
    return np.array([r.lab for r in readings], dtype=np.float64)


def _outliers(labs: NDArray[np.float64]) -> tuple[int, ...]:
    if len(labs) < _FEWEST_FOR_STRAY:
        return ()
    distance = delta_e00(labs, np.median(labs, axis=0))
    middle = float(np.median(distance))
    mad = max(float(np.median(np.abs(distance - middle))) / _NORMAL_MAD, _QUIET)
    found = np.flatnonzero((distance - middle) / mad > _STRAY_SCORE)
    return tuple(int(i) for i in found)
