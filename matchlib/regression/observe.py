"""From reflectance to what was read: Lab under each viewing, and the tone of whole spectra.

A spectral reading is compared twice: in Lab, which is what the eye judges, and as a spectrum in
lightness-like tone (the cube root of CIE L*, so that dark and light wavelengths count as the eye
counts them), on its ten smoothest components. A reading in Lab is compared in Lab alone.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import GRID, interpolate_reflectance, reflectance_to_lab
from matchlib.colorimetry.lab import curve_slope, lab_curve, lab_jacobian
from matchlib.domain import Reading, Viewing, three
from matchlib.errors import FitError
from matchlib.plural import counted
from matchlib.regression.frames import is_empty, rows_of, spectral_columns

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Observations", "readings_as_lab", "tone_of"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

KNOWN, SPECTRO, PHOTO, TONE = range(4)
"""Families of noise: stated by the reading, instrument, photograph, spectral tone."""

_BRIGHTEST = 10.0
"""Greatest reflectance that a `Reading` may have, at an aspecular angle [-]."""

_PLACES = (np.arange(len(GRID)) + 0.5) / len(GRID)
# The ten slowest of the orthonormal cosines (DCT-II).
_TONES: Array = np.sqrt(2.0 / len(GRID)) * np.cos(np.pi * np.arange(10)[:, None] * _PLACES)
_TONES[0] /= np.sqrt(2.0)


def tone_of(reflectance: Array) -> tuple[Array, Array]:
    """Return the smooth components of spectra's tone (n, 10), and the derivative (n, 10, 31)."""
    tone = lab_curve(reflectance)
    jacobian: Array = 116.0 * curve_slope(tone)[:, None, :] * _TONES
    return 116.0 * tone @ _TONES.T, jacobian


class Observations(NamedTuple):
    """What was read, one row a reading."""

    lab: Array  # (n, 3), as read, or from the spectrum under D65/10°
    light: tuple[tuple[str, str], ...]  # distinct pairs of illuminant and observer
    view: Ints  # (n,), place of each row in `light`
    spectral: NDArray[np.bool_]  # (n,)
    tone: Array  # (n, 10), of the spectra; 0 where there is none
    family: Ints  # (n,), of the Lab noise
    covariance: Array  # (n, 3, 3), stated where the family is `KNOWN`, else the identity [ΔE*ab²]
    photo: NDArray[np.bool_]  # (n,), whether by a camera
    peak: Array  # (n,), greatest reflectance of the spectra; NaN where there is none [-]

    @classmethod
    def of(
        cls,
        X: pd.DataFrame,
        y: ArrayLike | pd.DataFrame,
        viewings: list[Viewing],
        sources: list[str],
    ) -> Observations:
        """Read Lab, spectra or both from y, with what X says of them."""
        lab, spectra, spectral = _read(X, y)
        lights = [
            ("D65", "10") if s else (v.illuminant, v.observer)
            for v, s in zip(viewings, spectral, strict=True)
        ]
        light = tuple(sorted(set(lights)))
        view = np.array([light.index(v) for v in lights], np.intp)
        tone = np.zeros((len(lab), len(_TONES)))
        lab[spectral] = reflectance_to_lab(spectra[spectral])
        tone[spectral], _ = tone_of(spectra[spectral])
        known, covariance = _stated(X)
        photo = np.array([s == "photo" for s in sources], np.bool_)
        family = np.where(known, KNOWN, np.where(photo, PHOTO, SPECTRO)).astype(np.intp)
        peak = np.where(spectral, spectra.max(axis=1), np.nan)
        return cls(lab, light, view, spectral, tone, family, covariance, photo, peak)

    def take(self, rows: Ints | NDArray[np.bool_]) -> Observations:
        """Return some of the rows."""
        return self._replace(**{k: v[rows] for k, v in self._asdict().items() if k != "light"})

    @property
    def whitening(self) -> Array:
        """What makes the errors of each Lab as large in every direction, (n, 3, 3)."""
        return np.asarray(np.linalg.inv(np.linalg.cholesky(self.covariance)))

    def lab_of(self, reflectance: Array) -> tuple[Array, Array]:
        """Return each row's Lab under its own light (n, 3), and the derivative (n, 3, 31)."""
        lab = np.empty((len(reflectance), 3))
        jacobian = np.empty((len(reflectance), 3, len(GRID)))
        for i, (illuminant, observer) in enumerate(self.light):
            rows = self.view == i
            lab[rows], jacobian[rows] = lab_jacobian(reflectance[rows], illuminant, observer)
        return lab, jacobian


def readings_as_lab(X: pd.DataFrame, y: ArrayLike | pd.DataFrame) -> Array:
    """Return readings as Lab, each under its row's own light; shape (n, 3)."""
    _, viewings, *_ = rows_of(X)
    lab, spectra, spectral = _read(X, y)
    for view in set(viewings):
        rows = spectral & np.array([v == view for v in viewings])
        lab[rows] = reflectance_to_lab(spectra[rows], view)
    return lab


