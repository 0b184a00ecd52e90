"""How far to trust the law, and how far the library beside it, by what each would have missed.

Panels are left out such that the rest must reach as far as recipes do (`matchlib.regression.reach`)
and both are fitted again without them. The log density that each gave to the readings left out
decides, for each kind of reach, by how much the covariance of the law's values must grow to be
honest, and by how much the library's own variance. Of a recipe each has its share by its
precision, so that the library has more of it the surer it is there (stacking of predictive
distributions: Yao, Vehtari, Simpson and Gelman 2018; by input: Yao, Pirš, Vehtari and Gelman
2022), but none by which what was left out would lie farther off than by the law alone. The law's
growth is a variance learnt from as many groups as were left out, so that few of them make heavy
tails (`matchlib.tails`). Then all of the covariance grows until nine in ten of what was left out
lie where nine in ten should (split conformal prediction: Lei, G'Sell, Rinaldo, Tibshirani and
Wasserman 2018).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.progress import Callback, part_of
from matchlib.regression.library import Process, bare_rows, features, library_share
from matchlib.regression.parts import law_at
from matchlib.regression.reach import BEYOND, BLEND, GROUND, KINDS, SPRAYED, folds
from matchlib.regression.residuals import Rows
from matchlib.regression.solve import FittedLaw, Refits
from matchlib.tails import FEWEST, dof_of_panel, region

__all__ = ["Stack", "stack"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

LEVELS: Array = np.exp(np.linspace(np.log(0.3), np.log(60.0), 90))
"""Growths of the covariance that are tried [-]."""

DOUBTS: Array = np.concatenate([[0.0], np.geomspace(1e-3, 1e3, 40), [np.inf]])
"""Growths of the library's variance that are tried [-]; by an infinite one it has no share."""

USUAL, FIRMNESS = 1.3, 0.7
"""Growth believed before any panel is left out, and the spread of its logarithm [-]."""

WORTH = 4.0
"""Readings that a group left out together is worth, at most: what is wrong with one of them is
wrong with all."""

WORTH_PANELS = 5.0
"""No handful of panels proves a law right: its covariance grows by at least these over their
number, so that five panels double it [panels]."""

NINE = 0.9
"""Share of readings left out that their regions are made to hold [-]."""

FEW = 5.0
"""Readings left out that weigh as much as the belief that the regions hold it already."""

LEAST = 0.05
"""Mean share of the library under which it is left out altogether [-]."""


@dataclass(frozen=True)
class Stack:
    """What was learnt from panels left out; k kinds of reach, in the order of `KINDS`."""

    doubt: Array  # (k,), by how much the library's variance grows; infinite for no share of it
    weight: Array  # (k,), its mean share in predictions of what was left out [-]
    inflation: Array  # (k,), by how much the covariance of the law's values grows [-]
    spread: Array  # (k,), and all else of a panel but its reading's own noise [-]
    dof: Array  # (k,), degrees of freedom of that growth
    groups: Ints  # (k,), groups left out
    # (k,), median difference of what was left out, by the law, the library, and the two stacked
    # [ΔE00]; NaN where nothing was.
    law: Array
    library: Array
    both: Array


class _Missed(NamedTuple):
    """Readings of one kind of reach left out, and what was predicted without them."""

    group: Ints
    lab: Array
    law: Array
    known: Array
    own: Array
    library: Array
    spread: Array
    worth: Array

    @property
    def groups(self) -> int:
        return int(self.group[-1]) + 1


def stack(
    fit: FittedLaw,
    rows: Rows,
    *,
    seed: int | None,
    library: bool,
    beyond: NDArray[np.bool_],
    callback: Callback | None = None,
) -> tuple[Stack, Process | None]:
    """Leave panels out, kind by kind, and learn from what is missed."""
    report = part_of(callback)
    trusted = fit.trust > 0.5
    report(0.0, "asking the library")
    odd = np.zeros(rows.panels, bool)
    odd[rows.panel[beyond]] = True
    taught = _changes(fit, rows.of_panels(np.flatnonzero(trusted | odd)))
    process = Process.shaped(*taught, seed) if library else None
    left = [(kind, group[trusted[group] & ~odd[group]]) for kind, group in folds(rows, seed)]
    left = [(kind, group) for kind, group in left if len(group)]
    parts: dict[int, list[tuple[Array, ...]]] = {}
    refits = Refits(fit, rows)
    for done, (kind, group) in enumerate(left):
        report(done / len(left), "asking how far to trust the fit")
        parts.setdefault(kind, []).append(_without(refits, group, process))
    missed = {}
    for kind, each in parts.items():
        of = np.repeat(np.arange(len(each)), [len(part[0]) for part in each])
        missed[kind] = _Missed(of, *map(np.concatenate, zip(*each, strict=True)))
    least = 1.0 + WORTH_PANELS / max(1, int(trusted.sum()))
    result = _learnt(missed, least=least, library=process is not None)
    return result, process if odd.any() or np.isfinite(result.doubt).any() else None


def _changes(fit: FittedLaw, rows: Rows) -> tuple[Array, Array]:
    bare, _ = rows.seen.lab_of(fit.law.evaluate(fit.z, bare_rows(rows.table)).reflectance)
    return features(bare, rows.table.strength), rows.seen.lab - bare


