"""What is to be matched: a colour under one or more viewings, within a tolerance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import (
    Tolerance,
    expected_delta_e00,
    interpolate_reflectance,
    lab_to_xyz,
    weights,
    white_point,
)
from matchlib.colorimetry.expected import ExpectedDifference
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Reading, Viewing
from matchlib.errors import TargetError
from matchlib.linear import covariance_of_reading
from matchlib.regression import Prediction
from matchlib.tails import block_diagonal, drawn_out, normal_cloud, symmetric_root

__all__ = ["Aim", "Target"]

Array = NDArray[np.float64]

POINTS = 1024
"""Points of the cloud by which a chance is counted."""
PHOTO_SD = 5.0
"""How far a photograph is known that does not say: as most single ones are [ΔE*ab an axis]."""


@dataclass(frozen=True)
class Aim:
    """A colour to be met under one viewing.

    Parameters
    ----------
    lab : tuple of 3 float
        CIELAB under the viewing.
    viewing : Viewing, optional
        Light, observer and geometry; None for D65/10° in the archive's own geometry.
    weight : float
        The difference here counts so many times, against the one tolerance.
    covariance : ndarray, shape (3, 3), optional
        How far the target itself is known [ΔE*ab²]; None for a colour that is exactly meant.

    Examples
    --------
    >>> from matchlib import Viewing
    >>> Aim((27.1, 45.9, 28.5), Viewing(geometry="45as15"), weight=2.0).weight
    2.0
    """

    lab: tuple[float, float, float]
    viewing: Viewing | None = None
    weight: float = 1.0
    covariance: Array | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        try:
            lab = tuple(float(v) for v in self.lab)
        except (TypeError, ValueError):
            lab = ()
        if len(lab) != 3 or not all(math.isfinite(v) for v in lab):
            raise TargetError(
                "This target is no colour.",
                expected="three numbers, L*, a* and b*",
                got=repr(self.lab),
                remedy="read the sample again, or type its L, a and b.",
            )
        object.__setattr__(self, "lab", lab)
        if not (math.isfinite(self.weight) and self.weight > 0):
            raise TargetError(
                "This weight of a viewing is not possible.",
                expected="more than 0",
                got=f"{self.weight}",
                remedy="leave the viewing out if it does not count.",
            )
        view = self.viewing or Viewing()
        aspecular = view.aspecular is not None
        excess = 0.0 if aspecular else surface_excess(lab, view)
        if not 0.0 <= lab[0] <= (200.0 if aspecular else 100.0) or excess > 0.02:
            raise TargetError(
                "No surface can have this colour.",
                expected="a colour inside the limits of reflectances from 0 to 1 under "
                f"{view.illuminant}/{view.observer}°",
                got="L* {:g}, a* {:g}, b* {:g}".format(*lab),
                remedy="check the decimal points, the order of the numbers and the light; a "
                "fluorescent sample cannot be matched with paint that is not.",
            )


def surface_excess(lab: ArrayLike, viewing: Viewing) -> float:
    """Return how far a colour lies outside what surfaces can reflect."""
    # The solid of all reflectances from 0 to 1 (Schrödinger 1920; MacAdam 1935) is, on a grid of
    # wavelengths, the sum of as many segments as it has wavelengths, whose faces are perpendicular
    # to every product of two of them. The distance is a share of the white's Y, negative inside.
    w = weights(viewing.illuminant, viewing.observer)
    white = white_point(viewing.illuminant, viewing.observer)
    xyz = lab_to_xyz(lab, white)
    i, j = np.triu_indices(len(w), 1)
    normals = np.cross(w[i], w[j])
    size = np.linalg.norm(normals, axis=1)
    normals = normals[size > 1e-12 * size.max()] / size[size > 1e-12 * size.max()][:, None]
    reach = np.maximum(normals @ w.T, 0.0).sum(axis=1)
    other = np.maximum(-normals @ w.T, 0.0).sum(axis=1)
    across = normals @ xyz
    return float(max(np.max(across - reach), np.max(-across - other)) / white[1])


@dataclass(frozen=True)
class Target:
    """What is to be matched.

    Parameters
    ----------
    aims : tuple of Aim
        One a viewing; the first is the one reported.
    tolerance : Tolerance
        What passes: at every viewing, weight times difference must be within it.
    spectrum : ndarray, shape (31,), optional
        Reflectance of the sample, 400-700 nm [-], where it was read as a spectrum in the geometry
        of the first aim.

    Examples
    --------
    >>> Target.lab(27.1, 45.9, 28.5, tolerance=0.8).tolerance.words
    'ΔE00 at most 0.8'
    """

    aims: tuple[Aim, ...]
    tolerance: Tolerance = field(default_factory=Tolerance)
    spectrum: Array | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not self.aims:
            raise TargetError(
                "There is nothing to match.",
                expected="at least one colour",
                got="none",
                remedy="type a Lab or read a sample.",
            )

    @classmethod
    def lab(
        cls,
        L: float,
        a: float,
        b: float,
        *,
        viewing: Viewing | None = None,
        tolerance: Tolerance | float = 1.0,
    ) -> Target:
        """Return a target typed as Lab.

        Parameters
        ----------
        L, a, b : float
            CIELAB.
        viewing : Viewing, optional
            D65/10° in the archive's own geometry if None.
        tolerance : Tolerance or float
            A number is ΔE00.

        Returns
        -------
        Target
            Checked.

        Raises
        ------
        TargetError
            If it is no colour a surface can have.

        Examples
        --------
        >>> print(Target.lab(27.1, 45.9, 28.5))
        L 27.1, a 45.9, b 28.5; ΔE00 at most 1
        """
        return cls((Aim((L, a, b), viewing),), _tolerance(tolerance))

    @classmethod
    def of_readings(
        cls,
        readings: Reading | Sequence[Reading],
        *,
        weights: Sequence[float] | None = None,
        tolerance: Tolerance | float = 1.0,
    ) -> Target:
        """Return a target that was read, at one angle or several.

        Parameters
        ----------
        readings : Reading or sequence of Reading
            Lab or spectra, one a viewing; a photograph that states no sd has `PHOTO_SD`.
        weights : sequence of float, optional
            How much a difference counts at each.
        tolerance : Tolerance or float
            A number is ΔE00.

        Returns
        -------
        Target
            A spectrum is judged as Lab under its viewing's light.

        Raises
        ------
        TargetError
            If one of them is no colour a surface can have, or weights and readings differ.
        """
        items = [readings] if isinstance(readings, Reading) else list(readings)
        shares = [1.0] * len(items) if weights is None else list(weights)
        if len(shares) != len(items):
            raise TargetError(
                "There are not as many weights as readings.",
                expected=f"{len(items)}",
                got=f"{len(shares)}",
                remedy="give each angle its weight.",
            )
        aims, spectrum = [], None
        for reading, weight in zip(items, shares, strict=True):
            # What flake throws at one angle is not what the sample is at another.
            same = reading.viewing.geometry == items[0].viewing.geometry
            if reading.spectral and same and spectrum is None:
                spectrum = interpolate_reflectance(reading.wavelengths, reading.reflectance)
            known = covariance_of_reading(reading)
            if known is None and reading.source == "photo":
                known = PHOTO_SD**2 * np.eye(3)
            aims.append(Aim(lab_of_reading(reading), reading.viewing, weight, known))
        return cls(tuple(aims), _tolerance(tolerance), spectrum)

    def __str__(self) -> str:
        aims = []
        for aim in self.aims:
            at = f" at {aim.viewing}" if aim.viewing and aim.viewing != Viewing() else ""
            aims.append("L {:.1f}, a {:.1f}, b {:.1f}".format(*aim.lab) + at)
        return f"{'; '.join(aims)}; {self.tolerance.words}"

    @cached_property
    def labs(self) -> Array:
        """CIELAB wanted, shape (aims, 3)."""
        return np.array([aim.lab for aim in self.aims])

    @cached_property
    def axes(self) -> Array:
        """Axes of each aim in which a small difference is a length, shape (aims, 3, 3).

        They are S, so that the weighted difference is near the root of the squares of S d, or, of
        a box, the greatest of the three.
        """
        each = [aim.weight * self.tolerance.stretch(np.array(aim.lab)) for aim in self.aims]
        return np.array(each)

    @property
    def viewings(self) -> tuple[Viewing | None, ...]:
        """One an aim; None for the archive's own."""
        return tuple(aim.viewing for aim in self.aims)

    @property
    def worst(self) -> str:
        """What to add to a difference where it is the greatest of several."""
        return " at its worst angle" if len(self.aims) > 1 else ""

    @property
    def covariance(self) -> Array:
        """How far the target is known, over all its aims, shape (3 aims, 3 aims) [ΔE*ab²]."""
        wide = 3 * len(self.aims)
        if all(aim.covariance is None for aim in self.aims):
            return np.zeros((wide, wide))
        each = [np.zeros((3, 3)) if a.covariance is None else a.covariance for a in self.aims]
        return block_diagonal(each)

    @property
    def own_uncertainty(self) -> ExpectedDifference | None:
        """What its own doubt alone takes: of a panel that reads exactly as it does.

        The mean difference from what is truly wanted, and the chance that it is within the
        tolerance; None for a target that is exactly meant.
        """
        if not self.covariance.any():
            return None
        wide = 3 * len(self.aims)
        return self.expected(self.labs[:, None, :], np.zeros((1, wide, wide)))

    def difference(self, labs: Sequence[Array]) -> Array:
        """Return how far recipes are from the target, in the unit of the tolerance.

        Parameters
        ----------
        labs : sequence of ndarray, shape (..., 3)
            CIELAB under each aim's viewing.

        Returns
        -------
        ndarray, shape (...)
            The worst over the aims of weight times difference.
        """
        return np.asarray(self.differences(labs).max(axis=0))

    def differences(self, labs: Sequence[Array] | Array) -> Array:
        """Return the same at each aim, shape (aims, ...)."""
        pairs = zip(self.aims, labs, strict=True)
        return np.array([a.weight * self.tolerance.difference(a.lab, lab) for a, lab in pairs])

    def greatest(self, differences: Sequence[Array]) -> Array:
        """Return the worst over the aims of weight times difference, of one difference an aim."""
        each = [aim.weight * d for aim, d in zip(self.aims, differences, strict=True)]
        return np.asarray(np.max(each, axis=0))

    def views(self, usual: Viewing) -> list[Viewing]:
        """Return the viewing of each aim; the usual one where it has none of its own."""
        return [aim.viewing or usual for aim in self.aims]

    def hope(self, there: Prediction) -> ExpectedDifference:
        """Return what to expect of the next panels of recipes, as they will be read.

        Parameters
        ----------
        there : Prediction
            n recipes under each aim's viewing. What is not known of the law, the spread from panel
            to panel and the reading's noise all count, and all angles are taken together: one law,
            film and ground are seen at every one of them.

        Returns
        -------
        ExpectedDifference
            As of `expected`.
        """
        return self.expected(there.labs, there.covariance, there.dof)

    def expected(
        self, labs: Array, covariances: Array, dof: ArrayLike = np.inf
    ) -> ExpectedDifference:
        """Return what to expect of readings that are known only so far.

        Parameters
        ----------
        labs : ndarray, shape (aims, n, 3)
            Expected CIELAB under each aim's viewing.
        covariances : ndarray, shape (n, 3 aims, 3 aims)
            Of one panel's readings under all of them. How far the target itself is known is added.
        dof : array_like, shape () or (n,)
            Degrees of freedom of the covariances; infinite for normal readings.

        Returns
        -------
        ExpectedDifference
            Mean and standard deviation of the difference, in the unit of the tolerance, and the
            chance that it is within at every aim, each of shape (n,); the same numbers every time,
            for the points of the cloud are fixed.
        """
        covariances = covariances + self.covariance
        if len(self.aims) == 1 and self.tolerance.kind == "ΔE00":
            (aim,), most = self.aims, self.tolerance.value
            found = expected_delta_e00(
                np.array(aim.lab),
                labs[0],
                covariances,
                tolerance=most / aim.weight,
                dof=dof,
            )
            return ExpectedDifference(
                aim.weight * found.mean, aim.weight * found.sd, found.probability
            )
        cloud = normal_cloud(POINTS, 3 * len(self.aims))
        away = cloud @ symmetric_root(covariances)
        if not np.all(np.asarray(dof) == np.inf):
            away *= drawn_out(cloud, dof)[:, :, None]
        likely = [labs[i][:, None, :] + away[..., 3 * i : 3 * i + 3] for i in range(len(self.aims))]
        gaps = self.difference(likely)
        within = gaps <= self.tolerance.value
        return ExpectedDifference(gaps.mean(axis=1), gaps.std(axis=1), within.mean(axis=1))


def _tolerance(value: Tolerance | float) -> Tolerance:
    return value if isinstance(value, Tolerance) else Tolerance(value=float(value))
