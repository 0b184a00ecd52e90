"""How much surer of itself the law is than it should be, from what it would have missed.

A law is a simplification, and the covariance of its values knows only noise. Leaving panels out
tells more. For a fit that is linear around its values this needs no second fit: with *r* the
misses of some panels, *C* their own covariance and *H* what the values' covariance makes of them,
the misses had these panels been left out are ``C (C - H)^-1 r``, with covariance
``C (C - H)^-1 C`` (the leave-out identity of linear regression; Rasmussen and Williams 2006,
section 5.4.2, for single rows). All coloured panels of one ground are left out at a time, which is
the farthest that the regression is asked to reach. How far the misses lie out is thus learnt from
as many grounds as there are, and few grounds make heavy tails (`matchlib.tails`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from matchlib.regression.misses import Rows, stacked
from matchlib.regression.solve import FittedLaw
from matchlib.stepping import Step, part_of
from matchlib.tails import FEWEST as LEAST_FREEDOM
from matchlib.tails import region

__all__ = ["freedom_of_scale", "left_out", "overconfidence"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_PANELS = 40
"""Panels of one group looked at, at most; more would not change one number."""

FEWEST = 8
"""Readings left out from which a quantile can be taken."""

WORTH_PANELS = 5.0
"""No handful of panels proves a law right: its covariance grows by at least these over their
number, so that five panels double it [panels]."""


def left_out(fit: FittedLaw, rows: Rows, group: Ints) -> tuple[Array, Array, Array]:
    """Return what a group of panels would have missed by, had it been left out.

    Parameters
    ----------
    fit : FittedLaw
        A fit to all panels.
    rows : Rows
        The readings it was fitted to.
    group : ndarray of int
        Panels to leave out, rising.

    Returns
    -------
    miss : ndarray, shape (k, 3)
        Reading less prediction in Lab, one row for each reading of the panels.
    known : ndarray, shape (k, 3, 3)
        Covariance of the prediction without them.
    own : ndarray, shape (k, 3, 3)
        Covariance of the readings themselves.
    """
    part = rows.of_panels(group)
    s = stacked(fit.law, fit.z, part)
    noise = fit.sizes.noise[s.family]
    effects = s.effects * fit.sizes.effect_sds
    together = s.panel[:, None] == s.panel[None, :]
    own = effects @ effects.T * together + np.diag(noise**2)
    hat = s.jacobian @ fit.covariance @ s.jacobian.T
    # C - H is the covariance of the misses as fitted, singular where panels fix a value alone.
    left = own - hat
    values, vectors = np.linalg.eigh((left + left.T) / 2)
    floor = 1e-6 * np.trace(own) / len(own)
    inverse = (vectors / np.maximum(values, floor)) @ vectors.T
    miss = own @ inverse @ s.miss
    spread = own @ inverse @ own
    count = 3 * len(part.table)
    at = np.arange(count).reshape(-1, 3)
    pick = (at[:, :, None], at[:, None, :])
    scale = part.seen.sd
    mine = own[pick] * scale[:, None, None] ** 2
    total = spread[pick] * scale[:, None, None] ** 2
    return miss[:count].reshape(-1, 3) * scale[:, None], total - mine, mine


def overconfidence(fit: FittedLaw, rows: Rows, *, step: Step | None = None) -> float:
    """Return the factor by which the law's own covariance must grow to be honest.

    Parameters
    ----------
    fit : FittedLaw
        A fit.
    rows : Rows
        The readings it was fitted to.
    step : callable, optional
        Called with the share done between groups; what it raises ends the work.

    Returns
    -------
    float
        More than 1, the more the fewer panels there are, and more where spectra are fitted: with
        it, nine in ten of the panels of a ground left out lie inside their 90 % region. Single
        panels are left out where there are fewer than three grounds.
    """
    trusted, main = _coloured(fit, rows)
    grounds = [trusted[main == g] for g in np.unique(main)]
    if len(grounds) < 3:
        grounds = [trusted[i : i + 1] for i in range(len(trusted))]
    # A spectrum speaks twice, in Lab and in tone: such a composite likelihood takes itself for
    # surer than it is (Varin, Reid and Firth 2011).
    least = (1.0 + WORTH_PANELS / len(trusted)) if len(trusted) else 2.0
    least *= 1.0 + float(np.mean(rows.seen.spectral))
    told, parts = part_of(step), []
    for number, group in enumerate(grounds[:200]):
        told(number / min(len(grounds), 200), "asking how far to trust the fit")
        parts.append(left_out(fit, rows, _thinned(group)))
    if sum(len(part[0]) for part in parts) < FEWEST:
        return least
    miss, known, own = (np.concatenate(p) for p in zip(*parts, strict=True))
    level = 0.9
    wanted = float(region(level))

    def excess(log_factor: float) -> float:
        cov = own + np.exp(log_factor) * known
        squared = np.einsum("ni,ni->n", miss, np.linalg.solve(cov, miss[:, :, None])[:, :, 0])
        return float(np.log(np.quantile(squared, level) / wanted))

    most = np.log(25.0)
    if excess(0.0) <= 0:
        return least
    found = most if excess(most) > 0 else brentq(excess, 0.0, most, xtol=1e-3)
    return max(least, float(np.exp(found)))


def freedom_of_scale(fit: FittedLaw, rows: Rows) -> float:
    """Return from how many grounds the scale of what is not known of the law was learnt, less one.

    Parameters
    ----------
    fit : FittedLaw
        A fit.
    rows : Rows
        The readings it was fitted to.

    Returns
    -------
    float
        Degrees of freedom of that scale: grounds under trusted panels with colour, less one; at
        least `matchlib.tails.FEWEST`.
    """
    _, main = _coloured(fit, rows)
    return max(float(len(np.unique(main)) - 1), LEAST_FREEDOM)


def _coloured(fit: FittedLaw, rows: Rows) -> tuple[Ints, Ints]:
    """Panels with colour whose backs are trusted, and the ground that is most under each."""
    coloured = np.zeros(rows.panels, bool)
    coloured[rows.panel[rows.table.colour_share.sum(axis=1) > 0]] = True
    trusted = np.flatnonzero(coloured & (fit.trust > 0.5))
    main = np.zeros(rows.panels, np.intp)
    main[rows.panel] = rows.table.ground_share.argmax(axis=1)
    return trusted, main[trusted]


def _thinned(group: Ints) -> Ints:
    if len(group) <= MOST_PANELS:
        return group
    return group[np.linspace(0, len(group) - 1, MOST_PANELS).round().astype(np.intp)]
