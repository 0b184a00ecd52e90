r"""A gun and the hand that leads it: the film that strokes leave, coat over coat.

Strokes of a fan, overlapping, with errors of distance, speed and line; each coat's strokes may be
set off against those below. A fan's film at a point is an elliptical double beta (see Coatings
2025, 15, 581, whose exponents are fitted to guns; those here are common practice, no source):

.. math:: z(x, y) = z_0 (1 - x^2/a^2)^{\beta_1 - 1} (1 - y^2 / (b^2 (1 - x^2/a^2)))^{\beta_2 - 1}

A gun that travels along y at a constant speed leaves its integral over y,
``(1 - x²/a²)^(β1 - 1/2)`` times a constant: the profile of a stroke. All numbers of the gun and the
hand: common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CELL_MM", "OVERLAP", "coat_film", "stroke_profile"]

Array = NDArray[np.float64]

CELL_MM = 5.0
"""Side of one cell of a panel [mm]."""

FAN_MM = 250.0
"""Width of the fan on the panel [mm]."""

OVERLAP = 0.75
"""Share of the fan laid over the stroke before [-]: how a transparent colour is sprayed; a half is
usually taught for opaque paint."""

HAND_SD = 0.06
"""Relative standard deviation of the distance, and of the speed, along a stroke [-]."""

LINE_SD_MM = 8.0
"""Standard deviation of where a stroke's line runs [mm]."""

BETA = 2.0
"""The exponent β1 of the fan, above 0.5; 1 is a half ellipse, 2 to 3 a fan with soft edges."""


def stroke_profile(across: ArrayLike) -> Array:
    """Return the film that one stroke leaves, across its line, in half widths of the fan."""
    x = np.asarray(across, float)
    profile: Array = np.maximum(1.0 - x * x, 0.0) ** (BETA - 0.5)
    return profile


def coat_film(shape: tuple[int, int], rng: np.random.Generator, *, shift: float) -> Array:
    """Lay one coat; shape (rows, columns)."""
    rows, columns = shape
    y = (np.arange(rows) + 0.5) * CELL_MM
    pitch = FAN_MM * (1.0 - OVERLAP)
    lines = np.arange(-FAN_MM, rows * CELL_MM + FAN_MM, pitch) + (shift % 1.0) * pitch
    half = FAN_MM / 2.0
    film = np.zeros(shape)
    for line in lines:
        # Both errors last as long as a movement of the arm, some 20 cm.
        distance = np.exp(_wander(columns, rng))
        speed = np.exp(_wander(columns, rng))
        middle = line + rng.normal(0.0, LINE_SD_MM)
        reach = half * distance
        across = (y[:, None] - middle) / reach[None, :]
        # The same paint over a wider fan is a thinner film; a faster hand leaves less.
        film += stroke_profile(across) / (distance * speed)
    # The stroke's profile summed over the fan, a beta function.
    whole = half * math.sqrt(math.pi) * math.gamma(BETA + 0.5) / math.gamma(BETA + 1.0)
    return film * (pitch / whole)


def _wander(count: int, rng: np.random.Generator) -> Array:
    """Smooth random walk of the hand: half of it lasts the stroke, half some 20 cm."""
    knots = max(2, math.ceil(count * CELL_MM / 200.0) + 1)
    whole, part = rng.normal(), rng.normal(size=knots)
    at = np.linspace(0.0, knots - 1.0, count)
    low = np.minimum(at.astype(int), knots - 2)
    turn = 0.5 * math.pi * (at - low)
    smooth = np.cos(turn) * part[low] + np.sin(turn) * part[low + 1]  # of variance 1 everywhere
    result: Array = HAND_SD * math.sqrt(0.5) * (whole + smooth)
    return result
