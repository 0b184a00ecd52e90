"""Fewer wavelengths that give the same colour, for the recipes of one space.

The spectra of films are smooth, so a few wavelengths with weights of their own give X, Y and Z as
all 31 do. Which, and with what weights, is found from a sample of the very recipes that are to be
searched, by backward elimination in least squares (Gaussian quadrature fitted to data; the cost of
leaving one column out is the classical ``w² / (G⁻¹)``: Guyon et al. 2002 call it recursive
elimination, Hassibi and Stork 1993 the surgeon's saliency), and checked on another sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["NEAR", "WORST", "Nodes"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

NEAR, WORST = 0.02, 0.1
"""Farthest that Lab by fewer wavelengths may be from Lab by all, on 99 recipes of 100 and on any
[ΔE*ab]. The residual field, which a scan leaves out as well, is several times that."""

_RIDGE = 1e-9
_LEAST = 6
_MOST = 20
_KNEE = (6.0 / 29.0) ** 3


@dataclass(frozen=True)
class Nodes:
    """Wavelengths kept and their weights.

    Parameters
    ----------
    bands : ndarray of int, shape (m,)
        Places among all wavelengths, rising.
    weights : ndarray, shape (3, m)
        From reflectance there to X/Xn, Y/Yn, Z/Zn; some may be below 0.
    error : float
        How far from Lab by all wavelengths 99 in 100 of the recipes tried are at most [ΔE*ab].
    """

    bands: Ints
    weights: Array
    error: float

    @classmethod
    def all_of(cls, weights: Array) -> Nodes:
        """Keep every wavelength.

        Parameters
        ----------
        weights : ndarray, shape (3, b)
            Of all wavelengths.

        Returns
        -------
        Nodes
            Exact.
        """
        return cls(np.arange(weights.shape[1], dtype=np.intp), weights, 0.0)

    @classmethod
    def of(cls, weights: Array, sample: Array, check: Array) -> Nodes:
        """Find the fewest wavelengths that are right.

        Parameters
        ----------
        weights : ndarray, shape (3, b)
            Of all wavelengths, to X/Xn, Y/Yn, Z/Zn.
        sample : ndarray, shape (n, b)
            Reflectance of recipes to fit to [-].
        check : ndarray, shape (k, b)
            Of other recipes, to check on [-].

        Returns
        -------
        Nodes
            All of them if fewer than 20 are not right.
        """
        goal = sample @ weights.T
        # An error counts as the eye sees it: by the slope of the cube root there.
        slope = 1.0 / np.maximum(goal, _KNEE) ** (2.0 / 3.0) * np.array([2.0, 2.7, 1.0])
        grams, crosses = [], []
        for c in range(3):
            scaled = sample * slope[:, c, None]
            grams.append(scaled.T @ scaled)
            crosses.append(scaled.T @ (goal[:, c] * slope[:, c]))
        gram, cross = np.stack(grams), np.stack(crosses)
        ridge = _RIDGE * np.trace(gram, axis1=1, axis2=2) / gram.shape[1]
        gram += ridge[:, None, None] * np.eye(gram.shape[1])
        kept = np.arange(weights.shape[1])
        found = cls.all_of(weights)
        both, whole = np.concatenate([sample, check]), np.concatenate([sample, check]) @ weights.T
        exact = _lab(whole)
        while len(kept) > _LEAST:
            inverse = np.linalg.inv(gram[:, kept[:, None], kept])
            own = np.einsum("cij,cj->ci", inverse, cross[:, kept])
            if len(kept) <= _MOST:
                near = _lab(both[:, kept] @ own.T)
                error = np.linalg.norm(near - exact, axis=1)
                usual, most = float(np.quantile(error, 0.99)), float(error.max())
                if usual > NEAR or most > WORST:
                    break
                found = cls(kept, own, usual)
            cost = (own**2 / np.diagonal(inverse, axis1=1, axis2=2)).sum(axis=0)
            kept = np.delete(kept, np.argmin(cost))
        return found


def _lab(ratio: Array) -> Array:
    root = np.where(
        ratio > _KNEE, np.cbrt(np.maximum(ratio, _KNEE)), ratio * 841.0 / 108.0 + 4.0 / 29.0
    )
    x, y, z = root.T
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=1)
