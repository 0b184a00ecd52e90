"""From the picture's light to Lab under D65: curve, uneven light, white balance, colours.

All is fitted to the chart's 24 known patches at once, in Lab: a smooth fall of the light (its
logarithm a plane in the chart's plane, and a part that grows with the square of the distance from
the picture's middle, as vignetting does), what is left of the camera's curve (a power and its
bend), and a matrix, 3 × 3 or second-degree root polynomial (Finlayson, Mackiewicz and Hurlbert
2015, 'Color correction using root-polynomial regression'; expansion by colour-science). Which
curve and which matrix is decided by predicting each patch from the other 23.

The panel lies beside the chart, so the light's fall is carried on to it. How the panel itself
darkens from edge to edge is counted as a weak witness of that fall: weak, because a gloss of its
own does the same.
"""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import white_point, xyz_to_lab, xyz_to_lab_with_jacobian
from matchlib.readings.photo.chart import CENTRES, GREYS, chart_xyz

__all__ = ["ChartFit", "Correction", "Model", "Places", "fit_correction", "nearness"]

Array = NDArray[np.float64]

_WHITE: Array = np.asarray(white_point("D65", "10") / 100.0)
_NOISE = 2.0  # Lab units that a patch is off in any photograph; sets the priors' weight
_GREY_WEIGHT = 2.0  # the greys hardly depend on the light's spectrum, and so say most of its fall
_PRIOR = {"fall": 0.3, "corners": 0.2, "power": 0.3, "bend": 0.1, "tint": 0.5}  # sd
_WITNESS = 0.10  # sd of a panel's own change of brightness over the chart's width, in logarithm


@dataclass(frozen=True)
class Model:
    """Which terms are fitted.

    Parameters
    ----------
    tone : int
        Terms of the curve: 0, 1 (power) or 2 (and bend).
    root : bool
        Root polynomial, or 3 × 3.
    tint : bool
        Whether red and blue may fall off differently from green.
    """

    tone: int
    root: bool
    tint: bool = False

    @property
    def terms(self) -> list[str]:
        """Names of the terms besides the matrix, in order."""
        tone = ["power", "bend"][: self.tone]
        return ["fall", "fall", "corners", *tone, *(["tint"] * 4 if self.tint else [])]

    @property
    def words(self) -> str:
        """The model in plain words."""
        curve = {0: "curve as declared", 1: "curve refined", 2: "curve refined and bent"}
        matrix = "root polynomial of second degree" if self.root else "3 × 3 matrix"
        return f"{curve[self.tone]}; {matrix}"


@dataclass(frozen=True)
class Places:
    """Where areas lie, as the fall of the light needs it.

    Parameters
    ----------
    plane : ndarray, shape (n, 2)
        In the chart's plane [patch pitch].
    radius2 : ndarray, shape (n,)
        Squared distance from the picture's middle, 1 in its corners [-].
    """

    plane: Array
    radius2: Array

    @cached_property
    def terms(self) -> Array:
        """Shape (n, 3): across and down the chart (1 over its width), and outwards."""
        flat = (self.plane - CENTRES.mean(axis=0)) / 5.0
        return np.column_stack([flat, self.radius2])


