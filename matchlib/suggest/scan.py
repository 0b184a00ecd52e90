"""The fast look over every recipe: the film law in single precision, block by block in cache.

For one pot the light that a film lets through is the same over every ground, so its exponentials
are taken once and used for all of them; and only at the few wavelengths from which these recipes'
colours follow (`matchlib.suggest.nodes`: on 99 recipes of 100 within 0.02 ΔE*ab of all 31, on none
tried farther than 0.1; else all 31 are taken). What the scan leaves out is the residual fields; its
best are all worked out again by the whole law, which alone decides.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import weights, white_point
from matchlib.domain import Viewing
from matchlib.regression.law import State
from matchlib.stepping import Step
from matchlib.suggest.nodes import Nodes
from matchlib.suggest.space import Schedules, Space

__all__ = ["LawInBrief", "scan"]

Array = NDArray[np.float64]
Single = NDArray[np.float32]

CELLS = 48 * 1024
"""Recipes times wavelengths at a time: four arrays of them stay in a core's own cache."""

TRIED = 300
"""Recipes to which the wavelengths' weights are fitted, and as many on which they are checked."""

PAUSE = 0.05
"""Between two calls of a step [s]."""

SAID = "looking through every recipe"

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
            Exact but for the residual fields.
        """
        fit = space.model.fitted_
        k, c = len(space.ground_share), space.colour_share.shape[1]
        none = Schedules(np.zeros((k, 2), np.int64), np.ones((k, 2)))
        bare = space.table(space.ground_share, np.zeros((k, c)), none, viewing)
        state = fit.law.evaluate(fit.law.plain(fit.z), bare)
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

    def reflectance(self, ground: NDArray[np.intp], dose: Array) -> Array:
        """Return what the law in brief says, at all wavelengths.

        Parameters
        ----------
        ground : ndarray of int, shape (n,)
            Places of grounds.
        dose : ndarray, shape (n, c)
            Dose of each colour.

        Returns
        -------
        ndarray, shape (n, b)
            Measured reflectance [-].
        """
        a = np.maximum(dose @ self.absorption, 1e-9)
        through = np.exp(-a)
        inner = self.ground[ground] * through + dose @ self.scattering * (1.0 - through) / a
        gain, k2, lift = (v[ground, None] for v in (self.gain, self.k2, self.lift))
        return np.asarray(lift + gain * inner / (1.0 - k2 * inner))

    def nodes(self, space: Space, viewing: Viewing) -> Nodes:
        """Return the wavelengths from which the colours of a space follow.

        Parameters
        ----------
        space : Space
            What may be sprayed.
        viewing : Viewing
            Light and observer.

        Returns
        -------
        Nodes
            The same every time: the recipes tried are drawn from one seed.
        """
        light = weights(viewing.illuminant, viewing.observer)
        share = (light / white_point(viewing.illuminant, viewing.observer)).T
        if not len(self.dose):
            return Nodes.all_of(share)
        rng = np.random.default_rng(0)
        ground, pot, row = (
            rng.integers(most, size=2 * TRIED)
            for most in (len(self.ground), len(space.colour_share), len(self.dose))
        )
        # The strongest of the schedules' doses are few, and hardest to be right on.
        extreme = np.argsort(self.dose.sum(axis=1))[[0, -1]]
        row[:20] = np.tile(extreme, 10)
        seen = self.reflectance(ground, self.dose[row] * space.colour_share[pot])
        return Nodes.of(share, seen[::2], seen[1::2])


def _doses(space: Space, viewing: Viewing) -> tuple[Array, State]:
    """Dose of every schedule for each colour alone, without working out all their spectra.

    A step's dose is what its ratio brings a coat, times its coats less what the first one lacks
    and plus what later ones gain: so one row a ratio and two more tell all of them.
    """
    s, fit = space.schedules, space.model.fitted_
    carriers = np.sort([float(r.carrier / r.colour) for r in space.limits.ratios()])
    place = np.searchsorted(carriers, s.carrier - 1e-9)
    n, c = len(carriers) + 2, space.colour_share.shape[1]
    ratios = np.append(carriers, [6.0, 6.0])
    probes = Schedules(np.tile([1, 0], (n, 1)), np.stack([ratios, ratios], axis=1))
    ground = np.repeat(space.ground_share[:1], n, axis=0)
    table = space.table(ground, np.ones((n, c)), probes, viewing)
    table.first[:-1, 0], table.logk[:] = 0.0, 0.0
    table.logk[-2, 0] = 1.0
    plain = replace(table.take(slice(n - 1, n)), first=np.zeros((1, 2)))
    z = fit.law.plain(fit.z)
    state = fit.law.evaluate(z, table)
    unit = fit.law.evaluate(z, plain).dose[0]
    gain, lack = state.dose[-2] / unit - 1.0, 1.0 - state.dose[-1] / unit
    by_ratio = state.dose[:-2]
    dose = np.zeros((len(s), c))
    for part, (coats, first, logk) in enumerate(np.stack(s.layers()).transpose(2, 0, 1)):
        dose += by_ratio[place[:, part]] * (
            coats[:, None] - first[:, None] * lack + logk[:, None] * gain
        )
    return dose, state


@dataclass(frozen=True)
class _Eye:
    """From X/Xn, Y/Yn, Z/Zn to the difference's quadratic form."""

    nodes: Nodes
    knot: Single
    offset: Single

    @classmethod
    def of(cls, nodes: Nodes, lab: Array, metric: Array) -> _Eye:
        to_lab = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
        values, vectors = np.linalg.eigh(metric)
        root = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
        return cls(
            nodes,
            (root @ to_lab).astype(np.float32),
            (root @ (lab + np.array([16.0, 0.0, 0.0])))[:, None].astype(np.float32),
        )

    def square(self, ratio: Single) -> Single:
        """Squared difference of X/Xn, Y/Yn, Z/Zn, shape (3, n), which is written over."""
        line, dark = None, None
        if ratio.min() < _KNEE:
            np.maximum(ratio, np.float32(1e-6), out=ratio)
            dark = ratio < _KNEE
            line = ratio * np.float32((29.0 / 6.0) ** 2 / 3.0)
            line += np.float32(4.0 / 29.0)
        # A cube root by logarithm: several times faster than the library's own in single precision.
        np.log(ratio, out=ratio)
        ratio *= np.float32(1.0 / 3.0)
        np.exp(ratio, out=ratio)
        if line is not None and dark is not None:
            np.copyto(ratio, line, where=dark)  # many times faster than by index
        gap = self.knot @ ratio
        gap -= self.offset
        gap *= gap
        gap[0] += gap[1]
        gap[0] += gap[2]
        return np.asarray(gap[0])


