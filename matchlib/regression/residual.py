"""What the film law leaves: a Gaussian-process field on physical features.

Hiding, bloom, flake that stands up, saturation: none of them is in the law, all of them change
slowly with the recipe. The field multiplies the internal reflectance by ``exp(F)``, where F is a
sum of three smooth spectral shapes, each weighted by a Gaussian process (Rasmussen and Williams
2006) over colour, dose and coats. One part is shared by all grounds, and so crosses to a ground
never sprayed; the other also knows the ground. Each part's size is a hyperparameter found by
marginal likelihood, and goes to nothing where panels do not support it.

The processes are written with Nystrom's features on recipes of the archive, so that their cost is
linear in panels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.regression.table import RecipeTable

__all__ = ["Residual"]

Array = NDArray[np.float64]

MOST_FEATURES = 24


def _shapes() -> Array:
    x = np.linspace(-1.0, 1.0, len(GRID))
    return np.stack([np.ones_like(x), x, 1.5 * x**2 - 0.5], axis=1)


def _describe(t: RecipeTable) -> tuple[Array, Array]:
    strength = (t.coats * np.exp(t.bend)).sum(axis=1)
    coats = t.coats.sum(axis=1)
    mean_bend = (t.coats * t.bend).sum(axis=1) / np.maximum(coats, 1)
    shared = np.column_stack(
        [
            2.0 * t.colour_share,
            0.9 * np.log1p(strength),
            0.5 * mean_bend,
            0.4 * np.log1p(coats),
            0.5 * t.cleared,
        ]
    )
    return shared, np.column_stack([shared, 1.6 * t.ground_share])


def _kernel(a: Array, b: Array) -> Array:
    gap = (a**2).sum(1)[:, None] + (b**2).sum(1)[None] - 2.0 * a @ b.T
    result: Array = np.exp(-0.5 * np.maximum(gap, 0.0))
    return result


def _nystrom(points: Array, most: int) -> tuple[Array, Array]:
    # Greedy choice of the point least explained so far (pivoted Cholesky); no draw needed.
    distinct = np.unique(points.round(9), axis=0)
    left = np.ones(len(distinct))
    columns = np.zeros((len(distinct), 0))
    chosen: list[int] = []
    while len(chosen) < min(most, len(distinct)):
        i = int(np.argmax(left))
        if left[i] < 1e-3:
            break
        column = _kernel(distinct, distinct[i : i + 1])[:, 0] - columns @ columns[i]
        column /= np.sqrt(left[i])
        columns = np.column_stack([columns, column])
        left = np.maximum(left - column**2, 0.0)
        chosen.append(i)
    centres = distinct[chosen]
    values, vectors = np.linalg.eigh(_kernel(centres, centres))
    kept = values > 1e-8 * values[-1]
    return centres, vectors[:, kept] / np.sqrt(values[kept])


@dataclass(frozen=True)
class Residual:
    """The field's features.

    Parameters
    ----------
    shared_centres, shared_map, ground_centres, ground_map : ndarray
        Nystrom's centres and whitening maps of the part that all grounds share and of the part
        that knows the ground; empty for no field.
    """

    shared_centres: Array
    shared_map: Array
    ground_centres: Array
    ground_map: Array

    @classmethod
    def none(cls) -> Residual:
        """Return no field at all.

        Returns
        -------
        Residual
            Of size 0.
        """
        empty = np.zeros((0, 0))
        return cls(empty, empty, empty, empty)

    @classmethod
    def of(cls, t: RecipeTable, *, most: int = MOST_FEATURES) -> Residual:
        """Return a field over the recipes in use.

        Parameters
        ----------
        t : RecipeTable
            Recipes of the archive.
        most : int
            Features of each part, at most.

        Returns
        -------
        Residual
            Its features; none when no panel has colour.
        """
        coloured = t.colour_share.sum(axis=1) > 0
        if not coloured.any():
            return cls.none()
        shared, ground = _describe(t.take(coloured))
        return cls(*_nystrom(shared, most), *_nystrom(ground, most))

    @property
    def size_shared(self) -> int:
        """Free values of the part that all grounds share."""
        return 3 * int(self.shared_map.shape[1])

    @property
    def size_ground(self) -> int:
        """Free values of the part that knows the ground."""
        return 3 * int(self.ground_map.shape[1])

    def _features(self, t: RecipeTable) -> tuple[Array, Array]:
        shared, ground = _describe(t)
        # Nothing is left over on a bare ground, whose spectrum is free already.
        strength = (t.coats * np.exp(t.bend)).sum(axis=1)
        rise = (strength / (1.0 + strength))[:, None]
        return (
            rise * (_kernel(shared, self.shared_centres) @ self.shared_map),
            rise * (_kernel(ground, self.ground_centres) @ self.ground_map),
        )

    def field(self, z: Array, at: dict[str, slice], t: RecipeTable) -> Array:
        """Return the field's logarithm.

        Parameters
        ----------
        z : ndarray
            Free values of the law.
        at : dict
            Where the parts stand in `z`.
        t : RecipeTable
            n rows.

        Returns
        -------
        ndarray, shape (n, 31)
            F [-].
        """
        if not self.size_shared:
            return np.zeros((len(t), len(GRID)))
        shared, ground = self._features(t)
        weights = shared @ z[at["residual shared"]].reshape(-1, 3)
        weights += ground @ z[at["residual ground"]].reshape(-1, 3)
        result: Array = weights @ _shapes().T
        return result

    def fill(self, out: Array, at: dict[str, slice], t: RecipeTable, by_field: Array) -> None:
        """Write the field's columns of a Jacobian.

        Parameters
        ----------
        out : ndarray, shape (n, k, size)
            The Jacobian, written in place.
        at : dict
            Where the parts stand.
        t : RecipeTable
            n rows.
        by_field : ndarray, shape (n, k, 31)
            Derivative of the observations by F.
        """
        if not self.size_shared:
            return
        n, k, _ = by_field.shape
        shaped = by_field @ _shapes()
        for name, features in zip(
            ("residual shared", "residual ground"), self._features(t), strict=True
        ):
            full = features[:, None, :, None] * shaped[:, :, None, :]
            out[:, :, at[name]] = full.reshape(n, k, -1)
