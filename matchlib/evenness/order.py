"""At which angles evenness is judged, and by which difference: a target's, or ΔE00 at one angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import Tolerance
from matchlib.domain import Viewing
from matchlib.regression import FilmPredictor
from matchlib.target import Target

__all__ = ["Judged", "judged"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Judged:
    """What evenness is judged by: m angles, a weight for each, one difference."""

    views: tuple[Viewing, ...]
    weights: tuple[float, ...]
    tolerance: Tolerance

    def worst(self, differences: Sequence[Array]) -> Array:
        """Return the greatest weighted difference over the angles, shape (...)."""
        each = [w * d for w, d in zip(self.weights, differences, strict=True)]
        return np.asarray(np.max(each, axis=0))


def judged(model: FilmPredictor, order: Target | None, viewing: Viewing | None) -> Judged:
    """Return what an order is judged by; where there is none, ΔE00 under the viewing."""
    usual = model.usual_view
    if order is None:
        return Judged((viewing or usual,), (1.0,), Tolerance())
    views = tuple(v or usual for v in order.viewings)
    return Judged(views, tuple(aim.weight for aim in order.aims), order.tolerance)