def scan(
    space: Space,
    viewings: Sequence[Viewing],
    labs: Sequence[Array],
    metrics: Sequence[Array],
    *,
    threads: int | None = None,
    every_band: bool = False,
    step: Step | None = None,
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
    every_band : bool
        Whether to take all wavelengths, where few would do.
    step : callable, optional
        Called with the share done between blocks; what it raises ends the scan.

    Returns
    -------
    list of (ndarray of int, ndarray)
        For each pot: the schedules it may have, shape (m,), and the sum of squared differences
        for each ground, shape (grounds, m).
    """
    briefs = {v: LawInBrief.of(space, v) for v in dict.fromkeys(viewings)}
    nodes = {v: law.nodes(space, v) for v, law in briefs.items()}
    if every_band:
        for v in nodes:
            light = weights(v.illuminant, v.observer) / white_point(v.illuminant, v.observer)
            nodes[v] = Nodes.all_of(light.T)
    laws = [briefs[v] for v in viewings]
    eyes = [
        _Eye.of(nodes[v], lab, metric)
        for v, lab, metric in zip(viewings, labs, metrics, strict=True)
    ]
    block = CELLS // max(len(n.bands) for n in nodes.values())
    k = len(space.ground_share)
    allowed = [np.flatnonzero(space.allowed(pot)) for pot in range(len(space.colour_share))]
    heaps = _Heap.of(space.colour_share, allowed, k)
    work = [(heap, slice(i, i + block)) for heap in heaps for i in range(0, len(heap.rows), block)]
    count = min(2, os.cpu_count() or 1) if threads is None else threads

    def run(jobs: Iterable[tuple[_Heap, slice]]) -> None:
        desk = _Desk(laws, eyes)
        for heap, part in jobs:
            desk.work(heap, part)

    _Crew(work, step).work(run, max(count, 1) if len(work) >= 4 else 1)
    found: list[Single] = [np.empty((k, 0), np.float32)] * len(allowed)
    for heap in heaps:
        for pot, span in heap.spans.items():
            found[pot] = heap.out[:, span]
    return list(zip(allowed, found, strict=True))


@dataclass(frozen=True)
class _Heap:
    """All recipes of the same colours, pot after pot, so that small pots fill a block together."""

    used: NDArray[np.intp]
    share: Single
    rows: NDArray[np.intp]
    spans: dict[int, slice]
    out: Single

    @classmethod
    def of(cls, shares: Array, allowed: Sequence[NDArray[np.intp]], grounds: int) -> list[_Heap]:
        alike: dict[tuple[int, ...], list[int]] = {}
        for pot, share in enumerate(shares):
            alike.setdefault(tuple(np.flatnonzero(share).tolist()), []).append(pot)
        heaps = []
        for used, pots in alike.items():
            counts = [len(allowed[p]) for p in pots]
            ends = np.cumsum(counts).tolist()
            spans = {p: slice(e - c, e) for p, c, e in zip(pots, counts, ends, strict=True)}
            at = np.array(used, np.intp)
            heaps.append(
                cls(
                    at,
                    np.repeat(shares[pots][:, at].T, counts, axis=1).astype(np.float32),
                    np.concatenate([allowed[p] for p in pots]),
                    spans,
                    np.zeros((grounds, ends[-1]), np.float32),
                )
            )
        return heaps


class _Crew:
    """Threads at one list of work, which stop when the one who waits for them says so."""

    def __init__(self, work: list[tuple[_Heap, slice]], step: Step | None) -> None:
        self.todo, self.step = work, step
        self.done, self.stop = 0, threading.Event()

    def _jobs(self, numbers: range, *, alone: bool) -> Iterator[tuple[_Heap, slice]]:
        told = 0.0
        for number in numbers:
            if self.stop.is_set():
                return
            if alone and self.step is not None and time.monotonic() - told > PAUSE:
                self.step(number / len(self.todo), SAID)
                told = time.monotonic()
            yield self.todo[number]
            self.done += 1

    def work(self, run: Callable[[Iterable[tuple[_Heap, slice]]], None], count: int) -> None:
        size = len(self.todo)
        if count == 1:
            run(self._jobs(range(size), alone=True))
            return
        with ThreadPoolExecutor(count) as pool:
            try:
                left = {
                    pool.submit(run, self._jobs(range(i, size, count), alone=False))
                    for i in range(count)
                }
                while left:
                    # Only the thread that asked for the search calls back: whoever shows how far
                    # it has come need not care for others.
                    ready, left = wait(left, None if self.step is None else PAUSE)
                    for one in ready:
                        one.result()
                    if left and self.step is not None:
                        self.step(self.done / size, SAID)
            except BaseException:
                self.stop.set()
                raise


class _Desk:
    """One thread's constants and scratch paper; wavelengths run down, recipes across."""

    def __init__(self, laws: Sequence[LawInBrief], eyes: Sequence[_Eye]) -> None:
        self.laws, self.eyes = laws, eyes
        self.paper = [np.empty(CELLS, np.float32) for _ in range(4)]
        self.grounds, self.absorptions, self.scatterings = [], [], []
        self.doses = [np.ascontiguousarray(law.dose.T, np.float32) for law in laws]
        self.surfaces = []
        for law, eye in zip(laws, eyes, strict=True):
            at = eye.nodes.bands
            self.grounds.append(law.ground[:, at].astype(np.float32)[:, :, None])
            self.absorptions.append(-law.absorption[:, at].astype(np.float32)[:, :, None])
            self.scatterings.append(law.scattering[:, at].astype(np.float32)[:, :, None])
            # R / (1 - k2 R) is (1 / k2) / (1 / k2 - R) less 1, over k2: one division, and what
            # does not depend on the recipe goes into the weights and the constant. A surface that
            # sends nothing back inside is one of a k2 too small to matter.
            k2 = np.maximum(law.k2, 1e-3)
            pole = (1.0 / k2).astype(np.float32)
            factor = (law.gain / k2**2)[:, None, None] * eye.nodes.weights
            shares = eye.nodes.weights.sum(axis=1)
            constant = (law.lift - law.gain / k2)[:, None] * shares
            self.surfaces.append(
                (pole, factor.astype(np.float32), constant[:, :, None].astype(np.float32))
            )

    def work(self, heap: _Heap, part: slice) -> None:
        rows, used, out = heap.rows[part], heap.used, heap.out[:, part]
        n = len(rows)
        previous = None
        for at, (law, eye) in enumerate(zip(self.laws, self.eyes, strict=True)):
            bands = len(eye.nodes.bands)
            through, glow, light, spare = (p[: bands * n].reshape(bands, n) for p in self.paper)
            if law is not previous:
                dose = self.doses[at][used[:, None], rows] * heap.share[:, part]
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
