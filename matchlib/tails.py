"""How far out a reading may lie when the spread itself was learnt from few.

What is not known of the law is a variance that a handful of grounds has told; a variance from few
is itself uncertain, and a reading about it follows Student's t instead of a normal: more often
near, and more often far out. Here are the degrees of freedom of such a reading, the ellipsoids
that hold a stated share of readings, and clouds of normal points drawn out to that t. All are
scaled so that the covariance is what it was: only where the readings lie within it changes. And
here is how a chance that comes of them is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.errors import DomainError
from matchlib.shipped import table

__all__ = [
    "FEWEST",
    "SHIPPED_CLOUDS",
    "SHIPPED_RANKS",
    "block_diagonal",
    "chance_words",
    "dof_of",
    "dof_of_panel",
    "drawn_out",
    "far_out",
    "freedoms",
    "made_cloud",
    "ninety_nine",
    "normal_cloud",
    "region",
    "spread_by",
    "squared_distance",
    "symmetric_root",
]

Array = NDArray[np.float64]

FEWEST = 3.0
"""Least degrees of freedom spoken of: with 2 or fewer a t has no covariance."""

PANELS = 6.0
"""Degrees of freedom of what differs from panel to panel: some hands and some days are steadier
than others (common practice, no source)."""

SHIPPED_CLOUDS, SHIPPED_RANKS = (10, 32, 64), (5, 16, 32, 128)
"""Points, and ranks of their distance, of the clouds in three dimensions that a match asks for: the
file holds them, for scipy takes longer to load than all else that it would need."""

_STEPS = 16
"""Steps of 1 / degrees of freedom, from 0 to 1 / `FEWEST`; clouds between are interpolated."""


def dof_of(known: ArrayLike, total: ArrayLike, *, known_dof: ArrayLike) -> Array:
    """Return the degrees of freedom of readings of which a part was learnt from few."""
    # Welch (1947), Satterthwaite (1946): nu / s**2 for a share s of the variance that has nu; in d
    # dimensions s is the mean over the directions of the total, trace(total^-1 known) / d.
    part, whole = np.asarray(known, float), np.asarray(total, float)
    share = np.trace(np.linalg.solve(whole, part), axis1=-2, axis2=-1) / whole.shape[-1]
    with np.errstate(divide="ignore"):
        found = np.asarray(known_dof, float) / np.clip(share, 0.0, 1.0) ** 2
    return np.asarray(np.maximum(found, FEWEST), float)


def dof_of_panel(known: Array, total: Array, *, known_dof: ArrayLike) -> Array:
    """Return those of the next panel's reading, whose own spread differs too."""
    few = 1.0 / dof_of(known, total, known_dof=known_dof)
    own = 1.0 / dof_of(total - known, total, known_dof=PANELS)
    with np.errstate(divide="ignore"):
        return np.maximum(1.0 / (few + own), FEWEST)


def region(level: ArrayLike, dof: ArrayLike = np.inf, *, dimension: int = 3) -> Array:
    """Return the squared distance up to which a stated share of readings lies."""
    # q of d' cov^-1 d <= q, by Fisher's F (Hotelling 1931), cov being the covariance of the t.
    # Not above: what only reads colours does without scipy.
    from scipy.special import fdtri, gammaincinv

    share, nu = np.broadcast_arrays(np.asarray(level, float), np.asarray(dof, float))
    if not (np.all((share >= 0.0) & (share <= 1.0)) and np.all(nu >= FEWEST)):
        raise DomainError(
            "There is no region of such a share.",
            expected=f"a share of 0 to 1, and at least {FEWEST:g} degrees of freedom",
            got=f"{np.min(share):g} to {np.max(share):g}, and {np.min(nu):g}",
            remedy="give the share as 0.9 for 90%, and the degrees of freedom as the regression "
            "gave them.",
        )
    normal = 2.0 * gammaincinv(dimension / 2.0, share)
    finite = np.where(np.isfinite(nu), nu, 1e6)
    students = dimension * fdtri(float(dimension), finite, share) * (finite - 2.0) / finite
    return np.asarray(np.where(np.isfinite(nu), students, normal), float)


def ninety_nine(dimension: int, dof: ArrayLike = np.inf) -> Array:
    """Return the squared distance up to which 99 of 100 readings lie."""
    bounds = table("ninety-nine")
    if dimension > bounds.shape[1]:
        return region(0.99, dof, dimension=dimension)
    bound = bounds[:, dimension - 1]
    below, rest = _place(dof)
    return np.asarray((1.0 - rest) * bound[below] + rest * bound[below + 1], float)


@cache
def normal_cloud(points: int, width: int) -> Array:
    """Return points that stand for a standard normal distribution, evenly spread."""
    if width == 3 and points in SHIPPED_CLOUDS:
        return table(f"cloud/{points}")
    return made_cloud(points, width)


