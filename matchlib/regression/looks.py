"""How alike grounds are taken to be, where one's leftovers are to tell of another's.

Of a ground that was never coated nothing is known but how it looks. Grounds of one look are often
of one kind, and bear a colour coat alike: two silvers, two whites; silver and black seldom do. So
grounds stand as far apart as their colours bare, and each a step besides, for unlike ones may look
the same (common practice, no source). By this an archive with one ground of another kind than the
rest does not lend that one's ways to all others.

Both numbers were settled on the inks of nine papers by marginal likelihood (Rasmussen and Williams
2006, section 5.4.1), left-out papers in view; what they are worth is judged on papers kept apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import Ground, Recipe, Viewing
from matchlib.regression.law import FilmLaw
from matchlib.regression.misses import Rows
from matchlib.regression.observe import lab_of
from matchlib.regression.table import RecipeTable

__all__ = ["places_of"]

Array = NDArray[np.float64]

ALIKE = 8.0
"""Difference of two bare grounds, in which one still tells something of the other [ΔE*ab]."""

STEP = 0.6
"""How far any two grounds stand apart besides, in the lengths of a field [-]."""


def places_of(law: FilmLaw, z: Array, rows: Rows) -> Array:
    """Return where the base grounds stand for the kernels of the residual fields.

    Parameters
    ----------
    law : FilmLaw
        The law.
    z : ndarray, shape (size,)
        Its free values, which know every ground from whatever was read of it.
    rows : Rows
        Readings that it was fitted to. Where they have a ground bare, that is what it looks like:
        what the law leaves under coats may have moved its own idea of the ground.

    Returns
    -------
    ndarray, shape (g, g + 3)
        In the lengths of a field [-].
    """
    words, table = law.words, rows.table
    alone = [Recipe(Ground.parse(name), None, None, "yes") for name in words.grounds]
    views = [Viewing(geometry=words.geometries[0])] * len(alone)
    lab, _ = lab_of(law.evaluate(z, RecipeTable.of(alone, views, words)).reflectance, "D65", "10")
    bare = table.total_coats == 0
    seen, shares = rows.seen.take(bare), table.ground_share[bare]
    miss = seen.lab - seen.lab_of(law.evaluate(z, table.take(bare)).reflectance)[0]
    for ground in range(len(alone)):
        neat = shares[:, ground] == 1.0
        if neat.any():
            lab[ground] += miss[neat].mean(axis=0)
    return np.column_stack([STEP * np.eye(len(alone)), lab / ALIKE])
