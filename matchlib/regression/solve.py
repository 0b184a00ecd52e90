"""The fit itself: free values, their spread, the sizes of noise, and which panels to trust.

Damped Gauss-Newton steps towards the most probable values, alternating with the choice of sizes by
evidence (`matchlib.regression.evidence`) and with each panel's probability of being what its back
says. That probability comes from a mixture of the panel's own noise and one many times wider
(Box and Tiao 1968), so that a wrong back loses its say instead of bending the law.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from matchlib.colorimetry import GRID
from matchlib.errors import FitError
from matchlib.regression.evidence import EFFECTS, WIDTH, Linearised, Sizes, best_sizes
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import KNOWN, TONE, Observations, tone_of
from matchlib.regression.table import RecipeTable

__all__ = ["FittedLaw", "Rows", "fit_law", "panel_distances", "stacked", "trust_of"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

CHUNK = 600
"""Panels worked on at a time: bounds memory, not the result."""

LEARNT_FROM = 1200
"""Sizes are learnt from at most so many panels; more would not sharpen a handful of numbers."""

WRONG_BACKS = 0.03
"""Share of panels believed to carry a wrong recipe before any reading (common practice, no source)."""

WIDER = 12.0
"""A wrong back's reading misses by some so many times more than a right one's."""

THIRDS: Array = np.kron(np.eye(3), np.ones((11, 1)))[: len(GRID)]
"""Curves of stray light: one for each third of the spectrum."""

_CENTRES = {
    "effects": [(0.05, 0.6), (0.01, 0.7), (0.0005, 0.7)],
    "noise": [(1.0, 0.0), (0.2, 0.7), (1.5, 0.4), (1.2, 0.6)],
    "groups": {
        "fixed": (1.0, 0.0),
        "ground wave": (0.25, 0.5),
        "colour wave": (1.3, 0.4),
        "own k2": (0.15, 0.6),
        "sprayer": (0.06, 0.5),
        "residual shared": (0.03, 1.2),
        "residual ground": (0.02, 1.2),
    },
}


@dataclass(frozen=True)
class Rows:
    """Readings ready to fit.

    Parameters
    ----------
    table : RecipeTable
        n rows.
    seen : Observations
        n rows.
    panel : ndarray of int, shape (n,)
        Panel of each row, 0 to m - 1.
    """

    table: RecipeTable
    seen: Observations
    panel: Ints

    @property
    def panels(self) -> int:
        """Number of panels."""
        return int(self.panel.max()) + 1

    def of_panels(self, chosen: Ints) -> Rows:
        """Return the rows of some panels, renumbered.

        Parameters
        ----------
        chosen : ndarray of int
            Panels, rising.

        Returns
        -------
        Rows
            Their rows.
        """
        place = np.full(self.panels, -1)
        place[chosen] = np.arange(len(chosen))
        mask = place[self.panel] >= 0
        return Rows(self.table.take(mask), self.seen.take(mask), place[self.panel[mask]])


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
        Log evidence of the panels that the sizes were learnt from [nat].
    """

    law: FilmLaw
    z: Array
    covariance: Array
    sizes: Sizes
    trust: Array
    evidence: float


def start_sizes(law: FilmLaw) -> tuple[Sizes, Array, Array]:
    """Return the sizes believed before any reading, and how firmly.

    Parameters
    ----------
    law : FilmLaw
        Gives the prior groups.

    Returns
    -------
    sizes : Sizes
        Centres.
    centre, spread : ndarray
        Of the logarithms, in the order of `Sizes.vector`.
    """
    effects, noise, groups = _CENTRES["effects"], _CENTRES["noise"], _CENTRES["groups"]
    chosen = [groups[g] for g in law.groups]  # type: ignore[call-overload]  # keyed by name
    pairs = np.array([*effects, *noise, *chosen], float)
    e, n = len(effects), len(noise)
    sizes = Sizes(pairs[:e, 0], pairs[e : e + n, 0], pairs[e + n :, 0])
    return sizes, np.log(pairs[:, 0]), pairs[:, 1]


