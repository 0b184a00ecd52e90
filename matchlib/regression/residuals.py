"""How far readings are from the law, scalar by scalar and panel by panel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import GRID
from matchlib.regression.law import FilmLaw
from matchlib.regression.observe import TONE, Observations, tone_of
from matchlib.regression.sizes import WIDTH
from matchlib.regression.table import RecipeTable

__all__ = ["THIRDS", "Residuals", "Rows", "residuals"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

THIRDS: Array = np.kron(np.eye(3), np.ones((11, 1)))[: len(GRID)].astype(np.float64)
"""Curves of stray light: one for each third of the spectrum."""


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

    @property
    def only(self) -> NDArray[np.bool_]:
        """Whether a panel is the only one that shows a ground or a colour, shape (m,)."""
        shown = np.hstack([self.table.ground_share > 0, self.table.colours])
        by_panel = np.zeros((self.panels, shown.shape[1]), bool)
        np.logical_or.at(by_panel, self.panel, shown)
        result: NDArray[np.bool_] = (by_panel & (by_panel.sum(axis=0) == 1)).any(axis=1)
        return result

    def of_panels(self, chosen: Ints) -> Rows:
        """Return the rows of some panels, renumbered."""
        place = np.full(self.panels, -1)
        place[chosen] = np.arange(len(chosen))
        mask = place[self.panel] >= 0
        return Rows(self.table.take(mask), self.seen.take(mask), place[self.panel[mask]])


@dataclass(frozen=True)
class Residuals:
    """Readings less the law, one row a scalar observation.

    All Lab rows stand first, in the order of the readings, then the tones of spectra.

    Parameters
    ----------
    value : ndarray, shape (m,)
        Observation less law.
    family, panel : ndarray of int, shape (m,)
        Family of noise and panel of each.
    effects : ndarray, shape (m, 5)
        Derivative by the panel's effects.
    jacobian : ndarray, shape (m, p)
        Derivative by the free values.
    """

    value: Array
    family: Ints
    panel: Ints
    effects: Array
    jacobian: Array


def residuals(law: FilmLaw, z: Array, rows: Rows) -> Residuals:
    """Return what the readings miss the law by."""
    state = law.evaluate(z, rows.table)
    lab, by_r = rows.seen.lab_of(state.reflectance)
    scale = 1.0 / rows.seen.sd
    spectral = np.flatnonzero(rows.seen.spectral)
    # Readings in Lab, then tones: table, state, derivative, miss, scale, family, panel of each.
    kinds = [
        (rows.table, state, by_r, rows.seen.lab - lab, scale, rows.seen.family, rows.panel),
    ]
    if len(spectral):
        tone, by_tone = tone_of(np.maximum(state.reflectance[spectral], 1e-6))
        kinds.append(
            (
                rows.table.take(spectral),
                state.take(spectral),
                by_tone,
                rows.seen.tone[spectral] - tone,
                np.ones(len(spectral)),
                np.full(len(spectral), TONE, np.intp),
                rows.panel[spectral],
            )
        )
    misses, families, owners, effects = [], [], [], []
    jacobians: list[Array] = []
    for table, part, by, miss, gain, family, panel in kinds:
        width = miss.shape[1]
        jacobian, varied = law.jacobian(part, z, table, by)
        jacobians.append((jacobian * gain[:, None, None]).reshape(-1, law.size))
        varied = np.concatenate([varied, by @ THIRDS], axis=2) * gain[:, None, None]
        effects.append(varied.reshape(-1, WIDTH))
        misses.append((miss * gain[:, None]).ravel())
        families.append(np.repeat(family, width))
        owners.append(np.repeat(panel, width))
    return Residuals(
        np.concatenate(misses),
        np.concatenate(families),
        np.concatenate(owners),
        np.concatenate(effects),
        np.concatenate(jacobians),
    )
