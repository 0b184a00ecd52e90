"""One colour sprayed over another, each from a pot of its own: searched only when asked for.

Neat colours over grounds that stand ready, in every order and number of coats, at a few ratios
of each pot; around the best of every pair the ratios between. All of it by the whole law, in which
order matters where a colour scatters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import CoatSchedule, CoatStep, Recipe, Viewing
from matchlib.suggest.space import Schedules, Space, spread
from matchlib.target import Target

__all__ = ["layered"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST = 1_500_000
"""Recipes looked through; of more, every second, third ... way to part the coats."""

_RATIOS = 5
_EACH, _KEPT = 2, 100
_BLOCK = 20_000


def layered(
    space: Space, target: Target, viewings: Sequence[Viewing]
) -> tuple[list[Recipe], Array, int]:
    """Return the best recipes of two layers, how far each is from the target, and of how many."""
    walk = _Layers(space, target, viewings)
    rows = walk.every()
    if not len(rows):
        return [], np.zeros(0), 0
    cost = np.empty(len(rows))
    for i in range(0, len(rows), _BLOCK):
        cost[i : i + _BLOCK] = walk.differences(rows[i : i + _BLOCK])
    ground, below, above = rows[:, :3].T
    pots = len(space.colour_share)
    best = rows[spread((ground * pots + below) * pots + above, cost, _KEPT, _EACH)]
    far = max(1, len(walk.ratios) // (_RATIOS - 1))
    while far:
        best = walk.nearer(best, far)
        far //= 2
    return [walk.recipe(row) for row in best], walk.differences(best), len(rows)


class _Layers:
    """Rows are of ground, pot below, pot above, coats of either, and the place of either ratio."""

    def __init__(self, space: Space, target: Target, viewings: Sequence[Viewing]) -> None:
        self.space, self.target, self.viewings = space, target, viewings
        self.ratios = space.limits.ratios()
        self.carrier = np.array([float(r.carrier / r.colour) for r in self.ratios])
        self.stock = space.stock[space.colour_share.argmax(axis=1)]

    def every(self) -> Ints:
        """Each pair of pots over each ground, at a few ratios."""
        limits, shelf = self.space.limits, self.space.shelf
        grounds = [g for g, new in enumerate(shelf.never_mixed) if not new]
        pairs = list(permutations(np.flatnonzero(self.space.neat).tolist(), 2))
        counts = range(max(2, limits.min_coats), limits.max_coats + 1)
        coats = [(n, total - n) for total in counts for n in range(1, total)]
        last = len(self.ratios) - 1
        few = np.unique(np.linspace(0, last, _RATIOS).round().astype(int)).tolist()
        apart = 1 + len(grounds) * len(pairs) * len(coats) * len(few) ** 2 // MOST
        parts: list[list[Any]] = [grounds, pairs, coats[::apart], list(product(few, few))]
        tables = [
            np.array(p, np.intp).reshape(-1, wide)
            for p, wide in zip(parts, (1, 2, 2, 2), strict=True)
        ]
        at = np.indices([len(p) for p in parts]).reshape(4, -1)
        rows = np.concatenate([t[i] for t, i in zip(tables, at, strict=True)], axis=1)
        return rows[self.allowed(rows)]

    def allowed(self, rows: Ints) -> NDArray[np.bool_]:
        """Whether the shelf has paint for both pots."""
        needed = self.space.limits.mixed_ml(rows[:, 3:5]) / (1.0 + self.carrier[rows[:, 5:7]])
        return np.asarray((needed <= self.stock[rows[:, 1:3]]).all(axis=1))

    def differences(self, rows: Ints) -> Array:
        """How far each is from the target, in the unit of its tolerance."""
        below, above = (self.space.colour_share[rows[:, i]] for i in (1, 2))
        schedules = Schedules(rows[:, 3:5], self.carrier[rows[:, 5:7]])
        labs = []
        for view in self.viewings:
            table = self.space.table(self.space.ground_share[rows[:, 0]], below, schedules, view)
            table = replace(table, colour_share=np.stack([below, above], axis=1))
            labs.append(self.space.model.predict_rows(table, view))
        return self.target.difference(labs)

    def nearer(self, rows: Ints, far: int) -> Ints:
        """Each row, or what is nearest of it with either ratio so many places off."""
        moves = np.array(list(product((0, -far, far), repeat=2)))
        tried = np.repeat(rows[:, None], len(moves), axis=1)
        tried[:, :, 5:7] = np.clip(tried[:, :, 5:7] + moves, 0, len(self.ratios) - 1)
        cost = self.differences(tried.reshape(-1, 7)).reshape(len(rows), len(moves))
        cost[~self.allowed(tried.reshape(-1, 7)).reshape(cost.shape)] = np.inf
        return np.unique(tried[np.arange(len(rows)), cost.argmin(axis=1)], axis=0)

    def recipe(self, row: Ints) -> Recipe:
        """A row as a recipe."""
        shelf = self.space.shelf
        steps = tuple(
            CoatStep(int(n), self.ratios[r], shelf.colours[pot])
            for n, r, pot in zip(row[3:5], row[5:7], row[1:3], strict=True)
        )
        return Recipe(shelf.grounds[row[0]], steps[0].colour, CoatSchedule(steps), shelf.clear)
