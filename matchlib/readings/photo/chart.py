"""The 24-patch reference chart: what its patches are, and where they lie.

Order, here and everywhere: row by row from the brown patch, the six greys from white to black
last. The plane of the chart has the brown patch's centre at (0, 0) and the black one's at (5, 3).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import lab_to_xyz, reflectance_to_lab, white_point
from matchlib.errors import DomainError
from matchlib.shipped import table

__all__ = ["CENTRES", "GREYS", "WHITE", "chart_lab", "chart_xyz", "standard_chart_lab"]

Array = NDArray[np.float64]

CENTRES: Array = np.array([[i % 6, i // 6] for i in range(24)], dtype=np.float64)
"""Centre of each patch in the chart's plane [patch pitch]."""
GREYS = slice(18, 24)
"""The grey patches, white first."""
WHITE: Array = np.asarray(white_point("D65", "10") / 100.0)
"""XYZ of the perfect diffuser, D65/10°, its Y being 1."""


@cache
def standard_chart_lab() -> Array:
    """Return Lab of an average chart.

    Returns
    -------
    ndarray, shape (24, 3)
        D65/10°, by ASTM E308 from the mean of measured charts that colour-science ships.
    """
    lab = reflectance_to_lab(table("chart"))
    lab.setflags(write=False)
    return lab


def chart_lab(values: ArrayLike | None) -> Array:
    """Return the chart's own values, checked, or those of an average chart; shape (24, 3)."""
    if values is None:
        return standard_chart_lab()
    try:
        lab = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        lab = np.zeros(0)
    good = lab.shape == (24, 3) and bool(np.all(np.isfinite(lab)))
    if good:
        greys = lab[GREYS]
        good = bool(np.all(np.diff(greys[:, 0]) < 0) and np.all(np.abs(greys[:, 1:]) < 8))
        good = good and bool(np.all((lab[:, 0] > 0) & (lab[:, 0] <= 100)))
    if not good:
        raise DomainError(
            "These are not the values of a 24-patch reference chart.",
            expected="24 rows of L, a, b (D65/10°), row by row from the brown patch, the greys "
            "from white to black last",
            got=f"an array of shape {lab.shape}" if lab.shape != (24, 3) else "another order",
            remedy="give the values in that order, or leave them out for an average chart.",
        )
    return lab


def chart_xyz(lab: Array) -> Array:
    """Return XYZ of chart values, the perfect diffuser's Y being 1; shape (24, 3)."""
    return np.asarray(lab_to_xyz(lab, white_point("D65", "10")) / 100.0)
