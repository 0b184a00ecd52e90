"""The fast look over every recipe: a reduced law in single precision.

Over one ground a recipe's colour depends on the dose of its pot and on how rich that is: two
numbers of the schedule, whatever the pot. Its best are all worked out again by the whole fit, the
library's share included, which alone decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import weights, white_point
from matchlib.colorimetry.lab import LAB_OF_CURVE, lab_curve
from matchlib.domain import Viewing
from matchlib.film import EXTERNAL_K1
from matchlib.suggest.space import Schedules, Space

__all__ = ["ReducedLaw", "scan"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Single = NDArray[np.float32]

BLOCK = 1024
"""Pots and schedules worked out at a time, over every ground: they stay in a core's cache.

All of it on one core: a second one, tried, waited for the interpreter at each of the many short
calls, and took longer.
"""

_LIGHTER = np.array([16.0, 0.0, 0.0])


class ReducedLaw(NamedTuple):
    """A fitted law under one viewing, by ground and by dose."""

    # The surface: lift + gain (R - Q) / (1 - Q') is what is measured of R, of which Q is kept and
    # of that, on its longer way, Q' again.
    ground: Array  # (k, b), internal reflectance of each ground [-]
    k2: Array  # (k,), kept of the ground's light
    film_k2: float  # and of what the film scatters
    way: float  # of light kept inside, in ways of what is read [-]
    gain: Array  # (k,)
    lift: Array  # (k,)
    absorption: Array  # (c, b), absorbance of one coat at 6:1, each colour alone [-]
    turning: Array  # (c, b), how much more of it there is in the richest mix, less in the thinnest
    scattering: Array  # (c, b)
    light: Array  # (3, b), from measured reflectance to X/Xn, Y/Yn, Z/Zn

    @classmethod
    def of(cls, space: Space, viewing: Viewing) -> ReducedLaw:
        """Read a law off its own evaluation: exact but for an instrument's own gain."""
        fit, grounds, c = space.model.fitted_, space.ground_share, space.colour_share.shape[1]
        coats = Schedules(np.zeros((len(grounds), 2), np.int64), np.ones((len(grounds), 2)))
        table = space.table(grounds, np.zeros((len(grounds), c)), coats, viewing)
        bare = fit.law.evaluate(fit.z, table)
        inner = np.exp(bare.mixed)
        k2, gain = bare.k2[:, 0], (1.0 - EXTERNAL_K1) * bare.gain.mean(axis=1)
        kept = bare.k2 * inner
        lift = bare.reflectance - gain[:, None] * (inner - kept) / (1.0 - kept)
        coats = Schedules(np.ones((1, 2), np.int64), np.full((1, 2), 6.0))
        table = space.table(grounds[:1], np.ones((1, c)), coats, viewing)
        coat = fit.law.evaluate(fit.z, table)
        unit = coat.dose[0, :, None] / fit.law.doses(fit.z, table)[0, 0].sum()
        white = white_point(viewing.illuminant, viewing.observer)
        return cls(
            inner,
            k2,
            float(bare.film_k2[0, 0]),
            bare.way,
            gain,
            lift.mean(axis=1),
            unit * coat.absorption,
            unit * coat.absorption * coat.turn,
            unit * coat.scattering,
            (weights(viewing.illuminant, viewing.observer) / white).T,
        )

    def curves(self, dose: Single, rich: Single) -> Single:
        """Return what Lab is made of X/Xn, Y/Yn, Z/Zn by (k, 3, n), by doses and turns (c, n)."""
        absorption, turning, scattering = (
            v.T.astype(np.float32) for v in (self.absorption, self.turning, self.scattering)
        )
        one = np.float32(1.0)
        a = absorption @ dose + turning @ (dose * rich)
        through, again = np.exp(-a), np.exp(np.float32(-self.way) * a)
        scatter = scattering @ dose / a
        shown = scatter * (one - through) * np.float32(1.0 - self.film_k2)
        kept = scatter * (one - again) * np.float32(self.film_k2)
        light = self.light.astype(np.float32)
        seen = np.empty((len(self.ground), 3, dose.shape[1]), np.float32)
        inner, pole = np.empty_like(a), np.empty_like(a)
        # One ground at a time stays in the cache.
        for g, (ground, k2) in enumerate(zip(self.ground, self.k2, strict=True)):
            np.multiply(through, ((1.0 - k2) * ground)[:, None].astype(np.float32), out=inner)
            inner += shown
            np.multiply(again, (k2 * ground)[:, None].astype(np.float32), out=pole)
            pole += kept
            np.subtract(one, pole, out=pole)
            inner /= pole
            np.matmul(light, inner, out=seen[g])
        seen *= self.gain[:, None, None].astype(np.float32)
        seen += (self.lift[:, None] * self.light.sum(axis=1)).astype(np.float32)[:, :, None]
        return lab_curve(seen)


def scan(
    space: Space,
    viewings: Sequence[Viewing],
    labs: Sequence[Array] | Array,
    axes: Sequence[Array] | Array,
) -> list[tuple[Ints, Single]]:
    """For each pot, schedules it may have (m,) and squared differences (grounds, m) by the law."""
    # axes: of each aim, those in which a small difference is a length (`Target.axes`).
    laws = {viewing: ReducedLaw.of(space, viewing) for viewing in dict.fromkeys(viewings)}
    aims = []
    for viewing, lab, own in zip(viewings, labs, axes, strict=True):
        goal = (own @ (lab + _LIGHTER))[:, None].astype(np.float32)
        aims.append((laws[viewing], (own @ LAB_OF_CURVE).astype(np.float32), goal))
    shares, (dose, rich) = space.colour_share.T.astype(np.float32), _doses(space, viewings[0])
    allowed = [np.flatnonzero(space.allowed(pot)) for pot in range(len(space.colour_share))]
    count = [len(rows) for rows in allowed]
    pot, row = np.repeat(np.arange(len(count)), count), np.concatenate(allowed)
    squares = np.zeros((len(space.ground_share), len(row)), np.float32)
    for start in range(0, len(row), BLOCK):
        block = slice(start, start + BLOCK)
        share, whole = shares[:, pot[block]], rich[row[block]]
        # The turn of a part of the pot, tanh(x + log share), by that of all of it, tanh x.
        part = (share**2 - 1.0) / (share**2 + 1.0)
        turn = (whole + part) / (1.0 + whole * part)
        for law, to_gap, goal in aims:
            gap = to_gap @ law.curves(share * dose[row[block]], turn) - goal
            squares[:, block] += np.einsum("gcn,gcn->gn", gap, gap)
    return list(zip(allowed, np.split(squares, np.cumsum(count)[:-1], axis=1), strict=True))


def _doses(space: Space, viewing: Viewing) -> tuple[Single, Single]:
    """Return the dose of each schedule (s,), in later coats of 6:1, and how far it turns (s,)."""
    fit, rows = space.model.fitted_, space.schedules
    ground = np.repeat(space.ground_share[:1], len(rows), axis=0)
    table = space.table(ground, np.ones((len(rows), 1)), rows, viewing)
    steps = fit.law.doses(fit.z, table)[:, 0]
    dose = np.maximum(steps.sum(axis=1), 1e-3)
    rich = (steps * table.turn[:, :, 0]).sum(axis=1) / dose  # of two ratios the mean by dose
    return dose.astype(np.float32), rich.astype(np.float32)
