"""The fit itself: free values, their spread, the sizes of noise, and which panels to trust.

Damped Gauss-Newton steps towards the most probable values, alternating with the choice of sizes by
evidence (`matchlib.regression.evidence`) and of each panel's probability of being what its back
says (`matchlib.regression.outliers`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import astuple, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.errors import FitError
from matchlib.progress import Callback, part_of
from matchlib.regression.evidence import best_sizes, evidence, normal_equations
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import KNOWN, TONE
from matchlib.regression.outliers import LeftOut, leave_one_out
from matchlib.regression.residuals import Rows, residuals
from matchlib.regression.sizes import EFFECTS, Sizes, start_sizes

__all__ = ["FittedLaw", "Refits", "extend", "fit_law", "learnt_from"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

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

LEVERAGE = 0.5
"""Leverage from which a panel is judged by a fit without it, since a straight line from the fit
that it bent may not find back [-]."""

REFITTED = 24
"""Panels so judged, at most: those of the greatest leverage."""


class FittedLaw(NamedTuple):
    """A law with its most probable values and their covariance."""

    law: FilmLaw
    z: Array  # (p,), most probable values
    covariance: Array  # (p, p), of the values, given the readings
    sizes: Sizes
    trust: Array  # (m,), probability that a panel is what its back says, 0 below 5 % [-]


class _Quadratic(NamedTuple):
    """What a fit makes small, about some values of the law: its value, slope and curvature."""

    value: float
    gradient: Array
    precision: Array


class Problem:
    """Readings to be fitted by a law; `tick` is called between pieces of work and may end it."""

    def __init__(self, law: FilmLaw, rows: Rows, tick: Callable[[], None] = lambda: None) -> None:
        self.law, self.rows, self.tick = law, rows, tick
        parts = np.array_split(np.arange(rows.panels), -(-rows.panels // CHUNK))
        self._parts = [(p, rows.of_panels(p) if len(parts) > 1 else rows) for p in parts]

    def linearised(self, z: Array, sizes: Sizes, trust: Array) -> _Quadratic:
        """Return the misfit and the prior with the law taken as linear about some values."""
        weight = 1.0 / sizes.groups[self.law.group_of] ** 2
        value, load, precision = float(weight @ z**2), -weight * z, np.diag(weight)
        for who, part in self._parts:
            self.tick()
            missed = residuals(self.law, z, part)
            try:
                a, b, misfit = normal_equations(missed, sizes, trust[who])
            except np.linalg.LinAlgError:  # values that no film has
                return _Quadratic(np.inf, load * np.nan, precision * np.nan)
            precision += a
            load += b
            value += misfit
        return _Quadratic(value, load, precision)

    def descend(
        self, z: Array, sizes: Sizes, trust: Array, *, steps: int, start: _Quadratic | None = None
    ) -> FittedLaw:
        """Return the values of least misfit found, by damped Gauss-Newton steps."""
        best, damping = start or self.linearised(z, sizes, trust), 1e-3
        for _ in range(2 * steps):
            damped = best.precision + np.diag(damping * np.diag(best.precision))
            move = np.linalg.solve(damped, best.gradient)
            if not move @ best.gradient > 1e-3 * (1.0 + 0.01 * best.value):
                break  # nothing more to gain
            seen = self.linearised(z + move, sizes, trust)
            if not seen.value < best.value:
                damping = max(damping * 8.0, 1e-2)
                continue
            z, best, damping = z + move, seen, damping / 6.0
            steps -= 1
            if not steps:
                break
        if not np.isfinite(best.precision).all():
            raise FitError(
                "The regression did not settle.",
                expected="readings that a film over a ground can make",
                got="values that run away",
                remedy="check the readings with the audit, and the scale of the spectra.",
            )
        spread = np.linalg.inv(best.precision)
        return FittedLaw(self.law, z, 0.5 * (spread + spread.T), sizes, trust)

    def judged(self, fit: FittedLaw) -> tuple[LeftOut, float]:
        """Panels against the others; and by how much all lie farther out than they should."""
        sizes = replace(fit.sizes, noise=np.maximum(fit.sizes.noise, LEAST_NOISE))
        parts = [
            leave_one_out(residuals(fit.law, fit.z, part), fit.covariance, sizes, fit.trust[who])
            for who, part in self._parts
        ]
        found = LeftOut(*map(np.concatenate, zip(*map(astuple, parts), strict=True)))
        return found, max(1.0, float(np.median(found.squared / usual_squared(found.count))))

    def trusted(self, fit: FittedLaw) -> Array:
        """Return each panel's weight by what the others say of it."""
        # Most backs are right. Where the law misses most panels it is the law that is wrong, and
        # no panel loses its say for that: else the noise would shrink to the few that fit.
        found, excess = self.judged(fit)
        return self.rows.not_all_wrong(_weights(found.trust(excess)))

    def without_contradicted(self, fit: FittedLaw) -> FittedLaw:
        """Return the fit without those panels that a fit without them calls wrong."""
        found, excess = self.judged(fit)
        doubtful = (found.leverage > LEVERAGE) | (fit.trust < 0.5)
        suspects = np.flatnonzero(doubtful)[np.argsort(-found.leverage[doubtful])][:REFITTED]
        trust, refits = fit.trust.copy(), Refits(fit, self.rows)
        for panel in suspects.reshape(-1, 1):
            self.tick()
            alone = refits.without(panel)._replace(trust=np.zeros(1))
            seen, _ = Problem(fit.law, self.rows.of_panels(panel)).judged(alone)
            trust[panel] = _weights(seen.trust(excess))
        trust = self.rows.not_all_wrong(trust)
        if np.array_equal(trust > 0.0, fit.trust > 0.0):
            return fit
        return self.descend(fit.z, fit.sizes, trust, steps=12)


