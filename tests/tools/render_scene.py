"""Photographs made of spectra: a chart and a panel, lit, mirrored in, seen by a camera, spoiled.

The scene is a table in metres of patches: every point has a reflectance spectrum, a share of a
lamp's light and of the surroundings' light, each with a spectrum of its own, and, where it is
glossy, mirrors by Fresnel what stands before it: a sky, a soft window, a lamp. A metallic panel is
brighter or darker, and its colour passed more or less often, by its slope. Then come the camera's
measured sensitivities (two sets that colour-science ships, and bell curves like a phone's), stray
light in the lens, perspective, blur, shot and read noise; and what a camera does to a picture:
white balance, its matrix, clipping, a tone mapped by the neighbourhood, the sRGB curve, JPEG.

Nothing of the reader is used here: no gradient is a plane of logarithms, no reflection a spot, and
the chart that is photographed is not the one that the reader has in mind. Not rendered: the colour
filter mosaic, and a flake's sparkle beyond a random grain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.tools.scene_spectra import (
    chart_spectra,
    deeper,
    faded,
    lab_of,
    panel_spectrum,
    printed_otherwise,
    response,
)

__all__ = ["Rendered", "Scene", "render", "to_jpeg", "to_linear16", "to_png", "to_tiff16"]

Array = NDArray[np.float64]
UNIT = 40  # pixels of the flat scene a patch
WIDE, HIGH = 14, 7  # of the table [patch]
_FRESNEL = 0.04  # of a clear coat seen from above: ((n - 1) / (n + 1))², n = 1.5
TABLE, FRAME, PANEL, SECOND, PAPER, OTHER = 24, 25, 26, 27, 28, 29


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
    lamp: tuple[float, float, float] = (-6.0, 2.0, 30.0)  # where it hangs [patch]
    ambient: float = 0.4  # of the light comes from all sides
    gradient: float = 0.0  # fall of the light over the table beside the lamp's own
    vignetting: float = 0.15  # fall of the light in the corners
    exposure: float = 0.8  # of full scale, for the chart's white at the centre
    electrons: float = 20000.0  # at full scale
    grain: float = 0.02  # relative, of a flake's texture
    flare: float = 0.003  # of the whole picture's light, strayed over all of it
    highlight: float = 0.0  # a lamp's reflection in the panel, of full scale
    sky: float = 0.1  # what the gloss mirrors all over, by the radiance of a perfect white
    window: float = 0.0  # a soft window mirrored, the same
    window_at: tuple[float, float] = (0.8, 0.3)  # of the panel
    window_size: float = 0.7  # of the panel's width
    gloss: float = 0.25  # width of the gloss's lobe, of the panel's width
    peel: float = 0.15  # how much orange peel bends what is mirrored
    flop: float = 0.0  # logarithm of brightness from edge to edge
    flop_turn: float = 20.0  # its direction [degree]
    shade: float = 0.0  # of the lamp's light that is held off, right of `shade_at`
    shade_at: float = 0.5  # of the table's width
    shade_lean: float = 0.15  # of its edge
    shade_soft: float = 0.15  # width of the half shade [patch]
    shade_box: bool = False  # only around the panel, a hand's breadth wider
    paper: bool = False  # masking paper beside the panel
    second: str | None = None  # another panel in view
    second_chart: bool = False
    fade: float = 0.0  # of the chart's colours
    dirt: float = 0.0  # relative, patch by patch
    reprint: float = 0.0  # the chart's inks are other ones
    mapped: float = 0.0  # local tone mapping: power of the neighbourhood's brightness
    chart_shown: bool = True
    panel_shown: bool = True
    width: int = 640
    height: int = 400
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
    mapped: float  # local tone mapping
    corners: Array  # chart's corners in the picture (4, 2), from the brown patch, clockwise
    panel: Array  # the panel's corners in the picture (4, 2)
    second: Array  # the second panel's
    lab: Array  # of the panel


def _box(x: float, y: float, w: float, h: float) -> Array:
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


def _layout(scene: Scene) -> tuple[NDArray[np.int64], dict[str, Array]]:
    """Labels of the surfaces seen straight on, and corners in pixels of that."""
    labels = np.full((HIGH * UNIT, WIDE * UNIT), TABLE)
    gap = 0.09

    def fill(box: Array, label: int) -> None:
        (x0, y0), (x1, y1) = np.rint(box[0] * UNIT).astype(int), np.rint(box[2] * UNIT).astype(int)
        labels[max(y0, 0) : y1, max(x0, 0) : x1] = label

    size, left, top = (1.0, 1.2, 1.5) if not scene.second_chart else (0.55, 1.2, 1.2)
    for number, (x, y) in enumerate([(left, top), (left, 4.2)][: 1 + scene.second_chart]):
        if not scene.chart_shown:
            break
        fill(_box(x - 0.25 * size, y - 0.25 * size, 6.5 * size, 4.5 * size), FRAME)
        for i in range(24):
            px, py = x + (i % 6 + gap) * size, y + (i // 6 + gap) * size
            wide = (1 - 2 * gap) * size
            fill(_box(px, py, wide, wide), i if not number else OTHER + i)
    panel, second = _box(8.2, 1.3, 4.4, 4.4), _box(11.0, 1.3, 2.2, 3.6)
    if scene.paper:
        panel = _box(8.3, 1.9, 2.6, 3.4)
        fill(_box(11.1, 0.8, 2.3, 5.6), PAPER)
    if scene.second:
        panel = _box(8.2, 1.6, 2.4, 3.2)
        fill(second, SECOND)
    if scene.panel_shown:
        fill(panel, PANEL)
    corners = _box(left + gap * size, top + gap * size, (6 - 2 * gap) * size, (4 - 2 * gap) * size)
    return labels, {"chart": corners, "panel": panel, "second": second}


def _surfaces(scene: Scene, rng: np.random.Generator) -> tuple[Array, Array]:
    """Spectra of all labels, and of the panel seen through more of its film."""
    nm = np.arange(400.0, 701.0, 10.0)
    chart = faded(chart_spectra(scene.chart), scene.fade)
    chart = printed_otherwise(chart, scene.reprint)
    chart = chart * np.exp(scene.dirt * rng.standard_normal((24, 1)))
    table = 0.16 + 0.10 * (nm - 400.0) / 300.0
    panel = panel_spectrum(scene.panel)
    second = panel_spectrum(scene.second or "gold")
    paper = 0.28 + 0.30 / (1.0 + np.exp(-(nm - 560.0) / 40.0))
    other = faded(chart_spectra("ColorChecker N Ohta"), 0.35)
    rows = [chart, table[None], np.full((1, nm.size), 0.035), panel[None], second[None]]
    return np.vstack([*rows, paper[None], other]), deeper(scene.panel)


def _mirrored(scene: Scene, x: Array, y: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Radiance of sky and of window in the panel's gloss, x and y from 0 to 1 over the panel."""
    import cv2

    bent = []
    for across in (x, y):
        waves = cv2.GaussianBlur(rng.standard_normal(x.shape), (0, 0), 0.12 * UNIT)
        bent.append(across + scene.peel * 0.05 * waves / max(float(waves.std()), 1e-9))

    def edge(v: Array, at: float) -> Array:
        return np.asarray(1.0 / (1.0 + np.exp(-1.7 * (v - at) / scene.gloss)))

    half = scene.window_size / 2
    (wx, wy), (u, v) = scene.window_at, bent
    window = (edge(u, wx - half) - edge(u, wx + half)) * (edge(v, wy - half) - edge(v, wy + half))
    # Schlick 1994: the gloss mirrors more where it is seen more slantwise, here the far edge.
    slant = _FRESNEL + (1 - _FRESNEL) * (0.12 + 0.08 * y) ** 3
    return scene.sky * slant, scene.window * window * slant


