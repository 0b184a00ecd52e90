"""Spectra of what is photographed in the rendered scenes, and of what photographs it."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CAMERAS",
    "LIGHTS",
    "NM",
    "PANELS",
    "chart_spectra",
    "deeper",
    "faded",
    "lab_of",
    "panel_spectrum",
    "printed_otherwise",
    "response",
]

Array = NDArray[np.float64]
NM = np.arange(400.0, 701.0, 10.0)
CAMERAS = {"one": "Nikon 5100 (NPL)", "two": "Sigma SDMerill (NPL)", "phone": ""}
LIGHTS = {
    "D65": "D65",
    "D50": "D50",
    "D75": "D75",
    "A": "A",
    "fluorescent": "FL2",
    "three-band": "FL11",
    "LED": "LED-B3",
    "warm LED": "LED-B1",
}


@cache
def _colour() -> Any:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def _on_grid(distribution: Any) -> Array:
    colour = _colour()
    shape = colour.SpectralShape(400, 700, 10)
    return np.asarray(distribution.copy().align(shape).values, dtype=np.float64)


@cache
def _light(name: str) -> Array:
    return _on_grid(_colour().SDS_ILLUMINANTS[LIGHTS[name]])


@cache
def _sensitivities(name: str) -> Array:
    if name == "phone":
        # Bells with some of each other's light, as sensors of phones have: no published set.
        bells = [np.exp(-0.5 * ((NM - c) / w) ** 2) for c, w in ((602, 36), (532, 40), (462, 27))]
        mix = np.array([[1.0, 0.12, 0.02], [0.10, 1.0, 0.10], [0.02, 0.16, 0.95]])
        return np.stack(bells, axis=1) @ mix.T
    return _on_grid(_colour().MSDS_CAMERA_SENSITIVITIES[CAMERAS[name]])


def response(surfaces: Array, light: str, camera: str) -> Array:
    """Camera RGB of surfaces, (n, 3), the largest of a perfect white being 1."""
    sensitivity = _sensitivities(camera) * _light(light)[:, None]
    return np.asarray(surfaces @ sensitivity / sensitivity.sum(axis=0).max())


@cache
def chart_spectra(name: str) -> Array:
    """Reflectance of the 24 patches, (24, 31), row by row from the brown one."""
    return np.stack([_on_grid(s) for s in _colour().SDS_COLOURCHECKERS[name].values()])


def faded(chart: Array, share: float) -> Array:
    """A chart left in the light: its dyes are partly gone, the reds and yellows first."""
    reds = np.clip((chart[:, 25] - chart[:, 8]) / (chart[:, 25] + chart[:, 8]), 0.0, 1.0)
    gone = np.clip(share * (0.7 + 0.6 * reds), 0.0, 0.95)
    gone[18:] = 0.3 * share
    paper = chart[18]
    return np.asarray(paper * (chart / paper) ** (1.0 - gone[:, None]))


def printed_otherwise(chart: Array, size: float) -> Array:
    """The same patches printed with inks whose bands lie elsewhere."""
    if not size:
        return chart
    shifted = np.stack([np.interp(NM + 18.0 * size, NM, row) for row in chart])
    waves = 1.0 + 0.06 * size * np.sin(NM / 23.0)[None, :] * np.linspace(-1, 1, 24)[:, None]
    return np.asarray(shifted * waves)


Bands = tuple[tuple[float, float, float], ...]
_SILVER: Array = 0.52 + 0.04 * (NM - 400.0) / 300.0
_GOLD: Array = 0.15 + 0.45 / (1.0 + np.exp(-(NM - 520.0) / 25.0))
_DARK: Array = np.full(NM.size, 0.06)
# Ground, and bells of the film's absorption: middle and width [nm], depth.
_RECIPES: dict[str, tuple[Array, Bands]] = {
    "bare silver": (_SILVER, ()),
    "teal": (_SILVER, ((640.0, 55.0, 0.9), (400.0, 30.0, 0.25))),
    "red": (_SILVER, ((500.0, 55.0, 1.3), (420.0, 40.0, 0.5))),
    "gold": (_GOLD, ((430.0, 45.0, 0.5),)),
    "violet": (_SILVER, ((560.0, 50.0, 0.9),)),
    "deep blue": (_SILVER, ((600.0, 60.0, 1.6), (500.0, 40.0, 0.3))),
    "deep teal": (_SILVER, ((650.0, 65.0, 2.4), (400.0, 30.0, 0.9))),
    "near-black": (_DARK, ((560.0, 90.0, 0.7),)),
}
PANELS = tuple(_RECIPES)


def _film(name: str, depth: float) -> Array:
    """A ground seen through a film and back; a metallic's own haze is small."""
    ground, bands = _RECIPES[name]
    absorbed = sum((d * np.exp(-0.5 * ((NM - c) / w) ** 2) for c, w, d in bands), np.zeros(NM.size))
    return np.asarray(ground * np.exp(-2.0 * depth * absorbed) * 0.92 + 0.004)


def panel_spectrum(name: str) -> Array:
    """Reflectance of an invented panel, 400 to 700 nm by 10."""
    return _film(name, 1.0)


def deeper(name: str) -> Array:
    """The same panel's where light has passed a fifth more of its film."""
    return _film(name, 1.2)


def lab_of(spectrum: Array) -> Array:
    """Its Lab, D65/10°, which a good instrument would read."""
    from matchlib.colorimetry import reflectance_to_lab

    return reflectance_to_lab(spectrum)
