"""Repeat readings of one thing → their mean, an outlier left out.

Spectra are averaged in reflectance and Lab through XYZ, since light adds up and Lab does not.
Errors of an instrument's repeats are taken as independent, so that their mean is surer than each
by the root of their number (ASTM E1345); photographs share camera, chart and light, which no
repeating takes off, so that their mean is as sure as one of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00, lab_to_xyz, white_point, xyz_to_lab
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Reading
from matchlib.errors import FileError

__all__ = ["far_apart_words", "mean_reading"]

_FEWEST_FOR_STRAY = 5
# Iglewicz, Hoaglin (1993), "How to Detect and Handle Outliers": modified z-score above 3.5.
_STRAY_SCORE = 3.5
_NORMAL_MAD = 0.6745
# Repeatability of a good instrument on even panels, common practice, no source: without a floor,
# five readings that agree to the last digit would make an outlier of the sixth.
_QUIET = 0.1
_OF_OTHERS = 5.0  # ΔE00 that no two readings of one card are apart; common practice, no source
_NAMED = 8


def mean_reading(readings: Sequence[Reading]) -> Reading:
    """Return the mean of repeat readings, with how sure it is; outliers among five are left out."""
    _check_alike(readings)
    first = readings[0]
    if len(readings) == 1:
        return first
    every = np.array([lab_of_reading(r) for r in readings])
    out = _outliers(every)
    kept = [r for i, r in enumerate(readings) if i not in out]
    labs = np.delete(every, out, axis=0)
    shared = first.source == "photo"
    spread = float(np.sqrt(np.var(labs, axis=0, ddof=1).mean()))
    error = max([spread, *(r.sd for r in kept if r.sd is not None)])
    known = [r.covariance for r in kept if r.covariance is not None]
    whole = np.mean(known, axis=0).tolist() if shared and len(known) == len(kept) else None
    about: dict[str, Any] = {
        "sd": max(error / (1.0 if shared else math.sqrt(len(kept))), 1e-6),
        "covariance": None if whole is None else tuple(map(tuple, whole)),
    }
    if first.spectral:
        values = np.mean([r.reflectance for r in kept], axis=0).tolist()
        return replace(first, reflectance=tuple(values), **about)
    white = white_point(first.viewing.illuminant, first.viewing.observer)
    lab = xyz_to_lab(lab_to_xyz(labs, white).mean(axis=0), white).tolist()
    return replace(first, lab=tuple(lab), **about)


def far_apart_words(cards: Iterable[tuple[str, Sequence[Reading]]]) -> list[str]:
    """Return a sentence on cards of which readings of one kind cannot be of one card."""
    pairs: list[tuple[str, Reading, Reading]] = []
    for code, readings in cards:
        first: dict[tuple[object, ...], Reading] = {}
        for r in readings:
            before = first.setdefault((r.viewing, r.source, r.state), r)
            pairs += [] if before is r else [(code, before, r)]
    if not pairs:
        return []
    apart = delta_e00(
        [lab_of_reading(before) for _, before, _ in pairs], [lab_of_reading(r) for *_, r in pairs]
    )
    far = list(dict.fromkeys(p[0] for p, d in zip(pairs, apart, strict=True) if d > _OF_OTHERS))
    if not far:
        return []
    named = ", ".join(far[:_NAMED]) + f" and {len(far) - _NAMED} more" * (len(far) > _NAMED)
    return [
        f"Readings of one kind are up to ΔE00 {apart.max():.0f} apart under the same code "
        f"({named}): see whether they are of the same card."
    ]


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


def _outliers(labs: NDArray[np.float64]) -> tuple[int, ...]:
    if len(labs) < _FEWEST_FOR_STRAY:
        return ()
    distance = delta_e00(labs, np.median(labs, axis=0))
    middle = float(np.median(distance))
    mad = max(float(np.median(np.abs(distance - middle))) / _NORMAL_MAD, _QUIET)
    found = np.flatnonzero((distance - middle) / mad > _STRAY_SCORE)
    return tuple(int(i) for i in found)
