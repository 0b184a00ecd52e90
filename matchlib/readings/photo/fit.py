"""What is fitted to a chart's patches: the light's fall, the curve, the matrix.

All in Lab and at once: a smooth fall of the light (its logarithm a plane in the chart's plane, and
a part that grows with the square of the distance from the picture's middle, as vignetting does),
what is left of the camera's curve (a power and its bend), and a matrix, 3 × 3 or second-degree root
polynomial (Finlayson, Mackiewicz and Hurlbert 2015, 'Color correction using root-polynomial
regression').
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import xyz_to_lab
from matchlib.colorimetry.lab import xyz_to_lab_with_jacobian
from matchlib.readings.photo.chart import CENTRES, GREYS, WHITE, chart_xyz

__all__ = ["NOISE", "ChartFit", "Model", "Places", "by_differences"]

Array = NDArray[np.float64]

# Linear light of a screen to XYZ (IEC 61966-2-1; SMPTE EG 432-1 with D65), each row scaled so that
# its white is the observer's.
_SCREENS: dict[str, Array] = {
    name: np.array(rows) * (WHITE / np.sum(rows, axis=1))[:, None]
    for name, rows in {
        "sRGB": [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
        "Display P3": [[0.4866, 0.2657, 0.1982], [0.2290, 0.6917, 0.0793], [0.0, 0.0451, 1.0439]],
    }.items()
}
_STYLE = -0.04  # what makers' matrices add to chroma, logarithm; seen on rendered cameras
NOISE = 2.0  # Lab units that a patch is off in any photograph; sets the priors' weight
_GREY_WEIGHT = 2.0  # the greys hardly depend on the light's spectrum, and so say most of its fall
_PRIOR = {"fall": 0.3, "corners": 0.2, "power": 0.3, "bend": 0.1, "tint": 0.5}  # sd


@dataclass(frozen=True)
class Model:
    """Which terms are fitted."""

    tone: int  # terms of the curve: 0, 1 (power) or 2 (and bend)
    root: bool  # root polynomial, or 3 × 3
    tint: bool = False  # whether red and blue may fall off differently from green

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
    """Where areas lie, as the fall of the light needs it."""

    plane: Array  # (n, 2), in the chart's plane [patch pitch]
    radius2: Array  # (n,), squared distance from the picture's middle, 1 in its corners [-]

    @cached_property
    def terms(self) -> Array:
        """Shape (n, 3): across and down the chart (1 over its width), and outwards."""
        flat = (self.plane - CENTRES.mean(axis=0)) / 5.0
        return np.column_stack([flat, self.radius2])


def by_differences(
    of: Callable[[Array], Array], at: Array, *, step: float, count: int | None = None
) -> Array:
    """Return the derivative of a vector by the first `count` of some values, or by all."""
    ways = step * np.eye(at.size)[:count]
    return np.stack([(of(at + way) - of(at - way)) / (2 * step) for way in ways], axis=-1)


def _expanded(rgb: Array, root: bool) -> Array:
    """RGB, with the roots of its products if `root` (Finlayson and others 2015, second degree)."""
    if not root:
        return rgb
    product = rgb * rgb[..., [1, 2, 0]]
    return np.concatenate([rgb, np.sign(product) * np.sqrt(np.abs(product))], axis=-1)


class ChartFit:
    """What is fitted to: the patches' light, places and Lab, each counting by its trust (24,)."""

    def __init__(self, light: Array, places: Places, lab: Array, trust: ArrayLike = 1.0) -> None:
        self.light = np.maximum(light, 1e-6)
        self.places = places
        self.lab = lab
        self.xyz = chart_xyz(lab)
        self.scale = float(self.light[18].max())
        self.weight = np.where(np.arange(24) >= GREYS.start, _GREY_WEIGHT, 1.0) * np.asarray(trust)
        # As in newer colour differences, chroma's own differences count less in vivid colours.
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        axis = np.column_stack([np.ones(24), *(2 * [1.0 / (1.0 + 0.03 * chroma)])])
        self.importance = axis * self.weight[:, None] / NOISE
        self.balance = np.asarray((self.light / self.xyz[:, 1:2] / self.scale)[GREYS].mean(axis=0))

    def rgb(self, light: Array, places: Places, model: Model, params: Array) -> Array:
        """Return linear, evenly lit, white-balanced red, green and blue; shape (n, 3)."""
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
        return xyz_to_lab(self.xyz_of(light, places, model, params), WHITE)

    def residual(self, model: Model, params: Array) -> Array:
        """All that is to be small: patches, 72, then the terms."""
        made = self.predict(self.light, self.places, model, params)
        prior = np.array([_PRIOR[name] for name in model.terms])
        patches = (made - self.lab) * self.importance
        return np.concatenate([patches.ravel(), params[: prior.size] / prior])

    def jacobian(self, model: Model, params: Array) -> Array:
        """Derivative of `residual`; that by the matrix is exact."""
        count = len(model.terms)
        out = np.zeros((72 + count, params.size))
        by_terms = partial(self.residual, model)
        out[:, :count] = by_differences(by_terms, params, step=1e-5, count=count)
        basis = _expanded(self.rgb(self.light, self.places, model, params), model.root)
        made = np.maximum(basis @ params[count:].reshape(-1, 3), 0.0)
        _, by_xyz = xyz_to_lab_with_jacobian(made, WHITE)
        by_matrix = np.einsum("ic,ick,ij->icjk", self.importance, by_xyz, basis)
        out[:72, count:] = by_matrix.reshape(72, -1)
        return out

    def fit(self, model: Model) -> Array:
        """Return the terms, and the matrix after them, that fit best."""
        from scipy.optimize import least_squares

        start = np.zeros(len(model.terms))
        basis = _expanded(self.rgb(self.light, self.places, model, start), model.root)
        # To start from: linear, weighted by the slope of the cube root in Lab.
        weight = np.maximum(self.xyz[:, 1:2], 0.01) ** (-2.0 / 3.0) * self.weight[:, None]
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
        """Return the covariance of what was fitted; shape (n, n)."""
        slope = self.jacobian(model, params)
        patches = self.residual(model, params)[:72]
        worse = max(1.0, float(patches @ patches) / (72 - params.size))
        return np.asarray(np.linalg.pinv(slope.T @ slope, rcond=1e-14, hermitian=True) * worse)

    def tone_power(self) -> float:
        """Return the power that the chart asks for on top of the declared curve."""
        return 1.0 + float(self.fit(Model(1, False))[3])

    def paleness(self, space: str) -> float | None:
        """Return how much paler the chart is than it should be in a picture made for a screen."""
        screen = _SCREENS.get(space)
        if screen is None:
            return None
        rgb = self.light / self.scale / self.balance
        seen = xyz_to_lab(np.maximum(rgb @ screen.T, 0.0), WHITE)[:18, 1:]
        true = self.lab[:18, 1:]
        gain = np.sum(true * true) / max(float(np.sum(true * seen)), 1e-6)
        return float(np.log(gain)) - _STYLE

    def tint_across(self, model: Model) -> tuple[float, float]:
        """Return how much the light's colour changes over the chart."""
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
