"""What the film law leaves: Gaussian-process fields on physical features.

Hiding, bloom, flake that stands up, a ground that takes the colour coat otherwise than the next,
a dose that bends: none of them is in the law, all of them change slowly with the recipe. There are
three kinds of field (Rasmussen and Williams 2006):

* **film**: the film is ``exp(u)`` times what the law says. One part of u is what all colours have
  in common over all grounds, one each colour's own; both go by what the pot holds of that colour
  alone, so that what neat panels teach goes into blends. One is each ground's own under all
  colours, one of the pair. Most of what real layers leave is of this kind, and it costs one number
  a recipe.
* **bare**: the share of the ground that the film leaves bare under the instrument's eye, between
  droplets that have not run together or printed dots (`matchlib.film.patchy_absorbance`): what all
  colours have in common over all grounds, by colour, and by ground. It flattens every spectrum
  where it absorbs most, which no amount of film can. The field is the share's log odds beside those
  of next to none, so that it has no end to be cut off at, where a fit would drift.
* **spectrum**: the internal reflectance is multiplied by ``exp(F)``, where F is a sum of three
  smooth spectral shapes. One part is shared by all grounds, and so crosses to a ground never
  sprayed; the other also knows the ground.

What one ground does tells something of another that looks like it (`matchlib.regression.looks`);
what all have in common crosses to any.

Each part's size is a hyperparameter found by marginal likelihood, and goes to nothing where panels
do not support it; where all of them together are not worth their price the fit leaves them out. So
are their lengths, three numbers for all parts (`matchlib.regression.lengths`).

The processes are written with Nystrom's features, so that their cost is linear in panels. Those of
the film and what it leaves bare stand on every ground, sprayed or not, so that a ground never
sprayed keeps its doubt.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.lengths import BY_RECIPE, Lengths
from matchlib.regression.part import OWN, PARTS, SHAPES, Part
from matchlib.regression.table import RecipeTable

__all__ = ["Residual"]

Array = NDArray[np.float64]

MOST = {"film": 60, "bare": 40, "spectrum": 80}
"""Features of a part, at most."""

FEW = {"film": 20, "bare": 10, "spectrum": 20}
"""The same for a first look, whether there is anything for the fields to take."""

NEXT_TO_NONE = 0.02
"""Share of the ground that lies bare where the field is nothing [-]."""

BAREST = 0.96
"""Share that is left bare at most [-]."""

LARGEST = 1.0
"""A field is cut off there: beyond it is not a leftover [-]."""


@dataclass(frozen=True)
class Residual:
    """The fields' features.

    Parameters
    ----------
    parts : tuple of Part
        Empty for no field.
    """

    parts: tuple[Part, ...] = ()

    @classmethod
    def of(
        cls,
        t: RecipeTable,
        grounds: Array,
        *,
        few: bool = False,
        lengths: Lengths = BY_RECIPE,
    ) -> Residual:
        """Return fields over the recipes in use.

        Parameters
        ----------
        t : RecipeTable
            Recipes of the archive.
        grounds : ndarray, shape (g, k)
            Where the base grounds stand for the kernels, by `matchlib.regression.looks` [-].
        few : bool
            Whether few features will do, for a first look.
        lengths : Lengths
            Of the kernels.

        Returns
        -------
        Residual
            Their features; none when no panel has colour.
        """
        coloured = t.colour_share.sum(axis=1) > 0
        if not coloured.any():
            return cls()
        most, some = FEW if few else MOST, t.take(coloured)
        return cls(
            tuple(
                Part.of(n, some, most[n.split()[0]], lengths=lengths, grounds=grounds)
                for n in PARTS
            )
        )

    def _kind(self, kind: str) -> Iterator[Part]:
        return (part for part in self.parts if part.kind == kind)

    def film(self, z: Array, at: dict[str, slice], t: RecipeTable) -> Array:
        """Return the logarithm of each colour's film by that of the law.

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
        ndarray, shape (n, c)
            u [-].
        """
        u = np.zeros(t.colour_share.shape)
        for part in self._kind("film"):
            found = part.features(t) @ z[at[part.name]]
            u += found if part.name in OWN else found[:, None]
        return np.clip(u, -LARGEST, LARGEST)

    def bare(self, z: Array, at: dict[str, slice], t: RecipeTable) -> tuple[Array, Array]:
        """Return the share of the ground that the film leaves bare under the instrument's eye.

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
        share, by_field : ndarray, shape (n,)
            The share [-], and its derivative by the field.
        """
        found = [part.features(t) @ z[at[part.name]] for part in self._kind("bare")]
        if not found:
            return np.zeros(len(t)), np.zeros(len(t))
        odds = np.sum(found, axis=0)
        least = np.log(NEXT_TO_NONE / (1.0 - NEXT_TO_NONE))
        share = 1.0 / (1.0 + np.exp(-np.clip(odds + least, -30.0, 30.0)))
        return BAREST * share, BAREST * share * (1.0 - share)

    def field(self, z: Array, at: dict[str, slice], t: RecipeTable) -> Array:
        """Return the logarithm of the internal reflectance by that of the law.

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
        weights = np.zeros((len(t), SHAPES.shape[1]))
        for part in self._kind("spectrum"):
            weights += part.features(t) @ z[at[part.name]].reshape(-1, SHAPES.shape[1])
        return np.clip(weights @ SHAPES.T, -LARGEST, LARGEST)

    def fill(
        self,
        out: Array,
        at: dict[str, slice],
        t: RecipeTable,
        *,
        by_film: Array,
        by_bare: Array,
        by_field: Array,
    ) -> None:
        """Write the fields' columns of a Jacobian.

        Parameters
        ----------
        out : ndarray, shape (n, k, size)
            The Jacobian, written in place.
        at : dict
            Where the parts stand.
        t : RecipeTable
            n rows.
        by_film : ndarray, shape (n, k, c)
            Derivative of the observations by u.
        by_bare : ndarray, shape (n, k)
            Derivative of the observations by the bare field.
        by_field : ndarray, shape (n, k, 31)
            Derivative of the observations by F.
        """
        n, k, _ = by_field.shape
        for part in self._kind("film"):
            found, of = part.features(t), by_film
            if part.name not in OWN:
                found, of = found[:, None, :], by_film.sum(axis=2, keepdims=True)
            out[:, :, at[part.name]] = np.einsum("nkc,ncm->nkm", of, found)
        for part in self._kind("bare"):
            out[:, :, at[part.name]] = by_bare[:, :, None] * part.features(t)[:, None, :]
        shaped = by_field @ SHAPES
        for part in self._kind("spectrum"):
            full = part.features(t)[:, None, :, None] * shaped[:, :, None, :]
            out[:, :, at[part.name]] = full.reshape(n, k, -1)
