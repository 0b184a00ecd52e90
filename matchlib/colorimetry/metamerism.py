"""How a match holds when the light changes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry.difference import delta_e00
from matchlib.colorimetry.lab import reflectance_to_xyz, xyz_to_lab
from matchlib.colorimetry.tables import white_point
from matchlib.domain import Viewing
from matchlib.errors import DomainError

__all__ = ["index_of_xyz", "metamerism_index"]

Array = NDArray[np.float64]
Difference = Callable[[ArrayLike, ArrayLike], Array]


def metamerism_index(
    standard: ArrayLike,
    trial: ArrayLike,
    test: Viewing,
    reference: Viewing | None = None,
    *,
    difference: Difference = delta_e00,
) -> Array:
    """Return the special index of metamerism: what the change of light alone does to a match.

    Parameters
    ----------
    standard, trial : array_like, shape (..., 31)
        Reflectance factor, 400 to 700 nm by 10 [-].
    test : Viewing
        The other light; or, with the reference's light, the other observer.
    reference : Viewing, optional
        The light of the match; D65/10° where not given.
    difference : callable
        Which difference. CIE 15 takes ΔE*ab (`delta_e76`) and lets others be named; here ΔE00.

    Returns
    -------
    ndarray, shape (...)
        The index, at least 0. If the pair does not match under the reference, the trial's XYZ
        under the test light are first multiplied by standard over trial under the reference
        (CIE 15:2018, special metamerism index, change in illuminant; the correction recommended
        for XYZ in ISO 18314-4).

    Raises
    ------
    DomainError
        If the trial sends back no light under the reference.

    Examples
    --------
    >>> import numpy as np
    >>> from matchlib import Viewing
    >>> grey = np.full(31, 0.3)
    >>> float(metamerism_index(grey, grey, Viewing("A")))
    0.0
    """
    base = Viewing() if reference is None else reference
    return index_of_xyz(
        reflectance_to_xyz(standard, test),
        reflectance_to_xyz(trial, test),
        reflectance_to_xyz(standard, base),
        reflectance_to_xyz(trial, base),
        white_point(test.illuminant, test.observer),
        difference=difference,
    )


def index_of_xyz(
    standard_test: ArrayLike,
    trial_test: ArrayLike,
    standard_reference: ArrayLike,
    trial_reference: ArrayLike,
    white: ArrayLike,
    *,
    difference: Difference = delta_e00,
) -> Array:
    """Return the special index of metamerism from XYZ, (..., 3), and the test light's white."""
    seen = np.asarray(trial_reference, dtype=np.float64)
    wanted = np.asarray(standard_reference, dtype=np.float64)
    if not np.all(seen > 0.0) or not np.all(wanted > 0.0):
        raise DomainError(
            "An index of metamerism needs light from both panels.",
            expected="X, Y and Z above 0 under the reference light",
            got=f"smallest {min(np.min(seen), np.min(wanted)):g}",
            remedy="read the panel again; a black this deep cannot be compared by ratio.",
        )
    corrected = np.asarray(trial_test, dtype=np.float64) * (wanted / seen)
    return difference(xyz_to_lab(standard_test, white), xyz_to_lab(corrected, white))
