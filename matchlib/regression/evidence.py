"""The linear algebra of the fit: normal equations with panel effects, and their evidence.

Around any values of the law the readings are linear in small changes. A reading differs from the
law by (1) what its panel got more or less of, shared by all readings of that panel: film, ground
level, and what no number explains; and (2) its own noise. The panel effects are summed out exactly
(Woodbury), so the cost is linear in panels. The marginal likelihood of the readings, which needs
nothing more than these sums, chooses the sizes of effects, noises and priors (MacKay 1992;
Rasmussen and Williams 2006, ch. 5).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from matchlib.regression.sizes import COLUMNS, WIDTH, Sizes

__all__ = ["Linearised", "best_sizes"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

WIDEST = 10.0
"""How far a size may be from where it is believed, in spreads of that belief. Prints repeat ten
times better than sprayed panels do."""

FARTHEST = 1.0
"""How far the logarithm of a size may move in one round [nat]."""


class Linearised:
    """Sums over the readings, from which any sizes' normal equations are quick to form.

    Parameters
    ----------
    jacobian : ndarray, shape (m, p)
        Derivative of each scalar observation by the free values.
    target : ndarray, shape (m,)
        Observation less law, plus jacobian times the present values.
    effects : ndarray, shape (m, 5)
        Derivative by the panel's effects.
    family : ndarray of int, shape (m,)
        Family of each observation's noise.
    panel : ndarray of int, shape (m,)
        Panel of each observation, 0 to n - 1, each with at least one.
    trust : ndarray, shape (n,)
        Weight of each panel [-], 0 to 1.
    group_of : ndarray of int, shape (p,)
        Prior group of each free value.
    families : int
        Number of families.
    """

    def __init__(
        self,
        *,
        jacobian: Array,
        target: Array,
        effects: Array,
        family: Ints,
        panel: Ints,
        trust: Array,
        group_of: Ints,
        families: int,
    ) -> None:
        root = np.sqrt(np.maximum(trust, 1e-12))[panel]
        j, y = jacobian * root[:, None], target * root
        self.group_of = group_of
        self.panels = len(trust)
        p = j.shape[1]
        # Most archives know one or two families; the others' sums would be carried along as zeros.
        self.present = np.flatnonzero(np.bincount(family, minlength=families))
        self.families, families = families, len(self.present)
        self.gram = np.zeros((families, p, p))
        self.load = np.zeros((families, p))
        self.power = np.zeros(families)
        self.count = np.zeros(families)
        self.cross = np.zeros((families, self.panels, WIDTH, p))
        self.own = np.zeros((families, self.panels, WIDTH, WIDTH))
        self.pull = np.zeros((families, self.panels, WIDTH))
        for f, here in enumerate(self.present):
            rows = np.flatnonzero(family == here)
            rows = rows[np.argsort(panel[rows], kind="stable")]
            jf, yf, uf, who = j[rows], y[rows], effects[rows], panel[rows]
            self.gram[f], self.load[f] = jf.T @ jf, jf.T @ yf
            self.power[f], self.count[f] = yf @ yf, len(rows)
            starts = np.flatnonzero(np.append(True, np.diff(who) > 0))
            seen = who[starts]
            for e in range(WIDTH):
                self.cross[f, seen, e] = np.add.reduceat(uf[:, e, None] * jf, starts, axis=0)
            products = uf[:, :, None] * uf[:, None, :]
            self.own[f, seen] = np.add.reduceat(products, starts, axis=0)
            self.pull[f, seen] = np.add.reduceat(uf * yf[:, None], starts, axis=0)

    def _summed(self, sizes: Sizes) -> tuple[Array, Array, Array, Array, Array]:
        gain = 1.0 / sizes.noise[self.present] ** 2
        sds = sizes.effect_sds
        own = np.tensordot(gain, self.own, 1) * sds[:, None] * sds[None, :] + np.eye(WIDTH)
        inverse = np.linalg.inv(np.linalg.cholesky(own))
        cross = inverse @ (np.tensordot(gain, self.cross, 1) * sds[None, :, None])
        pull = (inverse @ (np.tensordot(gain, self.pull, 1) * sds)[:, :, None])[:, :, 0]
        flat = cross.reshape(-1, cross.shape[2])
        normal = np.tensordot(gain, self.gram, 1) - flat.T @ flat
        load = gain @ self.load - flat.T @ pull.reshape(-1)
        return normal, load, inverse, cross, pull

    def normal(self, sizes: Sizes) -> tuple[Array, Array, float]:
        """Return what the readings say of the free values, no prior included.

        Shapes: precision (p, p), load (p,).
        """
        normal, load, _, _, pull = self._summed(sizes)
        gain = 1.0 / sizes.noise[self.present] ** 2
        return normal, load, float(gain @ self.power - np.sum(pull**2))

    def evidence(self, sizes: Sizes) -> tuple[float, Array]:
        """Return the logarithm of the marginal likelihood, up to a constant, and its gradient.

        Parameters
        ----------
        sizes : Sizes
            Standard deviations.

        Returns
        -------
        value : float
            Log evidence [nat].
        gradient : ndarray
            By the logarithm of each size, in the order of `Sizes.vector`: for each variance, what
            the posterior expects of its squares less their number (Dempster, Laird and Rubin
            1977, E step).
        """
        try:
            normal, load, inverse, cross, pull = self._summed(sizes)
        except np.linalg.LinAlgError:
            return -np.inf, np.zeros(len(sizes.vector()))
        gain = 1.0 / sizes.noise[self.present] ** 2
        prior = 1.0 / sizes.groups[self.group_of] ** 2
        normal[np.diag_indices_from(normal)] += prior
        try:
            factor = cho_factor(normal, lower=True, check_finite=False)
        except np.linalg.LinAlgError:
            return -np.inf, np.zeros(len(sizes.vector()))
        mean = cho_solve(factor, load, check_finite=False)
        misfit = gain @ self.power - np.sum(pull**2) - load @ mean
        log_det = 2.0 * np.log(np.diag(factor[0])).sum() - np.log(prior).sum()
        log_det -= 2.0 * np.log(np.diagonal(inverse, axis1=1, axis2=2)).sum()
        log_det -= self.count @ np.log(gain)
        spread = cho_solve(factor, np.eye(len(mean)), check_finite=False)
        value = float(-0.5 * (misfit + log_det))
        return value, self._gradient(sizes, mean, spread, (inverse, cross, pull))

    def _gradient(
        self, sizes: Sizes, mean: Array, spread: Array, panels: tuple[Array, Array, Array]
    ) -> Array:
        inverse, cross, pull = panels
        back = inverse.transpose(0, 2, 1)
        effect = (back @ (pull - cross @ mean)[:, :, None])[:, :, 0]
        # One product of two matrices, not one a panel that reads all of the spread each time.
        spread_in = (cross.reshape(-1, cross.shape[2]) @ spread).reshape(cross.shape)
        with_values = -back @ spread_in
        squares = back @ inverse - with_values @ (back @ cross).transpose(0, 2, 1)
        squares += effect[:, :, None] * effect[:, None, :]
        excess = np.diagonal(squares, axis1=1, axis2=2).sum(axis=0) - self.panels
        starts = np.cumsum((0, *COLUMNS[:-1]))
        by_effects = np.add.reduceat(excess, starts)
        sds = sizes.effect_sds
        effect, with_values = effect * sds, with_values * sds[:, None]
        squares = squares * sds[:, None] * sds[None, :]
        # Joint second moment of effects and values, panel by panel.
        joint = with_values + effect[:, :, None] * mean
        moment = spread + mean[:, None] * mean[None, :]
        by_noise = np.zeros(self.families)
        for f, here in enumerate(self.present):
            left = self.power[f] - 2.0 * self.load[f] @ mean + np.vdot(self.gram[f], moment)
            left += np.vdot(self.own[f], squares) - 2.0 * np.vdot(self.pull[f], effect)
            left += 2.0 * np.vdot(self.cross[f], joint)
            by_noise[here] = left / sizes.noise[here] ** 2 - self.count[f]
        energy = (mean**2 + np.diag(spread)) / sizes.groups[self.group_of] ** 2 - 1.0
        by_groups = np.bincount(self.group_of, energy, len(sizes.groups))
        return np.concatenate([by_effects, by_noise, by_groups])


def best_sizes(
    linear: Linearised,
    start: Sizes,
    centre: Array,
    spread: Array,
    *,
    steps: int = 12,
    callback: Callable[[], None] | None = None,
) -> Sizes:
    """Return the sizes of greatest evidence under weak log-normal beliefs about them."""
    # Using a fit needs no optimiser, and it is slow to load.
    from scipy.optimize import minimize

    free = spread > 0
    fixed = start.vector()

    def loss(x: Array) -> tuple[float, Array]:
        if callback is not None:
            callback()
        vector = fixed.copy()
        vector[free] = x
        away = (x - centre[free]) / spread[free]
        value, gradient = linear.evidence(start.replaced(vector))
        return 0.5 * float(away @ away) - value, away / spread[free] - gradient[free]

    # Far from where it was linearised the evidence knows nothing: no size moves more than e-fold
    # before the law is looked at anew.
    least, most = (centre[free] + way * WIDEST * spread[free] for way in (-1, 1))
    now = np.clip(fixed[free], least, most)
    low, high = np.maximum(least, now - FARTHEST), np.minimum(most, now + FARTHEST)
    found = minimize(
        loss,
        now,
        method="L-BFGS-B",
        jac=True,
        bounds=list(zip(low, high, strict=True)),
        options={"maxiter": steps, "ftol": 1e-5},
    )
    vector = fixed.copy()
    if np.isfinite(found.fun):
        vector[free] = found.x
    return start.replaced(vector)