def stacked(law: FilmLaw, z: Array, rows: Rows, *, slopes: bool = True) -> dict[str, Array]:
    """Return what the readings miss the law by, one row a scalar observation.

    Parameters
    ----------
    law : FilmLaw
        The law.
    z : ndarray
        Its values.
    rows : Rows
        Readings.
    slopes : bool
        Whether to return the jacobian too.

    Returns
    -------
    dict
        ``miss``, ``family``, ``panel``, ``effects`` (m, 5) and ``jacobian`` (m, p); first all Lab
        rows in the order of the readings, then the tones of spectra.
    """
    state = law.evaluate(z, rows.table)
    lab, by_r = rows.seen.lab_of(state.reflectance)
    scale = 1.0 / rows.seen.sd
    misses = [((rows.seen.lab - lab) * scale[:, None]).ravel()]
    families = [np.repeat(rows.seen.family, 3)]
    owners = [np.repeat(rows.panel, 3)]
    spectral = np.flatnonzero(rows.seen.spectral)
    tone = by_tone = np.zeros((0, 0))
    if len(spectral):
        tone, by_tone = tone_of(np.maximum(state.reflectance[spectral], 1e-6))
        width = tone.shape[1]
        misses.append((rows.seen.tone[spectral] - tone).ravel())
        families.append(np.full(tone.size, TONE))
        owners.append(np.repeat(rows.panel[spectral], width))
    out = {
        "miss": np.concatenate(misses),
        "family": np.concatenate(families),
        "panel": np.concatenate(owners),
    }
    if slopes:
        jacobian, varied = law.jacobian(state, z, rows.table, by_r)
    else:
        varied = law.effects(state, by_r)
    varied = np.concatenate([varied, by_r @ THIRDS], axis=2)
    effects = [(varied * scale[:, None, None]).reshape(-1, WIDTH)]
    jacobians = []
    if slopes:
        jacobians.append((jacobian * scale[:, None, None]).reshape(-1, law.size))
    if len(spectral):
        part = rows.table.take(spectral)
        some = replace(
            state,
            **{
                k: v[spectral]
                for k, v in state.__dict__.items()
                if k not in ("absorption", "scattering", "ground")
            },
            ground=state.ground[spectral] if state.ground.ndim == 3 else state.ground,
        )
        if slopes:
            jacobian, varied = law.jacobian(some, z, part, by_tone)
        else:
            varied = law.effects(some, by_tone)
        varied = np.concatenate([varied, by_tone @ THIRDS], axis=2)
        effects.append(varied.reshape(-1, WIDTH))
        if slopes:
            jacobians.append(jacobian.reshape(-1, law.size))
    out["effects"] = np.concatenate(effects)
    if slopes:
        out["jacobian"] = np.concatenate(jacobians)
    return out


def _linearise(law: FilmLaw, z: Array, rows: Rows, trust: Array) -> Linearised:
    s = stacked(law, z, rows, slopes=True)
    return Linearised(
        jacobian=s["jacobian"],
        target=s["miss"] + s["jacobian"] @ z,
        effects=s["effects"],
        family=s["family"],
        panel=s["panel"],
        trust=trust,
        group_of=law.group_of,
        families=4,
    )