def _light(scene: Scene, x: Array, y: Array) -> tuple[Array, Array]:
    """The lamp's light over the table, and the surroundings', x and y in patches."""
    lx, ly, lz = scene.lamp
    centre = np.hypot(np.hypot(WIDE / 2 - lx, HIGH / 2 - ly), lz)
    apart = np.sqrt((x - lx) ** 2 + (y - ly) ** 2 + lz**2)
    lamp = (1 - scene.ambient) * (centre / apart) ** 3  # inverse square, and the cosine
    lamp = lamp * (1.0 - scene.gradient * (x / WIDE - 0.5))
    if scene.shade:
        over = (x - scene.shade_at * WIDE - scene.shade_lean * (y - HIGH / 2)) / scene.shade_soft
        held = 1.0 / (1.0 + np.exp(-np.clip(over, -30, 30)))
        if scene.shade_box:
            sides = [(x - 7.75), (13.1 - x), (y - 0.9), (6.2 - y)]
            held = np.prod(
                [1 / (1 + np.exp(-np.clip(s / scene.shade_soft, -30, 30))) for s in sides], axis=0
            )
        lamp = lamp * (1.0 - scene.shade * held)
    return lamp, np.full(x.shape, scene.ambient)


def _flat(scene: Scene, rng: np.random.Generator) -> tuple[Array, dict[str, Array], Array]:
    """Camera RGB of the table seen straight on, corners in its pixels, RGB of the light."""
    import cv2

    labels, corners = _layout(scene)
    surfaces, through = _surfaces(scene, rng)
    y, x = (np.mgrid[: HIGH * UNIT, : WIDE * UNIT] + 0.5) / UNIT
    lamp, around = _light(scene, x, y)
    seen = response(surfaces, scene.light, scene.camera)
    white = response(np.ones((1, 31)), scene.light, scene.camera)[0]
    image = seen[labels] * (lamp + around)[..., None]
    if scene.second_light:
        other = response(surfaces, scene.second_light, scene.camera)[labels]
        share = (x / WIDE)[..., None]
        image = image * (1 - share) + other * (lamp + around)[..., None] * share
    wood = cv2.GaussianBlur(rng.standard_normal(labels.shape), (0, 0), sigmaX=12, sigmaY=0.8)
    image[labels == TABLE] *= np.exp(0.04 * wood / wood.std())[labels == TABLE][:, None]
    (px, py), (qx, qy) = corners["panel"][0], corners["panel"][2]
    u, v = (x - px) / (qx - px), (y - py) / (qy - py)
    angle = np.radians(scene.flop_turn)
    slope = scene.flop * ((u - 0.5) * np.cos(angle) + (v - 0.5) * np.sin(angle))
    # Seen away from the face, a metallic is darker, and its light has passed more of the film.
    thick = response(through[None], scene.light, scene.camera)[0] / seen[PANEL]
    scene_on = labels == PANEL
    body = image * np.exp(slope)[..., None] * thick ** (-0.6 * slope)[..., None]
    body = body * np.exp(scene.grain * rng.standard_normal((*labels.shape, 1)))
    sky, window = _mirrored(scene, u, v, rng)
    blue = response(np.ones((1, 31)), "D75", scene.camera)[0]
    blue = blue * white[1] / blue[1]
    body = body + sky[..., None] * blue + window[..., None] * white
    if scene.highlight:
        spot = np.exp(-((u - 0.65) ** 2 + (v - 0.65) ** 2) / (2 * 0.18**2))
        body = body + (scene.highlight * spot * 0.9 / scene.exposure)[..., None] * white
    image[scene_on] = body[scene_on]
    # A chart is all but matt: of the sky it shows a tenth of what a gloss mirrors.
    matt = (labels < 24) | (labels >= OTHER)
    image[matt] += 0.1 * _FRESNEL * scene.sky * blue
    return image, {name: box * UNIT for name, box in corners.items()}, white


