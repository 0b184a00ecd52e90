"""What colour difference to expect of a colour that is known only within limits.

Close to a match, ΔE00 of a predicted colour is no fair guess of what will be read: a difference
cannot be negative, so that spread alone makes it greater (see ASTM E1345 on the number of
readings). So the whole cloud of likely colours is compared with the target, on fixed points.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.difference import delta_e00
from matchlib.errors import DomainError
from matchlib.shipped import table
from matchlib.tails import drawn_out, symmetric_root

__all__ = ["ExpectedDifference", "expected_delta_e00"]

Array = NDArray[np.float64]

_POINTS = 256  # a recipe: half of it is a power of two, for which Sobol's points are balanced
_BLOCK = 256  # recipes at once


class ExpectedDifference(NamedTuple):
    """What to expect of ΔE00, each an array of the recipes' shape."""

    mean: Array  # mean ΔE00
    sd: Array  # standard deviation of ΔE00
    probability: Array  # of ΔE00 within the tolerance [-], 0 to 1


@cache
def _points() -> Array:
    # Mirrored, so that the mean is exactly 0, then stretched so that the covariance is exactly 1.
    half = table("normal")[: _POINTS // 2]
    points = np.concatenate([half, -half])
    points = points @ symmetric_root(points.T @ points / _POINTS, inverse=True)
    points.setflags(write=False)
    return points


def expected_delta_e00(
    target: ArrayLike,
    mean: ArrayLike,
    cov: ArrayLike,
    *,
    tolerance: float,
    dof: ArrayLike = np.inf,
) -> ExpectedDifference:
    """Return mean, spread and the chance of being within tolerance of ΔE00 to a target.

    Parameters
    ----------
    target : array_like, shape (3,) or (..., 3)
        L*, a*, b*, one for all or one each.
    mean : array_like, shape (..., 3)
        Predicted L*, a*, b*.
    cov : array_like, shape (..., 3, 3)
        Covariance of the prediction, symmetric, none negative.
    tolerance : float
        Greatest ΔE00 that passes, more than 0.
    dof : array_like, shape () or (...)
        Degrees of freedom of the covariance, at least `matchlib.tails.FEWEST`: then the prediction
        is a Student's t of that covariance. Infinite for a normal.

    Returns
    -------
    ExpectedDifference
        The same numbers for the same input every time: 256 points are fixed, Sobol's sequence
        (Sobol 1967) as normal deviates, mirrored and scaled to exact mean and covariance, and
        drawn out to a t by `matchlib.tails.drawn_out`. How near that comes to a great random
        sample is in tests/test_colour_difference.py.

    Raises
    ------
    DomainError
        If tolerance, covariance or degrees of freedom are impossible.

    Examples
    --------
    >>> import numpy as np
    >>> aim = (50.0, 20.0, 10.0)
    >>> found = expected_delta_e00(aim, aim, 0.25 * np.eye(3), tolerance=1.0)
    >>> round(float(found.mean), 2), round(float(found.probability), 2)
    (0.62, 0.9)
    """
    centre = np.asarray(mean, dtype=np.float64)
    spread = np.asarray(cov, dtype=np.float64)
    shape = np.broadcast_shapes(
        centre.shape[:-1], spread.shape[:-2], np.shape(target)[:-1], np.shape(dof)
    )
    if not tolerance > 0.0:
        raise DomainError(
            "No chance of a match can be worked out from this.",
            expected="a tolerance above 0",
            got=f"{tolerance:g}",
            remedy="give the greatest ΔE00 that the order allows.",
        )
    finite = bool(np.all(np.isfinite(spread)))
    size = np.linalg.eigvalsh(spread if finite else np.zeros((3, 3)))
    if not finite or np.any(size[..., 0] < -1e-9 * (1.0 + size[..., 2])):
        raise DomainError(
            "This covariance of a Lab is not possible.",
            expected="finite numbers, and no direction with a negative variance",
            got=f"smallest variance {np.min(size):g}" if finite else "numbers that are not finite",
            remedy="give the covariance as the regression returned it.",
        )
    # The symmetric root, unlike Cholesky's, exists for no spread at all and does not jump.
    root = symmetric_root(spread)
    centres = np.broadcast_to(centre, (*shape, 3)).reshape(-1, 3)
    roots = np.broadcast_to(root, (*shape, 3, 3)).reshape(-1, 3, 3)
    targets = np.broadcast_to(np.asarray(target, dtype=np.float64), (*shape, 3)).reshape(-1, 3)
    few = np.broadcast_to(np.asarray(dof, dtype=np.float64), shape).reshape(-1)
    cloud = _points()
    result = np.empty((3, centres.shape[0]))
    for start in range(0, centres.shape[0], _BLOCK):
        part = slice(start, start + _BLOCK)
        away = cloud @ roots[part]
        if not np.all(few[part] == np.inf):
            away *= drawn_out(cloud, few[part])[:, :, None]
        likely = centres[part, None, :] + away
        difference = delta_e00(targets[part, None, :], likely)
        result[0, part] = difference.mean(axis=1)
        result[1, part] = difference.std(axis=1)
        result[2, part] = (difference <= tolerance).mean(axis=1)
    return ExpectedDifference(*(row.reshape(shape) for row in result))
