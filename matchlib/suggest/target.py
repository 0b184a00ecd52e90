"""What is to be matched: a colour under one or more viewings, and what counts as a match."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from matchlib.colorimetry import (
    ExpectedDifference,
    delta_e00,
    delta_e00_metric,
    delta_e_cmc,
    delta_lch,
    expected_delta_e00,
    interpolate_reflectance,
    lab_to_xyz,
    reflectance_to_lab,
    weights,
    white_point,
)
from matchlib.domain import Reading, Viewing
from matchlib.errors import TargetError

__all__ = ["Aim", "Target", "Tolerance", "surface_excess"]

Array = NDArray[np.float64]

POINTS = 1024
"""Points of the cloud by which a chance is counted."""


@dataclass(frozen=True)
class Tolerance:
    """What the customer's order allows.

    Parameters
    ----------
    kind : str
        ``ΔE00``; ``CMC`` with its l and c; ``Lab`` for a box of ΔL*, Δa*, Δb*; ``LCh`` for a box
        of ΔL*, ΔC*, ΔH*.
    value : float
        Greatest difference that passes; for a box 1, its sides being in `box`.
    lightness, chroma : float
        l and c of CMC(l:c).
    box : tuple of 3 float
        Half widths of the box.
    """

    kind: str = "ΔE00"
    value: float = 1.0
    lightness: float = 2.0
    chroma: float = 1.0
    box: tuple[float, float, float] = (1.0, 1.0, 1.0)

    def __post_init__(self) -> None:
        numbers = (self.value, self.lightness, self.chroma, *self.box)
        if self.kind in ("dE00", "CIEDE2000", "DE00"):
            object.__setattr__(self, "kind", "ΔE00")
        known = self.kind in ("ΔE00", "CMC", "Lab", "LCh")
        if not known or len(self.box) != 3 or not all(math.isfinite(v) and v > 0 for v in numbers):
            raise TargetError(
                "This is not a tolerance.",
                expected="ΔE00, CMC, or a box in Lab or LCh, with numbers above 0",
                got=f"{self.kind} {', '.join(f'{v:g}' for v in numbers)}",
                remedy="write what the order names, such as ΔE00 at most 1.",
            )
        if self.kind in ("Lab", "LCh"):
            object.__setattr__(self, "value", 1.0)

    @property
    def words(self) -> str:
        """The tolerance in words."""
        if self.kind == "CMC":
            return f"CMC({self.lightness:g}:{self.chroma:g}) at most {self.value:g}"
        if self.kind == "ΔE00":
            return f"ΔE00 at most {self.value:g}"
        names = ("ΔL*", "Δa*", "Δb*") if self.kind == "Lab" else ("ΔL*", "ΔC*", "ΔH*")
        return ", ".join(f"{n} within ±{b:g}" for n, b in zip(names, self.box, strict=True))

    @property
    def boxed(self) -> bool:
        """Whether each axis has its own limit."""
        return self.kind in ("Lab", "LCh")

    @property
    def unit(self) -> str:
        """What its numbers are: ``ΔE00``, ``CMC(2:1)``, ``share of the box``."""
        if self.boxed:
            return "share of the box"
        return f"CMC({self.lightness:g}:{self.chroma:g})" if self.kind == "CMC" else self.kind

    def said(self, difference: float, digits: int = 2) -> str:
        """Return a difference with its unit.

        Parameters
        ----------
        difference : float
            In the unit of `value`.
        digits : int
            After the point.

        Returns
        -------
        str
            Such as ``CMC(2:1) 1.38``, or ``1.38 of the box``, whose edge is 1.
        """
        if self.boxed:
            return f"{difference:.{digits}f} of the box"
        return f"{self.unit} {difference:.{digits}f}"

    def difference(self, standard: ArrayLike, trial: ArrayLike) -> Array:
        """Return how far trials are from a standard, in the unit of `value`.

        Parameters
        ----------
        standard, trial : array_like, shape (..., 3)
            CIELAB.

        Returns
        -------
        ndarray, shape (...)
            The difference; for a box the largest of the three as a share of its side.
        """
        if self.kind == "ΔE00":
            return delta_e00(standard, trial)
        if self.kind == "CMC":
            return delta_e_cmc(standard, trial, lightness=self.lightness, chroma=self.chroma)
        if self.kind == "Lab":
            gaps = np.asarray(trial, float) - np.asarray(standard, float)
        else:
            shift = delta_lch(standard, trial)
            gaps = np.stack([shift.lightness, shift.chroma, shift.hue], axis=-1)
        worst: Array = np.max(np.abs(gaps) / np.array(self.box), axis=-1)
        return worst

    def metric(self, lab: ArrayLike) -> Array:
        """Return the quadratic form that the difference is near a colour.

        Parameters
        ----------
        lab : array_like, shape (3,)
            CIELAB.

        Returns
        -------
        ndarray, shape (3, 3)
            G, so that the difference squared is near dᵀ G d; for a box the ellipsoid inside it.
        """
        axes = self.stretch(lab)
        return np.asarray(axes.T @ axes)

    def stretch(self, lab: ArrayLike) -> Array:
        """Return the axes in which the difference is a length near a colour.

        Parameters
        ----------
        lab : array_like, shape (3,)
            CIELAB.

        Returns
        -------
        ndarray, shape (3, 3)
            S, so that the difference is near the length of S d; for a box near its greatest part.
        """
        at = np.asarray(lab, float)
        if self.kind == "ΔE00":
            return np.asarray(np.linalg.cholesky(delta_e00_metric(at)).T)
        if self.kind == "Lab":
            return np.diag(1.0 / np.array(self.box))
        c = math.hypot(at[1], at[2])
        cos, sin = (at[1] / c, at[2] / c) if c > 1e-9 else (1.0, 0.0)
        turn = np.array([[1.0, 0, 0], [0, cos, sin], [0, -sin, cos]])
        if self.kind == "LCh":
            sides = 1.0 / np.array(self.box)
        else:
            # CMC is the root of three squares in ΔL*, ΔC*, ΔH*: its sides are what one unit costs.
            sides = np.array([float(self.difference(at, at + 1e-3 * t)) * 1e3 for t in turn])
        return np.asarray(np.diag(sides) @ turn)


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
    """

    lab: tuple[float, float, float]
    viewing: Viewing | None = None
    weight: float = 1.0

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
    """Return how far a colour lies outside what surfaces can reflect.

    Parameters
    ----------
    lab : array_like, shape (3,)
        CIELAB.
    viewing : Viewing
        Light and observer.

    Returns
    -------
    float
        Distance past the nearest face of the solid of optimal colours, as a share of the white's
        Y; negative inside. The solid of all reflectances from 0 to 1 (Schrödinger 1920; MacAdam
        1935) is, on a grid of wavelengths, the sum of as many segments as it has wavelengths,
        whose faces are perpendicular to every product of two of them.
    """
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
        Reflectance of the sample, 400-700 nm [-], where it was read as a spectrum.
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
    def of_lab(
        cls,
        lab: Sequence[float],
        *,
        viewing: Viewing | None = None,
        tolerance: Tolerance | float = 1.0,
    ) -> Target:
        """Return a target typed as Lab.

        Parameters
        ----------
        lab : sequence of 3 float
            L*, a*, b*.
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
        """
        return cls((Aim(tuple(lab), viewing),), _tolerance(tolerance))  # type: ignore[arg-type]  # Aim checks it

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
            Lab or spectra, one a viewing.
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
            if reading.lab is not None:
                lab = reading.lab
            else:
                curve = interpolate_reflectance(reading.wavelengths, reading.reflectance)
                spectrum = curve if spectrum is None else spectrum
                found = reflectance_to_lab(curve, reading.viewing)
                lab = (float(found[0]), float(found[1]), float(found[2]))
            aims.append(Aim(lab, reading.viewing, weight))
        return cls(tuple(aims), _tolerance(tolerance), spectrum)

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
        each = [
            aim.weight * self.tolerance.difference(np.array(aim.lab), lab)
            for aim, lab in zip(self.aims, labs, strict=True)
        ]
        worst: Array = np.max(each, axis=0)
        return worst

    def expected(self, labs: Array, covariances: Array) -> ExpectedDifference:
        """Return what to expect of readings that are known only so far.

        Parameters
        ----------
        labs : ndarray, shape (aims, n, 3)
            Expected CIELAB under each aim's viewing.
        covariances : ndarray, shape (n, 3 aims, 3 aims)
            Of one panel's readings under all of them.

        Returns
        -------
        ExpectedDifference
            Mean and standard deviation of the difference, in the unit of the tolerance, and the
            chance that it is within at every aim, each of shape (n,); the same numbers every time,
            for the points of the cloud are fixed.
        """
        if len(self.aims) == 1 and self.tolerance.kind == "ΔE00":
            (aim,), most = self.aims, self.tolerance.value
            found = expected_delta_e00(
                np.array(aim.lab), labs[0], covariances, tolerance=most / aim.weight
            )
            return ExpectedDifference(
                aim.weight * found.mean, aim.weight * found.sd, found.probability
            )
        size, axes = np.linalg.eigh(covariances)
        root = axes * np.sqrt(np.maximum(size, 0.0))[:, None, :]
        away = _cloud(3 * len(self.aims)) @ root.transpose(0, 2, 1)
        likely = [labs[i][:, None, :] + away[..., 3 * i : 3 * i + 3] for i in range(len(self.aims))]
        gaps = self.difference(likely)
        within = gaps <= self.tolerance.value
        return ExpectedDifference(gaps.mean(axis=1), gaps.std(axis=1), within.mean(axis=1))


@cache
def _cloud(width: int) -> Array:
    """Points of the standard normal distribution, their mean 0 and covariance 1 to the digit.

    Multiples of the roots of primes, modulo 1, fill a cube evenly (Richtmyer 1951); mirrored.
    """
    primes = [p for p in range(2, 400) if all(p % q for q in range(2, p))][:width]
    number = np.arange(1, POINTS // 2 + 1)[:, None]
    half = ndtri(np.mod(number * np.sqrt(primes), 1.0))
    points = np.concatenate([half, -half])
    size, axes = np.linalg.eigh(points.T @ points / POINTS)
    return np.asarray(points @ (axes / np.sqrt(size)) @ axes.T)


def _tolerance(value: Tolerance | float) -> Tolerance:
    return value if isinstance(value, Tolerance) else Tolerance(value=float(value))