def _read(X: pd.DataFrame, y: Any) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Lab (n, 3), reflectance (n, 31), and which rows have it, in place of Lab or beside it."""
    lab, spectra = _split(y, len(X))
    names, empty = spectral_columns(X), np.isnan(np.hstack([lab, spectra])).all(axis=1)
    if names and empty.any():
        spectra[empty] = _gridded(names, _floats(X[names])[empty])
    spectral = np.asarray(np.isfinite(spectra).all(axis=1), np.bool_)
    if spectral.any() and spectra[spectral].max() > _BRIGHTEST:
        raise FitError(
            "These reflectances are no shares of the light.",
            expected=f"reflectances from 0 to 1, to {_BRIGHTEST:g} for flake near its gloss",
            got=f"{spectra[spectral].max():g}",
            remedy="divide by 100 if they are percent.",
        )
    whole = np.isfinite(lab).all(axis=1) | spectral
    if not whole.all():
        row = int(np.flatnonzero(~whole)[0]) + 1
        raise FitError(
            f"Row {row} has no reading that can be used.",
            expected="L, a and b, or reflectance from 400 to 700 nm, all of them numbers",
            got="missing or not finite",
            remedy="leave the row out or fill it in.",
        )
    return lab, spectra, spectral


def _stated(X: pd.DataFrame) -> tuple[NDArray[np.bool_], Array]:
    """Which readings state how sure they are, and their covariance, the identity for others."""
    import pandas as pd

    stated, some = np.full((len(X), 3, 3), np.nan), (50.0, 0.0, 0.0)
    if "sd" in X.columns:
        read = pd.to_numeric(X["sd"], errors="coerce")
        for sd in read[~X["sd"].map(is_empty)].unique():
            Reading(lab=some, sd=float(sd))  # refuses what no reading can state
        stated[:] = read.to_numpy(np.float64)[:, None, None] ** 2 * np.eye(3)
    for i, own in enumerate(X["covariance"] if "covariance" in X.columns else ()):
        if not is_empty(own):
            first, second, third = map(three, _matrix(own).tolist())
            stated[i] = Reading(lab=some, covariance=(first, second, third)).covariance
    known = np.asarray(np.isfinite(stated).all(axis=(1, 2)), np.bool_)
    # A direction stated to be certain is not: it gets a hundredth of the usual sd.
    usual = np.trace(stated, axis1=1, axis2=2)[:, None, None] / 3.0
    return known, np.where(known[:, None, None], stated + 1e-4 * usual * np.eye(3), np.eye(3))


def _matrix(own: Any) -> Array:
    """A covariance (3, 3) of numbers, or of the text that a file of a table holds for them."""
    try:
        numbers = (
            json.loads(own.translate(str.maketrans("()", "[]"))) if isinstance(own, str) else own
        )
        matrix = np.array(numbers, float)
    except (TypeError, ValueError):
        matrix = np.empty(0)
    if matrix.shape != (3, 3):
        raise FitError(
            "This covariance of a reading cannot be read.",
            expected="3 rows of 3 numbers [ΔE*ab²], such as [[9,0,0],[0,4,0],[0,0,4]]",
            got=str(own)[:60],
            remedy="empty the cell.",
        )
    return matrix


def _split(y: Any, count: int) -> tuple[Array, Array]:
    """Lab (n, 3) and reflectance (n, 31) of y, new and NaN where it has none."""
    expected = f"y with L, a and b, or reflectances, for each of the {count} rows of X"
    remedy = "take both from one table, such as table and table[['L', 'a', 'b']]."
    if y is None:
        problem = "This regressor requires y to be passed, but the target y is None."
        raise FitError(problem, expected=expected, remedy=remedy)
    rows = len(y) if np.ndim(y) else 1
    if rows != count:
        raise FitError(
            "There are not as many readings as recipes.",
            expected=expected,
            got=counted(rows, "row"),
            remedy=remedy,
        )
    try:
        values = _floats(y)
    except (TypeError, ValueError):
        raise FitError(
            "These readings are not numbers.",
            expected="y of L, a and b, or of reflectances from 0 to 1, and nothing else",
            got=f"columns {', '.join(map(str, getattr(y, 'columns', ['of text'])))}",
            remedy="take the columns of readings alone, such as table[['L', 'a', 'b']].",
        ) from None
    lab, spectra = np.full((count, 3), np.nan), np.full((count, len(GRID)), np.nan)
    columns = list(getattr(y, "columns", ()))
    if columns == list(range(len(columns))):
        if values.shape == lab.shape:
            return values, spectra
        if values.shape == spectra.shape:
            return lab, values
    else:
        named, numbers = {"L", "a", "b"} & set(columns), spectral_columns(y)
        if len(named) in (0, 3) and len(named) + len(numbers) == len(columns):
            lab = _floats(y.reindex(columns=["L", "a", "b"]))
            return lab, _gridded(numbers, _floats(y[numbers])) if numbers else spectra
    told = f", columns {', '.join(map(str, columns[:8]))}" if columns else ""
    raise FitError(
        "These readings do not have the shape of readings.",
        expected=f"({count}, 3) Lab or ({count}, {len(GRID)}) reflectance from 400 to 700 nm",
        got=f"{values.shape}{told}",
        remedy="give one reading a row, in columns L, a, b, or named by their wavelengths [nm].",
    )


def _floats(table: Any) -> Array:
    """New numbers, NaN where a table has an empty cell of any kind: pandas' own NA is no float."""
    if hasattr(table, "columns"):
        return np.asarray(table.to_numpy(float, copy=True, na_value=np.nan))
    return np.array(table, float)


def _gridded(names: list[Any], values: Array) -> Array:
    """Reflectance at the wavelengths of `GRID`, NaN where a row has next to none."""
    nm = np.array(names, float)
    order = np.argsort(nm)
    nm, values = nm[order], values[:, order]
    result = np.full((len(values), len(GRID)), np.nan)
    patterns = np.isfinite(values)
    for pattern in np.unique(patterns, axis=0):
        if pattern.sum() < 4:
            continue
        rows = (patterns == pattern).all(axis=1)
        result[rows] = interpolate_reflectance(nm[pattern], values[rows][:, pattern])
    return result
