"""One of the processes that the residual fields are sums of, as features.

A process is a kernel over what two recipes have in common: the colour, the ground, how strong the
film is, how it was mixed, whether it is under a clear coat. It is written with Nystrom's features
(Rasmussen and Williams 2006, section 8.1), so that its cost is linear in panels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.regression.lengths import Lengths
from matchlib.regression.table import RecipeTable

__all__ = ["OWN", "PARTS", "SHAPES", "Part"]

Array = NDArray[np.float64]

PARTS = (
    "film shared",
    "film colour",
    "film ground",
    "film both",
    "bare shared",
    "bare colour",
    "bare ground",
    "spectrum shared",
    "spectrum ground",
)
"""Names of the parts; the first word is the kind of field."""

OWN = ("film shared", "film colour")
"""The parts that look at each colour of a pot by itself."""

APART = 2.0
"""How far two colours stand apart, in the lengths of a field [-]: what one colour leaves says
nothing of another's."""

LEAST_SHARE = 1e-3
"""Of a pot, that a colour is taken to have where it has none [-]: its dose is nothing anyway."""

_X = np.linspace(-1.0, 1.0, len(GRID))

SHAPES = np.stack([np.ones_like(_X), _X, 1.5 * _X**2 - 0.5], axis=1)
"""The smooth shapes that a spectral field is a sum of, shape (31, 3) [-]."""


def _strength(t: RecipeTable) -> Array:
    return np.asarray((t.coats * np.exp(t.bend)).sum(axis=1), np.float64)


def _describe(t: RecipeTable, name: str, lengths: Lengths, grounds: Array) -> Array:
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
    colour, ground = APART * t.colour_share, t.ground_share @ grounds
    surface = np.asarray(0.5 * t.cleared[:, None], np.float64)
    bent, fine = 1.5 * build, 2.0 * build
    columns: dict[str, list[Array]] = {
        "film shared": [bent],
        "film colour": [colour, bent],
        "film ground": [ground, bent],
        "film both": [colour, ground, bent],
        "bare shared": [bent],
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
    grounds : ndarray, shape (g, k)
        Where the base grounds stand for the kernel, by `matchlib.regression.looks` [-].
    """

    name: str
    centres: Array
    whitening: Array
    lengths: Lengths
    grounds: Array

    @classmethod
    def of(cls, name: str, t: RecipeTable, most: int, *, lengths: Lengths, grounds: Array) -> Part:
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
        grounds : ndarray, shape (g, k)
            Where the base grounds stand for it [-].

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
        points = _describe(table, name, lengths, grounds)
        return cls(name, *_nystrom(points, most), lengths, grounds)

    @property
    def kind(self) -> str:
        """What it bears on: ``film``, ``bare`` or ``spectrum``."""
        return self.name.split(maxsplit=1)[0]

    @property
    def size(self) -> int:
        """Free values."""
        shapes = SHAPES.shape[1] if self.kind == "spectrum" else 1
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
        points = _describe(rows, self.name, self.lengths, self.grounds)
        found: Array = _kernel(points, self.centres) @ self.whitening
        if self.name in OWN:
            return found.reshape(*t.colour_share.shape, -1)
        if self.kind != "spectrum":
            return found
        # Nothing is left over on a bare ground, whose spectrum is free already.
        strength = _strength(t)
        return found * (strength / (1.0 + strength))[:, None]
