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
  droplets that have not run together or printed dots (`matchlib.film.patchy_absorbance`): by
  colour, and by ground. It flattens every spectrum where it absorbs most, which no amount of film
  can. The field is the share's log odds beside those of next to none, so that it has no end to be
  cut off at, where a fit would drift.
* **spectrum**: the internal reflectance is multiplied by ``exp(F)``, where F is a sum of three
  smooth spectral shapes. One part is shared by all grounds, and so crosses to a ground never
  sprayed; the other also knows the ground.

Each part's size is a hyperparameter found by marginal likelihood, and goes to nothing where panels
do not support it; where all of them together are not worth their price the fit leaves them out. So
are their lengths, three numbers for all parts (`matchlib.regression.lengths`).

The processes are written with Nystrom's features, so that their cost is linear in panels. Those of
the film and what it leaves bare stand on every ground, sprayed or not, so that a ground never
sprayed keeps its doubt.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.regression.lengths import BY_RECIPE, Lengths
from matchlib.regression.table import RecipeTable

__all__ = ["PARTS", "Part", "Residual"]

Array = NDArray[np.float64]

PARTS = (
    "film shared",
    "film colour",
    "film ground",
    "film both",
    "bare colour",
    "bare ground",
    "spectrum shared",
    "spectrum ground",
)
"""Names of the parts; the first word is the kind of field."""

MOST = {"film": 60, "bare": 40, "spectrum": 80}
"""Features of a part, at most."""

FEW = {"film": 20, "bare": 10, "spectrum": 20}
"""The same for a first look, whether there is anything for the fields to take."""

OWN = ("film shared", "film colour")
"""The parts that look at each colour of a pot by itself."""

NEXT_TO_NONE = 0.02
"""Share of the ground that lies bare where the field is nothing [-]."""

BAREST = 0.96
"""Share that is left bare at most [-]."""

APART = {"ground": 0.96, "colour": 2.0}
"""How far two grounds or two colours stand apart, in the lengths of a field [-]: what one colour
leaves says nothing of another's, what one ground does still something of the next one's."""

LEAST_SHARE = 1e-3
"""Of a pot, that a colour is taken to have where it has none [-]: its dose is nothing anyway."""

LARGEST = 1.0
"""A field is cut off there: beyond it is not a leftover [-]."""


def _shapes() -> Array:
    x = np.linspace(-1.0, 1.0, len(GRID))
    return np.stack([np.ones_like(x), x, 1.5 * x**2 - 0.5], axis=1)


def _strength(t: RecipeTable) -> Array:
    return np.asarray((t.coats * np.exp(t.bend)).sum(axis=1), np.float64)


def _describe(t: RecipeTable, name: str, lengths: Lengths) -> Array:
    coats = t.coats.sum(axis=1)
    mean_bend = (t.coats * t.bend).sum(axis=1) / np.maximum(coats, 1)
    build: Array = np.stack(
        [
            0.9 * lengths.place(_strength(t)),
            0.5 / lengths.ratio * mean_bend,
            0.4 * np.log1p(coats),
        ],
        axis=1,
    ).astype(np.float64)
    colour, ground = APART["colour"] * t.colour_share, APART["ground"] * t.ground_share
    surface = np.asarray(0.5 * t.cleared[:, None], np.float64)
    bent, fine = 1.5 * build, 2.0 * build
    columns: dict[str, list[Array]] = {
        "film shared": [bent],
        "film colour": [colour, bent],
        "film ground": [ground, bent],
        "film both": [colour, ground, bent],
        "bare colour": [colour, bent],
        "bare ground": [ground, bent],
        "spectrum shared": [colour, fine, surface],
        "spectrum ground": [colour, fine, surface, ground],
    }
    return np.asarray(np.column_stack(columns[name]), np.float64)


def _one_by_one(t: RecipeTable) -> RecipeTable:
    """Each recipe as so many of one colour each, of the strength that it has of it."""
    count = t.colour_share.shape[1]
    rows = np.repeat(np.arange(len(t)), count)
    weaker = np.log(np.maximum(t.colour_share, LEAST_SHARE)).reshape(-1, 1)
    own = np.tile(np.eye(count), (len(t), 1))
    part = t.take(rows)
    return replace(part, colour_share=own, bend=part.bend + weaker)


def _on_every_ground(t: RecipeTable) -> RecipeTable:
    count = t.ground_share.shape[1]
    rows = np.tile(np.arange(len(t)), count)
    return replace(t.take(rows), ground_share=np.repeat(np.eye(count), len(t), axis=0))


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
class Part:
    """One process, as features.

    Parameters
    ----------
    name : str
        Of `PARTS`.
    centres : ndarray, shape (k, d)
        Nystrom's centres.
    whitening : ndarray, shape (k, m)
        From the kernel at the centres to features whose weights have unit variance.
    lengths : Lengths
        Of the kernel.
    """

    name: str
    centres: Array
    whitening: Array
    lengths: Lengths

    @classmethod
    def of(cls, name: str, t: RecipeTable, most: int, lengths: Lengths) -> Part:
        """Return a part over recipes in use.

        Parameters
        ----------
        name : str
            Of `PARTS`.
        t : RecipeTable
            Recipes with colour.
        most : int
            Features at most.
        lengths : Lengths
            Of the kernel.

        Returns
        -------
        Part
            Its features.
        """
        if name in OWN:
            alone = _one_by_one(t)
            table = alone.take(np.flatnonzero(t.colour_share.ravel() > 0))
        else:
            table = t if name.startswith("spectrum") else _on_every_ground(t)
        return cls(name, *_nystrom(_describe(table, name, lengths), most), lengths)

    @property
    def kind(self) -> str:
        """What it bears on: ``film``, ``bare`` or ``spectrum``."""
        return self.name.split(maxsplit=1)[0]

    @property
    def size(self) -> int:
        """Free values."""
        shapes = _shapes().shape[1] if self.kind == "spectrum" else 1
        return int(self.whitening.shape[1]) * shapes

    def features(self, t: RecipeTable) -> Array:
        """Return the features of recipes.

        Parameters
        ----------
        t : RecipeTable
            n rows.

        Returns
        -------
        ndarray, shape (n, m), or (n, c, m) for each colour of the pot
            Whitened.
        """
        rows = _one_by_one(t) if self.name in OWN else t
        found: Array = (
            _kernel(_describe(rows, self.name, self.lengths), self.centres) @ self.whitening
        )
        if self.name in OWN:
            return found.reshape(*t.colour_share.shape, -1)
        if self.kind != "spectrum":
            return found
        # Nothing is left over on a bare ground, whose spectrum is free already.
        strength = _strength(t)
        return found * (strength / (1.0 + strength))[:, None]


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
    def of(cls, t: RecipeTable, *, few: bool = False, lengths: Lengths = BY_RECIPE) -> Residual:
        """Return fields over the recipes in use.

        Parameters
        ----------
        t : RecipeTable
            Recipes of the archive.
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
        return cls(tuple(Part.of(n, some, most[n.split()[0]], lengths) for n in PARTS))

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
        shapes = _shapes()
        weights = np.zeros((len(t), shapes.shape[1]))
        for part in self._kind("spectrum"):
            weights += part.features(t) @ z[at[part.name]].reshape(-1, shapes.shape[1])
        return np.clip(weights @ shapes.T, -LARGEST, LARGEST)

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
        shaped = by_field @ _shapes()
        for part in self._kind("spectrum"):
            full = part.features(t)[:, None, :, None] * shaped[:, :, None, :]
            out[:, :, at[part.name]] = full.reshape(n, k, -1)
