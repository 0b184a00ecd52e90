"""The fit itself: free values, their spread, the sizes of noise, and which panels to trust.

Damped Gauss-Newton steps towards the most probable values, alternating with the choice of sizes by
evidence (`matchlib.regression.evidence`) and of each panel's probability of being what its back
says (`matchlib.regression.misses`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from matchlib.errors import FitError
from matchlib.regression.beliefs import start_sizes
from matchlib.regression.evidence import EFFECTS, Linearised, Sizes, best_sizes
from matchlib.regression.law import FilmLaw
from matchlib.regression.misses import Rows, panel_distances, price_of, stacked, trust_of
from matchlib.regression.observe import KNOWN, TONE
from matchlib.regression.start import starting_values
from matchlib.stepping import Step, part_of

__all__ = ["FittedLaw", "evidence_with", "fit_law"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Chunks = list[tuple[Ints, Rows]]
Tick = Callable[[], None]
"""Called between two pieces of work; may raise to end it."""

CHUNK = 600
"""Panels worked on at a time: bounds memory, not the result."""

LEARNT_FROM = 800
"""Sizes are learnt from at most so many panels; more would not sharpen a handful of numbers."""

LEAST_MISS = 0.3
"""Noise by which backs are judged, at least [ΔE*ab]: where readings repeat better than that, as in
print, a panel that stands out by a tenth carries no wrong recipe."""

HELD = 1e-6
"""Size at which a field stands still."""

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
        Probability that each panel is what its back says [-].
    evidence : float
        Log evidence of the panels that the sizes were learnt from, less the price of those taken
        for wrong backs [nat].
    """

    law: FilmLaw
    z: Array
    covariance: Array
    sizes: Sizes
    trust: Array
    evidence: float


