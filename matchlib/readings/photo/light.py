"""Whether chart and panel stand in one light: edges of shade, and the surface they lie on.

The chart says how the light falls where the chart is. What lies between chart and panel, if it is
one and the same surface by its colour, says whether it goes on so to the panel. Only where both
agree is the panel read; a shadow that lies on the panel alone is seen by no chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.readings.photo.correct import Correction, halves, strongest
from matchlib.readings.photo.find import Chart
from matchlib.readings.photo.fit import Places
from matchlib.readings.photo.gloss import smooth_terms
from matchlib.readings.photo.image import Picture
from matchlib.readings.photo.sample import Samples

__all__ = ["SURFACE", "Surround", "panel_edge", "places_of", "surround_of"]

Array = NDArray[np.float64]

_SEARCH = 480  # pixels of the longer side
_CELL = 6  # pixels of a cell of the surround
_FEW = 5  # cells near chart and near panel that make a comparison
SURFACE = 0.05
"""How far a surface is from one brightness all over, logarithm; common practice, no source."""
_ALIKE = 0.10  # of the logarithm of red and blue by green, for one surface


@dataclass(frozen=True)
class Surround:
    """How the surface around goes on from chart to panel."""

    step: float  # logarithm of the light about the panel over what the chart's would be there
    error: float  # its standard error
    expected: float  # how far that may be from none by what the chart leaves open, sd
    slope: Array  # derivative of what the chart makes of it by the correction's `params`


def surround_of(
    picture: Picture, chart: Chart, fit: Correction, outlines: list[Array], panel: Array
) -> Surround | None:
    """Compare the surface near the panel with the same surface near the chart."""
    import cv2

    small, scale = picture.small_light(_SEARCH)
    reach = 0.9 * chart.pitch * scale
    taken = np.zeros(small.shape[:2], np.uint8)
    for outline in [chart.outline, *outlines]:
        cv2.fillPoly(taken, [np.rint(outline * scale).astype(np.int32)], 1)
    # An edge's blur, and what of a thing lies outside its marks, is no surround.
    taken = np.asarray(cv2.dilate(taken, np.ones((9, 9), np.uint8)), dtype=np.uint8)
    cells = _cells(small)
    mean = np.maximum(cells.mean(axis=2), 1e-5)
    good = ~_cells(taken).any(axis=2) & (mean.max(axis=2) <= 0.97)
    good &= cells.sum(axis=3).std(axis=2) <= 0.15 * mean.sum(axis=2)
    top, left = np.indices(good.shape) * _CELL
    middle = (np.stack([left, top], axis=2) + _CELL / 2) / scale - 0.5
    seen_at = np.concatenate([middle, mean], axis=2)
    by_chart, by_panel = (
        seen_at[good & (_cells(_about(of * scale, taken.shape, reach=reach)).mean(axis=2) > 0.5)]
        for of in (chart.outline, panel)
    )
    if min(len(by_chart), len(by_panel)) < _FEW:
        return None
    tint: Array = np.median(_tint(by_chart), axis=0)
    by_chart = by_chart[np.abs(_tint(by_chart) - tint).max(axis=1) < _ALIKE]
    by_panel = by_panel[np.abs(_tint(by_panel) - tint).max(axis=1) < _ALIKE]
    if min(len(by_chart), len(by_panel)) < _FEW:
        return None
    terms, logs, spread = [], [], 0.0
    for found in (by_panel, by_chart):
        at = places_of(picture, chart, found[:, :2])
        log = np.log(found[:, 2:].sum(axis=1))
        level = log * (1.0 + fit.power) - fit.field(at)
        centre = float(np.median(level))
        spread += (1.4826 * float(np.median(np.abs(level - centre)))) ** 2 / np.sqrt(len(found))
        # The cells half of which are brighter stand for all.
        typical = np.argsort(np.abs(level - centre))[: len(found) // 2 + 1]
        terms.append(at.terms[typical].mean(axis=0))
        logs.append(float(log[typical].mean()))
    slope: Array = np.zeros(fit.params.size)
    slope[:3] = terms[0] - terms[1]
    seen = logs[0] - logs[1]
    if fit.model.tone:
        slope[3] = -seen
    step = seen * (1.0 + fit.power) - float(slope[:3] @ fit.params[:3])
    expected = float(np.sqrt(slope @ fit.covariance @ slope))
    return Surround(step, float(np.sqrt(spread)), expected, slope)


def panel_edge(cells: Samples) -> tuple[float, float]:
    """Return the strongest sharp edge of light or shade that crosses a panel."""
    log = np.log(cells.light.sum(axis=1) + 1e-9)
    terms = smooth_terms(cells.middle)  # slopes and soft reflections
    steps = halves(terms[:, 1:3], least=max(3, len(log) // 8)).T
    left = log - terms @ np.linalg.lstsq(terms, log, rcond=None)[0]
    dof = max(len(log) - terms.shape[1] - 1, 1)
    return strongest(steps, terms, left, square=float(left @ left), dof=dof)


def places_of(picture: Picture, chart: Chart, middles: Array) -> Places:
    """Return places in the picture as the fall of the light needs them."""
    middle = (np.array(picture.size, dtype=np.float64) - 1.0) / 2.0
    out = ((middles - middle) ** 2).sum(axis=1) / (middle**2).sum()
    return Places(chart.to_plane(middles), out)


def _cells(image: NDArray[Any]) -> NDArray[Any]:
    """The pixels of an image by cells; shape (rows, columns, pixels of a cell, ...)."""
    rows, columns = ((side - 1) // _CELL for side in image.shape[:2])
    cut = image[: rows * _CELL, : columns * _CELL]
    parts = cut.reshape(rows, _CELL, columns, _CELL, *image.shape[2:]).swapaxes(1, 2)
    return parts.reshape(rows, columns, _CELL * _CELL, *image.shape[2:])


def _about(outline: Array, shape: tuple[int, ...], *, reach: float) -> NDArray[np.uint8]:
    import cv2

    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    wide = 2 * max(4, round(reach)) + 1
    return np.asarray(cv2.dilate(mask, np.ones((wide, wide), np.uint8)), dtype=np.uint8)


def _tint(rows: Array) -> Array:
    log = np.log(rows[:, 2:])
    return np.asarray(np.column_stack([log[:, 0] - log[:, 1], log[:, 2] - log[:, 1]]))