def render(scene: Scene) -> Rendered:
    """Render a scene to linear camera RGB with noise."""
    import cv2

    rng = np.random.default_rng(scene.seed)
    flat, boxes, white = _flat(scene, rng)
    h, w = flat.shape[:2]
    corners = _box(0, 0, w, h)
    lean = scene.tilt
    target = corners + np.array([[lean, lean / 2], [-lean / 3, 0], [0, 0], [0, -lean / 3]]) * w / 2
    angle = np.radians(scene.turn)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    target = (target - target.mean(axis=0)) @ spin.T
    target *= 0.94 * min(scene.width / np.ptp(target[:, 0]), scene.height / np.ptp(target[:, 1]))
    target += np.array([scene.width, scene.height]) / 2 - (target.max(0) + target.min(0)) / 2
    homography = cv2.getPerspectiveTransform(corners.astype(np.float32), target.astype(np.float32))
    # What lies beyond the table is more of the same table.
    image = cv2.warpPerspective(
        cv2.GaussianBlur(flat, (0, 0), 0.5),
        homography,
        (scene.width, scene.height),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)
    y, x = np.mgrid[: scene.height, : scene.width]
    ratio = scene.height / scene.width
    u, v = x / scene.width - 0.5, (y / scene.height - 0.5) * ratio
    image *= (1.0 - scene.vignetting * (u**2 + v**2) / (0.25 * (1 + ratio**2)))[..., None]
    image = image + scene.flare * image.mean(axis=(0, 1))
    image *= scene.exposure / 0.9 / white.max()
    noise = np.sqrt(np.maximum(image, 0.0) / scene.electrons + (6.0 / scene.electrons) ** 2)
    image = image + noise * rng.standard_normal(image.shape)

    def seen(name: str) -> Array:
        return np.asarray(cv2.perspectiveTransform(boxes[name][None], homography)[0])

    return Rendered(
        camera=np.asarray(image),
        white=np.asarray(white / white.max()),
        matrix=_camera_matrix(scene.light, scene.camera),
        mapped=scene.mapped,
        corners=seen("chart"),
        panel=seen("panel"),
        second=seen("second"),
        lab=lab_of(panel_spectrum(scene.panel)),
    )


