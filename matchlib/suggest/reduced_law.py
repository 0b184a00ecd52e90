"""The reduced law, read off its own evaluation for one space of recipes.

Over one ground a recipe's colour then depends on the dose of its pot and on how rich that is: two
numbers of the schedule, whatever the pot.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import weights, white_point
from matchlib.domain import Viewing
from matchlib.film import EXTERNAL_K1
from matchlib.suggest.space import Schedules, Space

__all__ = ["ReducedLaw", "doses"]

Array = NDArray[np.float64]
Single = NDArray[np.float32]

_KNEE = 6.0 / 29.0
"""Cube root under which Lab goes on in a straight line."""


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
        (k, c), fit = (len(space.ground_share), space.colour_share.shape[1]), space.model.fitted_
        none, one = (Schedules(np.full((k, 2), n), np.full((k, 2), 6.0)) for n in (0, 1))
        table = space.table(space.ground_share, np.zeros((k, c)), none, viewing)
        bare = fit.law.evaluate(fit.z, table)
        inner = np.exp(bare.mixed)
        k2, gain = bare.k2[:, 0], (1.0 - EXTERNAL_K1) * bare.gain.mean(axis=1)
        kept = bare.k2 * inner
        lift = bare.reflectance - gain[:, None] * (inner - kept) / (1.0 - kept)
        table = space.table(space.ground_share, np.ones((k, c)), one, viewing)
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

    def roots(self, dose: Single, rich: Single) -> Single:
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
        roots, dark = np.cbrt(seen), seen < _KNEE**3
        roots[dark] = seen[dark] / np.float32(3.0 * _KNEE**2) + np.float32(_KNEE / 1.5)
        return np.asarray(roots)


def doses(space: Space, viewing: Viewing) -> tuple[Single, Single]:
    """Return the dose of each schedule (s,), in later coats of 6:1, and how far it turns (s,)."""
    fit, rows = space.model.fitted_, space.schedules
    ground = np.repeat(space.ground_share[:1], len(rows), axis=0)
    table = space.table(ground, np.ones((len(rows), 1)), rows, viewing)
    steps = fit.law.doses(fit.z, table)[:, 0]
    dose = np.maximum(steps.sum(axis=1), 1e-3)
    rich = (steps * table.turn[:, :, 0]).sum(axis=1) / dose  # of two ratios the mean by dose
    return dose.astype(np.float32), rich.astype(np.float32)
