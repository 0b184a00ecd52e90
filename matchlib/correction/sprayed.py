"""A test panel just sprayed, as it was read: at one angle or several."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import BEFORE_CLEAR, Reading, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.linear import covariance_of_reading

__all__ = ["Sprayed"]


@dataclass(frozen=True)
class Sprayed:
    """A test panel just sprayed.

    Parameters
    ----------
    recipe : Recipe
        What was sprayed, with the clear coat that it has or is to have.
    lab : tuple of 3 float
        As read.
    viewing : Viewing
        How.
    source : str
        ``spectrophotometer`` or ``photo``.
    covariance : ndarray, shape (3, 3), optional
        The reading's own uncertainty, if it states one [ΔE*ab²].
    also : tuple of Sprayed
        The same panel read under further viewings, such as other angles.
    clear_to_come : bool
        Whether it was read before the clear coat of its recipe was on it.

    Examples
    --------
    >>> from matchlib import Reading, Recipe
    >>> recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    >>> Sprayed.of((recipe, Reading(lab=(36.6, 36.7, 8.7), source="photo"))).source
    'photo'
    """

    recipe: Recipe
    lab: tuple[float, float, float]
    viewing: Viewing = field(default_factory=Viewing)
    source: str = "spectrophotometer"
    covariance: NDArray[np.float64] | None = field(default=None, compare=False)
    also: tuple[Sprayed, ...] = ()
    clear_to_come: bool = False

    @property
    def read_as(self) -> Recipe:
        """What was on it when it was read."""
        return replace(self.recipe, clear=None) if self.clear_to_come else self.recipe

    @property
    def views(self) -> tuple[Sprayed, ...]:
        """Every reading of the panel, this one first."""
        return (self, *self.also)

    @classmethod
    def of(cls, row: Sprayed | tuple[Any, ...]) -> Sprayed:
        """Read ``(recipe, reading)``, ``(recipe, readings)`` or ``(recipe, Lab[, viewing])``.

        Parameters
        ----------
        row : Sprayed or tuple
            As given by the caller.

        Returns
        -------
        Sprayed
            Checked.

        Raises
        ------
        DomainError
            If it is none of these.
        """
        if isinstance(row, Sprayed):
            return row
        if isinstance(row, tuple) and len(row) in (2, 3) and isinstance(row[0], Recipe):
            recipe, read = row[:2]
            if isinstance(read, Reading):
                return cls._read(recipe, read)
            if isinstance(read, tuple) and read and all(isinstance(r, Reading) for r in read):
                first, *rest = (cls._read(recipe, r) for r in read)
                return replace(first, also=tuple(rest))
            lab = np.asarray(read, float)
            viewing = row[2] if len(row) == 3 else Viewing()
            if lab.shape == (3,) and np.isfinite(lab).all() and isinstance(viewing, Viewing):
                return cls(recipe, (float(lab[0]), float(lab[1]), float(lab[2])), viewing)
        raise DomainError(
            "This is not a panel that was sprayed and read.",
            expected="a recipe and its reading, or a recipe, L a b, and how it was viewed",
            got=repr(row)[:120],
            remedy="read the panel and give both.",
        )

    @classmethod
    def _read(cls, recipe: Recipe, read: Reading) -> Sprayed:
        return cls(
            recipe,
            lab_of_reading(read),
            read.viewing,
            read.source,
            covariance_of_reading(read),
            clear_to_come=read.state == BEFORE_CLEAR and recipe.clear is not None,
        )
