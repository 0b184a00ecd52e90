"""What readings say of the free values, and of how large noises, panel effects and priors are.

Around any values of the law the readings are linear in small changes. A reading differs from the
law by (1) what its panel got more or less of, shared by all readings of that panel: film, ground
level, stray light; and (2) its own noise. Whitened panel by panel, the readings are a linear
regression with a normal prior, whose marginal likelihood chooses the sizes of effects, noises and
priors (MacKay 1992; Rasmussen and Williams 2006, ch. 5).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from matchlib.regression.residuals import Residuals
from matchlib.regression.sizes import COLUMNS, Sizes

__all__ = ["best_sizes", "evidence", "normal_equations"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

WIDEST = 10.0
"""How far a size may be from where it is believed, in spreads of that belief. Prints repeat ten
times better than sprayed panels do."""

FARTHEST = 1.0
"""How far the logarithm of a size may move in one round [nat]."""


def normal_equations(s: Residuals, sizes: Sizes, trust: Array) -> tuple[Array, Array, float]:
    """Return precision (p, p), load (p,) and squared misfit by the readings, without a prior."""
    p = s.jacobian.shape[1]
    precision, load, misfit = np.zeros((p, p)), np.zeros(p), 0.0
    for who, rows, root in s.by_panel(sizes):
        weighed = root * np.sqrt(trust[who])[:, None, None]
        jacobian = (weighed @ s.jacobian[rows]).reshape(-1, p)
        value = (weighed @ s.value[rows][:, :, None]).ravel()
        precision += jacobian.T @ jacobian
        load += jacobian.T @ value
        misfit += float(value @ value)
    return precision, load, misfit


def evidence(
    s: Residuals, sizes: Sizes, trust: Array, *, about: Array, group_of: Ints
) -> tuple[float, Array]:
    """Return the log marginal likelihood, but for a constant, and its slope by log sizes."""
    # `about` are the free values at which the residuals were taken; `trust` weighs panels (m,).
    p = len(group_of)
    prior = 1.0 / sizes.groups[group_of] ** 2
    precision, load, misfit = normal_equations(s, sizes, trust)
    precision[np.diag_indices(p)] += prior
    try:
        root = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        return -np.inf, np.zeros(len(sizes.vector()))
    spread, pull = np.linalg.inv(precision), load - prior * about
    move = spread @ pull
    # The misfit at the mean, which is the least that readings and prior together can have.
    misfit += float(prior @ about**2 - pull @ move)
    log_det = 2.0 * np.log(np.diag(root)).sum() - np.log(prior).sum()
    by_effects, by_noise = np.zeros(s.effects.shape[1]), np.zeros(len(sizes.noise))
    for who, rows, root in s.by_panel(sizes):
        weight = trust[who]
        log_det -= 2.0 * weight @ np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        jacobian = root @ s.jacobian[rows]
        left = root @ (s.value[rows] - s.jacobian[rows] @ move)[:, :, None]
        flat = jacobian.reshape(-1, p) @ spread
        excess = left @ left.transpose(0, 2, 1) - np.eye(rows.shape[1])
        excess += flat.reshape(jacobian.shape) @ jacobian.transpose(0, 2, 1)
        by_own = root.transpose(0, 2, 1) @ (weight[:, None, None] * excess) @ root
        effects = s.effects[rows]
        by_effects += ((by_own @ effects) * effects).sum(axis=(0, 1))
        diagonal = np.diagonal(by_own, axis1=1, axis2=2).ravel()
        by_noise += np.bincount(s.family[rows].ravel(), diagonal, len(by_noise))
    by_effects = np.add.reduceat(by_effects, np.cumsum((0, *COLUMNS[:-1])))
    energy = prior * ((about + move) ** 2 + np.diag(spread)) - 1.0
    by_groups = np.bincount(group_of, energy, len(sizes.groups))
    gradient = [by_effects * sizes.effects**2, by_noise * sizes.noise**2, by_groups]
    return -0.5 * (misfit + log_det), np.concatenate(gradient)


def best_sizes(
    value: Callable[[Sizes], tuple[float, Array]], start: Sizes, centre: Array, spread: Array
) -> Sizes:
    """Return the sizes of greatest evidence under weak log-normal beliefs about them."""
    # Using a fit needs no optimiser, and it is slow to load.
    from scipy.optimize import minimize

    free, vector = spread > 0, start.vector()

    def sizes(x: Array) -> Sizes:
        whole = vector.copy()
        whole[free] = x
        return start.replaced(whole)

    def loss(x: Array) -> tuple[float, Array]:
        away = (x - centre[free]) / spread[free]
        found, gradient = value(sizes(x))
        return 0.5 * float(away @ away) - found, away / spread[free] - gradient[free]

    # Far from where it was linearised the evidence knows nothing: no size moves more than e-fold
    # before the law is looked at anew.
    least, most = (centre[free] + way * WIDEST * spread[free] for way in (-1, 1))
    now = np.clip(vector[free], least, most)
    low, high = np.maximum(least, now - FARTHEST), np.minimum(most, now + FARTHEST)
    options = {"maxiter": 12, "ftol": 1e-5}
    bounds = list(zip(low, high, strict=True))
    found = minimize(loss, now, method="L-BFGS-B", jac=True, bounds=bounds, options=options)
    return sizes(found.x) if np.isfinite(found.fun) else start
