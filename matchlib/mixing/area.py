"""The area of a job, from the simple shapes that most work comes near."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from matchlib.mixing.units import AREA_UNITS, positive

__all__ = ["JobArea"]


@dataclass(frozen=True, slots=True)
class JobArea:
    """An area to be sprayed, with a margin for edges, returns and a test panel.

    Parameters
    ----------
    net_m2 : float
        The surface itself [m²].
    margin : float
        Share added to it [-], 0 or more.
    shape : str
        What it is, in words.
    """

    net_m2: float
    margin: float = 0.0
    shape: str = "flat area"

    def __post_init__(self) -> None:
        positive(self.net_m2, "job area [m²]", top=10_000)
        positive(self.margin, "margin", top=5, zero=True, remedy="10% more area is 0.1.")

    @classmethod
    def flat(cls, area_m2: float, *, margin: float = 0.0) -> Self:
        """Return a flat area.

        Parameters
        ----------
        area_m2 : float
            Area [m²].
        margin : float
            Share added [-].

        Returns
        -------
        JobArea
            That area.
        """
        return cls(area_m2, margin)

    @classmethod
    def sheet(cls, width_mm: float, height_mm: float, *, sides: int = 1, margin: float = 0.1
              ) -> Self:  # fmt: skip
        """Return a sheet, sprayed on one side or both.

        Parameters
        ----------
        width_mm, height_mm : float
            Size [mm].
        sides : int
            1 or 2.
        margin : float
            Share added for the edges [-].

        Returns
        -------
        JobArea
            Width times height times sides.
        """
        width = positive(width_mm, "sheet width [mm]", top=100_000)
        height = positive(height_mm, "sheet height [mm]", top=100_000)
        count = positive(sides if sides in (1, 2) else 0, "number of sides", remedy="1 or 2.")
        words = f"sheet {width:g} by {height:g} mm, {count:g} side{'s' * (count == 2)}"
        return cls(width * height * count * 1e-6, margin, words)

    @classmethod
    def tube(cls, diameter_mm: float, length_mm: float, *, margin: float = 0.1) -> Self:
        """Return the outside of a tube, its ends open.

        Parameters
        ----------
        diameter_mm, length_mm : float
            Size [mm].
        margin : float
            Share added [-].

        Returns
        -------
        JobArea
            Pi times diameter times length.
        """
        across = positive(diameter_mm, "tube diameter [mm]", top=100_000)
        along = positive(length_mm, "tube length [mm]", top=1_000_000)
        words = f"tube {across:g} mm across, {along:g} mm long"
        return cls(math.pi * across * along * 1e-6, margin, words)

    @classmethod
    def sphere(cls, diameter_mm: float, *, margin: float = 0.1) -> Self:
        """Return the outside of a sphere.

        Parameters
        ----------
        diameter_mm : float
            Size [mm].
        margin : float
            Share added [-].

        Returns
        -------
        JobArea
            Pi times the diameter squared.
        """
        across = positive(diameter_mm, "sphere diameter [mm]", top=100_000)
        return cls(math.pi * across**2 * 1e-6, margin, f"sphere {across:g} mm across")

    @property
    def sprayed_m2(self) -> float:
        """Area with its margin [m²]."""
        return self.net_m2 * (1.0 + self.margin)

    @property
    def text(self) -> str:
        """The area in words, both units."""
        total = self.sprayed_m2
        margin = f" with {self.margin:.0%} margin" if self.margin else ""
        return f"{self.shape}{margin}: {total:.3g} m² ({total / AREA_UNITS['ft2']:.3g} ft²)"
