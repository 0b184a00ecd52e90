"""What the surface lets out of the light that comes up from ground and film, with its derivatives.

How much it sends back inside depends on how directed the light is: a ground's own, over flake less
than over a solid, while what the film scatters comes up at all angles over any ground.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.film import EXTERNAL_K1

__all__ = ["LetOut", "let_out", "most_inside"]

Array = NDArray[np.float64]

_LARGEST, _NEAREST = 1.7, 0.98
"""Internal reflectance from which on the surface is taken as linear, and the same times k2: the
pole is at 1/k2, and a fit to Lab alone could hide a few wavelengths in it."""


class LetOut(NamedTuple):
    """Light let out (n, b), and its derivatives."""

    light: Array
    by_ground: Array  # by what comes up from the ground
    by_film: Array  # by what the film scatters
    by_ground_k2: Array  # by the logit of what is kept of the one
    by_film_k2: Array  # and of the other


def let_out(ground: Array, film: Array, *, ground_k2: Array, film_k2: Array) -> LetOut:
    """Saunderson's sum of all bounces (1942), of two kinds of light, each kept by its own k2."""
    # Of the light R that comes up Q is kept, and comes up again as R times Q, and so on: in all
    # (1 - k1) (R - Q) / (1 - Q) leaves.
    # Beyond the largest it goes on along its tangent, so that a step too far finds back.
    inner, kept_most = ground + film, np.maximum(ground_k2, film_k2)
    within = np.minimum(1.0, most_inside(kept_most) / np.maximum(inner, 1e-300))
    f, g = ground * within, film * within
    up, kept = f + g, ground_k2 * f + film_k2 * g
    scale = (1.0 - EXTERNAL_K1) / (1.0 - kept) ** 2
    by_ground = scale * (1.0 - kept - ground_k2 * (1.0 - up))
    by_film = scale * (1.0 - kept - film_k2 * (1.0 - up))
    light = scale * (up - kept) * (1.0 - kept)
    light += by_ground * (ground - f) + by_film * (film - g)
    by_logit = [
        scale * one * (up - 1.0) * k2 * (1.0 - k2) for one, k2 in ((f, ground_k2), (g, film_k2))
    ]
    return LetOut(light, by_ground, by_film, *by_logit)


def most_inside(k2: Array) -> Array:
    """Internal reflectance up to which the surface is taken as it is; any where it keeps none."""
    limit = np.minimum(_LARGEST, _NEAREST / np.maximum(k2, 0.1))
    return np.asarray(np.where(k2 > 0.0, limit, np.inf), float)
