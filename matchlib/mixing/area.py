"""The area of a job: simple shapes, and the usual areas of usual jobs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from matchlib.errors import DomainError
from matchlib.mixing.units import AREA_UNITS, positive

__all__ = ["USUAL_AREAS", "JobArea"]

USUAL_AREAS: dict[str, tuple[float, float]] = {
    "helmet": (0.15, 0.30),
    "motorcycle tank": (0.35, 0.70),
    "motorcycle set": (1.2, 2.2),
    "fender": (0.6, 1.1),
    "door": (0.9, 1.5),
    "hood": (1.2, 2.2),
    "roof": (1.2, 2.4),
    "bumper": (0.9, 1.6),
    "whole car": (9.0, 14.0),
}
"""Outer surface of usual jobs [m²], a small one and a large one: common practice, no source."""

_ALSO = {
    "tank": "motorcycle tank",
    "motorcycle": "motorcycle set",
    "wing": "fender",
    "bonnet": "hood",
    "car": "whole car",
}


@dataclass(frozen=True, slots=True)
class JobArea:
    """An area to be sprayed, with a margin for edges, returns and a test panel.

    Parameters
    ----------
    low_m2, high_m2 : float
        The surface itself [m²]: 95 percent of such jobs lie between; alike where it was measured.
    margin : float
        Share added to it [-], 0 or more.
    shape : str
        What it is, in words.

    Examples
    --------
    >>> hood = JobArea(1.2, 1.8, margin=0.1)
    >>> round(hood.sprayed_m2, 2), round(hood.sd, 2)
    (1.62, 0.1)
    """

    low_m2: float
    high_m2: float
    margin: float = 0.0
    shape: str = "flat area"

    def __post_init__(self) -> None:
        low = positive(self.low_m2, "job area [m²]", top=10_000)
        if positive(self.high_m2, "job area [m²]", top=10_000) < low:
            raise DomainError(
                "This is not a range of areas.",
                expected="the smaller area first",
                got=f"{low:g} to {self.high_m2:g} m²",
                remedy="exchange the two.",
            )
        positive(self.margin, "margin", top=5, zero=True, remedy="10% more area is 0.1.")

    @classmethod
    def flat(cls, area_m2: float, *, margin: float = 0.0) -> Self:
        """Return a measured area.

        Parameters
        ----------
        area_m2 : float
            The surface itself [m²], more than 0.
        margin : float
            Share added [-], 0 or more.

        Returns
        -------
        JobArea
            Without a range.
        """
        return cls(area_m2, area_m2, margin)

    @classmethod
    def usual(cls, name: str, *, margin: float = 0.0) -> Self:
        """Return a job by its name, such as ``door``; the range it has is kept.

        Parameters
        ----------
        name : str
            One of `USUAL_AREAS`, or another word for it: tank, bonnet, wing.
        margin : float
            Share added [-]; the ranges already hold edges and returns.

        Returns
        -------
        JobArea
            That range.

        Raises
        ------
        DomainError
            If there is no such job.
        """
        key = " ".join(name.casefold().split())
        key = _ALSO.get(key, key)
        if key not in USUAL_AREAS:
            raise DomainError(
                "The area of this job is not known.",
                expected=", ".join(USUAL_AREAS),
                got=repr(name[:40]),
                remedy="measure it and give its area, such as 1.4 m2.",
            )
        return cls(*USUAL_AREAS[key], margin, f"{key} (common practice, no source: measure yours)")

    @classmethod
    def sheet(cls, width_mm: float, height_mm: float, *, sides: int = 1, margin: float = 0.1
              ) -> Self:  # fmt: skip
        """Return a sheet, sprayed on one side or both.

        Parameters
        ----------
        width_mm, height_mm : float
            Its sides [mm], more than 0.
        sides : int
            1 or 2.
        margin : float
            Share added [-], 0 or more.

        Returns
        -------
        JobArea
            Without a range.

        Raises
        ------
        DomainError
            If a number is out of its range.
        """
        width = positive(width_mm, "sheet width [mm]", top=100_000)
        height = positive(height_mm, "sheet height [mm]", top=100_000)
        count = positive(sides if sides in (1, 2) else 0, "number of sides", remedy="1 or 2.")
        area = width * height * count * 1e-6
        words = f"sheet {width:g} by {height:g} mm, {count:g} side{'s' * (count == 2)}"
        return cls(area, area, margin, words)

    @classmethod
    def tube(cls, diameter_mm: float, length_mm: float, *, margin: float = 0.1) -> Self:
        """Return the outside of a tube, its ends open.

        Parameters
        ----------
        diameter_mm, length_mm : float
            Its measures [mm], more than 0.
        margin : float
            Share added [-], 0 or more.

        Returns
        -------
        JobArea
            Pi times diameter times length, without a range.

        Raises
        ------
        DomainError
            If a number is out of its range.
        """
        across = positive(diameter_mm, "tube diameter [mm]", top=100_000)
        along = positive(length_mm, "tube length [mm]", top=1_000_000)
        area = math.pi * across * along * 1e-6
        return cls(area, area, margin, f"tube {across:g} mm across, {along:g} mm long")

    @classmethod
    def sphere(cls, diameter_mm: float, *, margin: float = 0.1) -> Self:
        """Return the outside of a sphere.

        Parameters
        ----------
        diameter_mm : float
            Its diameter [mm], more than 0.
        margin : float
            Share added [-], 0 or more.

        Returns
        -------
        JobArea
            Pi times the diameter squared, without a range.

        Raises
        ------
        DomainError
            If a number is out of its range.
        """
        across = positive(diameter_mm, "sphere diameter [mm]", top=100_000)
        area = math.pi * across**2 * 1e-6
        return cls(area, area, margin, f"sphere {across:g} mm across")

    @property
    def sprayed_m2(self) -> float:
        """Area with its margin [m²]: of a range its geometric mean."""
        return math.sqrt(self.low_m2 * self.high_m2) * (1.0 + self.margin)

    @property
    def sd(self) -> float:
        """Relative standard uncertainty of it [-]: a range is taken for two each way."""
        return math.log(self.high_m2 / self.low_m2) / 4.0

    @property
    def text(self) -> str:
        """The area in words, both units."""
        ends = [v * (1.0 + self.margin) for v in dict.fromkeys((self.low_m2, self.high_m2))]
        margin = f" with {self.margin:.0%} margin" if self.margin else ""
        metric = " to ".join(f"{v:.3g}" for v in ends)
        feet = " to ".join(f"{v / AREA_UNITS['ft2']:.3g}" for v in ends)
        return f"{self.shape}{margin}: {metric} m² ({feet} ft²)"
