"""The chance that a card passes when it is read on the way and built on by what was read.

All that may lie on the card next is a row of a linear Gaussian law: what it would read, and what it
would be judged by once finished. A reading moves what is believed by Bayes' rule, and by how much
surer it makes is known before it is taken; so the best that can follow is found backwards, from the
last coats to the first look (stochastic dynamic programming: Bellman 1957), the readings drawn from
a fixed cloud of points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.correction import Ahead, Card, Goal
from matchlib.domain import Recipe
from matchlib.tails import normal_cloud

__all__ = ["LEAST", "Laid", "Lookahead"]

Array = NDArray[np.float64]

LEAST = 1.0 / 31.0
"""Strength of the weakest coat worth laying, one of 30:1 [coats of neat colour]."""

JUDGED = 64
"""Points by which the chance of passing is counted."""

READ = (32, 10, 5, 3)
"""Readings imagined at the first look, the second and so on."""

LIGHTER = 2
"""Steps lighter than the coats likeliest to pass that are thought of where a look is left."""

WIDTH = 12
"""Directions of what is believed that are kept; the rest moves no reading."""

SOFT = 0.1
"""Share of the tolerance over which passing goes from yes to no, so that the count is smooth."""


@dataclass(frozen=True)
class Laid:
    """Coats of a stage that are imagined: n of them have a film of their own.

    Parameters
    ----------
    strength : float
        Added [coats of neat colour].
    coats : int
        How many.
    """

    strength: float
    coats: int


@dataclass(frozen=True)
class Lookahead:
    """What may lie on a card, t recipes, each judged by d numbers and read by r.

    Parameters
    ----------
    strength : ndarray, shape (t,)
        Of the whole [coats of neat colour].
    coats : ndarray, shape (t,)
        Of the whole; what a stage adds is the difference.
    judged, read : ndarray, shape (t, d) and (t, r)
        Expected when finished, and at a look.
    by_judged, by_read : ndarray, shape (t, d, q) and (t, r, q)
        Derivative by what is believed, q independent numbers of variance 1.
    judged_film, read_film : ndarray, shape (t, d) and (t, r)
        Derivative by the log film of the whole.
    judged_noise, read_noise : ndarray, shape (d, d) and (r, r)
        Of the reading that judges, and of a look.
    gun : float
        Standard deviation of one coat's log film [-].
    goal : Goal
        What is to be met.
    """

    strength: Array
    coats: Array
    judged: Array
    read: Array
    by_judged: Array
    by_read: Array
    judged_film: Array
    read_film: Array
    judged_noise: Array
    read_noise: Array
    gun: float
    goal: Goal

    @classmethod
    def of(
        cls,
        card: Card,
        recipes: Sequence[Recipe],
        goal: Goal,
        *,
        judged: Ahead,
        read: Ahead,
    ) -> Lookahead:
        """Return what may lie on a card, finished and as it is looked at."""
        size, axes = np.linalg.eigh(card.covariance)
        root = axes * np.sqrt(np.maximum(size, 0.0))
        t, d = judged.film.shape
        both = np.concatenate([judged.slope @ root, read.slope @ root]).reshape(2 * t * d, -1)
        _, s, vt = np.linalg.svd(both, full_matrices=False)
        kept = vt[: min(WIDTH, int((s > 1e-6).sum()))]
        by = (both @ kept.T).reshape(2, t, d, -1)
        schedules = [r.schedule for r in recipes]
        return cls(
            np.array([x.strength if x else 0.0 for x in schedules]),
            np.array([x.coats if x else 0 for x in schedules]),
            np.moveaxis(judged.labs, 0, 1).reshape(t, d),
            np.moveaxis(read.labs, 0, 1).reshape(t, d),
            by[0],
            by[1],
            judged.film,
            read.film,
            judged.reading,
            read.reading,
            card.gun,
            goal,
        )

    def value(
        self,
        base: int,
        looks: int,
        mean: Array | None = None,
        covariance: Array | None = None,
        laid: Sequence[Laid] = (),
        *,
        depth: int = 0,
    ) -> tuple[Array, Array]:
        """Return the chance of passing when the best is done from here on.

        Shapes: chance (n, t), last (n, t).
        """
        q = self.by_judged.shape[2] + len(laid)
        if mean is None:
            mean = np.zeros((1, q))
        if covariance is None:
            covariance = np.eye(q)
        last = self._passing(base, mean, covariance, laid)
        if looks < 1:
            return last, last
        chance = last.copy()
        order = np.argsort(self.strength, kind="stable")
        rank = np.empty(len(order), int)
        rank[order] = np.arange(len(order))
        top = rank[last.argmax(axis=1)]
        for t in range(len(self.strength)):
            away = top - rank[t]
            rows = np.flatnonzero((away >= 0) & (away <= LIGHTER) & (last[:, t] >= 0.0))
            if t == base or not len(rows):
                continue
            new = (*laid, self._between(base, t))
            chance[rows, t] = np.maximum(
                last[rows, t],
                self.look(t, looks - 1, mean[rows], covariance, new, depth=depth).mean(axis=1),
            )
        return chance, last

    def look(
        self,
        at: int,
        looks: int,
        mean: Array,
        covariance: Array,
        laid: Sequence[Laid],
        *,
        depth: int = 0,
    ) -> Array:
        """Return the best chance after each reading that may be taken; shape (n, points)."""
        by = self._by(self.by_read[[at]], self.read_film[[at]], [at], laid)[0]
        wide = by.shape[1]
        start = np.zeros((len(mean), wide))
        start[:, : mean.shape[1]] = mean
        spread = np.eye(wide)
        spread[: len(covariance), : len(covariance)] = covariance
        across = by @ spread
        total = across @ by.T + self.read_noise
        gain = np.linalg.solve(total, across).T
        points = normal_cloud(READ[min(depth, len(READ) - 1)], len(total))
        moved = points @ (gain @ np.linalg.cholesky(total)).T
        after = (start[:, None, :] + moved[None, :, :]).reshape(-1, wide)
        left = spread - gain @ across
        chance, _ = self.value(at, looks, after, left, laid, depth=depth + 1)
        return np.asarray(chance.max(axis=1).reshape(len(mean), -1))

    def _between(self, base: int, t: int) -> Laid:
        return Laid(
            float(self.strength[t] - self.strength[base]),
            max(int(self.coats[t] - self.coats[base]), 1),
        )

    def _by(
        self, by: Array, film: Array, rows: Sequence[int] | NDArray[np.intp], laid: Sequence[Laid]
    ) -> Array:
        """Derivative by what is believed and by the own film of every stage imagined."""
        if not laid:
            return by
        whole = np.maximum(self.strength[np.asarray(rows)], 1e-12)
        own = [film * (x.strength / whole * self.gun / np.sqrt(x.coats))[:, None] for x in laid]
        return np.concatenate([by, np.stack(own, axis=2)], axis=2)

    def _passing(self, base: int, mean: Array, covariance: Array, laid: Sequence[Laid]) -> Array:
        more = self.strength - self.strength[base]
        every = np.arange(len(more))
        can = (every == base) | (more >= LEAST * 0.999)
        rows = np.flatnonzero(can)
        by = self._by(self.by_judged[rows], self.judged_film[rows], rows, laid)
        lab = self.judged[rows] + np.einsum("tdq,nq->ntd", by, mean)
        added = np.maximum(more[rows], 0.0) / np.maximum(self.strength[rows], 1e-12)
        coats = np.maximum(self.coats[rows] - self.coats[base], 1.0)
        new = self.judged_film[rows] * (added * self.gun / np.sqrt(coats))[:, None]
        spread = by @ covariance @ by.transpose(0, 2, 1) + self.judged_noise
        spread += new[:, :, None] * new[:, None, :]
        scatter = normal_cloud(JUDGED, spread.shape[1]) @ np.linalg.cholesky(spread).transpose(
            0, 2, 1
        )
        far = np.zeros(())
        for i, aim in enumerate(self.goal.labs):
            stretch, boxed = self.goal.local(i)
            here = slice(3 * i, 3 * i + 3)
            off = (lab[:, :, here] - aim) @ stretch.T
            give = scatter[:, :, here] @ stretch.T
            if boxed:
                away = np.abs(off[:, :, None, :] + give).max(axis=3)
            else:
                cross = np.einsum("ntd,tmd->ntm", off, give)
                square = (off**2).sum(axis=2)[:, :, None] + (give**2).sum(axis=2) + 2.0 * cross
                away = np.sqrt(np.maximum(square, 0.0))
            far = np.maximum(far, away)
        soft = SOFT * self.goal.value
        inside = np.clip((self.goal.value - far) / soft + 0.5, 0.0, 1.0).mean(axis=2)
        chance = np.full((len(mean), len(more)), -1.0)
        chance[:, rows] = inside
        return chance
