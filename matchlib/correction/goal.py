"""What panels are sprayed for: one Lab within a ΔE00, or what an order names, at several angles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import (
    ExpectedDifference,
    delta_e00,
    delta_e00_metric,
    expected_delta_e00,
)
from matchlib.domain import Recipe, Viewing
from matchlib.errors import TargetError

if TYPE_CHECKING:
    from matchlib.correction.scoring import Predictor
    from matchlib.correction.sprayed import Sprayed

__all__ = ["Goal", "Wanted"]

Array = NDArray[np.float64]


class WantedAim(Protocol):
    """A colour under one viewing."""

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB."""
        ...

    @property
    def viewing(self) -> Viewing | None:
        """Light, observer and geometry."""
        ...

    @property
    def weight(self) -> float:
        """How often a difference here counts [-]."""
        ...


class Passing(Protocol):
    """What the order allows."""

    @property
    def value(self) -> float:
        """Greatest difference that passes."""
        ...

    @property
    def boxed(self) -> bool:
        """Whether each axis has its own limit."""
        ...

    def with_unit(self, difference: float, digits: int = 2) -> str:
        """Return a difference with its unit."""
        ...

    def stretch(self, lab: ArrayLike) -> Array:
        """Return the axes in which the difference is a length."""
        ...


@runtime_checkable
class Wanted(Protocol):
    """A target of several viewings with a tolerance of any kind; `matchlib.suggest.Target` is one.

    Only its shape is named here, for `suggest` stands beside this package, not below it.
    """

    @property
    def aims(self) -> Sequence[WantedAim]:
        """One a viewing."""
        ...

    @property
    def tolerance(self) -> Passing:
        """What passes."""
        ...

    def difference(self, labs: Sequence[Array]) -> Array:
        """Return how far readings are, the worst over the aims."""
        ...

    def expected(self, labs: Array, covariances: Array, dof: ArrayLike = ...) -> ExpectedDifference:
        """Return what to expect of readings that are known only so far."""
        ...