@cache
def _expansion() -> Callable[..., Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that its plotting part is absent
        from colour.characterisation import polynomial_expansion_Finlayson2015
    return polynomial_expansion_Finlayson2015


def _expanded(rgb: Array, root: bool) -> Array:
    if not root:
        return rgb
    return np.asarray(_expansion()(rgb, degree=2, root_polynomial_expansion=True))


class ChartFit:
    """What is fitted to: the patches' light, places and known colours, and the panel's cells.

    Parameters
    ----------
    light : ndarray, shape (24, 3)
        Mean light of the patches.
    places : Places
        Where they lie.
    lab : ndarray, shape (24, 3)
        Their Lab, D65/10°.
    panel_light : ndarray, shape (n, 3)
        Mean light of the panel's cells.
    panel : Places
        Where those lie.
    """

    def __init__(
        self, light: Array, places: Places, lab: Array, panel_light: Array, panel: Places
    ) -> None:
        self.light = np.maximum(light, 1e-6)
        self.places = places
        self.lab = lab
        self.xyz = chart_xyz(lab)
        self.panel_light = panel_light
        self.panel = panel
        self.scale = float(self.light[18].max())
        importance = np.ones(24)
        importance[GREYS] = _GREY_WEIGHT
        # As in newer colour differences, chroma's own differences count less in vivid colours.
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        axis = np.column_stack([np.ones(24), *(2 * [1.0 / (1.0 + 0.03 * chroma)])])
        self.grey = importance
        self.importance = axis * importance[:, None] / _NOISE
        self.balance = np.asarray((self.light / self.xyz[:, 1:2] / self.scale)[GREYS].mean(axis=0))
        flat = panel.terms[:, :2] - panel.terms[:, :2].mean(axis=0)
        self.slope = np.linalg.pinv(np.column_stack([np.ones(len(flat)), flat]))[1:]

    def rgb(self, light: Array, places: Places, model: Model, params: Array) -> Array:
        """Return linear, evenly lit, white-balanced red, green and blue.

        Parameters
        ----------
        light : ndarray, shape (n, 3)
            Mean light.
        places : Places
            Where it is.
        model : Model
            Which terms.
        params : ndarray
            The terms, the matrix after them.

        Returns
        -------
        ndarray, shape (n, 3)
            About 1 for white.
        """
        log = np.log(np.maximum(light, 1e-6) / self.scale)
        if model.tone:
            bend = params[4] if model.tone == 2 else 0.0
            # Beyond the chart's own range the curve is not known: its bend stays where it was.
            log = log * (1.0 + params[3]) + bend * np.clip(log, -5.0, 0.2) ** 2
        log = log - (places.terms @ params[:3])[:, None]
        if model.tint:
            first = 3 + model.tone
            tint = places.terms[:, :2] @ params[first : first + 4].reshape(2, 2).T
            log = log - np.column_stack([tint[:, 0], np.zeros(len(tint)), tint[:, 1]])
        return np.asarray(np.exp(log) / self.balance)

    def xyz_of(self, light: Array, places: Places, model: Model, params: Array) -> Array:
        """XYZ of areas, white having Y = 1."""
        basis = _expanded(self.rgb(light, places, model, params), model.root)
        matrix = params[len(model.terms) :].reshape(-1, 3)
        return np.asarray(np.maximum(basis @ matrix, 0.0))

    def predict(self, light: Array, places: Places, model: Model, params: Array) -> Array:
        """Lab of areas, D65/10°; negative XYZ, as a matrix can make, count as none."""
        return xyz_to_lab(self.xyz_of(light, places, model, params), _WHITE)

    def _witness(self, model: Model, params: Array) -> Array:
        rgb = self.rgb(self.panel_light, self.panel, model, params)
        return np.asarray(self.slope @ np.log(rgb.sum(axis=1) + 1e-9) / _WITNESS)

    def residual(self, model: Model, params: Array) -> Array:
        """All that is to be small: patches, 72, then the panel's slope, 2, then the terms."""
        made = self.predict(self.light, self.places, model, params)
        prior = np.array([_PRIOR[name] for name in model.terms])
        patches = (made - self.lab) * self.importance
        return np.concatenate(
            [patches.ravel(), self._witness(model, params), params[: prior.size] / prior]
        )

    def jacobian(self, model: Model, params: Array) -> Array:
        """Derivative of `residual`; that by the matrix is exact."""
        count = len(model.terms)
        out = np.zeros((74 + count, params.size))
        step = 1e-5
        for i in range(count):
            shift = np.zeros(params.size)
            shift[i] = step
            up, down = (self.residual(model, params + s) for s in (shift, -shift))
            out[:, i] = (up - down) / (2 * step)
        basis = _expanded(self.rgb(self.light, self.places, model, params), model.root)
        made = np.maximum(basis @ params[count:].reshape(-1, 3), 0.0)
        _, by_xyz = xyz_to_lab_with_jacobian(made, _WHITE)
        by_matrix = np.einsum("ic,ick,ij->icjk", self.importance, by_xyz, basis)
        out[:72, count:] = by_matrix.reshape(72, -1)
        return out

    def fit(self, model: Model) -> Array:
        """Return the terms, and the matrix after them, that fit best.

        Parameters
        ----------
        model : Model
            Which terms.

        Returns
        -------
        ndarray
            Of `len(model.terms)` and 9 or 18 numbers.
        """
        from scipy.optimize import least_squares

        start = np.zeros(len(model.terms))
        basis = _expanded(self.rgb(self.light, self.places, model, start), model.root)
        # To start from: linear, weighted by the slope of the cube root in Lab.
        weight = np.maximum(self.xyz[:, 1:2], 0.01) ** (-2.0 / 3.0) * self.grey[:, None]
        matrix, *_ = np.linalg.lstsq(basis * weight, self.xyz * weight, rcond=1e-10)
        done = least_squares(
            lambda p: self.residual(model, p),
            np.concatenate([start, matrix.ravel()]),
            jac=lambda p: self.jacobian(model, p),
            method="trf",
            x_scale="jac",
            max_nfev=60,
            xtol=1e-7,
            ftol=1e-7,
        )
        return np.asarray(done.x)

    def covariance(self, model: Model, params: Array) -> Array:
        """Return the covariance of what was fitted.

        Parameters
        ----------
        model : Model
            Which terms.
        params : ndarray
            As `fit` gave them.

        Returns
        -------
        ndarray, shape (n, n)
            Scaled by the residual, where that is worse than expected.
        """
        slope = self.jacobian(model, params)
        patches = self.residual(model, params)[:72]
        worse = max(1.0, float(patches @ patches) / (72 - params.size))
        return np.asarray(np.linalg.pinv(slope.T @ slope, rcond=1e-14, hermitian=True) * worse)

    def tone_power(self) -> float:
        """Return the power that the chart asks for on top of the declared curve.

        Returns
        -------
        float
            1 if the curve is as declared.
        """
        return 1.0 + float(self.fit(Model(1, False))[3])

    def tint_across(self, model: Model) -> tuple[float, float]:
        """Return how much the light's colour changes over the chart.

        Parameters
        ----------
        model : Model
            The terms that are fitted besides.

        Returns
        -------
        change : float
            Greatest change of red or blue against green from corner to corner [-], 0.1 is 10 %.
        error : float
            Its standard error.
        """
        tinted = Model(model.tone, model.root, tint=True)
        params = self.fit(tinted)
        cov = self.covariance(tinted, params)
        change, error = 0.0, 0.0
        for first in (3 + model.tone, 5 + model.tone):
            across, down = params[first : first + 2]
            to_corner = np.array([1.0 if across >= 0 else -1.0, 0.6 if down >= 0 else -0.6])
            size = float(abs(across) + 0.6 * abs(down))
            if size > change:
                block = cov[first : first + 2, first : first + 2]
                change, error = size, float(np.sqrt(to_corner @ block @ to_corner))
        return change, error


@dataclass(frozen=True)
class Correction:
    """A fitted way from the picture's light to Lab, D65/10°.

    Parameters
    ----------
    chart : ChartFit
        What it was fitted to.
    model : Model
        Which terms.
    params : ndarray
        The terms, and the matrix after them.
    left_out : ndarray, shape (24, 3)
        Lab of each patch predicted from the other 23, less its true Lab.
    fitted : ndarray, shape (24, 3)
        Lab of each patch as fitted, less its true Lab.
    """

    chart: ChartFit
    model: Model
    params: Array
    left_out: Array
    fitted: Array

    def lab(self, light: Array, places: Places) -> Array:
        """Return Lab of areas.

        Parameters
        ----------
        light : ndarray, shape (n, 3)
            Mean light.
        places : Places
            Where they lie.

        Returns
        -------
        ndarray, shape (n, 3)
            D65/10°.
        """
        return self.chart.predict(light, places, self.model, self.params)

    def spread(self, light: Array, places: Places) -> Array:
        """Return how far the mean Lab of areas is uncertain by all that was fitted.

        Parameters
        ----------
        light : ndarray, shape (n, 3)
            Mean light.
        places : Places
            Where they lie: the further from the chart, the less is known.

        Returns
        -------
        ndarray, shape (3,)
            Standard deviation of L*, a*, b*.
        """
        slope = np.empty((3, self.params.size))
        for i in range(self.params.size):
            shift = np.zeros(self.params.size)
            shift[i] = 1e-4
            up, down = (
                self.chart.predict(light, places, self.model, self.params + s).mean(axis=0)
                for s in (shift, -shift)
            )
            slope[:, i] = (up - down) / 2e-4
        cov = self.chart.covariance(self.model, self.params)
        return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slope, cov, slope), 0.0)))


