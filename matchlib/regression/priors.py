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

__all__ = ["Priors", "constant_curve", "ramp_curve", "smooth_curves"]

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


def constant_curve(wavelengths: Array, *, sd: float) -> Array:
    """Return the level: one flat curve; shape (b, 1)."""
    return np.full((len(wavelengths), 1), sd)


def ramp_curve(wavelengths: Array, *, sd: float) -> Array:
    """Return the tilt: one straight curve from -1 to 1 across the grid; shape (b, 1)."""
    return (sd * np.linspace(-1.0, 1.0, len(wavelengths)))[:, None]


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
        level = constant_curve(GRID, sd=self.ground_level_sd)
        tilt = ramp_curve(GRID, sd=self.ground_tilt_sd)
        scatter = constant_curve(GRID, sd=self.scatter_sd)
        across = ramp_curve(GRID, sd=1.0)
        # A yellowed clear coat absorbs blue most; an instrument's white may be off likewise.
        tinted = np.hstack([constant_curve(GRID, sd=1.0), across])
        return {
            "ground": np.hstack([level, tilt]),
            "ground wave": smooth_curves(GRID, length=self.ground_length, sd=1.0),
            "colour": constant_curve(GRID, sd=self.colour_level_sd),
            "colour wave": smooth_curves(GRID, length=self.colour_length, sd=1.0),
            "turn": np.hstack([across, 1.5 * across**2 - 0.5]),
            "geometry": np.hstack([constant_curve(GRID, sd=0.8), ramp_curve(GRID, sd=0.15)]),
            "scatter": np.hstack([scatter, ramp_curve(GRID, sd=0.6)]),
            "ladder": np.hstack([constant_curve(GRID, sd=0.8), ramp_curve(GRID, sd=0.1)]),
            "clear": tinted,
            "instrument": tinted,
        }
