"""From the picture's light to Lab under D65, with how well it does so.

Which curve and which matrix of `fit` is taken is decided by predicting each patch from the other
23. The panel lies beside the chart, so the light's fall is carried on to it, with the uncertainty
that this has, and with what the surface around says of it. How the panel itself darkens from edge
to edge says nothing of the light: a metallic does that of its own.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.readings.photo.chart import CENTRES
from matchlib.readings.photo.fit import NOISE, ChartFit, Model, Places, by_differences

__all__ = ["Correction", "fit_correction", "halves", "strongest"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Correction:
    """A fitted way from the picture's light to Lab, D65/10°."""

    chart: ChartFit
    model: Model
    params: Array  # (n,), the terms, and the matrix after them
    covariance: Array  # (n, n), of these
    left_out: Array  # (24, 3), Lab of each patch predicted from the other 23, less its true Lab

    def corrected(self, slope: Array, seen: float, *, sd: float) -> Correction:
        """Return the correction that also heeds a reading of the light elsewhere."""
        along = self.covariance @ slope
        gain = along / (slope @ along + sd**2)
        covariance = self.covariance - np.outer(gain, along)
        return replace(self, params=self.params + gain * seen, covariance=covariance)

    def lab(self, light: Array, places: Places) -> Array:
        """Return Lab of areas; shape (n, 3)."""
        return self.chart.predict(light, places, self.model, self.params)

    def spread(self, light: Array, places: Places) -> Array:
        """Return the covariance of the mean Lab of areas by all that was fitted; (3, 3)."""

        def mean(params: Array) -> Array:
            return np.asarray(self.chart.predict(light, places, self.model, params).mean(axis=0))

        slope = by_differences(mean, self.params, step=1e-4)
        return np.asarray(slope @ self.covariance @ slope.T)

    @property
    def mean_left_out(self) -> float:
        """Mean ΔE00 of the patches, each predicted from the others."""
        return float(np.mean(delta_e00(self.chart.lab, self.chart.lab + self.left_out)))

    @property
    def power(self) -> float:
        """What the curve's power is more than the declared one's."""
        return float(self.params[3]) if self.model.tone else 0.0

    def field(self, places: Places) -> Array:
        """Return the light's fall as fitted; shape (n,)."""
        return np.asarray(places.terms @ self.params[:3])

    def xyz(self, light: Array, places: Places) -> Array:
        """Return XYZ of areas, white having Y = 1; shape (n, 3)."""
        return self.chart.xyz_of(light, places, self.model, self.params)

    def edge(self) -> tuple[float, float]:
        """Return the strongest edge of shade that may cross the chart."""
        chart, model, params = self.chart, self.model, self.params
        slope, residual = chart.jacobian(model, params), chart.residual(model, params)
        splits = halves(CENTRES - CENTRES.mean(axis=0), least=4)
        columns = np.zeros((len(residual), len(splits)))
        step = 0.02
        base = chart.predict(chart.light, chart.places, model, params)
        for i, half in enumerate(splits):
            lit = chart.light * np.exp(step * half)[:, None]
            moved = chart.predict(lit, chart.places, model, params)
            columns[:72, i] = ((moved - base) * chart.importance / step).ravel()
        square, dof = float(np.sum(residual[:72] ** 2)), 72 - params.size - 1
        size, error = strongest(columns, slope, residual, square=square, dof=dof)
        return -size, error


def _left_out(chart: ChartFit, model: Model, params: Array) -> Array:
    """Errors of patches left out, by leverage in the tangent plane (Seber and Wild 1989)."""
    slope = chart.jacobian(model, params)
    residual = chart.residual(model, params)
    inverse = np.linalg.pinv(slope.T @ slope, rcond=1e-14, hermitian=True)
    errors = np.empty((24, 3))
    for i in range(24):
        rows = slope[3 * i : 3 * i + 3]
        own = np.eye(3) - rows @ inverse @ rows.T
        errors[i] = np.linalg.solve(own, residual[3 * i : 3 * i + 3])
    return np.asarray(errors / chart.importance)


def strongest(
    steps: Array, smooth: Array, residual: Array, *, square: float, dof: int
) -> tuple[float, float]:
    """Return size and standard error of the step, of columns, that a residual most surely has."""
    basis, _ = np.linalg.qr(smooth)  # what smooth terms explain is no step
    steps = steps - basis @ (basis.T @ steps)
    power = np.maximum(np.sum(steps**2, axis=0), 1e-12)
    size = steps.T @ residual / power
    error = np.sqrt(np.maximum(square - size**2 * power, 1e-9) / dof / power)
    best = int(np.argmax(np.abs(size) / error))
    return float(size[best]), float(error[best])


def halves(points: Array, *, least: int) -> Array:
    """All ways to part points by a straight line, as rows of 0 and 1, `least` or more a side."""
    found = []
    for angle in np.arange(12) * np.pi / 12:
        along = points @ [np.cos(angle), np.sin(angle)]
        for at in np.unique(np.round((np.sort(along)[1:] + np.sort(along)[:-1]) / 2, 6)):
            half = along > at
            if least <= half.sum() <= len(points) - least:
                found.append(half)
    return np.unique(np.array(found, dtype=np.float64), axis=0)


def fit_correction(chart: ChartFit, *, linear: bool, plain: bool = False) -> Correction:
    """Fit the correction, with the curve and matrix that predict patches left out best."""
    best, least = None, np.inf
    roots = (False,) if plain else (False, True)
    for root, tone in itertools.product(roots, (0,) if linear else (0, 1, 2)):
        model = Model(tone, root)
        params = chart.fit(model)
        errors = _left_out(chart, model, params)
        covariance = chart.covariance(model, params)
        trial = Correction(chart, model, params, covariance, errors)
        weighted = errors * chart.importance * NOISE / chart.weight[:, None]
        score = float(np.mean(np.sum(weighted**2, axis=1)))
        if score < least * 0.97:
            best, least = trial, score
    if best is None:  # only if nothing is finite
        raise FloatingPointError("no finite fit")
    return best
