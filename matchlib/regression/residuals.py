"""How far readings are from the law, scalar by scalar and panel by panel."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import TONE, Observations, tone_of
from matchlib.regression.sizes import WIDTH, Sizes
from matchlib.regression.table import RecipeTable

__all__ = ["THIRDS", "Residuals", "Rows", "residuals"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

THIRDS: Array = np.kron(np.eye(3), np.ones((11, 1)))[: len(GRID)].astype(np.float64)
"""Curves of stray light: one for each third of the spectrum."""


class Rows(NamedTuple):
    """Readings ready to fit, n of them, of panels 0 to m - 1."""

    table: RecipeTable
    seen: Observations
    panel: Ints  # (n,)

    @property
    def panels(self) -> int:
        """Number of panels."""
        return int(self.panel.max()) + 1

    def not_all_wrong(self, trust: Array) -> Array:
        """Return the trust (m,) in panels, whole in those of a name of which none is believed."""
        # Where the others contradict all panels of a ground or a colour it is the law that is
        # wrong there, and of its only one the others know nothing.
        shown = self.table.shown
        by_panel = np.zeros((self.panels, shown.shape[1]), bool)
        np.logical_or.at(by_panel, self.panel, shown)
        doubted = ~by_panel[trust >= 0.5].any(axis=0)
        return np.asarray(np.where(by_panel[:, doubted].any(axis=1), 1.0, trust), float)

    def of_panels(self, chosen: Ints) -> Rows:
        """Return the rows of some panels, renumbered."""
        place = np.full(self.panels, -1)
        place[chosen] = np.arange(len(chosen))
        mask = place[self.panel] >= 0
        return Rows(self.table.take(mask), self.seen.take(mask), place[self.panel[mask]])


class Residuals(NamedTuple):
    """Readings less the law, one row a scalar observation: Lab of all readings, then tones."""

    value: Array  # (m,), observation less law
    family: Ints  # (m,), of its noise
    panel: Ints  # (m,)
    effects: Array  # (m, 5), derivative by the panel's effects
    jacobian: Array  # (m, p), derivative by the free values

    def by_panel(self, sizes: Sizes) -> Iterator[tuple[Ints, Ints, Array]]:
        """Panels of equally many observations (q,), their rows (q, k) and whiteners (q, k, k)."""
        # These invert the Cholesky factor of what is a panel's own: effects and noise.
        order = np.argsort(self.panel, kind="stable")
        count = np.bincount(self.panel)
        start = np.cumsum(count) - count
        for k in np.unique(count[count > 0]):
            who = np.flatnonzero(count == k)
            rows = order[start[who][:, None] + np.arange(k)]
            effects = self.effects[rows] * sizes.effect_sds
            own = effects @ effects.transpose(0, 2, 1)
            own[:, np.arange(k), np.arange(k)] += sizes.noise[self.family[rows]] ** 2
            yield who, rows, np.linalg.inv(np.linalg.cholesky(own))


def residuals(law: FilmLaw, z: Array, rows: Rows) -> Residuals:
    """Return what the readings miss the law by."""
    state = law.evaluate(z, rows.table)
    lab, by_r = rows.seen.lab_of(state.reflectance)
    every = np.arange(len(rows.panel))
    white = rows.seen.whitening
    missed = (white @ (rows.seen.lab - lab)[..., None])[..., 0]
    # Which readings, what the law misses them by, its derivative, and family.
    kinds = [(every, missed, white @ by_r, rows.seen.family)]
    spectral = np.flatnonzero(rows.seen.spectral)
    if len(spectral):
        tone, by_tone = tone_of(np.maximum(state.reflectance[spectral], 1e-6))
        family = np.full(len(spectral), TONE, np.intp)
        kinds.append((spectral, rows.seen.tone[spectral] - tone, by_tone, family))
    parts = []
    for some, missed, by, family in kinds:
        width = missed.shape[1]
        jacobian, varied = law.jacobian(state.take(some), z, rows.table.take(some), by)
        varied = np.concatenate([varied, by @ THIRDS], axis=2)
        parts.append(
            (
                missed.ravel(),
                np.repeat(family, width),
                np.repeat(rows.panel[some], width),
                varied.reshape(-1, WIDTH),
                jacobian.reshape(-1, law.size),
            )
        )
    return Residuals(*map(np.concatenate, zip(*parts, strict=True)))
