"""The fast look over every recipe: the film law in single precision, block by block in cache.

For one pot the light that a film lets through is the same over every ground, so its exponentials
are taken once and used for all of them. What the scan leaves out is the residual field; its best
are all worked out again by the whole law, which alone decides.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import weights, white_point
from matchlib.domain import Viewing
from matchlib.suggest.space import Schedules, Space

__all__ = ["LawInBrief", "scan"]

Array = NDArray[np.float64]
Single = NDArray[np.float32]

BLOCK = 512
"""Recipes at a time: four arrays of them by wavelength stay in a core's own cache."""

_KNEE = np.float32((6.0 / 29.0) ** 3)


@dataclass(frozen=True)
class LawInBrief:
    """What the scan needs of a fitted law under one viewing, by ground and by schedule.

    Parameters
    ----------
    ground : ndarray, shape (k, b)
        Internal reflectance of each ground [-].
    k2, gain, lift : ndarray, shape (k,)
        The surface over it: lift + gain R / (1 - k2 R) is what is measured [-].
    absorption : ndarray, shape (c, b)
        Absorbance at dose 1 [-].
    scattering : ndarray, shape (c, b)
        Scattering at dose 1 [-].
    dose : ndarray, shape (s, c)
        Dose of each schedule, were the pot that colour alone.
    """

    ground: Array
    k2: Array
    gain: Array
    lift: Array
    absorption: Array
    scattering: Array
    dose: Array

    @classmethod
    def of(cls, space: Space, viewing: Viewing) -> LawInBrief:
        """Read a law off its own evaluation.

        Parameters
        ----------
        space : Space
            Grounds and schedules.
        viewing : Viewing
            Light and geometry.

        Returns
        -------
        LawInBrief
            Exact but for the residual field.
        """
        fit = space.model.fitted_
        k, c = len(space.ground_share), space.colour_share.shape[1]
        none = Schedules(np.zeros((k, 2), np.int64), np.ones((k, 2)))
        bare = space.table(space.ground_share, np.zeros((k, c)), none, viewing)
        state = fit.law.evaluate(fit.z, bare)
        inner = np.exp(state.mixed)
        # The surface's derivative by log R, gain R / (1 - k2 R)², holds its constants: the root
        # of R over it is a straight line in R.
        line = np.sqrt(inner / state.by_ground)
        middle = inner.mean(axis=1, keepdims=True)
        spread = ((inner - middle) ** 2).sum(axis=1)
        slope = ((inner - middle) * line).sum(axis=1) / np.maximum(spread, 1e-300)
        base = line.mean(axis=1) - slope * middle[:, 0]
        k2, gain = -slope / base, 1.0 / base**2
        lift = state.reflectance - gain[:, None] * inner / (1.0 - k2[:, None] * inner)
        s = space.schedules
        share = np.ones((len(s), c))
        ground = np.repeat(space.ground_share[:1], len(s), axis=0)
        dosed = fit.law.evaluate(fit.z, space.table(ground, share, s, viewing))
        return cls(
            inner,
            k2,
            gain,
            lift.mean(axis=1),
            dosed.absorption,
            np.broadcast_to(np.atleast_2d(dosed.scattering.T).T, dosed.absorption.shape),
            dosed.dose,
        )


@dataclass(frozen=True)
class _Eye:
    """From reflectance to the square root of the difference's quadratic form."""

    by_band: Single
    knot: Single
    offset: Single

    @classmethod
    def of(cls, viewing: Viewing, lab: Array, metric: Array) -> _Eye:
        white = white_point(viewing.illuminant, viewing.observer)
        to_lab = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
        values, vectors = np.linalg.eigh(metric)
        root = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
        return cls(
            (weights(viewing.illuminant, viewing.observer) / white).astype(np.float32),
            (root @ to_lab).T.astype(np.float32),
            (root @ (lab + np.array([16.0, 0.0, 0.0]))).astype(np.float32),
        )

    def square(self, reflectance: Single) -> Single:
        ratio = reflectance @ self.by_band
        np.maximum(ratio, np.float32(1e-6), out=ratio)
        dark = ratio < _KNEE
        # A cube root by logarithm: several times faster than the library's own in single precision.
        root = np.exp(np.log(ratio) * np.float32(1.0 / 3.0))
        if dark.any():
            root[dark] = ratio[dark] * np.float32((29.0 / 6.0) ** 2 / 3.0) + np.float32(4.0 / 29.0)
        gap = root @ self.knot
        gap -= self.offset
        gap *= gap
        return np.asarray(gap.sum(axis=1))