@cache
def _camera_matrix(light: str, camera: str) -> Array:
    """As a maker would: white-balanced RGB to linear sRGB, by least squares on known surfaces."""
    import colour

    from matchlib.colorimetry import weights

    surfaces = chart_spectra("ColorChecker N Ohta")
    rgb = response(surfaces, light, camera) / response(np.ones((1, 31)), light, camera)
    xyz = surfaces @ np.asarray(weights("D65", "2")) / 100.0
    target = colour.XYZ_to_RGB(xyz, "sRGB", apply_cctf_encoding=False)
    solved, *_ = np.linalg.lstsq(rgb, target, rcond=None)
    # A maker keeps white white.
    return np.asarray(solved / solved.sum(axis=0))


def _developed(rendered: Rendered, *, contrast: float = 0.0, balance: float = 1.0) -> Array:
    """sRGB 0 to 1: white balance, the maker's matrix, the curve, and more contrast if wished."""
    import cv2

    rgb = rendered.camera / rendered.white * np.array([balance, 1.0, 1.0 / balance])
    rgb = np.clip(np.clip(rgb, 0.0, 1.0) @ rendered.matrix, 0.0, 1.0)
    if rendered.mapped:
        near = cv2.GaussianBlur(rgb.mean(axis=2), (0, 0), 0.06 * rgb.shape[1]) + 0.02
        gain = (near / np.median(near)) ** -rendered.mapped
        rgb = np.clip(rgb * gain[..., None], 0.0, 1.0)
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
