r"""A gun and the hand that leads it: the film that strokes leave, coat over coat.

Strokes of a fan, overlapping, with errors of distance, speed and line; each coat's strokes may be
set off against those below. A fan's film at a point is an elliptical double beta (see Coatings
2025, 15, 581, whose exponents are fitted to guns; those here are common practice, no source):

.. math:: z(x, y) = z_0 (1 - x^2/a^2)^{\beta_1 - 1} (1 - y^2 / (b^2 (1 - x^2/a^2)))^{\beta_2 - 1}

A gun that travels along y at a constant speed leaves its integral over y,
``(1 - x²/a²)^(β1 - 1/2)`` times a constant: the profile of a stroke.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.errors import DomainError

__all__ = ["CELL_MM", "Gun", "coat_film", "stroke_profile"]

Array = NDArray[np.float64]

CELL_MM = 5.0
"""Side of one cell of a panel that is drawn [mm]."""


@dataclass(frozen=True)
class Gun:
    """A gun and the hand that leads it. All numbers: common practice, no source.

    Parameters
    ----------
    fan_mm : float
        Width of the fan on the panel [mm].
    overlap : float
        Share of the fan laid over the stroke before [-], 0 to 0.9; 0.5 is usually taught for
        opaque paint, 0.75 is how a transparent colour is sprayed.
    distance_sd, speed_sd : float
        Relative standard deviation of the distance and the speed along a stroke [-].
    line_sd_mm : float
        Standard deviation of where a stroke's line runs [mm].
    set_off : bool
        Whether each coat's strokes are set off against those of the coat below, so that their
        ridges average out.
    beta : float
        The exponent β1 of the fan, above 0.5; 1 is a half ellipse, 2 to 3 a fan with soft edges.

    Examples
    --------
    >>> Gun(overlap=0.5).overlap < Gun().overlap
    True
    """

    fan_mm: float = 250.0
    overlap: float = 0.75
    distance_sd: float = 0.06
    speed_sd: float = 0.06
    line_sd_mm: float = 8.0
    set_off: bool = True
    beta: float = 2.0

    def __post_init__(self) -> None:
        spreads = (self.distance_sd, self.speed_sd, self.line_sd_mm)
        good = 10 <= self.fan_mm <= 1000 and 0 <= self.overlap <= 0.9 and 0.5 < self.beta <= 20
        good = good and all(math.isfinite(v) and v >= 0 for v in spreads)
        if not good or max(self.distance_sd, self.speed_sd) > 0.4:
            raise DomainError(
                "No gun is led like this.",
                expected="a fan of 10 to 1000 mm, an overlap of 0 to 0.9, errors from 0 to 0.4",
                got=f"fan {self.fan_mm:g} mm, overlap {self.overlap:g}, distance "
                f"{self.distance_sd:g}, speed {self.speed_sd:g}, line {self.line_sd_mm:g} mm",
                remedy="half an overlap is 0.5.",
            )


def stroke_profile(across: ArrayLike, *, beta: float) -> Array:
    """Return the film that one stroke leaves, across its line, in half widths of the fan."""
    x = np.asarray(across, float)
    profile: Array = np.maximum(1.0 - x * x, 0.0) ** (beta - 0.5)
    return profile


def coat_film(gun: Gun, shape: tuple[int, int], rng: np.random.Generator, *, shift: float) -> Array:
    """Lay one coat; shape (rows, columns)."""
    rows, columns = shape
    y = (np.arange(rows) + 0.5) * CELL_MM
    pitch = gun.fan_mm * (1.0 - gun.overlap)
    lines = np.arange(-gun.fan_mm, rows * CELL_MM + gun.fan_mm, pitch) + (shift % 1.0) * pitch
    half = gun.fan_mm / 2.0
    film = np.zeros(shape)
    for line in lines:
        # Both errors last as long as a movement of the arm, some 20 cm.
        distance = np.exp(_wander(columns, rng, sd=gun.distance_sd))
        speed = np.exp(_wander(columns, rng, sd=gun.speed_sd))
        middle = line + rng.normal(0.0, gun.line_sd_mm)
        reach = half * distance
        across = (y[:, None] - middle) / reach[None, :]
        # The same paint over a wider fan is a thinner film; a faster hand leaves less.
        film += stroke_profile(across, beta=gun.beta) / (distance * speed)
    # The stroke's profile summed over the fan, a beta function.
    whole = half * math.sqrt(math.pi) * math.gamma(gun.beta + 0.5) / math.gamma(gun.beta + 1.0)
    return film * (pitch / whole)


def _wander(count: int, rng: np.random.Generator, *, sd: float) -> Array:
    """Smooth random walk of the hand: half of it lasts the stroke, half some 20 cm."""
    knots = max(2, math.ceil(count * CELL_MM / 200.0) + 1)
    whole, part = rng.normal(), rng.normal(size=knots)
    at = np.linspace(0.0, knots - 1.0, count)
    low = np.minimum(at.astype(int), knots - 2)
    turn = 0.5 * math.pi * (at - low)
    smooth = np.cos(turn) * part[low] + np.sin(turn) * part[low + 1]  # of variance 1 everywhere
    result: Array = sd * math.sqrt(0.5) * (whole + smooth)
    return result
