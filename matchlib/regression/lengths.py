"""How fast the residual fields change from recipe to recipe.

Three numbers for all parts: how far the strength of the film, and how far the mix ratio, must
differ before two recipes have little in common that the law leaves, and up to where strength is
counted by how much was laid. Which of the ways named here an archive's leftovers go its readings
say (Rasmussen and Williams 2006, section 5.4.1, marginal likelihood).

The numbers themselves were settled on the inks of four papers, by evidence and with left-out tones
of those inks in view; what they are worth is judged on other papers, which were kept apart
(``python -m tests.benchmarks real``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BETWEEN", "BY_AMOUNT", "BY_RECIPE", "WAYS", "Lengths"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Lengths:
    """Lengths of the kernels, by those of `BY_RECIPE`.

    Parameters
    ----------
    strength : float
        Along the strength of the film [-].
    ratio : float
        Along the logarithm of the colour fraction [-].
    knee : float
        Strength up to which films stand apart by how much was laid, and beyond which by how many
        times as much [coats of 6:1].
    """

    strength: float = 1.0
    ratio: float = 1.0
    knee: float = 1.0

    def place(self, strength: Array) -> Array:
        """Return where films stand along strength.

        Parameters
        ----------
        strength : ndarray, shape (n,)
            Strength of the films [coats of 6:1].

        Returns
        -------
        ndarray, shape (n,)
            In lengths of `BY_RECIPE`; one coat of 6:1 at the same place whatever the knee [-].
        """
        unit = np.log(2.0) / np.log1p(1.0 / self.knee)
        return np.asarray(unit / self.strength * np.log1p(strength / self.knee), np.float64)


BY_RECIPE = Lengths()
"""What is left changes slowly, with the mix ratio as much as with what was laid: films that hide a
little, bloom, or dry by the ratio."""

BY_AMOUNT = Lengths(strength=0.6, ratio=10.0, knee=5.0)
"""What is left goes by how much was laid, hardly by the ratio, and faster: droplets and dots that
run together, and cover in proportion to their number. A longer knee has hardly more evidence."""

BETWEEN = Lengths(strength=0.7, ratio=3.0)
"""Between the two. A fit climbs to the top that is near where it begins: a third beginning finds a
higher one where another stopped short."""

WAYS = (BY_RECIPE, BETWEEN, BY_AMOUNT)
"""What is tried; the readings' evidence chooses."""
