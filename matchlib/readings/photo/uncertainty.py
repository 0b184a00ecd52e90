"""How far a photographed colour is known, part by part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e76, xyz_to_lab
from matchlib.readings.photo.chart import WHITE
from matchlib.readings.photo.correct import Correction
from matchlib.readings.photo.fit import Places
from matchlib.readings.photo.gloss import Body
from matchlib.readings.photo.light import Surround
from matchlib.readings.photo.sample import Samples

__all__ = ["parts_of"]

Array = NDArray[np.float64]

_FLOOR = 0.8  # per Lab axis: geometry and the print of the chart; common practice, no source
_UNSEEN_LIGHT = 0.06  # sd of the light from chart to panel where no surface tells of it, logarithm
_DULL = 0.04  # by which the chart may be paler or stronger in any camera's picture, logarithm
_NEGATIVE = ((0.0, 0.25), (0.1, 0.2), (0.2, 0.2), (0.3, 0.2), (0.45, 0.15))
"""How much less than none a channel at nought may be, of the largest channel, and how likely."""


def parts_of(
    fit: Correction,
    cells: Samples,
    places: Places,
    body: Body,
    lab: Array,
    *,
    around: Surround | None,
    space: str,
) -> tuple[dict[str, Array], Array]:
    """Return the parts (3, 3) of a reading's covariance but the gloss's, and the reading (3,)."""
    errors, apart = fit.left_out, delta_e76(fit.chart.lab, lab)
    # A patch says the more of how well a colour is read the nearer it is to it.
    near = 1.0 / (1.0 + (apart / 25.0) ** 2)
    # A colour further from every patch than patches are from one another is a reach.
    reach = 1.0 + (max(float(apart.min()) - 15.0, 0.0) / 25.0) ** 2
    chart = reach * np.einsum("n,ni,nj->ij", near / near.sum(), errors, errors)
    # As many numbers as were fitted are no longer free to show an error; no axis is free of it.
    chart += 0.15 * np.trace(chart) / 3.0 * np.eye(3)

    brighter = _by_light(body.xyz)
    # Where surface and chart do not agree, neither is relied on alone.
    step = _UNSEEN_LIGHT if around is None else 0.3 * abs(around.step)
    light = fit.spread(cells.light, places) + step**2 * np.outer(brighter, brighter)

    labs = fit.lab(cells.light, places)
    flat = np.column_stack([np.ones(len(labs)), places.plane])
    rest = labs - flat @ np.linalg.lstsq(flat, labs, rcond=None)[0]
    noise = fit.lab(cells.light + cells.noise, places) - labs
    scatter = (np.mean(noise**2) + np.var(rest, axis=0)) / len(labs)

    slope = (0.15 * body.slope) ** 2 * np.outer(brighter, brighter)
    parts = {
        "chart": chart,
        "light": light,
        "noise": np.diag(scatter),
        "slope": slope,
        "floor": _FLOOR**2 * np.eye(3),
    }
    pale = fit.chart.paleness(space) or 0.0
    # A style makes colours stronger and no chart does; a chart grows paler, and styles are dull.
    doubt = 1.2 * max(pale - _DULL, 0.0) if pale > 0 else 0.3 * max(-pale - _DULL, 0.0)
    coloured = np.array([0.4 * np.hypot(*lab[1:]), lab[1], lab[2]])
    parts["faded"] = doubt**2 * np.outer(coloured, coloured)
    blind = cells.blind.mean(axis=0)
    if blind.max() > 0.05:
        moved, parts["beyond"] = _beyond(fit, cells, places, body, blind)
        lab = lab + moved
    return parts, lab


def _by_light(xyz: Array) -> Array:
    """Change of Lab by the logarithm of the light."""
    up, down = (xyz_to_lab(np.maximum(xyz, 0.0) * np.exp(s), WHITE) for s in (0.01, -0.01))
    return np.asarray((up - down) / 0.02)


def _beyond(
    fit: Correction, cells: Samples, places: Places, body: Body, blind: Array
) -> tuple[Array, Array]:
    """Where a channel at nought may truly be: shift of Lab, and covariance about that."""
    rgb = fit.chart.rgb(cells.light, places, fit.model, fit.params).mean(axis=0)
    matrix = fit.params[len(fit.model.terms) :].reshape(-1, 3)
    base = xyz_to_lab(np.maximum(body.xyz, 1e-4), WHITE)
    moved, spread = np.zeros(3), np.zeros((3, 3))
    for channel in np.flatnonzero(blind > 0.05):
        share = float(min(1.0, 1.5 * blind[channel]))
        less = np.array([a for a, _ in _NEGATIVE]) * share * rgb.max()
        weight = np.array([w for _, w in _NEGATIVE])
        xyz = body.xyz - less[:, None] * matrix[channel]
        away = xyz_to_lab(np.maximum(xyz, 1e-4), WHITE) - base
        mean = weight @ away
        moved += mean
        spread += (weight[:, None] * (away - mean)).T @ (away - mean)
    return moved, spread
