"""Colour differences: CIEDE2000, CIE76, CMC, and differences of lightness, chroma and hue.

CIEDE2000 after Sharma, Wu and Dalal (2005). `delta_e00_metric` is its limit for small differences,
a quadratic form, for carrying uncertainty.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "LchShift",
    "delta_e00",
    "delta_e00_metric",
    "delta_e76",
    "delta_e_cmc",
    "delta_lch",
    "lch",
    "squares_about_mean",
]

Array = NDArray[np.float64]

_BLOCK = 4096  # pairs at once: the intermediate arrays then stay in the processor's cache
_C7 = 25.0**7
_TURN = 2.0 * np.pi


class LchShift(NamedTuple):
    """How a trial lies beside a standard, each an array of the pairs' shape."""

    lightness: Array  # ΔL*, more than 0 where the trial is lighter
    chroma: Array  # ΔC*ab, more than 0 where the trial is more vivid
    hue: Array  # ΔH*ab, the part of the difference that is hue; its sign is that of the turn
    angle: Array  # δh [degree], -180 to 180, anticlockwise from red over yellow


def _pair(first: ArrayLike, second: ArrayLike) -> tuple[Array, Array]:
    one, two = np.broadcast_arrays(
        np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    )
    return one, two


def delta_e76(first: ArrayLike, second: ArrayLike) -> Array:
    """Return ΔE*ab, the distance in CIELAB.

    Parameters
    ----------
    first, second : array_like, shape (..., 3)
        L*, a*, b*; broadcast against each other.

    Returns
    -------
    ndarray, shape (...)
        CIE 15:2018, 8.2.1.3.

    Examples
    --------
    >>> float(delta_e76((50.0, 0.0, 0.0), (50.0, 3.0, 4.0)))
    5.0
    """
    one, two = _pair(first, second)
    return np.asarray(np.sqrt(np.sum((two - one) ** 2, axis=-1)))


def delta_e00(first: ArrayLike, second: ArrayLike) -> Array:
    """Return CIEDE2000 with all parametric factors 1.

    Parameters
    ----------
    first, second : array_like, shape (..., 3)
        L*, a*, b*; broadcast against each other.

    Returns
    -------
    ndarray, shape (...)
        ΔE00 (Sharma, Wu, Dalal 2005, equations 2 to 22; CIE 15:2018, 8.3). Symmetric. It jumps
        where the hues are opposite; there the rule of the paper's pairs 9 to 16 holds.

    Examples
    --------
    >>> float(delta_e00((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485)).round(4))
    2.0425
    """
    one, two = _pair(first, second)
    shape = one.shape[:-1]
    n = int(np.prod(shape, dtype=np.intp))
    if n <= _BLOCK:
        return np.asarray(_ciede2000(one, two))
    flat_one, flat_two = one.reshape(-1, 3), two.reshape(-1, 3)
    result = np.empty(n)
    for start in range(0, n, _BLOCK):
        part = slice(start, start + _BLOCK)
        result[part] = _ciede2000(flat_one[part], flat_two[part])
    return result.reshape(shape)


def _chroma_term(chroma: Array) -> Array:
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + _C7)))


def _hue_weight(hue: Array) -> tuple[Array, Array]:
    # T of equation 15, and sin(2 Δθ) of equations 16 and 20; the hue [radian] from 0 to a turn.
    t = (
        1.0
        - 0.17 * np.cos(hue - np.radians(30.0))
        + 0.24 * np.cos(2.0 * hue)
        + 0.32 * np.cos(3.0 * hue + np.radians(6.0))
        - 0.20 * np.cos(4.0 * hue - np.radians(63.0))
    )
    away = (np.degrees(hue) - 275.0) / 25.0
    return t, np.sin(np.radians(60.0) * np.exp(-away * away))


def _ciede2000(one: Array, two: Array) -> Array:
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    plain = 0.5 * (np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a2 * a2 + b2 * b2))
    stretch = 1.5 - 0.5 * _chroma_term(plain)
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = np.sqrt(a1 * a1 + b1 * b1), np.sqrt(a2 * a2 + b2 * b2)
    # The hue of a grey counts nowhere: all that it is in is multiplied by its chroma, 0.
    h1, h2 = np.arctan2(b1, a1) % _TURN, np.arctan2(b2, a2) % _TURN
    # Exactly opposite counts as half a turn, whatever the last digit says.
    far = np.abs(h2 - h1) > np.pi + 1e-11
    turn = h2 - h1 - far * np.copysign(_TURN, h2 - h1)
    mean = (0.5 * (h1 + h2) + far * np.pi) % _TURN
    mean_c = 0.5 * (c1 + c2)
    t, rotation = _hue_weight(mean)
    grey = (0.5 * (l1 + l2) - 50.0) ** 2
    x = (l2 - l1) / (1.0 + 0.015 * grey / np.sqrt(20.0 + grey))
    y = (c2 - c1) / (1.0 + 0.045 * mean_c)
    z = 2.0 * np.sqrt(c1 * c2) * np.sin(0.5 * turn) / (1.0 + 0.015 * mean_c * t)
    r = -2.0 * rotation * _chroma_term(mean_c)
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + r * y * z, 0.0)))


