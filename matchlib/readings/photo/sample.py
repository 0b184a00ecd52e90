"""What is read of the picture: the means of the patches, and the panel in small cells."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.readings.photo.chart import CENTRES
from matchlib.readings.photo.find import Chart
from matchlib.readings.photo.image import Picture
from matchlib.readings.photo.refusal import PhotoRefused

__all__ = ["Samples", "find_panels", "sample_chart", "sample_panel"]

Array = NDArray[np.float64]

_CELLS = 8  # cells a side that the panel is cut into
_SEARCH = 480  # pixels of the longer side in which to look for the panel
_LEAST = 40  # pixels of a cell or patch that make a mean


@dataclass(frozen=True)
class Samples:
    """Means of areas of a picture."""

    light: Array  # (n, 3), mean light, full scale being 1
    noise: Array  # (n, 3), standard error of the mean, from the pixels' own scatter
    middle: Array  # (n, 2), of each area [pixel]
    clipped: Array  # (n,), share of pixels at the end of the scale [-]
    blind: Array  # (n, 3), share of pixels in which red, green or blue is at nought [-]

    def take(self, rows: NDArray[np.bool_]) -> Samples:
        """Return some of the areas."""
        return Samples(*(getattr(self, part.name)[rows] for part in fields(self)))


def _area(
    picture: Picture, polygon: Array
) -> tuple[NDArray[Any], NDArray[np.bool_], NDArray[np.int_]]:
    """The pixels about an area, which of them lie in it, and where the first of them lies."""
    import cv2

    size = np.array(picture.size)
    low = np.clip(np.floor(polygon.min(axis=0)).astype(int), 0, size - 1)
    high = np.clip(np.ceil(polygon.max(axis=0)).astype(int) + 1, 1, size)
    block = picture.pixels[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(block.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(polygon - low).astype(np.int32)], 1)
    return block, mask > 0, low


_Row = tuple[Array, Array, float, Array]


def _mean(picture: Picture, numbers: NDArray[np.generic]) -> _Row:
    light = picture.light(numbers)
    total = light.sum(axis=1)
    low, high = np.quantile(total, [0.1, 0.9])
    # Dust, a scratch or a glint lies in the tails.
    kept = light[(total >= low) & (total <= high)]
    mean = kept.mean(axis=0)
    # Neighbouring pixels are not independent (colour mosaic, JPEG): as if one in four were.
    error = light.std(axis=0) / np.sqrt(max(1.0, len(light) / 4.0))
    blind = picture.blind(numbers).mean(axis=0)
    return mean, error, float(picture.clipped(numbers).mean()), blind


def sample_chart(picture: Picture, chart: Chart) -> Samples:
    """Return the means of the patches."""
    rows = []
    for number in range(24):
        block, mask, _ = _area(picture, chart.patch(number))
        numbers = block[mask]
        if len(numbers) < _LEAST:
            raise PhotoRefused(
                "no chart",
                "The chart is too small in this picture.",
                expected="patches at least 14 pixels wide",
                got=f"about {chart.pitch:.0f} pixels from patch to patch",
                remedy="go nearer, or use the picture as the camera took it.",
            )
        rows.append(_mean(picture, numbers))
    return _samples(rows, chart.to_pixels(CENTRES))


def sample_panel(picture: Picture, polygon: Array) -> Samples:
    """Return the panel's means in cells."""
    block, mask, (x0, y0) = _area(picture, polygon)
    rows, middles = [], []
    ys = np.linspace(0, mask.shape[0], _CELLS + 1).astype(int)
    xs = np.linspace(0, mask.shape[1], _CELLS + 1).astype(int)
    for top, bottom in pairwise(ys):
        for left, right in pairwise(xs):
            inside = mask[top:bottom, left:right]
            if inside.sum() >= max(_LEAST, 0.6 * inside.size):
                rows.append(_mean(picture, block[top:bottom, left:right][inside]))
                middles.append([x0 + (left + right - 1) / 2, y0 + (top + bottom - 1) / 2])
    if len(rows) < 9:
        raise PhotoRefused(
            "no panel",
            "The panel is too small in this picture.",
            expected="at least 60 by 60 pixels of it",
            got=f"{mask.shape[1]} by {mask.shape[0]}",
            remedy="go nearer, or mark more of the panel.",
        )
    return _samples(rows, np.asarray(middles, dtype=np.float64))


def _samples(rows: list[_Row], middle: Array) -> Samples:
    light, noise, clipped, blind = (np.array(part) for part in zip(*rows, strict=True))
    return Samples(light, noise, middle, clipped, blind)


def find_panels(picture: Picture, chart: Chart) -> list[Array]:
    """Return even areas beside the chart that may be the panel; shape (n, 2)."""
    import cv2

    small, scale = picture.screen(_SEARCH)
    # Opponent axes of the encoded picture, in which a metal's grain is smoothed away.
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 2.0), cv2.COLOR_RGB2LAB).astype(np.float32)
    step = np.zeros(lab.shape[:2], np.float32)
    for axis in range(3):
        across = cv2.Sobel(lab[..., axis], cv2.CV_32F, 1, 0, ksize=3) / 8.0
        down = cv2.Sobel(lab[..., axis], cv2.CV_32F, 0, 1, ksize=3) / 8.0
        step = np.maximum(step, np.hypot(across, down))
    flat = (step < 1.5).astype(np.uint8)
    cv2.fillPoly(flat, [np.rint(chart.outline * scale).astype(np.int32)], 0)
    even = np.asarray(cv2.morphologyEx(flat, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
    height, width = even.shape
    found: list[tuple[int, int]] = []
    for label in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[label])
        out = x <= 1 or y <= 1 or x + w >= width - 1 or y + h >= height - 1
        # What runs out of the picture is the table or the wall as likely as the panel.
        if area >= 0.005 * even.size and not out:
            found.append((area, label))
    if not found:
        raise PhotoRefused(
            "no panel",
            "No even area was found beside the chart.",
            expected="the panel beside the chart, whole in the picture and evenly lit",
            got="none, or only what runs out of the picture, like a table",
            remedy="mark the panel on the picture.",
        )
    most = max(found)[0]
    kept = sorted((f for f in found if f[0] >= most / 4), reverse=True)
    return [_drawn_in(labels == label, scale) for _, label in kept]


def _drawn_in(area: NDArray[np.bool_], scale: float) -> Array:
    import cv2

    part = np.pad(area.astype(np.uint8), 1)
    part = np.asarray(
        cv2.morphologyEx(part, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)), dtype=np.uint8
    )
    depth = cv2.distanceTransform(part, cv2.DIST_L2, 3)
    core = (depth >= 0.15 * depth.max()).astype(np.uint8)
    outlines, _ = cv2.findContours(core, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    outline = max(outlines, key=cv2.contourArea).reshape(-1, 2).astype(np.float64) - 1.0
    return np.asarray((outline + 0.5) / scale - 0.5)
