"""The fast look over every recipe: the film law in single precision, block by block in cache.

For one pot the light that a film lets through is the same over every ground, so its exponentials
are taken once and used for all of them. What the scan leaves out is the residual field; its best
are all worked out again by the whole law, which alone decides.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import weights, white_point
from matchlib.domain import Viewing
from matchlib.regression.law import State
from matchlib.suggest.space import Schedules, Space

__all__ = ["LawInBrief", "scan"]

Array = NDArray[np.float64]
Single = NDArray[np.float32]

BLOCK = 1024
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
        dose, dosed = _doses(space, viewing)
        return cls(
            inner,
            k2,
            gain,
            lift.mean(axis=1),
            dosed.absorption,
            np.broadcast_to(np.atleast_2d(dosed.scattering.T).T, dosed.absorption.shape),
            dose,
        )


def _doses(space: Space, viewing: Viewing) -> tuple[Array, State]:
    """Dose of every schedule for each colour alone, without working out all their spectra.

    A step's dose is what its ratio brings a coat, times its coats less what the first one lacks
    and plus what later ones gain: so one row a ratio and two more tell all of them.
    """
    s, fit = space.schedules, space.model.fitted_
    carriers, place = np.unique(s.carrier, return_inverse=True)
    n, c = len(carriers) + 2, space.colour_share.shape[1]
    ratios = np.append(carriers, [6.0, 6.0])
    probes = Schedules(np.tile([1, 0], (n, 1)), np.stack([ratios, ratios], axis=1))
    ground = np.repeat(space.ground_share[:1], n, axis=0)
    table = space.table(ground, np.ones((n, c)), probes, viewing)
    table.first[:-1, 0], table.logk[:] = 0.0, 0.0
    table.logk[-2, 0] = 1.0
    plain = replace(table.take(slice(n - 1, n)), first=np.zeros((1, 2)))
    state = fit.law.evaluate(fit.z, table)
    unit = fit.law.evaluate(fit.z, plain).dose[0]
    gain, lack = state.dose[-2] / unit - 1.0, 1.0 - state.dose[-1] / unit
    by_ratio = state.dose[:-2][place.reshape(s.carrier.shape)]
    rows = space.table(
        np.zeros((len(s), space.ground_share.shape[1])), np.zeros((len(s), c)), s, viewing
    )
    dose = np.zeros((len(s), c))
    for step in range(2):
        coats, first, logk = (v[:, step, None] for v in (rows.coats, rows.first, rows.logk))
        dose += by_ratio[:, step] * (coats - lack * first + gain * logk)
    return dose, state


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
            (weights(viewing.illuminant, viewing.observer) / white).T.astype(np.float32),
            (root @ to_lab).astype(np.float32),
            (root @ (lab + np.array([16.0, 0.0, 0.0])))[:, None].astype(np.float32),
        )

    def square(self, ratio: Single) -> Single:
        """Squared difference of X/Xn, Y/Yn, Z/Zn, shape (3, n), which is written over."""
        np.maximum(ratio, np.float32(1e-6), out=ratio)
        dark = ratio < _KNEE
        line = None
        if dark.any():
            line = ratio * np.float32((29.0 / 6.0) ** 2 / 3.0)
            line += np.float32(4.0 / 29.0)
        # A cube root by logarithm: several times faster than the library's own in single precision.
        np.log(ratio, out=ratio)
        ratio *= np.float32(1.0 / 3.0)
        np.exp(ratio, out=ratio)
        if line is not None:
            np.copyto(ratio, line, where=dark)  # many times faster than by index
        gap = self.knot @ ratio
        gap -= self.offset
        gap *= gap
        return np.asarray(gap[0] + gap[1] + gap[2])


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
    """One thread's constants and scratch paper; wavelengths run down, recipes across."""

    def __init__(self, laws: Sequence[LawInBrief], eyes: Sequence[_Eye]) -> None:
        self.laws, self.eyes = laws, eyes
        bands = laws[0].ground.shape[1]
        self.paper = [np.empty(bands * BLOCK, np.float32) for _ in range(4)]
        self.grounds = [law.ground.astype(np.float32)[:, :, None] for law in laws]
        self.absorptions = [-law.absorption.astype(np.float32)[:, :, None] for law in laws]
        self.scatterings = [law.scattering.astype(np.float32)[:, :, None] for law in laws]
        self.doses = [np.ascontiguousarray(law.dose.T, np.float32) for law in laws]
        self.surfaces = []
        for law, eye in zip(laws, eyes, strict=True):
            # R / (1 - k2 R) is (1 / k2) / (1 / k2 - R) less 1, over k2: one division, and what
            # does not depend on the recipe goes into the weights and the constant. A surface that
            # sends nothing back inside is one of a k2 too small to matter.
            k2 = np.maximum(law.k2, 1e-3)
            pole = (1.0 / k2).astype(np.float32)
            factor = (law.gain / k2**2)[:, None, None] * eye.by_band
            whole = eye.by_band.astype(float).sum(axis=1)
            constant = (law.lift - law.gain / k2)[:, None] * whole
            self.surfaces.append(
                (pole, factor.astype(np.float32), constant[:, :, None].astype(np.float32))
            )

    def work(self, share: Array, rows: NDArray[np.intp], out: Single) -> None:
        n = len(rows)
        bands = self.laws[0].ground.shape[1]
        through, glow, light, spare = (p[: bands * n].reshape(bands, n) for p in self.paper)
        used = np.flatnonzero(share)
        previous = None
        for at, (law, eye) in enumerate(zip(self.laws, self.eyes, strict=True)):
            if law is not previous:
                dose = self.doses[at][used][:, rows] * share[used, None].astype(np.float32)
                _sum_of_products(self.absorptions[at][used], dose, light, spare=glow)
                np.exp(light, out=through)
                # What the film scatters on the way: S (1 - exp(-A)) / A, with light = -A.
                np.minimum(light, np.float32(-1e-6), out=light)
                np.divide(np.float32(1.0), light, out=light)
                np.subtract(through, np.float32(1.0), out=glow)
                glow *= light
                _sum_of_products(self.scatterings[at][used], dose, light, spare=spare)
                glow *= light
                previous = law
            pole, factor, constant = self.surfaces[at]
            for g, ground in enumerate(self.grounds[at]):
                np.multiply(through, ground, out=light)
                light += glow
                np.subtract(pole[g], light, out=light)
                np.reciprocal(light, out=light)
                ratio = factor[g] @ light
                ratio += constant[g]
                out[g] += eye.square(ratio)


def _sum_of_products(curves: Single, dose: Single, out: Single, *, spare: Single) -> None:
    # With one or two colours in a pot this is several times faster than the algebra's product.
    np.multiply(curves[0], dose[0], out=out)
    for curve, amount in zip(curves[1:], dose[1:], strict=True):
        np.multiply(curve, amount, out=spare)
        out += spare
