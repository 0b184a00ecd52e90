"""How far a recipe reaches beyond what was sprayed, and which panels to leave out to learn of it.

How sure a prediction may be depends on what it is a prediction *to*: another panel of a pair of
ground and colour that was sprayed, a pair never sprayed, a ground known by its bare reading alone,
a blend, or more or richer colour than ever laid. Each of these is learnt of by leaving out panels
such that the rest must reach as far.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.law import FilmLaw
from matchlib.regression.residuals import Rows
from matchlib.regression.state import State
from matchlib.regression.table import RecipeTable

__all__ = ["KINDS", "Experience", "folds", "unknown_angle", "unknown_scatter"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Mask = NDArray[np.bool_]

KINDS = ("pair sprayed", "pair never sprayed", "ground never sprayed", "blend", "beyond")
"""Kinds of reach, by what is asked of the fit."""

SPRAYED, PAIR, GROUND, BLEND, BEYOND = range(len(KINDS))

FOLDS = 8
"""Parts in which recipes of pairs that were sprayed are left out."""

MOST_GROUPS = 12
"""Groups of one kind left out, at most; more would not change one number."""

MORE = 1.25
"""Of what was sprayed of a colour; what lies above is beyond [-]."""

TOPS = (0.55, 1.0 / MORE)
"""Of a colour's greatest strength; what lies above each is left out to learn how far more reaches:
much more, and a little."""

DIFFUSE = 3.0**-0.5
"""Share of a scatterer at all angles that a ground may be of which no panel tells, root of the mean
square [-]: anything between a mirror and such a scatterer is as likely."""


@dataclass(frozen=True)
class Experience:
    """What was sprayed: g grounds, c colours."""

    pairs: Mask  # (g, c), colours sprayed over each ground, neat or in a blend
    grounds: Mask  # (k, g), blends sprayed, by what is in them
    colours: Mask  # (m, c)
    strongest: Array  # (c,), greatest strength of a colour on a panel [coats of 6:1]
    richest: Array  # (c,), greatest logarithm of its fraction over that of 6:1

    @classmethod
    def of(cls, table: RecipeTable) -> Experience:
        """Look through rows."""
        ground, colour = table.ground_share > 0, table.colours
        pairs = (ground.T.astype(float) @ colour.astype(float)) > 0
        return cls(
            pairs,
            np.unique(ground[ground.sum(axis=1) > 1], axis=0),
            np.unique(colour[colour.sum(axis=1) > 1], axis=0),
            table.strength.max(axis=0, initial=0.0),
            _richest(table).max(axis=0, initial=-np.inf),
        )

    @property
    def sprayed(self) -> Mask:
        """Grounds that any colour was sprayed over; shape (g,)."""
        return np.asarray(self.pairs.any(axis=1))

    def kinds(self, table: RecipeTable) -> Ints:
        """Return the kind of reach of recipes; shape (n,)."""
        ground, colour = table.ground_share > 0, table.colours
        coated = colour.any(axis=1)
        new = ((ground @ ~self.pairs) & colour).any(axis=1)
        bare = (ground & ~self.sprayed).any(axis=1) & coated
        blend = _unseen(ground, self.grounds) | _unseen(colour, self.colours)
        beyond = table.strength > MORE * self.strongest
        beyond |= _richest(table) > self.richest + np.log(MORE)
        kinds = np.zeros(len(table), np.intp)
        more = beyond.any(axis=1)
        for mask, kind in ((new, PAIR), (bare, GROUND), (blend, BLEND), (more, BEYOND)):
            kinds[mask] = kind
        return kinds


def unknown_scatter(state: State, by_r: Array, sprayed: Mask) -> Array:
    """Return how Lab (n, k, g) changes by what grounds (g,) never sprayed on may hide, a step."""
    hidden = state.weight * ~sprayed
    if not hidden.any():
        return np.zeros((*by_r.shape[:2], len(sprayed)))
    change = np.einsum("nkb,nb->nk", by_r, state.if_diffuse)
    return np.asarray(DIFFUSE * change[:, :, None] * hidden[:, None, :])


def unknown_angle(law: FilmLaw, state: State, by_r: Array, table: RecipeTable) -> Array:
    """Return how Lab (n, k, 3 g) changes by what grounds throw at angles never read, a step."""
    # Towards the gloss, away from it and to all sides are three questions. A photograph has an
    # uncertainty of its own.
    asked = np.stack([table.geometry == slot for slot in (-1, -2, -3)], axis=1)
    if not asked.any():
        return np.zeros((*by_r.shape[:2], 3 * state.weight.shape[1]))
    change = law.curves["geometry"][0, 0] * np.einsum("nkb,nb->nk", by_r, state.by_ground)
    each = asked[:, :, None] * state.weight[:, None, :]
    return np.asarray(change[:, :, None] * each.reshape(len(each), 1, -1))


def folds(rows: Rows, seed: int | None) -> Iterator[tuple[int, Ints]]:
    """Return groups of panels to leave out, each with the kind of reach that it tells of."""
    first = np.unique(rows.panel, return_index=True)[1]
    t = rows.table.take(first)
    ground, colour = t.ground_share > 0, t.colours
    coated = colour.any(axis=1)
    main, pot = t.ground_share.argmax(axis=1), t.strength.argmax(axis=1)
    neat = coated & (colour.sum(axis=1) == 1)
    draw = np.random.default_rng(seed)
    recipe = np.column_stack([t.ground_share, t.strength.round(4), t.coats])
    _, same = np.unique(recipe, axis=0, return_inverse=True)
    of = draw.permutation(same.max() + 1)[same] % FOLDS
    groups = {SPRAYED: [np.flatnonzero(coated & (of == f)) for f in range(FOLDS)]}
    groups[PAIR] = [
        np.flatnonzero(neat & (main == g) & (pot == c))
        for g, c in np.unique(np.column_stack([main, pot])[neat], axis=0)
        if len(np.unique(main[neat & (pot == c)])) > 1
        and len(np.unique(pot[neat & (main == g)])) > 1
    ]
    groups[GROUND] = [
        np.flatnonzero(coated & ground[:, g])
        for g in range(ground.shape[1])
        if (coated & ~ground[:, g]).any()
    ]
    blends = coated & ((colour.sum(axis=1) > 1) | (ground.sum(axis=1) > 1))
    mixed = np.column_stack([ground, colour])
    groups[BLEND] = [
        np.flatnonzero(blends & (mixed == kind).all(axis=1))
        for kind in np.unique(mixed[blends], axis=0)
    ]
    strong = t.strength
    groups[BEYOND] = [
        np.flatnonzero(neat & (pot == c) & (strong[:, c] > top * strong[:, c].max()))
        for c in range(colour.shape[1])
        for top in TOPS
        if (neat & (pot == c) & (strong[:, c] <= top * strong[:, c].max())).sum() > 1
    ]
    for kind, each in groups.items():
        some = [g for g in each if len(g)]
        for i in draw.permutation(len(some))[:MOST_GROUPS]:
            yield kind, some[i]


def _richest(table: RecipeTable) -> Array:
    """Greatest logarithm of a colour's fraction in any step of a row, (n, c)."""
    sprayed = (table.colour_share > 0) & (table.coats > 0)[:, :, None]
    return np.asarray(np.where(sprayed, table.bend[:, :, None], -np.inf).max(axis=1), float)


def _unseen(members: Mask, known: Mask) -> Mask:
    """Rows that are blends, of things never blended so."""
    blended = np.asarray(members.sum(axis=1) > 1, np.bool_)
    if blended.any():
        blended &= ~(members[:, None, :] == known).all(axis=2).any(axis=1)
    return blended