def made_cloud(points: int, width: int) -> Array:
    """Work out points that stand for a standard normal distribution."""
    # Multiples of the roots of primes, modulo 1, fill a cube evenly (Richtmyer 1951).
    from scipy.special import ndtri

    mirrored = points % 2 == 0
    primes = [p for p in range(2, 20 * width) if all(p % q for q in range(2, p))][:width]
    number = np.arange(1, (points // 2 if mirrored else points) + 1)[:, None]
    cloud = ndtri(np.mod(number * np.sqrt(primes), 1.0))
    cloud = np.concatenate([cloud, -cloud]) if mirrored else cloud - cloud.mean(axis=0)
    if (points // 2 if mirrored else points - 1) >= width:
        cloud = cloud @ symmetric_root(cloud.T @ cloud / points, inverse=True)
    cloud.setflags(write=False)  # one for all who ask
    return np.asarray(cloud, float)


def symmetric_root(covariance: Array, *, inverse: bool = False) -> Array:
    """Return the symmetric square root of covariances."""
    size, axes = np.linalg.eigh(covariance)
    least = 1e-9 * np.maximum(size[..., -1:], 1e-12) if inverse else 0.0
    scale = np.sqrt(np.maximum(size, least))[..., None, :]
    scaled = axes / scale if inverse else axes * scale
    return np.asarray(scaled @ np.swapaxes(axes, -1, -2), float)


def block_diagonal(blocks: Sequence[Array] | Array) -> Array:
    """Return square blocks of one size along the diagonal, and zeros beside them."""
    # As scipy.linalg's, which takes longer to load than a search.
    each = np.asarray(blocks, float)
    count, size = each.shape[:2]
    whole = np.zeros((count, size, count, size))
    whole[np.arange(count), :, np.arange(count)] = each
    return whole.reshape(count * size, count * size)


def spread_by(slope: Array, covariance: Array) -> Array:
    """Return the covariances (n, m, m) of what moves by slopes (n, m, k) with k values."""
    # As one product, for n small ones take three times as long.
    moved = (slope.reshape(-1, slope.shape[-1]) @ covariance).reshape(slope.shape)
    return np.asarray(moved @ slope.transpose(0, 2, 1), float)


def squared_distance(off: Array, covariance: Array) -> Array:
    """Return the squared distances (n,) of n points (n, k) in units of their covariances."""
    solved = np.linalg.solve(covariance, off[:, :, None])[:, :, 0]
    return np.asarray(np.sum(off * solved, axis=1), float)


def drawn_out(cloud: Array, dof: ArrayLike) -> Array:
    """Return how far each point of a normal cloud must be drawn out for it to be a t's."""
    # A t is as round as the normal, so that only distances from the middle differ: by the ratio of
    # the two distributions' quantiles at the point's rank.
    nu = np.atleast_1d(np.asarray(dof, float))
    if not np.all(nu >= FEWEST):
        raise DomainError(
            "A spread learnt from so few says nothing.",
            expected=f"at least {FEWEST:g} degrees of freedom",
            got=f"{np.min(nu):g}",
            remedy="give the degrees of freedom as the regression gave them.",
        )
    factors = _factors(cloud.tobytes(), cloud.shape[1])
    below, rest = _place(nu)
    rest = rest[:, None]
    return np.asarray((1.0 - rest) * factors[below] + rest * factors[below + 1], float)


def freedoms() -> Array:
    """Return the degrees of freedom that tables are made for, from infinity down to `FEWEST`."""
    with np.errstate(divide="ignore"):
        return np.asarray(_STEPS * FEWEST / np.arange(_STEPS + 1.0), float)


def _place(dof: ArrayLike) -> tuple[NDArray[np.intp], Array]:
    """The step below some degrees of freedom, and how far from it to the next."""
    place = _STEPS * FEWEST / np.asarray(dof, float)
    below = np.asarray(np.minimum(place.astype(np.intp), _STEPS - 1), np.intp)
    return below, np.asarray(place - below, float)


@lru_cache(maxsize=64)  # few clouds, each drawn out hundreds of times in a search
def _factors(cloud: bytes, dimension: int) -> Array:
    """How far each point is drawn out, one row a step of 1 / degrees of freedom."""
    points = np.frombuffer(cloud).reshape(-1, dimension)
    length = np.round(np.einsum("kd,kd->k", points, points), 9)
    lengths = np.array(sorted(set(length.tolist())))
    rank = np.searchsorted(lengths, length)
    if dimension == 3 and len(lengths) in SHIPPED_RANKS:
        return table(f"far out/{len(lengths)}")[:, rank]
    return far_out(len(lengths), dimension)[:, rank]


def far_out(ranks: int, dimension: int) -> Array:
    """Work out how far each rank is drawn out, one row a step of 1 / degrees of freedom."""
    share = (np.arange(ranks) + 0.5) / ranks
    far = region(share, freedoms()[:, None], dimension=dimension)
    return np.asarray(np.sqrt(far / region(share, dimension=dimension)), float)


def chance_words(probability: float) -> str:
    """Return a chance as it is said: no panel is certain to pass, and none to fail."""
    if probability > 0.99:
        return "over 99%"
    return "under 1%" if probability < 0.01 else f"{probability:.0%}"
