"""Each panel's reading against the law fitted without that panel, in closed form.

A wrong back bends the law towards itself and then looks less wrong than it is. With the panel's
own covariance C (divided by the weight it had in the fit) and H = J S J' its share of what is
known, the residual without it is C (C - H)^-1 r, and the values without it are
z - S J' (C - H)^-1 r (Cook and Weisberg 1982, ch. 2, for a multivariate row). No refit is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Conditions, Panel, Recipe, Viewing
from matchlib.errors import FitError
from matchlib.linear import linearise
from matchlib.progress import Callback, part_of
from matchlib.regression.frames import conditions_of
from matchlib.tails import squared_distance

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor
    from matchlib.regression.vocabulary import Vocabulary

__all__ = ["LeftOutReadings", "leave_out", "normal"]

Array = NDArray[np.float64]

LEAST_LEFT = 0.05
"""Least share of a panel's own spread that its fitted residual keeps [-]."""

AT_A_TIME = 1000
"""Recipes compared at a time: bounds memory, not the result."""


class LeftOutReadings(NamedTuple):
    """Panels against a fit without each of them; m panels that were read."""

    model: FilmPredictor
    panels: tuple[Panel, ...]
    recipes: tuple[Recipe, ...]  # what was on each when it was read
    viewings: tuple[Viewing, ...]  # of the readings compared: the first reading's of each panel
    sources: tuple[str, ...]  # of the same readings
    conditions: tuple[Conditions, ...]  # who sprayed, from what, when
    lab: Array  # (m, 3), mean of the panel's readings of that viewing and source
    residual: Array  # (m, 3), reading less prediction without the panel
    covariance: Array  # (m, 3, 3), of that, by the spread between panels and what is not known
    own: Array  # (m, 3, 3), the panel's part of it: spray and reading
    film: Array  # (m, 3), derivative of Lab by log film
    jacobian: Array  # (m, 3, p), by the law's values
    without: Array  # (m, 3, 3), (C - H)^-1 of each panel
    pull: Array  # (m, 3), (C - H)^-1 times the plain residual
    grow: Array  # (m,), factor on what is not known, by each recipe's reach
    # factor on covariances by which the middle panel is as far away as it should be; at least 1
    scale: float

    @property
    def words(self) -> Vocabulary:
        """Grounds and colours that the fit knows."""
        return self.model.words_

    @property
    def squared(self) -> Array:
        """Squared Mahalanobis distance of each reading, shape (m,)."""
        return squared_distance(self.residual, self.covariance) / self.scale

    def likelihood(self, *, wider: float = 1.0) -> Array:
        """Return the log-likelihood of each reading under its recipe as written; shape (m,)."""
        return normal(self.residual, self.covariance * self.scale * wider**2)

    def had_it_read(self, which: NDArray[np.intp], lab: Array) -> Array:
        """Return the log-likelihood (n,) of other readings under the recipes as written."""
        residual = self.residual[which] + lab - self.lab[which]
        return normal(residual, self.covariance[which] * self.scale)

    def under(
        self,
        which: NDArray[np.intp],
        recipes: Sequence[Recipe],
        *,
        wider: float = 1.0,
        callback: Callback | None = None,
    ) -> tuple[Array, Array]:
        """Return the log-likelihoods (n,) of readings under other recipes, as is and wider."""
        result = np.empty((2, len(recipes)))
        sigma = self.model.fitted_.covariance
        report = part_of(callback)
        for some in np.array_split(np.arange(len(recipes)), 1 + len(recipes) // AT_A_TIME):
            report(some[0] / len(recipes), "asking what else may have been sprayed")
            at = which[some]
            # No slip is of the clear coat: that was on it, or still to come, as its reading says.
            made = [replace(recipes[i], clear=self.recipes[which[i]].clear) for i in some]
            views = [self.viewings[i] for i in at]
            under = [self.conditions[i] for i in at]
            near = linearise(self.model, made, views, conditions=under)
            there = self.model.predict_each(
                made, views, sources=[self.sources[i] for i in at], conditions=under
            )
            shared = near.jacobian @ sigma @ self.jacobian[at].transpose(0, 2, 1)
            lab = near.lab - (shared @ self.pull[at][:, :, None])[:, :, 0]
            more = shared @ self.without[at] @ shared.transpose(0, 2, 1)
            spread = there.covariance + self.grow[at, None, None] * more
            for found, times in zip(result, (1.0, wider), strict=True):
                found[some] = normal(self.lab[at] - lab, spread * self.scale * times**2)
        return result[0], result[1]


def normal(residual: Array, covariance: Array) -> Array:
    """Return the log-density (n,) of residuals (n, 3) under covariances (n, 3, 3)."""
    _, log_det = np.linalg.slogdet(covariance)
    far = squared_distance(residual, covariance) + log_det + 3.0 * np.log(2.0 * np.pi)
    return np.asarray(-0.5 * far, float)


def _read(panel: Panel) -> tuple[Viewing, str, Array]:
    first = panel.seen[0]
    alike = [r for r in panel.seen if (r.viewing, r.source) == (first.viewing, first.source)]
    return first.viewing, first.source, np.mean([lab_of_reading(r) for r in alike], axis=0)


def leave_out(
    model: FilmPredictor, panels: Sequence[Panel], *, callback: Callback | None = None
) -> LeftOutReadings:
    """Compare every panel with the fit without it."""
    read = [p for p in panels if p.readings]
    if not read:
        raise FitError(
            "There is nothing to audit.",
            expected="panels with readings",
            got="none",
            remedy="import readings first.",
        )
    views, sources, labs = zip(*map(_read, read), strict=True)
    recipes = [p.read_as for p in read]
    under = tuple(conditions_of(p, p.stages[-1], p.seen[0]) for p in read)
    report = part_of(callback)
    near = linearise(
        model, recipes, list(views), conditions=under, callback=part_of(report, 0.0, 0.5)
    )
    report(0.5, "working out the spread of panels")
    there = model.predict_each(recipes, list(views), sources=list(sources), conditions=under)
    report(0.8, "leaving each panel out in turn")
    # What the fit knew is what the panel shared in; how far it doubts itself comes afterwards.
    hat = near.jacobian @ model.fitted_.covariance @ near.jacobian.transpose(0, 2, 1)
    trust = np.array([max(model.trust_.get(p.code, 0.0), 1e-9) for p in read])
    own = there.own
    lab = np.array(labs)
    plain = lab - near.lab
    # In units of the panel's own spread C is 1 and H below 1: a panel cannot have taught the law
    # more than it said.
    unit = np.linalg.inv(np.linalg.cholesky(own))
    size, axes = np.linalg.eigh(unit @ hat @ unit.transpose(0, 2, 1))
    left = np.maximum(1.0 / trust[:, None] - size, LEAST_LEFT)
    back = unit.transpose(0, 2, 1) @ axes
    without = (back / left[:, None, :]) @ back.transpose(0, 2, 1)
    pull = (without @ plain[:, :, None])[:, :, 0]
    residual = plain + (hat @ pull[:, :, None])[:, :, 0]
    reach = hat + hat @ without @ hat
    grow = model.stack_.inflation[model.reach(recipes)]
    covariance = own + grow[:, None, None] * reach
    far = squared_distance(residual, covariance)
    scale = max(float(np.median(far)) / 2.366, 1.0)  # the middle of chi-square with 3
    return LeftOutReadings(
        model,
        tuple(read),
        tuple(recipes),
        tuple(views),
        tuple(sources),
        under,
        lab,
        residual,
        covariance,
        own,
        near.film,
        near.jacobian,
        without,
        pull,
        grow,
        scale,
    )