def _chunks(rows: Rows) -> list[tuple[Ints, Rows]]:
    count = rows.panels
    if count <= CHUNK:
        return [(np.arange(count), rows)]
    pieces = np.array_split(np.arange(count), -(-count // CHUNK))
    return [(p, rows.of_panels(p)) for p in pieces]


def panel_distances(
    law: FilmLaw, z: Array, rows: Rows, sizes: Sizes
) -> tuple[Array, Array]:
    """Return how far each panel's readings are from the law.

    Parameters
    ----------
    law : FilmLaw
        The law.
    z : ndarray
        Its values.
    rows : Rows
        m panels.
    sizes : Sizes
        Standard deviations.

    Returns
    -------
    squared : ndarray, shape (m,)
        Squared Mahalanobis distance under panel effects and noise.
    count : ndarray, shape (m,)
        Scalar observations of each panel.
    """
    s = stacked(law, z, rows, slopes=False)
    noise = sizes.noise[s["family"].astype(int)]
    miss = s["miss"] / noise
    effects = s["effects"] * sizes.effect_sds / noise[:, None]
    m, who = rows.panels, s["panel"].astype(np.intp)
    own = np.tile(np.eye(WIDTH), (m, 1, 1))
    np.add.at(own, who, effects[:, :, None] * effects[:, None, :])
    pull = np.zeros((m, WIDTH))
    np.add.at(pull, who, effects * miss[:, None])
    squared = np.bincount(who, miss**2, m)
    squared -= np.einsum("pi,pi->p", pull, np.linalg.solve(own, pull[:, :, None])[:, :, 0])
    return squared, np.bincount(who, minlength=m).astype(float)


def trust_of(squared: Array, count: Array) -> Array:
    """Return the probability that each panel is what its back says.

    Parameters
    ----------
    squared, count : ndarray, shape (m,)
        From `panel_distances`.

    Returns
    -------
    ndarray, shape (m,)
        Probability [-].
    """
    # A spectrum's tone components overlap Lab; three observations is what a reading is worth.
    worth = np.minimum(count, 3.0) / count
    right = -0.5 * squared * worth
    wrong = -0.5 * squared * worth / WIDER**2 - np.minimum(count, 3.0) * np.log(WIDER)
    odds = np.log(WRONG_BACKS / (1 - WRONG_BACKS)) + wrong - right
    result: Array = 1.0 / (1.0 + np.exp(np.clip(odds, -50, 50)))
    return result


def _objective(law: FilmLaw, z: Array, chunks: list[tuple[Ints, Rows]], sizes: Sizes, trust: Array) -> float:
    prior = np.sum((z / sizes.groups[law.group_of]) ** 2)
    return float(
        prior
        + sum(
            trust[who] @ panel_distances(law, z, part, sizes)[0] for who, part in chunks
        )
    )


def _normal(
    law: FilmLaw, z: Array, chunks: list[tuple[Ints, Rows]], sizes: Sizes, trust: Array
) -> tuple[Array, Array]:
    prior = np.diag(1.0 / sizes.groups[law.group_of] ** 2)
    precision, load = prior.copy(), np.zeros(law.size)
    for who, part in chunks:
        a, b = _linearise(law, z, part, trust[who]).normal(sizes)
        precision += a - prior
        load += b
    return precision, load


def _descend(
    law: FilmLaw,
    z: Array,
    chunks: list[tuple[Ints, Rows]],
    sizes: Sizes,
    trust: Array,
    *,
    steps: int,
    damping: float = 1e-3,
) -> Array:
    best = _objective(law, z, chunks, sizes, trust)
    for _ in range(steps):
        precision, load = _normal(law, z, chunks, sizes, trust)
        gradient = load - precision @ z
        for _ in range(8):
            damped = precision.copy()
            damped[np.diag_indices_from(damped)] *= 1.0 + damping
            move = np.linalg.solve(damped, gradient)
            trial = z + move
            value = _objective(law, trial, chunks, sizes, trust)
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

    Returns
    -------
    FittedLaw
        The fit.

    Raises
    ------
    FitError
        If the values run away.
    """
    some = np.arange(rows.panels)
    if rows.panels > LEARNT_FROM:
        draw = np.random.default_rng(random_state)
        some = np.sort(draw.choice(rows.panels, LEARNT_FROM, replace=False))
    part = rows.of_panels(some)
    begun = _begin(law, part) if start is None else _resume(law, start, some)
    z, sizes, trust = begun
    z, sizes, trust, evidence = _settle(law, part, z, sizes, trust, rounds=rounds, robust=robust)
    chunks = _chunks(rows)
    if len(some) < rows.panels:
        # The sizes are known by now; the rest of the panels only sharpens the values.
        trust = _trusts(law, z, chunks, sizes) if robust else np.ones(rows.panels)
        z = _descend(law, z, chunks, sizes, trust, steps=2)
    precision, _ = _normal(law, z, chunks, sizes, trust)
    try:
        covariance = cho_solve(cho_factor(precision, lower=True), np.eye(law.size))
    except (np.linalg.LinAlgError, ValueError):
        raise FitError(
            "The regression did not settle.",
            expected="readings that a film over a ground can make",
            got="values that run away",
            remedy="check the readings with the audit, and the scale of the spectra.",
        ) from None
    return FittedLaw(law, z, covariance, sizes, trust, evidence)


def _begin(law: FilmLaw, rows: Rows) -> tuple[Array, Sizes, Array]:
    sizes, _, _ = start_sizes(law)
    trust = np.ones(rows.panels)
    z = law.start(rows.table, rows.seen.lab)
    # Wide noise first: the law finds its place before any panel weighs heavily.
    for wider in (20.0, 5.0, 2.0):
        wide = Sizes(sizes.effects * wider, sizes.noise * wider, sizes.groups)
        z = _descend(law, z, _chunks(rows), wide, trust, steps=8)
    return z, sizes, trust


def _resume(law: FilmLaw, start: FittedLaw, some: Ints) -> tuple[Array, Sizes, Array]:
    sizes, _, _ = start_sizes(law)
    z = np.zeros(law.size)
    z[: start.law.size] = start.z
    known = dict(zip(start.law.groups, start.sizes.groups, strict=True))
    groups = [known.get(g, s) for g, s in zip(law.groups, sizes.groups, strict=True)]
    return z, Sizes(start.sizes.effects, start.sizes.noise, np.array(groups)), start.trust[some]


def _trusts(law: FilmLaw, z: Array, chunks: list[tuple[Ints, Rows]], sizes: Sizes) -> Array:
    pairs = [panel_distances(law, z, part, sizes) for _, part in chunks]
    squared, count = (np.concatenate(p) for p in zip(*pairs, strict=True))
    return trust_of(squared, count)


def _settle(
    law: FilmLaw, rows: Rows, z: Array, sizes: Sizes, trust: Array, *, rounds: int, robust: bool
) -> tuple[Array, Sizes, Array, float]:
    _, centre, spread = start_sizes(law)
    # A size that no reading can speak of stays where it is believed.
    present = set(rows.seen.family.tolist()) | ({TONE} if rows.seen.spectral.any() else set())
    for family in range(4):
        if family not in present or family == KNOWN:
            spread[len(EFFECTS) + family] = 0.0
    chunks = _chunks(rows)
    evidence = -np.inf
    for _ in range(rounds):
        linear = _linearise(law, z, rows, trust)
        sizes = best_sizes(linear, sizes, centre, spread)
        evidence, _ = linear.evidence(sizes)
        if robust:
            trust = _trusts(law, z, chunks, sizes)
        z = _descend(law, z, chunks, sizes, trust, steps=4)
    return z, sizes, trust, evidence
