"""How large effects, noises and priors are believed to be before any reading, and how firmly.

Each is a centre and a spread of its logarithm; readings move them by marginal likelihood
(`matchlib.regression.evidence`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.evidence import Sizes
from matchlib.regression.law import FilmLaw

__all__ = ["start_sizes"]

Array = NDArray[np.float64]

# Centre and spread of the logarithm of each size. A spread of 0 holds it.
_EFFECTS = {"film": (0.05, 0.6), "ground": (0.01, 0.7), "stray": (0.0005, 0.7)}
_NOISE = {"stated": (1.0, 0.0), "instrument": (0.2, 0.7), "photo": (1.5, 0.4), "tone": (1.2, 0.6)}
_GROUPS = {
    "fixed": (1.0, 0.0),
    "ground wave": (0.25, 0.5),
    "colour wave": (1.3, 0.4),
    "own slope": (1.0, 0.6),
    "dose": (1.0, 0.5),
    "surface": (1.0, 0.3),
    "own k2": (0.15, 0.3),
    "sprayer": (0.06, 0.5),
    "film shared": (0.02, 1.2),
    "film colour": (0.02, 1.2),
    # Grounds and colours are few: how far they differ is believed the more firmly.
    "film ground": (0.02, 0.6),
    "film both": (0.02, 1.2),
    "bare shared": (3.0, 0.7),
    "bare colour": (0.3, 0.75),
    "bare ground": (0.3, 0.75),
    "spectrum shared": (0.03, 1.2),
    "spectrum ground": (0.02, 1.2),
}


def start_sizes(law: FilmLaw) -> tuple[Sizes, Array, Array]:
    """Return the sizes believed before any reading, and how firmly.

    Parameters
    ----------
    law : FilmLaw
        Gives the prior groups.

    Returns
    -------
    sizes : Sizes
        Centres.
    centre, spread : ndarray
        Of the logarithms, in the order of `Sizes.vector`.
    """
    chosen = [_GROUPS[g] for g in law.groups]
    pairs = np.array([*_EFFECTS.values(), *_NOISE.values(), *chosen], float)
    e, n = len(_EFFECTS), len(_NOISE)
    sizes = Sizes(pairs[:e, 0], pairs[e : e + n, 0], pairs[e + n :, 0])
    return sizes, np.log(pairs[:, 0]), pairs[:, 1]
