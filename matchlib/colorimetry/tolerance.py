"""What counts as a match: the difference that an order names, and how much of it passes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.difference import (
    delta_e00,
    delta_e00_metric,
    delta_e_cmc,
    delta_lch,
)
from matchlib.errors import TargetError

__all__ = ["Tolerance"]

Array = NDArray[np.float64]


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

    Examples
    --------
    >>> Tolerance("CMC", 1.2).words
    'CMC(2:1) at most 1.2'
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

    @property
    def digits(self) -> int:
        """After the point, of a difference that is only foreseen; a share of a box is smaller."""
        return 2 if self.boxed else 1

    def with_unit(self, difference: float, digits: int = 2) -> str:
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

    def stretch(self, lab: ArrayLike) -> Array:
        """Return S (3, 3), by which the difference is near the length of S d at a colour."""
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
