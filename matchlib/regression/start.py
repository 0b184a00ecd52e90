"""Where the fit begins: spectra as far as three numbers of a reading give them away.

The law has no closed solution, and from a flat start a dark colour can lead the descent astray. So
X, Y and Z, each by its white's, stand for the reflectance near 600, 555 and 450 nm, where their
weight lies; the surface is taken off, a ground is what its least coated panel shows, and a colour
is what its neat panels lack from there, by strength. The priors' smooth curves fill in the rest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.film import saunderson_inverse
from matchlib.regression.law import FilmLaw
from matchlib.regression.table import RecipeTable

__all__ = ["starting_values"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

_PLACES: Ints = np.array([int(np.argmin(np.abs(GRID - nm))) for nm in (600.0, 555.0, 450.0)])

_WAVE = {"ground wave": 0.25, "colour wave": 1.3}
"""Sizes of the curves before any is learnt, in the units of their weights [-]."""

_NEAR = {"ground": 0.2, "colour": 0.3}
"""How near the logarithms are believed to come [-]."""


def starting_values(law: FilmLaw, t: RecipeTable, lab: Array) -> Array:
    """Return values to begin from.

    Parameters
    ----------
    law : FilmLaw
        The law.
    t : RecipeTable
        n rows.
    lab : ndarray, shape (n, 3)
        Their readings.

    Returns
    -------
    ndarray, shape (size,)
        Free values.
    """
    z = np.zeros(law.size)
    strength = (t.coats * np.exp(t.bend)).sum(axis=1)
    inner = _log_inner(lab)
    grounds = np.zeros((len(law.words.grounds), len(_PLACES)))
    for g in range(len(grounds)):
        # The least coated panel of the most of this ground shows it best.
        rows = np.flatnonzero(t.ground_share[:, g] > 0)
        best = rows[np.lexsort((strength[rows], -t.ground_share[rows, g].round(2)))[0]]
        grounds[g] = inner[best] + 0.1 * strength[best]
        _write(law, z, "ground", g, grounds[g] - law.priors.ground_level)
    coated = strength > 0
    depth = (t.ground_share @ grounds - inner)[coated] / strength[coated, None]
    share = t.colour_share[coated]
    for c in range(share.shape[1]):
        neat = share[:, c] >= share[:, c].max() - 1e-6
        # The median passes over a wrong back or two.
        absorbance = np.maximum(np.median(depth[neat], axis=0), 0.01)
        _write(law, z, "colour", c, np.log(absorbance) - law.priors.colour_level)
    return z


def _log_inner(lab: Array) -> Array:
    y = (lab[:, 0] + 16.0) / 116.0
    root = np.stack([y + lab[:, 1] / 500.0, y, y - lab[:, 2] / 200.0], axis=1)
    share = np.clip(np.maximum(root, 0.0) ** 3, 0.003, 0.95)
    return np.log(np.maximum(np.asarray(saunderson_inverse(share)), 1e-4))


def _write(law: FilmLaw, z: Array, name: str, owner: int, target: Array) -> None:
    # The most probable weights of the curves, given the logarithm at three wavelengths.
    wave = f"{name} wave"
    sizes = {name: 1.0, wave: _WAVE[wave]}
    curves = np.hstack([law.curves[n][_PLACES] * size for n, size in sizes.items()])
    cov = curves @ curves.T + _NEAR[name] ** 2 * np.eye(len(_PLACES))
    weights = np.clip(curves.T @ np.linalg.solve(cov, target), -3.0, 3.0)
    at = 0
    for n, size in sizes.items():
        width = law.curves[n].shape[1]
        begin = law.slices[n].start + owner * width
        z[begin : begin + width] = weights[at : at + width] * size
        at += width
