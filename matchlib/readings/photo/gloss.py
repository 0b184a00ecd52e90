"""What a panel's gloss adds to its colour, parted from it as far as a photograph allows.

Light from a glossy panel is the sum of what its body returns and of what its surface mirrors, the
second being of the light's own colour (Shafer 1985, 'Using color to separate reflection
components'; Klinker, Shafer and Kanade 1988). Over a panel both change: the body's brightness by a
factor, as a metallic's slope, the mirrored part by a sum. A coloured panel tells the two apart, a
grey one only by how large each can be. What is mirrored alike all over does not show at all; it is
bounded by the panel's darkest channel, and believed to be as large as a clear coat's 4 percent
(Fresnel's law for n = 1.5) of surroundings that are darker than a white beside the panel, as a
rule, and seldom brighter. How bright surroundings are is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import xyz_to_lab
from matchlib.readings.photo.chart import WHITE

__all__ = ["Body", "body_lab", "part_gloss", "parted", "smooth_terms"]

Array = NDArray[np.float64]

# Cone-like responses of CIECAM16 (Li et al. 2017), in which every real colour is positive.
_CONES: Array = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)
_MIRRORED = 0.014  # half-width of what is believed to be mirrored all over, of white's Y
_MATT = 0.002  # the same of a matt surface; common practice, no source
_TAIL = 3.0  # degrees of freedom of that belief
_OWN_SLOPE = 0.3  # sd of a cell's own brightness against the panel's, logarithm
_CHANGE = 0.05  # sd of a cell's reflection against the panel's, of white's Y
_DARKEST = 0.003  # of white, that any painted panel returns; common practice, no source
_MOVED = 0.01  # change of the reflection at which photographs count as seen under another one


@dataclass(frozen=True)
class Body:
    """A panel's light where its picture shows the least reflection."""

    xyz: Array  # (3,), with what is still mirrored there, white having Y = 1
    change: float  # how much more is mirrored elsewhere on the panel, of white's Y
    slope: float  # logarithm by which the body's brightness changes from edge to edge
    matt: bool = False  # as a ground without clear coat is: then it mirrors little


def parted(areas: Array, noise: Array, among: Array, *, change: float, slope: float) -> Array:
    """Return each area's body and mirrored light, less those of most areas; shape (n, 2)."""
    result = np.empty((len(areas), 2))
    terms = np.column_stack([among, WHITE])
    for i, (area, error) in enumerate(zip(areas, noise, strict=True)):
        weight = 1.0 / np.hypot(error, 0.01 * among + 0.001) ** 2
        inner = terms.T @ (weight[:, None] * terms) + np.diag([slope**-2.0, change**-2.0])
        result[i] = np.linalg.solve(inner, terms.T @ (weight * (area - among)))
    return result


def smooth_terms(places: Array) -> Array:
    """Return level, slopes and bends over a panel, whose sides are 1 long; shape (n, 6)."""
    x, y = ((places - places.mean(axis=0)) / np.maximum(np.ptp(places, axis=0), 1e-9)).T
    return np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y])


def part_gloss(areas: Array, noise: Array, places: Array, *, matt: bool = False) -> Body:
    """Part a panel's areas into body and reflection."""
    among = np.median(areas, axis=0)
    found = parted(areas, noise, among, change=_CHANGE, slope=_OWN_SLOPE)
    # A reflection is smooth over the panel; what scatters from cell to cell is noise and flake.
    smooth = smooth_terms(places)
    made = smooth @ np.linalg.lstsq(smooth, found, rcond=None)[0]
    scatter = 1.4826 * np.median(np.abs(found[:, 1] - made[:, 1]))
    low, high = np.quantile(made[:, 1], [0.1, 0.9])
    change = max(float(high - low) - 2.0 * scatter / np.sqrt(len(smooth) / 6.0), 0.0)
    kept = areas - np.clip(made[:, 1] - low, 0.0, None)[:, None] * WHITE * (change > 0)
    tilt = np.linalg.lstsq(smooth[:, :3], found[:, 0], rcond=None)[0][1:]
    slope = float(np.ptp(smooth[:, 1:3] @ tilt))
    return Body(np.asarray(kept.mean(axis=0)), change, slope, matt)


def body_lab(body: Body, more: Sequence[float] = ()) -> tuple[Array, Array]:
    """Return Lab (3,) of the body without what is mirrored, and its covariance (3, 3)."""
    cones = _CONES @ (body.xyz / WHITE)
    most = max(float(cones.min()) - _DARKEST, 1e-4)
    left = np.linspace(0.0, most, 48)
    scale = float(np.hypot(_MATT if body.matt else _MIRRORED, 1.5 * body.change))

    def belief(mirrored: Array) -> Array:
        return np.asarray(-0.5 * (_TAIL + 1.0) * np.log1p((mirrored / scale) ** 2 / _TAIL))

    log = belief(left)
    # Photographs that mirror alike may all mirror the same sky, and so say no more than one.
    share = min(1.0, max(more, default=0.0) / _MOVED)
    for other in more:
        log = log + share * belief(left + other)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    taken = 0.0 if body.matt else min(0.004, 0.2 * most)
    labs = xyz_to_lab(body.xyz - left[:, None] * WHITE, WHITE)
    lab = xyz_to_lab(body.xyz - taken * WHITE, WHITE)
    away = labs - lab
    return np.asarray(lab), np.asarray((weight[:, None] * away).T @ away)
