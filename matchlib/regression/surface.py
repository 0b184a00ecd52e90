"""What the surface lets out of the light that comes up from ground and film, with its derivatives.

How much it sends back inside depends on how directed the light is: a ground's own, over flake less
than over a solid, while what the film scatters comes up at all angles over any ground. What is kept
runs at a slant, so its way through the film is longer than that of the light that is read (Williams
and Clapper 1953, J. Opt. Soc. Am. 43, 595), up to `matchlib.film.KEPT_WAY` times; where the film
itself turns light to all sides the two are alike (Kubelka and Munk 1931).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.film import EXTERNAL_K1, KEPT_WAY, single_scatter

__all__ = ["LetOut", "kept_way", "let_out", "logistic", "most_inside"]

Array = NDArray[np.float64]

_LARGEST, _NEAREST = 1.7, 0.98
"""Internal reflectance from which on the surface is taken as linear, and the same times k2: the
pole is at 1/k2, and a fit to Lab alone could hide a few wavelengths in it."""

_EVEN = 1.7
"""Standard deviation of a normal number whose logistic is about as likely anywhere from 0 to 1
(Haley 1952; from memory)."""


class LetOut(NamedTuple):
    """Light let out (n, b), and its derivatives."""

    light: Array
    by_ground: Array  # by the logarithm of the ground's reflectance
    by_absorbance: Array
    by_scatter: Array
    by_clear: Array  # by that of the transmittance of a clear coat over both kinds of light
    by_way: Array
    by_ground_k2: Array  # by what is kept of the ground's light
    by_film_k2: Array  # and of what the film scatters


def let_out(
    log_ground: Array,
    absorbance: Array,
    scatter: Array,
    scatter_share: Array,
    *,
    way: float,
    ground_k2: Array,
    film_k2: Array,
) -> LetOut:
    """Saunderson's sum of all bounces (1942), of the ground's light and the film's."""
    # scatter_share: of what the film scatters, the part that layers and clear coat let up.
    # Of the light R that comes up Q is kept, of which Q' is kept on its longer way, and so on: in
    # all (1 - k1) (R - Q) / (1 - Q') leaves.
    f, g, g_by_a, g_by_s, _ = _passed(log_ground, absorbance, scatter, scatter_share, 1.0)
    h, i, i_by_a, i_by_s, i_by_way = _passed(log_ground, absorbance, scatter, scatter_share, way)
    # Beyond the largest it goes on along its tangent, so that a step too far finds back.
    limit = most_inside(np.maximum(ground_k2, film_k2))
    within = np.minimum(1.0, limit / np.maximum(f + g, 1e-300))
    pole = 1.0 - within * (ground_k2 * h + film_k2 * i)
    scale = (1.0 - EXTERNAL_K1) / pole
    by_f, by_g = scale * (1.0 - ground_k2), scale * (1.0 - film_k2)
    out = within * (by_f * f + by_g * g)
    by_h, by_i = out / pole * ground_k2, out / pole * film_k2
    upright, slanted = by_f * f, by_h * h
    scattered, again = by_g * g, by_i * i
    light = out + (1.0 - within) * (upright + slanted + scattered + again)
    return LetOut(
        light,
        upright + slanted,
        by_g * g_by_a + by_i * i_by_a - upright - way * slanted,
        by_g * g_by_s + by_i * i_by_s,
        upright + slanted + scattered + again,
        by_i * i_by_way - absorbance * slanted,
        within * (out / pole * h - scale * f),
        within * (out / pole * i - scale * g),
    )


def most_inside(k2: Array) -> Array:
    """Internal reflectance up to which the surface is taken as it is; any where it keeps none."""
    limit = np.minimum(_LARGEST, _NEAREST / np.maximum(k2, 0.1))
    return np.asarray(np.where(k2 > 0.0, limit, np.inf), float)


def kept_way(z: float) -> tuple[float, float]:
    """Way of the light kept inside, in ways of the light that is read, and its derivative."""
    share, span = float(logistic(_EVEN * z)), KEPT_WAY - 1.0
    return 1.0 + span * share, _EVEN * span * share * (1.0 - share)


def logistic(z: Array | float) -> Array:
    """Share between 0 and 1."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(z, -8.0, 8.0))), float)


def _passed(
    log_ground: Array, a: Array, s: Array, scatter_share: Array, way: float
) -> tuple[Array, Array, Array, Array, Array]:
    """Light of the ground, of the film, and the film's by absorbance, by scatter and by way."""
    value, slope = single_scatter(way * a)
    dimmed = np.exp(np.minimum(log_ground - way * a, 4.0))
    shown = way * scatter_share * value
    return (
        dimmed,
        s * shown,
        s * way**2 * scatter_share * slope,
        shown,
        s * scatter_share * (value + way * a * slope),
    )
