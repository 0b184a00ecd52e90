"""Every recipe within the limits, as arrays and, where wanted, as recipes.

A recipe is a ground, a pot (a colour or blend) and a schedule; the three are kept apart, so that
a million recipes take a few thousand rows. Every step-up of a neat colour is looked through; of a
blend only those near the best are tried (`matchlib.suggest.refine`), for which the same pot is let
down twice: in the film law they add little to a blend that another ratio would not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import CoatSchedule, CoatStep, MixRatio, Recipe, Viewing
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor
from matchlib.regression.table import REFERENCE_FRACTION, RecipeTable
from matchlib.suggest.ingredients import Ingredients

__all__ = ["Schedules", "Space", "spread"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_SCHEDULES = 20_000
"""Schedules of one pot; finer cups are searched on every second, third ... ratio first."""


@dataclass(frozen=True)
class Schedules:
    """Coats of one or two steps, one row a schedule."""

    coats: NDArray[np.int64]  # (s, 2), of each step; the second is 0 for a single ratio
    carrier: Array  # (s, 2), parts of carrier to one of colour

    def __len__(self) -> int:
        return len(self.coats)

    @classmethod
    def of(cls, limits: Limits) -> Schedules:
        """Return every schedule within the limits, single ratios first."""
        parts = [float(r.carrier / r.colour) for r in limits.ratios()]
        counts = range(limits.min_coats, limits.max_coats + 1)
        rows = [(n, 0, p, p) for n in counts for p in parts]
        if limits.step_ups:
            splits = [(k, n - k) for n in counts for k in range(1, n)]
            apart = 1
            while len(splits) * (len(parts[::apart]) ** 2) / 2 > MOST_SCHEDULES:
                apart += 1
            pairs = list(combinations(parts[::apart], 2))
            rows += [(k, m, weak, strong) for k, m in splits for weak, strong in pairs]
        made = np.array(rows, float)
        return cls(made[:, :2].astype(np.int64), made[:, 2:])

    @cached_property
    def single(self) -> NDArray[np.bool_]:
        """Whether a schedule has one ratio, shape (s,)."""
        return np.asarray(self.coats[:, 1] == 0)

    @cached_property
    def total(self) -> NDArray[np.int64]:
        """Coats in all, shape (s,)."""
        return np.asarray(self.coats.sum(axis=1))

    @cached_property
    def kind(self) -> NDArray[np.int64]:
        """Twice the coats, and one more for two ratios, shape (s,)."""
        return np.asarray(2 * self.total + ~self.single)

    @cached_property
    def strength(self) -> Array:
        """Coats times colour fraction [coats of neat colour], shape (s,)."""
        return np.asarray((self.coats / (1.0 + self.carrier)).sum(axis=1))

    def take(self, rows: Ints | NDArray[np.bool_]) -> Schedules:
        """Return some of the rows."""
        return Schedules(self.coats[rows], self.carrier[rows])

    def schedule(self, row: int) -> CoatSchedule:
        """Return one row as a schedule."""
        steps = [
            CoatStep(int(n), _ratio(round(float(c), 4)))
            for n, c in zip(self.coats[row], self.carrier[row], strict=True)
            if n
        ]
        return CoatSchedule(tuple(steps))


@lru_cache(maxsize=1024)  # a cup shows few ratios, and hundreds of recipes share them
def _ratio(carrier: float) -> MixRatio:
    return MixRatio(Fraction(str(carrier)), Fraction(1))


@dataclass(frozen=True)
class Space:
    """Grounds times pots times schedules, in the words of a fitted regression."""

    model: FilmPredictor
    shelf: Ingredients
    limits: Limits
    schedules: Schedules
    ground_share: Array  # (k, g), of the regression's grounds in each of the shelf's
    colour_share: Array  # (p, c), of the regression's colours in each pot

    @classmethod
    def of(cls, model: FilmPredictor, limits: Limits, archive: Sequence[Recipe] = ()) -> Space:
        """Return all that may be sprayed."""
        words = model.words_
        pairs = tuple((words.grounds[a], words.grounds[b]) for a, b in words.pairs)
        shelf = Ingredients.of(limits, words.grounds, words.colours, pairs, archive)
        return cls(
            model,
            shelf,
            limits,
            Schedules.of(limits),
            np.array([words.shares(g) for g in shelf.grounds]),
            np.array([words.shares(c) for c in shelf.colours]),
        )

    @cached_property
    def neat(self) -> NDArray[np.bool_]:
        """Whether a pot holds one colour, shape (p,)."""
        return np.array([c.neat for c in self.shelf.colours])

    @cached_property
    def _bare(self) -> dict[Viewing, RecipeTable]:
        """One row of a bare panel under each viewing asked for, which all others are made from."""
        return {}

    @cached_property
    def stock(self) -> Array:
        """What there is of the regression's colours, shape (c,) [ml]; infinite where not said."""
        left = self.limits.left
        return np.array([left.get(name, np.inf) for name in self.model.words_.colours])

    def allowed(self, pot: int, *, stepped: bool = False) -> NDArray[np.bool_]:
        """Return which schedules (s,) a pot may be sprayed in, by its kind and the stock."""
        s = self.schedules
        enough = self.enough(self.colour_share[pot], s)
        return np.asarray((s.single | (stepped or self.neat[pot])) & enough)

    def enough(self, share: Array, schedules: Schedules) -> NDArray[np.bool_]:
        """Return whether the stock has what pots take of their colours, one a schedule (s,)."""
        few = np.isfinite(self.stock)
        if not few.any():
            return np.ones(len(schedules), bool)
        mixed = (self.limits.mixed_ml(schedules.coats) / (1.0 + schedules.carrier)).sum(axis=1)
        needed = mixed[:, None] * share[..., few]
        return np.asarray((needed <= self.stock[few]).all(axis=1))

    def table(
        self, ground_share: Array, colour_share: Array, schedules: Schedules, viewing: Viewing
    ) -> RecipeTable:
        """Write rows for the film law without making recipes of them."""
        if viewing not in self._bare:
            bare = Recipe(self.shelf.grounds[0], clear=self.shelf.clear)
            self._bare[viewing] = RecipeTable.of(
                [bare], [viewing], self.model.words_, self.model.conditions_
            )
        rows = self._bare[viewing].take(np.zeros(len(schedules), np.intp))
        coats = schedules.coats.astype(float)
        bend = np.log(1.0 / (1.0 + schedules.carrier) / REFERENCE_FRACTION)
        return replace(
            rows,
            ground_share=ground_share,
            colour_share=np.broadcast_to(
                colour_share[:, None, :], (*coats.shape, colour_share.shape[1])
            ),
            coats=coats,
            first=np.broadcast_to([1.0, 0.0], coats.shape),
            bend=np.where(coats > 0, bend, 0.0),
        )


def spread(keys: NDArray[np.int64], cost: Array, most: int, each: int) -> Ints:
    """Return the places of the least costs, best first, at most so many of each key."""
    order = np.argsort(cost, kind="stable")
    keys = keys[order]
    by_key = np.argsort(keys, kind="stable")
    starts = np.flatnonzero(np.diff(keys[by_key], prepend=-1))
    rank = np.empty(len(order), np.intp)
    rank[by_key] = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
    return np.asarray(order[rank < each][:most])