def scan(
    space: Space,
    viewings: Sequence[Viewing],
    labs: Sequence[Array],
    metrics: Sequence[Array],
    *,
    threads: int | None = None,
) -> list[tuple[NDArray[np.intp], Single]]:
    """Return how far every recipe is from a target, by the law without its residual field.

    Parameters
    ----------
    space : Space
        What may be sprayed.
    viewings : sequence of Viewing
        One an aim.
    labs : sequence of ndarray, shape (3,)
        The target under each.
    metrics : sequence of ndarray, shape (3, 3)
        Quadratic form of the difference there, weight included.
    threads : int, optional
        Cores to use; two at most if None. numpy lets go of the interpreter while it works.

    Returns
    -------
    list of (ndarray of int, ndarray)
        For each pot: the schedules it may have, shape (m,), and the sum of squared differences
        for each ground, shape (grounds, m).
    """
    eyes = [_Eye.of(v, lab, g) for v, lab, g in zip(viewings, labs, metrics, strict=True)]
    briefs = {v: LawInBrief.of(space, v) for v in dict.fromkeys(viewings)}
    laws = [briefs[v] for v in viewings]
    k = len(space.ground_share)
    result, work = [], []
    for pot in range(len(space.colour_share)):
        rows = np.flatnonzero(space.allowed(pot))
        out = np.zeros((k, len(rows)), np.float32)
        result.append((rows, out))
        work += [(pot, slice(i, i + BLOCK)) for i in range(0, len(rows), BLOCK)]
    count = min(2, os.cpu_count() or 1) if threads is None else threads

    def run(jobs: list[tuple[int, slice]]) -> None:
        desk = _Desk(laws, eyes)
        for pot, part in jobs:
            rows, out = result[pot]
            desk.work(space.colour_share[pot], rows[part], out[:, part])

    if count < 2 or len(work) < 4:
        run(work)
    else:
        with ThreadPoolExecutor(count) as pool:
            list(pool.map(run, [work[i::count] for i in range(count)]))
    return result


class _Desk:
    """One thread's constants and scratch paper."""

    def __init__(self, laws: Sequence[LawInBrief], eyes: Sequence[_Eye]) -> None:
        self.eyes = eyes
        self.laws = laws
        bands = laws[0].ground.shape[1]
        self.paper = [np.empty((BLOCK, bands), np.float32) for _ in range(3)]
        self.constants = [
            [a.astype(np.float32) for a in (law.ground, law.k2, law.gain, law.lift)] for law in laws
        ]

    def work(self, share: Array, rows: NDArray[np.intp], out: Single) -> None:
        n = len(rows)
        through, glow, light = (p[:n] for p in self.paper)
        used = np.flatnonzero(share)
        previous = None
        for law, eye, constants in zip(self.laws, self.eyes, self.constants, strict=True):
            ground, k2, gain, lift = constants
            if law is not previous:
                dose = (law.dose[np.ix_(rows, used)] * share[used]).astype(np.float32)
                np.matmul(dose, -law.absorption[used].astype(np.float32), out=light)
                np.exp(light, out=through)
                # What the film scatters on the way: S (1 - exp(-A)) / A, with light = -A.
                np.subtract(through, np.float32(1.0), out=glow)
                np.minimum(light, np.float32(-1e-6), out=light)
                np.divide(glow, light, out=glow)
                glow *= dose @ law.scattering[used].astype(np.float32)
                previous = law
            for g in range(len(ground)):
                np.multiply(through, ground[g], out=light)
                np.add(light, glow, out=light)
                self._surface(light, k2[g], gain[g], lift[g])
                out[g] += eye.square(light)

    @staticmethod
    def _surface(light: Single, k2: np.float32, gain: np.float32, lift: np.float32) -> None:
        # gain R / (1 - k2 R) is gain / k2 (1 / (1 - k2 R) - 1): one division, no second array.
        if k2 < 1e-3:
            light *= gain
        else:
            light *= -k2
            light += np.float32(1.0)
            np.divide(gain / k2, light, out=light)
            light -= gain / k2
        if lift:
            light += lift
