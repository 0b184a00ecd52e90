"""The film law at one set of its values: what is measured, and its slopes by every part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["State"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class State:
    """The law at one set of values: measured reflectance and its partial derivatives.

    All arrays have the shape (n, b) unless said. Made by `FilmLaw.evaluate`.

    Parameters
    ----------
    reflectance : ndarray
        Measured reflectance [-].
    by_ground, by_absorbance, by_scatter, by_veil, by_k2, by_gain : ndarray
        Derivative of it by log ground reflectance, A, S, the logarithm of all that comes up to the
        clear coat, the logit of k2, and the logarithm of an uncleared surface's gain.
    absorption : ndarray, shape (c, b)
        Absorption spectra.
    scattering : ndarray, shape (c, b)
        Scattering spectra of the colours.
    dose : ndarray, shape (n, c)
        Doses, path included.
    by_slope, by_bend, by_first, by_later : ndarray, shape (n, c)
        Derivatives of the doses.
    weight : ndarray, shape (n, g)
        Weight of each ground.
    ground, mixed : ndarray
        Log spectra of base grounds, shape (g, b) or (n, g, b) where geometries differ, and of
        each row's ground.
    haze : ndarray, shape (n, 1) or (n, b)
        Derivative by the logarithm of the haze: bloom of an uncleared surface, or the little gloss
        that a clear one lets into the reading.
    """

    reflectance: Array
    by_ground: Array
    by_absorbance: Array
    by_scatter: Array
    by_veil: Array
    by_k2: Array
    by_gain: Array
    absorption: Array
    scattering: Array
    dose: Array
    by_slope: Array
    by_bend: Array
    by_first: Array
    by_later: Array
    weight: Array
    ground: Array
    mixed: Array
    haze: Array

    def take(self, rows: NDArray[np.intp]) -> State:
        """Return some of the rows."""
        shared = {"absorption", "scattering"} | ({"ground"} if self.ground.ndim == 2 else set())
        return State(**{k: v if k in shared else v[rows] for k, v in self.__dict__.items()})