def _linearise(law: FilmLaw, z: Array, rows: Rows, trust: Array) -> Linearised:
    s = stacked(law, z, rows)
    return Linearised(
        jacobian=s.jacobian,
        target=s.miss + s.jacobian @ z,
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


def _objective(
    law: FilmLaw, z: Array, chunks: Chunks, sizes: Sizes, trust: Array, *, tick: Tick
) -> float:
    total = float(np.sum((z / sizes.groups[law.group_of]) ** 2))
    for who, part in chunks:
        tick()
        total += float(trust[who] @ panel_distances(law, z, part, sizes)[0])
    return total


def _normal(
    law: FilmLaw, z: Array, chunks: Chunks, sizes: Sizes, trust: Array, *, tick: Tick
) -> tuple[Array, Array]:
    prior = np.diag(1.0 / sizes.groups[law.group_of] ** 2)
    precision, load = prior.copy(), np.zeros(law.size)
    for who, part in chunks:
        tick()
        a, b = _linearise(law, z, part, trust[who]).normal(sizes)
        precision += a - prior
        load += b
    return precision, load


def _descend(
    law: FilmLaw,
    z: Array,
    chunks: Chunks,
    sizes: Sizes,
    trust: Array,
    *,
    steps: int,
    tick: Tick,
    damping: float = 1e-3,
) -> Array:
    best = _objective(law, z, chunks, sizes, trust, tick=tick)
    for _ in range(steps):
        precision, load = _normal(law, z, chunks, sizes, trust, tick=tick)
        gradient = load - precision @ z
        for _ in range(8):
            damped = precision.copy()
            damped[np.diag_indices_from(damped)] *= 1.0 + damping
            move = np.linalg.solve(damped, gradient)
            trial = z + move
            value = _objective(law, trial, chunks, sizes, trust, tick=tick)
            if np.isfinite(value) and value < best:
                break
            damping = max(damping * 8.0, 1e-3)
        else:
            return z
        gained = best - value
        z, best, damping = trial, value, damping / 6.0
        if gained < 1e-3 * (1.0 + 0.01 * abs(best)):
            break
    return z


def fit_law(
    law: FilmLaw,
    rows: Rows,
    *,
    start: FittedLaw | None = None,
    rounds: int = 4,
    robust: bool = True,
    random_state: int | None = 0,
    step: Step | None = None,
) -> FittedLaw:
    """Fit the law to readings.

    Parameters
    ----------
    law : FilmLaw
        The law.
    rows : Rows
        Readings.
    start : FittedLaw, optional
        A fit of the same law without residual, to begin from.
    rounds : int
        Rounds of sizes, trust and descent.
    robust : bool
        Whether panels may be found to carry a wrong back.
    random_state : int, optional
        Decides which panels the sizes are learnt from, when there are very many.
    step : callable, optional
        Called with the share done between pieces of work; what it raises ends the fit.

    Returns
    -------
    FittedLaw
        The fit.

    Raises
    ------
    FitError
        If the values run away.
    """
    some = _some(rows.panels, random_state)
    part = rows.of_panels(some)
    # The shares of a usual archive's fit; where it stands still it is on some larger piece.
    told, last = part_of(step, 0.3 if start is None else 0.0, 0.9), part_of(step, 0.9, 1.0)
    if start is None:
        z, sizes, trust = _begin(law, part, part_of(step, 0.0, 0.3))
    else:
        z, sizes, trust = _resume(law, start, part, told)
    z, sizes, trust, evidence = _settle(
        law, part, z, sizes, trust, rounds=rounds, robust=robust, step=told
    )
    tick = partial(last, 0.0, SAID)
    chunks = _chunks(rows)
    if len(some) < rows.panels:
        # The sizes are known by now; the rest of the panels only sharpens the values.
        trust = _trusts(law, z, chunks, sizes, tick) if robust else np.ones(rows.panels)
        z = _descend(law, z, chunks, sizes, trust, steps=2, tick=tick)
    precision, _ = _normal(law, z, chunks, sizes, trust, tick=tick)
    return FittedLaw(law, z, _inverse(precision), sizes, trust, evidence)


def evidence_with(
    law: FilmLaw,
    rows: Rows,
    start: FittedLaw,
    *,
    robust: bool = True,
    random_state: int | None = 0,
    step: Step | None = None,
) -> float:
    """Return a first look at what evidence there would be for a law with a residual.

    Parameters
    ----------
    law : FilmLaw
        The law.
    rows : Rows
        Readings.
    start : FittedLaw
        A fit of the same law without residual.
    robust : bool
        As for `fit_law`.
    random_state : int, optional
        As for `fit_law`: the same panels are looked at.
    step : callable, optional
        As for `fit_law`.

    Returns
    -------
    float
        After one round, to be compared with that of `start` [nat].
    """
    told, part = part_of(step), rows.of_panels(_some(rows.panels, random_state))
    z, sizes, trust = _resume(law, start, part, told)
    return _settle(law, part, z, sizes, trust, rounds=1, robust=robust, step=told)[-1]


def _some(panels: int, random_state: int | None) -> Ints:
    if panels <= LEARNT_FROM:
        return np.arange(panels)
    draw = np.random.default_rng(random_state)
    return np.sort(draw.choice(panels, LEARNT_FROM, replace=False))


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


def _begin(law: FilmLaw, rows: Rows, step: Step) -> tuple[Array, Sizes, Array]:
    sizes, _, _ = start_sizes(law)
    trust = np.ones(rows.panels)
    z = starting_values(law, rows.table, rows.seen.lab)
    # Wide noise first: the law finds its place before any panel weighs heavily.
    for number, wider in enumerate((20.0, 5.0, 2.0)):
        tick = partial(step, number / 3, SAID)
        wide = Sizes(sizes.effects * wider, sizes.noise * wider, sizes.groups)
        z = _descend(law, z, _chunks(rows), wide, trust, steps=8, tick=tick)
    return z, sizes, trust


def _resume(law: FilmLaw, start: FittedLaw, rows: Rows, step: Step) -> tuple[Array, Sizes, Array]:
    sizes, _, _ = start_sizes(law)
    z = np.zeros(law.size)
    z[: start.law.size] = start.z
    known = dict(zip(start.law.groups, start.sizes.groups, strict=True))
    groups = np.array([known.get(g, s) for g, s in zip(law.groups, sizes.groups, strict=True)])
    # What was no part of the law may have been taken for a wrong back: all are heard anew.
    trust = np.ones(rows.panels)
    # The law settles beside its fields before any of them moves.
    held = np.array([known.get(g, HELD) for g in law.groups])
    still = Sizes(start.sizes.effects, start.sizes.noise, held)
    tick = partial(step, 0.0, SAID)
    z = _descend(law, z, _chunks(rows), still, trust, steps=12, tick=tick)
    return z, replace(still, groups=groups), trust


def _trusts(law: FilmLaw, z: Array, chunks: Chunks, sizes: Sizes, tick: Tick) -> Array:
    pairs = []
    sizes = replace(sizes, noise=np.maximum(sizes.noise, LEAST_MISS))
    for _, part in chunks:
        tick()
        pairs.append(panel_distances(law, z, part, sizes))
    squared, count = (np.concatenate(p) for p in zip(*pairs, strict=True))
    # Most backs are right. Where the law misses most panels it is the law that is wrong, and no
    # panel loses its say for that: else the noise would shrink to the few that fit, and so on.
    usual = count * (1.0 - 2.0 / (9.0 * count)) ** 3
    return trust_of(squared / max(1.0, float(np.median(squared / usual))), count)


def _settle(
    law: FilmLaw,
    rows: Rows,
    z: Array,
    sizes: Sizes,
    trust: Array,
    *,
    rounds: int,
    robust: bool,
    step: Step,
) -> tuple[Array, Sizes, Array, float]:
    _, centre, spread = start_sizes(law)
    # A size that no reading can speak of stays where it is believed.
    present = set(rows.seen.family.tolist()) | ({TONE} if rows.seen.spectral.any() else set())
    for family in range(4):
        if family not in present or family == KNOWN:
            spread[len(EFFECTS) + family] = 0.0
    if law.residual.parts:  # The fields' leftovers are not to be taken for the surface's.
        spread[len(EFFECTS) + len(sizes.noise) + law.groups.index("surface")] = 0.0
    chunks = _chunks(rows)
    linear = _linearise(law, z, rows, trust)
    best = (z, sizes, trust, -np.inf)
    for number in range(rounds):
        tick = partial(step, number / rounds, SAID)
        tick()
        sizes = best_sizes(linear, sizes, centre, spread, tick=tick)
        z = _descend(law, z, chunks, sizes, trust, steps=12, tick=tick)
        if robust:
            trust = _trusts(law, z, chunks, sizes, tick)
        # What the straight line promised the law itself may not keep: each round is judged by
        # where it ended, and the best is what is kept.
        linear = _linearise(law, z, rows, trust)
        evidence = linear.evidence(sizes)[0] + price_of(trust)
        if evidence > best[-1]:
            best = (z, sizes, trust, evidence)
    return best
