"""What the next panel of a recipe will read: the one form in which a prediction is handed on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from matchlib.plural import counted
from matchlib.tails import dof_of_panel

__all__ = ["Prediction"]

Array = NDArray[np.float64]


@dataclass(frozen=True, repr=False)
class Prediction:
    """Readings to expect of n recipes under m viewings: a Student's t for each recipe.

    Parameters
    ----------
    labs : ndarray, shape (m, n, 3)
        CIELAB expected.
    known : ndarray, shape (n, 3 m, 3 m)
        Covariance by what is not known, which more panels would remove [ΔE*ab²].
    spray : ndarray, shape (n, 3 m, 3 m)
        Covariance by the spread from panel to panel [ΔE*ab²].
    reading : ndarray, shape (n, 3 m, 3 m)
        Covariance by the reading's own noise [ΔE*ab²].
    known_dof : ndarray, shape (n,)
        Degrees of freedom with which the scale of `known` was learnt.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> there = demo_model().predict_each([Recipe.of("silver", "cherry", "3@6:1", "yes")])
    >>> there
    <Prediction of 1 recipe under 1 viewing>
    >>> there.lab.shape, there.covariance.shape, bool(there.dof[0] > 4)
    ((1, 3), (1, 3, 3), True)
    """

    labs: Array
    known: Array
    spray: Array
    reading: Array
    known_dof: Array

    def __repr__(self) -> str:
        views, recipes, _ = self.labs.shape
        told = f"{counted(recipes, 'recipe')} under {counted(views, 'viewing')}"
        return f"<Prediction of {told}>"

    @property
    def lab(self) -> Array:
        """CIELAB under the first viewing, shape (n, 3)."""
        return np.asarray(self.labs[0], float)

    @property
    def own(self) -> Array:
        """Covariance that no further panel would remove, shape (n, 3 m, 3 m) [ΔE*ab²]."""
        return np.asarray(self.spray + self.reading, float)

    @cached_property
    def covariance(self) -> Array:
        """Of the reading of the next panel sprayed, shape (n, 3 m, 3 m) [ΔE*ab²]."""
        return np.asarray(self.known + self.spray + self.reading, float)

    @cached_property
    def dof(self) -> Array:
        """Degrees of freedom of that covariance, shape (n,), for `matchlib.tails.region`."""
        return dof_of_panel(self.known, self.covariance, known_dof=self.known_dof)

    @classmethod
    def joined(cls, parts: Sequence[Prediction]) -> Prediction:
        """Return the recipes of several, one after another."""
        labs = np.concatenate([part.labs for part in parts], axis=1)
        rest = [
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("known", "spray", "reading", "known_dof")
        ]
        return cls(labs, *rest)

    def take(self, rows: slice | NDArray[np.intp]) -> Prediction:
        """Return some of the recipes."""
        own = self.known[rows], self.spray[rows], self.reading[rows], self.known_dof[rows]
        return Prediction(self.labs[:, rows], *own)

    @property
    def first(self) -> Prediction:
        """The same under the first viewing alone."""
        known, spray, reading = (c[:, :3, :3] for c in (self.known, self.spray, self.reading))
        return Prediction(self.labs[:1], known, spray, reading, self.known_dof)