def _left_out(chart: ChartFit, model: Model, params: Array) -> Array:
    """Errors of patches left out, by their leverage: exact but for the fit's curvature.

    See Seber and Wild 1989, 'Nonlinear Regression', on leverage in the tangent plane.
    """
    slope = chart.jacobian(model, params)
    residual = chart.residual(model, params)
    inverse = np.linalg.pinv(slope.T @ slope, rcond=1e-14, hermitian=True)
    errors = np.empty((24, 3))
    for i in range(24):
        rows = slope[3 * i : 3 * i + 3]
        own = np.eye(3) - rows @ inverse @ rows.T
        errors[i] = np.linalg.solve(own, residual[3 * i : 3 * i + 3])
    return np.asarray(errors / chart.importance)


def nearness(lab: Array, to: Array) -> Array:
    """Return how much each patch says of how well a colour is read.

    Parameters
    ----------
    lab : ndarray, shape (24, 3)
        The patches.
    to : ndarray, shape (3,)
        The colour.

    Returns
    -------
    ndarray, shape (24,)
        1 for its own colour, a half at ΔE*ab 25.
    """
    apart = np.linalg.norm(lab - to, axis=1)
    return np.asarray(1.0 / (1.0 + (apart / 25.0) ** 2))


def fit_correction(chart: ChartFit, *, linear: bool) -> Correction:
    """Fit the correction, with the curve and matrix that predict patches left out best.

    Parameters
    ----------
    chart : ChartFit
        What to fit to.
    linear : bool
        Whether the light is known to be without a curve.

    Returns
    -------
    Correction
        Of least squared error of patches left out; a richer model must be better by 3 %.
    """
    best, least = None, np.inf
    for root, tone in itertools.product((False, True), (0,) if linear else (0, 1, 2)):
        model = Model(tone, root)
        params = chart.fit(model)
        errors = _left_out(chart, model, params)
        made = chart.predict(chart.light, chart.places, model, params)
        trial = Correction(chart, model, params, errors, made - chart.lab)
        weighted = errors * chart.importance * _NOISE / chart.grey[:, None]
        score = float(np.mean(np.sum(weighted**2, axis=1)))
        if score < least * 0.97:
            best, least = trial, score
    if best is None:  # only if nothing is finite
        raise FloatingPointError("no finite fit")
    return best