def delta_e00_metric(lab: ArrayLike) -> Array:
    """Return the quadratic form that CIEDE2000 is for small differences."""
    values = np.asarray(lab, dtype=np.float64)
    light, a, b = values[..., 0], values[..., 1], values[..., 2]
    stretch = 1.5 - 0.5 * _chroma_term(np.sqrt(a * a + b * b))
    a = stretch * a
    c, hue = np.sqrt(a * a + b * b), np.arctan2(b, a) % _TURN
    cos, sin = np.cos(hue), np.sin(hue)
    t, rotation = _hue_weight(hue)
    off = (light - 50.0) ** 2
    s_l = 1.0 + 0.015 * off / np.sqrt(20.0 + off)
    s_c, s_h = 1.0 + 0.045 * c, 1.0 + 0.015 * c * t
    # G of the pair's mean chroma serves both colours, so that a' differs by stretch times a.
    jacobian = np.zeros((*light.shape, 3, 3))
    jacobian[..., 0, 0] = 1.0 / s_l
    jacobian[..., 1, 1], jacobian[..., 1, 2] = cos * stretch / s_c, sin / s_c
    jacobian[..., 2, 1], jacobian[..., 2, 2] = -sin * stretch / s_h, cos / s_h
    inner = np.zeros((*light.shape, 3, 3))
    inner[..., (0, 1, 2), (0, 1, 2)] = 1.0
    inner[..., 1, 2] = inner[..., 2, 1] = -rotation * _chroma_term(c)
    metric = np.swapaxes(jacobian, -1, -2) @ inner @ jacobian
    return np.asarray(0.5 * (metric + np.swapaxes(metric, -1, -2)))


def squares_about_mean(labs: ArrayLike) -> float:
    """Return the sum of squared differences [ΔE00²] of readings (n, 3) near their mean from it."""
    values = np.asarray(labs, dtype=np.float64)
    mean = values.mean(axis=0)
    off = values - mean
    return float(np.einsum("ni,ij,nj->", off, delta_e00_metric(mean), off))


def delta_e_cmc(
    standard: ArrayLike, trial: ArrayLike, *, lightness: float = 2.0, chroma: float = 1.0
) -> Array:
    """Return the colour difference CMC(l:c).

    Parameters
    ----------
    standard, trial : array_like, shape (..., 3)
        L*, a*, b*; broadcast against each other. Not symmetric: the standard sets the tolerance.
    lightness, chroma : float
        l and c; 2:1 for acceptability, 1:1 for perceptibility.

    Returns
    -------
    ndarray, shape (...)
        ΔE CMC (Clarke, McDonald, Rigg 1984; ISO 105-J03).

    Examples
    --------
    >>> float(delta_e_cmc((50.0, 20.0, 10.0), (51.0, 20.0, 10.0)).round(2))
    0.46
    """
    one, two = _pair(standard, trial)
    light, c1, hue = np.moveaxis(lch(one), -1, 0)
    shift = delta_lch(one, two)
    s_l = np.where(light < 16.0, 0.511, 0.040975 * light / (1.0 + 0.01765 * light))
    s_c = 0.0638 * c1 / (1.0 + 0.0131 * c1) + 0.638
    t = np.where(
        (hue >= 164.0) & (hue <= 345.0),
        0.56 + np.abs(0.2 * np.cos(np.radians(hue + 168.0))),
        0.36 + np.abs(0.4 * np.cos(np.radians(hue + 35.0))),
    )
    fourth = c1**4
    f = np.sqrt(fourth / (fourth + 1900.0))
    s_h = s_c * (f * t + 1.0 - f)
    return np.asarray(
        np.sqrt(
            (shift.lightness / (lightness * s_l)) ** 2
            + (shift.chroma / (chroma * s_c)) ** 2
            + (shift.hue / s_h) ** 2
        )
    )


def lch(lab: ArrayLike) -> Array:
    """Return lightness, chroma and hue angle.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, C*ab and h_ab [degree], 0 to 360; the hue of a grey is 0.

    Examples
    --------
    >>> lch((50.0, 0.0, 20.0)).tolist()
    [50.0, 20.0, 90.0]
    """
    values = np.asarray(lab, dtype=np.float64)
    a, b = values[..., 1], values[..., 2]
    hue = np.degrees(np.arctan2(b, a)) % 360.0
    hue = np.where((a == 0.0) & (b == 0.0), 0.0, hue)
    # A negative angle of less than rounding comes out of the modulus as 360.
    return np.stack([values[..., 0], np.hypot(a, b), np.where(hue >= 360.0, 0.0, hue)], axis=-1)


def delta_lch(standard: ArrayLike, trial: ArrayLike) -> LchShift:
    """Return how a trial lies beside a standard in lightness, chroma and hue.

    Parameters
    ----------
    standard, trial : array_like, shape (..., 3)
        L*, a*, b*; broadcast against each other.

    Returns
    -------
    LchShift
        ΔL*, ΔC*ab, ΔH*ab and Δh, trial less standard; the squares of the first three sum to
        ΔE*ab² (CIE 15:2018, 8.2.1.3).

    Examples
    --------
    >>> shift = delta_lch((50.0, 20.0, 0.0), (48.0, 22.0, 0.0))
    >>> [round(float(v), 2) for v in shift]
    [-2.0, 2.0, 0.0, 0.0]
    """
    one, two = _pair(standard, trial)
    a1, b1, a2, b2 = one[..., 1], one[..., 2], two[..., 1], two[..., 2]
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    # The cross product without cancelling where the two are near, and without a zero's sign.
    cross, dot = a1 * (b2 - b1) - b1 * (a2 - a1) + 0.0, a1 * a2 + b1 * b2
    # A grey has no hue to turn from or to.
    angle = np.where((c1 > 0.0) & (c2 > 0.0), np.arctan2(cross, dot), 0.0)
    return LchShift(
        np.asarray(two[..., 0] - one[..., 0]),
        np.asarray(c2 - c1),
        np.asarray(2.0 * np.sqrt(c1 * c2) * np.sin(0.5 * angle)),
        np.degrees(angle),
    )
