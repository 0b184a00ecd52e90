"""What evenness must know of an order: at which angles it is judged, and by which difference.

`matchlib.suggest.Target` is one. It is told here by its shape alone, for a search for a target may
ask for evenness, and so stands above it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import delta_e00
from matchlib.domain import Viewing
from matchlib.regression import FilmPredictor

__all__ = ["Judge", "Judged", "Order", "usual_order", "views_of", "weigh"]

Array = NDArray[np.float64]


class Judge(Protocol):
    """A difference that an order names, as `matchlib.suggest.Tolerance` has it."""

    @property
    def boxed(self) -> bool:
        """Whether each axis has its own limit."""

    @property
    def unit(self) -> str:
        """What its numbers are."""

    def difference(self, standard: ArrayLike, trial: ArrayLike) -> Array:
        """Return how far trials are from a standard, each of shape (..., 3)."""

    def with_unit(self, difference: float, digits: int = 2) -> str:
        """Return a difference with its unit."""


class Judged(Protocol):
    """An angle at which an order is judged, as `matchlib.suggest.Aim` has it."""

    @property
    def viewing(self) -> Viewing | None:
        """Light, observer and geometry; None for D65/10° in the archive's own geometry."""

    @property
    def weight(self) -> float:
        """The difference here counts so many times."""


class Order(Protocol):
    """What an order is judged by, as `matchlib.suggest.Target` has it."""

    @property
    def aims(self) -> Sequence[Judged]:
        """One an angle."""

    @property
    def tolerance(self) -> Judge:
        """The difference."""


@dataclass(frozen=True, slots=True)
class _DeltaE00:
    boxed: bool = False
    unit: str = "ΔE00"

    def difference(self, standard: ArrayLike, trial: ArrayLike) -> Array:
        return delta_e00(standard, trial)

    def with_unit(self, difference: float, digits: int = 2) -> str:
        return f"{self.unit} {difference:.{digits}f}"


@dataclass(frozen=True, slots=True)
class _Angle:
    viewing: Viewing | None
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class _Usual:
    aims: tuple[_Angle, ...]
    tolerance: _DeltaE00 = _DeltaE00()


def usual_order(viewing: Viewing | None = None) -> Order:
    """Return what is judged by where nobody has ordered anything: ΔE00 under one viewing.

    Parameters
    ----------
    viewing : Viewing, optional
        D65/10° in the archive's own geometry if None.

    Returns
    -------
    Order
        One angle of weight 1.
    """
    return _Usual((_Angle(viewing),))


def views_of(model: FilmPredictor, order: Order) -> list[Viewing]:
    """Return how an order is viewed.

    Parameters
    ----------
    model : FilmPredictor
        Fitted; gives the archive's own geometry.
    order : Order
        What it is judged by.

    Returns
    -------
    list of Viewing
        One an angle.
    """
    usual = Viewing(geometry=model.words_.geometries[0])
    return [aim.viewing or usual for aim in order.aims]


def weigh(order: Order, differences: Sequence[Array]) -> Array:
    """Return the order's own figure, as a target's difference is made of its angles'.

    Shapes: (...).
    """
    worst: Array = np.max(
        [aim.weight * d for aim, d in zip(order.aims, differences, strict=True)], axis=0
    )
    return worst
