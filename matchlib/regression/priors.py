"""What is believed of grounds, colours and films before any panel is read.

A logarithm of a reflectance or absorption is written as a level plus a weighted sum of smooth
curves, the leading eigenvectors of a squared-exponential covariance over wavelength (Karhunen and
Loève). Weights have independent normal priors, so that the number of free values follows from the
smoothness and not from the number of wavelengths: three numbers of Lab then pin a spectrum as far
as they can, and the posterior keeps what they leave open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID

__all__ = ["Priors", "smooth_curves", "straight_curves"]

Array = NDArray[np.float64]


def smooth_curves(wavelengths: Array, *, length: float, sd: float) -> Array:
    """Return smooth curves whose random sum has a given spread; shape (b, k)."""
    gap = (wavelengths[:, None] - wavelengths[None, :]) / length
    values, vectors = np.linalg.eigh(sd**2 * np.exp(-0.5 * gap**2))
    kept = values > 1e-4 * values[-1]
    scaled: Array = vectors[:, kept] * np.sqrt(values[kept])
    # The sign of an eigenvector is arbitrary; fixing it keeps fits the same on every machine.
    signs = np.sign(scaled[np.argmax(np.abs(scaled), axis=0), np.arange(scaled.shape[1])])
    return np.asarray((scaled * signs)[:, ::-1], float)


def straight_curves(*sds: float) -> Array:
    """Return the level and, for a second sd, the tilt, from -1 to 1 across `GRID`; shape (b, k)."""
    both = np.ones(len(GRID)), np.linspace(-1.0, 1.0, len(GRID))
    return np.stack([sd * curve for sd, curve in zip(sds, both, strict=False)], axis=1)


@dataclass(frozen=True)
class Priors:
    """Centres and standard deviations of the law's free values before any panel.

    The reasons: absorption and metallic reflectance are smooth over some tens of nm; film a coat
    is near constant; the first coat bites into the ground and lays thinner (common practice, no
    source); strength is nearly linear in volume fraction (Beer 1852), bending below at the rich
    end; transparent colours scatter little, or they would not be transparent.

    Examples
    --------
    >>> Priors(first_coat=0.2).curves()["ground"].shape
    (31, 2)
    """

    ground_level: float = -0.9  # logarithm of the ground's internal reflectance [-]
    ground_level_sd: float = 0.9
    ground_tilt_sd: float = 0.3
    ground_length: float = 65.0  # correlation length of its spectrum [nm]
    colour_level: float = -2.5  # logarithm of the absorbance of one coat of 6:1, both ways [-]
    colour_level_sd: float = 1.2
    colour_length: float = 45.0  # correlation length of an absorption spectrum [nm]
    scatter: float = 0.0015  # of one coat of 6:1 [-], and the spread of its logarithm
    scatter_sd: float = 1.2
    slope_sd: float = 0.12  # of the dose's slope, about 1
    bend_sd: float = 0.06
    first_coat: float = 0.12  # how much of a coat the first one lacks [coats]
    first_coat_sd: float = 0.12
    k2_sd: float = 0.25  # of the logit of an uncleared surface's internal reflectance, about 0.5
    # Of the logit of the share of light that grounds send to all sides, in a shop's mean: one
    # ground tells little of the others.
    lambert_sd: float = 0.4
    # Reflectance read of a perfect black under clear coat [-], and its spread: what leaks into the
    # instrument, whose own zero may lie lower (common practice, no source).
    zero: float = 0.0002

    def curves(self) -> dict[str, Array]:
        """Return the spectral curves (31, k) whose weights are the law's free values, by part."""
        across = straight_curves(1.0, 1.0)[:, 1]
        return {
            "ground": straight_curves(self.ground_level_sd, self.ground_tilt_sd),
            "ground wave": smooth_curves(GRID, length=self.ground_length, sd=1.0),
            "colour": straight_curves(self.colour_level_sd),
            "colour wave": smooth_curves(GRID, length=self.colour_length, sd=1.0),
            "turn": np.stack([across, 1.5 * across**2 - 0.5], axis=1),
            "geometry": straight_curves(0.8, 0.15),
            "scatter": straight_curves(self.scatter_sd, 0.6),
            "interaction": straight_curves(0.8, 0.1),
            # A yellowed clear coat absorbs blue most; an instrument's white may be off likewise.
            "clear": straight_curves(1.0, 1.0),
            "instrument": straight_curves(1.0, 1.0),
        }
