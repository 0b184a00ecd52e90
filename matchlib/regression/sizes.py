"""How large effects, noises and priors are: standard deviations, and what is believed of them.

Each is believed before any reading as a centre and a spread of its logarithm; readings move it by
marginal likelihood (`matchlib.regression.evidence`). What panels do not show of an effect that they
could share, of a sprayer say, or a lot, shrinks by itself, so that none needs to be left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matchlib.regression.law import FilmLaw

__all__ = ["EFFECTS", "WIDTH", "Sizes", "start_sizes"]

Array = NDArray[np.float64]

EFFECTS = ("film", "ground", "stray")
"""What varies from panel to panel: log film [-], log ground level [-], and stray light and dark
noise, an additive reflectance in each third of the spectrum [-], which is what makes deep colours
hard to read. Mottle, Lab as it comes, stands with the reading's own noise: repeat readings are
averaged before the fit, so that the two are one."""

COLUMNS = (1, 1, 3)
WIDTH = sum(COLUMNS)


@dataclass(frozen=True)
class Sizes:
    """Standard deviations: of panel effects, of each family's reading noise, of prior groups."""

    effects: Array  # (3,), in the order of `EFFECTS`
    noise: Array  # (f,), by family of observations
    groups: Array  # (p,), by prior group of the law

    def vector(self) -> Array:
        """Return the logarithms of all of them, shape (3 + f + p,)."""
        return np.asarray(np.log(np.concatenate([self.effects, self.noise, self.groups])), float)

    def replaced(self, vector: Array) -> Sizes:
        """Return sizes from logarithms in the order of `vector`."""
        ends = np.cumsum([len(self.effects), len(self.noise)])
        return Sizes(*np.split(np.exp(vector), ends))

    @property
    def effect_sds(self) -> Array:
        """Film, ground, stray light in each third, shape (5,)."""
        return np.asarray(np.repeat(self.effects, COLUMNS), float)


# Centre and spread of the logarithm of each size. A spread of 0 holds it.
_EFFECTS = {"film": (0.06, 0.4), "ground": (0.01, 0.7), "stray": (0.0005, 0.7)}
_NOISE = {"stated": (1.0, 0.0), "instrument": (0.2, 0.7), "photo": (1.5, 0.4), "tone": (1.2, 0.6)}
_GROUPS = {
    "fixed": (1.0, 0.0),
    "ground wave": (0.25, 0.5),
    "colour wave": (1.3, 0.4),
    "turn": (0.04, 0.7),
    "dose": (1.0, 0.5),
    "surface": (1.0, 0.3),
    "lambert": (0.5, 0.7),
    "sprayer": (0.06, 0.5),
    "lot": (0.04, 0.6),
    "batch": (0.02, 0.6),
    "drift": (0.04, 0.7),
    "clear": (0.015, 0.7),
    "instrument": (0.008, 0.6),
}


def start_sizes(law: FilmLaw) -> tuple[Sizes, Array, Array]:
    """Return the sizes believed before any reading, and how firmly."""
    chosen = [_GROUPS[g] for g in law.groups]
    pairs = np.array([*_EFFECTS.values(), *_NOISE.values(), *chosen], float)
    e, n = len(_EFFECTS), len(_NOISE)
    sizes = Sizes(pairs[:e, 0], pairs[e : e + n, 0], pairs[e + n :, 0])
    return sizes, np.log(pairs[:, 0]), pairs[:, 1]
