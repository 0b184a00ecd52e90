"""The chance that a card passes when it is read on the way and built on by what was read.

All that may lie on the card next is a row of a linear Gaussian law: what it would read, and what it
would be judged by once finished. A reading moves what is believed by Bayes' rule, and by how much
surer it makes is known before it is taken; so the best that can follow is found backwards, from the
last coats to the first look (stochastic dynamic programming: Bellman 1957), the readings drawn from
a fixed cloud of points. The scale of what is not known of the law was learnt from few, so that all
that is still to be read follows a Student's t, as it does where a card is sprayed blind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.correction import Card
from matchlib.domain import Recipe
from matchlib.linear import Together
from matchlib.tails import dof_of, drawn_out, normal_cloud
from matchlib.target import Target

__all__ = ["LEAST", "Believed", "Lookahead"]

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


class Believed(NamedTuple):
    """What is believed of a card after readings that are imagined, n cases of q numbers."""

    mean: Array  # (n, q), of each case
    covariance: Array  # (q, q), of every case
    known: Array  # (q, q), the part of it by what is not known of the law
    # standard deviations of the strength of stages that are imagined [coats of neat colour], whose
    # own films are the last of the numbers
    laid: tuple[float, ...] = ()

    def laying(self, sd: float, cases: NDArray[np.intp] | slice = slice(None)) -> Believed:
        """Return some cases with one stage more, of whose film nothing is read yet."""
        mean, last = self.mean[cases], len(self.covariance)
        covariance, known = np.eye(last + 1), np.zeros((last + 1, last + 1))
        covariance[:last, :last], known[:last, :last] = self.covariance, self.known
        mean = np.append(mean, np.zeros((len(mean), 1)), axis=1)
        return Believed(mean, covariance, known, (*self.laid, sd))


@dataclass(frozen=True)
class Lookahead:
    """What may lie on a card, t recipes, each judged and read by d numbers."""

    begins: NDArray[np.intp]  # (t,), which coats it begins with: only those are built on by it
    strength: Array  # (t,), of the whole [coats of neat colour]
    coats: Array  # (t,), of the whole; what a stage adds is the difference
    lab: Array  # (t, d), expected when finished
    # by what is believed, in q independent numbers of variance 1
    judged: Together  # when finished
    read: Together  # and at a look
    noise: Array  # (d, d), of the reading that judges, and of what is wanted
    coat_sd: float  # standard deviation of one coat's log film [-]
    known: Array  # (q, q), the part of what is believed that is not known of the law
    goal: Target

    @classmethod
    def of(
        cls,
        card: Card,
        recipes: Sequence[Recipe],
        goal: Target,
        *,
        judged: Together,
        read: Together,
        begins: Sequence[int] | None = None,
    ) -> Lookahead:
        """Return what may lie on a card, finished and as it is looked at."""
        least = 1e-12 * np.trace(card.covariance) * np.eye(len(card.covariance))
        root = np.linalg.cholesky(card.covariance + least)
        t, d = judged.film.shape
        slope = np.concatenate([judged.slope, read.slope]).reshape(2 * t * d, -1)
        kept = _main_directions(slope, root)
        by = (slope @ (root @ kept)).reshape(2, t, d, -1)
        whiten = np.linalg.solve(root.T, kept).T  # what was kept, from what is believed
        finished, alone = judged.prediction, np.eye(len(whiten))
        return cls(
            np.zeros(t, np.intp) if begins is None else np.array(begins, np.intp),
            np.array([r.strength for r in recipes]),
            np.array([r.coats for r in recipes]),
            np.moveaxis(finished.labs, 0, 1).reshape(t, d),
            judged._replace(slope=by[0], covariance=alone),
            read._replace(slope=by[1], covariance=alone),
            finished.reading[0] + goal.covariance,
            card.coat_sd,
            whiten @ card.known @ whiten.T,
            goal,
        )

    @property
    def begun(self) -> Believed:
        """What is believed before anything is imagined."""
        q = len(self.known)
        return Believed(np.zeros((1, q)), np.eye(q), self.known)

    def value(
        self, base: int, readings_ahead: int, now: Believed, *, depth: int = 0
    ) -> tuple[Array, Array]:
        """Return the chances of passing, at best from here on and if these coats are the last."""
        # Both of shape (n, t).
        last = self._passing(base, now)
        if readings_ahead < 1:
            return last, last
        chance = last.copy()
        able = np.flatnonzero((last >= 0.0).any(axis=0))
        order = able[np.argsort(self.strength[able], kind="stable")]
        top = last[:, order].argmax(axis=1)
        for rank, t in enumerate(order):
            away = top - rank
            rows = np.flatnonzero((away >= 0) & (away <= LIGHTER) & (last[:, t] >= 0.0))
            if t == base or not len(rows):
                continue
            then = now.laying(float(self.added_sd(t, base)), rows)
            best = self.after_reading(t, readings_ahead - 1, then, depth=depth).mean(axis=1)
            chance[rows, t] = np.maximum(last[rows, t], best)
        return chance, last

    def after_reading(
        self, at: int, readings_ahead: int, now: Believed, *, depth: int = 0
    ) -> Array:
        """Return the best chance after each reading that may be taken; shape (n, points)."""
        by = self._by(self.read, np.array([at]), now.laid)[0]
        across = by @ now.covariance
        total = across @ by.T + self.read.prediction.reading[0]
        gain = np.linalg.solve(total, across).T
        points = normal_cloud(READ[min(depth, len(READ) - 1)], len(total))
        dof = dof_of(by @ now.known @ by.T, total, known_dof=self.judged.prediction.known_dof[at])
        points = points * drawn_out(points, dof)[0][:, None]
        moved = points @ (gain @ np.linalg.cholesky(total)).T
        left = np.eye(len(gain)) - gain @ by
        after = Believed(
            (now.mean[:, None, :] + moved[None, :, :]).reshape(-1, len(gain)),
            left @ now.covariance,
            left @ now.known @ left.T,
            now.laid,
        )
        chance, _ = self.value(at, readings_ahead, after, depth=depth + 1)
        return np.asarray(chance.max(axis=1).reshape(len(now.mean), -1))

    def added_sd(self, rows: NDArray[np.intp] | int, base: int | None = None) -> Array:
        """Return how far the strength that some have more than a base, or all of it, may be off."""
        less, fewer = (0.0, 0.0) if base is None else (self.strength[base], self.coats[base])
        more, coats = self.strength[rows] - less, self.coats[rows] - fewer
        return np.asarray(np.maximum(more, 0.0) * self.coat_sd / np.sqrt(np.maximum(coats, 1.0)))

    def _by(self, there: Together, rows: NDArray[np.intp], laid: Sequence[float]) -> Array:
        """Derivative by what is believed and by the own film of every stage imagined."""
        by, film = there.slope[rows], there.film[rows]
        if not laid:
            return by
        whole = np.maximum(self.strength[rows], 1e-12)
        own = [film * (sd / whole)[:, None] for sd in laid]
        return np.concatenate([by, np.stack(own, axis=2)], axis=2)

    def _passing(self, base: int, now: Believed) -> Array:
        """Chance (n, t) of passing if these coats are the last; -1 where they cannot be laid."""
        more = self.strength - self.strength[base]
        built = (self.begins == self.begins[base]) & (more >= LEAST * 0.999)
        rows = np.flatnonzero((np.arange(len(more)) == base) | built)
        by = self._by(self.judged, rows, now.laid)
        turned = by.transpose(0, 2, 1)
        lab = self.lab[rows, None] + now.mean @ turned
        added = self.added_sd(rows, base) / np.maximum(self.strength[rows], 1e-12)
        new = self.judged.film[rows] * added[:, None]
        spread = by @ now.covariance @ turned + self.noise
        spread += new[:, :, None] * new[:, None, :]
        cloud = normal_cloud(JUDGED, spread.shape[1])
        scatter = cloud @ np.linalg.cholesky(spread).transpose(0, 2, 1)
        dof = dof_of(
            by @ now.known @ turned, spread, known_dof=self.judged.prediction.known_dof[rows]
        )
        scatter *= drawn_out(cloud, dof)[:, :, None]
        # From 1 well within the tolerance to 0 well outside of it, a half on its edge.
        steep = 0.5 / (SOFT * self.goal.tolerance.value**2)
        full = 0.5 + 0.5 / SOFT
        inside: Array = np.ones(())
        for i, (aim, stretch) in enumerate(zip(self.goal.labs, self.goal.axes, strict=True)):
            own = slice(3 * i, 3 * i + 3)
            off, give = (lab[..., own] - aim) @ stretch.T, scatter[..., own] @ stretch.T
            if self.goal.tolerance.boxed:
                away = np.abs(off[:, :, None] + give[:, None]).max(axis=3)
                left = full - steep * away**2
            else:  # the square of their sum, as one product
                far, near = (steep * (x**2).sum(axis=2, keepdims=True) for x in (off, give))
                left = np.concatenate([-2.0 * steep * off, full - far, -np.ones_like(far)], axis=2)
                right = np.concatenate([give, np.ones_like(near), near], axis=2)
                left = left @ right.transpose(0, 2, 1)
            inside = np.minimum(inside, left, out=left)
        chance = np.full((len(now.mean), len(more)), -1.0)
        chance[:, rows] = np.maximum(inside, 0.0, out=inside).mean(axis=2).T
        return chance


def _main_directions(slope: Array, root: Array) -> Array:
    """Directions (k, q) of independent numbers that move readings most, by (n, k) times a root."""
    # Of so few nothing is lost by looking at a random image of them (Halko, Martinsson and Tropp
    # 2011, algorithm 4.4 with one step).
    probe = np.random.default_rng(0).standard_normal((len(root), 2 * WIDTH))
    image, _ = np.linalg.qr(root.T @ (slope.T @ (slope @ (root @ probe))))
    moved = slope @ (root @ image)
    _, axes = np.linalg.eigh(moved.T @ moved)  # the largest last
    return np.asarray(image @ axes[:, -WIDTH:], float)