def _without(refits: Refits, group: Ints, process: Process | None) -> tuple[Array, ...]:
    rows = refits.rows
    alone = refits.without(group)
    out = rows.of_panels(np.sort(group))
    lab, known, own = law_at(alone, out.table, out.seen.lab_of)
    own += alone.sizes.noise[out.seen.family][:, None, None] ** 2 * out.seen.covariance
    guess, spread = lab, np.zeros_like(lab)
    kept = np.flatnonzero(alone.trust > 0.5)
    if process is not None and len(kept):
        at, _ = _changes(alone, out)
        change, spread = process.given(*_changes(alone, rows.of_panels(kept))).predict(at)
        bare, _ = out.seen.lab_of(alone.law.evaluate(alone.z, bare_rows(out.table)).reflectance)
        guess = bare + change
    worth = np.full(len(lab), min(len(lab), WORTH) / len(lab))
    return out.seen.lab, lab, known, own, guess, spread, worth


def _learnt(missed: dict[int, _Missed], *, least: float, library: bool) -> Stack:
    k = len(KINDS)
    doubt, weight = np.full(k, np.inf), np.zeros(k)
    inflation, spread = np.full((2, k), np.nan)
    dof, groups = np.full(k, FEWEST), np.zeros(k, np.intp)
    errors = np.full((3, k), np.nan)
    for kind, m in missed.items():
        groups[kind] = m.groups
        dof[kind] = max(FEWEST, m.groups - 1.0)
        asked = _inflation(m)
        spread[kind] = _growth(m, asked * m.known, dof[kind])
        inflation[kind] = max(asked * spread[kind], least)
        share = np.zeros(len(m.lab))
        if library:
            total = spread[kind] * m.own + inflation[kind] * m.known
            doubt[kind], share = _shared(m, total)
        weight[kind] = share.mean()
        both = m.law + share[:, None] * (m.library - m.law)
        guesses = (m.law, m.library, both)
        errors[:, kind] = [np.median(delta_e00(m.lab, guess)) for guess in guesses]
    # What was never left out is reached as the farthest that was, and no surer.
    like, none = next((k for k in (GROUND, BLEND, SPRAYED) if groups[k]), BEYOND), groups == 0
    inflation[none] = np.nanmax(inflation, initial=USUAL)
    spread[none] = np.nanmax(spread, initial=1.0)
    doubt[none], weight[none] = doubt[like], weight[like]
    return Stack(doubt, weight, inflation, spread, dof, groups, *errors)


def _inflation(m: _Missed) -> float:
    """What groups ask for on average."""
    away = (m.lab - m.law)[:, None, :, None]
    total = m.own[:, None] + LEVELS[None, :, None, None] * m.known[:, None]
    density = m.worth[:, None] * _log_density(away, total)
    belief = -0.5 * (np.log(LEVELS / USUAL) / FIRMNESS) ** 2
    # Groups differ (a solid among flakes), and the mean of what each asks for is what a reading
    # to come will stray by.
    asked = []
    for group in range(m.groups):
        told = density[m.group == group].sum(axis=0) + belief
        share = np.exp(told - told.max())
        asked.append(float(share @ LEVELS / share.sum()))
    return float(np.mean(asked))


def _growth(m: _Missed, known: Array, dof: float) -> float:
    """By how much the whole covariance must grow to hold as many as it says."""
    total, away = m.own + known, m.lab - m.law
    squared = np.einsum("ni,nij,nj->n", away, np.linalg.inv(total), away)
    ratio = squared / region(NINE, dof_of_panel(known, total, known_dof=dof))
    order = np.argsort(ratio)
    inside, count = np.cumsum(m.worth[order]), m.worth.sum()
    # One more reading than were left out is to be held. None makes regions narrower, for what is
    # left out had its say in the sizes.
    last = min(int(np.searchsorted(inside, NINE * (count + 1.0))), len(order) - 1)
    return max(1.0, float(ratio[order[last]] ** (count / (count + FEW))))


def _shared(m: _Missed, total: Array) -> tuple[float, Array]:
    """The library's doubt that makes what was left out likeliest, and its shares by that."""
    law = _log_density((m.lab - m.law)[..., None], total)
    spread = m.own + m.spread[:, :, None] * np.eye(3)
    other = _log_density((m.lab - m.library)[..., None], spread)
    top = np.maximum(law, other)
    variance = np.trace(total, axis1=1, axis2=2)[:, None] / 3.0
    shares = library_share(variance, m.spread.mean(axis=1)[:, None], DOUBTS)
    mixed = (1.0 - shares) * np.exp(law - top)[:, None] + shares * np.exp(other - top)[:, None]
    # The law is believed to begin with, ten to one.
    gain = m.worth @ np.log(np.maximum(mixed, 1e-300)) + np.log1p(-0.9 * shares.mean(axis=0))
    # Surer is not nearer: no share that puts what was left out farther off than the law does.
    guess = m.law[:, None] + shares[:, :, None] * (m.library - m.law)[:, None]
    miss = m.worth @ np.linalg.norm(m.lab[:, None] - guess, axis=2)
    best = int(np.argmax(np.where(miss <= miss[-1], gain, -np.inf)))
    if shares[:, best].mean() < LEAST:
        best = len(DOUBTS) - 1
    return float(DOUBTS[best]), shares[:, best]


def _log_density(away: Array, covariance: Array) -> Array:
    """Log of a normal density, but for a constant; away (..., 3, 1), covariance (..., 3, 3)."""
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    white = (root @ away)[..., 0]
    diagonal = np.diagonal(root, axis1=-2, axis2=-1)
    return np.asarray(np.log(diagonal).sum(axis=-1) - 0.5 * (white**2).sum(axis=-1), float)