@dataclass(frozen=True)
class Goal:
    """Colours to be met under so many viewings.

    Parameters
    ----------
    labs : ndarray, shape (m, 3)
        CIELAB wanted.
    viewings : tuple of Viewing or None
        m of them; None for the archive's own.
    value : float
        Greatest difference that passes.
    wanted : Wanted, optional
        What judges; ΔE00 where there is none.
    """

    labs: Array
    viewings: tuple[Viewing | None, ...]
    value: float
    wanted: Wanted | None = None

    @classmethod
    def of(
        cls, target: ArrayLike | Wanted | Goal, *, tolerance: float, viewing: Viewing | None = None
    ) -> Goal:
        """Return a goal.

        Parameters
        ----------
        target : array_like, shape (3,), or Wanted or Goal
            Lab, or what brings its own viewings and tolerance.
        tolerance : float
            ΔE00 that passes, for a Lab.
        viewing : Viewing, optional
            Of a Lab.

        Returns
        -------
        Goal
            The same for a goal.
        """
        if isinstance(target, Goal):
            return target
        if isinstance(target, Wanted):
            aims = target.aims
            labs = np.array([aim.lab for aim in aims])
            return cls(labs, tuple(a.viewing for a in aims), target.tolerance.value, target)
        return cls(np.asarray(target, float).reshape(1, 3), (viewing,), tolerance)

    @property
    def worst(self) -> str:
        """What to add to a difference where it is the greatest of several."""
        return " at its worst angle" if len(self.labs) > 1 else ""

    @property
    def within(self) -> str:
        """What is to be reached, in a word."""
        boxed = self.wanted is not None and self.wanted.tolerance.boxed
        return "the box" if boxed else f"{self.value:g}"

    def with_unit(self, difference: float, digits: int = 2) -> str:
        """Return a difference with its unit.

        Parameters
        ----------
        difference : float
            In the unit of the tolerance.
        digits : int
            After the point.

        Returns
        -------
        str
            Such as ``ΔE00 1.38``.
        """
        if self.wanted is None:
            return f"ΔE00 {difference:.{digits}f}"
        return self.wanted.tolerance.with_unit(difference, digits)

    def difference(self, labs: Sequence[Array]) -> Array:
        """Return how far readings are.

        Parameters
        ----------
        labs : sequence of ndarray, shape (..., 3)
            CIELAB, one a viewing.

        Returns
        -------
        ndarray, shape (...)
            The worst over the viewings, in the unit of the tolerance.
        """
        if self.wanted is None:
            return delta_e00(labs[0], self.labs[0])
        return self.wanted.difference(labs)

    def expected(
        self, labs: Array, covariances: Array, dof: ArrayLike = np.inf
    ) -> ExpectedDifference:
        """Return what to expect of readings that are known only so far.

        Parameters
        ----------
        labs : ndarray, shape (m, n, 3)
            Expected CIELAB.
        covariances : ndarray, shape (n, 3 m, 3 m)
            Of one panel's readings under all viewings.
        dof : array_like, shape () or (n,)
            Degrees of freedom of the covariances; infinite for normal readings.

        Returns
        -------
        ExpectedDifference
            n of each.
        """
        if self.wanted is None:
            return expected_delta_e00(
                self.labs[0], labs[0], covariances, tolerance=self.value, dof=dof
            )
        return self.wanted.expected(labs, covariances, dof)

    def local(self, number: int) -> tuple[Array, bool]:
        """Return the axes in which a small difference is a length.

        Parameters
        ----------
        number : int
            Of the viewing.

        Returns
        -------
        axes : ndarray, shape (3, 3)
            S, so that the weighted difference is near the length of S d.
        boxed : bool
            Whether that length is the greatest of the three, and not the root of their squares.
        """
        if self.wanted is None:
            return np.asarray(np.linalg.cholesky(delta_e00_metric(self.labs[number])).T), False
        passing, aim = self.wanted.tolerance, self.wanted.aims[number]
        return aim.weight * passing.stretch(self.labs[number]), passing.boxed

    def nearness(self, predictor: Predictor, recipes: Sequence[Recipe]) -> Array:
        """Return how far recipes are expected to be.

        Parameters
        ----------
        predictor : Predictor
            A fit or a belief.
        recipes : sequence of Recipe
            n of them.

        Returns
        -------
        ndarray, shape (n,)
            In the unit of the tolerance.
        """
        return self.difference([predictor.predict_recipes(recipes, v) for v in self.viewings])

    def together(
        self, predictor: Predictor, recipes: Sequence[Recipe], source: str
    ) -> tuple[Array, Array, Array]:
        """Predict recipes under all viewings together.

        Parameters
        ----------
        predictor : Predictor
            A fit or a belief.
        recipes : sequence of Recipe
            n of them.
        source : str
            What will read them.

        Returns
        -------
        labs : ndarray, shape (m, n, 3)
            CIELAB.
        covariance : ndarray, shape (n, 3 m, 3 m)
            Of the next panel's readings.
        dof : ndarray, shape (n,)
            Degrees of freedom of the covariance.
        """
        labs, known, *parts = predictor.predict_together(recipes, self.viewings, source=source)
        total = known + np.sum(parts, axis=0)
        return labs, total, predictor.dof(recipes, known, total)

    def places(self, panel: Sprayed) -> list[int]:
        """Return which reading of a panel answers each viewing.

        Parameters
        ----------
        panel : Sprayed
            Read under at least these viewings.

        Returns
        -------
        list of int
            Places in the panel's `views`.

        Raises
        ------
        TargetError
            If the panel was not read as the target was.
        """
        if self.wanted is None:
            return [0]
        have = [view.viewing for view in panel.views]
        lack = [str(v) for v in self.viewings if v is not None and v not in have]
        if lack:
            raise TargetError(
                "The target and the panel were not viewed alike.",
                expected=", ".join(str(v) for v in self.viewings),
                got=", ".join(map(str, have)),
                remedy="read the panel at every angle, light and observer of the target.",
            )
        return [0 if v is None else have.index(v) for v in self.viewings]
