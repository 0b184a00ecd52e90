"""The fit itself: free values, their spread, the sizes of noise, and which panels to trust.

Damped Gauss-Newton steps towards the most probable values, alternating with the choice of sizes by
evidence (`matchlib.regression.evidence`) and of each panel's probability of being what its back
says (`matchlib.regression.outliers`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from matchlib.errors import FitError
from matchlib.progress import Callback, part_of
from matchlib.regression.evidence import Linearised, best_sizes
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import KNOWN, TONE
from matchlib.regression.outliers import LeftOut, leave_one_out
from matchlib.regression.residuals import Rows, residuals
from matchlib.regression.sizes import EFFECTS, Sizes, start_sizes

__all__ = ["FittedLaw", "Refits", "extend", "fit_law", "learnt_from"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Chunks = list[tuple[Ints, Rows]]
Tick = Callable[[], None]
"""Called between two pieces of work; may raise to end it."""

CHUNK = 600
"""Panels worked on at a time: bounds memory, not the result."""

LEARNT_FROM = 400
"""Sizes, and how far to trust the law, are learnt from at most so many panels; more would not
sharpen a handful of numbers."""

LEAST_NOISE = 0.3
"""Noise by which backs are judged, at least [ΔE*ab]: where readings repeat better than that, as in
print, a panel that stands out by a tenth carries no wrong recipe."""

WRONG = 0.05
"""A panel less likely than this to be what its back says has no say at all [-]."""

LEVER = 0.5
"""Leverage from which a panel is judged by a fit without it, since a straight line from the fit
that it bent may not find back [-]."""

REFITTED = 24
"""Panels so judged, at most: those of the greatest leverage."""

SAID = "fitting the film law"


@dataclass(frozen=True)
class FittedLaw:
    """A law with its most probable values and their covariance.

    Parameters
    ----------
    law : FilmLaw
        The law.
    z : ndarray, shape (p,)
        Most probable values.
    covariance : ndarray, shape (p, p)
        Of the values, given the readings.
    sizes : Sizes
        Standard deviations of effects, noises and priors.
    trust : ndarray, shape (m,)
        Weight of each panel: the probability that it is what its back says, 0 below 5 % [-].
    """

    law: FilmLaw
    z: Array
    covariance: Array
    sizes: Sizes
    trust: Array


@dataclass(frozen=True)
class _Look:
    """The law around some values: what is to be made small, its slope and its curvature."""

    value: float
    gradient: Array
    precision: Array


def _linearise(law: FilmLaw, z: Array, rows: Rows, trust: Array, *, about: Array) -> Linearised:
    s = residuals(law, z, rows)
    return Linearised(
        jacobian=s.jacobian,
        target=s.value + s.jacobian @ about,
        effects=s.effects,
        family=s.family,
        panel=s.panel,
        trust=trust,
        group_of=law.group_of,
        families=4,
    )


def _chunks(rows: Rows) -> Chunks:
    count = rows.panels
    if count <= CHUNK:
        return [(np.arange(count), rows)]
    pieces = np.array_split(np.arange(count), -(-count // CHUNK))
    return [(p, rows.of_panels(p)) for p in pieces]


def _look(
    law: FilmLaw, z: Array, chunks: Chunks, sizes: Sizes, trust: Array, *, callback: Tick
) -> _Look:
    weight = 1.0 / sizes.groups[law.group_of] ** 2
    value, load = float(weight @ z**2), -weight * z
    precision = np.diag(weight)
    here = np.zeros_like(z)
    for who, part in chunks:
        callback()
        try:
            a, b, misfit = _linearise(law, z, part, trust[who], about=here).normal(sizes)
        except np.linalg.LinAlgError:  # values that no film has
            return _Look(np.inf, load * np.nan, precision * np.nan)
        precision += a
        load += b
        value += misfit
    return _Look(value, load, precision)


def _descend(
    law: FilmLaw,
    z: Array,
    chunks: Chunks,
    sizes: Sizes,
    trust: Array,
    *,
    steps: int,
    callback: Tick,
    damping: float = 1e-3,
    start: _Look | None = None,
) -> tuple[Array, Array]:
    """Return the values of least misfit found, and their precision."""
    best = start or _look(law, z, chunks, sizes, trust, callback=callback)
    for _ in range(2 * steps):
        damped = best.precision.copy()
        damped[np.diag_indices_from(damped)] *= 1.0 + damping
        move = np.linalg.solve(damped, best.gradient)
        if not move @ best.gradient > 1e-3 * (1.0 + 0.01 * best.value):
            break  # nothing more to gain
        seen = _look(law, z + move, chunks, sizes, trust, callback=callback)
        if not seen.value < best.value:
            damping = max(damping * 8.0, 1e-2)
            continue
        z, best, damping = z + move, seen, damping / 6.0
        steps -= 1
        if not steps:
            break
    return z, best.precision


def learnt_from(panels: int, random_state: int | None) -> Ints:
    """Return the panels that a fit is learnt from."""
    if panels <= LEARNT_FROM:
        return np.arange(panels)
    draw = np.random.default_rng(random_state)
    return np.sort(draw.choice(panels, LEARNT_FROM, replace=False))


def fit_law(
    law: FilmLaw,
    rows: Rows,
    *,
    rounds: int = 3,
    robust: bool = True,
    callback: Callback | None = None,
) -> FittedLaw:
    """Fit the law to readings."""
    report = part_of(callback)
    share = 0.0

    def tick() -> None:
        report(share, SAID)

    sizes, centre, spread = start_sizes(law)
    # A size that no reading can speak of stays where it is believed.
    present = set(rows.seen.family.tolist()) | ({TONE} if rows.seen.spectral.any() else set())
    for family in range(len(sizes.noise)):
        if family not in present or family == KNOWN:
            spread[len(EFFECTS) + family] = 0.0
    chunks, trust, z = _chunks(rows), np.ones(rows.panels), np.zeros(law.size)
    # Wide noise first: the law finds its place before any panel weighs heavily.
    for wider in (20.0, 5.0, 2.0):
        wide = Sizes(sizes.effects * wider, sizes.noise * wider, sizes.groups)
        z, _ = _descend(law, z, chunks, wide, trust, steps=8, callback=tick)
    for number in range(rounds):
        share = 0.2 + 0.6 * number / rounds
        linear = _linearise(law, z, rows, trust, about=z)
        sizes = best_sizes(linear, sizes, centre, spread, callback=tick)
        fit = _finished(law, z, chunks, sizes, trust, steps=12, callback=tick)
        if robust:
            trust = _trusted(fit, rows, chunks)
        z = fit.z
    share = 0.8
    if robust:
        fit = _finished(law, z, chunks, sizes, trust, steps=4, callback=tick)
        fit = _without_levers(fit, rows, chunks, callback=tick)
    return fit


def extend(fit: FittedLaw, rows: Rows, some: Ints, *, robust: bool = True) -> FittedLaw:
    """Return a fit to part of an archive, sharpened by the rest of it."""
    if len(some) == rows.panels:
        return fit
    chunks, trust = _chunks(rows), np.ones(rows.panels)
    trust[some] = fit.trust
    if robust:
        trust = _trusted(replace(fit, trust=trust), rows, chunks)
    return _finished(fit.law, fit.z, chunks, fit.sizes, trust, steps=2, callback=_nothing)


class Refits:
    """Fits as they would be without some panels, each begun from the full fit, its sizes kept.

    Parameters
    ----------
    fit : FittedLaw
        A fit.
    rows : Rows
        What it was fitted to.
    """

    def __init__(self, fit: FittedLaw, rows: Rows) -> None:
        self.fit, self.rows, self._chunks = fit, rows, _chunks(rows)
        self._full = _look(fit.law, fit.z, self._chunks, fit.sizes, fit.trust, callback=_nothing)

    def without(self, group: Ints, *, steps: int = 2) -> FittedLaw:
        """Return the fit without some panels."""
        fit, full, group = self.fit, self._full, np.sort(group)
        part, none = self.rows.of_panels(group), np.zeros_like(fit.z)
        own = _linearise(fit.law, fit.z, part, fit.trust[group], about=none)
        precision, load, misfit = own.normal(fit.sizes)
        start = _Look(full.value - misfit, full.gradient - load, full.precision - precision)
        trust = fit.trust.copy()
        trust[group] = 0.0
        return _finished(
            fit.law,
            fit.z,
            self._chunks,
            fit.sizes,
            trust,
            steps=steps,
            callback=_nothing,
            start=start,
        )


def _nothing() -> None:
    """Tell nobody."""


def _finished(
    law: FilmLaw,
    z: Array,
    chunks: Chunks,
    sizes: Sizes,
    trust: Array,
    *,
    steps: int,
    callback: Tick,
    start: _Look | None = None,
) -> FittedLaw:
    z, precision = _descend(
        law, z, chunks, sizes, trust, steps=steps, callback=callback, start=start
    )
    return FittedLaw(law, z, _inverse(precision), sizes, trust)


def _judged(fit: FittedLaw, chunks: Chunks, trust: Array) -> tuple[LeftOut, float]:
    """Panels against the others; and by how much all lie farther out than they should."""
    sizes = replace(fit.sizes, noise=np.maximum(fit.sizes.noise, LEAST_NOISE))
    parts = [
        leave_one_out(residuals(fit.law, fit.z, part), fit.covariance, sizes, trust[who])
        for who, part in chunks
    ]
    found = LeftOut(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(LeftOut)))
    usual = found.count * (1.0 - 2.0 / (9.0 * found.count)) ** 3
    return found, max(1.0, float(np.median(found.squared / usual)))


def _trusted(fit: FittedLaw, rows: Rows, chunks: Chunks) -> Array:
    # Most backs are right. Where the law misses most panels it is the law that is wrong, and no
    # panel loses its say for that: else the noise would shrink to the few that fit, and so on.
    found, excess = _judged(fit, chunks, fit.trust)
    return _weights(found.trust(excess), rows.only)


def _weights(trust: Array, only: NDArray[np.bool_]) -> Array:
    # Of the only panel of a ground or a colour the others know nothing.
    return np.asarray(np.where(only, 1.0, np.where(trust < WRONG, 0.0, trust)), float)


def _without_levers(fit: FittedLaw, rows: Rows, chunks: Chunks, *, callback: Tick) -> FittedLaw:
    """The fit without those panels that a fit without them calls wrong."""
    found, excess = _judged(fit, chunks, fit.trust)
    doubtful = ((found.leverage > LEVER) | (fit.trust < 0.5)) & ~rows.only
    suspects = np.argsort(-np.where(doubtful, found.leverage, -1.0))[: doubtful.sum()][:REFITTED]
    trust, refits = fit.trust.copy(), Refits(fit, rows)
    for panel in np.asarray(suspects, np.intp).reshape(-1, 1):
        callback()
        alone = refits.without(panel)
        one = [(np.zeros(1, np.intp), rows.of_panels(panel))]
        seen, _ = _judged(alone, one, np.zeros(1))
        trust[panel] = _weights(seen.trust(excess), np.zeros(1, bool))
    if np.array_equal(trust > 0.0, fit.trust > 0.0):
        return fit
    return _finished(fit.law, fit.z, chunks, fit.sizes, trust, steps=12, callback=callback)


def _inverse(precision: Array) -> Array:
    diagonal = np.diag(precision)
    if np.isfinite(precision).all():
        # Summing panel effects out subtracts large numbers; a trace more on the diagonal makes
        # up for what rounding took.
        for trace in (0.0, 1e-9, 1e-7, 1e-5):
            try:
                factor = cho_factor(precision + np.diag(trace * diagonal), lower=True)
            except np.linalg.LinAlgError:
                continue
            return np.asarray(cho_solve(factor, np.eye(len(precision))), np.float64)
    raise FitError(
        "The regression did not settle.",
        expected="readings that a film over a ground can make",
        got="values that run away",
        remedy="check the readings with the audit, and the scale of the spectra.",
    )