def usual_squared(dof: Array) -> Array:
    """Return the median of chi squared (Wilson and Hilferty 1931, PNAS 17, 684)."""
    return np.asarray(dof * (1.0 - 2.0 / (9.0 * dof)) ** 3, float)


def _weights(trust: Array) -> Array:
    return np.asarray(np.where(trust < WRONG, 0.0, trust), float)


class Refits:
    """Fits as they would be without some panels, each begun from the full fit, its sizes kept."""

    def __init__(self, fit: FittedLaw, rows: Rows) -> None:
        self.fit, self.rows, self._problem = fit, rows, Problem(fit.law, rows)
        self._full = self._problem.linearised(fit.z, fit.sizes, fit.trust)

    def without(self, group: Ints) -> FittedLaw:
        """Return the fit without some panels."""
        fit, group = self.fit, np.sort(group)
        own = residuals(fit.law, fit.z, self.rows.of_panels(group))
        precision, load, misfit = normal_equations(own, fit.sizes, fit.trust[group])
        full = self._full
        start = _Quadratic(full.value - misfit, full.gradient - load, full.precision - precision)
        trust = fit.trust.copy()
        trust[group] = 0.0
        return self._problem.descend(fit.z, fit.sizes, trust, steps=2, start=start)


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
    report, share = part_of(callback), 0.0
    problem = Problem(law, rows, lambda: report(share, "fitting the film law"))
    sizes, centre, spread = start_sizes(law)
    # A size that no reading can speak of stays where it is believed.
    present = set(rows.seen.family.tolist()) | ({TONE} if rows.seen.spectral.any() else set())
    for family in range(len(sizes.noise)):
        if family not in present or family == KNOWN:
            spread[len(EFFECTS) + family] = 0.0
    trust, z = np.ones(rows.panels), np.zeros(law.size)
    # Wide noise first: the law finds its place before any panel weighs heavily.
    for wider in (20.0, 5.0, 2.0):
        wide = Sizes(sizes.effects * wider, sizes.noise * wider, sizes.groups)
        z = problem.descend(z, wide, trust, steps=8).z
    for number in range(rounds):
        share = 0.2 + 0.6 * number / rounds
        missed = residuals(law, z, rows)

        def value(sizes: Sizes) -> tuple[float, Array]:
            problem.tick()
            return evidence(missed, sizes, trust, about=z, group_of=law.group_of)  # noqa: B023  # called in this round alone

        sizes = best_sizes(value, sizes, centre, spread)
        fit = problem.descend(z, sizes, trust, steps=12)
        if robust:
            trust = problem.trusted(fit)
        z = fit.z
    share = 0.8
    if robust:
        fit = problem.without_contradicted(problem.descend(z, sizes, trust, steps=4))
    return fit


def extend(fit: FittedLaw, rows: Rows, some: Ints, *, robust: bool = True) -> FittedLaw:
    """Return a fit to part of an archive, sharpened by the rest of it."""
    if len(some) == rows.panels:
        return fit
    problem, trust = Problem(fit.law, rows), np.ones(rows.panels)
    trust[some] = fit.trust
    if robust:
        trust = problem.trusted(fit._replace(trust=trust))
    return problem.descend(fit.z, fit.sizes, trust, steps=2)
