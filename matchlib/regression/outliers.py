"""Which panels are what their backs say: residuals of panels left out, and a mixture of two.

A panel is weighed by how far it lies from what all the *other* panels say of it, and not from the
fit that it helped to make: a wrong back that alone holds a corner (a ratio nobody else used) bends
the law to itself and leaves hardly any residual. For a law that is linear around its values no
second fit is needed: with leverage *h* the residual without the panel is ``r / (1 - h)`` (Cook and
Weisberg 1982, section 2.2; here with several readings a panel and a prior). Its probability of
being what its back says comes from a mixture of the predictive distribution and one many times
wider (Box and Tiao 1968).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.residuals import Residuals
from matchlib.regression.sizes import Sizes

__all__ = ["LeftOut", "leave_one_out"]

Array = NDArray[np.float64]

WRONG_BACKS = 0.03
"""Share of panels believed to carry a wrong recipe before any reading (common practice, no
source)."""

WIDER = 12.0
"""A wrong back's reading misses by some so many times more than a right one's."""

_MOST = 0.98
"""Leverage beyond which a residual as fitted is rounding, not news [-]."""


@dataclass(frozen=True)
class LeftOut:
    """Panels against the fit without them, each number an array (m,).

    Densities are of three numbers a panel at most, as one reading is worth.
    """

    right: Array  # log density of the readings if the back is right [nat]
    wrong: Array  # and if it is wrong [nat]
    squared: Array  # squared Mahalanobis distance if the back is right
    count: Array  # scalar observations
    leverage: Array  # greatest share of a reading that the fit took from the panel itself [-]

    def trust(self, excess: float = 1.0) -> Array:
        """Return the probability that each panel is what its back says; shape (m,)."""
        odds = np.log(WRONG_BACKS / (1 - WRONG_BACKS)) + (self.wrong - self.right) / excess
        return np.asarray(1.0 / (1.0 + np.exp(np.clip(odds, -50, 50))), float)


def leave_one_out(s: Residuals, covariance: Array, sizes: Sizes, trust: Array) -> LeftOut:
    """Weigh each panel by the others."""
    m = len(trust)
    count = np.bincount(s.panel, minlength=m)
    right, wrong, squared, leverage = (np.zeros(m) for _ in range(4))
    for who, rows, root in s.by_panel(sizes):
        k = rows.shape[1]
        jacobian = root @ s.jacobian[rows]
        hat = jacobian @ covariance @ jacobian.transpose(0, 2, 1)
        lever, axes = np.linalg.eigh((hat + hat.transpose(0, 2, 1)) / 2)
        lever = np.clip(lever, 0.0, None)
        whole = (axes.transpose(0, 2, 1) @ root @ s.value[rows][:, :, None])[:, :, 0]
        share = np.minimum(lever * trust[who][:, None], _MOST)
        away = (whole / (1.0 - share)) ** 2
        spread = (1.0 + lever - share) / (1.0 - share)
        # A spectrum's tone components overlap Lab; three observations is what a reading is worth.
        worth = min(k, 3.0) / k
        squared[who] = (away / spread).sum(axis=1)
        right[who] = -0.5 * worth * (away / spread + np.log(spread)).sum(axis=1)
        wide = spread + WIDER**2 - 1.0
        wrong[who] = -0.5 * worth * (away / wide + np.log(wide)).sum(axis=1)
        leverage[who] = share.max(axis=1)
    return LeftOut(right, wrong, squared, count.astype(float), leverage)
