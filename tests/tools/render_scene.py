"""Photographs made of spectra: a chart and a panel, lit, seen by a measured camera, and spoiled.

Light spectrum times surface spectrum times the camera's measured sensitivities (the two sets that
colour-science ships), then perspective, uneven light, vignetting, blur, shot and read noise, and
what a camera does to a picture: white balance, its matrix, the sRGB curve, JPEG. Not rendered:
the colour filter mosaic, stray light in the lens, and a flake's sparkle beyond a random grain.

The reader's idea of the chart is one set of measured spectra; the scene may be painted with
another (a chart measured by others), since no two charts are alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CAMERAS",
    "LIGHTS",
    "PANELS",
    "Scene",
    "lab_of",
    "panel_spectrum",
    "render",
    "to_jpeg",
    "to_linear16",
    "to_png",
    "to_tiff16",
]

Array = NDArray[np.float64]
NM = np.arange(400.0, 701.0, 10.0)
PITCH = 60  # pixels of the flat scene a patch
CAMERAS = {"one": "Nikon 5100 (NPL)", "two": "Sigma SDMerill (NPL)"}
LIGHTS = {
    "D65": "D65",
    "D50": "D50",
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
    return _on_grid(_colour().MSDS_CAMERA_SENSITIVITIES[CAMERAS[name]])


@cache
def chart_spectra(name: str) -> Array:
    """Reflectance of the 24 patches, (24, 31), row by row from the brown one."""
    return np.stack([_on_grid(s) for s in _colour().SDS_COLOURCHECKERS[name].values()])


def _film(base: Array, *bands: tuple[float, float, float]) -> Array:
    """A ground seen twice through a film whose absorption is a sum of bells (nm, width, depth)."""
    depth = sum(d * np.exp(-0.5 * ((NM - c) / w) ** 2) for c, w, d in bands)
    return np.asarray(base * np.exp(-2.0 * depth) * 0.92 + 0.01)


_SILVER = 0.52 + 0.04 * (NM - 400.0) / 300.0
_GOLD = 0.15 + 0.45 / (1.0 + np.exp(-(NM - 520.0) / 25.0))
PANELS: dict[str, Array] = {
    "bare silver": _SILVER,
    "teal": _film(_SILVER, (640.0, 55.0, 0.9), (400.0, 30.0, 0.25)),
    "red": _film(_SILVER, (500.0, 55.0, 1.3), (420.0, 40.0, 0.5)),
    "gold": _film(_GOLD, (430.0, 45.0, 0.5)),
    "violet": _film(_SILVER, (560.0, 50.0, 0.9)),
    "deep blue": _film(_SILVER, (600.0, 60.0, 1.6), (500.0, 40.0, 0.3)),
}


def panel_spectrum(name: str) -> Array:
    """Reflectance of an invented panel, 400 to 700 nm by 10."""
    return PANELS[name]


def lab_of(spectrum: Array) -> Array:
    """Its Lab, D65/10°, which a good instrument would read."""
    from matchlib.colorimetry import reflectance_to_lab

    return reflectance_to_lab(spectrum)


@dataclass(frozen=True)
class Scene:
    """What is photographed, and how; see the module."""

    panel: str = "teal"
    light: str = "D65"
    second_light: str | None = None  # comes in from the right
    camera: str = "one"
    chart: str = "ISO 17321-1"
    tilt: float = 0.12  # perspective, of the scene's width
    turn: float = 4.0  # degrees in the picture
    gradient: float = 0.15  # fall of the light over the picture, left to right
    vignetting: float = 0.15  # fall of the light in the corners
    exposure: float = 0.8  # of full scale, for the chart's white at the centre
    electrons: float = 20000.0  # at full scale
    grain: float = 0.02  # relative, per pixel, of a flake's texture
    highlight: float = 0.0  # a reflection on the panel, of full scale
    chart_shown: bool = True
    panel_shown: bool = True
    width: int = 1100
    height: int = 700
    seed: int = 1

    def but(self, **changes: Any) -> Scene:
        """The same scene with changes."""
        return replace(self, **changes)


@dataclass(frozen=True)
class Rendered:
    """Linear camera RGB at full scale 1, before noise clips it, and where things are."""

    camera: Array  # (h, w, 3)
    white: Array  # camera RGB of the light itself, largest 1
    matrix: Array  # white-balanced camera RGB to linear sRGB
    corners: Array  # chart's corners in the picture (4, 2), from the brown patch, clockwise
    panel: Array  # the panel's corners in the picture (4, 2)
    lab: Array  # of the panel


def _response(surfaces: Array, light: str, camera: str) -> Array:
    sensitivity = _sensitivities(camera) * _light(light)[:, None]
    return np.asarray(surfaces @ sensitivity / sensitivity.sum(axis=0).max())


@cache
def _camera_matrix(light: str, camera: str) -> Array:
    """As a maker would: white-balanced RGB to linear sRGB, by least squares on known surfaces."""
    colour = _colour()
    surfaces = chart_spectra("ColorChecker N Ohta")
    rgb = _response(surfaces, light, camera)
    rgb = rgb / _response(np.ones((1, NM.size)), light, camera)
    xyz10 = surfaces @ _weights_2deg()
    target = colour.XYZ_to_RGB(xyz10, "sRGB", apply_cctf_encoding=False)
    solved, *_ = np.linalg.lstsq(rgb, target, rcond=None)
    # A maker keeps white white.
    return np.asarray(solved / solved.sum(axis=0))


@cache
def _weights_2deg() -> Array:
    from matchlib.colorimetry import weights

    return np.asarray(weights("D65", "2", NM)) / 100.0


def _flat(scene: Scene) -> tuple[NDArray[np.int64], Array, Array]:
    """Labels of the surfaces seen straight on, and the corners of chart and panel."""
    unit = PITCH
    height, width = 7 * unit, 14 * unit
    labels = np.full((height, width), 24)
    x0, y0 = int(1.2 * unit), int(1.5 * unit)
    gap = int(0.09 * unit)
    if scene.chart_shown:
        edge = int(0.25 * unit)
        labels[y0 - edge : y0 + 4 * unit + edge, x0 - edge : x0 + 6 * unit + edge] = 25
        for i in range(24):
            top, left = y0 + (i // 6) * unit, x0 + (i % 6) * unit
            labels[top + gap : top + unit - gap, left + gap : left + unit - gap] = i
    px, py, pw, ph = int(8.2 * unit), int(1.3 * unit), int(4.4 * unit), int(4.4 * unit)
    if scene.panel_shown:
        labels[py : py + ph, px : px + pw] = 26
    chart = np.array(
        [
            [x0 + gap, y0 + gap],
            [x0 + 6 * unit - gap, y0 + gap],
            [x0 + 6 * unit - gap, y0 + 4 * unit - gap],
            [x0 + gap, y0 + 4 * unit - gap],
        ],
        dtype=np.float64,
    )
    panel = np.array([[px, py], [px + pw, py], [px + pw, py + ph], [px, py + ph]], dtype=np.float64)
    return labels, chart, panel


def render(scene: Scene) -> Rendered:
    """Render a scene to linear camera RGB with noise."""
    import cv2

    rng = np.random.default_rng(scene.seed)
    labels, chart, panel = _flat(scene)
    spectrum = panel_spectrum(scene.panel)
    table = 0.16 + 0.10 * (NM - 400.0) / 300.0
    frame = np.full(NM.size, 0.035)
    surfaces = np.vstack([chart_spectra(scene.chart), table, frame, spectrum])
    flat = _response(surfaces, scene.light, scene.camera)[labels]
    white = _response(np.ones((1, NM.size)), scene.light, scene.camera)[0]
    if scene.second_light:
        other = _response(surfaces, scene.second_light, scene.camera)[labels]
        share = (np.arange(flat.shape[1]) / flat.shape[1])[None, :, None]
        flat = flat * (1.0 - share) + other * share
    flat[labels == 26] *= np.exp(scene.grain * rng.standard_normal((int((labels == 26).sum()), 1)))

    h, w = flat.shape[:2]
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.float64)
    lean = scene.tilt
    target = corners + np.array([[lean, lean / 2], [-lean / 3, 0], [0, 0], [0, -lean / 3]]) * w / 2
    angle = np.radians(scene.turn)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    target = (target - target.mean(axis=0)) @ spin.T
    target *= 0.94 * min(scene.width / np.ptp(target[:, 0]), scene.height / np.ptp(target[:, 1]))
    target += np.array([scene.width, scene.height]) / 2 - (target.max(0) + target.min(0)) / 2
    homography = cv2.getPerspectiveTransform(corners.astype(np.float32), target.astype(np.float32))
    smooth = cv2.GaussianBlur(flat, (0, 0), 0.7)
    size = (scene.width, scene.height)
    background = tuple(float(v) for v in _response(table[None], scene.light, scene.camera)[0])
    image = np.asarray(
        cv2.warpPerspective(
            smooth, homography, size, flags=cv2.INTER_LINEAR, borderValue=background
        )
    )

    y, x = np.mgrid[: scene.height, : scene.width]
    u = x / scene.width - 0.5
    r2 = (u**2 + (y / scene.height - 0.5) ** 2 * (scene.height / scene.width) ** 2) / (
        0.25 * (1 + (scene.height / scene.width) ** 2)
    )
    shade = (1.0 - scene.gradient * u) * (1.0 - scene.vignetting * r2)
    image = image * shade[..., None]
    image *= scene.exposure / 0.9 / white.max()
    panel_in = cv2.perspectiveTransform(panel[None].astype(np.float64), homography)[0]
    if scene.highlight:
        cx, cy = panel_in.mean(axis=0) + 0.15 * (panel_in[2] - panel_in[0])
        spread = 0.18 * np.linalg.norm(panel_in[1] - panel_in[0])
        spot = np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * spread**2))
        image = image + scene.highlight * spot[..., None] * white / white.max()
    noise = np.sqrt(np.maximum(image, 0.0) / scene.electrons + (6.0 / scene.electrons) ** 2)
    image = image + noise * rng.standard_normal(image.shape)
    return Rendered(
        camera=np.asarray(image),
        white=np.asarray(white / white.max()),
        matrix=_camera_matrix(scene.light, scene.camera),
        corners=cv2.perspectiveTransform(chart[None], homography)[0],
        panel=panel_in,
        lab=lab_of(spectrum),
    )


def _developed(rendered: Rendered, *, contrast: float = 0.0, balance: float = 1.0) -> Array:
    """sRGB 0 to 1: white balance, the maker's matrix, the curve, and more contrast if wished."""
    rgb = rendered.camera / rendered.white * np.array([balance, 1.0, 1.0 / balance])
    rgb = np.clip(np.clip(rgb, 0.0, 1.0) @ rendered.matrix, 0.0, 1.0)
    encoded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * np.maximum(rgb, 1e-12) ** (1 / 2.4))
    encoded = np.where(rgb <= 0.0031308, encoded, encoded - 0.055)
    # An S about the middle, as makers' picture styles have.
    return np.asarray(encoded + contrast * encoded * (1 - encoded) * (2 * encoded - 1))


def to_jpeg(
    rendered: Rendered, *, quality: int = 92, contrast: float = 0.0, balance: float = 1.0
) -> bytes:
    """A camera's JPEG."""
    import cv2

    picture = np.rint(_developed(rendered, contrast=contrast, balance=balance) * 255)
    good, data = cv2.imencode(
        ".jpg", picture.astype(np.uint8)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    assert good
    return bytes(data)


def to_png(rendered: Rendered) -> bytes:
    """The same picture as a PNG."""
    import cv2

    picture = np.rint(_developed(rendered) * 255).astype(np.uint8)
    good, data = cv2.imencode(".png", picture[..., ::-1])
    assert good
    return bytes(data)


def to_linear16(rendered: Rendered) -> NDArray[np.uint16]:
    """What a raw converter gives with everything switched off."""
    return np.rint(np.clip(rendered.camera, 0.0, 1.0) * 65535).astype(np.uint16)


def to_tiff16(rendered: Rendered, path: Any) -> None:
    """The linear picture as a 16-bit TIFF."""
    import tifffile

    tifffile.imwrite(path, to_linear16(rendered), photometric="rgb")
